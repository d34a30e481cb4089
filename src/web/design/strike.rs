//! Strike: what is out with a set, and one tap for each thing that comes back.

use askama::Template;
use axum::http::StatusCode;

use super::{
    Head, Tab, count_of, head, load,
    state::{ALL_IN, FOR_GOOD, Steps, all_in},
};
use crate::{
    db,
    model::{
        design::State,
        fixture::Condition,
        id::{DesignId, PartId, PlaceId, ThingId},
        part::StockUnit,
        text::{Note, Tag},
        thing::Thing,
    },
    stock::{
        StockError,
        strike::{self, Back, CheckIn, CheckInRest, CheckWhat, OutWhat},
    },
    units::Length,
    web::{
        at::Path,
        cx::Cx,
        error::{Answer, Trouble},
        form::{Choice, Form},
        link::Link,
        page::{Chrome, Flash, go_with, page_with},
        places::refused,
    },
};

struct ThingRow {
    id: ThingId,
    tag: String,
    href: Link,
    name: String,
    condition: Condition,
    places: Vec<Choice>,
}

struct CountRow {
    part: PartId,
    href: Link,
    name: String,
    amount: String,
    places: Vec<Choice>,
}

#[derive(Template)]
#[template(path = "design/strike.html")]
struct StrikePage {
    chrome: Chrome,
    head: Head,
    things: Vec<ThingRow>,
    counts: Vec<CountRow>,
    places: Vec<Choice>,
    /// The places for a typed tag; the first choice is where that thing came from.
    tag_places: Vec<Choice>,
    backs: Vec<(&'static str, &'static str, &'static str)>,
    form: Form,
    left: String,
    standing: bool,
    /// The button that calls it struck at once and what it cannot undo, where nothing is open.
    strike_now: Option<(&'static str, &'static str)>,
    has_places: bool,
    /// Lines that came from no place in use.
    homeless: usize,
}

fn backs() -> Vec<(&'static str, &'static str, &'static str)> {
    Back::ALL
        .iter()
        .map(|back| {
            let kind = match back {
                Back::Good => "main",
                Back::Lost => "danger",
                Back::Suspect | Back::Dead => "",
            };
            (back.word(), back.label(), kind)
        })
        .collect()
}

async fn show(cx: &Cx, id: DesignId, form: Form) -> Answer {
    let status = if form.ok() {
        StatusCode::OK
    } else {
        StatusCode::UNPROCESSABLE_ENTITY
    };
    list(cx, id, form, status).await
}

/// What was refused, said above the list of what is out.
async fn amiss(cx: &Cx, id: DesignId, mut form: Form, why: StockError) -> Answer {
    match refused(&mut form, why) {
        Ok(status) => list(cx, id, form, status).await,
        Err(trouble) => Err(trouble.or_go(Link::Strike(id), "To what is out")),
    }
}

async fn list(cx: &Cx, id: DesignId, form: Form, status: StatusCode) -> Answer {
    let whole = load::whole(cx, id).await?;
    let mut tx = cx.read().await?;
    let out = match strike::list(&mut tx, id).await {
        // A set of which nothing ever went out has no stage yet.
        Err(StockError::NotFound(_)) => Vec::new(),
        out => out?,
    };
    let nodes = db::place::list(&mut tx, false).await?;
    drop(tx);
    let homeless = out.iter().filter(|line| line.came_from.is_none()).count();
    let places = |chosen: Option<PlaceId>| {
        let chosen = chosen.map_or_else(|| form.value("to").to_owned(), |id| id.to_string());
        Choice::list(
            nodes
                .iter()
                .map(|node| (node.place.id.to_string(), node.place.path.clone())),
            &chosen,
        )
    };
    let (mut things, mut counts) = (Vec::new(), Vec::new());
    for line in out {
        match line.what {
            OutWhat::Thing(thing) => things.push(ThingRow {
                id: thing.id,
                tag: thing.tag.to_string(),
                href: Link::Thing(thing.id),
                name: name_of(cx, &thing),
                condition: thing.condition,
                places: places(line.came_from),
            }),
            OutWhat::Count { part, name, amount } => counts.push(CountRow {
                part,
                href: Link::Part(part),
                name: name.to_string(),
                amount: whole.amount(cx, Some(part), amount),
                places: places(line.came_from),
            }),
        }
    }
    let nothing_out = things.is_empty() && counts.is_empty();
    let steps = Steps::read(cx, id).await?;
    let strike_now = all_in(&whole, steps, nothing_out).then_some((ALL_IN, FOR_GOOD));
    let (mut chrome, head) = head(cx, &whole, Tab::Beside);
    chrome.title = format!("Strike · {}", head.name);
    Ok(page_with(
        status,
        &StrikePage {
            chrome,
            left: count_of(things.len() + counts.len(), "line is", "lines are"),
            homeless,
            things,
            counts,
            tag_places: std::iter::once(Choice {
                value: String::new(),
                label: "where it came from".to_owned(),
                chosen: false,
            })
            .chain(places(None))
            .collect(),
            places: places(None),
            backs: backs(),
            standing: head.state == State::Standing,
            strike_now,
            has_places: !nodes.is_empty(),
            form,
            head,
        },
    ))
}

fn name_of(cx: &Cx, thing: &Thing) -> String {
    match thing.amount.length() {
        Some(length) => format!("{}, {}", thing.name, cx.length(length)),
        None => thing.name.clone(),
    }
}

/// GET: what is out.
pub async fn get(cx: Cx, Path(id): Path<DesignId>, form: Form) -> Answer {
    show(&cx, id, form).await
}

/// Reads how many of a part: a count, or a length for what is measured by length.
async fn amount(
    cx: &Cx,
    form: &mut Form,
    field: &str,
    part: PartId,
) -> Result<Option<i64>, Trouble> {
    let by_length = db::part::lookup(&mut *cx.read().await?, part)
        .await?
        .is_some_and(|part| part.unit() != StockUnit::Each);
    if form.value(field).trim().is_empty() {
        return Ok(Some(0));
    }
    Ok(if by_length {
        form.length(field, cx.unit()).map(Length::get)
    } else {
        form.count(field, 0, 1_000_000_000)
    })
}

/// What the form says comes back, with its name for the message.
async fn what(cx: &Cx, form: &mut Form) -> Result<Option<(CheckWhat, String)>, Trouble> {
    if form.has("part") {
        let Some(part) = form.id::<PartId>("part") else {
            return Ok(None);
        };
        let back = amount(cx, form, "back", part).await?;
        let lost = amount(cx, form, "gone", part).await?;
        let (Some(back), Some(lost)) = (back, lost) else {
            return Ok(None);
        };
        if back + lost == 0 {
            form.fail("back", "Type how many come back, or how many are lost.");
            return Ok(None);
        }
        return Ok(Some((
            CheckWhat::Count { part, back, lost },
            "They are".to_owned(),
        )));
    }
    let how = form.word::<Back>("how");
    let found = if form.has("tag") {
        match form.take("tag", Tag::sought) {
            Some(tag) => {
                let thing = db::thing::find_by_typed_tag(&mut *cx.read().await?, &tag).await?;
                if thing.is_none() {
                    form.fail("tag", format!("Nothing has the tag {tag}. Type it again."));
                }
                thing
            }
            None => None,
        }
    } else {
        match form.id::<ThingId>("thing") {
            Some(id) => db::thing::lookup(&mut *cx.read().await?, id).await?,
            None => None,
        }
    };
    Ok(match (found, how) {
        (Some(thing), Some(how)) => Some((
            CheckWhat::Thing {
                thing: thing.id,
                how,
            },
            format!("{} is {how}", thing.tag),
        )),
        _ => None,
    })
}

/// POST: one line comes back, or is lost.
pub async fn line(cx: Cx, Path(id): Path<DesignId>, mut form: Form) -> Answer {
    let what = what(&cx, &mut form).await?;
    let to = form.optional_id::<PlaceId>("to").flatten();
    let Some((what, words)) = what.filter(|_| form.ok()) else {
        if form.ok() {
            form.fail("", "That thing is no longer known. Nothing was changed.");
        }
        return show(&cx, id, form).await;
    };
    let asked = CheckIn {
        design: id,
        what,
        to,
        reason: Note::default(),
    };
    match cx.act(&form).carry_out(&asked).await {
        Ok(done) => {
            let text = match what {
                CheckWhat::Thing { .. } => format!("{words}."),
                CheckWhat::Count { .. } => format!("{words} checked in."),
            };
            let mut flash = Flash::good(text);
            flash.undoes = done.movement;
            Ok(go_with(&Link::Strike(id), &flash))
        }
        Err(StockError::NotFound("set")) => Err(load::no_design()),
        Err(StockError::Field { field, message }) => {
            let field = if field == "lost" {
                "gone".to_owned()
            } else {
                field
            };
            form.fail(if form.has(&field) { &field } else { "" }, message);
            show(&cx, id, form).await
        }
        Err(why) => amiss(&cx, id, form, why).await,
    }
}

/// POST: all that is still out comes back as it is.
pub async fn rest(cx: Cx, Path(id): Path<DesignId>, mut form: Form) -> Answer {
    let to = form.optional_id::<PlaceId>("to").flatten();
    if !form.ok() {
        return show(&cx, id, form).await;
    }
    let asked = CheckInRest {
        design: id,
        to,
        reason: Note::default(),
    };
    match cx.act(&form).carry_out(&asked).await {
        Ok(done) => {
            let mut flash = Flash::good("All that was still out is back, as it is.".to_owned());
            flash.undoes = done.movement;
            Ok(go_with(&Link::Strike(id), &flash))
        }
        Err(StockError::NotFound("set")) => Err(load::no_design()),
        Err(StockError::Field { message, .. }) => {
            form.fail("rest", message);
            show(&cx, id, form).await
        }
        Err(why) => amiss(&cx, id, form, why).await,
    }
}
