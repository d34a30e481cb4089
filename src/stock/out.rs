//! What leaves the book: used up, thrown away, lost; and found again.

use serde::{Deserialize, Serialize};

use super::{
    Act, StockError,
    change::{
        Change, Done, Head, Taken, What, amount_error, count_part, field, moved, place, take_all,
        thing, write,
    },
};
use crate::{
    db::{self, WriteTx},
    model::{
        id::{AccountId, DesignId, PartId, PlaceId, ThingId},
        movement::{AccountKind, Line, Moved, MovementKind},
        text::Note,
        thing::{Thing, ThingKind},
    },
};

/// How something leaves.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum Fate {
    /// Used up.
    Used,
    /// Thrown away.
    Scrapped,
    /// Not to be found.
    Lost,
}

impl Fate {
    const fn kind(self) -> MovementKind {
        match self {
            Self::Used => MovementKind::Use,
            Self::Scrapped => MovementKind::Scrap,
            Self::Lost => MovementKind::Lose,
        }
    }

    const fn account(self) -> AccountId {
        match self {
            Self::Used => AccountId::USED,
            Self::Scrapped => AccountId::SCRAP,
            Self::Lost => AccountId::LOST,
        }
    }
}

/// Things and counts that are used up, thrown away or lost. What is built into a fixture goes
/// with it; what is mounted on a frame is lost with it, and must be taken off before it is
/// thrown away.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Out {
    /// How.
    pub fate: Fate,
    /// What.
    pub what: Vec<What>,
    /// Why, in the person's own words.
    pub reason: Note,
    /// For which design.
    pub design: Option<DesignId>,
}

impl Change for Out {
    type Answer = Done;

    async fn within(&self, tx: &mut WriteTx, act: &Act) -> Result<Done, StockError> {
        let to = self.fate.account();
        let mut lines: Vec<Line> = Vec::new();
        for one in take_all(tx, &self.what).await? {
            if let Some(thing) = &one.thing {
                self.check(tx, thing, &mut lines).await?;
            }
            // It may stand there already, as something on a frame that was lost before it.
            let line = Taken::to(&one, to);
            if !lines.contains(&line) {
                lines.push(line);
            }
        }
        let head = Head::new(self.fate.kind(), &self.reason).design(self.design);
        write(tx, act, head, lines).await
    }
}

impl Out {
    async fn check(
        &self,
        tx: &mut WriteTx,
        thing: &Thing,
        lines: &mut Vec<Line>,
    ) -> Result<(), StockError> {
        if self.fate == Fate::Used && matches!(thing.kind, ThingKind::Fixture | ThingKind::Frame) {
            return Err(StockError::refused(format!(
                "A {} is not used up. Nothing was changed. Throw {} away, or note it as lost.",
                thing.kind, thing.tag
            )));
        }
        if thing.kind != ThingKind::Frame {
            return Ok(());
        }
        let Some(inside) = db::place::account_inside(tx, thing.id).await? else {
            return Ok(());
        };
        let things = db::thing::list_at(tx, inside).await?;
        let counts = db::balance::list_at(tx, inside).await?;
        if things.is_empty() && counts.is_empty() {
            return Ok(());
        }
        if self.fate == Fate::Scrapped {
            return Err(StockError::refused(format!(
                "Something is still mounted on {}. Nothing was changed. Take it off first.",
                thing.tag
            )));
        }
        let to = self.fate.account();
        let gone = things
            .iter()
            .map(moved)
            .chain(counts.iter().map(|count| Moved::Count {
                part: count.part,
                amount: count.amount,
            }));
        for moved in gone {
            let line = Line {
                moved,
                from: inside,
                to,
            };
            if !lines.contains(&line) {
                lines.push(line);
            }
        }
        Ok(())
    }
}

/// What was lost.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum LostWhat {
    /// A thing.
    Thing(ThingId),
    /// A count of a part, not more than was lost.
    Count(PartId, i64),
}

/// Something lost that turned up.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Find {
    /// What.
    pub what: LostWhat,
    /// Where it is put.
    pub to: PlaceId,
    /// Why, in the person's own words.
    pub reason: Note,
}

impl Change for Find {
    type Answer = Done;

    async fn within(&self, tx: &mut WriteTx, act: &Act) -> Result<Done, StockError> {
        let to = place(tx, self.to).await?;
        let moved = match self.what {
            LostWhat::Thing(id) => {
                let thing = thing(tx, id).await?;
                if thing.place.kind != AccountKind::Lost {
                    return Err(StockError::refused(format!(
                        "{} is not lost: {}. Nothing was changed. Move it instead.",
                        thing.tag, thing.place.words
                    )));
                }
                moved(&thing)
            }
            LostWhat::Count(part, amount) => {
                count_part(tx, part).await?;
                if amount < 1 {
                    return Err(amount_error(amount));
                }
                let lost = db::balance::amount(tx, part, AccountId::LOST).await?;
                if amount > lost {
                    return Err(field(
                        "amount",
                        format!(
                            "{lost} were noted as lost, fewer than {amount}. Correct the place's \
                             count instead."
                        ),
                    ));
                }
                Moved::Count { part, amount }
            }
        };
        let line = Line {
            moved,
            from: AccountId::LOST,
            to,
        };
        let head = Head::new(MovementKind::Find, &self.reason);
        write(tx, act, head, vec![line]).await
    }
}
