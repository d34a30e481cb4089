//! The show day: every finished bar of the set tried in a tap, what failed, and the spares to take
//! along.

use std::collections::BTreeMap;

use askama::Template;
use axum::http::StatusCode;

use super::{Head, Tab, Whole, count_of, day, head, load, runs::plug_kinds};
use crate::{
    db,
    model::{
        channel::Channel,
        design::{Design, State},
        fixture::{Condition, Make},
        id::{BarId, DesignId, ThingId},
        test_record::{TestKind, TestRecord, lower_than_planned},
    },
    plan::{
        input::{Freedom, SpareFixture},
        reuse::replacements,
        volts::figures::{BarVolts, OutputVolts},
    },
    stock::tested::Tested,
    units::{Length, Voltage},
    web::{
        at::Path,
        cx::Cx,
        error::{Answer, Trouble},
        form::Form,
        link::Link,
        page::{Chrome, go_with, page_with},
        places::refused,
        show::told,
    },
};

/// How much a spare may differ in length from what it would replace.
const DIFFER: Length = Length::mm(100);

struct Row {
    id: ThingId,
    tag: String,
    label: String,
    /// Driver and output, where the plan gives one.
    output: String,
    colours: Vec<(Channel, bool)>,
    /// What the plan expects at the far end.
    planned: String,
    condition: Condition,
    /// What was seen last, and how to show it.
    last: Option<(&'static str, String, String)>,
    /// Whether it was tried today.
    today: bool,
    /// What was typed, where this row's form was refused.
    far: String,
    note: String,
    errors: RowErrors,
}

/// What is wrong with what was typed about one bar, by where it stands.
#[derive(Default)]
struct RowErrors {
    whole: Vec<String>,
    dark: Vec<String>,
    far: Vec<String>,
    note: Vec<String>,
}

impl RowErrors {
    fn of(form: &Form) -> Self {
        let of = |name: &str| form.errors(name).to_vec();
        Self {
            whole: [of(""), of("how")].concat(),
            dark: of("dark"),
            far: of("far_mv"),
            note: of("note"),
        }
    }

