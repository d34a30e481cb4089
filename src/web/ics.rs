//! The sets as an iCalendar feed (RFC 5545), for the calendars that people have already.

use std::fmt::Write as _;

use axum::{
    http::header,
    response::{IntoResponse as _, Response},
};
use jiff::Timestamp;

use super::{
    cx::Cx,
    error::{Answer, Trouble},
    link::Link,
};
use crate::{
    db::{self, design::Listed},
    model::{
        design::State,
        reservation::{Held, HoldState},
    },
    units::Date,
};

/// Octets of a line, its end left out (RFC 5545, section 3.1).
const LINE: usize = 75;

/// One all-day event.
struct Event {
    uid: String,
    /// The first day, and the day after the last.
    days: [Date; 2],
    summary: String,
    description: String,
    url: String,
    cancelled: bool,
}

/// Text as a value: commas, semicolons, backslashes and line ends are escaped (section 3.3.11).
fn value(text: &str) -> String {
    let mut escaped = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '\\' | ';' | ',' => {
                escaped.push('\\');
                escaped.push(c);
            }
            '\n' => escaped.push_str("\\n"),
            '\r' => {}
            c => escaped.push(c),
        }
    }
    escaped
}

/// Writes a line, folded at 75 octets and never within a character.
fn line(text: &mut String, content: &str) {
    let mut room = LINE;
    for c in content.chars() {
        if c.len_utf8() > room {
            text.push_str("\r\n ");
            room = LINE - 1;
        }
        text.push(c);
        room -= c.len_utf8();
    }
    text.push_str("\r\n");
}

fn day(date: Date) -> String {
    date.strftime("%Y%m%d").to_string()
}

fn calendar(name: &str, stamp: &str, events: &[Event]) -> String {
    let mut text = String::new();
    for head in [
        "BEGIN:VCALENDAR",
        "VERSION:2.0",
        "PRODID:-//Tapewright//Stock book//EN",
        "CALSCALE:GREGORIAN",
    ] {
        line(&mut text, head);
    }
    line(&mut text, &format!("NAME:{}", value(name)));
    for event in events {
        let [from, after] = event.days;
        line(&mut text, "BEGIN:VEVENT");
        line(&mut text, &format!("UID:{}", event.uid));
        line(&mut text, &format!("DTSTAMP:{stamp}"));
        line(&mut text, &format!("DTSTART;VALUE=DATE:{}", day(from)));
        line(&mut text, &format!("DTEND;VALUE=DATE:{}", day(after)));
        line(&mut text, &format!("SUMMARY:{}", value(&event.summary)));
        line(
            &mut text,
            &format!("DESCRIPTION:{}", value(&event.description)),
        );
        if !event.url.is_empty() {
            line(&mut text, &format!("URL:{}", event.url));
        }
        let status = if event.cancelled {
            "CANCELLED"
        } else {
            "CONFIRMED"
        };
        line(&mut text, &format!("STATUS:{status}"));
        line(&mut text, "TRANSP:TRANSPARENT");
        line(&mut text, "END:VEVENT");
    }
    line(&mut text, "END:VCALENDAR");
    text
}

async fn event(cx: &Cx, tx: &mut db::ReadTx, set: &Listed) -> Result<Event, Trouble> {
    let (mut things, mut counts, mut broken) = (0, 0, 0);
    for hold in db::reservation::list(tx, set.id).await? {
        match (hold.state, &hold.hold.held) {
            (HoldState::Broken, _) => broken += 1,
            (HoldState::Active, Held::Thing { .. }) => things += 1,
            (HoldState::Active, Held::Count { .. }) => counts += 1,
            _ => {}
        }
    }
    let dates = &set.dates;
    let mut description = format!(
        "{}; {} bars. Build from {}, get-in {}, strike {}. Holds {things} things and {counts} counts of parts.",
        set.state,
        set.bars,
        dates.build_on(),
        dates.get_in(),
        dates.strike_on()
    );
    if broken > 0 {
        // Writing to a string cannot fail.
        let _ = write!(description, " {broken} of its holds are broken.");
    }
    let base = cx.venue.label_base.trim_end_matches('/');
    Ok(Event {
        uid: format!("design-{}@tapewright", set.id),
        days: [
            dates.build_on(),
            dates.strike_on().tomorrow().unwrap_or(dates.strike_on()),
        ],
        summary: set.name.to_string(),
        description,
        url: if base.is_empty() {
            String::new()
        } else {
            format!("{base}{}", Link::Design(set.id))
        },
        cancelled: set.state == State::Cancelled,
    })
}

/// GET: every set as an all-day event from its build day to its strike.
pub async fn get(cx: Cx) -> Answer {
    let mut tx = cx.read().await?;
    let mut events = Vec::new();
    for set in db::design::list(&mut tx).await? {
        events.push(event(&cx, &mut tx, &set).await?);
    }
    drop(tx);
    let now = Timestamp::from_millisecond(cx.app.clock().now_ms()).unwrap_or_default();
    let stamp = now.strftime("%Y%m%dT%H%M%SZ").to_string();
    let text = calendar(cx.venue.name.as_str(), &stamp, &events);
    let response: Response = (
        [(header::CONTENT_TYPE, "text/calendar; charset=utf-8")],
        text,
    )
        .into_response();
    Ok(response)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The example of section 3.1 of RFC 5545 unfolds to one line; ours folds by the same rule.
    #[test]
    fn long_lines_are_folded_at_75_octets_and_unfold_to_what_they_were() {
        let long = format!("DESCRIPTION:{}", "Über der Bühne, ".repeat(20));
        let mut text = String::new();
        line(&mut text, &long);
        for piece in text.trim_end_matches("\r\n").split("\r\n") {
            assert!(piece.len() <= 75, "{} octets: {piece}", piece.len());
        }
        assert_eq!(text.replace("\r\n ", ""), format!("{long}\r\n"));
    }

    #[test]
    fn text_is_escaped_and_days_end_on_the_day_after() {
        let events = [Event {
            uid: "design-1@tapewright".into(),
            days: [
                jiff::civil::date(2026, 3, 17),
                jiff::civil::date(2026, 3, 24),
            ],
            summary: "Spring; dance, part \\ one\ntwo".into(),
            description: String::new(),
            url: String::new(),
            cancelled: false,
        }];
        let text = calendar("Millpond Hall", "20260305T120000Z", &events);
        assert!(
            text.contains("SUMMARY:Spring\\; dance\\, part \\\\ one\\ntwo\r\n"),
            "{text}"
        );
        assert!(text.contains("DTSTART;VALUE=DATE:20260317\r\nDTEND;VALUE=DATE:20260324\r\n"));
        assert!(text.starts_with("BEGIN:VCALENDAR\r\nVERSION:2.0\r\n"));
        assert!(text.ends_with("END:VEVENT\r\nEND:VCALENDAR\r\n"));
        assert!(!text.replace("\r\n", "").contains('\n'));
    }
}
