//! A stocktake: walk along a place, put numbers in; each line is saved by itself.

use askama::Template;
use axum::http::{HeaderMap, StatusCode};

use super::{lookup, refused};
use crate::{
    db::{
        self, ReadTx,
        movement::{Entry, EntryLine},
        thing::ThingFilter,
    },
    model::{
        design::State,
        id::{AccountId, PartId, PlaceId, ThingId},
        movement::{AccountKind, MovementKind},
        part::{Part, StockBy, StockUnit},
        text::{Note, Tag},
        thing::{Thing, ThingKind},
    },
    stock::{
        Done, StockError, What,
        change::AMOUNT_LIMIT,
        count::{Counted, Measured, Seen},
        out::{Fate, Out},
    },
    units::Length,
    web::{
        at::Path,
        cx::Cx,
        error::{Answer, Trouble},
        form::{Choice, Form},
        link::Link,
        log::Line,
        page::{Chrome, FlashKind, Section, go_with, page_with},
        show::{PAGE, Pager, told},
    },
};

/// A part kept by count, with its stepper.
struct Item {
    /// The part or the place, whichever tells the lines of the page apart.
    key: i64,
    href: Link,
    name: String,
    sub: String,
    part: PartId,
    place: PlaceId,
    by_length: bool,
    amount: String,
    /// Whether its number was corrected today.
    corrected: bool,
    errors: Vec<String>,
}

/// A thing with a tag.
struct Tagged {
    id: ThingId,
    href: Link,
    tag: String,
    name: String,
    length: String,
    draft: String,
    /// Whether its length can be found to be another: a roll's, bar's or offcut's.
    piece: bool,
    /// What stands in the field of its length.
    typed: String,
    errors: Vec<String>,
    /// Whether it is asked if it is really so long or so short.
    ask: bool,
    /// Whether its length was corrected today.
    corrected: bool,
}

#[derive(Template)]
#[template(path = "places/count.html")]
struct CountPage {
    chrome: Chrome,
    form: Form,
    action: Link,
    back: Link,
    path: String,
    why: String,
    items: Vec<Item>,
    things: Vec<Tagged>,
    pager: Option<Pager>,
    parts: Vec<Choice>,
    lines: Vec<Line>,
    next: Option<(Link, String)>,
}

/// Why one counts, where nothing else is said.
const WHY: &str = "stocktake";

fn why(form: &Form) -> String {
    let why = form.value("why").trim();
    if why.is_empty() { WHY } else { why }.to_owned()
}

/// An amount as its field holds it.
fn typed(cx: &Cx, unit: StockUnit, amount: i64) -> String {
    match unit {
        StockUnit::Each | StockUnit::CutUnits(_) => amount.to_string(),
        StockUnit::Micrometres => {
            Length::new(amount).map_or_else(|_| amount.to_string(), |length| cx.exact(length))
        }
    }
}

/// What was found different today, newest first: in a place, or of a part.
async fn differences(
    cx: &Cx,
    tx: &mut ReadTx,
    account: Option<AccountId>,
    part: Option<PartId>,
) -> Result<Vec<Entry>, Trouble> {
    let mut entries = Vec::new();
    for id in db::overview::list_differences(tx, account, part, cx.today).await? {
        entries.extend(db::movement::lookup(tx, id).await?);
    }
    Ok(entries)
}

/// Whether one of these corrected the number of a part in a place, and stands.
fn corrected(entries: &[Entry], part: PartId, place: PlaceId) -> bool {
    let here = |line: &EntryLine| {
        let places = [line.from.place, line.to.place];
        line.thing.is_none() && line.part == Some(part) && places.contains(&Some(place))
    };
    let standing = |entry: &&Entry| entry.kind == MovementKind::Count && entry.may_undo();
    (entries.iter().filter(standing)).any(|entry| entry.lines.iter().any(here))
}

/// Whether one of these corrected the length of a piece, and stands.
fn measured(entries: &[Entry], thing: ThingId) -> bool {
    let standing = |entry: &&Entry| entry.kind == MovementKind::Count && entry.may_undo();
    let mut lines = entries
        .iter()
        .filter(standing)
        .flat_map(|entry| &entry.lines);
    lines.any(|line| line.thing == Some(thing))
}

fn tagged(cx: &Cx, thing: &Thing, found: &[Entry], form: &Form) -> Tagged {
    let mine =
        form.value("do") == "length" && !form.ok() && form.value("thing") == thing.id.to_string();
    let length = thing.amount.length();
    Tagged {
        id: thing.id,
        href: Link::Thing(thing.id),
        tag: thing.tag.to_string(),
        name: thing.name.clone(),
        length: length.map_or_else(String::new, |length| cx.length(length)),
        draft: format!("here-{}-{}", cx.today, thing.id),
        piece: thing.kind == ThingKind::Piece,
        typed: if mine {
            form.value("length").to_owned()
        } else {
            String::new()
        },
        errors: if mine {
            let all = form.all_errors().into_iter();
            all.filter(|said| !form.errors("really").contains(said))
                .cloned()
                .collect()
        } else {
            Vec::new()
        },
        ask: mine && (form.ticked("really") || !form.errors("really").is_empty()),
        corrected: measured(found, thing.id),
    }
}

