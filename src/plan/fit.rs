//! What must agree along the chain supply → inlet → driver output → plug → cable → block → lead
//! → tape → profile. Each rule says which two parts, which attribute, which figures, and what
//! would fit. What is not known is not passed.

use super::check::Finding;
use crate::{
    model::{
        channel::{Channels, RoleOrder},
        connector::Connector,
        fixture::Fed,
        part::{Block, Cable, Driver, Isolation, Polarity, Profile, Supply, Tape},
    },
    units::{Current, Length, LengthUnit, PowerPerLength, Strand, Voltage},
};

/// The tape has the wanted colours, no more and no fewer.
pub fn tape_colours(name: &str, tape: &Tape, wanted: &Channels) -> Finding {
    match tape.colours() {
        Some(colours) if colours == *wanted => {
            Finding::passed(format!("{name} has the wanted colours, {wanted}."))
        }
        Some(colours) => Finding::broken(
            format!("{name} has the colours {colours}; wanted are {wanted}."),
            format!("Choose a tape with {wanted}."),
        ),
        None => Finding::unknown(
            format!("The colours of {name} are not noted; wanted are {wanted}."),
            "Enter the tape's colours.",
        ),
    }
}

/// The tape runs at the wanted voltage.
pub fn tape_voltage(name: &str, tape: &Tape, wanted: Voltage) -> Finding {
    if tape.voltage_mv == wanted {
        Finding::passed(format!("{name} runs at the wanted {}.", wanted.show()))
    } else {
        Finding::broken(
            format!(
                "{name} runs at {}; wanted is {}.",
                tape.voltage_mv.show(),
                wanted.show()
            ),
            format!("Choose a tape for {}.", wanted.show()),
        )
    }
}

/// The tape lies inside the profile.
pub fn tape_in_profile(
    tape_name: &str,
    tape: &Tape,
    profile_name: &str,
    profile: &Profile,
    unit: LengthUnit,
) -> Finding {
    let (tape, inside) = (tape.width_um, profile.inner_width_um);
    let figures = format!(
        "{tape_name} is {} wide, {profile_name} takes {} inside",
        tape.say(unit),
        inside.say(unit)
    );
    if tape <= inside {
        Finding::passed(format!("{figures}."))
    } else {
        Finding::broken(
            format!("{figures}: the tape does not go in."),
            format!("Choose a profile of at least {} inside.", tape.say(unit)),
        )
    }
}

/// The profile takes the tape's heat.
pub fn profile_heat(
    tape_name: &str,
    tape: &Tape,
    profile_name: &str,
    profile: &Profile,
) -> Finding {
    match (tape.power_per_m(), profile.heat_mw_per_m) {
        (Some(power), Some(heat)) => {
            let apart = PowerPerLength::new((heat.get() - power.get()).abs());
            let figures = format!(
                "{tape_name} gives off up to {}, {profile_name} can take {}: {} {}",
                power.show(),
                heat.show(),
                apart.unwrap_or(PowerPerLength::ZERO).show(),
                if power <= heat { "in hand" } else { "too much" }
            );
            if power <= heat {
                Finding::passed(format!("{figures}."))
            } else {
                Finding::broken(
                    format!("{figures}."),
                    "Choose a profile that takes more heat, or a tape of less power.",
                )
            }
        }
        (None, _) => Finding::unknown(
            format!("The power of {tape_name} at full is not known."),
            "Enter the watts per metre of each colour.",
        ),
        (_, None) => Finding::unknown(
            format!("What heat {profile_name} can take is not known."),
            "Enter the watts per metre that the profile can take.",
        ),
    }
}

/// A bar that was to be diffused lies in a profile that does not, or the other way round.
pub fn diffuser(profile_name: &str, profile: &Profile) -> Finding {
    Finding::broken(
        format!(
            "{profile_name} has the cover “{}”, which {}.",
            profile.diffuser,
            if profile.diffuser.diffuses() {
                "diffuses, and the bar is wanted bare"
            } else {
                "does not diffuse, and the bar is wanted diffused"
            }
        ),
        "Choose another profile, or change the bar.",
    )
}

