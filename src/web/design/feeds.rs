//! What comes from the supplies: for each inlet of a driver which supply feeds it, pole by pole, over
//! which cable, through which fuse, and with which of its conductors.

use super::Whole;
use crate::{
    model::{
        id::PartId,
        part::{Cable, PartSpec},
    },
    plan::outcome::{CheckState, DriverPlan, InletPlan},
    web::cx::Cx,
};

/// Conductors of a feed that a plan counts: one for each pole.
const POLES: u8 = 2;

/// The feeds of one driver.
pub struct DriverFeeds {
    /// What it is called, and where it stands.
    pub driver: String,
    /// One for each inlet in use.
    pub feeds: Vec<Feed>,
}

/// What feeds one inlet.
pub struct Feed {
    /// Such as `inlet 1`.
    pub inlet: String,
    /// The supply; `None` where none could be given.
    pub from: Option<String>,
    /// How much of which cable; `None` where none is planned.
    pub cable: Option<String>,
    /// Which of its conductors are used.
    pub conductors: String,
    /// The colours that they have, where these are noted.
    pub colours: String,
    /// The fuse, or that none is told.
    pub fuse: String,
    /// How the fuse was judged, where it does not simply pass.
    pub amiss: Option<CheckState>,
}

impl Feed {
    /// In one line.
    pub fn line(&self) -> String {
        let Self {
            inlet,
            conductors,
            fuse,
            ..
        } = self;
        let Some(from) = &self.from else {
            return format!("{inlet}: no supply could be given, leave it unconnected");
        };
        let over = match &self.cable {
            Some(cable) => format!("over {cable}, {conductors}"),
            None => conductors.clone(),
        };
        format!("{inlet}: from {from}, + to + and − to −, {over}; in the +: {fuse}")
    }
}

/// Which conductors of a cable with so many a feed uses; where the number is not known, those that it
/// needs.
fn conductor_words(conductors: Option<u8>) -> String {
    let used = "one conductor for + and one for −";
    let many = conductors.unwrap_or(POLES);
    let rest = match many.saturating_sub(POLES) {
        0 => return used.to_owned(),
        1 => "the third".to_owned(),
        left => format!("the other {left}"),
    };
    format!(
        "{used}: of its {many} the plan counts these two alone, volts and fuse go by them. Use the \
         same two at both ends, write their colours on the wiring sheet, and insulate {rest} at both \
         ends"
    )
}

fn cable_spec(whole: &Whole, part: PartId) -> Option<&Cable> {
    match whole.part(part).map(|part| &part.spec) {
        Some(PartSpec::Cable(cable)) => Some(cable),
        _ => None,
    }
}

fn feed(cx: &Cx, whole: &Whole, inlet: &InletPlan) -> Feed {
    let supply = |at: usize| {
        let name = whole.supply_name(at);
        match whole.plan().supplies.get(at) {
            Some(supply) => format!("{name} · {}", whole.part_name(supply.part)),
            None => name,
        }
    };
    let spec = inlet.feed.and_then(|(part, _)| cable_spec(whole, part));
    let colours: Vec<String> = spec
        .map_or(&[][..], |cable| &cable.colours)
        .iter()
        .map(ToString::to_string)
        .collect();
    Feed {
        inlet: format!("inlet {}", inlet.number),
        from: inlet.supply.map(supply),
        cable: inlet.feed.map(|(part, length)| {
            let (length, name) = (cx.length(length), whole.part_name(part));
            format!("{length} of {name}")
        }),
        conductors: match inlet.feed {
            Some(_) => conductor_words(spec.map(|cable| cable.conductors)),
            None => {
                "no cable is counted for it: by the settings the supply stands at its driver, or \
                     none in the catalogue has two conductors"
                    .to_owned()
            }
        },
        colours: colours.join(", "),
        fuse: match inlet.protection.trim_end_matches('.') {
            "" => "a fuse near the supply, at no more than the thinnest conductor: which, was not \
                   judged"
                .to_owned(),
            words => words.to_owned(),
        },
        amiss: inlet.protected.filter(|state| *state != CheckState::Passed),
    }
}

/// The feeds of a driver.
pub fn of_driver(cx: &Cx, whole: &Whole, driver: &DriverPlan) -> Vec<Feed> {
    let inlets = driver.inlets.iter();
    inlets.map(|inlet| feed(cx, whole, inlet)).collect()
}

/// The feeds of every driver.
pub fn feeds(cx: &Cx, whole: &Whole) -> Vec<DriverFeeds> {
    let drivers = whole.plan().drivers.iter().enumerate();
    drivers
        .map(|(at, driver)| {
            let name = whole.driver_name(at);
            DriverFeeds {
                driver: if driver.place.is_empty() {
                    name
                } else {
                    format!("{name} at {}", driver.place)
                },
                feeds: of_driver(cx, whole, driver),
            }
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn of_a_cable_with_more_conductors_the_rest_is_insulated() {
        for conductors in [None, Some(2)] {
            let words = conductor_words(conductors);
            assert_eq!(words, "one conductor for + and one for −");
        }
        for (conductors, rest) in [(3, "insulate the third at"), (5, "insulate the other 3 at")] {
            let words = conductor_words(Some(conductors));
            assert!(words.contains("the same two at both ends"), "{words}");
            assert!(words.contains(rest), "{words}");
        }
    }

    #[test]
    fn a_feed_is_told_pole_by_pole_and_one_without_a_supply_is_not_connected() {
        let mut feed = Feed {
            inlet: "inlet 2".to_owned(),
            from: Some("supply P-1".to_owned()),
            cable: Some("2 m of Cable".to_owned()),
            conductors: conductor_words(Some(2)),
            colours: String::new(),
            fuse: "fuse near the supply: 3 A blade fuse".to_owned(),
            amiss: None,
        };
        assert_eq!(
            feed.line(),
            "inlet 2: from supply P-1, + to + and − to −, over 2 m of Cable, one conductor for + and \
             one for −; in the +: fuse near the supply: 3 A blade fuse"
        );
        feed.from = None;
        assert!(feed.line().contains("leave it unconnected"));
    }
}
