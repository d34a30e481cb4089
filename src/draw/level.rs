//! How much there was of something, day by day: a step line, with its highest and its last value.

use std::fmt::Write as _;

use super::{Picture, escape, float, short};
use crate::units::{Date, say_day};

const WIDTH: f64 = 720.0;
const HEIGHT: f64 = 150.0;
const TOP: f64 = 26.0;
const FLOOR: f64 = 122.0;

/// How much there was from each day on.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Level {
    /// What it is of, for the caption.
    pub what: String,
    /// Days with the amount at their end, in order; at least one.
    pub days: Vec<(Date, i64)>,
    /// The last day that is drawn.
    pub today: Date,
}

fn number(day: Date) -> i64 {
    let origin = Date::constant(2000, 1, 1);
    i64::from(origin.until(day).map_or(0, |span| span.get_days()))
}

impl Level {
    /// Changes of each day as amounts at its end, from the first on.
    pub fn sums(changes: impl IntoIterator<Item = (Date, i64)>) -> Vec<(Date, i64)> {
        let mut sum = 0_i64;
        changes
            .into_iter()
            .map(|(day, change)| {
                sum = sum.saturating_add(change);
                (day, sum)
            })
            .collect()
    }

    /// Draws it; `say` puts an amount into words. `None` where there is nothing to see: fewer than
    /// two days on which it changed.
    pub fn draw(&self, say: impl Fn(i64) -> String) -> Option<Picture> {
        let (first, last) = (self.days.first()?, self.days.last()?);
        if self.days.len() < 2 {
            return None;
        }
        let from = number(first.0);
        let to = number(self.today.max(last.0)).max(from + 1);
        let most = self.days.iter().map(|(_, amount)| *amount).max()?.max(1);
        let x = |day: i64| WIDTH * float(day - from) / float(to - from);
        let y = |amount: i64| FLOOR - (FLOOR - TOP) * float(amount.max(0)) / float(most);
        let mut line = String::new();
        for (day, amount) in &self.days {
            let (x, y) = (short(x(number(*day))), short(y(*amount)));
            if line.is_empty() {
                let _ = write!(line, "M{x} {y}");
            } else {
                let _ = write!(line, "H{x}V{y}");
            }
        }
        let _ = write!(line, "H{}", short(WIDTH));
        let caption = format!(
            "{} from {} to {}",
            self.what,
            say_day(first.0),
            say_day(self.today.max(last.0))
        );
        let (peak, peak_amount) = self
            .days
            .iter()
            .max_by_key(|(day, amount)| (*amount, std::cmp::Reverse(*day)))?;
        let at_peak = x(number(*peak));
        // Near the right edge a label stands before its mark.
        let (anchor, shift) = if at_peak > WIDTH * 0.6 {
            ("end", -4.0)
        } else {
            ("start", 4.0)
        };
        let mut svg = format!(
            "<svg viewBox=\"0 0 {WIDTH} {HEIGHT}\" width=\"{WIDTH}\" height=\"{HEIGHT}\" role=\"img\" aria-label=\"{}\">\
             <path class=\"svg-rule\" d=\"M0 {FLOOR}H{WIDTH}\"/>\
             <path class=\"svg-fill\" d=\"{line}V{FLOOR}H0Z\" opacity=\".18\"/>\
             <path class=\"svg-accent\" fill=\"none\" d=\"{line}\"/>",
            escape(&caption)
        );
        let _ = write!(
            svg,
            "<text class=\"svg-small\" text-anchor=\"{anchor}\" x=\"{}\" y=\"{}\">most: {}</text>",
            short(at_peak + shift),
            short(y(*peak_amount) - 6.0),
            escape(&say(*peak_amount))
        );
        let _ = write!(
            svg,
            "<text class=\"svg-small\" x=\"0\" y=\"{0}\">{1}</text>\
             <text class=\"svg-small\" text-anchor=\"end\" x=\"{WIDTH}\" y=\"{0}\">{2}, now {3}</text></svg>",
            short(FLOOR + 18.0),
            say_day(first.0),
            say_day(self.today.max(last.0)),
            escape(&say(last.1))
        );
        Some(Picture {
            svg,
            caption,
            twin: self
                .days
                .iter()
                .map(|(day, amount)| format!("from {}: {}", say_day(*day), say(*amount)))
                .collect(),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use jiff::civil::date;

    #[test]
    fn steps_stand_where_their_days_are_and_are_told_in_words() {
        let days = Level::sums([
            (date(2026, 1, 1), 10),
            (date(2026, 1, 6), -4),
            (date(2026, 1, 9), 2),
        ]);
        assert_eq!(days[1].1, 6);
        let level = Level {
            what: "Clips".to_owned(),
            days,
            today: date(2026, 1, 11),
        };
        let picture = level.draw(|amount| format!("{amount} pcs")).unwrap();
        // Half of ten days is half of the width; the floor is 122, ten pieces reach up to 26.
        assert!(
            picture.svg.contains("M0 26H360V64.4H576V45.2H720"),
            "{}",
            picture.svg
        );
        assert!(picture.svg.contains("most: 10 pcs") && picture.svg.contains("now 8 pcs"));
        assert_eq!(picture.twin.len(), 3);
        assert_eq!(
            picture.twin[1],
            format!("from {}: 6 pcs", say_day(date(2026, 1, 6)))
        );
    }

    #[test]
    fn what_never_changed_is_not_drawn() {
        for days in [Vec::new(), vec![(date(2026, 1, 1), 3)]] {
            let level = Level {
                what: String::new(),
                days,
                today: date(2026, 2, 1),
            };
            assert_eq!(level.draw(|amount| amount.to_string()), None);
        }
    }
}
