//! One thing with a tag: a roll or offcut, a driver or supply, a finished bar, a frame; what it is,
//! where it is, what it is held for, what happened to it, and what one is likely to do with it.

pub mod act;
pub mod apart;
pub mod cut;
pub mod edit;
mod likely;

use std::collections::BTreeSet;

use askama::Template;
use axum::http::StatusCode;

use super::{
    at::Path,
    cx::Cx,
    error::{Answer, Trouble},
    form::{Choice, Form},
    link::Link,
    log::Line,
    page::{Chrome, Section, go, page_with},
    show::{day, gone_mark, total},
};
use crate::{
    db::{
        self, ReadTx,
        movement::{About, Entry, EntryLine, LogFilter},
        overview::ThingHold,
        piece::PieceAt,
        thing::ThingFilter,
    },
    draw::{
        Picture,
        level::Level,
        strip::{Segment, Stretch, Strip},
    },
    model::{
        connector::Connector,
        fixture::Condition,
        id::{DesignId, ThingId},
        movement::{AccountKind, MovementKind},
        part::{Part, PartSpec},
        piece::length_of,
        text::Tag,
        thing::{Thing, ThingKind},
    },
};

use likely::{Likely, Tap};

/// A fact about a thing; its value may open a page.
pub struct Fact {
    pub label: &'static str,
    pub value: String,
    pub href: Option<Link>,
}

impl Fact {
    fn new(label: &'static str, value: impl Into<String>) -> Self {
        Self {
            label,
            value: value.into(),
            href: None,
        }
    }

    fn to(label: &'static str, value: impl Into<String>, href: Link) -> Self {
        Self {
            label,
            value: value.into(),
            href: Some(href),
        }
    }
}

/// Something inside or on a thing, or cut from it.
pub struct Inside {
    pub href: Link,
    pub tag: String,
    pub name: String,
    /// Where it is now, or how many.
    pub sub: String,
    /// A thing that may be taken off a frame.
    pub take_off: Option<ThingId>,
}

