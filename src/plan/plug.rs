//! Leads on new bars, what the bars plug into, and couplers where the two do not go together.
//!
//! The driver's side of every bar ends in the other half of the design's lead. A bar whose own
//! lead is of another family or gender takes a coupler; where the catalogue has none, its driver's
//! side gets the other half of the bar's own lead instead. Both halves are wired by hand at the
//! driver or at a block, role by role, so a different pin order alone needs no coupler.

use std::collections::BTreeMap;

use super::{
    book::Book,
    check::{Checks, Finding, labels_of, named},
    fit,
    load::Load,
    need::Needs,
};
use crate::model::{
    channel::Channels,
    connector::Connector,
    id::{BarId, PartId},
    part::{Coupler, Lead, PartSpec},
    reservation::HoldUse,
};
use crate::units::Current;

/// What a bar's plug takes.
#[derive(Default)]
pub(super) struct Plug {
    pub(super) lead: Option<(PartId, i64)>,
    pub(super) couplers: Vec<PartId>,
    /// What it plugs into on the driver's side.
    pub(super) mate: Option<PartId>,
}

/// What the bars end in before a lead is chosen for some of them.
struct Known<'a> {
    /// What most of these bars have already.
    common: Option<&'a Connector>,
    /// Of all bars of the set.
    sides: &'a [Connector],
}