async fn items(
    cx: &Cx,
    tx: &mut ReadTx,
    place: PlaceId,
    account: AccountId,
    found: &[Entry],
    form: &Form,
) -> Result<Vec<Item>, Trouble> {
    let refused: Option<PartId> = (form.value("do") == "count" && !form.ok())
        .then(|| form.value("part").parse().ok())
        .flatten();
    Ok(db::balance::list_at(tx, account)
        .await?
        .into_iter()
        .map(|count| {
            let mine = refused == Some(count.part);
            Item {
                key: count.part.0,
                href: Link::Part(count.part),
                sub: count.kind.to_string(),
                part: count.part,
                place,
                by_length: count.unit == StockUnit::Micrometres,
                corrected: corrected(found, count.part, place),
                amount: if mine {
                    form.value("amount").to_owned()
                } else {
                    typed(cx, count.unit, count.amount)
                },
                errors: if mine {
                    form.all_errors().into_iter().cloned().collect()
                } else {
                    Vec::new()
                },
                name: count.name,
            }
        })
        .collect())
}

async fn show(cx: &Cx, id: PlaceId, form: Form, status: StatusCode) -> Answer {
    let mut tx = cx.read().await?;
    let place = lookup(&mut tx, id).await?;
    let account = db::place::account(&mut tx, id)
        .await?
        .ok_or_else(|| Trouble::not_found("place"))?;
    let found = differences(cx, &mut tx, Some(account), None).await?;
    let items = items(cx, &mut tx, id, account, &found, &form).await?;
    let (number, offset) = Pager::asked(&form);
    let filter = ThingFilter {
        account: Some(account),
        ..ThingFilter::default()
    };
    let mut things = db::thing::list(&mut tx, &filter, offset, PAGE + 1).await?;
    let most = usize::try_from(PAGE).unwrap_or(usize::MAX);
    let more = things.len() > most;
    things.truncate(most);
    let parts = db::part::list(&mut tx, None, false).await?;
    let nodes = db::place::list(&mut tx, false).await?;
    drop(tx);
    let next = nodes
        .iter()
        .position(|node| node.place.id == id)
        .and_then(|at| nodes.get(at + 1))
        .map(|node| {
            (
                Link::PlaceCount(node.place.id),
                format!("On to {}", node.place.path),
            )
        });
    let why = why(&form);
    Ok(page_with(
        status,
        &CountPage {
            chrome: cx.chrome(Section::Cupboard, format!("Count {}", place.name)),
            action: Link::PlaceCount(id),
            back: Link::Place(id),
            path: place.path,
            things: things
                .iter()
                .map(|thing| tagged(cx, thing, &found, &form))
                .collect(),
            pager: Pager::new(number, things.len(), more, |page| {
                Link::PlaceCount(id).with([("page", page), ("why", why.clone())])
            }),
            parts: Choice::list(
                parts
                    .iter()
                    .filter(|part| part.stock_by() == StockBy::Count)
                    .map(|part| (part.id, part.name.to_string())),
                form.value("part"),
            ),
            why,
            items,
            lines: found.iter().map(|entry| Line::new(cx, entry)).collect(),
            next,
            form,
        },
    ))
}

/// GET: the place to be counted.
pub async fn get(cx: Cx, Path(id): Path<PlaceId>, form: Form) -> Answer {
    show(&cx, id, form, StatusCode::OK).await
}

/// An amount of a part kept by count, as typed; with scripting off, a press of − or + counts too.
fn amount(form: &mut Form, cx: &Cx, part: &Part) -> Option<i64> {
    if part.stock_by() != StockBy::Count {
        form.fail("part", "This part is kept with tags: add it by its tag.");
        return None;
    }
    if part.unit() == StockUnit::Micrometres {
        return form.length("amount", cx.unit()).map(Length::get);
    }
    let step = form.value("step").parse::<i64>().unwrap_or(0).clamp(-1, 1);
    form.count("amount", 0, AMOUNT_LIMIT)
        .map(|amount| (amount + step).max(0))
}

