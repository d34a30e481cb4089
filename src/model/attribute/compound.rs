//! Attributes of several figures: each with its text, and read back from it.

use super::typed::{Reading, items, length, show_length};
use crate::{
    model::{
        channel::{Channel, Channels, RoleOrderError},
        connector::{Connector, Gender},
        part::{Fuse, FuseFamily, Inlet, JointPitch, Per, TapeChannel, UseRate},
        text::Name,
    },
    units::{Current, Length, PowerPerLength},
};

/// The most outputs that a list of inlets is read for.
const MOST_OUTPUTS: u16 = 128;

/// Reads `family, gender` or `family, gender: roles by pin`. The family may hold anything, so the
/// gender is looked for from the end.
pub fn connector(text: &str) -> Result<Connector, String> {
    let unread = || {
        "Type the family, male or female, and the pins if known: \
         five-pin inline, female: common, red, green, blue, white."
            .to_owned()
    };
    let lower = text.to_ascii_lowercase();
    let found = [", male", ", female", " male", " female"]
        .into_iter()
        .filter_map(|mark| {
            let (at, _) = lower.rmatch_indices(mark).find(|(at, _)| {
                let after = lower[at + mark.len()..].trim_start();
                after.is_empty() || after.starts_with(':')
            })?;
            Some((mark, at))
        })
        // The last gender counts; of two readings of it, the one with the comma.
        .max_by_key(|(mark, at)| (at + mark.len(), mark.starts_with(',')));
    let (mark, at) = found.ok_or_else(unread)?;
    let family = Name::parse(text[..at].trim_end()).map_err(|_| unread())?;
    let gender = if mark.ends_with("female") {
        Gender::Female
    } else {
        Gender::Male
    };
    let pins = text[at + mark.len()..]
        .trim_start()
        .trim_start_matches(':')
        .trim();
    let pins = if pins.is_empty() {
        None
    } else {
        Some(
            pins.parse()
                .map_err(|why: RoleOrderError| why.to_string())?,
        )
    };
    Ok(Connector {
        family,
        gender,
        pins,
    })
}

/// The text of a connector that [`connector`] reads back, its pins included.
pub fn show_connector(connector: &Connector) -> String {
    match &connector.pins {
        None => connector.to_string(),
        Some(pins) => format!("{connector}: {pins}"),
    }
}

pub(super) fn channels(text: &str) -> Result<Vec<TapeChannel>, String> {
    let bare = |channel| TapeChannel {
        channel,
        kelvin: None,
        power_mw_per_m: None,
    };
    if let Ok(set) = text.parse::<Channels>() {
        return Ok(set.list().iter().copied().map(bare).collect());
    }
    let mut list = items(text)
        .map(|item| {
            let figures = item
                .find(|c: char| c.is_ascii_digit() || c == '-' || c == '−')
                .unwrap_or(item.len());
            let (colour, figures) = item.split_at(figures);
            let mut channel =
                bare(colour.parse::<Channel>().map_err(|why| {
                    format!("{why} An example: red 4.8 W/m, white 4000 K 9.6 W/m.")
                })?);
            let mut power = figures.trim();
            if let Some((kelvin, rest)) = power.split_once(['K', 'k'])
                && let Ok(kelvin) = kelvin.trim().parse::<u32>()
            {
                channel.kelvin = Some(
                    u16::try_from(kelvin)
                        .ok()
                        .filter(|kelvin| (1000..=20_000).contains(kelvin))
                        .ok_or("A colour temperature is 1000 K to 20000 K, such as 3000 K.")?,
                );
                power = rest.trim();
            }
            if !power.is_empty() {
                channel.power_mw_per_m =
                    Some(PowerPerLength::parse(power).map_err(|why| why.to_string())?);
            }
            Ok(channel)
        })
        .collect::<Result<Vec<_>, String>>()?;
    list.sort_by_key(|channel| channel.channel);
    Ok(list)
}

pub(super) fn show_channels(channels: &[TapeChannel]) -> String {
    let texts: Vec<_> = channels
        .iter()
        .map(|channel| {
            let kelvin = channel.kelvin.map(|kelvin| format!(" {kelvin} K"));
            let power = channel
                .power_mw_per_m
                .map(|power| format!(" {}", power.show()));
            format!(
                "{}{}{}",
                channel.channel,
                kelvin.unwrap_or_default(),
                power.unwrap_or_default()
            )
        })
        .collect();
    texts.join(", ")
}

/// Reads `every 10, first at 5`, or `every 10` where the roll starts at a joint.
pub(super) fn joints(text: &str) -> Result<JointPitch, String> {
    let numbers: Vec<_> = text
        .split(|c: char| !c.is_ascii_digit())
        .filter(|digits| !digits.is_empty())
        .map(str::parse::<u32>)
        .collect();
    let negative = text.contains(['-', '−']);
    match numbers[..] {
        [Ok(every_units)] if !negative => Ok(JointPitch {
            every_units,
            offset_units: 0,
        }),
        [Ok(every_units), Ok(offset_units)] if !negative => Ok(JointPitch {
            every_units,
            offset_units,
        }),
        _ => Err(
            "Type how many cut units lie between joints, and where the first is: \
             every 10, first at 5."
                .into(),
        ),
    }
}

