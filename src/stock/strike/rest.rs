//! All that is still out with a set, checked in at once.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::{OutWhat, let_go, list};
use crate::{
    db::{self, WriteTx},
    model::{
        id::{DesignId, PlaceId},
        movement::{Line, Moved, MovementKind},
        text::Note,
    },
    stock::{
        Act, Change, Done, StockError,
        change::{Head, field, moved, place, write},
    },
};

/// Checks in all that is still out with a set, each thing in the condition that it is in, and where
/// it came from: one movement, which can be undone.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct CheckInRest {
    /// Of which set.
    pub design: DesignId,
    /// Where that is put which came from no place, or from one no longer in use.
    pub to: Option<PlaceId>,
    /// What was seen.
    pub reason: Note,
}

impl Change for CheckInRest {
    type Answer = Done;

    async fn within(&self, tx: &mut WriteTx, act: &Act) -> Result<Done, StockError> {
        let stage = db::place::account_of_design(tx, self.design)
            .await?
            .ok_or(StockError::NotFound("set"))?;
        let out = list(tx, self.design).await?;
        if out.is_empty() {
            return Err(StockError::refused(
                "Nothing is out with this set any more. Nothing was changed.",
            ));
        }
        let homeless = out.iter().filter(|line| line.came_from.is_none()).count();
        if homeless > 0 && self.to.is_none() {
            let of = match homeless {
                1 => "1 line came",
                _ => &format!("{homeless} lines came"),
            };
            return Err(field(
                "to",
                format!("{of} from no place that is in use. Choose the place where that is put."),
            ));
        }
        let mut lines = Vec::with_capacity(out.len());
        for line in out {
            let Some(to) = line.came_from.or(self.to) else {
                continue;
            };
            let moved = match line.what {
                OutWhat::Thing(thing) => moved(&thing),
                OutWhat::Count { part, amount, .. } => Moved::Count { part, amount },
            };
            let_go(tx, self.design, moved).await?;
            lines.push(Line {
                moved,
                from: stage,
                to: place(tx, to).await?,
            });
        }
        let head = Head::new(MovementKind::BringBack, &self.reason).design(Some(self.design));
        write(tx, act, head, lines).await
    }
}
