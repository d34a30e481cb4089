//! The bench: steps to tick, each moving the stock.

mod detail;
mod not_yet;

use std::collections::BTreeMap;

use askama::Template;
use axum::http::StatusCode;

use self::{
    detail::{detail, purpose},
    not_yet::NotYet,
};
use super::{BarList, Head, Tab, Whole, head, load, runs::live_mates, short::uncounted_fuses};
use crate::{
    db,
    model::{
        design::State,
        id::{BarId, DesignId, StepId, ThingId},
        movement::AccountKind,
        step::{Step, StepKind, Task},
        text::Tag,
        thing::Thing,
    },
    stock::{self, StockError},
    web::{
        at::Path,
        cx::Cx,
        error::{Answer, Trouble, stock_status},
        form::Form,
        link::Link,
        page::{Chrome, Flash, go_with, page_with},
    },
};

struct Row {
    id: StepId,
    title: String,
    detail: Vec<String>,
    /// What it needs and has not come yet.
    not_yet: Vec<String>,
    /// The tags of what it made; empty for nothing.
    label: String,
    done: Option<String>,
    now: bool,
}

struct Group {
    title: &'static str,
    /// About how long what is left of it takes; empty once all is done.
    left: String,
    rows: Vec<Row>,
    caution: Option<&'static str>,
    /// That cables fit into each other, if they do; of wiring and lighting.
    mates: Option<String>,
    /// The fuses to take along that the plan counts as no part; of fetching alone.
    fuses: Vec<String>,
}

