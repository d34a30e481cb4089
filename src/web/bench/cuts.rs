//! How to cut bars from pieces on hand and rolls to buy, by plain fields, or by the document of
//! `tapewright calc cuts`.

use askama::Template;

use super::{away, lines, pasted, refuse, status, sum};
use crate::{
    calc::{
        Refused,
        cuts::{
            self, CutsAnswer, CutsBar, CutsBody, CutsEnd, CutsFed, CutsLayout, CutsPiece, CutsRoll,
            CutsUnit, CutsWeights,
        },
    },
    draw::{
        Picture,
        strip::{Segment, Stretch, Strip},
    },
    model::{
        connector::{Connector, Gender},
        part::StockUnit,
        piece::End,
        text::Name,
    },
    units::{Currency, CutPitch, Length, LengthUnit, Money},
    web::{
        cx::Cx,
        error::Answer,
        form::Form,
        link::Link,
        page::{Chrome, Section, page_with},
    },
};

/// What stands in the fields at first, invented.
const fn first(unit: LengthUnit) -> [(&'static str, &'static str); 8] {
    // Rolls are sold by the metre everywhere.
    let [pitch, pieces, rolls, bars, usable] = match unit {
        LengthUnit::Mm => [
            "50 mm",
            "R-7: 5 m lead lead, joints 450 mm\n2 x 1.3 m",
            "5 m lead lead, joints 450 mm, at 42.00",
            "3 x 1.2 m\n2 x 900 mm both",
            "300 mm",
        ],
        LengthUnit::Cm | LengthUnit::M => [
            "5 cm",
            "R-7: 5 m lead lead, joints 45 cm\n2 x 1.3 m",
            "5 m lead lead, joints 45 cm, at 42.00",
            "3 x 1.2 m\n2 x 90 cm both",
            "30 cm",
        ],
        LengthUnit::In | LengthUnit::Ft => [
            "50 mm",
            "R-7: 5 m lead lead, joints 450 mm\n2 x 4 ft 4 in",
            "5 m lead lead, joints 450 mm, at 42.00",
            "3 x 4 ft\n2 x 3 ft both",
            "12 in",
        ],
    };
    [
        ("pitch", pitch),
        ("pieces", pieces),
        ("rolls", rolls),
        ("bars", bars),
        ("usable", usable),
        ("lead", "0"),
        ("joint", "1"),
        ("mark", "2"),
    ]
}

/// Lines of a list that one may type.
const MOST_LINES: usize = 60;
/// Pieces or bars in one line.
const MOST_EACH: u32 = 200;
/// How long a page may search, in milliseconds: what was found by then is shown with its bound.
const LIMIT_MS: u64 = 2_000;

/// One piece or several rolls, cut.
struct Cut {
    title: String,
    picture: Picture,
}

/// The least money for a number of soldered ends.
struct TradeRow {
    ends: u64,
    money: String,
}

/// A question, answered.
struct Answered {
    short: Vec<String>,
    buy: Vec<String>,
    cuts: Vec<Cut>,
    lines: Vec<String>,
    trade: Vec<TradeRow>,
    trade_known: &'static str,
    document: String,
}

#[derive(Template)]
#[template(path = "bench/cuts.html")]
struct CutsPage {
    chrome: Chrome,
    form: Form,
    /// How pieces on hand and wanted bars are typed.
    piece_such: &'static str,
    bar_such: &'static str,
    answered: Option<Answered>,
}

/// A wanted bar, for an example.
const fn bar_such(unit: LengthUnit) -> &'static str {
    unit.such("3 x 1.2 m", "3 x 4 ft")
}

fn show(cx: &Cx, form: Form, answered: Option<Answered>) -> Answer {
    let status = status(&form);
    let page = CutsPage {
        chrome: cx.chrome(Section::Bench, "Cut bars from pieces and rolls"),
        form,
        piece_such: cx.unit().such("2 x 1.3 m", "2 x 4 ft 4 in"),
        bar_such: bar_such(cx.unit()),
        answered,
    };
    Ok(page_with(status, &page))
}

/// GET: the fields, with the answer where something was asked.
pub async fn get(cx: Cx, mut form: Form) -> Answer {
    let asked = form.has("bars");
    if asked {
        // Nothing need be bought.
        form.fill(&[("rolls", "")]);
    }
    form.fill(&first(cx.unit()));
    if !asked {
        return show(&cx, form, None);
    }
    let body = read(&cx, &mut form);
    let answered = answer(&cx, &mut form, body, field_of).await;
    show(&cx, form, answered)
}

