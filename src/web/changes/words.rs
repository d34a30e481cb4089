//! A row of the change log in people's words: what its columns are called, and their values in the
//! venue's units.

use std::collections::{BTreeMap, HashMap};

use serde_json::Value;
use sqlx::SqliteConnection;

use super::super::show::{day, moment, total};
use crate::{
    db::{
        self, DbError,
        change_log::{Change, Referred},
    },
    model::{id::PartId, part::StockUnit},
    units::{
        Current, Money, Power, PowerPerLength, ResistancePerLength, SignedLength, Voltage,
        parse_date,
    },
    web::cx::Cx,
};

/// Columns that say nothing to people.
const UNSAID: &[&str] = &["id", "position", "words", "version", "check_key"];

/// Columns that hold yes or no.
const FLAGS: &[&str] = &[
    "diffused",
    "retired",
    "typical",
    "prices_include_tax",
    "same_day_turnaround",
];

/// What columns are called where that is not their own name.
const NAMES: &[(&str, &str)] = &[
    ("angle", "turned"),
    ("breaker", "mains breaker"),
    ("build_on", "build day"),
    ("continuous", "lasting load on the breaker"),
    ("currency_digits", "decimals of the currency"),
    ("delivery", "delivery charge"),
    ("diffused", "with cover"),
    ("expected_on", "expected"),
    ("feed", "cable to a driver"),
    ("free_above", "delivery free from"),
    ("get_in", "get-in"),
    ("label_base", "address on labels"),
    ("line_id", "line of the order"),
    ("longer", "may be longer by"),
    ("minimum_packs", "least packs"),
    ("order_slack_days", "days for orders to come"),
    ("ordered_on", "ordered"),
    ("pack_amount", "in a pack"),
    ("parent", "within"),
    ("prices_include_tax", "prices with tax"),
    ("ready_made", "made from"),
    ("retired", "out of use"),
    ("same_day_turnaround", "strike and build on one day"),
    ("shorter", "may be shorter by"),
    ("slots_taken", "slots of other lights"),
    ("spare", "spares"),
    ("stock_by", "kept by"),
    ("strike_on", "strike"),
    ("typical", "typical values"),
    ("usable_offcut", "shortest usable offcut"),
    ("x", "along"),
    ("y", "up"),
    ("zone", "time zone"),
];

/// What the unit at the end of a column's name makes of its value.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Unit {
    Length,
    Voltage,
    Current,
    Power,
    PowerPerLength,
    ResistancePerLength,
    Angle,
    Money,
    Percent,
    Moment,
    Refers(Referred),
    Plain,
}

/// Ends of columns' names; the longer ones first.
const UNITS: &[(&str, Unit)] = &[
    ("_uohm_per_m", Unit::ResistancePerLength),
    ("_mw_per_m", Unit::PowerPerLength),
    ("_percent", Unit::Percent),
    ("_minor", Unit::Money),
    ("_mdeg", Unit::Angle),
    ("_um", Unit::Length),
    ("_mv", Unit::Voltage),
    ("_ma", Unit::Current),
    ("_mw", Unit::Power),
    ("_ms", Unit::Moment),
    ("supplier_id", Unit::Refers(Referred::Supplier)),
    ("purchase_id", Unit::Refers(Referred::Order)),
    ("fixture_id", Unit::Refers(Referred::Thing)),
    ("design_id", Unit::Refers(Referred::Set)),
    ("parent_id", Unit::Refers(Referred::Place)),
    ("frame_id", Unit::Refers(Referred::Frame)),
    ("thing_id", Unit::Refers(Referred::Thing)),
    ("part_id", Unit::Refers(Referred::Part)),
];

