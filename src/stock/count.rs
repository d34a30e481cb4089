//! Stocktake: what is really there, against what the book says.

use serde::{Deserialize, Serialize};
use sqlx::SqliteConnection;
use utoipa::ToSchema;

use super::{
    Act, StockError,
    change::{
        AMOUNT_LIMIT, Change, Done, Head, What, count_part, field, moved, place, take, thing, write,
    },
    holds::Touched,
    out::{Fate, Find, LostWhat, Out},
    receive::Pieces,
};
use crate::{
    db::{self, WriteTx, piece::NewPiece, thing::NewThing},
    model::{
        id::{AccountId, MovementId, PartId, PlaceId, ThingId},
        movement::{AccountKind, Line, Moved, MovementKind},
        part::Part,
        piece::{Piece, length_of},
        text::{Note, Tag},
        thing::ThingKind,
    },
    units::Length,
};

/// The number of a part that lies in a place: the difference to the book becomes a correction.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Counted {
    /// Of which part.
    pub part: PartId,
    /// Where.
    pub place: PlaceId,
    /// How many there are, or how many micrometres of a sundry kept by length.
    pub counted: i64,
    /// Why, in the person's own words.
    pub reason: Note,
}

impl Change for Counted {
    type Answer = Done;

    async fn within(&self, tx: &mut WriteTx, act: &Act) -> Result<Done, StockError> {
        count_part(tx, self.part).await?;
        if !(0..=AMOUNT_LIMIT).contains(&self.counted) {
            return Err(field(
                "counted",
                format!("Type a whole number from 0 to {AMOUNT_LIMIT}."),
            ));
        }
        let here = place(tx, self.place).await?;
        let booked = db::balance::amount(tx, self.part, here).await?;
        let (from, to) = match self.counted - booked {
            0 => return Ok(Done::default()),
            1.. => (AccountId::ADJUST, here),
            _ => (here, AccountId::ADJUST),
        };
        let line = Line {
            moved: Moved::Count {
                part: self.part,
                amount: (self.counted - booked).abs(),
            },
            from,
            to,
        };
        let head = Head::new(MovementKind::Count, &self.reason);
        write(tx, act, head, vec![line]).await
    }
}

/// A thing seen in a place at a stocktake: found if it was lost, moved here if the book has it
/// elsewhere, nothing if it is where it should be.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Seen {
    /// Which.
    pub thing: ThingId,
    /// Where.
    pub place: PlaceId,
    /// Why, in the person's own words.
    pub reason: Note,
}

impl Change for Seen {
    type Answer = Done;

    async fn within(&self, tx: &mut WriteTx, act: &Act) -> Result<Done, StockError> {
        let here = place(tx, self.place).await?;
        let thing = thing(tx, self.thing).await?;
        if thing.place.account == here {
            return Ok(Done::default());
        }
        match thing.place.kind {
            AccountKind::Lost => {
                let find = Find {
                    what: LostWhat::Thing(thing.id),
                    to: self.place,
                    reason: self.reason.clone(),
                };
                find.within(tx, act).await
            }
            // The eye is right: it lies here, whatever was written about it before.
            kind if kind.owned() || matches!(kind, AccountKind::Used | AccountKind::Scrap) => {
                let line = Line {
                    moved: moved(&thing),
                    from: thing.place.account,
                    to: here,
                };
                let kind = if kind.owned() {
                    MovementKind::Move
                } else {
                    MovementKind::Find
                };
                let head = Head::new(kind, &self.reason);
                write(tx, act, head, vec![line]).await
            }
            AccountKind::Adjust => Err(StockError::refused(format!(
                "{} is what a piece was before its length was corrected. Nothing was changed. Look \
                 at the tag again.",
                thing.tag
            ))),
            _ => Err(StockError::refused(format!(
                "{} ended when it was cut ({}). Nothing was changed. Look at the tag again.",
                thing.tag, thing.place.words
            ))),
        }
    }
}

