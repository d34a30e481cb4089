//! Attributes of tape and of the profile that it lies in.

use super::{Attribute, Typed, ask, one_of};
use crate::model::part::{Coating, Diffuser, Polarity};

pub(super) const TAPE: &[Attribute] = &[
    ask("voltage_mv", "Voltage", Typed::Voltage)
        .needed()
        .hint("Such as 12 V or 24 V")
        .means("The supply voltage that the tape is made for. It stands on the tape itself."),
    ask("width_um", "Width", Typed::Width)
        .needed()
        .hint("Such as 10 mm")
        .means("Width of the tape's circuit board: what has to lie in the profile and fit clips."),
    ask("channels", "Colours", Typed::Channels)
        .needed()
        .hint("Each colour with what is known of it: red 4.8 W/m, white 4000 K 9.6 W/m. Or only RGBW")
        .means(
            "A colour channel is one colour with a conductor of its own. W/m is what a metre of it \
             takes at full; K is the colour temperature of a white: about 2700 warm, 6500 cool.",
        ),
    ask("coating", "Coating", one_of!(Coating))
        .means("What lies over the LEDs: nothing, a layer, or a sleeve round the whole tape."),
    ask("pads", "Pad order", Typed::Roles)
        .hint("From one edge to the other: common, green, red, blue, white")
        .means("The copper pads at a cut mark, where wires are soldered on, in their order.")
        .needed_for("the wiring and the order in which wires are soldered"),
    ask("common", "Common", one_of!(Polarity))
        .means(
            "All colours of a tape share one conductor, the common: the positive one on most tapes. \
             It has to be the same on the driver.",
        )
        .needed_for("telling whether a driver fits the tape"),
    ask("pitch", "Cut pitch", Typed::Pitch)
        .needed()
        .hint("From one cut mark to the next: 50 mm, or 3 per 150 mm where that is more exact")
        .means("Tape may be cut only at its marks; the piece between two marks is a cut unit."),
    ask("joints", "Pre-tinned joints", Typed::Joints)
        .hint("In cut units: every 10, first at 5. Empty if there are none")
        .means(
            "Long rolls are soldered together from short lengths; a cut at such a joint is easier to \
             solder to.",
        ),
    ask("leds_per_m", "LEDs per metre", Typed::Count { least: 1, most: 5000 })
        .hint("Such as 60")
        .means("How close the LEDs stand."),
    ask("leds_in_series", "LEDs in series", Typed::Count { least: 1, most: 64 })
        .hint("Such as 3 on 12 V tape, 6 or 7 on 24 V tape")
        .means("LEDs of one colour that lie in a row with one resistor, in one cut unit.")
        .needed_for("how much dimmer the far end is"),
    ask("trace_common_uohm_per_m", "Trace resistance of the common", Typed::Resistance)
        .hint("Such as 0.04 Ω/m; measured over the copper of the common pad")
        .means("Resistance of the tape's own copper, one way, of the conductor that all colours share.")
        .needed_for("the voltage along a bar"),
    ask("trace_channel_uohm_per_m", "Trace resistance of a colour", Typed::Resistance)
        .hint("Such as 0.12 Ω/m; measured over the copper of one colour's pad")
        .means("Resistance of the tape's own copper, one way, of the conductor of one colour.")
        .needed_for("the voltage along a bar"),
    ask("rolls_um", "Roll lengths", Typed::Lengths)
        .hint("As sold: 5 m, 10 m")
        .means("The lengths of the rolls in the shops.")
        .needed_for("what to buy"),
    ask("roll_start", "Connector at the roll's start", Typed::Connector)
        .hint("Such as five-pin inline, female: common, red, green, blue, white. Empty if bare")
        .means("Many rolls come with a lead at an end; a bar cut from there needs no soldering."),
    ask("roll_end", "Connector at the roll's end", Typed::Connector)
        .hint("Such as five-pin inline, male: common, red, green, blue, white. Empty if bare")
        .means("The same at the other end of a new roll."),
    ask("longest_run_um", "Longest run", Typed::Length)
        .hint("Such as 5 m")
        .means("The longest piece that the maker lets be fed from one end.")
        .needed_for("the check of each bar's length against it"),
];

pub(super) const PROFILE: &[Attribute] = &[
    ask("bars_um", "Bar lengths", Typed::Lengths)
        .hint("As sold: 1 m, 2 m")
        .means("The lengths of the profile bars in the shops.")
        .needed_for("what to buy"),
    ask("inner_width_um", "Inner width", Typed::Width)
        .needed()
        .hint("Such as 12 mm")
        .means("The widest tape that lies flat inside."),
    ask("diffuser", "Cover", one_of!(Diffuser))
        .needed()
        .means(
            "What lies over the tape. Frosted and opal diffuse: the single LEDs run together into a line.",
        ),
    ask("heat_mw_per_m", "Heat it takes", Typed::PowerPerLength)
        .hint("Such as 20 W/m")
        .means("How many watts of tape a metre of it keeps cool enough.")
        .needed_for("the check of the tape's heat"),
    ask("may_cut", "May be cut", Typed::YesNo)
        .needed()
        .hint("Yes or no")
        .means("Whether the bars may be sawn to length."),
    ask("kerf_um", "Saw kerf", Typed::Width)
        .hint("Such as 2 mm")
        .means("What the saw turns to dust at each cut.")
        .needed_for("how many lengths come out of a bar"),
];