/// A column's name in words, and what its values are.
fn read_column(column: &str) -> (String, Unit) {
    if column == "um" {
        return ("length".to_owned(), Unit::Length);
    }
    let found = UNITS.iter().find(|(end, _)| column.ends_with(end));
    let (stem, unit) = match found {
        Some((_, unit @ Unit::Refers(_))) => (column.trim_end_matches("_id"), *unit),
        Some((end, unit)) => (column.trim_end_matches(end), *unit),
        None => (column, Unit::Plain),
    };
    let named = NAMES.iter().find(|(of, _)| *of == stem || *of == column);
    let name = named.map_or_else(
        || match stem {
            "design" => "set".to_owned(),
            "purchase" => "order".to_owned(),
            stem => stem.replace('_', " "),
        },
        |(_, name)| (*name).to_owned(),
    );
    (name, unit)
}

/// What rows are called that the changes of a page refer to.
pub(super) struct Names {
    called: HashMap<(Referred, i64), String>,
    units: HashMap<i64, StockUnit>,
}

impl Names {
    /// Reads them, each once.
    pub async fn of(tx: &mut SqliteConnection, changes: &[Change]) -> Result<Self, DbError> {
        let mut names = Self {
            called: HashMap::new(),
            units: HashMap::new(),
        };
        let mut referred: Vec<(Referred, i64)> = Vec::new();
        for change in changes {
            for row in [&change.before, &change.after].into_iter().flatten() {
                for (column, value) in row.as_object().into_iter().flatten() {
                    if let (Unit::Refers(of), Some(id)) = (read_column(column).1, value.as_i64()) {
                        referred.push((of, id));
                    }
                }
            }
        }
        referred.sort_unstable();
        referred.dedup();
        for (of, id) in referred {
            if of == Referred::Part
                && let Some(part) = db::part::lookup(tx, PartId(id)).await?
            {
                names.units.insert(id, part.unit());
            }
            let name = db::change_log::lookup_name(tx, of, id).await?;
            let name = name.unwrap_or_else(|| format!("one taken away since ({id})"));
            names.called.insert((of, id), name);
        }
        Ok(names)
    }

    /// What a row is called that is among those read.
    pub fn called(&self, of: Referred, id: i64) -> Option<String> {
        self.called.get(&(of, id)).cloned()
    }
}

/// One value as people read it.
fn value_words(cx: &Cx, names: &Names, unit: Unit, column: &str, value: &Value) -> String {
    if let Value::Array(list) = value {
        let words: Vec<String> = list
            .iter()
            .map(|value| value_words(cx, names, unit, column, value))
            .collect();
        return words.join(", ");
    }
    let Some(number) = value.as_i64() else {
        return match value {
            Value::Null => String::new(),
            Value::Bool(yes) => if *yes { "yes" } else { "no" }.to_owned(),
            Value::String(text) => match parse_date(text) {
                Ok(date) => day(date, cx.today),
                Err(_) => text.replace('_', " ").chars().take(300).collect(),
            },
            other => other.to_string().chars().take(300).collect(),
        };
    };
    // What is beyond the range of its unit is shown as it is stored.
    let plain = || number.to_string();
    let or_plain = |shown: Option<String>| shown.unwrap_or_else(plain);
    match unit {
        Unit::Length => or_plain(
            SignedLength::from_um(number)
                .ok()
                .map(|length| length.show(cx.unit())),
        ),
        Unit::Voltage => or_plain(Voltage::new(number).ok().map(Voltage::show)),
        Unit::Current => or_plain(Current::new(number).ok().map(Current::show)),
        Unit::Power => or_plain(Power::new(number).ok().map(Power::show)),
        Unit::PowerPerLength => {
            or_plain(PowerPerLength::new(number).ok().map(PowerPerLength::show))
        }
        Unit::ResistancePerLength => or_plain(
            ResistancePerLength::new(number)
                .ok()
                .map(ResistancePerLength::show),
        ),
        Unit::Money => or_plain(Money::new(number).ok().map(|money| cx.money(money))),
        Unit::Angle if number % 1_000 == 0 => format!("{}°", number / 1_000),
        Unit::Angle => format!("{number} thousandths of a degree"),
        Unit::Percent => format!("{number} %"),
        Unit::Moment => moment(number, &cx.venue.zone, cx.today),
        Unit::Refers(of) => or_plain(names.called(of, number)),
        Unit::Plain if FLAGS.contains(&column) => if number == 0 { "no" } else { "yes" }.to_owned(),
        Unit::Plain => plain(),
    }
}

