//! The plan that the holds of a design were made from, and why it may break a limit.

use serde::{Deserialize, Serialize};
use sqlx::SqliteConnection;
use utoipa::ToSchema;

use super::{DbError, WriteTx, json, read};
use crate::{model::id::DesignId, plan::Plan};

/// The plan that the holds of a design were made from.
#[derive(Debug, Clone, PartialEq)]
pub struct KeptPlan {
    /// The plan.
    pub plan: Plan,
    /// Its digest.
    pub digest: String,
}

/// Why a plan is used although it breaks a limit.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct LimitReason {
    /// Names the rule and what it is about, as the plan's checks do.
    pub check_key: String,
    /// The reason, in the person's words.
    pub reason: String,
    /// Who gave it.
    pub who: String,
    /// When, in milliseconds since 1970 (UTC).
    pub at_ms: i64,
}

/// The plan that the holds were made from, if anything is or was held.
pub async fn lookup_plan(
    tx: &mut SqliteConnection,
    id: DesignId,
) -> Result<Option<KeptPlan>, DbError> {
    let row = sqlx::query!("SELECT plan, plan_digest FROM design WHERE id = ?", id.0)
        .fetch_optional(tx)
        .await?;
    let Some((Some(plan), Some(digest))) = row.map(|row| (row.plan, row.plan_digest)) else {
        return Ok(None);
    };
    Ok(Some(KeptPlan {
        plan: read("design.plan", serde_json::from_str(&plan))?,
        digest,
    }))
}

/// Keeps the plan that holds are made from, or forgets it. The newest movement that it can rest on is
/// kept within, as `known_to`; a plan of the same digest keeps its own.
pub async fn change_plan(
    tx: &mut WriteTx,
    id: DesignId,
    kept: Option<&KeptPlan>,
) -> Result<(), DbError> {
    let plan = kept
        .map(|kept| json("design.plan", &kept.plan))
        .transpose()?;
    let digest = kept.map(|kept| kept.digest.as_str());
    sqlx::query!(
        "UPDATE design SET plan_digest = ?2, plan = json_set(?1, '$.known_to',
             CASE WHEN plan_digest IS ?2 THEN coalesce(json_extract(plan, '$.known_to'), 0)
                  ELSE (SELECT coalesce(max(id), 0) FROM movement) END)
         WHERE id = ?3",
        plan,
        digest,
        id.0
    )
    .execute(&mut **tx)
    .await?;
    Ok(())
}

/// Reasons given for limits that the plan breaks, by key.
pub async fn list_reasons(
    tx: &mut SqliteConnection,
    id: DesignId,
) -> Result<Vec<LimitReason>, DbError> {
    Ok(sqlx::query_as!(
        LimitReason,
        "SELECT check_key, reason, who, at_ms FROM limit_reason
         WHERE design_id = ? ORDER BY check_key",
        id.0
    )
    .fetch_all(tx)
    .await?)
}

/// Gives a reason, or another one.
pub async fn add_reason(
    tx: &mut WriteTx,
    id: DesignId,
    reason: &LimitReason,
) -> Result<(), DbError> {
    sqlx::query!(
        "INSERT INTO limit_reason (design_id, check_key, reason, who, at_ms)
         VALUES (?, ?, ?, ?, ?)
         ON CONFLICT (design_id, check_key) DO UPDATE SET reason = excluded.reason,
             who = excluded.who, at_ms = excluded.at_ms",
        id.0,
        reason.check_key,
        reason.reason,
        reason.who,
        reason.at_ms
    )
    .execute(&mut **tx)
    .await?;
    Ok(())
}

/// Takes a reason back.
pub async fn remove_reason(tx: &mut WriteTx, id: DesignId, key: &str) -> Result<(), DbError> {
    sqlx::query!(
        "DELETE FROM limit_reason WHERE design_id = ? AND check_key = ?",
        id.0,
        key
    )
    .execute(&mut **tx)
    .await?;
    Ok(())
}
