//! What the API answers where the model's own types would let it slip: plain documents, whose
//! fields carry their unit in their name.

use serde::Serialize;
use utoipa::ToSchema;

use crate::{
    db,
    model::{
        design::State,
        id::{AccountId, BarId, DesignId, HoldId, LoanId, MovementId, PartId, PlaceId},
        part::{self, Kind, StockUnit},
        piece::length_of,
        place::{PlaceKind, Whereabouts},
        reservation::{Held, HoldState, HoldUse},
        text::words,
    },
    units::{Date, Window},
};

mod movement;
mod shopping;
mod thing;

pub use movement::{Mark, Movement, MovementLine};
pub use shopping::{Beside, Parcel, ParcelLine, Shopping, Unpriced, Unsold};
pub use thing::{
    Fitting, FixtureAt, FixtureMake, Misfit, Replacements, Thing, ThingNotes, ThingWhole,
};

words! {
    /// What an amount counts.
    AmountUnit {
        /// Single things.
        Each = "each", "each";
        /// Whole micrometres.
        Micrometres = "um", "µm";
        /// Whole cut units of a tape, with a remainder beside them.
        CutUnits = "cut_units", "cut units";
    }
}

/// How much of something there is.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct Amount {
    /// What it is counted in.
    pub unit: AmountUnit,
    /// How much.
    pub amount: i64,
    /// What is left of a tape beyond the last whole cut unit, in micrometres.
    pub rest_um: i64,
    /// The same as a length; `null` for what is counted in pieces.
    pub length_um: Option<i64>,
}

impl Amount {
    /// An amount in a part's stock unit.
    pub fn new(unit: StockUnit, amount: i64, rest_um: i64) -> Self {
        let (word, length) = match unit {
            StockUnit::Each => (AmountUnit::Each, None),
            StockUnit::Micrometres => (AmountUnit::Micrometres, Some(amount)),
            StockUnit::CutUnits(_) => (
                AmountUnit::CutUnits,
                Some(length_of(unit, amount, rest_um).get()),
            ),
        };
        Self {
            unit: word,
            amount,
            rest_um,
            length_um: length,
        }
    }
}

/// Something that is named.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct Named {
    /// Its id.
    pub id: i64,
    /// Its name.
    pub name: String,
}

/// A part with what there is of it, remainders of tape left out.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct PartStock {
    /// The part.
    pub part: PartId,
    /// Its name.
    pub name: String,
    /// Its kind.
    pub kind: Kind,
    /// What lies in places.
    pub in_places: Amount,
    /// Pieces or units in places; 0 for what is kept by count.
    pub things_in_places: i64,
    /// What is on stage.
    pub on_stage: Amount,
    /// What is lent out.
    pub lent: Amount,
    /// What is inside fixtures or on frames.
    pub inside: Amount,
    /// Pieces or units that are suspect or dead.
    pub bad_things: i64,
    /// Where it lies, if all of it lies in one place.
    pub only_place: Option<String>,
    /// In how many places it lies.
    pub places: i64,
}

impl From<db::part::PartStock> for PartStock {
    fn from(stock: db::part::PartStock) -> Self {
        let unit = stock.part.unit();
        let amount = |amount| Amount::new(unit, amount, 0);
        Self {
            part: stock.part.id,
            name: stock.part.name.to_string(),
            kind: stock.part.spec.kind(),
            in_places: amount(stock.in_places),
            things_in_places: stock.things_in_places,
            on_stage: amount(stock.on_stage),
            lent: amount(stock.lent),
            inside: amount(stock.inside),
            bad_things: stock.bad_things,
            only_place: stock.only_place,
            places: stock.places,
        }
    }
}

/// How much of a part lies somewhere.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct PartAt {
    /// Where.
    pub at: Whereabouts,
    /// How much.
    pub amount: Amount,
    /// How many pieces or units that is; 0 for what is kept by count.
    pub things: i64,
}

impl PartAt {
    /// What lies in one account, in its part's unit.
    pub fn new(found: db::balance::PartAt, part: &part::Part) -> Self {
        Self {
            amount: Amount::new(part.unit(), found.amount, 0),
            at: found.place,
            things: found.things,
        }
    }
}

/// A count that lies in a place, on a stage, or in or on a thing.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct CountAt {
    /// Of which part.
    pub part: PartId,
    /// Its name.
    pub name: String,
    /// Its kind.
    pub kind: Kind,
    /// How much.
    pub amount: Amount,
}

impl From<db::balance::CountAt> for CountAt {
    fn from(count: db::balance::CountAt) -> Self {
        Self {
            amount: Amount::new(count.unit, count.amount, 0),
            part: count.part,
            name: count.name,
            kind: count.kind,
        }
    }
}

/// A generic part to be taken into the catalogue.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct ReadyMade {
    /// Its key.
    pub key: String,
    /// Its name.
    pub name: String,
    /// Kind and attributes; the figures are typical ones.
    pub spec: part::PartSpec,
    /// Whether it is in the catalogue already.
    pub taken: bool,
}

/// A place in the tree, with how much lies in it.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct PlaceNode {
    /// Its id.
    pub id: PlaceId,
    /// The place that it is in.
    pub parent: Option<PlaceId>,
    /// Its own name.
    pub name: String,
    /// Its name with those of the places that it is in.
    pub path: String,
    /// What it is.
    pub kind: PlaceKind,
    /// Order along which one walks, among the places beside it.
    pub position: i64,
    /// No longer in use.
    pub retired: bool,
    /// How many places it is in.
    pub depth: usize,
    /// Things that lie in it, not counting places inside.
    pub things: i64,
    /// Parts by count that lie in it.
    pub counts: i64,
    /// Its account in the ledger.
    pub account: AccountId,
}

