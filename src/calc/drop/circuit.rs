//! The question checked field by field, and the circuit that it becomes.

use std::collections::BTreeMap;

use super::{
    asked::{DropBar, DropBody, DropCable, DropConductor, DropLoadModel},
    by_channel::ByChannel,
};
use crate::{
    calc::document::{Refused, named, within},
    plan::ladder::{Bar, Cable, Circuit, LoadModel, Mix, Place, Strip},
    units::Strand,
};

/// A length that is this much of a cut unit short still counts as whole.
const WHOLE: f64 = 1e-6;
/// The longest cable or bar, in m.
const MOST_M: f64 = 1_000.0;

/// Refuses what is not above 0, or beyond `most`.
fn above_zero(
    pointer: impl Into<String>,
    value: f64,
    most: f64,
    example: &str,
) -> Result<(), Refused> {
    if value > 0.0 && value <= most {
        return Ok(());
    }
    let detail =
        format!("Send a number above 0 and at most {most}, such as {example}, not {value}.");
    Err(Refused::at(pointer, detail))
}

impl DropBody {
    /// Checks every field, and gives the circuit with what was assumed or rounded, in words.
    pub(super) fn circuit(&self) -> Result<(Circuit, Vec<String>), Refused> {
        above_zero("/nominal_voltage_v", self.nominal_voltage_v, 1_000.0, "24")?;
        above_zero("/supply/voltage_v", self.supply.voltage_v, 1_000.0, "24")?;
        let mut notes = Vec::new();
        let source_ohm = self.supply.source_resistance_ohm.unwrap_or(0.0);
        within(
            || "/supply/source_resistance_ohm".to_owned(),
            source_ohm,
            0.0,
            1_000.0,
        )?;
        if self.supply.source_resistance_ohm.is_none() {
            notes.push("The supply's own resistance is not given: taken as none.".to_owned());
        }
        let feed_ohm = match &self.feed_cable {
            Some(feed) => {
                within(
                    || "/feed_cable/length_m".to_owned(),
                    feed.length_m,
                    0.0,
                    MOST_M,
                )?;
                above_zero(
                    "/feed_cable/resistance_ohm_per_m",
                    feed.resistance_ohm_per_m,
                    100.0,
                    "0.0085",
                )?;
                feed.length_m * feed.resistance_ohm_per_m
            }
            None => 0.0,
        };
        let channels = self.channels()?;
        let places = self.places()?;
        let mut junctions: BTreeMap<&str, usize> = BTreeMap::new();
        for cable in &self.cables {
            for name in [&cable.from, &cable.to] {
                if !places.contains_key(name) {
                    let number = junctions.len();
                    junctions.entry(name).or_insert(number);
                }
            }
        }
        let place = |name: &String| {
            let known = places.get(name).copied();
            known.unwrap_or_else(|| Place::Junction(junctions[name.as_str()]))
        };
        let mut cables = Vec::with_capacity(self.cables.len());
        for (at, cable) in self.cables.iter().enumerate() {
            let ends = (place(&cable.from), place(&cable.to));
            cables.push(self.cable(at, cable, ends, &mut notes)?);
        }
        let mut bars = Vec::with_capacity(self.bars.len());
        for (at, bar) in self.bars.iter().enumerate() {
            bars.push(self.bar(at, bar, &mut notes)?);
        }
        let circuit = Circuit {
            nominal_v: self.nominal_voltage_v,
            model: match self.load_model {
                DropLoadModel::ResistorString => LoadModel::ResistorString,
                DropLoadModel::ConstantCurrent => LoadModel::ConstantCurrent,
            },
            supply_v: self.supply.voltage_v,
            source_ohm,
            feed_ohm,
            channels,
            junctions: junctions.len(),
            cables,
            bars,
        };
        Ok((circuit, notes))
    }

    /// Channels at full.
    pub(super) fn on(&self) -> Result<Mix, Refused> {
        match &self.driver.channels_on {
            None => Ok(Mix::first(self.driver.channels.len())),
            Some(names) => self.mix("/driver/channels_on", names),
        }
    }

