//! What is known of a plan's money, from all of its proofs together.

use super::{
    answer::{Proof, Why},
    input::Input,
    outcome::{CutProof, CutSource, Plan},
};
use crate::{
    model::{
        id::{OfferId, PartId},
        part::PartSpec,
    },
    units::Money,
};

fn is_for_bars(input: &Input, part: PartId) -> bool {
    let part = input.parts.iter().find(|it| it.id == part);
    part.is_some_and(|it| matches!(it.spec, PartSpec::Tape(_) | PartSpec::Profile(_)))
}

/// What the rolls and bars of a part cost that are bought to be cut.
fn paid_for(plan: &Plan, input: &Input, wanted: impl Fn(PartId) -> bool) -> Money {
    let price = |id: OfferId| {
        let offer = input.offers.iter().find(|it| it.id == id);
        offer.map(|offer| offer.price_minor)
    };
    let cuts = plan.cuts.iter().filter(|cut| wanted(cut.part));
    let prices = cuts.filter_map(|cut| match cut.source {
        CutSource::Buy { offer, .. } => price(offer?),
        CutSource::Piece { .. } => None,
    });
    Money::sum(prices).unwrap_or(Money::ZERO)
}

/// What the rolls of tape and the bars of profile cost that a plan buys: what
/// [`Plan::reuse_proof`] bounds.
pub fn paid_for_bars(plan: &Plan, input: &Input) -> Money {
    paid_for(plan, input, |part| is_for_bars(input, part))
}

/// How much less than found a sum may be, in minor units; `None` where that is not known.
fn gap(found: i64, proof: Proof<i64>) -> Option<i64> {
    match proof {
        // What was not asked had nothing to buy.
        Proof::Proven | Proof::Open { why: Why::NotAsked } => Some(0),
        Proof::Within { bound } => Some(found.saturating_sub(bound).max(0)),
        Proof::Open { .. } => None,
    }
}

/// The least that a plan of the same choices of tape could cost, each of its steps made as cheap as
/// its proof allows, in minor units; `None` where a step has neither proof nor bound.
pub(super) fn least_money(plan: &Plan, input: &Input) -> Option<i64> {
    let of_cuts = |proof: &CutProof| {
        // Without prices the bound is in millimetres, and nothing is paid.
        let paid = paid_for(plan, input, |part| part == proof.part).get();
        match proof.short {
            Proof::Proven if paid == 0 || !proof.priced => Some(0),
            Proof::Proven => gap(paid, proof.money),
            Proof::Within { .. } | Proof::Open { .. } => None,
        }
    };
    // The bound of reuse covers the cuts of tape and profile.
    let reuse = gap(paid_for_bars(plan, input).get(), plan.reuse_proof)?;
    let covered =
        |proof: &&CutProof| !plan.reuse_proof.is_proven() && is_for_bars(input, proof.part);
    let cuts = plan.proofs.iter().filter(|proof| !covered(proof));
    let cuts: i64 = cuts.map(of_cuts).sum::<Option<i64>>()?;
    let packs = gap(plan.cost.planned_minor.get(), plan.cost.proof)?;
    let power = gap(plan.power_proof.cost_minor.get(), plan.power_proof.cost)?;
    let all = reuse
        .saturating_add(cuts)
        .saturating_add(packs)
        .saturating_add(power);
    Some(plan.cost.planned_minor.get().saturating_sub(all).max(0))
}
