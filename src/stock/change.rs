//! What every change of stock has in common: carried out once, taken from where it is, written
//! into the ledger in one place.

use std::future::Future;

use serde::{Deserialize, Serialize, de::DeserializeOwned};
use utoipa::ToSchema;

use super::{
    Act, Begun, StockError,
    holds::{self, Touched},
};
use crate::{
    db::{self, WriteTx},
    model::{
        id::{AccountId, DesignId, MovementId, PartId, PlaceId, ThingId},
        movement::{Line, Mark, Moved, MovementKind, NewMovement},
        part::{Kind, StockBy},
        text::{Note, Tag},
        thing::{Thing, ThingKind},
    },
};

/// One use-case: what is asked, and how it is carried out inside a write transaction.
pub trait Change {
    /// What it answers, kept with the press so that a repeat gets it again.
    type Answer: Serialize + DeserializeOwned + Send;

    /// Checks and changes, and neither commits nor keeps the press: for use-cases that are part
    /// of a larger one. Everything is undone when the transaction is dropped.
    fn within(
        &self,
        tx: &mut WriteTx,
        act: &Act,
    ) -> impl Future<Output = Result<Self::Answer, StockError>> + Send;
}

impl Act {
    /// Carries out one change in a transaction of its own, or finds what the same press got before.
    pub async fn carry_out<C: Change + Sync>(&self, change: &C) -> Result<C::Answer, StockError> {
        match self.begin_with_others().await? {
            Begun::Fresh(mut tx) => {
                let answer = change.within(&mut tx, self).await?;
                self.finish(tx, answer).await
            }
            Begun::Repeat(answer) => Ok(answer),
        }
    }
}

/// What a change of stock did.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Done {
    /// The movement, by which it is undone; none where nothing had to move.
    pub movement: Option<MovementId>,
    /// Things that it made, in the order asked for.
    pub things: Vec<ThingId>,
    /// Holds of sets that moved to a like thing, or broke, because of it.
    #[serde(default)]
    pub touched: Vec<Touched>,
}

/// What is to move.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, ToSchema)]
#[serde(tag = "is", rename_all = "snake_case")]
pub enum What {
    /// A piece, unit, fixture or frame, from where it is.
    Thing {
        /// Which.
        thing: ThingId,
    },
    /// A count of a part.
    Count {
        /// Of what.
        part: PartId,
        /// How many, or how many micrometres of a sundry kept by length.
        amount: i64,
        /// From where.
        from: AccountId,
    },
}

/// The most of anything that is moved at once.
pub const AMOUNT_LIMIT: i64 = 1_000_000_000;

/// Something that was found where it was said to be.
pub(super) struct Taken {
    pub moved: Moved,
    pub from: AccountId,
    pub thing: Option<Thing>,
}

impl Taken {
    pub const fn to(&self, to: AccountId) -> Line {
        Line {
            moved: self.moved,
            from: self.from,
            to,
        }
    }
}

/// A mistake at one field.
pub(super) fn field(field: &str, message: impl Into<String>) -> StockError {
    StockError::Field {
        field: field.to_owned(),
        message: message.into(),
    }
}

/// The thing, wherever it is.
pub(super) async fn thing(tx: &mut WriteTx, id: ThingId) -> Result<Thing, StockError> {
    db::thing::lookup(tx, id)
        .await?
        .ok_or(StockError::NotFound("thing"))
}

/// What a line of a thing moves.
pub(super) const fn moved(thing: &Thing) -> Moved {
    match (thing.part, thing.kind) {
        (Some(part), ThingKind::Piece) => Moved::Piece {
            thing: thing.id,
            part,
            amount: thing.amount.amount,
            rest_um: thing.amount.rest_um,
        },
        (part, _) => Moved::Thing {
            thing: thing.id,
            part,
        },
    }
}

/// Finds what is to move: one's own, and not built into a fixture.
pub(super) async fn take(tx: &mut WriteTx, what: What) -> Result<Taken, StockError> {
    match what {
        What::Thing { thing: id } => {
            let thing = thing(tx, id).await?;
            if !thing.owned() {
                return Err(StockError::refused(format!(
                    "{} is not there any more: {}. Nothing was changed. Find it again first, or \
                     undo what took it away.",
                    thing.tag, thing.place.words
                )));
            }
            if let Some(holder) = thing.place.inside {
                let holder = self::thing(tx, holder).await?;
                if holder.kind == ThingKind::Fixture {
                    return Err(StockError::refused(format!(
                        "{} is built into {}. Nothing was changed. Take the fixture apart first.",
                        thing.tag, holder.tag
                    )));
                }
            }
            Ok(Taken {
                moved: moved(&thing),
                from: thing.place.account,
                thing: Some(thing),
            })
        }
        What::Count { part, amount, from } => {
            count_part(tx, part).await?;
            if !(1..=AMOUNT_LIMIT).contains(&amount) {
                return Err(amount_error(amount));
            }
            let spot = db::place::whereabouts(tx, from)
                .await?
                .ok_or(StockError::NotFound("place"))?;
            if !spot.kind.owned() {
                return Err(StockError::refused(format!(
                    "What is {} cannot be moved. Nothing was changed.",
                    spot.words
                )));
            }
            let there = db::balance::amount(tx, part, from).await?;
            if amount > there {
                return Err(field(
                    "amount",
                    format!(
                        "There are {there} in {}, fewer than {amount}. Take {there} or fewer, or \
                         count the place.",
                        spot.words
                    ),
                ));
            }
            Ok(Taken {
                moved: Moved::Count { part, amount },
                from,
                thing: None,
            })
        }
    }
}