#[derive(Template)]
#[template(path = "design/build.html")]
struct BuildPage {
    chrome: Chrome,
    head: Head,
    groups: Vec<Group>,
    /// What is on order for the set and has not come in.
    not_yet: Vec<NotYet>,
    /// What is short and on no order.
    short: Vec<String>,
    /// The bars that its plan has nothing held for.
    unheld: BarList,
    /// The skills to show alone, and which is.
    skills: Vec<(Link, &'static str, bool)>,
    done: usize,
    all: usize,
    building: bool,
}

const fn group(kind: StepKind) -> (&'static str, Option<&'static str>) {
    match kind {
        StepKind::Fetch => ("Fetch", None),
        StepKind::Cut => (
            "Cut",
            Some("Cut only at cut marks, with the power off. Insulate cut ends."),
        ),
        StepKind::Assemble => (
            "Solder and assemble",
            Some(
                "Enclose joints and relieve strain. Mount tape on something that doesn’t burn and spreads heat.",
            ),
        ),
        StepKind::Wire => (
            "Wire",
            Some(
                "Check polarity and wire order with a meter before power. Fuse each feed near the supply, in its +, at no more than its thinnest conductor. Mains side by a qualified person.",
            ),
        ),
        StepKind::Address => ("Set addresses", None),
        StepKind::Test => (
            "Light it",
            Some("Measure the far end with everything on, warm. Uncoil reels; ventilate."),
        ),
    }
}

/// About how long so many steps of a kind take.
fn left_words(kind: StepKind, steps: usize) -> String {
    let minutes = u32::try_from(steps)
        .unwrap_or(u32::MAX)
        .saturating_mul(kind.usual_minutes());
    match minutes {
        0 => String::new(),
        few @ 1..=90 => format!("about {few} min left"),
        many => format!("about {} h left", many.div_ceil(60)),
    }
}

/// Things that a step names, by id.
type Things = BTreeMap<ThingId, Thing>;

/// The things that steps fetch.
async fn fetched(cx: &Cx, steps: &[Step]) -> Result<Things, Trouble> {
    let ids: Vec<ThingId> = steps
        .iter()
        .filter_map(|step| match &step.task {
            Task::Fetch { things, pieces, .. } => Some(things.iter().chain(pieces)),
            _ => None,
        })
        .flatten()
        .copied()
        .collect();
    let things = db::thing::list_by_id(&mut *cx.read().await?, &ids).await?;
    Ok(things.into_iter().map(|thing| (thing.id, thing)).collect())
}

/// What ticked steps made, for whoever writes the labels and for the steps that go on with it.
#[derive(Default)]
struct Labels {
    /// By step, in words.
    of_step: BTreeMap<StepId, String>,
    /// Tags of pieces that were cut for a bar.
    of_bar: BTreeMap<BarId, Vec<String>>,
}

impl Labels {
    async fn read(cx: &Cx, whole: &Whole, steps: &[Step]) -> Result<Self, Trouble> {
        let done = || steps.iter().filter(|step| step.done.is_some());
        let (mut pieces, mut fixtures) = (Vec::new(), Vec::new());
        for step in done() {
            match &step.task {
                Task::Cut { piece, .. } => pieces.push(*piece),
                Task::Assemble {
                    made: Some(made), ..
                } => fixtures.push(made.fixture),
                _ => {}
            }
        }
        let mut tx = cx.read().await?;
        // The children of a cut that was taken back lie at the bench.
        let mut children = db::piece::list_children_of(&mut tx, &pieces).await?;
        children.retain(|child| child.place.kind != AccountKind::Bench);
        let made = db::thing::list_by_id(&mut tx, &fixtures).await?;
        drop(tx);
        let mut labels = Self::default();
        for step in done() {
            let mut words = Vec::new();
            match &step.task {
                Task::Cut { piece, segments } => {
                    for segment in segments.iter().filter(|segment| !segment.scrap) {
                        let from = Some((*piece, segment.from));
                        let Some(child) = children.iter().find(|it| it.piece.cut_from == from)
                        else {
                            continue;
                        };
                        let tag = child.piece.tag.to_string();
                        match segment.bar {
                            Some(bar) => {
                                words.push(format!("{tag} (bar {})", whole.bar_label(bar)));
                                labels.of_bar.entry(bar).or_default().push(tag);
                            }
                            None if segment.offcut => words.push(format!("{tag} (rest)")),
                            None => {
                                let purpose = purpose(whole, *piece, segment);
                                words.push(format!("{tag} ({purpose})"));
                            }
                        }
                    }
                }
                Task::Assemble {
                    made: Some(done), ..
                } => {
                    let fixture = made.iter().find(|thing| thing.id == done.fixture);
                    words.extend(fixture.map(|thing| thing.tag.to_string()));
                }
                _ => {}
            }
            if !words.is_empty() {
                labels
                    .of_step
                    .insert(step.id, format!("Label: {}", words.join(", ")));
            }
        }
        Ok(labels)
    }
}

/// GET: the steps.
pub async fn get(cx: Cx, Path(id): Path<DesignId>, form: Form) -> Answer {
    let only = form.value("skill").parse::<StepKind>().ok();
    show(&cx, id, only, None).await
}

/// The steps, of one skill alone where that was asked; with why a press did nothing.
async fn show(
    cx: &Cx,
    id: DesignId,
    only: Option<StepKind>,
    refused: Option<StockError>,
) -> Answer {
    let whole = load::whole(cx, id).await?;
    let steps = db::design::list_steps(&mut *cx.read().await?, id).await?;
    let fetched = fetched(cx, &steps).await?;
    let labels = Labels::read(cx, &whole, &steps).await?;
    let (mut chrome, head) = head(cx, &whole, Tab::Build);
    let status = refused.as_ref().map_or(StatusCode::OK, stock_status);
    if let Some(why) = refused {
        chrome.flash = Some(Flash::refused(&why));
    }
    let building = whole.design().state == State::Building;
    let (mut not_yet, mut short, mut unheld) = (Vec::new(), Vec::new(), Vec::new());
    let mut waits = BTreeMap::new();
    if building {
        waits = not_yet::of_steps(cx, &whole, &steps);
        not_yet = not_yet::list(cx, &whole);
        short = not_yet::short(cx, &whole);
        unheld = not_yet::unheld(&whole);
    }
    let next = steps
        .iter()
        .find(|step| step.done.is_none())
        .map(|step| step.id)
        .filter(|_| building);
    let (all, done) = (
        steps.len(),
        steps.iter().filter(|step| step.done.is_some()).count(),
    );
    let mut groups: Vec<Group> = Vec::new();
    let mut last = None;
    let shown = |step: &&Step| only.is_none_or(|only| step.kind == only);
    for step in steps.iter().filter(shown) {
        if last != Some(step.kind) {
            let (title, caution) = group(step.kind);
            let left = (steps.iter())
                .filter(|each| each.kind == step.kind && each.done.is_none())
                .count();
            groups.push(Group {
                title,
                left: left_words(step.kind, left),
                rows: Vec::new(),
                caution,
                mates: match step.kind {
                    StepKind::Wire | StepKind::Test => live_mates(&whole),
                    _ => None,
                },
                fuses: match step.kind {
                    StepKind::Fetch => uncounted_fuses(&whole),
                    _ => Vec::new(),
                },
            });
            last = Some(step.kind);
        }
        if let Some(group) = groups.last_mut() {
            let mut detail = detail(cx, &whole, &fetched, step);
            if let Task::Assemble { bar, .. } = &step.task
                && let Some(tags) = labels.of_bar.get(bar)
            {
                detail.push(format!("cut for it: {}", tags.join(", ")));
            }
            group.rows.push(Row {
                id: step.id,
                title: step.title.clone(),
                detail,
                not_yet: waits.remove(&step.id).unwrap_or_default(),
                label: labels.of_step.get(&step.id).cloned().unwrap_or_default(),
                done: step.done.as_ref().map(|done| done.who.clone()),
                now: next == Some(step.id),
            });
        }
    }
    let skills = std::iter::once((Link::Build(id), "All", only.is_none()))
        .chain(
            StepKind::ALL
                .iter()
                .filter(|kind| steps.iter().any(|step| step.kind == **kind))
                .map(|kind| {
                    let link = Link::Build(id).with([("skill", kind.word().to_owned())]);
                    (link, group(*kind).0, only == Some(*kind))
                }),
        )
        .collect();
    let steps = BuildPage {
        chrome,
        head,
        groups,
        not_yet,
        short,
        unheld: BarList(unheld),
        skills,
        done,
        all,
        building,
    };
    Ok(page_with(status, &steps))
}

/// What becomes of printed labels when a cut or an assembly is taken back.
async fn label_words(cx: &Cx, id: DesignId, was: &Step, pressed: &str) -> Result<String, Trouble> {
    if let Task::Cut { piece, segments } = &was.task
        && pressed == "untick"
    {
        let tags = stock::build::cut_tags_again(cx.db(), *piece, segments).await?;
        let tags: Vec<String> = tags.iter().map(Tag::to_string).collect();
        return Ok(match tags.as_slice() {
            [] => String::new(),
            [one] => format!(" Keep the label {one}: cut again, the piece is {one}."),
            _ => format!(
                " Keep the labels {}: cut again, the pieces get these tags again.",
                tags.join(", ")
            ),
        });
    }
    let Task::Assemble {
        bar,
        made: Some(made),
        ..
    } = &was.task
    else {
        return Ok(String::new());
    };
    if pressed != "untick" {
        return Ok(String::new());
    }
    if let Some(tag) = stock::build::tag_again(cx.db(), id, *bar).await? {
        return Ok(format!(
            " Keep the label {tag}: put together again, the bar is {tag}."
        ));
    }
    let made = db::thing::lookup(&mut *cx.read().await?, made.fixture).await?;
    Ok(made.map_or_else(String::new, |made| {
        format!(
            " {} is no more: put together again, the bar gets a new tag, and its label is printed anew.",
            made.tag
        )
    }))
}

/// POST: ticks a step or takes the tick back.
pub async fn post(cx: Cx, Path((id, step)): Path<(DesignId, StepId)>, form: Form) -> Answer {
    let back = Link::Build(id);
    let act = cx.act(&form);
    let steps = db::design::list_steps(&mut *cx.read().await?, id).await?;
    let Some(named) = steps.iter().find(|one| one.id == step) else {
        return Err(Trouble::not_found("step").or_go(back, "To the steps"));
    };
    let (ticked, words) = match form.value("do") {
        "untick" => (
            stock::build::untick(&act, step).await,
            "The tick was taken back",
        ),
        "tick" => (stock::build::tick(&act, step).await, "Done"),
        _ => {
            return Err(Trouble::new(
                StatusCode::UNPROCESSABLE_ENTITY,
                "This button says nothing that this page knows. Nothing was changed.",
            )
            .or_go(back, "To the steps"));
        }
    };
    match ticked {
        Ok(_) => {
            let whole = load::whole(&cx, id).await?;
            let mut steps = db::design::list_steps(&mut *cx.read().await?, id).await?;
            let ready = steps.iter().all(|one| one.done.is_some())
                && whole.design().state == State::Building;
            steps.retain(|one| one.id == step);
            let labels = Labels::read(&cx, &whole, &steps).await?;
            let made = (labels.of_step.get(&step)).map_or_else(String::new, |it| format!(" {it}."));
            let again = label_words(&cx, id, named, form.value("do")).await?;
            let said = format!("{words}: {}.{made}{again}", named.title);
            let flash = if ready {
                Flash::good(format!("{said} That was the last step: the set can stand.")).toward(id)
            } else {
                Flash::good(said)
            };
            Ok(go_with(&back, &flash))
        }
        Err(why @ StockError::Db(_)) => Err(why.into()),
        Err(why) => show(&cx, id, None, Some(why)).await,
    }
}
