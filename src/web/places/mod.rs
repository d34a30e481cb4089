//! Places to keep things: the tree of them, one with what lies in it, its change.

pub mod count;

use askama::Template;
use axum::http::StatusCode;

use super::{
    at::Path,
    clash::{Clash, Field},
    cx::Cx,
    error::{Answer, Trouble, stock_status},
    form::{Choice, Form},
    link::Link,
    log::Line,
    page::{Chrome, Flash, Section, go_with, page, page_with},
    show::{PAGE, Pager, Shown, counted, total},
};
use crate::{
    db::{
        self, ReadTx,
        movement::{About, LogFilter},
        place::{Filling, NewPlace, PlaceNode},
        thing::ThingFilter,
    },
    model::{
        id::PlaceId,
        place::{Place, PlaceKind},
        text::Note,
    },
    stock::{self, StockError},
};

/// A place in the list.
struct Node {
    href: Link,
    count: Link,
    name: String,
    sub: String,
    depth: usize,
}

#[derive(Template)]
#[template(path = "places/list.html")]
struct PlacesPage {
    chrome: Chrome,
    form: Form,
    nodes: Vec<Node>,
    retired: Vec<Node>,
    kinds: Vec<Choice>,
    parents: Vec<Choice>,
}

fn node((node, filling): &(PlaceNode, Filling)) -> Node {
    let mut lies = Vec::new();
    if filling.things > 0 {
        lies.push(counted(filling.things, "thing", "things"));
    }
    if filling.counts > 0 {
        lies.push(counted(filling.counts, "part by count", "parts by count"));
    }
    Node {
        href: Link::Place(node.place.id),
        count: Link::PlaceCount(node.place.id),
        name: node.place.name.to_string(),
        sub: if lies.is_empty() {
            node.place.kind.to_string()
        } else {
            format!("{}: {}", node.place.kind, lies.join(", "))
        },
        depth: node.depth.min(6),
    }
}

fn kinds(chosen: &str) -> Vec<Choice> {
    Choice::list(
        PlaceKind::ALL
            .iter()
            .map(|kind| (kind.word(), kind.label())),
        chosen,
    )
}

fn parents<'a>(
    nodes: impl Iterator<Item = &'a PlaceNode>,
    but: Option<PlaceId>,
    chosen: &str,
) -> Vec<Choice> {
    Choice::list(
        std::iter::once((String::new(), "nothing: it stands by itself".to_owned())).chain(
            nodes
                .filter(|node| !node.place.retired && Some(node.place.id) != but)
                .map(|node| (node.place.id.to_string(), node.place.path.clone())),
        ),
        chosen,
    )
}

async fn list(cx: &Cx, form: Form, status: StatusCode) -> Answer {
    let nodes = db::place::list_filled(&mut *cx.read().await?, true).await?;
    let (retired, used): (Vec<_>, Vec<_>) = nodes.iter().partition(|(node, _)| node.place.retired);
    Ok(page_with(
        status,
        &PlacesPage {
            chrome: cx.chrome(Section::Cupboard, "Places"),
            nodes: used.into_iter().map(node).collect(),
            retired: retired.into_iter().map(node).collect(),
            kinds: kinds(form.value("kind")),
            parents: parents(
                nodes.iter().map(|(node, _)| node),
                None,
                form.value("parent"),
            ),
            form,
        },
    ))
}

/// GET: every place.
pub async fn get(cx: Cx, form: Form) -> Answer {
    list(&cx, form, StatusCode::OK).await
}

/// POST: adds a place.
pub async fn post(cx: Cx, mut form: Form) -> Answer {
    let name = form.name("name");
    let kind = form.word::<PlaceKind>("kind");
    let parent = form.optional_id::<PlaceId>("parent");
    let (Some(name), Some(kind), Some(parent)) = (name, kind, parent) else {
        return list(&cx, form, StatusCode::UNPROCESSABLE_ENTITY).await;
    };
    let new = NewPlace {
        parent,
        name,
        kind,
        position: 0,
        note: Note::default(),
    };
    match stock::place::add(&cx.act(&form), &new).await {
        Ok(_) => Ok(go_with(
            &Link::Places,
            &Flash::good(format!("{} was added.", new.name)),
        )),
        Err(why) => {
            let status = refused(&mut form, why)?;
            list(&cx, form, status).await
        }
    }
}

