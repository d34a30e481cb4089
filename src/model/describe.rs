//! Parts and fixtures in words, for search: everything that somebody might type to find them.

use super::{
    connector::Connector,
    fixture::Make,
    part::{Part, PartSpec},
};
use crate::units::{Length, LengthUnit};

/// Words gathered, in lower case, each phrase once.
#[derive(Default)]
struct Words(Vec<String>);

impl Words {
    fn add(&mut self, phrase: impl std::fmt::Display) {
        let phrase = phrase.to_string().trim().to_lowercase();
        if !phrase.is_empty() && !self.0.contains(&phrase) {
            self.0.push(phrase);
        }
    }

    /// `24 V`, and `24v` as people type it.
    fn figure(&mut self, shown: &str) {
        self.add(shown);
        self.add(shown.replace(' ', ""));
    }

    fn length(&mut self, length: Length) {
        for unit in [LengthUnit::Mm, LengthUnit::M, LengthUnit::Ft] {
            self.figure(&length.show(unit));
        }
    }

    fn width(&mut self, length: Length) {
        self.figure(&length.show(LengthUnit::Mm));
    }

    fn connector(&mut self, connector: &Connector) {
        self.add(&connector.family);
        self.add(connector.gender);
        if let Some(pins) = &connector.pins {
            self.add(pins);
        }
    }

    fn join(self) -> String {
        self.0.join(" ")
    }
}

/// A part's name, code, kind, attributes and note in lower case.
pub fn part_words(part: &Part) -> String {
    let mut words = Words::default();
    words.add(&part.name);
    words.add(&part.code);
    words.add(part.spec.kind());
    match &part.spec {
        PartSpec::Tape(tape) => {
            words.figure(&tape.voltage_mv.show());
            words.width(tape.width_um);
            if let Some(colours) = tape.colours() {
                words.add(&colours);
            }
            for channel in &tape.channels {
                words.add(channel.channel);
                if let Some(kelvin) = channel.kelvin {
                    words.figure(&format!("{kelvin} K"));
                }
            }
            if let Some(coating) = tape.coating {
                words.add(coating);
            }
            if let Some(common) = tape.common {
                words.add(common);
            }
            if let Some(leds) = tape.leds_per_m {
                words.add(format!("{leds} LEDs/m"));
            }
            if let Some(power) = tape.power_per_m() {
                words.figure(&power.show());
            }
            tape.rolls_um
                .iter()
                .for_each(|length| words.length(*length));
            for end in [&tape.roll_start, &tape.roll_end].into_iter().flatten() {
                words.connector(end);
            }
        }
        PartSpec::Profile(profile) => {
            words.add(profile.diffuser);
            words.width(profile.inner_width_um);
            profile
                .bars_um
                .iter()
                .for_each(|length| words.length(*length));
        }
        PartSpec::Lead(lead) => {
            words.connector(&lead.connector);
            if let Some(tail) = lead.tail_um {
                words.length(tail);
            }
            if let Some(size) = lead.conductor {
                words.figure(&size.to_string());
            }
        }
        PartSpec::Coupler(coupler) => {
            words.connector(&coupler.a);
            words.connector(&coupler.b);
        }
        PartSpec::Block(block) => {
            words.add(format!("{} ways", block.ways));
            words.add(format!("{}-way", block.ways));
        }
        PartSpec::Cable(cable) => {
            words.add(format!("{} conductors", cable.conductors));
            words.add(format!("{}-conductor", cable.conductors));
            if let Some(size) = cable.conductor {
                words.figure(&size.to_string());
            }
            if let Some(strand) = cable.strand {
                words.add(strand);
            }
            cable.colours.iter().for_each(|colour| words.add(colour));
            cable
                .reels_um
                .iter()
                .for_each(|length| words.length(*length));
        }
        PartSpec::Driver(driver) => {
            words.add(format!(
                "{} outputs {}x{} dmx",
                driver.outputs, driver.outputs, driver.channels_per_output
            ));
            words.figure(&driver.voltage_min_mv.show());
            words.figure(&driver.voltage_max_mv.show());
            words.add(format!("{} slots", driver.slots));
            words.add(driver.address_by);
            if let Some(connector) = &driver.data_connector {
                words.add(connector);
            }
        }
        PartSpec::Supply(supply) => {
            words.figure(&supply.voltage_mv.show());
            words.figure(&supply.rated_ma.show());
            words.figure(&crate::units::Power::of(supply.voltage_mv, supply.rated_ma).show());
        }
        PartSpec::Data(data) => {
            words.add(data.used_as);
            words.add("dmx");
            if let Some(length) = data.length_um {
                words.length(length);
            }
            if let Some(connector) = &data.connector {
                words.add(connector);
            }
        }
        PartSpec::Sundry(sundry) => {
            if let Some(rate) = sundry.use_rate {
                words.add(format!("per {}", rate.per));
            }
            if let Some(fuse) = sundry.fuse {
                words.figure(&fuse.rating_ma.show());
                words.add(format!("{} fuse", fuse.family));
            }
        }
    }
    words.add(part.note.as_str().replace('\n', " "));
    words.join()
}