/// Takes several; refuses to take nothing.
pub(super) async fn take_all(tx: &mut WriteTx, what: &[What]) -> Result<Vec<Taken>, StockError> {
    if what.is_empty() {
        return Err(StockError::refused(
            "Nothing was chosen, and nothing was changed. Tick what it is about.",
        ));
    }
    let mut taken = Vec::with_capacity(what.len());
    for one in what {
        taken.push(take(tx, *one).await?);
    }
    Ok(taken)
}

/// A part that is kept by count.
pub(super) async fn count_part(tx: &mut WriteTx, id: PartId) -> Result<(), StockError> {
    let part = db::part::lookup(tx, id)
        .await?
        .ok_or(StockError::NotFound("part"))?;
    if part.stock_by() == StockBy::Count {
        return Ok(());
    }
    Err(StockError::refused(format!(
        "{} is kept {}: each has its own tag. Nothing was changed. Say which one.",
        part.name,
        part.stock_by()
    )))
}

pub(super) fn amount_error(amount: i64) -> StockError {
    field(
        "amount",
        if amount < 1 {
            "Type a number above zero.".to_owned()
        } else {
            format!("Type at most {AMOUNT_LIMIT}.")
        },
    )
}

/// The account of a place that is in use.
pub(super) async fn place(tx: &mut WriteTx, id: PlaceId) -> Result<AccountId, StockError> {
    let goal = db::place::find_goal(tx, id)
        .await?
        .ok_or_else(|| field("to", "There is no such place. Choose one from the list."))?;
    if goal.retired {
        return Err(field(
            "to",
            format!("{} is no longer in use. Choose another place.", goal.path),
        ));
    }
    Ok(goal.account)
}

/// Refuses a tag that another thing has.
pub(super) async fn free_tag(tx: &mut WriteTx, tag: &Tag) -> Result<(), StockError> {
    match db::thing::find_by_tag(tx, tag).await? {
        None => Ok(()),
        Some(other) => Err(field(
            "tag",
            format!(
                "{tag} is on a {} already ({}). Type another tag, or leave it empty.",
                other.kind, other.place.words
            ),
        )),
    }
}

/// The tags typed, and free ones after them up to `number`.
pub(super) async fn tags(
    tx: &mut WriteTx,
    typed: &[Tag],
    prefix: db::thing::TagPrefix,
    number: usize,
) -> Result<Vec<Tag>, StockError> {
    if typed.len() > number {
        return Err(field(
            "tag",
            format!(
                "These are {} tags for {number}. Take some away.",
                typed.len()
            ),
        ));
    }
    for (at, tag) in typed.iter().enumerate() {
        if typed[..at].contains(tag) {
            return Err(field("tag", format!("{tag} is typed twice.")));
        }
        free_tag(tx, tag).await?;
    }
    let mut tags = typed.to_vec();
    if tags.len() == number {
        return Ok(tags);
    }
    // Some of the next ones may be among those typed.
    let next = db::thing::next_tags(tx, prefix, number + typed.len()).await?;
    tags.extend(next.into_iter().filter(|tag| !typed.contains(tag)));
    tags.truncate(number);
    Ok(tags)
}

/// The prefix of tags of a part's things as they come from the shop.
pub(super) const fn prefix_of(kind: Kind) -> db::thing::TagPrefix {
    match kind {
        Kind::Driver => db::thing::TagPrefix::Driver,
        Kind::Supply => db::thing::TagPrefix::Supply,
        _ => db::thing::TagPrefix::Roll,
    }
}

/// A movement's head, to be written with its lines.
pub(super) struct Head<'a> {
    pub kind: MovementKind,
    pub reason: &'a Note,
    pub design: Option<DesignId>,
    pub undoes: Option<MovementId>,
    pub mark: Option<Mark>,
}

impl<'a> Head<'a> {
    pub const fn new(kind: MovementKind, reason: &'a Note) -> Self {
        Self {
            kind,
            reason,
            design: None,
            undoes: None,
            mark: None,
        }
    }

    pub const fn design(self, design: Option<DesignId>) -> Self {
        Self { design, ..self }
    }
}

/// Writes a movement: the one place of this layer that does. The truth comes first: holds on what
/// is no longer as it was move or break in the same transaction.
pub(super) async fn write(
    tx: &mut WriteTx,
    act: &Act,
    head: Head<'_>,
    lines: Vec<Line>,
) -> Result<Done, StockError> {
    let new = NewMovement {
        kind: head.kind,
        who: act.who.clone(),
        reason: head.reason.clone(),
        design: head.design,
        undoes: head.undoes,
        mark: head.mark,
        lines,
    };
    let added = db::movement::add(tx, &new, act.now_ms, act.today).await?;
    let mut things: Vec<ThingId> = new.mark.iter().map(|mark| mark.thing).collect();
    let mut parts: Vec<PartId> = Vec::new();
    for line in &new.lines {
        match line.moved {
            Moved::Piece { thing, .. } | Moved::Thing { thing, .. } => things.push(thing),
            Moved::Count { part, .. } => parts.push(part),
            Moved::Loss { .. } => {}
        }
    }
    if !added.held {
        things.clear();
    }
    Ok(Done {
        movement: Some(added.id),
        things: Vec::new(),
        touched: holds::after_change(tx, &things, &parts, act.today).await?,
    })
}

/// Moves what is asked to one account.
pub(super) async fn transfer(
    tx: &mut WriteTx,
    act: &Act,
    head: Head<'_>,
    what: &[What],
    to: AccountId,
) -> Result<Done, StockError> {
    let taken = take_all(tx, what).await?;
    let lines: Vec<_> = taken
        .iter()
        .filter(|one| one.from != to)
        .map(|one| one.to(to))
        .collect();
    if lines.is_empty() {
        return Ok(Done::default());
    }
    write(tx, act, head, lines).await
}
