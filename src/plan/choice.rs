//! Which tape, and in which profile, serves a group of like bars: what fits, in the order in which it
//! looks cheapest, and the ways to choose over the whole set.
//!
//! Like bars are made alike: bars that ask for the same would look different from each other
//! otherwise. What a choice really costs is known only from the whole plan (cuts, packs, deliveries,
//! leads, supplies); [`super::make`] plans the set once for each way and takes the cheapest.

use std::collections::{BTreeMap, BTreeSet};

use super::{book::Book, build::size};
use crate::{
    model::{
        channel::Channels,
        design::Bar,
        id::PartId,
        part::{PartSpec, Profile, Tape},
    },
    units::Voltage,
};

/// What bars that take the same tape have in common.
pub(super) type Group = (
    Channels,
    Option<Voltage>,
    bool,
    Option<PartId>,
    Option<PartId>,
);

/// The group of a bar.
pub(super) fn group_of(bar: &Bar) -> Group {
    (
        bar.channels.clone(),
        bar.voltage_mv,
        bar.diffused,
        bar.tape,
        bar.profile,
    )
}

/// A tape, and the profile with it.
pub(super) type Choice<'a> = (PartId, &'a Tape, Option<(PartId, &'a Profile)>);

/// The parts that a group is made of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct MadeOf {
    /// The tape.
    pub(super) tape: PartId,
    /// The profile; `None` for bare tape.
    pub(super) profile: Option<PartId>,
}

/// What makes one choice look better than another; less is better.
type Rank = (bool, usize, bool, bool, i128, MadeOf);

/// What each group is made of.
pub(super) type Way = BTreeMap<Group, MadeOf>;

/// Ways to choose over the whole set.
pub(super) struct Ways {
    /// Each with a choice for every group that something fits; the one that looks best first.
    pub(super) list: Vec<Way>,
    /// Whether these are all.
    pub(super) all: bool,
}

/// What fits a group of like bars, a profile with each tape: the choice that looks best first. That
/// is the one that keeps most bars within their tolerance, that can be had, of a voltage in use
/// already, whose tape costs least by the length beyond what is in stock.
fn candidates(book: &Book<'_>, group: &[&Bar], voltages: &BTreeSet<Voltage>) -> Vec<MadeOf> {
    let Some(first) = group.first() else {
        return Vec::new();
    };
    let tapes = book.of(|spec| match spec {
        PartSpec::Tape(tape) => Some(tape),
        _ => None,
    });
    let mut fitting: Vec<Rank> = Vec::new();
    for (id, tape) in tapes {
        let fits = match first.tape {
            Some(chosen) => chosen == id,
            None => {
                tape.colours().as_ref() == Some(&first.channels)
                    && first
                        .voltage_mv
                        .is_none_or(|voltage| voltage == tape.voltage_mv)
            }
        };
        if !fits {
            continue;
        }
        let wants_profile = first.diffused || first.profile.is_some();
        let profile = choose_profile(book, group, tape);
        if wants_profile && profile.is_none() {
            continue;
        }
        let too_wide = profile.is_some_and(|(_, profile)| tape.width_um > profile.inner_width_um);
        let beyond = group
            .iter()
            .filter(|bar| {
                let (profile_id, profile) = profile.unzip();
                size(book, bar, tape, profile, profile_id).is_ok_and(|size| size.beyond.is_some())
            })
            .count();
        let cost = cost_beyond_stock(book, id, Some(tape), group);
        let other_voltage = !voltages.is_empty() && !voltages.contains(&tape.voltage_mv);
        let made = MadeOf {
            tape: id,
            profile: profile.map(|(id, _)| id),
        };
        let dear = cost == i128::MAX;
        fitting.push((too_wide, beyond, dear, other_voltage, cost, made));
    }
    fitting.sort_unstable();
    fitting.into_iter().map(|(.., made)| made).collect()
}

/// What a group of like bars is made of: what the book's way names.
pub(super) fn choose<'a>(book: &Book<'a>, group: &[&Bar]) -> Option<Choice<'a>> {
    let made = book.way.get(&group_of(group.first()?))?;
    let PartSpec::Tape(tape) = &book.part(made.tape)?.spec else {
        return None;
    };
    let profile = match made.profile {
        None => None,
        Some(id) => match &book.part(id)?.spec {
            PartSpec::Profile(profile) => Some((id, profile)),
            _ => return None,
        },
    };
    Some((made.tape, tape, profile))
}

