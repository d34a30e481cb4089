//! What a plan says: which fixture serves which bar, how the rest is cut, wired, powered and
//! addressed, what is short, what it costs, and which limits it keeps.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::{
    answer::{Proof, Why},
    cut::Problem,
    protect::MainsLoad,
    volts::figures::VoltsPlan,
};
use crate::{
    model::{
        connector::Connector,
        fixture::Fed,
        id::{BarId, ExtraId, FrameId, OfferId, PartId, SupplierId, ThingId},
        reservation::{Held, HoldUse},
        text::{Tag, words},
    },
    units::{Current, Date, Length, Money, Power},
};

/// A plan.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Plan {
    /// One for each bar, in the design's order.
    pub bars: Vec<BarPlan>,
    /// Cut lists of tape, profile and cable, each piece once, in bench order.
    pub cuts: Vec<PieceCut>,
    /// Drivers, in order of place and first bar.
    pub drivers: Vec<DriverPlan>,
    /// Supplies.
    pub supplies: Vec<SupplyPlan>,
    /// What is known of drivers and supplies being the best. Plans kept before the field was there
    /// know nothing.
    #[serde(default)]
    pub power_proof: PowerProof,
    /// Volts, amps and light along the bars. Plans kept before the field was there have none.
    #[serde(default)]
    pub volts: VoltsPlan,
    /// What the supplies take from the mains. Plans kept before the field was there have none.
    #[serde(default)]
    pub mains: Option<MainsLoad>,
    /// The data chain.
    pub data: DataPlan,
    /// Where cables and leads are joined. Plans kept before the field was there have none.
    #[serde(default)]
    pub blocks: Vec<BlockJoint>,
    /// The fuses that feeds and outputs ask for, and which parts they are. Plans kept before the
    /// field was there have none.
    #[serde(default)]
    pub fuses: Vec<FusePlan>,
    /// Frames of the cupboard that serve.
    pub frames: Vec<ThingId>,
    /// What is needed, part by part.
    pub needs: Vec<Need>,
    /// Limits and agreements, broken ones first.
    pub checks: Vec<Check>,
    /// What reserving holds.
    pub holds: Vec<PlannedHold>,
    /// Fixtures that would serve if a bar were a little different.
    pub near_misses: Vec<NearMiss>,
    /// What is known of the served bars being those that leave the least money and soldering to the
    /// others.
    #[serde(default = "not_asked")]
    pub reuse_proof: Proof<i64>,
    /// What is known of no other choice of tapes for the bars costing less.
    #[serde(default = "not_asked")]
    pub tape_proof: Proof<i64>,
    /// Money.
    pub cost: Cost,
    /// What is proven of the cuts, tape part by tape part.
    pub proofs: Vec<CutProof>,
}

/// How one bar is served.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct BarPlan {
    /// The bar.
    pub bar: BarId,
    /// Its label.
    pub label: String,
    /// How.
    pub serve: Serve,
    /// What its own lead ends in, if known. Plans kept before the field was there know nothing.
    #[serde(default)]
    pub connector: Option<Connector>,
    /// The lead on the driver's side that it plugs into; `None` where none is known, and in plans
    /// kept before the field was there.
    #[serde(default)]
    pub mate: Option<PartId>,
    /// Current of all its channels at full, at the nominal voltage, if known.
    pub current_ma: Option<Current>,
    /// Current of its fullest channel, if known.
    pub channel_ma: Option<Current>,
    /// Power at full, if known.
    pub power_mw: Option<Power>,
    /// Which output feeds it.
    pub output: Option<OutputRef>,
    /// First DMX slot of its colours.
    pub slot: Option<SlotRef>,
    /// Why, in words.
    pub why: String,
}

/// An output of a planned driver.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct OutputRef {
    /// Index in [`Plan::drivers`].
    pub driver: usize,
    /// Output, counted from 1.
    pub output: u16,
}

/// A DMX slot.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, ToSchema)]
pub struct SlotRef {
    /// Universe, counted from 1.
    pub universe: u16,
    /// Slot, 1 to 512.
    pub slot: u16,
}

