//! What a plan is made from: the design, the catalogue, and what is free on its days.
//!
//! The snapshot is taken in one read transaction, with the design's own holds left out, so that a
//! reserved design is planned again as if it held nothing. Order does not matter: equal inputs in
//! another order give the same plan.

use std::sync::Arc;

use serde::{Deserialize, Serialize};

use super::outcome::Plan;
use crate::{
    model::{
        design::{Bar, Design},
        fixture::Fixture,
        id::{OfferId, PartId, PurchaseLineId, SupplierId, ThingId},
        part::{Part, PartSpec},
        piece::Piece,
        text::{Name, Tag},
        thing::ThingKind,
        venue::Venue,
    },
    units::{Date, Length, Money},
};

/// Everything that a plan depends on.
#[derive(Debug, Clone, PartialEq)]
pub struct Input {
    /// The set.
    pub design: Design,
    /// The catalogue, retired parts included (they may still be in stock).
    pub parts: Vec<Part>,
    /// What is there, and what of it is free.
    pub stock: Snapshot,
    /// What can be bought.
    pub offers: Vec<Offer>,
    /// The venue's rules.
    pub venue: Venue,
    /// The venue's calendar day.
    pub today: Date,
    /// The plan that is held, for a reserved set: its fixtures keep their bars, its cuts their places,
    /// its drivers and supplies what hangs on them, where nothing better is known.
    pub held: Option<Arc<Plan>>,
}

/// Whether a plan of the design can ask for pieces of the part, or for what they cost beyond stock:
/// pieces of other parts may be left out of its [`Snapshot`].
pub fn may_take_pieces(design: &Design, part: &Part) -> bool {
    let any_bar = |asks: &dyn Fn(&Bar) -> bool| design.bars.iter().any(asks);
    design.extras.iter().any(|extra| extra.part == part.id)
        || match &part.spec {
            PartSpec::Tape(tape) => {
                let colours = tape.colours();
                // Also where another tape is chosen: what this one would cost is asked for.
                any_bar(&|bar| bar.tape == Some(part.id) || colours.as_ref() == Some(&bar.channels))
            }
            PartSpec::Profile(profile) => any_bar(&|bar| match bar.profile {
                Some(chosen) => chosen == part.id,
                None => bar.diffused && profile.diffuser.diffuses(),
            }),
            // A driver's feed is cut from whatever cable suits it, also where the bars' is chosen.
            PartSpec::Cable(_) => !design.bars.is_empty(),
            _ => false,
        }
}

/// What is there for the design's days.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Snapshot {
    /// Fixtures in the house, free or not.
    pub fixtures: Vec<SpareFixture>,
    /// Pieces in the house with a free range, of the parts that [`may_take_pieces`] names at least.
    pub pieces: Vec<Arc<SparePiece>>,
    /// Drivers and supplies in the house, free or not.
    pub units: Vec<SpareUnit>,
    /// Frames in the house.
    pub frames: Vec<SpareFrame>,
    /// Counts, by part: at most one entry a part.
    pub counts: Vec<SpareCount>,
    /// What the design leaves alone, as it is now.
    pub left_alone: Vec<LeftThing>,
    /// The names of those from whom nothing is bought for the design.
    pub not_from: Vec<(SupplierId, Name)>,
}

/// Something that the design leaves alone, as it is now.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LeftThing {
    /// Which.
    pub thing: ThingId,
    /// Its tag.
    pub tag: Tag,
    /// What it is.
    pub kind: ThingKind,
    /// What became of it, in words, where it is no longer there.
    pub gone: Option<String>,
}

/// Where something lies.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Where {
    /// The place in words.
    pub path: String,
    /// Its position along the walk, for nearness.
    pub position: i64,
}

/// Whether a thing is free on the design's days.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Freedom {
    /// It is.
    Free,
    /// It is not: held by, lent to, bad, overdue, in words.
    Not(String),
}

/// A fixture, with whether it is free.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SpareFixture {
    /// The fixture.
    pub fixture: Fixture,
    /// Batch of its tape, if noted.
    pub batch: String,
    /// Whether it is free.
    pub freedom: Freedom,
    /// Where it lies.
    pub place: Where,
}

/// A piece with what of it is free.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SparePiece {
    /// The piece.
    pub piece: Piece,
    /// Free ranges in its stock unit, in order, apart from each other.
    pub free: Vec<(i64, i64)>,
    /// Where it lies.
    pub place: Where,
}

/// A driver or supply, with whether it is free.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SpareUnit {
    /// Its id.
    pub thing: ThingId,
    /// Its tag.
    pub tag: Tag,
    /// What it is.
    pub part: PartId,
    /// DMX start address that it is set to, if known.
    pub address: Option<u16>,
    /// Whether it is free; one on a frame is free with its frame ([`SpareFrame::things`]).
    pub freedom: Freedom,
    /// Where it lies.
    pub place: Where,
}

/// A frame with what stays mounted on it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SpareFrame {
    /// Its id.
    pub thing: ThingId,
    /// Its tag.
    pub tag: Tag,
    /// Its name.
    pub name: Name,
    /// Whether it is free.
    pub freedom: Freedom,
    /// Counts mounted on it.
    pub counts: Vec<(PartId, i64)>,
    /// Things mounted on it.
    pub things: Vec<ThingId>,
}

/// How many of a part are there.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SpareCount {
    /// The part.
    pub part: PartId,
    /// Available over the whole window, at its lowest point, without what is only due in.
    pub available: i64,
    /// What is due in by the design's build day and not held by others.
    pub due: Vec<(PurchaseLineId, i64)>,
}

/// Something that can be bought.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Offer {
    /// Its id.
    pub id: OfferId,
    /// The part.
    pub part: PartId,
    /// Who sells.
    pub supplier: SupplierId,
    /// Who sells, in words.
    pub supplier_name: String,
    /// Count in a pack, or micrometres of one roll, reel or bar.
    pub pack_amount: i64,
    /// Price of a pack.
    pub price_minor: Money,
    /// Fewest packs that are sold.
    pub minimum_packs: u32,
    /// Days from order to delivery.
    pub delivery_days: u32,
    /// What the supplier charges for a delivery.
    pub delivery_minor: Money,
    /// From which sum of goods on the supplier delivers free.
    pub free_from_minor: Option<Money>,
}

impl Offer {
    /// The length of one roll, for parts kept by length.
    pub fn roll(&self) -> Length {
        Length::new(self.pack_amount).unwrap_or(Length::ZERO)
    }
}
