//! Volts, amps and light along every bar: the circuit of each driver output, made from the plan's
//! choices and solved.
//!
//! Each output is one circuit ([`wired`]): the supply, the driver's channels, and for each fed end
//! of each bar a run of cable with its leads and contacts. It is solved with all channels at full,
//! each alone and every mix of them, and once more with constant-current tape as the upper bound.
//! What is not known is taken as [`assumed`] states, and solved over its plausible range too; what
//! comes of it is [`figures`], judged in [`judge`]. Like circuits are solved once.

pub mod assumed;
pub mod figures;
pub mod judge;
mod mend;
mod wired;

use std::{
    collections::{BTreeMap, HashMap},
    rc::Rc,
};

use assumed::Guess;
use figures::{
    Assumed, BarVolts, ChannelVolts, OutputVolts, RangeVolts, RunVolts, SpotVolts, VoltsPlan,
    along, rounded, shift,
};
use wired::{To, Wired, WiredBar, WiredRun};

use super::{
    book::Book,
    build::Builds,
    check::Checks,
    feed::Feeds,
    ladder::{self, Figures, LoadModel, Mix, Refused, Worst},
    load::Load,
    outcome::OutputRef,
    plug::Plug,
    power::{Output, Used},
    supply,
};
use crate::{
    model::{
        channel::Channel,
        id::{BarId, PartId},
        part::{PartSpec, Tape},
    },
    units::ResistancePerLength,
};

/// What the plan has chosen so far.
pub(super) struct Chosen<'c, 'a> {
    pub(super) book: &'c Book<'a>,
    pub(super) loads: &'c [Load<'a>],
    pub(super) builds: &'c Builds,
    pub(super) used: &'c [Used<'a>],
    pub(super) fed: &'c supply::Fed<'a>,
    pub(super) plugs: &'c BTreeMap<BarId, Plug>,
    /// The cable that each bar's runs are cut from.
    pub(super) cables: &'c BTreeMap<BarId, PartId>,
    pub(super) feeds: &'c Feeds,
}

/// Solves every output and judges every bar.
pub(super) fn volts(chosen: &Chosen<'_, '_>, checks: &mut Checks) -> VoltsPlan {
    let mut solver = Solver::default();
    let mut outputs = Vec::new();
    for (driver, used) in chosen.used.iter().enumerate() {
        for (&number, output) in &used.outputs {
            let which = OutputRef {
                driver,
                output: number,
            };
            let found = one(chosen, &mut solver, which, output);
            judge::output(chosen, output, &found, checks);
            outputs.push(found);
        }
    }
    VoltsPlan {
        assumed: if outputs.is_empty() {
            Vec::new()
        } else {
            assumed::always(chosen.book, chosen.feeds)
        },
        outputs,
    }
}

/// All channels at full, each alone, and the worst mixes.
type Solved = (Figures, Vec<Figures>, Worst);

/// Solves each circuit once, however many outputs have it.
#[derive(Default)]
struct Solver {
    mixes: HashMap<Vec<u64>, Rc<Result<Solved, Refused>>>,
    full: HashMap<Vec<u64>, Rc<Result<Figures, Refused>>>,
}

impl Solver {
    fn mixes(&mut self, wired: &Wired) -> Rc<Result<Solved, Refused>> {
        let model = LoadModel::ResistorString;
        let entry = self.mixes.entry(wired.key(model));
        entry
            .or_insert_with(|| Rc::new(ladder::worst(&wired.circuit(model))))
            .clone()
    }

    fn full(&mut self, wired: &Wired, model: LoadModel) -> Rc<Result<Figures, Refused>> {
        let entry = self.full.entry(wired.key(model));
        entry
            .or_insert_with(|| {
                let circuit = wired.circuit(model);
                let all = circuit.all();
                Rc::new(ladder::solve(&circuit, all))
            })
            .clone()
    }
}

/// The inlet that an output hangs on.
fn inlet_of(chosen: &Chosen<'_, '_>, which: OutputRef) -> Option<u16> {
    let mut inlets = (1_u16..).zip(&chosen.used[which.driver].spec.inlets);
    let (number, _) = inlets.find(|(_, inlet)| inlet.outputs.contains(&which.output))?;
    Some(number)
}

