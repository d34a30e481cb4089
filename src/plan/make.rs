//! Input → Plan: the order of the steps.

use std::collections::{BTreeMap, BTreeSet};

use super::{
    address,
    answer::{Proof, Why},
    bench::Bench,
    block,
    book::Book,
    build::{Builds, build},
    cable,
    check::{Checks, Finding},
    choice,
    cutting::{Purpose, Wish},
    data,
    feed::{self, Feeds},
    fuses,
    input::{Freedom, Input, SpareFixture},
    known,
    load::{Draw, Load, loads},
    mix,
    need::Needs,
    one_cut::one_each_for,
    other::Tally,
    outcome::{
        BarPlan, BuildBar, DriverPlan, From as TakenFrom, InletPlan, OutputPlan, OutputRef, Plan,
        PlannedHold, Serve, SlotRef, SupplyPlan, not_asked,
    },
    pin,
    plug::{self, Plug},
    power::{self, Used},
    protect::{self, Protection, Sizes},
    rests::Rests,
    reuse::Open,
    sundry, supply,
    together::Score,
    volts::{self, Chosen},
    wire,
    worth::bar_worths,
};
use crate::{
    model::{
        design::Bar,
        id::{BarId, PartId, ThingId},
        part::{PartSpec, StockBy, Sundry},
        reservation::{Held, HoldUse},
    },
    units::{Current, Length, Money, Power, Voltage},
};

/// Makes the plan of a design.
///
/// It depends on nothing but the input, and not on the order of its lists.
///
/// Where several tapes fit, the set is planned once for each way to choose them, and the plan is
/// taken that leaves the fewest bars short, breaks the fewest limits, has the least to buy without a
/// price, then costs the least money, packs and deliveries included, then the least soldering.
pub fn plan(input: &Input) -> Plan {
    plan_while(input, &|| true).unwrap_or_else(|| unreachable!("it is wanted to its end"))
}

/// [`plan`] for as long as it is wanted, which is asked before each way: `None` once it is not.
pub fn plan_while(input: &Input, wanted: &dyn Fn() -> bool) -> Option<Plan> {
    plan_resting(input, wanted).map(|(plan, _)| plan)
}

/// The same, with what the plan rests on of where pieces lie.
pub fn plan_resting(input: &Input, wanted: &dyn Fn() -> bool) -> Option<(Plan, Rests)> {
    if !wanted() {
        return None;
    }
    let mut book = Book::new(input);
    let plan = plan_ways(&mut book, wanted)?;
    Some((plan, book.into_rests()))
}

fn plan_ways(book: &mut Book<'_>, wanted: &dyn Fn() -> bool) -> Option<Plan> {
    let input = book.input;
    let most = (MOST_BARS_PLANNED / book.bars.len().max(1)).clamp(LEAST_WAYS, MOST_WAYS);
    let likely: Vec<Option<Voltage>> = Open::new(book)
        .best_fitting()
        .iter()
        .map(|spare| spare.map(|spare| spare.fixture.make.voltage_mv))
        .collect();
    let ways = choice::ways(book, &likely, most);
    let mut list = ways.list.into_iter();
    book.way = list.next().unwrap_or_default();
    let mut best = plan_one(book);
    let builds = |bar: &BarPlan| !matches!(bar.serve, Serve::Reuse { .. });
    if !best.bars.iter().any(builds) {
        // Nothing is built, so that it makes no difference of what.
        best.tape_proof = Proof::Proven;
        return Some(best);
    }
    if list.len() == 0 {
        best.tape_proof = Proof::Proven;
        return Some(best);
    }
    let mut least = WayCost::of(&best);
    // What each way could cost at least, if that is known.
    let mut bounds = vec![(least, known::least_money(&best, input))];
    for way in list {
        if !wanted() {
            return None;
        }
        book.way = way;
        let plan = plan_one(book);
        let cost = WayCost::of(&plan);
        bounds.push((cost, known::least_money(&plan, input)));
        if cost < least {
            (best, least) = (plan, cost);
        }
    }
    let found = least.money.get();
    // A way that leaves more short or breaks more limits is no cheaper one, whatever it costs.
    let rivals = bounds.iter().filter(|(cost, _)| cost.rivals(&least));
    let bound = rivals
        .map(|(_, bound)| *bound)
        .try_fold(found, |lowest, bound| Some(lowest.min(bound?)));
    best.tape_proof = match bound.filter(|_| ways.all) {
        Some(bound) => Proof::from_bound(&found, bound),
        None => Proof::Open {
            why: Why::StepBudget,
        },
    };
    Some(best)
}

