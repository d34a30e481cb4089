//! Cable from the drivers to the bars: one run for each fed end, by conductor count, cut from
//! reels.
//!
//! A bar that is fed at both ends has a second run, longer by the bar itself. Runs from supplies
//! to drivers ([`super::feed`]) are cut from the same reels.

use std::collections::BTreeMap;

use super::{
    bench::Bench,
    book::Book,
    check::{Checks, named},
    cutting::{Purpose, Wish, budget, cut_part},
    fit,
    load::Load,
    need::Needs,
};
use crate::model::{
    id::{BarId, PartId},
    part::{Block, Cable, PartSpec},
};
use crate::units::{Current, Strand};

/// What runs to bars are needed for, in words.
const RUNS: &str = "runs from driver to bar";
/// What runs to drivers are needed for, in words.
pub(super) const FEEDS: &str = "runs from supply to driver";

/// Chooses and cuts the cable, that of other wishes (extra lines, feeds of drivers) included; gives
/// back what each bar's runs are cut from.
pub(super) fn cables(
    book: &Book<'_>,
    loads: &[Load<'_>],
    block: Option<PartId>,
    others: BTreeMap<PartId, Vec<Wish>>,
    bench: &mut Bench,
    needs: &mut Needs,
    checks: &mut Checks,
) -> BTreeMap<BarId, PartId> {
    let mut of_bars = BTreeMap::new();
    let mut runs = others;
    let mut counts: Vec<usize> = loads
        .iter()
        .map(|load| load.channels.conductors())
        .collect();
    counts.sort_unstable();
    counts.dedup();
    for conductors in counts {
        let group: Vec<&Load<'_>> = loads
            .iter()
            .filter(|load| load.channels.conductors() == conductors)
            .filter(|load| load.bar.cable_um.get() > 0 || load.ends() > 1)
            .collect();
        if group.is_empty() {
            continue;
        }
        let wishes: Vec<Wish> = group.iter().flat_map(|load| wishes_of(load)).collect();
        let Some((id, cable)) = choose(book, &group, &wishes, conductors) else {
            let length: i64 = wishes.iter().map(|wish| wish.amount).sum();
            needs.unheard(
                format!(
                    "cable with {conductors} conductors, {} in all",
                    book.show_um(length)
                ),
                i64::try_from(wishes.len()).unwrap_or(i64::MAX),
                RUNS,
            );
            continue;
        };
        check(book, &group, id, cable, block, checks);
        of_bars.extend(group.iter().map(|load| (load.bar.id, id)));
        runs.entry(id).or_default().extend(wishes);
    }
    for (id, mut wishes) in runs {
        let Some(part) = book.part(id) else { continue };
        wishes.sort_by_key(|wish| wish.purpose);
        let cutting = cut_part(book, part, &wishes, budget(part, 0));
        let any = |of: fn(&Purpose) -> bool| wishes.iter().any(|wish| of(&wish.purpose));
        let feeds = any(|purpose| matches!(purpose, Purpose::Feed(..)));
        let others = any(|purpose| !matches!(purpose, Purpose::Feed(..)));
        let used_for = match (others, feeds) {
            (true, true) => format!("{RUNS}, {FEEDS}"),
            (false, true) => FEEDS.to_owned(),
            _ => RUNS.to_owned(),
        };
        bench.take(id, &wishes, cutting, &used_for);
    }
    of_bars
}

fn wishes_of(load: &Load<'_>) -> Vec<Wish> {
    let near = load.bar.cable_um.get();
    let wish = |amount| Wish {
        purpose: Purpose::Bar(load.bar.id),
        amount,
        fed: None,
    };
    match load.ends() {
        1 => vec![wish(near)],
        // A bar that stands at its driver still needs the run to its far end.
        _ => [near, near + load.lit.get()]
            .into_iter()
            .filter(|length| *length > 0)
            .map(wish)
            .collect(),
    }
}

fn heaviest(group: &[&Load<'_>]) -> Option<i64> {
    group
        .iter()
        .try_fold(0, |most: i64, load| Some(most.max(load.total_ma()?)))
}

/// The chosen cable, else the best one.
fn choose<'a>(
    book: &Book<'a>,
    group: &[&Load<'_>],
    wishes: &[Wish],
    conductors: usize,
) -> Option<(PartId, &'a Cable)> {
    match book.input.design.choices.cable {
        Some(chosen) => all(book).into_iter().find(|(id, _)| *id == chosen),
        None => best(book, heaviest(group), wishes, conductors, |cable| {
            cable.rating_ma.map(Current::get)
        }),
    }
}

fn all<'a>(book: &Book<'a>) -> Vec<(PartId, &'a Cable)> {
    book.of(|spec| match spec {
        PartSpec::Cable(cable) => Some(cable),
        _ => None,
    })
}

/// The cables that a run is chosen from: with enough conductors, and solid ones only where no stranded
/// one is there.
pub(super) fn eligible<'a>(book: &Book<'a>, conductors: usize) -> Vec<(PartId, &'a Cable)> {
    let mut cables = all(book);
    cables.retain(|(_, cable)| usize::from(cable.conductors) >= conductors);
    let is_solid = |cable: &Cable| cable.strand == Some(Strand::Solid);
    if cables.iter().any(|(_, cable)| !is_solid(cable)) {
        cables.retain(|(_, cable)| !is_solid(cable));
    }
    cables
}

