//! One part: its figures and what waits for those that are unknown, what there is of it and where,
//! who sells it, and what moved.

use askama::Template;

use super::{
    at::Path,
    cx::Cx,
    error::{Answer, Trouble},
    link::Link,
    log::Line,
    page::{Chrome, Section, page},
    search,
    show::{Shown, counted, total},
};
use crate::{
    db::{
        self, ReadTx,
        movement::{About, LogFilter},
        thing::ThingFilter,
    },
    draw::{Picture, level::Level},
    model::{
        attribute::{self, Typed},
        fixture::Condition,
        id::PartId,
        part::{Kind, Part, PartSpec, StockBy, StockUnit},
        thing::Thing,
    },
    units::Length,
};

/// How many things and movements the page shows before it leads on.
const MOST: i64 = 50;
/// How many movements the page shows before it leads on.
const MOVEMENTS: i64 = 8;

struct Figure {
    label: &'static str,
    text: String,
    meaning: &'static str,
    href: Option<Link>,
    /// What cannot be worked out while it is unknown.
    needed_for: &'static str,
}

struct Spot {
    words: String,
    href: Option<Link>,
    amount: Shown,
    things: String,
}

struct Piece {
    tag: String,
    href: Link,
    sub: String,
    place: String,
    condition: Condition,
    size: String,
}

struct OfferRow {
    supplier: String,
    pack: String,
    price: String,
    href: Link,
    retired: bool,
}

#[derive(Template)]
#[template(path = "part/one.html")]
struct PartPage {
    chrome: Chrome,
    part: Part,
    kind: Kind,
    figures: Vec<Figure>,
    unknown: Vec<String>,
    /// How its sums are counted, where that is not plain.
    counted: String,
    sum: Shown,
    spots: Vec<Spot>,
    /// How much there was, day by day.
    level: Option<Picture>,
    by_things: bool,
    pieces: Vec<Piece>,
    more_pieces: Option<Link>,
    offers: Vec<OfferRow>,
    lines: Vec<Line>,
    more_lines: Link,
    wires: bool,
    links: Links,
}

struct Links {
    kind: Link,
    edit: Link,
    copy: Link,
    retire: Link,
    delete: Link,
    receive: Link,
    count: Link,
    offer_new: Link,
}

async fn figures(tx: &mut ReadTx, cx: &Cx, part: &Part) -> Result<Vec<Figure>, Trouble> {
    let unknown = attribute::unknowns(&part.spec);
    let mut figures = Vec::new();
    for shown in attribute::show(&part.spec, cx.unit()) {
        let mut figure = Figure {
            label: shown.attribute.label,
            text: shown.text,
            meaning: shown.attribute.meaning,
            href: None,
            needed_for: "",
        };
        if figure.text == "unknown" {
            figure.text.clear();
        }
        if figure.text.is_empty()
            && let Some(unknown) = unknown.iter().find(|u| u.name == shown.attribute.name)
        {
            figure.needed_for = unknown.needed_for;
        }
        if let (Typed::Part(_), Ok(id)) = (shown.attribute.typed, figure.text.parse::<PartId>())
            && let Some(other) = db::part::lookup(tx, id).await?
        {
            figure.text = other.name.to_string();
            figure.href = Some(Link::Part(id));
        }
        figures.push(figure);
    }
    Ok(figures)
}

fn piece(cx: &Cx, thing: &Thing) -> Piece {
    Piece {
        tag: thing.tag.to_string(),
        href: Link::Thing(thing.id),
        sub: thing
            .note
            .as_str()
            .lines()
            .next()
            .unwrap_or_default()
            .to_owned(),
        place: thing.place.words.clone(),
        condition: thing.condition,
        size: thing
            .amount
            .length()
            .map(|length| cx.length(length))
            .unwrap_or_default(),
    }
}

