//! SQL for designs: their frames, bars and extra lines.
//!
//! A design is read whole and stored by difference: [`store`] writes what differs between the
//! design as it was read and as it should be, so that one rule serves every edit.

use std::collections::{HashMap, HashSet};

use serde::Serialize;
use sqlx::SqliteConnection;

use super::{DbError, WriteTx, pin, refusal::read};
use crate::{
    model::{
        channel::Channels,
        design::{Bar, Choices, Design, Extra, Frame, State},
        fixture::Fed,
        id::{BarId, DesignId, ExtraId, FrameId, PartId, ThingId},
        text::{Name, Note},
    },
    units::{Date, Length, Money, ShowDates, SignedLength, Voltage, parse_date},
};

mod kept;
mod list;
mod step;

pub use kept::{
    KeptPlan, LimitReason, add_reason, change_plan, list_reasons, lookup_plan, remove_reason,
};
pub use list::{Listed, list};
pub use step::{add_step, change_step, find_of_step, find_step_of, list_steps, remove_steps};

/// The next free ids of a design's rows; what is given out is used in the same transaction, or in
/// one that has checked that nothing was written since.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct NextIds {
    /// For a bar.
    pub bar: i64,
    /// For a frame.
    pub frame: i64,
    /// For an extra line.
    pub extra: i64,
}

fn length(what: &str, um: i64) -> Result<Length, DbError> {
    read(what, Length::new(um))
}

fn signed(what: &str, um: i64) -> Result<SignedLength, DbError> {
    read(what, SignedLength::new(um))
}

fn date(what: &str, text: &str) -> Result<Date, DbError> {
    read(what, parse_date(text))
}

fn show_dates(build_on: &str, get_in: &str, strike_on: &str) -> Result<ShowDates, DbError> {
    read(
        "design.build_on",
        ShowDates::new(
            date("design.build_on", build_on)?,
            date("design.get_in", get_in)?,
            date("design.strike_on", strike_on)?,
        ),
    )
}

fn money(what: &str, minor: Option<i64>) -> Result<Option<Money>, DbError> {
    minor.map(|minor| read(what, Money::new(minor))).transpose()
}

/// A design, whole.
pub async fn lookup(tx: &mut SqliteConnection, id: DesignId) -> Result<Option<Design>, DbError> {
    let Some(row) = sqlx::query!(
        "SELECT name, state, build_on, get_in, strike_on, budget_minor, note, lead_part_id,
             cable_part_id, block_part_id, driver_part_id, supply_part_id, version
         FROM design WHERE id = ?",
        id.0
    )
    .fetch_optional(&mut *tx)
    .await?
    else {
        return Ok(None);
    };
    Ok(Some(Design {
        id,
        name: read("design.name", Name::parse(&row.name))?,
        state: read("design.state", row.state.parse::<State>())?,
        dates: show_dates(&row.build_on, &row.get_in, &row.strike_on)?,
        budget_minor: money("design.budget_minor", row.budget_minor)?,
        note: read("design.note", Note::parse(&row.note))?,
        choices: Choices {
            lead: row.lead_part_id.map(PartId),
            cable: row.cable_part_id.map(PartId),
            block: row.block_part_id.map(PartId),
            driver: row.driver_part_id.map(PartId),
            supply: row.supply_part_id.map(PartId),
        },
        frames: list_frames(tx, id).await?,
        bars: list_bars(tx, id).await?,
        extras: list_extras(tx, id).await?,
        left_alone: pin::list_left_alone(tx, id).await?,
        not_from: pin::list_not_from(tx, id).await?,
        version: row.version,
    }))
}

async fn list_frames(tx: &mut SqliteConnection, id: DesignId) -> Result<Vec<Frame>, DbError> {
    sqlx::query!(
        "SELECT id, label, x_um, y_um, width_um, height_um, thing_id
         FROM design_frame WHERE design_id = ? ORDER BY x_um, id",
        id.0
    )
    .fetch_all(tx)
    .await?
    .into_iter()
    .map(|row| {
        Ok(Frame {
            id: FrameId(row.id),
            label: read("design_frame.label", Name::parse(&row.label))?,
            x_um: signed("design_frame.x_um", row.x_um)?,
            y_um: signed("design_frame.y_um", row.y_um)?,
            width_um: length("design_frame.width_um", row.width_um)?,
            height_um: length("design_frame.height_um", row.height_um)?,
            thing: row.thing_id.map(ThingId),
        })
    })
    .collect()
}

