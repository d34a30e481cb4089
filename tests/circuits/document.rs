//! Documents of circuits, as the calculator takes them.

use serde_json::{Map, Value, json};
use tapewright::calc::drop::{self, DropAnswer, DropBody};

/// Answers a document that should be taken.
pub fn answer(document: &Value) -> DropAnswer {
    let body: DropBody = serde_json::from_value(document.clone()).expect("a document");
    drop::answer(&body).unwrap_or_else(|why| panic!("{why}\n{document:#}"))
}

/// The same number for every channel.
pub fn each(channels: &[&str], value: f64) -> Value {
    let map: Map<String, Value> = channels
        .iter()
        .map(|name| ((*name).to_owned(), json!(value)))
        .collect();
    Value::Object(map)
}

/// Conductors of a resistance.
pub fn ohms(ohm_per_m: f64) -> Value {
    json!({"resistance_ohm_per_m": ohm_per_m, "conductors_in_parallel": 1})
}

/// A cable without contacts, its conductors alike.
pub fn cable(name: &str, from: &str, to: &str, length_m: f64, ohm_per_m: f64) -> Value {
    json!({
        "name": name, "from": from, "to": to, "length_m": length_m,
        "channel_conductor": ohms(ohm_per_m), "common_conductor": ohms(ohm_per_m),
        "contact_resistance_ohm_per_contact": 0.0, "contacts_in_series_per_conductor": 0,
    })
}

/// A bar whose colours are alike.
#[derive(Clone, Copy)]
pub struct Tape<'a> {
    pub channels: &'a [&'a str],
    pub units: u32,
    pub pitch_m: f64,
    pub watts_per_m: f64,
    pub channel_ohm_per_m: f64,
    pub common_ohm_per_m: f64,
    pub in_series: u32,
    pub forward_v: f64,
}

impl Tape<'_> {
    pub fn length_m(&self) -> f64 {
        f64::from(self.units) * self.pitch_m
    }

    pub fn bar(&self, name: &str) -> Value {
        json!({
            "name": name, "channels": self.channels,
            "length_m": self.length_m(), "cut_pitch_m": self.pitch_m,
            "power_w_per_m": each(self.channels, self.watts_per_m),
            "trace_resistance_ohm_per_m": each(self.channels, self.channel_ohm_per_m),
            "trace_resistance_common_ohm_per_m": self.common_ohm_per_m,
            "leds_in_series": self.in_series,
            "led_forward_voltage_v": each(self.channels, self.forward_v),
        })
    }
}

/// A whole document: no feed cable, a stiff supply, a driver without resistance, all channels on.
pub fn whole(
    model: &str,
    volts: f64,
    channels: &[&str],
    cables: &[Value],
    bars: &[Value],
) -> Value {
    json!({
        "nominal_voltage_v": volts,
        "load_model": model,
        "supply": {"voltage_v": volts, "source_resistance_ohm": 0.0},
        "feed_cable": null,
        "driver": {
            "channels": channels, "channels_on": channels,
            "on_resistance_ohm_per_channel": each(channels, 0.0),
        },
        "cables": cables,
        "bars": bars,
    })
}
