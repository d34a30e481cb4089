//! SQL for what a plan is made from: what is in the house that it may take, with what of it is free.
//!
//! A handful of statements, whatever the size of the cupboard, all in the caller's transaction.

use std::{collections::HashMap, sync::Arc};

use sqlx::SqliteConnection;

use super::{
    DbError, WriteTx, design, offer, pin, refusal::read, reservation, reservation::Claims, venue,
};
use crate::{
    model::{
        design::{Design, State},
        fixture::Condition,
        id::{DesignId, PartId, PlaceId, ThingId},
        part::Part,
        text::{Name, Note, Tag},
    },
    plan::{
        Input,
        available::{At, Rules, freedom},
        input::{
            Snapshot, SpareCount, SpareFixture, SpareFrame, SparePiece, SpareUnit, Where,
            may_take_pieces,
        },
    },
    units::{Date, FOREVER, Window, parse_date},
};

mod fixture;
mod known;
mod piece;

use fixture::list_fixtures_with;
pub use known::{Pieces, Reads};
use piece::{list_pieces, list_pieces_of};

/// Who asks, for which days.
#[derive(Debug, Clone, Copy)]
pub struct Ask {
    /// The design whose own holds do not count.
    pub own: Option<DesignId>,
    /// The days.
    pub window: Window,
    /// The venue's day and rule.
    pub rules: Rules,
}

impl Ask {
    /// The days for what is used up: from the first on, without end.
    fn for_good(self) -> Self {
        Self {
            window: Window::new(self.window.from(), FOREVER).unwrap_or(self.window),
            ..self
        }
    }
}

/// What a plan of a stored design is made from; `None` if there is no such design.
pub async fn input(
    tx: &mut impl Reads,
    id: DesignId,
    today: Date,
) -> Result<Option<Input>, DbError> {
    match design::lookup(tx, id).await? {
        Some(design) => Ok(Some(input_of(tx, design, today).await?)),
        None => Ok(None),
    }
}

/// What a plan of a design, stored so or not, is made from.
pub async fn input_of(tx: &mut impl Reads, design: Design, today: Date) -> Result<Input, DbError> {
    let venue = venue::lookup(tx).await?;
    let ask = Ask {
        own: Some(design.id),
        window: design.dates.window(),
        rules: Rules {
            today,
            same_day_turnaround: venue.same_day_turnaround,
        },
    };
    let parts = list_parts(tx).await?;
    let claims = reservation::list_claims(tx, None, None, ask.own).await?;
    let walk = walk(tx).await?;
    let asked: Vec<PartId> = parts
        .iter()
        .filter(|part| may_take_pieces(&design, part))
        .map(|part| part.id)
        .collect();
    let stock = Snapshot {
        fixtures: list_fixtures_with(tx, ask, &claims, &walk).await?,
        pieces: list_pieces(tx, ask.for_good(), &asked, &claims, &walk).await?,
        units: list_units(tx, ask, Mounted::MayServe, &claims, &walk).await?,
        frames: list_frames(tx, ask, &claims).await?,
        counts: list_counts(tx, ask, &parts).await?,
        left_alone: pin::list_left_things(tx, &design).await?,
        not_from: pin::list_names(tx, &design).await?,
    };
    let held = if design.state == State::Reserved {
        let kept = design::lookup_plan(tx, design.id).await?;
        kept.map(|kept| Arc::new(kept.plan))
    } else {
        None
    };
    Ok(Input {
        design,
        parts,
        stock,
        offers: offer::list_for_plan(tx).await?,
        venue,
        today,
        held,
    })
}

/// Every fixture in the house, with whether it is free for the days asked.
pub async fn list_fixtures(
    tx: &mut SqliteConnection,
    ask: Ask,
) -> Result<Vec<SpareFixture>, DbError> {
    let claims = reservation::list_claims(tx, None, None, ask.own).await?;
    let walk = walk(tx).await?;
    list_fixtures_with(tx, ask, &claims, &walk).await
}

/// Every driver and supply in the house, with whether it is free for the days asked.
pub async fn list_spare_units(
    tx: &mut SqliteConnection,
    ask: Ask,
) -> Result<Vec<SpareUnit>, DbError> {
    let claims = reservation::list_claims(tx, None, None, ask.own).await?;
    let walk = walk(tx).await?;
    list_units(tx, ask, Mounted::IsAway, &claims, &walk).await
}

/// Every piece of a part in the house of which some is free for the days asked.
pub async fn list_spare_pieces(
    tx: &mut WriteTx,
    ask: Ask,
    part: PartId,
) -> Result<Vec<Arc<SparePiece>>, DbError> {
    let claims = reservation::list_claims(tx, None, None, ask.own).await?;
    let walk = walk(tx).await?;
    list_pieces_of(tx, ask, part, &claims, &walk).await
}

