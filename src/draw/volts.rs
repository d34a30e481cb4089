//! Volts along a bar, colour by colour, with the bounds that they should stay above.

use super::{Anchor, At, Picture, Svg, wiring::wire_class};
use crate::model::channel::{Channel, Role};

/// One colour's volts from the start of the bar to its end.
#[derive(Debug, Clone, PartialEq)]
pub struct Curve {
    /// The colour.
    pub channel: Channel,
    /// Where, as a part of the bar's length from 0 to 1, and how many volts.
    pub points: Vec<(f64, f64)>,
}

/// A bound with its words.
#[derive(Debug, Clone, PartialEq)]
pub struct Bound {
    /// At how many volts.
    pub volts: f64,
    /// What it means, in a word or two.
    pub word: String,
}

/// A bar's volts to be drawn.
#[derive(Debug, Clone, PartialEq)]
pub struct Volts {
    /// The bar or bars.
    pub name: String,
    /// Its lit length in words.
    pub length: String,
    /// What the supply gives, in V: the top of the picture.
    pub supply_v: f64,
    /// Bounds, from the highest to the lowest.
    pub bounds: Vec<Bound>,
    /// Colours.
    pub curves: Vec<Curve>,
}

/// Height of the picture, in pixels.
const HEIGHT: f64 = 210.0;
/// The row of the supply's voltage.
const TOP: f64 = 26.0;
/// The row of the lowest voltage drawn.
const BOTTOM: f64 = 170.0;
/// Where the bar begins and ends, in percent of the width.
const LEFT: f64 = 4.0;
const RIGHT: f64 = 72.0;
/// Least distance of two words beside the far end, in pixels.
const WORD: f64 = 15.0;

impl Volts {
    /// The lowest voltage that is drawn: a little below the last bound, or below the lowest curve.
    fn lowest(&self) -> f64 {
        let curves = self.curves.iter().flat_map(|curve| &curve.points);
        let lowest = curves.map(|(_, volts)| *volts);
        let bounds = self.bounds.iter().map(|bound| bound.volts);
        let least = lowest.chain(bounds).fold(self.supply_v, f64::min);
        least - 0.08 * (self.supply_v - least).max(0.1)
    }

    fn row(&self, lowest: f64, volts: f64) -> f64 {
        let part = (self.supply_v - volts) / (self.supply_v - lowest).max(f64::EPSILON);
        TOP + (BOTTOM - TOP) * part.clamp(0.0, 1.0)
    }

    /// Draws it, with its text.
    pub fn draw(&self) -> Picture {
        let caption = format!("Volts along {}, {} long", self.name, self.length);
        let lowest = self.lowest();
        let mut svg = Svg::wide(&caption, HEIGHT);
        let across = |part: f64| At::Percent(LEFT + (RIGHT - LEFT) * part.clamp(0.0, 1.0));
        let supply = format!("{:.1} V at the supply", self.supply_v);
        svg.text(
            "svg-small svg-on",
            At::Percent(LEFT),
            TOP - 8.0,
            Anchor::Start,
            &supply,
        );
        svg.line("svg-rule", (across(0.0), TOP), (across(1.0), TOP));
        for bound in &self.bounds {
            let row = self.row(lowest, bound.volts);
            svg.line("svg-limit", (across(0.0), row), (across(1.0), row));
        }
        for curve in &self.curves {
            let class = format!("svg-wire ch-{}", wire_class(Role::Colour(curve.channel)));
            for class in ["svg-casing", &class] {
                for pair in curve.points.windows(2) {
                    svg.line(
                        class,
                        (across(pair[0].0), self.row(lowest, pair[0].1)),
                        (across(pair[1].0), self.row(lowest, pair[1].1)),
                    );
                }
            }
        }
        // Over the curves, so that none runs through them.
        for bound in &self.bounds {
            let words = format!("{:.1} V: {}", bound.volts, bound.word);
            svg.text(
                "svg-small svg-on svg-halo",
                At::Percent(LEFT),
                self.row(lowest, bound.volts) + 14.0,
                Anchor::Start,
                &words,
            );
        }
        self.words(&mut svg, lowest);
        svg.text(
            "svg-small svg-on",
            across(0.0),
            HEIGHT - 8.0,
            Anchor::Start,
            "start",
        );
        svg.text(
            "svg-small svg-on",
            across(1.0),
            HEIGHT - 8.0,
            Anchor::End,
            &format!("end, {}", self.length),
        );
        Picture {
            svg: svg.finish(),
            caption,
            twin: self.twin(),
        }
    }

