//! The cut list: roll by roll, drawn to scale; what is cut alike is drawn once.

use askama::Template;

use super::limits::together;
use crate::web::{
    cx::Cx,
    design::{
        Whole,
        cuts::{CutLine, CutRow, rows, solder},
    },
};

/// Pieces that are cut alike.
struct Alike {
    /// Which, such as `6 alike: R-9 to R-14`.
    names: String,
    /// Where they lie, each place once.
    places: String,
    /// Drawn; empty for whole pieces, which need no cut.
    svg: String,
    lines: Vec<Line>,
}

/// The same stretch of each of them.
struct Line {
    /// How long, and from where to where.
    what: String,
    joints: String,
    /// What it becomes, piece by piece.
    becomes: Vec<String>,
}

#[derive(Template)]
#[template(path = "design/sheets/cuts.html")]
struct Cuts {
    groups: Vec<(String, Vec<Alike>)>,
    solder: Vec<String>,
}

fn name(row: &CutRow) -> String {
    let tag = row.piece.as_ref().map(|(_, tag)| tag.clone());
    let buy = row.buy.as_ref().map(|buy| format!("to buy: {buy}"));
    tag.or(buy).unwrap_or_default()
}

/// The same in short, where several are told together.
fn short_name(row: &CutRow) -> String {
    row.nth
        .map_or_else(|| name(row), |nth| format!("number {nth}"))
}

fn alike(rows: &[CutRow]) -> Vec<Alike> {
    let mut groups: Vec<Vec<&CutRow>> = Vec::new();
    for row in rows {
        match groups
            .iter_mut()
            .find(|group| group.iter().all(|other| row.is_like(other)))
        {
            Some(group) => group.push(row),
            None => groups.push(vec![row]),
        }
    }
    groups.iter().map(|group| told(group)).collect()
}

fn told(group: &[&CutRow]) -> Alike {
    let names: Vec<String> = group.iter().map(|row| short_name(row)).collect();
    let names = match (group, &names[..]) {
        ([one], _) => name(one),
        ([first, ..], many) if first.nth.is_some() => {
            let long = first.buy.as_deref().and_then(|buy| buy.split_once(", "));
            format!(
                "{} alike, to buy: {}, {} each",
                many.len(),
                together(many.iter().map(String::as_str)),
                long.map_or("", |(_, long)| long)
            )
        }
        (_, many) => format!(
            "{} alike: {}",
            many.len(),
            together(many.iter().map(String::as_str))
        ),
    };
    let mut places: Vec<&str> = Vec::new();
    for row in group {
        if !row.place.is_empty() && !places.contains(&row.place.as_str()) {
            places.push(&row.place);
        }
    }
    let first = group.first();
    let whole = first.is_some_and(|row| row.whole);
    let lines = first.map_or(&[][..], |row| &row.lines).iter().enumerate();
    Alike {
        names,
        places: places.join("; "),
        svg: first
            .filter(|_| !whole)
            .map_or_else(String::new, |row| match group {
                [_] => row.picture.svg.clone(),
                // One picture of several: each becomes other bars, which the list names.
                _ => row.strip.lettered().draw().svg,
            }),
        lines: lines
            .map(|(at, line)| Line {
                what: if whole {
                    format!("{}, whole: no cut", line.length)
                } else {
                    format!("{} ({})", line.length, line.at)
                },
                joints: line.joints.clone(),
                becomes: becomes(group, at, line),
            })
            .collect(),
    }
}

/// What a stretch becomes: of each piece where they differ.
fn becomes(group: &[&CutRow], at: usize, line: &CutLine) -> Vec<String> {
    if group.len() == 1 || !line.is_for_bar() {
        return vec![line.becomes.clone()];
    }
    let of = |row: &&CutRow| {
        Some(format!(
            "{}: {}",
            short_name(row),
            row.lines.get(at)?.becomes
        ))
    };
    group.iter().filter_map(of).collect()
}

pub(super) fn body(cx: &Cx, whole: &Whole) -> askama::Result<String> {
    let groups = rows(cx, whole).into_iter();
    Cuts {
        groups: groups.map(|(part, rows)| (part, alike(&rows))).collect(),
        solder: solder(whole),
    }
    .render()
}
