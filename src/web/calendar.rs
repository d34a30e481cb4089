//! The year: who holds what when, and what is free in the gaps.

use askama::Template;

use super::{
    cx::Cx,
    error::Answer,
    form::Form,
    link::Link,
    page::{Chrome, Section, page},
};
use crate::{
    db,
    draw::calendar::{self, Row},
    model::id::DesignId,
    units::{Date, parse_date},
};

struct SetRow {
    id: DesignId,
    name: String,
    state: &'static str,
    build_on: Date,
    get_in: Date,
    strike_on: Date,
    bars: i64,
    fixtures: i64,
    broken: i64,
}

struct Gap {
    from: Date,
    free: i64,
}

#[derive(Template)]
#[template(path = "calendar.html")]
struct CalendarPage {
    chrome: Chrome,
    svg: String,
    caption: String,
    rows: Vec<SetRow>,
    gaps: Vec<Gap>,
    fixtures: i64,
    back: Option<String>,
    on: Option<String>,
}

/// GET: twelve months, from two months ago or from the month asked for.
pub async fn get(cx: Cx, form: Form) -> Answer {
    let from = parse_date(form.value("from"))
        .unwrap_or_else(|_| calendar::month_after(cx.today, -2))
        .first_of_month();
    let to = calendar::end(from);
    let mut tx = cx.read().await?;
    let rows: Vec<SetRow> = db::calendar::list(&mut tx, from, to)
        .await?
        .into_iter()
        .map(|row| SetRow {
            id: row.id,
            name: row.name,
            state: row.state.word(),
            build_on: row.build_on,
            get_in: row.get_in,
            strike_on: row.strike_on,
            bars: row.bars,
            fixtures: row.fixtures,
            broken: row.broken,
        })
        .collect();
    let fixtures = db::calendar::count_fixtures(&mut tx).await?;
    let drawn: Vec<Row> = rows
        .iter()
        .map(|row| Row {
            name: row.name.clone(),
            href: Link::Design(row.id).to_string(),
            state: row.state,
            build_on: row.build_on,
            get_in: row.get_in,
            strike_on: row.strike_on,
            holds: matches!(row.state, "reserved" | "building" | "standing"),
            fixtures: row.fixtures,
        })
        .collect();
    let gaps = calendar::free_by_day(from, to, &drawn, fixtures)
        .into_iter()
        .map(|(from, free)| Gap { from, free })
        .collect();
    let other = |months| {
        Some(format!(
            "{}?from={}",
            Link::Calendar,
            calendar::month_after(from, months)
        ))
    };
    Ok(page(&CalendarPage {
        chrome: cx.chrome(Section::Calendar, "Calendar"),
        svg: calendar::draw(from, cx.today, &drawn, fixtures),
        caption: format!("Sets from {from} to {to}"),
        rows,
        gaps,
        fixtures,
        back: other(-6),
        on: other(6),
    }))
}
