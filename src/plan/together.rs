//! Fixtures and cuts decided together: which bars get the spare fixtures so that the money, then
//! the soldering, for the others is least.
//!
//! # Contract
//! Serving one bar more never costs more: what is cut for the others can still be cut. So as many
//! bars are served as can be, and what is chosen is which. Bars that ask for the same are alike;
//! what matters is how many of each are served. Among all such choices the one is taken whose other
//! bars leave the fewest short, cost the least money, then the least soldering; mismatch and place
//! only break ties.
//!
//! # Method
//! The sets of bars that fixtures can serve together are those that a matching covers: a matroid
//! (J. Edmonds and D. R. Fulkerson, *Transversals and matroid partition*, Journal of Research of
//! the National Bureau of Standards 69B, 1965), and its bases are connected by exchanges of one bar
//! for another. From the assignment of least mismatch on, exchanges are tried from the best choice
//! found so far; each choice is judged by cutting what is left to build.
//!
//! # Proof
//! Proven where every choice was judged, and each of them by cuts that are proven themselves; a
//! search that stops before says so.

use std::collections::{BTreeMap, BTreeSet};

use super::answer::{Proof, Why};

/// What the bars cost that are still to be built, in the order in which it counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Score {
    /// Bars that nothing can make.
    pub(super) short: usize,
    /// What the rolls and bars to buy cost, in minor units.
    pub(super) money: i64,
    /// Millimetres to buy that have no price.
    pub(super) unpriced_mm: i64,
    /// Soldering work.
    pub(super) solder: u64,
    /// Whether no other cuts cost less; compared last, so that of equals a proven one is taken.
    pub(super) unproven: bool,
}

/// Bars that ask for the same, and the fixtures that are alike to them.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Kinds {
    /// How many bars there are of each kind.
    pub(super) bars: Vec<usize>,
    /// Which bars are cut alike: the number of their cut, by kind.
    pub(super) cut_as: Vec<usize>,
    /// Fixtures that serve the same kinds: those kinds, and how many fixtures.
    pub(super) fixtures: Vec<(BTreeSet<usize>, usize)>,
}

/// Which fixtures serve which kinds.
#[derive(Debug, Clone)]
struct Given {
    /// Fixtures of each group that serve nothing.
    left: Vec<usize>,
    /// How many of each group serve each kind.
    to: Vec<Vec<usize>>,
}

/// How many bars of each kind are served.
pub(super) type Served = Vec<usize>;

/// The choices that cost least.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Chosen {
    /// Those that cost the same, the first found first.
    pub(super) best: Vec<Served>,
    /// What is known of their money.
    pub(super) proof: Proof<i64>,
}

/// The most choices that are judged by cutting.
const MOST_JUDGED: usize = 12;

/// The most choices that are looked at, those included that are cut like another.
const MOST_SEEN: usize = 2_000;

impl Kinds {
    /// Fixtures for so many of each kind at once, if there are.
    fn give_all(&self, served: &[usize]) -> Option<Given> {
        let mut given = Given {
            left: self.fixtures.iter().map(|(_, count)| *count).collect(),
            to: vec![vec![0; self.bars.len()]; self.fixtures.len()],
        };
        for (kind, wanted) in served.iter().enumerate() {
            for _ in 0..*wanted {
                let mut seen = vec![false; self.fixtures.len()];
                if !self.give(kind, &mut given, &mut seen) {
                    return None;
                }
            }
        }
        Some(given)
    }

    /// Gives a fixture to one more bar of a kind, if need be by giving another bar another one;
    /// changes nothing where it can't.
    fn give(&self, kind: usize, given: &mut Given, seen: &mut [bool]) -> bool {
        for (group, (serves, _)) in self.fixtures.iter().enumerate() {
            if seen[group] || !serves.contains(&kind) {
                continue;
            }
            seen[group] = true;
            if given.left[group] > 0 {
                given.left[group] -= 1;
                given.to[group][kind] += 1;
                return true;
            }
            for other in 0..self.bars.len() {
                if other != kind && given.to[group][other] > 0 && self.give(other, given, seen) {
                    given.to[group][other] -= 1;
                    given.to[group][kind] += 1;
                    return true;
                }
            }
        }
        false
    }

