//! The set in the dark: its bars light up in their colours, by control group.

use std::collections::BTreeMap;

use askama::Template;

use super::{Head, Tab, count_of, head, load};
use crate::{
    draw::lit::{self, LitBar},
    model::{channel::Channel, design::Bar, id::DesignId},
    web::{
        at::Path,
        cx::Cx,
        error::Answer,
        form::{Choice, Form},
        link::Link,
        page::{Chrome, page},
    },
};

/// What one control group shows.
struct Group {
    /// Name of its field.
    name: String,
    /// Its words.
    label: String,
    /// Off, all, or one colour.
    choices: Vec<Choice>,
}

#[derive(Template)]
#[template(path = "design/lit.html")]
struct LitPage {
    chrome: Chrome,
    head: Head,
    form: Form,
    groups: Vec<Group>,
    picture: String,
    twin: Vec<String>,
    legend: Vec<(&'static str, char, &'static str)>,
}

/// What a group is asked to show.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Show {
    Off,
    All,
    One(Channel),
}

impl Show {
    /// What cannot be read shows everything, as at first.
    fn read(text: &str) -> Self {
        match text {
            "off" => Self::Off,
            other => other.parse().map_or(Self::All, Self::One),
        }
    }

    fn of(self, bar: &Bar) -> Vec<Channel> {
        let channels = bar.channels.list().iter().copied();
        channels
            .filter(|channel| match self {
                Self::Off => false,
                Self::All => true,
                Self::One(one) => one == *channel,
            })
            .collect()
    }
}

/// The colours of a group's bars, each once.
fn colours(bars: &[&Bar]) -> Vec<Channel> {
    let all = Channel::ALL.iter().copied();
    all.filter(|channel| bars.iter().any(|bar| bar.channels.list().contains(channel)))
        .collect()
}

/// GET: the page; a field a group says what it shows.
pub async fn get(cx: Cx, Path(id): Path<DesignId>, query: Form) -> Answer {
    let whole = load::whole(&cx, id).await?;
    let design = whole.design();
    let mut by_group: BTreeMap<&str, Vec<&Bar>> = BTreeMap::new();
    for bar in &design.bars {
        by_group.entry(&bar.group).or_default().push(bar);
    }
    let mut groups = Vec::new();
    let mut shows = BTreeMap::new();
    for (at, (group, bars)) in by_group.iter().enumerate() {
        let name = format!("g{at}");
        let show = Show::read(query.value(&name));
        shows.insert(*group, show);
        let mut choices = vec![
            ("all", "all its colours".to_owned()),
            ("off", "off".to_owned()),
        ];
        choices.extend(
            colours(bars)
                .into_iter()
                .map(|it| (it.word(), it.label().to_owned())),
        );
        let chosen = match show {
            Show::Off => "off",
            Show::All => "all",
            Show::One(channel) => channel.word(),
        };
        let count = count_of(bars.len(), "bar", "bars");
        groups.push(Group {
            name,
            label: if group.is_empty() {
                format!("In no group, {count}")
            } else {
                format!("{group}, {count}")
            },
            choices: Choice::list(choices, chosen),
        });
    }
    let on = |bar: &Bar| {
        shows
            .get(&*bar.group)
            .map_or_else(Vec::new, |show| show.of(bar))
    };
    let bars: Vec<LitBar<'_>> = design
        .bars
        .iter()
        .map(|bar| LitBar { bar, on: on(bar) })
        .collect();
    let twin = bars
        .iter()
        .map(|lit| match lit.bar.group.as_str() {
            "" => format!("{}: {}", lit.bar.label, words(&lit.on)),
            group => format!("{}, in {group}: {}", lit.bar.label, words(&lit.on)),
        })
        .collect();
    let all: Vec<&Bar> = design.bars.iter().collect();
    let (chrome, head) = head(&cx, &whole, Tab::Bars);
    Ok(page(&LitPage {
        chrome,
        picture: lit::svg(&bars),
        twin,
        form: query,
        groups,
        legend: colours(&all)
            .into_iter()
            .map(|it| (it.word(), it.letter(), it.label()))
            .collect(),
        head,
    }))
}

fn words(on: &[Channel]) -> String {
    if on.is_empty() {
        return "off".to_owned();
    }
    let words: Vec<_> = on.iter().map(|channel| channel.label()).collect();
    words.join(", ")
}