/// A roll, bar or offcut whose length is another than the book has. What a piece is doesn't change in
/// the ledger: the one of before goes out by a correction and one of the found length comes in, under
/// the tag that is stuck on it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Measured {
    /// Which.
    pub piece: ThingId,
    /// How long it is.
    pub length: Length,
    /// Whether it is meant, though the piece that it was cut from is shorter in the book, or next to
    /// nothing is left of it.
    pub really: bool,
    /// Why, in the person's own words.
    pub reason: Note,
}

/// What is hard to believe about a length of a piece, in words.
async fn odd(
    tx: &mut SqliteConnection,
    part: &Part,
    piece: &Piece,
    length: Length,
) -> Result<Option<String>, StockError> {
    let unit = part.unit();
    let show = db::venue::lookup(tx).await?.length_unit;
    let booked = length_of(unit, piece.amount, piece.rest_um);
    // More likely a figure in another unit than so much that is gone.
    let none_whole = Pieces::of_length(part, length, 1).amount == 0;
    if length < booked && (none_whole || length.get() < booked.get() / 10) {
        return Ok(Some(format!(
            "That is {}, and by the book {} is {}.",
            length.say(show),
            piece.tag,
            booked.say(show)
        )));
    }
    if let Some((parent, at)) = piece.cut_from
        && let Some(parent) = db::piece::lookup(tx, parent).await?
    {
        let parent = parent.piece;
        let most = length_of(unit, (parent.amount - at).max(0), parent.rest_um);
        if length > most {
            return Ok(Some(format!(
                "{} was cut from {}, which had {} from there on: it was shorter than that.",
                piece.tag,
                parent.tag,
                most.say(show)
            )));
        }
    }
    Ok(None)
}

impl Change for Measured {
    /// `things` is the piece as it is now; none where the book says the same.
    type Answer = Done;

    async fn within(&self, tx: &mut WriteTx, act: &Act) -> Result<Done, StockError> {
        let was = db::piece::lookup(tx, self.piece)
            .await?
            .ok_or(StockError::NotFound("piece"))?;
        let taken = take(tx, What::Thing { thing: self.piece }).await?;
        let here = taken.from;
        let (piece, place) = (was.piece, was.place);
        if place.kind != AccountKind::Place {
            return Err(StockError::refused(format!(
                "{} is {}. Nothing was changed. Measure it once it lies in a place again.",
                piece.tag, place.words
            )));
        }
        let part = db::part::lookup(tx, piece.part)
            .await?
            .ok_or(StockError::NotFound("part"))?;
        if self.length == Length::ZERO {
            return Err(field(
                "length",
                "Type a length above zero. If it is gone, say that it is not there.",
            ));
        }
        if self.length == length_of(part.unit(), piece.amount, piece.rest_um) {
            return Ok(Done::default());
        }
        if !self.really
            && let Some(odd) = odd(tx, &part, &piece, self.length).await?
        {
            return Err(field(
                "really",
                format!(
                    "{odd} Nothing was changed. Measure it again, and type it with its unit; if it is \
                     really so, tick that, and press once more."
                ),
            ));
        }
        let found = Pieces::of_length(&part, self.length, 1);
        let (amount, rest_um) = (found.amount, found.rest_um);
        let old = tag_of_before(tx, &piece.tag).await?;
        db::thing::change_tag(tx, self.piece, &old).await?;
        let (note, inspect_on) = taken.thing.as_ref().map_or_else(
            || (Note::default(), None),
            |thing| (thing.note.clone(), thing.inspect_on),
        );
        let new = NewThing {
            tag: piece.tag,
            kind: ThingKind::Piece,
            part: Some(part.id),
            condition: piece.condition,
            note,
            inspect_on,
            words: piece.batch.to_lowercase(),
        };
        let thing = db::thing::add(tx, &new).await?;
        let new = NewPiece {
            amount,
            rest_um,
            start: piece.start,
            end: piece.end,
            joint_offset_units: piece.joint_offset_units.filter(|joint| *joint <= amount),
            batch: piece.batch,
            // No cut made it so.
            cut_from: None,
        };
        db::piece::add(tx, thing, &new).await?;
        let lines = vec![
            taken.to(AccountId::ADJUST),
            Line {
                moved: Moved::Piece {
                    thing,
                    part: part.id,
                    amount,
                    rest_um,
                },
                from: AccountId::ADJUST,
                to: here,
            },
        ];
        let head = Head::new(MovementKind::Count, &self.reason);
        Ok(Done {
            things: vec![thing],
            ..write(tx, act, head, lines).await?
        })
    }
}

