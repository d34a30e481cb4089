//! A small invented house to plan in: a catalogue, offers, stock and a design, built by hand.

use std::sync::Arc;

use serde_json::{Value, json};
use tapewright::{
    model::{
        design::{Bar, Design},
        fixture::Fixture,
        id::{OfferId, PartId, SupplierId, ThingId},
        part::Part,
        piece::Piece,
        text::Tag,
        venue::Venue,
    },
    plan::{
        Input,
        input::{Freedom, Offer, Snapshot, SpareCount, SpareFixture, SparePiece, SpareUnit, Where},
        outcome::{Check, Need, Plan},
    },
    units::{Date, Money, parse_date},
};

pub fn day(text: &str) -> Date {
    parse_date(text).expect("a date")
}

/// Parts by the ids that tests use.
pub struct House {
    pub input: Input,
}

impl House {
    /// An empty house with an empty set.
    pub fn new() -> Self {
        let venue: Venue = serde_json::from_value(json!({
            "name": "Millpond Hall",
            "length_unit": "mm",
            "currency": {"code": "EUR", "digits": 2},
            "prices_include_tax": true,
            "zone": "UTC",
            "slots_taken": "1-96",
            "usable_offcut_um": 100_000,
            "spare_percent": 0,
            "same_day_turnaround": false,
            "order_slack_days": 2,
            // Supplies stand at their drivers, but for tests that say otherwise.
            "feed_um": 0,
            "version": 1,
        }))
        .expect("a venue");
        let design: Design = serde_json::from_value(json!({
            "id": 1,
            "name": "Autumn set",
            "state": "draft",
            "dates": {"build_on": "2026-10-01", "get_in": "2026-10-03", "strike_on": "2026-10-10"},
            "budget_minor": null,
            "note": "",
            "choices": {},
            "frames": [],
            "bars": [],
            "extras": [],
            "version": 1,
        }))
        .expect("a design");
        Self {
            input: Input {
                design,
                parts: Vec::new(),
                stock: Snapshot::default(),
                offers: Vec::new(),
                venue,
                today: day("2026-09-01"),
                held: None,
            },
        }
    }

    /// Adds a part.
    #[expect(
        clippy::needless_pass_by_value,
        reason = "specs are written where they are given"
    )]
    pub fn part(&mut self, id: i64, name: &str, spec: Value) -> PartId {
        let part: Part = serde_json::from_value(json!({
            "id": id, "name": name, "code": "", "spec": spec, "typical": false, "note": "",
            "retired": false, "version": 1,
        }))
        .expect("a part");
        part.spec.check().expect("attributes that agree");
        self.input.parts.push(part);
        PartId(id)
    }

    /// Sells packs of a part: so many, or so long, at a price.
    pub fn offer(&mut self, part: PartId, pack_amount: i64, price_minor: i64) -> OfferId {
        let id = OfferId(i64::try_from(self.input.offers.len()).expect("few") + 1);
        self.input.offers.push(Offer {
            id,
            part,
            supplier: SupplierId(1),
            supplier_name: "Weir Street Electrical".into(),
            pack_amount,
            price_minor: price_minor.try_into().expect("a price"),
            minimum_packs: 1,
            delivery_days: 3,
            delivery_minor: Money::ZERO,
            free_from_minor: None,
        });
        id
    }

    /// Has so many of a part.
    pub fn count(&mut self, part: PartId, available: i64) {
        self.input.stock.counts.push(SpareCount {
            part,
            available,
            due: Vec::new(),
        });
    }

    /// Has a free piece.
    pub fn piece(&mut self, id: i64, part: PartId, amount: i64, more: Value) -> ThingId {
        let mut value = json!({
            "id": id, "tag": format!("R-{id}"), "part": part, "amount": amount, "rest_um": 0,
            "start": {"is": "bare"}, "end": {"is": "bare"}, "joint_offset_units": null,
            "batch": "", "condition": "good", "cut_from": null,
        });
        merge(&mut value, more);
        let piece: Piece = serde_json::from_value(value).expect("a piece");
        self.input.stock.pieces.push(Arc::new(SparePiece {
            piece,
            free: vec![(0, amount)],
            place: Where::default(),
        }));
        ThingId(id)
    }

    /// Has a free driver or supply.
    pub fn unit(&mut self, id: i64, tag: &str, part: PartId, address: Option<u16>) -> ThingId {
        self.input.stock.units.push(SpareUnit {
            thing: ThingId(id),
            tag: Tag::parse(tag).expect("a tag"),
            part,
            address,
            freedom: Freedom::Free,
            place: Where::default(),
        });
        ThingId(id)
    }

    /// Has a free fixture.
    pub fn fixture(&mut self, id: i64, lit_um: i64, channels: &[&str], more: Value) -> ThingId {
        let mut make = json!({
            "tape": null, "profile": null, "channels": channels, "voltage_mv": 24_000,
            "lit_um": lit_um, "diffused": false, "fed": "one_end", "connector": null,
        });
        merge(&mut make, more);
        let fixture: Fixture = serde_json::from_value(json!({
            "id": id, "tag": format!("F-{id}"), "make": make, "condition": "good",
        }))
        .expect("a fixture");
        self.input.stock.fixtures.push(SpareFixture {
            fixture,
            batch: String::new(),
            freedom: Freedom::Free,
            place: Where::default(),
        });
        ThingId(id)
    }

    /// Wants a bar.
    pub fn bar(&mut self, id: i64, length_um: i64, channels: &[&str], more: Value) {
        let mut value = json!({
            "id": id, "label": format!("bar {id}"), "length_um": length_um, "shorter_um": 50_000,
            "longer_um": 0, "channels": channels, "voltage_mv": null, "diffused": false,
            "fed": "one_end", "frame": null, "x_um": 0, "y_um": 0, "angle_mdeg": 0, "group": "",
            "feed_place": "", "cable_um": 0, "tape": null, "profile": null, "fixture": null,
        });
        merge(&mut value, more);
        let bar: Bar = serde_json::from_value(value).expect("a bar");
        self.input.design.bars.push(bar);
    }

    /// Wants so much of a part besides.
    pub fn extra(&mut self, id: i64, part: PartId, amount: i64) {
        let extra = json!({"id": id, "part": part, "amount": amount, "note": ""});
        let extra = serde_json::from_value(extra).expect("an extra line");
        self.input.design.extras.push(extra);
    }

    pub fn plan(&self) -> Plan {
        tapewright::plan::plan(&self.input)
    }
}

