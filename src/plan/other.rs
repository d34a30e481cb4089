//! The same set planned another way: what a choice of the plan, or of its people, costs.
//!
//! Nothing is guessed. The other way is planned whole, with one thing changed, and both plans are
//! told in the same few figures.

use super::{
    Input, Plan,
    answer::{Proof, Why},
    outcome::{Joint, Serve},
    pin::Pin,
};
use crate::{
    model::{
        design::{LeftAlone, NotFrom},
        id::{BarId, OfferId, PartId, SupplierId, ThingId},
        part::PartSpec,
        text::Note,
    },
    units::Money,
};

/// What is changed before the set is planned again.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Other {
    /// These pins are taken out.
    Without(Vec<Pin>),
    /// This roll, offcut or fixture is left alone.
    LeavingAlone(ThingId),
    /// Nothing is bought by this offer.
    NotBuying(OfferId),
    /// Nothing is bought from this supplier.
    NotBuyingFrom(SupplierId),
    /// This fixture serves this bar.
    Choosing(BarId, ThingId),
    /// The bar is as long as this fixture, and this fixture serves it.
    Fitting(BarId, ThingId),
    /// These bars are made of this tape.
    Taping(PartId, Vec<BarId>),
    /// This driver or supply is used throughout.
    Throughout(PartId),
}

impl Other {
    /// The changed question; `None` where it names something that is not there.
    pub fn ask(&self, input: &Input) -> Option<Input> {
        let mut input = input.clone();
        match self {
            Self::Without(pins) => {
                for pin in pins {
                    pin.take_out(&mut input.design);
                }
            }
            Self::LeavingAlone(thing) => {
                for bar in &mut input.design.bars {
                    bar.fixture = bar.fixture.filter(|fixture| fixture != thing);
                }
                input.design.left_alone.push(LeftAlone {
                    thing: *thing,
                    note: Note::default(),
                });
            }
            Self::NotBuying(id) => {
                let before = input.offers.len();
                input.offers.retain(|offer| offer.id != *id);
                (input.offers.len() < before).then_some(())?;
            }
            Self::NotBuyingFrom(supplier) => {
                let (supplier, note) = (*supplier, Note::default());
                input.design.not_from.push(NotFrom { supplier, note });
            }
            Self::Choosing(id, fixture) => {
                let bar = input.design.bars.iter_mut().find(|bar| bar.id == *id)?;
                bar.fixture = Some(*fixture);
            }
            Self::Fitting(id, fixture) => {
                let mut spares = input.stock.fixtures.iter();
                let spare = spares.find(|spare| spare.fixture.id == *fixture)?;
                let bar = input.design.bars.iter_mut().find(|bar| bar.id == *id)?;
                bar.length_um = spare.fixture.make.lit_um;
                bar.fixture = Some(*fixture);
            }
            Self::Taping(tape, bars) => {
                let wanted = input.design.bars.iter_mut();
                for bar in wanted.filter(|bar| bars.contains(&bar.id)) {
                    bar.tape = Some(*tape);
                }
            }
            Self::Throughout(id) => {
                let part = input.parts.iter().find(|part| part.id == *id)?;
                let choices = &mut input.design.choices;
                match part.spec {
                    PartSpec::Driver(_) => choices.driver = Some(*id),
                    PartSpec::Supply(_) => choices.supply = Some(*id),
                    _ => return None,
                }
            }
        }
        Some(input)
    }
}

/// A plan in the few figures by which two of them are compared.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Tally {
    /// Bars that nothing can make.
    pub short: usize,
    /// Bars that are built.
    pub built: usize,
    /// What is to be bought, deliveries included, as far as it has a price.
    pub money: Money,
    /// Parts that are short and have no price.
    pub unpriced: u32,
    /// Ends to which a lead is soldered.
    pub soldered: usize,
    /// Of those, ends on a mark without pre-tinned pads.
    pub on_marks: usize,
    /// Limits that are broken or not known.
    pub not_kept: usize,
    /// Whether every part of it that has a proof is proven.
    pub proven: bool,
}

impl Tally {
    /// A plan's figures.
    pub fn of(plan: &Plan) -> Self {
        let joints = || {
            let built = plan.bars.iter().filter_map(|bar| match &bar.serve {
                Serve::Build(build) => Some([build.start, build.end]),
                Serve::Reuse { .. } | Serve::Short { .. } => None,
            });
            built.flatten()
        };
        let is_short = |serve: &Serve| matches!(serve, Serve::Short { .. });
        let is_built = |serve: &Serve| matches!(serve, Serve::Build(_));
        let bars = |is: &dyn Fn(&Serve) -> bool| {
            let bars = plan.bars.iter();
            bars.filter(|bar| is(&bar.serve)).count()
        };
        Self {
            short: bars(&is_short),
            built: bars(&is_built),
            money: plan.cost.planned_minor,
            unpriced: plan.cost.unpriced,
            soldered: joints()
                .filter(|joint| matches!(joint, Joint::Tinned | Joint::Mark))
                .count(),
            on_marks: joints().filter(|joint| *joint == Joint::Mark).count(),
            not_kept: plan
                .checks
                .iter()
                .filter(|check| check.state <= super::outcome::CheckState::Unknown)
                .count(),
            proven: plan.reuse_proof.is_proven()
                && plan.cost.proof.is_proven()
                && !matches!(
                    plan.power_proof.cost,
                    Proof::Within { .. }
                        | Proof::Open {
                            why: Why::StepBudget
                        }
                )
                && plan.proofs.iter().all(|proof| {
                    let (money, solder) = (proof.money.is_proven(), proof.solder.is_proven());
                    proof.short.is_proven() && money && solder
                }),
        }
    }
}
