//! All designs, as lists show them.

use serde::{Deserialize, Serialize};
use sqlx::SqliteConnection;
use utoipa::ToSchema;

use super::{DbError, money, read, show_dates};
use crate::{
    model::{design::State, id::DesignId, text::Name},
    units::{Money, ShowDates},
};

/// A design as lists show it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Listed {
    /// Its id.
    pub id: DesignId,
    /// Name.
    pub name: Name,
    /// State.
    pub state: State,
    /// Build day, get-in, strike.
    pub dates: ShowDates,
    /// How many bars.
    pub bars: i64,
    /// Their wanted lengths together.
    pub bars_um: i64,
    /// How many frames.
    pub frames: i64,
    /// Budget, if there is one.
    pub budget_minor: Option<Money>,
    /// Holds that broke and are not mended.
    pub broken_holds: i64,
    /// Raised by each change.
    pub version: i64,
}

/// A design of the list, its fields in the order in which the statement gives them.
#[derive(Deserialize)]
struct ListedRow {
    id: i64,
    name: String,
    state: String,
    build_on: String,
    get_in: String,
    strike_on: String,
    budget_minor: Option<i64>,
    version: i64,
    bars: i64,
    bars_um: i64,
    frames: i64,
    broken: i64,
}

impl ListedRow {
    fn listed(self) -> Result<Listed, DbError> {
        Ok(Listed {
            id: DesignId(self.id),
            name: read("design.name", Name::parse(&self.name))?,
            state: read("design.state", self.state.parse::<State>())?,
            dates: show_dates(&self.build_on, &self.get_in, &self.strike_on)?,
            bars: self.bars,
            bars_um: self.bars_um,
            frames: self.frames,
            budget_minor: money("design.budget_minor", self.budget_minor)?,
            broken_holds: self.broken,
            version: self.version,
        })
    }
}

/// Every design, the next to be built first, then those that are over, latest first.
pub async fn list(tx: &mut SqliteConnection) -> Result<Vec<Listed>, DbError> {
    // As one text: row by row each value is handed from one thread to another.
    let rows = sqlx::query_scalar!(
        r#"SELECT json_group_array(json_array(design.id, design.name, design.state, design.build_on,
               design.get_in, design.strike_on, design.budget_minor, design.version,
               (SELECT count(*) FROM bar WHERE bar.design_id = design.id),
               (SELECT coalesce(sum(length_um), 0) FROM bar WHERE bar.design_id = design.id),
               (SELECT count(*) FROM design_frame WHERE design_frame.design_id = design.id),
               (SELECT count(*) FROM hold WHERE hold.design_id = design.id AND hold.state = 'broken'))
               ORDER BY design.state IN ('struck', 'cancelled'),
                   CASE WHEN design.state IN ('struck', 'cancelled') THEN '' ELSE design.build_on END,
                   design.strike_on DESC, design.id) AS "rows!: String"
           FROM design"#
    )
    .fetch_one(tx)
    .await?;
    let rows: Vec<ListedRow> = read("design", serde_json::from_str(&rows))?;
    rows.into_iter().map(ListedRow::listed).collect()
}
