//! The bench: calculators that need no stock and no design. A cut, and a nine-way switch; each
//! other one has a page of its own.

use std::fmt::Display;

use askama::Template;
use axum::http::StatusCode;

use super::{
    cx::Cx,
    error::Answer,
    form::Form,
    link::Link,
    page::{Chrome, Section, page},
};
use crate::{
    calc::{Refused, document},
    draw::{
        Picture,
        strip::{Segment, Stretch, Strip},
    },
    model::{part::StockUnit, piece},
    plan::{
        answer::Proof,
        cut::{
            self, Budget, CutPlan, End, Fed, Joining, Problem, SolderWeights, Source, Stock, Use,
            Want,
        },
    },
    units::{CutPitch, Length, LengthUnit},
};

pub mod addresses;
pub mod drop;
pub mod wires;

/// A document that was pasted instead of the fields; what is wrong stands beside it.
fn pasted<T: serde::de::DeserializeOwned>(form: &mut Form) -> Option<T> {
    form.take("document", |text| {
        let value = serde_json::from_str(text)
            .map_err(|why| format!("This is not JSON: {why}. Paste the whole document."))?;
        document::read(value).map_err(|why| why.to_string())
    })
}

/// What a calculator refuses, beside the field that it is about.
fn refuse(form: &mut Form, why: &Refused, field: impl Fn(&str) -> &'static str) {
    let name = field(&why.pointer);
    if name == "document" {
        form.fail(name, why);
    } else {
        form.fail(name, why.detail.replace("Send", "Type"));
    }
}

/// OK, or that something typed is wrong.
fn status(form: &Form) -> StatusCode {
    if form.ok() {
        StatusCode::OK
    } else {
        StatusCode::UNPROCESSABLE_ENTITY
    }
}

/// Lines of a list that one may type.
const MOST_LINES: usize = 60;
/// Bars or pieces in one line.
const MOST_EACH: u32 = 200;
/// Bars, or pieces, in all.
const MOST_IN_ALL: u32 = 500;

#[derive(Debug, Clone)]
struct Answered {
    strips: Vec<Picture>,
    short: Vec<String>,
    words: Vec<String>,
}

#[derive(Template)]
#[template(path = "bench.html")]
struct BenchPage {
    chrome: Chrome,
    form: Form,
    cut: Option<Answered>,
    switches: Option<Vec<(u16, bool)>>,
    address: String,
}

/// GET: the calculators, with their answers where something was asked.
pub async fn get(cx: Cx, mut form: Form) -> Answer {
    let asked_cut = form.has("pieces");
    let asked_address = form.has("address");
    for (field, first) in [
        ("pitch", "50 mm"),
        ("pieces", "1 x 5 m lead lead"),
        ("bars", "3 x 1.2 m"),
    ] {
        if !form.has(field) {
            form.set(field, first);
        }
    }
    let cut = if asked_cut {
        answer(&cx, &mut form)
    } else {
        None
    };
    let address = if asked_address {
        form.count("address", 1, 511)
    } else {
        None
    };
    let less_one = form.ticked("less_one");
    let switches = address.map(|address| {
        let shown = u16::try_from(address).unwrap_or(1) - u16::from(less_one);
        (0..9)
            .map(|switch| (switch + 1, shown >> switch & 1 == 1))
            .collect()
    });
    Ok(page(&BenchPage {
        chrome: cx.chrome(Section::Bench, "Bench"),
        cut,
        switches,
        address: address
            .map(|address| address.to_string())
            .unwrap_or_default(),
        form,
    }))
}

