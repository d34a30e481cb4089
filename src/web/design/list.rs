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
        form::Form,
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
    /// Which of how many are shown; empty where all are.
    shown: String,
    back: Option<String>,
    on: Option<String>,
}

/// Sets on one page.
const PAGE: usize = 50;

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

/// Which heading a set stands below.
const fn group_of(state: State) -> usize {
    match state {
        State::Reserved | State::Building | State::Standing => 0,
        State::Draft => 1,
        State::Struck | State::Cancelled => 2,
    }
}

/// One page of a list, and where the pages before and after it begin.
fn page_of<T>(all: Vec<T>, from: usize) -> (Vec<T>, Option<usize>, Option<usize>) {
    let back = (from > 0).then(|| from.saturating_sub(PAGE));
    let on = (all.len().saturating_sub(from) > PAGE).then(|| from.saturating_add(PAGE));
    (all.into_iter().skip(from).take(PAGE).collect(), back, on)
}

/// GET: the list, from a number on.
pub async fn get(cx: Cx, form: Form) -> Answer {
    let mut sets = db::design::list(&mut *cx.read().await?).await?;
    sets.sort_by_key(|set| group_of(set.state));
    let all = sets.len();
    let from = form.value("from").parse::<usize>().unwrap_or(0);
    let from = if from < all { from } else { 0 };
    let (sets, back, on) = page_of(sets, from);
    let mut groups: Vec<Group> = ["Now and next", "Drafts", "Over"]
        .into_iter()
        .map(|title| Group {
            title,
            rows: Vec::new(),
        })
        .collect();
    let shown = if back.is_some() || on.is_some() {
        format!("{} to {} of {all}", from + 1, from + sets.len())
    } else {
        String::new()
    };
    for set in sets {
        groups[group_of(set.state)].rows.push(row(&cx, &set));
    }
    groups.retain(|group| !group.rows.is_empty());
    let to = |at: usize| Link::Designs.with([("from", at.to_string())]).to_string();
    Ok(page(&ListPage {
        chrome: cx.chrome(Section::Designs, "Designs"),
        groups,
        shown,
        back: back.map(to),
        on: on.map(to),
    }))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_long_list_is_shown_page_by_page() {
        let all = || (0..120).collect::<Vec<_>>();
        assert_eq!(page_of(all(), 0), ((0..50).collect(), None, Some(50)));
        assert_eq!(
            page_of(all(), 50),
            ((50..100).collect(), Some(0), Some(100))
        );
        assert_eq!(page_of(all(), 100), ((100..120).collect(), Some(50), None));
        assert_eq!(page_of(vec![1, 2], 0), (vec![1, 2], None, None));
    }
}
