//! Money against soldering, in the question's names.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::{
    asked::CutsBody,
    said::{CutsBought, CutsLayout, bound, laid_out},
};
use crate::plan::cut::{TradeOff, TradePoint};

/// The least money for a number of soldered ends.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct CutsTradePoint {
    /// How many fed ends are soldered: those that lie on no factory lead.
    pub soldered_ends: u64,
    /// What the rolls cost then.
    pub purchase_minor: i64,
    /// What they cost at least with so many soldered ends or fewer; the same as `purchase_minor`
    /// where that is proven least, `null` where nothing is known.
    pub purchase_bound_minor: Option<i64>,
}

/// How to cut without soldering.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct CutsUnsoldered {
    /// How each piece is cut: pieces first, then rolls.
    pub layouts: Vec<CutsLayout>,
    /// Rolls to buy.
    pub bought: Vec<CutsBought>,
}

/// What soldering saves, among plans that leave as few bars short as can be.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct CutsTradeOff {
    /// From the fewest soldered ends on; each point costs less than the one before. Empty where the
    /// time limit was reached before there was one.
    pub points: Vec<CutsTradePoint>,
    /// True where all points are proven least, no plan has fewer soldered ends than the first, and
    /// no number of ends between two points saves anything.
    pub proven: bool,
    /// The plan without any soldering; left out where there is none, or none was found.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(nullable = false)]
    pub without_solder: Option<CutsUnsoldered>,
}

impl CutsTradeOff {
    pub(super) fn new(asked: &CutsBody, found: &TradeOff) -> Self {
        let point = |point: &TradePoint| CutsTradePoint {
            soldered_ends: point.ends,
            purchase_minor: point.plan.purchase_minor,
            purchase_bound_minor: bound(&point.money, point.plan.purchase_minor),
        };
        let unsoldered = found.points.first().filter(|first| first.ends == 0);
        Self {
            points: found.points.iter().map(point).collect(),
            proven: found.proven,
            without_solder: unsoldered.map(|first| {
                let (layouts, bought) = laid_out(asked, &first.plan);
                CutsUnsoldered { layouts, bought }
            }),
        }
    }
}