/// How a bar is served.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(tag = "by", rename_all = "snake_case")]
pub enum Serve {
    /// By a fixture from the cupboard.
    Reuse {
        /// Which.
        fixture: ThingId,
        /// Its tag.
        tag: Tag,
        /// Its lit length.
        lit_um: Length,
        /// Lit length less wanted length.
        off_um: i64,
        /// Couplers between its lead and the driver's side.
        couplers: Vec<PartId>,
    },
    /// By a new one.
    Build(BuildBar),
    /// Not: nothing there and nothing to buy fits.
    Short {
        /// Why.
        why: String,
    },
}

/// A bar to be built.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct BuildBar {
    /// Its tape.
    pub tape: PartId,
    /// Whole cut units.
    pub units: i64,
    /// Lit length of these units.
    pub lit_um: Length,
    /// At how many ends it is fed.
    pub fed: Fed,
    /// The tape comes from here.
    pub tape_from: From,
    /// What is done at its start and end.
    pub start: Joint,
    /// What is done at its end.
    pub end: Joint,
    /// The profile part and where its bar comes from; `None` for bare tape.
    pub profile: Option<(PartId, From)>,
    /// Leads to solder on: part and number.
    pub lead: Option<(PartId, i64)>,
    /// Couplers between its lead and the driver's side.
    pub couplers: Vec<PartId>,
}

words! {
    /// What is done at an end of a new bar.
    Joint {
        /// Nothing: this end is not fed.
        None = "none", "not fed";
        /// A factory lead is there.
        FactoryLead = "factory_lead", "factory lead";
        /// A lead is soldered on a pre-tinned joint.
        Tinned = "tinned", "solder on a pre-tinned joint";
        /// A lead is soldered on another mark.
        Mark = "mark", "solder on a cut mark";
    }
}

/// Where a length comes from: a range of an entry of [`Plan::cuts`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct From {
    /// Index in [`Plan::cuts`].
    pub cut: usize,
    /// Index of the segment in it.
    pub segment: usize,
}

words! {
    /// An end of a bar.
    BarEnd {
        /// Where its tape begins.
        Start = "start", "start";
        /// Where its tape ends.
        End = "end", "end";
    }
}

/// One cable run's place in the terminal blocks of a frame.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct BlockJoint {
    /// The block's part.
    pub part: PartId,
    /// On which frame; `None` for bars on none.
    pub frame: Option<FrameId>,
    /// Which block of the frame, counted from 1.
    pub block: u32,
    /// The first way that it takes, counted from 1.
    pub way: u32,
    /// How many it takes: one for each conductor, going on into the next block where one is too
    /// small.
    pub ways: u32,
    /// The bar.
    pub bar: BarId,
    /// The bar's end to which the run goes; the start where it is fed at one end only.
    pub end: BarEnd,
}

/// How one piece, or one roll to buy, is cut.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct PieceCut {
    /// Of what part.
    pub part: PartId,
    /// Which piece.
    pub source: CutSource,
    /// The piece's whole amount, or the roll's.
    pub amount: i64,
    /// Segments in order from the marked end; they tile the free range but for kerf.
    pub segments: Vec<CutSegment>,
}

/// Which piece is cut.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(tag = "is", rename_all = "snake_case")]
pub enum CutSource {
    /// One in the house.
    Piece {
        /// Which.
        thing: ThingId,
        /// Its tag.
        tag: Tag,
    },
    /// One to buy.
    Buy {
        /// The offer; `None` for a length that is sold, from nobody known.
        offer: Option<OfferId>,
        /// Its length.
        roll_um: Length,
        /// Which of them, counted from 1.
        nth: u32,
    },
}

/// One segment of a cut piece, in the part's stock unit.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct CutSegment {
    /// From here.
    pub from: i64,
    /// To here.
    pub to: i64,
    /// What it becomes.
    pub becomes: Becomes,
}

/// What a segment becomes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(tag = "is", rename_all = "snake_case")]
pub enum Becomes {
    /// A bar's tape, profile or cable.
    Bar {
        /// Which bar.
        bar: BarId,
        /// Joint at the segment's start.
        start: Joint,
        /// Joint at the segment's end.
        end: Joint,
    },
    /// A length for one of the design's extra lines.
    Extra {
        /// Which line.
        extra: ExtraId,
    },
    /// Cable from a supply to a driver's inlet.
    Feed,
    /// A usable rest.
    Offcut,
    /// Too short to use.
    Scrap,
}

