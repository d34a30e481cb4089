//! Attributes of what carries the current: leads, couplers, blocks, cable.

use super::{Attribute, Typed, ask};
use crate::units::Strand;

const PINS: &str = "Such as five-pin inline, female: common, red, green, blue, white";
const FAMILY: &str = "The family is your own word for a shape that plugs together; the half with \
                      pins is male. Pins are named by what they carry, in order.";
const RATING: &str = "The most current that one conductor or contact may carry for good.";

pub(super) const LEAD: &[Attribute] = &[
    ask("connector", "Connector", Typed::Connector)
        .needed()
        .hint(PINS)
        .means(FAMILY),
    ask("tail_um", "Tail length", Typed::Length)
        .hint("Such as 150 mm")
        .means("Length of the bare wires behind the connector."),
    ask("conductor", "Conductor size", Typed::Conductor)
        .hint("Such as 20 AWG or 0.5 mm²")
        .means("Thickness of one wire, by American gauge (a smaller number is thicker) or in mm².")
        .needed_for("the voltage lost on the way, and fuses"),
    ask("rating_ma", "Rating", Typed::Current)
        .hint("Such as 3 A")
        .means(RATING)
        .needed_for("the check of its current"),
];

pub(super) const COUPLER: &[Attribute] = &[
    ask("a", "One side", Typed::Connector)
        .needed()
        .hint("Such as five-pin inline, female: common, red, green, blue, white")
        .means(FAMILY),
    ask("b", "Other side", Typed::Connector)
        .needed()
        .hint("Such as five-pin inline, male: common, red, green, blue, white")
        .means("Where the two pin orders differ, the coupler crosses conductors."),
    ask("rating_ma", "Rating", Typed::Current)
        .hint("Such as 3 A")
        .means(RATING)
        .needed_for("the check of its current"),
];

pub(super) const BLOCK: &[Attribute] = &[
    ask(
        "ways",
        "Ways",
        Typed::Count {
            least: 1,
            most: 200,
        },
    )
    .needed()
    .hint("Such as 12")
    .means("How many conductors pass through, each by itself."),
    ask("thinnest", "Thinnest conductor", Typed::Conductor)
        .hint("Such as 0.5 mm² or 22 AWG")
        .means("The thinnest wire that it holds safely.")
        .needed_for("the check of the wires in it"),
    ask("thickest", "Thickest conductor", Typed::Conductor)
        .hint("Such as 4 mm² or 12 AWG")
        .means("The thickest wire that goes in.")
        .needed_for("the check of the wires in it"),
    ask("rating_ma", "Rating", Typed::Current)
        .hint("Such as 10 A")
        .means("The most current that one way may carry for good.")
        .needed_for("the check of its current"),
];

pub(super) const CABLE: &[Attribute] = &[
    ask(
        "conductors",
        "Conductors",
        Typed::Count { least: 1, most: 12 },
    )
    .needed()
    .hint("Such as 5")
    .means("How many wires lie in the cable. Four colours and their common need five."),
    ask("conductor", "Conductor size", Typed::Conductor)
        .hint("Such as 18 AWG or 0.75 mm²")
        .means("Thickness of one wire, by American gauge (a smaller number is thicker) or in mm².")
        .needed_for("the voltage lost on the way, and fuses"),
    ask(
        "strand",
        "Solid or stranded",
        Typed::Words(|| {
            Strand::ALL
                .iter()
                .map(|s| (s.as_str(), s.as_str()))
                .collect()
        }),
    )
    .means("Solid wire breaks where it flexes; stranded wire bends.")
    .needed_for("the resistance of the cable, and whether it may flex"),
    ask("colours", "Conductor colours", Typed::Names)
        .hint("In order: black, red, green, blue, white")
        .means("The colours of the wires' insulation, by which the wiring sheet names them.")
        .needed_for("naming wires by colour on the wiring sheet"),
    ask("reels_um", "Reel lengths", Typed::Lengths)
        .hint("As sold: 25 m, 100 m")
        .means("The lengths of the reels in the shops.")
        .needed_for("what to buy"),
    ask("rating_ma", "Rating", Typed::Current)
        .hint("Such as 7 A")
        .means(RATING)
        .needed_for("the check of its current, and fuses"),
];
