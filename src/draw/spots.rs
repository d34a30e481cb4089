//! Places for words in a picture drawn to scale: none over another, none cut off at the edge.

use super::{Anchor, Svg, letters};

/// Width of one letter of a label, about. Its size is the style sheet's: 15, so that it is read on a
/// phone and on paper, where the picture is made smaller.
const LETTER: f64 = 8.4;
/// Height of a label.
const HIGH_LABEL: f64 = 18.0;

/// About how wide a label is.
pub(super) fn wide_of(text: &str) -> f64 {
    letters(text) * LETTER + 8.0
}

/// A turned box, by its middle.
#[derive(Debug, Clone, Copy)]
pub(super) struct Spot {
    pub(super) x: f64,
    pub(super) y: f64,
    pub(super) wide: f64,
    pub(super) high: f64,
    /// Clockwise.
    pub(super) degrees: f64,
}

impl Spot {
    /// A label that is not turned, by its left end.
    pub(super) fn level(left: f64, y: f64, wide: f64) -> Self {
        Self {
            x: left + wide / 2.0,
            y,
            wide,
            high: HIGH_LABEL,
            degrees: 0.0,
        }
    }

    /// So far along itself and beside itself from its middle.
    pub(super) fn shifted(self, along: f64, beside: f64) -> Self {
        let (sin, cos) = self.degrees.to_radians().sin_cos();
        Self {
            x: self.x + cos * along - sin * beside,
            y: self.y + sin * along + cos * beside,
            ..self
        }
    }

    /// How far it reaches from its middle in a direction, in degrees.
    fn reach(&self, axis: f64) -> f64 {
        let (sin, cos) = (self.degrees - axis).to_radians().sin_cos();
        f64::midpoint(self.wide * cos.abs(), self.high * sin.abs())
    }

    /// Whether two of them overlap: no line parallel to a side of either parts them.
    fn meets(&self, other: &Self) -> bool {
        [self.degrees, other.degrees].into_iter().all(|degrees| {
            [degrees, degrees + 90.0].into_iter().all(|axis| {
                let (sin, cos) = axis.to_radians().sin_cos();
                let apart = ((other.x - self.x) * cos + (other.y - self.y) * sin).abs();
                apart < self.reach(axis) + other.reach(axis)
            })
        })
    }

    /// Writes a label here, on paper of its own where it lies on a bar. It never stands on its head.
    pub(super) fn write(&self, out: &mut Svg, text: &str, chip: bool) {
        let turned = self.degrees.rem_euclid(360.0);
        let degrees = if (90.0..269.9).contains(&turned) {
            self.degrees + 180.0
        } else {
            self.degrees
        };
        out.turned(degrees, self.x, self.y);
        if chip {
            let (left, top) = (self.x - self.wide / 2.0, self.y - self.high / 2.0);
            out.rect("svg-chip svg-through", left, top, self.wide, self.high);
        }
        let class = if chip {
            "svg-label svg-through"
        } else {
            "svg-label svg-through svg-halo"
        };
        out.text(class, self.x, self.y + 5.0, Anchor::Middle, text);
        out.end();
    }
}

/// Where bars and labels lie, so that no label lies over another. One that has no room is left out:
/// the list beside the picture has it.
#[derive(Debug)]
pub(super) struct Labels {
    /// What is drawn, beside the words.
    pub(super) bodies: Vec<Spot>,
    placed: Vec<Spot>,
    /// The picture's width and height.
    size: (f64, f64),
}

impl Labels {
    /// In a picture of this size.
    pub(super) const fn new(width: f64, height: f64) -> Self {
        Self {
            bodies: Vec::new(),
            placed: Vec::new(),
            size: (width, height),
        }
    }

    /// The first of some places where nothing is written yet.
    pub(super) fn place(&mut self, spots: impl IntoIterator<Item = Spot>) -> Option<Spot> {
        let free = |spot: &Spot| {
            let (across, up) = (spot.reach(0.0), spot.reach(90.0));
            spot.x >= across
                && spot.x + across <= self.size.0
                && spot.y >= up
                && spot.y + up <= self.size.1
                && self.placed.iter().all(|other| !spot.meets(other))
        };
        let spot = spots.into_iter().find(free)?;
        self.placed.push(spot);
        Some(spot)
    }

    /// The same among those that no bar lies under.
    pub(super) fn place_clear(&mut self, spots: impl Iterator<Item = Spot>) -> Option<Spot> {
        let clear: Vec<Spot> = spots
            .filter(|spot| self.bodies.iter().all(|body| !spot.meets(body)))
            .collect();
        self.place(clear)
    }

    /// The words of a body: on it, all of them where there is room, or the short ones beside it.
    pub(super) fn of_bar(&mut self, out: &mut Svg, at: usize, full: &str, short: &str) {
        let Some(&body) = self.bodies.get(at) else {
            return;
        };
        let on = |text: &str, room: f64| {
            let wide = wide_of(text);
            let spot = Spot {
                wide,
                high: HIGH_LABEL,
                ..body
            };
            let shift = (body.wide - wide) / 4.0;
            let fits = wide + room <= body.wide;
            let along = [0.0, -shift, shift].into_iter();
            along
                .filter(move |_| fits)
                .map(move |by| spot.shifted(by, 0.0))
        };
        let found = [(full, 16.0), (short, 4.0)]
            .into_iter()
            .find_map(|(text, room)| Some((text, self.place(on(text, room))?)));
        if let Some((text, spot)) = found {
            spot.write(out, text, true);
            return;
        }
        self.beside(out, at, &[short]);
    }

    /// The first of some words that has room beside a body.
    pub(super) fn beside(&mut self, out: &mut Svg, at: usize, words: &[&str]) {
        let Some(&body) = self.bodies.get(at) else {
            return;
        };
        let off = f64::midpoint(body.high, HIGH_LABEL) + 1.0;
        for text in words {
            let spot = Spot {
                wide: wide_of(text),
                high: HIGH_LABEL,
                ..body
            };
            let along = ((body.wide - spot.wide) / 2.0).max(0.0);
            let spots = [0.0, -along, along]
                .into_iter()
                .flat_map(|by| [spot.shifted(by, -off), spot.shifted(by, off)]);
            if let Some(spot) = self.place_clear(spots) {
                spot.write(out, text, false);
                return;
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn boxes_meet_as_they_do_on_paper() {
        let flat = Spot {
            x: 0.0,
            y: 0.0,
            wide: 100.0,
            high: 20.0,
            degrees: 0.0,
        };
        let turned = |x: f64, degrees: f64| Spot { x, degrees, ..flat };
        assert!(flat.meets(&turned(99.0, 0.0)) && !flat.meets(&turned(101.0, 0.0)));
        assert!(flat.meets(&turned(59.0, 90.0)) && !flat.meets(&turned(61.0, 90.0)));
        // Side by side, both turned by 45 degrees: the boxes around them meet, they do not.
        let slant = turned(0.0, 45.0);
        assert!(!slant.meets(&turned(30.0, 45.0)) && slant.meets(&turned(25.0, 45.0)));
        let moved = slant.shifted(0.0, 22.0);
        assert!(!slant.meets(&moved) && slant.meets(&slant.shifted(40.0, 10.0)));
    }
}