async fn list_bars(tx: &mut SqliteConnection, id: DesignId) -> Result<Vec<Bar>, DbError> {
    sqlx::query!(
        "SELECT id, label, length_um, shorter_um, longer_um, channels, voltage_mv, diffused, fed,
             frame_id, x_um, y_um, angle_mdeg, control_group, feed_place, cable_um,
             tape_part_id, profile_part_id, fixture_id
         FROM bar WHERE design_id = ? ORDER BY position, id",
        id.0
    )
    .fetch_all(tx)
    .await?
    .into_iter()
    .map(|row| {
        Ok(Bar {
            id: BarId(row.id),
            label: read("bar.label", Name::parse(&row.label))?,
            length_um: length("bar.length_um", row.length_um)?,
            shorter_um: length("bar.shorter_um", row.shorter_um)?,
            longer_um: length("bar.longer_um", row.longer_um)?,
            channels: read(
                "bar.channels",
                serde_json::from_str::<Channels>(&row.channels),
            )?,
            voltage_mv: row
                .voltage_mv
                .map(|mv| read("bar.voltage_mv", Voltage::new(mv)))
                .transpose()?,
            diffused: row.diffused != 0,
            fed: read("bar.fed", row.fed.parse::<Fed>())?,
            frame: row.frame_id.map(FrameId),
            x_um: signed("bar.x_um", row.x_um)?,
            y_um: signed("bar.y_um", row.y_um)?,
            angle_mdeg: read("bar.angle_mdeg", i32::try_from(row.angle_mdeg))?,
            group: row.control_group,
            feed_place: row.feed_place,
            cable_um: length("bar.cable_um", row.cable_um)?,
            tape: row.tape_part_id.map(PartId),
            profile: row.profile_part_id.map(PartId),
            fixture: row.fixture_id.map(ThingId),
        })
    })
    .collect()
}

async fn list_extras(tx: &mut SqliteConnection, id: DesignId) -> Result<Vec<Extra>, DbError> {
    sqlx::query!(
        "SELECT id, part_id, amount, note FROM design_extra WHERE design_id = ? ORDER BY id",
        id.0
    )
    .fetch_all(tx)
    .await?
    .into_iter()
    .map(|row| {
        Ok(Extra {
            id: ExtraId(row.id),
            part: PartId(row.part_id),
            amount: row.amount,
            note: read("design_extra.note", Note::parse(&row.note))?,
        })
    })
    .collect()
}

/// The design of a name, without regard to case.
pub async fn find(tx: &mut SqliteConnection, name: &str) -> Result<Option<DesignId>, DbError> {
    Ok(
        sqlx::query_scalar!("SELECT id FROM design WHERE name = ?", name)
            .fetch_optional(tx)
            .await?
            .map(DesignId),
    )
}

/// The next free ids of bars, frames and extra lines.
pub async fn next_ids(tx: &mut SqliteConnection) -> Result<NextIds, DbError> {
    let row = sqlx::query!(
        r#"SELECT (SELECT coalesce(max(id), 0) + 1 FROM bar) AS "bar!: i64",
               (SELECT coalesce(max(id), 0) + 1 FROM design_frame) AS "frame!: i64",
               (SELECT coalesce(max(id), 0) + 1 FROM design_extra) AS "extra!: i64""#
    )
    .fetch_one(tx)
    .await?;
    Ok(NextIds {
        bar: row.bar,
        frame: row.frame,
        extra: row.extra,
    })
}

/// Adds a draft with its frames, bars and extra lines; the id in `design` is not used.
pub async fn add(tx: &mut WriteTx, design: &Design) -> Result<DesignId, DbError> {
    let name = design.name.as_str();
    let (build_on, get_in, strike_on) = dates_text(design);
    let id = sqlx::query!(
        "INSERT INTO design (name, build_on, get_in, strike_on) VALUES (?, ?, ?, ?)",
        name,
        build_on,
        get_in,
        strike_on
    )
    .execute(&mut **tx)
    .await?
    .last_insert_rowid();
    let id = DesignId(id);
    let mut new = design.clone();
    new.id = id;
    let mut blank = new.clone();
    blank.frames.clear();
    blank.bars.clear();
    blank.extras.clear();
    blank.left_alone.clear();
    blank.not_from.clear();
    change_basics(tx, &new).await?;
    store_rows(tx, &blank, &new).await?;
    Ok(id)
}

