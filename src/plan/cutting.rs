//! Wanted lengths of one part against its pieces in stock and the rolls that are sold: what
//! [`super::cut`] answers, put back into tags, micrometres and bars.
//!
//! Tape is computed in its cut units. Profile and cable are computed in the greatest length that
//! divides everything at hand, or, where that is too fine, in a coarser step with wanted lengths
//! rounded up and pieces rounded down; the cut list itself always has the exact lengths.

use std::collections::{BTreeMap, VecDeque};

use super::{
    book::Book,
    cut::{self, Budget, Joining, Joints, Problem, Roll, SolderWeights, Stock, Use, Want},
    outcome::{Becomes, CutProof, CutQuestion, CutSegment, CutSource, Joint, PieceCut},
};
use crate::{
    model::{
        channel::Channels,
        connector::Connector,
        fixture::Fed,
        id::{BarId, ExtraId, OfferId, PartId, ThingId},
        part::{Part, PartSpec, Tape},
        piece::End,
    },
    units::{CutPitch, Length},
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
}

/// A free range of a piece, or a roll that is sold.
#[derive(Clone)]
struct Source {
    cut: CutSource,
    /// The piece's whole amount.
    amount: i64,
    from: i64,
    to: i64,
    start: Option<Connector>,
    end: Option<Connector>,
    joints: Option<Joints>,
    batch: String,
    price_minor: i64,
}

/// Profile and cable are computed in at most so many steps along the longest piece: finer ones
/// cost time and gain less than a millimetre in ten metres.
pub(super) const MOST_STEPS: i64 = 10_000;

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

/// Cuts the wishes for one part, in the order given where several lengths are alike: the first
/// get the first batch.
pub(super) fn cut_part(book: &Book<'_>, part: &Part, wishes: &[Wish], budget: Budget) -> Cutting {
    let none = Cutting {
        given: vec![None; wishes.len()],
        ..Cutting::default()
    };
    let (tape, kerf, whole_only) = match &part.spec {
        PartSpec::Tape(tape) => (Some(tape), 0, false),
        PartSpec::Profile(profile) => (
            None,
            profile.kerf_um.map_or(0, Length::get),
            !profile.may_cut,
        ),
        PartSpec::Cable(_) => (None, 0, false),
        _ => return none,
    };
    if wishes.is_empty() {
        return none;
    }
    let stock = sources_in_stock(book, part.id, tape);
    let rolls = sources_to_buy(book, part.id, tape);
    let wanted: Vec<Wish> = wishes.to_vec();
    let work = Work {
        book,
        part: part.id,
        pitch: tape.map(|tape| tape.pitch),
        kerf,
        stock,
        rolls,
        wishes: wanted,
        budget,
    };
    if whole_only {
        work.whole_pieces()
    } else {
        work.solve()
    }
}

fn sources_in_stock(book: &Book<'_>, part: PartId, tape: Option<&Tape>) -> Vec<Source> {
    let colours = tape.and_then(Tape::colours);
    let mut all = Vec::new();
    for spare in book.pieces(part) {
        let piece = &spare.piece;
        let mut free = spare.free.clone();
        free.sort_unstable();
        for (from, to) in free {
            let (from, to) = (from.max(0), to.min(piece.amount));
            if from >= to {
                continue;
            }
            let joints = tape.and_then(|tape| tape.joints).and_then(|joints| {
                let offset = piece.joint_offset_units? - from;
                let every = u64::from(joints.every_units);
                let offset = offset.rem_euclid(i64::from(joints.every_units.max(1)));
                (every > 0).then(|| Joints {
                    every,
                    offset: offset.unsigned_abs(),
                })
            });
            // A range that begins or ends inside the piece has a bare end there.
            let at = |there: bool, end: &End| {
                end.connector()
                    .filter(|_| there)
                    .filter(|connector| usable_lead(connector, colours.as_ref()))
                    .cloned()
            };
            all.push(Source {
                cut: CutSource::Piece {
                    thing: piece.id,
                    tag: piece.tag.clone(),
                },
                amount: piece.amount,
                from,
                to,
                start: at(from == 0, &piece.start),
                end: at(to == piece.amount, &piece.end),
                joints,
                batch: piece.batch.clone(),
                price_minor: 0,
            });
        }
    }
    all
}

