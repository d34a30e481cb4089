//! Cutting: from which piece each bar is cut, where it lies in it, and what must be bought.
//!
//! # Contract
//! A [`Problem`] names pieces on hand (each used at most once), rolls that can be bought,
//! and wanted bars. All lengths are whole units (cut units of tape, or µm of a bar that is
//! sawn), money is whole minor units. Among all ways to cut, [`plan`] looks for the best in
//! this order:
//! 1. fewest bars left short, all bars counting alike;
//! 2. least money for rolls;
//! 3. least soldering work: for each fed end of a bar the weight of what it lies on, see
//!    [`Joining`];
//! 4. the most useful rest ([`Rest`]): least scrap, then fewest usable offcuts, then the
//!    greatest sum of squared lengths, to which stock left untouched belongs.
//!
//! A bar fed at one end may be turned, so it is fed where that is least work. A rest of a
//! piece is an [`Use::Offcut`] from `usable_units` on and [`Use::Scrap`] below. With a kerf,
//! each saw cut turns that much into dust; a last cut with less than a kerf left behind it
//! turns all of it into dust.
//!
//! The answer's [`Proofs`] say for each objective whether it is proven least. It depends on
//! step budgets, never on a clock, and not on the order of the input: the same pieces in
//! another order give the same figures and the same layouts.
//!
//! # Method
//! Like pieces and like bars are merged (`pattern`). A start is built by filling pieces with
//! the best subset sums (`start`), and improved by taking a few pieces apart and solving those
//! again exactly (`search`). Then one objective after the other is bounded by a linear program over
//! all ways to cut a piece, which are made as they are needed (`levels`, `simplex`; P. C. Gilmore
//! and R. E. Gomory 1961) by shortest paths along each piece, leads and joints included (`price`).
//! Bars short and money are looked at without soldering, where bars and pieces of one length count
//! alike (`plain`): from the cheapest purchase on that the prices of bars allow (`purchase`), rolls and
//! pieces are filled (`bins`) or shown to hold too little. What matters less is then asked for one
//! purchase of the least money at a time (`bought`): without parts of rolls, bounds are far higher.
//! What lies between bound and plan is searched from below: all ways to cut that a plan up to a
//! target can have are listed (`list`), and branched on (`tree`) or gone through by what they serve
//! (`reach`). Cases too large for that are searched depth first over patterns (`search`), with
//! bounds by weights of the bars (`bound`).
//!
//! # What proven rests on
//! The linear programs are in floating point and only steer. Their prices become whole numbers, and
//! every bound is worked out again from those in whole numbers, so that no margin is needed: each
//! bound holds whatever the prices are.
//!
//! Exact search takes time exponential in the number of bars; the step budget caps it.
//!
//! # Example
//! A ten and a nine on hand: two fives from the ten and three threes from the nine need no
//! roll; longest bar first into the first piece would buy one.
//! ```
//! use tapewright::plan::cut::{
//!     Budget, End, Fed, Problem, Roll, SolderWeights, Stock, Want, plan, verify,
//! };
//!
//! let stock = |units| Stock { units, start: End::Bare, end: End::Bare, joints: None };
//! let want = |units, quantity| Want { units, quantity, fed: Fed::OneEnd };
//! let problem = Problem {
//!     stock: vec![stock(10), stock(9)],
//!     rolls: vec![Roll { piece: stock(10), price_minor: 100, quantity: None }],
//!     wants: vec![want(5, 2), want(3, 3)],
//!     usable_units: 2,
//!     kerf_units: 0,
//!     trim_units: 0,
//!     weights: SolderWeights::USUAL,
//! };
//! let best = plan(&problem, Budget::USUAL).unwrap();
//! assert_eq!(verify(&problem, &best), Ok(()));
//! assert_eq!(best.purchase_minor, 0);
//! assert!(best.proof.money.is_proven());
//! ```