/// POST: a document instead of the fields.
pub async fn post(cx: Cx, mut form: Form) -> Answer {
    for (field, first) in first(cx.unit()) {
        form.set(field, first);
    }
    let body = pasted::<CutsBody>(&mut form);
    let answered = answer(&cx, &mut form, body, |_| "document").await;
    show(&cx, form, answered)
}

fn field_of(pointer: &str) -> &'static str {
    for (start, field) in [
        ("/unit_um", "pitch"),
        ("/pieces", "pieces"),
        ("/rolls", "rolls"),
        ("/usable", "usable"),
        ("/kerf", "kerf"),
        ("/end_trim", "trim"),
        ("/solder_weights/lead", "lead"),
        ("/solder_weights/joint", "joint"),
        ("/solder_weights/mark", "mark"),
    ] {
        if pointer.starts_with(start) {
            return field;
        }
    }
    "bars"
}

/// How lengths and sums are read.
#[derive(Clone, Copy)]
struct Reading {
    pitch: CutPitch,
    unit: LengthUnit,
    currency: Currency,
}

impl Reading {
    fn units(self, text: &str) -> Result<u32, String> {
        let length = Length::parse(text, self.unit).map_err(|why| why.to_string())?;
        let (units, _) = self.pitch.whole_units(length);
        u32::try_from(units)
            .ok()
            .filter(|units| *units <= CutsBody::MOST_UNITS)
            .ok_or_else(|| format!("{} is too long.", length.show(self.unit)))
    }

    fn some_units(self, text: &str) -> Result<u32, String> {
        match self.units(text)? {
            0 => Err(format!("“{text}” is shorter than one cut unit.")),
            units => Ok(units),
        }
    }
}

/// The fields as a document.
fn read(cx: &Cx, form: &mut Form) -> Option<CutsBody> {
    let unit = cx.unit();
    let pitch = form.take("pitch", |text| CutPitch::parse(text, unit))?;
    let reading = Reading {
        pitch,
        unit,
        currency: cx.venue.currency,
    };
    let pieces = form.take("pieces", |text| {
        let lines = lines(text, MOST_LINES, |line, at| piece_line(line, at, reading))?;
        Ok::<_, String>(lines.into_iter().flatten().collect::<Vec<_>>())
    });
    let rolls = form.take("rolls", |text| {
        lines(text, MOST_LINES, |line, at| roll_line(line, at, reading))
    });
    let bars = form.take("bars", |text| {
        lines(text, MOST_LINES, |line, at| bar_line(line, at, reading))
    });
    let usable = form.take("usable", |text| reading.units(text));
    let kerf = form.optional("kerf", |text| reading.units(text));
    let trim = form.optional("trim", |text| reading.units(text));
    let most = i64::from(CutsBody::MOST_WEIGHT);
    let mut weight = |name: &str| {
        let weight = form.count(name, 0, most)?;
        u32::try_from(weight).ok()
    };
    let (lead, joint, mark) = (weight("lead"), weight("joint"), weight("mark"));
    if bars.as_ref().is_some_and(Vec::is_empty) {
        let such = bar_such(cx.unit());
        form.fail("bars", format!("Type at least one line, such as {such}."));
    }
    if !form.ok() {
        return None;
    }
    Some(CutsBody {
        unit_um: CutsUnit::Ratio([pitch.um(), pitch.units()]),
        pieces: pieces?,
        rolls: rolls?,
        bars: bars?,
        usable_offcut_units: usable?,
        solder_weights: CutsWeights {
            lead: lead?,
            joint: joint?,
            mark: mark?,
        },
        kerf_units: kerf?.filter(|units| *units > 0),
        end_trim_units: trim?.filter(|units| *units > 0),
        objectives: None,
        trade_off: form.ticked("trade").then_some(true),
        time_limit_ms: Some(LIMIT_MS),
    })
}

/// `NAME: rest` → the name, if one is there, and the rest.
fn named(line: &str) -> (Option<&str>, &str) {
    match line.split_once(':') {
        Some((name, rest)) => (Some(name.trim()), rest.trim()),
        None => (None, line),
    }
}

/// `3 x 1.2 m` → 3 and the rest; without a number it is one.
fn number(line: &str) -> Result<(u32, &str), String> {
    let Some((number, rest)) = line.split_once(['x', '×']) else {
        return Ok((1, line));
    };
    match number.trim().parse::<u32>() {
        Ok(number) if (1..=MOST_EACH).contains(&number) => Ok((number, rest.trim())),
        _ => Err(format!("type a number from 1 to {MOST_EACH} before the x.")),
    }
}

/// A length of tape with its ends and joints, and what stands after its commas beside them.
struct Stretched<'a> {
    units: u32,
    ends: [CutsEnd; 2],
    every: Option<u32>,
    offset: Option<u32>,
    others: Vec<&'a str>,
}

