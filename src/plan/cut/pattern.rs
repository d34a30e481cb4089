//! What one piece can give: like pieces and like bars merged, and for a set of bars the
//! best way to lay them into a piece, ends and joints included.

use std::{
    collections::{BTreeMap, HashMap},
    rc::Rc,
};

use super::{End, Fed, Problem, Stock, joining};

/// The objectives in order; compared field by field, added over pieces.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Default)]
pub(super) struct Cost {
    pub short: i64,
    pub money: i64,
    pub solder: i64,
    pub scrap: i64,
    pub offcuts: i64,
    /// Squares of the stock cut into, less the squares of what is kept of it.
    pub squares_lost: i128,
}

impl Cost {
    pub fn plus(self, other: Self) -> Self {
        Self {
            short: self.short + other.short,
            money: self.money + other.money,
            solder: self.solder + other.solder,
            scrap: self.scrap + other.scrap,
            offcuts: self.offcuts + other.offcuts,
            squares_lost: self.squares_lost + other.squares_lost,
        }
    }
}

/// A kind of bar.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Kind {
    pub units: i64,
    pub fed: Fed,
}

/// Pieces that are alike in all that matters here.
#[derive(Debug, Clone)]
pub(super) struct Class {
    pub piece: Stock,
    pub units: i64,
    /// `None` for stock.
    pub price_minor: Option<i64>,
    /// How many there are; `None`: no limit.
    pub available: Option<u32>,
    /// Which of the problem's pieces or rolls they are, with how many of each.
    pub members: Members,
    /// Joints lie in it and make a difference.
    pub jointed: bool,
}

impl Class {
    pub fn leads(&self) -> i64 {
        i64::from(self.piece.start == End::Lead) + i64::from(self.piece.end == End::Lead)
    }
}

/// Pieces or rolls of the problem, by their place in it, with how many of each.
type Members = Vec<(usize, Option<u32>)>;

/// The problem in canonical form: the order of its input is gone.
#[derive(Debug)]
pub(super) struct Instance {
    /// Longest first.
    pub kinds: Vec<Kind>,
    pub demand: Vec<u32>,
    pub wants_of: Vec<Vec<usize>>,
    pub classes: Vec<Class>,
    pub usable: i64,
    pub kerf: i64,
    pub lead: i64,
    pub joint: i64,
    pub mark: i64,
}

impl Instance {
    /// Merges what is alike. Bars that fit nowhere are left out; they are short whatever is
    /// done.
    pub fn new(problem: &Problem) -> Self {
        let joints_matter = problem.weights.joint < problem.weights.mark;
        let shape = |piece: &Stock| {
            let mut piece = *piece;
            piece.joints = piece
                .joints
                .filter(|_| joints_matter)
                .and_then(|mut joints| {
                    joints.offset %= joints.every;
                    (joints.offset <= piece.units).then_some(joints)
                });
            piece
        };
        let shortest = problem
            .wants
            .iter()
            .filter(|want| want.quantity > 0)
            .map(|want| want.units)
            .min()
            .unwrap_or(u64::MAX);

        let mut merged: BTreeMap<(Option<i64>, Stock), Members> = BTreeMap::new();
        for (index, piece) in problem.stock.iter().enumerate() {
            if piece.units >= shortest {
                let like = merged.entry((None, shape(piece))).or_default();
                like.push((index, Some(1)));
            }
        }
        for (index, roll) in problem.rolls.iter().enumerate() {
            if roll.piece.units >= shortest && roll.quantity != Some(0) {
                let like = merged
                    .entry((Some(roll.price_minor), shape(&roll.piece)))
                    .or_default();
                like.push((index, roll.quantity));
            }
        }
        let classes: Vec<Class> = merged
            .into_iter()
            .map(|((price_minor, piece), members)| Class {
                piece,
                units: signed(piece.units),
                price_minor,
                available: members.iter().try_fold(0_u32, |sum, &(_, many)| {
                    many.map(|many| sum.saturating_add(many))
                }),
                members,
                jointed: piece.joints.is_some(),
            })
            .collect();

        let longest = classes.iter().map(|class| class.units).max().unwrap_or(0);
        let mut kinds: BTreeMap<Kind, Vec<usize>> = BTreeMap::new();
        for (index, want) in problem.wants.iter().enumerate() {
            let kind = Kind {
                units: signed(want.units),
                fed: want.fed,
            };
            if want.quantity > 0 && kind.units <= longest {
                kinds.entry(kind).or_default().push(index);
            }
        }
        let (kinds, wants_of): (Vec<_>, Vec<_>) = kinds.into_iter().rev().unzip();
        Self {
            demand: wants_of
                .iter()
                .map(|wants: &Vec<usize>| {
                    wants.iter().map(|&want| problem.wants[want].quantity).sum()
                })
                .collect(),
            kinds,
            wants_of,
            classes,
            usable: signed(problem.usable_units),
            kerf: signed(problem.kerf_units),
            lead: i64::from(problem.weights.lead),
            joint: i64::from(problem.weights.joint),
            mark: i64::from(problem.weights.mark),
        }
    }