/// Reads `1-2; 3-4`: inlets parted by semicolons, outputs as ranges and with commas.
pub(super) fn inlets(text: &str) -> Result<Vec<Inlet>, String> {
    let unread = || {
        format!(
            "Type the outputs that each inlet feeds, with a semicolon between inlets: \
             1-2; 3-4. Outputs are counted from 1 to {MOST_OUTPUTS}."
        )
    };
    let number = |text: &str| {
        text.trim()
            .parse::<u16>()
            .ok()
            .filter(|number| (1..=MOST_OUTPUTS).contains(number))
            .ok_or_else(unread)
    };
    text.split([';', '\n'])
        .map(|inlet| {
            let mut outputs = Vec::new();
            for item in inlet.split(',') {
                match item.split_once(['-', '–', '−']) {
                    Some((first, last)) => {
                        let (first, last) = (number(first)?, number(last)?);
                        if first > last {
                            return Err(unread());
                        }
                        outputs.extend(first..=last);
                    }
                    None => outputs.push(number(item)?),
                }
            }
            Ok(Inlet { outputs })
        })
        .collect()
}

pub(super) fn ranges(numbers: &[u16]) -> String {
    let mut texts = Vec::new();
    let mut rest = numbers;
    while let [first, ..] = rest {
        let run = rest
            .iter()
            .zip(*first..)
            .take_while(|(number, expected)| *number == expected)
            .count();
        texts.push(match run {
            1 => first.to_string(),
            _ => format!("{first}-{}", rest[run - 1]),
        });
        rest = &rest[run..];
    }
    texts.join(", ")
}

/// Reads `2.5 per bar`, or `30 mm per joint` for what is measured by length.
pub(super) fn rate(text: &str, reading: Reading) -> Result<UseRate, String> {
    let example = if reading.by_length {
        "30 mm per soldered joint"
    } else {
        "2.5 per bar"
    };
    let unread = || {
        format!(
            "Type how much is used for each bar, soldered joint or metre, or for each bar or metre in profile: {example}."
        )
    };
    let (amount, per) = text.rsplit_once(" per ").ok_or_else(unread)?;
    let per: Per = per.parse().map_err(|_| unread())?;
    let thousandths = if reading.by_length {
        length(amount, reading.unit)?.get()
    } else {
        thousandths(amount.trim()).ok_or_else(unread)?
    };
    let thousandths = u32::try_from(thousandths)
        .ok()
        .filter(|amount| *amount > 0)
        .ok_or_else(|| {
            format!("This is more or less than can be counted. An example: {example}.")
        })?;
    Ok(UseRate { per, thousandths })
}

/// Reads a number with up to three decimals, in thousandths.
fn thousandths(text: &str) -> Option<i64> {
    let (whole, decimals) = text.split_once(['.', ',']).unwrap_or((text, "0"));
    let digits = |text: &str| !text.is_empty() && text.bytes().all(|c| c.is_ascii_digit());
    if !digits(whole) || !digits(decimals) || whole.len() > 9 || decimals.len() > 3 {
        return None;
    }
    format!("{whole}{decimals:0<3}").parse().ok()
}

pub(super) fn show_rate(rate: UseRate, reading: Reading) -> String {
    let amount = if reading.by_length {
        Length::new(rate.thousandths.into())
            .map(|length| show_length(length, reading.unit))
            .unwrap_or_default()
    } else {
        let text = format!("{}.{:03}", rate.thousandths / 1000, rate.thousandths % 1000);
        text.trim_end_matches('0').trim_end_matches('.').to_owned()
    };
    format!("{amount} per {}", rate.per)
}

/// Reads `5 A blade`, or `3.15 A cartridge`, as well with the size and the word fuse: `cartridge fuse
/// 5 × 20 mm, 3.15 A`.
pub(super) fn fuse(text: &str) -> Result<Fuse, String> {
    let unread = || {
        "Type the rating and whether it is a blade or a cartridge of 5 × 20 mm: 5 A blade, or \
         3.15 A cartridge."
            .to_owned()
    };
    // The size of a cartridge says nothing more.
    let mut rest = text.replace(['×', '*', 'X'], "x");
    for size in ["5 x 20 mm", "5x20 mm", "5x20mm", "5 x 20", "5x20"] {
        rest = rest.replace(size, " ");
    }
    let mut family = None;
    let mut current = Vec::new();
    for word in rest.split_whitespace() {
        let word = word.trim_matches([',', ';', ':', '(', ')']);
        if word.is_empty() || word.eq_ignore_ascii_case("fuse") {
            continue;
        }
        match word.parse::<FuseFamily>() {
            Ok(_) if family.is_some() => return Err(unread()),
            Ok(named) => family = Some(named),
            Err(_) => current.push(word),
        }
    }
    let family = family.ok_or_else(unread)?;
    if current.is_empty() {
        return Err(unread());
    }
    let rating_ma = Current::parse(&current.join(" ")).map_err(|why| why.to_string())?;
    Ok(Fuse { family, rating_ma })
}

pub(super) fn show_fuse(fuse: Fuse) -> String {
    format!("{} {}", fuse.rating_ma.show(), fuse.family)
}