/// Stores what differs from `old`, if the stored version is still that of `old`; the version
/// rises by one. `false` if another stored meanwhile: then nothing is written.
pub async fn store(tx: &mut WriteTx, old: &Design, new: &Design) -> Result<bool, DbError> {
    let done = sqlx::query!(
        "UPDATE design SET version = version + 1 WHERE id = ? AND version = ?",
        old.id.0,
        old.version
    )
    .execute(&mut **tx)
    .await?;
    if done.rows_affected() != 1 {
        return Ok(false);
    }
    change_basics(tx, new).await?;
    store_rows(tx, old, new).await?;
    Ok(true)
}

fn dates_text(design: &Design) -> (String, String, String) {
    (
        design.dates.build_on().to_string(),
        design.dates.get_in().to_string(),
        design.dates.strike_on().to_string(),
    )
}

async fn change_basics(tx: &mut WriteTx, design: &Design) -> Result<(), DbError> {
    let name = design.name.as_str();
    let (build_on, get_in, strike_on) = dates_text(design);
    let budget = design.budget_minor.map(Money::get);
    let note = design.note.as_str();
    let choices = &design.choices;
    let lead = choices.lead.map(|part| part.0);
    let cable = choices.cable.map(|part| part.0);
    let block = choices.block.map(|part| part.0);
    let driver = choices.driver.map(|part| part.0);
    let supply = choices.supply.map(|part| part.0);
    sqlx::query!(
        "UPDATE design SET name = ?, build_on = ?, get_in = ?, strike_on = ?, budget_minor = ?,
             note = ?, lead_part_id = ?, cable_part_id = ?, block_part_id = ?,
             driver_part_id = ?, supply_part_id = ?
         WHERE id = ?",
        name,
        build_on,
        get_in,
        strike_on,
        budget,
        note,
        lead,
        cable,
        block,
        driver,
        supply,
        design.id.0
    )
    .execute(&mut **tx)
    .await?;
    Ok(())
}

/// Rows that are gone first, then frames (bars hang on them), bars, extra lines and pins.
async fn store_rows(tx: &mut WriteTx, old: &Design, new: &Design) -> Result<(), DbError> {
    let kept: HashSet<i64> = new.bars.iter().map(|bar| bar.id.0).collect();
    for bar in old.bars.iter().filter(|bar| !kept.contains(&bar.id.0)) {
        sqlx::query!("DELETE FROM bar WHERE id = ?", bar.id.0)
            .execute(&mut **tx)
            .await?;
    }
    let kept: HashSet<i64> = new.frames.iter().map(|frame| frame.id.0).collect();
    for frame in old.frames.iter().filter(|it| !kept.contains(&it.id.0)) {
        sqlx::query!("DELETE FROM design_frame WHERE id = ?", frame.id.0)
            .execute(&mut **tx)
            .await?;
    }
    let kept: HashSet<i64> = new.extras.iter().map(|extra| extra.id.0).collect();
    for extra in old.extras.iter().filter(|it| !kept.contains(&it.id.0)) {
        sqlx::query!("DELETE FROM design_extra WHERE id = ?", extra.id.0)
            .execute(&mut **tx)
            .await?;
    }

    let before: HashMap<i64, &Frame> = old.frames.iter().map(|it| (it.id.0, it)).collect();
    for frame in &new.frames {
        if before.get(&frame.id.0) != Some(&frame) {
            store_frame(tx, new.id, frame).await?;
        }
    }
    let before: HashMap<i64, (usize, &Bar)> = old
        .bars
        .iter()
        .enumerate()
        .map(|(at, bar)| (bar.id.0, (at, bar)))
        .collect();
    for (at, bar) in new.bars.iter().enumerate() {
        if before.get(&bar.id.0) != Some(&(at, bar)) {
            store_bar(tx, new.id, at, bar).await?;
        }
    }
    let before: HashMap<i64, &Extra> = old.extras.iter().map(|it| (it.id.0, it)).collect();
    for extra in &new.extras {
        if before.get(&extra.id.0) != Some(&extra) {
            let note = extra.note.as_str();
            sqlx::query!(
                "INSERT INTO design_extra (id, design_id, part_id, amount, note)
                 VALUES (?, ?, ?, ?, ?)
                 ON CONFLICT (id) DO UPDATE SET part_id = excluded.part_id,
                     amount = excluded.amount, note = excluded.note",
                extra.id.0,
                new.id.0,
                extra.part.0,
                extra.amount,
                note
            )
            .execute(&mut **tx)
            .await?;
        }
    }
    pin::store(tx, old, new).await
}

