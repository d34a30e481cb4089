//! What the lengths of a part can be cut from: free ranges of pieces in stock, and what is sold.

use super::super::{book::Book, cut::Joints, manner::Manner, outcome::CutSource};
use crate::{
    model::{
        channel::Channels,
        connector::Connector,
        id::{OfferId, PartId},
        part::Tape,
        piece::End,
    },
    units::Length,
};

/// A free range of a piece, or a roll that is sold.
#[derive(Clone)]
pub(super) struct Source {
    pub(super) cut: CutSource,
    /// The piece's whole amount.
    pub(super) amount: i64,
    pub(super) from: i64,
    pub(super) to: i64,
    pub(super) start: Option<Connector>,
    pub(super) end: Option<Connector>,
    pub(super) joints: Option<Joints>,
    pub(super) batch: String,
    pub(super) price_minor: i64,
}

/// The free ranges of the part's pieces.
pub(super) fn in_stock(book: &Book<'_>, part: PartId, manner: &Manner<'_>) -> Vec<Source> {
    let tape = manner.tape;
    let colours = tape.and_then(Tape::colours);
    let mut all = Vec::new();
    for spare in book.pieces(part) {
        let piece = &spare.piece;
        let mut free = spare.free.clone();
        free.sort_unstable();
        for (from, to) in free {
            let (from, to) = (from.max(0), to.min(piece.amount));
            if from >= to {
                continue;
            }
            let joints = tape.and_then(|tape| tape.joints).and_then(|joints| {
                let offset = piece.joint_offset_units? - from;
                let every = u64::from(joints.every_units);
                let offset = offset.rem_euclid(i64::from(joints.every_units.max(1)));
                (every > 0).then(|| Joints {
                    every,
                    offset: offset.unsigned_abs(),
                })
            });
            // A range that begins or ends inside the piece has a bare end there.
            let at = |there: bool, end: &End| {
                end.connector()
                    .filter(|_| there)
                    .filter(|connector| usable_lead(connector, colours.as_ref()))
                    .cloned()
            };
            all.push(Source {
                cut: CutSource::Piece {
                    thing: piece.id,
                    tag: piece.tag.clone(),
                },
                amount: piece.amount,
                from,
                to,
                start: at(from == 0, &piece.start),
                end: at(to == piece.amount, &piece.end),
                joints,
                batch: piece.batch.clone(),
                price_minor: 0,
            });
        }
    }
    all
}

/// Whether a factory lead saves soldering one: it must not be known to lack a colour.
fn usable_lead(connector: &Connector, colours: Option<&Channels>) -> bool {
    colours.is_some_and(|colours| connector.carries(colours) != Some(false))
}

/// A roll that can be bought: from which offer, how long, at what price.
type ForSale = (Option<OfferId>, Length, i64);

/// What is sold: by the offers, or, where there is none, in the lengths of the part's own figures.
/// Without prices the shortest length together counts as the least money.
fn for_sale(book: &Book<'_>, part: PartId) -> Vec<ForSale> {
    let offers = book.offers(part);
    if offers.is_empty() {
        let lengths = book.part(part).map_or(&[][..], |part| part.spec.sold_um());
        lengths
            .iter()
            .map(|length| (None, *length, length.get() / 1_000))
            .collect()
    } else {
        offers
            .iter()
            .map(|offer| (Some(offer.id), offer.roll(), offer.price_minor.get()))
            .collect()
    }
}

/// One of each roll, reel or bar that is sold.
pub(super) fn to_buy(book: &Book<'_>, part: PartId, manner: &Manner<'_>) -> Vec<Source> {
    let tape = manner.tape;
    let colours = tape.and_then(Tape::colours);
    for_sale(book, part)
        .into_iter()
        .filter_map(|(offer, roll_um, price_minor)| {
            let amount = manner.amount(roll_um);
            let lead = |end: fn(&Tape) -> &Option<Connector>| {
                tape.and_then(|tape| end(tape).as_ref())
                    .filter(|connector| usable_lead(connector, colours.as_ref()))
                    .cloned()
            };
            (amount > 0).then(|| Source {
                cut: CutSource::Buy {
                    offer,
                    roll_um,
                    nth: 0,
                },
                amount,
                from: 0,
                to: amount,
                start: lead(|tape| &tape.roll_start),
                end: lead(|tape| &tape.roll_end),
                joints: tape.and_then(|tape| tape.joints).and_then(|joints| {
                    (joints.every_units > 0).then(|| Joints {
                        every: joints.every_units.into(),
                        offset: joints.offset_units.into(),
                    })
                }),
                batch: String::new(),
                price_minor,
            })
        })
        .collect()
}
