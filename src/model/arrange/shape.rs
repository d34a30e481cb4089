//! The geometry of one bar: where its ends are, turned, mirrored, longer.
//!
//! Places are computed as floats, which hold every whole micrometre of these ranges, and rounded
//! once, halves away from nought. Quarter turns are exact.

use super::Mirror;
use crate::model::design::{Bar, Frame};

/// A place in micrometres.
pub type Point = (f64, f64);

/// A whole number as a float.
#[expect(
    clippy::cast_precision_loss,
    reason = "positions are far within the 53 bits that a float keeps"
)]
pub const fn float(um: i64) -> f64 {
    um as f64
}

/// A float as the nearest whole number, halves away from nought.
#[expect(
    clippy::cast_possible_truncation,
    reason = "held at the ends of the range, which every position refuses"
)]
pub const fn whole(um: f64) -> i64 {
    um.round() as i64
}

/// Sine and cosine of an angle in thousandths of a degree, exact at quarter turns.
pub fn sin_cos(mdeg: i32) -> (f64, f64) {
    match mdeg.rem_euclid(360_000) {
        0 => (0.0, 1.0),
        90_000 => (1.0, 0.0),
        180_000 => (0.0, -1.0),
        270_000 => (-1.0, 0.0),
        _ => (f64::from(mdeg) / 1000.0).to_radians().sin_cos(),
    }
}

/// The same direction, above −180 up to 180 degrees.
pub const fn normal(mdeg: i32) -> i32 {
    let turned = mdeg.rem_euclid(360_000);
    if turned > 180_000 {
        turned - 360_000
    } else {
        turned
    }
}

/// A bar's left end.
pub const fn start(bar: &Bar) -> Point {
    (float(bar.x_um.get()), float(bar.y_um.get()))
}

/// The place a part of the way from a bar's left end (0) to its other end (1).
pub fn along(bar: &Bar, part: f64) -> Point {
    let (sin, cos) = sin_cos(bar.angle_mdeg);
    let long = float(bar.length_um.get()) * part;
    let (x, y) = start(bar);
    (x + cos * long, y + sin * long)
}

/// Where the left end is when the bar has this angle and length and the place a part of the way
/// along it stays.
pub fn start_keeping(bar: &Bar, part: f64, angle_mdeg: i32, length_um: i64) -> (i64, i64) {
    let (x, y) = along(bar, part);
    let (sin, cos) = sin_cos(angle_mdeg);
    let long = float(length_um) * part;
    (whole(x - cos * long), whole(y - sin * long))
}

/// A bar's left end when it is turned about a place.
pub fn start_turned(bar: &Bar, by_mdeg: i32, about: Point) -> (i64, i64) {
    let (sin, cos) = sin_cos(by_mdeg);
    let (x, y) = start(bar);
    let (x, y) = (x - about.0, y - about.1);
    (
        whole(about.0 + cos * x - sin * y),
        whole(about.1 + sin * x + cos * y),
    )
}

/// Whether a bar with this angle begins at its left end, or, upright, at its lower one.
const fn begins_left(angle_mdeg: i32) -> bool {
    let angle = normal(angle_mdeg);
    angle > -90_000 && angle <= 90_000
}

/// Left end and angle of a bar mirrored at a line; `twice_um` is twice the line's place. A bar that
/// begins at its left end does so afterwards too.
pub fn mirrored(bar: &Bar, mirror: Mirror, twice_um: i64) -> (i64, i64, i32) {
    let image = |(x, y): Point| match mirror {
        Mirror::Across => (whole(float(twice_um) - x), whole(y)),
        Mirror::Up => (whole(x), whole(float(twice_um) - y)),
    };
    let angle = match mirror {
        Mirror::Across => normal(180_000 - normal(bar.angle_mdeg)),
        Mirror::Up => normal(-normal(bar.angle_mdeg)),
    };
    if begins_left(bar.angle_mdeg) && !begins_left(angle) {
        let (x, y) = image(along(bar, 1.0));
        (x, y, normal(angle - 180_000))
    } else {
        let (x, y) = image(start(bar));
        (x, y, angle)
    }
}

/// The edges of what stands in an elevation, in micrometres.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Bounds {
    /// Left.
    pub left: i64,
    /// Right.
    pub right: i64,
    /// Bottom.
    pub low: i64,
    /// Top.
    pub high: i64,
}

impl Bounds {
    /// Those of a bar, whose thickness does not count.
    pub fn of_bar(bar: &Bar) -> Self {
        let (x, y) = (bar.x_um.get(), bar.y_um.get());
        let (end_x, end_y) = along(bar, 1.0);
        let (end_x, end_y) = (whole(end_x), whole(end_y));
        Self {
            left: x.min(end_x),
            right: x.max(end_x),
            low: y.min(end_y),
            high: y.max(end_y),
        }
    }

    /// Those of a frame.
    pub const fn of_frame(frame: &Frame) -> Self {
        let (left, low) = (frame.x_um.get(), frame.y_um.get());
        Self {
            left,
            right: left + frame.width_um.get(),
            low,
            high: low + frame.height_um.get(),
        }
    }

    /// Those of both together.
    #[must_use]
    pub fn with(self, other: Self) -> Self {
        Self {
            left: self.left.min(other.left),
            right: self.right.max(other.right),
            low: self.low.min(other.low),
            high: self.high.max(other.high),
        }
    }
}

/// The edges of bars and frames together; `None` where there is none.
pub fn bounds_of<'a>(
    bars: impl IntoIterator<Item = &'a Bar>,
    frames: impl IntoIterator<Item = &'a Frame>,
) -> Option<Bounds> {
    let bars = bars.into_iter().map(Bounds::of_bar);
    let frames = frames.into_iter().map(Bounds::of_frame);
    bars.chain(frames).reduce(Bounds::with)
}