    /// A channel's place among the driver's.
    fn channel(&self, name: &str) -> Option<usize> {
        self.driver.channels.iter().position(|known| known == name)
    }

    /// A list of names of the driver's channels.
    fn mix(&self, pointer: &str, names: &[String]) -> Result<Mix, Refused> {
        let mut mix = Mix::NONE;
        for (at, name) in names.iter().enumerate() {
            let Some(channel) = self.channel(name) else {
                return Err(self.lacks(format!("{pointer}/{at}"), name));
            };
            mix = mix.with(channel);
        }
        if mix == Mix::NONE {
            let known = self.driver.channels.join(", ");
            let detail = format!("Name at least one channel of the driver: {known}.");
            return Err(Refused::at(pointer, detail));
        }
        Ok(mix)
    }

    fn lacks(&self, pointer: String, name: &str) -> Refused {
        let known = self.driver.channels.join(", ");
        let detail = format!("The driver has no channel “{name}”. Send one of its own: {known}.");
        Refused::at(pointer, detail)
    }

    /// The driver's channels with their on-resistance.
    fn channels(&self) -> Result<Vec<(String, f64)>, Refused> {
        let names = &self.driver.channels;
        if !(1..=8).contains(&names.len()) {
            let detail = format!("Name 1 to 8 channels; these are {}.", names.len());
            return Err(Refused::at("/driver/channels", detail));
        }
        let on = &self.driver.on_resistance_ohm_per_channel;
        let attribute = "/driver/on_resistance_ohm_per_channel";
        if let Some(name) = on.names().find(|name| self.channel(name).is_none()) {
            return Err(self.lacks(on.pointer(attribute, name), name));
        }
        let mut channels = Vec::with_capacity(names.len());
        for (at, name) in names.iter().enumerate() {
            let pointer = format!("/driver/channels/{at}");
            named(|| pointer.clone(), name)?;
            if names[..at].contains(name) {
                let detail = format!("“{name}” is there before: name each channel once.");
                return Err(Refused::at(pointer, detail));
            }
            let Some(ohm) = on.of(name) else {
                let detail = format!("Send the on-resistance of {name}, 0 if there is none.");
                return Err(Refused::at(attribute, detail));
            };
            within(|| on.pointer(attribute, name), ohm, 0.0, 1_000.0)?;
            channels.push((name.clone(), ohm));
        }
        Ok(channels)
    }

    /// The places that have names of their own.
    fn places(&self) -> Result<BTreeMap<String, Place>, Refused> {
        let mut places = BTreeMap::from([("driver_output".to_owned(), Place::Driver)]);
        for (list, length) in [("/cables", self.cables.len()), ("/bars", self.bars.len())] {
            if !(1..=500).contains(&length) {
                let detail = format!("Send 1 to 500 of them; these are {length}.");
                return Err(Refused::at(list, detail));
            }
        }
        for (at, bar) in self.bars.iter().enumerate() {
            let pointer = format!("/bars/{at}/name");
            named(|| pointer.clone(), &bar.name)?;
            for (end, place) in [("start", Place::Start(at)), ("end", Place::End(at))] {
                let name = format!("{}_{end}", bar.name);
                if places.insert(name, place).is_some() {
                    let detail = format!("“{}” is there before: name each bar once.", bar.name);
                    return Err(Refused::at(pointer, detail));
                }
            }
        }
        Ok(places)
    }

