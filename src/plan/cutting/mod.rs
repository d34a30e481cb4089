//! Wanted lengths of one part against its pieces in stock and the rolls that are sold: what
//! [`super::cut`] answers, put back into tags, micrometres and bars.
//!
//! Tape is computed in its cut units. Profile and cable are computed in the greatest length that
//! divides everything at hand, or, where that is too fine, in a coarser step with wanted lengths
//! rounded up and pieces rounded down; the cut list itself always has the exact lengths.

use std::collections::{BTreeMap, VecDeque};

mod from;
mod stay;

use from::Source;

use super::{
    book::Book,
    cut::{self, Budget, Joining, Problem, Roll, SolderWeights, Stock, Use, Want},
    manner::Manner,
    outcome::{Becomes, CutProof, CutQuestion, CutSegment, CutSource, Joint, PieceCut},
    rests::Taken,
};
use crate::{
    model::{
        connector::Connector,
        fixture::Fed,
        id::{BarId, ExtraId, OfferId, PartId, ThingId},
        part::{Part, PartSpec},
    },
    units::Length,
};

/// For what a length is wanted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Purpose {
    /// A bar.
    Bar(BarId),
    /// An extra line.
    Extra(ExtraId),
    /// The way from a supply to a driver's inlet: driver and inlet.
    Feed(usize, u16),
}

/// A wanted length, in the part's stock unit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Wish {
    pub(super) purpose: Purpose,
    pub(super) amount: i64,
    /// Where it is fed; `None` for what is not soldered.
    pub(super) fed: Option<Fed>,
}

/// Where a wish is fulfilled.
#[derive(Debug, Clone)]
pub(super) struct Given {
    /// Index in [`Cutting::cuts`].
    pub(super) cut: usize,
    /// Index of the segment in it.
    pub(super) segment: usize,
    pub(super) start: Joint,
    pub(super) end: Joint,
    /// What the factory lead ends in, where one is used.
    pub(super) factory: Option<Connector>,
    /// Batch of the piece, empty if not known or not bought yet.
    pub(super) batch: String,
    /// The range of the piece that it uses up, kerf included; `None` if bought.
    pub(super) held: Option<(ThingId, i64, i64)>,
}

/// What is bought by the roll, reel or bar.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Bought {
    /// From an offer.
    Offer(OfferId),
    /// Of a length that is sold, from nobody known.
    Length(Length),
}

/// How the wishes for one part are cut.
#[derive(Default)]
pub(super) struct Cutting {
    pub(super) cuts: Vec<PieceCut>,
    /// By the place of the wish in the list given; `None` is short.
    pub(super) given: Vec<Option<Given>>,
    /// Rolls to buy.
    pub(super) bought: BTreeMap<Bought, u32>,
    pub(super) proof: Option<CutProof>,
    /// What is taken of pieces in stock.
    taken: Vec<Taken>,
}

/// Steps that one plan may spend on its tapes together.
const TAPE_STEPS: u64 = Budget::USUAL.steps;
/// Steps for one profile or cable, where there is nothing to solder and less to gain.
const OTHER_STEPS: u64 = 8_000;

/// What may be spent on one part, where so many tapes share a plan: a large set is planned while
/// one waits, and the proof says what was left open.
pub(super) fn budget(part: &Part, tapes: usize) -> Budget {
    let tapes = u64::try_from(tapes).unwrap_or(u64::MAX).max(1);
    let steps = match part.spec {
        PartSpec::Tape(_) => TAPE_STEPS / tapes,
        _ => OTHER_STEPS,
    };
    Budget { steps }
}

/// Steps along the longest piece in which what profile is worth is computed.
const WORTH_STEPS: i64 = 2_000;

/// Cuts the wishes for one part, in the order given where several lengths are alike: the first
/// get the first batch.
pub(super) fn cut_part(book: &Book<'_>, part: &Part, wishes: &[Wish], budget: Budget) -> Cutting {
    let none = Cutting {
        given: vec![None; wishes.len()],
        ..Cutting::default()
    };
    let Some(manner) = Manner::of(part).filter(|_| !wishes.is_empty()) else {
        return none;
    };
    let work = Work {
        book,
        part: part.id,
        manner,
        stock: from::in_stock(book, part.id, &manner),
        rolls: from::to_buy(book, part.id, &manner),
        wishes: wishes.to_vec(),
        budget,
    };
    let cutting = if manner.whole_only {
        work.whole_pieces()
    } else {
        work.solve()
    };
    book.take(part.id, &cutting.taken);
    work.stay(cutting)
}

struct Work<'a> {
    book: &'a Book<'a>,
    part: PartId,
    manner: Manner<'a>,
    stock: Vec<Source>,
    rolls: Vec<Source>,
    wishes: Vec<Wish>,
    budget: Budget,
}

