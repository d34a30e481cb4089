//! What a plan rests on of where pieces lie.
//!
//! Where they lie counts between like pieces only. They are put in order by batch, then along the walk
//! ([`super::book`]); the cut planner does not see that order, and of those that are alike the first are
//! taken. So a plan is the same where a piece lies elsewhere of which it takes nothing, in none of the
//! ways that were tried, as long as it comes behind all that were taken of its length: those that were
//! the first of their like still are, in the same order.

use std::{
    collections::{BTreeMap, BTreeSet},
    sync::Arc,
};

use super::input::{Input, Snapshot, SparePiece};
use crate::model::id::{PartId, ThingId};

/// Something that is taken of a piece, with the lengths that it is alike to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Taken {
    pub(super) thing: ThingId,
    /// The least length of a free range that may serve as well.
    pub(super) least: i64,
    /// The first that may not.
    pub(super) below: i64,
}

/// The pieces that were taken while planning, by part.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Rests(BTreeMap<PartId, OfPart>);

#[derive(Debug, Clone, Default, PartialEq, Eq)]
struct OfPart {
    pieces: BTreeSet<ThingId>,
    /// Lengths, from and below, of which some was taken, with the last of those.
    last: BTreeMap<(i64, i64), Key>,
}

/// Batch, position along the walk, id: what pieces of a part are put in order by.
type Key = (String, i64, ThingId);

fn key(spare: &SparePiece) -> Key {
    let SparePiece { piece, place, .. } = spare;
    (piece.batch.clone(), place.position, piece.id)
}

impl Rests {
    /// Notes that something of a piece was taken in one of the ways tried.
    pub(super) fn take(&mut self, spare: &SparePiece, taken: Taken) {
        let part = self.0.entry(spare.piece.part).or_default();
        part.pieces.insert(spare.piece.id);
        let key = key(spare);
        let last = part.last.entry((taken.least, taken.below));
        let last = last.or_insert_with(|| key.clone());
        if *last < key {
            *last = key;
        }
    }

    /// Whether planning `now` gives what planning `before` gave, these being the pieces that it took:
    /// nothing differs but where pieces lie, and none of that matters. Where it says no, it may.
    pub fn hold(&self, before: &Input, now: &Input) -> bool {
        same_but_for_pieces(before, now)
            && before.stock.pieces.len() == now.stock.pieces.len()
            && (before.stock.pieces.iter())
                .zip(&now.stock.pieces)
                .all(|(before, now)| Arc::ptr_eq(before, now) || self.hold_of(before, now))
    }

    fn hold_of(&self, before: &SparePiece, now: &SparePiece) -> bool {
        if before.piece != now.piece || before.free != now.free {
            return false;
        }
        before.place.position == now.place.position
            || (self.0.get(&now.piece.part)).is_none_or(|part| part.leaves(now))
    }
}

impl OfPart {
    /// Whether nothing is taken of a piece, and it comes behind all that it is alike to.
    fn leaves(&self, spare: &SparePiece) -> bool {
        let amount = spare.piece.amount;
        let alike = |from: i64, below: i64| {
            let free = spare.free.iter();
            free.map(|(start, end)| (*end).min(amount) - (*start).max(0))
                .any(|length| (from..below).contains(&length))
        };
        !self.pieces.contains(&spare.piece.id)
            && (self.last.iter())
                .all(|(&(from, below), last)| !alike(from, below) || *last < key(spare))
    }
}

fn same_but_for_pieces(before: &Input, now: &Input) -> bool {
    let Input {
        design,
        parts,
        stock,
        offers,
        venue,
        today,
        held,
    } = before;
    let Snapshot {
        fixtures,
        pieces: _,
        units,
        frames,
        counts,
        left_alone,
        not_from,
    } = stock;
    *design == now.design
        && *today == now.today
        && *venue == now.venue
        && *held == now.held
        && *parts == now.parts
        && *offers == now.offers
        && *fixtures == now.stock.fixtures
        && *units == now.stock.units
        && *frames == now.stock.frames
        && *counts == now.stock.counts
        && *left_alone == now.stock.left_alone
        && *not_from == now.stock.not_from
}
