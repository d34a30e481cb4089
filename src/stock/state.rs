//! From state to state: what each change does to the stock, said before it is done, and done.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};
use sqlx::SqliteConnection;
use utoipa::ToSchema;

use super::{Act, Begun, StockError, build, runs, strike};
use crate::{
    db::{self, Db, WriteTx},
    model::{
        design::{Design, State},
        id::{DesignId, MovementId, PartId, ThingId},
        part::StockUnit,
        piece::say_amount,
        reservation::{Held, Hold, HoldState, HoldUse},
        step::{Step, StepKind, Task},
    },
    units::{LengthUnit, say_day},
};

/// What a change of state would do.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Preview {
    /// To which state.
    pub to: State,
    /// What it does to the stock, line by line.
    pub does: Vec<String>,
    /// Why it cannot be done now, if it can't.
    pub refused: Option<String>,
}

/// What a change of state did.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Gone {
    /// The design's version from now on.
    pub version: i64,
    /// The movement, if things moved.
    pub movement: Option<MovementId>,
    /// What was not there to go along, in words.
    pub missing: Vec<String>,
}

fn count(number: usize, one: &str, many: &str) -> String {
    if number == 1 {
        format!("1 {one}")
    } else {
        format!("{number} {many}")
    }
}

/// Steps that a sentence names one by one.
const NAMED: usize = 3;

/// That something was made already, with the first steps of it.
fn made_words(made: &[String]) -> String {
    let (named, more) = made.split_at(made.len().min(NAMED));
    let more = match more.len() {
        0 => String::new(),
        more => format!("; and {}", count(more, "more step", "more steps")),
    };
    format!(
        "Something is cut or assembled already: {}{more}.",
        named.join("; ")
    )
}

/// Kinds of things that a line names one by one.
const KINDS: usize = 4;

/// The first few of a list, and how many kinds more.
fn few(named: &[String]) -> String {
    match named.len() {
        all if all <= KINDS => named.join(", "),
        all => format!(
            "{}, and {}",
            named[..KINDS].join(", "),
            count(all - KINDS, "more kind", "more kinds")
        ),
    }
}

/// So many of a part by its name, or so much of what is measured.
async fn amount_words(
    tx: &mut SqliteConnection,
    part: PartId,
    amount: i64,
    show: LengthUnit,
) -> Result<String, StockError> {
    let Some(part) = db::part::lookup(tx, part).await? else {
        return Ok(format!("{amount} × a part that is gone"));
    };
    let much = say_amount(part.unit(), amount, show);
    Ok(match part.unit() {
        StockUnit::Each => format!("{much} × {}", part.name),
        StockUnit::Micrometres | StockUnit::CutUnits(_) => format!("{much} of {}", part.name),
    })
}

/// What others may have again once these holds end, in words; `None` for nothing.
pub async fn freed(
    tx: &mut SqliteConnection,
    holds: &[Hold],
) -> Result<Option<String>, StockError> {
    let show = db::venue::lookup(tx).await?.length_unit;
    let mut ids: Vec<ThingId> = Vec::new();
    let mut counts: BTreeMap<PartId, i64> = BTreeMap::new();
    for hold in holds.iter().filter(|hold| hold.state == HoldState::Active) {
        match hold.hold.held {
            // Several bars may be cut from one piece.
            Held::Thing { thing, .. } if ids.contains(&thing) => {}
            Held::Thing { thing, .. } => ids.push(thing),
            Held::Count { part, amount, .. } => *counts.entry(part).or_default() += amount,
        }
    }
    let mut things: BTreeMap<String, Vec<String>> = BTreeMap::new();
    // What is out yet is told by itself.
    let mut found = db::thing::list_by_id(tx, &ids).await?;
    found.retain(|thing| thing.place.design.is_none());
    for thing in found {
        let tags = things.entry(thing.name).or_default();
        tags.push(thing.tag.to_string());
    }
    let mut named: Vec<String> = things
        .into_iter()
        .map(|(name, tags)| match tags.as_slice() {
            [tag] => format!("{tag} ({name})"),
            tags => format!("{} × {name}", tags.len()),
        })
        .collect();
    for (part, amount) in counts.into_iter().filter(|(_, amount)| *amount > 0) {
        named.push(amount_words(tx, part, amount, show).await?);
    }
    Ok((!named.is_empty()).then(|| format!("Free for others again: {}.", few(&named))))
}

