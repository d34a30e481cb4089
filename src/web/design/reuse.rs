//! Which fixture serves which bar, what nearly would, and what else is free.

use askama::Template;
use axum::http::StatusCode;

use super::{
    Head, Tab, Whole, count_of, head, load,
    new::{FreeGroup, bar_of, groups},
    off_words,
    pins::{self, PinsShown, status},
    why,
};
use crate::{
    model::{
        design::BAR_LIMIT,
        id::{BarId, DesignId, ThingId},
        text::Name,
    },
    plan::{answer::Proof, input::SpareFixture, known::paid_for_bars, outcome::Serve},
    stock::design::Edit,
    units::{Length, Money, SignedLength},
    web::{
        at::Path,
        cx::Cx,
        error::{Answer, Trouble},
        form::Form,
        link::Link,
        page::{Chrome, Flash, page_with},
    },
};

struct Served {
    bar: BarId,
    label: String,
    href: Link,
    wanted: String,
    fixture: ThingId,
    tag: String,
    thing: Link,
    off: String,
    couplers: String,
    why: String,
    pinned: bool,
    ask: Link,
}

struct Unserved {
    label: String,
    href: Link,
    wanted: String,
    state: &'static str,
    word: &'static str,
    why: String,
    ask: Link,
}

struct Near {
    bar: BarId,
    tag: String,
    thing: Link,
    fixture: ThingId,
    sentence: String,
    button: String,
    /// What it would save, once that was asked.
    saves: Option<String>,
}

struct NotFree {
    tag: String,
    thing: Link,
    what: String,
    why: String,
}

#[derive(Template)]
#[template(path = "design/reuse.html")]
struct ReusePage {
    chrome: Chrome,
    head: Head,
    served: Vec<Served>,
    unserved: Vec<Unserved>,
    near: Vec<Near>,
    free: Vec<FreeGroup>,
    not_free: Vec<NotFree>,
    summary: String,
    pins: PinsShown,
    /// Whether one can ask what another way would cost.
    open: bool,
    /// Where to ask what the near misses would save; none once that was asked.
    ask_savings: Option<Link>,
    /// Whether it was found out that no other choice of bars costs less, where there was a choice.
    /// What is known of which bars they serve.
    choice: String,
}

/// GET: the page; with `saves` in its address, what each near miss would save stands with it.
pub async fn get(cx: Cx, Path(id): Path<DesignId>, form: Form) -> Answer {
    let whole = load::whole(&cx, id).await?;
    let mut asked = Form::default();
    if form.ticked("saves") {
        asked.set("saves", "1");
    }
    show(&cx, &whole, &asked).await
}

/// The page, with the form of its pins as it was typed.
pub async fn show(cx: &Cx, whole: &Whole, form: &Form) -> Answer {
    let pins = pins::shown(cx, whole, Tab::Reuse, form).await?;
    let (chrome, head) = head(cx, whole, Tab::Reuse);
    let design = whole.design();
    let id = design.id;
    let savings = if form.ticked("saves") && whole.is_open() {
        Some(why::savings(cx, whole).await?)
    } else {
        None
    };
    let wanted = |bar: BarId| {
        whole.bar(bar).map_or_else(String::new, |bar| {
            format!("{}, {}", cx.length(bar.length_um), bar.channels)
        })
    };
    let (mut served, mut unserved, mut used) = (Vec::new(), Vec::new(), Vec::new());
    for plan in &whole.plan().bars {
        if let Serve::Reuse {
            fixture,
            tag,
            off_um,
            couplers,
            ..
        } = &plan.serve
        {
            used.push(*fixture);
            used.extend(whole.serving.get(&plan.bar).map(|(now, _)| *now));
            served.push(Served {
                bar: plan.bar,
                label: plan.label.clone(),
                href: Link::Bar(id, plan.bar),
                wanted: wanted(plan.bar),
                fixture: *fixture,
                tag: tag.to_string(),
                thing: Link::Thing(*fixture),
                off: off_words(cx, *off_um),
                couplers: couplers
                    .iter()
                    .map(|part| whole.part_name(*part))
                    .collect::<Vec<_>>()
                    .join(", "),
                why: plan.why.clone(),
                pinned: whole
                    .bar(plan.bar)
                    .is_some_and(|bar| bar.fixture == Some(*fixture)),
                ask: Link::ReuseWhy(id, plan.bar),
            });
        } else {
            let look = whole.look(plan.bar);
            let why = match whole.serving.get(&plan.bar) {
                Some((fixture, tag)) => {
                    used.push(*fixture);
                    format!("{tag} serves it now; as planned: {}", plan.why)
                }
                None => plan.why.clone(),
            };
            unserved.push(Unserved {
                label: plan.label.clone(),
                href: Link::Bar(id, plan.bar),
                wanted: wanted(plan.bar),
                state: look.word(),
                word: look.label(),
                why,
                ask: Link::ReuseWhy(id, plan.bar),
            });
        }
    }
    let near: Vec<Near> = whole
        .plan()
        .near_misses
        .iter()
        .enumerate()
        .filter_map(|(at, miss)| {
            let bar = whole.bar(miss.bar)?;
            let to = Length::new(bar.length_um.get().saturating_add(miss.by_um)).ok()?;
            Some(Near {
                bar: miss.bar,
                tag: miss.tag.to_string(),
                thing: Link::Thing(miss.fixture),
                fixture: miss.fixture,
                sentence: format!(
                    "would fit if bar {} were {}",
                    miss.label,
                    off_words(cx, miss.by_um)
                ),
                button: format!("Make bar {} {}", miss.label, cx.length(to)),
                saves: savings.as_ref().and_then(|all| all.get(at).cloned()),
            })
        })
        .collect();
    let spare: Vec<SpareFixture> = whole
        .input()
        .stock
        .fixtures
        .iter()
        .filter(|spare| !used.contains(&spare.fixture.id))
        .filter(|spare| {
            let mut left = design.left_alone.iter();
            left.all(|it| it.thing != spare.fixture.id)
        })
        .cloned()
        .collect();
    let not_free = spare
        .iter()
        .filter_map(|spare| match &spare.freedom {
            crate::plan::input::Freedom::Free => None,
            crate::plan::input::Freedom::Not(why) => Some(NotFree {
                tag: spare.fixture.tag.to_string(),
                thing: Link::Thing(spare.fixture.id),
                what: format!(
                    "{}, {}",
                    cx.length(spare.fixture.make.lit_um),
                    spare.fixture.make.channels
                ),
                why: why.clone(),
            }),
        })
        .collect();
    let summary = format!(
        "{} of {} served from the cupboard.",
        served.len(),
        count_of(design.bars.len(), "bar is", "bars are")
    );
    let reuse = ReusePage {
        chrome,
        free: groups(cx, &spare, &Form::default()),
        open: whole.is_open(),
        ask_savings: (whole.is_open() && !near.is_empty() && savings.is_none())
            .then(|| Link::Reuse(id).with([("saves", "1".to_owned())])),
        pins,
        head,
        served,
        unserved,
        near,
        not_free,
        summary,
        choice: choice_words(cx, whole),
    };
    Ok(page_with(status(form), &reuse))
}

