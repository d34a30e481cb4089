//! All wants together: which suppliers send a parcel, and which are filled up to their free sum.

use std::collections::HashMap;

use super::{
    Aim, Choice, Line, Question, Steps,
    one::{self, Mask, Mix, has},
};
use crate::plan::answer::{Bounded, Proof, Why};

/// What is decided about a supplier.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum State {
    /// Its delivery is paid for.
    Paid,
    /// Its goods reach the sum from which the delivery is free.
    Filled,
    /// It sends nothing.
    Out,
}

/// Wants bought so far: what is spent at the suppliers that are filled up, up to what is asked of
/// each, what everything costs, and how it came.
#[derive(Debug, Clone)]
struct Label {
    cost: i64,
    spent: Vec<i64>,
    parent: usize,
    option: usize,
}

fn capped(mut spent: Vec<i64>, goals: &[i64]) -> Vec<i64> {
    for (sum, goal) in spent.iter_mut().zip(goals) {
        *sum = (*sum).min(*goal);
    }
    spent
}

/// The labels than which no other costs less or as much and spends as much everywhere, by cost;
/// `None` when the steps ran out.
fn best_of(mut labels: Vec<Label>, steps: &mut Steps) -> Option<Vec<Label>> {
    labels.sort_by(|a, b| a.cost.cmp(&b.cost).then_with(|| b.spent.cmp(&a.spent)));
    let mut kept: Vec<Label> = Vec::new();
    let alone = labels.first().is_some_and(|label| label.spent.len() == 1);
    for label in labels {
        let beats = |known: &Label| {
            let pairs = known.spent.iter().zip(&label.spent);
            pairs.into_iter().all(|(known, own)| known >= own)
        };
        // At one supplier the last one kept spent the most so far.
        let beaten = if alone {
            kept.last().is_some_and(beats)
        } else {
            kept.iter().any(beats)
        };
        if !beaten {
            kept.push(label);
        }
        // Each was held against those kept before it.
        let compared = if alone { 0 } else { kept.len() as u64 / 64 };
        if !steps.take_many(1 + compared) {
            return None;
        }
    }
    Some(kept)
}

/// How good a choice is: parcels where they count first, money, parcels.
type Rank = (usize, i64, usize);

struct Search<'a> {
    asked: &'a Question,
    aim: Aim,
    steps: Steps,
    /// The cheapest mix of a want at a set of suppliers.
    known: HashMap<(usize, Mask), Option<Mix>>,
    best: Option<(Rank, Choice)>,
}

/// Finds the best choice, see [`super::cheapest`]; `None` where something is sold by nobody.
pub(super) fn solve(asked: &Question, aim: Aim, steps: u64) -> Option<Bounded<Choice, i64>> {
    let mut search = Search {
        asked,
        aim,
        steps: Steps { left: steps.max(1) },
        known: HashMap::new(),
        best: None,
    };
    let every = (0..asked.suppliers.len()).fold(0, |mask: Mask, at| mask | 1 << at);
    let bound = search.bound(every, 0);
    let bound = bound.filter(|_| !search.steps.used_up());
    let mut states = Vec::with_capacity(asked.suppliers.len());
    search.walk(&mut states, every, 0);
    let ended = !search.steps.used_up();
    if search.best.is_none() {
        let mixes: Vec<Mix> = asked.wants.iter().map(one::single).collect::<Option<_>>()?;
        search.keep(&mixes);
    }
    let (rank, choice) = search.best?;
    let proof = match bound {
        _ if ended => Proof::Proven,
        Some(bound) if aim == Aim::Money && bound == rank.1 => Proof::Proven,
        Some(bound) => Proof::Within {
            bound: bound.min(rank.1),
        },
        None => Proof::Open {
            why: Why::StepBudget,
        },
    };
    Some(Bounded {
        value: choice,
        proof,
    })
}

