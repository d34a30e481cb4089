//! The first hour: three questions from an empty book to the first set. Where one stands is read
//! from the book itself, so it can be left at any question and taken up again.

use askama::Template;

use super::{
    cx::Cx,
    error::{Answer, Trouble},
    link::Link,
    page::go,
};
use crate::{db, model::venue::Venue};

pub mod tape;
pub mod units;

/// A question of the first hour, or the set at its end.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Step {
    /// In which units and which money.
    Units,
    /// Which tape.
    Tape,
    /// What there is already.
    Have,
    /// The first set.
    Set,
}

impl Step {
    const ALL: [Self; 4] = [Self::Units, Self::Tape, Self::Have, Self::Set];

    /// Its page.
    pub fn link(self) -> Link {
        match self {
            Self::Units => Link::StartUnits,
            Self::Tape => Link::StartTape,
            Self::Have => Link::StartHave,
            Self::Set => Link::DesignNew,
        }
    }

    /// What it asks, in a few words.
    pub fn words(self) -> &'static str {
        match self {
            Self::Units => "Units and money",
            Self::Tape => "Your tape",
            Self::Have => "What you have",
            Self::Set => "The first set",
        }
    }

    /// The steps as a list with this one as where one stands.
    pub fn list(self) -> Steps {
        Steps(self)
    }
}

/// The list of steps above each of their pages; shows itself as HTML.
#[derive(Template)]
#[template(path = "start/steps.html")]
pub struct Steps(Step);

/// The next step of a book without a set; `None` once it has one.
pub async fn next(tx: &mut db::ReadTx, venue: &Venue) -> Result<Option<Step>, Trouble> {
    if !db::design::list(tx).await?.is_empty() {
        return Ok(None);
    }
    if db::part::list(tx, None, false).await?.is_empty() {
        // The settings were never saved: nobody has said in which units.
        return Ok(Some(if venue.version == 1 {
            Step::Units
        } else {
            Step::Tape
        }));
    }
    Ok(Some(if db::overview::any_stock(tx).await? {
        Step::Set
    } else {
        Step::Have
    }))
}

/// GET: goes to where one stands.
pub async fn get(cx: Cx) -> Answer {
    let mut tx = cx.read().await?;
    let step = next(&mut tx, &cx.venue).await?;
    drop(tx);
    Ok(go(&step.map_or(Link::Home, Step::link)))
}
