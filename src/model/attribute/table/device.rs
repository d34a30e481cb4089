//! Attributes of drivers, supplies and the data line.

use super::{Attribute, Typed, ask, one_of};
use crate::model::part::{AddressBy, DataUse, Isolation, Polarity};

pub(super) const DRIVER: &[Attribute] = &[
    ask(
        "outputs",
        "Outputs",
        Typed::Count {
            least: 1,
            most: 128,
        },
    )
    .needed()
    .hint("Such as 8")
    .means("Groups of terminals that each feed a bar, or several that do the same."),
    ask(
        "channels_per_output",
        "Channels per output",
        Typed::Count { least: 1, most: 8 },
    )
    .needed()
    .hint("Such as 4 for RGBW")
    .means("Colours that one output dims by itself."),
    ask("terminals", "Terminal order", Typed::Roles)
        .hint("Of one output: common, red, green, blue, white")
        .means("The screws of an output in their order, by what they carry.")
        .needed_for("the wiring"),
    ask("common", "Common", one_of!(Polarity))
        .means("Which side all colours share: the same as on the tape.")
        .needed_for("telling whether the driver fits a tape"),
    ask("voltage_min_mv", "Lowest voltage", Typed::Voltage)
        .needed()
        .hint("Such as 12 V")
        .means("The lowest supply voltage that it works on."),
    ask("voltage_max_mv", "Highest voltage", Typed::Voltage)
        .needed()
        .hint("Such as 24 V")
        .means("The highest supply voltage that it stands."),
    ask("channel_limit_ma", "Limit of a channel", Typed::Current)
        .hint("Such as 4 A")
        .means("The most current of one colour of one output.")
        .needed_for("the check of its current"),
    ask("output_limit_ma", "Limit of an output", Typed::Current)
        .hint("Such as 10 A")
        .means("The most current of one output, all its colours together, so of its common.")
        .needed_for("the check of its current, and fuses"),
    ask("inlet_limit_ma", "Limit of an inlet", Typed::Current)
        .hint("Such as 15 A")
        .means("The most current through one pair of supply terminals.")
        .needed_for("the check of its current"),
    ask("whole_limit_ma", "Limit of the whole", Typed::Current)
        .hint("Such as 30 A")
        .means("The most current of the whole driver.")
        .needed_for("the check of its current"),
    ask("inlets", "Inlets", Typed::Inlets)
        .needed()
        .hint("Which outputs each feeds: 1-2; 3-4. One inlet for all of four: 1-4")
        .means("An inlet is a pair of terminals where a supply comes in, and feeds some outputs."),
    ask("isolation", "Inlets are", one_of!(Isolation))
        .means(
            "Whether the inlets are joined inside. Two supplies may share a driver only where its \
             inlets are isolated.",
        )
        .needed_for("putting two supplies on one driver"),
    ask(
        "slots",
        "DMX slots",
        Typed::Count {
            least: 1,
            most: 512,
        },
    )
    .needed()
    .hint("Such as 32 for eight outputs of four channels")
    .means("How many slots of the DMX universe it takes, one after another."),
    ask("slot_order", "Order of the slots", Typed::Text)
        .hint("Such as red, green, blue, white by output")
        .means("What each slot dims, in order."),
    ask("bits", "Bits", Typed::OneOf(&[8, 16]))
        .means("How finely a channel dims; 16 bit takes two slots."),
    ask("address_by", "Address set by", one_of!(AddressBy))
        .means(
            "How the first slot is set: nine switches that show the start address, or one less; \
             a menu; or over the data line (RDM).",
        )
        .needed_for("drawing its switches on the address sheet"),
    ask("data_connector", "Data connector", Typed::Text)
        .hint("Such as five-pin round or screw terminals")
        .means("Where the DMX line plugs in.")
        .needed_for("choosing the data cable"),
    ask("pwm_hz", "Dimming frequency", Typed::Frequency)
        .hint("Such as 1000 Hz")
        .means("How often a second it switches to dim; low ones flicker on cameras."),
];

pub(super) const SUPPLY: &[Attribute] = &[
    ask("voltage_mv", "Voltage", Typed::Voltage)
        .needed()
        .hint("Such as 24 V")
        .means("What comes out, on the low-voltage side."),
    ask("rated_ma", "Rated current", Typed::Current)
        .needed()
        .hint("Such as 6.25 A")
        .means("What it can give by its label. It is planned with less: see how far it is loaded."),
    ask(
        "terminal_pairs",
        "Terminal pairs",
        Typed::Count { least: 1, most: 40 },
    )
    .hint("Such as 3")
    .means("How many pairs of output screws it has.")
    .needed_for("how many inlets it can feed"),
    ask("mains_min_mv", "Lowest mains voltage", Typed::Voltage)
        .hint("Such as 100 V")
        .means("From which mains voltage it works."),
    ask("mains_max_mv", "Highest mains voltage", Typed::Voltage)
        .hint("Such as 240 V")
        .means("Up to which mains voltage it works."),
    ask("input_ma", "Mains current", Typed::Current)
        .hint("Such as 1.8 A")
        .means("What it takes from the mains at full load.")
        .needed_for("the load figure on the mains side"),
    ask("inrush_ma", "Inrush", Typed::Current)
        .hint("Such as 40 A")
        .means("The short current when it is switched on.")
        .needed_for("how many may be switched on together"),
    ask("power_factor_percent", "Power factor", Typed::Percent)
        .hint("Such as 95 %")
        .means("How much of the mains current does work."),
    ask("efficiency_percent", "Efficiency", Typed::Percent)
        .hint("Such as 88 %")
        .means("How much of what it takes comes out; the rest is heat.")
        .needed_for("the load figure on the mains side"),
    ask("limited_power", "Limited power", Typed::YesNo)
        .hint("Yes, no, or empty where nobody knows")
        .means("Whether its output is of a class that cannot start a fire by itself."),
    ask("load_percent", "Loaded up to", Typed::Percent)
        .hint("Such as 80 %, which is planned with where this is empty")
        .means("How far it may be loaded for good, in percent of its rated current."),
];

pub(super) const DATA: &[Attribute] = &[
    ask("use", "What it is", one_of!(DataUse)).needed().means(
        "DMX runs from device to device by cable; a splitter makes several lines of one; a \
             terminator closes the end of each.",
    ),
    ask("length_um", "Length", Typed::Length)
        .only_where("use", "cable")
        .hint("Such as 5 m")
        .means("Length of the cable, plug to plug.")
        .needed_for("the data chain"),
    ask("outputs", "Outputs", Typed::Count { least: 1, most: 64 })
        .only_where("use", "splitter")
        .hint("Such as 4")
        .means("How many lines the splitter makes.")
        .needed_for("the data chain"),
    ask("connector", "Connector", Typed::Text)
        .hint("Such as five-pin round")
        .means("What it plugs into.")
        .needed_for("choosing it for a driver"),
];