impl From<(db::place::PlaceNode, db::place::Filling)> for PlaceNode {
    fn from((node, filling): (db::place::PlaceNode, db::place::Filling)) -> Self {
        Self {
            id: node.place.id,
            parent: node.place.parent,
            name: node.place.name.to_string(),
            path: node.place.path,
            kind: node.place.kind,
            position: node.place.position,
            retired: node.place.retired,
            depth: node.depth,
            things: filling.things,
            counts: filling.counts,
            account: node.account,
        }
    }
}

/// What lies in one place.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct Contents {
    /// Pieces, units, fixtures and frames.
    pub things: Vec<Thing>,
    /// Counts.
    pub counts: Vec<CountAt>,
}

/// A hold of a thing or of a count for a set.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct Hold {
    /// Its id.
    pub id: HoldId,
    /// For which set.
    pub design: DesignId,
    /// For which bar, if for one.
    pub bar: Option<BarId>,
    /// What is held.
    pub held: Held,
    /// For which days.
    pub window: Window,
    /// What becomes of it.
    pub becomes: HoldUse,
    /// Whether it stands.
    pub state: HoldState,
    /// Why it broke; empty while it stands.
    pub broken_why: String,
}

impl From<crate::model::reservation::Hold> for Hold {
    fn from(found: crate::model::reservation::Hold) -> Self {
        Self {
            id: found.id,
            design: found.hold.design,
            bar: found.hold.bar,
            held: found.hold.held,
            window: found.hold.window,
            becomes: found.hold.becomes,
            state: found.state,
            broken_why: found.broken_why,
        }
    }
}

/// Something that is lent out.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct Loan {
    /// Its id.
    pub id: LoanId,
    /// Who has it.
    pub borrower: String,
    /// When it should be back.
    #[schema(value_type = String, format = Date)]
    pub due_on: Date,
    /// Notes.
    pub note: String,
    /// Its account in the ledger.
    pub account: AccountId,
}

impl From<db::loan::Loan> for Loan {
    fn from(loan: db::loan::Loan) -> Self {
        Self {
            id: loan.id,
            borrower: loan.borrower.to_string(),
            due_on: loan.due_on,
            note: loan.note.as_str().to_owned(),
            account: loan.account,
        }
    }
}

/// What a search found.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct Found {
    /// Parts.
    pub parts: Vec<FoundPart>,
    /// Things.
    pub things: Vec<Thing>,
    /// Places, by their paths.
    pub places: Vec<Named>,
    /// Sets.
    pub designs: Vec<Named>,
}

/// A part that was found.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct FoundPart {
    /// Its id.
    pub id: PartId,
    /// Its name.
    pub name: String,
    /// Its kind.
    pub kind: Kind,
}

impl From<db::search::Found> for Found {
    fn from(found: db::search::Found) -> Self {
        Self {
            parts: found
                .parts
                .into_iter()
                .map(|(id, name, kind)| FoundPart {
                    id,
                    name: name.to_string(),
                    kind,
                })
                .collect(),
            things: found.things.into_iter().map(Thing::from).collect(),
            places: found
                .places
                .into_iter()
                .map(|(id, name, _)| Named { id: id.0, name })
                .collect(),
            designs: found
                .designs
                .into_iter()
                .map(|(id, name)| Named {
                    id: id.0,
                    name: name.to_string(),
                })
                .collect(),
        }
    }
}

/// A set in the year.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct YearRow {
    /// Which.
    pub design: DesignId,
    /// Its name.
    pub name: String,
    /// Its state.
    pub state: State,
    /// Build day.
    #[schema(value_type = String, format = Date)]
    pub build_on: Date,
    /// Get-in.
    #[schema(value_type = String, format = Date)]
    pub get_in: Date,
    /// Strike.
    #[schema(value_type = String, format = Date)]
    pub strike_on: Date,
    /// Bars wanted.
    pub bars: i64,
    /// Fixtures held.
    pub fixtures: i64,
    /// Broken holds.
    pub broken: i64,
}

impl From<db::calendar::YearRow> for YearRow {
    fn from(row: db::calendar::YearRow) -> Self {
        Self {
            design: row.id,
            name: row.name,
            state: row.state,
            build_on: row.build_on,
            get_in: row.get_in,
            strike_on: row.strike_on,
            bars: row.bars,
            fixtures: row.fixtures,
            broken: row.broken,
        }
    }
}

/// The sets of a span of days, and how many fixtures there are.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct Year {
    /// Sets that touch the days, by build day; at most 200.
    pub sets: Vec<YearRow>,
    /// Good fixtures in the house.
    pub fixtures: i64,
}

/// Whether the file is sound and every balance equals the sum of the ledger.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct Soundness {
    /// Whether nothing was found.
    pub sound: bool,
    /// What was found, a sentence each.
    pub faults: Vec<String>,
}

/// How many ready-made parts were added.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct Taken {
    /// How many; those that were there already are not counted.
    pub added: usize,
}

/// One line of what is out with a set.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct OutLine {
    /// The thing, if it is one.
    pub thing: Option<Thing>,
    /// The count, if it is one.
    pub count: Option<CountAt>,
    /// Where it came from: suggested for its return.
    pub came_from: Option<PlaceId>,
}

/// What came of an arrival.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct Arrived {
    /// The movement that took the good ones into stock, if there were any.
    pub movement: Option<MovementId>,
    /// In words.
    pub said: String,
}

/// What came of the arrival of all that was still to come.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct ArrivedAll {
    /// One movement a line, each to be undone by itself.
    pub movements: Vec<MovementId>,
    /// In words.
    pub said: String,
}