fn answer(cx: &Cx, form: &mut Form) -> Option<Answered> {
    let unit = cx.unit();
    let pitch = form.take("pitch", |text| CutPitch::parse(text, unit))?;
    let pieces = form.take("pieces", |text| {
        lines(text, |line| piece_line(line, pitch, unit))
    });
    let bars = form.take("bars", |text| {
        lines(text, |line| bar_line(line, pitch, unit))
    });
    let (pieces, bars) = (pieces?, bars?);
    for (field, count) in [
        (
            "pieces",
            pieces.iter().map(|(number, _)| *number).sum::<u32>(),
        ),
        ("bars", bars.iter().map(|want| want.quantity).sum()),
    ] {
        if count > MOST_IN_ALL {
            form.fail(
                field,
                format!("At most {MOST_IN_ALL} in all; these are {count}."),
            );
        }
    }
    if !form.ok() {
        return None;
    }
    let stock: Vec<Stock> = pieces
        .iter()
        .flat_map(|(number, stock)| std::iter::repeat_n(*stock, *number as usize))
        .collect();
    let problem = Problem {
        stock,
        rolls: Vec::new(),
        wants: bars,
        usable_units: pitch.whole_units(cx.venue.usable_offcut_um).0.max(1),
        kerf_units: 0,
        trim_units: 0,
        weights: SolderWeights::USUAL,
    };
    match cut::plan(&problem, Budget::USUAL) {
        Ok(plan) => Some(shown(&problem, &plan, pitch, unit)),
        Err(why) => {
            form.fail("bars", format!("This cannot be computed: {why}."));
            None
        }
    }
}

fn lines<T>(text: &str, read: impl Fn(&str) -> Result<T, String>) -> Result<Vec<T>, String> {
    let lines: Vec<&str> = text
        .lines()
        .map(str::trim)
        .filter(|line| !line.is_empty())
        .collect();
    if lines.is_empty() {
        return Err("Type at least one line, such as 3 x 1.2 m.".into());
    }
    if lines.len() > MOST_LINES {
        return Err(format!(
            "At most {MOST_LINES} lines; these are {}.",
            lines.len()
        ));
    }
    lines
        .iter()
        .enumerate()
        .map(|(i, line)| read(line).map_err(|why| format!("Line {}: {why}", i + 1)))
        .collect()
}

/// `3 x 1.2 m` → 3 and the rest; without a number it is one.
fn number(line: &str) -> Result<(u32, &str), String> {
    let Some((number, rest)) = line.split_once(['x', '×']) else {
        return Ok((1, line));
    };
    match number.trim().parse::<u32>() {
        Ok(number) if (1..=MOST_EACH).contains(&number) => Ok((number, rest.trim())),
        _ => Err(format!("Type a number from 1 to {MOST_EACH} before the x.")),
    }
}

fn units_of(text: &str, pitch: CutPitch, unit: LengthUnit) -> Result<u64, String> {
    let length = Length::parse(text, unit).map_err(|why| why.to_string())?;
    match pitch.whole_units(length).0 {
        0 => Err(format!(
            "{} is shorter than one cut unit.",
            length.show(unit)
        )),
        units => Ok(units),
    }
}

fn piece_line(line: &str, pitch: CutPitch, unit: LengthUnit) -> Result<(u32, Stock), String> {
    let (number, mut rest) = number(line)?;
    let mut ends = [End::Bare, End::Bare];
    for end in ends.iter_mut().rev() {
        if let Some(shorter) = rest.strip_suffix("lead") {
            (*end, rest) = (End::Lead, shorter.trim_end());
        } else if let Some(shorter) = rest.strip_suffix("bare") {
            rest = shorter.trim_end();
        }
    }
    let [start, end] = ends;
    Ok((
        number,
        Stock {
            units: units_of(rest, pitch, unit)?,
            start,
            end,
            joints: None,
        },
    ))
}

fn bar_line(line: &str, pitch: CutPitch, unit: LengthUnit) -> Result<Want, String> {
    let (quantity, rest) = number(line)?;
    let (rest, fed) = match rest.strip_suffix("both") {
        Some(rest) => (rest.trim_end(), Fed::BothEnds),
        None => (rest, Fed::OneEnd),
    };
    Ok(Want {
        units: units_of(rest, pitch, unit)?,
        quantity,
        fed,
    })
}

