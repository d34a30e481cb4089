//! SQL for holds: who holds what, for which days; and counts with all that claims them.

use std::collections::{BTreeMap, HashMap};

use serde::Deserialize;
use sqlx::SqliteConnection;

use super::{DbError, WriteTx, refusal::read};
use crate::{
    model::{
        fixture::Condition,
        id::{BarId, DesignId, HoldId, PartId, PurchaseLineId, ThingId},
        reservation::{Held, Hold, HoldState, HoldUse, NewHold},
        text::{Name, Tag},
        thing::ThingKind,
    },
    plan::available::{At, Claim, Counted, Due, Lent, Out},
    units::{Date, Window, parse_date},
};

/// Active holds, by what they are on.
#[derive(Debug, Clone, Default)]
pub struct Claims {
    /// On things.
    pub things: HashMap<ThingId, Vec<Claim>>,
    /// On counts of parts.
    pub counts: HashMap<PartId, Vec<Claim>>,
}

impl Claims {
    /// Those on a thing.
    pub fn on(&self, thing: ThingId) -> &[Claim] {
        self.things.get(&thing).map_or(&[], Vec::as_slice)
    }
}

/// A hold as it stands in the way, its fields in the order in which the statement gives them.
#[derive(Deserialize)]
struct ClaimRow {
    id: i64,
    design: DesignId,
    name: String,
    thing: Option<ThingId>,
    part: Option<PartId>,
    from: i64,
    to: i64,
    from_on: String,
    to_on: String,
    line: Option<PurchaseLineId>,
    /// Not nought where the set is at work or standing.
    until_back: i64,
}

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

/// Active holds of every design but `without`, as claims; of one thing or part, or of all.
pub async fn list_claims(
    tx: &mut SqliteConnection,
    thing: Option<ThingId>,
    part: Option<PartId>,
    without: Option<DesignId>,
) -> Result<Claims, DbError> {
    let thing = thing.map(|thing| thing.0);
    let part = part.map(|part| part.0);
    let without = without.map(|design| design.0);
    // As one text: row by row each value is handed from one thread to another.
    let rows = sqlx::query_scalar!(
        r#"SELECT json_group_array(json_array(hold.id, hold.design_id, design.name, hold.thing_id,
               hold.part_id, hold.from_amount, hold.to_amount, hold.from_on, hold.to_on,
               hold.purchase_line_id, design.state IN ('building', 'standing'))) AS "rows!: String"
           FROM hold JOIN design ON design.id = hold.design_id
           WHERE hold.state = 'active'
             AND (?1 IS NULL OR hold.thing_id = ?1)
             AND (?2 IS NULL OR hold.part_id = ?2)
             AND (?3 IS NULL OR hold.design_id <> ?3)"#,
        thing,
        part,
        without
    )
    .fetch_one(tx)
    .await?;
    let mut rows: Vec<ClaimRow> = read("hold", serde_json::from_str(&rows))?;
    rows.sort_unstable_by(|a, b| (&a.from_on, a.id).cmp(&(&b.from_on, b.id)));
    let mut claims = Claims::default();
    for row in rows {
        let claim = Claim {
            design: row.design,
            name: row.name,
            from: row.from,
            to: row.to,
            window: window(&row.from_on, &row.to_on)?,
            until_back: row.until_back != 0,
            due: row.line,
        };
        match (row.thing, row.part) {
            (Some(thing), _) => claims.things.entry(thing).or_default().push(claim),
            (None, Some(part)) => claims.counts.entry(part).or_default().push(claim),
            (None, None) => {}
        }
    }
    Ok(claims)
}

/// What there is of every part kept by count (or of one), with all that claims it.
pub async fn list_counted(
    tx: &mut SqliteConnection,
    part: Option<PartId>,
) -> Result<HashMap<PartId, Counted>, DbError> {
    let id = part.map(|part| part.0);
    let mut counted: HashMap<PartId, Counted> = HashMap::new();
    let rows = sqlx::query!(
        r#"SELECT balance.part_id, balance.amount, account.kind, account.design_id,
               design.strike_on AS "strike_on?", loan.due_on AS "due_on?"
           FROM balance JOIN part ON part.id = balance.part_id
           JOIN account ON account.id = balance.account_id
           LEFT JOIN design ON design.id = account.design_id
           LEFT JOIN loan ON loan.id = account.loan_id
           WHERE part.stock_by = 'count' AND balance.amount > 0
             AND account.kind IN ('place', 'design', 'loan')
             AND (?1 IS NULL OR balance.part_id = ?1)"#,
        id
    )
    .fetch_all(&mut *tx)
    .await?;
    for row in rows {
        let entry = counted.entry(PartId(row.part_id)).or_default();
        match (row.design_id, row.strike_on, row.due_on) {
            (Some(design), Some(strike_on), _) => entry.out.push(Out {
                design: DesignId(design),
                amount: row.amount,
                until: date("design.strike_on", &strike_on)?,
            }),
            (_, _, Some(due_on)) => entry.lent.push(Lent {
                amount: row.amount,
                due_on: date("loan.due_on", &due_on)?,
            }),
            _ => entry.in_places += row.amount,
        }
    }
    let rows = sqlx::query!(
        r#"SELECT purchase_line.id, purchase_line.part_id, purchase.expected_on AS "expected_on!",
               (packs - received_packs - refused_packs) * pack_amount AS "amount!: i64"
           FROM purchase_line JOIN purchase ON purchase.id = purchase_line.purchase_id
           JOIN part ON part.id = purchase_line.part_id
           WHERE purchase.state = 'ordered' AND purchase.expected_on IS NOT NULL
             AND part.stock_by = 'count' AND packs > received_packs + refused_packs
             AND (?1 IS NULL OR purchase_line.part_id = ?1)"#,
        id
    )
    .fetch_all(&mut *tx)
    .await?;
    for row in rows {
        counted
            .entry(PartId(row.part_id))
            .or_default()
            .due
            .push(Due {
                line: PurchaseLineId(row.id),
                amount: row.amount,
                on: date("purchase.expected_on", &row.expected_on)?,
            });
    }
    for (part, claims) in list_claims(tx, None, part, None).await?.counts {
        counted.entry(part).or_default().claims = claims;
    }
    Ok(counted)
}