impl Search<'_> {
    /// The cheapest mix of a want at some suppliers.
    fn least(&mut self, want: usize, suppliers: Mask) -> Option<&Mix> {
        let offers = &self.asked.wants[want].offers;
        let selling = offers
            .iter()
            .fold(0, |mask: Mask, offer| mask | 1 << offer.supplier);
        let key = (want, suppliers & selling);
        if !self.known.contains_key(&key) {
            let mix = one::least(&self.asked.wants[want], key.1, &mut self.steps);
            self.known.insert(key, mix);
        }
        self.known.get(&key)?.as_ref()
    }

    /// What everything costs at least at some suppliers, with deliveries decided so far.
    fn bound(&mut self, suppliers: Mask, deliveries: i64) -> Option<i64> {
        let mut sum = deliveries;
        for want in 0..self.asked.wants.len() {
            sum = sum.checked_add(self.least(want, suppliers)?.cost)?;
        }
        Some(sum)
    }

    /// Whether a choice of at least so many parcels and so much money can be better than the best.
    fn hopeful(&self, parcels: usize, money: i64) -> bool {
        let Some((best, _)) = &self.best else {
            return true;
        };
        match self.aim {
            Aim::Money => (0, money, parcels) < *best,
            Aim::Parcels => (parcels, money, parcels) < *best,
        }
    }

    fn walk(&mut self, states: &mut Vec<State>, open: Mask, deliveries: i64) {
        if !self.steps.take() {
            return;
        }
        let parcels = states.iter().filter(|state| **state != State::Out).count();
        let Some(bound) = self.bound(open, deliveries) else {
            return;
        };
        if !self.hopeful(parcels, bound) {
            return;
        }
        let at = states.len();
        let Some(supplier) = self.asked.suppliers.get(at).copied() else {
            self.leaf(states, open, deliveries);
            return;
        };
        let ways = [State::Paid, State::Filled, State::Out];
        for way in ways {
            let fillable = supplier.free_from_minor.is_some() && supplier.delivery_minor > 0;
            if way == State::Filled && !fillable {
                continue;
            }
            let (open, more) = match way {
                State::Paid => (open, supplier.delivery_minor),
                State::Filled => (open, 0),
                State::Out => (open & !(1 << at), 0),
            };
            states.push(way);
            self.walk(states, open, deliveries.saturating_add(more));
            states.pop();
        }
    }

    fn leaf(&mut self, states: &[State], open: Mask, deliveries: i64) {
        let filled: Vec<usize> = (0..states.len())
            .filter(|at| states[*at] == State::Filled)
            .collect();
        if !filled.is_empty() {
            self.join(&filled, open, deliveries);
            return;
        }
        let wants = 0..self.asked.wants.len();
        let mixes: Option<Vec<Mix>> = wants.map(|want| self.least(want, open).cloned()).collect();
        if let Some(mixes) = mixes {
            self.keep(&mixes);
        }
    }

    /// Joins the mixes of all wants so that the goods of the filled suppliers reach their sums.
    fn join(&mut self, filled: &[usize], open: Mask, deliveries: i64) {
        let wants = self.asked.wants.len();
        let mut rest = vec![0_i64; wants + 1];
        for want in (0..wants).rev() {
            let Some(mix) = self.least(want, open) else {
                return;
            };
            rest[want] = rest[want + 1].saturating_add(mix.cost);
        }
        // A choice that is good, if not best, keeps what must be gone through small.
        self.top_up(filled, open);
        // Without a choice yet, paying for every delivery is what filling up must beat.
        let charges: i64 = filled
            .iter()
            .map(|at| self.asked.suppliers[*at].delivery_minor)
            .sum();
        let limit = match (&self.best, self.aim) {
            (Some((best, _)), Aim::Money) => best.1.saturating_sub(deliveries),
            _ => rest[0].saturating_add(charges),
        }
        .min(rest[0].saturating_add(charges));
        let goals: Vec<i64> = filled
            .iter()
            .map(|at| self.asked.suppliers[*at].free_from_minor.unwrap_or(0))
            .collect();
        let fill: Mask = filled.iter().fold(0, |mask: Mask, at| mask | 1 << at);
        let slack = limit.saturating_sub(rest[0]);
        let mut mixes: Vec<Vec<Mix>> = Vec::with_capacity(wants);
        let mut stages: Vec<Vec<Label>> = vec![vec![Label {
            cost: 0,
            spent: vec![0; filled.len()],
            parent: 0,
            option: 0,
        }]];
        for want in 0..wants {
            let own = (rest[want] - rest[want + 1]).saturating_add(slack);
            let asked = &self.asked.wants[want];
            let mut some = one::fills(asked, open, fill, own, &mut self.steps);
            let spends = |mix: &Mix| -> Vec<i64> {
                let at = |at: &usize| {
                    asked
                        .offers
                        .iter()
                        .zip(&mix.packs)
                        .filter(|(offer, _)| offer.supplier == *at)
                        .map(|(offer, packs)| {
                            offer.price_minor * i64::try_from(*packs).unwrap_or(0)
                        })
                        .sum()
                };
                filled.iter().map(at).collect()
            };
            let options = some
                .iter()
                .enumerate()
                .map(|(option, mix)| Label {
                    cost: mix.cost,
                    spent: capped(spends(mix), &goals),
                    parent: 0,
                    option,
                })
                .collect();
            let Some(options) = best_of(options, &mut self.steps) else {
                return;
            };
            let mut next = Vec::new();
            for (parent, label) in stages[want].iter().enumerate() {
                for option in &options {
                    let cost = label.cost + option.cost;
                    if cost.saturating_add(rest[want + 1]) > limit {
                        // Options come by cost.
                        break;
                    }
                    if !self.steps.take() {
                        return;
                    }
                    let sums = label.spent.iter().zip(&option.spent);
                    next.push(Label {
                        cost,
                        spent: capped(sums.map(|(a, b)| a + b).collect(), &goals),
                        parent,
                        option: option.option,
                    });
                }
            }
            let Some(next) = best_of(next, &mut self.steps) else {
                return;
            };
            stages.push(next);
            mixes.push(std::mem::take(&mut some));
        }
        let end = stages[wants]
            .iter()
            .enumerate()
            .filter(|(_, label)| label.spent == goals)
            .min_by_key(|(at, label)| (label.cost, *at))
            .map(|(at, _)| at);
        let Some(mut at) = end else {
            return;
        };
        let mut chosen = Vec::with_capacity(wants);
        for want in (0..wants).rev() {
            let label = &stages[want + 1][at];
            chosen.push(mixes[want][label.option].clone());
            at = label.parent;
        }
        chosen.reverse();
        self.keep(&chosen);
    }

    /// The cheapest mix of every want, with as many more packs of one offer at each filled supplier as
    /// lift its goods to the sum from which it delivers free.
    fn top_up(&mut self, filled: &[usize], open: Mask) {
        let wants = 0..self.asked.wants.len();
        let mixes: Option<Vec<Mix>> = wants.map(|want| self.least(want, open).cloned()).collect();
        let Some(mut mixes) = mixes else {
            return;
        };
        for at in filled {
            let goal = self.asked.suppliers[*at].free_from_minor.unwrap_or(0);
            let goods = |mixes: &[Mix]| -> i64 {
                let sum = |(want, mix): (&super::Want, &Mix)| -> i64 {
                    let packs = want.offers.iter().zip(&mix.packs);
                    packs
                        .filter(|(offer, _)| offer.supplier == *at)
                        .map(|(offer, packs)| {
                            let packs = i64::try_from(*packs).unwrap_or(i64::MAX);
                            offer.price_minor.saturating_mul(packs)
                        })
                        .fold(0, i64::saturating_add)
                };
                let wants = self.asked.wants.iter().zip(mixes);
                wants.map(sum).fold(0, i64::saturating_add)
            };
            let short = goal.saturating_sub(goods(&mixes));
            if short <= 0 {
                continue;
            }
            let mut ways = Vec::new();
            for (want, asked) in self.asked.wants.iter().enumerate() {
                for (place, offer) in asked.offers.iter().enumerate() {
                    if offer.supplier != *at || offer.price_minor <= 0 {
                        continue;
                    }
                    let has = mixes[want].packs[place];
                    let more =
                        u64::try_from((short - 1) / offer.price_minor + 1).unwrap_or(u64::MAX);
                    let more = more.max(offer.minimum_packs.saturating_sub(has));
                    let cost = i64::try_from(more)
                        .ok()
                        .and_then(|more| offer.price_minor.checked_mul(more));
                    if let Some(cost) = cost {
                        ways.push((cost, want, place, more));
                    }
                }
            }
            let Some((cost, want, place, more)) = ways.into_iter().min() else {
                return;
            };
            let mix = &mut mixes[want];
            mix.packs[place] = mix.packs[place].saturating_add(more);
            mix.cost = mix.cost.saturating_add(cost);
        }
        self.keep(&mixes);
    }

    /// Keeps a choice if it is better than the best so far.
    fn keep(&mut self, mixes: &[Mix]) {
        let suppliers = self.asked.suppliers.len();
        let mut goods = vec![0_i64; suppliers];
        let mut sends: Mask = 0;
        let (mut lines, mut left_over) = (Vec::new(), Vec::new());
        for (at, (want, mix)) in self.asked.wants.iter().zip(mixes).enumerate() {
            let mut bought = 0_u64;
            for (place, (offer, packs)) in want.offers.iter().zip(&mix.packs).enumerate() {
                if *packs > 0 {
                    sends |= 1 << offer.supplier;
                    goods[offer.supplier] += offer.price_minor * i64::try_from(*packs).unwrap_or(0);
                    bought = bought.saturating_add(packs.saturating_mul(offer.pack));
                    lines.push(Line {
                        want: at,
                        offer: place,
                        packs: *packs,
                    });
                }
            }
            left_over.push(bought.saturating_sub(want.needed));
        }
        let delivery: Vec<i64> = (0..suppliers)
            .map(|at| {
                if has(sends, at) {
                    self.asked.suppliers[at].delivery(goods[at])
                } else {
                    0
                }
            })
            .collect();
        let cost_minor = goods.iter().sum::<i64>() + delivery.iter().sum::<i64>();
        let parcels = sends.count_ones() as usize;
        let rank = match self.aim {
            Aim::Money => (0, cost_minor, parcels),
            Aim::Parcels => (parcels, cost_minor, parcels),
        };
        if self.best.as_ref().is_none_or(|(best, _)| rank < *best) {
            let choice = Choice {
                lines,
                goods_minor: goods,
                delivery_minor: delivery,
                cost_minor,
                parcels,
                left_over,
            };
            self.best = Some((rank, choice));
        }
    }
}
