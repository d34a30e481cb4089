//! The input put in order: what is looked up while planning, sorted by keys of its own, so that
//! a plan does not depend on the order in which things were read.

use std::{
    cell::RefCell,
    collections::{BTreeMap, BTreeSet},
};

use super::{
    choice::Way,
    input::{Freedom, Input, Offer, SpareCount, SpareFixture, SparePiece, SpareUnit},
    outcome::Serve,
    rests::{Rests, Taken},
};
use crate::{
    model::{
        design::Bar,
        fixture::Condition,
        id::{BarId, PartId, SupplierId, ThingId},
        part::{Part, PartSpec},
    },
    units::{Date, Length},
};

/// The input, sorted.
pub(super) struct Book<'a> {
    pub(super) input: &'a Input,
    parts: BTreeMap<PartId, &'a Part>,
    offers: BTreeMap<PartId, Vec<&'a Offer>>,
    counts: BTreeMap<PartId, &'a SpareCount>,
    mounted: BTreeMap<PartId, i64>,
    pieces: BTreeMap<PartId, Vec<&'a SparePiece>>,
    /// Wanted bars by id.
    pub(super) bars: Vec<&'a Bar>,
    /// Fixtures by tag, with why each is not free.
    pub(super) fixtures: Vec<&'a SpareFixture>,
    /// Units by place and tag that this set may use.
    pub(super) units: Vec<&'a SpareUnit>,
    /// Frames of the cupboard that serve, by id.
    pub(super) frames: Vec<ThingId>,
    /// Which tape each group of like bars gets, where that is not left to how it looks.
    pub(super) way: Way,
    /// The fixtures that serve its bars in the plan that is held.
    pub(super) serving: BTreeMap<BarId, ThingId>,
    /// What the design leaves alone.
    pub(super) left_alone: BTreeSet<ThingId>,
    /// From whom nothing is bought for it.
    pub(super) not_from: BTreeSet<SupplierId>,
    /// The pieces that were taken in any of the ways tried.
    rests: RefCell<Rests>,
}

impl<'a> Book<'a> {
    pub(super) fn new(input: &'a Input) -> Self {
        let stock = &input.stock;
        let chosen: BTreeSet<ThingId> = input
            .design
            .frames
            .iter()
            .filter_map(|frame| frame.thing)
            .collect();
        let frames: Vec<ThingId> = stock
            .frames
            .iter()
            .filter(|frame| chosen.contains(&frame.thing) && frame.freedom == Freedom::Free)
            .map(|frame| frame.thing)
            .collect::<BTreeSet<_>>()
            .into_iter()
            .collect();
        // What is mounted on a frame that does not serve stays there.
        let elsewhere: BTreeSet<ThingId> = stock
            .frames
            .iter()
            .filter(|frame| !frames.contains(&frame.thing))
            .flat_map(|frame| frame.things.iter().copied())
            .collect();
        let mut mounted = BTreeMap::new();
        for frame in &stock.frames {
            if frames.contains(&frame.thing) {
                for &(part, count) in &frame.counts {
                    *mounted.entry(part).or_insert(0) += count;
                }
            }
        }

        let held = input.held.iter().flat_map(|plan| &plan.bars);
        let serving = held.filter_map(|bar| match &bar.serve {
            Serve::Reuse { fixture, .. } => Some((bar.bar, *fixture)),
            _ => None,
        });
        let serving = serving.collect();
        let left_alone: BTreeSet<ThingId> =
            input.design.left_alone.iter().map(|it| it.thing).collect();
        let not_from: BTreeSet<SupplierId> =
            input.design.not_from.iter().map(|it| it.supplier).collect();
        let mut offers: BTreeMap<PartId, Vec<&Offer>> = BTreeMap::new();
        let on_sale = input.offers.iter();
        for offer in on_sale.filter(|offer| !not_from.contains(&offer.supplier)) {
            if offer.pack_amount > 0 && offer.price_minor.get() >= 0 {
                offers.entry(offer.part).or_default().push(offer);
            }
        }
        for list in offers.values_mut() {
            list.sort_by_key(|offer| offer.id);
        }
        let mut pieces: BTreeMap<PartId, Vec<&SparePiece>> = BTreeMap::new();
        for spare in &stock.pieces {
            let id = spare.piece.id;
            let away = elsewhere.contains(&id) || left_alone.contains(&id);
            if spare.piece.condition == Condition::Good && !away {
                pieces.entry(spare.piece.part).or_default().push(spare);
            }
        }
        for list in pieces.values_mut() {
            list.sort_by_key(|spare| (&spare.piece.batch, spare.place.position, spare.piece.id));
        }
        let mut bars: Vec<&Bar> = input.design.bars.iter().collect();
        bars.sort_by_key(|bar| bar.id);
        let mut fixtures: Vec<&SpareFixture> = stock
            .fixtures
            .iter()
            .filter(|spare| !elsewhere.contains(&spare.fixture.id))
            .collect();
        fixtures.sort_by_key(|spare| (spare.place.position, spare.fixture.id));
        let mut units: Vec<&SpareUnit> = stock
            .units
            .iter()
            .filter(|unit| unit.freedom == Freedom::Free && !elsewhere.contains(&unit.thing))
            .collect();
        units.sort_by_key(|unit| (unit.place.position, unit.thing));
        Self {
            input,
            parts: input.parts.iter().map(|part| (part.id, part)).collect(),
            offers,
            counts: stock
                .counts
                .iter()
                .map(|count| (count.part, count))
                .collect(),
            mounted,
            pieces,
            bars,
            fixtures,
            units,
            frames,
            way: Way::new(),
            serving,
            left_alone,
            not_from,
            rests: RefCell::default(),
        }
    }

