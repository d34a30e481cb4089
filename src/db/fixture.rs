//! SQL for finished bars.

use sqlx::SqliteConnection;

use super::{DbError, WriteTx, place::Spot, refusal::read};
use crate::{
    model::{
        channel::Channels,
        describe::fixture_words,
        fixture::{Fixture, Make},
        id::{PartId, ThingId},
        place::Whereabouts,
        text::Tag,
    },
    units::{Length, Voltage},
};

/// A fixture, its batch of tape, and where it is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FixtureAt {
    /// The fixture.
    pub fixture: Fixture,
    /// Batch of its tape, empty if not known.
    pub batch: String,
    /// Where.
    pub place: Whereabouts,
}

struct Row {
    id: i64,
    tag: String,
    condition: String,
    tape_part_id: Option<i64>,
    profile_part_id: Option<i64>,
    channels: String,
    voltage_mv: i64,
    lit_um: i64,
    diffused: i64,
    fed: String,
    connector: Option<String>,
    batch: String,
    account_id: i64,
    account_kind: String,
    words: String,
    place_id: Option<i64>,
    design_id: Option<i64>,
    loan_id: Option<i64>,
    inside_id: Option<i64>,
}

impl Row {
    fn fixture(self) -> Result<FixtureAt, DbError> {
        Ok(FixtureAt {
            fixture: Fixture {
                id: ThingId(self.id),
                tag: read("thing.tag", Tag::parse(&self.tag))?,
                condition: read("thing.condition", self.condition.parse())?,
                make: Make {
                    tape: self.tape_part_id.map(PartId),
                    profile: self.profile_part_id.map(PartId),
                    channels: read("fixture.channels", self.channels.parse())?,
                    voltage_mv: read("fixture.voltage_mv", Voltage::new(self.voltage_mv))?,
                    lit_um: read("fixture.lit_um", Length::new(self.lit_um))?,
                    diffused: self.diffused != 0,
                    fed: read("fixture.fed", self.fed.parse())?,
                    connector: self
                        .connector
                        .map(|json| read("fixture.connector", serde_json::from_str(&json)))
                        .transpose()?,
                },
            },
            batch: self.batch,
            place: Spot {
                account_id: self.account_id,
                kind: self.account_kind,
                words: self.words,
                place_id: self.place_id,
                design_id: self.design_id,
                loan_id: self.loan_id,
                inside_id: self.inside_id,
            }
            .whereabouts()?,
        })
    }
}

/// Selects [`Row`]s; what follows says which.
macro_rules! fixtures {
    ($tail:literal $(, $arg:expr)* $(,)?) => {
        sqlx::query_as!(
            Row,
            r#"SELECT thing.id AS "id!", thing.tag, thing.condition, fixture.tape_part_id,
                 fixture.profile_part_id, fixture.channels, fixture.voltage_mv, fixture.lit_um,
                 fixture.diffused, fixture.fed, fixture.connector, fixture.batch,
                 spot.account_id AS "account_id!", spot.kind AS "account_kind!",
                 spot.words AS "words!: String", spot.place_id, spot.design_id, spot.loan_id,
                 spot.inside_id
               FROM fixture
               JOIN thing ON thing.id = fixture.thing_id
               JOIN whereabouts AS spot ON spot.account_id = thing.account_id "# + $tail
            $(, $arg)*
        )
    };
}

/// One fixture.
pub async fn lookup(tx: &mut SqliteConnection, id: ThingId) -> Result<Option<FixtureAt>, DbError> {
    fixtures!("WHERE fixture.thing_id = ?", id.0)
        .fetch_optional(tx)
        .await?
        .map(Row::fixture)
        .transpose()
}

/// Several fixtures at once; ids of other things are left out.
pub async fn list_by_id(
    tx: &mut SqliteConnection,
    ids: &[ThingId],
) -> Result<Vec<FixtureAt>, DbError> {
    let ids = read("ids", serde_json::to_string(ids))?;
    fixtures!(
        "WHERE fixture.thing_id IN (SELECT value FROM json_each(?)) ORDER BY fixture.thing_id",
        ids
    )
    .fetch_all(tx)
    .await?
    .into_iter()
    .map(Row::fixture)
    .collect()
}

/// Every fixture that one still owns, by tag: for lists, for swaps, for the planner's snapshot.
pub async fn list_owned(tx: &mut SqliteConnection) -> Result<Vec<FixtureAt>, DbError> {
    fixtures!(
        "WHERE spot.kind IN ('place', 'design', 'loan', 'inside')
         ORDER BY length(thing.tag), thing.tag"
    )
    .fetch_all(tx)
    .await?
    .into_iter()
    .map(Row::fixture)
    .collect()
}

/// Colours as they are stored: words with commas, which read back.
fn channels_text(channels: &Channels) -> String {
    let words: Vec<_> = channels.list().iter().map(|one| one.word()).collect();
    words.join(", ")
}

/// Adds what makes a thing a fixture.
pub async fn add(tx: &mut WriteTx, id: ThingId, make: &Make, batch: &str) -> Result<(), DbError> {
    let (tape, profile) = (make.tape.map(|id| id.0), make.profile.map(|id| id.0));
    let channels = channels_text(&make.channels);
    let (voltage, lit) = (make.voltage_mv.get(), make.lit_um.get());
    let fed = make.fed.word();
    let connector = make
        .connector
        .as_ref()
        .map(|connector| read("fixture.connector", serde_json::to_string(connector)))
        .transpose()?;
    sqlx::query!(
        "INSERT INTO fixture (thing_id, tape_part_id, profile_part_id, channels, voltage_mv,
             lit_um, diffused, fed, connector, batch)
         VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        id.0,
        tape,
        profile,
        channels,
        voltage,
        lit,
        make.diffused,
        fed,
        connector,
        batch
    )
    .execute(&mut **tx)
    .await?;
    Ok(())
}

/// Saves what a fixture is, where it was noted wrongly.
pub async fn change(
    tx: &mut WriteTx,
    id: ThingId,
    make: &Make,
    batch: &str,
) -> Result<(), DbError> {
    let (tape, profile) = (make.tape.map(|id| id.0), make.profile.map(|id| id.0));
    let channels = channels_text(&make.channels);
    let (voltage, lit) = (make.voltage_mv.get(), make.lit_um.get());
    let fed = make.fed.word();
    let connector = make
        .connector
        .as_ref()
        .map(|connector| read("fixture.connector", serde_json::to_string(connector)))
        .transpose()?;
    let words = fixture_words(make, batch);
    sqlx::query!(
        "UPDATE fixture SET tape_part_id = ?, profile_part_id = ?, channels = ?, voltage_mv = ?,
             lit_um = ?, diffused = ?, fed = ?, connector = ?, batch = ?
         WHERE thing_id = ?",
        tape,
        profile,
        channels,
        voltage,
        lit,
        make.diffused,
        fed,
        connector,
        batch,
        id.0
    )
    .execute(&mut **tx)
    .await?;
    sqlx::query!("UPDATE thing SET words = ? WHERE id = ?", words, id.0)
        .execute(&mut **tx)
        .await?;
    Ok(())
}
