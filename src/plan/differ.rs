//! What changed from one plan to another, in words, for somebody who has read the first.

use std::collections::BTreeMap;

use super::{
    input::{Freedom, Snapshot},
    other::Tally,
    outcome::{BarPlan, CheckState, CutSource, Plan, Serve},
};
use crate::model::id::{BarId, PartId, ThingId};

/// What changed, most important first: bars, drivers and supplies, fuses, shortfalls, limits, money.
/// `stock` is what the new plan was made from: it says who has now what the old one counted on.
pub fn differences(old: &Plan, new: &Plan, stock: &Snapshot) -> Vec<String> {
    let mut said = Vec::new();
    bars(old, new, stock, &mut said);
    units(old, new, stock, &mut said);
    fuses(old, new, &mut said);
    needs(old, new, &mut said);
    checks(old, new, &mut said);
    if old.cost.planned_minor != new.cost.planned_minor {
        let more = new.cost.planned_minor > old.cost.planned_minor;
        said.push(format!(
            "What is to be bought costs {} than before.",
            if more { "more" } else { "less" }
        ));
    }
    if said.is_empty() && old.holds != new.holds {
        let (before, after) = (Tally::of(old).soldered, Tally::of(new).soldered);
        said.push(if before == after {
            "The same things are used in another way: read the cuts and the needs again.".into()
        } else {
            format!(
                "The same things are cut in another way. Ends to be soldered: {before} before, {after} now."
            )
        });
    }
    said
}

/// Bars that changed alike, told together.
#[derive(Default)]
struct Alike {
    /// How they were served or fed, how they are now, and which they are.
    groups: Vec<(String, String, Vec<String>)>,
}

impl Alike {
    fn add(&mut self, then: String, now: String, label: &str) {
        let known = (self.groups.iter_mut()).find(|group| group.0 == then && group.1 == now);
        match known {
            Some((_, _, labels)) => labels.push(label.to_owned()),
            None => self.groups.push((then, now, vec![label.to_owned()])),
        }
    }

    fn say(self, said: &mut Vec<String>) {
        for (then, now, labels) in self.groups {
            said.push(match &labels[..] {
                [one] => format!("Bar {one} was {then}; it is now {now}."),
                many => format!("Bars {} were {then}; they are now {now}.", many.join(", ")),
            });
        }
    }
}

fn bars(old: &Plan, new: &Plan, stock: &Snapshot, said: &mut Vec<String>) {
    let before: BTreeMap<BarId, &BarPlan> = old.bars.iter().map(|bar| (bar.bar, bar)).collect();
    let after: BTreeMap<BarId, &BarPlan> = new.bars.iter().map(|bar| (bar.bar, bar)).collect();
    for bar in &old.bars {
        if !after.contains_key(&bar.bar) {
            said.push(format!("Bar {} is no longer in the set.", bar.label));
        }
    }
    let (mut served, mut feeding) = (Alike::default(), Alike::default());
    for bar in &new.bars {
        let label = &bar.label;
        let now = served_by(new, bar);
        match before.get(&bar.bar) {
            None => said.push(format!("Bar {label} is new: {now}. {}", bar.why)),
            Some(was) => {
                let then = served_by(old, was);
                if then != now {
                    if let Serve::Reuse { fixture, tag, .. } = &was.serve
                        && let Some(why) = gone_fixture(stock, *fixture)
                    {
                        said.push(format!("{tag} is no longer free: {why}."));
                    }
                    served.add(then, now, label);
                } else if fed(old, was) != fed(new, bar) {
                    feeding.add(
                        format!("fed by {}", fed(old, was)),
                        format!("fed by {}", fed(new, bar)),
                        label,
                    );
                }
            }
        }
    }
    served.say(said);
    feeding.say(said);
}

/// Why a fixture is not free, if it is not.
fn gone_fixture(stock: &Snapshot, fixture: ThingId) -> Option<&str> {
    let spare = stock
        .fixtures
        .iter()
        .find(|spare| spare.fixture.id == fixture)?;
    match &spare.freedom {
        Freedom::Free => None,
        Freedom::Not(why) => Some(why),
    }
}

fn served_by(plan: &Plan, bar: &BarPlan) -> String {
    match &bar.serve {
        Serve::Reuse { tag, .. } => format!("served by {tag}"),
        Serve::Short { .. } => "short".to_owned(),
        Serve::Build(build) => match plan.cuts.get(build.tape_from.cut).map(|cut| &cut.source) {
            Some(CutSource::Piece { tag, .. }) => format!("cut from {tag}"),
            _ => "cut from a roll to buy".to_owned(),
        },
    }
}

