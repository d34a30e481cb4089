//! Volts and light along a bar by plain fields, or along anything by the document of
//! `tapewright calc drop`.

use std::fmt::Write as _;

use askama::Template;

use super::{away, pasted, refuse, status};
use crate::{
    calc::drop::{
        self, ByChannel, DropAnswer, DropBar, DropBody, DropCable, DropConductor, DropDriver,
        DropFeed, DropLoadModel, DropSupply, VoltsAlong,
    },
    draw::{
        Picture,
        volts::{Bound, Curve, Volts},
        wiring::wire_class,
    },
    model::channel::{Channel, Channels, Role},
    plan::{
        outcome::CheckState,
        source::{self, Source},
        volts::{
            assumed::{CELSIUS, CONTACT_OHM, ON_OHM, knee_v},
            judge::{DROP_ACCEPTABLE, DROP_MOST, LIGHT_GOOD, LIGHT_LEAST},
        },
    },
    units::{
        ConductorSize, CutPitch, Length, LengthUnit, PowerPerLength, ResistancePerLength, Strand,
        Voltage,
    },
    web::{
        cx::Cx,
        error::Answer,
        form::{Choice, Form},
        link::Link,
        page::{Chrome, Section, page_with},
    },
};

/// What stands in the fields at first: an invented bar that is a little too long.
const fn first(unit: LengthUnit) -> [(&'static str, &'static str); 12] {
    let pitch = match unit {
        LengthUnit::Cm | LengthUnit::M => "5 cm",
        LengthUnit::Mm | LengthUnit::In | LengthUnit::Ft => "50 mm",
    };
    let [length, cable, feed] = if unit.metric() {
        ["5 m", "4 m", "1 m"]
    } else {
        ["16 ft", "12 ft", "3 ft"]
    };
    [
        ("model", "resistor_string"),
        ("voltage", "24 V"),
        ("colours", "RGB"),
        ("length", length),
        ("pitch", pitch),
        ("power", "4.8 W/m"),
        ("trace", "0.14 Ω/m"),
        ("trace_common", "0.1 Ω/m"),
        ("series", "6"),
        ("cable", cable),
        ("size", "18 AWG"),
        ("feed", feed),
    ]
}

/// The most points of a curve: of a very long bar more would only weigh the page down.
const MOST_POINTS: usize = 400;
/// Contacts in each conductor of a run: terminal, block, plug.
const CONTACTS: u32 = 3;

/// One colour of a bar.
struct Row {
    class: &'static str,
    name: String,
    cells: Vec<String>,
}

/// One bar, answered.
struct BarRow {
    name: String,
    state: CheckState,
    sentence: String,
    rows: Vec<Row>,
    picture: Option<Picture>,
}

/// A question, answered.
struct Answered {
    bars: Vec<BarRow>,
    cables: Vec<String>,
    supply: String,
    notes: Vec<String>,
    /// The question as a document.
    document: String,
}

#[derive(Template)]
#[template(path = "bench/drop.html")]
struct DropPage {
    chrome: Chrome,
    form: Form,
    models: Vec<Choice>,
    fed: Vec<Choice>,
    bounds: Source,
    answered: Option<Answered>,
}

const FED: [(&str, &str); 3] = [
    ("start", "at one end"),
    ("both", "at both ends"),
    ("middle", "in its middle"),
];

fn show(cx: &Cx, form: Form, answered: Option<Answered>) -> Answer {
    let status = status(&form);
    let models = DropLoadModel::ALL.iter();
    let page = DropPage {
        chrome: cx.chrome(Section::Bench, "Volts along a bar"),
        models: Choice::list(
            models.map(|model| (*model, model.label())),
            form.value("model"),
        ),
        fed: Choice::list(FED, form.value("fed")),
        bounds: source::bounds(),
        answered,
        form,
    };
    Ok(page_with(status, &page))
}

/// GET: the fields, with the answer where something was asked.
pub async fn get(cx: Cx, mut form: Form) -> Answer {
    let asked = form.has("length");
    form.fill(&first(cx.unit()));
    if !asked {
        return show(&cx, form, None);
    }
    let body = read(&cx, &mut form);
    let answered = answer(&cx, &mut form, body, field_of).await;
    show(&cx, form, answered)
}