    /// Each colour's volts at the end, none upon another.
    fn words(&self, svg: &mut Svg, lowest: f64) {
        let mut ends: Vec<(f64, String)> = self
            .curves
            .iter()
            .filter_map(|curve| {
                let (_, volts) = curve.points.last()?;
                let words = format!("{} {volts:.1} V", curve.channel.letter());
                Some((self.row(lowest, *volts) + 4.0, words))
            })
            .collect();
        ends.sort_by(|a, b| a.0.total_cmp(&b.0));
        let mut free = f64::NEG_INFINITY;
        for (row, words) in ends {
            let row = row.max(free);
            free = row + WORD;
            svg.text(
                "svg-small svg-on",
                At::Percent(RIGHT + 2.0),
                row,
                Anchor::Start,
                &words,
            );
        }
    }

    fn twin(&self) -> Vec<String> {
        let mut lines = vec![format!("The supply gives {:.1} V.", self.supply_v)];
        for curve in &self.curves {
            let lowest = curve
                .points
                .iter()
                .copied()
                .min_by(|a, b| a.1.total_cmp(&b.1));
            let (Some(first), Some(last), Some(lowest)) =
                (curve.points.first(), curve.points.last(), lowest)
            else {
                continue;
            };
            lines.push(format!(
                "{} ({}): {:.1} V at the first cut unit, {:.1} V at the last; least {:.1} V, {:.0} % of the way along.",
                curve.channel.label(),
                curve.channel.letter(),
                first.1,
                last.1,
                lowest.1,
                100.0 * lowest.0
            ));
        }
        for bound in &self.bounds {
            lines.push(format!("{:.1} V: {}.", bound.volts, bound.word));
        }
        lines
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn volts() -> Volts {
        Volts {
            name: "bar <1>".to_owned(),
            length: "2.5 m".to_owned(),
            supply_v: 24.0,
            bounds: vec![
                Bound {
                    volts: 22.8,
                    word: "acceptable down to here".to_owned(),
                },
                Bound {
                    volts: 21.6,
                    word: "too low below".to_owned(),
                },
            ],
            curves: vec![
                Curve {
                    channel: Channel::Red,
                    points: vec![(0.0, 23.5), (0.5, 23.0), (1.0, 22.9)],
                },
                Curve {
                    channel: Channel::Blue,
                    points: vec![(0.0, 23.5), (0.5, 23.1), (1.0, 22.95)],
                },
            ],
        }
    }

    #[test]
    fn every_colour_and_bound_is_drawn_and_said() {
        let drawn = volts().draw();
        assert_eq!(drawn.svg.matches("svg-wire ch-red").count(), 2);
        assert_eq!(drawn.svg.matches("svg-limit").count(), 2);
        assert!(!drawn.svg.contains("<1>"));
        assert_eq!(drawn.twin.len(), 5);
        assert!(
            drawn.twin[1].starts_with("red (R): 23.5 V"),
            "{:?}",
            drawn.twin
        );
    }

    #[test]
    fn lower_volts_lie_lower_and_words_do_not_meet() {
        let volts = volts();
        let lowest = volts.lowest();
        assert!(lowest < 21.6);
        assert!(volts.row(lowest, 22.0) > volts.row(lowest, 23.0));
        let mut svg = Svg::wide("words", HEIGHT);
        volts.words(&mut svg, lowest);
        let text = svg.finish();
        let rows: Vec<f64> = text
            .split("y=\"")
            .skip(1)
            .filter_map(|rest| rest.split('"').next()?.parse().ok())
            .collect();
        assert_eq!(rows.len(), 2);
        assert!(rows[1] - rows[0] >= WORD, "{rows:?}");
    }

    #[test]
    fn a_picture_without_a_fall_has_no_number_without_end() {
        let mut volts = volts();
        volts.bounds.clear();
        volts.curves = vec![Curve {
            channel: Channel::White,
            points: vec![(0.0, 24.0)],
        }];
        let drawn = volts.draw();
        assert!(!drawn.svg.contains("NaN") && !drawn.svg.contains("inf"));
    }
}