impl Work<'_> {
    fn empty(&self) -> Cutting {
        Cutting {
            given: vec![None; self.wishes.len()],
            ..Cutting::default()
        }
    }

    /// From which amount on a rest is worth keeping.
    fn usable(&self) -> i64 {
        let usable = self.book.input.venue.usable_offcut_um;
        match self.manner.tape {
            None => usable.get(),
            Some(tape) => {
                let (units, rest) = tape.pitch.whole_units(usable);
                i64::try_from(units).unwrap_or(i64::MAX - 1) + i64::from(rest > 0)
            }
        }
    }

    /// Bars that may not be cut: each wish takes a piece of exactly its length.
    fn whole_pieces(&self) -> Cutting {
        let mut answer = self.empty();
        let mut left: Vec<&Source> = self
            .stock
            .iter()
            .filter(|source| source.from == 0 && source.to == source.amount)
            .collect();
        for (at, wish) in self.wishes.iter().enumerate() {
            if let Some(found) = left.iter().position(|source| source.amount == wish.amount) {
                let source = left.remove(found);
                self.give_whole(&mut answer, at, source);
                continue;
            }
            let cheapest = self
                .rolls
                .iter()
                .filter(|roll| roll.amount == wish.amount)
                .min_by_key(|roll| roll.price_minor);
            if let Some(roll) = cheapest {
                let roll = number(roll, &mut answer.bought);
                self.give_whole(&mut answer, at, &roll);
            }
        }
        answer
    }

    fn give_whole(&self, answer: &mut Cutting, at: usize, source: &Source) {
        let wish = &self.wishes[at];
        answer.taken.extend(taken(source, 1));
        answer.given[at] = Some(Given {
            cut: answer.cuts.len(),
            segment: 0,
            start: Joint::None,
            end: Joint::None,
            factory: None,
            batch: source.batch.clone(),
            held: held(source, source.from, source.to),
        });
        answer.cuts.push(PieceCut {
            part: self.part,
            source: source.cut.clone(),
            amount: source.amount,
            segments: vec![CutSegment {
                from: source.from,
                to: source.to,
                becomes: becomes(wish.purpose, Joint::None, Joint::None),
            }],
        });
    }

    fn solve(&self) -> Cutting {
        let mut answer = self.empty();
        let pieces = self.stock.iter().chain(&self.rolls);
        let step = self.manner.step(
            pieces.map(|source| source.to - source.from),
            self.wishes.iter().map(|wish| wish.amount),
        );
        let down = |amount: i64| u64::try_from(amount / step).unwrap_or(0);
        let up = |amount: i64| u64::try_from((amount + step - 1) / step).unwrap_or(u64::MAX);

        // Lengths that are exactly a whole free range need no cut and no rounding.
        let mut open: Vec<usize> = (0..self.wishes.len()).collect();
        let mut stock: Vec<Source> = self.stock.clone();
        if step > 1 {
            open.retain(|&at| {
                let wish = &self.wishes[at];
                let Some(found) = stock
                    .iter()
                    .position(|source| source.to - source.from == wish.amount)
                else {
                    return true;
                };
                let source = stock.remove(found);
                self.give_whole(&mut answer, at, &source);
                false
            });
        }
        stock.retain(|source| down(source.to - source.from) > 0);

        let mut wants: BTreeMap<(i64, Option<Fed>), VecDeque<usize>> = BTreeMap::new();
        for &at in &open {
            let wish = &self.wishes[at];
            if wish.amount > 0 {
                wants
                    .entry((wish.amount, wish.fed))
                    .or_default()
                    .push_back(at);
            }
        }
        let piece = |source: &Source| piece(source, step);
        let rolls: Vec<&Source> = self
            .rolls
            .iter()
            .filter(|roll| down(roll.amount) > 0 && roll.price_minor <= cut::MOST_PRICE_MINOR)
            .collect();
        let problem = Problem {
            stock: stock.iter().map(piece).collect(),
            rolls: rolls
                .iter()
                .map(|roll| Roll {
                    piece: piece(roll),
                    price_minor: roll.price_minor,
                    quantity: None,
                })
                .collect(),
            wants: wants
                .iter()
                .map(|((amount, fed), list)| Want {
                    units: up(*amount),
                    quantity: u32::try_from(list.len()).unwrap_or(u32::MAX),
                    fed: match fed {
                        Some(Fed::BothEnds) => cut::Fed::BothEnds,
                        _ => cut::Fed::OneEnd,
                    },
                })
                .collect(),
            usable_units: up(self.usable()),
            kerf_units: up(self.manner.kerf),
            trim_units: 0,
            weights: if self.manner.tape.is_some() {
                SolderWeights::USUAL
            } else {
                SolderWeights::NONE
            },
        };
        // Lengths are held within the solver's ranges by the units that they come in.
        let Ok(plan) = cut::plan(&problem, self.budget) else {
            return answer;
        };
        answer.proof = Some(CutProof {
            part: self.part,
            short: plan.proof.short,
            money: plan.proof.money,
            solder: plan.proof.solder,
            rest: (plan.proof.rest).map(|rest| i64::try_from(rest.scrap_units).unwrap_or(i64::MAX)),
            priced: !self.book.offers(self.part).is_empty(),
            solder_work: plan.solder_work,
            asked: CutQuestion(self.manner.tape.is_some().then(|| problem.clone())),
        });

        // Like bars go to like stretches batch by batch, stock before what is bought.
        let mut layouts: Vec<(Source, &[cut::Segment])> = Vec::new();
        for layout in &plan.layouts {
            let source = match layout.source {
                cut::Source::Stock(at) => stock[at].clone(),
                cut::Source::Roll(at) => number(rolls[at], &mut answer.bought),
            };
            layouts.push((source, &layout.segments));
        }
        layouts.sort_by(|(a, _), (b, _)| {
            let bought = |source: &Source| matches!(source.cut, CutSource::Buy { .. });
            (bought(a), &a.batch).cmp(&(bought(b), &b.batch))
        });
        let mut queues: Vec<VecDeque<usize>> = wants.into_values().collect();
        for (source, segments) in layouts {
            answer.taken.extend(taken(&source, step));
            self.lay(&mut answer, &source, segments, step, &mut queues);
        }
        answer
    }

    /// Puts one layout back into the piece's own amounts.
    fn lay(
        &self,
        answer: &mut Cutting,
        source: &Source,
        segments: &[cut::Segment],
        step: i64,
        queues: &mut [VecDeque<usize>],
    ) {
        let cut = answer.cuts.len();
        let mut made: Vec<CutSegment> = Vec::new();
        let mut at = source.from;
        for (index, segment) in segments.iter().enumerate() {
            let steps = i64::try_from(segment.to - segment.from).unwrap_or(0);
            match segment.becomes {
                Use::Bar { want, start, end } => {
                    let Some(wish_at) = queues[want].pop_front() else {
                        continue;
                    };
                    let wish = &self.wishes[wish_at];
                    let (from, to) = (at, at + wish.amount);
                    let (start, end) = match wish.fed {
                        None => (Joint::None, Joint::None),
                        Some(_) => (joint(start), joint(end)),
                    };
                    let saws = segments
                        .get(index + 1)
                        .is_some_and(|next| next.becomes == Use::Kerf);
                    let dust = if saws {
                        self.manner.kerf.min(source.to - to)
                    } else {
                        0
                    };
                    let factory = if start == Joint::FactoryLead {
                        source.start.clone()
                    } else if end == Joint::FactoryLead {
                        source.end.clone()
                    } else {
                        None
                    };
                    answer.given[wish_at] = Some(Given {
                        cut,
                        segment: made.len(),
                        start,
                        end,
                        factory,
                        batch: source.batch.clone(),
                        held: held(source, from, to + dust),
                    });
                    made.push(CutSegment {
                        from,
                        to,
                        becomes: becomes(wish.purpose, start, end),
                    });
                    at = to + dust;
                }
                Use::Kerf | Use::Trim => {}
                Use::Offcut | Use::Scrap => {
                    let last = index + 1 == segments.len();
                    let to = if last { source.to } else { at + steps * step };
                    self.rest(&mut made, at, to);
                    at = to;
                }
            }
        }
        // What rounding up left over, where the solver saw no rest.
        let ends_in_wish = made
            .last()
            .is_some_and(|last| !matches!(last.becomes, Becomes::Offcut | Becomes::Scrap));
        if ends_in_wish {
            self.rest(&mut made, at, source.to);
        }
        answer.cuts.push(PieceCut {
            part: self.part,
            source: source.cut.clone(),
            amount: source.amount,
            segments: made,
        });
    }

    fn rest(&self, made: &mut Vec<CutSegment>, from: i64, to: i64) {
        if to > from {
            made.push(CutSegment {
                from,
                to,
                becomes: if to - from >= self.usable() {
                    Becomes::Offcut
                } else {
                    Becomes::Scrap
                },
            });
        }
    }
}