/// Chooses leads, mating halves and couplers; sets each load's connector.
pub(super) fn plugs(
    book: &Book<'_>,
    loads: &mut [Load<'_>],
    needs: &mut Needs,
    checks: &mut Checks,
) -> BTreeMap<BarId, Plug> {
    let mut plugs: BTreeMap<BarId, Plug> = BTreeMap::new();
    let mut sets: Vec<Channels> = loads.iter().map(|load| load.channels.clone()).collect();
    sets.sort();
    sets.dedup();
    // The bars' sides so far, a bar each: those that hang there already, then what is chosen.
    let mut sides: Vec<Connector> = loads
        .iter()
        .filter_map(|load| load.connector.clone())
        .collect();
    for channels in &sets {
        let mut group: Vec<&mut Load<'_>> = loads
            .iter_mut()
            .filter(|load| load.channels == channels)
            .collect();
        let common = most_common(&group);
        let lead = solder_leads(
            book,
            channels,
            &mut group,
            &Known {
                common: common.as_ref(),
                sides: &sides,
            },
            needs,
            checks,
            &mut plugs,
        );
        sides.extend(lead.map(|(_, lead)| lead.connector.clone()));
        // A lead with factory ends only is still chosen, for what the others plug into.
        let side = lead.map(|(_, lead)| lead.connector.clone()).or(common);
        if let Some(side) = side {
            mate(book, channels, &group, &side, needs, checks, &mut plugs);
        } else {
            for load in &group {
                connector_unknown(load, checks);
            }
        }
    }
    live_mates(book, loads, &plugs, checks);
    plugs
}

/// Two cables that plug into each other are both fed, from different outputs or supplies: plugged
/// together by mistake, they join those (common practice, no source).
fn live_mates(
    book: &Book<'_>,
    loads: &[Load<'_>],
    plugs: &BTreeMap<BarId, Plug>,
    checks: &mut Checks,
) {
    let mut ends: Vec<(&Connector, Vec<(BarId, String)>)> = Vec::new();
    for load in loads {
        let mate = plugs.get(&load.bar.id).and_then(|plug| plug.mate);
        let Some(PartSpec::Lead(lead)) = mate.and_then(|id| book.part(id)).map(|it| &it.spec)
        else {
            continue;
        };
        let end = &lead.connector;
        let alike = |(known, _): &&mut (&Connector, _)| {
            end.same_family(known) && end.gender == known.gender
        };
        match ends.iter_mut().find(alike) {
            Some((_, bars)) => bars.push(named(load.bar)),
            None => ends.push((end, vec![named(load.bar)])),
        }
    }
    let pair = ends.iter().enumerate().find_map(|(at, one)| {
        let mut after = ends.iter().skip(at + 1);
        Some((one, after.find(|(other, _)| one.0.mates(other))?))
    });
    let Some(((end, bars), (other, others))) = pair else {
        return;
    };
    let (bars, others) = (labels_of(bars), labels_of(others));
    let finding = Finding::warned(
        format!(
            "The cables of {bars} end in {end}, those of {others} in {other}: they fit into each \
             other, and both are fed."
        ),
        "Never plug a cable into a cable. One half for all cables is safer: choose the lead to solder \
         on where the set is edited, and have gender changers for bars with the other half.",
    );
    checks.add("mates", "cables", "Cables", finding, []);
}

/// The connector that most bars have already.
fn most_common(group: &[&mut Load<'_>]) -> Option<Connector> {
    let mut counts: BTreeMap<String, (usize, &Connector)> = BTreeMap::new();
    for connector in group.iter().filter_map(|load| load.connector.as_ref()) {
        let key = connector.to_string().to_lowercase();
        counts.entry(key).or_insert((0, connector)).0 += 1;
    }
    counts
        .into_iter()
        .max_by(|(a_key, (a, _)), (b_key, (b, _))| a.cmp(b).then(b_key.cmp(a_key)))
        .map(|(_, (_, connector))| connector.clone())
}

fn heaviest(group: &[&mut Load<'_>]) -> Option<i64> {
    group
        .iter()
        .try_fold(0, |most: i64, load| Some(most.max(load.total_ma()?)))
}

/// How well a rating covers a load: 0 for surely, 1 for not known, 2 for not.
pub(super) fn rating_rank(rating: Option<Current>, load_ma: Option<i64>) -> u8 {
    match (rating, load_ma) {
        (Some(rating), Some(load)) if load > rating.get() => 2,
        (Some(_), Some(_)) => 0,
        _ => 1,
    }
}

/// What more of a part costs, beyond what is there and not asked for yet.
pub(super) fn cost_of(book: &Book<'_>, needs: &Needs, part: PartId, wanted: i64) -> i128 {
    let missing = (wanted - (book.there(part) - needs.asked(part)).max(0)).max(0);
    if missing == 0 {
        0
    } else {
        book.price(part).saturating_mul(missing.into())
    }
}

fn leads<'a>(book: &Book<'a>) -> Vec<(PartId, &'a Lead)> {
    book.of(|spec| match spec {
        PartSpec::Lead(lead) => Some(lead),
        _ => None,
    })
}

/// The best of some leads: pins known, rating enough, then least cost beyond stock.
fn best_mate<'a>(
    book: &Book<'_>,
    needs: &Needs,
    list: impl IntoIterator<Item = (PartId, &'a Lead)>,
    channels: &Channels,
    load_ma: Option<i64>,
    wanted: i64,
) -> Option<(PartId, &'a Lead)> {
    list.into_iter()
        .filter(|(_, lead)| lead.connector.carries(channels) != Some(false))
        .min_by_key(|(id, lead)| {
            (
                lead.connector.pins.is_none(),
                rating_rank(lead.rating_ma, load_ma),
                cost_of(book, needs, *id, wanted),
                *id,
            )
        })
}

/// What a lead and what plugs into it cost beyond stock, each as often as wanted. The cable takes the
/// other half, so of a pair this is the same whichever half the bars get.
fn pair_cost(
    book: &Book<'_>,
    needs: &Needs,
    all: &[(PartId, &Lead)],
    (id, lead): (PartId, &Lead),
    channels: &Channels,
    wanted: i64,
) -> i128 {
    let mates = all.iter().filter(|(_, mate)| {
        mate.connector.mates(&lead.connector) && mate.connector.carries(channels) != Some(false)
    });
    let mate = mates
        .map(|(mate, _)| cost_of(book, needs, *mate, wanted))
        .min();
    cost_of(book, needs, id, wanted).saturating_add(mate.unwrap_or(i128::MAX))
}

/// The lead to solder on: pins known, rating enough, like what most bars have, then least cost beyond
/// stock. Of those that cost the same, one whose cables don't fit into cables of the other bars.
fn best_lead<'a>(
    book: &Book<'_>,
    needs: &Needs,
    all: &[(PartId, &'a Lead)],
    channels: &Channels,
    load_ma: Option<i64>,
    wanted: i64,
    known: &Known<'_>,
) -> Option<(PartId, &'a Lead)> {
    all.iter()
        .copied()
        .filter(|(_, lead)| lead.connector.carries(channels) != Some(false))
        .min_by_key(|(id, lead)| {
            let other = known.common.is_some_and(|common| {
                !(lead.connector.same_family(common) && lead.connector.gender == common.gender)
            });
            (
                lead.connector.pins.is_none(),
                rating_rank(lead.rating_ma, load_ma),
                other,
                pair_cost(book, needs, all, (*id, *lead), channels, wanted),
                known
                    .sides
                    .iter()
                    .filter(|side| side.mates(&lead.connector))
                    .count(),
                cost_of(book, needs, *id, wanted),
                *id,
            )
        })
}

fn solder_leads<'a>(
    book: &Book<'a>,
    channels: &Channels,
    group: &mut [&mut Load<'_>],
    known: &Known<'_>,
    needs: &mut Needs,
    checks: &mut Checks,
    plugs: &mut BTreeMap<BarId, Plug>,
) -> Option<(PartId, &'a Lead)> {
    let wanted: i64 = group.iter().filter_map(|load| load.to_solder).sum();
    let load_ma = heaviest(group);
    let all = leads(book);
    let chosen = book
        .input
        .design
        .choices
        .lead
        .and_then(|id| all.iter().copied().find(|(lead, _)| *lead == id));
    let lead = match chosen {
        Some(lead) => Some(lead),
        None if wanted > 0 => best_lead(book, needs, &all, channels, load_ma, wanted, known),
        None => None,
    };
    if wanted == 0 {
        return lead;
    }
    let Some((id, spec)) = lead else {
        let what = format!(
            "lead with {} conductors for {channels}",
            channels.conductors()
        );
        checks.add(
            "lead",
            channels,
            channels.to_string(),
            Finding::broken(
                format!(
                    "No lead in the catalogue carries {channels}, which needs {} conductors.",
                    channels.conductors()
                ),
                "Add such a lead to the catalogue.",
            ),
            group.iter().map(|load| named(load.bar)),
        );
        needs.unheard(what, wanted, "leads on new bars");
        return None;
    };
    needs.count(id, wanted, HoldUse::Consumed, "leads on new bars");
    for load in group
        .iter_mut()
        .filter(|load| load.to_solder.is_some_and(|ends| ends > 0))
    {
        plugs.entry(load.bar.id).or_default().lead = load.to_solder.map(|ends| (id, ends));
        if load.connector.is_none() {
            load.connector = Some(spec.connector.clone());
        }
    }
    let who = || {
        group
            .iter()
            .filter(|load| load.to_solder.is_some_and(|ends| ends > 0))
            .map(|load| named(load.bar))
    };
    lead_checks(book, id, spec, channels, load_ma, checks, who);
    Some((id, spec))
}

fn lead_checks<I: Iterator<Item = (BarId, String)>>(
    book: &Book<'_>,
    id: PartId,
    lead: &Lead,
    channels: &Channels,
    load_ma: Option<i64>,
    checks: &mut Checks,
    who: impl Fn() -> I,
) {
    let name = book.name(id);
    let pins = fit::pins(&name, &lead.connector, channels);
    checks.add(
        "conductors",
        format_args!("{channels}:part-{id}"),
        &name,
        pins,
        who(),
    );
    let rating = fit::rating(&name, lead.rating_ma, load_ma);
    checks.add("rating", format_args!("part-{id}"), &name, rating, who());
}

fn connector_unknown(load: &Load<'_>, checks: &mut Checks) {
    let finding = Finding::unknown(
        format!(
            "What the lead of {} ends in is not noted.",
            load.tag.as_deref().unwrap_or("the bar")
        ),
        "Look at it and enter its connector.",
    );
    checks.bar("connector", load.bar, finding);
}

/// A half on the driver's side, how many of it, and for which bars.
type Half = (Connector, i64, Vec<(BarId, String)>);

/// Gives each bar what it plugs into.
fn mate(
    book: &Book<'_>,
    channels: &Channels,
    group: &[&mut Load<'_>],
    side: &Connector,
    needs: &mut Needs,
    checks: &mut Checks,
    plugs: &mut BTreeMap<BarId, Plug>,
) {
    let couplers = book.of(|spec| match spec {
        PartSpec::Coupler(coupler) => Some(coupler),
        _ => None,
    });
    let load_ma = heaviest(group);
    // What hangs on the driver's side, with how many.
    let mut halves: BTreeMap<String, Half> = BTreeMap::new();
    for load in group {
        let Some(own) = &load.connector else {
            connector_unknown(load, checks);
            continue;
        };
        let tag = load
            .tag
            .clone()
            .unwrap_or_else(|| load.bar.label.to_string());
        if own.carries(channels) == Some(false) {
            checks.bar(
                "pins",
                load.bar,
                fit::pins(&format!("the lead of {tag}"), own, channels),
            );
        }
        let mut half = side.clone();
        if !(own.same_family(side) && own.gender == side.gender) {
            let coupler = best_coupler(book, needs, &couplers, own, side, channels, load.ends());
            if let Some((id, spec)) = coupler {
                let ends = load.ends();
                needs.count(id, ends, HoldUse::Returns, "couplers");
                let list = &mut plugs.entry(load.bar.id).or_default().couplers;
                list.extend((0..ends).map(|_| id));
                let name = book.name(id);
                let rating = fit::rating(&name, spec.rating_ma, load.total_ma());
                checks.add(
                    "rating",
                    format_args!("part-{id}"),
                    &name,
                    rating,
                    [named(load.bar)],
                );
            } else if leads(book)
                .iter()
                .any(|(_, lead)| lead.connector.mates(own))
            {
                half = own.clone();
            } else {
                checks.bar(
                    "connector",
                    load.bar,
                    Finding::broken(
                        format!(
                            "{tag} ends in {own}; the others end in {side}, and no coupler or lead \
                             in the catalogue joins them."
                        ),
                        format!(
                            "Add a coupler from {own} to {side}, or a lead that plugs into {own}."
                        ),
                    ),
                );
                continue;
            }
        }
        let entry = halves
            .entry(half.to_string().to_lowercase())
            .or_insert_with(|| (half, 0, Vec::new()));
        entry.1 += load.ends();
        entry.2.push(named(load.bar));
    }
    for (half, wanted, who) in halves.into_values() {
        let mates = leads(book)
            .into_iter()
            .filter(|(_, lead)| lead.connector.mates(&half));
        match best_mate(book, needs, mates, channels, load_ma, wanted) {
            Some((id, lead)) => {
                needs.count(id, wanted, HoldUse::Returns, "what the bars plug into");
                for (bar, _) in &who {
                    plugs.entry(*bar).or_default().mate = Some(id);
                }
                lead_checks(book, id, lead, channels, load_ma, checks, || {
                    who.iter().cloned()
                });
            }
            None => checks.add(
                "mate",
                format_args!("{channels}:{}", half.to_string().to_lowercase()),
                half.to_string(),
                Finding::warned(
                    format!(
                        "No lead in the catalogue plugs into {half} and carries {channels}, so the \
                         driver's side of these bars is not counted."
                    ),
                    "Add the other half of the connector to the catalogue.",
                ),
                who,
            ),
        }
    }
}

/// A coupler between a bar's own half and the half on the driver's side.
fn best_coupler<'a>(
    book: &Book<'_>,
    needs: &Needs,
    couplers: &[(PartId, &'a Coupler)],
    own: &Connector,
    side: &Connector,
    channels: &Channels,
    ends: i64,
) -> Option<(PartId, &'a Coupler)> {
    let carries = |connector: &Connector| connector.carries(channels) != Some(false);
    // One side plugs into the bar; the other is the same half as the design's lead, which is what
    // the driver's side is made for.
    let joins = |to_bar: &Connector, to_driver: &Connector| {
        to_bar.mates(own)
            && to_driver.same_family(side)
            && to_driver.gender == side.gender
            && carries(to_bar)
            && carries(to_driver)
    };
    couplers
        .iter()
        .copied()
        .filter(|(_, coupler)| joins(&coupler.a, &coupler.b) || joins(&coupler.b, &coupler.a))
        .min_by_key(|(id, _)| (cost_of(book, needs, *id, ends), *id))
}