/// The ways to choose over the whole set, at most so many: where there are more, those that differ
/// from the one that looks best in the fewest groups. `served` says, by their place in the book, which
/// bars need not be built as it looks: the voltage of the fixture that serves each.
pub(super) fn ways(book: &Book<'_>, served: &[Option<Voltage>], most: usize) -> Ways {
    let mut groups: BTreeMap<Group, (Vec<&Bar>, Vec<&Bar>)> = BTreeMap::new();
    for (bar, served) in book.bars.iter().zip(served) {
        let (all, left) = groups.entry(group_of(bar)).or_default();
        all.push(bar);
        if served.is_none() {
            left.push(bar);
        }
    }
    let wished = book.bars.iter().filter_map(|bar| bar.voltage_mv);
    let mut voltages: BTreeSet<Voltage> = served.iter().flatten().copied().chain(wished).collect();
    let mut open: Vec<(Group, Vec<MadeOf>)> = Vec::new();
    for (group, (all, left)) in groups {
        let bars = if left.is_empty() { &all } else { &left };
        let fitting = candidates(book, bars, &voltages);
        let best = fitting.first().and_then(|made| book.part(made.tape));
        if let Some(PartSpec::Tape(tape)) = best.map(|part| &part.spec) {
            voltages.insert(tape.voltage_mv);
            open.push((group, fitting));
        }
    }
    let mut all = true;
    let mut places: Vec<Vec<usize>> = vec![Vec::new()];
    for (_, fitting) in &open {
        places = places
            .into_iter()
            .flat_map(|before| {
                (0..fitting.len()).map(move |at| {
                    let mut places = before.clone();
                    places.push(at);
                    places
                })
            })
            .collect();
        // Those kept so far are the ones nearest to what looks best.
        places.sort_by_key(|places| (places.iter().sum::<usize>(), places.clone()));
        if places.len() > most {
            places.truncate(most);
            all = false;
        }
    }
    let named = |places: Vec<usize>| -> Way {
        let named = open.iter().zip(places);
        named
            .map(|((group, fitting), at)| (group.clone(), fitting[at]))
            .collect()
    };
    Ways {
        list: places.into_iter().map(named).collect(),
        all,
    }
}

/// What a group's length costs beyond what lies in stock; the most where it can't be had.
fn cost_beyond_stock(book: &Book<'_>, part: PartId, tape: Option<&Tape>, group: &[&Bar]) -> i128 {
    let lengths = || group.iter().map(|bar| bar.length_um.get());
    let wanted: i64 = lengths().sum();
    let shortest = lengths().min().unwrap_or(0);
    let in_stock: i64 = book
        .pieces(part)
        .iter()
        .flat_map(|spare| spare.free.iter())
        .map(|(from, to)| match tape {
            Some(tape) => {
                let units = u64::try_from(to - from).unwrap_or(0);
                // A bar is rounded down to a mark: up to one unit less than wanted is enough.
                tape.pitch.length_of(units + 1).get()
            }
            None => to - from,
        })
        .filter(|&length| length >= shortest)
        .sum();
    let missing = (wanted - in_stock).max(0);
    if missing == 0 {
        0
    } else {
        book.price(part).saturating_mul(missing.into())
    }
}

fn choose_profile<'a>(
    book: &Book<'a>,
    group: &[&Bar],
    tape: &Tape,
) -> Option<(PartId, &'a Profile)> {
    let first = group.first()?;
    if first.profile.is_none() && !first.diffused {
        return None;
    }
    let profiles = book.of(|spec| match spec {
        PartSpec::Profile(profile) => Some(profile),
        _ => None,
    });
    profiles
        .into_iter()
        .filter(|(id, profile)| match first.profile {
            Some(chosen) => chosen == *id,
            None => profile.diffuser.diffuses() && profile.inner_width_um >= tape.width_um,
        })
        .min_by_key(|(id, profile)| {
            let cannot = group
                .iter()
                .filter(|bar| size(book, bar, tape, Some(profile), Some(*id)).is_err())
                .count();
            let too_hot = match (tape.power_per_m(), profile.heat_mw_per_m) {
                (Some(power), Some(heat)) => u8::from(power > heat) * 2,
                _ => 1,
            };
            let cost = cost_beyond_stock(book, *id, None, group);
            (cannot, too_hot, cost, profile.inner_width_um, *id)
        })
}
