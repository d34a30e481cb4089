//! Takes a set from one state to another; asks first where that ends something or leaves work undone.

use askama::Template;
use axum::http::StatusCode;

use super::{Head, Tab, Whole, count_of, head, load};
use crate::{
    db,
    model::{design::State, id::DesignId},
    stock::{self, StockError},
    web::{
        at::Path,
        cx::Cx,
        error::{Answer, Trouble},
        form::Form,
        link::Link,
        page::{Chrome, Flash, FlashKind, go_with, page},
    },
};

/// Steps of the bench.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Steps {
    /// How many are not ticked.
    pub open: usize,
    /// How many there are.
    pub all: usize,
}

impl Steps {
    /// Those of a set.
    pub async fn read(cx: &Cx, id: DesignId) -> Result<Self, Trouble> {
        let steps = db::design::list_steps(&mut *cx.read().await?, id).await?;
        Ok(Self {
            open: steps.iter().filter(|step| step.done.is_none()).count(),
            all: steps.len(),
        })
    }

    /// What is not ticked, in words.
    fn words(self) -> String {
        format!(
            "{} of {} {} not ticked",
            self.open,
            count_of(self.all, "step", "steps"),
            if self.open == 1 { "is" } else { "are" }
        )
    }
}

/// Whether a question comes before this change of state. Before a set is called standing it does only
/// where steps are open.
pub const fn asks(from: State, to: State) -> bool {
    matches!(
        (from, to),
        (State::Building, State::Standing) | (State::Standing, State::Struck)
    )
}

/// The button that calls a set struck where nothing is open.
pub const ALL_IN: &str = "All is in: it is struck";

/// What is said wherever a set can be called struck.
pub const FOR_GOOD: &str =
    "This cannot be taken back: what is struck stays struck. For another run, copy the set.";

/// Whether a standing set can be called struck without a question: nothing of it is out or missing,
/// and no step was left open.
pub fn all_in(whole: &Whole, steps: Steps, nothing_out: bool) -> bool {
    whole.design().state == State::Standing
        && nothing_out
        && whole.away.is_empty()
        && whole.broken.is_empty()
        && steps.open == 0
}

/// Where that question is.
pub fn ask_link(id: DesignId, to: State) -> Link {
    Link::DesignState(id).with([("to", to.word().to_owned())])
}

#[derive(Template)]
#[template(path = "design/state.html")]
struct StatePage {
    chrome: Chrome,
    head: Head,
    to: State,
    title: &'static str,
    /// What speaks against it.
    against: Vec<String>,
    /// What it does to the stock.
    does: Vec<String>,
    button: &'static str,
    /// Why it cannot be done now, with where that can be seen.
    refused: Option<String>,
    see: (Link, &'static str),
}

/// What is open at the bench, in words.
fn left_open(whole: &Whole, steps: Steps) -> Vec<String> {
    let counts = whole.counts();
    let mut left = Vec::new();
    match (steps.open, counts.build) {
        (0, 0) => {}
        (0, build) => left.push(format!(
            "{} not built: not in the cupboard, and not out with the set.",
            count_of(build, "bar is", "bars are")
        )),
        (_, 0) => left.push(format!("{}.", steps.words())),
        (_, build) => left.push(format!(
            "{}, {} not built: they are not in the cupboard and hold nothing out.",
            steps.words(),
            count_of(build, "bar is", "bars are")
        )),
    }
    if counts.short > 0 {
        left.push(format!(
            "Nothing serves {}.",
            count_of(counts.short, "bar", "bars")
        ));
    }
    left
}

/// What ends with a set that is struck, in words.
async fn ending(cx: &Cx, id: DesignId) -> Result<Vec<String>, Trouble> {
    let mut tx = cx.read().await?;
    let holds = db::reservation::list(&mut tx, id).await?;
    let mut ends: Vec<String> = Vec::new();
    ends.extend(stock::state::freed(&mut tx, &holds).await?);
    ends.push(FOR_GOOD.to_owned());
    Ok(ends)
}

/// GET: the question before it.
pub async fn get(cx: Cx, Path(id): Path<DesignId>, form: Form) -> Answer {
    let whole = load::whole(&cx, id).await?;
    let state = whole.design().state;
    let to = form.value("to").parse::<State>().ok();
    let preview = stock::state::previews(cx.db(), id)
        .await?
        .into_iter()
        .find(|preview| Some(preview.to) == to && asks(state, preview.to));
    let Some(preview) = preview else {
        return Err(Trouble::new(
            StatusCode::UNPROCESSABLE_ENTITY,
            format!("Of a {state} set this is not asked. Nothing was changed."),
        )
        .or_go(Link::Design(id), "To the set"));
    };
    let steps = Steps::read(&cx, id).await?;
    let struck = preview.to == State::Struck;
    let against = if struck {
        ending(&cx, id).await?
    } else {
        left_open(&whole, steps)
    };
    let (mut chrome, head) = head(&cx, &whole, Tab::Beside);
    let title = if struck {
        "Call this set struck?"
    } else {
        "Does this set stand?"
    };
    chrome.title = format!("{title} · {}", head.name);
    Ok(page(&StatePage {
        chrome,
        to: preview.to,
        title,
        button: if !struck && !against.is_empty() {
            "It stands anyway"
        } else {
            super::one::button(state, preview.to)
        },
        against,
        does: preview.does,
        refused: preview.refused,
        see: if struck {
            (Link::Strike(id), "See what is out")
        } else {
            (Link::Build(id), "To the bench")
        },
        head,
    }))
}

/// POST: the change of state that a button asks for.
pub async fn post(cx: Cx, Path(id): Path<DesignId>, form: Form) -> Answer {
    let back = Link::Design(id);
    let Ok(to) = form.value("to").parse::<State>() else {
        return Err(Trouble::new(
            StatusCode::UNPROCESSABLE_ENTITY,
            "This button names no state that a set can have. Nothing was changed.",
        )
        .or_go(back, "To the set"));
    };
    let version = form.value("version").parse().unwrap_or(0);
    match stock::state::go(&cx.act(&form), id, version, to).await {
        Ok(gone) => {
            let mut text = format!("The set is {to} now.");
            let kind = if gone.missing.is_empty() {
                FlashKind::Good
            } else {
                text.push_str(" Not there to go along: ");
                text.push_str(&gone.missing.join("; "));
                FlashKind::Warn
            };
            let to_page = match to {
                State::Building => Link::Build(id),
                _ => back,
            };
            Ok(go_with(
                &to_page,
                &Flash {
                    kind,
                    text,
                    undoes: None,
                    toward: None,
                    log: false,
                    lines: Vec::new(),
                },
            ))
        }
        Err(StockError::NotFound("set")) => Err(load::no_design()),
        Err(StockError::Changed) => Err(load::changed(&back)),
        Err(why) => Err(Trouble::from(why).or_go(back, "To the set")),
    }
}
