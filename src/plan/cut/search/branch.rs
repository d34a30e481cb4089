//! Branch and bound over all ways to cut: the longest bar still wanted first.

use std::{collections::HashMap, rc::Rc};

use super::{
    super::{
        bound::{Bounds, Load},
        pattern::{self, Arrangements, Cost, Counts, Instance},
    },
    Search, Solution,
};

/// Patterns looked at that count as one step.
const PER_STEP: u64 = 4;

/// One way to cut one piece.
struct Pattern {
    class: usize,
    counts: Counts,
    /// No arrangement of it costs less; what the best one costs is found when it is needed.
    at_least: Cost,
}

/// All ways to cut the pieces at hand, by the longest kind of bar in them; `None` when there
/// are more than `most`.
fn patterns(
    instance: &Instance,
    demand: &[u32],
    available: &[Option<u32>],
    most: usize,
) -> Option<Vec<Vec<Pattern>>> {
    let mut by_longest: Vec<Vec<Pattern>> = demand.iter().map(|_| Vec::new()).collect();
    let mut number = 0;
    let mut sets = Vec::new();
    for (class, of) in instance.classes.iter().enumerate() {
        if available[class] == Some(0) {
            continue;
        }
        sets.clear();
        let mut counts = vec![0; demand.len()];
        if !extend(
            instance,
            demand,
            0,
            instance.room(of),
            &mut counts,
            &mut sets,
            most - number,
        ) {
            return None;
        }
        number += sets.len();
        for counts in sets.drain(..) {
            if let Some(longest) = counts.iter().position(|&count| count > 0) {
                by_longest[longest].push(Pattern {
                    class,
                    at_least: pattern::at_least(instance, of, &counts),
                    counts,
                });
            }
        }
    }
    Some(by_longest)
}

/// Adds to `sets` all non-empty sets from `kind` on; false when there would be too many.
fn extend(
    instance: &Instance,
    demand: &[u32],
    kind: usize,
    room: i64,
    counts: &mut Vec<u32>,
    sets: &mut Vec<Counts>,
    most: usize,
) -> bool {
    if kind == demand.len() {
        if counts.iter().any(|&count| count > 0) {
            if sets.len() >= most {
                return false;
            }
            sets.push(Rc::from(counts.as_slice()));
        }
        return true;
    }
    let takes = instance.takes(kind);
    let fit = u32::try_from(room / takes)
        .unwrap_or(u32::MAX)
        .min(demand[kind]);
    for count in (0..=fit).rev() {
        counts[kind] = count;
        let room = room - takes * i64::from(count);
        if !extend(instance, demand, kind + 1, room, counts, sets, most) {
            return false;
        }
    }
    counts[kind] = 0;
    true
}

/// One way on from a state of the search.
struct Choice {
    /// The least that can come of it.
    least: Cost,
    /// A pattern and what it costs; `None` gives the kind of bar up.
    piece: Option<(usize, Cost)>,
    after: Load,
}

/// Depth-first branch and bound: the longest bar still wanted is cut from some piece, with
/// whatever else comes from that piece, or all of its kind are given up.
struct Branch<'a> {
    instance: &'a Instance,
    bounds: &'a Bounds,
    patterns: &'a [Vec<Pattern>],
    arrangements: &'a mut Arrangements,
    /// All arrangements looked at are as good as can be.
    exact: bool,
    /// The classes of which there are some, but not any number.
    limited: Vec<usize>,
    /// The cheapest way each state was reached.
    reached: HashMap<Vec<u32>, Cost>,
    best: Cost,
    found: Option<Solution>,
    pieces: Vec<(usize, Counts)>,
    short: Vec<u32>,
    steps: u64,
    most_steps: u64,
    stop: &'a dyn Fn() -> bool,
}

