//! What a venue has already, of many parts at once, put into one place by one movement.

use serde::{Deserialize, Serialize};

use super::{
    Act, Change, Done, StockError,
    change::{Head, field, write},
    receive::{Goods, Receive, THING_LIMIT},
};
use crate::{
    db::{self, DbError, Refusal, WriteTx, place::NewPlace},
    model::{
        id::{PartId, PlaceId},
        movement::MovementKind,
        place::PlaceKind,
        text::{Name, Note},
    },
};

/// Where it lies.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub enum Where {
    /// In a place of the house.
    Place(PlaceId),
    /// In a room that is added with it.
    NewRoom(Name),
}

/// Everything that is put in at once.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct TakeIn {
    /// Where it lies.
    pub to: Where,
    /// What, part by part; a part may come more than once.
    pub goods: Vec<(PartId, Goods)>,
    /// Why, in the person's own words.
    pub reason: Note,
}

impl Change for TakeIn {
    type Answer = Done;

    async fn within(&self, tx: &mut WriteTx, act: &Act) -> Result<Done, StockError> {
        if self.goods.is_empty() {
            return Err(StockError::refused(
                "Nothing was typed, and nothing was changed. Type how much there is of at least \
                 one part.",
            ));
        }
        let to = match &self.to {
            Where::Place(id) => *id,
            Where::NewRoom(name) => add_room(tx, name).await?,
        };
        let (mut lines, mut things) = (Vec::new(), Vec::new());
        for (part, goods) in &self.goods {
            let one = Receive::new(*part, to, goods.clone());
            let brought = one.bring(tx).await.map_err(|why| match why {
                StockError::Field { message, .. } => field(&field_of(*part), message),
                other => other,
            })?;
            lines.extend(brought.lines);
            things.extend(brought.things);
            if things.len() > THING_LIMIT {
                return Err(StockError::refused(format!(
                    "More than {THING_LIMIT} things are put in at once. Nothing was changed. Put \
                     some of them in first, then the others."
                )));
            }
        }
        let head = Head::new(MovementKind::Receive, &self.reason);
        Ok(Done {
            things,
            ..write(tx, act, head, lines).await?
        })
    }
}

/// The field of a form that a part's goods are typed into.
pub fn field_of(part: PartId) -> String {
    format!("part-{part}")
}

async fn add_room(tx: &mut WriteTx, name: &Name) -> Result<PlaceId, StockError> {
    let new = NewPlace {
        parent: None,
        name: name.clone(),
        kind: PlaceKind::Room,
        position: 0,
        note: Note::default(),
    };
    db::place::add(tx, &new).await.map_err(|why| match &why {
        DbError::Refused(Refusal::Taken(_)) => field("room", why.to_string()),
        _ => why.into(),
    })
}
