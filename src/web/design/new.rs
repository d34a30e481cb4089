//! Start the next set: its name and dates, and what is free in them to put into it by a tap.

use std::collections::BTreeMap;

use askama::Template;
use axum::http::StatusCode;
use jiff::ToSpan as _;

use super::{count_of, day, edit::dates, load};
use crate::{
    model::{
        design::{BAR_LIMIT, Bar, Choices},
        id::{BarId, ThingId},
        text::{Name, Note},
    },
    plan::input::{Freedom, SpareFixture},
    stock::{self, StockError, design::Basics},
    units::{Length, LengthUnit, SignedLength},
    web::{
        cx::Cx,
        error::Answer,
        form::Form,
        link::Link,
        page::{Chrome, Flash, Section, go_with, page_with},
        start::{self, Step, Steps},
    },
};

/// How much a bar made from a fixture may differ when another takes its place.
const TOLERANCE: Length = Length::mm(20);
/// From one bar made from a fixture to the next.
const STEP_UM: i64 = 300_000;

/// A fixture that is free.
pub struct FreeRow {
    /// Its id.
    pub id: ThingId,
    /// Its tag.
    pub tag: String,
    /// Where it lies.
    pub place: String,
    /// Whether it was ticked.
    pub ticked: bool,
}

/// Free fixtures of one length and colours.
pub struct FreeGroup {
    /// The name of its box, when all are ticked at once.
    pub key: String,
    /// Length, colours, diffused or bare, voltage.
    pub title: String,
    /// How many, in words.
    pub all: String,
    /// Whether all were ticked at once.
    pub ticked: bool,
    /// The fixtures.
    pub rows: Vec<FreeRow>,
}

/// Free fixtures, by colours and length.
pub fn groups(cx: &Cx, fixtures: &[SpareFixture], form: &Form) -> Vec<FreeGroup> {
    let mut groups: BTreeMap<(String, Length, bool, i64), Vec<&SpareFixture>> = BTreeMap::new();
    for spare in fixtures
        .iter()
        .filter(|spare| spare.freedom == Freedom::Free)
    {
        let make = &spare.fixture.make;
        groups
            .entry((
                make.channels.to_string(),
                make.lit_um,
                make.diffused,
                make.voltage_mv.get(),
            ))
            .or_default()
            .push(spare);
    }
    // Other dates may have made other boxes of what was ticked all at once.
    let before = ticked(form);
    groups
        .into_iter()
        .map(|((colours, lit, diffused, _), mut spares)| {
            spares.sort_by(|a, b| a.fixture.tag.cmp(&b.fixture.tag));
            let voltage = spares
                .first()
                .map_or_else(String::new, |spare| spare.fixture.make.voltage_mv.show());
            let key = spares
                .iter()
                .map(|spare| spare.fixture.id.to_string())
                .collect::<Vec<_>>()
                .join("-");
            let all_ticked = form.all("all").any(|sent| sent == key);
            FreeGroup {
                title: format!(
                    "{} · {colours} · {} · {voltage}",
                    cx.length(lit),
                    if diffused { "diffused" } else { "bare" }
                ),
                all: match spares.len() {
                    1 => "Take it".to_owned(),
                    count => format!("Take all {count}"),
                },
                ticked: all_ticked,
                rows: spares
                    .iter()
                    .map(|spare| FreeRow {
                        id: spare.fixture.id,
                        tag: spare.fixture.tag.to_string(),
                        place: spare.place.path.clone(),
                        ticked: !all_ticked && before.contains(&spare.fixture.id),
                    })
                    .collect(),
                key,
            }
        })
        .collect()
}

#[derive(Template)]
#[template(path = "design/new.html")]
struct NewPage {
    chrome: Chrome,
    form: Form,
    groups: Vec<FreeGroup>,
    /// The steps of the first hour, where this page is the last of them.
    steps: Option<Steps>,
    /// What was ticked, where the dates do not say what is free.
    carried: Vec<ThingId>,
    window: Option<String>,
    free: usize,
    past: Vec<(Link, String)>,
}