async fn list_parts(tx: &mut SqliteConnection) -> Result<Vec<Part>, DbError> {
    sqlx::query!(
        "SELECT id, name, code, spec, typical, note, retired, version FROM part ORDER BY id"
    )
    .fetch_all(tx)
    .await?
    .into_iter()
    .map(|row| {
        Ok(Part {
            id: PartId(row.id),
            name: read("part.name", Name::parse(&row.name))?,
            code: row.code,
            spec: read("part.spec", serde_json::from_str(&row.spec))?,
            typical: row.typical != 0,
            note: read("part.note", Note::parse(&row.note))?,
            retired: row.retired != 0,
            version: row.version,
        })
    })
    .collect()
}

/// Places in words and in the order of the walk: a place before what lies in it, neighbours by
/// their position.
async fn walk(tx: &mut SqliteConnection) -> Result<HashMap<PlaceId, Where>, DbError> {
    let rows = sqlx::query!("SELECT id, parent_id, name FROM place ORDER BY position, name, id")
        .fetch_all(tx)
        .await?;
    let mut inside: HashMap<Option<i64>, Vec<(i64, &str)>> = HashMap::new();
    for row in &rows {
        inside
            .entry(row.parent_id)
            .or_default()
            .push((row.id, &row.name));
    }
    let mut walk = HashMap::new();
    let mut ahead: Vec<(i64, String)> = Vec::new();
    let enter = |ahead: &mut Vec<(i64, String)>, parent: Option<i64>, path: &str| {
        for (id, name) in inside.get(&parent).into_iter().flatten().rev() {
            let path = if path.is_empty() {
                (*name).to_owned()
            } else {
                format!("{path} / {name}")
            };
            ahead.push((*id, path));
        }
    };
    enter(&mut ahead, None, "");
    while let Some((id, path)) = ahead.pop() {
        enter(&mut ahead, Some(id), &path);
        let position = i64::try_from(walk.len()).unwrap_or(i64::MAX);
        walk.insert(PlaceId(id), Where { path, position });
    }
    Ok(walk)
}

/// Where a thing is, from the columns that every statement below has.
struct Spot {
    place: Option<i64>,
    design: Option<(i64, String, String)>,
    loan: Option<(String, String)>,
    inside: Option<String>,
}

impl Spot {
    fn at(&self) -> Result<At, DbError> {
        if let Some((design, name, strike_on)) = &self.design {
            return Ok(At::Out {
                design: DesignId(*design),
                name: name.clone(),
                until: read("design.strike_on", parse_date(strike_on))?,
            });
        }
        if let Some((borrower, due_on)) = &self.loan {
            return Ok(At::Lent {
                borrower: borrower.clone(),
                due_on: read("loan.due_on", parse_date(due_on))?,
            });
        }
        Ok(match &self.inside {
            Some(tag) => At::Inside { tag: tag.clone() },
            None => At::Place,
        })
    }

    /// In words and along the walk; what is not in a place lies after every place.
    fn place(&self, walk: &HashMap<PlaceId, Where>) -> Where {
        if let Some(place) = self.place.and_then(|id| walk.get(&PlaceId(id))) {
            return place.clone();
        }
        let path = match (&self.design, &self.loan, &self.inside) {
            (Some((_, name, _)), _, _) => format!("on stage for {name}"),
            (_, Some((borrower, _)), _) => format!("lent to {borrower}"),
            (_, _, Some(tag)) => format!("part of {tag}"),
            _ => String::new(),
        };
        Where {
            path,
            position: i64::try_from(walk.len()).unwrap_or(i64::MAX),
        }
    }
}

/// Gathers the columns of [`Spot`].
macro_rules! spot {
    ($row:ident) => {
        Spot {
            place: $row.place_id,
            design: $row
                .design_id
                .zip($row.design_name.clone())
                .zip($row.strike_on.clone())
                .map(|((id, name), strike)| (id, name, strike)),
            loan: $row.borrower.clone().zip($row.due_on.clone()),
            inside: $row.inside_tag.clone(),
        }
    };
}

fn condition(word: &str) -> Result<Condition, DbError> {
    read("thing.condition", word.parse::<Condition>())
}

/// What being mounted on a frame means for a driver or a supply.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Mounted {
    /// It serves where its frame does: the plan knows which frames serve.
    MayServe,
    /// It is not free.
    IsAway,
}

