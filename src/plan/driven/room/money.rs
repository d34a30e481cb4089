//! The fewest loads left out, and the least money.

use super::{Best, PACK_STEPS, Room, TIES, Ties, with};
use crate::plan::driven::{
    Origin,
    cover::{self, Asks, Cost, Covers, Row, What, minus, plus},
    pack::{self, Found, Given},
    settle,
};

/// Steps to find one set that covers.
const COVER_STEPS: u64 = 500;
/// Sets that are tried.
const SETS: usize = 60;

impl Room<'_> {
    /// The fewest loads left out, with everything that could be had; and fewer, where that is not
    /// refuted.
    pub(super) fn fewest_out(
        &self,
        asks: &Asks<'_>,
        best: &mut Best,
        steps: &mut u64,
    ) -> (usize, Option<usize>) {
        let everything = self.there(&[Origin::Mounted, Origin::Shelf, Origin::Bought]);
        let mut least = None;
        for skips in 0..=self.loads.len() {
            let rows = asks.rows(skips);
            if rows
                .iter()
                .any(|row| cover::given(row, &everything) < row.need)
            {
                continue;
            }
            let given = Given {
                counts: everything.clone(),
                inlets: u32::MAX,
                skips,
            };
            match pack::pack(self, &given, steps, PACK_STEPS) {
                Found::Never => {}
                Found::Stopped => least = least.or(Some(skips)),
                Found::Packed(packed) => {
                    let skips = packed.left.len();
                    best.packed = packed;
                    return (skips, least);
                }
            }
        }
        (self.loads.len(), least)
    }

    /// The least cost and the fewest bought; gives the sets of that cost that are not refuted.
    pub(super) fn cheapest(
        &self,
        rows: &[Row],
        skips: usize,
        mut star: Option<(Cost, Vec<u32>)>,
        best: &mut Best,
        steps: &mut u64,
    ) -> Ties {
        let items = self.items(Origin::Bought);
        let there = self.there(&[Origin::Mounted, Origin::Shelf]);
        let given = |counts: &[u32]| Given {
            counts: with(&there, &items, counts),
            inlets: u32::MAX,
            skips,
        };
        let mut covers = Covers::new(rows, &items, self.drivers.len(), &there);
        let mut ties = Ties {
            sets: Vec::new(),
            complete: false,
        };
        // The cheapest set that may serve though nobody knows.
        let mut open: Option<Cost> = None;
        let mut looked = 0;
        let mut met = false;
        loop {
            let floor = covers.floor();
            if floor.is_none() || star.as_ref().is_some_and(|star| floor > Some(star.0)) {
                ties.complete = open.is_none();
                break;
            }
            if ties.sets.len() >= TIES || looked >= SETS {
                open = open.or(floor.filter(|_| !met));
                break;
            }
            let Ok(next) = covers.next(steps) else {
                open = open.or(floor.filter(|_| !met));
                break;
            };
            let Some((cost, counts)) = next else {
                ties.complete = open.is_none();
                break;
            };
            if star.as_ref().is_some_and(|star| cost > star.0) {
                ties.complete = open.is_none();
                break;
            }
            looked += 1;
            let given = given(&counts);
            match pack::pack(self, &given, steps, self.pack_steps()) {
                Found::Never => {}
                Found::Stopped if star.as_ref().is_some_and(|star| star.0 == cost) => {
                    ties.sets.push(given.counts);
                }
                Found::Stopped => open = open.or(Some(cost)),
                Found::Packed(packed) => {
                    if star.as_ref().is_none_or(|star| cost < star.0) {
                        best.packed = packed;
                        star = Some((cost, counts));
                        ties.sets.clear();
                    }
                    met = true;
                    ties.sets.push(given.counts);
                }
            }
        }
        if let Some((_, counts)) = &star {
            let set = with(&there, &items, counts);
            if !ties.sets.contains(&set) {
                ties.sets.push(set);
            }
        } else {
            ties.sets
                .push(self.there(&[Origin::Mounted, Origin::Shelf, Origin::Bought]));
            ties.complete = false;
        }
        let value = self.values(&best.packed);
        let found: Cost = [value[1], value[2], 0];
        let least = open.map_or(found, |open| open.min(found));
        best.bounds[1] = Some(least[0]);
        if least[0] >= value[1] {
            best.bounds[2] = Some(least[1].min(value[2]));
        }
        ties
    }

    /// A cheap way, found quickly: the cheapest set that has more of everything than it must, the
    /// less the better; then without one of its units, or with a cheaper one in its place.
    pub(super) fn cheap(
        &self,
        rows: &[Row],
        best: &mut Best,
        steps: &mut u64,
    ) -> Option<(Cost, Vec<u32>)> {
        let items = &self.items(Origin::Bought);
        let there = &self.there(&[Origin::Mounted, Origin::Shelf]);
        let given = |counts: &[u32]| Given {
            counts: with(there, items, counts),
            inlets: u32::MAX,
            skips: 0,
        };
        let mut found: Option<(Cost, Vec<u32>)> = None;
        for percent in [0, 1, 2, 4, 7, 11, 16, 25, 40, 60, 100] {
            let mut more = rows.to_vec();
            for row in &mut more {
                if row.what != What::Places {
                    row.need += row.need * percent / 100;
                }
            }
            let mut covers = Covers::new(&more, items, self.drivers.len(), there);
            let mut own = COVER_STEPS.min(*steps);
            let before = own;
            let next = covers.next(&mut own);
            *steps -= before - own;
            let next = next
                .ok()
                .flatten()
                .or_else(|| cover::some(&more, items, there));
            let Some((cost, counts)) = next else { continue };
            if let Some(packed) = settle::settle(self, &given(&counts), steps) {
                best.packed = packed;
                found = Some((cost, counts));
                break;
            }
        }
        let (mut cost, mut counts) = found?;
        let mut better = true;
        while better && *steps > 0 {
            better = false;
            'all: for one in 0..items.len() {
                for other in std::iter::once(None).chain((0..items.len()).map(Some)) {
                    let mut set = counts.clone();
                    if set[one] == 0 || other.is_some_and(|it| items[it].cost >= items[one].cost) {
                        continue;
                    }
                    set[one] -= 1;
                    let mut worth = minus(cost, items[one].cost);
                    if let Some(other) = other {
                        if set[other] == items[other].most {
                            continue;
                        }
                        set[other] += 1;
                        worth = plus(worth, items[other].cost);
                    }
                    let all = given(&set);
                    *steps = steps.saturating_sub(1);
                    if rows
                        .iter()
                        .any(|row| cover::given(row, &all.counts) < row.need)
                    {
                        continue;
                    }
                    if let Some(packed) = settle::settle(self, &all, steps) {
                        best.packed = packed;
                        (cost, counts, better) = (worth, set, true);
                        break 'all;
                    }
                }
            }
        }
        Some((cost, counts))
    }
}