mod bins;
mod bought;
mod bound;
mod column;
mod dice;
mod levels;
mod list;
mod pack;
mod pattern;
mod plain;
mod price;
mod purchase;
mod reach;
mod search;
mod simplex;
mod start;
mod trade;
mod tree;
mod verify;
mod worth;
mod write;

use std::cmp::Reverse;

use thiserror::Error;

pub use self::trade::{TradeOff, TradePoint, trade_off};
pub use self::verify::{Flaw, Total, verify};
pub use self::worth::{Worth, worths};
use super::answer::Proof;

/// What one end of a piece is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum End {
    /// A factory lead: a bar that begins here needs no soldering at this end.
    Lead,
    /// Cut: where it lies on a joint it counts as [`Joining::Joint`], else as
    /// [`Joining::Mark`], just as a fresh cut there would.
    Bare,
}

/// Pre-tinned joints of a piece: at `offset`, `offset + every`, … units from its start.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Joints {
    /// Units from one joint to the next.
    pub every: u64,
    /// Units from the piece's start to a joint; only its remainder by `every` counts.
    pub offset: u64,
}

/// A piece on hand.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Stock {
    /// Its length in whole units.
    pub units: u64,
    /// What it has at its start, where measuring begins.
    pub start: End,
    /// What it has at its other end.
    pub end: End,
    /// Its joints, if it has any.
    pub joints: Option<Joints>,
}

/// A roll that can be bought.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Roll {
    /// What one roll is.
    pub piece: Stock,
    /// What one roll costs.
    pub price_minor: i64,
    /// How many can be had; `None`: as many as wanted.
    pub quantity: Option<u32>,
}

/// Where a bar is fed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Fed {
    /// At one end, whichever is easier.
    OneEnd,
    /// At both.
    BothEnds,
}

/// Bars wanted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Want {
    /// Length of each in whole units.
    pub units: u64,
    /// How many.
    pub quantity: u32,
    /// Where each is fed.
    pub fed: Fed,
}

/// Soldering work per fed end, in whatever steps the caller weighs it. Must not fall from
/// lead to joint to mark.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct SolderWeights {
    /// At a factory lead.
    pub lead: u32,
    /// At a pre-tinned joint.
    pub joint: u32,
    /// At any other cut mark.
    pub mark: u32,
}

impl SolderWeights {
    /// Nothing at a lead, one step at a joint, two elsewhere.
    pub const USUAL: Self = Self {
        lead: 0,
        joint: 1,
        mark: 2,
    };
    /// For what is cut but not soldered, such as profile.
    pub const NONE: Self = Self {
        lead: 0,
        joint: 0,
        mark: 0,
    };

    fn of(self, joining: Joining) -> u32 {
        match joining {
            Joining::FactoryLead => self.lead,
            Joining::Joint => self.joint,
            Joining::Mark => self.mark,
        }
    }
}

/// The whole question.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Problem {
    /// Pieces on hand.
    pub stock: Vec<Stock>,
    /// Rolls that can be bought.
    pub rolls: Vec<Roll>,
    /// Bars wanted.
    pub wants: Vec<Want>,
    /// From which length on a rest is worth keeping.
    pub usable_units: u64,
    /// What a cut turns into dust: nought for tape.
    pub kerf_units: u64,
    /// What is taken off at both ends of a piece before anything is cut from it, the dust of
    /// that cut included: nought for tape.
    pub trim_units: u64,
    /// What soldering counts.
    pub weights: SolderWeights,
}

/// What a fed end lies on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Joining {
    /// The piece's own lead: nothing to solder.
    FactoryLead,
    /// A pre-tinned joint.
    Joint,
    /// Any other cut mark.
    Mark,
}

/// What a stretch of a piece becomes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Use {
    /// A bar, with what each of its fed ends lies on.
    Bar {
        /// Which want, by its place in the problem.
        want: usize,
        /// The end nearer to the piece's start, if fed there.
        start: Option<Joining>,
        /// The other end, if fed there.
        end: Option<Joining>,
    },
    /// A rest to keep.
    Offcut,
    /// A rest too short to keep.
    Scrap,
    /// Dust of the saw.
    Kerf,
    /// Taken off at an end before anything else is cut.
    Trim,
}

