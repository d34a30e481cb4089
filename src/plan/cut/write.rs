//! The plan written out: merged pieces and bars get their own places again, the room between
//! bars its rests and saw dust, and each objective what is proven of it.

use super::{
    CutPlan, Fed, Joining, Layout, Problem, Proofs, Rest, Segment, Short, Source, Use, joining,
    levels::{Done, Level},
    pattern::{Arrangements, Counts, Instance},
    search::Solution,
};
use crate::plan::answer::{Proof, Why};

/// What is known of each objective, from how the levels ended that were looked at.
pub(super) fn proofs(problem: &Problem, plan: &CutPlan, best: &Solution, done: &[Done]) -> Proofs {
    let level = |level: Level| level.done(done);
    let proven = |of: Level| matches!(level(of), Some(Done::Proven));
    let bound = |of: Level| match level(of) {
        Some(Done::Bound(bound)) => Some(bound),
        _ => None,
    };
    let whole = |value: i128| i64::try_from(value.max(0)).unwrap_or(0).unsigned_abs();
    // Bars that fit nowhere are short whatever is done.
    let short: u64 = plan
        .short
        .iter()
        .map(|short| u64::from(short.quantity))
        .sum();
    let forced = short - best.cost.short.unsigned_abs();
    Proofs {
        short: proof(level(Level::Short), &short, |bound| forced + whole(bound)),
        money: proof(level(Level::Money), &plan.purchase_minor, |bound| {
            i64::try_from(bound.max(0)).unwrap_or(0)
        }),
        solder: proof(level(Level::Solder), &plan.solder_work, whole),
        rest: {
            let most = most_squares(problem, plan);
            let mut rest = Rest {
                squares: most,
                ..Rest::default()
            };
            if proven(Level::Squares) {
                Proof::Proven
            } else if let Some(scrap) = bound(Level::Scrap) {
                rest.scrap_units = whole(scrap);
                Proof::from_bound(&plan.rest, rest)
            } else if let Some(offcuts) = bound(Level::Offcuts) {
                rest.scrap_units = plan.rest.scrap_units;
                rest.offcuts = whole(offcuts);
                Proof::from_bound(&plan.rest, rest)
            } else if let Some(lost) = bound(Level::Squares) {
                rest.scrap_units = plan.rest.scrap_units;
                rest.offcuts = plan.rest.offcuts;
                rest.squares = (all_squares(problem) - lost).unsigned_abs().min(most);
                Proof::from_bound(&plan.rest, rest)
            } else {
                Proof::Open {
                    why: if proven(Level::Solder) {
                        Why::StepBudget
                    } else {
                        Why::EarlierOpen
                    },
                }
            }
        },
    }
}

fn proof<T: Ord>(done: Option<Done>, value: &T, bound: impl Fn(i128) -> T) -> Proof<T> {
    match done {
        Some(Done::Proven) => Proof::Proven,
        Some(Done::Bound(least)) => Proof::from_bound(value, bound(least)),
        Some(Done::Open) => Proof::Open {
            why: Why::StepBudget,
        },
        None => Proof::Open {
            why: Why::EarlierOpen,
        },
    }
}

/// The sum of the squares of all pieces on hand.
fn all_squares(problem: &Problem) -> i128 {
    problem
        .stock
        .iter()
        .map(|piece| i128::from(piece.units) * i128::from(piece.units))
        .sum()
}

/// More than any plan can have: all pieces whole, and as many rolls as there are bars.
fn most_squares(problem: &Problem, plan: &CutPlan) -> u128 {
    let bars: u128 = problem
        .wants
        .iter()
        .map(|want| u128::from(want.quantity))
        .sum();
    let longest = problem
        .rolls
        .iter()
        .map(|roll| u128::from(roll.piece.units))
        .max();
    let rolls = bars * longest.map_or(0, |longest| longest * longest);
    (all_squares(problem).unsigned_abs() + rolls).max(plan.rest.squares)
}

