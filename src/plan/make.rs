//! Input → Plan: the order of the steps.

use std::collections::{BTreeMap, BTreeSet};

use super::{
    bench::Bench,
    book::Book,
    build::{Builds, build},
    check::{Checks, Finding},
    cutting::{Purpose, Wish},
    input::{Freedom, Input, SpareFixture},
    need::Needs,
    outcome::{BarPlan, BuildBar, DataPlan, From as TakenFrom, Plan, PlannedHold, Serve},
    reuse::assign_fixtures,
};
use crate::{
    model::{
        design::Bar,
        id::{PartId, ThingId},
        reservation::{Held, HoldUse},
    },
    units::Voltage,
};

/// Makes the plan of a design.
///
/// It depends on nothing but the input, and not on the order of its lists.
pub fn plan(input: &Input) -> Plan {
    let book = Book::new(input);
    let mut checks = Checks::default();
    let mut needs = Needs::default();
    let mut bench = Bench::default();

    let reuse = assign_fixtures(&book);
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
    let voltages: BTreeSet<Voltage> = served
        .iter()
        .filter_map(|(_, spare)| spare.map(|spare| spare.fixture.make.voltage_mv))
        .collect();
    let to_build: Vec<&Bar> = served
        .iter()
        .filter(|(_, spare)| spare.is_none())
        .map(|(bar, _)| *bar)
        .collect();
    let extras = length_extras(&book);
    let builds = build(&book, &to_build, voltages, &extras, &mut bench, &mut checks);
    for (what, &amount) in &builds.unheard {
        needs.unheard(what, amount, "bars");
    }

    let mut bars: BTreeMap<_, _> = BTreeMap::new();
    for (bar, spare) in &served {
        bars.insert(bar.id, bar_plan(&book, bar, *spare, &builds));
    }
    frames(&book, &mut checks);

    let holds = thing_holds(&book, &served, &bench);
    let (needs, count_holds, cost) = needs.finish(&book, &bench, &mut checks);
    Plan {
        bars: input
            .design
            .bars
            .iter()
            .filter_map(|bar| bars.remove(&bar.id))
            .collect(),
        cuts: bench.cuts,
        drivers: Vec::new(),
        supplies: Vec::new(),
        data: DataPlan::default(),
        frames: book.frames,
        needs,
        checks: checks.finish(),
        holds: holds.into_iter().chain(count_holds).collect(),
        near_misses: reuse.near,
        cost,
        proofs: bench.proofs,
    }
}

/// Extra lines of parts kept by length, in their stock unit.
fn length_extras(book: &Book<'_>) -> BTreeMap<PartId, Vec<Wish>> {
    use crate::model::part::{PartSpec, StockBy};
    let mut extras = BTreeMap::new();
    let mut lines: Vec<_> = book.input.design.extras.iter().collect();
    lines.sort_by_key(|extra| extra.id);
    for extra in lines {
        let Some(part) = book.part(extra.part) else {
            continue;
        };
        if part.stock_by() != StockBy::Length || extra.amount <= 0 {
            continue;
        }
        let amount = match &part.spec {
            PartSpec::Tape(tape) => {
                let length = crate::units::Length::new(extra.amount).unwrap_or_default();
                let (units, rest) = tape.pitch.whole_units(length);
                i64::try_from(units).unwrap_or(0) + i64::from(rest > 0)
            }
            _ => extra.amount,
        };
        extras
            .entry(extra.part)
            .or_insert_with(Vec::new)
            .push(Wish {
                purpose: Purpose::Extra(extra.id),
                amount,
                fed: None,
            });
    }
    extras
}

fn bar_plan(book: &Book<'_>, bar: &Bar, spare: Option<&SpareFixture>, builds: &Builds) -> BarPlan {
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
            couplers: Vec::new(),
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
            lead: None,
            couplers: Vec::new(),
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

/// Holds on fixtures, frames and ranges of pieces.
fn thing_holds(
    book: &Book<'_>,
    served: &[(&Bar, Option<&SpareFixture>)],
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
    for &frame in &book.frames {
        holds.push(PlannedHold {
            bar: None,
            held: whole(frame),
            becomes: HoldUse::Returns,
        });
    }
    for &(purpose, thing, from, to) in &bench.held {
        holds.push(PlannedHold {
            bar: match purpose {
                Purpose::Bar(bar) => Some(bar),
                Purpose::Extra(_) => None,
            },
            held: Held::Thing { thing, from, to },
            becomes: HoldUse::Consumed,
        });
    }
    holds
}
