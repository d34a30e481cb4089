//! One search over parts, tags, places, sets, suppliers and people.

use askama::Template;

use super::{
    cupboard::{Found, thing_line},
    cx::Cx,
    error::Answer,
    form::Form,
    link::Link,
    page::{Chrome, Section, go, page},
};
use crate::{db, model::text::Tag};

#[derive(Template)]
#[template(path = "search.html")]
struct SearchPage {
    chrome: Chrome,
    action: Link,
    cupboard: Link,
    typed: String,
    /// Heading, and what was found under it.
    things: Vec<Found>,
    parts: Vec<(Link, String, String)>,
    places: Vec<(Link, String, String)>,
    designs: Vec<(Link, String)>,
    suppliers: Vec<(Link, String)>,
    people: Vec<(Link, String)>,
    nothing: bool,
}

/// Most of each sort that are shown.
const MOST: i64 = 30;
/// Most recent ones that are shown where nothing is typed.
const RECENT: i64 = 10;

/// GET: what goes by these words. A whole tag leads straight to its thing.
pub async fn get(cx: Cx, form: Form) -> Answer {
    let typed: String = form.value("q").trim().chars().take(200).collect();
    let mut tx = cx.read().await?;
    if let Ok(tag) = Tag::sought(&typed)
        && let Some(thing) = db::thing::find_by_typed_tag(&mut tx, &tag).await?
    {
        return Ok(go(&Link::Thing(thing.id)));
    }
    let mut found = if typed.is_empty() {
        let (things, designs) = db::search::recent(&mut tx, RECENT).await?;
        db::search::Found {
            things,
            designs,
            ..db::search::Found::default()
        }
    } else {
        db::search::search(&mut tx, &typed, MOST).await?
    };
    drop(tx);
    let mut chrome = cx.chrome(Section::Cupboard, "Find");
    chrome.search.clone_from(&typed);
    if !chrome.keeps() {
        found.people.clear();
    }
    Ok(page(&SearchPage {
        chrome,
        action: Link::Search(String::new()),
        cupboard: Link::Cupboard,
        nothing: found.is_empty(),
        things: found
            .things
            .iter()
            .map(|thing| Found {
                href: Link::Thing(thing.id),
                tag: thing.tag.to_string(),
                name: thing_line(&cx, thing),
                place: thing.place.words.clone(),
            })
            .collect(),
        parts: found
            .parts
            .iter()
            .map(|(id, name, kind)| (Link::Part(*id), name.to_string(), kind.to_string()))
            .collect(),
        places: found
            .places
            .iter()
            .map(|(id, path, kind)| (Link::Place(*id), path.clone(), kind.to_string()))
            .collect(),
        designs: found
            .designs
            .iter()
            .map(|(id, name)| (Link::Design(*id), name.to_string()))
            .collect(),
        suppliers: found
            .suppliers
            .iter()
            .map(|(id, name)| (Link::Supplier(*id), name.to_string()))
            .collect(),
        people: found
            .people
            .iter()
            .map(|name| (Link::People, name.to_string()))
            .collect(),
        typed,
    }))
}
