//! DMX512 start addresses round slots that are taken.
//!
//! A universe has 512 slots; a device of n slots starts at 1 to 513 − n (ANSI E1.11). Nine address
//! switches show at most 511 (common practice, no source). A driver keeps the address that it is
//! set to where it can; the others take the lowest free run, in their order.

use std::fmt;

use super::{
    check::{Checks, Finding},
    outcome::SlotRef,
};
use crate::model::part::{AddressBy, Driver};

/// Slots of a universe (ANSI E1.11).
pub const SLOTS: u16 = 512;
/// The highest universe (ANSI E1.31).
pub const UNIVERSES: u16 = 63_999;
/// The highest number on nine switches.
const NINE_SWITCHES: u16 = 511;

/// A run of slots of one universe, both ends included.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Run {
    /// Universe, from 1.
    pub universe: u16,
    /// First slot.
    pub from: u16,
    /// Last slot.
    pub to: u16,
}

/// Slots that other lights use.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Taken(Vec<Run>);

/// Why a list of slots was refused. Its Display is the sentence for people.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum TakenError {
    /// Not a slot or a range.
    #[error(
        "“{0}” can't be read as slots. Type them as 1-96, 200; for another universe than the \
         first put its number and a colon before, as 2:1-96."
    )]
    Unreadable(String),
    /// Outside 1 to 512.
    #[error("“{0}” is outside a universe, which has slots 1 to 512.")]
    Slot(String),
    /// Outside 1 to 63999.
    #[error("“{0}” names a universe outside 1 to 63999.")]
    Universe(String),
    /// Last before first.
    #[error("“{0}” ends before it begins; swap the two.")]
    Backwards(String),
}

impl Taken {
    /// Reads `1-96, 200`, with `2:` before what lies in universe 2. Nothing is taken by an empty
    /// text.
    pub fn parse(text: &str) -> Result<Self, TakenError> {
        let entries = text
            .split([',', ';', '\n'])
            .map(str::trim)
            .filter(|entry| !entry.is_empty());
        entries.map(run).collect::<Result<_, _>>().map(Self)
    }
}

fn run(entry: &str) -> Result<Run, TakenError> {
    let quoted = || entry.to_owned();
    let number = |text: &str| -> Result<u32, TakenError> {
        let text = text.trim();
        if text.is_empty() || text.len() > 9 || !text.bytes().all(|byte| byte.is_ascii_digit()) {
            return Err(TakenError::Unreadable(quoted()));
        }
        text.parse().map_err(|_| TakenError::Unreadable(quoted()))
    };
    let (universe, slots) = match entry.split_once(':') {
        Some((universe, slots)) => (number(universe)?, slots),
        None => (1, entry),
    };
    let (from, to) = slots.split_once(['-', '–']).unwrap_or((slots, slots));
    let (from, to) = (number(from)?, number(to)?);
    let slot = |slot: u32| {
        u16::try_from(slot)
            .ok()
            .filter(|slot| (1..=SLOTS).contains(slot))
            .ok_or_else(|| TakenError::Slot(quoted()))
    };
    let universe = u16::try_from(universe)
        .ok()
        .filter(|universe| (1..=UNIVERSES).contains(universe))
        .ok_or_else(|| TakenError::Universe(quoted()))?;
    let (from, to) = (slot(from)?, slot(to)?);
    if from > to {
        return Err(TakenError::Backwards(quoted()));
    }
    Ok(Run { universe, from, to })
}

impl fmt::Display for Taken {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (at, run) in self.0.iter().enumerate() {
            if at > 0 {
                f.write_str(", ")?;
            }
            if run.universe != 1 {
                write!(f, "{}:", run.universe)?;
            }
            if run.from == run.to {
                write!(f, "{}", run.from)?;
            } else {
                write!(f, "{}-{}", run.from, run.to)?;
            }
        }
        Ok(())
    }
}

impl Taken {
    /// The runs that are taken.
    pub fn runs(&self) -> &[Run] {
        &self.0
    }

    /// The first taken run that a device of `slots` slots at `start` would lie in.
    fn hit(&self, start: SlotRef, slots: u16) -> Option<Run> {
        let end = start.slot + (slots - 1);
        self.0
            .iter()
            .copied()
            .find(|run| run.universe == start.universe && run.from <= end && start.slot <= run.to)
    }

    fn take(&mut self, start: SlotRef, slots: u16) {
        self.0.push(Run {
            universe: start.universe,
            from: start.slot,
            to: start.slot + (slots - 1),
        });
    }
}

/// What an address depends on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Device {
    /// Slots that it takes.
    pub slots: u16,
    /// How its address is set.
    pub by: AddressBy,
    /// Where it starts now; kept if it can be.
    pub set_to: Option<SlotRef>,
}

