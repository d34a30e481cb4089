//! Searches the gap between a bound and the best plan: all patterns within it are listed, then gone
//! through state by state or branched on.

use super::{
    super::{
        list,
        pattern::{Cost, Counts, at_least},
        reach, tree,
    },
    Dual, Found, Level, Levels, up_to,
};

/// More patterns than this within a gap are not listed.
const MOST_LISTED: usize = 30_000;

/// A way to search a gap.
#[derive(Clone, Copy)]
enum Way {
    /// State by state, with so many of them.
    Reach(usize),
    /// By branching, with so many steps.
    Branch(u64),
}

impl Levels<'_> {
    /// Searches between the bound and the best plan from below, by what is quickest for small gaps
    /// first; gives what no plan is below.
    pub(super) fn close(&mut self, dual: &Dual, known: Option<i128>) -> i128 {
        let mut least = self.least(dual).max(known.unwrap_or(i128::MIN));
        self.listed = None;
        // Where all patterns up to the best plan are few, they are listed only once.
        let all = if self.level > Level::Solder {
            0
        } else {
            self.grain
        };
        let gap = (self.goal() - all) * i128::from(dual.scale) - dual.bound;
        if least < self.goal() {
            self.list(dual, gap, 6_000);
        }
        for way in [
            Way::Branch(8_000),
            Way::Reach(6_000),
            Way::Branch(40_000),
            Way::Reach(40_000),
            Way::Branch(200_000),
            Way::Reach(200_000),
            Way::Branch(u64::MAX),
        ] {
            if matches!(way, Way::Reach(_)) && self.level <= Level::Money {
                continue;
            }
            let mut target = least;
            let mut stride = up_to(((self.goal() - least) / 8).max(1), self.grain);
            while least < self.goal() && self.exact && !self.spent() {
                // State by state, plans that are better only in what matters less are found too.
                let all = matches!(way, Way::Reach(_)) && self.level > Level::Solder;
                target = target.min(self.goal() - if all { 0 } else { self.grain });
                let found = match way {
                    Way::Reach(states) => self.reach(dual, target, states),
                    Way::Branch(steps) => self.branch(dual, target, steps),
                };
                match found {
                    Found::Best(solution) => {
                        self.offer(solution);
                        // It is the best in what matters less too.
                        self.finished = all && self.exact;
                        return if self.exact { self.value() } else { least };
                    }
                    Found::Better(solution) => {
                        if !self.offer(solution) {
                            return least;
                        }
                        target = target.min(self.goal() - self.grain);
                    }
                    Found::None if !self.exact => return least,
                    Found::None => {
                        self.finished = target == self.value();
                        least = up_to(target + 1, self.grain);
                        target = least + stride;
                        stride *= 2;
                    }
                    Found::Stopped => break,
                }
            }
        }
        least
    }

    /// Goes state by state through all plans whose value is at most `target`.
    fn reach(&mut self, dual: &Dual, target: i128, most_states: usize) -> Found {
        let gap = target * i128::from(dual.scale) - dual.bound;
        let listed = self.list(dual, gap, 4 * most_states as u64);
        let Some(patterns) = listed else {
            return Found::Stopped;
        };
        let budgets: Vec<(&Dual, i128)> = std::iter::once((dual, gap))
            .chain(
                self.duals
                    .iter()
                    .map(|(level, dual)| (dual, self.may_exceed(*level, dual))),
            )
            .take(reach::MOST_BUDGETS)
            .collect();
        let small = |value: i128| {
            i64::try_from(value)
                .unwrap_or(i64::MAX / 4)
                .min(i64::MAX / 4)
        };
        let slacks = |of: &dyn Fn(&Dual) -> i128| {
            let mut slack = [0; reach::MOST_BUDGETS];
            for (slack, (dual, _)) in slack.iter_mut().zip(&budgets) {
                *slack = small(of(dual));
            }
            slack
        };
        let mut budget = [0; reach::MOST_BUDGETS];
        for (budget, (_, most)) in budget.iter_mut().zip(&budgets) {
            *budget = small(*most);
        }
        let options: Vec<reach::Taking> = patterns
            .into_iter()
            .map(|(class, counts, cost)| {
                let slack = slacks(&|dual| dual.slack(class, &counts, cost));
                reach::Taking {
                    class,
                    counts,
                    cost,
                    slack,
                }
            })
            .filter(|option| {
                option
                    .slack
                    .iter()
                    .zip(&budget)
                    .all(|(slack, most)| slack <= most)
            })
            .collect();
        let program = reach::Program {
            instance: self.instance,
            unused: self
                .instance
                .classes
                .iter()
                .enumerate()
                .map(|(class, of)| match of.available {
                    Some(many) if many <= reach::MOST_ALIKE => {
                        slacks(&|dual| -i128::from(dual.least[class]))
                    }
                    _ => [0; reach::MOST_BUDGETS],
                })
                .collect(),
            given_up: self.may_be_short.then(|| {
                (0..self.instance.kinds.len())
                    .map(|kind| {
                        slacks(&|dual| i128::from((dual.short - dual.weights.worth[kind]).max(0)))
                    })
                    .collect()
            }),
            budget,
            options,
            beat: self.cut_off(self.best.cost),
        };
        let most = self.most_steps.saturating_sub(self.steps);
        let (ended, steps) = reach::search(&program, most_states, most, self.stop);
        self.steps += steps;
        ended
    }

    /// Branches on all patterns that a plan whose value is at most `target` can have.
    fn branch(&mut self, dual: &Dual, target: i128, most_steps: u64) -> Found {
        let gap = target * i128::from(dual.scale) - dual.bound;
        let listed = self.list(dual, gap, 4 * most_steps.min(u64::MAX / 8));
        let Some(patterns) = listed else {
            return Found::Stopped;
        };
        let held: Vec<(Level, i128)> = self
            .held
            .iter()
            .map(|&(level, _)| (level, self.most(level)))
            .collect();
        let program = tree::Program {
            instance: self.instance,
            level: self.level,
            held,
            may_be_short: self.may_be_short,
            covering: !self.is_laid(),
            patterns,
            beat: target + 1,
        };
        let most = self.most_steps.saturating_sub(self.steps).min(most_steps);
        let (ended, steps) = tree::search(&program, most, self.stop);
        self.steps += steps;
        ended
    }

    /// Whether a plan no worse than the best in a proven level can have a pattern.
    fn affords(&self, level: Level, dual: &Dual, class: usize, counts: &[u32], cost: Cost) -> bool {
        dual.slack(class, counts, cost) <= self.may_exceed(level, dual)
    }

    /// By how much the slacks of a plan no worse than the best in a proven level may exceed nought.
    fn may_exceed(&self, level: Level, dual: &Dual) -> i128 {
        level.of(self.best.cost) * i128::from(dual.scale) - dual.bound
    }

    /// All patterns whose reduced cost lies within the gap; `None` where there are too many.
    fn list(
        &mut self,
        dual: &Dual,
        gap: i128,
        most_steps: u64,
    ) -> Option<Vec<(usize, Counts, Cost)>> {
        if let Some((known, patterns)) = &self.listed
            && *known >= gap
        {
            let within = |class: usize, counts: &[u32], cost: Cost| {
                dual.slack(class, counts, cost) <= gap
                    && self
                        .duals
                        .iter()
                        .all(|(level, dual)| self.affords(*level, dual, class, counts, cost))
            };
            let found = patterns
                .iter()
                .filter(|(class, counts, cost)| within(*class, counts, *cost))
                .cloned()
                .collect();
            self.steps += 1 + patterns.len() as u64 / 64;
            return Some(found);
        }
        let until = self.steps.saturating_add(most_steps);
        let duals = std::mem::take(&mut self.duals);
        let universe = self.universe.take();
        let found = match &universe {
            Some(all) => {
                self.steps += 1 + all.len() as u64 / 64;
                let mut all = all.iter().cloned();
                self.all_within(dual, gap, &duals, until, &mut all)
            }
            None => self.listed_anew(dual, gap, &duals, until),
        };
        self.universe = universe;
        self.duals = duals;
        let found = found?;
        self.listed = Some((gap, found.clone()));
        Some(found)
    }

    /// Of patterns those that a plan within the gap can have, with what they cost.
    fn all_within(
        &mut self,
        dual: &Dual,
        gap: i128,
        duals: &[(Level, Dual)],
        until: u64,
        patterns: &mut dyn Iterator<Item = (usize, Counts, Option<i64>)>,
    ) -> Option<Vec<(usize, Counts, Cost)>> {
        let mut found = Vec::new();
        for (class, counts, solder) in patterns {
            let cost = self.cost_in(dual, gap, (class, &counts, solder), duals);
            found.extend(cost.map(|cost| (class, counts, cost)));
            if self.steps > until || self.spent() || found.len() > MOST_LISTED {
                return None;
            }
        }
        Some(found)
    }

    /// Lists them class by class.
    fn listed_anew(
        &mut self,
        dual: &Dual,
        gap: i128,
        duals: &[(Level, Dual)],
        until: u64,
    ) -> Option<Vec<(usize, Counts, Cost)>> {
        let mut found = Vec::new();
        for class in 0..self.instance.classes.len() {
            if self.spent() {
                return None;
            }
            let sets = self.sets(dual, gap, duals, class, until)?;
            let by_solder = self.level == Level::Solder;
            let mut sets = sets.into_iter().map(|(counts, priced)| {
                // Where only soldering weighs anything, that is what a way costs.
                let solder = priced.filter(|_| by_solder).map(|priced| {
                    let solder = i128::from(priced) + dual.weights.worth_of(&counts);
                    let solder = solder / i128::from(dual.weights.solder);
                    i64::try_from(solder).unwrap_or(i64::MAX)
                });
                (class, counts, solder)
            });
            found.extend(self.all_within(dual, gap, duals, until, &mut sets)?);
            if found.len() > MOST_LISTED {
                return None;
            }
        }
        Some(found)
    }

    /// Sets of bars of a class that can be within the gap.
    fn sets(
        &mut self,
        dual: &Dual,
        gap: i128,
        duals: &[(Level, Dual)],
        class: usize,
        until: u64,
    ) -> Option<list::Sets> {
        let limit = |dual: &Dual, gap: i128| gap + i128::from(dual.least[class]);
        let mut limits = vec![list::Limit {
            weights: &dual.weights,
            most: limit(dual, gap),
        }];
        for (level, dual) in duals.iter().rev() {
            if *level > Level::Money {
                let weights = &dual.weights;
                let most = limit(dual, self.may_exceed(*level, dual));
                limits.push(list::Limit { weights, most });
            }
        }
        let by_joints = self.is_laid() && self.instance.classes[class].jointed;
        let how = (by_joints, !self.is_laid());
        let most = until.min(self.most_steps).saturating_sub(self.steps);
        let (sets, steps) = list::sets(
            self.instance,
            &limits,
            class,
            MOST_LISTED,
            how,
            (most, self.stop),
        );
        self.steps += 1 + steps;
        sets
    }

    /// Lists all that a plan with the least soldering can have.
    pub(super) fn find_universe(&mut self) {
        let Some((Level::Solder, dual)) = self.duals.last().cloned() else {
            return;
        };
        let gap = self.may_exceed(Level::Solder, &dual);
        let most = (self.most_steps.saturating_sub(self.steps) / 4).min(100_000);
        self.listed = None;
        if let Some(found) = self.list(&dual, gap, most) {
            let jointed = |class: usize| self.instance.classes[class].jointed;
            let patterns = found.into_iter().map(|(class, counts, cost)| {
                (class, counts, jointed(class).then_some(cost.solder))
            });
            self.universe = Some(patterns.collect());
        }
    }

    /// What a pattern costs, if a plan within the gap can have it.
    fn cost_in(
        &mut self,
        dual: &Dual,
        gap: i128,
        (class, counts, solder): (usize, &Counts, Option<i64>),
        duals: &[(Level, Dual)],
    ) -> Option<Cost> {
        let of = &self.instance.classes[class];
        let least = at_least(self.instance, of, counts);
        // It does not matter how bars lie, beyond what soldering they take.
        if !self.is_laid() || self.level == Level::Solder && solder.is_some() {
            let cost = Cost {
                money: least.money,
                solder: solder.filter(|_| self.level == Level::Solder).unwrap_or(0),
                ..Cost::default()
            };
            let cost = self.cut_off(cost);
            return (dual.slack(class, counts, cost) <= gap).then_some(cost);
        }
        let soldered = Cost {
            solder: solder.unwrap_or(least.solder),
            ..least
        };
        let cannot = self
            .held
            .iter()
            .any(|&(level, _)| level <= Level::Solder && level.of(soldered) > self.most(level));
        if cannot || dual.slack_at_least(self.instance, class, counts, soldered) > gap {
            return None;
        }
        let before = self.arrangements.spent;
        let best = self.arrangements.best(self.instance, class, counts);
        self.steps += 1 + (self.arrangements.spent - before);
        self.exact &= best.exact;
        let within = dual.slack(class, counts, best.cost) <= gap
            && self.held.iter().all(|&(level, _)| {
                level == Level::Squares || level.of(best.cost) <= self.most(level)
            })
            && duals
                .iter()
                .all(|(level, dual)| self.affords(*level, dual, class, counts, best.cost));
        within.then(|| self.cut_off(best.cost))
    }
}
