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
//! Proven where every choice was judged, and each of them by cuts that are proven themselves. A
//! search that stops before has a bound on the money, the higher one of two:
//! - The bars of each cut are served by as many fixtures as could serve them if no other bars wanted
//!   any. What is left of them is part of what any choice leaves, so that cutting it costs no more.
//! - Bars are worth something in each part that is cut for them, and what is left must be paid for by
//!   what it is worth ([`super::cut::worths`]). The choice that leaves the least worth serves the
//!   bars worth most first: greed finds the best basis of a matroid (J. Edmonds, *Matroids and the
//!   greedy algorithm*, Mathematical Programming 1, 1971).
//!
//! The choice that leaves the least worth in all parts together is also where a search begins that
//! cannot try everything.

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
    /// The least that any cuts with as few bars short cost, in minor units, if that is known.
    pub(super) least_money: Option<i64>,
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

/// What bars are worth in one part, in one of several ways to value them.
pub(super) struct Valued<'a> {
    /// What each bar is worth, by kind; never below nought.
    pub(super) of: Vec<i64>,
    /// What is cut besides, whatever is served.
    pub(super) besides: i64,
    /// The least money that pays for so much worth, in minor units.
    pub(super) least_money: Box<dyn Fn(i64) -> i64 + 'a>,
}

/// How many bars of each kind are served.
pub(super) type Served = Vec<usize>;

/// The choices that cost least.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Chosen {
    /// Those that cost the same, the first found first.
    pub(super) best: Vec<Served>,
    /// What is known of their money. A bound that equals it says that no choice costs less, and that
    /// one of less soldering was not ruled out.
    pub(super) proof: Proof<i64>,
}

/// The most choices that are judged by cutting.
const MOST_JUDGED: usize = 12;

/// The most choices that are looked at, those included that are cut like another.
const MOST_SEEN: usize = 2_000;

impl Kinds {
    fn nothing_given(&self) -> Given {
        Given {
            left: self.fixtures.iter().map(|(_, count)| *count).collect(),
            to: vec![vec![0; self.bars.len()]; self.fixtures.len()],
        }
    }

