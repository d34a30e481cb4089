//! Attributes of what is used up beside the large parts.

use super::{Attribute, Typed, ask, one_of};
use crate::model::part::{Kind, Measure};

pub(super) const SUNDRY: &[Attribute] = &[
    ask("measure", "Counted", one_of!(Measure))
        .needed()
        .hint("Each, or by length for what has no pieces of its own, such as solder")
        .means("Whether it is counted one by one or by its length."),
    ask("use_rate", "Used", Typed::Rate)
        .hint("Such as 2.5 per bar, 1 per metre; what bare tape needs none of: 2 per bar in profile, 4 per metre in profile; by length 30 mm per soldered joint")
        .means("How much of it a new bar, a joint or a metre takes.")
        .needed_for("counting how much a set needs"),
    ask("goes_with", "Only with profile", Typed::Part(Kind::Profile))
        .means("The profile that these clips or caps fit, if they fit only one."),
    ask("fuse", "Fuse", Typed::Fuse)
        .hint("Of a fuse only: its rating, and whether it is a blade or a cartridge of 5 × 20 mm, such as 5 A blade or 3.15 A cartridge")
        .means("What it is as a fuse. The plan takes those of the rating that a feed or an output asks for, never a larger one; they come back with the set."),
];
