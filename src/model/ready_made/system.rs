//! What goes with a tape: from a tick at one tape to everything that a first set of it needs.

use std::cmp::Reverse;

use super::{ReadyMade, all};
use crate::{
    model::{
        channel::Channels,
        part::{DataUse, Driver, PartSpec, Tape},
    },
    units::Length,
};

/// Keys of the tape and of the ready-made parts that go with it: a profile that it fits into, the
/// smallest leads that carry its colours, cable, terminal block, driver, supply, data chain and
/// sundries. Empty if it is not a tape with known colours.
pub fn system(tape: &ReadyMade) -> Vec<&'static str> {
    let PartSpec::Tape(spec) = &tape.spec else {
        return Vec::new();
    };
    let Some(colours) = spec.colours() else {
        return Vec::new();
    };
    let mut keys = vec![tape.key];
    keys.extend(first(|part| match part {
        // Two metres, or the nearest below: a bar must be cut from one piece.
        PartSpec::Profile(profile) => {
            let longest = profile.bars_um.iter().max().copied();
            (profile.diffuser.diffuses() && profile.inner_width_um >= spec.width_um)
                .then(|| Reverse(longest.min(Some(Length::mm(2_000)))))
        }
        _ => None,
    }));
    keys.extend(leads(&colours));
    keys.extend(first(|part| match part {
        PartSpec::Cable(cable) => {
            (usize::from(cable.conductors) >= colours.conductors()).then_some(cable.conductors)
        }
        _ => None,
    }));
    keys.extend(first(|part| match part {
        PartSpec::Block(block) => (usize::from(block.ways) >= colours.conductors()).then_some(0),
        _ => None,
    }));
    keys.extend(first(|part| match part {
        PartSpec::Driver(driver) => fits(driver, spec, &colours),
        _ => None,
    }));
    // The middle one of its voltage: enough for a first set, not more than a small one loads.
    let supplies: Vec<_> = all()
        .iter()
        .filter(|part| {
            matches!(&part.spec, PartSpec::Supply(supply) if supply.voltage_mv == spec.voltage_mv)
        })
        .collect();
    keys.extend(supplies.get(supplies.len() / 2).map(|part| part.key));
    for used_as in [DataUse::Cable, DataUse::Terminator] {
        keys.extend(first(|part| match part {
            PartSpec::Data(data) => (data.used_as == used_as).then_some(0),
            _ => None,
        }));
    }
    let sundries = all()
        .iter()
        .filter(|part| matches!(part.spec, PartSpec::Sundry(_)));
    keys.extend(sundries.map(|part| part.key));
    keys
}

/// The first of those that fit least.
fn first<K: Ord>(rank: impl Fn(&PartSpec) -> Option<K>) -> Option<&'static str> {
    all()
        .iter()
        .filter_map(|part| Some((rank(&part.spec)?, part.key)))
        .min_by(|(a, _), (b, _)| a.cmp(b))
        .map(|(_, key)| key)
}

/// Leads of both genders with as few pins as carry the colours.
fn leads(colours: &Channels) -> Vec<&'static str> {
    let carrying: Vec<(usize, &'static str)> = all()
        .iter()
        .filter_map(|part| match &part.spec {
            PartSpec::Lead(lead) => {
                let pins = lead.connector.pins.as_ref()?;
                pins.carries(colours).then(|| (pins.count(), part.key))
            }
            _ => None,
        })
        .collect();
    let fewest = carrying.iter().map(|(pins, _)| *pins).min();
    carrying
        .into_iter()
        .filter(|(pins, _)| Some(*pins) == fewest)
        .map(|(_, key)| key)
        .collect()
}

/// Fewest channels too many first, then those with outputs for several bars, then the smallest.
fn fits(driver: &Driver, tape: &Tape, colours: &Channels) -> Option<(u8, bool, u16)> {
    let wanted = u8::try_from(colours.conductors() - 1).ok()?;
    let volts = driver.voltage_min_mv..=driver.voltage_max_mv;
    let there = driver.channels_per_output >= wanted && volts.contains(&tape.voltage_mv);
    there.then(|| {
        (
            driver.channels_per_output - wanted,
            driver.outputs < 4,
            driver.outputs,
        )
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::ready_made::find;

    #[test]
    fn every_ready_made_tape_has_a_system_of_every_kind_that_agrees_with_it() {
        for tape in all() {
            let PartSpec::Tape(spec) = &tape.spec else {
                assert!(system(tape).is_empty(), "{}", tape.key);
                continue;
            };
            let colours = spec.colours().unwrap();
            let mut kinds = std::collections::BTreeSet::new();
            for key in system(tape) {
                let part = find(key).unwrap();
                kinds.insert(part.spec.kind().word());
                match &part.spec {
                    PartSpec::Profile(profile) => assert!(profile.inner_width_um >= spec.width_um),
                    PartSpec::Lead(lead) => {
                        assert_eq!(lead.connector.carries(&colours), Some(true));
                    }
                    PartSpec::Cable(cable) => {
                        assert!(usize::from(cable.conductors) >= colours.conductors());
                    }
                    PartSpec::Driver(driver) => {
                        assert!(
                            usize::from(driver.channels_per_output) + 1 >= colours.conductors()
                        );
                    }
                    PartSpec::Supply(supply) => assert_eq!(supply.voltage_mv, spec.voltage_mv),
                    _ => {}
                }
            }
            let wanted = [
                "tape", "profile", "lead", "block", "cable", "driver", "supply", "data", "sundry",
            ];
            for kind in wanted {
                assert!(kinds.contains(kind), "{}: no {kind}", tape.key);
            }
        }
    }
}