/// Whether a factory lead saves soldering one: it must not be known to lack a colour.
fn usable_lead(connector: &Connector, colours: Option<&Channels>) -> bool {
    colours.is_some_and(|colours| connector.carries(colours) != Some(false))
}

/// A roll that can be bought: from which offer, how long, at what price.
type ForSale = (Option<OfferId>, Length, i64);

/// What is sold: by the offers, or, where there is none, in the lengths of the part's own figures.
/// Without prices the shortest length together counts as the least money.
fn for_sale(book: &Book<'_>, part: PartId) -> Vec<ForSale> {
    let offers = book.offers(part);
    if offers.is_empty() {
        let lengths = book.part(part).map_or(&[][..], |part| part.spec.sold_um());
        lengths
            .iter()
            .map(|length| (None, *length, length.get() / 1_000))
            .collect()
    } else {
        offers
            .iter()
            .map(|offer| (Some(offer.id), offer.roll(), offer.price_minor.get()))
            .collect()
    }
}

fn sources_to_buy(book: &Book<'_>, part: PartId, tape: Option<&Tape>) -> Vec<Source> {
    let colours = tape.and_then(Tape::colours);
    for_sale(book, part)
        .into_iter()
        .filter_map(|(offer, roll_um, price_minor)| {
            let amount = match tape {
                Some(tape) => i64::try_from(tape.pitch.whole_units(roll_um).0).ok()?,
                None => roll_um.get(),
            };
            let lead = |end: fn(&Tape) -> &Option<Connector>| {
                tape.and_then(|tape| end(tape).as_ref())
                    .filter(|connector| usable_lead(connector, colours.as_ref()))
                    .cloned()
            };
            (amount > 0).then(|| Source {
                cut: CutSource::Buy {
                    offer,
                    roll_um,
                    nth: 0,
                },
                amount,
                from: 0,
                to: amount,
                start: lead(|tape| &tape.roll_start),
                end: lead(|tape| &tape.roll_end),
                joints: tape.and_then(|tape| tape.joints).and_then(|joints| {
                    (joints.every_units > 0).then(|| Joints {
                        every: joints.every_units.into(),
                        offset: joints.offset_units.into(),
                    })
                }),
                batch: String::new(),
                price_minor,
            })
        })
        .collect()
}

struct Work<'a> {
    book: &'a Book<'a>,
    part: PartId,
    pitch: Option<CutPitch>,
    kerf: i64,
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
        match self.pitch {
            None => usable.get(),
            Some(pitch) => {
                let (units, rest) = pitch.whole_units(usable);
                i64::try_from(units).unwrap_or(i64::MAX - 1) + i64::from(rest > 0)
            }
        }
    }

    /// Bars that may not be cut: each wish takes a piece of exactly its length.
    fn whole_pieces(self) -> Cutting {
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

    fn solve(self) -> Cutting {
        let mut answer = self.empty();
        let step = self.step();
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
        let piece = |source: &Source| Stock {
            units: down(source.to - source.from),
            start: cut_end(source.start.as_ref()),
            end: cut_end(source.end.as_ref()),
            joints: source.joints,
        };
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
            kerf_units: up(self.kerf),
            trim_units: 0,
            weights: if self.pitch.is_some() {
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
            asked: CutQuestion(self.pitch.is_some().then(|| problem.clone())),
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
                        self.kerf.min(source.to - to)
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

    /// The step that lengths are computed in: 1 for tape.
    fn step(&self) -> i64 {
        if self.pitch.is_some() {
            return 1;
        }
        let lengths = || {
            let sources = self.stock.iter().chain(&self.rolls);
            sources.map(|source| source.to - source.from)
        };
        let wishes = self.wishes.iter().map(|wish| wish.amount);
        let shared = lengths()
            .chain(wishes)
            .chain([self.kerf])
            .fold(0, greatest_divisor);
        let longest = lengths().max().unwrap_or(1);
        shared.max(longest / MOST_STEPS).max(1)
    }
}

pub(super) fn greatest_divisor(a: i64, b: i64) -> i64 {
    if b == 0 {
        a
    } else {
        greatest_divisor(b, a % b)
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