/// A stretch of a piece, in units from the piece's start.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Segment {
    /// Where it begins.
    pub from: u64,
    /// Where it ends.
    pub to: u64,
    /// What it becomes.
    pub becomes: Use,
}

/// Which piece is cut.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Source {
    /// A piece on hand, by its place in the problem.
    Stock(usize),
    /// One roll to buy, by its place in the problem.
    Roll(usize),
}

/// How one piece is cut: its segments from start to end, without gaps.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub struct Layout {
    /// The piece.
    pub source: Source,
    /// What it becomes, in the order of measuring.
    pub segments: Vec<Segment>,
}

/// What is left of the pieces. Less is better.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub struct Rest {
    /// Units in rests too short to keep.
    pub scrap_units: u64,
    /// How many rests are kept; stock left untouched is not among them.
    pub offcuts: u64,
    /// Sum of the squared lengths of kept rests and of untouched stock. More is better.
    pub squares: u128,
}

impl Ord for Rest {
    fn cmp(&self, other: &Self) -> std::cmp::Ordering {
        let key = |rest: &Self| (rest.scrap_units, rest.offcuts, Reverse(rest.squares));
        key(self).cmp(&key(other))
    }
}

impl PartialOrd for Rest {
    fn partial_cmp(&self, other: &Self) -> Option<std::cmp::Ordering> {
        Some(self.cmp(other))
    }
}

/// How many bars of a want are left short.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Short {
    /// Which want, by its place in the problem.
    pub want: usize,
    /// How many of it; never nought.
    pub quantity: u32,
}

/// What is known of each objective. A later one is proven only among plans that are best
/// in all earlier ones.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Proofs {
    /// Bars short.
    pub short: Proof<u64>,
    /// Money in minor units.
    pub money: Proof<i64>,
    /// Soldering work.
    pub solder: Proof<u64>,
    /// The rest.
    pub rest: Proof<Rest>,
}

/// The answer: the cut list in bench order, stock first, then what is bought.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CutPlan {
    /// One per piece that is cut.
    pub layouts: Vec<Layout>,
    /// What can't be had, by want.
    pub short: Vec<Short>,
    /// What the rolls cost together.
    pub purchase_minor: i64,
    /// Sum of the soldering weights of all fed ends.
    pub solder_work: u64,
    /// What is left.
    pub rest: Rest,
    /// How good this is known to be.
    pub proof: Proofs,
}

/// How much work a search may do.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Budget {
    /// Each about a microsecond of work; the same number gives the same answer on every machine.
    pub steps: u64,
}

impl Budget {
    /// Some tens of milliseconds: enough to prove most sets of 60 bars.
    pub const USUAL: Self = Self { steps: 40_000 };
}

/// How far down the list of objectives a search goes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Aim {
    /// Only that as few bars as can be are left short.
    Short,
    /// And that money is least.
    Money,
    /// And that soldering is least.
    Solder,
    /// All, the rest included.
    Rest,
}

/// How far to search.
#[derive(Clone, Copy)]
pub struct Effort<'a> {
    /// The most steps, as in [`Budget`].
    pub steps: u64,
    /// What is to be proven; objectives after it are not looked at.
    pub aim: Aim,
    /// Asked often; once it says true, the best found so far is the answer. Steps alone give the
    /// same answer everywhere, a clock in here does not.
    pub stop: &'a dyn Fn() -> bool,
}

