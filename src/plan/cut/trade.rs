//! What soldering saves: for each number of ends that are soldered, the least money.
//!
//! # Method
//! The plan that solders least is solved with soldering before money, the cheapest one with money
//! before soldering. From the cheapest on, the least money with one end less than before is solved
//! until the first is reached (the ε-constraint method; Y. Y. Haimes, L. S. Lasdon, D. A. Wismer,
//! IEEE Transactions on Systems, Man and Cybernetics 1, 1971). Every end that lies on no lead counts
//! alike here, so that joints make no difference and pieces are priced by length alone.

use super::{
    CutPlan, Effort, Problem, Refusal, SolderWeights, check,
    levels::{Done, Level, Levels},
    pattern::{Arrangements, Instance},
    search::{self, Solution},
    write::written_out,
};
use crate::plan::answer::{Proof, Why};

/// A way to cut with so many soldered ends.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TradePoint {
    /// How many ends are soldered: fed ends that lie on no lead.
    pub ends: u64,
    /// How to cut so. Its soldering work counts ends; of its proofs only that of money is meant for
    /// this number of ends, see [`TradePoint::money`].
    pub plan: CutPlan,
    /// What is known of the money: no plan with so few soldered ends costs less.
    pub money: Proof<i64>,
}

/// Money against soldering.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TradeOff {
    /// From the fewest soldered ends and the most money on; each costs less than the one before.
    pub points: Vec<TradePoint>,
    /// Every number of ends between them is known to save nothing, none before the first is
    /// possible, and none behind the last saves anything.
    pub proven: bool,
}

/// Works out what each soldered end saves, among plans with the fewest bars short.
pub fn trade_off(problem: &Problem, effort: &Effort<'_>) -> Result<TradeOff, Refusal> {
    check(problem)?;
    let counting = Problem {
        weights: SolderWeights {
            lead: 0,
            joint: 1,
            mark: 1,
        },
        ..problem.clone()
    };
    let instance = Instance::new(&counting);
    let mut curve = Curve {
        problem: &counting,
        instance: &instance,
        arrangements: Arrangements::default(),
        effort,
        steps: 0,
        proven: true,
    };
    Ok(curve.run())
}

struct Curve<'a> {
    problem: &'a Problem,
    instance: &'a Instance,
    arrangements: Arrangements,
    effort: &'a Effort<'a>,
    steps: u64,
    proven: bool,
}

impl Curve<'_> {
    fn run(&mut self) -> TradeOff {
        let start = search::start(self.instance, &mut self.arrangements);
        let Some((last, money)) = self.solved(&Level::ALL, None, start) else {
            return TradeOff {
                points: Vec::new(),
                proven: false,
            };
        };
        let mut points = vec![self.point(&last, money)];
        if let Some((first, money)) = self.solved(&Level::SOLDER_FIRST, None, last.clone())
            && first.cost.short == last.cost.short
            && first.cost.money > last.cost.money
        {
            let fewest = first.cost.solder;
            let mut ends = last.cost.solder;
            while ends > fewest {
                let Some((next, money)) = self.solved(&Level::ALL, Some(ends - 1), first.clone())
                else {
                    break;
                };
                ends = next.cost.solder;
                points.push(self.point(&next, money));
            }
            if ends > fewest {
                points.push(self.point(&first, money));
            }
        }
        points.reverse();
        // Where a proof is missing, a point may turn out to save nothing.
        let mut cheapest = i64::MAX;
        points.retain(|point| {
            let saves = point.plan.purchase_minor < cheapest;
            cheapest = cheapest.min(point.plan.purchase_minor);
            saves
        });
        TradeOff {
            points,
            proven: self.proven,
        }
    }

    /// The best in an order, with a cap on soldered ends, and what is known of its money; `None`
    /// where it is too large or time is up.
    fn solved(
        &mut self,
        order: &'static [Level],
        cap: Option<i64>,
        start: Solution,
    ) -> Option<(Solution, Proof<i64>)> {
        let left = self.effort.steps.saturating_sub(self.steps);
        if left == 0 || (self.effort.stop)() {
            self.proven = false;
            return None;
        }
        if self.instance.kinds.is_empty() {
            return Some((start, Proof::Proven));
        }
        let most = left.min(self.effort.steps / 4 + 1);
        let levels = Levels::in_order(
            order,
            cap,
            self.instance,
            &mut self.arrangements,
            start,
            (most, self.effort.stop),
        );
        let Some(mut levels) = levels else {
            self.proven = false;
            return None;
        };
        let done = levels.prove(Level::Solder, |_, _| false);
        self.steps += levels.steps + 1;
        let best = levels.best;
        let of_money = order.iter().position(|&level| level == Level::Money);
        let money = match of_money.and_then(|at| done.get(at)) {
            Some(Done::Proven) => Proof::Proven,
            Some(Done::Bound(bound)) => Proof::from_bound(
                &best.cost.money,
                i64::try_from((*bound).max(0)).unwrap_or(0),
            ),
            Some(Done::Open) => Proof::Open {
                why: Why::StepBudget,
            },
            None => Proof::Open {
                why: Why::EarlierOpen,
            },
        };
        self.proven &= done.len() == 3 && done.iter().all(|done| *done == Done::Proven);
        Some((best, money))
    }

    fn point(&mut self, solution: &Solution, money: Proof<i64>) -> TradePoint {
        let mut solution = solution.clone();
        solution.pieces.sort();
        let mut plan = written_out(
            self.problem,
            self.instance,
            &mut self.arrangements,
            &solution,
        );
        plan.proof.money = money;
        TradePoint {
            ends: plan.solder_work,
            plan,
            money,
        }
    }
}
