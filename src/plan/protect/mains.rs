//! What all supplies of a set take from the mains circuit that the venue names. Only a figure: the
//! mains side is for a qualified person, to local rules.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::Chosen;
use crate::{
    model::part::Supply,
    plan::{
        check::{Checks, Finding},
        supply::Source,
    },
    units::{Current, Voltage},
};

/// Efficiency in percent where none is noted (common practice, no source).
const USUAL_EFFICIENCY: u8 = 85;
/// Power factor in percent where none is noted: small supplies without its correction (common
/// practice, no source).
const USUAL_FACTOR: u8 = 60;
/// A breaker of the slowest trip that is common in houses lets through at least this many times
/// its rating for an instant: type B, 3 (IEC 60898-1, from memory).
const INSTANT: i64 = 3;

/// What the supplies of a set take from the mains.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct MainsLoad {
    /// Apparent power of all supplies, everything at full, in VA; `None` where a load is not known.
    pub load_va: Option<f64>,
    /// Which efficiency or power factor is taken and not noted, in words; empty where none is.
    pub assumed: Vec<String>,
    /// Inrush of the supplies whose inrush is known, all at once.
    pub inrush_ma: Current,
    /// Supplies whose inrush is not known.
    pub inrush_unknown: usize,
    /// How it was computed, supply by supply.
    pub terms: Vec<String>,
}

/// Apparent power of one supply in VA, with how it was computed.
fn taken(name: &str, supply: &Supply, load_ma: i64, assumed: &mut Vec<String>) -> (f64, String) {
    let watts = Current::new(load_ma).map_or(0.0, Current::amps) * supply.voltage_mv.volts();
    let known = |what: &str, of: Option<u8>, usual: u8, assumed: &mut Vec<String>| {
        let of = of.filter(|percent| *percent > 0);
        if of.is_none() {
            let words = format!("{what} of {name} taken as {usual} %");
            if !assumed.contains(&words) {
                assumed.push(words);
            }
        }
        of.unwrap_or(usual)
    };
    let efficiency = known(
        "efficiency",
        supply.efficiency_percent,
        USUAL_EFFICIENCY,
        assumed,
    );
    let factor = known(
        "power factor",
        supply.power_factor_percent,
        USUAL_FACTOR,
        assumed,
    );
    let va = watts * 1e4 / (f64::from(efficiency) * f64::from(factor));
    let words = format!(
        "{name}: {watts:.1} W ÷ {efficiency} % efficiency ÷ power factor {:.2} = {va:.0} VA",
        f64::from(factor) / 100.0
    );
    (va, words)
}

fn load(chosen: &Chosen<'_, '_>) -> MainsLoad {
    let mut found = MainsLoad {
        load_va: Some(0.0),
        assumed: Vec::new(),
        inrush_ma: Current::ZERO,
        inrush_unknown: 0,
        terms: Vec::new(),
    };
    for source in &chosen.fed.supplies {
        let name = chosen.book.name(source.part);
        if let Some(ma) = source.load_ma {
            let (va, words) = taken(&name, source.spec, ma, &mut found.assumed);
            found.load_va = found.load_va.map(|sum| sum + va);
            found.terms.push(words);
        } else {
            found.load_va = None;
            found.terms.push(format!("{name}: its load is not known"));
        }
        match source.spec.inrush_ma {
            Some(ma) => {
                found.inrush_ma = found.inrush_ma.checked_add(ma).unwrap_or(found.inrush_ma);
            }
            None => found.inrush_unknown += 1,
        }
    }
    found.load_va = found.load_va.map(|va| (va * 10.0).round() / 10.0);
    found
}

fn judge(chosen: &Chosen<'_, '_>, found: &MainsLoad) -> Finding {
    let Some(va) = found.load_va else {
        return Finding::unknown(
            "What the supplies take from the mains is not known.",
            "Enter the watts per metre of each colour of the tape.",
        );
    };
    let all = format!("All supplies together take {va:.0} VA from the mains");
    let Some(mains) = chosen.book.input.venue.mains else {
        return Finding::warned(
            format!("{all}; which circuit they hang on is not named, so it is not judged."),
            "Name its voltage and breaker in the settings.",
        );
    };
    let percent = mains.continuous_percent;
    let most = mains.voltage_mv.volts() * mains.breaker_ma.amps() * f64::from(percent) / 100.0;
    let sentence = format!(
        "{all}; {percent} % of a circuit of {} and {} is {most:.0} VA, so {}.",
        mains.voltage_mv.show(),
        mains.breaker_ma.show(),
        if va <= most {
            format!("{:.0} VA are in hand", most - va)
        } else {
            format!("it is {:.0} VA too much", va - most)
        }
    );
    if va > most {
        Finding::broken(sentence, "Spread the supplies over more circuits.")
    } else if found.assumed.is_empty() {
        Finding::passed(sentence)
    } else {
        Finding::warned(
            format!("{sentence} Assumed: {}.", found.assumed.join("; ")),
            "Enter efficiency and power factor from the supplies’ labels.",
        )
    }
}

/// Whether the supplies run on the mains they get.
fn range(name: &str, source: &Source<'_>, volts: Voltage) -> Option<Finding> {
    let (least, most) = (source.spec.mains_min_mv?, source.spec.mains_max_mv?);
    let figures = format!(
        "{name} runs on {} to {}; the circuit has {}",
        least.show(),
        most.show(),
        volts.show()
    );
    Some(if (least..=most).contains(&volts) {
        Finding::passed(format!("{figures}."))
    } else {
        Finding::broken(
            format!("{figures}."),
            "Use supplies for this mains voltage.",
        )
    })
}

pub(super) fn check(chosen: &Chosen<'_, '_>, checks: &mut Checks) -> Option<MainsLoad> {
    if chosen.fed.supplies.is_empty() {
        return None;
    }
    let found = load(chosen);
    checks.add(
        "mains",
        "circuit",
        "Mains circuit",
        judge(chosen, &found),
        [],
    );
    let Some(mains) = chosen.book.input.venue.mains else {
        return Some(found);
    };
    for source in &chosen.fed.supplies {
        let name = chosen.book.name(source.part);
        if let Some(finding) = range(&name, source, mains.voltage_mv) {
            let key = format_args!("part-{}", source.part).to_string();
            checks.add("mains-voltage", key, &name, finding, []);
        }
    }
    if found.inrush_ma > Current::ZERO {
        let instant = mains.breaker_ma.get().saturating_mul(INSTANT);
        let unknown = match found.inrush_unknown {
            0 => String::new(),
            n => format!(" Of {n} more it is not known."),
        };
        let sentence = format!(
            "Switched on together, the supplies draw up to {} for an instant; a breaker of {} may trip from {INSTANT} times its rating.{unknown}",
            found.inrush_ma.show(),
            mains.breaker_ma.show()
        );
        let finding = if found.inrush_ma.get() <= instant && found.inrush_unknown == 0 {
            Finding::passed(sentence)
        } else {
            Finding::warned(sentence, "Switch the supplies on one after the other.")
        };
        checks.add("inrush", "circuit", "Mains circuit", finding, []);
    }
    Some(found)
}
