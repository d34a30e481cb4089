//! The year: each set a row from build day to strike, and below them how many fixtures are free.

use std::fmt::Write as _;

use crate::{draw::escape, units::Date};

/// One set.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Row {
    /// Name.
    pub name: String,
    /// Where a press on it leads.
    pub href: String,
    /// Its state in a word.
    pub state: &'static str,
    /// Build day.
    pub build_on: Date,
    /// Get-in.
    pub get_in: Date,
    /// Strike.
    pub strike_on: Date,
    /// Whether it holds stock (drawn solid) or only plans to (hatched).
    pub holds: bool,
    /// Whether it is over (drawn plain).
    pub over: bool,
    /// Fixtures held.
    pub fixtures: i64,
}

const WIDTH: i32 = 960;
const LEFT: i32 = 0;
const TOP: i32 = 42;
const ROW: i32 = 46;
/// The width of a figure of a small number. Where a gap has no room, the text below tells it.
const FIGURE: i32 = 7;

/// Draws twelve months from the first of a month. `free_of` is how many fixtures there are: what is
/// free is drawn from today on, since how many there were before is not known here.
pub fn draw(from: Date, today: Date, rows: &[Row], free_of: i64) -> String {
    let to = end(from);
    let days = day_number(to) - day_number(from);
    let x = |day: Date| {
        let day = day_number(day).clamp(day_number(from), day_number(to)) - day_number(from);
        LEFT + (i64::from(WIDTH - LEFT) * day / days.max(1))
            .try_into()
            .unwrap_or(0)
    };
    let height = TOP + ROW * i32::try_from(rows.len()).unwrap_or(0).max(1) + 80;
    let mut svg = format!(
        "<svg class=\"year\" viewBox=\"0 0 {WIDTH} {height}\" width=\"{WIDTH}\" height=\"{height}\" role=\"group\" \
         aria-label=\"Sets from {from} to {to}\">"
    );
    for month in 0..12 {
        let first = month_after(from, month);
        let at = x(first);
        let _ = write!(
            svg,
            "<path class=\"svg-rule\" d=\"M{at} 0V{height}\"/><text class=\"svg-small\" x=\"{}\" y=\"14\">{}</text>",
            at + 4,
            month_name(first)
        );
    }
    for (i, row) in rows.iter().enumerate() {
        let y = TOP + ROW * i32::try_from(i).unwrap_or(0);
        let (start, end) = (
            x(row.build_on),
            x(row.strike_on.tomorrow().unwrap_or(row.strike_on)),
        );
        let class = match (row.holds, row.over) {
            (true, _) => "svg-reused",
            (false, true) => "svg-past",
            (false, false) => "svg-build",
        };
        let get_in = x(row.get_in);
        let name_at = start.min(WIDTH - 220);
        let _ = write!(
            svg,
            "<a href=\"{}\"><text class=\"svg-text\" x=\"{name_at}\" y=\"{}\">{} ({})</text>\
             <rect class=\"{class}\" x=\"{start}\" y=\"{}\" width=\"{}\" height=\"16\"/>\
             <path class=\"svg-ink\" d=\"M{get_in} {}v20\"/></a>",
            escape(&row.href),
            y + 14,
            escape(&row.name),
            row.state,
            y + 20,
            (end - start).max(3),
            y + 18,
        );
    }
    let base = height - 12;
    let mut path = String::new();
    let since = from.max(today);
    if free_of > 0 {
        let free_days = free_by_day(since, to, rows, free_of);
        for (i, (day, free)) in free_days.iter().enumerate() {
            let up = i32::try_from(30 * free.clamp(&0, &free_of) / free_of).unwrap_or(0);
            let at = x(*day);
            let until = free_days.get(i + 1).map_or(WIDTH, |(next, _)| x(*next));
            let number = free.to_string();
            let wide = FIGURE * i32::try_from(number.len()).unwrap_or(0);
            if until - at >= wide + 4 {
                let _ = write!(
                    svg,
                    "<text class=\"svg-small\" x=\"{}\" y=\"{}\">{number}</text>",
                    at + 3,
                    base - up - 4
                );
            }
            if path.is_empty() {
                let _ = write!(path, "M{at} {}", base - up);
            } else {
                let _ = write!(path, "H{at}V{}", base - up);
            }
        }
        let _ = write!(path, "H{WIDTH}");
    }
    if since <= to {
        let _ = write!(
            svg,
            "<text class=\"svg-small\" x=\"4\" y=\"{}\">Fixtures free, of {free_of}</text>\
             <path class=\"svg-rule\" d=\"M{} {base}H{WIDTH}\"/><path class=\"svg-accent\" fill=\"none\" d=\"{path}\"/>",
            base - 52,
            x(since)
        );
    }
    let now = x(today);
    if today >= from && today <= to {
        let _ = write!(
            svg,
            "<path class=\"svg-limit\" d=\"M{now} 22V{height}\"/><text class=\"svg-small\" x=\"{}\" y=\"36\">today</text>",
            now + 3
        );
    }
    svg.push_str("</svg>");
    svg
}