/// `5 m lead bare, joints 450 mm from 100 mm`: the length, what is at its start and end, the
/// distance of its pre-tinned joints and where the first is.
fn stretch(line: &str, reading: Reading) -> Result<Stretched<'_>, String> {
    let mut commas = line.split(',').map(str::trim);
    let mut rest = commas.next().unwrap_or_default();
    let mut ends = [CutsEnd::Bare, CutsEnd::Bare];
    for end in ends.iter_mut().rev() {
        if let Some(shorter) = rest.strip_suffix("lead") {
            (*end, rest) = (CutsEnd::Lead, shorter.trim_end());
        } else if let Some(shorter) = rest.strip_suffix("bare") {
            rest = shorter.trim_end();
        }
    }
    let mut stretched = Stretched {
        units: reading.some_units(rest)?,
        ends,
        every: None,
        offset: None,
        others: Vec::new(),
    };
    for word in commas {
        let Some(joints) = word.strip_prefix("joints") else {
            stretched.others.push(word);
            continue;
        };
        let (every, from) = match joints.split_once("from") {
            Some((every, from)) => (every, Some(from)),
            None => (joints, None),
        };
        stretched.every = Some(reading.some_units(every.trim())?);
        stretched.offset = from.map(|from| reading.units(from.trim())).transpose()?;
    }
    Ok(stretched)
}

fn piece_line(line: &str, at: usize, reading: Reading) -> Result<Vec<CutsPiece>, String> {
    let (name, rest) = named(line);
    let (count, rest) = number(rest)?;
    let stretched = stretch(rest, reading)?;
    if let Some(other) = stretched.others.first() {
        return Err(format!(
            "“{other}” is not understood; after the comma stands joints and their distance."
        ));
    }
    let name = name.map_or_else(|| format!("piece {at}"), str::to_owned);
    let [start, end] = stretched.ends;
    let pieces = (1..=count).map(|nth| CutsPiece {
        name: if count == 1 {
            name.clone()
        } else {
            format!("{name} no. {nth}")
        },
        units: stretched.units,
        start,
        end,
        joint_every_units: stretched.every,
        joint_offset_units: stretched.offset,
    });
    Ok(pieces.collect())
}

fn roll_line(line: &str, at: usize, reading: Reading) -> Result<CutsRoll, String> {
    let (name, rest) = named(line);
    let stretched = stretch(rest, reading)?;
    let (mut price, mut quantity) = (None, None);
    for word in &stretched.others {
        if let Some(sum) = word.strip_prefix("at ") {
            let sum = Money::parse(sum, &reading.currency).map_err(|why| why.to_string())?;
            price = Some(sum.get());
        } else if let Some(most) = word.strip_prefix("most ") {
            let most = most.trim().parse::<u32>();
            quantity = Some(most.map_err(|_| "after most stands how many can be had.".to_owned())?);
        } else {
            return Err(format!(
                "“{word}” is not understood; after commas stand joints, at and a price, most and \
                 how many."
            ));
        }
    }
    let [start, end] = stretched.ends;
    Ok(CutsRoll {
        name: name.map_or_else(|| format!("roll {at}"), str::to_owned),
        units: stretched.units,
        start,
        end,
        joint_every_units: stretched.every,
        joint_offset_units: stretched.offset,
        price_minor: price.ok_or_else(|| {
            "say what the roll costs, such as 5 m lead lead, at 42.00.".to_owned()
        })?,
        quantity,
    })
}

fn bar_line(line: &str, at: usize, reading: Reading) -> Result<CutsBar, String> {
    let (name, rest) = named(line);
    let (quantity, rest) = number(rest)?;
    let (rest, fed) = match rest.strip_suffix("both") {
        Some(rest) => (rest.trim_end(), CutsFed::BothEnds),
        None => (rest, CutsFed::OneEnd),
    };
    let units = reading.some_units(rest)?;
    Ok(CutsBar {
        name: name.map_or_else(
            || {
                format!(
                    "{} (line {at})",
                    reading.pitch.length_of(units.into()).show(reading.unit)
                )
            },
            str::to_owned,
        ),
        units,
        quantity,
        fed,
    })
}

/// Answers away from what serves pages.
async fn answer(
    cx: &Cx,
    form: &mut Form,
    body: Option<CutsBody>,
    field: impl Fn(&str) -> &'static str,
) -> Option<Answered> {
    let body = body?;
    let (body, said) = away(body, cuts::answer).await;
    let answered = said.and_then(|said| answered(cx, &body, &said));
    match answered {
        Ok(answered) => Some(answered),
        Err(why) => {
            refuse(form, &why, field);
            None
        }
    }
}