/// GET: one part.
pub async fn get(cx: Cx, Path(id): Path<PartId>) -> Answer {
    let mut tx = cx.read().await?;
    let part = db::part::lookup(&mut tx, id)
        .await?
        .ok_or_else(|| Trouble::not_found("part").or_go(Link::Cupboard, "To the cupboard"))?;
    let unit = part.unit();
    let by_things = part.stock_by() != StockBy::Count;
    let at = db::balance::list_of_part(&mut tx, id).await?;
    let sum = at.iter().map(|at| at.amount).sum();
    let noun = if part.stock_by() == StockBy::Length {
        ("piece", "pieces")
    } else {
        ("unit", "units")
    };
    let spots = at
        .into_iter()
        .map(|at| Spot {
            href: at
                .place
                .place
                .map(Link::Place)
                .or(at.place.design.map(Link::Design))
                .or(at.place.inside.map(Link::Thing)),
            words: at.place.words,
            amount: total(cx.unit(), unit, at.amount),
            things: if part.stock_by() == StockBy::Length {
                counted(at.things, noun.0, noun.1)
            } else {
                String::new()
            },
        })
        .collect();
    let mut things = Vec::new();
    if by_things {
        let filter = ThingFilter {
            part: Some(id),
            ..ThingFilter::default()
        };
        things = db::thing::list(&mut tx, &filter, 0, MOST + 1).await?;
    }
    let most = usize::try_from(MOST).unwrap_or(usize::MAX);
    let more_pieces = (things.len() > most).then(|| search::all_things(part.name.as_str()));
    things.truncate(most);
    let offers = db::offer::list_of_part(&mut tx, id)
        .await?
        .into_iter()
        .map(|(offer, supplier)| OfferRow {
            supplier,
            pack: match unit {
                StockUnit::Each => counted(offer.pack_amount, "in a pack", "in a pack"),
                StockUnit::Micrometres | StockUnit::CutUnits(_) => {
                    let length = Length::new(offer.pack_amount).unwrap_or_default();
                    format!("{} each", length.say_sold(cx.unit()))
                }
            },
            price: cx.money(offer.price_minor),
            href: Link::Offer(offer.id),
            retired: offer.retired,
        })
        .collect();
    let filter = LogFilter {
        about: About::Part(id),
        ..LogFilter::default()
    };
    let entries = db::movement::list(&mut tx, &filter, MOVEMENTS).await?;
    let figures = figures(&mut tx, &cx, &part).await?;
    let level = Level {
        what: format!("How much of it there was, {}", part.name),
        days: Level::sums(db::level::list_of_part(&mut tx, id).await?),
        today: cx.today,
    }
    .draw(|amount| total(cx.unit(), unit, amount).to_string());
    drop(tx);
    let kind = part.spec.kind();
    Ok(page(&PartPage {
        chrome: cx.chrome(Section::Cupboard, part.name.as_str()),
        unknown: attribute::unknowns(&part.spec)
            .iter()
            .map(ToString::to_string)
            .collect(),
        figures,
        sum: total(cx.unit(), unit, sum),
        counted: match (&part.spec, things.is_empty()) {
            (PartSpec::Tape(tape), false) => format!(
                "Counted in whole cut units of {}: what a piece has beyond its last mark is no part of \
                 these sums, nor of what is cut.",
                cx.length(tape.pitch.length_of(1))
            ),
            _ => String::new(),
        },
        spots,
        level,
        by_things,
        pieces: things.iter().map(|thing| piece(&cx, thing)).collect(),
        more_pieces,
        offers,
        lines: entries.iter().map(|entry| Line::new(&cx, entry)).collect(),
        more_lines: Link::Log.with([("part", id.to_string())]),
        wires: matches!(part.spec, PartSpec::Driver(_) | PartSpec::Supply(_)),
        links: Links {
            kind: Link::CupboardKind(kind.word()),
            edit: Link::PartEdit(id),
            copy: Link::PartCopy(id),
            retire: Link::PartRetire(id),
            delete: Link::PartDelete(id),
            receive: Link::PartReceive(id),
            count: Link::PartCount(id),
            offer_new: Link::OfferNew(id),
        },
        kind,
        part,
    }))
}
