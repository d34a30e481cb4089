//! Which tape, and in which profile, serves a group of like bars: those that fit, in the order in
//! which they look cheapest, and the ways to choose over the whole set.
//!
//! Like bars get like tape: bars that ask for the same would look different from each other
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

/// What makes one tape look better than another; less is better.
type Rank = (bool, usize, bool, bool, i128, PartId);

/// Which tape each group gets, where that is not left to how it looks.
pub(super) type Way = BTreeMap<Group, PartId>;

/// Ways to choose over the whole set.
pub(super) struct Ways {
    /// Each with a tape for every group that has a choice; the one that looks best first.
    pub(super) list: Vec<Way>,
    /// Whether these are all.
    pub(super) all: bool,
}

impl Ways {
    /// The named ways that are another than the first, by the tapes that the first uses. What it
    /// says of a group of which nothing is built is taken to be what looks best.
    pub(super) fn others(&self, used: &Way) -> Vec<Way> {
        let looks_best = self.list.first();
        let same = |group: &Group, tape: &PartId| {
            let first = used.get(group);
            first.or_else(|| looks_best?.get(group)) == Some(tape)
        };
        let named = self.list.iter();
        named
            .filter(|way| !way.iter().all(|(group, tape)| same(group, tape)))
            .cloned()
            .collect()
    }
}

/// The tapes that fit a group of like bars: the one that looks best first. That is the one that
/// keeps most bars within their tolerance, that can be had, of a voltage in use already, that costs
/// least by the length beyond what is in stock.
fn candidates<'a>(
    book: &Book<'a>,
    group: &[&Bar],
    voltages: &BTreeSet<Voltage>,
) -> Vec<Choice<'a>> {
    let Some(first) = group.first() else {
        return Vec::new();
    };
    let wanted: i64 = group.iter().map(|bar| bar.length_um.get()).sum();
    let shortest = group
        .iter()
        .map(|bar| bar.length_um.get())
        .min()
        .unwrap_or(0);
    let tapes = book.of(|spec| match spec {
        PartSpec::Tape(tape) => Some(tape),
        _ => None,
    });
    let mut fitting: Vec<(Rank, Choice<'a>)> = Vec::new();
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
        let cost = cost_beyond_stock(book, id, Some(tape), wanted, shortest);
        let other_voltage = !voltages.is_empty() && !voltages.contains(&tape.voltage_mv);
        let rank = (too_wide, beyond, cost == i128::MAX, other_voltage, cost, id);
        fitting.push((rank, (id, tape, profile)));
    }
    fitting.sort_by_key(|(rank, _)| *rank);
    fitting.into_iter().map(|(_, choice)| choice).collect()
}

/// The tape for a group of like bars, and its profile: the one that the plan's way names, else the
/// one that looks best.
pub(super) fn choose<'a>(
    book: &Book<'a>,
    group: &[&Bar],
    voltages: &BTreeSet<Voltage>,
) -> Option<Choice<'a>> {
    let all = candidates(book, group, voltages);
    let named = group.first().and_then(|bar| book.way.get(&group_of(bar)));
    let at = named.and_then(|named| all.iter().position(|(id, ..)| id == named));
    all.into_iter().nth(at.unwrap_or(0))
}

/// The ways to choose tapes over the whole set, at most so many: where there are more, those that
/// differ from the one that looks best in the fewest groups.
pub(super) fn ways(book: &Book<'_>, most: usize) -> Ways {
    let mut groups: BTreeMap<Group, Vec<&Bar>> = BTreeMap::new();
    for bar in &book.bars {
        groups.entry(group_of(bar)).or_default().push(bar);
    }
    let wished = book.bars.iter().filter_map(|bar| bar.voltage_mv).collect();
    let open: Vec<(Group, Vec<PartId>)> = groups
        .into_iter()
        .map(|(group, bars)| {
            let tapes = candidates(book, &bars, &wished);
            (group, tapes.iter().map(|(id, ..)| *id).collect())
        })
        .filter(|(_, tapes): &(_, Vec<PartId>)| tapes.len() > 1)
        .collect();
    let mut all = true;
    let mut places: Vec<Vec<usize>> = vec![Vec::new()];
    for (_, tapes) in &open {
        places = places
            .into_iter()
            .flat_map(|before| {
                (0..tapes.len()).map(move |at| {
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
            .map(|((group, tapes), at)| (group.clone(), tapes[at]))
            .collect()
    };
    Ways {
        list: places.into_iter().map(named).collect(),
        all,
    }
}

/// What a length costs beyond what lies in stock; the most where it can't be had.
fn cost_beyond_stock(
    book: &Book<'_>,
    part: PartId,
    tape: Option<&Tape>,
    wanted_um: i64,
    shortest_um: i64,
) -> i128 {
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
        .filter(|&length| length >= shortest_um)
        .sum();
    let missing = (wanted_um - in_stock).max(0);
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
    let wanted: i64 = group.iter().map(|bar| bar.length_um.get()).sum();
    let shortest = group
        .iter()
        .map(|bar| bar.length_um.get())
        .min()
        .unwrap_or(0);
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
            let cost = cost_beyond_stock(book, *id, None, wanted, shortest);
            (cannot, too_hot, cost, profile.inner_width_um, *id)
        })
}
