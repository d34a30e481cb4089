//! Where each figure of a plan comes from: its formula, what goes in, and what it rests on.

use super::{
    load,
    protect::MainsLoad,
    volts::{
        figures::{Assumed, BarVolts, OutputVolts, RunVolts},
        judge,
    },
};
use crate::{
    model::{
        channel::Channels,
        part::{Driver, Supply, Tape},
    },
    units::{Length, PowerPerLength},
};

/// What a figure rests on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Authority {
    /// A definition or plain arithmetic.
    Definition,
    /// What the trade does; nobody publishes it.
    CommonPractice,
    /// A publication, by its name.
    Publication(&'static str),
}

impl std::fmt::Display for Authority {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Definition => f.write_str("by definition"),
            Self::CommonPractice => f.write_str("common practice, no source"),
            Self::Publication(name) => f.write_str(name),
        }
    }
}

/// One figure with where it comes from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Source {
    /// What the figure is.
    pub what: &'static str,
    /// How it is computed.
    pub formula: &'static str,
    /// What goes in: name and figure, in order.
    pub inputs: Vec<(String, String)>,
    /// What comes out; `None` where an input is not known.
    pub figure: Option<String>,
    /// What it rests on.
    pub authority: Authority,
}

/// The current of a bar at full.
pub fn bar_current(tape: &Tape, lit: Length) -> Source {
    let mut inputs: Vec<(String, String)> = tape
        .channels
        .iter()
        .map(|channel| {
            let power = channel.power_mw_per_m;
            (
                channel.channel.to_string(),
                power.map_or_else(|| "not known".to_owned(), PowerPerLength::show),
            )
        })
        .collect();
    inputs.push(("lit length".into(), format!("{:.3} m", lit.metres())));
    inputs.push(("voltage".into(), tape.voltage_mv.show()));
    Source {
        what: "current at full",
        formula: "sum over the colours of power per metre × lit length ÷ voltage, each rounded up \
                  to a whole milliamp; an upper bound, since voltage falls along the tape",
        inputs,
        figure: load::draw(tape, lit).map(|draw| super::fit::amps(draw.total_ma)),
        authority: Authority::Definition,
    }
}

/// What a supply may be loaded with.
pub fn usable_load(supply: &Supply) -> Source {
    let stated = supply.load_percent;
    let percent = stated.unwrap_or(Supply::USUAL_LOAD_PERCENT);
    Source {
        what: "usable load",
        formula: "rated current × percent that may be used",
        inputs: vec![
            ("rated current".into(), supply.rated_ma.show()),
            ("may be used".into(), format!("{percent} %")),
        ],
        figure: Some(supply.usable().show()),
        authority: if stated.is_some() {
            Authority::Definition
        } else {
            Authority::CommonPractice
        },
    }
}

/// How many conductors some colours need.
pub fn conductors(channels: &Channels) -> Source {
    Source {
        what: "conductors",
        formula: "one for each colour, and the common",
        inputs: vec![("colours".into(), channels.count().to_string())],
        figure: Some(channels.conductors().to_string()),
        authority: Authority::CommonPractice,
    }
}

/// Where a driver may start.
pub fn start_address(driver: &Driver) -> Source {
    let last = 513_u16.checked_sub(driver.slots).filter(|last| *last > 0);
    Source {
        what: "start address",
        formula: "1 to 513 − slots of the device: its slots are consecutive and stay in one \
                  universe",
        inputs: vec![("slots".into(), driver.slots.to_string())],
        figure: last.map(|last| format!("1 to {last}")),
        authority: Authority::Publication("ANSI E1.11 (DMX512-A)"),
    }
}

/// How many drivers one data line carries.
pub fn line_loads() -> Source {
    Source {
        what: "devices on one data line",
        formula: "at most 32 unit loads, one for each driver",
        inputs: Vec::new(),
        figure: Some(super::data::LINE_LOADS.to_string()),
        authority: Authority::Publication("EIA-485, to which ANSI E1.11 refers"),
    }
}

