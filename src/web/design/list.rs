//! Every set, by state, with its dates.

use askama::Template;

use super::{count_of, day};
use crate::{
    db::{self, design::Listed},
    model::design::State,
    units::Length,
    web::{
        cx::Cx,
        error::Answer,
        link::Link,
        page::{Chrome, Section, page},
    },
};

/// One set of the list.
struct Row {
    href: Link,
    name: String,
    state: State,
    dates: String,
    bars: String,
    budget: Option<String>,
    broken: Option<String>,
    late: Option<String>,
}

struct Group {
    title: &'static str,
    rows: Vec<Row>,
}

#[derive(Template)]
#[template(path = "design/list.html")]
struct ListPage {
    chrome: Chrome,
    groups: Vec<Group>,
}

fn row(cx: &Cx, set: &Listed) -> Row {
    let total = Length::new(set.bars_um).map_or_else(|_| String::new(), |um| cx.length(um));
    let late = (matches!(set.state, State::Standing | State::Building)
        && set.dates.strike_on() < cx.today)
        .then(|| "should have been struck".to_owned());
    Row {
        href: Link::Design(set.id),
        name: set.name.to_string(),
        state: set.state,
        dates: format!(
            "build {} · get-in {} · strike {}",
            day(set.dates.build_on()),
            day(set.dates.get_in()),
            day(set.dates.strike_on())
        ),
        bars: match usize::try_from(set.bars).unwrap_or(0) {
            0 => "no bars yet".to_owned(),
            bars => format!("{}, {total} together", count_of(bars, "bar", "bars")),
        },
        budget: set.budget_minor.map(|budget| cx.money(budget)),
        broken: (set.broken_holds > 0).then(|| {
            count_of(
                usize::try_from(set.broken_holds).unwrap_or(0),
                "broken hold",
                "broken holds",
            )
        }),
        late,
    }
}

/// GET: the list.
pub async fn get(cx: Cx) -> Answer {
    let sets = db::design::list(&mut *cx.read().await?).await?;
    let mut groups: Vec<Group> = ["Now and next", "Drafts", "Over"]
        .into_iter()
        .map(|title| Group {
            title,
            rows: Vec::new(),
        })
        .collect();
    for set in sets {
        let at = match set.state {
            State::Reserved | State::Building | State::Standing => 0,
            State::Draft => 1,
            State::Struck | State::Cancelled => 2,
        };
        groups[at].rows.push(row(&cx, &set));
    }
    groups.retain(|group| !group.rows.is_empty());
    let chrome = cx.chrome(Section::Designs, "Designs");
    Ok(page(&ListPage { chrome, groups }))
}
