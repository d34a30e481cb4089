//! One entry of the ledger: what, how much, from where, to where, why, for which design, who.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::{
    fixture::Condition,
    id::{AccountId, DesignId, MovementId, PartId, ThingId},
    text::{Name, Note, words},
};

words! {
    /// Why stock moved.
    MovementKind {
        /// Came into the house.
        Receive = "receive", "received";
        /// From place to place.
        Move = "move", "moved";
        /// Used up.
        Use = "use", "used";
        /// Thrown away.
        Scrap = "scrap", "scrapped";
        /// Not to be found.
        Lose = "lose", "lost";
        /// Found again.
        Find = "find", "found again";
        /// Corrected by count.
        Count = "count", "corrected by count";
        /// A piece ended, its children begun.
        Cut = "cut", "cut";
        /// A fixture made of its parts.
        Assemble = "assemble", "assembled";
        /// A fixture taken apart.
        Dismantle = "dismantle", "taken apart";
        /// Put on a frame.
        Mount = "mount", "mounted";
        /// Taken off a frame.
        Unmount = "unmount", "taken off";
        /// Lent out.
        Lend = "lend", "lent out";
        /// Came back from a loan.
        GiveBack = "give_back", "given back";
        /// Out to the stage.
        TakeOut = "take_out", "taken out";
        /// Back from the stage.
        BringBack = "bring_back", "brought back";
        /// Condition noted; nothing moved.
        Mark = "mark", "marked";
        /// The counter-movement of another.
        Undo = "undo", "undone";
    }
}

words! {
    /// A side of a movement. The last five lie outside of what one has.
    AccountKind {
        /// A place in the cupboard.
        Place = "place", "place";
        /// Out on the stage for a design.
        Design = "design", "on stage";
        /// Lent out.
        Loan = "loan", "lent out";
        /// Inside a fixture or mounted on a frame.
        Inside = "inside", "inside";
        /// The bench: a cut piece goes in, its children come out.
        Bench = "bench", "bench";
        /// Where goods come from.
        World = "world", "outside";
        /// Used up.
        Used = "used", "used up";
        /// Thrown away.
        Scrap = "scrap", "scrap";
        /// Lost.
        Lost = "lost", "lost";
        /// The other side of a correction.
        Adjust = "adjust", "correction";
    }
}

impl AccountKind {
    /// Whether what lies there is still one's own.
    pub const fn owned(self) -> bool {
        matches!(self, Self::Place | Self::Design | Self::Loan | Self::Inside)
    }
}

impl AccountId {
    /// Where goods come from (made by the first migration, as the ones below).
    pub const WORLD: Self = Self(1);
    /// Used up.
    pub const USED: Self = Self(2);
    /// Thrown away.
    pub const SCRAP: Self = Self(3);
    /// Lost.
    pub const LOST: Self = Self(4);
    /// The other side of a correction.
    pub const ADJUST: Self = Self(5);
    /// The bench.
    pub const BENCH: Self = Self(6);
}

/// What a line moves.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(tag = "is", rename_all = "snake_case")]
pub enum Moved {
    /// A count (or a length without pieces) of a part.
    Count {
        /// Of what.
        part: PartId,
        /// How many, above zero.
        amount: i64,
    },
    /// A piece, whole.
    Piece {
        /// Which.
        thing: ThingId,
        /// Of what.
        part: PartId,
        /// Its whole amount.
        amount: i64,
        /// Its remainder.
        rest_um: i64,
    },
    /// What a cut leaves nothing of: kerf and scrap of a part kept by length, from the bench.
    Loss {
        /// Of what.
        part: PartId,
        /// Cut units or micrometres.
        amount: i64,
        /// A remainder that goes with it.
        rest_um: i64,
    },
    /// A unit, a fixture or a frame.
    Thing {
        /// Which.
        thing: ThingId,
        /// Of what, for units.
        part: Option<PartId>,
    },
}

impl Moved {
    /// The thing that moves, if it is one.
    pub const fn thing(&self) -> Option<ThingId> {
        match self {
            Self::Piece { thing, .. } | Self::Thing { thing, .. } => Some(*thing),
            Self::Count { .. } | Self::Loss { .. } => None,
        }
    }
}

/// One line of a movement.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Line {
    /// What and how much.
    pub moved: Moved,
    /// From where.
    pub from: AccountId,
    /// To where.
    pub to: AccountId,
}

/// A condition noted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Mark {
    /// Of which thing.
    pub thing: ThingId,
    /// What it was.
    pub before: Condition,
    /// What it is now.
    pub after: Condition,
}

/// What is about to be written into the ledger.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NewMovement {
    /// Why.
    pub kind: MovementKind,
    /// Who did it.
    pub who: Name,
    /// In the person's own words; may be empty.
    pub reason: Note,
    /// For which design.
    pub design: Option<DesignId>,
    /// The movement that this one undoes.
    pub undoes: Option<MovementId>,
    /// The condition noted, by a mark or by the undo of one.
    pub mark: Option<Mark>,
    /// Lines; only a mark has none.
    pub lines: Vec<Line>,
}