/// Of the eligible cables: fit for the load (`most_ma` is what a cable may carry, where that is known),
/// with the fewest conductors too many, least to buy.
pub(super) fn best<'a>(
    book: &Book<'a>,
    load_ma: Option<i64>,
    wishes: &[Wish],
    conductors: usize,
    most_ma: impl Fn(&Cable) -> Option<i64>,
) -> Option<(PartId, &'a Cable)> {
    let wanted: i64 = wishes.iter().map(|wish| wish.amount).sum();
    let shortest = wishes.iter().map(|wish| wish.amount).min().unwrap_or(0);
    eligible(book, conductors)
        .into_iter()
        .min_by_key(|(id, cable)| {
            let rating = match (most_ma(cable), load_ma) {
                (Some(most), Some(load)) if load > most => 2_u8,
                (Some(_), Some(_)) => 0,
                _ => 1,
            };
            let there: i64 = book
                .pieces(*id)
                .iter()
                .flat_map(|spare| &spare.free)
                .map(|(from, to)| to - from)
                .filter(|&length| length >= shortest)
                .sum();
            let missing = (wanted - there).max(0);
            let cost = if missing == 0 {
                0
            } else {
                book.price(*id).saturating_mul(missing.into())
            };
            (rating, cable.conductors, cost, *id)
        })
}

fn check(
    book: &Book<'_>,
    group: &[&Load<'_>],
    id: PartId,
    cable: &Cable,
    block: Option<PartId>,
    checks: &mut Checks,
) {
    let name = book.name(id);
    let who = || group.iter().map(|load| named(load.bar));
    for load in group {
        let finding = fit::cable(&name, cable, load.channels);
        let key = format!("{}:part-{id}", load.channels);
        checks.add("conductors", key, &name, finding, [named(load.bar)]);
    }
    let loaded = group.iter().map(|load| load.channels.conductors()).max();
    let rating = fit::bundled(&name, cable, loaded.unwrap_or(0), heaviest(group));
    checks.add("rating", format_args!("part-{id}"), &name, rating, who());
    checks.add(
        "flex",
        format_args!("part-{id}"),
        &name,
        fit::flexes(&name, cable),
        who(),
    );
    if let Some((block_id, block)) = block.and_then(|id| block_of(book, id)) {
        let block_name = book.name(block_id);
        if let Some(finding) = fit::conductor_in_block(&block_name, block, &name, cable) {
            let pair = format!("part-{id}:part-{block_id}");
            checks.add(
                "size",
                pair,
                format!("{name} in {block_name}"),
                finding,
                who(),
            );
        }
    }
}

fn block_of<'a>(book: &Book<'a>, id: PartId) -> Option<(PartId, &'a Block)> {
    match book.part(id).map(|part| &part.spec) {
        Some(PartSpec::Block(block)) => Some((id, block)),
        _ => None,
    }
}
