//! The answer: the plan in the question's names.

use std::{collections::BTreeMap, time::Duration};

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::{asked::CutsBody, trade::CutsTradeOff};
use crate::{
    model::text::words,
    plan::{
        answer::Proof,
        cut::{Aim, CutPlan, Joining, Layout, Problem, Rest, Source, TradeOff, Use},
    },
};

words! {
    /// An end of a bar.
    CutsEndOf {
        /// The one nearer to the piece's start.
        Start = "start", "start";
        /// The other.
        End = "end", "end";
    }
}

/// What is left over.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct CutsRest {
    /// Units in rests shorter than `usable_offcut_units`.
    pub scrap_units: u64,
    /// How many usable rests; untouched pieces are not among them.
    pub offcuts: u64,
    /// Sum of the squared lengths of usable rests and untouched pieces.
    pub squared: u64,
}

/// What is proven: true where nothing can be better without giving up what matters more, false
/// where that is not known, `null` where it was not asked for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct CutsProven {
    /// The bars left short, and money.
    pub money: Option<bool>,
    /// Soldering work.
    pub solder: Option<bool>,
    /// The rest.
    pub rest: Option<bool>,
}

/// Bars that can't be cut.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct CutsShort {
    /// Which.
    pub bar: String,
    /// How many of them.
    pub quantity: u32,
    /// Why, as a sentence.
    pub why: String,
}

/// A stretch of a piece: a bar, an offcut to keep, or scrap.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct CutsSegment {
    /// Which bar; left out where it is none.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(nullable = false)]
    pub bar: Option<String>,
    /// True where it is a rest worth keeping; left out elsewhere.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    #[schema(required = false)]
    pub offcut: bool,
    /// True where it is a rest too short to keep; left out elsewhere.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    #[schema(required = false)]
    pub scrap: bool,
    /// Where it begins, in units from the piece's start.
    pub from_unit: u64,
    /// Where it ends.
    pub to_unit: u64,
    /// The ends of the bar to solder. A feed that is not among them comes from a factory lead.
    pub solder: Vec<CutsEndOf>,
}

/// How a piece is cut, or several rolls alike. The segments tile it from its start to its end but
/// for saw cuts and trimmed ends.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct CutsLayout {
    /// The piece or roll.
    pub from: String,
    /// Whether it is a roll to buy.
    pub bought: bool,
    /// How many are cut so; 1 for a piece.
    pub count: u32,
    /// Its stretches, in the order of measuring.
    pub segments: Vec<CutsSegment>,
}

/// Rolls to buy.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct CutsBought {
    /// Which.
    pub roll: String,
    /// How many.
    pub count: u32,
}

/// How to cut.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct CutsAnswer {
    /// What the rolls cost.
    pub purchase_minor: i64,
    /// What they cost at least; `null` where nothing is known, as the bars short are not proven.
    pub purchase_bound_minor: Option<i64>,
    /// Soldering: the weights of all fed ends added up.
    pub solder_work: u64,
    /// Soldering at least, for that money; `null` where nothing is known or it was not asked for.
    pub solder_bound: Option<u64>,
    /// What is left over.
    pub rest: CutsRest,
    /// No rest is better than this, for that money and soldering; `null` where nothing is known or
    /// it was not asked for.
    pub rest_bound: Option<CutsRest>,
    /// What is proven.
    pub proven: CutsProven,
    /// Bars that can't be cut.
    pub short: Vec<CutsShort>,
    /// How each piece is cut: pieces first, then rolls.
    pub layouts: Vec<CutsLayout>,
    /// Rolls to buy.
    pub bought: Vec<CutsBought>,
    /// What soldering saves, where it was asked for.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(nullable = false)]
    pub trade_off: Option<CutsTradeOff>,
    /// How long it took, in milliseconds.
    pub elapsed_ms: u64,
}

