//! Checks an answer of the cut calculator from its document alone: it knows nothing of the planner,
//! and reads nothing but the question and the answer.

use std::collections::BTreeMap;

use serde_json::Value;

fn number(value: &Value) -> i64 {
    value.as_i64().unwrap_or(0)
}

fn list(value: &Value) -> &[Value] {
    value.as_array().map_or(&[], Vec::as_slice)
}

fn text(value: &Value) -> &str {
    value.as_str().unwrap_or("")
}

/// What the segments add up to.
#[derive(Default)]
struct Sums {
    money: i64,
    solder: i64,
    scrap: i64,
    offcuts: i64,
    squared: i64,
    made: BTreeMap<String, i64>,
    used: BTreeMap<(bool, String), i64>,
}

/// A piece or roll of the question.
struct Source<'a> {
    asked: &'a Value,
    of: &'a Value,
}

impl Source<'_> {
    fn units(&self) -> i64 {
        number(&self.of["units"])
    }

    /// What a cut at a unit counts, and whether that is a factory lead.
    fn weight(&self, at: i64) -> (i64, bool) {
        let weights = &self.asked["solder_weights"];
        let lead =
            at == 0 && self.of["start"] == "lead" || at == self.units() && self.of["end"] == "lead";
        let every = number(&self.of["joint_every_units"]);
        let offset = number(&self.of["joint_offset_units"]);
        if lead {
            (number(&weights["lead"]), true)
        } else if every > 0 && (at - offset) % every == 0 {
            (number(&weights["joint"]), false)
        } else {
            (number(&weights["mark"]), false)
        }
    }

    /// Adds a layout's segments up, and says what is wrong with them.
    fn walk(&self, layout: &Value, sums: &mut Sums, found: &mut Vec<String>) {
        let asked = self.asked;
        let (kerf, trim) = (
            number(&asked["kerf_units"]),
            number(&asked["end_trim_units"]),
        );
        let usable = number(&asked["usable_offcut_units"]);
        let count = number(&layout["count"]);
        let mut wrong = |why: String| found.push(format!("{}: {why}", text(&layout["from"])));
        let (mut at, mut after_rest, mut bars) = (trim, false, 0);
        for (index, segment) in list(&layout["segments"]).iter().enumerate() {
            let (from, to) = (number(&segment["from_unit"]), number(&segment["to_unit"]));
            let (gap, length) = (from - at, to - from);
            // Between two stretches lies one saw cut, or two where what was between them is dust.
            let tiled = if index == 0 {
                (0..=kerf).contains(&gap)
            } else {
                (kerf..=2 * kerf).contains(&gap)
            };
            if !tiled {
                wrong(format!("a gap of {gap} before {from}"));
            }
            if length <= 0 {
                wrong(format!("nothing at {from}"));
            }
            at = to;
            let Some(name) = segment["bar"].as_str() else {
                let (offcut, scrap) = (segment["offcut"] == true, segment["scrap"] == true);
                if offcut == scrap || offcut != (length >= usable) {
                    wrong(format!("a rest of {length} has the wrong name"));
                }
                if after_rest {
                    wrong(format!("two rests beside each other at {from}"));
                }
                if offcut {
                    sums.offcuts += count;
                    sums.squared += count * length * length;
                } else {
                    sums.scrap += count * length;
                }
                after_rest = true;
                continue;
            };
            if segment["offcut"] == true || segment["scrap"] == true {
                wrong(format!("{name} is a rest too"));
            }
            after_rest = false;
            bars += 1;
            *sums.made.entry(name.to_owned()).or_default() += count;
            let Some(bar) = list(&asked["bars"]).iter().find(|bar| bar["name"] == name) else {
                wrong(format!("nobody asked for {name}"));
                continue;
            };
            if length != number(&bar["units"]) {
                wrong(format!("{name} is {length} long"));
            }
            let ends = [self.weight(from), self.weight(to)];
            let soldered = ["start", "end"].map(|end| {
                list(&segment["solder"])
                    .iter()
                    .filter(|said| *said == end)
                    .count()
            });
            let mut solder = 0;
            for ((weight, lead), times) in ends.iter().zip(soldered) {
                if times > 1 || times == 1 && *lead {
                    wrong(format!("{name} is soldered at a lead, or twice"));
                }
                solder += if times == 1 { *weight } else { 0 };
            }
            let known = soldered.iter().sum::<usize>();
            if known != list(&segment["solder"]).len() {
                wrong(format!("{name} is soldered at no end"));
            }
            // Feeds that are not soldered come from leads that are there.
            let fed: usize = if bar["fed"] == "both_ends" { 2 } else { 1 };
            let leads = ends.iter().filter(|(_, lead)| *lead).count();
            let Some(from_leads) = fed.checked_sub(known).filter(|&many| many <= leads) else {
                wrong(format!("{name} is fed wrongly"));
                continue;
            };
            let lead = number(&asked["solder_weights"]["lead"]);
            solder += lead * i64::try_from(from_leads).expect("two at most");
            sums.solder += count * solder;
        }
        if !(0..=kerf).contains(&(self.units() - trim - at)) {
            wrong(format!("it ends at {at}"));
        }
        if bars == 0 || count <= 0 {
            wrong("it is cut for nothing".to_owned());
        }
    }
}