/// The tag by which a piece goes from now on that gives its own to what it was found to be.
pub(super) async fn tag_of_before(tx: &mut WriteTx, tag: &Tag) -> Result<Tag, StockError> {
    let stem: String = tag.as_str().chars().take(16).collect();
    for number in 1..=999 {
        if let Ok(old) = Tag::parse(&format!("{stem}-OLD{number}"))
            && db::thing::find_by_tag(tx, &old).await?.is_none()
        {
            return Ok(old);
        }
    }
    Err(StockError::refused(format!(
        "{tag} was corrected too often. Nothing was changed. Scrap it, and enter it as a new piece."
    )))
}

/// Gives a piece its tag back whose corrected length is undone by these lines.
pub(super) async fn tags_back(tx: &mut WriteTx, lines: &[Line]) -> Result<(), StockError> {
    let piece = |line: &Line| match line.moved {
        Moved::Piece { thing, .. } => Some(thing),
        Moved::Count { .. } | Moved::Loss { .. } | Moved::Thing { .. } => None,
    };
    let mut to = lines.iter().filter(|line| line.to == AccountId::ADJUST);
    let mut from = lines.iter().filter(|line| line.from == AccountId::ADJUST);
    let (Some(ended), Some(back)) = (to.find_map(piece), from.find_map(piece)) else {
        return Ok(());
    };
    let (new, old) = (thing(tx, ended).await?.tag, thing(tx, back).await?.tag);
    // A tag is on one thing at any moment.
    let between = tag_of_before(tx, &new).await?;
    db::thing::change_tag(tx, ended, &between).await?;
    db::thing::change_tag(tx, back, &new).await?;
    db::thing::change_tag(tx, ended, &old).await?;
    Ok(())
}

/// A whole place walked along at once.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct CountPlace {
    /// Where.
    pub place: PlaceId,
    /// Parts with what was counted of each.
    pub counts: Vec<(PartId, i64)>,
    /// Things that were seen.
    pub seen: Vec<ThingId>,
    /// Things that the book has here and that were not there.
    pub missing: Vec<ThingId>,
    /// Why, in the person's own words.
    pub reason: Note,
}

/// The movements that a stocktake made: none where all agreed.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Stocktake {
    /// Each may be undone by itself.
    pub movements: Vec<MovementId>,
    /// Holds of sets that moved to a like thing, or broke, because of it.
    #[serde(default)]
    pub touched: Vec<Touched>,
}

impl Stocktake {
    fn add(&mut self, done: Done) {
        self.movements.extend(done.movement);
        self.touched.extend(done.touched);
    }
}

impl Change for CountPlace {
    type Answer = Stocktake;

    async fn within(&self, tx: &mut WriteTx, act: &Act) -> Result<Stocktake, StockError> {
        let here = place(tx, self.place).await?;
        let mut taken = Stocktake::default();
        for (part, counted) in &self.counts {
            let counted = Counted {
                part: *part,
                place: self.place,
                counted: *counted,
                reason: self.reason.clone(),
            };
            taken.add(counted.within(tx, act).await?);
        }
        for seen in &self.seen {
            let seen = Seen {
                thing: *seen,
                place: self.place,
                reason: self.reason.clone(),
            };
            taken.add(seen.within(tx, act).await?);
        }
        let mut missing = Vec::new();
        for id in &self.missing {
            // Meanwhile moved elsewhere by somebody else: then it is not missing here.
            if thing(tx, *id).await?.place.account == here {
                missing.push(What::Thing { thing: *id });
            }
        }
        if !missing.is_empty() {
            let out = Out {
                fate: Fate::Lost,
                what: missing,
                reason: self.reason.clone(),
                design: None,
            };
            taken.add(out.within(tx, act).await?);
        }
        Ok(taken)
    }
}