/// The bar is no longer than the tape's longest run from its feeds.
pub fn longest_run(name: &str, tape: &Tape, lit: Length, fed: Fed, unit: LengthUnit) -> Finding {
    let Some(run) = tape.longest_run_um else {
        return Finding::unknown(
            format!("The longest run per feed of {name} is not known."),
            "Enter the longest run that the maker gives for one feed.",
        );
    };
    // From both ends each feed reaches half the bar.
    let reach = match fed {
        Fed::OneEnd => run.get(),
        Fed::BothEnds => run.get() * 2,
    };
    let apart = Length::new((reach - lit.get()).abs()).unwrap_or_default();
    let figures = format!(
        "{} of {name}, fed {fed}; its longest run per feed is {}: {} {}",
        lit.say(unit),
        run.say(unit),
        apart.say(unit),
        if lit.get() <= reach {
            "in hand"
        } else {
            "too long"
        }
    );
    if lit.get() <= reach {
        Finding::passed(format!("{figures}."))
    } else {
        Finding::broken(
            format!("{figures}."),
            match fed {
                Fed::OneEnd if lit.get() <= run.get() * 2 => "Feed the bar at both ends.",
                _ => "Make the bar of two shorter ones.",
            },
        )
    }
}

/// Something with a number of conductors carries the colours: n colours on a common need n + 1.
pub fn conductors(name: &str, has: Option<usize>, channels: &Channels) -> Finding {
    let need = channels.conductors();
    match has {
        Some(has) if has >= need => Finding::passed(format!(
            "{name} has {has} conductors; {channels} on a common needs {need}."
        )),
        Some(has) => Finding::broken(
            format!("{name} has {has} conductors; {channels} on a common needs {need}."),
            format!("Choose one with at least {need} conductors."),
        ),
        None => Finding::unknown(
            format!(
                "How many conductors {name} has is not known; {channels} on a common needs {need}."
            ),
            "Enter its pin order.",
        ),
    }
}

/// A connector's pins carry the common and every colour.
pub fn pins(name: &str, connector: &Connector, channels: &Channels) -> Finding {
    let counted = conductors(
        name,
        connector.pins.as_ref().map(RoleOrder::count),
        channels,
    );
    if !counted.passes() {
        return counted;
    }
    match connector.carries(channels) {
        Some(false) => Finding::broken(
            format!("The pins of {name} do not carry the common and every colour of {channels}."),
            "Choose one whose pins are named for these colours.",
        ),
        _ => counted,
    }
}

/// A cable carries the colours.
pub fn cable(name: &str, cable: &Cable, channels: &Channels) -> Finding {
    conductors(name, Some(cable.conductors.into()), channels)
}

/// A terminal block has a way for each conductor of a bar.
pub fn block(name: &str, block: &Block, channels: &Channels) -> Finding {
    let need = channels.conductors();
    let has = block.ways;
    if usize::from(has) >= need {
        Finding::passed(format!("{name} has {has} ways; {channels} needs {need}."))
    } else {
        Finding::broken(
            format!("{name} has {has} ways; {channels} on a common needs {need} side by side."),
            format!("Choose a block of at least {need} ways."),
        )
    }
}

/// A conductor fits into a block.
pub fn conductor_in_block(
    block_name: &str,
    block: &Block,
    cable_name: &str,
    cable: &Cable,
) -> Option<Finding> {
    let (Some(size), true) = (
        cable.conductor,
        block.thinnest.is_some() || block.thickest.is_some(),
    ) else {
        return None;
    };
    let thick_enough = block
        .thinnest
        .map_or(Some(true), |least| size.at_least(least));
    let thin_enough = block
        .thickest
        .map_or(Some(true), |most| most.at_least(size));
    let range = |size: Option<crate::units::ConductorSize>| {
        size.map_or_else(|| "any".to_owned(), |size| size.to_string())
    };
    let figures = format!(
        "{block_name} holds conductors from {} to {}; {cable_name} has {size}",
        range(block.thinnest),
        range(block.thickest)
    );
    Some(match (thick_enough, thin_enough) {
        (Some(true), Some(true)) => Finding::passed(format!("{figures}.")),
        (Some(false), _) | (_, Some(false)) => Finding::broken(
            format!("{figures}."),
            "Choose a block or a cable whose sizes agree.",
        ),
        _ => Finding::unknown(
            format!("{figures}: AWG and mm² are not compared."),
            "Enter both sizes in the same measure.",
        ),
    })
}