/// The most ways to choose tapes that are planned.
const MOST_WAYS: usize = 12;
/// The fewest that are, whatever the size of the set.
const LEAST_WAYS: usize = 2;
/// Bars that are planned in all ways together: large sets try fewer of them.
const MOST_BARS_PLANNED: usize = 600;

/// What counts between plans with other tapes, the most important first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
struct WayCost {
    short: usize,
    not_kept: usize,
    unpriced: u32,
    unpriced_um: i64,
    money: Money,
    solder: u64,
}

impl WayCost {
    fn of(plan: &Plan) -> Self {
        let tally = Tally::of(plan);
        let rolls = plan.needs.iter().flat_map(|need| &need.unpriced);
        Self {
            short: tally.short,
            not_kept: tally.not_kept,
            unpriced: tally.unpriced,
            unpriced_um: rolls
                .map(|it| it.roll_um.get().saturating_mul(it.rolls.into()))
                .fold(0, i64::saturating_add),
            money: tally.money,
            solder: plan.proofs.iter().map(|proof| proof.solder_work).sum(),
        }
    }

    /// Whether only money and work are between this and another.
    fn rivals(&self, other: &Self) -> bool {
        let before = |it: &Self| (it.short, it.not_kept, it.unpriced, it.unpriced_um);
        before(self) == before(other)
    }
}

