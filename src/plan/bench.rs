//! What is cut, over all parts kept by length: the cut lists in one row, what is needed of each
//! part, and which ranges of which pieces are used up.

use std::collections::{BTreeMap, BTreeSet};

use super::{
    answer::Proof,
    book::Book,
    cutting::{Bought, Cutting, Given, Purpose, Wish},
    outcome::{CutProof, CutSource, PieceCut},
};
use crate::model::id::{PartId, ThingId};

/// What is needed of one part kept by length, in its stock unit.
#[derive(Default)]
pub(super) struct LengthNeed {
    pub(super) needed: i64,
    /// What pieces in the house give.
    pub(super) there: i64,
    /// Rolls to buy.
    pub(super) bought: BTreeMap<Bought, u32>,
    /// Wanted amount that is cut from rolls to buy.
    pub(super) from_bought: i64,
    pub(super) used_for: BTreeSet<String>,
}

impl LengthNeed {
    /// What the rolls to buy cost in minor units, and the millimetres of them without a price.
    fn to_buy(&self, book: &Book<'_>, part: PartId) -> (i64, i64) {
        let (mut money, mut unpriced_mm) = (0_i64, 0_i64);
        for (which, &rolls) in &self.bought {
            let rolls = i64::from(rolls);
            match which {
                Bought::Offer(id) => {
                    let offer = book.offers(part).iter().find(|offer| offer.id == *id);
                    let price = offer.map_or(0, |offer| offer.price_minor.get());
                    money = money.saturating_add(price.saturating_mul(rolls));
                }
                Bought::Length(length) => {
                    let mm = length.get() / 1_000;
                    unpriced_mm = unpriced_mm.saturating_add(mm.saturating_mul(rolls));
                }
            }
        }
        (money, unpriced_mm)
    }
}

/// Everything that is cut.
#[derive(Default)]
pub(super) struct Bench {
    pub(super) cuts: Vec<PieceCut>,
    pub(super) proofs: Vec<CutProof>,
    pub(super) needs: BTreeMap<PartId, LengthNeed>,
    pub(super) held: Vec<(Purpose, ThingId, i64, i64)>,
}

impl Bench {
    /// Takes the answer for one part in, and gives back where each wish is fulfilled, counted over
    /// the whole cut list.
    pub(super) fn take(
        &mut self,
        part: PartId,
        wishes: &[Wish],
        cutting: Cutting,
        used_for: &str,
    ) -> Vec<Option<Given>> {
        let first = self.cuts.len();
        let need = self.needs.entry(part).or_default();
        need.used_for.insert(used_for.to_owned());
        let given: Vec<Option<Given>> = cutting
            .given
            .into_iter()
            .map(|given| {
                given.map(|mut given| {
                    given.cut += first;
                    given
                })
            })
            .collect();
        for (wish, given) in wishes.iter().zip(&given) {
            need.needed += wish.amount;
            match given {
                Some(Given {
                    held: Some((thing, from, to)),
                    ..
                }) => {
                    need.there += wish.amount;
                    self.held.push((wish.purpose, *thing, *from, *to));
                }
                Some(_) => need.from_bought += wish.amount,
                None => {}
            }
        }
        for (which, count) in cutting.bought {
            *need.bought.entry(which).or_insert(0) += count;
        }
        self.cuts.extend(cutting.cuts);
        self.proofs.extend(cutting.proof);
        given
    }

    /// What the rolls and bars to buy cost in minor units, and how many millimetres of them have no
    /// price.
    pub(super) fn to_buy(&self, book: &Book<'_>) -> (i64, i64) {
        let each = self
            .needs
            .iter()
            .map(|(part, need)| need.to_buy(book, *part));
        each.fold((0, 0), |(money, mm), (more, more_mm)| {
            (money.saturating_add(more), mm.saturating_add(more_mm))
        })
    }

    /// The least that the rolls and bars to buy could cost with as few bars short, in minor units;
    /// `None` where that is not known.
    pub(super) fn least_to_buy(&self, book: &Book<'_>) -> Option<i64> {
        let each = self.needs.iter().map(|(part, need)| {
            let (money, _) = need.to_buy(book, *part);
            let proof = self.proofs.iter().find(|proof| proof.part == *part);
            match proof.map(|proof| (proof.short, proof.money)) {
                None | Some((Proof::Proven, Proof::Proven)) => Some(money),
                // Without prices the bound is in millimetres.
                Some((Proof::Proven, Proof::Within { .. })) if money == 0 => Some(0),
                Some((Proof::Proven, Proof::Within { bound })) => Some(bound),
                Some(_) => None,
            }
        });
        each.sum()
    }

    /// Notes a length that nothing gives.
    pub(super) fn lack(&mut self, part: PartId, amount: i64, used_for: &str) {
        let need = self.needs.entry(part).or_default();
        need.needed += amount;
        need.used_for.insert(used_for.to_owned());
    }

    /// The tag of the piece that an entry is cut from, or what is bought.
    pub(super) fn source(&self, book: &Book<'_>, cut: usize) -> String {
        match self.cuts.get(cut).map(|cut| (&cut.source, cut.part)) {
            Some((CutSource::Piece { tag, .. }, _)) => tag.to_string(),
            Some((CutSource::Buy { roll_um, nth, .. }, part)) => format!(
                "new {} of {} no. {nth}",
                book.show(*roll_um),
                book.name(part)
            ),
            None => String::new(),
        }
    }
}
