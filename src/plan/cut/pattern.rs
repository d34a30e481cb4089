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
    /// What bars can be cut from: its length less what is trimmed.
    pub units: i64,
    /// Its whole length.
    pub whole: i64,
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
#[derive(Debug, Clone)]
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
        let trim = problem.trim_units;
        let shape = |piece: &Stock| {
            let mut piece = *piece;
            piece.units = piece.units.saturating_sub(2 * trim);
            piece.joints = piece
                .joints
                .filter(|_| joints_matter)
                .and_then(|mut joints| {
                    joints.offset %= joints.every;
                    joints.offset += joints.every - trim % joints.every;
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
            if piece.units.saturating_sub(2 * trim) >= shortest {
                let like = merged.entry((None, shape(piece))).or_default();
                like.push((index, Some(1)));
            }
        }
        for (index, roll) in problem.rolls.iter().enumerate() {
            if roll.piece.units.saturating_sub(2 * trim) >= shortest && roll.quantity != Some(0) {
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
                whole: signed(piece.units + 2 * trim),
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

    /// The step of length that all bars are whole numbers of.
    pub fn step(&self) -> i64 {
        let takes = (0..self.kinds.len()).map(|kind| self.takes(kind));
        takes.fold(0, gcd).max(1)
    }

    pub fn weight_at(&self, class: &Class, at: i64) -> i64 {
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

pub(super) fn gcd(a: i64, b: i64) -> i64 {
    if b == 0 { a } else { gcd(b, a % b) }
}

/// A place in a table by position; lengths in tables are never negative and fit.
fn position(units: i64) -> usize {
    usize::try_from(units).unwrap_or(0)
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
const MOST_WORK: i64 = 2_000_000;
/// The longest piece for which joints are looked at one by one.
const MOST_UNITS_ON_JOINTS: i64 = 20_000;

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

impl Arrangements {
    /// Keeps another way to lay `counts` if it is better than the one known and that is not the
    /// best for certain.
    pub fn offer(
        &mut self,
        instance: &Instance,
        class: usize,
        counts: &[u32],
        bars: &[(usize, i64)],
    ) {
        let counts: Counts = Rc::from(counts);
        let known = self.best(instance, class, &counts);
        if known.exact {
            return;
        }
        let cost = laid_cost(instance, &instance.classes[class], bars);
        if cost < known.cost {
            let arrangement = Arrangement {
                bars: bars.to_vec(),
                cost,
                exact: false,
            };
            self.known.insert((class, counts), Rc::new(arrangement));
        }
    }
}

/// What bars cost as they lie, in a piece that is cut without a kerf.
fn laid_cost(instance: &Instance, class: &Class, bars: &[(usize, i64)]) -> Cost {
    let mut cost = piece_cost(class);
    let mut at = 0;
    for &(kind, from) in bars {
        cost = cost.plus(rest_cost(instance, from - at));
        cost.solder += instance.solder(class, kind, from);
        at = from + instance.kinds[kind].units;
    }
    cost.plus(rest_cost(instance, class.units - at))
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
        .and_then(|states| states.checked_mul((slack + 1) * (slack / 2 + 1 + 2 * kinds)))
        .filter(|&work| work <= MOST_WORK && class.units <= MOST_UNITS_ON_JOINTS);
    let laid = work.and_then(|work| {
        let laid = arrange_on_joints(instance, class, counts, slack)?;
        Some((laid, 1 + (work + class.units).unsigned_abs() / 400))
    });
    laid.unwrap_or((
        Arrangement {
            exact: false,
            ..plain
        },
        1,
    ))
}

/// A cost that no arrangement of `counts` is below: one rest, every lead used, and every
/// other fed end on a joint if the piece has any.
pub(super) fn at_least(instance: &Instance, class: &Class, counts: &[u32]) -> Cost {
    let (mut ends, mut taken) = (0_i64, 0_i64);
    for (kind, &count) in counts.iter().enumerate() {
        let count = i64::from(count);
        taken += count * instance.takes(kind);
        ends += match instance.kinds[kind].fed {
            Fed::OneEnd => count,
            Fed::BothEnds => 2 * count,
        };
    }
    let rest = (instance.room(class) - taken - instance.kerf).max(0);
    let leaded = class.leads().min(ends);
    let other = if class.jointed {
        instance.joint
    } else {
        instance.mark
    };
    let mut cost = piece_cost(class).plus(rest_cost(instance, rest));
    cost.solder = leaded * instance.lead + (ends - leaded) * other;
    cost
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
            None => i128::from(class.whole) * i128::from(class.whole),
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

/// How a state was reached: which kind was laid last, and how much rest lay before it.
#[derive(Clone, Copy)]
struct Step {
    cost: i64,
    place: usize,
    before: usize,
}

/// Soldering, scrap, offcuts and squares as digits of one number, which orders as they do one
/// after the other and adds up as they do.
struct Digits {
    solder: i64,
    scrap: i64,
    offcut: i64,
}

impl Digits {
    /// For at most so many bars with so much rest; `None` where the number would be too large.
    fn new(instance: &Instance, bars: i64, slack: i64) -> Option<Self> {
        // Squares of rests are together at most the square of all rest.
        let offcut = slack.checked_mul(slack)?.checked_add(1)?;
        let scrap = offcut.checked_mul(bars + 2)?;
        let solder = scrap.checked_mul(slack + 1)?;
        let ends = instance.mark.checked_mul(2 * bars + 1)?;
        let largest = solder.checked_mul(ends)?;
        (largest < NEVER / 4).then_some(Self {
            solder,
            scrap,
            offcut,
        })
    }

    fn rest(&self, instance: &Instance, rest: i64) -> i64 {
        if rest == 0 {
            0
        } else if rest >= instance.usable {
            self.offcut - rest * rest
        } else {
            self.scrap * rest
        }
    }
}

/// Beyond any cost in digits; two of them still add up.
const NEVER: i64 = i64::MAX / 4;

/// The best of all ways to lay bars and rests, by dynamic programming over how many bars of
/// each kind are laid and how much rest lies before them. Pieces with joints have no kerf.
///
/// Rests lie at the end, and before bars that touch a joint or lead: any other bar could as well
/// begin where the rest before it does, which makes no cut harder, and rests that meet are never
/// worse as one.
fn arrange_on_joints(
    instance: &Instance,
    class: &Class,
    counts: &[u32],
    slack: i64,
) -> Option<Arrangement> {
    let used: Vec<usize> = (0..counts.len()).filter(|&kind| counts[kind] > 0).collect();
    let bars: i64 = counts.iter().map(|&count| i64::from(count)).sum();
    let digits = Digits::new(instance, bars, slack)?;
    let mut stride = Vec::with_capacity(used.len());
    let mut states = 1_usize;
    for &kind in &used {
        stride.push(states);
        states *= counts[kind] as usize + 1;
    }
    let width = position(slack) + 1;
    let rests: Vec<i64> = (0..=slack)
        .map(|rest| digits.rest(instance, rest))
        .collect();
    let weights: Vec<i64> = (0..=class.units)
        .map(|at| instance.weight_at(class, at))
        .collect();

    let none = Step {
        cost: NEVER,
        place: 0,
        before: 0,
    };
    let mut best = vec![none; states * width];
    best[0].cost = 0;
    for state in 0..states - 1 {
        let count = |place: usize| state / stride[place] % (counts[used[place]] as usize + 1);
        let laid: usize = (0..used.len())
            .map(|place| count(place) * position(instance.kinds[used[place]].units))
            .sum();
        let open: Vec<(usize, usize, Fed)> = (0..used.len())
            .filter(|&place| count(place) < counts[used[place]] as usize)
            .map(|place| {
                let kind = instance.kinds[used[place]];
                (place, position(kind.units), kind.fed)
            })
            .collect();
        for after in 0..width {
            let from = laid + after;
            let straight = best[state * width + after].cost;
            let mut rested: Option<(i64, usize)> = None;
            for &(place, units, fed) in &open {
                let (start, end) = (weights[from], weights[from + units]);
                let solder = match fed {
                    Fed::OneEnd => start.min(end),
                    Fed::BothEnds => start + end,
                };
                let (mut here, mut before) = (straight, after);
                if start.min(end) < instance.mark {
                    let (cost, at) = *rested.get_or_insert_with(|| {
                        (0..after)
                            .map(|before| {
                                (
                                    best[state * width + before].cost + rests[after - before],
                                    before,
                                )
                            })
                            .min()
                            .unwrap_or((NEVER, after))
                    });
                    if cost < here {
                        (here, before) = (cost, at);
                    }
                }
                let cost = here + digits.solder * solder;
                let to = &mut best[(state + stride[place]) * width + after];
                if cost < to.cost {
                    *to = Step {
                        cost,
                        place,
                        before,
                    };
                }
            }
        }
    }

    let mut state = states - 1;
    let (_, mut before) = (0..width)
        .map(|before| {
            (
                best[state * width + before].cost + rests[width - 1 - before],
                before,
            )
        })
        .min()
        .filter(|&(cost, _)| cost < NEVER)?;
    let mut bars = Vec::new();
    while state > 0 {
        let step = best[state * width + before];
        state -= stride[step.place];
        let laid: i64 = (0..used.len())
            .map(|place| {
                let count = state / stride[place] % (counts[used[place]] as usize + 1);
                signed(count as u64) * instance.kinds[used[place]].units
            })
            .sum();
        bars.push((used[step.place], laid + signed(before as u64)));
        before = step.before;
    }
    bars.reverse();
    Some(Arrangement {
        cost: laid_cost(instance, class, &bars),
        bars,
        exact: true,
    })
}
