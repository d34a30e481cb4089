//! Goods arrived: counts, rolls and bars, units.

use serde::{Deserialize, Serialize};

use super::{
    Act, StockError,
    change::{
        AMOUNT_LIMIT, Change, Done, Head, amount_error, field, place, prefix_of, tags, write,
    },
};
use crate::{
    db::{
        self, WriteTx,
        piece::NewPiece,
        thing::{NewThing, TagPrefix},
    },
    model::{
        fixture::Condition,
        id::{AccountId, DesignId, PartId, PlaceId, ThingId},
        movement::{Line, Moved, MovementKind},
        part::{Part, PartSpec, StockBy, StockUnit},
        piece::End,
        text::{Note, Tag},
        thing::ThingKind,
    },
    units::{Date, Length},
};

/// The most things that one delivery brings at once.
pub const THING_LIMIT: usize = 500;

/// What came.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub enum Goods {
    /// A count.
    Count(i64),
    /// Like pieces.
    Pieces(Pieces),
    /// Units.
    Units {
        /// How many.
        number: usize,
        /// Their tags; the next free ones follow where fewer are typed.
        tags: Vec<Tag>,
        /// The maker's numbers, as far as noted.
        serials: Vec<String>,
    },
}

/// Like pieces: rolls, reels, bars or offcuts.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Pieces {
    /// How many.
    pub number: usize,
    /// Cut units or micrometres of each.
    pub amount: i64,
    /// What is left of each beyond the last whole cut unit.
    pub rest_um: i64,
    /// The marked end of each.
    pub start: End,
    /// The other end of each.
    pub end: End,
    /// Cut units from the start to the first pre-tinned joint, if there is one.
    pub joint_offset_units: Option<i64>,
    /// Batch, empty if not known.
    pub batch: String,
    /// Their tags; the next free ones follow where fewer are typed.
    pub tags: Vec<Tag>,
    /// Whether they are offcuts (tags O-) rather than as bought (tags R-).
    pub offcuts: bool,
}

impl Pieces {
    /// Pieces of a length as they come from the shop: with the factory's leads at their ends and
    /// its joints.
    pub fn as_bought(part: &Part, length: Length, number: usize) -> Self {
        let bare = Self::of_length(part, length, number);
        match &part.spec {
            PartSpec::Tape(tape) => {
                let end = |connector: &Option<_>| {
                    connector
                        .clone()
                        .map_or(End::Bare, |connector| End::Lead { connector })
                };
                Self {
                    start: end(&tape.roll_start),
                    end: end(&tape.roll_end),
                    joint_offset_units: tape.joints.map(|joints| joints.offset_units.into()),
                    ..bare
                }
            }
            _ => bare,
        }
    }

    /// Pieces of a length with bare ends.
    pub fn of_length(part: &Part, length: Length, number: usize) -> Self {
        let (amount, rest_um) = match part.unit() {
            StockUnit::CutUnits(pitch) => {
                let (units, rest) = pitch.whole_units(length);
                (i64::try_from(units).unwrap_or(i64::MAX), rest)
            }
            StockUnit::Micrometres | StockUnit::Each => (length.get(), 0),
        };
        Self {
            number,
            amount,
            rest_um,
            start: End::Bare,
            end: End::Bare,
            joint_offset_units: None,
            batch: String::new(),
            tags: Vec::new(),
            offcuts: false,
        }
    }
}

/// Goods that arrived.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Receive {
    /// Of which part.
    pub part: PartId,
    /// Where they are put.
    pub to: PlaceId,
    /// What came.
    pub goods: Goods,
    /// Why, in the person's own words.
    pub reason: Note,
    /// For which design.
    pub design: Option<DesignId>,
    /// A note on each thing.
    pub note: Note,
    /// When each thing is due for inspection.
    pub inspect_on: Option<Date>,
    /// In what condition each thing is.
    pub condition: Condition,
}

impl Receive {
    /// Goods with nothing more to say about them.
    pub fn new(part: PartId, to: PlaceId, goods: Goods) -> Self {
        Self {
            part,
            to,
            goods,
            reason: Note::default(),
            design: None,
            note: Note::default(),
            inspect_on: None,
            condition: Condition::Good,
        }
    }

    fn thing(&self, tag: &Tag, kind: ThingKind, words: String) -> NewThing {
        NewThing {
            tag: tag.clone(),
            kind,
            part: Some(self.part),
            condition: self.condition,
            note: self.note.clone(),
            inspect_on: self.inspect_on,
            words,
        }
    }
}