    fn cable(
        &self,
        at: usize,
        cable: &DropCable,
        ends: (Place, Place),
        notes: &mut Vec<String>,
    ) -> Result<Cable, Refused> {
        let pointer = |field: &str| format!("/cables/{at}/{field}");
        named(|| pointer("name"), &cable.name)?;
        for (field, name) in [("from", &cable.from), ("to", &cable.to)] {
            if name.trim().is_empty() {
                let detail = "Name the place: driver_output, a bar's name with _start or _end, or \
                              a junction.";
                return Err(Refused::at(pointer(field), detail));
            }
        }
        within(|| pointer("length_m"), cable.length_m, 0.0, MOST_M)?;
        let contact = cable.contact_resistance_ohm_per_contact;
        within(
            || pointer("contact_resistance_ohm_per_contact"),
            contact,
            0.0,
            1_000.0,
        )?;
        let contacts = cable.contacts_in_series_per_conductor;
        within(
            || pointer("contacts_in_series_per_conductor"),
            contacts.into(),
            0.0,
            1_000.0,
        )?;
        let mut ohm = |field: &str, conductor: &DropConductor| -> Result<f64, Refused> {
            let (ohm_per_m, parallel) = conductor.resistance(&pointer(field))?;
            if conductor.size.is_some() && conductor.strand.is_none() {
                notes.push(format!(
                    "{}: strand is not given, so {field} is taken as solid (class 1 and 2).",
                    cable.name
                ));
            }
            Ok((ohm_per_m * cable.length_m + f64::from(contacts) * contact) / parallel)
        };
        Ok(Cable {
            name: cable.name.clone(),
            from: ends.0,
            to: ends.1,
            channel_ohm: ohm("channel_conductor", &cable.channel_conductor)?,
            common_ohm: ohm("common_conductor", &cable.common_conductor)?,
            channels: match &cable.channels {
                Some(names) => self.mix(&pointer("channels"), names)?,
                None => Mix::first(self.driver.channels.len()),
            },
        })
    }

    fn bar(&self, at: usize, bar: &DropBar, notes: &mut Vec<String>) -> Result<Bar, Refused> {
        let pointer = |field: &str| format!("/bars/{at}/{field}");
        above_zero(pointer("length_m"), bar.length_m, MOST_M, "2.5")?;
        above_zero(pointer("cut_pitch_m"), bar.cut_pitch_m, 10.0, "0.05")?;
        above_zero(
            pointer("trace_resistance_common_ohm_per_m"),
            bar.trace_resistance_common_ohm_per_m,
            100.0,
            "0.1",
        )?;
        let units = (bar.length_m / bar.cut_pitch_m + WHOLE).floor();
        if units < 1.0 || units > f64::from(1_000_000) {
            let detail = format!(
                "Send a length of 1 to 1000000 cut units of {} m.",
                bar.cut_pitch_m
            );
            return Err(Refused::at(pointer("length_m"), detail));
        }
        let rest = bar.length_m - units * bar.cut_pitch_m;
        if rest > WHOLE * bar.cut_pitch_m {
            notes.push(format!(
                "{}: {} m is {units} whole cut units and {:.1} mm more, which are left out.",
                bar.name,
                bar.length_m,
                rest * 1000.0
            ));
        }
        self.mix(&pointer("channels"), &bar.channels)?;
        for (place, name) in bar.channels.iter().enumerate() {
            if bar.channels[..place].contains(name) {
                let detail = format!("“{name}” is there before: name each colour once.");
                return Err(Refused::at(
                    format!("{}/{place}", pointer("channels")),
                    detail,
                ));
            }
        }
        let mut strips: Vec<Strip> = Vec::with_capacity(bar.channels.len());
        for name in &bar.channels {
            let Some(channel) = self.channel(name) else {
                continue;
            };
            strips.push(Strip {
                channel,
                watts_per_m: of(
                    bar,
                    &pointer("power_w_per_m"),
                    &bar.power_w_per_m,
                    name,
                    (10_000.0, "4.8"),
                )?,
                trace_ohm_per_m: of(
                    bar,
                    &pointer("trace_resistance_ohm_per_m"),
                    &bar.trace_resistance_ohm_per_m,
                    name,
                    (100.0, "0.2"),
                )?,
                string_v: self.string_v(at, bar, name)?,
            });
        }
        Ok(Bar {
            name: bar.name.clone(),
            #[expect(
                clippy::cast_possible_truncation,
                clippy::cast_sign_loss,
                reason = "a whole number from 1 to 1000000"
            )]
            units: units as usize,
            pitch_m: bar.cut_pitch_m,
            common_ohm_per_m: bar.trace_resistance_common_ohm_per_m,
            strips,
        })
    }

    /// The forward voltage of a colour's LEDs in series.
    fn string_v(&self, at: usize, bar: &DropBar, name: &str) -> Result<Option<f64>, Refused> {
        let (series, forward) = (
            format!("/bars/{at}/leds_in_series"),
            format!("/bars/{at}/led_forward_voltage_v"),
        );
        let unknown = |pointer: &str, example: &str| {
            let detail = format!("Send it, such as {example}: LEDs with a resistor need it.");
            Err(Refused::at(pointer, detail))
        };
        let (count, volts) = match (&bar.leds_in_series, &bar.led_forward_voltage_v) {
            (Some(count), Some(volts)) => (count, volts),
            _ if self.load_model == DropLoadModel::ConstantCurrent => return Ok(None),
            (None, _) => return unknown(&series, "6"),
            (_, None) => return unknown(&forward, "{\"red\": 2.0}"),
        };
        let least = of(bar, &series, count, name, (100.0, "6"))?;
        if least.fract() != 0.0 {
            let detail = format!("Send a whole number of LEDs, not {least}.");
            return Err(Refused::at(count.pointer(&series, name), detail));
        }
        let each = of(bar, &forward, volts, name, (100.0, "3.1"))?;
        let string_v = least * each;
        if string_v >= self.nominal_voltage_v {
            let detail = format!(
                "{least} LEDs of {name} at {each} V need {string_v:.2} V, which leaves nothing of \
                 the nominal {} V for their resistor: send fewer, or a lower forward voltage.",
                self.nominal_voltage_v
            );
            return Err(Refused::at(count.pointer(&series, name), detail));
        }
        Ok(Some(string_v))
    }
}

