//! The cut list by roll: drawn, with marks and lengths, joints to solder and leads, and whether it
//! is proven least.

use askama::Template;

use super::{
    Head, MOST_OPEN, Tab, Whole, count_of, head, load,
    pins::{self, PinsShown, status},
    trade::{self, Trade},
};
use crate::{
    draw::{
        Picture,
        strip::{Segment, Stretch, Strip, list_letter},
    },
    model::{
        id::{DesignId, OfferId},
        part::{PartSpec, StockUnit},
        piece::{End, length_of},
    },
    plan::{
        answer::{Proof, Why},
        outcome::{Becomes, CutProof, CutSource, Joint, PieceCut, Serve},
    },
    stock::{StockError, desk},
    units::{Length, Money},
    web::{
        at::Path,
        cx::Cx,
        error::Answer,
        form::Form,
        link::Link,
        page::{Chrome, page_with},
    },
};

/// One piece to be cut, or one roll to buy and cut.
pub struct CutRow {
    /// What it is of.
    pub part: String,
    /// Its tag and page, if it is there.
    pub piece: Option<(Link, String)>,
    /// What it is if it is to be bought.
    pub buy: Option<String>,
    /// Which of those to buy it is.
    pub nth: Option<u32>,
    /// Where it lies.
    pub place: String,
    /// Where it says why this piece is cut, or why these packs are bought.
    pub ask: Option<Link>,
    /// As it is drawn.
    pub strip: Strip,
    /// Drawn.
    pub picture: Picture,
    /// What is cut, in order from the marked end.
    pub lines: Vec<CutLine>,
    /// Whether it is used whole, with no cut.
    pub whole: bool,
    /// The piece above it that is drawn and is cut at the same marks.
    pub like: Option<String>,
}

impl CutRow {
    /// Its tag, or what is bought.
    fn name(&self) -> String {
        match (&self.piece, &self.buy) {
            (Some((_, tag)), _) => tag.clone(),
            (None, Some(buy)) => format!("to buy, {buy}"),
            (None, None) => String::new(),
        }
    }

    /// Whether both are cut at the same marks for the same kind of use.
    pub fn is_like(&self, other: &Self) -> bool {
        let same = |(a, b): (&CutLine, &CutLine)| {
            a.at == b.at
                && a.joints == b.joints
                && a.is_for_bar() == b.is_for_bar()
                && (a.is_for_bar() || a.becomes == b.becomes)
        };
        self.piece.is_some() == other.piece.is_some()
            && self.lines.len() == other.lines.len()
            && self.lines.iter().zip(&other.lines).all(same)
    }

    /// What it becomes, in a line.
    fn becomes(&self) -> String {
        let each = self.lines.iter().map(|line| line.becomes.as_str());
        each.collect::<Vec<_>>().join(", ")
    }
}

/// One stretch of a piece.
pub struct CutLine {
    /// What it is called in the picture above.
    pub letter: String,
    /// Where it begins and ends.
    pub at: String,
    /// How long it is.
    pub length: String,
    /// What it becomes.
    pub becomes: String,
    /// What is done at its ends.
    pub joints: String,
    bar: bool,
    from: i64,
}

impl CutLine {
    /// Whether it goes into a bar.
    pub const fn is_for_bar(&self) -> bool {
        self.bar
    }
}

