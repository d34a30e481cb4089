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
    let begun = db::overview::begun(tx).await?;
    Ok(match (begun.sets, begun.parts, begun.stock) {
        (true, ..) => None,
        (false, true, true) => Some(Step::Set),
        (false, true, false) => Some(Step::Have),
        // The settings were never saved: nobody has said in which units.
        (false, false, _) if venue.version == 1 => Some(Step::Units),
        (false, false, _) => Some(Step::Tape),
    })
}

/// GET: goes to where one stands.
pub async fn get(cx: Cx) -> Answer {
    let mut tx = cx.read().await?;
    let step = next(&mut tx, &cx.venue).await?;
    drop(tx);
    Ok(go(&step.map_or(Link::Home, Step::link)))
}