/// Gives every merged piece and bar its own place again, in bench order.
pub(super) fn written_out(
    problem: &Problem,
    instance: &Instance,
    arrangements: &mut Arrangements,
    best: &Solution,
) -> CutPlan {
    let mut members: Vec<_> = instance
        .classes
        .iter()
        .map(|class| {
            class.members.iter().flat_map(|&(index, many)| {
                std::iter::repeat_n(index, many.map_or(usize::MAX, |many| many as usize))
            })
        })
        .collect();
    let mut pieces: Vec<(Source, usize, &Counts)> = Vec::new();
    for (class, counts) in &best.pieces {
        if let Some(index) = members[*class].next() {
            let source = match instance.classes[*class].price_minor {
                None => Source::Stock(index),
                Some(_) => Source::Roll(index),
            };
            pieces.push((source, *class, counts));
        }
    }
    pieces.sort();

    let mut wanted: Vec<u32> = problem.wants.iter().map(|want| want.quantity).collect();
    let mut next_want = |kind: usize| {
        let wants = &instance.wants_of[kind];
        let want = wants.iter().copied().find(|&want| wanted[want] > 0);
        if let Some(want) = want {
            wanted[want] -= 1;
        }
        want.unwrap_or(wants[0])
    };
    let mut layouts = Vec::with_capacity(pieces.len());
    for (source, class, counts) in pieces {
        let piece = match source {
            Source::Stock(index) => &problem.stock[index],
            Source::Roll(index) => &problem.rolls[index].piece,
        };
        let mut writer = Writer::new(problem);
        for &(kind, from) in &arrangements.best(instance, class, counts).bars {
            let from = from.unsigned_abs() + problem.trim_units;
            let to = from + instance.kinds[kind].units.unsigned_abs();
            let (start, end) = feed(problem, piece, instance.kinds[kind].fed, from, to);
            let want = next_want(kind);
            writer.bar(from, to, Use::Bar { want, start, end });
        }
        layouts.push(Layout {
            source,
            segments: writer.finish(piece.units),
        });
    }

    let whole = all_squares(problem);
    CutPlan {
        layouts,
        short: wanted
            .iter()
            .enumerate()
            .filter(|(_, quantity)| **quantity > 0)
            .map(|(want, &quantity)| Short { want, quantity })
            .collect(),
        purchase_minor: best.cost.money,
        solder_work: best.cost.solder.unsigned_abs(),
        rest: Rest {
            scrap_units: best.cost.scrap.unsigned_abs(),
            offcuts: best.cost.offcuts.unsigned_abs(),
            squares: (whole - best.cost.squares_lost).unsigned_abs(),
        },
        proof: Proofs {
            short: Proof::Proven,
            money: Proof::Proven,
            solder: Proof::Proven,
            rest: Proof::Proven,
        },
    }
}

/// Which ends of a bar are fed, and what they lie on.
fn feed(
    problem: &Problem,
    piece: &super::Stock,
    fed: Fed,
    from: u64,
    to: u64,
) -> (Option<Joining>, Option<Joining>) {
    let (start, end) = (joining(piece, from), joining(piece, to));
    match fed {
        Fed::BothEnds => (Some(start), Some(end)),
        Fed::OneEnd if problem.weights.of(end) < problem.weights.of(start) => (None, Some(end)),
        Fed::OneEnd => (Some(start), None),
    }
}

/// Fills the room between bars with rests and saw dust.
struct Writer {
    usable: u64,
    kerf: u64,
    trim: u64,
    at: u64,
    segments: Vec<Segment>,
}

impl Writer {
    fn new(problem: &Problem) -> Self {
        let mut writer = Self {
            usable: problem.usable_units,
            kerf: problem.kerf_units,
            trim: problem.trim_units,
            at: 0,
            segments: Vec::new(),
        };
        writer.add(problem.trim_units, Use::Trim);
        writer
    }

    fn add(&mut self, length: u64, becomes: Use) {
        if length > 0 {
            let from = self.at;
            self.at += length;
            self.segments.push(Segment {
                from,
                to: self.at,
                becomes,
            });
        }
    }

    /// From here to `to`, with a saw cut towards each neighbour.
    fn rest(&mut self, to: u64, before: bool, after: bool) {
        let length = to - self.at;
        let dust = self.kerf * (u64::from(before) + u64::from(after));
        if length <= dust {
            self.add(length, Use::Kerf);
            return;
        }
        let rest = length - dust;
        let becomes = if rest >= self.usable {
            Use::Offcut
        } else {
            Use::Scrap
        };
        self.add(self.kerf * u64::from(before), Use::Kerf);
        self.add(rest, becomes);
        self.add(self.kerf * u64::from(after), Use::Kerf);
    }

    fn bar(&mut self, from: u64, to: u64, bar: Use) {
        let before = self.at > self.trim;
        self.rest(from, before, true);
        self.add(to - from, bar);
    }

    fn finish(mut self, end: u64) -> Vec<Segment> {
        self.rest(end - self.trim, true, false);
        self.add(self.trim, Use::Trim);
        self.segments
    }
}
