//! Taking a set out, and back: line by line, each with its condition.

mod not_yet;
mod rest;

use serde::{Deserialize, Serialize};
use sqlx::SqliteConnection;
use utoipa::ToSchema;

pub(super) use self::not_yet::{back_to_bench, why_not_back};
pub use self::rest::CheckInRest;
use super::{
    Act, Change, Done, StockError, What,
    change::{Head, amount_error, field, moved, place, thing, write},
    runs,
};
use crate::{
    db::{self, WriteTx},
    model::{
        design::Design,
        fixture::Condition,
        id::{AccountId, DesignId, MovementId, PartId, PlaceId, ThingId},
        movement::{AccountKind, Line, Mark, Moved, MovementKind},
        part::StockUnit,
        piece::length_of,
        reservation::{Held, HoldUse},
        text::{Name, Note, words},
        thing::Thing,
    },
};

/// One line of what is out.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OutLine {
    /// What.
    pub what: OutWhat,
    /// Where it came from: suggested for its return.
    pub came_from: Option<PlaceId>,
}

/// A thing or a count that is out.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum OutWhat {
    /// A thing with its tag; what is mounted on it comes with it.
    Thing(Box<Thing>),
    /// A count.
    Count {
        /// Of what.
        part: PartId,
        /// Its name.
        name: Name,
        /// How many.
        amount: i64,
    },
}

/// Everything that is out with a set.
pub async fn list(tx: &mut SqliteConnection, design: DesignId) -> Result<Vec<OutLine>, StockError> {
    let account = db::place::account_of_design(tx, design)
        .await?
        .ok_or(StockError::NotFound("set"))?;
    let origins = db::stage::list_origins(tx, account).await?;
    let mut lines: Vec<OutLine> = db::thing::list_at(tx, account)
        .await?
        .into_iter()
        .map(|thing| OutLine {
            came_from: origins.things.get(&thing.id).copied(),
            what: OutWhat::Thing(Box::new(thing)),
        })
        .collect();
    for count in db::balance::list_at(tx, account).await? {
        let Ok(name) = Name::parse(&count.name) else {
            continue;
        };
        lines.push(OutLine {
            came_from: origins.counts.get(&count.part).copied(),
            what: OutWhat::Count {
                part: count.part,
                name,
                amount: count.amount,
            },
        });
    }
    Ok(lines)
}

words! {
    /// How a thing comes back.
    Back {
        /// It works.
        Good = "good", "back, good";
        /// To be tested before use.
        Suspect = "suspect", "back, suspect";
        /// It does not work.
        Dead = "dead", "back, dead";
        /// It does not come back.
        Lost = "lost", "lost";
    }
}

impl Back {
    const fn condition(self) -> Option<Condition> {
        match self {
            Self::Good => Some(Condition::Good),
            Self::Suspect => Some(Condition::Suspect),
            Self::Dead => Some(Condition::Dead),
            Self::Lost => None,
        }
    }
}

/// What is checked in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(tag = "is", rename_all = "snake_case")]
pub enum CheckWhat {
    /// A thing.
    Thing {
        /// Which.
        thing: ThingId,
        /// How it comes back.
        how: Back,
    },
    /// A count.
    Count {
        /// Of what.
        part: PartId,
        /// How many come back.
        back: i64,
        /// How many are lost.
        lost: i64,
    },
}

/// Checks one line of a set in: one movement, which can be undone.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct CheckIn {
    /// Of which set.
    pub design: DesignId,
    /// What.
    pub what: CheckWhat,
    /// Where it is put; where it came from if nothing is said.
    pub to: Option<PlaceId>,
    /// What was seen.
    pub reason: Note,
}

impl Change for CheckIn {
    type Answer = Done;

    async fn within(&self, tx: &mut WriteTx, act: &Act) -> Result<Done, StockError> {
        let stage = db::place::account_of_design(tx, self.design)
            .await?
            .ok_or(StockError::NotFound("set"))?;
        match self.what {
            CheckWhat::Thing { thing: id, how } => self.thing(tx, act, stage, id, how).await,
            CheckWhat::Count { part, back, lost } => {
                self.count(tx, act, stage, part, back, lost).await
            }
        }
    }
}

impl CheckIn {
    async fn to(&self, tx: &mut WriteTx, stage: AccountId) -> Result<AccountId, StockError> {
        let to = match self.to {
            Some(to) => Some(to),
            None => self.came_from(tx, stage).await?,
        };
        let to = to.ok_or_else(|| {
            field(
                "to",
                "It came from no place that is in use. Choose the place where it is put.",
            )
        })?;
        place(tx, to).await
    }