/// POST: a document instead of the fields.
pub async fn post(cx: Cx, mut form: Form) -> Answer {
    for (field, first) in first(cx.unit()) {
        form.set(field, first);
    }
    let body = pasted::<DropBody>(&mut form);
    let answered = answer(&cx, &mut form, body, |_| "document").await;
    show(&cx, form, answered)
}

/// The field that a part of the document was typed in.
fn field_of(pointer: &str) -> &'static str {
    let ends = |names: &[&str]| names.iter().any(|name| pointer.contains(name));
    if ends(&["/cables", "conductor"]) {
        if ends(&["size", "resistance_ohm_per_m"]) {
            "size"
        } else {
            "cable"
        }
    } else if ends(&["/feed_cable"]) {
        "feed"
    } else if ends(&["/nominal_voltage_v", "/supply"]) {
        "voltage"
    } else if ends(&["length_m"]) {
        "length"
    } else if ends(&["cut_pitch_m"]) {
        "pitch"
    } else if ends(&["power_w_per_m"]) {
        "power"
    } else if ends(&["trace_resistance_common"]) {
        "trace_common"
    } else if ends(&["trace_resistance"]) {
        "trace"
    } else if ends(&["leds_in_series", "led_forward_voltage_v"]) {
        "series"
    } else {
        "colours"
    }
}

/// Resistance of a stranded conductor, warm; `None` where its size is in no table.
fn ohm_per_m(size: ConductorSize) -> Option<f64> {
    let found = size.resistance(Strand::Stranded, CELSIUS).ok()?;
    Some(found.ohms_per_m())
}

/// The fields as a document.
fn read(cx: &Cx, form: &mut Form) -> Option<DropBody> {
    let unit = cx.unit();
    let model = form.word::<DropLoadModel>("model");
    let voltage = form.take("voltage", Voltage::parse);
    let supply = form.optional("supply", Voltage::parse);
    let colours = form.take("colours", str::parse::<Channels>);
    let length = form.length_above_zero("length", unit);
    let pitch = form.take("pitch", |text| CutPitch::parse(text, unit));
    let count = colours.as_ref().map_or(1, Channels::count);
    let power = form.take("power", |text| powers(text, count));
    let trace = form.take("trace", ResistancePerLength::parse);
    let common = form.take("trace_common", ResistancePerLength::parse);
    let series = form.count("series", 1, 64);
    let cable = form.length("cable", unit);
    let sized = |text: &str| {
        let size = text
            .parse::<ConductorSize>()
            .map_err(|why| why.to_string())?;
        ohm_per_m(size).map(|ohm| (size, ohm)).ok_or_else(|| {
            format!("The resistance of {size} is in no table here. Type another size, such as 18 AWG or 0.75 mm².")
        })
    };
    let size = form.take("size", sized);
    let feed = form.length("feed", unit);
    let feed_size = form.optional("feed_size", sized);
    let (voltage, colours, pitch) = (voltage?, colours?, pitch?);
    let names: Vec<String> = colours
        .list()
        .iter()
        .map(|channel| channel.word().to_owned())
        .collect();
    let by = |of: &mut dyn FnMut(usize, Channel) -> f64| {
        let each = colours.list().iter().enumerate();
        ByChannel::Each(
            each.map(|(at, channel)| (channel.word().to_owned(), of(at, *channel)))
                .collect(),
        )
    };
    let power = power?;
    let series = f64::from(i32::try_from(series?).ok()?);
    let length = length?;
    let (size, size_ohm) = size?;
    let (feed, cable) = (feed?.metres(), cable?.metres());
    let feed_ohm = feed_size?.map_or(size_ohm, |(_, ohm)| ohm);
    let doubled = form.ticked("doubled");
    let run = |name: &str, to: &str, length_m: f64| {
        let conductor = |parallel: u32| DropConductor {
            resistance_ohm_per_m: None,
            size: Some(size),
            strand: Some(Strand::Stranded),
            temperature_c: Some(CELSIUS),
            conductors_in_parallel: Some(parallel),
        };
        DropCable {
            name: name.to_owned(),
            from: "driver_output".to_owned(),
            to: to.to_owned(),
            length_m,
            channel_conductor: conductor(1),
            common_conductor: conductor(1 + u32::from(doubled)),
            contact_resistance_ohm_per_contact: CONTACT_OHM,
            contacts_in_series_per_conductor: CONTACTS,
            channels: None,
        }
    };
    let bar = |name: &str, length_m: f64| DropBar {
        name: name.to_owned(),
        channels: names.clone(),
        length_m,
        cut_pitch_m: f64::from(pitch.um()) / 1e6 / f64::from(pitch.units()),
        power_w_per_m: by(&mut |at, _| power[at]),
        trace_resistance_ohm_per_m: by(&mut |_, _| {
            trace.map_or(0.0, ResistancePerLength::ohms_per_m)
        }),
        trace_resistance_common_ohm_per_m: common.map_or(0.0, ResistancePerLength::ohms_per_m),
        leds_in_series: Some(by(&mut |_, _| series)),
        led_forward_voltage_v: Some(by(&mut |_, channel| knee_v(channel))),
    };
    let lit_m = length.metres();
    let (cables, bars) = match form.value("fed") {
        "both" => (
            vec![
                run("near run", "bar_start", cable),
                run("far run", "bar_end", cable + lit_m),
            ],
            vec![bar("bar", lit_m)],
        ),
        "middle" => {
            let units = pitch.whole_units(length).0;
            let near = pitch.length_of(units / 2).metres();
            let mut joint = run("joint", "far half_start", 0.0);
            "near half_start".clone_into(&mut joint.from);
            joint.contacts_in_series_per_conductor = 0;
            (
                vec![run("run", "near half_start", cable + near), joint],
                vec![bar("near half", near), bar("far half", lit_m - near)],
            )
        }
        _ => (
            vec![run("run", "bar_start", cable)],
            vec![bar("bar", lit_m)],
        ),
    };
    trace?;
    common?;
    Some(DropBody {
        nominal_voltage_v: voltage.volts(),
        load_model: model?,
        supply: DropSupply {
            voltage_v: supply?.unwrap_or(voltage).volts(),
            source_resistance_ohm: Some(0.0),
        },
        feed_cable: (feed > 0.0).then_some(DropFeed {
            length_m: feed,
            resistance_ohm_per_m: feed_ohm,
        }),
        driver: DropDriver {
            channels: names.clone(),
            channels_on: None,
            on_resistance_ohm_per_channel: ByChannel::Same(ON_OHM),
        },
        cables,
        bars,
    })
}