/// One conductor of the feed as an output sees it, in Ω: the other outputs of its inlet load the
/// same cable in step with it, so it counts as many times as they all carry of what this one does.
/// That is exact where all of them show the same mix, as with everything at full.
fn feed_ohm(
    chosen: &Chosen<'_, '_>,
    output: &Output,
    which: OutputRef,
    guess: Guess,
    assumed: &mut Vec<Assumed>,
) -> Result<f64, String> {
    let Some(id) = chosen.feeds.cable else {
        return Ok(0.0);
    };
    let cable = match chosen.book.part(id).map(|part| &part.spec) {
        Some(PartSpec::Cable(cable)) => Some(cable),
        _ => None,
    };
    let ohm_per_m = assumed::cable(&chosen.book.name(id), cable, guess, assumed);
    let inlet = inlet_of(chosen, which);
    let inlets = chosen.used[which.driver].inlets();
    let all = inlets
        .into_iter()
        .find(|(number, _)| Some(*number) == inlet)
        .and_then(|(_, ma)| ma);
    let (Some(all), Some(own)) = (all, output.total_ma) else {
        return Err(
            "What the outputs of its inlet take is not known, so neither is what the feed loses."
                .to_owned(),
        );
    };
    let times = if own > 0 {
        assumed::amps(all) / assumed::amps(own)
    } else {
        1.0
    };
    Ok(ohm_per_m * chosen.feeds.length.metres() * times)
}

/// The supply's voltage at an output; the nominal one where it has no supply.
fn supply_v(chosen: &Chosen<'_, '_>, which: OutputRef) -> f64 {
    let used = &chosen.used[which.driver];
    let supply = inlet_of(chosen, which).and_then(|inlet| {
        let at = chosen.fed.of.get(&(which.driver, inlet)).copied()??;
        chosen.fed.supplies.get(at)
    });
    supply
        .map_or(used.voltage, |supply| supply.spec.voltage_mv)
        .volts()
}

fn one(
    chosen: &Chosen<'_, '_>,
    solver: &mut Solver,
    which: OutputRef,
    output: &Output,
) -> OutputVolts {
    let mut found = OutputVolts {
        output: which,
        nominal_voltage_v: chosen.used[which.driver].voltage.volts(),
        supply_voltage_v: supply_v(chosen, which),
        unsolved: None,
        bars: Vec::new(),
        total: None,
    };
    if let Err(why) = solve(chosen, solver, output, &mut found) {
        found.bars.clear();
        found.unsolved = Some(why);
    }
    found
}

/// Fills in an output's figures, or says why there are none.
fn solve(
    chosen: &Chosen<'_, '_>,
    solver: &mut Solver,
    output: &Output,
    found: &mut OutputVolts,
) -> Result<(), String> {
    let (wired, assumed) = wire(chosen, output, found, Guess::Usual)?;
    let mixes = solver.mixes(&wired);
    let (full, alone, worst) = match mixes.as_ref() {
        Ok(found) => found,
        Err(why) => return Err(why.to_string()),
    };
    let bound = solver.full(&wired, LoadModel::ConstantCurrent);
    let missing = assumed.iter().flatten().any(|one| one.missing);
    let range = if missing {
        let (best, _) = wire(chosen, output, found, Guess::Best)?;
        let (worst, _) = wire(chosen, output, found, Guess::Worst)?;
        let model = LoadModel::ResistorString;
        Some((solver.full(&best, model), solver.full(&worst, model)))
    } else {
        None
    };
    for (at, (bar, assumed)) in wired.bars.iter().zip(assumed).enumerate() {
        let Some((lowest, dimmest)) = worst.bars[at] else {
            return Err("No colour of the bar can be lit.".to_owned());
        };
        let spot = |(on, spot): (Mix, ladder::Spot)| SpotVolts {
            channel: wired.channels[spot.channel],
            cut_unit: spot.unit,
            on: named(&wired.channels, on),
            value: rounded(spot.value),
        };
        let channels = channels(&wired, at, full, alone, bound.as_ref().as_ref().ok());
        found.bars.push(BarVolts {
            bar: bar.bar,
            cut_units: bar.units,
            lit_m: rounded(bar.lit_m()),
            runs: runs(&wired, at, full),
            colour_shift: shift(&channels),
            lowest: spot(lowest),
            dimmest: spot(dimmest),
            worst_drop_percent: rounded(
                100.0 * (wired.supply_v - lowest.1.value) / wired.nominal_v,
            ),
            worst_light_percent: rounded(dimmest.1.value),
            range: range.as_ref().map(|(best, worst)| {
                let ((drop_best, light_best), (drop_worst, light_worst)) =
                    (extremes(best, at), extremes(worst, at));
                RangeVolts {
                    drop_best_percent: rounded(drop_best),
                    drop_worst_percent: rounded(drop_worst),
                    light_best_percent: rounded(light_best),
                    light_worst_percent: rounded(light_worst),
                }
            }),
            channels,
            assumed,
            mends: Vec::new(),
        });
    }
    for (at, &load) in output.loads.iter().enumerate() {
        if !judge::is_good(&found.bars[at]) {
            let ask = mend::Ask {
                chosen,
                load: &chosen.loads[load],
                wired: &wired,
                at,
            };
            found.bars[at].mends = ask.mends(solver);
        }
    }
    found.total = Some(full.into());
    Ok(())
}

