//! What one does with a thing on its own page: each is one movement, with its undo beside it.

use axum::http::StatusCode;

use super::{lookup, show};
use crate::{
    model::{
        fixture::Condition,
        id::{AccountId, PartId, PlaceId, ThingId},
        movement::AccountKind,
        text::Note,
        thing::Thing,
    },
    stock::{
        Change, Done, What,
        lend::{GiveBack, Lend},
        mark::MarkCondition,
        mount::{Mount, Unmount},
        move_::Move,
        out::{Fate, Find, LostWhat, Out},
    },
    units::say_day,
    web::{
        at::Path,
        cx::Cx,
        error::Answer,
        form::Form,
        link::Link,
        page::{Flash, go_with},
        places::refused,
        show::{Pager, told},
    },
};

/// Where a button leads back to: the list of what is to be repaired, if it stands there.
fn back(form: &Form, id: ThingId) -> Link {
    if !from_repairs(form) {
        return Link::Thing(id);
    }
    let (page, _) = Pager::asked(form);
    let page = (page > 1).then(|| page.to_string());
    Link::Repairs.with([("page", page.unwrap_or_default())])
}

fn from_repairs(form: &Form) -> bool {
    form.value("from") == "repairs"
}

/// What is said of a thing: by its tag in a list, where `It` would be any of them.
fn said_of(form: &Form, thing: &Thing, said: &str) -> String {
    if from_repairs(form) {
        said.replacen("It", thing.tag.as_str(), 1)
    } else {
        said.to_owned()
    }
}

/// Carries out a change and leads back to the thing, or shows the thing with what was refused.
async fn carry_out<C: Change<Answer = Done> + Sync>(
    cx: &Cx,
    id: ThingId,
    mut form: Form,
    open: &'static str,
    change: &C,
    said: &str,
) -> Answer {
    let back = back(&form, id);
    match cx.act(&form).carry_out(change).await {
        Ok(done) if done.movement.is_some() => Ok(go_with(&back, &told(said, &done))),
        Ok(_) => Ok(go_with(
            &back,
            &Flash::good("It was so already; nothing had to be written down."),
        )),
        Err(why) => {
            let status = refused(&mut form, why)?;
            show(cx, id, form, open, status).await
        }
    }
}

fn unreadable(
    cx: &Cx,
    id: ThingId,
    form: Form,
    open: &'static str,
) -> impl Future<Output = Answer> {
    show(cx, id, form, open, StatusCode::UNPROCESSABLE_ENTITY)
}

/// POST: moves it to a place; what was lost is found by it.
pub async fn moved(cx: Cx, Path(id): Path<ThingId>, mut form: Form) -> Answer {
    let thing = lookup(&mut cx.read().await?, id).await?;
    let (to, reason) = (form.id::<PlaceId>("to"), form.note("reason"));
    let (Some(to), Some(reason)) = (to, reason) else {
        return unreadable(&cx, id, form, "move").await;
    };
    if thing.place.kind == AccountKind::Lost {
        let find = Find {
            what: LostWhat::Thing(id),
            to,
            reason,
        };
        return carry_out(&cx, id, form, "move", &find, "It is found.").await;
    }
    let change = Move {
        what: vec![What::Thing { thing: id }],
        to,
        reason,
    };
    carry_out(&cx, id, form, "move", &change, "It was moved.").await
}

/// POST: used up, scrapped or lost.
pub async fn out(cx: Cx, Path(id): Path<ThingId>, mut form: Form) -> Answer {
    let thing = lookup(&mut cx.read().await?, id).await?;
    let fate = form.take("how", |how| match how {
        "use" => Ok((Fate::Used, "It is used up.")),
        "scrap" => Ok((Fate::Scrapped, "It is scrapped.")),
        "lose" => Ok((Fate::Lost, "It is noted as lost.")),
        _ => Err("Press one of the three buttons."),
    });
    let reason = form.note("reason");
    let (Some((fate, said)), Some(reason)) = (fate, reason) else {
        return unreadable(&cx, id, form, "out").await;
    };
    let change = Out {
        fate,
        what: vec![What::Thing { thing: id }],
        reason,
        design: None,
    };
    let said = said_of(&form, &thing, said);
    carry_out(&cx, id, form, "out", &change, &said).await
}

