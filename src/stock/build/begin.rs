//! The steps of a set that goes to the bench, made from the kept plan.

use std::collections::BTreeMap;

use crate::{
    db::{self, WriteTx},
    model::{
        design::Design,
        id::{AccountId, BarId, DesignId, PartId, StepId, ThingId},
        movement::Moved,
        part::PartSpec,
        reservation::{Held, HoldState, HoldUse},
        step::{Segment, Step, StepKind, Task},
    },
    plan::{
        Plan,
        outcome::{Becomes, CutSource, PieceCut, Serve},
    },
    stock::{
        StockError,
        strike::{from_places, out_lines},
    },
    units::Length,
};

/// Makes the steps of a set that goes to the bench; those of before are replaced.
pub(in crate::stock) async fn begin(tx: &mut WriteTx, design: &Design) -> Result<(), StockError> {
    let plan = db::design::lookup_plan(tx, design.id)
        .await?
        .ok_or_else(|| StockError::refused("There is no plan to build from. Reserve it first."))?
        .plan;
    db::design::remove_steps(tx, design.id).await?;
    let mut steps = fetch_steps(tx, design.id).await?;
    steps.extend(cut_steps(tx, design, &plan).await?);
    for bar in &plan.bars {
        if let Serve::Build(built) = &bar.serve {
            let task = Task::Assemble {
                bar: bar.bar,
                lit_um: built.lit_um,
                made: None,
            };
            let title = format!("Assemble bar {}", bar.label);
            steps.push((StepKind::Assemble, title, Some(bar.bar), task));
        }
    }
    for (at, driver) in plan.drivers.iter().enumerate() {
        let name = match &driver.unit {
            Some((_, tag)) => tag.to_string(),
            None => format!("driver {}", at + 1),
        };
        let title = if driver.place.is_empty() {
            format!("Wire {name}")
        } else {
            format!("Wire {name} at {}", driver.place)
        };
        let bars = plan
            .bars
            .iter()
            .filter(|bar| bar.output.is_some_and(|output| output.driver == at))
            .map(|bar| bar.bar)
            .collect();
        let out = Vec::new();
        steps.push((StepKind::Wire, title, None, Task::Wire { bars, out }));
    }
    for driver in &plan.drivers {
        if let (Some((unit, tag)), Some(slot)) = (&driver.unit, driver.address) {
            let task = Task::Address {
                unit: *unit,
                address: slot.slot,
                before: None,
            };
            let title = format!("Set {tag} to {} in universe {}", slot.slot, slot.universe);
            steps.push((StepKind::Address, title, None, task));
        }
    }
    for bar in &plan.bars {
        if !matches!(bar.serve, Serve::Short { .. }) {
            let title = format!("Test bar {}", bar.label);
            steps.push((StepKind::Test, title, Some(bar.bar), Task::Tick));
        }
    }
    let bars: Vec<BarId> = design.bars.iter().map(|bar| bar.id).collect();
    for (position, (kind, title, bar, task)) in (0_i64..).zip(steps) {
        let step = Step {
            id: StepId(0),
            design: design.id,
            position,
            kind,
            title,
            bar: bar.filter(|bar| bars.contains(bar)),
            task,
            done: None,
        };
        db::design::add_step(tx, &step).await?;
    }
    Ok(())
}

type Draft = (StepKind, String, Option<BarId>, Task);

/// What comes from one place.
#[derive(Default)]
struct Fetched {
    things: Vec<ThingId>,
    counts: Vec<(PartId, i64)>,
    pieces: Vec<ThingId>,
    used: Vec<(PartId, i64)>,
}

/// One step for each place from which something comes, to the set or to the bench.
async fn fetch_steps(tx: &mut WriteTx, design: DesignId) -> Result<Vec<Draft>, StockError> {
    let (lines, _) = out_lines(tx, design).await?;
    let mut places: BTreeMap<AccountId, Fetched> = BTreeMap::new();
    for line in lines {
        let from = places.entry(line.from).or_default();
        match line.moved {
            Moved::Count { part, amount } | Moved::Loss { part, amount, .. } => {
                from.counts.push((part, amount));
            }
            Moved::Piece { thing, .. } | Moved::Thing { thing, .. } => from.things.push(thing),
        }
    }
    bench_needs(tx, design, &mut places).await?;
    let mut steps = Vec::new();
    for (account, from) in places {
        let spot = db::place::whereabouts(tx, account)
            .await?
            .ok_or(StockError::NotFound("place"))?;
        let title = format!("Fetch from {}", spot.words);
        let task = Task::Fetch {
            from: account,
            things: from.things,
            counts: from.counts,
            pieces: from.pieces,
            used: from.used,
        };
        steps.push((StepKind::Fetch, title, None, task));
    }
    Ok(steps)
}

