//! What of a set at the bench is on order and has not come in, and which steps wait for it.

use std::collections::{BTreeMap, BTreeSet};

use super::detail::of_part;
use crate::{
    model::{
        id::{BarId, PartId, StepId},
        part::PartSpec,
        purchase::{Purchase, PurchaseLine, PurchaseState},
        step::{Step, Task},
    },
    plan::{
        outcome::{BuildBar, CutSource, From as CutFrom, Serve},
        sundry,
    },
    web::{
        cx::Cx,
        design::{Whole, day, ordered::rests_on},
        link::Link,
    },
};

/// A line of an order that has not come in.
pub(super) struct NotYet {
    pub(super) part: Link,
    pub(super) name: String,
    /// How many packs, in words.
    pub(super) packs: String,
    pub(super) order: Link,
    pub(super) supplier: String,
    /// When it is due, or since when it is overdue.
    pub(super) when: String,
    /// Whether it was sent, so that it may have come.
    pub(super) sent: bool,
}

/// The lines under way that are the set's own, and those that its plan rests on.
fn under_way(whole: &Whole) -> impl Iterator<Item = (&Purchase, &PurchaseLine)> {
    let own = whole.design().id;
    let sent_or_listed =
        |order: &&Purchase| matches!(order.state, PurchaseState::List | PurchaseState::Ordered);
    let orders = whole.orders.list.iter().filter(sent_or_listed);
    orders
        .flat_map(|order| order.lines.iter().map(move |line| (order, line)))
        .filter(move |(_, line)| line.is_for(own) || rests_on(whole, line.id) > 0)
}

/// What has not come in, order by order.
pub(super) fn list(cx: &Cx, whole: &Whole) -> Vec<NotYet> {
    under_way(whole)
        .filter(|(_, line)| line.open_packs() > 0)
        .map(|(order, line)| NotYet {
            part: Link::Part(line.part),
            name: line.part_name.clone(),
            packs: format!(
                "{} × {}",
                line.open_packs(),
                whole.pack_words(cx, Some(line.part), line.pack_amount)
            ),
            order: Link::Purchase(order.id),
            supplier: order.supplier_name.clone(),
            when: match (order.state, order.expected_on) {
                (PurchaseState::List, _) => "written down, not sent yet".to_owned(),
                (_, Some(due)) if due < cx.today => format!("overdue since {}", day(due)),
                (_, Some(due)) => format!("due on {}", day(due)),
                _ => "ordered, no day known".to_owned(),
            },
            sent: order.state == PurchaseState::Ordered,
        })
        .collect()
}

/// What is short and on no order, in words.
pub(super) fn short(cx: &Cx, whole: &Whole) -> Vec<String> {
    let needs = whole.plan().needs.iter().zip(whole.left(cx));
    needs
        .filter(|(need, left)| need.short > 0 && !left.covered && left.coming.is_empty())
        .map(|(need, _)| {
            let much = whole.amount(cx, need.part, need.short);
            format!("{}: {much} short, and on no order", need.name)
        })
        .collect()
}

/// The bars that cannot be put together by the plan that is held: what they are cut from was still to
/// buy.
pub(super) fn unheld(whole: &Whole) -> Vec<String> {
    let served = |label: &String| {
        let mut bars = whole.plan().bars.iter();
        bars.any(|bar| bar.label == *label && whole.serving.contains_key(&bar.bar))
    };
    let mut bars = whole.plan().bars_to_buy();
    bars.retain(|label| !served(label));
    bars
}

/// One line against a plan: how much the plan holds of what was to come of it, how much is still to
/// come, and how much came since.
#[derive(Debug, Clone, Copy)]
struct Awaited {
    rests: i64,
    open: i64,
    came: i64,
}

/// How many of a part the set still waits for: what its plan rests on, and what it was short of, as
/// far as lines under way bring it. What came filled first what the plan rests on.
fn missing(short: i64, lines: &[Awaited]) -> i64 {
    let resting: i64 = lines.iter().map(|line| line.rests.min(line.open)).sum();
    let over = |line: &Awaited| (line.came - (line.rests - line.open).max(0)).max(0);
    let came: i64 = lines.iter().map(over).sum();
    let open: i64 = lines.iter().map(|line| line.open).sum();
    resting + (short - came).max(0).min(open - resting)
}

/// Of each step's need what is lacking, where what is there serves the first steps.
fn lacking(needs: &[i64], missing: i64) -> Vec<i64> {
    let all: i64 = needs.iter().sum();
    let mut there = (all - missing).max(0);
    needs
        .iter()
        .map(|need| {
            let served = there.min(*need);
            there -= served;
            need - served
        })
        .collect()
}

/// Whether a length comes from a roll or bar that was still to buy when the plan was made.
fn to_buy(whole: &Whole, from: CutFrom) -> bool {
    let cut = whole.plan().cuts.get(from.cut);
    cut.is_some_and(|cut| matches!(cut.source, CutSource::Buy { .. }))
}

/// The counted parts that go into a new bar.
fn of_bar(whole: &Whole, build: &BuildBar) -> Vec<(PartId, i64)> {
    let bar = build.into();
    let parts = whole.input().parts.iter();
    let sundries = parts.filter_map(|part| match &part.spec {
        PartSpec::Sundry(sundry) => Some((part.id, sundry::of_bar(sundry, &bar))),
        _ => None,
    });
    let couplers = build.couplers.iter().map(|part| (*part, 1));
    build
        .lead
        .into_iter()
        .chain(couplers)
        .chain(sundries)
        .collect()
}

/// What wiring steps count once each, however many of them meet it.
#[derive(Default)]
struct Met {
    supplies: BTreeSet<usize>,
    blocks: BTreeSet<(PartId, Option<crate::model::id::FrameId>, u32)>,
}

