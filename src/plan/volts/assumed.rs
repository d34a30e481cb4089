//! What is taken where nobody has noted a figure, and between what it plausibly lies.
//!
//! Each default is stated with the answer that rests on it. A figure that the catalogue asks for
//! and does not have is *missing*: a check that rests on one is never passed. What no catalogue
//! tells (contacts, the driver's own resistance, the cable's warmth) is the same for every plan.

use super::figures::Assumed;
use crate::{
    model::{
        channel::Channel,
        part::{Cable, Lead, Tape},
    },
    plan::{book::Book, feed::Feeds},
    units::{ConductorSize, Current, Length, Strand},
};

/// Resistance of one plug contact or screw terminal, in Ω (common practice, no source).
pub const CONTACT_OHM: f64 = 0.010;
/// Resistance of a driver's channel that is on, in Ω (common practice, no source).
pub const ON_OHM: f64 = 0.030;
/// Temperature of cables and leads, in °C: a warm stage (common practice, no source).
pub const CELSIUS: f64 = 40.0;
/// A lead's bare tail, in m (common practice, no source).
const TAIL_M: f64 = 0.15;
/// Its conductor (common practice, no source).
const TAIL: ConductorSize = ConductorSize::Awg { awg: 22 };
/// A cable's conductor, and the thickest and the thinnest that one plausibly finds.
const CABLE: [ConductorSize; 3] = [
    ConductorSize::Awg { awg: 16 },
    ConductorSize::Awg { awg: 20 },
    ConductorSize::Awg { awg: 24 },
];
/// Copper at 20 °C in Ω·mm²/m (IEC 60028).
const COPPER: f64 = 0.017_241;
/// Copper of a tape, in mm: both sides of 70 µm, 70 µm, 35 µm (2 and 1 oz/ft²).
const FOIL_MM: [f64; 3] = [0.140, 0.070, 0.035];

/// Which end of the plausible range is computed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Guess {
    /// The most favourable.
    Best,
    /// What is stated.
    Usual,
    /// The least favourable.
    Worst,
}

impl Guess {
    const fn of<T: Copy>(self, range: [T; 3]) -> T {
        match self {
            Self::Best => range[0],
            Self::Usual => range[1],
            Self::Worst => range[2],
        }
    }
}

fn missing(what: String, value: String, why: &str) -> Assumed {
    Assumed {
        what,
        value,
        why: why.to_owned(),
        missing: true,
    }
}

fn stated(what: &str, value: String, why: &str) -> Assumed {
    Assumed {
        what: what.to_owned(),
        value,
        why: why.to_owned(),
        missing: false,
    }
}

/// A current in mA as a number to compute with, in A.
pub(super) fn amps(ma: i64) -> f64 {
    Current::new(ma).map_or(0.0, Current::amps)
}

/// What is the same for every output of a plan.
pub(super) fn always(book: &Book<'_>, feeds: &Feeds) -> Vec<Assumed> {
    let practice = "common practice, no source";
    let feed = match feeds.cable {
        Some(cable) => format!("{} of {}", book.show(feeds.length), book.name(cable)),
        None => "none".to_owned(),
    };
    vec![
        stated(
            "cable from a supply to a driver, one way",
            feed,
            "its length is a setting of the venue; the outputs of one inlet load it in step",
        ),
        stated(
            "one plug contact or screw terminal",
            format!("{CONTACT_OHM:.3} Ω"),
            practice,
        ),
        stated(
            "a driver's channel that is on",
            format!("{ON_OHM:.3} Ω"),
            practice,
        ),
        stated(
            "temperature of cables and leads",
            format!("{CELSIUS:.0} °C"),
            practice,
        ),
        stated(
            "a lead's tail where none is noted",
            format!("{:.0} mm of {TAIL}", TAIL_M * 1e3),
            practice,
        ),
        stated(
            "the supply",
            "holds its voltage at its terminals".to_owned(),
            "a supply is regulated there",
        ),
    ]
}

