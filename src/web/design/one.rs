//! One set at a glance: drawn, counted, and what can be done with it next.

use askama::Template;

use super::{
    Head, Tab, Whole, count_of, day, head, load,
    short::{MoneyWords, money},
    state::{ALL_IN, FOR_GOOD, Steps, all_in, ask_link, asks},
    taken::{Taken, taken},
};
use crate::{
    model::{
        design::State,
        id::{DesignId, PartId},
    },
    stock::{self, state::Preview},
    web::{
        at::Path,
        cx::Cx,
        error::Answer,
        link::Link,
        page::{Chrome, page},
    },
};

struct Key {
    value: String,
    unit: String,
    label: String,
}

/// A state that may come next, with what the change does to the stock.
pub struct Next {
    /// The state.
    pub to: State,
    /// What is done, as a button says it.
    pub button: &'static str,
    /// Kind of the button.
    pub kind: &'static str,
    /// Where it is posted or leads.
    pub href: Link,
    /// Whether a page of its own comes first.
    pub leads: bool,
    /// The way round that page, where there is one: where it is posted, and what its button says.
    pub anyway: Option<(Link, &'static str)>,
    /// What it does to the stock.
    pub does: Vec<String>,
    /// Why it cannot be done now.
    pub not: Option<String>,
    /// Where what stands in the way can be seen.
    pub see: Option<(Link, &'static str)>,
}

#[derive(Template)]
#[template(path = "design/one.html")]
struct OnePage {
    chrome: Chrome,
    head: Head,
    keys: Vec<Key>,
    picture: String,
    twin: Vec<String>,
    next: Vec<Next>,
    facts: Vec<(&'static str, String)>,
    money: MoneyWords,
    short: usize,
    /// How many of the short things are on order.
    coming: usize,
    unexplained: usize,
    /// What was chosen and somebody else has.
    taken: Vec<Taken>,
    first_steps: bool,
    strike: bool,
    /// What it holds and has not with it: its page, its tag, where it is.
    away: Vec<(Link, String, String)>,
    /// Steps that were not ticked when it was called standing, in words.
    unticked: Option<String>,
}

/// What a button into a state says.
pub const fn button(from: State, to: State) -> &'static str {
    match (from, to) {
        (_, State::Reserved) if matches!(from, State::Building) => {
            "Stop building, keep it reserved"
        }
        (_, State::Reserved) => "Reserve it",
        (State::Cancelled, State::Draft) => "Take it up again as a draft",
        (_, State::Draft) => "Put it back to draft",
        (State::Standing, State::Building) => "It does not stand yet",
        (_, State::Building) => "Begin to build",
        (_, State::Standing) => "It stands",
        (_, State::Struck) => "It is struck",
        (_, State::Cancelled) => "Cancel it",
    }
}

/// The button that begins to build by what is held, where the plan is newer.
fn button_by_held(id: DesignId) -> (Link, &'static str) {
    (Link::DesignState(id), "Begin by the older plan")
}

/// The states that may follow, each with what it does to the stock.
fn next(whole: &Whole, steps: Steps, mut previews: Vec<Preview>) -> Vec<Next> {
    let design = whole.design();
    // What leads on comes first, the way back after it, giving up last.
    let back = |to: State| match (design.state, to) {
        (_, State::Cancelled) => 2,
        (State::Reserved, State::Draft)
        | (State::Building, State::Reserved)
        | (State::Standing, State::Building) => 1,
        _ => 0,
    };
    previews.sort_by_key(|preview| back(preview.to));
    previews
        .into_iter()
        .map(|preview| {
            // Goods that came since, or stock that went: what is held is not what is planned now.
            let older = preview.to == State::Building && !whole.not_held.is_empty();
            let reserves = older || preview.to == State::Reserved && design.state == State::Draft;
            let struck = preview.to == State::Struck;
            let at_once = struck && all_in(whole, steps, preview.refused.is_none());
            let asked =
                asks(design.state, preview.to) && !at_once && (struck || steps.open > 0);
            let leads = reserves || asked;
            let begins = (design.state, preview.to) == (State::Reserved, State::Building);
            let short = begins && !older && whole.plan().is_short();
            Next {
                to: preview.to,
                button: if older {
                    "Plan again and hold anew"
                } else if at_once {
                    ALL_IN
                } else if short {
                    "Begin although something is short"
                } else {
                    button(design.state, preview.to)
                },
                anyway: older.then(|| button_by_held(design.id)),
                kind: match preview.to {
                    State::Cancelled => "danger",
                    State::Draft => "",
                    State::Reserved if !leads => "",
                    State::Building if design.state == State::Standing || short => "",
                    _ => "main",
                },
                href: if asked {
                    ask_link(design.id, preview.to)
                } else if reserves {
                    Link::DesignReserve(design.id)
                } else {
                    Link::DesignState(design.id)
                },
                leads,
                does: if older {
                    vec![
                        "The plan is newer than what is held, as is said above: hold it anew before \
                         you begin, so that the bench works by it."
                            .to_owned(),
                    ]
                } else if reserves {
                    super::reserve::does(whole)
                } else {
                    let last = at_once.then(|| FOR_GOOD.to_owned());
                    preview.does.into_iter().chain(last).collect()
                },
                see: match (design.state, preview.to) {
                    _ if preview.refused.is_none() => None,
                    (State::Building, _) => Some((Link::Build(design.id), "See its steps")),
                    // A later movement is to be undone first.
                    (State::Standing, State::Building) => Some((Link::Log, "To the log")),
                    (State::Standing, _) => Some((Link::Strike(design.id), "See what is out")),
                    _ => None,
                },
                not: preview.refused,
            }
        })
        .collect()
}

/// GET: the page.
pub async fn get(cx: Cx, Path(id): Path<DesignId>) -> Answer {
    let whole = load::whole(&cx, id).await?;
    let (chrome, head) = head(&cx, &whole, Tab::Set);
    let design = whole.design();
    let counts = whole.counts();
    let key = |value: String, label: &str| Key {
        value,
        unit: String::new(),
        label: label.to_owned(),
    };
    let mut keys = vec![
        key(design.bars.len().to_string(), "bars"),
        key(counts.reused.to_string(), "reused"),
    ];
    if counts.built > 0 {
        keys.push(key(counts.built.to_string(), "built"));
    }
    if counts.build > 0 || counts.built == 0 {
        keys.push(key(counts.build.to_string(), "to build"));
    }
    let over = design.state.is_over();
    if !over {
        keys.push(key(counts.short.to_string(), "short"));
        keys.push(key(
            whole.short_needs().to_string(),
            &match whole.short_on_order(&cx) {
                0 => "parts short".to_owned(),
                all if all == whole.short_needs() => "parts short, on order".to_owned(),
                coming => format!("parts short, {coming} on order"),
            },
        ));
    }
    let part = |id: Option<PartId>| {
        id.map_or_else(|| "any that fits".to_owned(), |id| whole.part_name(id))
    };
    let mut facts = vec![
        ("Build day", day(design.dates.build_on())),
        ("Get-in", day(design.dates.get_in())),
        ("Strike", day(design.dates.strike_on())),
        ("Lead", part(design.choices.lead)),
        ("Cable", part(design.choices.cable)),
        ("Terminal block", part(design.choices.block)),
        ("Driver", part(design.choices.driver)),
        ("Supply", part(design.choices.supply)),
    ];
    if !design.note.as_str().is_empty() {
        facts.push(("Notes", design.note.as_str().to_owned()));
    }
    let twin = design
        .bars
        .iter()
        .map(|bar| {
            let by = whole
                .served_by(bar.id)
                .map_or_else(String::new, |(_, tag)| format!(", {tag}"));
            format!(
                "{}: {}, {}{by}",
                bar.label,
                cx.length(bar.length_um),
                whole.look(bar.id).label()
            )
        })
        .collect();
    let previews = stock::state::previews(cx.db(), id).await?;
    // What keeps it from being struck is what is still out.
    let still_out = previews
        .iter()
        .any(|preview| preview.to == State::Struck && preview.refused.is_some());
    let steps = Steps::read(&cx, id).await?;
    let next = next(&whole, steps, previews);
    Ok(page(&OnePage {
        chrome,
        keys,
        picture: whole.elevation(&cx),
        twin,
        next,
        facts,
        money: money(&cx, &whole),
        short: if over {
            0
        } else {
            whole.short_needs() + counts.short
        },
        coming: whole.short_on_order(&cx),
        unexplained: whole.unexplained().len(),
        taken: taken(&whole),
        first_steps: design.bars.is_empty(),
        strike: design.state == State::Standing && still_out,
        away: (whole.away.iter())
            .map(|thing| {
                (
                    Link::Thing(thing.id),
                    thing.tag.to_string(),
                    thing.place.words.clone(),
                )
            })
            .collect(),
        unticked: (design.state == State::Standing && steps.open > 0)
            .then(|| count_of(steps.open, "step", "steps")),
        head,
    }))
}

impl OnePage {
    fn short_words(&self) -> String {
        let short = count_of(self.short, "thing is short", "things are short");
        match self.coming {
            0 => short,
            all if all == self.short => format!("{short}, and on order"),
            some => format!("{short}, {some} of them on order"),
        }
    }

    fn away_words(&self) -> String {
        format!(
            "Missing: {}",
            count_of(
                self.away.len(),
                "thing that it holds is not with it",
                "things that it holds are not with it",
            )
        )
    }

    fn unexplained_words(&self) -> String {
        count_of(
            self.unexplained,
            "limit is broken or not known",
            "limits are broken or not known",
        )
    }
}