    async fn came_from(
        &self,
        tx: &mut WriteTx,
        stage: AccountId,
    ) -> Result<Option<PlaceId>, StockError> {
        let origins = db::stage::list_origins(tx, stage).await?;
        Ok(match self.what {
            CheckWhat::Thing { thing, .. } => origins.things.get(&thing).copied(),
            CheckWhat::Count { part, .. } => origins.counts.get(&part).copied(),
        })
    }

    async fn thing(
        &self,
        tx: &mut WriteTx,
        act: &Act,
        stage: AccountId,
        id: ThingId,
        how: Back,
    ) -> Result<Done, StockError> {
        let thing = thing(tx, id).await?;
        if thing.place.account != stage {
            return Err(StockError::refused(format!(
                "{} is not out with this set any more: {}. Nothing was changed.",
                thing.tag, thing.place.words
            )));
        }
        let to = match how {
            Back::Lost => AccountId::LOST,
            _ => self.to(tx, stage).await?,
        };
        let moved = moved(&thing);
        let_go(tx, self.design, moved).await?;
        let kind = match how {
            Back::Lost => MovementKind::Lose,
            _ => MovementKind::BringBack,
        };
        let mark = how
            .condition()
            .filter(|condition| *condition != thing.condition)
            .map(|after| Mark {
                thing: id,
                before: thing.condition,
                after,
            });
        if let Some(mark) = mark {
            db::thing::set_condition(tx, id, mark.after).await?;
        }
        let head = Head {
            mark,
            ..Head::new(kind, &self.reason)
        }
        .design(Some(self.design));
        let line = Line {
            moved,
            from: stage,
            to,
        };
        write(tx, act, head, vec![line]).await
    }

    async fn count(
        &self,
        tx: &mut WriteTx,
        act: &Act,
        stage: AccountId,
        part: PartId,
        back: i64,
        lost: i64,
    ) -> Result<Done, StockError> {
        if back < 0 || lost < 0 || back.saturating_add(lost) < 1 {
            return Err(amount_error(back.min(lost).min(0)));
        }
        let out = db::balance::amount(tx, part, stage).await?;
        if back.saturating_add(lost) > out {
            return Err(field(
                "back",
                format!(
                    "{out} are out with this set; {back} back and {lost} lost are more. Nothing \
                     was changed."
                ),
            ));
        }
        let mut lines = Vec::new();
        if back > 0 {
            lines.push(Line {
                moved: Moved::Count { part, amount: back },
                from: stage,
                to: self.to(tx, stage).await?,
            });
        }
        if lost > 0 {
            lines.push(Line {
                moved: Moved::Count { part, amount: lost },
                from: stage,
                to: AccountId::LOST,
            });
        }
        let amount = back + lost;
        let_go(tx, self.design, Moved::Count { part, amount }).await?;
        let kind = if back > 0 {
            MovementKind::BringBack
        } else {
            MovementKind::Lose
        };
        let head = Head::new(kind, &self.reason).design(Some(self.design));
        write(tx, act, head, lines).await
    }
}

/// Ends what a set holds of what comes back from its stage.
async fn let_go(tx: &mut WriteTx, design: DesignId, back: Moved) -> Result<(), StockError> {
    match back {
        Moved::Thing { thing, .. } | Moved::Piece { thing, .. } => {
            for hold in db::reservation::list_on_thing(tx, thing).await? {
                if hold.hold.design == design {
                    db::reservation::end(tx, hold.id).await?;
                }
            }
        }
        Moved::Count { part, amount } => {
            let mut open = amount;
            for hold in db::reservation::list_on_part(tx, part).await? {
                if let Held::Count { amount, .. } = hold.hold.held
                    && hold.hold.design == design
                    && hold.hold.becomes == HoldUse::Returns
                    && open > 0
                {
                    let less = open.min(amount);
                    db::reservation::change_amount(tx, hold.id, amount - less).await?;
                    open -= less;
                }
            }
        }
        Moved::Loss { .. } => {}
    }
    Ok(())
}

/// What took everything out found missing, in words, with the movement, if anything moved.
pub(super) struct TakenOut {
    pub movement: Option<MovementId>,
    pub missing: Vec<String>,
}

/// Takes out what a set holds and what comes back: things and counts that lie in places, and the
/// cable that is cut for it.
pub(super) async fn take_out(
    tx: &mut WriteTx,
    act: &Act,
    design: &Design,
) -> Result<TakenOut, StockError> {
    let (mut lines, missing) = out_lines(tx, design.id).await?;
    let cable = runs::list(tx, design.id, None).await?;
    lines.extend(runs::hang(tx, act, design, cable.ready).await?);
    let movement = if lines.is_empty() {
        None
    } else {
        let reason = Note::default();
        let head = Head::new(MovementKind::TakeOut, &reason).design(Some(design.id));
        write(tx, act, head, lines).await?.movement
    };
    Ok(TakenOut { movement, missing })
}