/// Greatest drop and least light of a bar; nothing left where the circuit can't be solved.
fn extremes(solved: &Result<Figures, Refused>, at: usize) -> (f64, f64) {
    let Ok(figures) = solved else {
        return (100.0, 0.0);
    };
    let strips = figures.bars[at].strips.iter();
    strips.fold((0.0, f64::INFINITY), |(drop, light): (f64, f64), strip| {
        (
            drop.max(strip.drop_percent),
            light.min(strip.light_worst_percent),
        )
    })
}

fn named(channels: &[Channel], on: Mix) -> Vec<Channel> {
    let list = channels.iter().enumerate();
    list.filter(|(at, _)| on.has(*at))
        .map(|(_, channel)| *channel)
        .collect()
}

fn channels(
    wired: &Wired,
    bar: usize,
    full: &Figures,
    alone: &[Figures],
    bound: Option<&Figures>,
) -> Vec<ChannelVolts> {
    let strip_of = |figures: &Figures, channel: usize| {
        let mut strips = figures.bars[bar].strips.iter();
        strips.find(|strip| strip.channel == channel).cloned()
    };
    let mut list = Vec::new();
    for strip in &full.bars[bar].strips {
        // A tape of one colour has all of them at full when that one is.
        let only = alone
            .iter()
            .find(|figures| figures.on == Mix::only(strip.channel))
            .unwrap_or(full);
        let Some(only) = strip_of(only, strip.channel) else {
            continue;
        };
        list.push(ChannelVolts {
            channel: wired.channels[strip.channel],
            full: strip.into(),
            alone: (&only).into(),
            bound_drop_percent: bound
                .and_then(|bound| strip_of(bound, strip.channel))
                .map(|strip| rounded(strip.drop_percent)),
            along: along(&strip.volts),
        });
    }
    list
}

fn runs(wired: &Wired, bar: usize, full: &Figures) -> Vec<RunVolts> {
    let before: usize = wired.bars[..bar].iter().map(|bar| bar.runs.len()).sum();
    let of = wired.bars[bar].runs.iter().zip(&full.cables[before..]);
    of.map(|(run, figures)| RunVolts {
        to_end: run.to == To::End,
        cable_m: rounded(run.cable_m),
        channel_ohm: rounded(run.channel_ohm()),
        common_ohm: rounded(run.common_ohm()),
        contacts: run.contacts,
        common_current_a: rounded(figures.common_a),
        lost_w: rounded(figures.lost_w),
    })
    .collect()
}

/// An output as wired, with what is assumed for each of its bars; or what is missing, as a sentence.
fn wire(
    chosen: &Chosen<'_, '_>,
    output: &Output,
    found: &OutputVolts,
    guess: Guess,
) -> Result<(Wired, Vec<Vec<Assumed>>), String> {
    let mut bars = Vec::new();
    let mut all = Vec::new();
    for &at in &output.loads {
        let mut assumed = Vec::new();
        bars.push(bar(chosen, &chosen.loads[at], guess, &mut assumed)?);
        all.push(assumed);
    }
    let mut shared = Vec::new();
    let feed_ohm = feed_ohm(chosen, output, found.output, guess, &mut shared)?;
    for list in &mut all {
        list.extend(shared.iter().cloned());
    }
    let wired = Wired {
        nominal_v: found.nominal_voltage_v,
        supply_v: found.supply_voltage_v,
        feed_ohm,
        channels: output.channels.list().to_vec(),
        bars,
    };
    Ok((wired, all))
}