    fn none(&self) -> bool {
        [&self.whole, &self.dark, &self.far, &self.note]
            .iter()
            .all(|errors| errors.is_empty())
    }
}

struct Spare {
    what: String,
    wanted: usize,
    found: Vec<(Link, String, String)>,
    /// How many are free for none of them, in words; empty if all are there.
    missing: String,
}

#[derive(Template)]
#[template(path = "design/show_day.html")]
struct ShowDayPage {
    chrome: Chrome,
    head: Head,
    before_show: bool,
    /// Whether nothing is held for it yet: other bars may serve it when it is.
    draft: bool,
    /// Whether the set came down: then there is nothing left to try.
    over: bool,
    rows: Vec<Row>,
    /// Bars that no finished one serves yet, in words; empty if there is none.
    unbuilt: String,
    today: usize,
    /// Kinds of leads that tell like bars apart.
    kinds: Vec<String>,
    spares: Vec<Spare>,
    percent: u8,
}

/// A check before a show once the set stands; until then a bench test.
fn kind_of(state: State) -> TestKind {
    match state {
        State::Standing => TestKind::PreShow,
        _ => TestKind::Bench,
    }
}

/// Whether a trial is one of those asked for now: on stage only what was tried with this set.
fn counts(record: &TestRecord, design: &Design) -> bool {
    match kind_of(design.state) {
        TestKind::PreShow => {
            record.kind == TestKind::PreShow && record.design.is_none_or(|of| of == design.id)
        }
        TestKind::Bench => true,
    }
}

/// What was seen last; what was all right elsewhere is not yet so before this show.
fn shown(
    record: &TestRecord,
    design: &Design,
    planned: Option<(f64, f64)>,
) -> (&'static str, String, String) {
    match seen(record, planned) {
        ("passed", _, words) if !counts(record, design) => {
            ("waiting", "not tried here yet".to_owned(), words)
        }
        seen => seen,
    }
}

fn volts(whole: &Whole, bar: BarId) -> Option<(&OutputVolts, &BarVolts)> {
    whole.plan().volts.outputs.iter().find_map(|output| {
        let found = output.bars.iter().find(|it| it.bar == bar)?;
        Some((output, found))
    })
}

/// The volts of the supply and the lowest at the far end, as planned.
fn expected(whole: &Whole, bar: BarId) -> Option<(f64, f64)> {
    volts(whole, bar).map(|(output, volts)| (output.supply_voltage_v, volts.lowest.value))
}

/// Why nothing is tried for a draft.
const DRAFT: &str = "Nothing is held for a draft, and other bars may serve it yet: they are tried once it \
     is reserved. Nothing was noted.";

/// What a voltage that is too low says.
const LOW: &str = "lower than the plan explains: look for a bad joint or a thin wire";
fn or_more(volts: f64) -> String {
    format!("the plan says {volts:.1} V or more")
}

/// The least volts that the plan says for the far end of a bar, in words.
pub fn least_volts(whole: &Whole, bar: BarId) -> Option<String> {
    volts(whole, bar).map(|(_, volts)| or_more(volts.lowest.value))
}

/// What was seen, in a line; the voltage against the planned one where there is one.
pub fn seen(record: &TestRecord, planned: Option<(f64, f64)>) -> (&'static str, String, String) {
    let mut words = vec![format!(
        "{} on {} by {}",
        record.kind,
        day(record.on),
        record.who
    )];
    if !record.dark.is_empty() {
        let dark: Vec<&str> = record.dark.iter().map(|colour| colour.label()).collect();
        words.push(format!("not lit: {}", dark.join(", ")));
    }
    if !record.full_good {
        words.push("not right at full".to_owned());
    }
    let mut low = false;
    if let Some(far) = record.far_mv {
        low = planned.is_some_and(|(supply, lowest)| lower_than_planned(supply, lowest, far));
        words.push(format!(
            "{} at the far end{}",
            far.show(),
            if low {
                format!(", {LOW}")
            } else {
                String::new()
            }
        ));
    }
    if !record.note.is_empty() {
        words.push(record.note.clone());
    }
    let (state, word) = match (record.passed(), low) {
        (true, false) => ("passed", "all right"),
        (true, true) => ("warned", "low"),
        (false, _) => ("broken", "not right"),
    };
    (state, word.to_owned(), words.join(" · "))
}

async fn rows(cx: &Cx, whole: &Whole, form: &Form) -> Result<Vec<Row>, Trouble> {
    let serving: Vec<ThingId> = (whole.design().bars.iter())
        .filter_map(|bar| Some(whole.served_by(bar.id)?.0))
        .collect();
    let last = db::test_record::list_last(&mut *cx.read().await?, &serving).await?;
    let mut rows = Vec::new();
    for bar in &whole.design().bars {
        let Some((id, tag)) = whole.served_by(bar.id) else {
            continue;
        };
        let Some(SpareFixture { fixture, .. }) = whole.fixture(id) else {
            continue;
        };
        let last = last.get(&id);
        let expected = expected(whole, bar.id);
        let refused = form.value("thing") == id.to_string();
        let typed = |name: &str| {
            if refused {
                form.value(name).to_owned()
            } else {
                String::new()
            }
        };
        let errors = if refused {
            RowErrors::of(form)
        } else {
            RowErrors::default()
        };
        rows.push(Row {
            id,
            tag: tag.to_string(),
            label: bar.label.to_string(),
            output: whole
                .bar_plan(bar.id)
                .and_then(|planned| planned.output)
                .map_or_else(String::new, |output| {
                    format!(
                        "{} output {}",
                        whole.driver_name(output.driver),
                        output.output
                    )
                }),
            colours: (fixture.make.channels.list().iter())
                .map(|colour| {
                    let dark = form.all("dark").any(|sent| sent == colour.word());
                    (*colour, refused && dark)
                })
                .collect(),
            planned: expected.map_or_else(String::new, |(_, lowest)| or_more(lowest)),
            condition: fixture.condition,
            today: last.is_some_and(|last| last.on == cx.today && counts(last, whole.design())),
            last: last.map(|last| shown(last, whole.design(), expected)),
            far: typed("far_mv"),
            note: typed("note"),
            errors,
        });
    }
    Ok(rows)
}

/// Bars alike in all but where they hang, and how many of them the set has.
fn alike(whole: &Whole) -> Vec<(Make, usize)> {
    let mut groups: BTreeMap<String, (Make, usize)> = BTreeMap::new();
    for bar in &whole.design().bars {
        let Some(spare) = whole
            .served_by(bar.id)
            .and_then(|(id, _)| whole.fixture(id))
        else {
            continue;
        };
        let make = &spare.fixture.make;
        let key = format!(
            "{} {} {} {:?} {:?}",
            make.channels,
            make.lit_um.get(),
            make.voltage_mv.get(),
            make.diffused,
            make.connector
        );
        groups.entry(key).or_insert_with(|| (make.clone(), 0)).1 += 1;
    }
    groups.into_values().collect()
}

/// A sort of bar in short.
fn sort(cx: &Cx, make: &Make) -> String {
    let cover = if make.diffused { "diffused" } else { "bare" };
    format!("{}, {}, {cover}", cx.length(make.lit_um), make.channels)
}

/// In what bars alike to the eye differ: volts, plug and the order of its pins.
fn feed(make: &Make) -> String {
    let volts = make.voltage_mv.show();
    match &make.connector {
        None => format!("{volts}, plug not noted"),
        Some(plug) => match &plug.pins {
            None => format!("{volts}, {plug}"),
            Some(pins) => format!("{volts}, {plug} ({pins})"),
        },
    }
}

/// Each sort in short; what differs is added where two would read alike.
fn told_apart(sorts: &[(String, String)]) -> Vec<String> {
    let alike = |sort: &str| sorts.iter().filter(|(other, _)| other == sort).count() > 1;
    let words = sorts.iter().map(|(sort, feed)| {
        if alike(sort) {
            format!("{sort}, {feed}")
        } else {
            sort.clone()
        }
    });
    words.collect()
}

/// What to take along: of each sort of bar the venue's percentage, at least one, from what is free.
fn spares(cx: &Cx, whole: &Whole) -> Vec<Spare> {
    let percent = usize::from(cx.venue.spare_percent);
    if percent == 0 {
        return Vec::new();
    }
    let serving: Vec<ThingId> = (whole.design().bars.iter())
        .filter_map(|bar| Some(whole.served_by(bar.id)?.0))
        .collect();
    let mut free: Vec<SpareFixture> = (whole.input().stock.fixtures.iter())
        .filter(|spare| spare.freedom == Freedom::Free && !serving.contains(&spare.fixture.id))
        .cloned()
        .collect();
    let mut spares = Vec::new();
    let sorts = alike(whole);
    let words: Vec<(String, String)> = sorts
        .iter()
        .map(|(make, _)| (sort(cx, make), feed(make)))
        .collect();
    for ((make, count), sort) in sorts.iter().zip(told_apart(&words)) {
        let wanted = (*count * percent).div_ceil(100).max(1);
        let (fit, _) = replacements(make, None, DIFFER, DIFFER, &free, cx.unit());
        let taken: Vec<ThingId> = fit.iter().take(wanted).map(|fit| fit.fixture).collect();
        let found = (free.iter().filter(|it| taken.contains(&it.fixture.id)))
            .map(|it| {
                (
                    Link::Thing(it.fixture.id),
                    it.fixture.tag.to_string(),
                    it.place.path.clone(),
                )
            })
            .collect();
        free.retain(|it| !taken.contains(&it.fixture.id));
        spares.push(Spare {
            what: format!("{count} × {sort}"),
            wanted,
            missing: match wanted.saturating_sub(taken.len()) {
                0 => String::new(),
                missing => format!("{missing} not there"),
            },
            found,
        });
    }
    spares
}

async fn show(cx: &Cx, id: DesignId, form: &Form, status: StatusCode) -> Answer {
    let whole = load::whole(cx, id).await?;
    let rows = rows(cx, &whole, form).await?;
    let (chrome, head) = head(cx, &whole, Tab::ShowDay);
    Ok(page_with(
        status,
        &ShowDayPage {
            chrome,
            before_show: kind_of(head.state) == TestKind::PreShow,
            draft: head.state == State::Draft,
            over: matches!(head.state, State::Struck | State::Cancelled),
            unbuilt: match whole.design().bars.len().saturating_sub(rows.len()) {
                0 => String::new(),
                unbuilt => count_of(unbuilt, "bar is", "bars are"),
            },
            today: rows.iter().filter(|row| row.today).count(),
            kinds: plug_kinds(&whole),
            spares: spares(cx, &whole),
            percent: cx.venue.spare_percent,
            rows,
            head,
        },
    ))
}

/// GET: the bars to try.
pub async fn get(cx: Cx, Path(id): Path<DesignId>) -> Answer {
    show(&cx, id, &Form::default(), StatusCode::OK).await
}

/// Whether the volts at the far end of what serves a bar are lower than planned.
fn is_low(whole: &Whole, thing: ThingId, far: Voltage) -> bool {
    let mut bars = whole.design().bars.iter().map(|bar| bar.id);
    let bar = bars.find(|bar| whole.served_by(*bar).is_some_and(|(id, _)| id == thing));
    bar.and_then(|bar| expected(whole, bar))
        .is_some_and(|(supply, lowest)| lower_than_planned(supply, lowest, far))
}

/// POST: notes what was seen of one.
pub async fn post(cx: Cx, Path(id): Path<DesignId>, mut form: Form) -> Answer {
    let design = load::design(&cx, id).await?;
    if design.state == State::Draft {
        return Err(
            Trouble::new(StatusCode::CONFLICT, DRAFT).or_go(Link::ShowDay(id), "To its bars")
        );
    }
    let thing = form.id::<ThingId>("thing");
    let dark = form
        .all("dark")
        .map(str::parse::<Channel>)
        .collect::<Result<Vec<_>, _>>();
    if let Err(why) = &dark {
        form.fail("dark", why);
    }
    let good = form.take("how", |how| match how {
        "good" => Ok(true),
        "bad" => Ok(false),
        _ => Err("Press one of the two buttons."),
    });
    let far = form.optional("far_mv", Voltage::parse);
    let note = form.note("note");
    if good == Some(true) && dark.as_ref().is_ok_and(|dark| !dark.is_empty()) {
        form.fail(
            "dark",
            "A colour is ticked as not lit: press “Not right”, or take the tick away.",
        );
    }
    let (Some(thing), Ok(dark), Some(good), Some(far_mv), Some(note), true) =
        (thing, dark, good, far, note, form.ok())
    else {
        return show(&cx, id, &form, StatusCode::UNPROCESSABLE_ENTITY).await;
    };
    let asked = Tested {
        thing,
        design: Some(id),
        kind: kind_of(design.state),
        // Only a colour was ticked: together they may be as they should.
        full_good: good,
        dark,
        far_mv,
        note,
    };
    match cx.act(&form).carry_out(&asked).await {
        Ok(done) => {
            let low = match far_mv {
                Some(far) => is_low(&load::whole(&cx, id).await?, thing, far),
                None => false,
            };
            let tag = db::thing::list_by_id(&mut *cx.read().await?, &[thing]).await?;
            let tag = tag
                .first()
                .map_or_else(String::new, |it| it.tag.to_string());
            let said = if good && low {
                format!("{tag}: low. It lights, but the volts are {LOW}.")
            } else if good {
                format!(
                    "{tag}: all right. If that was a slip, note it again: what was seen last counts."
                )
            } else {
                format!("{tag} is not right and is marked suspect.")
            };
            Ok(go_with(&Link::ShowDay(id), &told(&said, &done)))
        }
        Err(why) => {
            let status = refused(&mut form, why)?;
            show(&cx, id, &form, status).await
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sorts_that_read_alike_say_in_what_they_differ() {
        let sort = |short: &str, feed: &str| (short.to_owned(), feed.to_owned());
        let sorts = vec![
            sort("900 mm, RGB", "24 V, three-pin male"),
            sort("600 mm, RGB", "24 V, three-pin male"),
            sort("900 mm, RGB", "12 V, three-pin male"),
        ];
        let expected = [
            "900 mm, RGB, 24 V, three-pin male",
            "600 mm, RGB",
            "900 mm, RGB, 12 V, three-pin male",
        ];
        assert_eq!(told_apart(&sorts), expected);
    }
}