struct ProofRow {
    part: String,
    lines: Vec<(&'static str, String)>,
}

#[derive(Template)]
#[template(path = "design/cuts.html")]
struct CutsPage {
    chrome: Chrome,
    head: Head,
    groups: Vec<(String, Vec<CutRow>)>,
    proofs: Vec<ProofRow>,
    trades: Vec<Trade>,
    solder: Vec<String>,
    bars: usize,
    /// What is known of the choice of tapes.
    tapes: Option<String>,
    pins: PinsShown,
}

/// What is done at both ends of a stretch that goes into a bar.
pub fn joint_words(start: Joint, end: Joint) -> String {
    match (start, end) {
        (Joint::None, Joint::None) => String::new(),
        (start, Joint::None) => format!("start: {start}"),
        (Joint::None, end) => format!("end: {end}"),
        (start, end) => format!("start: {start}; end: {end}"),
    }
}

/// What is said of a stretch that another set holds.
const HELD: &str = "leave it: another set holds it";

/// Stretches of a piece that are not free for this set, where nothing is cut.
fn held(free: &[(i64, i64)], cut: &PieceCut) -> Vec<(i64, i64)> {
    let begins = std::iter::once(0).chain(free.iter().map(|(_, to)| *to));
    let ends = free.iter().map(|(from, _)| *from).chain([cut.amount]);
    let apart = |&(from, to): &(i64, i64)| {
        from < to && (cut.segments.iter()).all(|it| it.to <= from || to <= it.from)
    };
    begins.zip(ends).filter(apart).collect()
}

fn row(cx: &Cx, whole: &Whole, cut: &PieceCut) -> CutRow {
    let part = whole.part(cut.part);
    let unit = part.map_or(StockUnit::Micrometres, crate::model::part::Part::unit);
    let show = |amount: i64| cx.length(length_of(unit, amount, 0));
    let spare = match &cut.source {
        CutSource::Piece { thing, .. } => whole
            .input()
            .stock
            .pieces
            .iter()
            .find(|spare| spare.piece.id == *thing),
        CutSource::Buy { .. } => None,
    };
    let tape = part.and_then(|part| match &part.spec {
        PartSpec::Tape(tape) => Some(tape),
        _ => None,
    });
    let name = match &cut.source {
        CutSource::Piece { tag, .. } => tag.to_string(),
        CutSource::Buy { nth, .. } => format!("to buy, {nth}"),
    };
    let lead = |connector: Option<&crate::model::connector::Connector>| {
        connector.map_or(End::Bare, |connector| End::Lead {
            connector: connector.clone(),
        })
    };
    let (start, end, rest_um) = match (spare, tape) {
        (Some(spare), _) => (
            spare.piece.start.clone(),
            spare.piece.end.clone(),
            spare.piece.rest_um,
        ),
        (None, Some(tape)) => (
            lead(tape.roll_start.as_ref()),
            lead(tape.roll_end.as_ref()),
            0,
        ),
        (None, None) => (End::Bare, End::Bare, 0),
    };
    let joints = tape.and_then(|tape| tape.joints).map(|joints| {
        let first = spare
            .and_then(|spare| spare.piece.joint_offset_units)
            .unwrap_or(i64::from(joints.offset_units));
        (first, i64::from(joints.every_units))
    });
    let words = |becomes: &Becomes| match becomes {
        Becomes::Bar { bar, .. } => format!("bar {}", whole.bar_label(*bar)),
        Becomes::Feed => "feed from supply to driver".to_owned(),
        Becomes::Extra { .. } => "extra line of the set".to_owned(),
        Becomes::Offcut => "rest, kept".to_owned(),
        Becomes::Scrap => "scrap".to_owned(),
    };
    let held = spare.map_or_else(Vec::new, |spare| held(&spare.free, cut));
    let mut segments: Vec<Segment> = (cut.segments.iter())
        .map(|segment| Segment {
            from: segment.from,
            to: segment.to,
            stretch: match segment.becomes {
                Becomes::Bar { .. } | Becomes::Feed | Becomes::Extra { .. } => Stretch::Bar,
                Becomes::Offcut => Stretch::Rest,
                Becomes::Scrap => Stretch::Scrap,
            },
            label: words(&segment.becomes),
            mark: Some(match segment.becomes {
                Becomes::Bar { bar, .. } => whole.bar_label(bar),
                Becomes::Feed => "feed".to_owned(),
                Becomes::Extra { .. } => "extra".to_owned(),
                Becomes::Offcut => "rest".to_owned(),
                Becomes::Scrap => String::new(),
            }),
            href: match segment.becomes {
                Becomes::Bar { bar, .. } => Some(Link::Bar(whole.design().id, bar).to_string()),
                _ => None,
            },
        })
        .chain(held.iter().map(|&(from, to)| Segment {
            from,
            to,
            stretch: Stretch::Held,
            label: HELD.to_owned(),
            mark: Some("held".to_owned()),
            href: None,
        }))
        .collect();
    segments.sort_by_key(|segment| segment.from);
    let line = |from: i64, to: i64, becomes: Option<&Becomes>| CutLine {
        letter: String::new(),
        from,
        at: match unit {
            // Cut marks are counted at the bench; lengths tell whether one counted right.
            StockUnit::CutUnits(_) => {
                format!("mark {from} to {to}, {} to {}", show(from), show(to))
            }
            StockUnit::Each | StockUnit::Micrometres => format!("{} to {}", show(from), show(to)),
        },
        length: show(to - from),
        becomes: becomes.map_or_else(|| HELD.to_owned(), words),
        bar: matches!(becomes, Some(Becomes::Bar { .. })),
        joints: match becomes {
            Some(Becomes::Bar { start, end, .. }) => joint_words(*start, *end),
            _ => String::new(),
        },
    };
    let mut lines: Vec<CutLine> = (cut.segments.iter())
        .map(|segment| line(segment.from, segment.to, Some(&segment.becomes)))
        .chain(held.iter().map(|&(from, to)| line(from, to, None)))
        .collect();
    lines.sort_by_key(|line| line.from);
    for (at, line) in lines.iter_mut().enumerate() {
        line.letter = list_letter(at);
    }
    let strip = Strip {
        name,
        unit,
        amount: cut.amount,
        rest_um,
        start,
        end,
        joints,
        segments,
        show: cx.unit(),
    };
    CutRow {
        part: whole.part_name(cut.part),
        piece: match &cut.source {
            CutSource::Piece { thing, tag } => Some((Link::Thing(*thing), tag.to_string())),
            CutSource::Buy { .. } => None,
        },
        buy: match &cut.source {
            CutSource::Buy { roll_um, nth, .. } => {
                Some(format!("number {nth}, {}", roll_um.say_sold(cx.unit())))
            }
            CutSource::Piece { .. } => None,
        },
        nth: match &cut.source {
            CutSource::Buy { nth, .. } => Some(*nth),
            CutSource::Piece { .. } => None,
        },
        place: spare.map_or_else(String::new, |spare| spare.place.path.clone()),
        ask: match &cut.source {
            _ if !whole.is_open() => None,
            CutSource::Piece { thing, .. } => Some(Link::CutsWhy(whole.design().id, *thing)),
            // Bought rolls of one offer are alike: it is asked of all of them.
            CutSource::Buy { offer, .. } => offer
                .filter(|offer| bought(whole, *offer))
                .map(|offer| Link::ShoppingWhy(whole.design().id, offer)),
        },
        picture: strip.draw(),
        strip,
        like: None,
        whole: matches!(&cut.segments[..], [only] if only.to - only.from == cut.amount),
        lines,
    }
}

/// Whether the shopping list has packs of the offer: it may buy like rolls elsewhere.
fn bought(whole: &Whole, offer: OfferId) -> bool {
    let mut packs = whole.plan().needs.iter().flat_map(|need| &need.buy);
    packs.any(|buy| buy.offer == offer)
}

/// Every piece that is cut, by part.
pub fn rows(cx: &Cx, whole: &Whole) -> Vec<(String, Vec<CutRow>)> {
    let mut groups: Vec<(String, Vec<CutRow>)> = Vec::new();
    for cut in &whole.plan().cuts {
        let row = row(cx, whole, cut);
        match groups.last_mut() {
            Some((part, rows)) if *part == row.part => {
                let first = rows
                    .iter()
                    .find(|first| first.like.is_none() && row.is_like(first));
                let like = first.map(CutRow::name);
                rows.push(CutRow { like, ..row });
            }
            _ => groups.push((row.part.clone(), vec![row])),
        }
    }
    groups
}

fn proof_words<T: std::fmt::Display>(proof: &Proof<T>, show: impl Fn(&T) -> String) -> String {
    match proof {
        Proof::Proven => "proven: no cut list does better".to_owned(),
        Proof::Within { bound } => {
            format!("not proven; no cut list can do better than {}", show(bound))
        }
        Proof::Open { why } => format!("not proven: {why}"),
    }
}

fn proof(cx: &Cx, whole: &Whole, proof: &CutProof) -> ProofRow {
    ProofRow {
        part: whole.part_name(proof.part),
        lines: vec![
            (
                "Fewest bars short",
                proof_words(&proof.short, |bars| {
                    count_of(usize::try_from(*bars).unwrap_or(0), "bar", "bars")
                }),
            ),
            if proof.priced {
                (
                    "Least money",
                    proof_words(&proof.money, |minor| {
                        Money::new(*minor).map_or_else(|_| minor.to_string(), |sum| cx.money(sum))
                    }),
                )
            } else {
                (
                    "Least length bought, as there is no price",
                    proof_words(&proof.money, |millimetres| {
                        Length::new(millimetres.saturating_mul(1_000))
                            .map_or_else(|_| millimetres.to_string(), |length| cx.length(length))
                    }),
                )
            },
            (
                "Least soldering",
                proof_words(&proof.solder, |work| format!("{work} points of work")),
            ),
            (
                "Least scrap, then fewest and longest rests",
                proof_words(&proof.rest, |scrap| {
                    format!("{} of scrap", whole.amount(cx, Some(proof.part), *scrap))
                }),
            ),
        ],
    }
}

/// What is known of the choice of tapes.
fn tape_words(cx: &Cx, whole: &Whole) -> Option<String> {
    let known = match whole.plan().tape_proof {
        Proof::Proven => {
            "No other choice of one for each costs less, packs and deliveries included.".to_owned()
        }
        Proof::Within { bound } => {
            let bound = Money::new(bound).unwrap_or(Money::ZERO);
            format!(
                "Several fit, and each choice was planned. Another may cost less than these {}, packs and deliveries included, but not below {}.",
                cx.money(whole.plan().cost.planned_minor),
                cx.money(bound)
            )
        }
        Proof::Open {
            why: Why::StepBudget,
        } => "Several fit; not every choice of them was planned to its end.".to_owned(),
        Proof::Open { .. } => return None,
    };
    Some(format!(
        "Bars that ask for the same are made of one tape, so that they look alike. {known}"
    ))
}

/// Leads to solder, by what is done, in words.
pub fn solder(whole: &Whole) -> Vec<String> {
    let mut counts = [0_usize; 3];
    let mut leads: std::collections::BTreeMap<String, i64> = std::collections::BTreeMap::new();
    for bar in &whole.plan().bars {
        let Serve::Build(build) = &bar.serve else {
            continue;
        };
        for joint in [build.start, build.end] {
            match joint {
                Joint::FactoryLead => counts[0] += 1,
                Joint::Tinned => counts[1] += 1,
                Joint::Mark => counts[2] += 1,
                Joint::None => {}
            }
        }
        if let Some((part, number)) = build.lead {
            *leads.entry(whole.part_name(part)).or_default() += number;
        }
    }
    let mut lines = Vec::new();
    for (count, one, many) in [
        (
            counts[0],
            "end has a factory lead",
            "ends have a factory lead",
        ),
        (
            counts[1],
            "lead is soldered on a pre-tinned joint",
            "leads are soldered on pre-tinned joints",
        ),
        (
            counts[2],
            "lead is soldered on another cut mark",
            "leads are soldered on other cut marks",
        ),
    ] {
        if count > 0 {
            lines.push(count_of(count, one, many));
        }
    }
    lines.extend(
        leads
            .into_iter()
            .map(|(name, number)| format!("{number} × {name}")),
    );
    lines
}

/// GET: the page.
pub async fn get(cx: Cx, Path(id): Path<DesignId>) -> Answer {
    let whole = load::whole(&cx, id).await?;
    show(&cx, &whole, &Form::default()).await
}

/// The page, with the form of its pins as it was typed.
pub async fn show(cx: &Cx, whole: &Whole, form: &Form) -> Answer {
    let pins = pins::shown(cx, whole, Tab::Cuts, form).await?;
    let (chrome, head) = head(cx, whole, Tab::Cuts);
    let questions = trade::questions(whole);
    let trades = desk::work(move |wanted| trade::found(questions, wanted)).await;
    let trades = trades.map_err(StockError::from)?;
    let cuts = CutsPage {
        chrome,
        pins,
        groups: rows(cx, whole),
        proofs: whole
            .plan()
            .proofs
            .iter()
            .map(|one| proof(cx, whole, one))
            .collect(),
        trades: trades
            .into_iter()
            .map(|(part, found)| trade::shown(cx, part, &found))
            .collect(),
        solder: solder(whole),
        bars: whole.design().bars.len(),
        tapes: tape_words(cx, whole),
        head,
    };
    Ok(page_with(status(form), &cuts))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{model::id::PartId, plan::outcome::CutSegment};

    #[test]
    fn what_another_set_holds_is_left_alone() {
        let cut = |segments: &[(i64, i64)]| PieceCut {
            part: PartId(1),
            source: CutSource::Buy {
                offer: None,
                roll_um: Length::default(),
                nth: 1,
            },
            amount: 50,
            segments: (segments.iter())
                .map(|&(from, to)| CutSegment {
                    from,
                    to,
                    becomes: Becomes::Offcut,
                })
                .collect(),
        };
        let free = [(18, 30), (35, 41)];
        let all = [(0, 18), (30, 35), (41, 50)];
        assert_eq!(held(&free, &cut(&[(18, 30), (35, 41)])), all);
        // All of it is free.
        assert_eq!(held(&[(0, 50)], &cut(&[(0, 20)])), []);
        // The plan that is shown is of a day when more was free.
        assert_eq!(held(&free, &cut(&[(10, 30)])), all[1..]);
    }
}