/// How many fixtures are free from each day on which the number changes.
pub fn free_by_day(from: Date, to: Date, rows: &[Row], free_of: i64) -> Vec<(Date, i64)> {
    let mut days: Vec<Date> = vec![from];
    for row in rows.iter().filter(|row| row.holds) {
        days.push(row.build_on.max(from));
        days.push(row.strike_on.tomorrow().unwrap_or(to));
    }
    days.retain(|day| *day >= from && *day <= to);
    days.sort_unstable();
    days.dedup();
    days.into_iter()
        .map(|day| {
            let held: i64 = rows
                .iter()
                .filter(|row| row.holds && row.build_on <= day && day <= row.strike_on)
                .map(|row| row.fixtures)
                .sum();
            (day, free_of - held)
        })
        .collect()
}

/// The last day of twelve months from the first of a month.
pub fn end(from: Date) -> Date {
    month_after(from, 12).yesterday().unwrap_or(from)
}

/// The first of the month so many months later (or, negative, earlier).
pub fn month_after(from: Date, months: i32) -> Date {
    from.first_of_month()
        .checked_add(jiff::Span::new().months(months))
        .unwrap_or(from)
}

fn day_number(day: Date) -> i64 {
    let origin = Date::constant(1970, 1, 1);
    i64::from(origin.until(day).map_or(0, |span| span.get_days()))
}

fn month_name(day: Date) -> String {
    const NAMES: [&str; 12] = [
        "Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec",
    ];
    let name = usize::try_from(day.month() - 1)
        .ok()
        .and_then(|month| NAMES.get(month));
    let name = name.copied().unwrap_or("?");
    if day.month() == 1 {
        format!("{name} {}", day.year())
    } else {
        name.to_owned()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn row(build: &str, strike: &str, fixtures: i64) -> Row {
        let day = |text: &str| crate::units::parse_date(text).unwrap();
        Row {
            name: "A <set>".into(),
            href: "/designs/1".into(),
            state: "reserved",
            build_on: day(build),
            get_in: day(build),
            strike_on: day(strike),
            holds: true,
            over: false,
            fixtures,
        }
    }

    #[test]
    fn free_fixtures_fall_on_build_day_and_come_back_the_day_after_strike() {
        let from = Date::constant(2026, 1, 1);
        let rows = [
            row("2026-02-10", "2026-02-20", 4),
            row("2026-02-15", "2026-03-01", 3),
        ];
        let day = |m, d| Date::constant(2026, m, d);
        assert_eq!(
            free_by_day(from, end(from), &rows, 10),
            [
                (from, 10),
                (day(2, 10), 6),
                (day(2, 15), 3),
                (day(2, 21), 7),
                (day(3, 2), 10)
            ]
        );
    }

    #[test]
    fn what_was_free_before_today_is_not_told() {
        let from = Date::constant(2026, 1, 1);
        let rows = [row("2026-02-10", "2026-02-20", 4)];
        let today = Date::constant(2026, 3, 1);
        let svg = draw(from, today, &rows, 10);
        assert!(
            svg.contains(">10</text>") && !svg.contains(">6</text>"),
            "{svg}"
        );
        // Of a year that is over there is nothing to tell.
        let later = Date::constant(2027, 3, 1);
        assert!(!draw(from, later, &rows, 10).contains("Fixtures free"));
        assert!(free_by_day(later, end(from), &rows, 10).is_empty());
    }

    #[test]
    fn gaps_are_numbered_and_what_is_over_differs_from_a_draft() {
        let from = Date::constant(2026, 1, 1);
        let mut rows = [
            row("2026-03-01", "2026-04-30", 4),
            row("2026-08-01", "2026-08-20", 3),
            row("2026-10-01", "2026-10-20", 3),
        ];
        rows[1].holds = false;
        rows[2].holds = false;
        rows[2].over = true;
        let svg = draw(from, from, &rows, 9);
        for (number, times) in [("9", 2), ("5", 1)] {
            assert_eq!(
                svg.matches(&format!(">{number}</text>")).count(),
                times,
                "{svg}"
            );
        }
        for class in ["svg-reused", "svg-build", "svg-past"] {
            assert_eq!(svg.matches(class).count(), 1, "{class}");
        }
    }

    #[test]
    fn names_are_escaped_and_the_year_has_twelve_months() {
        let from = Date::constant(2026, 9, 1);
        let svg = draw(
            from,
            Date::constant(2026, 11, 25),
            &[row("2026-12-01", "2026-12-20", 1)],
            3,
        );
        assert!(svg.contains("A &lt;set&gt;") && !svg.contains("<set>"));
        assert!(svg.contains("Jan 2027") && svg.contains("Aug"));
        assert_eq!(end(from), Date::constant(2027, 8, 31));
    }
}