/// Every value of a row by its name in words; what lies within another is named after it.
fn leaves(
    cx: &Cx,
    names: &Names,
    within: &str,
    row: &serde_json::Map<String, Value>,
    to: &mut BTreeMap<String, String>,
) {
    let part = row.get("part_id").and_then(Value::as_i64);
    let stored = part.and_then(|part| names.units.get(&part)).copied();
    for (column, value) in row {
        if UNSAID.contains(&column.as_str()) {
            continue;
        }
        let (name, unit) = read_column(column);
        let name = match (within, column.as_str()) {
            (_, "spec") => String::new(),
            ("", _) => name,
            _ => format!("{within} {name}"),
        };
        // Lists and objects are kept as text.
        let parsed = value
            .as_str()
            .filter(|text| text.starts_with(['[', '{']))
            .and_then(|text| serde_json::from_str(text).ok());
        let value = parsed.as_ref().unwrap_or(value);
        match value {
            Value::Object(inner) => leaves(cx, names, &name, inner, to),
            Value::Array(list) if list.iter().any(Value::is_object) => {
                for (at, inner) in list.iter().filter_map(Value::as_object).enumerate() {
                    leaves(cx, names, &format!("{name} {}", at + 1), inner, to);
                }
            }
            _ => {
                let amount = matches!(column.as_str(), "amount" | "pack_amount");
                // A roll, reel or bar is sold by its length, in whatever its part is stored.
                let stored = match stored {
                    Some(StockUnit::CutUnits(_)) if column == "pack_amount" => {
                        Some(StockUnit::Micrometres)
                    }
                    stored => stored,
                };
                let words = match (value.as_i64(), stored) {
                    (Some(number), Some(stored)) if amount => {
                        total(cx.unit(), stored, number).to_string()
                    }
                    _ => value_words(cx, names, unit, column, value),
                };
                to.insert(name, words);
            }
        }
    }
}

/// A field before and after.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Field {
    pub name: String,
    pub before: String,
    pub after: String,
}

/// What is different before and after; all of what came or went.
pub(super) fn fields(cx: &Cx, names: &Names, change: &Change) -> Vec<Field> {
    let read = |side: &Option<Value>| {
        let mut found = BTreeMap::new();
        if let Some(row) = side.as_ref().and_then(Value::as_object) {
            leaves(cx, names, "", row, &mut found);
        }
        found
    };
    let (before, mut after) = (read(&change.before), read(&change.after));
    let both = change.before.is_some() && change.after.is_some();
    let mut fields: Vec<Field> = before
        .into_iter()
        .map(|(name, before)| Field {
            after: after.remove(&name).unwrap_or_default(),
            name,
            before,
        })
        .collect();
    fields.extend(after.into_iter().map(|(name, after)| Field {
        name,
        before: String::new(),
        after,
    }));
    fields.retain(|field| {
        let empty = field.before.is_empty() && field.after.is_empty();
        !(empty || both && field.before == field.after)
    });
    fields.sort_by(|a, b| a.name.cmp(&b.name));
    fields
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn columns_are_read_as_name_and_unit() {
        for (column, name, unit) in [
            ("length_um", "length", Unit::Length),
            ("x_um", "along", Unit::Length),
            ("angle_mdeg", "turned", Unit::Angle),
            ("power_mw_per_m", "power", Unit::PowerPerLength),
            (
                "trace_common_uohm_per_m",
                "trace common",
                Unit::ResistancePerLength,
            ),
            ("design_id", "set", Unit::Refers(Referred::Set)),
            ("tape_part_id", "tape part", Unit::Refers(Referred::Part)),
            ("parent_id", "within", Unit::Refers(Referred::Place)),
            ("spare_percent", "spares", Unit::Percent),
            ("free_above_minor", "delivery free from", Unit::Money),
            ("note", "note", Unit::Plain),
        ] {
            assert_eq!(read_column(column), (name.to_owned(), unit), "{column}");
        }
    }
}
