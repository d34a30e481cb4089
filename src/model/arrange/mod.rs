//! Arranging bars and frames in the elevation: what can be asked, for forms, the API and the
//! drawing alike. What a step does to a design stands in [`carry`], the geometry in [`shape`].
//!
//! A frame that is named takes along what hangs on it. Lengths and places are whole micrometres,
//! angles thousandths of a degree; each result is rounded once.

mod carry;
mod label;
mod shape;

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

pub use carry::Ids;
pub use label::next_label;
pub use shape::{Bounds, bounds_of};

use super::{
    design::{BAR_LIMIT, Bar, Frame},
    id::{BarId, FrameId},
    text::{Name, words},
};
use crate::units::{Length, SignedLength};

/// The most copies that one step makes of each bar.
pub const COPIES_LIMIT: u32 = 1000;
/// The most steps of one change.
pub const STEPS_LIMIT: usize = 50;

words! {
    /// What bars are turned about.
    About {
        /// Each about its own middle.
        Middle = "middle", "each about its middle";
        /// Each about its left end.
        Start = "start", "each about its left end";
        /// All as one about the middle of them all.
        All = "all", "all as one about their middle";
    }
}

words! {
    /// Which point of a bar stays where it is while its length changes.
    Keep {
        /// Its left end.
        Start = "start", "its left end";
        /// Its middle.
        Middle = "middle", "its middle";
        /// Its other end.
        End = "end", "its other end";
    }
}

words! {
    /// The line that is mirrored at.
    Mirror {
        /// An upright line: left becomes right.
        Across = "across", "left and right";
        /// A level line: top becomes bottom.
        Up = "up", "top and bottom";
    }
}

words! {
    /// How bars are brought into line.
    Align {
        /// Left edges, at the furthest left.
        Left = "left", "left edges";
        /// Right edges, at the furthest right.
        Right = "right", "right edges";
        /// Upper edges, at the highest.
        Top = "top", "tops";
        /// Lower edges, at the lowest.
        Bottom = "bottom", "bottoms";
        /// Middles, on one upright line.
        CentreAcross = "centre_across", "middles on an upright line";
        /// Middles, on one level line.
        CentreUp = "centre_up", "middles on a level line";
        /// Middles at even steps from the furthest left to the furthest right.
        SpreadAcross = "spread_across", "middles spread evenly across";
        /// Middles at even steps from the lowest to the highest.
        SpreadUp = "spread_up", "middles spread evenly upwards";
    }
}

/// A bar to be put somewhere.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Placed {
    /// The bar.
    pub bar: BarId,
    /// Left end, from the left of the elevation.
    pub x_um: SignedLength,
    /// Left end, above the floor.
    pub y_um: SignedLength,
    /// Turned counter-clockwise from lying level, in thousandths of a degree.
    #[schema(minimum = -360_000, maximum = 360_000)]
    pub angle_mdeg: i32,
    /// Lit length, above zero.
    pub length_um: Length,
}

/// A frame to be put somewhere; what hangs on it stays.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PlacedFrame {
    /// The frame.
    pub frame: FrameId,
    /// Left edge.
    pub x_um: SignedLength,
    /// Lower edge, above the floor.
    pub y_um: SignedLength,
}

/// A frame that was taken out and comes back.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct FrameBack {
    /// As it was; it gets an id of its own.
    pub frame: Frame,
    /// Bars of the set that hung on it.
    #[serde(default)]
    pub bars: Vec<BarId>,
}