/// Solid conductors break where they flex.
pub fn flexes(name: &str, cable: &Cable) -> Finding {
    match cable.strand {
        Some(Strand::Stranded) => Finding::passed(format!("{name} is stranded.")),
        Some(Strand::Solid) => Finding::warned(
            format!("{name} has solid conductors, which break where they flex."),
            "Lay it fixed along its whole run, or choose a stranded cable.",
        ),
        None => Finding::warned(
            format!("Whether {name} is solid or stranded is not noted."),
            "Look at it: solid conductors break where they flex.",
        ),
    }
}

/// What is left up to a limit, or how far beyond it is, in words.
pub fn margin(limit_ma: i64, load_ma: i64) -> String {
    if load_ma <= limit_ma {
        format!("{} in hand", amps(limit_ma - load_ma))
    } else {
        format!("{} too much", amps(load_ma - limit_ma))
    }
}

/// A conductor, contact or way carries the common of the fullest bar.
pub fn rating(name: &str, rating: Option<Current>, load_ma: Option<i64>) -> Finding {
    carries("The common of the fullest bar", name, rating, load_ma)
}

/// How far a cable's conductors may be loaded in percent of one alone, where so many of them are:
/// four to six 80 %, seven to nine 70 %, more 50 % (NFPA 70 310.15(C)(1), from memory).
pub const fn bundle_percent(loaded: usize) -> i64 {
    match loaded {
        0..=3 => 100,
        4..=6 => 80,
        7..=9 => 70,
        _ => 50,
    }
}

/// A cable carries the fullest bar, its loaded conductors side by side. Whether the maker's rating
/// counts that in is not noted, so between the two it is a warning.
pub fn bundled(name: &str, cable: &Cable, loaded: usize, load_ma: Option<i64>) -> Finding {
    let finding = rating(name, cable.rating_ma, load_ma);
    let percent = bundle_percent(loaded);
    let (Some(rating), Some(load)) = (cable.rating_ma, load_ma) else {
        return finding;
    };
    if !finding.passes() || percent == 100 {
        return finding;
    }
    let most = rating.get() * percent / 100;
    let figures = format!(
        "The common of the fullest bar carries {}; {name} is rated for {}, and with {loaded} loaded \
         conductors side by side for {percent} % of it, {}: {}.",
        amps(load),
        rating.show(),
        amps(most),
        margin(most, load)
    );
    if load <= most {
        Finding::passed(figures)
    } else {
        Finding::warned(
            figures,
            "Look whether the maker’s rating counts that in, or take a thicker cable.",
        )
    }
}

/// A conductor, contact or way carries a current.
pub fn carries(what: &str, name: &str, rating: Option<Current>, load_ma: Option<i64>) -> Finding {
    match (rating, load_ma) {
        (Some(rating), Some(load)) => {
            let figures = format!(
                "{what} carries {}; {name} is rated for {}: {}",
                amps(load),
                rating.show(),
                margin(rating.get(), load)
            );
            if load <= rating.get() {
                Finding::passed(format!("{figures}."))
            } else {
                Finding::broken(
                    format!("{figures}."),
                    "Choose one with a higher rating, or make the bar shorter.",
                )
            }
        }
        (None, _) => Finding::unknown(
            format!("The current rating of {name} is not known."),
            "Enter the maker's rating.",
        ),
        (_, None) => Finding::unknown(
            format!("The current through {name} is not known."),
            "Enter the watts per metre of each colour of the tape.",
        ),
    }
}

/// A current in words.
pub fn amps(ma: i64) -> String {
    Current::new(ma.max(0)).map_or_else(|_| format!("{} A", ma / 1_000), Current::show)
}