async fn store_frame(tx: &mut WriteTx, design: DesignId, frame: &Frame) -> Result<(), DbError> {
    let label = frame.label.as_str();
    let (x, y) = (frame.x_um.get(), frame.y_um.get());
    let (width, height) = (frame.width_um.get(), frame.height_um.get());
    let thing = frame.thing.map(|thing| thing.0);
    sqlx::query!(
        "INSERT INTO design_frame (id, design_id, label, x_um, y_um, width_um, height_um, thing_id)
         VALUES (?, ?, ?, ?, ?, ?, ?, ?)
         ON CONFLICT (id) DO UPDATE SET label = excluded.label, x_um = excluded.x_um,
             y_um = excluded.y_um, width_um = excluded.width_um,
             height_um = excluded.height_um, thing_id = excluded.thing_id",
        frame.id.0,
        design.0,
        label,
        x,
        y,
        width,
        height,
        thing
    )
    .execute(&mut **tx)
    .await?;
    Ok(())
}

async fn store_bar(
    tx: &mut WriteTx,
    design: DesignId,
    at: usize,
    bar: &Bar,
) -> Result<(), DbError> {
    let position = i64::try_from(at).unwrap_or(i64::MAX);
    let label = bar.label.as_str();
    let (length, shorter, longer) = (
        bar.length_um.get(),
        bar.shorter_um.get(),
        bar.longer_um.get(),
    );
    let channels = json("bar.channels", &bar.channels)?;
    let voltage = bar.voltage_mv.map(Voltage::get);
    let fed = bar.fed.word();
    let frame = bar.frame.map(|frame| frame.0);
    let (x, y, cable) = (bar.x_um.get(), bar.y_um.get(), bar.cable_um.get());
    let tape = bar.tape.map(|part| part.0);
    let profile = bar.profile.map(|part| part.0);
    let fixture = bar.fixture.map(|thing| thing.0);
    sqlx::query!(
        "INSERT INTO bar (id, design_id, position, label, length_um, shorter_um, longer_um,
             channels, voltage_mv, diffused, fed, frame_id, x_um, y_um, angle_mdeg,
             control_group, feed_place, cable_um, tape_part_id, profile_part_id, fixture_id)
         VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)
         ON CONFLICT (id) DO UPDATE SET position = excluded.position, label = excluded.label,
             length_um = excluded.length_um, shorter_um = excluded.shorter_um,
             longer_um = excluded.longer_um, channels = excluded.channels,
             voltage_mv = excluded.voltage_mv, diffused = excluded.diffused,
             fed = excluded.fed, frame_id = excluded.frame_id, x_um = excluded.x_um,
             y_um = excluded.y_um, angle_mdeg = excluded.angle_mdeg,
             control_group = excluded.control_group, feed_place = excluded.feed_place,
             cable_um = excluded.cable_um, tape_part_id = excluded.tape_part_id,
             profile_part_id = excluded.profile_part_id, fixture_id = excluded.fixture_id",
        bar.id.0,
        design.0,
        position,
        label,
        length,
        shorter,
        longer,
        channels,
        voltage,
        bar.diffused,
        fed,
        frame,
        x,
        y,
        bar.angle_mdeg,
        bar.group,
        bar.feed_place,
        cable,
        tape,
        profile,
        fixture
    )
    .execute(&mut **tx)
    .await?;
    Ok(())
}

fn json<T: Serialize>(what: &str, value: &T) -> Result<String, DbError> {
    read(what, serde_json::to_string(value))
}

/// Sets the state; the database refuses steps that the rules do not have.
pub async fn change_state(tx: &mut WriteTx, id: DesignId, to: State) -> Result<(), DbError> {
    let to = to.word();
    sqlx::query!(
        "UPDATE design SET state = ?, version = version + 1 WHERE id = ?",
        to,
        id.0
    )
    .execute(&mut **tx)
    .await?;
    Ok(())
}

/// The version that a design is at.
pub async fn lookup_version(
    tx: &mut SqliteConnection,
    id: DesignId,
) -> Result<Option<i64>, DbError> {
    Ok(
        sqlx::query_scalar!("SELECT version FROM design WHERE id = ?", id.0)
            .fetch_optional(tx)
            .await?,
    )
}
