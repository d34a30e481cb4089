//! What a reserved set cuts stays where it is held, wherever nothing better is known: other sets come
//! and go around it, and its people may have printed where to cut.

use std::collections::BTreeMap;

use super::{
    super::{
        answer::{Proof, Why},
        cut::{SolderWeights, joining},
        one_cut::one_each,
        outcome::{Becomes, CutSegment, CutSource, Joint, PieceCut, Plan},
    },
    Bought, Cutting, Given, Purpose, Source, Wish, Work, becomes, held, joint, number, piece,
};
use crate::model::{fixture::Fed, id::ThingId, reservation::Held};

/// A length of the plan that is held: where it lies, and up to where it is used up, kerf included.
struct Kept<'a> {
    segment: &'a CutSegment,
    used_to: i64,
}

impl Work<'_> {
    /// The cuts that are held, where they still serve the same wishes and the ones found save neither
    /// a roll nor soldering; else the ones found.
    pub(super) fn stay(&self, found: Cutting) -> Cutting {
        let held = self.book.input.held.as_ref();
        let Some(mut kept) = held.and_then(|plan| self.kept(plan)) else {
            return found;
        };
        let (work, least) = (solder(&kept.given), solder(&found.given));
        let (cost, lowest) = (self.money(&kept.bought), self.money(&found.bought));
        let none_short = found.given.iter().all(Option::is_some);
        if none_short && (cost > lowest || work > least) {
            return found;
        }
        let same = kept.cuts == found.cuts;
        kept.proof = found.proof.map(|mut proof| {
            proof.solder_work = work;
            let open = Proof::Open { why: Why::Held };
            if !same {
                proof.rest = open;
            }
            if !none_short || cost < lowest {
                // What was proven was proven of the other.
                (proof.short, proof.money) = (Proof::Proven, open);
                proof.solder = Proof::Open { why: Why::Held };
            }
            proof
        });
        kept
    }

    /// What rolls cost, or how many millimetres they have where nobody is known to sell them.
    fn money(&self, bought: &BTreeMap<Bought, u32>) -> i64 {
        let price = |which: &Bought| {
            let mut rolls = self.rolls.iter();
            let roll = rolls.find(|roll| match (&roll.cut, which) {
                (CutSource::Buy { offer, .. }, Bought::Offer(id)) => *offer == Some(*id),
                (CutSource::Buy { offer, roll_um, .. }, Bought::Length(length)) => {
                    offer.is_none() && roll_um == length
                }
                (CutSource::Piece { .. }, _) => false,
            });
            roll.map_or(0, |roll| roll.price_minor)
        };
        let each = bought.iter();
        each.map(|(which, many)| price(which).saturating_mul(i64::from(*many)))
            .fold(0, i64::saturating_add)
    }

    /// The part's cuts of a plan, laid into what is free now; `None` where they don't serve exactly
    /// the wishes, or not as they say.
    fn kept(&self, plan: &Plan) -> Option<Cutting> {
        let used: BTreeMap<(ThingId, i64), i64> = (plan.holds.iter())
            .filter_map(|hold| match hold.held {
                Held::Thing { thing, from, to } => Some(((thing, from), to)),
                Held::Count { .. } => None,
            })
            .collect();
        let mut open: Vec<usize> = (0..self.wishes.len()).collect();
        let mut kept = self.empty();
        // Plans that were kept before may have several cuts of one piece.
        let (cuts, _) = one_each(plan.cuts.clone());
        for cut in cuts.iter().filter(|cut| cut.part == self.part) {
            let whole = |it: &CutSegment| (it.from, it.to) == (0, cut.amount);
            if self.manner.whole_only && !cut.segments.iter().all(whole) {
                return None;
            }
            let mut wanted = (cut.segments.iter())
                .filter(|it| !matches!(it.becomes, Becomes::Offcut | Becomes::Scrap))
                .map(|segment| {
                    let used_to = match &cut.source {
                        CutSource::Piece { thing, .. } => *used.get(&(*thing, segment.from))?,
                        CutSource::Buy { .. } => {
                            (segment.to.saturating_add(self.manner.kerf)).min(cut.amount)
                        }
                    };
                    Some(Kept { segment, used_to })
                })
                .collect::<Option<Vec<_>>>()?;
            for source in self.sources(cut, &mut kept) {
                let inside = wanted.extract_if(.., |it| {
                    it.segment.from >= source.from && it.used_to <= source.to
                });
                let inside: Vec<_> = inside.collect();
                if !inside.is_empty() {
                    self.lay_kept(&mut kept, &source, &inside, &mut open)?;
                }
            }
            if !wanted.is_empty() {
                return None;
            }
        }
        open.is_empty().then_some(kept)
    }

    /// What a cut of the plan can be laid into: the free ranges of its piece, or one more of its roll.
    fn sources(&self, cut: &PieceCut, kept: &mut Cutting) -> Vec<Source> {
        let alike = |source: &&Source| source.amount == cut.amount;
        match &cut.source {
            CutSource::Piece { thing, .. } => (self.stock.iter())
                .filter(alike)
                .filter(|it| matches!(&it.cut, CutSource::Piece { thing: id, .. } if id == thing))
                .cloned()
                .collect(),
            CutSource::Buy { offer, roll_um, .. } => {
                let asked = (*offer, *roll_um);
                let sold = self.rolls.iter().filter(alike).find(|it| match &it.cut {
                    CutSource::Buy { offer, roll_um, .. } => (*offer, *roll_um) == asked,
                    CutSource::Piece { .. } => false,
                });
                sold.map(|roll| number(roll, &mut kept.bought))
                    .into_iter()
                    .collect()
            }
        }
    }

    /// Lays lengths where they are held, with the rests around them as they are now.
    fn lay_kept(
        &self,
        answer: &mut Cutting,
        source: &Source,
        lengths: &[Kept<'_>],
        open: &mut Vec<usize>,
    ) -> Option<()> {
        let cut = answer.cuts.len();
        let mut made = Vec::new();
        let mut at = source.from;
        for Kept { segment, used_to } in lengths {
            let saws = *used_to == segment.to + self.manner.kerf;
            if segment.from < at || !(saws || *used_to == source.to) {
                return None;
            }
            let place = open
                .iter()
                .position(|&wish| serves(segment, &self.wishes[wish]))?;
            let wish_at = open.remove(place);
            let wish = &self.wishes[wish_at];
            let (start, end) = joints(source, segment, wish)?;
            self.rest(&mut made, at, segment.from);
            let lead = |joint: Joint| joint == Joint::FactoryLead;
            let factory = (source.start.clone().filter(|_| lead(start)))
                .or_else(|| source.end.clone().filter(|_| lead(end)));
            answer.given[wish_at] = Some(Given {
                cut,
                segment: made.len(),
                start,
                end,
                factory,
                batch: source.batch.clone(),
                held: held(source, segment.from, *used_to),
            });
            made.push(CutSegment {
                from: segment.from,
                to: segment.to,
                becomes: becomes(wish.purpose, start, end),
            });
            at = *used_to;
        }
        self.rest(&mut made, at, source.to);
        answer.cuts.push(PieceCut {
            part: self.part,
            source: source.cut.clone(),
            amount: source.amount,
            segments: made,
        });
        Some(())
    }
}