    /// The choices that differ from one by one bar for another, one after the other.
    fn exchanges(&self, served: &Served) -> impl Iterator<Item = Served> {
        let given = self.give_all(served);
        let kinds = 0..self.bars.len();
        let outs = given.into_iter().flat_map(move |given| {
            kinds.clone().filter_map(move |out| {
                // One of its fixtures is free again; which one makes no difference.
                let group = given.to.iter().position(|to| to[out] > 0)?;
                let mut given = given.clone();
                given.to[group][out] -= 1;
                given.left[group] += 1;
                Some((out, given))
            })
        });
        outs.flat_map(move |(out, given)| {
            (0..self.bars.len()).filter_map(move |into| {
                if into == out || served[into] == self.bars[into] {
                    return None;
                }
                let mut seen = vec![false; self.fixtures.len()];
                if !self.give(into, &mut given.clone(), &mut seen) {
                    return None;
                }
                let mut other = served.clone();
                other[out] -= 1;
                other[into] += 1;
                Some(other)
            })
        })
    }

    /// How many bars are left to build of each cut.
    fn left(&self, served: &[usize]) -> Vec<usize> {
        let cuts = self.cut_as.iter().max().map_or(0, |most| most + 1);
        let mut left = vec![0; cuts];
        for (kind, cut) in self.cut_as.iter().enumerate() {
            left[*cut] += self.bars[kind] - served[kind];
        }
        left
    }

    /// The choices that cost least, from one that serves as many bars as can be served. `judge` cuts
    /// what a choice leaves to build; it is asked nothing where there is no choice.
    pub(super) fn choose(&self, first: Served, mut judge: impl FnMut(&Served) -> Score) -> Chosen {
        if self.exchanges(&first).next().is_none() {
            return Chosen {
                best: vec![first],
                proof: Proof::Proven,
            };
        }
        let mut judged: BTreeMap<Vec<usize>, Score> = BTreeMap::new();
        let mut seen: BTreeSet<Served> = BTreeSet::from([first.clone()]);
        // By what they cost, then in the order found.
        let mut open: BTreeMap<(Score, usize), Served> = BTreeMap::new();
        let mut found: Vec<(Score, Served)> = Vec::new();
        let mut note = |served: &Served| -> Option<Score> {
            let left = self.left(served);
            if let Some(score) = judged.get(&left) {
                return Some(*score);
            }
            (judged.len() < MOST_JUDGED)
                .then(|| *judged.entry(left).or_insert_with(|| judge(served)))
        };
        if let Some(score) = note(&first) {
            open.insert((score, 0), first.clone());
            found.push((score, first));
        }
        let mut stopped = false;
        'search: while let Some((_, served)) = open.pop_first() {
            for other in self.exchanges(&served) {
                if !seen.insert(other.clone()) {
                    continue;
                }
                let score = note(&other).filter(|_| seen.len() < MOST_SEEN);
                let Some(score) = score else {
                    stopped = true;
                    break 'search;
                };
                open.insert((score, found.len()), other.clone());
                found.push((score, other));
            }
        }
        let cost = |score: &Score| (score.short, score.money, score.unpriced_mm, score.solder);
        let least = found.iter().map(|(score, _)| cost(score)).min();
        let unproven = stopped || found.iter().any(|(score, _)| score.unproven);
        Chosen {
            best: found
                .into_iter()
                .filter(|(score, _)| Some(cost(score)) == least)
                .map(|(_, served)| served)
                .collect(),
            proof: if unproven {
                Proof::Open {
                    why: Why::StepBudget,
                }
            } else {
                Proof::Proven
            },
        }
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn score(money: i64) -> Score {
        Score {
            short: 0,
            money,
            unpriced_mm: 0,
            solder: 0,
            unproven: false,
        }
    }

    fn kinds(bars: &[usize], fixtures: &[(&[usize], usize)]) -> Kinds {
        Kinds {
            cut_as: (0..bars.len()).collect(),
            bars: bars.to_vec(),
            fixtures: fixtures
                .iter()
                .map(|(serves, count)| (serves.iter().copied().collect(), *count))
                .collect(),
        }
    }