/// POST: good, suspect or dead.
pub async fn mark(cx: Cx, Path(id): Path<ThingId>, mut form: Form) -> Answer {
    let thing = lookup(&mut cx.read().await?, id).await?;
    let (condition, reason) = (form.word::<Condition>("condition"), form.note("reason"));
    let (Some(condition), Some(reason)) = (condition, reason) else {
        return unreadable(&cx, id, form, "mark").await;
    };
    let change = MarkCondition {
        thing: id,
        condition,
        reason,
    };
    let said = said_of(&form, &thing, &format!("It is marked {condition}."));
    carry_out(&cx, id, form, "mark", &change, &said).await
}

/// POST: lends it to somebody.
pub async fn lend(cx: Cx, Path(id): Path<ThingId>, mut form: Form) -> Answer {
    lookup(&mut cx.read().await?, id).await?;
    let (borrower, due_on, note) = (
        form.name("borrower"),
        form.date("due_on"),
        form.note("reason"),
    );
    let (Some(borrower), Some(due_on), Some(note)) = (borrower, due_on, note) else {
        return unreadable(&cx, id, form, "lend").await;
    };
    let said = format!("It is lent to {borrower} until {}.", say_day(due_on));
    let change = Lend {
        what: vec![What::Thing { thing: id }],
        borrower,
        due_on,
        note,
    };
    carry_out(&cx, id, form, "lend", &change, &said).await
}

/// POST: it came back from a loan.
pub async fn give_back(cx: Cx, Path(id): Path<ThingId>, mut form: Form) -> Answer {
    lookup(&mut cx.read().await?, id).await?;
    let (to, reason) = (form.id::<PlaceId>("to"), form.note("reason"));
    let (Some(to), Some(reason)) = (to, reason) else {
        return unreadable(&cx, id, form, "give-back").await;
    };
    let change = GiveBack {
        what: vec![What::Thing { thing: id }],
        to,
        reason,
    };
    carry_out(&cx, id, form, "give-back", &change, "It is back.").await
}

/// Reads `part@account`, as the choices of what to mount send it.
fn part_at(text: &str) -> Result<(PartId, AccountId), &'static str> {
    text.split_once('@')
        .and_then(|(part, account)| Some((part.parse().ok()?, account.parse().ok()?)))
        .ok_or("Choose one from the list.")
}

/// POST: puts something on a frame, or takes it off to where the frame lies.
pub async fn mount(cx: Cx, Path(id): Path<ThingId>, mut form: Form) -> Answer {
    let frame = lookup(&mut cx.read().await?, id).await?;
    let reason = Note::default();
    let what = match form.value("do") {
        "count" => {
            let from = form.take("count", part_at);
            let amount = form.count("amount", 1, 100_000);
            from.zip(amount)
                .map(|((part, from), amount)| What::Count { part, amount, from })
        }
        _ => form
            .id::<ThingId>("thing")
            .map(|thing| What::Thing { thing }),
    };
    let Some(what) = what else {
        return unreadable(&cx, id, form, "mount").await;
    };
    if form.value("do") == "off" {
        let Some(to) = frame.place.place else {
            form.fail(
                "",
                format!(
                    "{} is {}. Nothing was taken off. Bring it back to a place first.",
                    frame.tag, frame.place.words
                ),
            );
            return show(&cx, id, form, "mount", StatusCode::CONFLICT).await;
        };
        let change = Unmount {
            what: vec![what],
            to,
            reason,
        };
        return carry_out(&cx, id, form, "mount", &change, "It was taken off.").await;
    }
    let change = Mount {
        what: vec![what],
        frame: id,
        reason,
    };
    carry_out(&cx, id, form, "mount", &change, "It is mounted.").await
}
