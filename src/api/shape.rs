//! What the API answers where the model's own types would let it slip: plain documents, whose
//! fields carry their unit in their name.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::{
    db,
    model::{
        design::State,
        fixture::{Condition, Make},
        id::{
            AccountId, BarId, DesignId, HoldId, LoanId, MovementId, OfferId, PartId, PlaceId,
            SupplierId, ThingId,
        },
        movement::MovementKind,
        part::{self, Kind, StockUnit},
        piece::{Piece, length_of},
        place::{PlaceKind, Whereabouts},
        reservation::{Held, HoldState, HoldUse},
        text::{Name, Note, words},
        thing::{OwnedFrame, ThingKind, Unit},
    },
    plan::{answer::Proof, outcome::UnpricedRolls, packs::Aim, shopping},
    stock,
    units::{Date, Length, Money, Window},
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

/// A movement of the ledger.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct Movement {
    /// Its id.
    pub id: MovementId,
    /// Milliseconds since 1970 (UTC).
    pub at_ms: i64,
    /// The venue's calendar day.
    #[schema(value_type = String, format = Date)]
    pub on: Date,
    /// Why.
    pub kind: MovementKind,
    /// Who.
    pub who: String,
    /// In the person's own words; may be empty.
    pub reason: String,
    /// For which set.
    pub design: Option<Named>,
    /// The movement that it undoes.
    pub undoes: Option<MovementId>,
    /// The movement that undid it.
    pub undone_by: Option<MovementId>,
    /// The condition that it noted.
    pub mark: Option<Mark>,
    /// What moved.
    pub lines: Vec<MovementLine>,
}

/// A condition that was noted.
#[derive(Debug, Clone, Serialize, ToSchema)]
#[schema(as = MovementMark)]
pub struct Mark {
    /// Of which thing.
    pub thing: ThingId,
    /// Its tag.
    pub tag: String,
    /// What it was.
    pub before: Condition,
    /// What it was from then on.
    pub after: Condition,
}

/// A line of a movement.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct MovementLine {
    /// Of which part.
    pub part: Option<PartId>,
    /// Which thing, if one.
    pub thing: Option<ThingId>,
    /// Its tag.
    pub tag: Option<String>,
    /// What it is called.
    pub name: String,
    /// How much.
    pub amount: Amount,
    /// From where.
    pub from: Whereabouts,
    /// To where.
    pub to: Whereabouts,
}

impl From<db::movement::Entry> for Movement {
    fn from(entry: db::movement::Entry) -> Self {
        let line = |line: db::movement::EntryLine| MovementLine {
            part: line.part,
            thing: line.thing,
            tag: line.tag.map(|tag| tag.to_string()),
            name: line.name,
            amount: Amount::new(line.amount.unit, line.amount.amount, line.amount.rest_um),
            from: line.from,
            to: line.to,
        };
        Self {
            id: entry.id,
            at_ms: entry.at_ms,
            on: entry.on,
            kind: entry.kind,
            who: entry.who.to_string(),
            reason: entry.reason.as_str().to_owned(),
            design: entry.design.map(|(id, name)| Named { id: id.0, name }),
            undoes: entry.undoes,
            undone_by: entry.undone_by,
            mark: entry.mark.map(|(mark, tag)| Mark {
                thing: mark.thing,
                tag: tag.to_string(),
                before: mark.before,
                after: mark.after,
            }),
            lines: entry.lines.into_iter().map(line).collect(),
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

/// What all sets that are still to be built are short of.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct Shopping {
    /// How many sets were looked at: those whose build day is nearest.
    pub sets: usize,
    /// What to order, supplier by supplier.
    pub parcels: Vec<Parcel>,
    /// Goods and deliveries together; left out where that is more than can be counted.
    pub cost_minor: Option<Money>,
    /// What is known about its being the least.
    pub proof: Proof<i64>,
    /// What only suppliers sell that were left out.
    pub unsold: Vec<Unsold>,
    /// What other ways to buy all of it cost.
    pub beside: Vec<Beside>,
    /// What has no price.
    pub unpriced: Vec<Unpriced>,
}

/// Something that only those sell who were left out.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct Unsold {
    /// The part.
    pub part: PartId,
    /// Its name.
    pub name: String,
    /// How much: an amount in its stock unit, or rolls of `roll_um`.
    pub needed: i64,
    /// The length of one roll, reel or bar in micrometres.
    pub roll_um: Option<i64>,
}

/// Another way to buy.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct Beside {
    /// What counts first in it.
    pub aim: Aim,
    /// Without which supplier of the list.
    pub without: Option<SupplierId>,
    /// What it costs, deliveries included; nothing where not everything can be bought so.
    pub cost_minor: Option<Money>,
    /// How many parcels it is.
    pub parcels: Option<usize>,
}

