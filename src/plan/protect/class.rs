//! Supplies of a limited-power class: their outputs are no danger of fire by themselves.

use super::Chosen;
use crate::{
    model::part::Supply,
    plan::check::{Checks, Finding},
};

/// At most so many volts (NFPA 70 chapter 9 table 11; IEC 60598-1 for what may be touched).
const MOST_V: f64 = 60.0;
/// And so many volt-amperes.
const MOST_VA: f64 = 100.0;
/// Up to this voltage at most 5 A instead (from memory).
const LOW_V: f64 = 20.0;
const LOW_A: f64 = 5.0;

/// The most current of the class at a voltage, in A; `None` beyond the class.
fn most_a(volts: f64) -> Option<f64> {
    if volts > MOST_V {
        None
    } else if volts <= LOW_V {
        Some(LOW_A)
    } else {
        Some(MOST_VA / volts)
    }
}

fn judge(name: &str, supply: &Supply) -> Finding {
    let (volts, amps) = (supply.voltage_mv.volts(), supply.rated_ma.amps());
    let figures = format!("{name} gives {volts} V and {amps} A");
    let Some(most) = most_a(volts) else {
        return Finding::broken(
            format!("{figures}; nothing here may be above {MOST_V} V."),
            "Use a supply of extra-low voltage.",
        );
    };
    let bound = format!("a limited-power class allows {most:.2} A at that voltage");
    let fits = amps <= most;
    match (supply.limited_power, fits) {
        (Some(true), true) => Finding::passed(format!(
            "{figures}; {bound}, so {:.2} A are in hand.",
            most - amps
        )),
        (Some(true), false) => Finding::broken(
            format!("{figures} and is noted as of a limited-power class; {bound}."),
            "Look at its label and mend its entry, or use a smaller supply.",
        ),
        (None, true) => Finding::warned(
            format!(
                "{figures}; whether it is of a limited-power class is not noted. Its feeds are fused as if it were not."
            ),
            "Look at its label (Class 2, LPS) and enter it.",
        ),
        (Some(false) | None, _) => Finding::passed(format!(
            "{figures} and is not of a limited-power class ({bound}): each feed has its fuse, which is checked by itself."
        )),
    }
}

pub(super) fn check(chosen: &Chosen<'_, '_>, checks: &mut Checks) {
    for source in &chosen.fed.supplies {
        let name = chosen.book.name(source.part);
        let finding = judge(&name, source.spec);
        checks.add(
            "limited-power",
            format_args!("part-{}", source.part),
            &name,
            finding,
            [],
        );
    }
}