/// A driver of the plan.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct DriverPlan {
    /// What it is.
    pub part: PartId,
    /// Which one; `None` if it must be bought.
    pub unit: Option<(ThingId, Tag)>,
    /// The place it stands at, empty for the design's only one.
    pub place: String,
    /// Outputs in use.
    pub outputs: Vec<OutputPlan>,
    /// Inlets in use.
    pub inlets: Vec<InletPlan>,
    /// Slots that it takes.
    pub slots: u16,
    /// Its start address; `None` when no free run of slots is left.
    pub address: Option<SlotRef>,
    /// Why it is this one, as a sentence.
    #[serde(default)]
    pub why: String,
}

/// An output in use.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct OutputPlan {
    /// Counted from 1.
    pub number: u16,
    /// Bars on it, paralleled if several.
    pub bars: Vec<BarId>,
    /// Current at full, if known.
    pub current_ma: Option<Current>,
    /// What protects its wires, in words: its own limit, or a fuse.
    #[serde(default)]
    pub protection: String,
    /// Whether that protects them; `None` where it was not judged.
    #[serde(default)]
    pub protected: Option<CheckState>,
    /// The fuse that it asks for, such as `2 A blade or 1.25 A cartridge fuse`; `None` where another
    /// limit protects, or none is known to fit.
    #[serde(default)]
    pub fuse: Option<String>,
}

/// An inlet in use.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct InletPlan {
    /// Counted from 1.
    pub number: u16,
    /// Index in [`Plan::supplies`]; `None` when no supply could be given.
    pub supply: Option<usize>,
    /// Current at full, if known.
    pub current_ma: Option<Current>,
    /// Its cable from the supply: of what part, and how long one way; `None` where it needs none.
    #[serde(default)]
    pub feed: Option<(PartId, Length)>,
    /// The fuse of its feed, in words.
    #[serde(default)]
    pub protection: String,
    /// Whether that protects them; `None` where it was not judged.
    #[serde(default)]
    pub protected: Option<CheckState>,
    /// The fuse that it asks for, such as `2 A blade or 1.25 A cartridge fuse`; `None` where another
    /// limit protects, or none is known to fit.
    #[serde(default)]
    pub fuse: Option<String>,
}

/// A supply of the plan.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct SupplyPlan {
    /// What it is.
    pub part: PartId,
    /// Which one; `None` if it must be bought.
    pub unit: Option<(ThingId, Tag)>,
    /// Load at full, if known.
    pub load_ma: Option<Current>,
    /// What it may be loaded with.
    pub usable_ma: Current,
    /// Terminal pairs in use.
    pub pairs_used: u8,
    /// Why it is this one, as a sentence.
    #[serde(default)]
    pub why: String,
}

/// What is known of drivers and supplies being the best, in the order in which it counts.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct PowerProof {
    /// Drivers that carry bars beyond a limit, since nothing carries these within all limits.
    pub beyond: u32,
    /// What the new units within all limits cost, each at its cheapest offer.
    pub cost_minor: Money,
    /// New units among them that nobody is known to sell.
    pub unpriced: u32,
    /// The least cost, in minor units.
    pub cost: Proof<i64>,
    /// New units.
    pub bought: u32,
    /// The fewest new units.
    pub fewest_bought: Proof<i64>,
    /// The shortest cable from supplies to inlets, in micrometres.
    pub shortest_cable: Proof<i64>,
    /// The fewest units from the shelf.
    pub fewest_taken: Proof<i64>,
    /// The most even loads of supplies: squares of tenths of an ampere.
    pub most_even: Proof<i64>,
}

impl Default for PowerProof {
    fn default() -> Self {
        Self {
            beyond: 0,
            cost_minor: Money::ZERO,
            unpriced: 0,
            cost: not_asked(),
            bought: 0,
            fewest_bought: not_asked(),
            shortest_cable: not_asked(),
            fewest_taken: not_asked(),
            most_even: not_asked(),
        }
    }
}

