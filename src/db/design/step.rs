//! The bench steps of a design.

use sqlx::SqliteConnection;

use super::{DbError, WriteTx, json, read};
use crate::model::{
    id::{BarId, DesignId, MovementId, StepId},
    step::{Done, Step, StepKind, Task},
};

/// The bench steps, in the order of the work.
pub async fn list_steps(tx: &mut SqliteConnection, id: DesignId) -> Result<Vec<Step>, DbError> {
    sqlx::query!(
        "SELECT id, position, kind, title, bar_id, task, done_by, done_at_ms, movement_id
         FROM step WHERE design_id = ? ORDER BY position, id",
        id.0
    )
    .fetch_all(tx)
    .await?
    .into_iter()
    .map(|row| {
        Ok(Step {
            id: StepId(row.id),
            design: id,
            position: row.position,
            kind: read("step.kind", row.kind.parse::<StepKind>())?,
            title: row.title,
            bar: row.bar_id.map(BarId),
            task: read("step.task", serde_json::from_str::<Task>(&row.task))?,
            done: row.done_by.zip(row.done_at_ms).map(|(who, at_ms)| Done {
                who,
                at_ms,
                movement: row.movement_id.map(MovementId),
            }),
        })
    })
    .collect()
}

/// The set and the title of the ticked step that a movement belongs to.
pub async fn find_step_of(
    tx: &mut SqliteConnection,
    movement: MovementId,
) -> Result<Option<(String, String)>, DbError> {
    let row = sqlx::query!(
        "SELECT design.name, step.title FROM step JOIN design ON design.id = step.design_id
         WHERE step.movement_id = ? AND step.done_by IS NOT NULL",
        movement.0
    )
    .fetch_optional(tx)
    .await?;
    Ok(row.map(|row| (row.name, row.title)))
}

/// Adds a step; its id is not used.
pub async fn add_step(tx: &mut WriteTx, step: &Step) -> Result<StepId, DbError> {
    let kind = step.kind.word();
    let bar = step.bar.map(|bar| bar.0);
    let task = json("step.task", &step.task)?;
    let done = sqlx::query!(
        "INSERT INTO step (design_id, position, kind, title, bar_id, task)
         VALUES (?, ?, ?, ?, ?, ?)",
        step.design.0,
        step.position,
        kind,
        step.title,
        bar,
        task
    )
    .execute(&mut **tx)
    .await?;
    Ok(StepId(done.last_insert_rowid()))
}

/// Ticks or unticks a step, with what it does from now on.
pub async fn change_step(
    tx: &mut WriteTx,
    id: StepId,
    task: &Task,
    done: Option<&Done>,
) -> Result<(), DbError> {
    let task = json("step.task", task)?;
    let who = done.map(|done| done.who.as_str());
    let at_ms = done.map(|done| done.at_ms);
    let movement = done.and_then(|done| done.movement).map(|id| id.0);
    sqlx::query!(
        "UPDATE step SET task = ?, done_by = ?, done_at_ms = ?, movement_id = ? WHERE id = ?",
        task,
        who,
        at_ms,
        movement,
        id.0
    )
    .execute(&mut **tx)
    .await?;
    Ok(())
}

/// Takes the steps of a design away; what was ticked stays in the ledger.
pub async fn remove_steps(tx: &mut WriteTx, id: DesignId) -> Result<(), DbError> {
    sqlx::query!("DELETE FROM step WHERE design_id = ?", id.0)
        .execute(&mut **tx)
        .await?;
    Ok(())
}

/// The design that a step belongs to.
pub async fn find_of_step(
    tx: &mut SqliteConnection,
    step: StepId,
) -> Result<Option<DesignId>, DbError> {
    Ok(
        sqlx::query_scalar!("SELECT design_id FROM step WHERE id = ?", step.0)
            .fetch_optional(tx)
            .await?
            .map(DesignId),
    )
}