/// Resistance of a trace in Ω/m: as noted, else the tape's width shared evenly by its conductors.
pub(super) fn trace(
    tape: &Tape,
    known: Option<f64>,
    which: &str,
    guess: Guess,
    assumed: &mut Vec<Assumed>,
) -> f64 {
    if let Some(ohm) = known.filter(|ohm| *ohm > 0.0) {
        return ohm;
    }
    let conductors = u32::try_from(tape.channels.len() + 1).unwrap_or(u32::MAX);
    let width_mm = tape.width_um.metres() * 1e3 / f64::from(conductors);
    let ohm = |foil_mm: f64| COPPER / (width_mm * foil_mm);
    assumed.push(missing(
        format!("trace resistance of {which}"),
        format!("{:.3} Ω/m", ohm(FOIL_MM[1])),
        "copper 70 µm thick, the tape's width shared by its conductors (IEC 60028)",
    ));
    ohm(guess.of(FOIL_MM))
}

/// Forward voltage of one LED at the knee of its curve, in V (assumed diode).
pub const fn knee_v(channel: Channel) -> f64 {
    match channel {
        Channel::Red | Channel::Amber => 1.85,
        _ => 2.8,
    }
}

/// LEDs in series: as noted, else so many as the voltage usually has.
pub(super) fn in_series(tape: &Tape, guess: Guess, assumed: &mut Vec<Assumed>) -> u8 {
    if let Some(count) = tape.leds_in_series.filter(|count| *count > 0) {
        return count;
    }
    let volts = tape.voltage_mv.volts();
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "held to 1 to 64 first"
    )]
    let whole = |count: f64| count.clamp(1.0, 64.0) as u8;
    // Three at 12 V, six at 24 V; at most so many that a seventh of the voltage is left.
    let usual = whole((volts / 4.0).floor());
    let most = whole((volts * 0.85 / knee_v(Channel::White)).floor()).max(usual);
    assumed.push(missing(
        "LEDs in series".to_owned(),
        usual.to_string(),
        "three at 12 V, six at 24 V (common practice, no source)",
    ));
    guess.of([usual, usual, most])
}

/// Forward voltage of a colour's LEDs in series, in V.
pub(super) fn string_v(count: u8, channel: Channel) -> f64 {
    f64::from(count) * knee_v(channel)
}

/// Resistance of a conductor in Ω/m, warm; `None` where its size is not in the tables.
pub(super) fn conductor(size: ConductorSize, strand: Strand) -> Option<f64> {
    let found = size.resistance(strand, CELSIUS).ok()?;
    Some(found.ohms_per_m())
}

fn gauge(size: ConductorSize) -> f64 {
    conductor(size, Strand::Stranded).unwrap_or(0.0)
}

/// Resistance of one conductor of a cable in Ω/m: by its size, else that of a usual one.
pub(super) fn cable(
    name: &str,
    cable: Option<&Cable>,
    guess: Guess,
    assumed: &mut Vec<Assumed>,
) -> f64 {
    let strand = cable
        .and_then(|cable| cable.strand)
        .unwrap_or(Strand::Stranded);
    let size = cable.and_then(|cable| cable.conductor);
    if let Some(ohm) = size.and_then(|size| conductor(size, strand)) {
        return ohm;
    }
    assumed.push(missing(
        format!("conductor size of {name}"),
        CABLE[1].to_string(),
        "common practice, no source",
    ));
    gauge(guess.of(CABLE))
}

/// Resistance of one conductor of a lead's tail, in Ω.
pub(super) fn tail(lead: Option<&Lead>) -> f64 {
    let length = lead.and_then(|lead| lead.tail_um);
    let size = lead.and_then(|lead| lead.conductor);
    let ohm = size.and_then(|size| conductor(size, Strand::Stranded));
    length.map_or(TAIL_M, Length::metres) * ohm.unwrap_or_else(|| gauge(TAIL))
}
