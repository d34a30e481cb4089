//! SQL for holds: who holds what, for which days.

use std::collections::BTreeMap;

use sqlx::SqliteConnection;

use super::{DbError, WriteTx, refusal::read};
use crate::{
    model::{
        id::{BarId, DesignId, HoldId, PartId, PurchaseLineId, ThingId},
        reservation::{Held, Hold, HoldState, HoldUse, NewHold},
        text::{Name, Tag},
    },
    units::{Date, Window, parse_date},
};

mod claim;
mod held;

pub use claim::{Claims, list_claims, list_counted};
pub use held::{HeldThing, list_cut_from, lookup_thing};

fn date(what: &str, text: &str) -> Result<Date, DbError> {
    read(what, parse_date(text))
}

fn window(from: &str, to: &str) -> Result<Window, DbError> {
    read(
        "hold.from_on",
        Window::new(date("hold.from_on", from)?, date("hold.to_on", to)?),
    )
}

struct Row {
    id: i64,
    design_id: i64,
    bar_id: Option<i64>,
    thing_id: Option<i64>,
    part_id: Option<i64>,
    from_amount: i64,
    to_amount: i64,
    from_on: String,
    to_on: String,
    becomes: String,
    purchase_line_id: Option<i64>,
    state: String,
    broken_why: String,
}

impl Row {
    fn hold(self) -> Result<Hold, DbError> {
        let held = match (self.thing_id, self.part_id) {
            (Some(thing), None) => Held::Thing {
                thing: ThingId(thing),
                from: self.from_amount,
                to: self.to_amount,
            },
            (None, Some(part)) => Held::Count {
                part: PartId(part),
                amount: self.to_amount - self.from_amount,
                due: self.purchase_line_id.map(PurchaseLineId),
            },
            _ => return Err(DbError::Unreadable(format!("hold {}", self.id))),
        };
        Ok(Hold {
            id: HoldId(self.id),
            hold: NewHold {
                design: DesignId(self.design_id),
                bar: self.bar_id.map(BarId),
                held,
                window: window(&self.from_on, &self.to_on)?,
                becomes: read("hold.becomes", self.becomes.parse::<HoldUse>())?,
            },
            state: read("hold.state", self.state.parse::<HoldState>())?,
            broken_why: self.broken_why,
        })
    }
}

/// Holds of a design that stand or are broken, in the order in which they were made.
pub async fn list(tx: &mut SqliteConnection, design: DesignId) -> Result<Vec<Hold>, DbError> {
    sqlx::query_as!(
        Row,
        "SELECT id, design_id, bar_id, thing_id, part_id, from_amount, to_amount, from_on, to_on,
             becomes, purchase_line_id, state, broken_why
         FROM hold WHERE design_id = ? AND state <> 'ended' ORDER BY id",
        design.0
    )
    .fetch_all(tx)
    .await?
    .into_iter()
    .map(Row::hold)
    .collect()
}

/// Active holds on a thing, in the order in which they were made.
pub async fn list_on_thing(
    tx: &mut SqliteConnection,
    thing: ThingId,
) -> Result<Vec<Hold>, DbError> {
    sqlx::query_as!(
        Row,
        "SELECT id, design_id, bar_id, thing_id, part_id, from_amount, to_amount, from_on, to_on,
             becomes, purchase_line_id, state, broken_why
         FROM hold WHERE thing_id = ? AND state = 'active' ORDER BY id",
        thing.0
    )
    .fetch_all(tx)
    .await?
    .into_iter()
    .map(Row::hold)
    .collect()
}

// The state stands in the statement, not in a parameter: so the index of active holds serves the one above.
/// Holds on a thing that broke, the last one first: what they were for still waits for it or for
/// another.
pub async fn list_broken_on_thing(
    tx: &mut SqliteConnection,
    thing: ThingId,
) -> Result<Vec<Hold>, DbError> {
    sqlx::query_as!(
        Row,
        "SELECT id, design_id, bar_id, thing_id, part_id, from_amount, to_amount, from_on, to_on,
             becomes, purchase_line_id, state, broken_why
         FROM hold WHERE thing_id = ? AND state = 'broken' ORDER BY id DESC",
        thing.0
    )
    .fetch_all(tx)
    .await?
    .into_iter()
    .map(Row::hold)
    .collect()
}

/// The latest hold of a design on a thing that is over, if there was one.
pub async fn find_ended(
    tx: &mut SqliteConnection,
    design: DesignId,
    thing: ThingId,
) -> Result<Option<Hold>, DbError> {
    sqlx::query_as!(
        Row,
        "SELECT id, design_id, bar_id, thing_id, part_id, from_amount, to_amount, from_on, to_on,
             becomes, purchase_line_id, state, broken_why
         FROM hold WHERE design_id = ? AND state = 'ended' AND thing_id = ?
         ORDER BY id DESC LIMIT 1",
        design.0,
        thing.0
    )
    .fetch_optional(tx)
    .await?
    .map(Row::hold)
    .transpose()
}