/// Puts a refusal beside its field, or above the form; what is no fault of the form goes on.
pub fn refused(form: &mut Form, why: StockError) -> Result<StatusCode, Trouble> {
    match why {
        StockError::Field { field, message } => {
            form.fail(&field, message);
            Ok(StatusCode::UNPROCESSABLE_ENTITY)
        }
        StockError::Refused(_)
        | StockError::KeyReused
        | StockError::Db(db::DbError::Refused(_)) => {
            let status = stock_status(&why);
            form.fail("", why);
            Ok(status)
        }
        why => Err(why.into()),
    }
}

/// A part in a place.
struct CountRow {
    href: Link,
    name: String,
    sub: String,
    amount: Shown,
}

/// A thing in a place.
struct ThingRow {
    href: Link,
    tag: String,
    name: String,
    length: String,
    condition: &'static str,
}

#[derive(Template)]
#[template(path = "places/one.html")]
struct PlacePage {
    chrome: Chrome,
    places: Link,
    parent: Option<(Link, String)>,
    retired: bool,
    note: String,
    inside: Vec<(Link, String)>,
    counts: Vec<CountRow>,
    things: Vec<ThingRow>,
    pager: Option<Pager>,
    lines: Vec<Line>,
    count: Link,
    labels: Link,
    edit: Link,
    retire: Link,
    retire_word: &'static str,
    retire_value: &'static str,
}

/// The place of an id, or a page that says that there is none.
pub async fn lookup(tx: &mut ReadTx, id: PlaceId) -> Result<Place, Trouble> {
    db::place::lookup(tx, id)
        .await?
        .ok_or_else(|| Trouble::not_found("place").or_go(Link::Places, "All places"))
}

/// GET: one place, with what lies in it.
pub async fn one(cx: Cx, Path(id): Path<PlaceId>, form: Form) -> Answer {
    let mut tx = cx.read().await?;
    let place = lookup(&mut tx, id).await?;
    let Some(account) = db::place::account(&mut tx, id).await? else {
        return Err(Trouble::not_found("place"));
    };
    let (number, offset) = Pager::asked(&form);
    let filter = ThingFilter {
        account: Some(account),
        ..ThingFilter::default()
    };
    let mut things = db::thing::list(&mut tx, &filter, offset, PAGE + 1).await?;
    let most = usize::try_from(PAGE).unwrap_or(usize::MAX);
    let more = things.len() > most;
    things.truncate(most);
    let counts = db::balance::list_at(&mut tx, account).await?;
    let nodes = db::place::list(&mut tx, false).await?;
    let log = LogFilter {
        about: About::Account(account),
        ..LogFilter::default()
    };
    let entries = db::movement::list(&mut tx, &log, 10).await?;
    drop(tx);
    let parent = place.parent.and_then(|id| {
        nodes
            .iter()
            .find(|node| node.place.id == id)
            .map(|node| (Link::Place(id), node.place.path.clone()))
    });
    Ok(page(&PlacePage {
        chrome: cx.chrome(Section::Cupboard, place.name.to_string()),
        places: Link::Places,
        parent,
        note: place.note.as_str().to_owned(),
        inside: nodes
            .iter()
            .filter(|node| node.place.parent == Some(id))
            .map(|node| (Link::Place(node.place.id), node.place.name.to_string()))
            .collect(),
        counts: counts
            .iter()
            .map(|count| CountRow {
                href: Link::Part(count.part),
                name: count.name.clone(),
                sub: count.kind.to_string(),
                amount: total(cx.unit(), count.unit, count.amount),
            })
            .collect(),
        pager: Pager::new(number, things.len(), more, |page| {
            Link::Place(id).with([("page", page)])
        }),
        things: things
            .iter()
            .map(|thing| ThingRow {
                href: Link::Thing(thing.id),
                tag: thing.tag.to_string(),
                name: thing.name.clone(),
                length: thing
                    .amount
                    .length()
                    .map_or_else(String::new, |length| cx.length(length)),
                condition: thing.condition.word(),
            })
            .collect(),
        lines: entries.iter().map(|entry| Line::new(&cx, entry)).collect(),
        count: Link::PlaceCount(id),
        labels: Link::Labels.with([("kind", "places".to_owned()), ("at", id.to_string())]),
        edit: Link::PlaceEdit(id),
        retire: Link::PlaceRetire(id),
        retire_word: if place.retired {
            "Use it again"
        } else {
            "Take it out of use"
        },
        retire_value: if place.retired { "no" } else { "yes" },
        retired: place.retired,
    }))
}

