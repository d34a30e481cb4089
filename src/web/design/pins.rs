//! What a set is planned around by choice, on the pages Reuse, Cuts and Shopping: what each of these
//! pins costs, the form that adds one, the button that takes one out.

use std::collections::BTreeSet;

use axum::http::StatusCode;

use super::{Tab, Whole, cuts, load, reuse, shopping, toll};
use crate::{
    db,
    model::{
        design::{Design, LeftAlone, NotFrom},
        id::{BarId, DesignId, PartId, SupplierId, ThingId},
        thing::ThingKind,
    },
    plan::{
        other::{Other, Tally},
        outcome::CheckState,
        pin::Pin,
    },
    stock::{design::Edit, planned},
    web::{
        at::Path,
        cx::Cx,
        error::{Answer, Trouble},
        form::{Choice, Form},
        link::Link,
        page::Flash,
    },
};

/// What a pin costs is worked out for each of so many; beyond that only for all together.
const MOST_PRICED: usize = 6;

/// A pin of the set.
pub struct PinRow {
    /// What is pinned, in words.
    pub words: String,
    /// The thing or supplier, and its page.
    pub subject: (Link, String),
    /// Whether it is a thing with a tag.
    pub tagged: bool,
    /// Why, in the words of whoever chose.
    pub note: String,
    /// Why it can't be kept.
    pub broken: Option<String>,
    /// What it costs, in words; empty where that is not worked out.
    pub costs: String,
    /// What the button sends: what to do, and about what.
    pub out: (&'static str, String),
    /// What the button says.
    pub button: &'static str,
}

/// The pins of one page.
pub struct PinsShown {
    /// Those there are.
    pub rows: Vec<PinRow>,
    /// What all pins of the set cost together, where there are several.
    pub all: Option<String>,
    /// Pins of the set that other pages list.
    pub elsewhere: usize,
    /// Whether each was solved again.
    pub priced: bool,
    /// The word of the page.
    pub page: &'static str,
    /// The field that names what is pinned.
    pub field: &'static str,
    /// What the form does.
    pub act: &'static str,
    /// The label of its field.
    pub label: &'static str,
    /// What can be pinned.
    pub choices: Vec<Choice>,
    /// The form as it was typed.
    pub form: Form,
}

impl PinsShown {
    /// Whether the section has anything to show.
    pub fn any(&self) -> bool {
        !self.rows.is_empty() || !self.choices.is_empty()
    }
}

fn belongs(tab: Tab, pin: Pin, whole: &Whole) -> bool {
    let left = |kind: ThingKind, thing: ThingId| {
        let mut all = whole.input().stock.left_alone.iter();
        all.any(|it| it.thing == thing && it.kind == kind)
    };
    match (tab, pin) {
        (Tab::Reuse, Pin::Fixture(..)) | (Tab::Shopping, Pin::NotFrom(_)) => true,
        (Tab::Reuse, Pin::LeftAlone(thing)) => left(ThingKind::Fixture, thing),
        (Tab::Cuts, Pin::LeftAlone(thing)) => left(ThingKind::Piece, thing),
        _ => false,
    }
}

fn row(whole: &Whole, pin: Pin, costs: String) -> PinRow {
    let stock = &whole.input().stock;
    match pin {
        Pin::Fixture(bar, fixture) => {
            let tag = whole.fixture(fixture).map_or_else(
                || "a fixture that is gone".to_owned(),
                |spare| spare.fixture.tag.to_string(),
            );
            let key = format!("chosen:bar-{bar}");
            let mut checks = whole.plan().checks.iter();
            PinRow {
                words: format!("serves bar {}", whole.bar_label(bar)),
                subject: (Link::Thing(fixture), tag),
                tagged: true,
                note: String::new(),
                broken: checks
                    .find(|check| check.key == key && check.state <= CheckState::Unknown)
                    .map(|check| check.sentence.clone()),
                costs,
                out: ("unpin", bar.to_string()),
                button: "Let the plan choose",
            }
        }
        Pin::LeftAlone(thing) => {
            let left = stock.left_alone.iter().find(|it| it.thing == thing);
            let mut notes = whole.design().left_alone.iter();
            PinRow {
                words: "is left alone".to_owned(),
                subject: (
                    Link::Thing(thing),
                    left.map_or_else(|| "a thing".to_owned(), |it| it.tag.to_string()),
                ),
                tagged: true,
                note: notes
                    .find(|it| it.thing == thing)
                    .map_or_else(String::new, |it| it.note.as_str().to_owned()),
                broken: left
                    .and_then(|it| it.gone.as_ref())
                    .map(|gone| format!("It cannot be left alone any more: {gone}.")),
                costs,
                out: ("take", thing.to_string()),
                button: "The plan may take it",
            }
        }
        Pin::NotFrom(supplier) => {
            let mut names = stock.not_from.iter();
            let mut notes = whole.design().not_from.iter();
            PinRow {
                words: "Nothing is bought here for this set".to_owned(),
                subject: (
                    Link::Supplier(supplier),
                    names
                        .find(|(id, _)| *id == supplier)
                        .map_or_else(|| "a supplier".to_owned(), |(_, name)| name.to_string()),
                ),
                tagged: false,
                note: notes
                    .find(|it| it.supplier == supplier)
                    .map_or_else(String::new, |it| it.note.as_str().to_owned()),
                broken: None,
                costs,
                out: ("from", supplier.to_string()),
                button: "The plan may buy here",
            }
        }
    }
}

/// What a plan costs for the sake of a pin, against the one without it.
fn cost_words(cx: &Cx, now: &Tally, without: &Tally) -> String {
    let apart = toll::apart(cx, now, without);
    let known = toll::known(now, without);
    if apart.is_empty() {
        format!("It costs nothing: without it the set needs as much. {known}")
    } else {
        format!("Because of this choice: {}. {known}", apart.join(", "))
    }
}

/// What can still be pinned on a page.
async fn choices(cx: &Cx, whole: &Whole, tab: Tab, typed: &str) -> Result<Vec<Choice>, Trouble> {
    let design = whole.design();
    let left = |thing: ThingId| design.left_alone.iter().any(|it| it.thing == thing);
    let stock = &whole.input().stock;
    let none = [(String::new(), "choose one".to_owned())];
    let list: Vec<(String, String)> = match tab {
        Tab::Reuse => {
            let chosen = |thing| design.bars.iter().any(|bar| bar.fixture == Some(thing));
            let fixtures = stock.fixtures.iter().map(|spare| &spare.fixture);
            fixtures
                .filter(|it| !left(it.id) && !chosen(it.id))
                .map(|it| {
                    let (length, channels) = (cx.length(it.make.lit_um), &it.make.channels);
                    (
                        it.id.to_string(),
                        format!("{} · {length}, {channels}", it.tag),
                    )
                })
                .collect()
        }
        Tab::Cuts => {
            let parts: BTreeSet<PartId> = whole.plan().cuts.iter().map(|cut| cut.part).collect();
            let pieces = stock.pieces.iter().map(|spare| &spare.piece);
            pieces
                .filter(|it| parts.contains(&it.part) && !left(it.id))
                .map(|it| {
                    let length = whole.amount(cx, Some(it.part), it.amount);
                    let name = whole.part_name(it.part);
                    (
                        it.id.to_string(),
                        format!("{} · {length} of {name}", it.tag),
                    )
                })
                .collect()
        }
        _ => {
            let suppliers = db::offer::list_suppliers(&mut *cx.read().await?).await?;
            suppliers
                .into_iter()
                .filter(|it| !it.retired)
                .filter(|it| design.not_from.iter().all(|out| out.supplier != it.id))
                .map(|it| (it.id.to_string(), it.name.to_string()))
                .collect()
        }
    };
    if list.is_empty() {
        return Ok(Vec::new());
    }
    Ok(Choice::list(none.into_iter().chain(list), typed))
}

/// The pins of one page, each with what it costs.
pub async fn shown(cx: &Cx, whole: &Whole, tab: Tab, form: &Form) -> Result<PinsShown, Trouble> {
    let all = Pin::of(whole.design());
    let mine: Vec<Pin> = all
        .iter()
        .copied()
        .filter(|pin| belongs(tab, *pin, whole))
        .collect();
    let elsewhere = all.len() - mine.len();
    let priced = whole.is_open() && !mine.is_empty() && mine.len() <= MOST_PRICED;
    let mut asked = Vec::new();
    if priced {
        asked.extend(mine.iter().map(|pin| Other::Without(vec![*pin])));
    }
    let together = whole.is_open() && !mine.is_empty() && all.len() > 1;
    if together {
        asked.push(Other::Without(all));
    }
    let now = Tally::of(whole.plan());
    let plans = planned::other_ways(whole.planned(), asked).await?;
    let mut words = plans.iter().map(|plan| {
        let plan = plan.as_ref();
        plan.map_or_else(String::new, |plan| cost_words(cx, &now, &Tally::of(plan)))
    });
    let rows = mine
        .iter()
        .map(|pin| {
            let costs = if priced { words.next() } else { None };
            row(whole, *pin, costs.unwrap_or_default())
        })
        .collect();
    let all = if together { words.next() } else { None };
    let (page, field, act, label) = match tab {
        Tab::Reuse => ("reuse", "thing", "leave", "Fixture to leave alone"),
        Tab::Cuts => ("cuts", "thing", "leave", "Roll or offcut to leave alone"),
        _ => (
            "shopping",
            "supplier",
            "not-from",
            "Supplier to buy nothing from",
        ),
    };
    let editable = whole.design().state.editable();
    Ok(PinsShown {
        rows,
        all,
        elsewhere,
        priced,
        page,
        field,
        act,
        label,
        choices: if editable {
            choices(cx, whole, tab, form.value(field)).await?
        } else {
            Vec::new()
        },
        form: form.clone(),
    })
}

/// The page with the form that was refused.
async fn refused(cx: &Cx, id: DesignId, form: Form) -> Answer {
    let whole = load::whole(cx, id).await?;
    match form.value("page") {
        "reuse" => reuse::show(cx, &whole, &form).await,
        "cuts" => cuts::show(cx, &whole, &form).await,
        _ => shopping::show(cx, &whole, &form).await,
    }
}

/// The edits that take every choice of the set back.
fn all_out(design: &Design) -> Vec<Edit> {
    let edit = |pin: Pin| match pin {
        Pin::Fixture(bar, _) => Edit::Pick { bar, fixture: None },
        Pin::LeftAlone(thing) => Edit::MayTake(thing),
        Pin::NotFrom(supplier) => Edit::MayBuyFrom(supplier),
    };
    Pin::of(design).into_iter().map(edit).collect()
}

/// The edits that a form asks for, with what is said when they are done.
fn read(form: &mut Form, whole: &Whole) -> Option<(Vec<Edit>, String)> {
    if form.value("do") == "all" {
        let said = "Every choice is taken back: the plan chooses freely.";
        return Some((all_out(whole.design()), said.to_owned()));
    }
    let said = match form.value("do") {
        "leave" => {
            let thing = form.id::<ThingId>("thing");
            let note = form.note("note");
            let (thing, note) = (thing?, note?);
            let edit = Edit::LeaveAlone(LeftAlone { thing, note });
            (edit, "The plan leaves it alone.")
        }
        "not-from" => {
            let supplier = form.id::<SupplierId>("supplier");
            let note = form.note("note");
            let (supplier, note) = (supplier?, note?);
            let edit = Edit::BuyNotFrom(NotFrom { supplier, note });
            (edit, "Nothing is bought there for this set.")
        }
        "take" => {
            let thing = form.id::<ThingId>("about")?;
            (Edit::MayTake(thing), "The plan may take it again.")
        }
        "from" => {
            let supplier = form.id::<SupplierId>("about")?;
            (Edit::MayBuyFrom(supplier), "The plan may buy there again.")
        }
        "unpin" => {
            let bar = form.id::<BarId>("about")?;
            let label = whole.bar_label(bar);
            let edit = Edit::Pick { bar, fixture: None };
            return Some((
                vec![edit],
                format!("Bar {label} takes whichever fixture serves best."),
            ));
        }
        _ => {
            form.fail(
                "",
                "This button says nothing that this page knows. Nothing was changed.",
            );
            return None;
        }
    };
    Some((vec![said.0], said.1.to_owned()))
}

/// POST: pins something, or takes a pin out.
pub async fn post(cx: Cx, Path(id): Path<DesignId>, mut form: Form) -> Answer {
    let whole = load::whole(&cx, id).await?;
    let back = match form.value("page") {
        "reuse" => Link::Reuse(id),
        "cuts" => Link::Cuts(id),
        _ => Link::DesignShopping(id),
    };
    let Some((edits, said)) = read(&mut form, &whole) else {
        return refused(&cx, id, form).await;
    };
    match load::store(&cx, &mut form, id, &edits).await? {
        load::Stored::Done(lines) => {
            let flash = Flash::good(said).followed(lines);
            Ok(crate::web::page::go_with(&back, &flash))
        }
        load::Stored::Wrong => refused(&cx, id, form).await,
        load::Stored::Changed(_) => Err(load::changed(&back)),
    }
}

/// OK, or that something typed is wrong.
pub fn status(form: &Form) -> StatusCode {
    if form.ok() {
        StatusCode::OK
    } else {
        StatusCode::UNPROCESSABLE_ENTITY
    }
}
