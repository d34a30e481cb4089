//! Volts along the bars of a set, as its pages show them: like bars once, the worst first.

use super::{BarList, Whole};
use crate::{
    draw::{
        Picture,
        volts::{Bound, Curve, Volts},
        wiring::wire_class,
    },
    model::{channel::Role, id::BarId, part::PartSpec},
    plan::{
        outcome::{CheckState, Serve},
        source::{self, Source},
        volts::{
            figures::{BarVolts, ChannelVolts, Mend, OutputVolts},
            judge::{DROP_ACCEPTABLE, DROP_MOST},
        },
    },
    units::Length,
    web::cx::Cx,
};

/// Bars whose volts are alike.
pub struct VoltsRow {
    /// Their labels.
    pub bars: BarList,
    /// How drop and light are judged.
    pub state: CheckState,
    /// The worst drop.
    pub drop: String,
    /// Where it is.
    pub at: String,
    /// What of it is lost where.
    pub parts: String,
    /// The least light, and where.
    pub light: String,
    /// Current and power of one of them, everything on.
    pub takes: String,
    /// Its colours.
    pub channels: Vec<ChannelRow>,
    /// How white shifts.
    pub shift: Option<String>,
    /// Between what drop and light lie where something is missing.
    pub range: Option<String>,
    /// What would mend them.
    pub mends: Vec<MendRow>,
    /// Drawn along the bar.
    pub picture: Picture,
    /// Where drop and light come from.
    pub sources: Vec<Source>,
}

/// What would mend a bar.
pub struct MendRow {
    /// In a word or two.
    pub how: &'static str,
    /// What to do.
    pub words: String,
    /// The drop then.
    pub drop: String,
    /// The least light then.
    pub light: String,
    /// Whether that is good enough.
    pub good: bool,
    /// What has to be got for it.
    pub cost: String,
}

/// One colour of a bar in figures.
pub struct ChannelRow {
    /// The class of its colour.
    pub class: &'static str,
    /// Its name.
    pub name: &'static str,
    /// Figures, cell by cell.
    pub cells: Vec<String>,
}

/// Everything about volts that a page shows.
pub struct VoltsShown {
    /// Like bars, the worst first.
    pub rows: Vec<VoltsRow>,
    /// Bars whose volts are not known, and why.
    pub unknown: Vec<(BarList, String)>,
    /// What is taken alike for all.
    pub always: Vec<String>,
    /// What they are judged by.
    pub bounds: Source,
}

/// Heads of the columns of [`ChannelRow::cells`].
pub const HEADS: [&str; 8] = [
    "Current",
    "At driver",
    "At start",
    "At worst",
    "Drop",
    "Alone",
    "At most",
    "Light",
];

fn cells(one: &ChannelVolts) -> Vec<String> {
    let full = &one.full;
    vec![
        format!("{:.2} A", full.current_a),
        format!("{:.2} V", full.voltage_at_driver_v),
        format!("{:.2} V", full.voltage_at_start_v),
        format!(
            "{:.2} V, unit {}",
            full.voltage_at_worst_v, full.worst_cut_unit
        ),
        format!("{:.1} %", full.drop_percent),
        format!("{:.1} %", one.alone.drop_percent),
        one.bound_drop_percent
            .map_or_else(|| "all of it".to_owned(), |bound| format!("{bound:.1} %")),
        format!(
            "{:.0} to {:.0} %",
            full.light_worst_percent, full.light_best_percent
        ),
    ]
}

/// Metres as the venue shows lengths.
fn metres(cx: &Cx, metres: f64) -> String {
    #[expect(
        clippy::cast_possible_truncation,
        reason = "held within the range of lengths by the next call"
    )]
    let um = (metres * 1e6).round() as i64;
    cx.length(Length::new(um.clamp(0, Length::MAX)).unwrap_or_default())
}

fn drawn(cx: &Cx, output: &OutputVolts, bar: &BarVolts, bars: &str) -> Picture {
    let nominal = output.nominal_voltage_v;
    let below = |percent: f64| output.supply_voltage_v - nominal * percent / 100.0;
    let last = bar.cut_units.saturating_sub(1).max(1);
    let part = |unit: usize| {
        let count = |n: usize| f64::from(u32::try_from(n).unwrap_or(u32::MAX));
        count(unit.saturating_sub(1)) / count(last)
    };
    let volts = Volts {
        name: bars.to_owned(),
        length: metres(cx, bar.lit_m),
        supply_v: output.supply_voltage_v,
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
        curves: bar
            .channels
            .iter()
            .map(|one| Curve {
                channel: one.channel,
                points: one
                    .along
                    .iter()
                    .map(|at| (part(at.cut_unit), at.voltage_v))
                    .collect(),
            })
            .collect(),
    };
    volts.draw()
}

fn mend(cx: &Cx, mend: &Mend) -> MendRow {
    let nothing = "nothing to buy";
    MendRow {
        how: mend.how.label(),
        words: mend.words.clone(),
        drop: format!("{:.1} %", mend.drop_percent),
        light: format!("{:.0} %", mend.light_percent),
        good: mend.good,
        cost: match mend.cost_minor {
            Some(cost) if cost.get() == 0 => nothing.to_owned(),
            Some(cost) => cx.money(cost),
            None => "no price known".to_owned(),
        },
    }
}

