//! Fixtures and frames: entered as owned, made of their parts, taken apart.

use serde::{Deserialize, Serialize};

use super::{
    Act, StockError,
    change::{Change, Done, Head, What, field, moved, place, tags, take, take_all, thing, write},
};
use crate::{
    db::{
        self, WriteTx,
        thing::{NewThing, TagPrefix},
    },
    model::{
        describe::fixture_words,
        fixture::{Condition, Make},
        id::{AccountId, DesignId, PlaceId, ThingId},
        movement::{Line, Moved, MovementKind},
        text::{Name, Note, Tag},
        thing::ThingKind,
    },
    units::{Date, Length},
};

/// What is said of a fixture or frame beside what it is.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct About {
    /// Its tag; the next free one where none is typed.
    pub tag: Option<Tag>,
    /// Where it is put.
    pub to: PlaceId,
    /// Condition.
    pub condition: Condition,
    /// Notes.
    pub note: Note,
    /// When it is due for inspection.
    pub inspect_on: Option<Date>,
}

impl About {
    /// A good one with nothing more to say about it.
    pub fn new(to: PlaceId) -> Self {
        Self {
            tag: None,
            to,
            condition: Condition::Good,
            note: Note::default(),
            inspect_on: None,
        }
    }

    async fn add(
        &self,
        tx: &mut WriteTx,
        kind: ThingKind,
        words: String,
    ) -> Result<ThingId, StockError> {
        let prefix = match kind {
            ThingKind::Frame => TagPrefix::Frame,
            _ => TagPrefix::Fixture,
        };
        let tag = tags(tx, self.tag.as_slice(), prefix, 1)
            .await?
            .pop()
            .ok_or(StockError::NotFound("free tag"))?;
        let new = NewThing {
            tag,
            kind,
            part: None,
            condition: self.condition,
            note: self.note.clone(),
            inspect_on: self.inspect_on,
            words,
        };
        Ok(db::thing::add(tx, &new).await?)
    }
}

fn has_length(make: &Make) -> Result<(), StockError> {
    if make.lit_um == Length::ZERO {
        return Err(field("lit_um", "Type a lit length above zero."));
    }
    Ok(())
}

async fn add_fixture(
    tx: &mut WriteTx,
    about: &About,
    make: &Make,
    batch: &str,
) -> Result<ThingId, StockError> {
    has_length(make)?;
    let thing = about
        .add(tx, ThingKind::Fixture, fixture_words(make, batch))
        .await?;
    db::fixture::add(tx, thing, make, batch).await?;
    Ok(thing)
}

const fn first_line(thing: ThingId, from: AccountId, to: AccountId) -> Line {
    Line {
        moved: Moved::Thing { thing, part: None },
        from,
        to,
    }
}

/// A fixture that is owned already.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct EnterFixture {
    /// Tag, place, condition, notes.
    pub about: About,
    /// What it is.
    pub make: Make,
    /// Batch of its tape, empty if not known.
    pub batch: String,
    /// Why, in the person's own words.
    pub reason: Note,
}

impl Change for EnterFixture {
    type Answer = Done;

    async fn within(&self, tx: &mut WriteTx, act: &Act) -> Result<Done, StockError> {
        let (thing, line) = self.bring(tx).await?;
        let head = Head::new(MovementKind::Receive, &self.reason);
        Ok(Done {
            things: vec![thing],
            ..write(tx, act, head, vec![line]).await?
        })
    }
}

impl EnterFixture {
    /// Makes the thing and says what is to be written; the movement must follow in the same
    /// transaction.
    pub(super) async fn bring(&self, tx: &mut WriteTx) -> Result<(ThingId, Line), StockError> {
        let to = place(tx, self.about.to).await?;
        let thing = add_fixture(tx, &self.about, &self.make, &self.batch).await?;
        Ok((thing, first_line(thing, AccountId::WORLD, to)))
    }
}

/// A frame that is owned already.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct EnterFrame {
    /// Tag, place, condition, notes.
    pub about: About,
    /// Its name.
    pub name: Name,
    /// Width.
    pub width_um: Length,
    /// Height.
    pub height_um: Length,
    /// Why, in the person's own words.
    pub reason: Note,
}

impl Change for EnterFrame {
    type Answer = Done;

    async fn within(&self, tx: &mut WriteTx, act: &Act) -> Result<Done, StockError> {
        let (thing, line) = self.bring(tx).await?;
        let head = Head::new(MovementKind::Receive, &self.reason);
        Ok(Done {
            things: vec![thing],
            ..write(tx, act, head, vec![line]).await?
        })
    }
}