fn fed(plan: &Plan, bar: &BarPlan) -> String {
    let Some(output) = bar.output else {
        return "nothing".to_owned();
    };
    let driver = plan.drivers.get(output.driver);
    let tag = driver.and_then(|driver| driver.unit.as_ref());
    let slot = bar
        .slot
        .map(|slot| format!(" at {}/{}", slot.universe, slot.slot))
        .unwrap_or_default();
    match tag {
        Some((_, tag)) => format!("output {} of {tag}{slot}", output.output),
        None => format!("output {} of a driver to buy{slot}", output.output),
    }
}

fn units(old: &Plan, new: &Plan, stock: &Snapshot, said: &mut Vec<String>) {
    let tags = |plan: &Plan| -> BTreeMap<ThingId, String> {
        let drivers = plan.drivers.iter().filter_map(|it| it.unit.as_ref());
        let supplies = plan.supplies.iter().filter_map(|it| it.unit.as_ref());
        let units = drivers.chain(supplies);
        units
            .map(|(thing, tag)| (*thing, tag.to_string()))
            .collect()
    };
    let (before, after) = (tags(old), tags(new));
    for (thing, tag) in before
        .iter()
        .filter(|(thing, _)| !after.contains_key(thing))
    {
        let spare = stock.units.iter().find(|unit| unit.thing == *thing);
        match spare.map(|unit| &unit.freedom) {
            Some(Freedom::Not(why)) => said.push(format!("{tag} is no longer free: {why}.")),
            _ => said.push(format!("{tag} is no longer used.")),
        }
    }
    for (_, tag) in after
        .iter()
        .filter(|(thing, _)| !before.contains_key(thing))
    {
        said.push(format!("{tag} is now used."));
    }
    for (what, before, after) in [
        ("DMX cables", old.data.cables, new.data.cables),
        ("splitters", old.data.splitters, new.data.splitters),
        ("terminators", old.data.terminators, new.data.terminators),
    ] {
        if before != after {
            said.push(format!(
                "There were {before} {what}; there are now {after}."
            ));
        }
    }
}

fn fuses(old: &Plan, new: &Plan, said: &mut Vec<String>) {
    let before: BTreeMap<&str, Option<PartId>> = old
        .fuses
        .iter()
        .map(|it| (it.fuse.as_str(), it.part))
        .collect();
    for now in &new.fuses {
        let was = before.get(now.fuse.as_str()).copied().flatten();
        if now.part == was {
            continue;
        }
        let need = new.needs.iter().find(|need| need.part == now.part);
        said.push(match need.filter(|_| now.part.is_some()) {
            Some(need) => format!("As {} it now takes {}.", now.fuse, need.name),
            None => format!(
                "The catalogue has no {} any more, so none is counted.",
                now.fuse
            ),
        });
    }
}

fn needs(old: &Plan, new: &Plan, said: &mut Vec<String>) {
    let known = |need: &super::outcome::Need| (need.part, need.name.clone());
    let before: BTreeMap<_, _> = old.needs.iter().map(|need| (known(need), need)).collect();
    let (mut newly, mut more, mut no_longer, mut less) = (vec![], vec![], vec![], vec![]);
    let mut ordered = vec![];
    for need in &new.needs {
        let before = before.get(&known(need));
        let was = before.map_or(0, |need| need.short);
        if need.short == 0 && was > 0 && need.due > before.map_or(0, |need| need.due) {
            ordered.push(need.name.as_str());
        } else if need.short > 0 && was == 0 {
            newly.push(need.name.as_str());
        } else if need.short > was {
            more.push(need.name.as_str());
        } else if need.short == 0 && was > 0 {
            no_longer.push(need.name.as_str());
        } else if need.short < was {
            less.push(need.name.as_str());
        }
    }
    for (what, names) in [
        ("Now short", newly),
        ("More is short than before", more),
        ("On order, so no longer counted as short", ordered),
        ("No longer short", no_longer),
        ("Less is short than before", less),
    ] {
        if !names.is_empty() {
            said.push(format!("{what}: {}.", names.join("; ")));
        }
    }
    let due = |plan: &Plan| plan.needs.iter().map(|need| need.due.max(0)).sum::<i64>();
    if due(new) > due(old) {
        said.push("More of the plan rests on ordered goods than before.".to_owned());
    }
}

fn checks(old: &Plan, new: &Plan, said: &mut Vec<String>) {
    let open = |plan: &Plan| -> BTreeMap<String, String> {
        let open = plan
            .checks
            .iter()
            .filter(|check| check.state <= CheckState::Unknown);
        open.map(|check| {
            (
                check.key.clone(),
                format!("{}: {}", check.about, check.sentence),
            )
        })
        .collect()
    };
    let (before, after) = (open(old), open(new));
    for (_, words) in after.iter().filter(|(key, _)| !before.contains_key(*key)) {
        said.push(format!("Now not kept: {words}"));
    }
    for (_, words) in before.iter().filter(|(key, _)| !after.contains_key(*key)) {
        said.push(format!("No longer a matter: {words}"));
    }
}
