//! What the book says of stock, as far as a file needs it.

use std::collections::{HashMap, HashSet};

use sqlx::SqliteConnection;

use super::parts::key;
use crate::{
    db::{self, DbError, fixture::FixtureAt},
    model::{
        id::{AccountId, PartId, ThingId},
        part::Part,
        piece::Piece,
        place::{Place, Whereabouts},
        text::Tag,
        thing::{OwnedFrame, Thing, ThingKind, Unit},
    },
};

/// A thing with what only its kind has.
pub(super) struct Known {
    pub thing: Thing,
    /// Built into a fixture: it moves with that only.
    pub built_in: bool,
    pub more: More,
}

/// What only some kinds of things have.
pub(super) enum More {
    Piece(Piece),
    Unit(Unit),
    Fixture(Box<FixtureAt>),
    Frame(OwnedFrame),
}

/// A count in an account.
#[derive(Debug, Clone)]
pub(super) struct Count {
    pub part: PartId,
    pub spot: Whereabouts,
    pub amount: i64,
}

/// Parts, places, counts and things.
#[derive(Default)]
pub(super) struct Book {
    pub parts: HashMap<PartId, Part>,
    names: HashMap<String, PartId>,
    /// Every place by its path in lower case; two where their names make one path.
    places: HashMap<String, Vec<(Place, AccountId)>>,
    pub counts: Vec<Count>,
    /// Where in `counts`, by part and account.
    by_account: HashMap<(PartId, AccountId), usize>,
    /// Where in `counts`, by part and the place's words in lower case.
    by_words: HashMap<(PartId, String), usize>,
    /// By kind and name, longest first.
    pub things: Vec<Known>,
    by_tag: HashMap<Tag, usize>,
}

impl Book {
    /// What concerns a file with these tags.
    pub async fn load(tx: &mut SqliteConnection, tags: &[Tag]) -> Result<Self, DbError> {
        let things = db::thing::list_by_tag(tx, tags).await?;
        Self::with(tx, things).await
    }

    /// Everything that one has.
    pub async fn load_all(tx: &mut SqliteConnection) -> Result<Self, DbError> {
        let every = db::thing::ThingFilter::default();
        let things = db::thing::list(tx, &every, 0, i64::MAX).await?;
        Self::with(tx, things).await
    }

    async fn with(tx: &mut SqliteConnection, things: Vec<Thing>) -> Result<Self, DbError> {
        let parts = db::part::list(tx, None, true).await?;
        let mut places: HashMap<String, Vec<_>> = HashMap::new();
        for node in db::place::list(tx, true).await? {
            places
                .entry(key(&node.place.path))
                .or_default()
                .push((node.place, node.account));
        }
        let counts: Vec<Count> = db::balance::list_counts(tx)
            .await?
            .into_iter()
            .map(|(part, spot, amount)| Count { part, spot, amount })
            .collect();
        let numbered = || counts.iter().enumerate();
        let things = known(tx, things).await?;
        Ok(Self {
            names: parts
                .iter()
                .map(|part| (key(part.name.as_str()), part.id))
                .collect(),
            parts: parts.into_iter().map(|part| (part.id, part)).collect(),
            places,
            by_account: numbered()
                .map(|(at, count)| ((count.part, count.spot.account), at))
                .collect(),
            by_words: numbered()
                .map(|(at, count)| ((count.part, key(&count.spot.words)), at))
                .collect(),
            counts,
            by_tag: things
                .iter()
                .enumerate()
                .map(|(at, known)| (known.thing.tag.clone(), at))
                .collect(),
            things,
        })
    }

    pub fn part(&self, name: &str) -> Option<&Part> {
        self.names.get(&key(name)).and_then(|id| self.parts.get(id))
    }

    pub fn places(&self, path: &str) -> &[(Place, AccountId)] {
        self.places.get(&key(path)).map_or(&[], Vec::as_slice)
    }

    /// A count of a part, by the words of where it lies.
    pub fn count_at(&self, part: PartId, words: &str) -> Option<&Count> {
        let at = self.by_words.get(&(part, key(words)))?;
        self.counts.get(*at)
    }

    /// How many of a part lie in an account.
    pub fn amount(&self, part: PartId, account: AccountId) -> i64 {
        self.by_account
            .get(&(part, account))
            .and_then(|at| self.counts.get(*at))
            .map_or(0, |count| count.amount)
    }

    /// The thing of a tag.
    pub fn thing(&self, tag: &Tag) -> Option<&Known> {
        self.by_tag.get(tag).and_then(|at| self.things.get(*at))
    }
}

async fn known(tx: &mut SqliteConnection, things: Vec<Thing>) -> Result<Vec<Known>, DbError> {
    let ids: Vec<ThingId> = things.iter().map(|thing| thing.id).collect();
    let holders: Vec<ThingId> = things.iter().filter_map(|it| it.place.inside).collect();
    let fixtures: HashSet<ThingId> = db::thing::list_by_id(tx, &holders)
        .await?
        .into_iter()
        .filter(|holder| holder.kind == ThingKind::Fixture)
        .map(|holder| holder.id)
        .collect();
    let mut more: HashMap<ThingId, More> = HashMap::new();
    for at in db::piece::list_by_id(tx, &ids).await? {
        more.insert(at.piece.id, More::Piece(at.piece));
    }
    for unit in db::thing::list_units(tx, &ids).await? {
        more.insert(unit.id, More::Unit(unit));
    }
    for at in db::fixture::list_by_id(tx, &ids).await? {
        more.insert(at.fixture.id, More::Fixture(Box::new(at)));
    }
    for frame in db::thing::list_frames(tx, &ids).await? {
        more.insert(frame.id, More::Frame(frame));
    }
    things
        .into_iter()
        .map(|thing| {
            let more = more.remove(&thing.id).ok_or_else(|| {
                DbError::Unreadable(format!("{} has no {}", thing.tag, thing.kind))
            })?;
            let built_in = thing.place.inside.is_some_and(|it| fixtures.contains(&it));
            Ok(Known {
                thing,
                built_in,
                more,
            })
        })
        .collect()
}
