//! The log: every movement in words, by whom, and its undo.

use std::fmt::Write as _;

use askama::Template;

use axum::http::HeaderMap;

use super::{
    at::Path,
    cx::Cx,
    error::{Answer, Trouble, stock_status},
    form::{Choice, Form},
    link::Link,
    page::{Chrome, Flash, Section, go_with, page},
    show::{PAGE, moment, told, total},
};
use crate::{
    db::{
        self,
        movement::{About, Entry, EntryLine, LogFilter},
    },
    model::{
        id::{DesignId, MovementId, PartId, ThingId},
        movement::{AccountKind, MovementKind},
        part::StockUnit,
        piece::say_amount,
        text::{Name, Note, Tag},
    },
    stock::{Done, StockError, undo::Undo},
    units::Length,
};

/// One movement as pages show it.
pub struct Line {
    /// When, in the venue's zone.
    pub when: String,
    /// What happened, in words.
    pub what: String,
    /// Why, in the person's own words; may be empty.
    pub reason: String,
    /// Who.
    pub who: String,
    /// For which set.
    pub design: Option<(Link, String)>,
    /// The things that it was about, at most six.
    pub tags: Vec<(Link, String)>,
    /// It was undone.
    pub undone: bool,
    /// Where its undo is posted, if it may be undone.
    pub undo: Option<Link>,
}

impl Line {
    /// A movement in words.
    pub fn new(cx: &Cx, entry: &Entry) -> Self {
        let mut tags: Vec<(Link, String)> = Vec::new();
        let mut note = |id: ThingId, tag: &Tag| {
            let tag = (Link::Thing(id), tag.to_string());
            if tags.len() < 6 && !tags.contains(&tag) {
                tags.push(tag);
            }
        };
        if let Some((mark, tag)) = &entry.mark {
            note(mark.thing, tag);
        }
        for line in &entry.lines {
            if let (Some(id), Some(tag)) = (line.thing, &line.tag) {
                note(id, tag);
            }
        }
        Self {
            when: moment(entry.at_ms, &cx.venue.zone, cx.today),
            what: what(cx, entry),
            reason: entry.reason.as_str().to_owned(),
            who: entry.who.to_string(),
            design: entry
                .design
                .as_ref()
                .map(|(id, name)| (Link::Design(*id), name.clone())),
            tags,
            undone: entry.undone_by.is_some(),
            undo: entry.may_undo().then_some(Link::LogUndo(entry.id)),
        }
    }
}

/// Most things that a line names one by one.
const NAMED: usize = 4;

/// How much a line moves: a length, a number, or nothing for a single thing.
fn amount(cx: &Cx, line: &EntryLine) -> String {
    match line.amount.length() {
        Some(length) if line.thing.is_some() => cx.length(length),
        Some(_) => total(cx.unit(), line.amount.unit, line.amount.amount).to_string(),
        None if line.thing.is_some() => String::new(),
        None => line.amount.amount.to_string(),
    }
}

/// A thing without its name: `O-3, 900 mm`.
fn short(cx: &Cx, line: &EntryLine) -> String {
    let amount = amount(cx, line);
    match &line.tag {
        Some(tag) if amount.is_empty() => tag.to_string(),
        Some(tag) => format!("{tag} ({amount})"),
        None => amount,
    }
}

fn listed(all: &[String]) -> String {
    if all.len() > NAMED + 1 {
        format!("{} and {} more", all[..NAMED].join(", "), all.len() - NAMED)
    } else {
        all.join(", ")
    }
}

/// What moved; things of one part share its name.
fn items<'a>(cx: &Cx, lines: impl Iterator<Item = &'a EntryLine>) -> String {
    let mut groups: Vec<(&str, Vec<&EntryLine>)> = Vec::new();
    for line in lines {
        match groups.last_mut() {
            Some((name, group)) if *name == line.name => group.push(line),
            _ => groups.push((&line.name, vec![line])),
        }
    }
    let all: Vec<String> = groups
        .into_iter()
        .map(|(name, group)| {
            if group[0].tag.is_some() {
                let things: Vec<String> = group.iter().map(|line| short(cx, line)).collect();
                return format!("{name} {}", listed(&things));
            }
            // A count from several places is one number.
            let unit = group[0].amount.unit;
            let sum = total(
                cx.unit(),
                unit,
                group.iter().map(|line| line.amount.amount).sum(),
            );
            match unit {
                StockUnit::Each => format!("{sum} × {name}"),
                _ => format!("{sum} of {name}"),
            }
        })
        .collect();
    listed(&all)
}

