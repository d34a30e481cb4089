//! SQL for what is lent out, to whom and until when.

use sqlx::SqliteConnection;

use super::{DbError, WriteTx, refusal::read};
use crate::{
    model::{
        id::{AccountId, LoanId},
        text::{Name, Note},
    },
    units::{Date, parse_date},
};

/// A loan.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Loan {
    /// Its id.
    pub id: LoanId,
    /// Its account.
    pub account: AccountId,
    /// Who has it.
    pub borrower: Name,
    /// When it should be back.
    pub due_on: Date,
    /// Notes.
    pub note: Note,
}

struct Row {
    id: i64,
    account_id: i64,
    borrower: String,
    due_on: String,
    note: String,
}

impl Row {
    fn loan(self) -> Result<Loan, DbError> {
        Ok(Loan {
            id: LoanId(self.id),
            account: AccountId(self.account_id),
            borrower: read("loan.borrower", Name::parse(&self.borrower))?,
            due_on: read("loan.due_on", parse_date(&self.due_on))?,
            note: read("loan.note", Note::parse(&self.note))?,
        })
    }
}

/// One loan.
pub async fn lookup(tx: &mut SqliteConnection, id: LoanId) -> Result<Option<Loan>, DbError> {
    sqlx::query_as!(
        Row,
        r#"SELECT loan.id AS "id!", account.id AS "account_id!", borrower, due_on, note
           FROM loan JOIN account ON account.loan_id = loan.id WHERE loan.id = ?"#,
        id.0
    )
    .fetch_optional(tx)
    .await?
    .map(Row::loan)
    .transpose()
}

/// Loans of which something is still out, the first due first.
pub async fn list_out(tx: &mut SqliteConnection) -> Result<Vec<Loan>, DbError> {
    sqlx::query_as!(
        Row,
        r#"SELECT loan.id AS "id!", account.id AS "account_id!", borrower, due_on, note
           FROM loan JOIN account ON account.loan_id = loan.id
           WHERE EXISTS (SELECT 1 FROM thing WHERE thing.account_id = account.id)
              OR EXISTS (SELECT 1 FROM balance WHERE balance.account_id = account.id AND balance.amount > 0)
           ORDER BY due_on, loan.id"#
    )
    .fetch_all(tx)
    .await?
    .into_iter()
    .map(Row::loan)
    .collect()
}

/// Adds a loan; its account comes with it.
pub async fn add(
    tx: &mut WriteTx,
    borrower: &Name,
    due_on: Date,
    note: &Note,
) -> Result<LoanId, DbError> {
    let (borrower, due, note) = (borrower.as_str(), due_on.to_string(), note.as_str());
    let id = sqlx::query_scalar!(
        "INSERT INTO loan (borrower, due_on, note) VALUES (?, ?, ?) RETURNING id",
        borrower,
        due,
        note
    )
    .fetch_one(&mut **tx)
    .await?;
    Ok(LoanId(id))
}

/// The account of a loan.
pub async fn account(tx: &mut SqliteConnection, id: LoanId) -> Result<Option<AccountId>, DbError> {
    Ok(
        sqlx::query_scalar!("SELECT id FROM account WHERE loan_id = ?", id.0)
            .fetch_optional(tx)
            .await?
            .map(AccountId),
    )
}
