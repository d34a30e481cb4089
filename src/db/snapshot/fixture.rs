//! SQL for the fixtures in the house.

use std::collections::HashMap;

use serde::Deserialize;
use sqlx::SqliteConnection;

use super::{Ask, Spot, condition};
use crate::{
    db::{DbError, refusal::read, reservation::Claims},
    model::{
        channel::Channels,
        connector::Connector,
        fixture::{Fed, Fixture, Make},
        id::{PartId, PlaceId, ThingId},
        text::Tag,
    },
    plan::{
        available::freedom,
        input::{SpareFixture, Where},
    },
    units::{Length, Voltage},
};

/// Every fixture in the house, by id, with whether it is free for the days asked.
pub(super) async fn list_fixtures_with(
    tx: &mut SqliteConnection,
    ask: Ask,
    claims: &Claims,
    walk: &HashMap<PlaceId, Where>,
) -> Result<Vec<SpareFixture>, DbError> {
    // As one text: row by row each value is handed from one thread to another.
    let rows = sqlx::query_scalar!(
        r#"SELECT json_group_array(json_array(thing.id, thing.tag, thing.condition, fixture.tape_part_id,
               fixture.profile_part_id, fixture.channels, fixture.voltage_mv, fixture.lit_um,
               fixture.diffused, fixture.fed, json(fixture.connector), fixture.batch, account.place_id,
               CASE WHEN design.id IS NOT NULL
                 THEN json_array(design.id, design.name, design.strike_on) END,
               CASE WHEN loan.id IS NOT NULL THEN json_array(loan.borrower, loan.due_on) END,
               holder.tag)) AS "rows!: String"
           FROM thing JOIN fixture ON fixture.thing_id = thing.id
           JOIN account ON account.id = thing.account_id
           LEFT JOIN design ON design.id = account.design_id
           LEFT JOIN loan ON loan.id = account.loan_id
           LEFT JOIN thing AS holder ON holder.id = account.thing_id
           LEFT JOIN account AS whole ON whole.id = holder.account_id
           WHERE thing.kind = 'fixture' AND account.kind IN ('place', 'design', 'loan', 'inside')
             AND coalesce(whole.kind, 'place') IN ('place', 'design', 'loan', 'inside')"#
    )
    .fetch_one(tx)
    .await?;
    let mut rows: Vec<FixtureRow> = read("fixture", serde_json::from_str(&rows))?;
    rows.sort_unstable_by_key(|row| row.id);
    rows.into_iter()
        .map(|row| {
            let id = row.id;
            let spot = Spot {
                place: row.place,
                design: row.design,
                loan: row.loan,
                inside: row.inside,
            };
            let condition = condition(&row.condition)?;
            Ok(SpareFixture {
                freedom: freedom(
                    condition,
                    &spot.at()?,
                    claims.on(id),
                    ask.own,
                    ask.window,
                    ask.rules,
                ),
                place: spot.place(walk),
                batch: row.batch,
                fixture: Fixture {
                    id,
                    tag: row.tag,
                    make: Make {
                        tape: row.tape,
                        profile: row.profile,
                        channels: read("fixture.channels", row.channels.parse::<Channels>())?,
                        voltage_mv: read("fixture.voltage_mv", Voltage::new(row.voltage_mv))?,
                        lit_um: read("fixture.lit_um", Length::new(row.lit_um))?,
                        diffused: row.diffused != 0,
                        fed: read("fixture.fed", row.fed.parse::<Fed>())?,
                        connector: row.connector,
                    },
                    condition,
                },
            })
        })
        .collect()
}

/// One fixture, its fields in the order in which the statement gives them.
#[derive(Deserialize)]
struct FixtureRow {
    id: ThingId,
    tag: Tag,
    condition: String,
    tape: Option<PartId>,
    profile: Option<PartId>,
    channels: String,
    voltage_mv: i64,
    lit_um: i64,
    diffused: i64,
    fed: String,
    connector: Option<Connector>,
    batch: String,
    place: Option<i64>,
    design: Option<(i64, String, String)>,
    loan: Option<(String, String)>,
    inside: Option<String>,
}