/// Holds on things for a bar that are over, the latest first.
pub async fn list_ended_of_bar(
    tx: &mut SqliteConnection,
    design: DesignId,
    bar: BarId,
) -> Result<Vec<Hold>, DbError> {
    sqlx::query_as!(
        Row,
        "SELECT id, design_id, bar_id, thing_id, part_id, from_amount, to_amount, from_on, to_on,
             becomes, purchase_line_id, state, broken_why
         FROM hold WHERE design_id = ? AND state = 'ended' AND bar_id = ? AND thing_id IS NOT NULL
         ORDER BY id DESC",
        design.0,
        bar.0
    )
    .fetch_all(tx)
    .await?
    .into_iter()
    .map(Row::hold)
    .collect()
}

/// The finished bars that a design has for its bars, those included that are bad and hang there still;
/// with `gone_too` also those that it had, for bars that have none now.
pub async fn list_serving(
    tx: &mut SqliteConnection,
    design: DesignId,
    gone_too: bool,
) -> Result<BTreeMap<BarId, (ThingId, Tag)>, DbError> {
    // The later row of a bar takes the place of an earlier one.
    sqlx::query!(
        r#"SELECT hold.bar_id AS "bar!", thing.id AS "thing!", thing.tag AS "tag!"
           FROM hold JOIN thing ON thing.id = hold.thing_id
             JOIN fixture ON fixture.thing_id = thing.id
             JOIN account ON account.id = thing.account_id
           WHERE hold.design_id = ?1 AND hold.bar_id IS NOT NULL
             AND (hold.state = 'active' OR (?2 AND hold.state = 'ended')
               OR (hold.state = 'broken' AND account.kind IN ('place', 'design')))
           ORDER BY hold.state = 'active', hold.id"#,
        design.0,
        gone_too
    )
    .fetch_all(tx)
    .await?
    .into_iter()
    .map(|row| {
        let tag = read("thing.tag", Tag::parse(&row.tag))?;
        Ok((BarId(row.bar), (ThingId(row.thing), tag)))
    })
    .collect()
}

/// Active holds on counts of a part, in the order in which they were made.
pub async fn list_on_part(tx: &mut SqliteConnection, part: PartId) -> Result<Vec<Hold>, DbError> {
    sqlx::query_as!(
        Row,
        "SELECT id, design_id, bar_id, thing_id, part_id, from_amount, to_amount, from_on, to_on,
             becomes, purchase_line_id, state, broken_why
         FROM hold WHERE part_id = ? AND state = 'active' ORDER BY id",
        part.0
    )
    .fetch_all(tx)
    .await?
    .into_iter()
    .map(Row::hold)
    .collect()
}

/// A row as it is written.
struct Written {
    thing: Option<i64>,
    part: Option<i64>,
    from: i64,
    to: i64,
    line: Option<i64>,
}

fn written(held: Held) -> Written {
    match held {
        Held::Thing { thing, from, to } => Written {
            thing: Some(thing.0),
            part: None,
            from,
            to,
            line: None,
        },
        Held::Count { part, amount, due } => Written {
            thing: None,
            part: Some(part.0),
            from: 0,
            to: amount,
            line: due.map(|line| line.0),
        },
    }
}

/// Adds a hold; the database refuses one on a thing that is held already or is not there.
pub async fn add(
    tx: &mut WriteTx,
    hold: &NewHold,
    made_on: Date,
    who: &Name,
) -> Result<HoldId, DbError> {
    let it = written(hold.held);
    let bar = hold.bar.map(|bar| bar.0);
    let (from_on, to_on) = (hold.window.from().to_string(), hold.window.to().to_string());
    let becomes = hold.becomes.word();
    let made_on = made_on.to_string();
    let who = who.as_str();
    let done = sqlx::query!(
        "INSERT INTO hold (design_id, bar_id, thing_id, part_id, from_amount, to_amount, from_on,
             to_on, becomes, purchase_line_id, made_on, who)
         VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        hold.design.0,
        bar,
        it.thing,
        it.part,
        it.from,
        it.to,
        from_on,
        to_on,
        becomes,
        it.line,
        made_on,
        who
    )
    .execute(&mut **tx)
    .await?;
    Ok(HoldId(done.last_insert_rowid()))
}

