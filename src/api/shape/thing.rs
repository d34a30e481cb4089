//! Things, and what would replace them.

use serde::Serialize;
use utoipa::ToSchema;

use super::{Amount, CountAt, Hold};
use crate::{
    db,
    model::{
        fixture::{Condition, Make},
        id::{DesignId, PartId, ThingId},
        part::Kind,
        piece::Piece,
        place::Whereabouts,
        text::{Name, Note},
        thing::{OwnedFrame, ThingKind, Unit},
    },
    stock,
    units::{Date, Length, Window},
};

/// Anything with a tag: a piece, a unit, a fixture, a frame.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct Thing {
    /// Its id.
    pub id: ThingId,
    /// Its tag.
    pub tag: String,
    /// What it is.
    pub kind: ThingKind,
    /// Its part, for pieces and units.
    pub part: Option<PartId>,
    /// Its part's kind, for pieces and units.
    pub part_kind: Option<Kind>,
    /// The part's name, a frame's name, or a fixture in short.
    pub name: String,
    /// How much of it there is; a fixture's is its lit length.
    pub amount: Amount,
    /// Where it is.
    pub at: Whereabouts,
    /// Condition.
    pub condition: Condition,
    /// Notes.
    pub note: String,
    /// When it is due for inspection.
    #[schema(value_type = Option<String>, format = Date)]
    pub inspect_on: Option<Date>,
}

impl From<crate::model::thing::Thing> for Thing {
    fn from(thing: crate::model::thing::Thing) -> Self {
        let amount = thing.amount;
        Self {
            id: thing.id,
            tag: thing.tag.to_string(),
            kind: thing.kind,
            part: thing.part,
            part_kind: thing.part_kind,
            name: thing.name,
            amount: Amount::new(amount.unit, amount.amount, amount.rest_um),
            at: thing.place,
            condition: thing.condition,
            note: thing.note.as_str().to_owned(),
            inspect_on: thing.inspect_on,
        }
    }
}

/// A thing, with what its kind adds and what is in or on it.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct ThingWhole {
    /// The thing.
    pub thing: Thing,
    /// What makes it a piece.
    pub piece: Option<Piece>,
    /// What makes it a driver or supply.
    pub unit: Option<Unit>,
    /// What makes it a fixture.
    pub fixture: Option<FixtureMake>,
    /// What makes it a frame.
    pub frame: Option<OwnedFrame>,
    /// Things in or on it.
    pub things: Vec<Thing>,
    /// Counts in or on it.
    pub counts: Vec<CountAt>,
    /// Pieces that were cut from it, from its start on.
    pub cut_into: Vec<Thing>,
    /// Holds on it.
    pub holds: Vec<Hold>,
}

/// What a fixture is.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct FixtureMake {
    /// Its make.
    pub make: Make,
    /// Batch of its tape, empty if not known.
    pub batch: String,
}

/// A fixture, and where it is.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct FixtureAt {
    /// Its id.
    pub id: ThingId,
    /// Its tag.
    pub tag: String,
    /// What it is.
    pub make: Make,
    /// Batch of its tape, empty if not known.
    pub batch: String,
    /// Condition.
    pub condition: Condition,
    /// Where it is.
    pub at: Whereabouts,
}

impl From<db::fixture::FixtureAt> for FixtureAt {
    fn from(found: db::fixture::FixtureAt) -> Self {
        Self {
            id: found.fixture.id,
            tag: found.fixture.tag.to_string(),
            make: found.fixture.make,
            batch: found.batch,
            condition: found.fixture.condition,
            at: found.place,
        }
    }
}

/// What is noted of a thing beside its stock.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct ThingNotes {
    /// Notes.
    pub note: Note,
    /// When it is due for inspection.
    #[schema(value_type = Option<String>, format = Date)]
    pub inspect_on: Option<Date>,
    /// DMX start address that a driver is set to, if known.
    pub address: Option<u16>,
    /// The maker's number; `null` for what is no driver or supply.
    pub serial: Option<String>,
    /// A frame's name.
    pub name: Option<Name>,
    /// A frame's width.
    pub width_um: Option<Length>,
    /// A frame's height.
    pub height_um: Option<Length>,
}

/// What could replace a fixture.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct Replacements {
    /// The set that has it now or holds it, if one does.
    pub design: Option<DesignId>,
    /// For which days they are free.
    pub window: Window,
    /// What fits, best first.
    pub fit: Vec<Fitting>,
    /// Everything else.
    pub not: Vec<Misfit>,
}

/// A fixture that fits.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct Fitting {
    /// Which.
    pub fixture: ThingId,
    /// Its tag.
    pub tag: String,
    /// Its lit length less that of the one it replaces.
    pub off_um: i64,
}

/// A fixture that does not fit.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct Misfit {
    /// Which.
    pub fixture: ThingId,
    /// Its tag.
    pub tag: String,
    /// Why not.
    pub why: String,
}

impl From<stock::swap::Candidates> for Replacements {
    fn from(found: stock::swap::Candidates) -> Self {
        Self {
            design: found.design,
            window: found.window,
            fit: found
                .fit
                .into_iter()
                .map(|it| Fitting {
                    fixture: it.fixture,
                    tag: it.tag.to_string(),
                    off_um: it.off_um,
                })
                .collect(),
            not: found
                .not
                .into_iter()
                .map(|it| Misfit {
                    fixture: it.fixture,
                    tag: it.tag.to_string(),
                    why: it.why,
                })
                .collect(),
        }
    }
}