fn number_of(number: usize) -> Result<(), StockError> {
    match number {
        0 => Err(field("number", "Type a number above zero.")),
        1..=THING_LIMIT => Ok(()),
        _ => Err(field(
            "number",
            format!("At most {THING_LIMIT} are received at once. Receive the rest after these."),
        )),
    }
}

impl Change for Receive {
    type Answer = Done;

    async fn within(&self, tx: &mut WriteTx, act: &Act) -> Result<Done, StockError> {
        let Brought { lines, things } = self.bring(tx).await?;
        let head = Head::new(MovementKind::Receive, &self.reason).design(self.design);
        Ok(Done {
            things,
            ..write(tx, act, head, lines).await?
        })
    }
}

/// What came, before its movement is written: a movement may hold more than one delivery.
pub(super) struct Brought {
    /// The movement's lines.
    pub lines: Vec<Line>,
    /// Things that were made.
    pub things: Vec<ThingId>,
}

impl Receive {
    /// Makes the things and says what is to be written; the movement must follow in the same
    /// transaction.
    pub(super) async fn bring(&self, tx: &mut WriteTx) -> Result<Brought, StockError> {
        let part = db::part::lookup(tx, self.part)
            .await?
            .ok_or(StockError::NotFound("part"))?;
        let to = place(tx, self.to).await?;
        let wrong = || {
            StockError::refused(format!(
                "{} is kept {}. Nothing was received. Load the page again.",
                part.name,
                part.stock_by()
            ))
        };
        let mut things = Vec::new();
        let mut lines = Vec::new();
        let mut line = |moved| {
            lines.push(Line {
                moved,
                from: AccountId::WORLD,
                to,
            });
        };
        match &self.goods {
            Goods::Count(amount) => {
                if part.stock_by() != StockBy::Count {
                    return Err(wrong());
                }
                if !(1..=AMOUNT_LIMIT).contains(amount) {
                    return Err(amount_error(*amount));
                }
                line(Moved::Count {
                    part: part.id,
                    amount: *amount,
                });
            }
            Goods::Pieces(pieces) => {
                if part.stock_by() != StockBy::Length {
                    return Err(wrong());
                }
                number_of(pieces.number)?;
                check_amount(&part, pieces)?;
                let prefix = if pieces.offcuts {
                    TagPrefix::Offcut
                } else {
                    prefix_of(part.spec.kind())
                };
                for tag in tags(tx, &pieces.tags, prefix, pieces.number).await? {
                    let new = self.thing(&tag, ThingKind::Piece, pieces.batch.to_lowercase());
                    let thing = db::thing::add(tx, &new).await?;
                    let piece = NewPiece {
                        amount: pieces.amount,
                        rest_um: pieces.rest_um,
                        start: pieces.start.clone(),
                        end: pieces.end.clone(),
                        joint_offset_units: pieces.joint_offset_units,
                        batch: pieces.batch.clone(),
                        cut_from: None,
                    };
                    db::piece::add(tx, thing, &piece).await?;
                    line(Moved::Piece {
                        thing,
                        part: part.id,
                        amount: pieces.amount,
                        rest_um: pieces.rest_um,
                    });
                    things.push(thing);
                }
            }
            Goods::Units {
                number,
                tags: typed,
                serials,
            } => {
                if part.stock_by() != StockBy::Unit {
                    return Err(wrong());
                }
                number_of(*number)?;
                let tags = tags(tx, typed, prefix_of(part.spec.kind()), *number).await?;
                for (at, tag) in tags.iter().enumerate() {
                    let serial = serials.get(at).map_or("", String::as_str);
                    let new = self.thing(tag, ThingKind::Unit, serial.to_lowercase());
                    let thing = db::thing::add(tx, &new).await?;
                    db::thing::add_unit(tx, thing, None, serial).await?;
                    line(Moved::Thing {
                        thing,
                        part: Some(part.id),
                    });
                    things.push(thing);
                }
            }
        }
        Ok(Brought { lines, things })
    }
}

fn check_amount(part: &Part, pieces: &Pieces) -> Result<(), StockError> {
    if pieces.amount < 0 || pieces.rest_um < 0 || pieces.amount + pieces.rest_um == 0 {
        return Err(field("length", "Type a length above zero."));
    }
    let um = match part.unit() {
        StockUnit::CutUnits(pitch) => {
            i128::from(pieces.amount) * i128::from(pitch.um()) / i128::from(pitch.units())
                + i128::from(pieces.rest_um)
        }
        _ => i128::from(pieces.amount),
    };
    if um > i128::from(Length::MAX) {
        return Err(field("length", "A piece is at most 1 km long."));
    }
    Ok(())
}
