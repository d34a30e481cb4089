//! A condition noted, and notes changed.

use serde::{Deserialize, Serialize};
use sqlx::SqliteConnection;

use super::{
    Act, StockError,
    change::{Change, Done, Head, thing, write},
};
use crate::{
    db::{self, DbError, WriteTx},
    model::{
        fixture::{Condition, Make},
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
    /// What a finished bar is, where it was noted wrongly. Of one that was made of stock here only
    /// the plug, where it is fed, and the batch: what lies inside says the rest.
    Fixture {
        /// What it is.
        make: Make,
        /// Batch of its tape; may be empty.
        batch: String,
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
            EditMore::Fixture { make, batch } => correct(tx, thing.id, make, batch).await?,
            EditMore::Frame {
                name,
                width_um,
                height_um,
            } => db::thing::change_frame(tx, thing.id, name, *width_um, *height_um).await?,
        }
        Ok(Done::default())
    }
}

async fn correct(
    tx: &mut WriteTx,
    id: ThingId,
    make: &Make,
    batch: &str,
) -> Result<(), StockError> {
    let stored = db::fixture::lookup(tx, id)
        .await?
        .ok_or(StockError::NotFound("finished bar"))?;
    let known = &stored.fixture.make;
    let same_inside = Make {
        fed: make.fed,
        connector: make.connector.clone(),
        ..known.clone()
    };
    if *make != same_inside && made_here(tx, id).await? {
        return Err(StockError::refused(format!(
            "{} was made of stock here, so its tape, length and profile are known. Nothing was \
             changed. Change its plug here; if the wrong pieces went into it, undo that in the log.",
            stored.fixture.tag
        )));
    }
    Ok(db::fixture::change(tx, id, make, batch).await?)
}

/// Whether what a finished bar was made of is known, since it lies inside.
pub async fn made_here(tx: &mut SqliteConnection, id: ThingId) -> Result<bool, DbError> {
    let Some(inside) = db::place::account_inside(tx, id).await? else {
        return Ok(false);
    };
    Ok(!db::thing::list_at(tx, inside).await?.is_empty())
}