/// A fixture in short, as lists name it: `RGBW 24 V, diffused`.
pub fn fixture_name(make: &Make) -> String {
    format!(
        "{} {}, {}",
        make.channels,
        make.voltage_mv.show(),
        if make.diffused { "diffused" } else { "bare" }
    )
}

/// A fixture's words for search, in lower case.
pub fn fixture_words(make: &Make, batch: &str) -> String {
    let mut words = Words::default();
    words.add("fixture bar");
    words.add(&make.channels);
    for channel in make.channels.list() {
        words.add(channel);
    }
    words.figure(&make.voltage_mv.show());
    words.length(make.lit_um);
    words.add(if make.diffused { "diffused" } else { "bare" });
    words.add(format!("fed {}", make.fed));
    if let Some(connector) = &make.connector {
        words.connector(connector);
    }
    words.add(batch);
    words.join()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::{
        fixture::Fed,
        id::PartId,
        text::{Name, Note},
    };
    use crate::units::Voltage;

    #[test]
    fn a_part_is_found_by_its_figures_as_people_type_them() {
        let spec: PartSpec = serde_json::from_value(serde_json::json!({
            "kind": "tape", "voltage_mv": 24_000, "width_um": 10_000,
            "channels": [{"channel": "red"}, {"channel": "green"}, {"channel": "blue"}, {"channel": "white", "kelvin": 3000}],
            "pitch": {"units": 1, "um": 50_000}, "rolls_um": [5_000_000],
        }))
        .unwrap();
        let part = Part {
            id: PartId(1),
            name: Name::parse("Stage tape").unwrap(),
            code: "ST-1".into(),
            spec,
            typical: true,
            note: Note::default(),
            retired: false,
            version: 1,
        };
        let words = part_words(&part);
        for typed in [
            "stage", "st-1", "tape", "rgbw", "24v", "10 mm", "3000k", "5 m",
        ] {
            assert!(words.contains(typed), "{typed} is not in {words}");
        }
        assert!(!words.contains("12 v"));
    }

    #[test]
    fn a_fixture_is_found_by_colour_and_length() {
        let make = Make {
            tape: None,
            profile: None,
            channels: "RGB".parse().unwrap(),
            voltage_mv: Voltage::new(12_000).unwrap(),
            lit_um: Length::mm(2400),
            diffused: false,
            fed: Fed::OneEnd,
            connector: None,
        };
        assert_eq!(fixture_name(&make), "RGB 12 V, bare");
        let words = fixture_words(&make, "B7");
        for typed in ["rgb", "2400 mm", "2.4m", "bare", "b7", "one end"] {
            assert!(words.contains(typed), "{typed} is not in {words}");
        }
    }
}