fn merge(into: &mut Value, more: Value) {
    if let (Value::Object(into), Value::Object(more)) = (into, more) {
        into.extend(more);
    }
}

/// A tape of these colours, cut every 50 mm.
pub fn tape(channels: &[&str]) -> Value {
    let channels: Vec<Value> = channels
        .iter()
        .map(|channel| json!({"channel": channel, "power_mw_per_m": 4_800}))
        .collect();
    json!({
        "kind": "tape", "voltage_mv": 24_000, "width_um": 10_000, "channels": channels,
        "pitch": {"units": 1, "um": 50_000}, "common": "positive", "longest_run_um": 10_000_000,
    })
}

/// A lead whose pins carry these colours.
pub fn lead(gender: &str, pins: &[&str]) -> Value {
    json!({
        "kind": "lead", "rating_ma": 5_000,
        "connector": {"family": "inline", "gender": gender, "pins": pins},
    })
}

/// A driver with so many outputs, each two of them on an inlet of its own.
pub fn driver(outputs: u16, channels: u8, isolation: &str) -> Value {
    let inlets: Vec<Value> = (1..=outputs)
        .step_by(2)
        .map(|first| json!({"outputs": (first..=(first + 1).min(outputs)).collect::<Vec<_>>()}))
        .collect();
    json!({
        "kind": "driver", "outputs": outputs, "channels_per_output": channels,
        "common": "positive", "voltage_min_mv": 12_000, "voltage_max_mv": 24_000,
        "channel_limit_ma": 5_000, "output_limit_ma": 10_000, "inlet_limit_ma": 20_000,
        "whole_limit_ma": 60_000, "inlets": inlets, "isolation": isolation,
        "slots": outputs * u16::from(channels), "address_by": "menu",
    })
}

/// A supply of 24 V.
pub fn supply(rated_ma: u32, pairs: Option<u8>) -> Value {
    json!({
        "kind": "supply", "voltage_mv": 24_000, "rated_ma": rated_ma, "terminal_pairs": pairs,
    })
}

pub const RGB: &[&str] = &["red", "green", "blue"];
pub const RGBW: &[&str] = &["red", "green", "blue", "white"];

/// What is needed of a part.
pub fn need(plan: &Plan, part: PartId) -> Option<&Need> {
    plan.needs.iter().find(|need| need.part == Some(part))
}

/// Checks of one rule.
pub fn checks<'a>(plan: &'a Plan, rule: &str) -> Vec<&'a Check> {
    let prefix = format!("{rule}:");
    let found = plan.checks.iter();
    found
        .filter(|check| check.key.starts_with(&prefix))
        .collect()
}

/// A shelf along the walk.
pub fn at(position: i64) -> Where {
    Where {
        path: format!("shelf {position}"),
        position,
    }
}
