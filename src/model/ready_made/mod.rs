//! Ready-made parts: generic ones that a venue ticks instead of typing.
//!
//! No maker's part is meant. Their figures are typical ones (common practice, no source), to be
//! replaced by the maker's; trace resistances are those of copper 70 µm thick (0.017241 Ω·mm²/m at
//! 20 °C, IEC 60028) over a plausible width of trace. Each is written as people would type it and read by
//! [`attribute::parse`](super::attribute::parse).

mod strip;
mod system;
mod wire;
mod works;

use std::sync::LazyLock;

pub use system::system;

use super::{
    attribute,
    part::{Kind, PartSpec, SpecError},
    text::Name,
};
use crate::units::LengthUnit;

/// A generic part to be ticked.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ReadyMade {
    /// Its key, which stays the same for good.
    pub key: &'static str,
    /// Its name.
    pub name: Name,
    /// Kind and attributes.
    pub spec: PartSpec,
}

/// A ready-made part as it is written down.
#[derive(Debug)]
struct Entry {
    key: &'static str,
    kind: Kind,
    name: &'static str,
    texts: &'static [(&'static str, &'static str)],
}

const fn entry(
    kind: Kind,
    key: &'static str,
    name: &'static str,
    texts: &'static [(&'static str, &'static str)],
) -> Entry {
    Entry {
        key,
        kind,
        name,
        texts,
    }
}

impl Entry {
    fn read(&self) -> Result<ReadyMade, Vec<SpecError>> {
        let spec = attribute::parse(self.kind, LengthUnit::Mm, |attribute| {
            self.texts
                .iter()
                .find(|(name, _)| *name == attribute.name)
                .map_or("", |(_, text)| text)
        })?;
        let name = Name::parse(self.name).map_err(|why| {
            vec![SpecError {
                field: "name",
                message: why.to_string(),
            }]
        })?;
        Ok(ReadyMade {
            key: self.key,
            name,
            spec,
        })
    }
}

fn entries() -> impl Iterator<Item = &'static Entry> {
    [
        strip::TAPE,
        strip::PROFILE,
        wire::LEADS,
        wire::JOINING,
        wire::CABLE,
        works::DRIVERS,
        works::SUPPLIES,
        works::DATA,
        works::SUNDRIES,
    ]
    .into_iter()
    .flatten()
}

/// All ready-made parts, by kind.
pub fn all() -> &'static [ReadyMade] {
    // A test reads every entry, so that none is left out here.
    static ALL: LazyLock<Vec<ReadyMade>> =
        LazyLock::new(|| entries().filter_map(|entry| entry.read().ok()).collect());
    &ALL
}

