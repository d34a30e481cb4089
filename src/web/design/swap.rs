//! A bar died: what is free now and plugs in, and one tap to swap it.

use askama::Template;
use axum::http::StatusCode;

use super::{day, load, off_words};
use crate::{
    db,
    model::{design::State, fixture::Condition, id::ThingId, text::Note},
    stock::{StockError, swap},
    units::{Length, LengthUnit},
    web::{
        at::Path,
        cx::Cx,
        error::{Answer, Trouble},
        form::Form,
        link::Link,
        page::{Chrome, Section, go_with, page_with},
        show::told,
    },
};

/// How much the lit length may differ where nothing else is asked: 100 mm, or 4 in.
fn usual(unit: LengthUnit) -> Length {
    if unit.metric() {
        Length::mm(100)
    } else {
        Length::new(4 * 25_400).unwrap_or(Length::mm(100))
    }
}

struct Fit {
    id: ThingId,
    tag: String,
    href: Link,
    place: String,
    off: String,
}

struct NotFit {
    tag: String,
    href: Link,
    why: String,
}

#[derive(Template)]
#[template(path = "design/swap.html")]
struct SwapPage {
    chrome: Chrome,
    id: ThingId,
    tag: String,
    /// Whether it was marked suspect, not dead.
    suspect: bool,
    what: String,
    set: Option<(Link, String)>,
    window: String,
    fit: Vec<Fit>,
    not: Vec<NotFit>,
    /// Where one just like it is entered.
    enter: Link,
    form: Form,
}

fn no_fixture() -> Trouble {
    Trouble::not_found("fixture").or_go(Link::Fixtures, "To the fixtures")
}

async fn show(cx: &Cx, id: ThingId, mut form: Form) -> Answer {
    if !form.has("differ") {
        form.set("differ", cx.exact(usual(cx.unit())));
    }
    let differ = form.length("differ", cx.unit()).unwrap_or(usual(cx.unit()));
    let found = match swap::candidates(cx.db(), id, cx.today, differ, differ).await {
        Err(StockError::NotFound(_)) => return Err(no_fixture()),
        found => found?,
    };
    let mut tx = cx.read().await?;
    let old = db::fixture::lookup(&mut tx, id)
        .await?
        .ok_or_else(no_fixture)?;
    let ids: Vec<ThingId> = found.fit.iter().map(|fit| fit.fixture).collect();
    let things = db::thing::list_by_id(&mut tx, &ids).await?;
    let set = match found.design {
        Some(design) => db::design::lookup(&mut tx, design)
            .await?
            .map(|set| (Link::Design(design), set.name.to_string())),
        None => None,
    };
    drop(tx);
    let make = &old.fixture.make;
    let fit = found
        .fit
        .iter()
        .map(|fit| Fit {
            id: fit.fixture,
            tag: fit.tag.to_string(),
            href: Link::Thing(fit.fixture),
            place: things
                .iter()
                .find(|thing| thing.id == fit.fixture)
                .map_or_else(String::new, |thing| thing.place.words.clone()),
            off: off_words(cx, fit.off_um),
        })
        .collect();
    let status = if form.ok() {
        StatusCode::OK
    } else {
        StatusCode::UNPROCESSABLE_ENTITY
    };
    Ok(page_with(
        status,
        &SwapPage {
            chrome: cx.chrome(Section::Fixtures, format!("Instead of {}", old.fixture.tag)),
            id,
            tag: old.fixture.tag.to_string(),
            suspect: old.fixture.condition == Condition::Suspect,
            what: format!(
                "{}, {}, {}, {}",
                cx.length(make.lit_um),
                make.channels,
                if make.diffused { "diffused" } else { "bare" },
                make.voltage_mv.show()
            ),
            set,
            enter: Link::FixtureNew.with([("like", id.to_string())]),
            window: if found.window.from() == found.window.to() {
                format!("on {}", day(found.window.from()))
            } else {
                format!(
                    "from {} to {}",
                    day(found.window.from()),
                    day(found.window.to())
                )
            },
            fit,
            not: found
                .not
                .into_iter()
                .map(|not| NotFit {
                    tag: not.tag.to_string(),
                    href: Link::Thing(not.fixture),
                    why: not.why,
                })
                .collect(),
            form,
        },
    ))
}

/// GET: what plugs in instead, best first.
pub async fn get(cx: Cx, Path(id): Path<ThingId>, form: Form) -> Answer {
    show(&cx, id, form).await
}

/// Where the new one is chosen for its bar now: that it is, and whether the plan can keep to it.
async fn chosen(cx: &Cx, new: ThingId) -> Result<String, Trouble> {
    let mut tx = cx.read().await?;
    let holds = db::reservation::list_on_thing(&mut tx, new).await?;
    drop(tx);
    for hold in holds {
        let Some(bar) = hold.hold.bar else { continue };
        let whole = load::whole(cx, hold.hold.design).await?;
        if whole.design().state != State::Reserved
            || whole.bar(bar).and_then(|bar| bar.fixture) != Some(new)
        {
            continue;
        }
        let label = whole.bar_label(bar);
        if whole
            .served_by(bar)
            .is_some_and(|(serves, _)| serves == new)
        {
            return Ok(format!(
                " It is chosen by hand for bar {label} from now on: a new plan keeps it, until “Let the \
                 plan choose” is pressed on the set’s page Reuse."
            ));
        }
        let key = format!("chosen:bar-{bar}");
        let mut checks = whole.plan().checks.iter();
        let why = checks.find(|check| check.key == key);
        return Ok(format!(
            " It is chosen by hand for bar {label}, but a new plan cannot keep it. {}",
            why.map_or("", |check| check.sentence.as_str())
        ));
    }
    Ok(String::new())
}

/// POST: swaps it.
pub async fn post(cx: Cx, Path(id): Path<ThingId>, mut form: Form) -> Answer {
    let new = form.id::<ThingId>("new");
    if !form.has("condition") {
        form.set("condition", Condition::Dead.word());
    }
    let condition = form.word::<Condition>("condition");
    let (Some(new), Some(condition)) = (new, condition) else {
        return show(&cx, id, form).await;
    };
    let asked = swap::Swap {
        old: id,
        condition,
        new,
        reason: Note::default(),
    };
    match cx.act(&form).carry_out(&asked).await {
        Ok(done) => {
            let things = db::thing::list_by_id(&mut *cx.read().await?, &[id, new]).await?;
            let tag = |id: ThingId| {
                things
                    .iter()
                    .find(|thing| thing.id == id)
                    .map_or_else(String::new, |thing| thing.tag.to_string())
            };
            let said = format!(
                "{} takes the place of {}, which is marked {condition}.{} Switch the supply off before you change them.",
                tag(new),
                tag(id),
                chosen(&cx, new).await?
            );
            Ok(go_with(&Link::Thing(new), &told(&said, &done)))
        }
        Err(StockError::NotFound(_)) => Err(no_fixture()),
        Err(why) => Err(Trouble::from(why).or_go(Link::ThingSwap(id), "See what is free now")),
    }
}