    /// What a set of bars takes of a piece beside the bars: capacity + kerf against the sum
    /// of units + kerf.
    pub fn room(&self, class: &Class) -> i64 {
        class.units + self.kerf
    }

    /// What a bar of a kind takes of [`Self::room`].
    pub fn takes(&self, kind: usize) -> i64 {
        self.kinds[kind].units + self.kerf
    }

    fn weight_at(&self, class: &Class, at: i64) -> i64 {
        match joining(&class.piece, at.unsigned_abs()) {
            super::Joining::FactoryLead => self.lead,
            super::Joining::Joint => self.joint,
            super::Joining::Mark => self.mark,
        }
    }

    /// Soldering of a bar of `kind` that begins at `from`.
    fn solder(&self, class: &Class, kind: usize, from: i64) -> i64 {
        let kind = self.kinds[kind];
        let start = self.weight_at(class, from);
        let end = self.weight_at(class, from + kind.units);
        match kind.fed {
            Fed::OneEnd => start.min(end),
            Fed::BothEnds => start + end,
        }
    }
}

pub(super) fn signed(units: u64) -> i64 {
    i64::try_from(units).unwrap_or(i64::MAX)
}

/// A set of bars laid into a piece: each bar's kind and where it begins.
#[derive(Debug, Clone)]
pub(super) struct Arrangement {
    pub bars: Vec<(usize, i64)>,
    pub cost: Cost,
    /// No other way to lay these bars is better.
    pub exact: bool,
}

/// How many bars of each kind.
pub(super) type Counts = Rc<[u32]>;

/// Arrangements found so far.
#[derive(Default)]
pub(super) struct Arrangements {
    known: HashMap<(usize, Counts), Rc<Arrangement>>,
    /// Work done, in steps of a search.
    pub spent: u64,
}

/// The most work for one arrangement between joints; beyond it, bars are laid without gaps.
const MOST_WORK: i64 = 60_000;

impl Arrangements {
    /// The best way to lay `counts` into a piece of `class`; they must fit.
    pub fn best(&mut self, instance: &Instance, class: usize, counts: &Counts) -> Rc<Arrangement> {
        if let Some(known) = self.known.get(&(class, Rc::clone(counts))) {
            return Rc::clone(known);
        }
        let (arrangement, work) = arrange(instance, &instance.classes[class], counts);
        self.spent += work;
        let arrangement = Rc::new(arrangement);
        self.known
            .insert((class, Rc::clone(counts)), Rc::clone(&arrangement));
        arrangement
    }
}

fn arrange(instance: &Instance, class: &Class, counts: &[u32]) -> (Arrangement, u64) {
    let plain = arrange_plain(instance, class, counts);
    if !class.jointed {
        return (plain, 1);
    }
    let slack = class.units - filled(instance, counts);
    let states = counts.iter().try_fold(1_i64, |product, &count| {
        product.checked_mul(i64::from(count) + 1)
    });
    let kinds = i64::try_from(counts.iter().filter(|&&count| count > 0).count()).unwrap_or(1);
    let work = states
        .and_then(|states| states.checked_mul((slack + 1) * (slack + 2) / 2))
        .and_then(|work| work.checked_mul(kinds))
        .filter(|&work| work <= MOST_WORK);
    match work {
        Some(work) => (
            arrange_on_joints(instance, class, counts, slack),
            1 + work.unsigned_abs() / 20,
        ),
        None => (
            Arrangement {
                exact: false,
                ..plain
            },
            1,
        ),
    }
}

fn filled(instance: &Instance, counts: &[u32]) -> i64 {
    counts
        .iter()
        .zip(&instance.kinds)
        .map(|(&count, kind)| i64::from(count) * kind.units)
        .sum()
}

/// What a rest costs.
fn rest_cost(instance: &Instance, rest: i64) -> Cost {
    let mut cost = Cost::default();
    if rest >= instance.usable && rest > 0 {
        cost.offcuts = 1;
        cost.squares_lost = -i128::from(rest) * i128::from(rest);
    } else {
        cost.scrap = rest;
    }
    cost
}

