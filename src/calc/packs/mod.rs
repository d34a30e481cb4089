//! What to buy in which packs, and where: [`PacksBody`] in, [`PacksAnswer`] out.
//!
//! [`crate::plan::packs`] says what is best, and computes it. Here the document is checked, names
//! become places in lists and the answer becomes names again. Beside the best stand the fewest
//! parcels and, for each supplier who sends one, what it would cost without them.

mod asked;
mod said;
#[cfg(test)]
mod tests;

pub use asked::{PacksBody, PacksOffer, PacksSupplier, PacksWant};
pub use said::{PacksAnswer, PacksBeside, PacksLeft, PacksLine, PacksParcel, PacksShort, PacksWay};

use super::{Refused, document::sentence};
use crate::plan::packs::{self, Choice, Question, Refusal};

/// Worked examples, see [`super::Example`].
pub(super) const EXAMPLES: &[&str] = &[
    include_str!("examples/one_delivery.json"),
    include_str!("examples/filled_up.json"),
    include_str!("examples/one_supplier.json"),
];

/// The most steps of a search; it keeps the best found and a bound when they run out.
const STEPS: u64 = 2_000_000;

/// Checks the question and answers it.
pub fn answer(asked: &PacksBody) -> Result<PacksAnswer, Refused> {
    let (question, wants, short) = asked.question()?;
    let solve = |question: &Question, aim| {
        packs::cheapest(question, aim, STEPS)
            .map_err(|why| Refused::at("/wants", sentence(&why.to_string())))
    };
    let aim = asked.aim;
    let best = solve(&question, aim)?;
    let beside = solve(&question, aim.other())?;
    let mut without = Vec::new();
    for supplier in 0..question.suppliers.len() {
        if !sends(&question, &best.value, supplier) {
            continue;
        }
        let left = without_supplier(&question, supplier);
        let cost = match packs::cheapest(&left, aim, STEPS) {
            Ok(left) => Some(left.value.cost_minor),
            Err(Refusal::NoOffer { .. }) => None,
            Err(why) => return Err(Refused::at("/wants", sentence(&why.to_string()))),
        };
        without.push((supplier, cost));
    }
    Ok(PacksAnswer::new(
        asked, &question, &wants, short, &best, &beside, &without,
    ))
}

/// Whether anything is bought from a supplier.
fn sends(question: &Question, choice: &Choice, supplier: usize) -> bool {
    choice
        .lines
        .iter()
        .any(|line| question.wants[line.want].offers[line.offer].supplier == supplier)
}

/// The same question where one supplier sells nothing.
fn without_supplier(question: &Question, supplier: usize) -> Question {
    let mut left = question.clone();
    for want in &mut left.wants {
        want.offers.retain(|offer| offer.supplier != supplier);
    }
    left
}