/// One more of a roll.
fn number(roll: &Source, bought: &mut BTreeMap<Bought, u32>) -> Source {
    let mut roll = roll.clone();
    if let CutSource::Buy {
        offer,
        roll_um,
        nth,
    } = &mut roll.cut
    {
        let which = offer.map_or(Bought::Length(*roll_um), Bought::Offer);
        let count = bought.entry(which).or_insert(0);
        *count += 1;
        *nth = *count;
    }
    roll
}

/// What wishes for one part are worth, for a bound on what is bought for some of them.
#[derive(Debug)]
pub(super) struct PartWorth {
    /// By the place of the wish in the list given.
    pub(super) of: Vec<i64>,
    worth: cut::Worth,
}

impl PartWorth {
    /// The least that rolls cost, in minor units, that serve wishes of so much worth together and
    /// leave none short.
    pub(super) fn least_money(&self, worth: i64) -> i64 {
        self.worth.least_money(worth)
    }
}

/// Several ways to value the wishes for one part; none where there is nothing to say of money.
/// Lengths are rounded in the buyer's favour.
pub(super) fn worths(book: &Book<'_>, part: &Part, wishes: &[Wish]) -> Vec<PartWorth> {
    let manner = Manner::of(part).filter(|manner| !manner.whole_only);
    let Some(manner) = manner.filter(|_| !book.offers(part.id).is_empty()) else {
        return Vec::new();
    };
    let stock = from::in_stock(book, part.id, &manner);
    let rolls = from::to_buy(book, part.id, &manner);
    let longest = stock
        .iter()
        .chain(&rolls)
        .map(|source| source.to - source.from);
    // Fine enough to lose little, coarse enough for a linear program of all lengths.
    let step = match manner.tape {
        Some(_) => 1,
        None => (longest.max().unwrap_or(1) / WORTH_STEPS).max(1),
    };
    let up = |amount: i64| u64::try_from((amount + step - 1) / step).unwrap_or(0);
    let down = |amount: i64| u64::try_from(amount / step).unwrap_or(0);
    let piece = |source: &Source| Stock {
        units: up(source.to - source.from),
        start: cut::End::Bare,
        end: cut::End::Bare,
        joints: None,
    };
    let mut wants: BTreeMap<u64, u32> = BTreeMap::new();
    for wish in wishes.iter().filter(|wish| down(wish.amount) > 0) {
        *wants.entry(down(wish.amount)).or_default() += 1;
    }
    let problem = Problem {
        stock: stock.iter().map(piece).collect(),
        rolls: rolls
            .iter()
            .filter(|roll| roll.price_minor <= cut::MOST_PRICE_MINOR)
            .map(|roll| Roll {
                piece: piece(roll),
                price_minor: roll.price_minor,
                quantity: None,
            })
            .collect(),
        wants: wants
            .iter()
            .map(|(&units, &quantity)| Want {
                units,
                quantity,
                fed: cut::Fed::OneEnd,
            })
            .collect(),
        usable_units: 1,
        kerf_units: down(manner.kerf),
        trim_units: 0,
        weights: SolderWeights::NONE,
    };
    let place: BTreeMap<u64, usize> = wants.into_keys().zip(0..).collect();
    let of_wish = |worth: &cut::Worth, wish: &Wish| {
        let want = place.get(&down(wish.amount));
        want.map_or(0, |&want| worth.of_want[want])
    };
    cut::worths(&problem)
        .unwrap_or_default()
        .into_iter()
        .map(|worth| PartWorth {
            of: wishes.iter().map(|wish| of_wish(&worth, wish)).collect(),
            worth,
        })
        .collect()
}

