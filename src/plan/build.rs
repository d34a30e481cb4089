//! New bars: which tape and profile, how many whole cut units, and from which piece.

use std::collections::{BTreeMap, BTreeSet};

use super::{
    bench::Bench,
    book::Book,
    check::{Checks, Finding},
    choice::{Group, choose, group_of},
    cutting::{Cutting, Given, Purpose, Wish, budget, cut_part},
    fit,
    outcome::From as TakenFrom,
};
use crate::{
    model::{
        design::Bar,
        id::{BarId, PartId},
        part::{PartSpec, Profile, Tape},
    },
    units::Length,
};

/// A bar to be built.
pub(super) struct Built {
    pub(super) tape: PartId,
    pub(super) units: i64,
    pub(super) lit: Length,
    pub(super) tape_given: Given,
    /// The profile part and where its bar comes from.
    pub(super) profile: Option<(PartId, TakenFrom)>,
    pub(super) why: String,
}

/// New bars, and why others can't be built.
#[derive(Default)]
pub(super) struct Builds {
    pub(super) built: BTreeMap<BarId, Built>,
    pub(super) short: BTreeMap<BarId, String>,
    /// What is wanted where nothing in the catalogue fits, with how many.
    pub(super) unheard: BTreeMap<String, i64>,
}

/// A bar with its parts and sizes.
struct Sized {
    bar: BarId,
    tape: PartId,
    units: i64,
    lit: Length,
    profile: Option<(PartId, Length)>,
    why: String,
}

/// Cuts the given bars, of the parts that the book's way names.
pub(super) fn build(
    book: &Book<'_>,
    bars: &[&Bar],
    extras: &BTreeMap<PartId, Vec<Wish>>,
    bench: &mut Bench,
    checks: &mut Checks,
) -> Builds {
    let mut builds = Builds::default();
    let sized = size_all(book, bars, &mut builds, checks);
    cut_all(book, sized, extras, bench, &mut builds);
    builds
}

/// What is cut for these bars and besides, part by part, if all of them can be made.
pub(super) fn wishes(
    book: &Book<'_>,
    bars: &[&Bar],
    extras: &BTreeMap<PartId, Vec<Wish>>,
) -> BTreeMap<PartId, Vec<Wish>> {
    let (mut builds, mut checks) = (Builds::default(), Checks::default());
    let sized = size_all(book, bars, &mut builds, &mut checks);
    wishes_of(book, &sized, extras)
}

fn size_all(
    book: &Book<'_>,
    bars: &[&Bar],
    builds: &mut Builds,
    checks: &mut Checks,
) -> Vec<Sized> {
    let mut groups: BTreeMap<Group, Vec<&Bar>> = BTreeMap::new();
    for bar in bars {
        groups.entry(group_of(bar)).or_default().push(bar);
    }
    let mut sized = Vec::new();
    for (_, group) in groups {
        size_group(book, &group, builds, &mut sized, checks);
    }
    // Frame by frame, so that like bars of one frame come from one batch.
    sized.sort_by_key(|sized| (book.bar(sized.bar).and_then(|bar| bar.frame), sized.bar));
    sized
}

fn size_group(
    book: &Book<'_>,
    group: &[&Bar],
    builds: &mut Builds,
    sized: &mut Vec<Sized>,
    checks: &mut Checks,
) {
    let Some(&first) = group.first() else { return };
    let chosen = choose(book, group);
    let Some((tape_id, tape, profile)) = chosen else {
        let wanted = wanted_words(first);
        *builds.unheard.entry(wanted.clone()).or_insert(0) +=
            i64::try_from(group.len()).unwrap_or(i64::MAX);
        for bar in group {
            builds.short.insert(
                bar.id,
                format!("The catalogue has no {wanted} that fits; add one, or change the bar."),
            );
        }
        return;
    };
    let tape_name = book.name(tape_id);
    for bar in group {
        let named = [super::check::named(bar)];
        checks.add(
            "colours",
            format_args!("{}:part-{tape_id}", bar.channels),
            &tape_name,
            fit::tape_colours(&tape_name, tape, &bar.channels),
            named.clone(),
        );
        if let Some(voltage) = bar.voltage_mv {
            let finding = fit::tape_voltage(&tape_name, tape, voltage);
            let key = format!("{}:part-{tape_id}", voltage.get());
            checks.add("voltage-wanted", key, &tape_name, finding, named.clone());
        }
        if let Some((profile_id, profile)) = profile {
            let profile_name = book.name(profile_id);
            let pair = format!("part-{tape_id}:part-{profile_id}");
            let about = format!("{tape_name} in {profile_name}");
            let unit = book.input.venue.length_unit;
            let width = fit::tape_in_profile(&tape_name, tape, &profile_name, profile, unit);
            checks.add("width", &pair, &about, width, named.clone());
            let heat = fit::profile_heat(&tape_name, tape, &profile_name, profile);
            checks.add("heat", &pair, &about, heat, named.clone());
            if bar.diffused != profile.diffuser.diffuses() {
                checks.bar("diffuser", bar, fit::diffuser(&profile_name, profile));
            }
        }
        match size(
            book,
            bar,
            tape,
            profile.map(|(_, profile)| profile),
            profile.map(|p| p.0),
        ) {
            Err(why) => {
                if let Some((profile_id, _)) = profile {
                    builds.unheard_profile(book, bar, profile_id);
                }
                builds.short.insert(bar.id, why);
            }
            Ok(size) => {
                if let Some(finding) = size.beyond {
                    checks.bar("length", bar, finding);
                }
                let finding = fit::longest_run(
                    &tape_name,
                    tape,
                    size.lit,
                    bar.fed,
                    book.input.venue.length_unit,
                );
                checks.add(
                    "run",
                    format_args!("part-{tape_id}:{}-{}", size.lit.get(), bar.fed.word()),
                    &tape_name,
                    finding,
                    named,
                );
                sized.push(Sized {
                    bar: bar.id,
                    tape: tape_id,
                    units: size.units,
                    lit: size.lit,
                    profile: profile
                        .zip(size.profile)
                        .map(|((id, _), length)| (id, length)),
                    why: size.why,
                });
            }
        }
    }
}