/// The highest start address of a device; `None` where it can't have any.
pub fn highest(device: Device) -> Option<u16> {
    let slots = (1..=SLOTS)
        .contains(&device.slots)
        .then_some(device.slots)?;
    let room = SLOTS + 1 - slots;
    Some(match device.by {
        AddressBy::Switches => room.min(NINE_SWITCHES),
        _ => room,
    })
}

/// The switches of a nine-way address switch that are on for a number: switch k is worth 2^(k−1)
/// (common practice, no source). `None` for more than they show.
pub fn switches_on(number: u16) -> Option<Vec<u16>> {
    (number <= NINE_SWITCHES).then(|| (1..=9).filter(|k| number >> (k - 1) & 1 == 1).collect())
}

/// Gives every device its start, in their order: one that is set keeps it if it can, the others take
/// the lowest free run. `None` where no free run is left.
pub fn give(taken: &Taken, devices: &[Device]) -> Vec<Option<SlotRef>> {
    let mut taken = taken.clone();
    let mut given: Vec<Option<SlotRef>> = vec![None; devices.len()];
    for (device, given) in devices.iter().zip(&mut given) {
        *given = device.set_to.filter(|start| {
            highest(*device).is_some_and(|highest| (1..=highest).contains(&start.slot))
                && taken.hit(*start, device.slots).is_none()
        });
        if let Some(start) = *given {
            taken.take(start, device.slots);
        }
    }
    for (device, given) in devices.iter().zip(&mut given) {
        if given.is_none() {
            *given = lowest(&taken, *device);
            if let Some(start) = *given {
                taken.take(start, device.slots);
            }
        }
    }
    given
}

/// A driver to be addressed.
pub(super) struct Wanted<'a> {
    pub(super) driver: &'a Driver,
    /// The address that it is set to.
    pub(super) set_to: Option<u16>,
    pub(super) about: String,
    pub(super) key: String,
}

