//! From place to place.

use serde::{Deserialize, Serialize};

use super::{
    Act, StockError,
    change::{Change, Done, Head, What, place, transfer},
};
use crate::{
    db::{self, WriteTx},
    model::{
        id::{DesignId, PlaceId},
        movement::MovementKind,
        text::Note,
    },
};

/// Things and counts that are put somewhere else. What is there already stays, and nothing is
/// written about it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Move {
    /// What.
    pub what: Vec<What>,
    /// Where to.
    pub to: PlaceId,
    /// Why, in the person's own words.
    pub reason: Note,
}

impl Change for Move {
    type Answer = Done;

    async fn within(&self, tx: &mut WriteTx, act: &Act) -> Result<Done, StockError> {
        let to = place(tx, self.to).await?;
        let head = Head::new(MovementKind::Move, &self.reason);
        transfer(tx, act, head, &self.what, to).await
    }
}

/// Things and counts that go out to the stage of a design.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct TakeOut {
    /// What.
    pub what: Vec<What>,
    /// For which design.
    pub design: DesignId,
    /// Why, in the person's own words.
    pub reason: Note,
}

impl Change for TakeOut {
    type Answer = Done;

    async fn within(&self, tx: &mut WriteTx, act: &Act) -> Result<Done, StockError> {
        let to = db::place::account_of_design(tx, self.design)
            .await?
            .ok_or(StockError::NotFound("set"))?;
        let head = Head::new(MovementKind::TakeOut, &self.reason).design(Some(self.design));
        transfer(tx, act, head, &self.what, to).await
    }
}

/// Things and counts that come back from the stage.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct BringBack {
    /// What.
    pub what: Vec<What>,
    /// From which design's stage.
    pub design: DesignId,
    /// Where they are put.
    pub to: PlaceId,
    /// Why, in the person's own words.
    pub reason: Note,
}

impl Change for BringBack {
    type Answer = Done;

    async fn within(&self, tx: &mut WriteTx, act: &Act) -> Result<Done, StockError> {
        let to = place(tx, self.to).await?;
        let head = Head::new(MovementKind::BringBack, &self.reason).design(Some(self.design));
        transfer(tx, act, head, &self.what, to).await
    }
}