impl Builds {
    fn unheard_profile(&mut self, book: &Book<'_>, bar: &Bar, profile: PartId) {
        let what = format!("{} of {}", book.name(profile), book.show(bar.length_um));
        *self.unheard.entry(what).or_insert(0) += 1;
    }
}

fn wanted_words(bar: &Bar) -> String {
    let voltage = bar
        .voltage_mv
        .map(|voltage| format!(" {}", voltage.show()))
        .unwrap_or_default();
    let profile = if bar.diffused {
        " with a diffusing profile as wide as the tape"
    } else {
        ""
    };
    format!("{} tape{voltage}{profile}", bar.channels)
}

/// A bar in whole cut units.
pub(super) struct Size {
    units: i64,
    lit: Length,
    /// The length of its profile.
    profile: Option<Length>,
    why: String,
    /// The tolerance can't be kept.
    pub(super) beyond: Option<Finding>,
}

/// Rounds a wanted length to cut marks: down, so that the tape is never longer than the profile's
/// inside; one unit up only where down is beyond the tolerance and up is within it.
pub(super) fn size(
    book: &Book<'_>,
    bar: &Bar,
    tape: &Tape,
    profile: Option<&Profile>,
    profile_id: Option<PartId>,
) -> Result<Size, String> {
    let wanted = bar.length_um.get();
    let (least, most) = (wanted - bar.shorter_um.get(), wanted + bar.longer_um.get());
    let whole = match (profile, profile_id) {
        (Some(profile), Some(id)) if !profile.may_cut => {
            let Some(length) = whole_length(book, id, profile, wanted, least, most) else {
                return Err(format!(
                    "{} may not be cut, and none of its lengths is within the tolerance of {}.",
                    book.name(id),
                    book.show(bar.length_um)
                ));
            };
            Some(length)
        }
        _ => None,
    };
    let inside = whole.map_or(wanted, |length| length.min(wanted));
    let length_of = |units: u64| tape.pitch.length_of(units);
    let (down, _) = tape
        .pitch
        .whole_units(Length::new(inside).unwrap_or(Length::ZERO));
    let up = length_of(down + 1).get();
    let up_fits = up <= most && whole.is_none_or(|length| up <= length);
    let too_short = length_of(down).get() < least;
    let units = if (too_short || down == 0) && up_fits {
        down + 1
    } else {
        down
    };
    if units == 0 {
        return Err(format!(
            "{} is shorter than one cut unit of the tape, {}.",
            book.show(bar.length_um),
            book.show(length_of(1))
        ));
    }
    let lit = length_of(units);
    let off = wanted - lit.get();
    let why = match off {
        0 => format!("{units} cut units are exactly {}.", book.show(lit)),
        1.. => format!(
            "{units} whole cut units are {}, {} less than wanted: rounded down to a mark.",
            book.show(lit),
            book.show_um(off)
        ),
        _ => format!(
            "{units} whole cut units are {}, {} more than wanted: one unit less would be beyond \
             the tolerance.",
            book.show(lit),
            book.show_um(off)
        ),
    };
    let beyond = (lit.get() < least || lit.get() > most).then(|| {
        Finding::broken(
            format!(
                "{} is wanted, the cut marks allow {} or {}, and both are beyond the tolerance.",
                book.show(bar.length_um),
                book.show(length_of(down)),
                book.show(length_of(down + 1))
            ),
            "Allow more tolerance, or choose a length on a cut mark.",
        )
    });
    let profile = profile.map(|_| {
        let length = whole.unwrap_or(wanted.max(lit.get()));
        Length::new(length).unwrap_or(Length::ZERO)
    });
    Ok(Size {
        units: i64::try_from(units).unwrap_or(i64::MAX),
        lit,
        profile,
        why,
        beyond,
    })
}