fn bar(
    chosen: &Chosen<'_, '_>,
    load: &Load<'_>,
    guess: Guess,
    assumed: &mut Vec<Assumed>,
) -> Result<WiredBar, String> {
    let label = &load.bar.label;
    let Some((_, tape)) = load.tape else {
        return Err(format!(
            "Which tape {} is made of is not noted, so its volts are not known.",
            load.tag.as_deref().unwrap_or(label.as_str())
        ));
    };
    let units = match chosen.builds.built.get(&load.bar.id) {
        Some(built) if load.tag.is_none() => usize::try_from(built.units).unwrap_or(0),
        _ => usize::try_from(tape.pitch.whole_units(load.lit).0).unwrap_or(0),
    };
    let (common_ohm_per_m, channel_ohm_per_m) = traces(tape, guess, assumed);
    Ok(WiredBar {
        bar: load.bar.id,
        units,
        pitch_m: pitch_m(tape),
        common_ohm_per_m,
        channel_ohm_per_m,
        strips: strips(load, tape, guess, assumed)?,
        runs: runs_of(chosen, load, guess, assumed),
    })
}

/// Length of one cut unit, in m.
fn pitch_m(tape: &Tape) -> f64 {
    f64::from(tape.pitch.um()) / 1e6 / f64::from(tape.pitch.units())
}

/// Resistance of the traces of the common and of a colour, in Ω/m.
fn traces(tape: &Tape, guess: Guess, assumed: &mut Vec<Assumed>) -> (f64, f64) {
    let ohm = |known: Option<ResistancePerLength>| known.map(ResistancePerLength::ohms_per_m);
    let (common, channel) = (
        ohm(tape.trace_common_uohm_per_m),
        ohm(tape.trace_channel_uohm_per_m),
    );
    (
        assumed::trace(tape, common, "the common", guess, assumed),
        assumed::trace(tape, channel, "a colour", guess, assumed),
    )
}

/// The colours of a bar as the output's channels.
fn strips(
    load: &Load<'_>,
    tape: &Tape,
    guess: Guess,
    assumed: &mut Vec<Assumed>,
) -> Result<Vec<(usize, f64, f64)>, String> {
    let count = assumed::in_series(tape, guess, assumed);
    let mut strips = Vec::new();
    for (at, &channel) in load.channels.list().iter().enumerate() {
        let Some(of) = tape.channels.iter().find(|of| of.channel == channel) else {
            return Err(format!(
                "The tape of {} has no {}, so its volts are not known.",
                load.bar.label,
                channel.label()
            ));
        };
        let Some(power) = of.power_mw_per_m.filter(|power| power.get() > 0) else {
            return Err(format!(
                "What {} of the tape of {} takes is not known, so its volts are not.",
                channel.label(),
                load.bar.label
            ));
        };
        strips.push((at, power.watts_per_m(), assumed::string_v(count, channel)));
    }
    Ok(strips)
}

/// Runs from the driver: cable, both halves of the plug with their tails, and contacts.
fn runs_of(
    chosen: &Chosen<'_, '_>,
    load: &Load<'_>,
    guess: Guess,
    assumed: &mut Vec<Assumed>,
) -> Vec<WiredRun> {
    let book = chosen.book;
    let plug = chosen.plugs.get(&load.bar.id);
    let soldered = plug.and_then(|plug| plug.lead);
    let tail = soldered.and_then(|(id, _)| match book.part(id).map(|part| &part.spec) {
        Some(PartSpec::Lead(spec)) => Some(spec),
        _ => None,
    });
    // Each end has its own couplers.
    let ends = load.ends();
    let couplers = plug.map_or(0, |plug| plug.couplers.len());
    let couplers = couplers / usize::try_from(ends).unwrap_or(1).max(1);
    let near_m = load.bar.cable_um.metres();
    let ohm_per_m = if near_m > 0.0 || ends == 2 {
        let id = chosen.cables.get(&load.bar.id).copied();
        let name = id.map_or_else(|| "the cable".to_owned(), |id| book.name(id));
        let cable = id.and_then(|id| match &book.part(id)?.spec {
            PartSpec::Cable(cable) => Some(cable),
            _ => None,
        });
        assumed::cable(&name, cable, guess, assumed)
    } else {
        0.0
    };
    // The driver's terminal; the block behind a cable; the plug, and one more for each coupler.
    let contacts = 1 + u32::from(near_m > 0.0) + 1 + u32::try_from(couplers).unwrap_or(0);
    let joints_ohm = 2.0 * assumed::tail(tail) + f64::from(contacts) * assumed::CONTACT_OHM;
    let run = |to, cable_m| WiredRun {
        to,
        cable_m,
        ohm_per_m,
        commons: 1,
        joints_ohm,
        contacts,
    };
    let mut runs = vec![run(To::Start, near_m)];
    if ends == 2 {
        runs.push(run(To::End, near_m + load.lit.metres()));
    }
    runs
}

#[cfg(test)]
mod tests;
