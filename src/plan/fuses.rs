//! Which parts the fuses are that feeds and outputs ask for.
//!
//! Only a part that is said to be a fuse of one of the asked ratings is taken, never a larger one. All
//! fuses of one asking are of one part: one that lies there in number, else one that does with what is
//! due in, else the one of which the missing ones cost least, else the first. They come back at strike.

use std::collections::BTreeMap;

use super::{book::Book, need::Needs, outcome::FusePlan, protect::Sizes};
use crate::{
    model::{
        id::PartId,
        part::{Fuse, PartSpec},
        reservation::HoldUse,
    },
    units::Current,
};

/// A part of the catalogue that is a fuse.
#[derive(Debug, Clone, Copy)]
struct Spare {
    part: PartId,
    fuse: Fuse,
    /// How many are there and asked for by nothing else; below zero where more are asked for.
    free: i64,
    /// How many are due in.
    due: i64,
    /// What one costs, in millionths of a minor unit; the most there is where nobody sells it.
    price: i128,
}

/// Asks for the fuses, each size as a part if the catalogue has one; in order of their sizes.
pub(super) fn fuses(
    book: &Book<'_>,
    asked: &BTreeMap<Sizes, u32>,
    needs: &mut Needs,
) -> Vec<FusePlan> {
    let parts = book.of(|spec| match spec {
        PartSpec::Sundry(sundry) => sundry.fuse.as_ref(),
        _ => None,
    });
    let mut chosen: BTreeMap<Sizes, PartId> = BTreeMap::new();
    // What only one make serves has the first choice.
    let mut order: Vec<_> = asked.iter().collect();
    order.sort_by_key(|(sizes, _)| (sizes.either(), **sizes));
    for (&sizes, &many) in order {
        let wanted = i64::from(many);
        let spares = parts.iter().map(|&(part, &fuse)| Spare {
            part,
            fuse,
            free: book.there(part) - needs.asked(part),
            due: book.count(part).map_or(0, |count| {
                let due = count.due.iter().map(|(_, amount)| (*amount).max(0));
                due.fold(0, i64::saturating_add)
            }),
            price: book.price(part),
        });
        if let Some(part) = best(spares, sizes, wanted) {
            needs.count(part, wanted, HoldUse::Returns, "feeds and outputs");
            chosen.insert(sizes, part);
        }
    }
    let rating = |ma: Option<i64>| ma.and_then(|ma| Current::new(ma).ok());
    let plans = asked.iter().map(|(sizes, &many)| FusePlan {
        fuse: sizes.words(),
        blade_ma: rating(sizes.blade),
        cartridge_ma: rating(sizes.cartridge),
        many,
        part: chosen.get(sizes).copied(),
    });
    plans.collect()
}

/// The best of some parts for so many fuses of one size.
fn best(spares: impl Iterator<Item = Spare>, sizes: Sizes, wanted: i64) -> Option<PartId> {
    spares
        .filter(|spare| sizes.has(spare.fuse))
        .min_by_key(|spare| {
            let lacking = |there: i64| (wanted - there.max(0)).max(0);
            let (missing, to_buy) = (
                lacking(spare.free),
                lacking(spare.free.saturating_add(spare.due)),
            );
            let cost = match to_buy {
                0 => 0,
                some => spare.price.saturating_mul(some.into()),
            };
            (missing > 0, cost, missing, spare.part)
        })
        .map(|spare| spare.part)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::part::FuseFamily::{self, Blade, Cartridge};

    const SIZES: Sizes = Sizes {
        blade: Some(3_000),
        cartridge: Some(2_500),
    };

    fn spare(part: i64, (family, ma): (FuseFamily, i64), free: i64) -> Spare {
        Spare {
            part: PartId(part),
            fuse: Fuse {
                family,
                rating_ma: Current::new(ma).unwrap(),
            },
            free,
            due: 0,
            price: i128::MAX,
        }
    }

    fn chosen(spares: &[Spare], wanted: i64) -> Option<i64> {
        let forth = best(spares.iter().copied(), SIZES, wanted);
        // Not by the order in which they were read.
        assert_eq!(best(spares.iter().rev().copied(), SIZES, wanted), forth);
        forth.map(|part| part.0)
    }

    #[test]
    fn only_what_is_of_the_rating_and_make_is_taken() {
        let others = [
            spare(1, (Blade, 5_000), 9),
            spare(2, (Blade, 2_000), 9),
            spare(3, (Blade, 2_500), 9),
            spare(4, (Cartridge, 3_000), 9),
        ];
        assert_eq!(chosen(&others, 1), None);
        let right = [others[0], spare(5, (Blade, 3_000), 0), others[1]];
        assert_eq!(chosen(&right, 1), Some(5));
        // A blade fuse serves no place that takes cartridges only.
        let only = Sizes {
            blade: None,
            ..SIZES
        };
        assert_eq!(best(right.into_iter(), only, 1), None);
    }

    #[test]
    fn what_lies_there_goes_before_what_is_due_and_that_before_what_is_bought() {
        let blade = spare(1, (Blade, 3_000), 2);
        let cartridge = spare(2, (Cartridge, 2_500), 3);
        assert_eq!(chosen(&[blade, cartridge], 2), Some(1));
        assert_eq!(chosen(&[blade, cartridge], 3), Some(2));
        // Neither has enough, and nobody sells them: the fewest missing, then the first.
        assert_eq!(chosen(&[blade, cartridge], 4), Some(2));
        assert_eq!(
            chosen(
                &[
                    blade,
                    Spare {
                        free: 2,
                        ..cartridge
                    }
                ],
                4
            ),
            Some(1)
        );
        // With what is due in there would be.
        let due = Spare { due: 2, ..blade };
        assert_eq!(chosen(&[due, cartridge], 4), Some(1));
        // More is asked for already than lies there: what is due in goes there first.
        let asked = Spare {
            free: -1,
            due: 4,
            ..blade
        };
        assert_eq!(chosen(&[asked, cartridge], 4), Some(2));
        // What is sold, at the least money for what is missing.
        let sold = Spare {
            price: 10,
            free: 0,
            ..blade
        };
        assert_eq!(chosen(&[sold, cartridge], 4), Some(1));
        let dearer = Spare {
            price: 50,
            ..cartridge
        };
        assert_eq!(chosen(&[sold, dearer], 4), Some(1));
        assert_eq!(
            chosen(
                &[
                    sold,
                    Spare {
                        price: 30,
                        ..dearer
                    }
                ],
                4
            ),
            Some(2)
        );
    }
}
