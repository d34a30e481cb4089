//! Everything that a better plan can be, by dynamic programming over what is served.
//!
//! # Method
//! A plan takes at most one pattern from each piece. Piece by piece the states that can be reached
//! are kept: bars served so far, each with its cheapest way. Every price vector that bounds a level
//! gives each pattern a slack, by which its reduced cost is above the least of its piece; a plan's
//! slacks add up to at most the gap between bound and value, so that states beyond it are dropped
//! (S. Martello and P. Toth, *Knapsack Problems*, Wiley 1990, chapter 2, bound and dominance
//! together). States grow from both ends, half of the pieces each, and are joined where they make up
//! the demand.
//!
//! Of two ways to serve the same bars from the same pieces the cheaper one in the order of the
//! objectives is enough: what completes one completes the other. So the answer is best in all
//! objectives at once.

use std::{collections::HashMap, rc::Rc};

use super::{
    levels::Found,
    pack::{Mixed, Packing},
    pattern::{Cost, Counts, Instance},
    search::Solution,
};

/// The most price vectors that drop states.
pub(super) const MOST_BUDGETS: usize = 6;
/// Pieces alike up to this many are gone through one by one; where there are more, their number is
/// only checked at the end.
pub(super) const MOST_ALIKE: u32 = 6;
/// Transitions that count as one step.
const PER_STEP: u64 = 8;

/// A pattern with its slack in every budget.
pub(super) struct Taking {
    pub class: usize,
    pub counts: Counts,
    pub cost: Cost,
    pub slack: [i64; MOST_BUDGETS],
}

/// What is searched.
pub(super) struct Program<'a> {
    pub instance: &'a Instance,
    /// By class.
    pub options: Vec<Taking>,
    /// By class: the slack of not using it, one piece each.
    pub unused: Vec<[i64; MOST_BUDGETS]>,
    /// By kind: the slack of giving up one bar; `None` where none may be.
    pub given_up: Option<Vec<[i64; MOST_BUDGETS]>>,
    /// What slacks may add up to.
    pub budget: [i64; MOST_BUDGETS],
    pub beat: Cost,
}

type Places = HashMap<u128, u32, Mixed>;

/// Bars served, the cheapest way there, and what it uses of the budgets.
#[derive(Clone, Copy)]
struct State {
    key: u128,
    cost: Cost,
    slack: [i64; MOST_BUDGETS],
    link: u32,
}

/// The last step to a state: the link before it, and the option taken.
#[derive(Clone, Copy)]
struct Link {
    before: u32,
    option: u32,
}

/// No link, or an option that gives up a bar of the kind below it.
const NOTHING: u32 = u32::MAX;

struct Side {
    states: Vec<State>,
    places: Places,
}

struct Search<'a> {
    program: &'a Program<'a>,
    packing: Packing,
    /// By option.
    keys: Vec<u128>,
    links: Vec<Link>,
    looks: u64,
    transitions: u64,
    most_transitions: u64,
    most_states: usize,
    stop: &'a dyn Fn() -> bool,
}

/// What may be taken at once: options of one class, or bars given up.
struct Layer {
    /// Indices of options; for bars given up, the number of options and the kind.
    options: Vec<u32>,
    /// Without limit, or once.
    many: bool,
    unused: [i64; MOST_BUDGETS],
}

/// Searches; gives the steps taken too.
pub(super) fn search(
    program: &Program<'_>,
    most_states: usize,
    most_steps: u64,
    stop: &dyn Fn() -> bool,
) -> (Found, u64) {
    let Some(packing) = Packing::new(&program.instance.demand) else {
        return (Found::Stopped, 1);
    };
    let keys = program
        .options
        .iter()
        .map(|option| packing.pack(&option.counts))
        .collect();
    let mut search = Search {
        program,
        packing,
        keys,
        links: Vec::new(),
        looks: 0,
        transitions: 0,
        most_transitions: most_steps.saturating_mul(PER_STEP),
        most_states,
        stop,
    };
    let ended = search.run();
    (ended, 1 + search.transitions / PER_STEP)
}