    #[test]
    fn the_dearer_bar_is_served() {
        let kinds = kinds(&[2, 1], &[(&[0, 1], 1)]);
        let mut asked = 0;
        let chosen = kinds.choose(vec![1, 0], |served| {
            asked += 1;
            score(if served[1] == 1 { 100 } else { 300 })
        });
        assert_eq!(chosen.best, [vec![0, 1]]);
        assert!(chosen.proof.is_proven());
        assert_eq!(asked, 2);
    }

    #[test]
    fn where_there_is_no_choice_nothing_is_judged() {
        let kinds = kinds(&[2, 1], &[(&[0], 1), (&[1], 3)]);
        let chosen = kinds.choose(vec![1, 1], |_| panic!("asked"));
        assert_eq!(chosen.best, [vec![1, 1]]);
        assert!(chosen.proof.is_proven());
    }

    #[test]
    fn a_search_that_stops_does_not_say_proven() {
        let all: Vec<usize> = (0..8).collect();
        let kinds = kinds(&[3; 8], &[(&all, 9)]);
        let chosen = kinds.choose(vec![3, 3, 3, 0, 0, 0, 0, 0], |served| {
            score(i64::try_from(served[0]).unwrap_or(0))
        });
        assert!(!chosen.proof.is_proven());
        assert!(chosen.best[0][0] < 3);
    }

    /// Every way to serve bars, by trying each group for each kind.
    fn every(kinds: &Kinds) -> BTreeSet<Served> {
        let mut all = BTreeSet::from([vec![0; kinds.bars.len()]]);
        for (serves, count) in &kinds.fixtures {
            for _ in 0..*count {
                let mut more = all.clone();
                for served in &all {
                    for kind in serves {
                        if served[*kind] < kinds.bars[*kind] {
                            let mut next = served.clone();
                            next[*kind] += 1;
                            more.insert(next);
                        }
                    }
                }
                all = more;
            }
        }
        all
    }

    proptest! {
        /// What is chosen is the best of all choices, found by trying every one, and it serves as
        /// many bars as any.
        #[test]
        fn equals_the_best_of_every_choice(
            bars in prop::collection::vec(1_usize..3, 1..4),
            fixtures in prop::collection::vec((prop::collection::btree_set(0_usize..3, 1..3), 1_usize..3), 1..4),
            costs in prop::collection::vec(1_i64..20, 3),
        ) {
            let fixtures: Vec<(BTreeSet<usize>, usize)> = fixtures
                .into_iter()
                .map(|(serves, count)| {
                    (serves.into_iter().filter(|kind| *kind < bars.len()).collect(), count)
                })
                .collect();
            let cut_as = (0..bars.len()).collect();
            let kinds = Kinds { bars: bars.clone(), cut_as, fixtures };
            // Building is dearer by the bar, with a discount for the second, so that it matters
            // which are left together.
            let judge = |served: &Served| score(
                bars.iter().zip(served).zip(&costs).map(|((all, served), cost)| {
                    let left = i64::try_from(all - served).unwrap_or(0);
                    cost * left - left / 2
                }).sum()
            );
            let all = every(&kinds);
            let most = all.iter().map(|it| it.iter().sum::<usize>()).max().unwrap_or(0);
            let bases: Vec<&Served> = all
                .iter()
                .filter(|it| it.iter().sum::<usize>() == most)
                .collect();
            for base in &bases {
                prop_assert!(kinds.give_all(base).is_some());
            }
            let least = bases.iter().map(|it| judge(it).money).min();
            let chosen = kinds.choose(bases[0].clone(), judge);
            if chosen.proof.is_proven() && bases.len() > 1 {
                prop_assert_eq!(Some(judge(&chosen.best[0]).money), least);
                // No other choice is missing.
                let same = bases.iter().filter(|it| Some(judge(it).money) == least).count();
                prop_assert_eq!(chosen.best.len(), same);
            }
        }
    }
}
