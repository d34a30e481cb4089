//! The same document as an ngspice netlist, written without the solver's code.

use std::{
    collections::BTreeMap,
    fmt::Write as _,
    io::Write as _,
    process::{Command, Stdio},
};

use serde_json::Value;

/// What ngspice found: voltages of nodes and currents of sources, by name.
pub struct Solved(BTreeMap<String, f64>);

/// A circuit for ngspice, with the names of its parts.
pub struct Netlist {
    text: String,
    parts: u32,
    nodes: BTreeMap<(String, String), String>,
    /// By cable and conductor: the two nodes and the resistance, or the source that measures.
    pub cables: BTreeMap<(String, String), Wire>,
}

/// A conductor of a cable.
pub enum Wire {
    /// Between two nodes.
    Ohms(String, String, f64),
    /// A source of 0 V, for a wire without resistance: ngspice makes 1 mΩ of 0 Ω.
    Source(String),
}

fn number(value: &Value) -> f64 {
    value
        .as_f64()
        .unwrap_or_else(|| panic!("{value} is a number"))
}

fn names(value: &Value) -> Vec<&str> {
    let list = value.as_array().expect("a list").iter();
    list.map(|name| name.as_str().expect("a name")).collect()
}

/// Ω/m of one conductor, from the tables themselves: ASTM B258 with 100 % IACS (IEC 60028), or
/// IEC 60228 class 1 and 2, class 5; 0.00393 /K.
fn ohm_per_m(conductor: &Value) -> f64 {
    if let Some(ohm) = conductor["resistance_ohm_per_m"].as_f64() {
        return ohm;
    }
    let size = conductor["size"].as_str().expect("a size");
    let stranded = conductor["strand"] == "stranded";
    let cold = if let Some(gauge) = size.strip_suffix(" AWG") {
        let gauge: f64 = gauge.parse().expect("a gauge");
        let diameter = 0.127 * 92_f64.powf((36.0 - gauge) / 39.0);
        let solid = 0.017_241 / (std::f64::consts::PI * diameter * diameter / 4.0);
        if stranded { solid * 1.02 } else { solid }
    } else {
        let (solid, class_5) = match size {
            "0.5 mm²" => (0.036, 0.039),
            "0.75 mm²" => (0.0245, 0.026),
            "1 mm²" => (0.0181, 0.0195),
            "1.5 mm²" => (0.0121, 0.0133),
            other => panic!("{other} is not in this table"),
        };
        if stranded { class_5 } else { solid }
    };
    cold * (1.0 + 0.003_93 * (number(&conductor["temperature_c"]) - 20.0))
}

impl Netlist {
    pub fn new(document: &Value) -> Self {
        let mut list = Self {
            text: "circuit\n".to_owned(),
            parts: 0,
            nodes: BTreeMap::new(),
            cables: BTreeMap::new(),
        };
        let supply = &document["supply"];
        let _ = writeln!(
            list.text,
            "Vsupply supply 0 {:e}",
            number(&supply["voltage_v"])
        );
        list.resistor("supply", "inlet", number(&supply["source_resistance_ohm"]));
        let feed = match &document["feed_cable"] {
            Value::Null => 0.0,
            feed => number(&feed["length_m"]) * number(&feed["resistance_ohm_per_m"]),
        };
        let out = list.node("driver_output", "common");
        list.resistor("inlet", &out, feed);
        list.resistor("return", "0", feed);
        let driver = &document["driver"];
        let on = names(&driver["channels_on"]);
        for name in &on {
            let out = list.node("driver_output", name);
            let ohm = number(&driver["on_resistance_ohm_per_channel"][name]);
            list.resistor(&out, "return", ohm);
        }
        for cable in document["cables"].as_array().expect("cables") {
            list.cable(cable, &on);
        }
        for bar in document["bars"].as_array().expect("bars") {
            list.bar(document, bar, &on);
        }
        list
    }

    /// The name of a node; ngspice wants plain letters.
    pub fn node(&mut self, place: &str, conductor: &str) -> String {
        let next = format!("n{}", self.nodes.len());
        let key = (place.to_owned(), conductor.to_owned());
        self.nodes.entry(key).or_insert(next).clone()
    }

    fn resistor(&mut self, from: &str, to: &str, ohm: f64) -> Option<String> {
        self.parts += 1;
        let part = self.parts;
        if ohm == 0.0 {
            let _ = writeln!(self.text, "Vzero{part} {from} {to} 0");
            Some(format!("vzero{part}#branch"))
        } else {
            let _ = writeln!(self.text, "R{part} {from} {to} {ohm:e}");
            None
        }
    }

