//! What a plan rests on of where pieces lie.
//!
//! Where they lie counts between like pieces only. They are put in order by batch, then along the walk
//! ([`super::book`]); the cut planner does not see that order, and of those that are alike the first are
//! taken. So a plan is the same where a piece lies elsewhere of which it takes nothing, in none of the
//! ways that were tried, as long as it comes behind the last one of its part that was taken: those that
//! were the first of their like still are, in the same order.

use std::{
    collections::{BTreeMap, BTreeSet},
    sync::Arc,
};

use super::input::{Input, Snapshot, SparePiece};
use crate::model::id::{PartId, ThingId};

/// The pieces that were taken while planning, by part.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Rests(BTreeMap<PartId, Taken>);

/// Batch, position along the walk, id: what pieces of a part are put in order by.
type Key = (String, i64, ThingId);

#[derive(Debug, Clone, PartialEq, Eq)]
struct Taken {
    pieces: BTreeSet<ThingId>,
    last: Key,
}

fn key(spare: &SparePiece) -> Key {
    let SparePiece { piece, place, .. } = spare;
    (piece.batch.clone(), place.position, piece.id)
}

impl Rests {
    /// Notes that something of a piece was taken in one of the ways tried.
    pub(super) fn take(&mut self, spare: &SparePiece) {
        let (id, key) = (spare.piece.id, key(spare));
        let taken = self.0.entry(spare.piece.part).or_insert_with(|| Taken {
            pieces: BTreeSet::new(),
            last: key.clone(),
        });
        taken.pieces.insert(id);
        if taken.last < key {
            taken.last = key;
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
            || self
                .0
                .get(&now.piece.part)
                .is_none_or(|taken| !taken.pieces.contains(&now.piece.id) && taken.last < key(now))
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