/// The part that a line is about, with what was typed of it.
async fn counted(cx: &Cx, form: &mut Form) -> Result<Option<(Part, i64)>, Trouble> {
    let Some(id) = form.id::<PartId>("part") else {
        return Ok(None);
    };
    let Some(part) = db::part::lookup(&mut *cx.read().await?, id).await? else {
        form.fail("part", "Choose one from the list.");
        return Ok(None);
    };
    Ok(amount(form, cx, &part).map(|amount| (part, amount)))
}

/// POST: one line of the stocktake.
pub async fn post(cx: Cx, Path(id): Path<PlaceId>, mut form: Form) -> Answer {
    let place = lookup(&mut cx.read().await?, id).await?;
    let reason = form.take("why", |text| {
        Note::parse(if text.trim().is_empty() { WHY } else { text })
    });
    let Some(reason) = reason else {
        return show(&cx, id, form, StatusCode::UNPROCESSABLE_ENTITY).await;
    };
    let act = cx.act(&form);
    // Whether somebody counts on it elsewhere.
    let mut missed = false;
    let (said, result) = match form.value("do") {
        "gone" => {
            let Some(thing) = form.id::<ThingId>("thing") else {
                return show(&cx, id, form, StatusCode::UNPROCESSABLE_ENTITY).await;
            };
            let change = Out {
                fate: Fate::Lost,
                what: vec![What::Thing { thing }],
                reason,
                design: None,
            };
            let named = db::thing::lookup(&mut *cx.read().await?, thing).await?;
            let named = named.map_or_else(|| "It".to_owned(), |thing| thing.tag.to_string());
            (
                format!("{named} is noted as lost."),
                act.carry_out(&change).await,
            )
        }
        "length" => {
            let thing = form.id::<ThingId>("thing");
            let length = form.length_above_zero("length", cx.unit());
            let (Some(thing), Some(length)) = (thing, length) else {
                return show(&cx, id, form, StatusCode::UNPROCESSABLE_ENTITY).await;
            };
            let change = Measured {
                piece: thing,
                length,
                really: form.ticked("really"),
                reason,
            };
            (
                format!(
                    "It is {} long in the book now, under the same tag.",
                    cx.length(length)
                ),
                act.carry_out(&change).await,
            )
        }
        "tag" => {
            let Some(tag) = form.take("tag", Tag::sought) else {
                return show(&cx, id, form, StatusCode::UNPROCESSABLE_ENTITY).await;
            };
            let found = db::thing::find_by_typed_tag(&mut *cx.read().await?, &tag).await?;
            let Some(thing) = found else {
                form.fail(
                    "tag",
                    format!("Nothing has the tag {tag}. Look again, or enter the thing as new."),
                );
                return show(&cx, id, form, StatusCode::UNPROCESSABLE_ENTITY).await;
            };
            let change = Seen {
                thing: thing.id,
                place: id,
                reason,
            };
            let said = match elsewhere(&cx, &thing).await? {
                Some(words) => {
                    missed = true;
                    format!("{} was {words}: it is here now.", thing.tag)
                }
                None => format!("{} is here.", thing.tag),
            };
            (said, act.carry_out(&change).await)
        }
        "more" => {
            let Some((part, more)) = counted(&cx, &mut form).await? else {
                return show(&cx, id, form, StatusCode::UNPROCESSABLE_ENTITY).await;
            };
            if more == 0 {
                form.fail("amount", "Type a number above zero.");
                return show(&cx, id, form, StatusCode::UNPROCESSABLE_ENTITY).await;
            }
            let change = Counted {
                part: part.id,
                place: id,
                counted: more,
                reason,
            };
            // The number that lies here now, whatever the book had.
            (
                format!("{} counted in {}.", part.name, place.name),
                act.carry_out(&change).await,
            )
        }
        _ => {
            let Some((part, counted)) = counted(&cx, &mut form).await? else {
                return show(&cx, id, form, StatusCode::UNPROCESSABLE_ENTITY).await;
            };
            let change = Counted {
                part: part.id,
                place: id,
                counted,
                reason,
            };
            (
                format!("{} counted.", part.name),
                act.carry_out(&change).await,
            )
        }
    };
    let back = || Link::PlaceCount(id).with([("why", form.value("why").to_owned())]);
    answered(&cx, id, (&said, missed), result, &back(), form.clone()).await
}

/// With whom a thing is by the book, where that is a set or a borrower.
async fn elsewhere(cx: &Cx, thing: &Thing) -> Result<Option<String>, Trouble> {
    Ok(match (thing.place.kind, thing.place.design) {
        (AccountKind::Design, Some(set)) => db::design::lookup(&mut *cx.read().await?, set)
            .await?
            .map(|set| match set.state {
                State::Standing => format!("out with {}, which stands", set.name),
                _ => format!("out with {}", set.name),
            }),
        (AccountKind::Loan, _) => Some(thing.place.words.clone()),
        _ => None,
    })
}