fn within(slack: &[i64; MOST_BUDGETS], budget: &[i64; MOST_BUDGETS]) -> bool {
    slack
        .iter()
        .zip(budget)
        .all(|(slack, budget)| slack <= budget)
}

fn sum(a: &[i64; MOST_BUDGETS], b: &[i64; MOST_BUDGETS]) -> [i64; MOST_BUDGETS] {
    std::array::from_fn(|at| a[at].saturating_add(b[at]))
}

impl Side {
    fn new() -> Self {
        let mut side = Self {
            states: Vec::new(),
            places: Places::default(),
        };
        side.keep(State {
            key: 0,
            cost: Cost::default(),
            slack: [0; MOST_BUDGETS],
            link: NOTHING,
        });
        side
    }

    /// Keeps a state if it is new or cheaper; tells where.
    fn keep(&mut self, state: State) -> Option<usize> {
        let next = u32::try_from(self.states.len()).unwrap_or(u32::MAX);
        let place = *self.places.entry(state.key).or_insert(next);
        if place == next {
            self.states.push(state);
            return Some(place as usize);
        }
        let known = &mut self.states[place as usize];
        if state.cost < known.cost {
            *known = state;
            return Some(place as usize);
        }
        None
    }
}

impl Search<'_> {
    fn layers(&self) -> Vec<Layer> {
        let program = self.program;
        let mut by_class: Vec<Vec<u32>> = vec![Vec::new(); program.instance.classes.len()];
        for (index, option) in (0_u32..).zip(&program.options) {
            by_class[option.class].push(index);
        }
        let mut layers = Vec::new();
        for (class, options) in by_class.into_iter().enumerate() {
            let many = program.instance.classes[class].available;
            let times = match many {
                Some(many) if many <= MOST_ALIKE => many,
                _ => 1,
            };
            let unused = program.unused[class];
            if options.is_empty() && unused.iter().all(|&slack| slack == 0) {
                continue;
            }
            for _ in 0..times {
                layers.push(Layer {
                    options: options.clone(),
                    many: many.is_none_or(|many| many > MOST_ALIKE),
                    unused,
                });
            }
        }
        if program.given_up.is_some() {
            let first = u32::try_from(program.options.len()).unwrap_or(NOTHING);
            let kinds = u32::try_from(program.instance.kinds.len()).unwrap_or(0);
            layers.push(Layer {
                options: (first..first + kinds).collect(),
                many: true,
                unused: [0; MOST_BUDGETS],
            });
        }
        // The largest while there are few states.
        layers.sort_by_key(|layer| std::cmp::Reverse(layer.options.len()));
        layers
    }

    /// Key, cost and slack of an option, or of giving up a bar.
    fn option(&self, index: u32) -> (u128, Cost, [i64; MOST_BUDGETS]) {
        let at = index as usize;
        if let Some(option) = self.program.options.get(at) {
            return (self.keys[at], option.cost, option.slack);
        }
        let kind = at - self.program.options.len();
        let slack = self
            .program
            .given_up
            .as_ref()
            .map_or([0; MOST_BUDGETS], |slacks| slacks[kind]);
        let cost = Cost {
            short: 1,
            ..Cost::default()
        };
        (self.packing.one(kind), cost, slack)
    }

    fn run(&mut self) -> Found {
        let mut sides = [Side::new(), Side::new()];
        for layer in self.layers() {
            let at = usize::from(sides[1].states.len() < sides[0].states.len());
            let side = std::mem::replace(&mut sides[at], Side::new());
            let next = if layer.many {
                self.many(side, &layer)
            } else {
                self.once(&side, &layer)
            };
            let Some(next) = next else {
                return Found::Stopped;
            };
            sides[at] = next;
        }
        let [mut few, mut many] = sides;
        if many.states.len() < few.states.len() {
            std::mem::swap(&mut few, &mut many);
        }
        let mut best = self.program.beat;
        let mut found = None;
        for state in &few.states {
            let Some(&place) = many.places.get(&(self.packing.demand - state.key)) else {
                continue;
            };
            let other = many.states[place as usize];
            let cost = state.cost.plus(other.cost);
            if cost < best && within(&sum(&state.slack, &other.slack), &self.program.budget) {
                best = cost;
                found = Some((state.link, other.link));
            }
        }
        self.transitions += few.states.len() as u64;
        match found {
            Some((one, other)) => self.solution(best, [one, other]),
            None => Found::None,
        }
    }

    /// The plan that two chains of links make up.
    fn solution(&self, cost: Cost, ends: [u32; 2]) -> Found {
        let program = self.program;
        let mut solution = Solution {
            cost,
            pieces: Vec::new(),
            short: vec![0; program.instance.kinds.len()],
        };
        let mut used = vec![0_u32; program.instance.classes.len()];
        for mut link in ends {
            while link != NOTHING {
                let Link { before, option } = self.links[link as usize];
                let at = option as usize;
                match program.options.get(at) {
                    Some(option) => {
                        used[option.class] += 1;
                        let counts = Rc::clone(&option.counts);
                        solution.pieces.push((option.class, counts));
                    }
                    None => solution.short[at - program.options.len()] += 1,
                }
                link = before;
            }
        }
        let can_be_had = program
            .instance
            .classes
            .iter()
            .zip(used)
            .all(|(class, used)| class.available.is_none_or(|many| used <= many));
        if can_be_had {
            Found::Best(solution)
        } else {
            Found::Stopped
        }
    }

    fn is_over(&mut self, states: usize) -> bool {
        self.looks += 1;
        states > self.most_states
            || self.transitions > self.most_transitions
            || (self.looks.is_multiple_of(64) && (self.stop)())
    }

    /// Takes at most one of a layer's options from every state.
    fn once(&mut self, side: &Side, layer: &Layer) -> Option<Side> {
        let budget = self.program.budget;
        let mut next = Side {
            states: Vec::with_capacity(2 * side.states.len()),
            places: Places::default(),
        };
        let options: Vec<_> = layer
            .options
            .iter()
            .map(|&index| (index, self.option(index)))
            .collect();
        for state in &side.states {
            self.transitions += 1 + layer.options.len() as u64;
            if self.is_over(next.states.len()) {
                return None;
            }
            let slack = sum(&state.slack, &layer.unused);
            if within(&slack, &budget) {
                next.keep(State { slack, ..*state });
            }
            for &(index, (key, cost, slack)) in &options {
                self.take(state, index, (key, cost, slack), &mut next);
            }
        }
        Some(next)
    }

    /// One option taken from a state.
    fn take(
        &mut self,
        state: &State,
        index: u32,
        (key, cost, slack): (u128, Cost, [i64; MOST_BUDGETS]),
        next: &mut Side,
    ) -> Option<usize> {
        let key = state.key + key;
        if !self.packing.fits(key) {
            return None;
        }
        let slack = sum(&state.slack, &slack);
        if !within(&slack, &self.program.budget) {
            return None;
        }
        let kept = next.keep(State {
            key,
            cost: state.cost.plus(cost),
            slack,
            link: u32::try_from(self.links.len()).unwrap_or(NOTHING),
        });
        if kept.is_some() {
            self.links.push(Link {
                before: state.link,
                option: index,
            });
        }
        kept
    }

    /// Takes any number of a layer's options from every state, option by option.
    fn many(&mut self, mut side: Side, layer: &Layer) -> Option<Side> {
        for &index in &layer.options {
            let option = self.option(index);
            let mut reached: Vec<State> = side.states.clone();
            while !reached.is_empty() {
                let mut further = Vec::new();
                for state in &reached {
                    self.transitions += 1;
                    if self.is_over(side.states.len()) {
                        return None;
                    }
                    if let Some(place) = self.take(state, index, option, &mut side) {
                        further.push(side.states[place]);
                    }
                }
                reached = further;
            }
        }
        Some(side)
    }
}
