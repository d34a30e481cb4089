//! From the driver's terminals to the bar: every wire in its colour and named, crossings plain to
//! see.

use super::{Anchor, Svg};
use crate::model::channel::{Channel, Role, RoleOrder};

/// One column of conductors in the drawing: a row of terminals, the cores of a cable, the pins of
/// a connector, the pads of a tape.
#[derive(Debug, Clone)]
pub struct Column {
    /// What it is.
    pub title: String,
    /// Its conductors, from top to bottom.
    pub order: RoleOrder,
    /// The colours of its wires where they have their own, in the same order.
    pub wires: Vec<String>,
}

/// From one column to the next.
const STEP: f64 = 244.0;
/// Width of the words of a column.
const WORDS: f64 = 134.0;
/// Width of a letter of a title, about.
const LETTER: f64 = 8.0;
/// From one conductor to the next.
const ROW: f64 = 30.0;
/// Above the first conductor.
const TOP: f64 = 46.0;

/// The class of a wire's colour in the style sheet.
pub const fn wire_class(role: Role) -> &'static str {
    match role {
        Role::Common | Role::Unused => "common",
        Role::Colour(channel) => match channel {
            Channel::Red => "red",
            Channel::Green => "green",
            Channel::Blue => "blue",
            Channel::White => "white",
            Channel::Warm => "warm",
            Channel::Cool => "cool",
            Channel::Amber => "amber",
        },
    }
}

/// The conductors that lie in another order in the two columns, in words. Empty when every one
/// lies beside its own.
pub fn crossings(a: &RoleOrder, b: &RoleOrder) -> Vec<String> {
    let used = |order: &RoleOrder| -> Vec<Role> {
        order
            .list()
            .iter()
            .copied()
            .filter(|role| *role != Role::Unused)
            .collect()
    };
    let (a, b) = (used(a), used(b));
    let both: Vec<Role> = a.iter().copied().filter(|role| b.contains(role)).collect();
    let mut found = Vec::new();
    for (i, one) in both.iter().enumerate() {
        for two in &both[i + 1..] {
            let place = |role: &Role| b.iter().position(|other| other == role);
            if place(one) > place(two) {
                found.push(format!("{one} crosses {two}"));
            }
        }
    }
    found
}

/// The run of wires as SVG.
pub fn svg(columns: &[Column]) -> String {
    let count = |n: usize| f64::from(u32::try_from(n).unwrap_or(0));
    let most = columns
        .iter()
        .map(|column| column.order.count())
        .max()
        .unwrap_or(0);
    // Nothing follows the last column that its title could run into, so all of it must fit.
    let last = columns.last().map_or(0, |last| last.title.chars().count());
    let (width, height) = (
        STEP * count(columns.len().saturating_sub(1)) + WORDS.max(LETTER * count(last)) + 20.0,
        TOP + ROW * count(most),
    );
    let mut out = Svg::new("Every wire from driver to bar", width, height);
    let row = |at: usize| TOP + ROW * count(at);
    for (i, pair) in columns.windows(2).enumerate() {
        let x = STEP * count(i) + WORDS + 6.0;
        let on = x + STEP - WORDS - 6.0;
        let middle = f64::midpoint(x, on);
        for (at, role) in pair[0].order.list().iter().enumerate() {
            let Some(to) = (*role != Role::Unused)
                .then(|| pair[1].order.list().iter().position(|other| other == role))
                .flatten()
            else {
                continue;
            };
            let (y, z) = (row(at), row(to));
            let path =
                format!("M{x:.0} {y:.0}C{middle:.0} {y:.0} {middle:.0} {z:.0} {on:.0} {z:.0}");
            out.path("svg-casing", &path);
            out.path(&format!("svg-wire ch-{}", wire_class(*role)), &path);
        }
    }
    for (i, column) in columns.iter().enumerate() {
        let x = STEP * count(i) + 8.0;
        out.text("svg-text", x, 16.0, Anchor::Start, &column.title);
        for (at, role) in column.order.list().iter().enumerate() {
            let word = match column.wires.get(at) {
                Some(wire) if !wire.is_empty() => format!("{} {role} ({wire})", at + 1),
                _ => format!("{} {role}", at + 1),
            };
            out.text("svg-small svg-on", x, row(at) + 4.0, Anchor::Start, &word);
        }
    }
    out.finish()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn order(text: &str) -> RoleOrder {
        text.parse().unwrap()
    }

    #[test]
    fn orders_that_agree_have_no_crossing_and_the_others_say_which() {
        let rgb = order("common, red, green, blue");
        assert!(crossings(&rgb, &rgb).is_empty());
        assert_eq!(
            crossings(&rgb, &order("common, green, red, blue")),
            ["red crosses green"]
        );
        // A pin with nothing on it is no wire.
        assert!(crossings(&rgb, &order("common, unused, red, green, blue")).is_empty());
    }

    #[test]
    fn every_conductor_that_has_its_own_on_the_other_side_is_drawn() {
        let drawn = svg(&[
            Column {
                title: "Driver".into(),
                order: order("common, red, green, blue"),
                wires: Vec::new(),
            },
            Column {
                title: "Bar <1>".into(),
                order: order("red, common, blue, unused"),
                wires: Vec::new(),
            },
        ]);
        assert_eq!(drawn.matches("svg-wire").count(), 3);
        assert!(!drawn.contains("<1>"));
    }
}