/// The ready-made part of a key.
pub fn find(key: &str) -> Option<&'static ReadyMade> {
    all().iter().find(|part| part.key == key)
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use super::*;
    use crate::model::{
        channel::Channels,
        connector::Gender,
        part::{Cable, Driver, Lead, Profile, Supply, Tape},
    };

    #[test]
    fn every_entry_is_read_and_names_only_attributes_that_are_asked() {
        for entry in entries() {
            entry
                .read()
                .unwrap_or_else(|why| panic!("{}: {why:?}", entry.key));
            for (name, _) in entry.texts {
                assert!(
                    attribute::of(entry.kind).iter().any(|a| a.name == *name),
                    "{}: {name}",
                    entry.key
                );
            }
        }
        assert_eq!(all().len(), entries().count());
    }

    #[test]
    fn keys_and_names_are_told_apart() {
        let keys: BTreeSet<_> = all().iter().map(|part| part.key).collect();
        let names: BTreeSet<_> = all()
            .iter()
            .map(|part| part.name.as_str().to_lowercase())
            .collect();
        assert_eq!(keys.len(), all().len());
        assert_eq!(names.len(), all().len());
    }

    #[test]
    fn each_agrees_with_itself_and_reads_back() {
        for part in all() {
            part.spec
                .check()
                .unwrap_or_else(|why| panic!("{}: {why}", part.key));
            for unit in LengthUnit::ALL {
                let shown = attribute::show(&part.spec, unit);
                let read = attribute::parse(part.spec.kind(), unit, |a| {
                    shown
                        .iter()
                        .find(|shown| shown.attribute.name == a.name)
                        .map_or("", |shown| shown.text.as_str())
                });
                assert_eq!(read.as_ref(), Ok(&part.spec), "{} in {unit}", part.key);
            }
        }
    }

    macro_rules! of_kind {
        ($variant:ident, $type:ty) => {
            all()
                .iter()
                .filter_map(|part| match &part.spec {
                    PartSpec::$variant(it) => Some(it),
                    _ => None,
                })
                .collect::<Vec<&'static $type>>()
        };
    }

    #[test]
    fn every_kind_and_every_usual_set_of_colours_is_there() {
        let kinds: BTreeSet<_> = all().iter().map(|part| part.spec.kind()).collect();
        assert_eq!(kinds.len(), Kind::ALL.len());
        let tapes = of_kind!(Tape, Tape);
        for colours in ["white", "tunable white", "RGB", "RGBW", "RGB+CCT"] {
            for volts in [12_000, 24_000] {
                let wanted: Channels = colours.parse().unwrap();
                assert!(
                    tapes
                        .iter()
                        .any(|tape| tape.colours().as_ref() == Some(&wanted)
                            && tape.voltage_mv.get() == volts),
                    "{colours} at {volts} mV"
                );
            }
        }
        for mm in [8_000, 10_000, 12_000] {
            assert!(tapes.iter().any(|tape| tape.width_um.get() == mm));
        }
    }

    /// Every tape can be led from a supply to its pads with ready-made parts alone.
    #[test]
    fn every_tape_has_a_chain() {
        for part in all() {
            let PartSpec::Tape(tape) = &part.spec else {
                continue;
            };
            let key = part.key;
            let colours = tape.colours().unwrap();
            let has = |what: &str, found: bool| assert!(found, "{key} has no {what}");
            for gender in Gender::ALL {
                has(
                    "lead",
                    of_kind!(Lead, Lead).iter().any(|lead| {
                        lead.connector.gender == *gender
                            && lead.connector.pins.as_ref().is_some_and(|pins| {
                                pins.count() == colours.conductors() && pins.carries(&colours)
                            })
                    }),
                );
            }
            for end in [&tape.roll_start, &tape.roll_end].into_iter().flatten() {
                has(
                    "lead that plugs into its roll's end",
                    of_kind!(Lead, Lead)
                        .iter()
                        .any(|lead| lead.connector.mates(end)),
                );
            }
            has(
                "cable",
                of_kind!(Cable, Cable)
                    .iter()
                    .any(|cable| usize::from(cable.conductors) == colours.conductors()),
            );
            has(
                "profile",
                of_kind!(Profile, Profile)
                    .iter()
                    .any(|profile| profile.inner_width_um >= tape.width_um),
            );
            has(
                "driver",
                of_kind!(Driver, Driver).iter().any(|driver| {
                    usize::from(driver.channels_per_output) >= colours.count()
                        && driver.common == tape.common
                        && (driver.voltage_min_mv..=driver.voltage_max_mv)
                            .contains(&tape.voltage_mv)
                        && driver
                            .terminals
                            .as_ref()
                            .is_some_and(|t| t.carries(&colours))
                }),
            );
            has(
                "supply",
                of_kind!(Supply, Supply)
                    .iter()
                    .any(|supply| supply.voltage_mv == tape.voltage_mv),
            );
            // As many LEDs in series as one cut unit of each colour holds.
            let (Some(per_m), Some(series)) = (tape.leds_per_m, tape.leds_in_series) else {
                panic!("{key} does not say its LEDs");
            };
            // Colours in one package share its place; whites of a two-white tape stand side by side.
            let rows: u64 = if colours.list().len() == 2 { 2 } else { 1 };
            let unit_um = u64::from(tape.pitch.um());
            let leds_um = u64::from(per_m) * unit_um;
            let groups_um = u64::from(series) * rows * 1_000_000 * u64::from(tape.pitch.units());
            assert_eq!(leds_um, groups_um, "{key}: LEDs in a cut unit");
        }
    }

    #[test]
    fn a_driver_of_as_many_slots_as_channels() {
        for driver in of_kind!(Driver, Driver) {
            let channels = driver.outputs * u16::from(driver.channels_per_output);
            let each = u16::from(driver.bits.unwrap_or(8)) / 8;
            assert_eq!(driver.slots, channels * each);
        }
    }
}