/// The length of profile that may not be cut, nearest to what is wanted and within the tolerance.
fn whole_length(
    book: &Book<'_>,
    id: PartId,
    profile: &Profile,
    wanted: i64,
    least: i64,
    most: i64,
) -> Option<i64> {
    let in_stock = book.pieces(id).iter().filter_map(|spare| {
        let whole = (0, spare.piece.amount);
        (spare.free == [whole]).then_some(spare.piece.amount)
    });
    let sold = book.offers(id).iter().map(|offer| offer.pack_amount);
    let made = profile.bars_um.iter().map(|length| length.get());
    in_stock
        .chain(sold)
        .chain(made)
        .filter(|length| (least..=most).contains(length))
        .min_by_key(|length| ((length - wanted).abs(), *length))
}

/// Tape and profile of the bars beside the extra lines.
fn wishes_of(
    book: &Book<'_>,
    sized: &[Sized],
    extras: &BTreeMap<PartId, Vec<Wish>>,
) -> BTreeMap<PartId, Vec<Wish>> {
    let mut wishes = extras.clone();
    for bar in sized {
        let purpose = Purpose::Bar(bar.bar);
        let fed = book.bar(bar.bar).map(|bar| bar.fed);
        wishes.entry(bar.tape).or_default().push(Wish {
            purpose,
            amount: bar.units,
            fed,
        });
        if let Some((profile, length)) = bar.profile {
            wishes.entry(profile).or_default().push(Wish {
                purpose,
                amount: length.get(),
                fed: None,
            });
        }
    }
    wishes
}

/// Cuts tape and profile for all bars. A bar that lacks one takes nothing of the other.
fn cut_all(
    book: &Book<'_>,
    mut sized: Vec<Sized>,
    extras: &BTreeMap<PartId, Vec<Wish>>,
    bench: &mut Bench,
    builds: &mut Builds,
) {
    let mut known: BTreeMap<PartId, (Vec<Wish>, Cutting)> = BTreeMap::new();
    let wishes = loop {
        let wishes = wishes_of(book, &sized, extras);
        let mut short: BTreeSet<BarId> = BTreeSet::new();
        let is_tape = |part: &PartId| {
            let spec = book.part(*part).map(|part| &part.spec);
            matches!(spec, Some(PartSpec::Tape(_)))
        };
        let tapes = wishes.keys().filter(|part| is_tape(part)).count();
        for (&part, list) in &wishes {
            if known.get(&part).is_none_or(|(asked, _)| asked != list) {
                let Some(spec) = book.part(part) else {
                    continue;
                };
                known.insert(
                    part,
                    (
                        list.clone(),
                        cut_part(book, spec, list, budget(spec, tapes)),
                    ),
                );
            }
            let Some((_, cutting)) = known.get(&part) else {
                continue;
            };
            for (wish, given) in list.iter().zip(&cutting.given) {
                if let (Purpose::Bar(bar), None) = (wish.purpose, given)
                    && short.insert(bar)
                {
                    let why = format!(
                        "No free piece of {} is left that is long enough, and none that long is \
                         known to be sold.",
                        book.name(part)
                    );
                    builds.short.insert(bar, why);
                    bench.lack(part, wish.amount, "bars");
                }
            }
        }
        if short.is_empty() {
            break wishes;
        }
        sized.retain(|bar| !short.contains(&bar.bar));
    };

    let mut given: BTreeMap<(PartId, Purpose), Given> = BTreeMap::new();
    for (&part, list) in &wishes {
        let Some((_, cutting)) = known.remove(&part) else {
            continue;
        };
        let used_for = match list.first().map(|wish| wish.purpose) {
            Some(Purpose::Extra(_)) => "extra lines",
            _ => "bars",
        };
        for (wish, place) in list.iter().zip(bench.take(part, list, cutting, used_for)) {
            if let Some(place) = place {
                given.insert((part, wish.purpose), place);
            }
        }
    }
    for bar in sized {
        let purpose = Purpose::Bar(bar.bar);
        let Some(tape_given) = given.remove(&(bar.tape, purpose)) else {
            continue;
        };
        let profile = bar.profile.and_then(|(part, _)| {
            let place = given.get(&(part, purpose))?;
            Some((
                part,
                TakenFrom {
                    cut: place.cut,
                    segment: place.segment,
                },
            ))
        });
        let why = format!(
            "Cut from {}. {}",
            bench.source(book, tape_given.cut),
            bar.why
        );
        builds.built.insert(
            bar.bar,
            Built {
                tape: bar.tape,
                units: bar.units,
                lit: bar.lit,
                tape_given,
                profile,
                why,
            },
        );
    }
}