/// POST: takes a place out of use, or into use again.
pub async fn retire(cx: Cx, Path(id): Path<PlaceId>, form: Form) -> Answer {
    let retired = form.ticked("retired");
    match stock::place::retire(&cx.act(&form), id, retired).await {
        Ok(()) => Ok(go_with(
            &Link::Place(id),
            &Flash::good(if retired {
                "It is out of use."
            } else {
                "It is in use again."
            }),
        )),
        Err(why @ (StockError::Refused(_) | StockError::Db(db::DbError::Refused(_)))) => {
            Ok(go_with(&Link::Place(id), &Flash::stop(why.to_string())))
        }
        Err(why) => Err(Trouble::from(why).or_go(Link::Places, "All places")),
    }
}

#[derive(Template)]
#[template(path = "places/edit.html")]
struct EditPage {
    chrome: Chrome,
    form: Form,
    was: Place,
    clash: Option<Clash>,
    back: Link,
    kinds: Vec<Choice>,
    parents: Vec<Choice>,
}

fn filled(place: &Place) -> Form {
    Form::filled([
        ("name", place.name.to_string()),
        ("kind", place.kind.word().to_owned()),
        (
            "parent",
            place.parent.map_or_else(String::new, |id| id.to_string()),
        ),
        ("position", place.position.to_string()),
        ("note", place.note.as_str().to_owned()),
        ("version", place.version.to_string()),
    ])
}

const FIELDS: &[Field] = &[
    ("name", "Name"),
    ("kind", "It is a"),
    ("parent", "Inside"),
    ("position", "Order"),
    ("note", "Notes"),
];

async fn edit(
    cx: &Cx,
    id: PlaceId,
    form: Option<Form>,
    changed: bool,
    status: StatusCode,
) -> Answer {
    let mut tx = cx.read().await?;
    let was = lookup(&mut tx, id).await?;
    let nodes = db::place::list(&mut tx, true).await?;
    drop(tx);
    let mut form = form.unwrap_or_else(|| filled(&was));
    let clash = changed.then(|| {
        Clash::meet(&mut form, &filled(&was), FIELDS, |name, value| match name {
            "kind" => Choice::label_of(&kinds(value), value),
            "parent" => Choice::label_of(&parents(nodes.iter(), Some(id), value), value),
            _ => value.to_owned(),
        })
    });
    Ok(page_with(
        status,
        &EditPage {
            chrome: cx.chrome(Section::Cupboard, format!("Change {}", was.name)),
            back: Link::Place(id),
            kinds: kinds(form.value("kind")),
            parents: parents(nodes.iter(), Some(id), form.value("parent")),
            was,
            clash,
            form,
        },
    ))
}

/// GET: the form to change a place.
pub async fn edit_get(cx: Cx, Path(id): Path<PlaceId>) -> Answer {
    edit(&cx, id, None, false, StatusCode::OK).await
}

/// POST: saves a place.
pub async fn edit_post(cx: Cx, Path(id): Path<PlaceId>, mut form: Form) -> Answer {
    let was = lookup(&mut cx.read().await?, id).await?;
    let name = form.name("name");
    let kind = form.word::<PlaceKind>("kind");
    let parent = form.optional_id::<PlaceId>("parent");
    let position = form.count("position", 0, 1_000_000);
    let note = form.note("note");
    let (Some(name), Some(kind), Some(parent), Some(position), Some(note)) =
        (name, kind, parent, position, note)
    else {
        return edit(&cx, id, Some(form), false, StatusCode::UNPROCESSABLE_ENTITY).await;
    };
    let place = Place {
        name,
        kind,
        parent,
        position,
        note,
        version: form.value("version").parse().unwrap_or(-1),
        ..was
    };
    match stock::place::change(&cx.act(&form), &place).await {
        Ok(()) => Ok(go_with(
            &Link::Place(id),
            &Flash::good(format!("{} was saved.", place.name)),
        )),
        Err(StockError::Changed) => {
            edit(&cx, id, Some(form), true, StatusCode::PRECONDITION_FAILED).await
        }
        Err(why) => {
            let status = refused(&mut form, why)?;
            edit(&cx, id, Some(form), false, status).await
        }
    }
}