/// Watts per metre: one for every colour, or one for each in order.
fn powers(text: &str, count: usize) -> Result<Vec<f64>, String> {
    let list = text
        .split(';')
        .map(|one| PowerPerLength::parse(one).map(PowerPerLength::watts_per_m))
        .collect::<Result<Vec<f64>, _>>()
        .map_err(|why| why.to_string())?;
    match list.len() {
        1 => Ok(vec![list[0]; count]),
        n if n == count => Ok(list),
        n => Err(format!(
            "Type one figure for all, or {count} with a semicolon between them, one for each colour in order; these are {n}."
        )),
    }
}

/// Answers away from what serves pages.
async fn answer(
    cx: &Cx,
    form: &mut Form,
    body: Option<DropBody>,
    field: impl Fn(&str) -> &'static str,
) -> Option<Answered> {
    let (body, said) = away(body?, |body, _| drop::answer_along(body)).await;
    match said {
        Ok((said, along)) => Some(answered(cx, &body, &said, &along)),
        Err(why) => {
            refuse(form, &why, field);
            None
        }
    }
}

fn answered(cx: &Cx, body: &DropBody, said: &DropAnswer, along: &[VoltsAlong]) -> Answered {
    let bars = (0..said.bars.len()).map(|at| bar_row(cx, body, said, along, at));
    let lost = &said.lost;
    Answered {
        bars: bars.collect(),
        cables: said
            .cables
            .iter()
            .map(|cable| {
                let mut words = format!(
                    "{}: {:.2} A in the common",
                    cable.name, cable.common_current_a
                );
                for (channel, amps) in &cable.channel_current_a {
                    let _ = write!(words, ", {amps:.2} A {channel}");
                }
                let _ = write!(words, "; it loses {:.2} W", cable.lost_w);
                words
            })
            .collect(),
        supply: format!(
            "The supply gives {:.2} A and {:.1} W; of these {:.2} W are lost in the feed, {:.2} W in the driver, {:.2} W in cables and contacts, {:.2} W in the tape’s traces.",
            said.supply_current_a,
            said.supply_power_w,
            lost.feed_cable_w,
            lost.driver_w,
            lost.cables_w,
            lost.tape_w
        ),
        notes: said.notes.clone(),
        document: serde_json::to_string_pretty(body).unwrap_or_default(),
    }
}