/// What is wrong with an answer: a list of sentences, empty where nothing is.
pub fn flaws(asked: &Value, said: &Value) -> Vec<String> {
    let mut found = Vec::new();
    let mut sums = Sums::default();
    for layout in list(&said["layouts"]) {
        let (bought, from) = (layout["bought"] == true, text(&layout["from"]));
        let place = if bought { "rolls" } else { "pieces" };
        let Some(of) = list(&asked[place]).iter().find(|of| of["name"] == from) else {
            found.push(format!("there is no {from}"));
            continue;
        };
        let count = number(&layout["count"]);
        *sums.used.entry((bought, from.to_owned())).or_default() += count;
        if bought {
            sums.money += count * number(&of["price_minor"]);
        }
        Source { asked, of }.walk(layout, &mut sums, &mut found);
    }
    let used = |bought: bool, of: &Value| {
        let key = (bought, text(&of["name"]).to_owned());
        sums.used.get(&key).copied().unwrap_or(0)
    };
    for piece in list(&asked["pieces"]) {
        match used(false, piece) {
            0 => sums.squared += number(&piece["units"]).pow(2),
            1 => {}
            many => found.push(format!("{} is cut {many} times", piece["name"])),
        }
    }
    for roll in list(&asked["rolls"]) {
        let many = used(true, roll);
        if roll["quantity"].as_i64().is_some_and(|most| many > most) {
            found.push(format!("{many} of {}", roll["name"]));
        }
        let mut said_bought = list(&said["bought"]).iter();
        let bought = said_bought.find(|bought| bought["roll"] == roll["name"]);
        if many != bought.map_or(0, |bought| number(&bought["count"])) {
            found.push(format!("{many} of {} are cut, not as bought", roll["name"]));
        }
    }
    for bar in list(&asked["bars"]) {
        let name = text(&bar["name"]);
        let short = list(&said["short"])
            .iter()
            .filter(|short| short["bar"] == name);
        let short: i64 = short.map(|short| number(&short["quantity"])).sum();
        let made = sums.made.get(name).copied().unwrap_or(0);
        if made + short != number(&bar["quantity"]) {
            found.push(format!("{made} of {name} are made and {short} short"));
        }
    }
    for (field, value, sum) in [
        ("purchase_minor", &said["purchase_minor"], sums.money),
        ("solder_work", &said["solder_work"], sums.solder),
        ("scrap_units", &said["rest"]["scrap_units"], sums.scrap),
        ("offcuts", &said["rest"]["offcuts"], sums.offcuts),
        ("squared", &said["rest"]["squared"], sums.squared),
    ] {
        if number(value) != sum {
            found.push(format!("{field} is {value}, and the segments give {sum}"));
        }
    }
    found
}
