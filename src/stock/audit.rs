//! Whether the book agrees with itself: balances, whereabouts, conditions and parentage against
//! the ledger.

use crate::db::{self, Db, DbError};

/// What is wrong, one sentence a fault; empty if all is well.
pub type Findings = Vec<String>;

/// Looks through the whole database, in one state of it.
pub async fn audit(db: &Db) -> Result<Findings, DbError> {
    let mut tx = db.read().await?;
    let mut findings = db::sound::list_faults(&mut tx).await?;
    findings.extend(db::audit::list_balance_faults(&mut tx).await?);
    findings.extend(db::audit::list_total_faults(&mut tx).await?);
    findings.extend(db::audit::list_count_faults(&mut tx).await?);
    findings.extend(db::audit::list_thing_faults(&mut tx).await?);
    findings.extend(db::audit::list_cut_faults(&mut tx).await?);
    Ok(findings)
}
