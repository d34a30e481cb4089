//! One bar: its form, and what may stand in it.

use askama::Template;
use axum::http::StatusCode;

use super::{Tab, Whole, edit::choices, head, load};
use crate::{
    model::{
        channel::Channels,
        design::Bar,
        fixture::Fed,
        id::{BarId, DesignId},
        part::{Kind, PartSpec},
        text::{Name, TextError},
    },
    plan::input::Freedom,
    stock::design::Edit,
    units::{Length, Voltage},
    web::{
        at::Path,
        clash::{Clash, Field, tick_words},
        cx::Cx,
        error::{Answer, Trouble},
        form::{Choice, Form},
        link::Link,
        page::{Chrome, Flash, go_with, page_with},
    },
};

/// The most that a bar may be turned, in thousandths of a degree.
const MOST_TURNED: f64 = 360_000.0;

/// Reads an angle such as `90`, `-45.5` or `30°` into thousandths of a degree.
pub fn parse_angle(text: &str) -> Result<i32, String> {
    let trimmed = text.trim().trim_end_matches('°').trim();
    if trimmed.is_empty() {
        return Ok(0);
    }
    let wrong = || {
        format!(
            "“{}” is not an angle; type degrees from -360 to 360, such as 90 for upright.",
            text.chars().take(40).collect::<String>()
        )
    };
    let degrees: f64 = trimmed.replace(',', ".").parse().map_err(|_| wrong())?;
    let milli = (degrees * 1000.0).round();
    if milli.is_finite() && milli.abs() <= MOST_TURNED {
        #[expect(
            clippy::cast_possible_truncation,
            reason = "within a few hundred thousand, as just checked"
        )]
        Ok(milli as i32)
    } else {
        Err(wrong())
    }
}