/// What is used up at the bench, by the places that it lies in.
async fn bench_needs(
    tx: &mut WriteTx,
    design: DesignId,
    places: &mut BTreeMap<AccountId, Fetched>,
) -> Result<(), StockError> {
    let mut counts: BTreeMap<PartId, i64> = BTreeMap::new();
    for hold in db::reservation::list(tx, design).await? {
        if hold.state != HoldState::Active || hold.hold.becomes != HoldUse::Consumed {
            continue;
        }
        match hold.hold.held {
            Held::Thing { thing, .. } => {
                let Some(thing) = db::thing::lookup(tx, thing).await? else {
                    continue;
                };
                let pieces = &mut places.entry(thing.place.account).or_default().pieces;
                // A piece of which several bars are cut is fetched once.
                if !pieces.contains(&thing.id) {
                    pieces.push(thing.id);
                }
            }
            Held::Count { part, amount, .. } => *counts.entry(part).or_insert(0) += amount,
        }
    }
    for (part, amount) in counts {
        // What is not there yet is fetched from its order, not from a place.
        let (lines, _) = from_places(tx, part, amount, AccountId::USED).await?;
        for line in lines {
            if let Moved::Count { part, amount } = line.moved {
                places
                    .entry(line.from)
                    .or_default()
                    .used
                    .push((part, amount));
            }
        }
    }
    Ok(())
}

/// One step for each piece of the house that is cut.
async fn cut_steps(
    tx: &mut WriteTx,
    design: &Design,
    plan: &Plan,
) -> Result<Vec<Draft>, StockError> {
    let mut steps = Vec::new();
    for cut in &plan.cuts {
        let CutSource::Piece { thing, tag } = &cut.source else {
            continue;
        };
        let kerf = match db::part::lookup(tx, cut.part).await?.map(|part| part.spec) {
            Some(PartSpec::Profile(profile)) => profile.kerf_um.map_or(0, Length::get),
            _ => 0,
        };
        let claims = db::reservation::list_claims(tx, Some(*thing), None, Some(design.id)).await?;
        let taken: Vec<(i64, i64)> = claims
            .on(*thing)
            .iter()
            .map(|claim| (claim.from, claim.to))
            .collect();
        let segments = tile(cut, kerf, &taken);
        if segments.len() < 2 {
            continue;
        }
        let labels: Vec<String> = segments
            .iter()
            .filter_map(|segment| segment.bar)
            .filter_map(|id| design.bars.iter().find(|bar| bar.id == id))
            .map(|bar| bar.label.to_string())
            .collect();
        let title = match labels.as_slice() {
            [] => format!("Cut {tag}"),
            [one] => format!("Cut {tag} for bar {one}"),
            some => format!("Cut {tag} for bars {}", some.join(", ")),
        };
        let task = Task::Cut {
            piece: *thing,
            segments,
        };
        steps.push((StepKind::Cut, title, None, task));
    }
    Ok(steps)
}

/// The whole piece in segments: those of the plan, and what lies before, between and after them.
/// What is not wider than a saw cut and held by nobody is lost to the saw; the rest is kept, and
/// joined with a neighbouring offcut.
fn tile(cut: &PieceCut, kerf: i64, taken: &[(i64, i64)]) -> Vec<Segment> {
    let mut planned: Vec<Segment> = cut
        .segments
        .iter()
        .map(|segment| Segment {
            from: segment.from,
            to: segment.to,
            bar: match segment.becomes {
                Becomes::Bar { bar, .. } => Some(bar),
                _ => None,
            },
            scrap: segment.becomes == Becomes::Scrap,
            offcut: matches!(segment.becomes, Becomes::Offcut),
        })
        .collect();
    planned.sort_by_key(|segment| segment.from);
    let mut tiled: Vec<Segment> = Vec::new();
    let mut at = 0;
    let end = Segment {
        from: cut.amount,
        to: cut.amount,
        bar: None,
        scrap: false,
        offcut: false,
    };
    for segment in planned.into_iter().chain([end]) {
        let (from, to) = (at, segment.from);
        let held = taken
            .iter()
            .any(|(start, stop)| *start < to && from < *stop);
        if to > from && (to - from > kerf || held) {
            tiled.push(Segment {
                from,
                to,
                bar: None,
                scrap: false,
                offcut: true,
            });
        }
        at = segment.to;
        if segment.to > segment.from {
            tiled.push(segment);
        }
    }
    let mut joined: Vec<Segment> = Vec::new();
    for segment in tiled {
        match joined.last_mut() {
            Some(last) if last.offcut && segment.offcut && last.to == segment.from => {
                last.to = segment.to;
            }
            _ => joined.push(segment),
        }
    }
    joined
}