/// What a piece costs before anything is laid into it.
fn piece_cost(class: &Class) -> Cost {
    Cost {
        money: class.price_minor.unwrap_or(0),
        squares_lost: match class.price_minor {
            None => i128::from(class.units) * i128::from(class.units),
            Some(_) => 0,
        },
        ..Cost::default()
    }
}

/// Bars side by side, one rest. Without joints this is best: only the piece's ends differ
/// from other places, a bar takes at most the two that it touches, and one rest is never
/// worse than the same length in two.
fn arrange_plain(instance: &Instance, class: &Class, counts: &[u32]) -> Arrangement {
    let kinds: Vec<usize> = (0..counts.len())
        .flat_map(|kind| (0..counts[kind]).map(move |_| kind))
        .collect();
    let taken: i64 = kinds.iter().map(|&kind| instance.takes(kind)).sum();
    let spare = instance.room(class) - taken;
    let at_end =
        class.piece.end == End::Lead && (kinds.len() > 1 || class.piece.start == End::Bare);
    let mut bars = Vec::with_capacity(kinds.len());
    let mut at = 0;
    for (index, &kind) in kinds.iter().enumerate() {
        if at_end && index + 1 == kinds.len() {
            at = class.units - instance.kinds[kind].units;
        }
        bars.push((kind, at));
        at += instance.takes(kind);
    }
    let mut cost = piece_cost(class).plus(rest_cost(instance, (spare - instance.kerf).max(0)));
    cost.solder = bars
        .iter()
        .map(|&(kind, from)| instance.solder(class, kind, from))
        .sum();
    Arrangement {
        bars,
        cost,
        exact: true,
    }
}

/// The best of all ways to lay bars and rests, by dynamic programming over how many bars of
/// each kind are laid and how much rest lies before them. Pieces with joints have no kerf.
fn arrange_on_joints(
    instance: &Instance,
    class: &Class,
    counts: &[u32],
    slack: i64,
) -> Arrangement {
    let used: Vec<usize> = (0..counts.len()).filter(|&kind| counts[kind] > 0).collect();
    let mut stride = Vec::with_capacity(used.len());
    let mut states = 1_usize;
    for &kind in &used {
        stride.push(states);
        states *= counts[kind] as usize + 1;
    }
    let width = usize::try_from(slack + 1).unwrap_or(1);
    // For each state and rest before it: the cost so far, and the step that led here.
    let mut best: Vec<Option<(Cost, usize, usize)>> = vec![None; states * width];
    best[0] = Some((piece_cost(class), 0, 0));
    for state in 0..states {
        let laid: i64 = used
            .iter()
            .zip(&stride)
            .map(|(&kind, stride)| {
                let count = state / stride % (counts[kind] as usize + 1);
                signed(count as u64) * instance.kinds[kind].units
            })
            .sum();
        for before in 0..width {
            let Some((so_far, ..)) = best[state * width + before] else {
                continue;
            };
            for after in before..width {
                let gap = signed((after - before) as u64);
                let here = so_far.plus(rest_cost(instance, gap));
                let from = laid + signed(after as u64);
                for (place, &kind) in used.iter().enumerate() {
                    if state / stride[place] % (counts[kind] as usize + 1) == counts[kind] as usize
                    {
                        continue;
                    }
                    let mut cost = here;
                    cost.solder += instance.solder(class, kind, from);
                    let to = &mut best[(state + stride[place]) * width + after];
                    if to.is_none_or(|(known, ..)| cost < known) {
                        *to = Some((cost, place, before));
                    }
                }
            }
        }
    }
    let last = states - 1;
    let mut found: Option<(Cost, usize)> = None;
    for before in 0..width {
        if let Some((cost, ..)) = best[last * width + before] {
            let cost = cost.plus(rest_cost(instance, slack - signed(before as u64)));
            if found.is_none_or(|(known, _)| cost < known) {
                found = Some((cost, before));
            }
        }
    }
    let Some((cost, mut before)) = found else {
        return arrange_plain(instance, class, counts);
    };
    let mut bars = Vec::new();
    let mut state = last;
    let mut end = filled(instance, counts);
    while state > 0 {
        let Some((_, place, earlier)) = best[state * width + before] else {
            break;
        };
        let kind = used[place];
        end -= instance.kinds[kind].units;
        bars.push((kind, end + signed(before as u64)));
        state -= stride[place];
        before = earlier;
    }
    bars.reverse();
    Arrangement {
        bars,
        cost,
        exact: true,
    }
}