/// A problem that can't be asked.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Error)]
pub enum Refusal {
    /// A piece, roll or want without length, or joints without a distance.
    #[error("every piece, bar and distance between joints needs a length of at least one unit")]
    NoLength,
    /// A length, price, weight or number beyond what is computed with.
    #[error("a length, price or number of bars is too large to plan with")]
    TooLarge,
    /// A price below nought.
    #[error("a roll can't cost less than nothing")]
    NegativePrice,
    /// Weights fall where soldering gets harder.
    #[error(
        "soldering must not weigh less at a mark than at a joint, or at a joint than at a lead"
    )]
    WeightsFall,
    /// A saw cut through a joint leaves no joint.
    #[error("pieces with joints are cut without a kerf")]
    KerfThroughJoints,
    /// A trimmed end has no lead.
    #[error("pieces with leads are cut without trimming their ends")]
    TrimThroughLeads,
}

/// The longest piece that is computed with, in units: more than a kilometre in µm.
pub const MOST_UNITS: u64 = 1 << 31;
/// The most bars in one problem.
pub const MOST_BARS: u64 = 100_000;
/// The highest price of one roll.
pub const MOST_PRICE_MINOR: i64 = 1_000_000_000_000;
/// The highest soldering weight.
pub const MOST_WEIGHT: u32 = 1_000_000;

/// Plans the cutting. See the module for what is promised; a problem outside the stated
/// ranges is refused.
pub fn plan(problem: &Problem, budget: Budget) -> Result<CutPlan, Refusal> {
    let effort = Effort {
        steps: budget.steps,
        aim: Aim::Rest,
        stop: &|| false,
    };
    plan_within(problem, &effort)
}

/// The same with an effort of one's own.
pub fn plan_within(problem: &Problem, effort: &Effort<'_>) -> Result<CutPlan, Refusal> {
    check(problem)?;
    Ok(search::solve(problem, effort))
}

fn check(problem: &Problem) -> Result<(), Refusal> {
    let pieces = || {
        let rolls = problem.rolls.iter().map(|roll| &roll.piece);
        problem.stock.iter().chain(rolls)
    };
    let wants = &problem.wants;
    let no_length = pieces()
        .any(|piece| piece.units == 0 || piece.joints.is_some_and(|joints| joints.every == 0))
        || wants.iter().any(|want| want.units == 0);
    let bars: u64 = wants.iter().map(|want| u64::from(want.quantity)).sum();
    let too_large = pieces().any(|piece| piece.units > MOST_UNITS)
        || wants.iter().any(|want| want.units > MOST_UNITS)
        || bars > MOST_BARS
        || problem.stock.len() as u64 > MOST_BARS
        || problem
            .rolls
            .iter()
            .any(|roll| roll.price_minor > MOST_PRICE_MINOR)
        || problem.kerf_units > MOST_UNITS
        || problem.trim_units > MOST_UNITS
        || problem.weights.mark > MOST_WEIGHT;
    let weights = problem.weights;
    if no_length {
        Err(Refusal::NoLength)
    } else if too_large {
        Err(Refusal::TooLarge)
    } else if problem.rolls.iter().any(|roll| roll.price_minor < 0) {
        Err(Refusal::NegativePrice)
    } else if weights.lead > weights.joint || weights.joint > weights.mark {
        Err(Refusal::WeightsFall)
    } else if problem.kerf_units > 0 && pieces().any(|piece| piece.joints.is_some()) {
        Err(Refusal::KerfThroughJoints)
    } else if problem.trim_units > 0
        && pieces().any(|piece| piece.start == End::Lead || piece.end == End::Lead)
    {
        Err(Refusal::TrimThroughLeads)
    } else {
        Ok(())
    }
}

/// What a fed end at `at` units from the piece's start lies on.
pub(super) fn joining(piece: &Stock, at: u64) -> Joining {
    let end = if at == 0 {
        piece.start
    } else if at == piece.units {
        piece.end
    } else {
        End::Bare
    };
    let on_joint = piece
        .joints
        .is_some_and(|joints| at % joints.every == joints.offset % joints.every);
    match end {
        End::Lead => Joining::FactoryLead,
        End::Bare if on_joint => Joining::Joint,
        End::Bare => Joining::Mark,
    }
}

#[cfg(test)]
mod lengths_tests;
#[cfg(test)]
mod tests;
#[cfg(test)]
mod trade_tests;
