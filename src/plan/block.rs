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
};
use crate::model::{
    id::{FrameId, PartId},
    part::{Block, PartSpec},
    reservation::HoldUse,
};

/// The chosen block, and what is joined in which of its ways.
#[derive(Default)]
pub(super) struct Blocks {
    pub(super) part: Option<PartId>,
    pub(super) joints: Vec<BlockJoint>,
}

/// Chooses terminal blocks: a way for each conductor of each fed end, frame by frame. Bars without
/// a cable run go straight into the driver's terminals.
pub(super) fn blocks(
    book: &Book<'_>,
    loads: &[Load<'_>],
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
    let frames = ends_by_frame(&cabled);
    let number = |ways: u16| -> i64 { frames.values().map(|ends| number(ends, ways)).sum() };
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
        joints: joints(&frames, *id, block.ways),
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

/// The fed ends of each frame, bar by bar.
fn ends_by_frame<'l, 'a>(
    cabled: &[&'l Load<'a>],
) -> BTreeMap<Option<FrameId>, Vec<FedEnd<'l, 'a>>> {
    let mut frames: BTreeMap<_, Vec<FedEnd<'l, 'a>>> = BTreeMap::new();
    for &load in cabled {
        let both = [BarEnd::Start, BarEnd::End];
        let ends = both.into_iter().take(if load.ends() > 1 { 2 } else { 1 });
        let conductors = load.channels.conductors();
        let of_frame = frames.entry(load.bar.frame).or_default();
        of_frame.extend(ends.map(|end| (load, end, conductors)));
    }
    frames
}

fn number(ends: &[FedEnd<'_, '_>], ways: u16) -> i64 {
    let wanted: Vec<usize> = ends.iter().map(|(_, _, conductors)| *conductors).collect();
    i64::try_from(lay(&wanted, ways.into()).1).unwrap_or(i64::MAX)
}

fn joints(
    frames: &BTreeMap<Option<FrameId>, Vec<FedEnd<'_, '_>>>,
    part: PartId,
    ways: u16,
) -> Vec<BlockJoint> {
    let whole = |number: usize| u32::try_from(number).unwrap_or(u32::MAX);
    let of_frame = |(frame, ends): (&Option<FrameId>, &Vec<FedEnd<'_, '_>>)| {
        let wanted: Vec<usize> = ends.iter().map(|(_, _, conductors)| *conductors).collect();
        let places = lay(&wanted, ways.into()).0;
        let joint = |((load, end, conductors), (block, way)): (&FedEnd<'_, '_>, _)| BlockJoint {
            part,
            frame: *frame,
            block: whole(block),
            way: whole(way),
            ways: whole(*conductors),
            bar: load.bar.id,
            end: *end,
        };
        ends.iter().zip(places).map(joint).collect::<Vec<_>>()
    };
    frames.iter().flat_map(of_frame).collect()
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
