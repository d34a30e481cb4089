//! A finished bar taken apart: what is won back lies in a place again, the rest is thrown away.

use askama::Template;
use axum::http::StatusCode;

use super::{lookup, part_of, place_choices};
use crate::{
    db,
    model::{
        fixture::Condition,
        id::{PlaceId, ThingId},
        part::Kind,
        thing::ThingKind,
    },
    stock::make::Dismantle,
    web::{
        at::Path,
        cx::Cx,
        error::{Answer, Trouble},
        form::{Choice, Form},
        link::Link,
        page::{Chrome, Section, go_with, page_with},
        places::refused,
        show::{told, total},
    },
};

/// A piece inside, kept unless it is thrown away.
struct Piece {
    id: ThingId,
    tag: String,
    name: String,
    scrap: bool,
}

#[derive(Template)]
#[template(path = "thing/apart.html")]
struct ApartPage {
    chrome: Chrome,
    id: ThingId,
    tag: String,
    name: String,
    pieces: Vec<Piece>,
    /// Whether its tape is ticked to be thrown away, since it is dead.
    dead: bool,
    /// What else is inside, by count.
    counts: Vec<(String, String)>,
    places: Vec<Choice>,
    form: Form,
}

async fn show(cx: &Cx, id: ThingId, form: Form, status: StatusCode) -> Answer {
    let mut tx = cx.read().await?;
    let thing = lookup(&mut tx, id).await?;
    if thing.kind != ThingKind::Fixture {
        return Err(Trouble::new(
            StatusCode::CONFLICT,
            "Only a finished bar is taken apart. Nothing was changed.",
        )
        .or_go(Link::Thing(id), "Back to it"));
    }
    let Some(inside) = db::place::account_inside(&mut tx, id).await? else {
        return Err(Trouble::not_found("finished bar"));
    };
    let dead = thing.condition == Condition::Dead;
    let mut pieces = Vec::new();
    for piece in db::thing::list_at(&mut tx, inside).await? {
        let scrap = if form.has("to") {
            form.all("scrap").any(|sent| sent == piece.id.to_string())
        } else {
            let part = part_of(&mut tx, &piece).await?;
            dead && part.is_some_and(|part| part.spec.kind() == Kind::Tape)
        };
        pieces.push(Piece {
            id: piece.id,
            tag: piece.tag.to_string(),
            scrap,
            name: crate::web::cupboard::thing_line(cx, &piece),
        });
    }
    let counts = db::balance::list_at(&mut tx, inside)
        .await?
        .into_iter()
        .map(|count| {
            (
                count.name.clone(),
                total(cx.unit(), count.unit, count.amount).to_string(),
            )
        })
        .collect();
    let lay = thing
        .place
        .place
        .or(db::stage::last_place(&mut tx, id).await?.map(|it| it.id))
        .map_or_else(String::new, |place| place.to_string());
    let chosen = if form.has("to") {
        form.value("to").to_owned()
    } else {
        lay
    };
    let places = place_choices(&mut tx, &chosen).await?;
    drop(tx);
    Ok(page_with(
        status,
        &ApartPage {
            chrome: cx.chrome(Section::Fixtures, format!("Take {} apart", thing.tag)),
            id,
            tag: thing.tag.to_string(),
            name: thing.name,
            dead: dead && !pieces.is_empty(),
            pieces,
            counts,
            places,
            form,
        },
    ))
}

/// GET: what is in it.
pub async fn get(cx: Cx, Path(id): Path<ThingId>, form: Form) -> Answer {
    show(&cx, id, form, StatusCode::OK).await
}

/// POST: takes it apart.
pub async fn post(cx: Cx, Path(id): Path<ThingId>, mut form: Form) -> Answer {
    let tag = lookup(&mut cx.read().await?, id).await?.tag;
    let (to, reason) = (form.id::<PlaceId>("to"), form.note("reason"));
    let scrap = form
        .all("scrap")
        .map(|text| text.parse::<ThingId>().ok())
        .collect::<Option<Vec<_>>>();
    if scrap.is_none() {
        form.fail(
            "",
            "One of the ticked pieces is none. Load this page again.",
        );
    }
    let (Some(to), Some(reason), Some(scrap)) = (to, reason, scrap) else {
        return show(&cx, id, form, StatusCode::UNPROCESSABLE_ENTITY).await;
    };
    let change = Dismantle {
        fixture: id,
        to,
        scrap,
        reason,
    };
    match cx.act(&form).carry_out(&change).await {
        Ok(done) => Ok(go_with(
            &Link::Repairs,
            &told(
                &format!("{tag} is taken apart; what was kept lies in its place."),
                &done,
            ),
        )),
        Err(why) => {
            let status = refused(&mut form, why)?;
            show(&cx, id, form, status).await
        }
    }
}