impl EnterFrame {
    /// Makes the thing and says what is to be written; the movement must follow in the same
    /// transaction.
    pub(super) async fn bring(&self, tx: &mut WriteTx) -> Result<(ThingId, Line), StockError> {
        let to = place(tx, self.about.to).await?;
        let words = format!("frame {}", self.name.as_str().to_lowercase());
        let thing = self.about.add(tx, ThingKind::Frame, words).await?;
        db::thing::add_frame(tx, thing, &self.name, self.width_um, self.height_um).await?;
        Ok((thing, first_line(thing, AccountId::WORLD, to)))
    }
}

/// A fixture made of pieces and counts: they go inside and stay known.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Assemble {
    /// Tag, place, condition, notes.
    pub about: About,
    /// What it is.
    pub make: Make,
    /// Batch of its tape, empty if not known.
    pub batch: String,
    /// What goes inside: tape, profile, leads.
    pub inside: Vec<What>,
    /// What is used up on it: solder, heat-shrink.
    pub used: Vec<What>,
    /// For which design.
    pub design: Option<DesignId>,
    /// Why, in the person's own words.
    pub reason: Note,
}

impl Change for Assemble {
    type Answer = Done;

    async fn within(&self, tx: &mut WriteTx, act: &Act) -> Result<Done, StockError> {
        self.put_together(tx, act, None).await
    }
}

impl Assemble {
    /// Carries it out; `again` is the fixture that it was before its assembly was taken back, and is
    /// once more, under its old tag.
    pub(super) async fn put_together(
        &self,
        tx: &mut WriteTx,
        act: &Act,
        again: Option<ThingId>,
    ) -> Result<Done, StockError> {
        let to = place(tx, self.about.to).await?;
        let inside = take_all(tx, &self.inside).await?;
        if let Some(other) = inside
            .iter()
            .filter_map(|one| one.thing.as_ref())
            .find(|thing| thing.kind != ThingKind::Piece)
        {
            return Err(StockError::refused(format!(
                "{} is a {}: a fixture is made of pieces and leads. Nothing was changed.",
                other.tag, other.kind
            )));
        }
        let mut used = Vec::with_capacity(self.used.len());
        for what in &self.used {
            used.push(take(tx, *what).await?);
        }
        let thing = match again {
            Some(thing) => {
                has_length(&self.make)?;
                db::fixture::change(tx, thing, &self.make, &self.batch).await?;
                thing
            }
            None => add_fixture(tx, &self.about, &self.make, &self.batch).await?,
        };
        let within = db::place::account_inside(tx, thing)
            .await?
            .ok_or(StockError::NotFound("fixture"))?;
        let lines = inside
            .iter()
            .map(|one| one.to(within))
            .chain(used.iter().map(|one| one.to(AccountId::USED)))
            .chain([first_line(thing, AccountId::BENCH, to)])
            .collect();
        let head = Head::new(MovementKind::Assemble, &self.reason).design(self.design);
        Ok(Done {
            things: vec![thing],
            ..write(tx, act, head, lines).await?
        })
    }
}

/// A fixture taken apart: what was inside lies in a place again, the fixture ends at the bench.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Dismantle {
    /// Which.
    pub fixture: ThingId,
    /// Where its parts are put.
    pub to: PlaceId,
    /// Pieces of it that are thrown away instead.
    pub scrap: Vec<ThingId>,
    /// Why, in the person's own words.
    pub reason: Note,
}

impl Change for Dismantle {
    type Answer = Done;

    async fn within(&self, tx: &mut WriteTx, act: &Act) -> Result<Done, StockError> {
        let fixture = thing(tx, self.fixture).await?;
        if fixture.kind != ThingKind::Fixture {
            return Err(StockError::refused(format!(
                "{} is a {}: only a fixture is taken apart. Nothing was changed.",
                fixture.tag, fixture.kind
            )));
        }
        let taken = take(tx, What::Thing { thing: fixture.id }).await?;
        let to = place(tx, self.to).await?;
        let inside = db::place::account_inside(tx, fixture.id)
            .await?
            .ok_or(StockError::NotFound("fixture"))?;
        let things = db::thing::list_at(tx, inside).await?;
        let counts = db::balance::list_at(tx, inside).await?;
        let lines = things
            .iter()
            .map(|thing| Line {
                moved: moved(thing),
                from: inside,
                to: if self.scrap.contains(&thing.id) {
                    AccountId::SCRAP
                } else {
                    to
                },
            })
            .chain(counts.iter().map(|count| Line {
                moved: Moved::Count {
                    part: count.part,
                    amount: count.amount,
                },
                from: inside,
                to,
            }))
            .chain([taken.to(AccountId::BENCH)])
            .collect();
        let head = Head::new(MovementKind::Dismantle, &self.reason);
        write(tx, act, head, lines).await
    }
}