/// A driver's output has a channel for each colour.
pub fn output_channels(name: &str, driver: &Driver, channels: &Channels) -> Finding {
    let (has, need) = (usize::from(driver.channels_per_output), channels.count());
    if has >= need {
        Finding::passed(format!(
            "An output of {name} has {has} channels and the common; {channels} needs {need} and \
             the common."
        ))
    } else {
        Finding::broken(
            format!(
                "An output of {name} has {has} channel{}; {channels} needs {need}.",
                if has == 1 { "" } else { "s" }
            ),
            format!("Choose a driver with at least {need} channels per output."),
        )
    }
}

/// A driver runs at the tape's voltage.
pub fn driver_voltage(name: &str, driver: &Driver, voltage: Voltage) -> Finding {
    let figures = format!(
        "{name} runs from {} to {}; the tape at {}",
        driver.voltage_min_mv.show(),
        driver.voltage_max_mv.show(),
        voltage.show()
    );
    if (driver.voltage_min_mv..=driver.voltage_max_mv).contains(&voltage) {
        Finding::passed(format!("{figures}."))
    } else {
        Finding::broken(
            format!("{figures}."),
            format!("Choose a driver for {}.", voltage.show()),
        )
    }
}

/// Tape and driver share the same side.
pub fn polarity(
    tape_name: &str,
    tape: Option<Polarity>,
    driver_name: &str,
    driver: Option<Polarity>,
) -> Finding {
    match (tape, driver) {
        (Some(tape), Some(driver)) if tape == driver => {
            Finding::passed(format!("{tape_name} and {driver_name} are both {tape}."))
        }
        (Some(tape), Some(driver)) => Finding::broken(
            format!("{tape_name} is {tape}, {driver_name} is {driver}."),
            format!("Choose a driver that is {tape}."),
        ),
        (None, _) => Finding::unknown(
            format!("Which side of {tape_name} is common is not known."),
            "Look at the tape: a pad marked + or with the voltage is common positive.",
        ),
        (_, None) => Finding::unknown(
            format!("Which side of {driver_name} is common is not known."),
            "Enter it from the driver's data sheet.",
        ),
    }
}

/// A supply gives the driver's group of bars its voltage.
pub fn supply_voltage(name: &str, supply: &Supply, voltage: Voltage) -> Finding {
    let figures = format!(
        "{name} gives {}; the tape runs at {}",
        supply.voltage_mv.show(),
        voltage.show()
    );
    if supply.voltage_mv == voltage {
        Finding::passed(format!("{figures}."))
    } else {
        Finding::broken(
            format!("{figures}."),
            format!("Choose a supply of {}.", voltage.show()),
        )
    }
}

/// Several supplies feed one driver only over isolated inlets.
pub fn isolation(name: &str, driver: &Driver, supplies: usize) -> Finding {
    let fed = format!("{name} is fed by {supplies} supplies");
    match driver.isolation {
        Isolation::Isolated => Finding::passed(format!("{fed}, over inlets that are isolated.")),
        Isolation::Bonded => Finding::broken(
            format!("{fed}, and its inlets are bonded: the supplies would be joined."),
            "Use one supply that is large enough, or a driver with isolated inlets.",
        ),
        Isolation::Unknown => Finding::broken(
            format!(
                "{fed}, and whether its inlets are isolated is not known: the supplies may be \
                 joined."
            ),
            "Measure between the inlets, use one larger supply, or a driver with isolated inlets.",
        ),
    }
}

/// A known limit against a load.
pub fn limit(what: &str, limit: Option<Current>, load_ma: Option<i64>, mend: &str) -> Finding {
    match (limit, load_ma) {
        (Some(limit), Some(load)) => {
            let figures = format!(
                "{what} carries {} of {}: {}",
                amps(load),
                limit.show(),
                margin(limit.get(), load)
            );
            if load <= limit.get() {
                Finding::passed(format!("{figures}."))
            } else {
                Finding::broken(format!("{figures}."), mend)
            }
        }
        (None, _) => Finding::unknown(
            format!("The limit of {what} is not known."),
            "Enter it from the data sheet.",
        ),
        (_, None) => Finding::unknown(
            format!("The current of {what} is not known."),
            "Enter the watts per metre of each colour of the tape.",
        ),
    }
}
