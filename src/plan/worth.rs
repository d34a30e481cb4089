//! What bars are worth in the parts that are cut for them: prices that bound what is bought for
//! any of them, before it is known which are built.

use std::collections::BTreeMap;

use super::{
    book::Book,
    build::wishes,
    cutting::{PartWorth, Purpose, Wish, worths},
    together::Valued,
};
use crate::model::{
    design::Bar,
    id::{BarId, PartId},
};

/// What bars are worth in one part, in one of several ways to value them.
pub(super) struct BarWorth {
    /// By the place of the bar in the list given.
    of: Vec<i64>,
    /// What is cut besides them.
    besides: i64,
    part: PartWorth,
}

impl BarWorth {
    /// By kinds of bars, of each of which the place of one is given.
    pub(super) fn by_kind<'a>(self, kinds: impl Iterator<Item = usize>) -> Valued<'a> {
        Valued {
            of: kinds.map(|bar| self.of[bar]).collect(),
            besides: self.besides,
            least_money: Box::new(move |worth| self.part.least_money(worth)),
        }
    }
}

/// Part by part, each in several ways.
pub(super) fn bar_worths(
    book: &Book<'_>,
    bars: &[&Bar],
    extras: &BTreeMap<PartId, Vec<Wish>>,
) -> Vec<Vec<BarWorth>> {
    let place: BTreeMap<BarId, usize> = bars.iter().map(|bar| bar.id).zip(0..).collect();
    let valued = |wishes: &[Wish], part: PartWorth| {
        let (mut of, mut besides) = (vec![0; bars.len()], 0_i64);
        for (wish, &worth) in wishes.iter().zip(&part.of) {
            let bar = match wish.purpose {
                Purpose::Bar(bar) => place.get(&bar),
                Purpose::Extra(_) | Purpose::Feed(..) => None,
            };
            match bar {
                Some(&bar) => of[bar] = worth,
                None => besides = besides.saturating_add(worth),
            }
        }
        BarWorth { of, besides, part }
    };
    let parts = wishes(book, bars, extras);
    parts
        .iter()
        .filter_map(|(part, wishes)| Some((book.part(*part)?, wishes)))
        .map(|(part, wishes)| {
            let ways = worths(book, part, wishes).into_iter();
            ways.map(|worth| valued(wishes, worth)).collect()
        })
        .collect()
}