/// Moves a hold to something else, keeping its place among the others; the database refuses what
/// it would refuse of a new one.
pub async fn change_held(
    tx: &mut WriteTx,
    id: HoldId,
    held: Held,
    made_on: Date,
) -> Result<(), DbError> {
    let old = sqlx::query!(
        "SELECT design_id, bar_id, from_on, to_on, becomes, who FROM hold WHERE id = ?",
        id.0
    )
    .fetch_one(&mut **tx)
    .await?;
    sqlx::query!("DELETE FROM hold WHERE id = ?", id.0)
        .execute(&mut **tx)
        .await?;
    let it = written(held);
    let made_on = made_on.to_string();
    sqlx::query!(
        "INSERT INTO hold (id, design_id, bar_id, thing_id, part_id, from_amount, to_amount,
             from_on, to_on, becomes, purchase_line_id, made_on, who)
         VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        id.0,
        old.design_id,
        old.bar_id,
        it.thing,
        it.part,
        it.from,
        it.to,
        old.from_on,
        old.to_on,
        old.becomes,
        it.line,
        made_on,
        old.who
    )
    .execute(&mut **tx)
    .await?;
    Ok(())
}

/// Marks a hold as broken, with why.
pub async fn change_broken(tx: &mut WriteTx, id: HoldId, why: &str) -> Result<(), DbError> {
    sqlx::query!(
        "UPDATE hold SET state = 'broken', broken_why = ? WHERE id = ?",
        why,
        id.0
    )
    .execute(&mut **tx)
    .await?;
    Ok(())
}

/// Holds what a design has until another day; what it uses up stays held for good.
pub async fn change_last_day(
    tx: &mut WriteTx,
    design: DesignId,
    to_on: Date,
) -> Result<(), DbError> {
    let to_on = to_on.to_string();
    sqlx::query!(
        "UPDATE hold SET to_on = ?
         WHERE design_id = ? AND state <> 'ended' AND becomes = 'returns'",
        to_on,
        design.0
    )
    .execute(&mut **tx)
    .await?;
    Ok(())
}

/// Ends one hold.
pub async fn end(tx: &mut WriteTx, id: HoldId) -> Result<(), DbError> {
    sqlx::query!("UPDATE hold SET state = 'ended' WHERE id = ?", id.0)
        .execute(&mut **tx)
        .await?;
    Ok(())
}

/// Ends every hold of a design.
pub async fn end_all(tx: &mut WriteTx, design: DesignId) -> Result<(), DbError> {
    sqlx::query!(
        "UPDATE hold SET state = 'ended' WHERE design_id = ? AND state <> 'ended'",
        design.0
    )
    .execute(&mut **tx)
    .await?;
    Ok(())
}

/// Takes the holds of a design away that stand or are broken, to make them anew.
pub async fn remove_all(tx: &mut WriteTx, design: DesignId) -> Result<(), DbError> {
    sqlx::query!(
        "DELETE FROM hold WHERE design_id = ? AND state <> 'ended'",
        design.0
    )
    .execute(&mut **tx)
    .await?;
    Ok(())
}

/// Goods that came make holds that rested on them sure, oldest hold first; what is more than came
/// stays conditional.
pub async fn settle_line(
    tx: &mut WriteTx,
    line: PurchaseLineId,
    mut came: i64,
) -> Result<(), DbError> {
    let holds = sqlx::query!(
        "SELECT id, to_amount FROM hold
         WHERE purchase_line_id = ? AND state = 'active' ORDER BY id",
        line.0
    )
    .fetch_all(&mut **tx)
    .await?;
    for hold in holds {
        if came <= 0 {
            break;
        }
        if hold.to_amount <= came {
            sqlx::query!(
                "UPDATE hold SET purchase_line_id = NULL WHERE id = ?",
                hold.id
            )
            .execute(&mut **tx)
            .await?;
        } else {
            // One part of the hold is sure now, the other still waits.
            sqlx::query!(
                "INSERT INTO hold (design_id, bar_id, part_id, from_amount, to_amount, from_on,
                     to_on, becomes, made_on, who)
                 SELECT design_id, bar_id, part_id, 0, ?, from_on, to_on, becomes, made_on, who
                 FROM hold WHERE id = ?",
                came,
                hold.id
            )
            .execute(&mut **tx)
            .await?;
            sqlx::query!(
                "UPDATE hold SET to_amount = to_amount - ? WHERE id = ?",
                came,
                hold.id
            )
            .execute(&mut **tx)
            .await?;
        }
        came -= hold.to_amount;
    }
    Ok(())
}

/// Holds less of a count than before; nothing left ends the hold.
pub async fn change_amount(tx: &mut WriteTx, id: HoldId, amount: i64) -> Result<(), DbError> {
    if amount <= 0 {
        return end(tx, id).await;
    }
    sqlx::query!(
        "UPDATE hold SET to_amount = from_amount + ? WHERE id = ?",
        amount,
        id.0
    )
    .execute(&mut **tx)
    .await?;
    Ok(())
}