/// Makes the plan with the tapes that the book's way names.
fn plan_one(book: &Book<'_>) -> Plan {
    let input = book.input;
    let mut checks = Checks::default();
    let mut needs = Needs::default();
    let mut bench = Bench::default();

    let mut extras = Extras::of(book);
    let reuse = Open::new(book).give(
        |bars| judge(book, &extras, bars),
        |bars| bar_worths(book, bars, &extras.bars),
    );
    for (bar, why) in &reuse.refused {
        if let Some(bar) = book.bar(*bar) {
            let finding = Finding::broken(why.clone(), "Choose another fixture, or none.");
            checks.bar("chosen", bar, finding);
        }
    }
    let served: Vec<(&Bar, Option<&SpareFixture>)> = book
        .bars
        .iter()
        .copied()
        .zip(reuse.served.iter().copied())
        .collect();
    let unserved = served.iter().filter(|(_, spare)| spare.is_none());
    let to_build: Vec<&Bar> = unserved.map(|(bar, _)| *bar).collect();
    let builds = build(book, &to_build, &extras.bars, &mut bench, &mut checks);
    for (what, &amount) in &builds.unheard {
        needs.unheard(what, amount, "bars");
    }

    let mut loads = loads(book, &served, &builds);
    mix::check(book, &loads, &mut checks);
    let power::Powered {
        used,
        fed,
        mut taken,
        proof: power_proof,
    } = power::power(book, &loads, &mut needs, &mut checks);
    let plugs = plug::plugs(book, &mut loads, &mut needs, &mut checks);
    let blocks = block::blocks(book, &loads, &used, &mut needs, &mut checks);
    let mut feeds = feed::feeds(book, &used, &fed, &mut needs, &mut checks);
    if let Some(cable) = feeds.cable {
        let wishes = extras.cable.entry(cable).or_default();
        wishes.append(&mut feeds.wishes);
    }
    let cables = cable::cables(
        book,
        &loads,
        blocks.part,
        extras.cable,
        &mut bench,
        &mut needs,
        &mut checks,
    );
    wire::check(book, &loads, &plugs, &used, &mut checks);
    let profile_of = |bar| builds.built.get(&bar)?.profile.map(|(part, _)| part);
    sundry::count(book, &loads, profile_of, &mut needs);
    let chosen = Chosen {
        book,
        loads: &loads,
        builds: &builds,
        used: &used,
        fed: &fed,
        plugs: &plugs,
        cables: &cables,
        feeds: &feeds,
    };
    let protection = protect::protect(
        &protect::Chosen {
            book,
            loads: &loads,
            used: &used,
            fed: &fed,
            plugs: &plugs,
            cables: &cables,
            block: blocks.part,
            feeds: &feeds,
        },
        &mut checks,
    );
    let volts = volts::volts(&chosen, &mut checks);
    extras.count.take(book, &mut taken, &mut needs);
    let fuses = fuses::fuses(book, &protection.fuses(), &mut needs);
    frames(book, &mut checks);
    pin::check(book, &mut checks);

    let starts = addresses(book, &used, &mut checks);
    let data = data::chain(book, &starts, &mut needs, &mut checks);
    let outputs = outputs(&loads, &used, &starts);
    let draws: BTreeMap<BarId, &Draw> = loads
        .iter()
        .filter_map(|load| load.draw.as_ref().map(|draw| (load.bar.id, draw)))
        .collect();
    let mut bars: BTreeMap<BarId, BarPlan> = BTreeMap::new();
    for (bar, spare) in &served {
        let mut plan = bar_plan(book, bar, *spare, &builds, plugs.get(&bar.id));
        if let Some(draw) = draws.get(&bar.id) {
            plan.current_ma = Current::new(draw.total_ma).ok();
            plan.channel_ma = draw
                .channels
                .iter()
                .map(|(_, ma)| *ma)
                .max()
                .and_then(|ma| Current::new(ma).ok());
            plan.power_mw = Power::new(draw.power_mw).ok();
        }
        let load = loads.iter().find(|load| load.bar.id == bar.id);
        plan.connector = load.and_then(|load| load.connector.clone());
        if let Some((output, slot)) = outputs.get(&bar.id) {
            plan.output = Some(*output);
            plan.slot = *slot;
        }
        bars.insert(bar.id, plan);
    }

    let holds = thing_holds(book, &served, &taken, &bench);
    let drivers = used
        .iter()
        .enumerate()
        .map(|(index, driver)| {
            let wired = Wired {
                loads: &loads,
                fed: &fed,
                feeds: &feeds,
                protection: &protection,
            };
            driver_plan(index, driver, &wired, starts[index])
        })
        .collect();
    let supplies = fed.supplies.iter().map(supply_plan).collect();
    let (needs, count_holds, cost) = needs.finish(book, &bench, &mut checks);
    let mut bars: Vec<BarPlan> = (input.design.bars.iter())
        .filter_map(|bar| bars.remove(&bar.id))
        .collect();
    let cuts = one_each_for(bench.cuts, &mut bars);
    Plan {
        bars,
        cuts,
        drivers,
        supplies,
        power_proof,
        volts,
        mains: protection.mains,
        data,
        blocks: blocks.joints,
        fuses,
        frames: book.frames.clone(),
        needs,
        checks: checks.finish(),
        holds: holds.into_iter().chain(count_holds).collect(),
        near_misses: reuse.near,
        reuse_proof: reuse.proof,
        tape_proof: not_asked(),
        cost,
        proofs: bench.proofs,
    }
}

