//! Put on a frame to stay there, and taken off.

use serde::{Deserialize, Serialize};

use super::{
    Act, StockError,
    change::{Change, Done, Head, What, place, thing, transfer},
};
use crate::{
    db::{self, WriteTx},
    model::{
        id::{PlaceId, ThingId},
        movement::MovementKind,
        text::Note,
        thing::ThingKind,
    },
};

/// Things and counts that are put on a frame: from then on they go where it goes.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Mount {
    /// What.
    pub what: Vec<What>,
    /// The frame.
    pub frame: ThingId,
    /// Why, in the person's own words.
    pub reason: Note,
}

impl Change for Mount {
    type Answer = Done;

    async fn within(&self, tx: &mut WriteTx, act: &Act) -> Result<Done, StockError> {
        let frame = thing(tx, self.frame).await?;
        if frame.kind != ThingKind::Frame || !frame.owned() {
            return Err(StockError::refused(format!(
                "{} is not a frame that is there. Nothing was changed. Choose a frame.",
                frame.tag
            )));
        }
        for what in &self.what {
            if let What::Thing { thing: id } = what {
                let thing = thing(tx, *id).await?;
                if thing.kind == ThingKind::Frame {
                    return Err(StockError::refused(format!(
                        "{} is a frame itself. Nothing was changed. A frame is not mounted on \
                         another.",
                        thing.tag
                    )));
                }
            }
        }
        let to = db::place::account_inside(tx, frame.id)
            .await?
            .ok_or(StockError::NotFound("frame"))?;
        let head = Head::new(MovementKind::Mount, &self.reason);
        transfer(tx, act, head, &self.what, to).await
    }
}

/// Things and counts that are taken off a frame.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Unmount {
    /// What.
    pub what: Vec<What>,
    /// Where it is put.
    pub to: PlaceId,
    /// Why, in the person's own words.
    pub reason: Note,
}

impl Change for Unmount {
    type Answer = Done;

    async fn within(&self, tx: &mut WriteTx, act: &Act) -> Result<Done, StockError> {
        let to = place(tx, self.to).await?;
        let head = Head::new(MovementKind::Unmount, &self.reason);
        transfer(tx, act, head, &self.what, to).await
    }
}
