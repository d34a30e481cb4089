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
    model::{design::State, id::DesignId},
    units::{parse_date, say_day},
};

struct SetRow {
    id: DesignId,
    name: String,
    state: &'static str,
    build_on: String,
    get_in: String,
    strike_on: String,
    bars: i64,
    fixtures: i64,
    broken: i64,
}

struct Gap {
    from: String,
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

/// GET: twelve months, from the last one or from the month asked for.
pub async fn get(cx: Cx, form: Form) -> Answer {
    let from = parse_date(form.value("from"))
        .unwrap_or_else(|_| calendar::month_after(cx.today, -1))
        .first_of_month();
    let to = calendar::end(from);
    let mut tx = cx.read().await?;
    let sets = db::calendar::list(&mut tx, from, to).await?;
    let fixtures = db::calendar::count_fixtures(&mut tx).await?;
    let drawn: Vec<Row> = sets
        .iter()
        .map(|set| Row {
            name: set.name.clone(),
            href: Link::Design(set.id).to_string(),
            state: set.state.word(),
            build_on: set.build_on,
            get_in: set.get_in,
            strike_on: set.strike_on,
            holds: matches!(
                set.state,
                State::Reserved | State::Building | State::Standing
            ),
            over: matches!(set.state, State::Struck | State::Cancelled),
            fixtures: set.fixtures,
        })
        .collect();
    let rows = sets
        .into_iter()
        .map(|set| SetRow {
            id: set.id,
            name: set.name,
            state: set.state.word(),
            build_on: say_day(set.build_on),
            get_in: say_day(set.get_in),
            strike_on: say_day(set.strike_on),
            bars: set.bars,
            fixtures: set.fixtures,
            broken: set.broken,
        })
        .collect();
    let gaps = calendar::free_by_day(from.max(cx.today), to, &drawn, fixtures)
        .into_iter()
        .map(|(from, free)| Gap {
            from: say_day(from),
            free,
        })
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
        caption: format!("Sets from {} to {}", say_day(from), say_day(to)),
        rows,
        gaps,
        fixtures,
        back: other(-6),
        on: other(6),
    }))
}
