//! A piece ends, its children begin; what the saw and the bin take is written down too.

use serde::{Deserialize, Serialize};

use super::{
    Act, StockError,
    change::{Change, Done, Head, What, field, free_tag, place, take, write},
};
use crate::{
    db::{
        self, WriteTx,
        piece::{NewPiece, PieceAt},
        thing::{NewThing, TagPrefix},
    },
    model::{
        id::{AccountId, DesignId, PlaceId, ThingId},
        movement::{AccountKind, Line, Moved, MovementKind},
        part::{Part, PartSpec},
        piece::End,
        text::{Note, Tag},
        thing::ThingKind,
    },
};

/// The most parts that one cut makes.
pub const SEGMENT_LIMIT: usize = 500;

/// One part of a piece that is cut.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Segment {
    /// From here, in the part's stock unit, counted from the marked end.
    pub from: i64,
    /// To here.
    pub to: i64,
    /// Thrown away rather than kept.
    pub scrap: bool,
    /// The tag of what is kept; the next free O- where none is typed.
    pub tag: Option<Tag>,
}

impl Segment {
    /// A part that is kept.
    pub const fn keep(from: i64, to: i64) -> Self {
        Self {
            from,
            to,
            scrap: false,
            tag: None,
        }
    }

    /// A part that is thrown away.
    pub const fn scrap(from: i64, to: i64) -> Self {
        Self {
            from,
            to,
            scrap: true,
            tag: None,
        }
    }

    /// Amounts laid one after the other from the marked end, `kerf` lost at each cut, and the
    /// rest of the piece kept, or thrown away if `scrap_rest`.
    ///
    /// Worked example: 1000 and 1500 out of 3000 with a kerf of 3 are 0 to 1000, 1003 to 2503,
    /// and a rest of 2506 to 3000.
    pub fn lay(amounts: &[i64], kerf: i64, whole: i64, scrap_rest: bool) -> Vec<Self> {
        let mut at = 0;
        let mut segments = Vec::with_capacity(amounts.len() + 1);
        for amount in amounts {
            segments.push(Self::keep(at, at + amount));
            at += amount + kerf;
        }
        if at < whole {
            segments.push(Self {
                scrap: scrap_rest,
                ..Self::keep(at, whole)
            });
        }
        segments
    }
}

/// A piece that is cut. What no segment covers is lost to the saw.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Cut {
    /// Which.
    pub piece: ThingId,
    /// In order from the marked end.
    pub segments: Vec<Segment>,
    /// Where the children are put; where the piece lay, if nothing is said.
    pub to: Option<PlaceId>,
    /// Why, in the person's own words.
    pub reason: Note,
    /// For which design.
    pub design: Option<DesignId>,
}

impl Change for Cut {
    /// `things` are the children, in order from the marked end.
    type Answer = Done;