/// The data chain.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct DataPlan {
    /// DMX cables.
    pub cables: u32,
    /// Splitters: one line carries at most 32 unit loads (EIA-485).
    pub splitters: u32,
    /// Terminators: one at each line's end.
    pub terminators: u32,
}

/// Fuses of one size that feeds and outputs ask for.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct FusePlan {
    /// In words, as at the feeds and outputs that ask for it: `2 A blade or 1.25 A cartridge fuse`.
    pub fuse: String,
    /// The rating of a blade fuse; `None` where none fits, and above 32 V.
    pub blade_ma: Option<Current>,
    /// The rating of a cartridge fuse of 5 × 20 mm; `None` where none fits.
    pub cartridge_ma: Option<Current>,
    /// How many.
    pub many: u32,
    /// The part that they are; `None` where the catalogue has no such fuse.
    pub part: Option<PartId>,
}

/// What is needed of one part.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Need {
    /// The part; `None` where nothing in the catalogue fits.
    pub part: Option<PartId>,
    /// Its name, or what is wanted in words.
    pub name: String,
    /// How much, in the part's stock unit.
    pub needed: i64,
    /// What of it is there for the days.
    pub there: i64,
    /// What of it rests on ordered goods.
    pub due: i64,
    /// What is short. For parts kept by length: the sum of what no piece gives.
    pub short: i64,
    /// What to buy for it, if there is an offer.
    pub buy: Vec<Buy>,
    /// Rolls, reels or bars of lengths that are sold, where nobody is known who sells them.
    #[serde(default)]
    pub unpriced: Vec<UnpricedRolls>,
    /// What for, in words.
    pub used_for: String,
}

/// Rolls, reels or bars of one length, from nobody known.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct UnpricedRolls {
    /// The length of each.
    pub roll_um: Length,
    /// How many.
    pub rolls: u32,
}

/// What to buy.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Buy {
    /// The offer.
    pub offer: OfferId,
    /// Who sells.
    pub supplier: SupplierId,
    /// Who sells, in words.
    pub supplier_name: String,
    /// Packs, rolls or bars.
    pub packs: u32,
    /// Count in one, or its length in micrometres.
    pub pack_amount: i64,
    /// What it costs together.
    pub cost_minor: Money,
    /// What is left over of the part (a count, or the micrometres of the rests that the cut list
    /// keeps); where several packs are mixed, all of it stands at the last.
    pub left_over: i64,
    /// The last day to order.
    #[schema(value_type = String, format = Date)]
    pub order_by: Date,
}

words! {
    /// How a check came out.
    CheckState {
        /// A limit or agreement is broken.
        Broken = "broken", "broken";
        /// Not known, so not passed.
        Unknown = "unknown", "not known";
        /// Look at it.
        Warned = "warned", "warned";
        /// Kept.
        Passed = "passed", "passed";
    }
}

/// One limit or agreement.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Check {
    /// Names the rule and what it is about; the same from plan to plan.
    pub key: String,
    /// How it came out.
    pub state: CheckState,
    /// What it is about: a bar's label, a driver, a part.
    pub about: String,
    /// Which two parts, which attribute, which figures.
    pub sentence: String,
    /// What would mend it; empty when passed.
    pub mend: String,
}

/// Something that reserving holds.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct PlannedHold {
    /// For which bar, if for one.
    pub bar: Option<BarId>,
    /// What.
    pub held: Held,
    /// What becomes of it.
    pub becomes: HoldUse,
}

/// A fixture that would serve if a bar were a little different.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct NearMiss {
    /// The bar.
    pub bar: BarId,
    /// Its label.
    pub label: String,
    /// The fixture.
    pub fixture: ThingId,
    /// Its tag.
    pub tag: Tag,
    /// How much longer (or, negative, shorter) the bar would have to be.
    pub by_um: i64,
}

/// Money.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Cost {
    /// What is to be bought, deliveries included.
    pub planned_minor: Money,
    /// What of it is for deliveries.
    #[serde(default)]
    pub delivery_minor: Money,
    /// What is known about its being the least that these packs can cost, in minor units.
    #[serde(default = "not_asked")]
    pub proof: Proof<i64>,
    /// The design's budget.
    pub budget_minor: Option<Money>,
    /// Parts that are short and have no price.
    pub unpriced: u32,
}