fn run_inputs(run: &RunVolts) -> (String, String) {
    let end = if run.to_end { "end" } else { "start" };
    (
        format!("way to the {end}"),
        format!(
            "{:.2} m of cable and {} contacts: {:.3} Ω a colour, {:.3} Ω the common, one way",
            run.cable_m, run.contacts, run.channel_ohm, run.common_ohm
        ),
    )
}

fn assumed_inputs<'a>(list: impl IntoIterator<Item = &'a Assumed>) -> Vec<(String, String)> {
    list.into_iter()
        .map(|one| {
            (
                format!("assumed: {}", one.what),
                format!("{} ({})", one.value, one.why),
            )
        })
        .collect()
}

/// The worst drop of a bar.
pub fn drop_of(output: &OutputVolts, bar: &BarVolts, always: &[Assumed]) -> Source {
    let mut inputs = vec![
        (
            "supply".to_owned(),
            format!("{:.2} V", output.supply_voltage_v),
        ),
        (
            format!(
                "least, {} at cut unit {}",
                bar.lowest.channel.label(),
                bar.lowest.cut_unit
            ),
            format!("{:.2} V", bar.lowest.value),
        ),
        (
            "nominal".to_owned(),
            format!("{:.2} V", output.nominal_voltage_v),
        ),
    ];
    inputs.extend(bar.runs.iter().map(run_inputs));
    inputs.extend(assumed_inputs(bar.assumed.iter().chain(always)));
    Source {
        what: "drop",
        formula: "(supply voltage − volts at the worst cut unit) ÷ nominal voltage; the circuit is \
                  solved as a network of half trace, load, half trace at every cut unit, with go and \
                  return counted and the common carrying every colour",
        inputs,
        figure: Some(format!("{:.1} %", bar.worst_drop_percent)),
        authority: Authority::Publication(
            "Ohm's and Kirchhoff's laws; bounds of 3 % and 5 %: NFPA 70 informational notes, BS 7671 \
             appendix; 10 %: common practice, no source",
        ),
    }
}

/// The light at the dimmest cut unit of a bar.
pub fn light_of(bar: &BarVolts) -> Source {
    let mut inputs = vec![(
        "dimmest".to_owned(),
        format!(
            "{} at cut unit {} of {}",
            bar.dimmest.channel.label(),
            bar.dimmest.cut_unit,
            bar.cut_units
        ),
    )];
    inputs.extend(bar.channels.iter().map(|one| {
        (
            one.channel.label().to_owned(),
            format!("{:.2} V at its worst", one.full.voltage_at_worst_v),
        )
    }));
    inputs.extend(assumed_inputs(&bar.assumed));
    Source {
        what: "light",
        formula: "current of the worst cut unit ÷ its current at the nominal voltage, with \
                  i = (v − n·Vf) ÷ R: light goes with current, not with volts",
        inputs,
        figure: Some(format!("{:.0} %", bar.worst_light_percent)),
        authority: Authority::CommonPractice,
    }
}

/// What the supplies of a set take from the mains.
pub fn mains(load: &MainsLoad) -> Source {
    let numbered = (1..).zip(&load.terms);
    let mut inputs: Vec<(String, String)> = numbered
        .map(|(number, term): (u32, _)| (format!("supply {number}"), term.clone()))
        .collect();
    inputs.extend(
        load.assumed
            .iter()
            .map(|words| ("assumed".to_owned(), words.clone())),
    );
    Source {
        what: "mains load",
        formula: "sum of volts × amps given ÷ efficiency ÷ power factor, everything at full",
        inputs,
        figure: load.load_va.map(|va| format!("{va:.0} VA")),
        authority: Authority::Publication(
            "80 % of the breaker for three hours and more: NFPA 70 210.20; efficiency and power factor \
             where none is noted: common practice, no source",
        ),
    }
}

