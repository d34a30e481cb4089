//! Drivers and supplies, data cables counted: each driver hangs on the chain by a cable, so where
//! there are too few of those, one driver more from the shelf is not free.
//!
//! What [`driven`] finds stands wherever the cables suffice. Where some would have to be bought, the
//! question is asked again with one unit of a kind fewer on the shelf, as long as that leaves as few
//! loads unserved, costs no more drivers and supplies, and saves cables.

use std::collections::BTreeMap;

use super::{
    answer::{Proof, Why},
    book::Book,
    driven::{self, Answer, Level, Origin, Question},
};
use crate::model::part::{DataUse, PartSpec};

/// How often the question is asked again.
const TRIES: usize = 12;
/// Steps of each of those: what is found must only be as good.
const TRY_STEPS: u64 = driven::STEPS / 10;

/// Data cables by kind: how many are there, and what a further one costs.
struct Links(Vec<(i64, i128)>);

impl Links {
    fn of(book: &Book<'_>) -> Self {
        let cables = book.of(|spec| match spec {
            PartSpec::Data(data) if data.used_as == DataUse::Cable => Some(data),
            _ => None,
        });
        let known = cables.into_iter().map(|(id, _)| {
            let price = book.price(id).min(driven::UNPRICED);
            (book.there(id).max(0), price)
        });
        Self(known.collect())
    }

    /// What is bought for a chain of so many drivers.
    fn cost(&self, drivers: usize) -> i128 {
        let wanted = i64::try_from(drivers).unwrap_or(i64::MAX);
        let costs = (self.0.iter()).map(|(there, price)| {
            price.saturating_mul(i128::from(wanted.saturating_sub(*there).max(0)))
        });
        costs.min().unwrap_or(0)
    }
}

/// Units of each kind that an answer takes from the shelf.
fn shelved(answer: &Answer) -> BTreeMap<usize, u32> {
    let mut taken = BTreeMap::new();
    for driver in &answer.drivers {
        if driver.origin == Origin::Shelf {
            *taken.entry(driver.kind).or_insert(0) += 1;
        }
    }
    taken
}

/// Whether another answer serves as many loads for as little money and as few new units.
fn as_good(answer: &Answer, other: &Answer) -> bool {
    [Level::Unserved, Level::Cost, Level::Bought]
        .iter()
        .all(|level| other.values[*level as usize] <= answer.values[*level as usize])
}

/// Gives every load an output and every inlet a supply.
pub(super) fn solve(book: &Book<'_>, question: &Question) -> Answer {
    let links = Links::of(book);
    let mut best = driven::solve(question, driven::STEPS);
    let mut question = question.clone();
    let (mut tries, mut changed) = (0, false);
    'fewer: while tries < TRIES && links.cost(best.drivers.len()) > 0 {
        for (kind, taken) in shelved(&best) {
            tries += 1;
            let mut fewer = question.clone();
            fewer.drivers[kind].stock.shelf = taken - 1;
            let other = driven::solve(&fewer, TRY_STEPS);
            let saves = links.cost(other.drivers.len()) < links.cost(best.drivers.len());
            if saves && as_good(&best, &other) {
                (best, question, changed) = (other, fewer, true);
                continue 'fewer;
            }
        }
        break;
    }
    if changed {
        // What follows was made least among fewer units than there are.
        for level in [Level::Cable, Level::Taken, Level::Uneven] {
            best.proofs[level as usize] = Proof::Open {
                why: Why::EarlierOpen,
            };
        }
    }
    best
}
