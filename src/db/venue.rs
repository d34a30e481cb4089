//! SQL for settings and people.

use super::{DbError, WriteTx, refusal::read};
use crate::{
    model::{
        text::Name,
        venue::{Mains, Venue},
    },
    units::{Currency, Current, Length, LengthUnit, Voltage},
};
use sqlx::SqliteConnection;

/// The settings.
pub async fn lookup(tx: &mut SqliteConnection) -> Result<Venue, DbError> {
    Ok(lookup_written(tx).await?.0)
}

/// The settings, and when anything was last written, in milliseconds since 1970 (UTC).
pub(super) async fn lookup_written(tx: &mut SqliteConnection) -> Result<(Venue, i64), DbError> {
    let row =
        sqlx::query!(r#"SELECT venue.*, acting.at_ms AS "written_ms!" FROM venue JOIN acting"#)
            .fetch_one(tx)
            .await?;
    let mains = match (row.mains_mv, row.breaker_ma) {
        (Some(volts), Some(breaker)) => Some(Mains {
            voltage_mv: read("venue.mains_mv", Voltage::new(volts))?,
            breaker_ma: read("venue.breaker_ma", Current::new(breaker))?,
            continuous_percent: u8::try_from(row.continuous_percent)
                .unwrap_or(Mains::USUAL_PERCENT),
        }),
        _ => None,
    };
    let venue = Venue {
        name: read("venue.name", Name::parse(&row.name))?,
        length_unit: read("venue.length_unit", row.length_unit.parse::<LengthUnit>())?,
        currency: read(
            "venue.currency",
            Currency::new(
                &row.currency,
                u8::try_from(row.currency_digits).unwrap_or(2),
            ),
        )?,
        prices_include_tax: row.prices_include_tax != 0,
        zone: row.zone,
        slots_taken: row.slots_taken,
        usable_offcut_um: read("venue.usable_offcut_um", Length::new(row.usable_offcut_um))?,
        spare_percent: u8::try_from(row.spare_percent).unwrap_or(0),
        same_day_turnaround: row.same_day_turnaround != 0,
        order_slack_days: u16::try_from(row.order_slack_days).unwrap_or(0),
        feed_um: read("venue.feed_um", Length::new(row.feed_um))?,
        mains,
        label_base: row.label_base,
        version: row.version,
    };
    Ok((venue, row.written_ms))
}

/// Saves settings that were read at `venue.version`; `false` if another saved meanwhile.
pub async fn change(tx: &mut WriteTx, venue: &Venue) -> Result<bool, DbError> {
    let name = venue.name.as_str();
    let length_unit = venue.length_unit.to_string();
    let currency = venue.currency.code();
    let digits = i64::from(venue.currency.digits());
    let usable = venue.usable_offcut_um.get();
    let feed = venue.feed_um.get();
    let volts = venue.mains.map(|mains| mains.voltage_mv.get());
    let breaker = venue.mains.map(|mains| mains.breaker_ma.get());
    let percent = venue
        .mains
        .map_or(Mains::USUAL_PERCENT, |mains| mains.continuous_percent);
    let done = sqlx::query!(
        "UPDATE venue SET name = ?, length_unit = ?, currency = ?, currency_digits = ?,
             prices_include_tax = ?, zone = ?, slots_taken = ?, usable_offcut_um = ?,
             spare_percent = ?, same_day_turnaround = ?, order_slack_days = ?,
             feed_um = ?, mains_mv = ?, breaker_ma = ?, continuous_percent = ?, label_base = ?,
             version = version + 1
         WHERE version = ?",
        name,
        length_unit,
        currency,
        digits,
        venue.prices_include_tax,
        venue.zone,
        venue.slots_taken,
        usable,
        venue.spare_percent,
        venue.same_day_turnaround,
        venue.order_slack_days,
        feed,
        volts,
        breaker,
        percent,
        venue.label_base,
        venue.version,
    )
    .execute(&mut **tx)
    .await?;
    Ok(done.rows_affected() == 1)
}

/// Whether any sum is stored: a price, a budget, an order, the charge for a delivery.
pub async fn has_money(tx: &mut SqliteConnection) -> Result<bool, DbError> {
    let found = sqlx::query_scalar!(
        r#"SELECT EXISTS (SELECT 1 FROM offer WHERE price_minor > 0)
             OR EXISTS (SELECT 1 FROM design WHERE budget_minor > 0)
             OR EXISTS (SELECT 1 FROM supplier WHERE delivery_minor > 0 OR free_above_minor > 0)
             OR EXISTS (SELECT 1 FROM purchase WHERE delivery_minor > 0 OR paid_minor > 0)
             OR EXISTS (SELECT 1 FROM purchase_line WHERE price_minor > 0) AS "found!: bool""#
    )
    .fetch_one(tx)
    .await?;
    Ok(found)
}

/// The revision that every commit raises.
pub async fn revision(tx: &mut SqliteConnection) -> Result<i64, DbError> {
    Ok(sqlx::query_scalar!("SELECT value FROM revision")
        .fetch_one(tx)
        .await?)
}

/// Names to choose from as 'who'.
pub async fn list_people(tx: &mut SqliteConnection) -> Result<Vec<Name>, DbError> {
    let names = sqlx::query_scalar!("SELECT name FROM person ORDER BY name COLLATE NOCASE")
        .fetch_all(tx)
        .await?;
    names
        .iter()
        .map(|name| read("person.name", Name::parse(name)))
        .collect()
}

/// Adds a name; one that is there already stays as it is.
pub async fn add_person(tx: &mut WriteTx, name: &Name) -> Result<(), DbError> {
    let name = name.as_str();
    sqlx::query!(
        "INSERT INTO person (name) VALUES (?) ON CONFLICT DO NOTHING",
        name
    )
    .execute(&mut **tx)
    .await?;
    Ok(())
}

/// Takes a name off the list; movements keep it.
pub async fn remove_person(tx: &mut WriteTx, name: &Name) -> Result<(), DbError> {
    let name = name.as_str();
    sqlx::query!("DELETE FROM person WHERE name = ?", name)
        .execute(&mut **tx)
        .await?;
    Ok(())
}
