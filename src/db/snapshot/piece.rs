//! The pieces that a plan may take.

use std::{collections::HashMap, sync::Arc};

use super::{
    Ask,
    known::{self, Known, Reads},
};
use crate::{
    db::{DbError, WriteTx, reservation::Claims},
    model::{
        fixture::Condition,
        id::{PartId, PlaceId, ThingId},
    },
    plan::{
        available::free_ranges,
        input::{SparePiece, Where},
    },
};

/// Every good piece of the parts of which some is free for the days asked, by id.
pub(super) async fn list_pieces(
    tx: &mut impl Reads,
    ask: Ask,
    parts: &[PartId],
    claims: &Claims,
    walk: &HashMap<PlaceId, Where>,
) -> Result<Vec<Arc<SparePiece>>, DbError> {
    let known = known::pieces(tx, walk).await?;
    Ok(free(&known, ask, parts, claims))
}

/// The same of one part, read by itself.
pub(super) async fn list_pieces_of(
    tx: &mut WriteTx,
    ask: Ask,
    part: PartId,
    claims: &Claims,
    walk: &HashMap<PlaceId, Where>,
) -> Result<Vec<Arc<SparePiece>>, DbError> {
    let known = known::of_part(tx, part, walk).await?;
    Ok(free(&known, ask, &[part], claims))
}

fn free(known: &Known, ask: Ask, parts: &[PartId], claims: &Claims) -> Vec<Arc<SparePiece>> {
    let mut parts = parts.to_vec();
    parts.sort_unstable();
    // Pieces are by id: claims are walked beside them.
    let mut claimed: Vec<ThingId> = claims.things.keys().copied().collect();
    claimed.sort_unstable();
    let mut claimed = claimed.into_iter().peekable();
    let mut pieces = Vec::with_capacity(known.all.len());
    for stored in &known.all {
        while claimed.next_if(|id| *id < stored.id).is_some() {}
        if parts.binary_search(&stored.part).is_err() {
            continue;
        }
        let whole = &stored.whole;
        if stored.lies && claimed.peek() != Some(&stored.id) {
            if !whole.free.is_empty() {
                pieces.push(whole.clone());
            }
            continue;
        }
        let Some(at) = known.at(stored) else { continue };
        let free = free_ranges(
            whole.piece.amount,
            Condition::Good,
            at,
            claims.on(stored.id),
            ask.own,
            ask.window,
            ask.rules,
        );
        if free == whole.free {
            pieces.push(whole.clone());
        } else if !free.is_empty() {
            pieces.push(Arc::new(SparePiece {
                free,
                ..SparePiece::clone(whole)
            }));
        }
    }
    pieces
}