/// Dates to begin with: build in a week, get-in a week later, two days on the stage.
pub fn usual_dates(cx: &Cx) -> [(&'static str, String); 3] {
    let after = |days: i32| {
        cx.today
            .checked_add(days.days())
            .unwrap_or(cx.today)
            .to_string()
    };
    [
        ("build_on", after(7)),
        ("get_in", after(14)),
        ("strike_on", after(16)),
    ]
}

async fn show(cx: &Cx, mut form: Form, status: StatusCode) -> Answer {
    for (name, value) in usual_dates(cx) {
        if !form.has(name) {
            form.set(name, value);
        }
    }
    // Only to see what is free: a date that cannot be read is said when the form is sent.
    let asked = dates(&mut form.clone());
    if !form.has("name")
        && let Some(dates) = &asked
    {
        form.set(
            "name",
            load::free_name(cx, &format!("Set of {}", dates.get_in())).await?,
        );
    }
    let fixtures = match &asked {
        Some(dates) => load::fixtures_on(cx, dates).await?,
        None => Vec::new(),
    };
    let groups = groups(cx, &fixtures, &form);
    let past = load::past(cx).await?;
    let next = start::next(&mut cx.read().await?, &cx.venue).await?;
    let steps = next
        .filter(|next| *next >= Step::Have)
        .map(|_| Step::Set.list());
    let title = match steps {
        Some(_) => "Start the first set",
        None => "Start the next set",
    };
    Ok(page_with(
        status,
        &NewPage {
            chrome: cx.chrome(Section::Designs, title),
            steps,
            carried: match asked {
                Some(_) => Vec::new(),
                None => ticked(&form),
            },
            free: groups.iter().map(|group| group.rows.len()).sum(),
            window: asked
                .map(|dates| format!("{} to {}", day(dates.build_on()), day(dates.strike_on()))),
            groups,
            past,
            form,
        },
    ))
}

/// GET: the form, with what is free on the dates asked for.
pub async fn get(cx: Cx, form: Form) -> Answer {
    show(&cx, form, StatusCode::OK).await
}

/// The cable of a bar of which nobody said how far it hangs from its driver: 2 m, or 6 ft.
pub fn usual_cable(unit: LengthUnit) -> Length {
    if unit.metric() {
        Length::mm(2_000)
    } else {
        Length::new(72 * 25_400).unwrap_or(Length::mm(2_000))
    }
}

/// A bar that asks for just what a fixture is.
pub fn bar_of(spare: &SpareFixture, label: Name, at: usize, unit: LengthUnit) -> Bar {
    let make = &spare.fixture.make;
    let x = STEP_UM.saturating_mul(i64::try_from(at).unwrap_or(0));
    Bar {
        id: BarId(0),
        label,
        length_um: make.lit_um,
        shorter_um: TOLERANCE,
        longer_um: TOLERANCE,
        channels: make.channels.clone(),
        voltage_mv: Some(make.voltage_mv),
        diffused: make.diffused,
        fed: make.fed,
        frame: None,
        x_um: SignedLength::new(x).unwrap_or_default(),
        y_um: SignedLength::ZERO,
        angle_mdeg: 90_000,
        group: String::new(),
        feed_place: String::new(),
        cable_um: usual_cable(unit),
        tape: None,
        profile: None,
        fixture: Some(spare.fixture.id),
    }
}

fn ticked(form: &Form) -> Vec<ThingId> {
    let mut ids: Vec<ThingId> = form
        .all("all")
        .flat_map(|key| key.split('-'))
        .chain(form.all("fixture"))
        .filter_map(|text| text.parse().ok())
        .collect();
    ids.sort_unstable();
    ids.dedup();
    ids
}

/// POST: makes the set, with a bar for each fixture that was ticked.
pub async fn post(cx: Cx, mut form: Form) -> Answer {
    let name = form.name("name");
    let dates = dates(&mut form);
    let (Some(name), Some(dates)) = (name, dates) else {
        return show(&cx, form, StatusCode::UNPROCESSABLE_ENTITY).await;
    };
    let ids = ticked(&form);
    if ids.len() > BAR_LIMIT {
        form.fail(
            "",
            format!("A set holds at most {BAR_LIMIT} bars; tick fewer."),
        );
        return show(&cx, form, StatusCode::UNPROCESSABLE_ENTITY).await;
    }
    let mut bars = Vec::new();
    if !ids.is_empty() {
        let fixtures = load::fixtures_on(&cx, &dates).await?;
        let free = |id: &ThingId| {
            (fixtures.iter()).find(|it| it.fixture.id == *id && it.freedom == Freedom::Free)
        };
        let (there, gone): (Vec<ThingId>, Vec<ThingId>) =
            ids.into_iter().partition(|id| free(id).is_some());
        // The list may have been that of other dates.
        if !gone.is_empty() {
            let kept = (form.pairs())
                .filter(|(name, _)| !["all", "fixture"].contains(name))
                .map(|(name, value)| (name.to_owned(), value.to_owned()));
            let ticks = there
                .iter()
                .map(|id| ("fixture".to_owned(), id.to_string()));
            let mut form = Form::filled(kept.chain(ticks).collect::<Vec<_>>());
            form.fail(
                "",
                format!(
                    "{} that you ticked {} not free from {} to {}. What is free then stands below, with your other ticks kept: look at it and press again.",
                    count_of(gone.len(), "fixture", "fixtures"),
                    if gone.len() == 1 { "is" } else { "are" },
                    day(dates.build_on()),
                    day(dates.strike_on()),
                ),
            );
            return show(&cx, form, StatusCode::UNPROCESSABLE_ENTITY).await;
        }
        for (at, spare) in there.iter().filter_map(free).enumerate() {
            if let Ok(label) = Name::parse(&(at + 1).to_string()) {
                bars.push(bar_of(spare, label, at, cx.unit()));
            }
        }
    }
    let basics = Basics {
        name,
        dates,
        budget_minor: None,
        note: Note::default(),
        choices: Choices::default(),
    };
    let count = bars.len();
    match stock::design::add(&cx.act(&form), &basics, &bars).await {
        Ok(id) if count == 0 => Ok(go_with(
            &Link::Bars(id),
            &Flash::good("The set is made. Now sketch its bars."),
        )),
        Ok(id) => Ok(go_with(
            &Link::Design(id),
            &Flash::good(format!(
                "The set is made, with {} from the cupboard. Nothing is held until it is reserved.",
                count_of(count, "fixture", "fixtures")
            )),
        )),
        Err(StockError::Field { field, message }) => {
            form.fail(&field, message);
            show(&cx, form, StatusCode::UNPROCESSABLE_ENTITY).await
        }
        Err(why) => Err(why.into()),
    }
}