fn worst(drop: f64, light: f64) -> CheckState {
    if drop > DROP_MOST || light < LIGHT_LEAST {
        CheckState::Broken
    } else if drop > DROP_ACCEPTABLE || light < LIGHT_GOOD {
        CheckState::Warned
    } else {
        CheckState::Passed
    }
}

fn bar_row(cx: &Cx, body: &DropBody, said: &DropAnswer, along: &[VoltsAlong], at: usize) -> BarRow {
    let bar = &said.bars[at];
    let of = |map: &std::collections::BTreeMap<String, f64>, channel: &str| {
        map.get(channel).copied().unwrap_or_default()
    };
    let rows = bar.channels.iter().map(|channel| {
        let known = channel.parse::<Channel>().ok();
        Row {
            class: known.map_or("common", |known| wire_class(Role::Colour(known))),
            name: channel.clone(),
            cells: vec![
                format!("{:.2} A", of(&bar.current_a, channel)),
                format!("{:.2} V", of(&bar.voltage_at_driver_v, channel)),
                format!("{:.2} V", of(&bar.voltage_at_start_v, channel)),
                format!(
                    "{:.2} V, unit {}",
                    of(&bar.voltage_at_worst_v, channel),
                    bar.worst_cut_unit.get(channel).copied().unwrap_or_default()
                ),
                format!("{:.1} %", of(&bar.drop_percent, channel)),
                format!("{:.1} %", of(&bar.drop_cable_percent, channel)),
                format!("{:.1} %", of(&bar.drop_tape_percent, channel)),
                format!(
                    "{:.0} to {:.0} %",
                    of(&bar.light_worst_percent, channel),
                    of(&bar.light_best_percent, channel)
                ),
            ],
        }
    });
    let drop = bar.drop_percent.values().copied().fold(0.0, f64::max);
    let light = bar
        .light_worst_percent
        .values()
        .copied()
        .fold(100.0, f64::min);
    BarRow {
        name: bar.name.clone(),
        state: worst(drop, light),
        sentence: format!(
            "At its worst {drop:.1} % of {} V is lost and {light:.0} % of the light is left, everything at full.",
            body.nominal_voltage_v
        ),
        rows: rows.collect(),
        picture: drawn(cx, body, along, at),
    }
}

fn drawn(cx: &Cx, body: &DropBody, along: &[VoltsAlong], at: usize) -> Option<Picture> {
    let count = |n: usize| f64::from(u32::try_from(n).unwrap_or(u32::MAX));
    let curves: Vec<Curve> = along
        .iter()
        .filter(|one| one.bar == at)
        .filter_map(|one| {
            let last = one.volts.len().saturating_sub(1);
            let lowest = one.volts.iter().copied().fold(f64::INFINITY, f64::min);
            let step = one.volts.len().div_ceil(MOST_POINTS).max(1);
            let points = one
                .volts
                .iter()
                .enumerate()
                .filter(|(unit, volts)| unit % step == 0 || *unit == last || **volts <= lowest);
            Some(Curve {
                channel: one.channel.parse().ok()?,
                points: points
                    .map(|(unit, volts)| (count(unit) / count(last.max(1)), *volts))
                    .collect(),
            })
        })
        .collect();
    if curves.is_empty() {
        return None;
    }
    let supply_v = body.supply.voltage_v;
    let below = |percent: f64| supply_v - body.nominal_voltage_v * percent / 100.0;
    let bar = &body.bars[at];
    #[expect(
        clippy::cast_possible_truncation,
        reason = "at most 1000 m, as the document was checked"
    )]
    let length = Length::new((bar.length_m * 1e6).round() as i64).unwrap_or_default();
    let volts = Volts {
        name: bar.name.clone(),
        length: cx.length(length),
        supply_v,
        bounds: vec![
            Bound {
                volts: below(DROP_ACCEPTABLE),
                word: format!("{DROP_ACCEPTABLE} % lost, acceptable"),
            },
            Bound {
                volts: below(DROP_MOST),
                word: format!("{DROP_MOST} % lost, the most"),
            },
        ],
        curves,
    };
    Some(volts.draw())
}