/// The units, blocks, fuses and couplers that the driver of these bars is wired with.
fn of_driver(whole: &Whole, bars: &[BarId], met: &mut Met) -> Vec<(PartId, i64)> {
    let plan = whole.plan();
    let mut needs = Vec::new();
    let plans = || bars.iter().filter_map(|bar| whole.bar_plan(*bar));
    for bar in plans() {
        if let Serve::Reuse { couplers, .. } = &bar.serve {
            needs.extend(couplers.iter().map(|part| (*part, 1)));
        }
    }
    for joint in plan.blocks.iter().filter(|joint| bars.contains(&joint.bar)) {
        if met.blocks.insert((joint.part, joint.frame, joint.block)) {
            needs.push((joint.part, 1));
        }
    }
    let at = plans()
        .find_map(|bar| bar.output)
        .map(|output| output.driver);
    let Some(driver) = at.and_then(|at| plan.drivers.get(at)) else {
        return needs;
    };
    if driver.unit.is_none() {
        needs.push((driver.part, 1));
    }
    for at in driver.inlets.iter().filter_map(|inlet| inlet.supply) {
        if met.supplies.insert(at)
            && let Some(supply) = plan.supplies.get(at)
            && supply.unit.is_none()
        {
            needs.push((supply.part, 1));
        }
    }
    let inlets = driver.inlets.iter().filter_map(|inlet| inlet.fuse.as_ref());
    let outputs = driver
        .outputs
        .iter()
        .filter_map(|output| output.fuse.as_ref());
    for asked in inlets.chain(outputs) {
        let like = plan.fuses.iter().find(|fuse| fuse.fuse == *asked);
        needs.extend(like.and_then(|fuse| fuse.part).map(|part| (part, 1)));
    }
    needs
}

/// What each step that is not ticked waits for, in words.
pub(super) fn of_steps(cx: &Cx, whole: &Whole, steps: &[Step]) -> BTreeMap<StepId, Vec<String>> {
    let mut awaited: BTreeMap<PartId, Vec<Awaited>> = BTreeMap::new();
    for (_, line) in under_way(whole) {
        let since = whole.orders.since.get(&line.id).copied().unwrap_or(0);
        awaited.entry(line.part).or_default().push(Awaited {
            rests: rests_on(whole, line.id),
            open: line.pieces(line.open_packs()),
            came: line.pieces(since),
        });
    }
    // Of what is wholly in nothing is awaited.
    awaited.retain(|_, lines| lines.iter().any(|line| line.open > 0));
    let mut words: BTreeMap<StepId, Vec<String>> = BTreeMap::new();
    let mut needs: BTreeMap<PartId, Vec<(StepId, i64)>> = BTreeMap::new();
    let mut met = Met::default();
    for step in steps.iter().filter(|step| step.done.is_none()) {
        let counted = match &step.task {
            Task::Assemble { bar, .. } => {
                let Some(Serve::Build(build)) = whole.bar_plan(*bar).map(|plan| &plan.serve) else {
                    continue;
                };
                let tape = (build.tape, build.tape_from);
                let lengths = std::iter::once(tape).chain(build.profile);
                for (part, from) in lengths {
                    if to_buy(whole, from) {
                        let name = whole.part_name(part);
                        let line = if awaited.contains_key(&part) {
                            format!("{name} for it has not come yet.")
                        } else {
                            format!("{name} for it is not held: it was still to buy.")
                        };
                        words.entry(step.id).or_default().push(line);
                    }
                }
                of_bar(whole, build)
            }
            Task::Wire { bars, .. } => of_driver(whole, bars, &mut met),
            Task::Fetch { .. } | Task::Cut { .. } | Task::Address { .. } | Task::Tick => continue,
        };
        let mut summed: BTreeMap<PartId, i64> = BTreeMap::new();
        for (part, amount) in counted {
            *summed.entry(part).or_default() += amount;
        }
        for (part, amount) in summed {
            needs.entry(part).or_default().push((step.id, amount));
        }
    }
    for (part, lines) in &awaited {
        let Some(needs) = needs.get(part) else {
            continue;
        };
        let of_part_short = whole
            .plan()
            .needs
            .iter()
            .filter(|need| need.part == Some(*part));
        let missing = missing(of_part_short.map(|need| need.short).sum(), lines);
        let amounts: Vec<i64> = needs.iter().map(|(_, amount)| *amount).collect();
        for ((step, _), lack) in needs.iter().zip(lacking(&amounts, missing)) {
            if lack > 0 {
                let line = format!("{} has not come yet.", of_part(cx, whole, *part, lack));
                words.entry(*step).or_default().push(line);
            }
        }
    }
    words
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_there_serves_the_first_steps() {
        assert_eq!(lacking(&[2, 2, 2], 3), [0, 1, 2]);
        assert_eq!(lacking(&[2, 2], 0), [0, 0]);
        assert_eq!(lacking(&[2, 2], 9), [2, 2]);
    }

    #[test]
    fn a_set_waits_for_no_more_than_it_needs_nor_than_is_to_come() {
        let line = |rests, open, came| Awaited { rests, open, came };
        // Four of a pack of ten.
        assert_eq!(missing(0, &[line(4, 10, 0)]), 4);
        assert_eq!(missing(4, &[line(0, 10, 0)]), 4);
        assert_eq!(missing(4, &[line(0, 3, 0)]), 3);
        // What came since is not waited for any more.
        assert_eq!(missing(4, &[line(0, 3, 3)]), 1);
        assert_eq!(missing(2, &[line(4, 2, 2)]), 2);
        assert_eq!(missing(0, &[line(4, 0, 4)]), 0);
    }
}
