//! From the driver's terminals to the bar: every wire in its colour and named, crossings plain to
//! see.

use super::{Anchor, Svg, letters};
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

/// Width of the whole where its words allow it: what a sheet of paper shows with letters that can be
/// read.
const WIDE: f64 = 840.0;
/// The least and the most from the words of one column to those of the next.
const GAP: (f64, f64) = (36.0, 110.0);
/// Width of a letter, about. Their size is the style sheet's: 14.
const LETTER: f64 = 8.6;
/// From one conductor to the next.
const ROW: f64 = 32.0;
/// Height of a line of a title.
const LINE: f64 = 18.0;
/// Above the first conductor.
const TOP: f64 = 2.0 * LINE + 26.0;
/// Left and right of everything.
const EDGE: f64 = 8.0;

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

fn wide_of(text: &str) -> f64 {
    letters(text) * LETTER
}

/// The words of a column's conductors, from top to bottom.
fn words_of(column: &Column) -> Vec<String> {
    let roles = column.order.list().iter().enumerate();
    roles
        .map(|(at, role)| match column.wires.get(at) {
            Some(wire) if !wire.is_empty() => format!("{} {role} ({wire})", at + 1),
            _ => format!("{} {role}", at + 1),
        })
        .collect()
}

/// A title in two lines at most, each about so wide; what has no room is left to the words beside
/// the picture.
fn lines_of(title: &str, wide: f64) -> Vec<String> {
    let (mut lines, mut last): (Vec<String>, String) = (Vec::new(), String::new());
    for word in title.split_whitespace() {
        if last.is_empty() {
            word.clone_into(&mut last);
        } else if wide_of(&last) + wide_of(word) + LETTER <= wide {
            last = format!("{last} {word}");
        } else if lines.is_empty() {
            lines.push(std::mem::replace(&mut last, word.to_owned()));
        } else {
            last.push('…');
            break;
        }
    }
    if !last.is_empty() {
        lines.push(last);
    }
    lines
}

/// The run of wires as SVG.
pub fn svg(columns: &[Column]) -> String {
    let count = |n: usize| f64::from(u32::try_from(n).unwrap_or(0));
    let words: Vec<Vec<String>> = columns.iter().map(words_of).collect();
    let ends = columns.len().saturating_sub(1);
    let widths: Vec<f64> = (columns.iter().zip(&words).enumerate())
        .map(|(at, (column, words))| {
            // A title has room in two lines: of its own width, and of the gap where one follows.
            let longest = column
                .title
                .split_whitespace()
                .map(wide_of)
                .fold(0.0, f64::max);
            let beyond = if at < ends { GAP.0 - LETTER } else { 0.0 };
            let title = f64::midpoint(wide_of(&column.title), longest) - beyond;
            let own = words.iter().map(|word| wide_of(word));
            own.chain([longest, title]).fold(0.0, f64::max) + 9.0
        })
        .collect();
    let most = words.iter().map(Vec::len).max().unwrap_or(0);
    let all: f64 = widths.iter().sum();
    let gaps = count(ends);
    let gap = ((WIDE - 2.0 * EDGE - all) / gaps.max(1.0)).clamp(GAP.0, GAP.1);
    let (width, height) = (
        all + gaps * gap + 2.0 * EDGE,
        TOP + ROW * count(most) - ROW / 2.0,
    );
    let mut out = Svg::new("Every wire from driver to bar", width, height);
    let row = |at: usize| TOP + ROW * count(at);
    let lefts: Vec<f64> = (0..columns.len())
        .map(|at| EDGE + widths[..at].iter().sum::<f64>() + gap * count(at))
        .collect();
    for (i, pair) in columns.windows(2).enumerate() {
        let (x, on) = (lefts[i] + widths[i], lefts[i + 1] - 5.0);
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
        let x = lefts[i];
        let beyond = if i < ends { gap - LETTER } else { 0.0 };
        for (at, line) in lines_of(&column.title, widths[i] + beyond)
            .iter()
            .enumerate()
        {
            let y = 16.0 + LINE * count(at);
            out.text("svg-text", x, y, Anchor::Start, line);
        }
        for (at, word) in words[i].iter().enumerate() {
            out.text("svg-text", x, row(at) + 5.0, Anchor::Start, word);
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
    #[test]
    fn five_columns_keep_to_a_width_that_paper_shows_and_no_title_runs_into_the_next() {
        let column = |title: &str| Column {
            title: title.into(),
            order: order("common, red, green, blue, white"),
            wires: if title.starts_with("Cable") {
                vec!["black".into(), "red".into(), "green".into()]
            } else {
                Vec::new()
            },
        };
        let titles = [
            "Driver output",
            "Cable of 5",
            "Lead on the cable, socket",
            "Lead of the bar, plug",
            "Pads of the tape",
        ];
        let columns: Vec<Column> = titles.into_iter().map(column).collect();
        let drawn = svg(&columns);
        let width = drawn.split("viewBox=\"0 0 ").nth(1).unwrap();
        let width: f64 = width.split(' ').next().unwrap().parse().unwrap();
        assert!(width <= WIDE + 1.0, "{width}");
        assert_eq!(
            lines_of("Lead on the cable, socket", 140.0),
            ["Lead on the", "cable, socket"]
        );
        assert_eq!(lines_of("one two three four", 30.0), ["one", "two…"]);
        assert!(lines_of("", 30.0).is_empty());
    }
}
