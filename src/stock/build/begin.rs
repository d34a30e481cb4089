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
        thing::ThingKind,
    },
    plan::{
        Plan,
        one_cut::one_each,
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

/// Lines that are fetched in one go and ticked together, at most.
const AT_ONCE: usize = 8;

/// What is looked for together where much comes from one place.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Sort {
    Finished,
    Units,
    Parts,
    Bench,
}

impl Sort {
    const fn words(self) -> &'static str {
        match self {
            Self::Finished => "finished bars and frames",
            Self::Units => "drivers and supplies",
            Self::Parts => "leads, cables and small parts",
            Self::Bench => "what the bench needs",
        }
    }
}

/// One line of what comes from a place.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Item {
    Thing(ThingId),
    Count(PartId, i64),
    /// A piece for the bench.
    Piece(ThingId),
    /// A count that is used up at the bench.
    Used(PartId, i64),
}

/// What comes from one place.
type Fetched = BTreeMap<Sort, Vec<Item>>;

/// What comes from one place, in loads that are ticked by themselves, each with what it is: all at once
/// where it is little, else sort by sort.
fn loads(fetched: Fetched) -> Vec<(String, Vec<Item>)> {
    let all: usize = fetched.values().map(Vec::len).sum();
    if all <= AT_ONCE {
        return vec![(String::new(), fetched.into_values().flatten().collect())];
    }
    let mut loads = Vec::new();
    for (sort, items) in fetched {
        let many = items.len().div_ceil(AT_ONCE).max(1);
        let size = items.len().div_ceil(many).max(1);
        for (number, load) in (1..).zip(items.chunks(size)) {
            let words = match many {
                1 => format!(": {}", sort.words()),
                _ => format!(": {}, load {number} of {many}", sort.words()),
            };
            loads.push((words, load.to_vec()));
        }
    }
    loads
}

/// The task of fetching a load.
fn fetch_task(from: AccountId, load: &[Item]) -> Task {
    let (mut things, mut counts, mut pieces, mut used) = (vec![], vec![], vec![], vec![]);
    for item in load {
        match *item {
            Item::Thing(id) => things.push(id),
            Item::Count(part, amount) => counts.push((part, amount)),
            Item::Piece(id) => pieces.push(id),
            Item::Used(part, amount) => used.push((part, amount)),
        }
    }
    Task::Fetch {
        from,
        things,
        counts,
        pieces,
        used,
    }
}

/// Steps for each place from which something comes, to the set or to the bench.
async fn fetch_steps(tx: &mut WriteTx, design: DesignId) -> Result<Vec<Draft>, StockError> {
    let (lines, _) = out_lines(tx, design).await?;
    let mut places: BTreeMap<AccountId, Fetched> = BTreeMap::new();
    for line in lines {
        let (sort, item) = match line.moved {
            Moved::Count { part, amount } | Moved::Loss { part, amount, .. } => {
                (Sort::Parts, Item::Count(part, amount))
            }
            Moved::Piece { thing, .. } => (Sort::Parts, Item::Thing(thing)),
            Moved::Thing { thing, .. } => {
                let found = db::thing::lookup(tx, thing).await?;
                let sort = match found.map(|it| it.kind) {
                    Some(ThingKind::Unit) => Sort::Units,
                    Some(ThingKind::Piece) => Sort::Parts,
                    Some(ThingKind::Fixture | ThingKind::Frame) | None => Sort::Finished,
                };
                (sort, Item::Thing(thing))
            }
        };
        let from = places.entry(line.from).or_default();
        from.entry(sort).or_default().push(item);
    }
    bench_needs(tx, design, &mut places).await?;
    let mut steps = Vec::new();
    for (account, from) in places {
        let spot = db::place::whereabouts(tx, account)
            .await?
            .ok_or(StockError::NotFound("place"))?;
        for (words, load) in loads(from) {
            let title = format!("Fetch from {}{words}", spot.words);
            let task = fetch_task(account, &load);
            steps.push((StepKind::Fetch, title, None, task));
        }
    }
    Ok(steps)
}

/// What is used up at the bench, by the places that it lies in.
async fn bench_needs(
    tx: &mut WriteTx,
    design: DesignId,
    places: &mut BTreeMap<AccountId, Fetched>,
) -> Result<(), StockError> {
    let mut add = |account: AccountId, item: Item| {
        let from = places.entry(account).or_default();
        let items = from.entry(Sort::Bench).or_default();
        // A piece of which several bars are cut is fetched once.
        if !matches!(item, Item::Piece(_)) || !items.contains(&item) {
            items.push(item);
        }
    };
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
                add(thing.place.account, Item::Piece(thing.id));
            }
            Held::Count { part, amount, .. } => *counts.entry(part).or_insert(0) += amount,
        }
    }
    for (part, amount) in counts {
        // What is not there yet is fetched from its order, not from a place.
        let (lines, _) = from_places(tx, part, amount, AccountId::USED).await?;
        for line in lines {
            if let Moved::Count { part, amount } = line.moved {
                add(line.from, Item::Used(part, amount));
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
    // Plans that were kept before may have several cuts of one piece.
    let (cuts, _) = one_each(plan.cuts.clone());
    for cut in &cuts {
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

#[cfg(test)]
mod tests {
    use super::*;

    fn counts(many: i64) -> Vec<Item> {
        (1..=many).map(|id| Item::Count(PartId(id), 1)).collect()
    }

    #[test]
    fn little_is_fetched_at_once_and_much_in_loads_that_lose_nothing() {
        let few = Fetched::from([
            (Sort::Parts, counts(3)),
            (Sort::Bench, vec![Item::Piece(ThingId(1))]),
        ]);
        let at_once = loads(few);
        assert_eq!(at_once.len(), 1);
        assert_eq!((at_once[0].0.as_str(), at_once[0].1.len()), ("", 4));

        let bars: Vec<Item> = (1..=5).map(|id| Item::Thing(ThingId(id))).collect();
        let much = Fetched::from([(Sort::Finished, bars.clone()), (Sort::Parts, counts(17))]);
        let loads = loads(much);
        let sizes: Vec<usize> = loads.iter().map(|(_, load)| load.len()).collect();
        assert_eq!(sizes, [5, 6, 6, 5]);
        assert!(
            loads[1].0.ends_with("small parts, load 1 of 3"),
            "{loads:?}"
        );
        let all: Vec<Item> = loads.into_iter().flat_map(|(_, load)| load).collect();
        assert_eq!(all, [bars, counts(17)].concat());
    }
}