/// What the bench made, and what it used up for that, in words.
async fn worked(tx: &mut SqliteConnection, steps: &[Step]) -> Result<Vec<String>, StockError> {
    let show = db::venue::lookup(tx).await?.length_unit;
    let (mut cut, mut built) = (0, 0);
    let mut used: BTreeMap<PartId, i64> = BTreeMap::new();
    for step in steps.iter().filter(|step| step.done.is_some()) {
        match &step.task {
            Task::Cut { .. } => cut += 1,
            Task::Assemble {
                made: Some(made), ..
            } => {
                built += 1;
                for (part, amount) in &made.counts {
                    *used.entry(*part).or_default() += amount;
                }
            }
            _ => {}
        }
    }
    let mut lines = Vec::new();
    if built > 0 {
        lines.push(format!(
            "{} built: free stock from now on.",
            count(built, "bar is", "bars are")
        ));
    }
    if cut > 0 {
        lines.push(format!(
            "{} cut for it: what is in no bar is free stock.",
            count(cut, "piece was", "pieces were")
        ));
    }
    let mut named = Vec::new();
    for (part, amount) in used {
        named.push(amount_words(tx, part, amount, show).await?);
    }
    if !named.is_empty() {
        lines.push(format!("Used up for the bars: {}.", few(&named)));
    }
    Ok(lines)
}

/// What each change of state that the rules have would do now.
pub async fn previews(db: &Db, id: DesignId) -> Result<Vec<Preview>, StockError> {
    let mut tx = db.read().await?;
    let design = db::design::lookup(&mut tx, id)
        .await?
        .ok_or(StockError::NotFound("set"))?;
    let mut previews = Vec::new();
    for to in design.state.next() {
        previews.push(preview(&mut tx, &design, *to).await?);
    }
    Ok(previews)
}

async fn preview(
    tx: &mut SqliteConnection,
    design: &Design,
    to: State,
) -> Result<Preview, StockError> {
    let holds = db::reservation::list(tx, design.id).await?;
    let active = holds
        .iter()
        .filter(|hold| hold.state == HoldState::Active)
        .count();
    let broken = holds.len() - active;
    let (from, until) = (design.dates.build_on(), design.dates.strike_on());
    let out = strike::list(tx, design.id).await?;
    let out_words = format!(
        "{} out with it: check them in on the strike page.",
        count(out.len(), "line is still", "lines are still")
    );
    let mut does = Vec::new();
    let mut refused = None;
    match (design.state, to) {
        (State::Draft, State::Reserved) => {
            does.push(format!(
                "Holds what the plan shows from {} to {}, and for good what is used up.",
                say_day(from),
                say_day(until)
            ));
            does.push("Nothing moves.".to_owned());
        }
        (State::Reserved, State::Draft | State::Cancelled) => {
            does.extend(freed(tx, &holds).await?);
            does.push("Nothing moves.".to_owned());
        }
        (State::Draft, State::Cancelled) | (State::Cancelled, State::Draft) => {
            does.push("Nothing is held, and nothing moves.".to_owned());
        }
        (State::Reserved, State::Building) => {
            does.push(
                "Makes the steps of the bench. Holds stay; stock moves as steps are ticked."
                    .to_owned(),
            );
            if broken > 0 {
                does.push(format!(
                    "{} gone: reserve again first to mend what can be mended.",
                    count(
                        broken,
                        "thing that was held is",
                        "things that were held are"
                    )
                ));
            }
            if let Some(kept) = db::design::lookup_plan(tx, design.id).await?
                && kept.plan.is_short()
            {
                let waits = kept.plan.bars_to_buy();
                let bars = match &waits[..] {
                    [] => String::new(),
                    [one] => format!(", and bar {one} cannot be put together without it"),
                    some => format!(
                        ", and bars {} cannot be put together without it",
                        some.join(", ")
                    ),
                };
                does.push(format!(
                    "Something is short by the plan that is held{bars}. Once it has come, this page \
                     offers to plan again and hold anew: do that first, and begin then."
                ));
            }
        }
        (State::Building, State::Reserved) => {
            let made = build::made_already(tx, design.id).await?;
            if made.is_empty() {
                does.push("Takes the steps away. Holds stay as they are.".to_owned());
            } else {
                refused = Some(format!("{} Untick that first.", made_words(&made)));
            }
            if !out.is_empty() {
                does.push(out_words.clone());
            }
        }
        (State::Building, State::Standing) => {
            let (lines, missing) = strike::out_lines(tx, design.id).await?;
            let cable = runs::list(tx, design.id, None).await?;
            does.push(format!(
                "Takes out {} that it holds; they are out until checked in.",
                count(lines.len() + cable.ready.len(), "line", "lines")
            ));
            let open = db::design::list_steps(tx, design.id)
                .await?
                .iter()
                .filter(|step| step.done.is_none())
                .filter(|step| matches!(step.kind, StepKind::Cut | StepKind::Assemble))
                .count();
            if open > 0 {
                does.push(format!(
                    "{} not ticked: what would be used there stays held.",
                    count(
                        open,
                        "step of cutting and assembling is",
                        "steps of cutting and assembling are"
                    )
                ));
            }
            does.extend(missing);
        }
        (State::Building, State::Cancelled) => {
            does.extend(freed(tx, &holds).await?);
            let steps = db::design::list_steps(tx, design.id).await?;
            does.extend(worked(tx, &steps).await?);
            if !out.is_empty() {
                does.push(out_words.clone());
            }
        }
        (State::Standing, State::Struck) => {
            if out.is_empty() {
                does.push("Everything is in.".to_owned());
                does.extend(freed(tx, &holds).await?);
            } else {
                refused = Some(out_words.clone());
            }
        }
        (State::Standing, State::Building) => {
            refused = strike::why_not_back(tx, design.id).await?;
            if refused.is_none() {
                does.push(
                    "For a press too soon: puts back what went out when it was said to stand. Ticked \
                     steps stay ticked."
                        .to_owned(),
                );
            }
        }
        (from, to) => {
            refused = Some(format!("A {from} set cannot become {to}."));
        }
    }
    if does.is_empty() && refused.is_none() {
        does.push(format!(
            "{} stay as they are.",
            count(
                holds
                    .iter()
                    .filter(|hold| hold.hold.becomes == HoldUse::Returns)
                    .filter(|hold| matches!(hold.hold.held, Held::Thing { .. }))
                    .count(),
                "thing",
                "things"
            )
        ));
    }
    Ok(Preview { to, does, refused })
}