/// An angle as people type it.
pub fn show_angle(mdeg: i32) -> String {
    let text = format!("{:.3}", f64::from(mdeg) / 1000.0);
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// A short text that may stay empty: a control group, a place.
fn word(text: &str) -> Result<String, TextError> {
    match Name::parse(text) {
        Ok(name) => Ok(name.to_string()),
        Err(TextError::Empty) => Ok(String::new()),
        Err(why) => Err(why),
    }
}

/// What the selects of a bar's form offer.
#[derive(Debug, Clone)]
pub struct Offered {
    /// Colours.
    pub channels: Vec<Choice>,
    /// Ends fed.
    pub fed: Vec<Choice>,
    /// Frames of the design.
    pub frames: Vec<Choice>,
    /// Tapes.
    pub tapes: Vec<Choice>,
    /// Profiles.
    pub profiles: Vec<Choice>,
    /// Fixtures that may be chosen by hand.
    pub fixtures: Vec<Choice>,
}

/// The selects with what was typed chosen.
pub fn offered(cx: &Cx, whole: &Whole, form: &Form) -> Offered {
    let mut colours: Vec<Channels> = ["white", "tunable white", "RGB", "RGBW", "RGB+CCT"]
        .into_iter()
        .filter_map(|text| text.parse().ok())
        .collect();
    let known = whole
        .input()
        .parts
        .iter()
        .filter_map(|part| match &part.spec {
            PartSpec::Tape(tape) => tape.colours(),
            _ => None,
        })
        .chain(
            whole
                .input()
                .stock
                .fixtures
                .iter()
                .map(|spare| spare.fixture.make.channels.clone()),
        )
        .chain(whole.design().bars.iter().map(|bar| bar.channels.clone()));
    for set in known {
        if !colours.contains(&set) {
            colours.push(set);
        }
    }
    let mut frames = Choice::list([("", "no frame")], form.value("frame"));
    frames.extend(Choice::list(
        whole
            .design()
            .frames
            .iter()
            .map(|frame| (frame.id.to_string(), frame.label.to_string())),
        form.value("frame"),
    ));
    let mut fixtures = Choice::list([("", "whichever serves best")], form.value("fixture"));
    fixtures.extend(Choice::list(
        whole
            .input()
            .stock
            .fixtures
            .iter()
            .filter(|spare| {
                spare.freedom == Freedom::Free
                    || spare.fixture.id.to_string() == form.value("fixture")
            })
            .map(|spare| {
                (
                    spare.fixture.id.to_string(),
                    format!(
                        "{} · {} · {}",
                        spare.fixture.tag,
                        cx.length(spare.fixture.make.lit_um),
                        spare.fixture.make.channels
                    ),
                )
            }),
        form.value("fixture"),
    ));
    Offered {
        channels: Choice::list(
            colours.iter().map(|set| (set.to_string(), set.to_string())),
            form.value("channels"),
        ),
        fed: Choice::list(
            Fed::ALL.iter().map(|fed| (fed.word(), fed.label())),
            form.value("fed"),
        ),
        frames,
        tapes: choices(&whole.input().parts, Kind::Tape, form.value("tape")),
        profiles: choices(&whole.input().parts, Kind::Profile, form.value("profile")),
        fixtures,
    }
}

/// A bar's form filled with what is stored.
pub fn filled(cx: &Cx, bar: &Bar, version: i64) -> Form {
    let id = |id: Option<String>| id.unwrap_or_default();
    Form::filled([
        ("label", bar.label.to_string()),
        ("length", cx.exact(bar.length_um)),
        ("shorter", cx.exact(bar.shorter_um)),
        ("longer", cx.exact(bar.longer_um)),
        ("channels", bar.channels.to_string()),
        (
            "voltage",
            bar.voltage_mv.map_or_else(String::new, Voltage::show),
        ),
        ("diffused", if bar.diffused { "on" } else { "" }.to_owned()),
        ("fed", bar.fed.word().to_owned()),
        ("frame", id(bar.frame.map(|id| id.to_string()))),
        ("x", bar.x_um.typed(cx.unit())),
        ("y", bar.y_um.typed(cx.unit())),
        ("angle", show_angle(bar.angle_mdeg)),
        ("group", bar.group.clone()),
        ("feed_place", bar.feed_place.clone()),
        ("cable", cx.exact(bar.cable_um)),
        ("tape", id(bar.tape.map(|id| id.to_string()))),
        ("profile", id(bar.profile.map(|id| id.to_string()))),
        ("fixture", id(bar.fixture.map(|id| id.to_string()))),
        ("version", version.to_string()),
    ])
}

/// Reads a bar. `label` stands for the field, which adding many reads another way.
pub fn read(cx: &Cx, form: &mut Form, id: BarId, label: Option<Name>) -> Option<Bar> {
    let unit = cx.unit();
    let length = form.length_above_zero("length", unit);
    let optional = |form: &mut Form, name: &str| {
        form.optional(name, |text| Length::parse(text, unit))
            .map(Option::unwrap_or_default)
    };
    let shorter = optional(form, "shorter");
    let longer = optional(form, "longer");
    let cable = optional(form, "cable");
    if let (Some(length), Some(shorter)) = (length, shorter)
        && shorter >= length
    {
        form.fail(
            "shorter",
            "This would let the bar be no bar at all. Type less than its length.",
        );
    }
    let channels = form.take("channels", str::parse::<Channels>);
    let voltage = form.optional("voltage", Voltage::parse);
    let fed = form.word::<Fed>("fed");
    let frame = form.optional_id("frame");
    let x = form.position("x", unit);
    let y = form.position("y", unit);
    let angle = form.take("angle", parse_angle);
    let group = form.take("group", word);
    let feed_place = form.take("feed_place", word);
    let tape = form.optional_id("tape");
    let profile = form.optional_id("profile");
    let fixture = form.optional_id("fixture");
    if !form.ok() {
        return None;
    }
    Some(Bar {
        id,
        label: label?,
        length_um: length?,
        shorter_um: shorter?,
        longer_um: longer?,
        channels: channels?,
        voltage_mv: voltage?,
        diffused: form.ticked("diffused"),
        fed: fed?,
        frame: frame?,
        x_um: x?,
        y_um: y?,
        angle_mdeg: angle?,
        group: group?,
        feed_place: feed_place?,
        cable_um: cable?,
        tape: tape?,
        profile: profile?,
        fixture: fixture?,
    })
}

#[derive(Template)]
#[template(path = "design/bar.html")]
struct BarPage {
    chrome: Chrome,
    head: super::Head,
    bar: BarId,
    label: String,
    form: Form,
    offered: Offered,
    served: String,
    /// The fixture that is there since it was built or swapped in.
    serving: Option<(Link, String)>,
    clash: Option<Clash>,
    action: Link,
}

const FIELDS: &[Field] = &[
    ("label", "Label"),
    ("length", "Lit length"),
    ("shorter", "May be shorter by"),
    ("longer", "May be longer by"),
    ("channels", "Colours"),
    ("diffused", "Diffused"),
    ("fed", "Fed"),
    ("cable", "Cable from driver to bar"),
    ("feed_place", "Fed from the driver at"),
    ("group", "Control group"),
    ("voltage", "Voltage"),
    ("tape", "Tape"),
    ("profile", "Profile"),
    ("frame", "Frame"),
    ("x", "Left end along"),
    ("y", "Left end up"),
    ("angle", "Turned"),
    ("fixture", "Fixture chosen by hand"),
];

/// A field's value as people read it.
fn words(cx: &Cx, whole: &Whole, name: &str, value: &str) -> String {
    let mut asked = Form::default();
    asked.set(name, value);
    let offered = offered(cx, whole, &asked);
    let list = match name {
        "diffused" => return tick_words(value),
        "fed" => offered.fed,
        "frame" => offered.frames,
        "tape" => offered.tapes,
        "profile" => offered.profiles,
        "fixture" => offered.fixtures,
        _ => return value.to_owned(),
    };
    Choice::label_of(&list, value)
}

fn show(cx: &Cx, whole: &Whole, bar: &Bar, form: Form, clash: Option<Clash>) -> Answer {
    let status = if clash.is_some() {
        StatusCode::PRECONDITION_FAILED
    } else if form.ok() {
        StatusCode::OK
    } else {
        StatusCode::UNPROCESSABLE_ENTITY
    };
    let (chrome, head) = head(cx, whole, Tab::Bars);
    Ok(page_with(
        status,
        &BarPage {
            chrome,
            bar: bar.id,
            label: bar.label.to_string(),
            offered: offered(cx, whole, &form),
            served: whole.bar_plan(bar.id).map_or_else(String::new, |plan| {
                format!("{}: {}", whole.look(bar.id).label(), plan.why)
            }),
            serving: whole
                .serving
                .get(&bar.id)
                .map(|(fixture, tag)| (Link::Thing(*fixture), tag.to_string())),
            form,
            clash,
            action: Link::Bar(head.id, bar.id),
            head,
        },
    ))
}

fn find(whole: &Whole, bar: BarId) -> Result<Bar, Trouble> {
    whole.bar(bar).cloned().ok_or_else(|| {
        Trouble::not_found("bar").or_go(Link::Bars(whole.design().id), "To the bars of this set")
    })
}

/// GET: the form of one bar.
pub async fn get(cx: Cx, Path((id, bar)): Path<(DesignId, BarId)>) -> Answer {
    let whole = load::whole(&cx, id).await?;
    let bar = find(&whole, bar)?;
    let form = filled(&cx, &bar, whole.design().version);
    show(&cx, &whole, &bar, form, None)
}

/// POST: changes it.
pub async fn post(cx: Cx, Path((id, bar)): Path<(DesignId, BarId)>, mut form: Form) -> Answer {
    let mut whole = load::whole(&cx, id).await?;
    let mut bar = find(&whole, bar)?;
    for _ in 0..load::ATTEMPTS {
        let label = form.name("label");
        let Some(new) = read(&cx, &mut form, bar.id, label) else {
            break;
        };
        let edits = [Edit::ChangeBars(vec![new.clone()])];
        match load::store(&cx, &mut form, id, &edits).await? {
            load::Stored::Done(lines) => {
                let flash = Flash::good(format!("Bar {} was changed.", new.label));
                return Ok(go_with(&Link::BarRow(id, bar.id), &flash.followed(lines)));
            }
            load::Stored::Wrong => break,
            load::Stored::Changed(now) => {
                whole = load::whole(&cx, id).await?;
                bar = find(&whole, bar.id)?;
                let stored = filled(&cx, &bar, now.version);
                let clash = Clash::meet(&mut form, &stored, FIELDS, |name, value| {
                    words(&cx, &whole, name, value)
                });
                // Where something else of the set was changed, this goes on.
                if !clash.is_none() {
                    return show(&cx, &whole, &bar, form, Some(clash));
                }
            }
        }
    }
    if form.ok() {
        return Err(load::changed(&Link::Bar(id, bar.id)));
    }
    show(&cx, &whole, &bar, form, None)
}

/// POST: takes it out of the set.
pub async fn remove(cx: Cx, Path((id, bar)): Path<(DesignId, BarId)>, mut form: Form) -> Answer {
    let label = load::design(&cx, id)
        .await?
        .bars
        .iter()
        .find(|other| other.id == bar)
        .map_or_else(|| "that was named".to_owned(), |bar| bar.label.to_string());
    let flash = Flash::good(format!("Bar {label} was taken out of the set."));
    let edits = [Edit::RemoveBars(vec![bar])];
    load::store_or_say(&cx, &mut form, id, &edits, &Link::Bars(id), flash).await
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn angles_are_degrees_with_decimals_and_within_a_turn() {
        assert_eq!(parse_angle("90"), Ok(90_000));
        assert_eq!(parse_angle(" -45.5° "), Ok(-45_500));
        assert_eq!(parse_angle("12,25"), Ok(12_250));
        assert_eq!(parse_angle(""), Ok(0));
        for wrong in ["up", "361", "NaN", "inf", "1e9"] {
            assert!(parse_angle(wrong).is_err(), "{wrong}");
        }
        assert_eq!(show_angle(-45_500), "-45.5");
        assert_eq!(show_angle(90_000), "90");
    }
}