    fn cable(&mut self, cable: &Value, on: &[&str]) {
        let place = |end: &str| cable[end].as_str().expect("a place").to_owned();
        let (from, to) = (place("from"), place("to"));
        let carried = match &cable["channels"] {
            Value::Null => on.to_vec(),
            channels => names(channels),
        };
        let conductors = on.iter().filter(|name| carried.contains(name));
        for (name, conductor) in conductors
            .map(|name| (*name, &cable["channel_conductor"]))
            .chain([("common", &cable["common_conductor"])])
        {
            let contacts = number(&cable["contact_resistance_ohm_per_contact"])
                * number(&cable["contacts_in_series_per_conductor"]);
            let one = ohm_per_m(conductor) * number(&cable["length_m"]) + contacts;
            let ohm = one / conductor["conductors_in_parallel"].as_f64().unwrap_or(1.0);
            let (a, b) = (self.node(&from, name), self.node(&to, name));
            let wire = match self.resistor(&a, &b, ohm) {
                Some(source) => Wire::Source(source),
                None => Wire::Ohms(a, b, ohm),
            };
            let key = (place("name"), name.to_owned());
            self.cables.insert(key, wire);
        }
    }

    fn bar(&mut self, document: &Value, bar: &Value, on: &[&str]) {
        let name = bar["name"].as_str().expect("a name");
        let pitch = number(&bar["cut_pitch_m"]);
        let nominal = number(&document["nominal_voltage_v"]);
        let lit: Vec<&str> = names(&bar["channels"])
            .into_iter()
            .filter(|name| on.contains(name))
            .collect();
        for unit in 1..=units(bar) {
            for conductor in lit.iter().copied().chain(["common"]) {
                let ohm_per_m = match conductor {
                    "common" => number(&bar["trace_resistance_common_ohm_per_m"]),
                    name => number(&bar["trace_resistance_ohm_per_m"][name]),
                };
                let before = match unit {
                    1 => self.node(&format!("{name}_start"), conductor),
                    _ => self.node(&format!("{name} after {}", unit - 1), conductor),
                };
                let middle = self.node(&format!("{name} at {unit}"), conductor);
                let after = if unit == units(bar) {
                    self.node(&format!("{name}_end"), conductor)
                } else {
                    self.node(&format!("{name} after {unit}"), conductor)
                };
                self.resistor(&before, &middle, ohm_per_m * pitch / 2.0);
                self.resistor(&middle, &after, ohm_per_m * pitch / 2.0);
            }
            let common = self.node(&format!("{name} at {unit}"), "common");
            for channel in &lit {
                let node = self.node(&format!("{name} at {unit}"), channel);
                let amps = number(&bar["power_w_per_m"][channel]) * pitch / nominal;
                self.parts += 1;
                let part = self.parts;
                let _ = if document["load_model"] == "constant_current" {
                    writeln!(self.text, "I{part} {common} {node} {amps:e}")
                } else {
                    let knee = number(&bar["leds_in_series"])
                        * number(&bar["led_forward_voltage_v"][channel]);
                    let ohm = (nominal - knee) / amps;
                    writeln!(
                        self.text,
                        "B{part} {common} {node} I=max(0,(v({common},{node})-{knee:e})/{ohm:e})"
                    )
                };
            }
        }
    }

    /// Runs ngspice on it.
    pub fn solve(&self) -> Solved {
        let input = format!(
            "{}.options reltol=1e-9 abstol=1e-13 vntol=1e-10 itl1=2000 rshunt=1e13\n\
             .control\nset numdgt=14\nop\nprint all\nquit\n.endc\n.end\n",
            self.text
        );
        let mut child = Command::new("ngspice")
            .arg("-b")
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .expect("ngspice runs (Debian package ngspice, see tests/run)");
        let mut stdin = child.stdin.take().expect("its input");
        stdin.write_all(input.as_bytes()).expect("it is read");
        drop(stdin);
        let output = child.wait_with_output().expect("its output");
        let text = String::from_utf8_lossy(&output.stdout).into_owned();
        let values: BTreeMap<String, f64> = text
            .lines()
            .filter_map(|line| {
                let (name, value) = line.split_once(" = ")?;
                Some((name.trim().to_owned(), value.trim().parse().ok()?))
            })
            .collect();
        assert!(values.contains_key("vsupply#branch"), "{text}");
        Solved(values)
    }

    /// Volts between the common and a channel at a place.
    pub fn volts(&mut self, solved: &Solved, place: &str, channel: &str) -> f64 {
        let (a, b) = (self.node(place, "common"), self.node(place, channel));
        solved.at(&a) - solved.at(&b)
    }
}

impl Solved {
    pub fn at(&self, name: &str) -> f64 {
        *self
            .0
            .get(name)
            .unwrap_or_else(|| panic!("{name} is solved"))
    }

    pub fn supply_a(&self) -> f64 {
        -self.at("vsupply#branch")
    }

    /// Current of a conductor, in the direction of the cable.
    pub fn amps(&self, wire: &Wire) -> f64 {
        match wire {
            Wire::Ohms(a, b, ohm) => (self.at(a) - self.at(b)) / ohm,
            Wire::Source(name) => self.at(name),
        }
    }
}

/// Whole cut units of a bar.
pub fn units(bar: &Value) -> u32 {
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "a small whole number"
    )]
    let whole = (number(&bar["length_m"]) / number(&bar["cut_pitch_m"]) + 1e-6).floor() as u32;
    whole
}