/// A source as the solver sees it, its length in steps.
fn piece(source: &Source, step: i64) -> Stock {
    Stock {
        units: u64::try_from((source.to - source.from) / step).unwrap_or(0),
        start: cut_end(source.start.as_ref()),
        end: cut_end(source.end.as_ref()),
        joints: source.joints,
    }
}

/// What is taken of a source, where lengths count in steps: all that are as many steps long are alike.
fn taken(source: &Source, step: i64) -> Option<Taken> {
    let length = source.to - source.from;
    match source.cut {
        CutSource::Piece { thing, .. } => Some(Taken {
            thing,
            least: length / step * step,
            below: length / step * step + step,
        }),
        CutSource::Buy { .. } => None,
    }
}

fn held(source: &Source, from: i64, to: i64) -> Option<(ThingId, i64, i64)> {
    match source.cut {
        CutSource::Piece { thing, .. } => Some((thing, from, to)),
        CutSource::Buy { .. } => None,
    }
}

fn cut_end(lead: Option<&Connector>) -> cut::End {
    match lead {
        Some(_) => cut::End::Lead,
        None => cut::End::Bare,
    }
}

fn joint(joining: Option<Joining>) -> Joint {
    match joining {
        None => Joint::None,
        Some(Joining::FactoryLead) => Joint::FactoryLead,
        Some(Joining::Joint) => Joint::Tinned,
        Some(Joining::Mark) => Joint::Mark,
    }
}

fn becomes(purpose: Purpose, start: Joint, end: Joint) -> Becomes {
    match purpose {
        Purpose::Bar(bar) => Becomes::Bar { bar, start, end },
        Purpose::Extra(extra) => Becomes::Extra { extra },
        Purpose::Feed(..) => Becomes::Feed,
    }
}