/// What is proven of the cuts of one part.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct CutProof {
    /// The part.
    pub part: PartId,
    /// Fewest bars short.
    pub short: Proof<u64>,
    /// Least money.
    pub money: Proof<i64>,
    /// Least soldering.
    pub solder: Proof<u64>,
    /// The most useful rest; a bound is on the scrap, in the unit of the cuts.
    #[serde(default = "not_asked")]
    pub rest: Proof<i64>,
    /// Whether the money is that of offers; else millimetres bought stand for it.
    #[serde(default = "yes")]
    pub priced: bool,
    /// Soldering work of the plan.
    pub solder_work: u64,
    /// The question, for what else one may ask of it.
    #[serde(skip)]
    #[schema(ignore)]
    pub asked: CutQuestion,
}

/// The question that cuts of tape answer. It is no part of what a plan says: plans that were kept
/// have none, and it does not count where plans are compared.
#[derive(Debug, Clone, Default)]
pub struct CutQuestion(pub Option<Problem>);

impl PartialEq for CutQuestion {
    fn eq(&self, _: &Self) -> bool {
        true
    }
}

/// For plans kept before it was asked.
pub(super) const fn not_asked() -> Proof<i64> {
    Proof::Open { why: Why::NotAsked }
}

/// Plans kept before the field was there knew only offers.
const fn yes() -> bool {
    true
}

impl Plan {
    /// A digest of everything that the plan says: SHA-256 over its JSON, in URL-safe base64.
    pub fn digest(&self) -> String {
        use base64::{Engine as _, engine::general_purpose::URL_SAFE_NO_PAD};
        use sha2::{Digest as _, Sha256};
        // A plan is plain data; one that cannot be written out equals no other.
        let text = serde_json::to_vec(self).unwrap_or_default();
        URL_SAFE_NO_PAD.encode(Sha256::digest(&text))
    }

    /// Whether a limit is broken or not known to be kept.
    pub fn breaks_a_limit(&self) -> bool {
        self.checks
            .iter()
            .any(|check| check.state <= CheckState::Unknown)
    }

    /// The fuses that its feeds and outputs ask for in words, each with how many.
    pub fn asked_fuses(&self) -> BTreeMap<&str, usize> {
        let mut fuses = BTreeMap::new();
        for driver in &self.drivers {
            let outputs = driver.outputs.iter().filter_map(|it| it.fuse.as_deref());
            let inlets = driver.inlets.iter().filter_map(|it| it.fuse.as_deref());
            for fuse in outputs.chain(inlets) {
                *fuses.entry(fuse).or_default() += 1;
            }
        }
        fuses
    }

    /// Those of them that it counts as no part: the catalogue has none such, or the plan was kept
    /// before fuses were counted.
    pub fn uncounted_fuses(&self) -> BTreeMap<&str, usize> {
        let mut fuses = self.asked_fuses();
        for counted in self.fuses.iter().filter(|it| it.part.is_some()) {
            fuses.remove(counted.fuse.as_str());
        }
        fuses
    }

    /// The labels of the bars that are cut from something that is still to buy.
    pub fn bars_to_buy(&self) -> Vec<String> {
        let to_buy = |from: From| {
            let cut = self.cuts.get(from.cut);
            cut.is_some_and(|cut| matches!(cut.source, CutSource::Buy { .. }))
        };
        let bars = self.bars.iter().filter(|bar| match &bar.serve {
            Serve::Build(build) => {
                to_buy(build.tape_from) || build.profile.is_some_and(|(_, from)| to_buy(from))
            }
            Serve::Reuse { .. } | Serve::Short { .. } => false,
        });
        bars.map(|bar| bar.label.clone()).collect()
    }

    /// Whether anything is short.
    pub fn is_short(&self) -> bool {
        self.needs.iter().any(|need| need.short > 0)
            || self
                .bars
                .iter()
                .any(|bar| matches!(bar.serve, Serve::Short { .. }))
    }
}