/// What to order from one supplier.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct Parcel {
    /// Who sells.
    pub supplier: SupplierId,
    /// Their name.
    pub name: String,
    /// What the goods cost.
    pub goods_minor: Money,
    /// What the delivery costs.
    pub delivery_minor: Money,
    /// Lines, earliest day first.
    pub lines: Vec<ParcelLine>,
}

/// One line of what to order.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct ParcelLine {
    /// The part.
    pub part: PartId,
    /// Its name.
    pub name: String,
    /// From which offer.
    pub offer: OfferId,
    /// Packs, rolls or bars to order.
    pub packs: u32,
    /// Count in one, or its length in micrometres.
    pub pack_amount: i64,
    /// What they cost together.
    pub cost_minor: Money,
    /// What is left over (count), if it can be said.
    pub left_over: Option<i64>,
    /// How much of it is on open orders already.
    pub on_order: i64,
    /// The sets that want it.
    pub designs: Vec<DesignId>,
    /// The last day to order.
    #[schema(value_type = String, format = Date)]
    pub order_by: Date,
}

/// Something short that nobody is known to sell.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct Unpriced {
    /// The part, where there is one in the catalogue.
    pub part: Option<PartId>,
    /// Its name, or what is wanted.
    pub name: String,
    /// How much, in the part's stock unit.
    pub short: i64,
    /// Rolls, reels or bars to buy, where lengths are known in which it is sold.
    pub rolls: Vec<UnpricedRolls>,
    /// The sets that want it.
    pub designs: Vec<DesignId>,
}

impl Shopping {
    /// The list over so many sets.
    pub fn new(list: shopping::ShoppingList, sets: usize) -> Self {
        let ids =
            |designs: Vec<(DesignId, String)>| designs.into_iter().map(|(id, _)| id).collect();
        let line = |line: shopping::ListLine| ParcelLine {
            part: line.part,
            name: line.name,
            offer: line.offer,
            packs: line.packs,
            pack_amount: line.pack_amount,
            cost_minor: line.cost_minor,
            left_over: line.left_over,
            on_order: line.on_order,
            designs: ids(line.designs),
            order_by: line.order_by,
        };
        Self {
            sets,
            parcels: list
                .parcels
                .into_iter()
                .map(|parcel| Parcel {
                    supplier: parcel.supplier,
                    name: parcel.name,
                    goods_minor: parcel.goods_minor,
                    delivery_minor: parcel.delivery_minor,
                    lines: parcel.lines.into_iter().map(line).collect(),
                })
                .collect(),
            cost_minor: list.cost_minor,
            proof: list.proof,
            unsold: list
                .unsold
                .into_iter()
                .map(|it| Unsold {
                    part: it.part,
                    name: it.name,
                    needed: it.needed,
                    roll_um: it.roll_um,
                })
                .collect(),
            beside: list
                .beside
                .into_iter()
                .map(|it| Beside {
                    aim: it.way.aim,
                    without: it.without.map(|(id, _)| id),
                    cost_minor: it.cost.map(|(cost, _)| cost),
                    parcels: it.cost.map(|(_, parcels)| parcels),
                })
                .collect(),
            unpriced: list
                .unpriced
                .into_iter()
                .map(|it| Unpriced {
                    part: it.part,
                    name: it.name,
                    short: it.short,
                    rolls: it.rolls,
                    designs: ids(it.designs),
                })
                .collect(),
        }
    }
}

/// Whether the file is sound and every balance equals the sum of the ledger.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct Soundness {
    /// Whether nothing was found.
    pub sound: bool,
    /// What was found, a sentence each.
    pub faults: Vec<String>,
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

/// How many ready-made parts were added.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct Taken {
    /// How many; those that were there already are not counted.
    pub added: usize,
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
