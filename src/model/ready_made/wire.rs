//! Leads, couplers, terminal blocks and cable.

use super::{Entry, entry};
use crate::model::part::Kind::{Block, Cable, Coupler, Lead};

const TAIL: (&str, &str) = ("tail_um", "150 mm");
const THIN: (&str, &str) = ("conductor", "22 AWG");
const RATED: (&str, &str) = ("rating_ma", "3 A");

pub(super) const LEADS: &[Entry] = &[
    entry(
        Lead,
        "lead-2-male",
        "Lead two-pin, male",
        &[
            ("connector", "two-pin inline, male: common, white"),
            TAIL,
            ("conductor", "20 AWG"),
            RATED,
        ],
    ),
    entry(
        Lead,
        "lead-2-female",
        "Lead two-pin, female",
        &[
            ("connector", "two-pin inline, female: common, white"),
            TAIL,
            ("conductor", "20 AWG"),
            RATED,
        ],
    ),
    entry(
        Lead,
        "lead-3-male",
        "Lead three-pin, male",
        &[
            ("connector", "three-pin inline, male: warm, common, cool"),
            TAIL,
            ("conductor", "20 AWG"),
            RATED,
        ],
    ),
    entry(
        Lead,
        "lead-3-female",
        "Lead three-pin, female",
        &[
            ("connector", "three-pin inline, female: warm, common, cool"),
            TAIL,
            ("conductor", "20 AWG"),
            RATED,
        ],
    ),
    entry(
        Lead,
        "lead-4-male",
        "Lead four-pin, male",
        &[
            (
                "connector",
                "four-pin inline, male: common, green, red, blue",
            ),
            TAIL,
            THIN,
            RATED,
        ],
    ),
    entry(
        Lead,
        "lead-4-female",
        "Lead four-pin, female",
        &[
            (
                "connector",
                "four-pin inline, female: common, green, red, blue",
            ),
            TAIL,
            THIN,
            RATED,
        ],
    ),
    entry(
        Lead,
        "lead-5-male",
        "Lead five-pin, male",
        &[
            (
                "connector",
                "five-pin inline, male: common, green, red, blue, white",
            ),
            TAIL,
            THIN,
            RATED,
        ],
    ),
    entry(
        Lead,
        "lead-5-female",
        "Lead five-pin, female",
        &[
            (
                "connector",
                "five-pin inline, female: common, green, red, blue, white",
            ),
            TAIL,
            THIN,
            RATED,
        ],
    ),
    entry(
        Lead,
        "lead-6-male",
        "Lead six-pin, male",
        &[
            (
                "connector",
                "six-pin inline, male: common, green, red, blue, cool, warm",
            ),
            TAIL,
            THIN,
            RATED,
        ],
    ),
    entry(
        Lead,
        "lead-6-female",
        "Lead six-pin, female",
        &[
            (
                "connector",
                "six-pin inline, female: common, green, red, blue, cool, warm",
            ),
            TAIL,
            THIN,
            RATED,
        ],
    ),
];

pub(super) const JOINING: &[Entry] = &[
    entry(
        Coupler,
        "coupler-4-female-female",
        "Gender changer four-pin, two females",
        &[
            ("a", "four-pin inline, female: common, green, red, blue"),
            ("b", "four-pin inline, female: common, green, red, blue"),
            RATED,
        ],
    ),
    entry(
        Coupler,
        "coupler-5-female-female",
        "Gender changer five-pin, two females",
        &[
            (
                "a",
                "five-pin inline, female: common, green, red, blue, white",
            ),
            (
                "b",
                "five-pin inline, female: common, green, red, blue, white",
            ),
            RATED,
        ],
    ),
    entry(
        Coupler,
        "coupler-5-male-male",
        "Gender changer five-pin, two males",
        &[
            (
                "a",
                "five-pin inline, male: common, green, red, blue, white",
            ),
            (
                "b",
                "five-pin inline, male: common, green, red, blue, white",
            ),
            RATED,
        ],
    ),
    entry(
        Coupler,
        "coupler-5-extension",
        "Coupler five-pin, male to female",
        &[
            (
                "a",
                "five-pin inline, male: common, green, red, blue, white",
            ),
            (
                "b",
                "five-pin inline, female: common, green, red, blue, white",
            ),
            RATED,
        ],
    ),
    entry(
        Block,
        "block-12-screw",
        "Terminal block, 12 ways, screws",
        &[
            ("ways", "12"),
            ("thinnest", "22 AWG"),
            ("thickest", "14 AWG"),
            ("rating_ma", "10 A"),
        ],
    ),
    entry(
        Block,
        "block-12-screw-metric",
        "Terminal block, 12 ways, metric",
        &[
            ("ways", "12"),
            ("thinnest", "0.5 mm²"),
            ("thickest", "2.5 mm²"),
            ("rating_ma", "10 A"),
        ],
    ),
    entry(
        Block,
        "block-2-lever",
        "Lever terminal, 2 ways",
        &[
            ("ways", "2"),
            ("thinnest", "24 AWG"),
            ("thickest", "12 AWG"),
            ("rating_ma", "20 A"),
        ],
    ),
];

const REELS: (&str, &str) = ("reels_um", "25 m, 100 m");
const STRANDED: (&str, &str) = ("strand", "stranded");

pub(super) const CABLE: &[Entry] = &[
    entry(
        Cable,
        "cable-2-16awg",
        "Cable 2 × 16 AWG",
        &[
            ("conductors", "2"),
            ("conductor", "16 AWG"),
            STRANDED,
            ("colours", "red, black"),
            REELS,
            ("rating_ma", "10 A"),
        ],
    ),
    entry(
        Cable,
        "cable-3-18awg",
        "Cable 3 × 18 AWG",
        &[
            ("conductors", "3"),
            ("conductor", "18 AWG"),
            STRANDED,
            ("colours", "black, yellow, white"),
            REELS,
            ("rating_ma", "7 A"),
        ],
    ),
    entry(
        Cable,
        "cable-4-18awg",
        "Cable 4 × 18 AWG",
        &[
            ("conductors", "4"),
            ("conductor", "18 AWG"),
            STRANDED,
            ("colours", "black, green, red, blue"),
            REELS,
            ("rating_ma", "7 A"),
        ],
    ),
    entry(
        Cable,
        "cable-5-18awg",
        "Cable 5 × 18 AWG",
        &[
            ("conductors", "5"),
            ("conductor", "18 AWG"),
            STRANDED,
            ("colours", "black, green, red, blue, white"),
            REELS,
            ("rating_ma", "7 A"),
        ],
    ),
    entry(
        Cable,
        "cable-6-20awg",
        "Cable 6 × 20 AWG",
        &[
            ("conductors", "6"),
            ("conductor", "20 AWG"),
            STRANDED,
            ("colours", "black, green, red, blue, white, yellow"),
            REELS,
            ("rating_ma", "5 A"),
        ],
    ),
    entry(
        Cable,
        "cable-2-1.5mm2",
        "Cable 2 × 1.5 mm²",
        &[
            ("conductors", "2"),
            ("conductor", "1.5 mm²"),
            STRANDED,
            ("colours", "red, black"),
            REELS,
            ("rating_ma", "10 A"),
        ],
    ),
    entry(
        Cable,
        "cable-5-0.75mm2",
        "Cable 5 × 0.75 mm²",
        &[
            ("conductors", "5"),
            ("conductor", "0.75 mm²"),
            STRANDED,
            ("colours", "black, green, red, blue, white"),
            REELS,
            ("rating_ma", "6 A"),
        ],
    ),
];