    /// Fixtures for so many of each kind at once, if there are.
    fn give_all(&self, served: &[usize]) -> Option<Given> {
        let mut given = self.nothing_given();
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

    /// Gives fixtures to as many bars of a kind as can be, beside what is given, and says to how many.
    fn give_most(&self, kind: usize, given: &mut Given) -> usize {
        let gets = |given: &mut Given| {
            let mut seen = vec![false; self.fixtures.len()];
            self.give(kind, given, &mut seen)
        };
        (0..self.bars[kind]).take_while(|_| gets(given)).count()
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

    /// How many bars of each kind could be served if those of other cuts wanted no fixtures.
    fn each_alone(&self) -> Served {
        let mut all = vec![0; self.bars.len()];
        for cut in self.cut_as.iter().collect::<BTreeSet<_>>() {
            let kinds = || (0..self.bars.len()).filter(|kind| self.cut_as[*kind] == *cut);
            let mut given = self.nothing_given();
            for kind in kinds() {
                all[kind] = self.give_most(kind, &mut given);
            }
        }
        all
    }

    /// The choice that serves what is worth most.
    fn dearest(&self, worth: &[i64]) -> Served {
        let mut kinds: Vec<usize> = (0..self.bars.len()).collect();
        kinds.sort_by_key(|kind| std::cmp::Reverse(worth[*kind]));
        let mut served = vec![0; self.bars.len()];
        let mut given = self.nothing_given();
        for kind in kinds {
            served[kind] = self.give_most(kind, &mut given);
        }
        served
    }

    /// What a choice leaves to cut is worth, what is cut besides included.
    fn worth_left(&self, valued: &Valued<'_>, served: &[usize]) -> i64 {
        let bars = self.bars.iter().zip(served).zip(&valued.of);
        let worth = bars.map(|((all, served), worth)| {
            let left = i64::try_from(all - served).unwrap_or(i64::MAX);
            worth.saturating_mul(left)
        });
        worth.fold(valued.besides, i64::saturating_add)
    }

    /// The least money that any choice leaves to pay, by what bars are worth: part by part, each in
    /// the ways to value it.
    fn least_paid(&self, parts: &[Vec<Valued<'_>>]) -> i64 {
        let of_part = |ways: &Vec<Valued<'_>>| {
            let least = ways.iter().map(|valued| {
                let served = self.dearest(&valued.of);
                (valued.least_money)(self.worth_left(valued, &served))
            });
            least.max().unwrap_or(0)
        };
        parts.iter().map(of_part).fold(0, i64::saturating_add)
    }

    /// The choice that leaves the least to pay by the first way to value each part.
    fn promising(&self, parts: &[Vec<Valued<'_>>]) -> Served {
        let nothing = vec![0; self.bars.len()];
        let mut worth = vec![0_i128; self.bars.len()];
        for valued in parts.iter().filter_map(|ways| ways.first()) {
            let all = self.worth_left(valued, &nothing);
            let money = i128::from((valued.least_money)(all));
            for (worth, of) in worth.iter_mut().zip(&valued.of) {
                *worth += i128::from(*of) * money * 1_000 / i128::from(all.max(1));
            }
        }
        let worth: Vec<i64> = worth
            .into_iter()
            .map(|worth| i64::try_from(worth).unwrap_or(i64::MAX))
            .collect();
        self.dearest(&worth)
    }

    /// The choices that cost least, from one that serves as many bars as can be served. `judge` cuts
    /// what a choice leaves to build; it is asked nothing where there is no choice. `worths` says
    /// part by part what bars are worth; it is asked where there are more choices than are tried.
    pub(super) fn choose<'a>(
        &self,
        first: Served,
        mut judge: impl FnMut(&Served) -> Score,
        worths: impl FnOnce() -> Vec<Vec<Valued<'a>>>,
    ) -> Chosen {
        let around = self.exchanges(&first).take(MOST_JUDGED).count();
        if around == 0 {
            return Chosen {
                best: vec![first],
                proof: Proof::Proven,
            };
        }
        let parts = if around < MOST_JUDGED {
            Vec::new()
        } else {
            worths()
        };
        let mut search = Search::default();
        search.begin(self, first, &mut judge);
        if !parts.is_empty() {
            search.begin(self, self.promising(&parts), &mut judge);
        }
        let stopped = !search.all(self, &mut judge);
        let found = search.found;
        let cost = |score: &Score| (score.short, score.money, score.unpriced_mm, score.solder);
        let least = found.iter().map(|(score, _)| *score).min_by_key(cost);
        let unproven = stopped || found.iter().any(|(score, _)| score.unproven);
        let proof = match least {
            Some(least) if unproven => {
                let alone = judge(&self.each_alone());
                let known = alone.least_money.filter(|_| alone.short == least.short);
                let paid = (least.short == 0).then(|| self.least_paid(&parts));
                match known.max(paid) {
                    // More than was found would be one for what is cut of less.
                    Some(bound) => Proof::Within {
                        bound: bound.min(least.money),
                    },
                    None => Proof::Open {
                        why: Why::StepBudget,
                    },
                }
            }
            _ => Proof::Proven,
        };
        Chosen {
            best: found
                .into_iter()
                .filter(|(score, _)| least.is_some_and(|least| cost(score) == cost(&least)))
                .map(|(_, served)| served)
                .collect(),
            proof,
        }
    }
}

/// Choices looked at, one exchange after the other.
#[derive(Default)]
struct Search {
    judged: BTreeMap<Vec<usize>, Score>,
    seen: BTreeSet<Served>,
    /// Those whose exchanges were not tried, by what they cost, then in the order found.
    open: BTreeMap<(Score, usize), Served>,
    found: Vec<(Score, Served)>,
}

impl Search {
    /// What a choice costs; `None` where enough were judged.
    fn score(
        &mut self,
        kinds: &Kinds,
        served: &Served,
        judge: &mut impl FnMut(&Served) -> Score,
    ) -> Option<Score> {
        let left = kinds.left(served);
        if let Some(score) = self.judged.get(&left) {
            return Some(*score);
        }
        (self.judged.len() < MOST_JUDGED)
            .then(|| *self.judged.entry(left).or_insert_with(|| judge(served)))
    }

    /// Takes a choice in; whether there was room for it.
    fn begin(
        &mut self,
        kinds: &Kinds,
        served: Served,
        judge: &mut impl FnMut(&Served) -> Score,
    ) -> bool {
        if !self.seen.insert(served.clone()) {
            return true;
        }
        let score = self.score(kinds, &served, judge);
        let Some(score) = score.filter(|_| self.seen.len() < MOST_SEEN) else {
            return false;
        };
        self.open.insert((score, self.found.len()), served.clone());
        self.found.push((score, served));
        true
    }

    /// Tries the exchanges of the best choices first; whether all were tried.
    fn all(&mut self, kinds: &Kinds, judge: &mut impl FnMut(&Served) -> Score) -> bool {
        while let Some((_, served)) = self.open.pop_first() {
            for other in kinds.exchanges(&served) {
                if !self.begin(kinds, other, judge) {
                    return false;
                }
            }
        }
        true
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
            least_money: Some(money),
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
        let chosen = kinds.choose(
            vec![1, 0],
            |served| {
                asked += 1;
                score(if served[1] == 1 { 100 } else { 300 })
            },
            Vec::new,
        );
        assert_eq!(chosen.best, [vec![0, 1]]);
        assert!(chosen.proof.is_proven());
        assert_eq!(asked, 2);
    }

    #[test]
    fn where_there_is_no_choice_nothing_is_judged() {
        let kinds = kinds(&[2, 1], &[(&[0], 1), (&[1], 3)]);
        let chosen = kinds.choose(vec![1, 1], |_| panic!("asked"), Vec::new);
        assert_eq!(chosen.best, [vec![1, 1]]);
        assert!(chosen.proof.is_proven());
    }

    #[test]
    fn a_search_that_stops_does_not_say_proven() {
        let all: Vec<usize> = (0..8).collect();
        let kinds = kinds(&[3; 8], &[(&all, 9)]);
        let chosen = kinds.choose(
            vec![3, 3, 3, 0, 0, 0, 0, 0],
            |served| score(i64::try_from(served[0]).unwrap_or(0)),
            Vec::new,
        );
        assert!(!chosen.proof.is_proven());
        assert!(chosen.best[0][0] < 3);
    }

    /// Bars of eight lengths, two of each, at a coin for each of their length; nine fixtures for any.
    #[test]
    fn a_search_that_stops_begins_where_most_worth_is_served_and_says_how_far_it_may_be_off() {
        let all: Vec<usize> = (0..8).collect();
        let kinds = kinds(&[2; 8], &[(&all, 9)]);
        let worth: Vec<i64> = (1..9).collect();
        let left = |served: &Served| -> i64 {
            let left = served.iter().zip(&worth);
            left.map(|(served, worth)| worth * i64::try_from(2 - served).unwrap_or(0))
                .sum()
        };
        let valued = || Valued {
            of: worth.clone(),
            besides: 5,
            least_money: Box::new(|worth| worth),
        };
        let chosen = kinds.choose(
            vec![2, 2, 2, 2, 1, 0, 0, 0],
            |served| score(left(served) + 7),
            || vec![vec![valued()]],
        );
        assert_eq!(chosen.best, [vec![0, 0, 0, 1, 2, 2, 2, 2]]);
        assert_eq!(chosen.proof, Proof::Within { bound: 21 });
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
            let chosen = kinds.choose(bases[0].clone(), judge, Vec::new);
            if chosen.proof.is_proven() && bases.len() > 1 {
                prop_assert_eq!(Some(judge(&chosen.best[0]).money), least);
                // No other choice is missing.
                let same = bases.iter().filter(|it| Some(judge(it).money) == least).count();
                prop_assert_eq!(chosen.best.len(), same);
            }
        }
    }
}
