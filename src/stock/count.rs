//! Stocktake: what is really there, against what the book says.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::{
    Act, StockError,
    change::{
        AMOUNT_LIMIT, Change, Done, Head, What, count_part, field, moved, place, thing, write,
    },
    holds::Touched,
    out::{Fate, Find, LostWhat, Out},
};
use crate::{
    db::{self, WriteTx},
    model::{
        id::{AccountId, MovementId, PartId, PlaceId, ThingId},
        movement::{AccountKind, Line, Moved, MovementKind},
        text::Note,
    },
};

/// The number of a part that lies in a place: the difference to the book becomes a correction.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Counted {
    /// Of which part.
    pub part: PartId,
    /// Where.
    pub place: PlaceId,
    /// How many there are, or how many micrometres of a sundry kept by length.
    pub counted: i64,
    /// Why, in the person's own words.
    pub reason: Note,
}

impl Change for Counted {
    type Answer = Done;

    async fn within(&self, tx: &mut WriteTx, act: &Act) -> Result<Done, StockError> {
        count_part(tx, self.part).await?;
        if !(0..=AMOUNT_LIMIT).contains(&self.counted) {
            return Err(field(
                "counted",
                format!("Type a whole number from 0 to {AMOUNT_LIMIT}."),
            ));
        }
        let here = place(tx, self.place).await?;
        let booked = db::balance::amount(tx, self.part, here).await?;
        let (from, to) = match self.counted - booked {
            0 => return Ok(Done::default()),
            1.. => (AccountId::ADJUST, here),
            _ => (here, AccountId::ADJUST),
        };
        let line = Line {
            moved: Moved::Count {
                part: self.part,
                amount: (self.counted - booked).abs(),
            },
            from,
            to,
        };
        let head = Head::new(MovementKind::Count, &self.reason);
        write(tx, act, head, vec![line]).await
    }
}

/// A thing seen in a place at a stocktake: found if it was lost, moved here if the book has it
/// elsewhere, nothing if it is where it should be.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Seen {
    /// Which.
    pub thing: ThingId,
    /// Where.
    pub place: PlaceId,
    /// Why, in the person's own words.
    pub reason: Note,
}

impl Change for Seen {
    type Answer = Done;

    async fn within(&self, tx: &mut WriteTx, act: &Act) -> Result<Done, StockError> {
        let here = place(tx, self.place).await?;
        let thing = thing(tx, self.thing).await?;
        if thing.place.account == here {
            return Ok(Done::default());
        }
        match thing.place.kind {
            AccountKind::Lost => {
                let find = Find {
                    what: LostWhat::Thing(thing.id),
                    to: self.place,
                    reason: self.reason.clone(),
                };
                find.within(tx, act).await
            }
            // The eye is right: it lies here, whatever was written about it before.
            kind if kind.owned() || matches!(kind, AccountKind::Used | AccountKind::Scrap) => {
                let line = Line {
                    moved: moved(&thing),
                    from: thing.place.account,
                    to: here,
                };
                let kind = if kind.owned() {
                    MovementKind::Move
                } else {
                    MovementKind::Find
                };
                let head = Head::new(kind, &self.reason);
                write(tx, act, head, vec![line]).await
            }
            _ => Err(StockError::refused(format!(
                "{} ended when it was cut ({}). Nothing was changed. Look at the tag again.",
                thing.tag, thing.place.words
            ))),
        }
    }
}

/// A whole place walked along at once.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct CountPlace {
    /// Where.
    pub place: PlaceId,
    /// Parts with what was counted of each.
    pub counts: Vec<(PartId, i64)>,
    /// Things that were seen.
    pub seen: Vec<ThingId>,
    /// Things that the book has here and that were not there.
    pub missing: Vec<ThingId>,
    /// Why, in the person's own words.
    pub reason: Note,
}

/// The movements that a stocktake made: none where all agreed.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Stocktake {
    /// Each may be undone by itself.
    pub movements: Vec<MovementId>,
    /// Holds of sets that moved to a like thing, or broke, because of it.
    #[serde(default)]
    pub touched: Vec<Touched>,
}

impl Stocktake {
    fn add(&mut self, done: Done) {
        self.movements.extend(done.movement);
        self.touched.extend(done.touched);
    }
}

impl Change for CountPlace {
    type Answer = Stocktake;

    async fn within(&self, tx: &mut WriteTx, act: &Act) -> Result<Stocktake, StockError> {
        let here = place(tx, self.place).await?;
        let mut taken = Stocktake::default();
        for (part, counted) in &self.counts {
            let counted = Counted {
                part: *part,
                place: self.place,
                counted: *counted,
                reason: self.reason.clone(),
            };
            taken.add(counted.within(tx, act).await?);
        }
        for seen in &self.seen {
            let seen = Seen {
                thing: *seen,
                place: self.place,
                reason: self.reason.clone(),
            };
            taken.add(seen.within(tx, act).await?);
        }
        let mut missing = Vec::new();
        for id in &self.missing {
            // Meanwhile moved elsewhere by somebody else: then it is not missing here.
            if thing(tx, *id).await?.place.account == here {
                missing.push(What::Thing { thing: *id });
            }
        }
        if !missing.is_empty() {
            let out = Out {
                fate: Fate::Lost,
                what: missing,
                reason: self.reason.clone(),
                design: None,
            };
            taken.add(out.within(tx, act).await?);
        }
        Ok(taken)
    }
}
