//! The invented Millpond Hall: its cupboard, its suppliers, three sets. Everything is made through
//! the same use-cases as by hand, so that its ledger is a real one; the same day gives the same hall.

use jiff::ToSpan as _;

use crate::{
    clock::Clock,
    db::{self, Db},
    model::{
        connector::Connector,
        fixture::{Fed, Make},
        id::PartId,
        part::{Part, PartSpec},
        ready_made,
        text::{Name, Note},
    },
    stock::{Act, StockError},
    units::{Date, Length, LengthUnit, Money},
};

mod cupboard;
mod sets;

/// Why the sample was not filled in.
#[derive(Debug, thiserror::Error)]
pub enum SampleError {
    /// A use-case refused a step.
    #[error("{step}: {why}")]
    Step {
        /// Which step.
        step: &'static str,
        /// Its answer.
        why: StockError,
    },
    /// Something that the sample names is not in the program.
    #[error("the sample names “{0}”, which cannot be read")]
    Written(String),
}

impl From<StockError> for SampleError {
    fn from(why: StockError) -> Self {
        Self::Step {
            step: "the sample",
            why,
        }
    }
}

impl From<db::DbError> for SampleError {
    fn from(why: db::DbError) -> Self {
        StockError::from(why).into()
    }
}

/// Fills an empty database; `false`, and nothing changed, where there is anything in it.
pub async fn fill(db: &Db, clock: &Clock) -> Result<bool, SampleError> {
    if !is_empty(db).await? {
        return Ok(false);
    }
    let hall = Hall {
        db: db.clone(),
        now_ms: clock.now_ms(),
        today: clock.today("UTC"),
    };
    let shelves = cupboard::fill(&hall).await?;
    sets::fill(&hall, &shelves).await?;
    Ok(true)
}

async fn is_empty(db: &Db) -> Result<bool, db::DbError> {
    let mut tx = db.read().await?;
    Ok(db::part::list(&mut tx, None, true).await?.is_empty()
        && db::place::list(&mut tx, true).await?.is_empty()
        && db::design::list(&mut tx).await?.is_empty()
        && db::offer::list_suppliers(&mut tx).await?.is_empty())
}

/// Millpond Hall on its day.
struct Hall {
    db: Db,
    now_ms: i64,
    today: Date,
}

impl Hall {
    /// Somebody acting some days ago, or in days to come.
    fn act(&self, who: &str, days: i64) -> Result<Act, SampleError> {
        Ok(Act {
            db: self.db.clone(),
            who: name(who)?,
            now_ms: self.now_ms + days * 24 * 3_600_000,
            today: self.day(days)?,
            press: None,
        })
    }

    fn day(&self, days: i64) -> Result<Date, SampleError> {
        self.today
            .checked_add(days.days())
            .map_err(|why| SampleError::Written(why.to_string()))
    }

    /// The part that was ticked under a key of the ready-made ones.
    async fn part(&self, key: &str) -> Result<Part, SampleError> {
        let missing = || SampleError::Written(key.to_owned());
        let ready = ready_made::find(key).ok_or_else(missing)?;
        let mut tx = self.db.read().await?;
        db::part::find_by_name(&mut tx, ready.name.as_str())
            .await?
            .ok_or_else(missing)
    }

    async fn id(&self, key: &str) -> Result<PartId, SampleError> {
        Ok(self.part(key).await?.id)
    }

    /// A finished bar of a tape in a profile, with the connector of a lead.
    async fn make(
        &self,
        tape: &str,
        profile: &str,
        lead: &str,
        lit: &str,
    ) -> Result<Make, SampleError> {
        let (tape, profile) = (self.part(tape).await?, self.part(profile).await?);
        let (PartSpec::Tape(spec), PartSpec::Profile(_)) = (&tape.spec, &profile.spec) else {
            return Err(SampleError::Written(tape.name.to_string()));
        };
        Ok(Make {
            tape: Some(tape.id),
            profile: Some(profile.id),
            channels: spec
                .colours()
                .ok_or_else(|| SampleError::Written(tape.name.to_string()))?,
            voltage_mv: spec.voltage_mv,
            lit_um: length(lit)?,
            diffused: true,
            fed: Fed::OneEnd,
            connector: Some(self.connector(lead).await?),
        })
    }

    async fn connector(&self, lead: &str) -> Result<Connector, SampleError> {
        match self.part(lead).await?.spec {
            PartSpec::Lead(spec) => Ok(spec.connector),
            _ => Err(SampleError::Written(lead.to_owned())),
        }
    }
}

fn name(text: &str) -> Result<Name, SampleError> {
    Name::parse(text).map_err(|why| SampleError::Written(format!("{text}: {why}")))
}

fn note(text: &str) -> Result<Note, SampleError> {
    Note::parse(text).map_err(|why| SampleError::Written(format!("{text}: {why}")))
}

fn length(text: &str) -> Result<Length, SampleError> {
    Length::parse(text, LengthUnit::Mm)
        .map_err(|why| SampleError::Written(format!("{text}: {why}")))
}

fn money(minor: i64) -> Result<Money, SampleError> {
    Money::new(minor).map_err(|why| SampleError::Written(why.to_string()))
}
