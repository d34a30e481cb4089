//! Several like fixtures that are owned already, entered at once.

use serde::{Deserialize, Serialize};

use super::{Act, Change, Done, StockError, change::field, make::EnterFixture};
use crate::db::WriteTx;

/// The most that are entered at once.
pub const LIKE_LIMIT: i64 = 60;

/// Like fixtures, each with the next free tag.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct EnterLike {
    /// What each is.
    pub one: EnterFixture,
    /// How many.
    pub number: i64,
}

impl Change for EnterLike {
    /// The movement is there only for a single one: several are undone one by one.
    type Answer = Done;

    async fn within(&self, tx: &mut WriteTx, act: &Act) -> Result<Done, StockError> {
        if !(1..=LIKE_LIMIT).contains(&self.number) {
            return Err(field(
                "number",
                format!("Type a whole number from 1 to {LIKE_LIMIT}."),
            ));
        }
        if self.number > 1 && self.one.about.tag.is_some() {
            return Err(field(
                "tag",
                "One tag is for one fixture. Leave it empty: each gets the next free one.",
            ));
        }
        let mut all = Done::default();
        for _ in 0..self.number {
            let done = self.one.within(tx, act).await?;
            all.movement = done.movement;
            all.things.extend(done.things);
        }
        if self.number > 1 {
            all.movement = None;
        }
        Ok(all)
    }
}