/// A corrected count: by how much, and what it is now.
fn counted(cx: &Cx, entry: &Entry) -> Option<String> {
    let [line] = entry.lines.as_slice() else {
        return None;
    };
    let (sign, place) = match line.to.kind {
        AccountKind::Place => ("plus", &line.to.words),
        _ => ("minus", &line.from.words),
    };
    // Of a difference every centimetre counts, as in what was typed.
    let words = |amount| say_amount(line.amount.unit, amount, cx.unit());
    let (by, now) = (words(line.amount.amount), words(line.counted?));
    Some(format!(
        "{} {}, {sign} {by}: now {now} in {place}",
        line.name,
        entry.kind.label()
    ))
}

/// A corrected length: what it was, and what it is now.
fn measured(cx: &Cx, entry: &Entry) -> Option<String> {
    let [old, new] = entry.lines.as_slice() else {
        return None;
    };
    let same = entry.kind == MovementKind::Count
        && (old.to.kind, new.from.kind) == (AccountKind::Adjust, AccountKind::Adjust);
    // The tag of the piece: the other one is longer, and was given for want of another.
    let tags = [old, new].into_iter().filter_map(|line| line.tag.as_ref());
    let tag = tags.min_by_key(|tag| tag.as_str().len()).filter(|_| same)?;
    // After it was corrected again, both go by a tag of before.
    let stem = tag.as_str().rsplit_once("-OLD");
    let mut text = format!(
        "{} {} in {} {}, from {} to {}",
        new.name,
        stem.map_or(tag.as_str(), |(stem, _)| stem),
        new.to.words,
        entry.kind.label(),
        amount(cx, old),
        amount(cx, new)
    );
    if let Some(before) = &old.tag
        && entry.undone_by.is_none()
    {
        let _ = write!(text, "; the figure before stands under {before}");
    }
    Some(text)
}

fn what(cx: &Cx, entry: &Entry) -> String {
    let label = entry.kind.label();
    if let Some(text) = counted(cx, entry).or_else(|| measured(cx, entry)) {
        return text;
    }
    if let Some((mark, tag)) = &entry.mark {
        return match entry.kind {
            // It was bad already: what was done is that another took its place.
            _ if mark.before == mark.after && entry.lines.is_empty() => match entry.kind {
                MovementKind::Undo => format!("{label}: another in place of {tag}"),
                _ => format!("another takes the place of {tag}, which is {}", mark.after),
            },
            MovementKind::Undo => format!("{label}: {tag} is {} again", mark.after),
            MovementKind::TakeOut => format!(
                "{} takes the place of {tag}, which is {}, was {}",
                items(cx, entry.lines.iter()),
                mark.after,
                mark.before
            ),
            _ => format!("{tag} {label} {}, was {}", mark.after, mark.before),
        };
    }
    if entry.kind == MovementKind::Cut {
        let parent = items(
            cx,
            entry
                .lines
                .iter()
                .filter(|line| line.to.kind == AccountKind::Bench),
        );
        let (children, lost): (Vec<_>, Vec<_>) = entry
            .lines
            .iter()
            .filter(|line| line.from.kind == AccountKind::Bench)
            .partition(|line| line.thing.is_some());
        let words: Vec<String> = children.iter().map(|line| short(cx, line)).collect();
        let mut text = format!("{parent} {label} into {}", listed(&words));
        let lost = lost.iter().filter_map(|line| line.amount.length());
        let lost: i64 = lost.map(Length::get).sum();
        if let (1.., Ok(lost)) = (lost, Length::new(lost)) {
            let lost = cx.length(lost);
            let _ = write!(text, "; {lost} of saw cuts and scrap");
        }
        return text;
    }
    // What did not go with the rest is told after it.
    let went = |line: &&EntryLine| !matches!(line.to.kind, AccountKind::Lost | AccountKind::Scrap);
    let (with, apart): (Vec<_>, Vec<_>) = entry.lines.iter().partition(went);
    let lines = if with.is_empty() || entry.kind == MovementKind::Undo {
        entry.lines.iter().collect()
    } else {
        with
    };
    let apart = if lines.len() == entry.lines.len() {
        Vec::new()
    } else {
        apart
    };
    let mut text = match entry.kind {
        MovementKind::Undo => format!("{label}: "),
        _ => String::new(),
    };
    text.push_str(&items(cx, lines.iter().copied()));
    if entry.kind != MovementKind::Undo {
        let _ = write!(text, " {label}");
    }
    if let Some(first) = lines.first() {
        let one_from = lines.iter().all(|line| line.from == first.from);
        let one_to = lines.iter().all(|line| line.to == first.to);
        if one_from && first.from.kind.owned() {
            let words = first.from.words.as_str();
            let _ = match words.strip_prefix("on stage for ") {
                Some(set) => write!(text, " from the stage of {set}"),
                None => write!(text, " from {words}"),
            };
        }
        if one_to && first.to.kind.owned() {
            let arrow = match first.to.kind {
                AccountKind::Place => "to ",
                _ => "",
            };
            let _ = write!(text, ", {arrow}{}", first.to.words);
        } else if one_to && entry.kind == MovementKind::Undo {
            let _ = write!(text, ", {}", first.to.words);
        }
    }
    for (kind, did) in [
        (AccountKind::Lost, "lost"),
        (AccountKind::Scrap, "thrown away"),
    ] {
        let of_kind = apart.iter().copied().filter(|line| line.to.kind == kind);
        let gone = items(cx, of_kind);
        if !gone.is_empty() {
            let _ = write!(text, "; {gone} {did}");
        }
    }
    text
}

