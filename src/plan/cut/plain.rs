//! The question without soldering: what is short and what is bought does not depend on where bars
//! lie, so that bars of one length and pieces of one length count alike.

use std::{collections::BTreeMap, rc::Rc};

use super::{
    End, Fed, Stock,
    levels::{Dual, Level},
    pattern::{Class, Cost, Counts, Instance, Kind},
    search::Solution,
};

/// An instance with what it merges of another.
pub(super) struct Plain {
    pub instance: Instance,
    /// By kind of the other: the kind here.
    kind: Vec<usize>,
    /// By class of the other: the class here.
    class: Vec<usize>,
}

impl Plain {
    pub fn new(of: &Instance) -> Self {
        let mut kinds: Vec<Kind> = Vec::new();
        let (mut demand, mut wants_of) = (Vec::new(), Vec::new());
        let mut kind = Vec::new();
        // Kinds of one length stand beside each other.
        for (at, known) in of.kinds.iter().enumerate() {
            if kinds.last().is_none_or(|last| last.units != known.units) {
                kinds.push(Kind {
                    units: known.units,
                    fed: Fed::OneEnd,
                });
                demand.push(0);
                wants_of.push(Vec::new());
            }
            let last = kinds.len() - 1;
            kind.push(last);
            demand[last] += of.demand[at];
            wants_of[last].extend(&of.wants_of[at]);
        }
        let mut merged: BTreeMap<(Option<i64>, i64, i64), Vec<usize>> = BTreeMap::new();
        for (at, class) in of.classes.iter().enumerate() {
            let alike = (class.price_minor, class.units, class.whole);
            merged.entry(alike).or_default().push(at);
        }
        let mut class = vec![0; of.classes.len()];
        let mut classes = Vec::new();
        for ((price_minor, units, whole), alike) in merged {
            for &at in &alike {
                class[at] = classes.len();
            }
            let all = || alike.iter().map(|&at| &of.classes[at]);
            classes.push(Class {
                piece: Stock {
                    units: units.unsigned_abs(),
                    start: End::Bare,
                    end: End::Bare,
                    joints: None,
                },
                units,
                whole,
                price_minor,
                available: all()
                    .map(|class| class.available)
                    .try_fold(0_u32, |sum, many| Some(sum.saturating_add(many?))),
                members: all().flat_map(|class| class.members.clone()).collect(),
                jointed: false,
            });
        }
        Self {
            instance: Instance {
                kinds,
                demand,
                wants_of,
                classes,
                usable: of.usable,
                kerf: of.kerf,
                lead: 0,
                joint: 0,
                mark: 0,
            },
            kind,
            class,
        }
    }

    /// Weights of the other's kinds and what its classes hold of them, where both depend on nothing
    /// but length.
    pub fn weighing(&self, weight: &[i64], capacity: &[i64]) -> Option<(Vec<i64>, Vec<i64>)> {
        let take = |from: &[i64], to: &[usize], many: usize| {
            let mut taken = vec![None; many];
            for (&value, &at) in from.iter().zip(to) {
                let known = *taken[at].get_or_insert(value);
                if known != value {
                    return None;
                }
            }
            taken.into_iter().collect::<Option<Vec<i64>>>()
        };
        Some((
            take(weight, &self.kind, self.instance.kinds.len())?,
            take(capacity, &self.class, self.instance.classes.len())?,
        ))
    }

    /// A plan of the other with what counts here.
    pub fn merged(&self, solution: &Solution) -> Solution {
        let kinds = self.instance.kinds.len();
        let merge = |counts: &[u32]| {
            let mut merged = vec![0; kinds];
            for (&count, &kind) in counts.iter().zip(&self.kind) {
                merged[kind] += count;
            }
            merged
        };
        Solution {
            cost: Cost {
                short: solution.cost.short,
                money: solution.cost.money,
                ..Cost::default()
            },
            pieces: solution
                .pieces
                .iter()
                .map(|(class, counts)| (self.class[*class], Rc::from(merge(counts))))
                .collect(),
            short: merge(&solution.short),
        }
    }

    /// A plan from here for the other: pieces with leads first, and bars as they come.
    pub fn parted(&self, of: &Instance, solution: &Solution) -> Solution {
        let mut demand = of.demand.clone();
        let mut left: Vec<Option<u32>> = of.classes.iter().map(|class| class.available).collect();
        let mut classes: Vec<usize> = (0..of.classes.len()).collect();
        classes.sort_by_key(|&class| std::cmp::Reverse(of.classes[class].leads()));
        let mut part = |counts: &[u32]| -> Counts {
            let mut counts = counts.to_vec();
            self.kind
                .iter()
                .zip(&mut demand)
                .map(|(&kind, demand)| {
                    let many = counts[kind].min(*demand);
                    counts[kind] -= many;
                    *demand -= many;
                    many
                })
                .collect()
        };
        let mut pieces = solution.pieces.clone();
        pieces.sort();
        let pieces = pieces
            .iter()
            .filter_map(|(class, counts)| {
                let class = classes
                    .iter()
                    .copied()
                    .find(|&of| self.class[of] == *class && left[of] != Some(0))?;
                left[class] = left[class].map(|many| many - 1);
                Some((class, part(counts)))
            })
            .collect();
        Solution {
            cost: Cost::default(),
            pieces,
            short: demand,
        }
    }

    /// Price vectors from here for the other, where the same bounds hold.
    pub fn duals(&self, duals: &[(Level, Dual)]) -> Vec<(Level, Dual)> {
        let of_kind = |values: &[i64]| self.kind.iter().map(|&kind| values[kind]).collect();
        let of_class = |values: &[i64]| self.class.iter().map(|&class| values[class]).collect();
        duals
            .iter()
            .map(|(level, dual)| {
                let mut dual = dual.clone();
                dual.weights.worth = of_kind(&dual.weights.worth);
                dual.least = of_class(&dual.least);
                dual.holds = of_class(&dual.holds);
                (*level, dual)
            })
            .collect()
    }
}