/// What the ends of a length are joined by, if that is still as the plan says and the wish is fed
/// as it was.
fn joints(source: &Source, segment: &CutSegment, wish: &Wish) -> Option<(Joint, Joint)> {
    let Becomes::Bar { start, end, .. } = segment.becomes else {
        return Some((Joint::None, Joint::None));
    };
    let fed = [start, end].iter().filter(|it| **it != Joint::None).count();
    let wanted = match wish.fed {
        None => 0,
        Some(Fed::BothEnds) => 2,
        Some(_) => 1,
    };
    let piece = piece(source, 1);
    let lies_on = |said: Joint, at: i64| {
        let at = u64::try_from(at - source.from).unwrap_or(u64::MAX);
        said == Joint::None || said == joint(Some(joining(&piece, at)))
    };
    (fed == wanted && lies_on(start, segment.from) && lies_on(end, segment.to))
        .then_some((start, end))
}

/// Whether a length of the plan is what a wish asks for.
fn serves(segment: &CutSegment, wish: &Wish) -> bool {
    let same = match (segment.becomes, wish.purpose) {
        (Becomes::Bar { bar, .. }, Purpose::Bar(id)) => bar == id,
        (Becomes::Extra { extra }, Purpose::Extra(id)) => extra == id,
        (Becomes::Feed, Purpose::Feed(..)) => true,
        _ => false,
    };
    same && segment.to - segment.from == wish.amount
}

/// The work of soldering leads on.
fn solder(given: &[Option<Given>]) -> u64 {
    let ends = given.iter().flatten().flat_map(|it| [it.start, it.end]);
    ends.map(|joint| {
        u64::from(match joint {
            Joint::None => 0,
            Joint::FactoryLead => SolderWeights::USUAL.lead,
            Joint::Tinned => SolderWeights::USUAL.joint,
            Joint::Mark => SolderWeights::USUAL.mark,
        })
    })
    .sum()
}