/// One step of arranging.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(tag = "do", rename_all = "snake_case", deny_unknown_fields)]
#[schema(as = ArrangeStep)]
pub enum Step {
    /// Moves bars and frames.
    Move {
        /// Bars.
        #[serde(default)]
        bars: Vec<BarId>,
        /// Frames, with what hangs on them.
        #[serde(default)]
        frames: Vec<FrameId>,
        /// To the right.
        #[serde(default)]
        dx_um: SignedLength,
        /// Upwards.
        #[serde(default)]
        dy_um: SignedLength,
    },
    /// Turns bars.
    Turn {
        /// Bars.
        bars: Vec<BarId>,
        /// Counter-clockwise, in thousandths of a degree.
        #[schema(minimum = -360_000, maximum = 360_000)]
        turn_mdeg: i32,
        /// About what.
        about: About,
    },
    /// Makes bars of one length.
    Resize {
        /// Bars.
        bars: Vec<BarId>,
        /// Lit length, above zero.
        length_um: Length,
        /// What stays where it is.
        keep: Keep,
    },
    /// Makes each bar longer or shorter.
    Lengthen {
        /// Bars.
        bars: Vec<BarId>,
        /// By how much; below zero for shorter.
        by_um: SignedLength,
        /// What stays where it is.
        keep: Keep,
    },
    /// Puts bars and frames where they are told to be.
    Place {
        /// Bars.
        #[serde(default)]
        bars: Vec<Placed>,
        /// Frames.
        #[serde(default)]
        frames: Vec<PlacedFrame>,
    },
    /// Copies bars and frames, each copy a step further on. Copies get the next free numbers;
    /// fixtures chosen by hand and frames of the cupboard serve only once and are left out.
    Copy {
        /// Bars.
        #[serde(default)]
        bars: Vec<BarId>,
        /// Frames, with what hangs on them.
        #[serde(default)]
        frames: Vec<FrameId>,
        /// How many of each.
        #[schema(minimum = 1, maximum = 1000)]
        copies: u32,
        /// Each next one to the right.
        #[serde(default)]
        dx_um: SignedLength,
        /// Each next one upwards.
        #[serde(default)]
        dy_um: SignedLength,
    },
    /// Adds a bar like another, at a place of its own.
    Add {
        /// What it is like.
        like: BarId,
        /// Left end, from the left of the elevation.
        x_um: SignedLength,
        /// Left end, above the floor.
        y_um: SignedLength,
    },
    /// Mirrors bars and frames. A bar that begins at its left end does so afterwards too.
    Mirror {
        /// Bars.
        #[serde(default)]
        bars: Vec<BarId>,
        /// Frames, with what hangs on them.
        #[serde(default)]
        frames: Vec<FrameId>,
        /// What changes sides.
        mirror: Mirror,
        /// Where the line is; through the middle of what is mirrored where it is left out.
        #[serde(default)]
        at_um: Option<SignedLength>,
        /// Whether what is mirrored stays, and its image is added.
        #[serde(default)]
        copy: bool,
    },
    /// Brings bars and frames into line; a frame moves as one with what hangs on it.
    Align {
        /// Bars.
        #[serde(default)]
        bars: Vec<BarId>,
        /// Frames.
        #[serde(default)]
        frames: Vec<FrameId>,
        /// How.
        to: Align,
    },
    /// Hangs bars on a frame of the set, or on none.
    Hang {
        /// Bars.
        bars: Vec<BarId>,
        /// The frame.
        frame: Option<FrameId>,
    },
    /// Takes bars and frames out. Bars that hung on a frame stay, on no frame.
    Remove {
        /// Bars.
        #[serde(default)]
        bars: Vec<BarId>,
        /// Frames.
        #[serde(default)]
        frames: Vec<FrameId>,
    },
    /// Brings back what was taken out, under new ids; a bar that hung on a frame of this list
    /// hangs on it again.
    Restore {
        /// Bars, as they were.
        #[serde(default)]
        bars: Vec<Bar>,
        /// Where each stood among the set's bars, counted from 0; at the end where it is left out.
        #[serde(default)]
        at: Vec<usize>,
        /// Frames, as they were.
        #[serde(default)]
        frames: Vec<FrameBack>,
    },
}

/// Why a step cannot be carried out. Nothing of it was.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum ArrangeError {
    /// Nothing was chosen.
    #[error("No bar is chosen. Choose at least one.")]
    Nothing,
    /// Too few were chosen.
    #[error("Choose at least {0} bars or frames for this.")]
    TooFew(usize),
    /// A bar that is not in the design.
    #[error("This set has no bar with the id {0}; it may have been taken out meanwhile.")]
    NoBar(BarId),
    /// A frame that is not in the design.
    #[error("This set has no frame with the id {0}; it may have been taken out meanwhile.")]
    NoFrame(FrameId),
    /// Further off than positions go.
    #[error("{0} would hang further off than 1 km. Nothing was moved; choose less.")]
    Beyond(Name),
    /// A length that is none.
    #[error(
        "Nothing would be left of bar {0}. Choose a length above zero, and above what it may be shorter by."
    )]
    NoLength(Name),
    /// Longer than lengths go.
    #[error("Bar {0} would be longer than 1 km. Choose less.")]
    TooLong(Name),
    /// More than a whole turn.
    #[error("Turn by −360 to 360 degrees.")]
    Angle,
    /// A number of copies that is none.
    #[error("Ask for 1 to {COPIES_LIMIT} copies.")]
    Copies,
    /// More bars than a design holds.
    #[error(
        "A set has at most {BAR_LIMIT} bars; with {added} more this one would have {total}. Choose fewer."
    )]
    TooMany {
        /// How many would come.
        added: usize,
        /// How many there would be.
        total: usize,
    },
    /// No free label like this one.
    #[error("No label like “{0}” with a number behind it is free. Choose a shorter label first.")]
    NoLabel(Name),
}

impl ArrangeError {
    /// The field of the step that is to be mended.
    pub const fn field(&self, step: &Step) -> &'static str {
        match self {
            Self::NoFrame(_) => match step {
                Step::Hang { .. } => "frame",
                _ => "frames",
            },
            Self::Beyond(_) => match step {
                Step::Move { .. } | Step::Copy { .. } => "dx_um",
                Step::Mirror { .. } => "at_um",
                Step::Add { .. } => "x_um",
                _ => "bars",
            },
            Self::NoBar(_) => match step {
                Step::Add { .. } => "like",
                _ => "bars",
            },
            Self::NoLength(_) | Self::TooLong(_) => match step {
                Step::Resize { .. } => "length_um",
                Step::Lengthen { .. } => "by_um",
                _ => "bars",
            },
            Self::Angle => "turn_mdeg",
            Self::Copies => "copies",
            Self::TooMany { .. } => match step {
                Step::Copy { .. } => "copies",
                _ => "bars",
            },
            Self::Nothing | Self::TooFew(_) | Self::NoLabel(_) => "bars",
        }
    }
}