fn known(proven: Option<bool>, bound: Option<String>) -> String {
    match (proven, bound) {
        (Some(true), _) => "proven least".to_owned(),
        (_, Some(bound)) => format!("the best found; it cannot be below {bound}"),
        _ => "the best found".to_owned(),
    }
}

fn answered(cx: &Cx, body: &CutsBody, said: &CutsAnswer) -> Result<Answered, Refused> {
    let pitch = body.pitch()?;
    let length = |units: u64| pitch.length_of(units).show(cx.unit());
    let rest = &said.rest;
    let trade = said.trade_off.as_ref();
    Ok(Answered {
        short: said
            .short
            .iter()
            .map(|it| format!("{} × {}: {}", it.quantity, it.bar, it.why))
            .collect(),
        buy: said
            .bought
            .iter()
            .map(|it| format!("{} × {}", it.count, it.roll))
            .collect(),
        cuts: said
            .layouts
            .iter()
            .filter_map(|layout| cut(cx, body, pitch, layout))
            .collect(),
        lines: vec![
            format!(
                "Rolls cost {}: {}.",
                sum(cx, said.purchase_minor),
                known(
                    said.proven.money,
                    said.purchase_bound_minor.map(|minor| sum(cx, minor))
                )
            ),
            format!(
                "Soldering work {}: {}.",
                said.solder_work,
                known(
                    said.proven.solder,
                    said.solder_bound.map(|work| work.to_string())
                )
            ),
            format!(
                "Scrap {}, usable offcuts {}: {}.",
                if rest.scrap_units == 0 {
                    "none".to_owned()
                } else {
                    length(rest.scrap_units)
                },
                rest.offcuts,
                if said.proven.rest == Some(true) {
                    "proven best"
                } else {
                    "the best found"
                }
            ),
        ],
        trade: trade
            .iter()
            .flat_map(|trade| &trade.points)
            .map(|point| TradeRow {
                ends: point.soldered_ends,
                money: sum(cx, point.purchase_minor),
            })
            .collect(),
        trade_known: match trade {
            Some(trade) if trade.proven => "Each is proven least.",
            _ => "Not all of this is proven least.",
        },
        document: serde_json::to_string_pretty(body).unwrap_or_default(),
    })
}

/// A lead as it is drawn.
fn drawn_end(end: CutsEnd) -> End {
    match (end, Name::parse("lead")) {
        (CutsEnd::Lead, Ok(family)) => End::Lead {
            connector: Connector {
                family,
                gender: Gender::Male,
                pins: None,
            },
        },
        _ => End::Bare,
    }
}

/// One layout, drawn.
fn cut(cx: &Cx, body: &CutsBody, pitch: CutPitch, layout: &CutsLayout) -> Option<Cut> {
    let (units, ends, every, offset) = if layout.bought {
        let roll = body.rolls.iter().find(|it| it.name == layout.from)?;
        let joints = (roll.joint_every_units, roll.joint_offset_units);
        (roll.units, (roll.start, roll.end), joints.0, joints.1)
    } else {
        let piece = body.pieces.iter().find(|it| it.name == layout.from)?;
        let joints = (piece.joint_every_units, piece.joint_offset_units);
        (piece.units, (piece.start, piece.end), joints.0, joints.1)
    };
    let signed = |units: u64| i64::try_from(units).unwrap_or(i64::MAX);
    let segments = layout.segments.iter().map(|segment| {
        let length = pitch.length_of(segment.to_unit - segment.from_unit);
        let length = length.show(cx.unit());
        let (stretch, label) = match &segment.bar {
            Some(bar) => {
                let solder = match segment.solder.len() {
                    0 => "no soldering",
                    1 => "one joint",
                    _ => "two joints",
                };
                (Stretch::Bar, format!("{bar}, {solder}"))
            }
            None if segment.offcut => (Stretch::Rest, format!("offcut, {length}")),
            None => (Stretch::Scrap, format!("scrap, {length}")),
        };
        Segment {
            from: signed(segment.from_unit),
            to: signed(segment.to_unit),
            stretch,
            label,
            mark: segment.bar.clone(),
            href: None,
        }
    });
    let title = match (layout.bought, layout.count) {
        (false, _) => layout.from.clone(),
        (true, 1) => format!("{}, to buy", layout.from),
        (true, count) => format!("{count} × {}, to buy, each cut so", layout.from),
    };
    Some(Cut {
        picture: Strip {
            name: layout.from.clone(),
            unit: StockUnit::CutUnits(pitch),
            amount: units.into(),
            rest_um: 0,
            start: drawn_end(ends.0),
            end: drawn_end(ends.1),
            joints: every.map(|every| (offset.unwrap_or(0).into(), every.into())),
            segments: segments.collect(),
            show: cx.unit(),
        }
        .draw(),
        title,
    })
}