async fn answered(
    cx: &Cx,
    id: PlaceId,
    (said, missed): (&str, bool),
    result: Result<Done, StockError>,
    back: &Link,
    mut form: Form,
) -> Answer {
    match result {
        Ok(done) if done.movement.is_some() => {
            let mut flash = told(said, &done);
            if missed {
                flash.kind = FlashKind::Warn;
            }
            Ok(go_with(back, &flash))
        }
        Ok(done) => Ok(go_with(
            back,
            &told(
                "The book says the same; nothing had to be corrected.",
                &done,
            ),
        )),
        Err(why) => {
            let status = refused(&mut form, why)?;
            for message in form.errors("counted").to_vec() {
                form.fail("amount", message);
            }
            show(cx, id, form, status).await
        }
    }
}

#[derive(Template)]
#[template(path = "places/count_part.html")]
struct PartPage {
    chrome: Chrome,
    form: Form,
    action: Link,
    back: Link,
    name: String,
    items: Vec<Item>,
    places: Vec<Choice>,
    by_length: bool,
    lines: Vec<Line>,
}

async fn show_part(cx: &Cx, id: PartId, form: Form, status: StatusCode) -> Answer {
    let mut tx = cx.read().await?;
    let part = db::part::lookup(&mut tx, id)
        .await?
        .ok_or_else(|| Trouble::not_found("part").or_go(Link::Cupboard, "To the cupboard"))?;
    if part.stock_by() != StockBy::Count {
        return Err(Trouble::new(
            StatusCode::NOT_FOUND,
            format!(
                "{} is kept with tags: each is found or not by itself. Count the place that it lies in.",
                part.name
            ),
        )
        .or_go(Link::Places, "Choose the place"));
    }
    let refused: Option<PlaceId> = (!form.ok())
        .then(|| form.value("place").parse().ok())
        .flatten();
    let spots = db::balance::list_of_part(&mut tx, id).await?;
    let nodes = db::place::list(&mut tx, false).await?;
    let found = differences(cx, &mut tx, None, Some(id)).await?;
    drop(tx);
    let by_length = part.unit() == StockUnit::Micrometres;
    let items: Vec<Item> = spots
        .iter()
        .filter_map(|spot| {
            let place = spot.place.place?;
            let mine = refused == Some(place);
            Some(Item {
                key: place.0,
                href: Link::Place(place),
                name: spot.place.words.clone(),
                sub: String::new(),
                part: id,
                place,
                by_length,
                corrected: corrected(&found, id, place),
                amount: if mine {
                    form.value("amount").to_owned()
                } else {
                    typed(cx, part.unit(), spot.amount)
                },
                errors: if mine {
                    form.all_errors().into_iter().cloned().collect()
                } else {
                    Vec::new()
                },
            })
        })
        .collect();
    let others = nodes
        .iter()
        .filter(|node| items.iter().all(|item| item.place != node.place.id))
        .map(|node| (node.place.id, node.place.path.clone()));
    Ok(page_with(
        status,
        &PartPage {
            chrome: cx.chrome(Section::Cupboard, format!("Count {}", part.name)),
            action: Link::PartCount(id),
            back: Link::Part(id),
            places: Choice::list(others, form.value("place")),
            name: part.name.to_string(),
            by_length,
            items,
            lines: found.iter().map(|entry| Line::new(cx, entry)).collect(),
            form,
        },
    ))
}

/// GET: one part, to be counted wherever it lies.
pub async fn get_part(cx: Cx, Path(id): Path<PartId>, form: Form) -> Answer {
    show_part(&cx, id, form, StatusCode::OK).await
}

/// POST: the number of a part in one place.
pub async fn post_part(
    cx: Cx,
    Path(id): Path<PartId>,
    headers: HeaderMap,
    mut form: Form,
) -> Answer {
    form.set("part", id.to_string());
    let place = form.id::<PlaceId>("place");
    let counted = counted(&cx, &mut form).await?;
    let (Some(place), Some((part, counted))) = (place, counted) else {
        return show_part(&cx, id, form, StatusCode::UNPROCESSABLE_ENTITY).await;
    };
    let change = Counted {
        part: id,
        place,
        counted,
        reason: Note::parse(WHY).unwrap_or_default(),
    };
    match cx.act(&form).carry_out(&change).await {
        Ok(done) => Ok(go_with(
            &Link::back(&headers).unwrap_or(Link::PartCount(id)),
            &told(&format!("{} counted.", part.name), &done),
        )),
        Err(why) => {
            let status = refused(&mut form, why)?;
            for message in form.errors("counted").to_vec() {
                form.fail("amount", message);
            }
            for message in form.errors("to").to_vec() {
                form.fail("place", message);
            }
            show_part(&cx, id, form, status).await
        }
    }
}