/// What it costs to build these bars.
fn judge(book: &Book<'_>, extras: &Extras, bars: &[&Bar]) -> Score {
    let mut bench = Bench::default();
    let mut checks = Checks::default();
    let builds = build(book, bars, &extras.bars, &mut bench, &mut checks);
    let (money, unpriced_mm) = bench.to_buy(book);
    let proofs = &bench.proofs;
    Score {
        short: builds.short.len(),
        money,
        least_money: bench.least_to_buy(book),
        unpriced_mm,
        solder: proofs.iter().map(|it| it.solder_work).sum(),
        unproven: proofs
            .iter()
            .any(|it| !(it.short.is_proven() && it.money.is_proven() && it.solder.is_proven())),
    }
}

/// The design's extra lines, by how their parts are kept.
struct Extras {
    /// Tape and profile.
    bars: BTreeMap<PartId, Vec<Wish>>,
    cable: BTreeMap<PartId, Vec<Wish>>,
    count: CountExtras,
}

/// Extra lines of parts kept by count and by unit.
#[derive(Default)]
struct CountExtras(Vec<(PartId, i64)>);

impl Extras {
    fn of(book: &Book<'_>) -> Self {
        let mut extras = Self {
            bars: BTreeMap::new(),
            cable: BTreeMap::new(),
            count: CountExtras::default(),
        };
        let mut lines: Vec<_> = book.input.design.extras.iter().collect();
        lines.sort_by_key(|extra| extra.id);
        for extra in lines {
            let Some(part) = book.part(extra.part) else {
                continue;
            };
            if extra.amount <= 0 {
                continue;
            }
            let wish = |amount| Wish {
                purpose: Purpose::Extra(extra.id),
                amount,
                fed: None,
            };
            let list = match &part.spec {
                PartSpec::Tape(tape) => {
                    let length = Length::new(extra.amount).unwrap_or_default();
                    let (units, rest) = tape.pitch.whole_units(length);
                    let units = i64::try_from(units).unwrap_or(0) + i64::from(rest > 0);
                    extras.bars.entry(part.id).or_default().push(wish(units));
                    continue;
                }
                PartSpec::Profile(_) => &mut extras.bars,
                PartSpec::Cable(_) => &mut extras.cable,
                _ => {
                    extras.count.0.push((part.id, extra.amount));
                    continue;
                }
            };
            list.entry(part.id).or_default().push(wish(extra.amount));
        }
        extras
    }
}

impl CountExtras {
    /// Takes what is asked for: counts come back unless they are sundries that are no fuses; units are
    /// taken one by one, those that are there first.
    fn take(self, book: &Book<'_>, taken: &mut BTreeSet<ThingId>, needs: &mut Needs) {
        for (id, amount) in self.0 {
            let Some(part) = book.part(id) else { continue };
            if part.stock_by() == StockBy::Unit {
                let free: Vec<ThingId> = book
                    .units
                    .iter()
                    .filter(|unit| unit.part == id && !taken.contains(&unit.thing))
                    .map(|unit| unit.thing)
                    .collect();
                for at in 0..amount.min(MOST_EXTRA_UNITS) {
                    let unit = usize::try_from(at).ok().and_then(|at| free.get(at));
                    taken.extend(unit);
                    needs.unit(id, unit.is_some(), "extra lines");
                }
            } else {
                let becomes = match part.spec {
                    PartSpec::Sundry(Sundry { fuse: None, .. }) => HoldUse::Consumed,
                    _ => HoldUse::Returns,
                };
                needs.count(id, amount, becomes, "extra lines");
            }
        }
    }
}

/// More of one driver or supply than any set has; a larger number in an extra line is a slip.
const MOST_EXTRA_UNITS: i64 = 1_000;

fn addresses(book: &Book<'_>, used: &[Used<'_>], checks: &mut Checks) -> Vec<Option<SlotRef>> {
    let wanted: Vec<address::Wanted<'_>> = used
        .iter()
        .enumerate()
        .map(|(index, driver)| address::Wanted {
            driver: driver.spec,
            set_to: driver.set_to,
            about: driver.about(book),
            key: driver.key(index),
        })
        .collect();
    address::addresses(&book.input.venue.slots_taken, &wanted, checks)
}