fn row(cx: &Cx, whole: &Whole, output: &OutputVolts, bar: &BarVolts, ids: &[BarId]) -> VoltsRow {
    let bars = whole.bar_list(ids);
    let plan = whole.plan();
    let judged = |rule: &str| {
        let key = format!("{rule}:bar-{}", bar.bar);
        let mut checks = plan.checks.iter();
        checks
            .find(|check| check.key == key)
            .map(|check| check.state)
    };
    let states = ["drop", "light"].into_iter().filter_map(judged);
    let full = bar.channels.iter().max_by(|a, b| {
        let percent = |one: &ChannelVolts| one.full.drop_percent;
        percent(a).total_cmp(&percent(b))
    });
    let sum = |of: fn(&ChannelVolts) -> f64| bar.channels.iter().map(of).sum::<f64>();
    VoltsRow {
        state: states.min().unwrap_or(CheckState::Unknown),
        drop: format!("{:.1} %", bar.worst_drop_percent),
        at: format!(
            "{:.2} V, {} at cut unit {} of {}",
            bar.lowest.value,
            bar.lowest.channel.label(),
            bar.lowest.cut_unit,
            bar.cut_units
        ),
        parts: full.map_or_else(String::new, |one| {
            format!(
                "cable {:.1} %, tape {:.1} %, feed and driver {:.1} %",
                one.full.drop_cable_percent,
                one.full.drop_tape_percent,
                one.full.drop_source_percent
            )
        }),
        light: format!(
            "{:.0} %, {} at cut unit {}",
            bar.worst_light_percent,
            bar.dimmest.channel.label(),
            bar.dimmest.cut_unit
        ),
        takes: format!(
            "{:.2} A, {:.1} W",
            sum(|one| one.full.current_a),
            sum(|one| one.full.power_w)
        ),
        channels: bar
            .channels
            .iter()
            .map(|one| ChannelRow {
                class: wire_class(Role::Colour(one.channel)),
                name: one.channel.label(),
                cells: cells(one),
            })
            .collect(),
        shift: bar.colour_shift.clone(),
        range: bar.range.map(|range| {
            let missing = bar.assumed.iter().filter(|one| one.missing);
            let words: Vec<String> = missing
                .map(|one| format!("{} taken as {}", one.what, one.value))
                .collect();
            format!(
                "Assumed: {}. Over the plausible range the drop is {:.1} to {:.1} % and the least light {:.0} to {:.0} %.",
                words.join("; "),
                range.drop_best_percent,
                range.drop_worst_percent,
                range.light_worst_percent,
                range.light_best_percent
            )
        }),
        mends: bar.mends.iter().map(|one| mend(cx, one)).collect(),
        picture: drawn(cx, output, bar, &format!("{} {bars}", bars.word())),
        sources: [
            source::drop_of(output, bar, &plan.volts.assumed),
            source::light_of(bar),
        ]
        .into_iter()
        .chain(rated(whole, bar.bar))
        .collect(),
        bars,
    }
}

/// Where the rated current of a bar comes from, if its tape is in the catalogue.
fn rated(whole: &Whole, id: BarId) -> Option<Source> {
    let (tape, lit) = match &whole.bar_plan(id)?.serve {
        Serve::Build(build) => (build.tape, build.lit_um),
        Serve::Reuse {
            fixture, lit_um, ..
        } => (whole.fixture(*fixture)?.fixture.make.tape?, *lit_um),
        Serve::Short { .. } => return None,
    };
    match &whole.part(tape)?.spec {
        PartSpec::Tape(tape) => Some(source::bar_current(tape, lit)),
        _ => None,
    }
}

/// Rows for every kind of bar, the worst first.
pub fn shown(cx: &Cx, whole: &Whole) -> VoltsShown {
    let volts = &whole.plan().volts;
    let mut kinds: Vec<(&OutputVolts, &BarVolts, Vec<BarId>)> = Vec::new();
    for output in &volts.outputs {
        for bar in &output.bars {
            let alike = kinds.iter_mut().find(|(of, like, _)| {
                let same = of.supply_voltage_v.to_bits() == output.supply_voltage_v.to_bits();
                let mut like = (*like).clone();
                like.bar = bar.bar;
                same && like == *bar
            });
            match alike {
                Some((_, _, ids)) => ids.push(bar.bar),
                None => kinds.push((output, bar, vec![bar.bar])),
            }
        }
    }
    kinds.sort_by(|a, b| b.1.worst_drop_percent.total_cmp(&a.1.worst_drop_percent));
    let unknown = volts.outputs.iter().filter_map(|output| {
        let why = output.unsolved.clone()?;
        let driver = whole.plan().drivers.get(output.output.driver)?;
        let on = driver
            .outputs
            .iter()
            .find(|on| on.number == output.output.output)?;
        Some((whole.bar_list(&on.bars), why))
    });
    VoltsShown {
        rows: kinds
            .iter()
            .map(|(output, bar, ids)| row(cx, whole, output, bar, ids))
            .collect(),
        unknown: unknown.collect(),
        always: volts
            .assumed
            .iter()
            .map(|one| format!("{}: {} ({})", one.what, one.value, one.why))
            .collect(),
        bounds: source::bounds(),
    }
}
