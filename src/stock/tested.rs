//! A finished bar tried, at the bench or before a show: what was seen is kept, and one that failed
//! is suspect from then on.

use serde::{Deserialize, Serialize};

use super::{
    Act, StockError,
    change::{Change, Done, field, thing},
    mark::MarkCondition,
};
use crate::{
    db::{self, WriteTx},
    model::{
        channel::Channel,
        fixture::Condition,
        id::{DesignId, ThingId},
        test_record::{TestKind, TestRecord},
        text::Note,
    },
    units::Voltage,
};

/// What was seen.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Tested {
    /// Of which finished bar.
    pub thing: ThingId,
    /// In which set, if in one.
    pub design: Option<DesignId>,
    /// When in its life.
    pub kind: TestKind,
    /// Colours that did not light as they should.
    pub dark: Vec<Channel>,
    /// Whether everything together, at full, was as it should be.
    pub full_good: bool,
    /// Measured at the far end, warm, with everything on.
    pub far_mv: Option<Voltage>,
    /// In the person's own words.
    pub note: Note,
}

impl Change for Tested {
    /// The mark of one that failed and was good before; no movement otherwise.
    type Answer = Done;

    async fn within(&self, tx: &mut WriteTx, act: &Act) -> Result<Done, StockError> {
        let tested = thing(tx, self.thing).await?;
        let fixture = db::fixture::lookup(tx, self.thing)
            .await?
            .ok_or(StockError::NotFound("finished bar"))?
            .fixture;
        if !tested.owned() {
            return Err(StockError::refused(format!(
                "{} is not there any more: {}. Nothing was noted.",
                tested.tag, tested.place.words
            )));
        }
        if let Some(other) =
            (self.dark.iter()).find(|colour| !fixture.make.channels.list().contains(colour))
        {
            return Err(field(
                "dark",
                format!("{} has no {other}. Tick colours that it has.", tested.tag),
            ));
        }
        if self
            .far_mv
            .is_some_and(|far| far.get() > TestRecord::MOST_MV)
        {
            return Err(field(
                "far_mv",
                "That is more than extra-low voltage. Type what the meter says at the far end, at most 60 V.",
            ));
        }
        if let Some(design) = self.design {
            db::design::lookup(tx, design)
                .await?
                .ok_or(StockError::NotFound("set"))?;
        }
        let mut dark = self.dark.clone();
        dark.sort_unstable();
        dark.dedup();
        let record = TestRecord {
            thing: self.thing,
            design: self.design,
            kind: self.kind,
            dark,
            full_good: self.full_good,
            far_mv: self.far_mv,
            note: self.note.as_str().to_owned(),
            who: act.who.to_string(),
            on: act.today,
            at_ms: act.now_ms,
        };
        db::test_record::add(tx, &record).await?;
        if record.passed() || tested.condition != Condition::Good {
            return Ok(Done::default());
        }
        let mark = MarkCondition {
            thing: self.thing,
            condition: Condition::Suspect,
            reason: self.note.clone(),
        };
        mark.within(tx, act).await
    }
}