/// The number of a colour above 0; names that the bar lacks are refused.
fn of(
    bar: &DropBar,
    attribute: &str,
    numbers: &ByChannel,
    name: &str,
    (most, example): (f64, &str),
) -> Result<f64, Refused> {
    if let Some(other) = numbers
        .names()
        .find(|other| !bar.channels.iter().any(|known| known == other))
    {
        let detail = format!("“{other}” is not among the channels of {}.", bar.name);
        return Err(Refused::at(numbers.pointer(attribute, other), detail));
    }
    let Some(value) = numbers.of(name) else {
        let detail = format!("Send the number of {name} too, such as {example}.");
        return Err(Refused::at(attribute, detail));
    };
    above_zero(numbers.pointer(attribute, name), value, most, example)?;
    Ok(value)
}

impl DropConductor {
    /// Resistance of one conductor in Ω/m, and how many lie side by side.
    fn resistance(&self, pointer: &str) -> Result<(f64, f64), Refused> {
        let parallel = self.conductors_in_parallel.unwrap_or(1);
        within(
            || format!("{pointer}/conductors_in_parallel"),
            parallel.into(),
            1.0,
            100.0,
        )?;
        let ohm_per_m = match (self.resistance_ohm_per_m, self.size) {
            (Some(ohm), None) => {
                above_zero(
                    format!("{pointer}/resistance_ohm_per_m"),
                    ohm,
                    100.0,
                    "0.0342",
                )?;
                ohm
            }
            (None, Some(size)) => {
                let Some(celsius) = self.temperature_c else {
                    let detail = "Send the conductor's temperature beside its size, such as 20.";
                    return Err(Refused::at(format!("{pointer}/temperature_c"), detail));
                };
                let strand = self.strand.unwrap_or(Strand::Solid);
                let found = size.resistance(strand, celsius).map_err(|why| {
                    let field = if (-40.0..=150.0).contains(&celsius) {
                        "size"
                    } else {
                        "temperature_c"
                    };
                    Refused::at(format!("{pointer}/{field}"), why.to_string())
                })?;
                found.ohms_per_m()
            }
            (Some(_), Some(_)) => {
                let detail = "Send resistance_ohm_per_m or size, not both: they may disagree.";
                return Err(Refused::at(format!("{pointer}/size"), detail));
            }
            (None, None) => {
                let detail = "Send resistance_ohm_per_m, or size and temperature_c.";
                return Err(Refused::at(
                    format!("{pointer}/resistance_ohm_per_m"),
                    detail,
                ));
            }
        };
        Ok((ohm_per_m, f64::from(parallel)))
    }
}