#[derive(Template)]
#[template(path = "thing/one.html")]
#[expect(
    clippy::struct_excessive_bools,
    reason = "each says whether one action of the page is offered"
)]
struct ThingPage {
    chrome: Chrome,
    form: Form,
    /// Which of the actions stands open.
    open: &'static str,
    tag: String,
    name: String,
    marks: Vec<(&'static str, String)>,
    size: String,
    place: String,
    place_href: Option<Link>,
    facts: Vec<Fact>,
    note: String,
    picture: Option<Picture>,
    /// How much of a piece was left, day by day.
    life: Option<Picture>,
    holds: Vec<(Link, String, String)>,
    /// What lending or scrapping it would do to holds, each with the set's page.
    at_stake: Vec<(Link, String)>,
    inside_title: &'static str,
    inside: Vec<Inside>,
    children: Vec<Inside>,
    is_frame: bool,
    is_fixture: bool,
    is_piece: bool,
    edit_words: &'static str,
    likely: Vec<Likely>,
    /// Whether what could replace it is led to from the head: no likely button does.
    swap: bool,
    /// What was tried of it, newest first: how to show it, a word, what was seen.
    tests: Vec<(&'static str, String, String)>,
    owned: bool,
    lent: bool,
    lost: bool,
    condition: String,
    conditions: Vec<(&'static str, &'static str)>,
    places: Vec<Choice>,
    mountable: Vec<Choice>,
    blocks: Vec<Choice>,
    due: String,
    links: Links,
    log: Link,
    lines: Vec<Line>,
}

/// Where the page's forms and buttons go.
struct Links {
    moved: Link,
    out: Link,
    mark: Link,
    mount: Link,
    lend: Link,
    give_back: Link,
    edit: Link,
    swap: Link,
    place_new: Link,
    label: Link,
}

/// GET: the thing of a tag, as a label's code opens it.
pub async fn by_tag(cx: Cx, Path(tag): Path<String>) -> Answer {
    let unknown = || {
        Trouble::new(
            StatusCode::NOT_FOUND,
            format!(
                "Nothing has the tag {}. It may be mistyped, or never entered.",
                tag.chars().take(40).collect::<String>()
            ),
        )
        .or_go(Link::Search(tag.clone()), "Search for it")
    };
    let parsed = Tag::sought(&tag).map_err(|_| unknown())?;
    let found = db::thing::find_by_typed_tag(&mut *cx.read().await?, &parsed).await?;
    Ok(go(&Link::Thing(found.ok_or_else(unknown)?.id)))
}

/// GET: one thing.
pub async fn get(cx: Cx, Path(id): Path<ThingId>) -> Answer {
    show(&cx, id, Form::default(), "", StatusCode::OK).await
}

/// The thing of an id, or a page that says that there is none.
pub async fn lookup(tx: &mut ReadTx, id: ThingId) -> Result<Thing, Trouble> {
    db::thing::lookup(tx, id)
        .await?
        .ok_or_else(|| Trouble::not_found("thing"))
}

/// The part of a thing that has one.
pub async fn part_of(tx: &mut ReadTx, thing: &Thing) -> Result<Option<Part>, Trouble> {
    Ok(match thing.part {
        Some(id) => db::part::lookup(tx, id).await?,
        None => None,
    })
}

/// Every place in use, to choose from.
pub async fn place_choices(tx: &mut ReadTx, chosen: &str) -> Result<Vec<Choice>, Trouble> {
    let places = db::place::list(tx, false).await?;
    Ok(Choice::list(
        places
            .iter()
            .map(|node| (node.place.id, node.place.path.clone())),
        chosen,
    ))
}

async fn show(cx: &Cx, id: ThingId, form: Form, open: &'static str, status: StatusCode) -> Answer {
    let mut tx = cx.read().await?;
    let thing = lookup(&mut tx, id).await?;
    let part = part_of(&mut tx, &thing).await?;
    let holds = db::overview::list_holds_of_thing(&mut tx, id).await?;
    let mut facts = Vec::new();
    let mut picture = None;
    let mut children = Vec::new();
    let mut life = None;
    if let Some(part) = &part {
        facts.push(Fact::to("Part", part.name.as_str(), Link::Part(part.id)));
    }
    match thing.kind {
        ThingKind::Piece => {
            if let (Some(piece), Some(part)) = (db::piece::lookup(&mut tx, id).await?, &part) {
                let cut = db::piece::list_children(&mut tx, id).await?;
                piece_facts(cx, &piece, part, &mut facts);
                if let Some((parent, from)) = piece.piece.cut_from {
                    let parent = lookup(&mut tx, parent).await?;
                    facts.push(Fact::to(
                        "Cut from",
                        format!(
                            "{}, at {} from its start",
                            parent.tag,
                            cx.length(length_of(part.unit(), from, 0))
                        ),
                        Link::Thing(parent.id),
                    ));
                }
                picture = Some(strip(cx, &piece, part, &cut, &holds).draw());
                life = Level {
                    what: format!("What was left of {}, its offcuts counted", thing.tag),
                    days: Level::sums(db::level::list_of_piece(&mut tx, id).await?),
                    today: cx.today,
                }
                .draw(|amount| cx.length(length_of(part.unit(), amount, 0)));
                children = cut.iter().map(|child| child_row(cx, child, part)).collect();
            }
        }
        ThingKind::Unit => {
            if let Some(unit) = db::thing::lookup_unit(&mut tx, id).await? {
                if let Some(PartSpec::Driver(_)) = part.as_ref().map(|part| &part.spec) {
                    facts.push(Fact::new(
                        "DMX start address",
                        unit.address
                            .map_or("not noted".to_owned(), |address| address.to_string()),
                    ));
                }
                if !unit.serial.is_empty() {
                    facts.push(Fact::new("Maker's number", unit.serial));
                }
            }
        }
        ThingKind::Fixture => fixture_facts(cx, &mut tx, id, &mut facts).await?,
        ThingKind::Frame => {
            if let Some(frame) = db::thing::lookup_frame(&mut tx, id).await? {
                facts.push(Fact::new(
                    "Size",
                    format!(
                        "{} wide, {} high",
                        cx.length(frame.width_um),
                        cx.length(frame.height_um)
                    ),
                ));
            }
        }
    }
    if let Some(on) = thing.inspect_on {
        facts.push(Fact::new("Inspect by", day(on, cx.today)));
    }
    let inside = inside(cx, &mut tx, &thing).await?;
    let (mountable, blocks) = if thing.kind == ThingKind::Frame {
        mountable(cx, &mut tx, &form).await?
    } else {
        (Vec::new(), Vec::new())
    };
    let places = place_choices(
        &mut tx,
        if form.has("to") {
            form.value("to").to_owned()
        } else {
            thing
                .place
                .place
                .map_or_else(String::new, |id| id.to_string())
        }
        .as_str(),
    )
    .await?;
    let filter = LogFilter {
        about: About::Thing(id),
        ..LogFilter::default()
    };
    let entries = db::movement::list(&mut tx, &filter, 20).await?;
    facts.extend(corrected(cx, &mut tx, &thing, &entries).await?);
    let likely = likely::likely(&mut tx, &thing).await?;
    let tests = db::test_record::list_of_thing(&mut tx, id, 5)
        .await?
        .iter()
        .map(|record| super::design::show_day::seen(record, None))
        .collect();
    drop(tx);

    let section = match thing.kind {
        ThingKind::Fixture => Section::Fixtures,
        _ => Section::Cupboard,
    };
    let chrome = cx.chrome(section, thing.tag.to_string());
    Ok(page_with(
        status,
        &ThingPage {
            marks: marks(cx, &thing, &holds),
            size: thing
                .amount
                .length()
                .map_or_else(String::new, |length| cx.length(length)),
            place_href: thing.place.place.map(Link::Place).or_else(|| {
                thing
                    .place
                    .inside
                    .map(Link::Thing)
                    .or_else(|| thing.place.design.map(Link::Design))
            }),
            place: if thing.owned() {
                thing.place.words.clone()
            } else {
                String::new()
            },
            facts,
            note: thing.note.as_str().to_owned(),
            picture,
            life,
            holds: holds
                .iter()
                .map(|hold| {
                    (
                        Link::Design(hold.design),
                        hold.name.clone(),
                        match &hold.bar {
                            Some(bar) => format!("bar {bar}, {}", hold_days(cx, hold)),
                            None => hold_days(cx, hold),
                        },
                    )
                })
                .collect(),
            at_stake: at_stake(cx, &holds),
            inside_title: if thing.kind == ThingKind::Frame {
                "Mounted on it"
            } else {
                "What it was made of"
            },
            inside,
            children,
            is_frame: thing.kind == ThingKind::Frame,
            is_fixture: thing.kind == ThingKind::Fixture,
            is_piece: thing.kind == ThingKind::Piece,
            edit_words: match thing.kind {
                ThingKind::Piece => "Change notes",
                ThingKind::Unit | ThingKind::Fixture | ThingKind::Frame => "Correct it",
            },
            swap: thing.kind == ThingKind::Fixture
                && thing.owned()
                && !likely.iter().any(Likely::swaps),
            tests,
            owned: thing.owned(),
            lent: thing.place.kind == AccountKind::Loan,
            lost: thing.place.kind == AccountKind::Lost,
            condition: thing.condition.to_string(),
            conditions: Condition::ALL
                .iter()
                .filter(|one| **one != thing.condition)
                // What a likely button does already stands there once.
                .filter(|one| !likely.iter().any(|each| each.marks(**one)))
                .map(|one| (one.word(), one.label()))
                .collect(),
            likely,
            places,
            mountable,
            blocks,
            due: if form.has("due_on") {
                form.value("due_on").to_owned()
            } else {
                in_days(cx, 14)
            },
            links: Links {
                moved: Link::ThingMove(id),
                out: Link::ThingOut(id),
                mark: Link::ThingMark(id),
                mount: Link::ThingMount(id),
                lend: Link::ThingLend(id),
                give_back: Link::ThingGiveBack(id),
                edit: Link::ThingEdit(id),
                swap: Link::ThingSwap(id),
                place_new: Link::Places,
                label: Link::LabelPapers.with([("thing", id.to_string())]),
            },
            log: Link::Log.with([("thing", id.to_string())]),
            lines: entries.iter().map(|entry| Line::new(cx, entry)).collect(),
            tag: thing.tag.to_string(),
            name: thing.name,
            chrome,
            form,
            open,
        },
    ))
}

/// A day so many days from today, as a form holds it.
pub fn in_days(cx: &Cx, days: i64) -> String {
    cx.today
        .checked_add(jiff::Span::new().days(days))
        .unwrap_or(cx.today)
        .to_string()
}

fn hold_days(cx: &Cx, hold: &ThingHold) -> String {
    if hold.to_on == crate::units::FOREVER {
        format!("from {}, to be used up", day(hold.from_on, cx.today))
    } else {
        format!(
            "{} to {}",
            day(hold.from_on, cx.today),
            day(hold.to_on, cx.today)
        )
    }
}

/// Who would lose it, and when: each set once, though it may hold several lengths of a piece.
fn at_stake(cx: &Cx, holds: &[ThingHold]) -> Vec<(Link, String)> {
    let mut said: Vec<(DesignId, String)> = holds
        .iter()
        .filter(|hold| hold.to_on >= cx.today)
        .map(|hold| {
            (
                hold.design,
                format!("{}, {}", hold.name, hold_days(cx, hold)),
            )
        })
        .collect();
    let mut seen = BTreeSet::new();
    said.retain(|one| seen.insert(one.clone()));
    said.into_iter()
        .map(|(design, words)| (Link::Design(design), words))
        .collect()
}

/// Free, and until when, where a set has it later; the page lists which.
fn free_words(cx: &Cx, holds: &[ThingHold]) -> String {
    let next = holds
        .iter()
        .filter(|hold| hold.from_on > cx.today)
        .min_by_key(|hold| hold.from_on);
    match next {
        Some(next) => format!("free until {}", day(next.from_on, cx.today)),
        None => "free".to_owned(),
    }
}

/// Free, held or out, which follows from where it is and what it is held for; and its condition.
fn marks(cx: &Cx, thing: &Thing, holds: &[ThingHold]) -> Vec<(&'static str, String)> {
    let held = holds
        .iter()
        .find(|hold| hold.from_on <= cx.today && cx.today <= hold.to_on);
    let mut marks = vec![match thing.place.kind {
        AccountKind::Place => match held {
            Some(by) => ("held", format!("held for {}", by.name)),
            None if thing.condition == Condition::Good => ("free", free_words(cx, holds)),
            None => ("cancelled", "not for use".to_owned()),
        },
        AccountKind::Design => ("out", "on stage".to_owned()),
        AccountKind::Loan => ("out", "lent out".to_owned()),
        AccountKind::Inside => ("build", "built in".to_owned()),
        _ => gone_mark(thing).map_or(("", String::new()), |(state, word)| {
            (state, word.to_owned())
        }),
    }];
    // Of what is gone nobody asks any more whether it works.
    if gone_mark(thing).is_some_and(|_| thing.place.kind != AccountKind::Lost) {
        return marks;
    }
    marks.push(match thing.condition {
        Condition::Good => ("good", "good".to_owned()),
        Condition::Suspect => ("suspect", "suspect".to_owned()),
        Condition::Dead => ("dead", "dead".to_owned()),
    });
    marks
}

/// What a count found, where this movement corrects the length of a piece; and the line of the piece
/// that it was before.
fn found_as<'a>(cx: &Cx, entry: &'a Entry) -> Option<(&'a EntryLine, String)> {
    let [old, new] = entry.lines.as_slice() else {
        return None;
    };
    let same = entry.kind == MovementKind::Count
        && (old.to.kind, new.from.kind) == (AccountKind::Adjust, AccountKind::Adjust);
    let (was, now) = (old.amount.length()?, new.amount.length()?);
    let words = format!(
        "counted as {} instead of {}",
        cx.length(now),
        cx.length(was)
    );
    same.then_some((old, words))
}

/// What happened to a piece whose length was corrected (see [`crate::stock::count::Measured`]): to the
/// one that has its tag since then, and to the one of before.
async fn corrected(
    cx: &Cx,
    tx: &mut ReadTx,
    thing: &Thing,
    entries: &[Entry],
) -> Result<Vec<Fact>, Trouble> {
    let mut facts = Vec::new();
    let standing = || entries.iter().filter(|entry| entry.undone_by.is_none());
    let begun = |entry: &&Entry| {
        let mut lines = entry.lines.iter();
        lines.any(|it| it.thing == Some(thing.id) && it.from.kind == AccountKind::Adjust)
    };
    if let Some((entry, (old, words))) = standing()
        .filter(begun)
        .find_map(|entry| Some((entry, found_as(cx, entry)?)))
        && let (Some(id), Some(tag)) = (old.thing, &old.tag)
    {
        let on = day(entry.on, cx.today);
        facts.push(Fact::to(
            "Length corrected",
            format!("{words} on {on}: the figure before stands under {tag}"),
            Link::Thing(id),
        ));
    }
    let ended = |entry: &&Entry| {
        let mut lines = entry.lines.iter();
        lines.any(|it| it.thing == Some(thing.id) && it.to.kind == AccountKind::Adjust)
    };
    let stem = thing.tag.as_str().rsplit_once("-OLD");
    let (Some((entry, (_, words))), Some((stem, _)), AccountKind::Adjust) = (
        entries
            .iter()
            .filter(ended)
            .find_map(|entry| Some((entry, found_as(cx, entry)?))),
        stem,
        thing.place.kind,
    ) else {
        return Ok(facts);
    };
    if let Ok(tag) = Tag::parse(stem)
        && let Some(now) = db::thing::find_by_tag(tx, &tag).await?
    {
        let on = day(entry.on, cx.today);
        facts.push(Fact::to(
            "It stands for",
            format!("what {tag} was before its length was corrected on {on}: {words}"),
            Link::Thing(now.id),
        ));
    }
    Ok(facts)
}

fn connector_words(connector: &Connector) -> String {
    match &connector.pins {
        Some(pins) => format!("{connector}; pins: {pins}"),
        None => connector.to_string(),
    }
}

fn piece_facts(cx: &Cx, piece: &PieceAt, part: &Part, facts: &mut Vec<Fact>) {
    let piece = &piece.piece;
    for (label, end) in [("At its start", &piece.start), ("At its end", &piece.end)] {
        if let Some(connector) = end.connector() {
            facts.push(Fact::new(
                label,
                format!("lead, {}", connector_words(connector)),
            ));
        }
    }
    if let PartSpec::Tape(tape) = &part.spec {
        facts.push(Fact::new(
            "Cut units",
            format!("{} of {}", piece.amount, cx.length(tape.pitch.length_of(1))),
        ));
    }
    if !piece.batch.is_empty() {
        facts.push(Fact::new("Batch", piece.batch.clone()));
    }
}

async fn fixture_facts(
    cx: &Cx,
    tx: &mut ReadTx,
    id: ThingId,
    facts: &mut Vec<Fact>,
) -> Result<(), Trouble> {
    let Some(at) = db::fixture::lookup(tx, id).await? else {
        return Ok(());
    };
    let make = &at.fixture.make;
    for (label, part) in [("Tape", make.tape), ("Profile", make.profile)] {
        if let Some(part) = part
            && let Some(part) = db::part::lookup(tx, part).await?
        {
            facts.push(Fact::to(label, part.name.as_str(), Link::Part(part.id)));
        } else if label == "Profile" && part.is_none() {
            facts.push(Fact::new(label, "none noted"));
        }
    }
    facts.push(Fact::new("Colours", make.channels.to_string()));
    facts.push(Fact::new("Voltage", make.voltage_mv.show()));
    facts.push(Fact::new("Lit length", cx.length(make.lit_um)));
    facts.push(Fact::new("Fed", make.fed.to_string()));
    facts.push(Fact::new(
        "Plug",
        make.connector
            .as_ref()
            .map_or("not noted".to_owned(), connector_words),
    ));
    if !at.batch.is_empty() {
        facts.push(Fact::new("Batch", at.batch.clone()));
    }
    Ok(())
}

fn child_row(cx: &Cx, child: &PieceAt, part: &Part) -> Inside {
    let piece = &child.piece;
    Inside {
        href: Link::Thing(piece.id),
        tag: piece.tag.to_string(),
        name: cx.length(length_of(part.unit(), piece.amount, piece.rest_um)),
        sub: child.place.words.clone(),
        take_off: None,
    }
}

/// The strip of a piece: what was cut where, or what is held of it.
fn strip(cx: &Cx, at: &PieceAt, part: &Part, cut: &[PieceAt], holds: &[ThingHold]) -> Strip {
    let piece = &at.piece;
    let joints = match (&part.spec, piece.joint_offset_units) {
        (PartSpec::Tape(tape), Some(offset)) => tape
            .joints
            .map(|joints| (offset, i64::from(joints.every_units))),
        _ => None,
    };
    // The children of a cut that was undone lie at the bench; they are no part of the picture.
    let children: Vec<_> = cut
        .iter()
        .filter(|child| child.place.kind != AccountKind::Bench)
        .collect();
    let segments = if children.is_empty() {
        holds
            .iter()
            .map(|hold| Segment {
                from: hold.from,
                to: hold.to,
                stretch: Stretch::Held,
                label: format!("for {}", hold.name),
                mark: hold.bar.clone(),
                href: Some(Link::Design(hold.design).to_string()),
            })
            .collect()
    } else {
        children
            .iter()
            .map(|child| {
                let from = child.piece.cut_from.map_or(0, |(_, from)| from);
                Segment {
                    from,
                    to: from + child.piece.amount,
                    stretch: if child.place.kind == AccountKind::Scrap {
                        Stretch::Scrap
                    } else {
                        Stretch::Bar
                    },
                    label: child.piece.tag.to_string(),
                    mark: Some(child.piece.tag.to_string()),
                    href: Some(Link::Thing(child.piece.id).to_string()),
                }
            })
            .collect()
    };
    Strip {
        name: piece.tag.to_string(),
        unit: part.unit(),
        amount: piece.amount,
        rest_um: piece.rest_um,
        start: piece.start.clone(),
        end: piece.end.clone(),
        joints,
        segments,
        show: cx.unit(),
    }
}

async fn inside(cx: &Cx, tx: &mut ReadTx, thing: &Thing) -> Result<Vec<Inside>, Trouble> {
    let Some(account) = db::place::account_inside(tx, thing.id).await? else {
        return Ok(Vec::new());
    };
    let frame = thing.kind == ThingKind::Frame;
    let mut inside = Vec::new();
    for each in db::thing::list_at(tx, account).await? {
        inside.push(Inside {
            href: Link::Thing(each.id),
            tag: each.tag.to_string(),
            name: each.name.clone(),
            sub: each
                .amount
                .length()
                .map_or_else(String::new, |length| cx.length(length)),
            take_off: frame.then_some(each.id),
        });
    }
    for count in db::balance::list_at(tx, account).await? {
        inside.push(Inside {
            href: Link::Part(count.part),
            tag: String::new(),
            name: count.name.clone(),
            sub: total(cx.unit(), count.unit, count.amount).to_string(),
            take_off: None,
        });
    }
    Ok(inside)
}

/// What lies in places and may go on a frame: things, and counts with where they lie.
async fn mountable(
    cx: &Cx,
    tx: &mut ReadTx,
    form: &Form,
) -> Result<(Vec<Choice>, Vec<Choice>), Trouble> {
    let mut things = Vec::new();
    for kind in [ThingKind::Fixture, ThingKind::Unit] {
        let filter = ThingFilter {
            kind: Some(kind),
            ..ThingFilter::default()
        };
        things.extend(
            db::thing::list(tx, &filter, 0, 300)
                .await?
                .into_iter()
                .filter(|thing| thing.place.kind == AccountKind::Place),
        );
    }
    let counts = db::overview::list_counts_in_places(tx, 300).await?;
    Ok((
        Choice::list(
            things.iter().map(|thing| {
                (
                    thing.id,
                    format!("{}: {}", thing.tag, super::cupboard::thing_line(cx, thing)),
                )
            }),
            form.value("thing"),
        ),
        Choice::list(
            counts.iter().map(|count| {
                (
                    format!("{}@{}", count.part, count.account),
                    format!("{} ({}, {})", count.name, count.amount, count.path),
                )
            }),
            form.value("count"),
        ),
    ))
}