/// What is known of the choice being the cheapest.
fn choice_words(cx: &Cx, whole: &Whole) -> String {
    let open = "Which bars they serve was decided together with the cuts";
    match whole.plan().reuse_proof {
        Proof::Proven => format!(
            "{open}: no other choice leaves less to buy, or as much to buy and less to solder."
        ),
        Proof::Within { bound } => {
            let paid = paid_for_bars(whole.plan(), whole.input());
            if bound >= paid.get() {
                return format!(
                    "{open}: no other choice leaves less to buy. Whether one leaves less to solder was not tried to the end."
                );
            }
            let bound = Money::new(bound).unwrap_or(Money::ZERO);
            format!(
                "{open}; not every other choice was tried. This one leaves tape and profile for {} to buy, and none leaves less than {}.",
                cx.money(paid),
                cx.money(bound)
            )
        }
        Proof::Open { .. } => format!("{open}; not every other choice was tried."),
    }
}

/// POST: chooses a fixture for a bar by hand, or no longer, makes a bar as long as a fixture, or
/// adds a bar for one.
pub async fn pick(cx: Cx, Path(id): Path<DesignId>, mut form: Form) -> Answer {
    let whole = load::whole(&cx, id).await?;
    let back = Link::Reuse(id);
    let bar = form.value("bar").parse::<BarId>().ok();
    let fixture = form.value("fixture").parse::<ThingId>().ok();
    let spare = fixture.and_then(|fixture| whole.fixture(fixture));
    let nothing = |what: &str| Trouble::not_found(what).or_go(back.clone(), "To the fixtures");
    let (edit, flash) = match form.value("do") {
        "add" => {
            let spare = spare.ok_or_else(|| nothing("fixture"))?;
            let label = free_label(&whole);
            let mut bar = bar_of(spare, label, 0, cx.unit());
            if let Some(last) = whole.design().bars.last() {
                // Beside the last one, not on top of it.
                let x = last.x_um.get().saturating_add(300_000);
                bar.x_um = SignedLength::new(x).unwrap_or(last.x_um);
                bar.y_um = last.y_um;
                bar.angle_mdeg = last.angle_mdeg;
            }
            let flash = format!("{} is in the set as bar {}.", spare.fixture.tag, bar.label);
            (Edit::AddBars(vec![bar]), flash)
        }
        what @ ("pin" | "unpin" | "fit") => {
            let mut bar = bar
                .and_then(|bar| whole.bar(bar))
                .cloned()
                .ok_or_else(|| nothing("bar"))?;
            if what == "unpin" {
                bar.fixture = None;
                let flash = format!("Bar {} takes whichever fixture serves best.", bar.label);
                (Edit::ChangeBars(vec![bar]), flash)
            } else {
                let spare = spare.ok_or_else(|| nothing("fixture"))?;
                if what == "fit" {
                    bar.length_um = spare.fixture.make.lit_um;
                }
                bar.fixture = Some(spare.fixture.id);
                let flash = format!(
                    "Bar {} is now {} and takes {}.",
                    bar.label,
                    cx.length(bar.length_um),
                    spare.fixture.tag
                );
                (Edit::ChangeBars(vec![bar]), flash)
            }
        }
        _ => {
            return Err(Trouble::new(
                StatusCode::UNPROCESSABLE_ENTITY,
                "This button says nothing that this page knows. Nothing was changed.",
            )
            .or_go(back, "To the fixtures"));
        }
    };
    load::store_or_say(&cx, &mut form, id, &[edit], &back, Flash::good(flash)).await
}

/// The first whole number that no bar is called by.
fn free_label(whole: &Whole) -> Name {
    (1..=BAR_LIMIT + 1)
        .filter_map(|number| Name::parse(&number.to_string()).ok())
        .find(|name| !whole.design().bars.iter().any(|bar| bar.label == *name))
        .unwrap_or_else(|| unreachable!("fewer bars than numbers"))
}