#[derive(Template)]
#[template(path = "log.html")]
struct LogPage {
    chrome: Chrome,
    form: Form,
    action: Link,
    lines: Vec<Line>,
    kinds: Vec<Choice>,
    people: Vec<Choice>,
    /// Fields of the filter that come from a link, kept while the others change.
    kept: Vec<(&'static str, String)>,
    about: Option<String>,
    all: Link,
    older: Option<Link>,
    narrowed: bool,
}

/// GET: movements, newest first.
pub async fn get(cx: Cx, form: Form) -> Answer {
    let mut tx = cx.read().await?;
    let part: Option<PartId> = form.value("part").parse().ok();
    let thing: Option<ThingId> = form.value("thing").parse().ok();
    let design: Option<DesignId> = form.value("design").parse().ok();
    let (about, words) = if let Some(id) = thing {
        let thing = db::thing::lookup(&mut tx, id).await?;
        (About::Thing(id), thing.map(|thing| thing.tag.to_string()))
    } else if let Some(id) = part {
        let part = db::part::lookup(&mut tx, id).await?;
        (About::Part(id), part.map(|part| part.name.to_string()))
    } else if let Some(id) = design {
        let name = db::overview::find_design_name(&mut tx, id).await?;
        (About::Design(id), name)
    } else {
        (About::All, None)
    };
    let filter = LogFilter {
        about,
        who: Name::parse(form.value("who")).ok(),
        kind: form.value("kind").parse().ok(),
        before: form.value("before").parse().ok(),
    };
    let mut entries = db::movement::list(&mut tx, &filter, PAGE + 1).await?;
    let people = db::venue::list_people(&mut tx).await?;
    drop(tx);
    let most = usize::try_from(PAGE).unwrap_or(usize::MAX);
    let more = entries.len() > most;
    entries.truncate(most);
    let kept: Vec<(&'static str, String)> = ["part", "thing", "design"]
        .into_iter()
        .map(|name| (name, form.value(name).to_owned()))
        .filter(|(_, value)| !value.is_empty())
        .collect();
    let older = entries.last().filter(|_| more).map(|last| {
        Link::Log.with(kept.iter().cloned().chain([
            ("who", form.value("who").to_owned()),
            ("kind", form.value("kind").to_owned()),
            ("before", last.id.to_string()),
        ]))
    });
    Ok(page(&LogPage {
        chrome: cx.chrome(Section::Log, "Log"),
        form: Form::default(),
        action: Link::Log,
        lines: entries.iter().map(|entry| Line::new(&cx, entry)).collect(),
        kinds: Choice::list(
            std::iter::once(("", "Every kind")).chain(
                MovementKind::ALL
                    .iter()
                    .map(|kind| (kind.word(), kind.label())),
            ),
            form.value("kind"),
        ),
        people: Choice::list(
            std::iter::once((String::new(), "Everybody".to_owned())).chain(
                people
                    .iter()
                    .map(|name| (name.to_string(), name.to_string())),
            ),
            form.value("who"),
        ),
        narrowed: filter.who.is_some() || filter.kind.is_some() || filter.before.is_some(),
        kept,
        about: words,
        all: Link::Log,
        older,
    }))
}

/// POST: undoes one movement by its counter-movement, and leads back to where it was pressed.
pub async fn undo(cx: Cx, Path(id): Path<MovementId>, headers: HeaderMap, form: Form) -> Answer {
    let back = Link::back(&headers).unwrap_or(Link::Log);
    let change = Undo {
        movement: id,
        reason: Note::default(),
    };
    match cx.act(&form).carry_out(&change).await {
        Ok(done) => {
            let entry = db::movement::lookup(&mut *cx.read().await?, id).await?;
            let said = entry.map_or_else(
                || "It was undone. The log keeps both.".to_owned(),
                |entry| format!("Undone: {}. The log keeps both.", what(&cx, &entry)),
            );
            let done = Done {
                movement: None,
                ..done
            };
            Ok(go_with(&back, &told(&said, &done)))
        }
        Err(why @ StockError::Refused(_)) => Ok(go_with(&back, &Flash::refused(&why))),
        Err(why) => {
            Err(Trouble::new(stock_status(&why), why.to_string()).or_go(Link::Log, "The log"))
        }
    }
}