/// Start addresses, in the order of the drivers; `None` where no free run is left.
pub(super) fn addresses(
    taken_text: &str,
    wanted: &[Wanted<'_>],
    checks: &mut Checks,
) -> Vec<Option<SlotRef>> {
    if wanted.is_empty() {
        return Vec::new();
    }
    let taken = match Taken::parse(taken_text) {
        Ok(taken) => taken,
        Err(why) => {
            let finding = Finding::broken(
                format!(
                    "The slots that other lights use can't be read, so none were given out: {why}"
                ),
                "Mend them in the settings.",
            );
            checks.add("slots", "taken", "DMX slots", finding, []);
            return vec![None; wanted.len()];
        }
    };
    let devices: Vec<Device> = wanted
        .iter()
        .map(|wanted| Device {
            slots: wanted.driver.slots,
            by: wanted.driver.address_by,
            set_to: wanted.set_to.map(|slot| SlotRef { universe: 1, slot }),
        })
        .collect();
    let given = give(&taken, &devices);
    for (driver, start) in wanted.iter().zip(&given) {
        let slots = driver.driver.slots;
        let finding = match start {
            Some(start) => Finding::passed(format!(
                "{} has slots {} to {} of universe {}.",
                driver.about,
                start.slot,
                start.slot + (slots - 1),
                start.universe
            )),
            None => Finding::broken(
                format!(
                    "{} takes {slots} slots, and no such run is free.",
                    driver.about
                ),
                "Free slots in the settings, or use a driver of fewer slots.",
            ),
        };
        checks.add("address", &driver.key, &driver.about, finding, []);
    }
    given
}

/// The lowest free start in the first universe that has one.
fn lowest(taken: &Taken, device: Device) -> Option<SlotRef> {
    let highest = highest(device)?;
    (1..=UNIVERSES).find_map(|universe| {
        let mut slot = 1;
        while slot <= highest {
            let start = SlotRef { universe, slot };
            match taken.hit(start, device.slots) {
                None => return Some(start),
                Some(run) => slot = run.to + 1,
            }
        }
        None
    })
}

/// The first slot of an output, where the driver's slots are its channels in order; `None` where
/// their number says that they are not.
pub(super) fn output_slot(driver: &Driver, start: SlotRef, output: u16) -> Option<SlotRef> {
    let wide = match driver.bits {
        Some(16) => 2,
        _ => 1,
    };
    let each = u16::from(driver.channels_per_output) * wide;
    (driver.outputs.checked_mul(each)? == driver.slots).then(|| SlotRef {
        universe: start.universe,
        slot: start.slot + (output - 1) * each,
    })
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::{
        model::part::{Inlet, Isolation},
        units::Voltage,
    };

    fn driver(slots: u16, address_by: AddressBy) -> Driver {
        Driver {
            outputs: 1,
            channels_per_output: 4,
            terminals: None,
            common: None,
            voltage_min_mv: Voltage::ZERO,
            voltage_max_mv: Voltage::ZERO,
            channel_limit_ma: None,
            output_limit_ma: None,
            inlet_limit_ma: None,
            whole_limit_ma: None,
            inlets: vec![Inlet { outputs: vec![1] }],
            isolation: Isolation::Isolated,
            slots,
            slot_order: None,
            bits: None,
            address_by,
            data_connector: None,
            pwm_hz: None,
        }
    }

    fn give(taken: &str, drivers: &[(Driver, Option<u16>)]) -> Vec<Option<(u16, u16)>> {
        let wanted: Vec<_> = drivers
            .iter()
            .enumerate()
            .map(|(at, (driver, set_to))| Wanted {
                driver,
                set_to: *set_to,
                about: format!("D-{at}"),
                key: at.to_string(),
            })
            .collect();
        addresses(taken, &wanted, &mut Checks::default())
            .into_iter()
            .map(|start| start.map(|start| (start.universe, start.slot)))
            .collect()
    }

    #[test]
    fn slots_are_read_and_written_back() {
        let taken = Taken::parse(" 1-96, 200 ; 2:1–10").unwrap();
        assert_eq!(taken.to_string(), "1-96, 200, 2:1-10");
        assert_eq!(Taken::parse(""), Ok(Taken::default()));
        let refused = |text: &str| Taken::parse(text).unwrap_err();
        assert!(matches!(refused("1-"), TakenError::Unreadable(_)));
        assert!(matches!(refused("1-2-3"), TakenError::Unreadable(_)));
        assert!(matches!(refused("+1"), TakenError::Unreadable(_)));
        assert!(matches!(refused("0"), TakenError::Slot(_)));
        assert!(matches!(refused("500-513"), TakenError::Slot(_)));
        assert!(matches!(refused("64000:1"), TakenError::Universe(_)));
        assert!(matches!(refused("9-3"), TakenError::Backwards(_)));
    }

    #[test]
    fn a_device_starts_within_its_universe_and_round_what_is_taken() {
        // ANSI E1.11: a device of 32 slots starts at 1 to 481.
        let menu = || (driver(32, AddressBy::Menu), None);
        assert_eq!(
            give("1-96, 120", &[menu(), menu()]),
            [Some((1, 121)), Some((1, 153))]
        );
        assert_eq!(
            give("1-480", &[menu(), menu()]),
            [Some((1, 481)), Some((2, 1))]
        );
        assert_eq!(give("1-481", &[menu()]), [Some((2, 1))]);
        assert_eq!(give("nonsense", &[menu()]), [None]);
    }

    #[test]
    fn nine_switches_do_not_show_512() {
        // Common practice, no source.
        assert_eq!(
            give("1-511", &[(driver(1, AddressBy::Switches), None)]),
            [Some((2, 1))]
        );
        let less_one = (driver(1, AddressBy::SwitchesLessOne), None);
        assert_eq!(give("1-511", &[less_one]), [Some((1, 512))]);
    }

    #[test]
    fn an_address_that_is_set_is_kept_unless_it_is_taken() {
        let menu = |set_to| (driver(32, AddressBy::Menu), set_to);
        assert_eq!(
            give(
                "",
                &[menu(None), menu(Some(1)), menu(Some(20)), menu(Some(500))]
            ),
            [Some((1, 33)), Some((1, 1)), Some((1, 65)), Some((1, 97))]
        );
    }

    proptest! {
        #[test]
        fn nothing_overlaps_or_leaves_its_universe(
            taken in proptest::collection::vec((1_u16..=2, 1_u16..=512, 0_u16..60), 0..8),
            drivers in proptest::collection::vec(
                (1_u16..=200, proptest::option::of(0_u16..600)), 1..12),
        ) {
            let text: Vec<String> = taken
                .iter()
                .map(|(universe, from, more)| {
                    format!("{universe}:{from}-{}", (from + more).min(512))
                })
                .collect();
            let drivers: Vec<_> = drivers
                .into_iter()
                .map(|(slots, set_to)| (driver(slots, AddressBy::Switches), set_to))
                .collect();
            let given = give(&text.join(","), &drivers);
            let mut used = std::collections::BTreeSet::new();
            for run in Taken::parse(&text.join(",")).unwrap().runs() {
                used.extend((run.from..=run.to).map(|slot| (run.universe, slot)));
            }
            for ((driver, _), start) in drivers.iter().zip(given) {
                let (universe, start) = start.expect("there are universes enough");
                prop_assert!((1..=513 - driver.slots).contains(&start) && start <= 511);
                for slot in start..start + driver.slots {
                    prop_assert!(used.insert((universe, slot)), "slot {slot} twice");
                }
            }
        }
    }
}