impl Branch<'_> {
    fn stopped(&self) -> bool {
        self.steps + self.arrangements.spent >= self.most_steps || (self.stop)()
    }

    fn descend(
        &mut self,
        demand: &mut Vec<u32>,
        left: &mut Vec<Option<u32>>,
        load: &Load,
        cost: Cost,
    ) {
        let Some(kind) = demand.iter().position(|&count| count > 0) else {
            if cost < self.best {
                self.best = cost;
                self.found = Some(Solution {
                    cost,
                    pieces: self.pieces.clone(),
                    short: self.short.clone(),
                });
            }
            return;
        };
        let key: Vec<u32> = demand
            .iter()
            .copied()
            .chain(self.limited.iter().filter_map(|&class| left[class]))
            .collect();
        match self.reached.get_mut(&key) {
            Some(known) if *known <= cost => return,
            Some(known) => *known = cost,
            None => {
                self.reached.insert(key, cost);
            }
        }

        let mut choices: Vec<Choice> = Vec::new();
        for (index, pattern) in self.patterns[kind].iter().enumerate() {
            self.steps += 1;
            let fits = left[pattern.class] != Some(0)
                && pattern
                    .counts
                    .iter()
                    .zip(&*demand)
                    .all(|(count, demand)| count <= demand);
            if !fits {
                continue;
            }
            let after = self
                .bounds
                .after(load, self.instance, pattern.class, &pattern.counts);
            let rest = self.bounds.least(&after);
            if cost.plus(pattern.at_least).plus(rest) >= self.best {
                continue;
            }
            let best = self
                .arrangements
                .best(self.instance, pattern.class, &pattern.counts);
            self.exact &= best.exact;
            let least = cost.plus(best.cost).plus(rest);
            if least < self.best {
                choices.push(Choice {
                    least,
                    piece: Some((index, best.cost)),
                    after,
                });
            }
        }
        self.steps += 1;
        let given_up = Cost {
            short: i64::from(demand[kind]),
            ..Cost::default()
        };
        let after = self.bounds.without(load, kind, demand[kind]);
        let least = cost.plus(given_up).plus(self.bounds.least(&after));
        if least < self.best {
            choices.push(Choice {
                least,
                piece: None,
                after,
            });
        }
        choices.sort_by_key(|choice| choice.least);

        for Choice {
            least,
            piece,
            after,
        } in choices
        {
            if self.stopped() {
                return;
            }
            if least >= self.best {
                break;
            }
            if let Some((index, of_piece)) = piece {
                let pattern = &self.patterns[kind][index];
                for (demand, count) in demand.iter_mut().zip(&*pattern.counts) {
                    *demand -= count;
                }
                left[pattern.class] = left[pattern.class].map(|many| many - 1);
                self.pieces
                    .push((pattern.class, Rc::clone(&pattern.counts)));
                self.descend(demand, left, &after, cost.plus(of_piece));
                self.pieces.pop();
                left[pattern.class] = left[pattern.class].map(|many| many + 1);
                for (demand, count) in demand.iter_mut().zip(&*pattern.counts) {
                    *demand += count;
                }
            } else {
                let count = std::mem::take(&mut demand[kind]);
                self.short[kind] += count;
                self.descend(demand, left, &after, cost.plus(given_up));
                self.short[kind] -= count;
                demand[kind] = count;
            }
        }
    }
}

/// What a branch and bound gave.
pub(super) struct Outcome {
    /// Something better than the cost to beat, if found.
    pub found: Option<Solution>,
    /// Nothing is left to try.
    pub complete: bool,
    /// All patterns were laid as well as can be.
    pub exact: bool,
}

impl Search<'_> {
    /// Looks for a way to serve `demand` from `available` that costs less than `beat`.
    pub(super) fn branch(
        &mut self,
        demand: &[u32],
        available: &[Option<u32>],
        beat: Cost,
        most_patterns: usize,
        most_steps: u64,
    ) -> Outcome {
        let Some(patterns) = patterns(self.instance, demand, available, most_patterns) else {
            self.steps += most_patterns as u64 / 16;
            return Outcome {
                found: None,
                complete: false,
                exact: false,
            };
        };
        let number: usize = patterns.iter().map(Vec::len).sum();
        let before = self.arrangements.spent;
        let mut branch = Branch {
            instance: self.instance,
            bounds: &self.bounds,
            patterns: &patterns,
            arrangements: &mut self.arrangements,
            exact: true,
            limited: (0..available.len())
                .filter(|&class| available[class].is_some_and(|many| many > 0))
                .collect(),
            reached: HashMap::new(),
            best: beat,
            found: None,
            pieces: Vec::new(),
            short: vec![0; demand.len()],
            steps: 1 + number as u64 / 4,
            most_steps: before + most_steps.saturating_mul(PER_STEP),
            stop: self.stop,
        };
        let load = self.bounds.load(self.instance, demand, available);
        branch.descend(
            &mut demand.to_vec(),
            &mut available.to_vec(),
            &load,
            Cost::default(),
        );
        let outcome = Outcome {
            complete: !branch.stopped(),
            found: branch.found,
            exact: branch.exact,
        };
        self.steps += (branch.steps + self.arrangements.spent - before).div_ceil(PER_STEP);
        outcome
    }
}