async fn list_units(
    tx: &mut SqliteConnection,
    ask: Ask,
    mounted: Mounted,
    claims: &Claims,
    walk: &HashMap<PlaceId, Where>,
) -> Result<Vec<SpareUnit>, DbError> {
    let rows = sqlx::query!(
        r#"SELECT thing.id AS "id!", thing.tag, thing.condition, thing.part_id AS "part_id!", unit.address,
               account.place_id, account.design_id, design.name AS "design_name?",
               design.strike_on AS "strike_on?", loan.borrower AS "borrower?",
               loan.due_on AS "due_on?", holder.tag AS "inside_tag?"
           FROM thing JOIN unit ON unit.thing_id = thing.id
           JOIN account ON account.id = thing.account_id
           LEFT JOIN design ON design.id = account.design_id
           LEFT JOIN loan ON loan.id = account.loan_id
           LEFT JOIN thing AS holder ON holder.id = account.thing_id
           LEFT JOIN account AS whole ON whole.id = holder.account_id
           WHERE thing.kind = 'unit' AND account.kind IN ('place', 'design', 'loan', 'inside')
             AND coalesce(whole.kind, 'place') IN ('place', 'design', 'loan', 'inside')
           ORDER BY thing.id"#
    )
    .fetch_all(tx)
    .await?;
    rows.into_iter()
        .map(|row| {
            let id = ThingId(row.id);
            let spot = spot!(row);
            let at = match (spot.at()?, mounted) {
                (At::Inside { .. }, Mounted::MayServe) => At::Place,
                (at, _) => at,
            };
            Ok(SpareUnit {
                thing: id,
                tag: read("thing.tag", Tag::parse(&row.tag))?,
                part: PartId(row.part_id),
                address: row.address.and_then(|address| u16::try_from(address).ok()),
                freedom: freedom(
                    condition(&row.condition)?,
                    &at,
                    claims.on(id),
                    ask.own,
                    ask.window,
                    ask.rules,
                ),
                place: spot.place(walk),
            })
        })
        .collect()
}

async fn list_frames(
    tx: &mut SqliteConnection,
    ask: Ask,
    claims: &Claims,
) -> Result<Vec<SpareFrame>, DbError> {
    let mut counts: HashMap<i64, Vec<(PartId, i64)>> = HashMap::new();
    for row in sqlx::query!(
        r#"SELECT account.thing_id AS "frame!", balance.part_id AS "part_id!", balance.amount
           FROM thing AS frame CROSS JOIN account ON account.thing_id = frame.id
           CROSS JOIN balance ON balance.account_id = account.id
           CROSS JOIN part ON part.id = balance.part_id
           WHERE frame.kind = 'frame' AND part.stock_by = 'count' AND balance.amount > 0
           ORDER BY balance.part_id"#
    )
    .fetch_all(&mut *tx)
    .await?
    {
        counts
            .entry(row.frame)
            .or_default()
            .push((PartId(row.part_id), row.amount));
    }
    let mut things: HashMap<i64, Vec<ThingId>> = HashMap::new();
    for row in sqlx::query!(
        r#"SELECT account.thing_id AS "frame!", thing.id
           FROM thing AS holder CROSS JOIN account ON account.thing_id = holder.id
           CROSS JOIN thing ON thing.account_id = account.id
           WHERE holder.kind = 'frame' ORDER BY thing.id"#
    )
    .fetch_all(&mut *tx)
    .await?
    {
        things.entry(row.frame).or_default().push(ThingId(row.id));
    }
    let rows = sqlx::query!(
        r#"SELECT thing.id AS "id!", thing.tag, thing.condition, frame.name,
               account.place_id, account.design_id, design.name AS "design_name?",
               design.strike_on AS "strike_on?", loan.borrower AS "borrower?",
               loan.due_on AS "due_on?", NULL AS "inside_tag?: String"
           FROM thing JOIN frame ON frame.thing_id = thing.id
           JOIN account ON account.id = thing.account_id
           LEFT JOIN design ON design.id = account.design_id
           LEFT JOIN loan ON loan.id = account.loan_id
           WHERE thing.kind = 'frame' AND account.kind IN ('place', 'design', 'loan')
           ORDER BY thing.id"#
    )
    .fetch_all(tx)
    .await?;
    rows.into_iter()
        .map(|row| {
            let id = ThingId(row.id);
            let spot = spot!(row);
            Ok(SpareFrame {
                thing: id,
                tag: read("thing.tag", Tag::parse(&row.tag))?,
                name: read("frame.name", Name::parse(&row.name))?,
                freedom: freedom(
                    condition(&row.condition)?,
                    &spot.at()?,
                    claims.on(id),
                    ask.own,
                    ask.window,
                    ask.rules,
                ),
                counts: counts.remove(&row.id).unwrap_or_default(),
                things: things.remove(&row.id).unwrap_or_default(),
            })
        })
        .collect()
}

async fn list_counts(
    tx: &mut SqliteConnection,
    ask: Ask,
    parts: &[Part],
) -> Result<Vec<SpareCount>, DbError> {
    let mut counted = reservation::list_counted(tx, None).await?;
    Ok(parts
        .iter()
        .filter_map(|part| {
            let counted = counted.remove(&part.id)?;
            let counted = match ask.own {
                Some(own) => counted.without(own),
                None => counted,
            };
            // What is used up is asked for without end.
            let asked = if part.used_up() { ask.for_good() } else { ask };
            Some(SpareCount {
                part: part.id,
                available: counted.firm(asked.window, ask.rules).max(0),
                due: counted.due_free(ask.window.from(), ask.rules),
            })
        })
        .collect())
}
