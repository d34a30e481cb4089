//! A condition noted, and notes changed.

use serde::{Deserialize, Serialize};

use super::{
    Act, StockError,
    change::{Change, Done, Head, thing, write},
};
use crate::{
    db::{self, WriteTx},
    model::{
        fixture::Condition,
        id::ThingId,
        movement::{Mark, MovementKind},
        text::{Name, Note},
    },
    units::{Date, Length},
};

/// A thing that is good, suspect or dead from now on.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct MarkCondition {
    /// Which.
    pub thing: ThingId,
    /// What it is now.
    pub condition: Condition,
    /// What was seen.
    pub reason: Note,
}

impl Change for MarkCondition {
    type Answer = Done;

    async fn within(&self, tx: &mut WriteTx, act: &Act) -> Result<Done, StockError> {
        let thing = thing(tx, self.thing).await?;
        if thing.condition == self.condition {
            return Ok(Done::default());
        }
        let mark = Mark {
            thing: thing.id,
            before: thing.condition,
            after: self.condition,
        };
        db::thing::set_condition(tx, thing.id, self.condition).await?;
        let head = Head {
            mark: Some(mark),
            ..Head::new(MovementKind::Mark, &self.reason)
        };
        write(tx, act, head, Vec::new()).await
    }
}

/// What is said about a thing beside its stock: no movement.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct EditThing {
    /// Which.
    pub thing: ThingId,
    /// The version that was read.
    pub version: i64,
    /// Notes.
    pub note: Note,
    /// When it is due for inspection.
    pub inspect_on: Option<Date>,
    /// What only its kind has.
    pub more: EditMore,
}

/// What only some kinds of things have.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub enum EditMore {
    /// Nothing more.
    Nothing,
    /// A unit's start address and maker's number.
    Unit {
        /// The start address that it is set to, 1 to 512, if known.
        address: Option<u16>,
        /// The maker's number; may be empty.
        serial: String,
    },
    /// A frame's name and size.
    Frame {
        /// Name.
        name: Name,
        /// Width.
        width_um: Length,
        /// Height.
        height_um: Length,
    },
}

impl Change for EditThing {
    type Answer = Done;

    async fn within(&self, tx: &mut WriteTx, _act: &Act) -> Result<Done, StockError> {
        let thing = thing(tx, self.thing).await?;
        if !db::thing::change(tx, thing.id, self.version, &self.note, self.inspect_on).await? {
            return Err(StockError::Changed);
        }
        match &self.more {
            EditMore::Nothing => {}
            EditMore::Unit { address, serial } => {
                db::thing::change_unit(tx, thing.id, *address, serial).await?;
            }
            EditMore::Frame {
                name,
                width_um,
                height_um,
            } => db::thing::change_frame(tx, thing.id, name, *width_um, *height_um).await?,
        }
        Ok(Done::default())
    }
}