/// A thing as far as holds on it go.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct HeldThing {
    /// Its tag.
    pub tag: String,
    /// What it is.
    pub kind: ThingKind,
    /// Its part, for pieces and units.
    pub part: Option<PartId>,
    /// Its condition.
    pub condition: Condition,
    /// Where it is; `None` when it is no longer one's own.
    pub at: Option<At>,
    /// Where it is, in words, when it is no longer one's own.
    pub gone: &'static str,
    /// Whether it is mounted on a frame (and not built into something).
    pub mounted: bool,
    /// A piece's whole amount; 1 for everything else.
    pub amount: i64,
    /// The piece that it was cut from, and where in it its start lay.
    pub cut_from: Option<(ThingId, i64)>,
}

/// A thing as far as holds on it go.
pub async fn lookup_thing(
    tx: &mut SqliteConnection,
    id: ThingId,
) -> Result<Option<HeldThing>, DbError> {
    let Some(row) = sqlx::query!(
        r#"SELECT thing.tag, thing.kind, thing.part_id, thing.condition,
               account.kind AS "account_kind?", account.design_id,
               design.name AS "design_name?", design.strike_on AS "strike_on?",
               loan.borrower AS "borrower?", loan.due_on AS "due_on?",
               holder.tag AS "inside_tag?", holder.kind AS "inside_kind?",
               piece.amount AS "amount?", piece.parent_id, piece.parent_from
           FROM thing LEFT JOIN account ON account.id = thing.account_id
           LEFT JOIN design ON design.id = account.design_id
           LEFT JOIN loan ON loan.id = account.loan_id
           LEFT JOIN thing AS holder ON holder.id = account.thing_id
           LEFT JOIN piece ON piece.thing_id = thing.id
           WHERE thing.id = ?"#,
        id.0
    )
    .fetch_optional(tx)
    .await?
    else {
        return Ok(None);
    };
    let at = match row.account_kind.as_deref() {
        Some("place") => Some(At::Place),
        Some("design") => row
            .design_id
            .zip(row.design_name)
            .zip(row.strike_on)
            .map(|((design, name), strike_on)| {
                Ok::<_, DbError>(At::Out {
                    design: DesignId(design),
                    name,
                    until: date("design.strike_on", &strike_on)?,
                })
            })
            .transpose()?,
        Some("loan") => row
            .borrower
            .zip(row.due_on)
            .map(|(borrower, due_on)| {
                Ok::<_, DbError>(At::Lent {
                    borrower,
                    due_on: date("loan.due_on", &due_on)?,
                })
            })
            .transpose()?,
        Some("inside") => row.inside_tag.map(|tag| At::Inside { tag }),
        _ => None,
    };
    let gone = match row.account_kind.as_deref() {
        Some("lost") => "it is lost",
        Some("scrap") => "it was thrown away",
        Some("used") => "it was used up",
        Some("bench") => "it was cut up",
        Some("adjust") => "it was found to have another length",
        _ => "it is no longer in the house",
    };
    Ok(Some(HeldThing {
        tag: row.tag,
        kind: read("thing.kind", row.kind.parse::<ThingKind>())?,
        part: row.part_id.map(PartId),
        condition: read("thing.condition", row.condition.parse::<Condition>())?,
        at,
        gone,
        mounted: row.inside_kind.as_deref() == Some("frame"),
        amount: row.amount.unwrap_or(1),
        cut_from: row.parent_id.map(ThingId).zip(row.parent_from),
    }))
}

/// What was cut from a piece, with where in it each lay and how much it is.
pub async fn list_cut_from(
    tx: &mut SqliteConnection,
    piece: ThingId,
) -> Result<Vec<(ThingId, i64, i64)>, DbError> {
    Ok(sqlx::query!(
        r#"SELECT thing_id AS "thing_id!", parent_from AS "parent_from!", amount
           FROM piece WHERE parent_id = ? ORDER BY parent_from, thing_id"#,
        piece.0
    )
    .fetch_all(tx)
    .await?
    .into_iter()
    .map(|row| (ThingId(row.thing_id), row.parent_from, row.amount))
    .collect())
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