/// Changes the state of a set that was read at `version`. From draft to reserved leads only
/// [`super::reserve::reserve`].
pub async fn go(act: &Act, id: DesignId, version: i64, to: State) -> Result<Gone, StockError> {
    let mut tx = match act.begin().await? {
        Begun::Fresh(tx) => tx,
        Begun::Repeat(gone) => return Ok(gone),
    };
    let design = db::design::lookup(&mut tx, id)
        .await?
        .ok_or(StockError::NotFound("set"))?;
    if design.version != version {
        return Err(StockError::Changed);
    }
    design
        .state
        .go(to)
        .map_err(|why| StockError::refused(format!("{why} Nothing was changed.")))?;
    let mut gone = Gone {
        version,
        movement: None,
        missing: Vec::new(),
    };
    match (design.state, to) {
        (State::Draft, State::Reserved) => {
            return Err(StockError::refused(
                "A set is reserved from its plan. Nothing was changed. Read the plan and reserve \
                 it there.",
            ));
        }
        (State::Reserved, State::Building) => build::begin(&mut tx, &design).await?,
        (State::Building, State::Reserved) => {
            let made = build::made_already(&mut tx, id).await?;
            if !made.is_empty() {
                return Err(StockError::refused(format!(
                    "{} Nothing was changed. Untick that first, on its Build page.",
                    made_words(&made)
                )));
            }
            db::design::remove_steps(&mut tx, id).await?;
        }
        (State::Building, State::Standing) => {
            let taken = strike::take_out(&mut tx, act, &design).await?;
            (gone.movement, gone.missing) = (taken.movement, taken.missing);
        }
        (State::Standing, State::Struck) => {
            strike::nothing_out(&mut tx, id).await?;
            db::reservation::end_all(&mut tx, id).await?;
        }
        (State::Standing, State::Building) => {
            gone.movement = strike::back_to_bench(&mut tx, act, &design).await?;
        }
        (_, State::Draft | State::Cancelled) => release(&mut tx, id).await?,
        (from, to) => {
            return Err(StockError::refused(format!(
                "A {from} set cannot become {to}. Nothing was changed."
            )));
        }
    }
    db::design::change_state(&mut tx, id, to).await?;
    gone.version = super::reserve::version_of(&mut tx, id).await?;
    act.finish(tx, gone).await
}

/// Lets everything go that is held.
async fn release(tx: &mut WriteTx, id: DesignId) -> Result<(), StockError> {
    db::reservation::end_all(tx, id).await?;
    db::design::change_plan(tx, id, None).await?;
    db::design::remove_steps(tx, id).await?;
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_long_list_names_the_first_kinds_and_counts_the_rest() {
        let named: Vec<String> = (1..=6).map(|number| format!("{number} × Lead")).collect();
        assert_eq!(few(&named[..2]), "1 × Lead, 2 × Lead");
        assert!(few(&named[..4]).ends_with(", 4 × Lead"));
        assert!(few(&named[..5]).ends_with("4 × Lead, and 1 more kind"));
        assert!(few(&named).ends_with("4 × Lead, and 2 more kinds"));
    }

    #[test]
    fn what_was_made_is_told_by_its_first_three_steps() {
        let steps: Vec<String> = (1..=15).map(|number| format!("Cut R-{number}")).collect();
        let said = |made: usize| made_words(&steps[..made]);
        assert_eq!(said(1), "Something is cut or assembled already: Cut R-1.");
        assert!(said(3).ends_with("Cut R-1; Cut R-2; Cut R-3."));
        assert!(said(4).ends_with("Cut R-3; and 1 more step."));
        assert!(said(15).ends_with("Cut R-3; and 12 more steps."));
    }
}
