//! What was tried of a finished bar, by whom and when.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::{
    channel::Channel,
    id::{DesignId, ThingId},
    text::words,
};
use crate::units::{Date, Voltage};

words! {
    /// When a finished bar is tried.
    TestKind {
        /// At the bench, once it is built.
        Bench = "bench", "bench test";
        /// On the stage, before a show.
        PreShow = "pre_show", "check before a show";
    }
}

/// One trial.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct TestRecord {
    /// Which finished bar.
    pub thing: ThingId,
    /// In which set, if in one.
    pub design: Option<DesignId>,
    /// When in its life.
    pub kind: TestKind,
    /// Colours that did not light as they should.
    pub dark: Vec<Channel>,
    /// Whether everything together, at full, was as it should be.
    pub full_good: bool,
    /// Measured at the far end, warm, with everything on, in mV; `None` where it was not measured.
    pub far_mv: Option<Voltage>,
    /// What was seen.
    pub note: String,
    /// Who.
    pub who: String,
    /// On which day.
    #[schema(value_type = String, format = Date)]
    pub on: Date,
    /// Milliseconds since 1970 (UTC).
    pub at_ms: i64,
}

impl TestRecord {
    /// The most that is measured behind an extra-low voltage supply here, in mV.
    pub const MOST_MV: i64 = 60_000;

    /// Whether it did all that it should.
    pub fn passed(&self) -> bool {
        self.dark.is_empty() && self.full_good
    }
}

/// Whether a measured voltage is lower than a plan explains: the drop from the supply is more than
/// half again as large as the worst that was planned, and by more than 0.2 V. (Tape is good to
/// about 15 % of its drop, a hand meter to tenths of a volt: common practice, no source.)
pub fn lower_than_planned(supply_v: f64, planned_low_v: f64, measured: Voltage) -> bool {
    let planned = (supply_v - planned_low_v).max(0.0);
    let drop = supply_v - measured.volts();
    drop > planned * 1.5 && drop - planned > 0.2
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_drop_half_again_as_large_is_too_low() {
        let low = |measured: &str| {
            lower_than_planned(24.0, 23.0, Voltage::parse(measured).expect("a voltage"))
        };
        assert!(!low("23.1 V"));
        assert!(!low("22.5 V"));
        assert!(low("22.4 V"));
        // Nearly no drop planned: a tenth of a volt is the meter's.
        let near = |measured: &str| {
            lower_than_planned(24.0, 23.95, Voltage::parse(measured).expect("a voltage"))
        };
        assert!(!near("23.8 V"));
        assert!(near("23.7 V"));
    }
}