    async fn within(&self, tx: &mut WriteTx, act: &Act) -> Result<Done, StockError> {
        let parent = db::piece::lookup(tx, self.piece)
            .await?
            .ok_or(StockError::NotFound("piece"))?;
        let taken = take(tx, What::Thing { thing: self.piece }).await?;
        if parent.place.kind == AccountKind::Loan {
            return Err(StockError::refused(format!(
                "{} is {}. Nothing was cut. Take it back first.",
                parent.piece.tag, parent.place.words
            )));
        }
        let part = db::part::lookup(tx, parent.piece.part)
            .await?
            .ok_or(StockError::NotFound("part"))?;
        self.check(&parent, &part)?;
        let to = match self.to {
            Some(id) => place(tx, id).await?,
            None => parent.place.account,
        };

        let whole = parent.piece.amount;
        let mut lines = vec![taken.to(AccountId::BENCH)];
        let mut things = Vec::new();
        let mut covered = 0;
        let mut rest_left = parent.piece.rest_um;
        let last = self.segments.len() - 1;
        for (at, segment) in self.segments.iter().enumerate() {
            let amount = segment.to - segment.from;
            covered += amount;
            // The remainder hangs on the piece's end.
            let rest_um = if at == last && segment.to == whole {
                std::mem::take(&mut rest_left)
            } else {
                0
            };
            if segment.scrap {
                lines.push(loss(&part, amount, rest_um));
                continue;
            }
            let tag = match &segment.tag {
                Some(tag) => {
                    free_tag(tx, tag).await?;
                    tag.clone()
                }
                None => db::thing::next_tags(tx, TagPrefix::Offcut, 1)
                    .await?
                    .pop()
                    .ok_or(StockError::NotFound("free tag"))?,
            };
            let child = child(&parent, &part, segment, rest_um);
            let thing = NewThing {
                tag,
                kind: ThingKind::Piece,
                part: Some(part.id),
                condition: parent.piece.condition,
                note: Note::default(),
                inspect_on: None,
                words: child.batch.to_lowercase(),
            };
            let thing = db::thing::add(tx, &thing).await?;
            db::piece::add(tx, thing, &child).await?;
            lines.push(Line {
                moved: Moved::Piece {
                    thing,
                    part: part.id,
                    amount,
                    rest_um,
                },
                from: AccountId::BENCH,
                to,
            });
            things.push(thing);
        }
        if covered < whole || rest_left > 0 {
            lines.push(loss(&part, whole - covered, rest_left));
        }
        let head = Head::new(MovementKind::Cut, &self.reason).design(self.design);
        Ok(Done {
            things,
            ..write(tx, act, head, lines).await?
        })
    }
}

impl Cut {
    fn check(&self, parent: &PieceAt, part: &Part) -> Result<(), StockError> {
        if let PartSpec::Profile(profile) = &part.spec
            && !profile.may_cut
        {
            return Err(StockError::refused(format!(
                "{} may not be cut, says its page. Nothing was cut. Change the part if that is \
                 wrong.",
                part.name
            )));
        }
        if self.segments.is_empty() || self.segments.len() > SEGMENT_LIMIT {
            return Err(field(
                "segments",
                format!("Type 1 to {SEGMENT_LIMIT} lengths to cut."),
            ));
        }
        let mut at = 0;
        for segment in &self.segments {
            if segment.from < at || segment.to <= segment.from {
                return Err(field(
                    "segments",
                    "Each length must be above zero, and begin where the one before it ends or \
                     after it.",
                ));
            }
            at = segment.to;
        }
        if at > parent.piece.amount {
            return Err(field(
                "segments",
                format!(
                    "{} is shorter than these lengths together with what the saw takes. Take \
                     something away.",
                    parent.piece.tag
                ),
            ));
        }
        if let [only] = self.segments.as_slice()
            && only.to - only.from == parent.piece.amount
        {
            return Err(field(
                "segments",
                format!(
                    "That is the whole of {}: no cut is needed.",
                    parent.piece.tag
                ),
            ));
        }
        Ok(())
    }
}

fn loss(part: &Part, amount: i64, rest_um: i64) -> Line {
    Line {
        moved: Moved::Loss {
            part: part.id,
            amount,
            rest_um,
        },
        from: AccountId::BENCH,
        to: AccountId::SCRAP,
    }
}

/// What a segment becomes: an end of the parent stays on the child that lies there, new ends are
/// bare, joints keep their places.
fn child(parent: &PieceAt, part: &Part, segment: &Segment, rest_um: i64) -> NewPiece {
    let piece = &parent.piece;
    let amount = segment.to - segment.from;
    let every = match &part.spec {
        PartSpec::Tape(tape) => tape.joints.map(|joints| i64::from(joints.every_units)),
        _ => None,
    };
    let joint = piece.joint_offset_units.and_then(|first| {
        let offset = first - segment.from;
        let offset = match every {
            Some(every) if every > 0 && offset < 0 => offset.rem_euclid(every),
            _ => offset,
        };
        (0..=amount).contains(&offset).then_some(offset)
    });
    let end = |here: bool, end: &End| if here { end.clone() } else { End::Bare };
    NewPiece {
        amount,
        rest_um,
        start: end(segment.from == 0, &piece.start),
        end: end(segment.to == piece.amount, &piece.end),
        joint_offset_units: joint,
        batch: piece.batch.clone(),
        cut_from: Some((piece.id, segment.from)),
    }
}