impl CutsAnswer {
    pub(super) fn new(
        asked: &CutsBody,
        problem: &Problem,
        plan: &CutPlan,
        trade_off: Option<&TradeOff>,
        elapsed: Duration,
    ) -> Self {
        let (layouts, bought) = laid_out(asked, plan);
        let aim = asked.aim();
        let rest = |rest: &Rest| CutsRest {
            scrap_units: rest.scrap_units,
            offcuts: rest.offcuts,
            squared: u64::try_from(rest.squares).unwrap_or(u64::MAX),
        };
        let proof = &plan.proof;
        let asked_for = |level, proven| (aim >= level).then_some(proven);
        let short_proven = proof.short.is_proven();
        Self {
            purchase_minor: plan.purchase_minor,
            purchase_bound_minor: bound(&proof.money, plan.purchase_minor)
                .filter(|_| aim >= Aim::Money && short_proven),
            solder_work: plan.solder_work,
            solder_bound: bound(&proof.solder, plan.solder_work).filter(|_| aim >= Aim::Solder),
            rest: rest(&plan.rest),
            rest_bound: bound(&proof.rest, plan.rest)
                .filter(|_| aim >= Aim::Rest)
                .as_ref()
                .map(rest),
            proven: CutsProven {
                money: asked_for(Aim::Money, short_proven && proof.money.is_proven()),
                solder: asked_for(Aim::Solder, proof.solder.is_proven()),
                rest: asked_for(Aim::Rest, proof.rest.is_proven()),
            },
            short: plan
                .short
                .iter()
                .map(|short| CutsShort {
                    bar: asked.bars[short.want].name.clone(),
                    quantity: short.quantity,
                    why: why_short(asked, problem, short.want, short_proven),
                })
                .collect(),
            layouts,
            bought,
            trade_off: trade_off.map(|found| CutsTradeOff::new(asked, found)),
            elapsed_ms: u64::try_from(elapsed.as_millis()).unwrap_or(u64::MAX),
        }
    }
}

/// The layouts in the question's names, rolls cut alike together, and what is bought.
pub(super) fn laid_out(asked: &CutsBody, plan: &CutPlan) -> (Vec<CutsLayout>, Vec<CutsBought>) {
    let mut layouts: Vec<CutsLayout> = Vec::new();
    let mut bought: BTreeMap<usize, u32> = BTreeMap::new();
    for layout in &plan.layouts {
        let written = written(asked, layout);
        if let Source::Roll(roll) = layout.source {
            *bought.entry(roll).or_default() += 1;
            let like = |known: &&mut CutsLayout| {
                known.bought && known.from == written.from && known.segments == written.segments
            };
            if let Some(known) = layouts.iter_mut().find(like) {
                known.count += 1;
                continue;
            }
        }
        layouts.push(written);
    }
    let bought = bought.into_iter().map(|(roll, count)| CutsBought {
        roll: asked.rolls[roll].name.clone(),
        count,
    });
    (layouts, bought.collect())
}

/// What a proof leaves possible.
pub(super) fn bound<T: Copy>(proof: &Proof<T>, value: T) -> Option<T> {
    match proof {
        Proof::Proven => Some(value),
        Proof::Within { bound } => Some(*bound),
        Proof::Open { .. } => None,
    }
}

/// Why bars of a line are short: too long for everything, or not enough of everything.
fn why_short(asked: &CutsBody, problem: &Problem, want: usize, proven: bool) -> String {
    let units = problem.wants[want].units;
    let trim = 2 * problem.trim_units;
    let rolls = problem
        .rolls
        .iter()
        .filter(|roll| roll.quantity != Some(0))
        .map(|roll| roll.piece.units);
    let longest = problem
        .stock
        .iter()
        .map(|piece| piece.units)
        .chain(rolls)
        .max();
    let length = |units: u64| match asked.pitch() {
        Ok(pitch) => format!(
            "{units} units ({} mm)",
            pitch.length_of(units).get() / 1_000
        ),
        Err(_) => format!("{units} units"),
    };
    match longest.map(|longest| longest.saturating_sub(trim)) {
        None => "There is no piece on hand and no roll to buy.".to_owned(),
        Some(longest) if longest < units => format!(
            "It needs {}; the longest piece or roll gives {}.",
            length(units),
            length(longest)
        ),
        Some(_) if proven => {
            "The pieces on hand and the rolls that can be had don't give more bars.".to_owned()
        }
        Some(_) => "No way to cut it was found in the time given.".to_owned(),
    }
}

fn written(asked: &CutsBody, layout: &Layout) -> CutsLayout {
    let (from, bought) = match layout.source {
        Source::Stock(at) => (&asked.pieces[at].name, false),
        Source::Roll(at) => (&asked.rolls[at].name, true),
    };
    let segments = layout.segments.iter().filter_map(|segment| {
        let mut written = CutsSegment {
            bar: None,
            offcut: false,
            scrap: false,
            from_unit: segment.from,
            to_unit: segment.to,
            solder: Vec::new(),
        };
        match segment.becomes {
            Use::Bar { want, start, end } => {
                written.bar = Some(asked.bars[want].name.clone());
                written.solder = [(CutsEndOf::Start, start), (CutsEndOf::End, end)]
                    .into_iter()
                    .filter(|(_, on)| on.is_some_and(|on| on != Joining::FactoryLead))
                    .map(|(end, _)| end)
                    .collect();
            }
            Use::Offcut => written.offcut = true,
            Use::Scrap => written.scrap = true,
            Use::Kerf | Use::Trim => return None,
        }
        Some(written)
    });
    CutsLayout {
        from: from.clone(),
        bought,
        count: 1,
        segments: segments.collect(),
    }
}
