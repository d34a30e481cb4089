//! The venue's own settings.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::text::Name;
use crate::units::{Currency, Length, LengthUnit};

/// Settings of the venue.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Venue {
    /// Its name, as printed on sheets.
    pub name: Name,
    /// The unit that lengths are shown in, and that a bare number takes.
    pub length_unit: LengthUnit,
    /// Currency.
    pub currency: Currency,
    /// Whether prices are typed with tax.
    pub prices_include_tax: bool,
    /// IANA name of its time zone.
    pub zone: String,
    /// DMX slots that other lights use, as typed: `1-96, 200`.
    pub slots_taken: String,
    /// Offcuts shorter than this are scrap.
    pub usable_offcut_um: Length,
    /// Spares to buy, in percent of what is short.
    pub spare_percent: u8,
    /// Whether strike and another set's build day may fall on one date.
    pub same_day_turnaround: bool,
    /// Days before the build day by which orders should arrive.
    pub order_slack_days: u16,
    /// Raised by each change.
    pub version: i64,
}