fn shown(problem: &Problem, plan: &CutPlan, pitch: CutPitch, unit: LengthUnit) -> Answered {
    let length = |units: u64| pitch.length_of(units).show(unit);
    let mut strips = Vec::new();
    for (i, layout) in plan.layouts.iter().enumerate() {
        let Source::Stock(index) = layout.source else {
            continue;
        };
        let Some(stock) = problem.stock.get(index) else {
            continue;
        };
        strips.push(strip(i, stock, layout, pitch, unit).draw());
    }
    let short = plan
        .short
        .iter()
        .filter_map(|short| {
            let want = problem.wants.get(short.want)?;
            Some(format!(
                "{} × {} cannot be cut from these pieces.",
                short.quantity,
                length(want.units)
            ))
        })
        .collect();
    let words = vec![
        format!("Fewest bars short: {}.", proof_words(&plan.proof.short)),
        format!(
            "Soldering work {} (factory lead 0, pre-tinned joint 1, other mark 2): {}.",
            plan.solder_work,
            proof_words(&plan.proof.solder)
        ),
        format!(
            "Scrap {}, usable offcuts {}: {}.",
            if plan.rest.scrap_units == 0 {
                "none".to_owned()
            } else {
                length(plan.rest.scrap_units)
            },
            plan.rest.offcuts,
            match &plan.proof.rest {
                Proof::Proven => "proven best".to_owned(),
                Proof::Within { .. } | Proof::Open { .. } => "the best found".to_owned(),
            }
        ),
    ];
    Answered {
        strips,
        short,
        words,
    }
}

/// A proof in words for people.
pub fn proof_words<T: Display>(proof: &Proof<T>) -> String {
    match proof {
        Proof::Proven => "proven least".to_owned(),
        Proof::Within { bound } => format!("the best found; it cannot be below {bound}"),
        Proof::Open { why } => format!("the best found; {why}"),
    }
}

fn strip(
    i: usize,
    stock: &Stock,
    layout: &cut::Layout,
    pitch: CutPitch,
    unit: LengthUnit,
) -> Strip {
    let signed = |units: u64| i64::try_from(units).unwrap_or(i64::MAX);
    let ends = |end| {
        if end == End::Lead {
            lead()
        } else {
            piece::End::Bare
        }
    };
    Strip {
        name: format!("Piece {}", i + 1),
        unit: StockUnit::CutUnits(pitch),
        amount: signed(stock.units),
        rest_um: 0,
        start: ends(stock.start),
        end: ends(stock.end),
        joints: None,
        segments: layout
            .segments
            .iter()
            .map(|segment| {
                let (stretch, word) = match segment.becomes {
                    Use::Bar { start, end, .. } => {
                        let soldered = [start, end]
                            .into_iter()
                            .flatten()
                            .filter(|joining| *joining != Joining::FactoryLead)
                            .count();
                        let word = match soldered {
                            0 => "no soldering",
                            1 => "one joint",
                            _ => "two joints",
                        };
                        (Stretch::Bar, word)
                    }
                    Use::Offcut => (Stretch::Rest, "offcut"),
                    Use::Scrap | Use::Kerf | Use::Trim => (Stretch::Scrap, "scrap"),
                };
                Segment {
                    from: signed(segment.from),
                    to: signed(segment.to),
                    stretch,
                    label: format!(
                        "{}, {word}",
                        pitch.length_of(segment.to - segment.from).show(unit)
                    ),
                    href: None,
                }
            })
            .collect(),
        show: unit,
    }
}

fn lead() -> piece::End {
    use crate::model::{
        connector::{Connector, Gender},
        text::Name,
    };
    match Name::parse("lead") {
        Ok(family) => piece::End::Lead {
            connector: Connector {
                family,
                gender: Gender::Male,
                pins: None,
            },
        },
        Err(_) => piece::End::Bare,
    }
}