    /// Units that stay mounted on the frames that serve.
    pub(super) fn mounted_units(&self) -> BTreeSet<ThingId> {
        let frames = self.input.stock.frames.iter();
        frames
            .filter(|frame| self.frames.contains(&frame.thing))
            .flat_map(|frame| frame.things.iter().copied())
            .collect()
    }

    pub(super) fn bar(&self, id: BarId) -> Option<&'a Bar> {
        let at = self.bars.binary_search_by_key(&id, |bar| bar.id).ok()?;
        Some(self.bars[at])
    }

    pub(super) fn part(&self, id: PartId) -> Option<&'a Part> {
        self.parts.get(&id).copied()
    }

    /// The part's name, as it stands in sentences.
    pub(super) fn name(&self, id: PartId) -> String {
        self.part(id)
            .map_or_else(|| format!("part {id}"), |part| part.name.to_string())
    }

    /// Parts of one kind in order of their ids, each with its attributes. Retired ones only where
    /// some are still there.
    pub(super) fn of<T: 'a>(
        &self,
        pick: impl Fn(&'a PartSpec) -> Option<&'a T>,
    ) -> Vec<(PartId, &'a T)> {
        self.parts
            .values()
            .filter(|part| !part.retired || self.in_house(part.id))
            .filter_map(|part| pick(&part.spec).map(|spec| (part.id, spec)))
            .collect()
    }

    fn in_house(&self, part: PartId) -> bool {
        self.there(part) > 0
            || self.pieces.contains_key(&part)
            || self.units.iter().any(|unit| unit.part == part)
    }

    /// Offers for a part that can be bought at all.
    pub(super) fn offers(&self, part: PartId) -> &[&'a Offer] {
        self.offers.get(&part).map_or(&[], Vec::as_slice)
    }

    /// Notes the pieces of a part of which something is taken.
    pub(super) fn take(&self, part: PartId, taken: &[Taken]) {
        let mut rests = self.rests.borrow_mut();
        for one in taken {
            let mut pieces = self.pieces(part).iter();
            if let Some(spare) = pieces.find(|spare| spare.piece.id == one.thing) {
                rests.take(spare, *one);
            }
        }
    }

    /// The pieces that were taken.
    pub(super) fn into_rests(self) -> Rests {
        self.rests.into_inner()
    }

    /// Good pieces of a part with a free range, one batch after the other. Whoever looks at their order
    /// says which are taken ([`Self::take`]).
    pub(super) fn pieces(&self, part: PartId) -> &[&'a SparePiece] {
        self.pieces.get(&part).map_or(&[], Vec::as_slice)
    }

    /// Whether a range is the whole of a piece of cable.
    pub(super) fn is_whole_cable(&self, thing: ThingId, from: i64, to: i64) -> bool {
        let mut pieces = self.input.stock.pieces.iter();
        pieces
            .find(|spare| spare.piece.id == thing)
            .filter(|spare| (from, to) == (0, spare.piece.amount))
            .and_then(|spare| self.part(spare.piece.part))
            .is_some_and(|part| matches!(part.spec, PartSpec::Cable(_)))
    }

    /// How many of a part lie free, without what is mounted on frames.
    pub(super) fn available(&self, part: PartId) -> i64 {
        self.counts
            .get(&part)
            .map_or(0, |count| count.available.max(0))
    }

    /// How many of a part are mounted on the frames that serve.
    pub(super) fn mounted(&self, part: PartId) -> i64 {
        self.mounted.get(&part).copied().unwrap_or(0).max(0)
    }

    /// How many of a part this set can have, due goods not counted.
    pub(super) fn there(&self, part: PartId) -> i64 {
        self.available(part) + self.mounted(part)
    }

    pub(super) fn count(&self, part: PartId) -> Option<&'a SpareCount> {
        self.counts.get(&part).copied()
    }

    /// The lowest price of one of a part (or of a millimetre), in millionths of a minor unit;
    /// parts that nobody sells come last.
    pub(super) fn price(&self, part: PartId) -> i128 {
        self.offers(part)
            .iter()
            .map(|offer| {
                i128::from(offer.price_minor.get()) * 1_000_000_000 / i128::from(offer.pack_amount)
            })
            .min()
            .unwrap_or(i128::MAX)
    }

    /// A length in the venue's unit.
    pub(super) fn show(&self, length: Length) -> String {
        length.say(self.input.venue.length_unit)
    }

    /// A length in micrometres, in the venue's unit, without its sign.
    pub(super) fn show_um(&self, um: i64) -> String {
        self.show(Length::new(um.abs().min(Length::MAX)).unwrap_or(Length::ZERO))
    }

    /// The last day to order something that takes so many days.
    pub(super) fn order_by(&self, delivery_days: u32) -> Date {
        let days = i64::from(delivery_days) + i64::from(self.input.venue.order_slack_days);
        let build_on = self.input.design.dates.build_on();
        let span = jiff::Span::new()
            .try_days(days)
            .unwrap_or_else(|_| jiff::Span::new());
        build_on.checked_sub(span).unwrap_or(Date::MIN)
    }
}
