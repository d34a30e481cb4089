//! Lent out, and given back.

use serde::{Deserialize, Serialize};

use super::{
    Act, StockError,
    change::{Change, Done, Head, What, field, place, transfer},
};
use crate::{
    db::{self, WriteTx},
    model::{
        id::{LoanId, PlaceId},
        movement::{AccountKind, MovementKind},
        text::{Name, Note},
    },
    units::Date,
};

/// Things and counts that somebody borrows.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Lend {
    /// What.
    pub what: Vec<What>,
    /// Who has it.
    pub borrower: Name,
    /// When it should be back.
    pub due_on: Date,
    /// Notes.
    pub note: Note,
}

impl Change for Lend {
    type Answer = Done;

    async fn within(&self, tx: &mut WriteTx, act: &Act) -> Result<Done, StockError> {
        if self.due_on < act.today {
            return Err(field(
                "due_on",
                "The day on which it should be back is over. Type today or a later day.",
            ));
        }
        let loan = db::loan::add(tx, &self.borrower, self.due_on, &self.note).await?;
        let to = db::loan::account(tx, loan)
            .await?
            .ok_or(StockError::NotFound("loan"))?;
        transfer(
            tx,
            act,
            Head::new(MovementKind::Lend, &self.note),
            &self.what,
            to,
        )
        .await
    }
}

/// Things and counts that come back from a borrower.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct GiveBack {
    /// What; a thing that is not lent out is refused.
    pub what: Vec<What>,
    /// Where it is put.
    pub to: PlaceId,
    /// Why, in the person's own words.
    pub reason: Note,
}

impl Change for GiveBack {
    type Answer = Done;

    async fn within(&self, tx: &mut WriteTx, act: &Act) -> Result<Done, StockError> {
        let to = place(tx, self.to).await?;
        for what in &self.what {
            let (spot, name) = match what {
                What::Thing { thing } => {
                    let thing = super::change::thing(tx, *thing).await?;
                    (thing.place, thing.tag.to_string())
                }
                What::Count { from, .. } => (
                    db::place::whereabouts(tx, *from)
                        .await?
                        .ok_or(StockError::NotFound("loan"))?,
                    "It".to_owned(),
                ),
            };
            if spot.kind != AccountKind::Loan {
                return Err(StockError::refused(format!(
                    "{name} is not lent out: {}. Nothing was changed.",
                    spot.words
                )));
            }
        }
        let head = Head::new(MovementKind::GiveBack, &self.reason);
        transfer(tx, act, head, &self.what, to).await
    }
}

/// Everything of a loan that is still out.
pub async fn still_out(tx: &mut WriteTx, loan: LoanId) -> Result<Vec<What>, StockError> {
    let account = db::loan::account(tx, loan)
        .await?
        .ok_or(StockError::NotFound("loan"))?;
    let things = db::thing::list_at(tx, account).await?;
    let counts = db::balance::list_at(tx, account).await?;
    Ok(things
        .iter()
        .map(|thing| What::Thing { thing: thing.id })
        .chain(counts.iter().map(|count| What::Count {
            part: count.part,
            amount: count.amount,
            from: account,
        }))
        .collect())
}
