//! One search over parts, tags, places, sets, suppliers and people.

use askama::Template;

use super::{
    cupboard::thing_line,
    cx::Cx,
    error::Answer,
    form::Form,
    link::Link,
    page::{Chrome, Section, go, page},
    show::{PAGE, Pager, gone_mark},
};
use crate::{
    db::{self, search::Found},
    model::text::Tag,
};

/// A sort of what is found.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Sort {
    Things,
    Parts,
    Places,
    Sets,
    Suppliers,
    People,
}

impl Sort {
    /// All, as they stand below each other.
    const ALL: [Self; 6] = [
        Self::Things,
        Self::Parts,
        Self::Places,
        Self::Sets,
        Self::Suppliers,
        Self::People,
    ];

    /// Its word in an address.
    const fn word(self) -> &'static str {
        match self {
            Self::Things => "things",
            Self::Parts => "parts",
            Self::Places => "places",
            Self::Sets => "sets",
            Self::Suppliers => "suppliers",
            Self::People => "people",
        }
    }

    const fn heading(self) -> &'static str {
        match self {
            Self::Things => "Things",
            Self::Parts => "Parts",
            Self::Places => "Places",
            Self::Sets => "Sets",
            Self::Suppliers => "Suppliers",
            Self::People => "People",
        }
    }

    /// The heading where nothing is typed.
    const fn heading_of_last(self) -> &'static str {
        match self {
            Self::Things => "Moved last",
            Self::Sets => "Sets changed last",
            other => other.heading(),
        }
    }

    fn asked(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|sort| sort.word() == word)
    }
}

/// One that is found.
struct Row {
    href: Link,
    /// Of a thing.
    tag: String,
    name: String,
    sub: String,
    /// What became of a thing that is there no more: how to show it, in a word.
    gone: Option<(&'static str, &'static str)>,
}

impl Row {
    fn named(href: Link, name: impl Into<String>, sub: impl Into<String>) -> Self {
        Self {
            href,
            tag: String::new(),
            name: name.into(),
            sub: sub.into(),
            gone: None,
        }
    }
}

/// What is found of one sort.
struct Group {
    heading: &'static str,
    rows: Vec<Row>,
    /// Where all of them are, if these are not, and how they are called there.
    more: Option<(Link, &'static str)>,
}

#[derive(Template)]
#[template(path = "search.html")]
struct SearchPage {
    chrome: Chrome,
    action: Link,
    cupboard: Link,
    typed: String,
    groups: Vec<Group>,
    pager: Option<Pager>,
    /// Back from one sort to all of them.
    all: Option<Link>,
}

/// Most of each sort that are shown beside the others.
const MOST: i64 = 30;
/// Most recent ones that are shown where nothing is typed.
const RECENT: i64 = 10;

/// All of one sort that go by these words, page by page.
pub fn all_of(typed: &str, sort: &str, page: String) -> Link {
    Link::Search(String::new()).with([
        ("q", typed.to_owned()),
        ("of", sort.to_owned()),
        ("page", page),
    ])
}

/// All things that go by these words, page by page.
pub fn all_things(typed: &str) -> Link {
    all_of(typed, Sort::Things.word(), String::new())
}

fn rows(cx: &Cx, found: &Found, sort: Sort) -> Vec<Row> {
    match sort {
        Sort::Things => (found.things.iter())
            .map(|thing| {
                let gone = gone_mark(thing);
                Row {
                    href: Link::Thing(thing.id),
                    tag: thing.tag.to_string(),
                    name: thing_line(cx, thing),
                    sub: match gone {
                        Some(_) => String::new(),
                        None => thing.place.words.clone(),
                    },
                    gone,
                }
            })
            .collect(),
        Sort::Parts => (found.parts.iter())
            .map(|(id, name, kind)| Row::named(Link::Part(*id), name.as_str(), kind.to_string()))
            .collect(),
        Sort::Places => (found.places.iter())
            .map(|(id, path, kind)| Row::named(Link::Place(*id), path.as_str(), kind.to_string()))
            .collect(),
        Sort::Sets => (found.designs.iter())
            .map(|(id, name)| Row::named(Link::Design(*id), name.as_str(), ""))
            .collect(),
        Sort::Suppliers => (found.suppliers.iter())
            .map(|(id, name)| Row::named(Link::Supplier(*id), name.as_str(), ""))
            .collect(),
        Sort::People => (found.people.iter())
            .map(|name| Row::named(Link::People, name.as_str(), ""))
            .collect(),
    }
}

/// GET: what goes by these words. A whole tag leads straight to its thing.
pub async fn get(cx: Cx, form: Form) -> Answer {
    let typed: String = form.value("q").trim().chars().take(200).collect();
    let only = Sort::asked(form.value("of")).filter(|_| !typed.is_empty());
    let (number, offset) = Pager::asked(&form);
    let mut tx = cx.read().await?;
    if only.is_none()
        && let Ok(tag) = Tag::sought(&typed)
        && let Some(thing) = db::thing::find_by_typed_tag(&mut tx, &tag).await?
    {
        return Ok(go(&Link::Thing(thing.id)));
    }
    // One more of each than is shown tells whether there are more.
    let (mut found, most, before) = match only {
        Some(Sort::Things) => {
            let things = db::search::list_things(&mut tx, &typed, offset, PAGE + 1).await?;
            let found = Found {
                things,
                ..Found::default()
            };
            (found, PAGE, 0)
        }
        Some(_) => {
            let found = db::search::search(&mut tx, &typed, offset + PAGE + 1).await?;
            (found, PAGE, offset)
        }
        None if typed.is_empty() => {
            let (things, designs) = db::search::recent(&mut tx, RECENT).await?;
            let found = Found {
                things,
                designs,
                ..Found::default()
            };
            (found, RECENT, 0)
        }
        None => (
            db::search::search(&mut tx, &typed, MOST + 1).await?,
            MOST,
            0,
        ),
    };
    drop(tx);
    let mut chrome = cx.chrome(Section::Cupboard, "Find");
    chrome.search.clone_from(&typed);
    if !chrome.keeps() {
        found.people.clear();
    }
    let most = usize::try_from(most).unwrap_or(usize::MAX);
    let before = usize::try_from(before).unwrap_or(usize::MAX);
    let mut groups = Vec::new();
    let mut pager = None;
    for sort in Sort::ALL {
        if only.is_some_and(|only| only != sort) {
            continue;
        }
        let mut rows: Vec<Row> = rows(&cx, &found, sort).into_iter().skip(before).collect();
        let more = rows.len() > most;
        rows.truncate(most);
        if only.is_some() {
            pager = Pager::new(number, rows.len(), more, |page| {
                all_of(&typed, sort.word(), page)
            });
        }
        if !rows.is_empty() {
            groups.push(Group {
                heading: if typed.is_empty() {
                    sort.heading_of_last()
                } else {
                    sort.heading()
                },
                rows,
                more: (more && only.is_none())
                    .then(|| (all_of(&typed, sort.word(), String::new()), sort.word())),
            });
        }
    }
    Ok(page(&SearchPage {
        chrome,
        action: Link::Search(String::new()),
        cupboard: Link::Cupboard,
        groups,
        pager,
        all: only.map(|_| Link::Search(typed.clone())),
        typed,
    }))
}