type Fed = (OutputRef, Option<SlotRef>);

/// Which output feeds each bar, and its first slot.
fn outputs(
    loads: &[Load<'_>],
    used: &[Used<'_>],
    starts: &[Option<SlotRef>],
) -> BTreeMap<BarId, Fed> {
    let mut all = BTreeMap::new();
    for (index, driver) in used.iter().enumerate() {
        for (&number, output) in &driver.outputs {
            let slot =
                starts[index].and_then(|start| address::output_slot(driver.spec, start, number));
            for &at in &output.loads {
                let output = OutputRef {
                    driver: index,
                    output: number,
                };
                all.insert(loads[at].bar.id, (output, slot));
            }
        }
    }
    all
}

fn current(ma: Option<i64>) -> Option<Current> {
    ma.and_then(|ma| Current::new(ma).ok())
}

/// What hangs on a driver on both sides.
struct Wired<'w, 'a> {
    loads: &'w [Load<'a>],
    fed: &'w supply::Fed<'a>,
    feeds: &'w Feeds,
    protection: &'w Protection,
}

fn driver_plan(
    index: usize,
    driver: &Used<'_>,
    wired: &Wired<'_, '_>,
    address: Option<SlotRef>,
) -> DriverPlan {
    let supplies: BTreeMap<u16, Option<usize>> = wired.fed.of_driver(index).collect();
    let judged = |of: &protect::Words, number: u16| {
        of.get(&(index, number)).cloned().map_or_else(
            || (None, String::new(), None),
            |it| (Some(it.state), it.words, it.fuse.map(Sizes::words)),
        )
    };
    DriverPlan {
        part: driver.part,
        unit: driver.unit.clone(),
        place: driver.place.clone(),
        outputs: driver
            .outputs
            .iter()
            .map(|(&number, output)| {
                let (protected, protection, fuse) = judged(&wired.protection.outputs, number);
                OutputPlan {
                    number,
                    bars: output
                        .loads
                        .iter()
                        .map(|&at| wired.loads[at].bar.id)
                        .collect(),
                    current_ma: current(output.total_ma),
                    protection,
                    protected,
                    fuse,
                }
            })
            .collect(),
        inlets: driver
            .inlets()
            .into_iter()
            .map(|(number, ma)| {
                let supply = supplies.get(&number).copied().flatten();
                let (protected, protection, fuse) = judged(&wired.protection.inlets, number);
                InletPlan {
                    number,
                    supply,
                    current_ma: current(ma),
                    feed: supply
                        .and(wired.feeds.cable)
                        .map(|cable| (cable, wired.feeds.length)),
                    protection,
                    protected,
                    fuse,
                }
            })
            .collect(),
        slots: driver.spec.slots,
        address,
        why: driver.why.clone(),
    }
}

fn supply_plan(source: &supply::Source<'_>) -> SupplyPlan {
    SupplyPlan {
        part: source.part,
        unit: source.unit.clone(),
        load_ma: current(source.load_ma),
        usable_ma: source.spec.usable(),
        pairs_used: u8::try_from(source.inlets.len()).unwrap_or(u8::MAX),
        why: source.why.clone(),
    }
}

fn bar_plan(
    book: &Book<'_>,
    bar: &Bar,
    spare: Option<&SpareFixture>,
    builds: &Builds,
    plug: Option<&Plug>,
) -> BarPlan {
    let couplers = plug.map(|plug| plug.couplers.clone()).unwrap_or_default();
    let (serve, why) = if let Some(spare) = spare {
        let fixture = &spare.fixture;
        let off_um = fixture.make.lit_um.get() - bar.length_um.get();
        let why = match off_um {
            0 => format!("{} has exactly the wanted length.", fixture.tag),
            1.. => format!(
                "{} is {} longer than wanted.",
                fixture.tag,
                book.show_um(off_um)
            ),
            _ => format!(
                "{} is {} shorter than wanted.",
                fixture.tag,
                book.show_um(off_um)
            ),
        };
        let serve = Serve::Reuse {
            fixture: fixture.id,
            tag: fixture.tag.clone(),
            lit_um: fixture.make.lit_um,
            off_um,
            couplers,
        };
        (serve, why)
    } else if let Some(built) = builds.built.get(&bar.id) {
        let serve = Serve::Build(BuildBar {
            tape: built.tape,
            units: built.units,
            lit_um: built.lit,
            fed: bar.fed,
            tape_from: TakenFrom {
                cut: built.tape_given.cut,
                segment: built.tape_given.segment,
            },
            start: built.tape_given.start,
            end: built.tape_given.end,
            profile: built.profile,
            lead: plug.and_then(|plug| plug.lead),
            couplers,
        });
        (serve, built.why.clone())
    } else {
        let why = builds
            .short
            .get(&bar.id)
            .cloned()
            .unwrap_or_else(|| "Nothing that fits was found.".to_owned());
        (Serve::Short { why: why.clone() }, why)
    };
    BarPlan {
        bar: bar.id,
        label: bar.label.to_string(),
        serve,
        connector: None,
        mate: plug.and_then(|plug| plug.mate),
        current_ma: None,
        channel_ma: None,
        power_mw: None,
        output: None,
        slot: None,
        why,
    }
}

/// Frames chosen for the design that can't serve.
fn frames(book: &Book<'_>, checks: &mut Checks) {
    for frame in &book.input.design.frames {
        let Some(thing) = frame.thing else { continue };
        let spare = book
            .input
            .stock
            .frames
            .iter()
            .find(|spare| spare.thing == thing);
        let finding = match spare.map(|spare| (&spare.tag, &spare.freedom)) {
            Some((tag, Freedom::Free)) => Finding::passed(format!("{tag} is free.")),
            Some((tag, Freedom::Not(why))) => Finding::broken(
                format!("{tag} was chosen, but it is not free: {why}."),
                "Choose another frame, or none.",
            ),
            None => Finding::broken(
                "The chosen frame is not in the house.",
                "Choose another frame, or none.",
            ),
        };
        let about = frame.label.to_string();
        checks.add(
            "frame",
            format_args!("frame-{}", frame.id),
            about,
            finding,
            [],
        );
    }
}

fn whole(thing: ThingId) -> Held {
    Held::Thing {
        thing,
        from: 0,
        to: 1,
    }
}

/// Holds on fixtures, frames, units and ranges of pieces. Whatever is cut is used up: the range of
/// tape and profile becomes part of a fixture, and a cable cut to length comes back as a piece of
/// its own, no longer as that range of its reel. A cable that has its length already comes back as it
/// is. What is mounted on a frame is held with it.
fn thing_holds(
    book: &Book<'_>,
    served: &[(&Bar, Option<&SpareFixture>)],
    units: &BTreeSet<ThingId>,
    bench: &Bench,
) -> Vec<PlannedHold> {
    let mut holds = Vec::new();
    for (bar, spare) in served {
        if let Some(spare) = spare {
            holds.push(PlannedHold {
                bar: Some(bar.id),
                held: whole(spare.fixture.id),
                becomes: HoldUse::Returns,
            });
        }
    }
    for &thing in book
        .frames
        .iter()
        .chain(units.difference(&book.mounted_units()))
    {
        holds.push(PlannedHold {
            bar: None,
            held: whole(thing),
            becomes: HoldUse::Returns,
        });
    }
    for &(purpose, thing, from, to) in &bench.held {
        holds.push(PlannedHold {
            bar: match purpose {
                Purpose::Bar(bar) => Some(bar),
                Purpose::Extra(_) | Purpose::Feed(..) => None,
            },
            held: Held::Thing { thing, from, to },
            becomes: if book.is_whole_cable(thing, from, to) {
                HoldUse::Returns
            } else {
                HoldUse::Consumed
            },
        });
    }
    holds
}