/// The lines by which everything held goes out, and what is not there to go.
pub(super) async fn out_lines(
    tx: &mut SqliteConnection,
    design: DesignId,
) -> Result<(Vec<Line>, Vec<String>), StockError> {
    let stage = db::place::account_of_design(tx, design)
        .await?
        .ok_or(StockError::NotFound("set"))?;
    let (mut lines, mut missing) = (Vec::new(), Vec::new());
    let mut counts: Vec<(PartId, i64)> = Vec::new();
    for hold in db::reservation::list(tx, design).await? {
        if hold.hold.becomes != HoldUse::Returns {
            continue;
        }
        if !hold.broken_why.is_empty() {
            missing.push(hold.broken_why);
            continue;
        }
        match hold.hold.held {
            Held::Thing { thing: id, .. } => {
                let Some(thing) = db::thing::lookup(tx, id).await? else {
                    continue;
                };
                match thing.place.kind {
                    AccountKind::Place => lines.push(Line {
                        moved: moved(&thing),
                        from: thing.place.account,
                        to: stage,
                    }),
                    // On this stage already, or mounted on a frame that goes out itself.
                    AccountKind::Design if thing.place.design == Some(design) => {}
                    AccountKind::Inside => {}
                    _ => missing.push(format!("{} is {}.", thing.tag, thing.place.words)),
                }
            }
            Held::Count { part, amount, .. } => {
                match counts.iter_mut().find(|(known, _)| *known == part) {
                    Some((_, sum)) => *sum += amount,
                    None => counts.push((part, amount)),
                }
            }
        }
    }
    for (part, held) in counts {
        let out = db::balance::amount(tx, part, stage).await?;
        let (taken, short) = from_places(tx, part, held - out, stage).await?;
        lines.extend(taken);
        if short > 0 {
            let name = db::part::lookup(tx, part)
                .await?
                .map_or_else(String::new, |part| part.name.to_string());
            let are = if short == 1 { "is" } else { "are" };
            missing.push(format!("{name}: {short} of {held} {are} in no place."));
        }
    }
    Ok((lines, missing))
}

/// Lines that take a count from places, and how many are in no place.
pub(super) async fn from_places(
    tx: &mut SqliteConnection,
    part: PartId,
    amount: i64,
    to: AccountId,
) -> Result<(Vec<Line>, i64), StockError> {
    let mut open = amount.max(0);
    let mut lines = Vec::new();
    for spot in db::balance::list_of_part(tx, part).await? {
        let take = open.min(spot.amount);
        if spot.place.kind == AccountKind::Place && take > 0 {
            lines.push(Line {
                moved: Moved::Count { part, amount: take },
                from: spot.place.account,
                to,
            });
            open -= take;
        }
    }
    Ok((lines, open))
}

/// The same as [`from_places`], as what a use-case takes.
pub(super) fn as_what(lines: &[Line]) -> Vec<What> {
    lines
        .iter()
        .map(|line| match line.moved {
            Moved::Count { part, amount } | Moved::Loss { part, amount, .. } => What::Count {
                part,
                amount,
                from: line.from,
            },
            Moved::Piece { thing, .. } | Moved::Thing { thing, .. } => What::Thing { thing },
        })
        .collect()
}

/// Refuses while something is still out, naming it.
pub(super) async fn nothing_out(
    tx: &mut SqliteConnection,
    design: DesignId,
) -> Result<(), StockError> {
    let out = list(tx, design).await?;
    if out.is_empty() {
        return Ok(());
    }
    let unit = db::venue::lookup(tx).await?.length_unit;
    let mut named: Vec<String> = Vec::new();
    for line in out.iter().take(6) {
        named.push(match &line.what {
            OutWhat::Thing(thing) => thing.tag.to_string(),
            OutWhat::Count { part, name, amount } => {
                let stored = db::part::lookup(tx, *part).await?.map(|part| part.unit());
                match stored {
                    Some(StockUnit::Each) | None => format!("{amount} × {name}"),
                    Some(stored) => {
                        format!("{} of {name}", length_of(stored, *amount, 0).say(unit))
                    }
                }
            }
        });
    }
    let more = out.len().saturating_sub(named.len());
    Err(StockError::refused(format!(
        "Still out with this set: {}{}. Nothing was changed. Check each in, or note it as lost.",
        named.join(", "),
        if more > 0 {
            format!(" and {more} more")
        } else {
            String::new()
        }
    )))
}
