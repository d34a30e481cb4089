//! A finished bar in the hand: the sets to come that it could go into, and the bars there that it
//! would serve.

use askama::Template;

use super::{Whole, day, load};
use crate::{
    db,
    model::id::{BarId, DesignId, ThingId},
    plan::{outcome::Serve, reuse::why_not},
    web::{
        at::Path,
        cx::Cx,
        error::{Answer, Trouble},
        link::Link,
        page::{Chrome, Section, page},
    },
};

/// The most sets that are looked through.
const MOST: usize = 8;

/// A set that it could go into.
struct Set {
    id: DesignId,
    version: i64,
    name: String,
    days: String,
    /// Bars of the set that it serves and that nothing finished serves yet.
    bars: Vec<(BarId, String)>,
    /// Why it can't go in at all.
    not: Option<String>,
}

#[derive(Template)]
#[template(path = "thing/into.html")]
struct IntoPage {
    chrome: Chrome,
    id: ThingId,
    tag: String,
    sets: Vec<Set>,
}

fn set(cx: &Cx, whole: &Whole, fixture: ThingId) -> Set {
    let design = whole.design();
    let spare = whole.fixture(fixture);
    let taken = whole
        .plan()
        .bars
        .iter()
        .find(|bar| matches!(&bar.serve, Serve::Reuse { fixture: by, .. } if *by == fixture));
    let not = match (spare, taken) {
        (_, Some(bar)) => Some(format!("It serves bar {} there already.", bar.label)),
        (None, None) => Some("It is not in the house in time.".to_owned()),
        (Some(spare), None) => match &spare.freedom {
            crate::plan::input::Freedom::Free => None,
            crate::plan::input::Freedom::Not(why) => Some(format!("It is not free: {why}.")),
        },
    };
    let bars = match (spare, &not) {
        (Some(spare), None) => design
            .bars
            .iter()
            .filter(|bar| bar.fixture.is_none() && why_not(bar, spare, cx.unit()).is_none())
            .filter(|bar| {
                whole
                    .bar_plan(bar.id)
                    .is_none_or(|planned| !matches!(planned.serve, Serve::Reuse { .. }))
            })
            .map(|bar| (bar.id, bar.label.to_string()))
            .collect(),
        _ => Vec::new(),
    };
    Set {
        id: design.id,
        version: design.version,
        name: design.name.to_string(),
        days: format!(
            "{} to {}",
            day(design.dates.build_on()),
            day(design.dates.strike_on())
        ),
        bars,
        not,
    }
}

/// GET: the sets to come.
pub async fn get(cx: Cx, Path(id): Path<ThingId>) -> Answer {
    let mut tx = cx.read().await?;
    let fixture = db::fixture::lookup(&mut tx, id).await?.ok_or_else(|| {
        Trouble::not_found("finished bar").or_go(Link::Fixtures, "To the fixtures")
    })?;
    let coming: Vec<DesignId> = db::design::list(&mut tx)
        .await?
        .into_iter()
        .filter(|set| set.state.editable() && set.dates.strike_on() >= cx.today)
        .map(|set| set.id)
        .take(MOST)
        .collect();
    drop(tx);
    let mut sets = Vec::new();
    for design in coming {
        let whole = load::whole(&cx, design).await?;
        sets.push(set(&cx, &whole, id));
    }
    let tag = fixture.fixture.tag.to_string();
    Ok(page(&IntoPage {
        chrome: cx.chrome(Section::Fixtures, format!("{tag} into a set")),
        id,
        tag,
        sets,
    }))
}
