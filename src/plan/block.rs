//! Terminal blocks: where each cable run meets the tails of the lead that its bar plugs into.

use std::collections::BTreeMap;

use super::{
    book::Book,
    check::{Checks, Finding, named},
    fit,
    load::Load,
    need::Needs,
    outcome::{BarEnd, BlockJoint},
    plug::{cost_of, rating_rank},
    power::Used,
};
use crate::model::{
    id::{BarId, FrameId, PartId},
    part::{Block, PartSpec},
    reservation::HoldUse,
};

/// The chosen block, and what is joined in which of its ways.
#[derive(Default)]
pub(super) struct Blocks {
    pub(super) part: Option<PartId>,
    pub(super) joints: Vec<BlockJoint>,
}

/// Chooses terminal blocks: a way for each conductor of each fed end, frame by frame and driver by
/// driver, so that a block that is taken off, or a wire that slips, is of one driver alone. Bars without
/// a cable run go straight into the driver's terminals.
pub(super) fn blocks(
    book: &Book<'_>,
    loads: &[Load<'_>],
    used: &[Used<'_>],
    needs: &mut Needs,
    checks: &mut Checks,
) -> Blocks {
    let cabled: Vec<&Load<'_>> = loads
        .iter()
        .filter(|load| load.bar.cable_um.get() > 0)
        .collect();
    let Some(most) = cabled.iter().map(|load| load.channels.conductors()).max() else {
        return Blocks::default();
    };
    let load_ma = cabled
        .iter()
        .try_fold(0, |most: i64, load| Some(most.max(load.total_ma()?)));
    let all = book.of(|spec| match spec {
        PartSpec::Block(block) => Some(block),
        _ => None,
    });
    let groups = ends_by_driver(&cabled, &drivers_of(loads, used));
    let number = |ways: u16| -> i64 { groups.values().map(|ends| number(ends, ways)).sum() };
    let chosen = book.input.design.choices.block;
    let best = all
        .iter()
        .filter(|(id, block)| match chosen {
            Some(chosen) => chosen == *id,
            None => usize::from(block.ways) >= most,
        })
        .min_by_key(|(id, block)| {
            let wanted = number(block.ways);
            (
                rating_rank(block.rating_ma, load_ma),
                cost_of(book, needs, *id, wanted),
                wanted,
                *id,
            )
        });
    let Some((id, block)) = best else {
        checks.add(
            "block",
            "none",
            "terminal blocks",
            Finding::warned(
                format!(
                    "No terminal block in the catalogue has {most} ways, so what joins cables and \
                     leads is not counted."
                ),
                "Add a terminal block to the catalogue.",
            ),
            cabled.iter().map(|load| named(load.bar)),
        );
        return Blocks::default();
    };
    needs.count(
        *id,
        number(block.ways),
        HoldUse::Returns,
        "joints of cable and lead",
    );
    check(book, &cabled, *id, block, load_ma, checks);
    Blocks {
        part: Some(*id),
        joints: joints(&groups, *id, block.ways),
    }
}

fn check(
    book: &Book<'_>,
    cabled: &[&Load<'_>],
    id: PartId,
    block: &Block,
    load_ma: Option<i64>,
    checks: &mut Checks,
) {
    let name = book.name(id);
    for load in cabled {
        let finding = fit::block(&name, block, load.channels);
        let key = format!("{}:part-{id}", load.channels);
        checks.add("conductors", key, &name, finding, [named(load.bar)]);
    }
    let rating = fit::rating(&name, block.rating_ma, load_ma);
    checks.add(
        "rating",
        format_args!("part-{id}"),
        &name,
        rating,
        cabled.iter().map(|load| named(load.bar)),
    );
}

/// A fed end: of which bar, with how many conductors.
type FedEnd<'l, 'a> = (&'l Load<'a>, BarEnd, usize);

/// Which driver of the plan feeds each bar.
fn drivers_of(loads: &[Load<'_>], used: &[Used<'_>]) -> BTreeMap<BarId, usize> {
    let mut drivers = BTreeMap::new();
    for (at, driver) in used.iter().enumerate() {
        let fed = driver.outputs.values().flat_map(|output| &output.loads);
        drivers.extend(fed.map(|load| (loads[*load].bar.id, at)));
    }
    drivers
}

/// Fed ends by frame and driver, bar by bar. Bars that no driver feeds stay among themselves.
type Groups<'l, 'a> = BTreeMap<(Option<FrameId>, Option<usize>), Vec<FedEnd<'l, 'a>>>;

fn ends_by_driver<'l, 'a>(
    cabled: &[&'l Load<'a>],
    drivers: &BTreeMap<BarId, usize>,
) -> Groups<'l, 'a> {
    let mut groups = Groups::new();
    for &load in cabled {
        let both = [BarEnd::Start, BarEnd::End];
        let ends = both.into_iter().take(if load.ends() > 1 { 2 } else { 1 });
        let conductors = load.channels.conductors();
        let key = (load.bar.frame, drivers.get(&load.bar.id).copied());
        let of_group = groups.entry(key).or_default();
        of_group.extend(ends.map(|end| (load, end, conductors)));
    }
    groups
}

fn number(ends: &[FedEnd<'_, '_>], ways: u16) -> i64 {
    let wanted: Vec<usize> = ends.iter().map(|(_, _, conductors)| *conductors).collect();
    i64::try_from(lay(&wanted, ways.into()).1).unwrap_or(i64::MAX)
}

fn joints(groups: &Groups<'_, '_>, part: PartId, ways: u16) -> Vec<BlockJoint> {
    let whole = |number: usize| u32::try_from(number).unwrap_or(u32::MAX);
    let mut joints = Vec::new();
    // A frame's blocks are counted through, whatever driver they belong to.
    let mut counted: BTreeMap<Option<FrameId>, usize> = BTreeMap::new();
    for ((frame, _), ends) in groups {
        let wanted: Vec<usize> = ends.iter().map(|(_, _, conductors)| *conductors).collect();
        let (places, count) = lay(&wanted, ways.into());
        let before = counted.entry(*frame).or_default();
        for ((load, end, conductors), (block, way)) in ends.iter().zip(places) {
            joints.push(BlockJoint {
                part,
                frame: *frame,
                block: whole(*before + block),
                way: whole(way),
                ways: whole(*conductors),
                bar: load.bar.id,
                end: *end,
            });
        }
        *before += count;
    }
    joints
}

/// Lays ends into blocks, one after the other, none split over two blocks unless it is wider than
/// one. Gives back the first block and way of each, counted from 1, and how many blocks it takes.
fn lay(ends: &[usize], ways: usize) -> (Vec<(usize, usize)>, usize) {
    let ways = ways.max(1);
    let (mut count, mut free) = (0_usize, 0_usize);
    let places = ends
        .iter()
        .map(|&need| {
            if need <= free {
                let place = (count, ways - free + 1);
                free -= need;
                return place;
            }
            let more = need.div_ceil(ways);
            let place = (count + 1, 1);
            count += more;
            free = more * ways - need;
            place
        })
        .collect();
    (places, count)
}

#[cfg(test)]
mod tests {
    use super::lay;

    #[test]
    fn an_end_is_not_split_over_two_blocks() {
        assert_eq!(lay(&[5, 5, 5], 12), (vec![(1, 1), (1, 6), (2, 1)], 2));
        assert_eq!(lay(&[5, 5], 5), (vec![(1, 1), (2, 1)], 2));
        assert_eq!(lay(&[5, 1], 3), (vec![(1, 1), (2, 3)], 2));
        assert_eq!(lay(&[], 12), (vec![], 0));
    }
}