/// What a check rests on, by its key.
pub fn rests_on(key: &str) -> &'static str {
    let rule = key.split_once(':').map_or(key, |(rule, _)| rule);
    match rule {
        "drop" => {
            "3 % and 5 %: NFPA 70 informational notes, BS 7671 appendix; 10 %: common practice, no source"
        }
        "fuse-feed" | "fuse-output" => {
            "loaded to 75 %, next size up, no larger than the thinnest conductor: common practice, no \
             source; small conductors: NFPA 70 240.4(D); cartridge sizes: IEC 60127"
        }
        "limited-power" => {
            "60 V and 100 VA: NFPA 70 chapter 9 table 11; 5 A up to 20 V from memory"
        }
        "mains" => "80 % for three hours and more: NFPA 70 210.20",
        "inrush" => "IEC 60898-1, type B from three times its rating, from memory",
        "rating" => {
            "the maker’s rating; four to six loaded conductors 80 %: NFPA 70 310.15(C)(1), from memory"
        }
        "limit-supply" => "the maker’s rating; 80 % of it: common practice, no source",
        "address" | "slots" | "taken" => "ANSI E1.11 (DMX512-A)",
        "line" => "32 unit loads: EIA-485, to which ANSI E1.11 refers",
        "limit-channel" | "limit-output" | "limit-inlet" | "limit-whole" | "feed-rating"
        | "terminals" | "heat" | "run" | "voltage" | "supply-voltage" | "mains-voltage"
        | "length" | "width" | "size" => "the maker’s figures, as the catalogue has them",
        "budget" => "the set’s own budget",
        _ => "common practice, no source",
    }
}

/// The bounds that a drop and a light are judged by.
pub fn bounds() -> Source {
    Source {
        what: "each bound",
        formula: "the drop is good, acceptable, or asks for another design; so is the light",
        inputs: vec![
            (
                "drop".into(),
                format!(
                    "good up to {} %, acceptable up to {} %, too much beyond {} %",
                    judge::DROP_GOOD,
                    judge::DROP_ACCEPTABLE,
                    judge::DROP_MOST
                ),
            ),
            (
                "light".into(),
                format!(
                    "good from {} %, too little below {} %",
                    judge::LIGHT_GOOD,
                    judge::LIGHT_LEAST
                ),
            ),
        ],
        figure: None,
        authority: Authority::Publication(
            "3 % and 5 %: NFPA 70 informational notes, BS 7671 appendix; the others: common practice, no \
             source",
        ),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::part::PartSpec;

    #[test]
    fn a_current_is_power_by_length_by_voltage() {
        // By hand: 4.8 W/m × 2.5 m ÷ 24 V is 0.5 A for each of three colours.
        let spec: PartSpec = serde_json::from_value(serde_json::json!({
            "kind": "tape", "voltage_mv": 24_000, "width_um": 10_000,
            "pitch": {"units": 1, "um": 50_000},
            "channels": [
                {"channel": "red", "power_mw_per_m": 4_800},
                {"channel": "green", "power_mw_per_m": 4_800},
                {"channel": "blue", "power_mw_per_m": 4_800},
            ],
        }))
        .unwrap();
        let PartSpec::Tape(mut tape) = spec else {
            panic!("a tape was written")
        };
        let lit = Length::mm(2_500);
        assert_eq!(bar_current(&tape, lit).figure.as_deref(), Some("1.5 A"));
        tape.channels[1].power_mw_per_m = None;
        assert_eq!(
            bar_current(&tape, lit).figure,
            None,
            "unknown is not nought"
        );
    }

    #[test]
    fn a_supply_is_loaded_to_four_fifths_unless_stated() {
        let supply = |load_percent: Option<u8>| -> Supply {
            serde_json::from_value(serde_json::json!({
                "voltage_mv": 24_000, "rated_ma": 10_000, "load_percent": load_percent,
            }))
            .unwrap()
        };
        let usual = usable_load(&supply(None));
        assert_eq!(usual.figure.as_deref(), Some("8 A"));
        assert_eq!(usual.authority, Authority::CommonPractice);
        assert_eq!(
            usable_load(&supply(Some(100))).figure.as_deref(),
            Some("10 A")
        );
    }
}
