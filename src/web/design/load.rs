//! What the pages of designs read and store, in one place.

use std::collections::BTreeMap;

use axum::http::StatusCode;

use super::{Whole, ordered::Orders};
use crate::{
    db::{self, snapshot::Ask},
    model::{
        design::{Design, State},
        id::DesignId,
        movement::AccountKind,
        reservation::{Held, HoldState, HoldUse},
        text::NAME_LIMIT,
    },
    plan::{available::Rules, differ::differences, input::SpareFixture},
    stock::{self, StockError, design::Edit},
    units::ShowDates,
    web::{
        cx::Cx,
        error::{Answer, Trouble},
        form::Form,
        link::Link,
        page::{Flash, go_with},
    },
};

/// How often what was typed is stored again because something else of the set was changed.
pub const ATTEMPTS: usize = 4;

/// There is no such set.
pub fn no_design() -> Trouble {
    Trouble::not_found("set").or_go(Link::Designs, "To all designs")
}

/// A design.
pub async fn design(cx: &Cx, id: DesignId) -> Result<Design, Trouble> {
    db::design::lookup(&mut *cx.read().await?, id)
        .await?
        .ok_or_else(no_design)
}

/// How storing an edited design went.
pub enum Stored {
    /// It is stored; how plan and holds followed, for a set that holds things.
    Done(Vec<String>),
    /// Refused; the messages stand in the form.
    Wrong,
    /// Somebody else changed it; it is now so.
    Changed(Box<Design>),
}

fn broken_words(why: &str) -> String {
    if why.is_empty() {
        "Something that was held is no longer there.".to_owned()
    } else {
        why.to_owned()
    }
}

/// A design with its plan and everything that its pages show.
pub async fn whole(cx: &Cx, id: DesignId) -> Result<Whole, Trouble> {
    let planned = match stock::planned::plan_now(cx.db(), id, cx.today).await {
        Err(StockError::NotFound(_)) => return Err(no_design()),
        planned => planned?,
    };
    let mut tx = cx.read().await?;
    // What is built, standing or over follows the plan that it was reserved by.
    let state = planned.input.design.state;
    let settled = matches!(state, State::Building | State::Standing | State::Struck);
    let mut kept = None;
    let mut not_held = Vec::new();
    if settled {
        kept = db::design::lookup_plan(&mut tx, id).await?;
    } else if state == State::Reserved
        && let Some(held) = db::design::lookup_plan(&mut tx, id).await?
        && held.plan.holds != planned.plan.holds
    {
        not_held = differences(&held.plan, &planned.plan, &planned.input.stock);
    }
    let reasons = db::design::list_reasons(&mut tx, id)
        .await?
        .into_iter()
        .map(|reason| (reason.check_key, reason.reason))
        .collect();
    let (mut broken, mut kept_out) = (Vec::new(), Vec::new());
    for hold in db::reservation::list(&mut tx, id).await? {
        if hold.state != HoldState::Broken {
            if state == State::Standing
                && let Held::Thing { thing, .. } = hold.hold.held
                && hold.hold.becomes == HoldUse::Returns
            {
                kept_out.push(thing);
            }
            continue;
        }
        // What a standing set has given back already is missing no more.
        if state == State::Standing
            && let Held::Thing { thing, .. } = hold.hold.held
            && let Some(thing) = db::thing::lookup(&mut tx, thing).await?
            && thing.place.design != Some(id)
        {
            continue;
        }
        broken.push(broken_words(&hold.broken_why));
    }
    // What came back is held no more: what is held and lies elsewhere was taken from it.
    let mut away = Vec::new();
    if state == State::Standing {
        away = db::thing::list_by_id(&mut tx, &kept_out).await?;
        away.retain(|thing| matches!(thing.place.kind, AccountKind::Place | AccountKind::Loan));
    }
    let picture = db::backdrop::lookup(&mut tx, id).await?;
    let orders = db::purchase::list_for(&mut tx, id).await?;
    let since = if kept.is_some() && !orders.is_empty() {
        db::purchase::list_come_since(&mut tx, id).await?
    } else {
        BTreeMap::new()
    };
    let suppliers = if orders.is_empty() {
        Vec::new()
    } else {
        db::offer::list_suppliers(&mut tx).await?
    };
    let serving = if settled {
        db::reservation::list_serving(&mut tx, id, state != State::Building).await?
    } else {
        BTreeMap::new()
    };
    Ok(Whole {
        planned,
        kept,
        reasons,
        broken,
        away,
        not_held,
        serving,
        picture,
        orders: Orders {
            list: orders,
            suppliers,
            since,
        },
    })
}

/// Every fixture of the house, with whether it is free on the dates.
pub async fn fixtures_on(cx: &Cx, dates: &ShowDates) -> Result<Vec<SpareFixture>, Trouble> {
    let ask = Ask {
        own: None,
        window: dates.window(),
        rules: Rules {
            today: cx.today,
            same_day_turnaround: cx.venue.same_day_turnaround,
        },
    };
    Ok(db::snapshot::list_fixtures(&mut *cx.read().await?, ask).await?)
}

/// A name that no set has: the name itself, or with a number after it.
pub async fn free_name(cx: &Cx, name: &str) -> Result<String, Trouble> {
    let mut tx = cx.read().await?;
    if db::design::find(&mut tx, name).await?.is_none() {
        return Ok(name.to_owned());
    }
    let short: String = name.chars().take(NAME_LIMIT - 8).collect();
    let mut number = 2_u32;
    loop {
        let tried = format!("{short} ({number})");
        if db::design::find(&mut tx, &tried).await?.is_none() {
            return Ok(tried);
        }
        number += 1;
    }
}

/// Past sets to copy, the latest few.
pub async fn past(cx: &Cx) -> Result<Vec<(Link, String)>, Trouble> {
    Ok(db::design::list(&mut *cx.read().await?)
        .await?
        .into_iter()
        .filter(|set| set.bars > 0)
        .rev()
        .take(5)
        .map(|set| (Link::DesignCopy(set.id), set.name.to_string()))
        .collect())
}

/// Somebody else changed the set while a button of it was pressed.
pub fn changed(back: &Link) -> Trouble {
    Trouble::new(
        StatusCode::PRECONDITION_FAILED,
        "Somebody else changed this set meanwhile. Nothing was overwritten. Look at it as it is now, and press again.",
    )
    .or_go(back.clone(), "See it as it is now")
}

/// Stores by a button without fields: leads back with the message, or says what went wrong.
pub async fn store_or_say(
    cx: &Cx,
    form: &mut Form,
    id: DesignId,
    edits: &[Edit],
    back: &Link,
    flash: Flash,
) -> Answer {
    match store(cx, form, id, edits).await? {
        Stored::Done(lines) => Ok(go_with(back, &flash.followed(lines))),
        Stored::Wrong => Err(Trouble::new(
            StatusCode::UNPROCESSABLE_ENTITY,
            form.all_errors()
                .into_iter()
                .map(String::as_str)
                .collect::<Vec<_>>()
                .join(" "),
        )
        .or_go(back.clone(), "Back")),
        Stored::Changed(_) => Err(changed(back)),
    }
}

/// The field of a form where a use-case's message belongs.
fn field_of(form: &Form, field: &str) -> String {
    // A form of arranging asks for one step.
    let field = field.strip_prefix("steps.0.").unwrap_or(field);
    match field {
        "label" if form.has("pattern") => "pattern".to_owned(),
        _ => field
            .trim_end_matches("_um")
            .trim_end_matches("_mdeg")
            .trim_end_matches("_minor")
            .to_owned(),
    }
}

/// Carries edits out on the design as it was at the form's version.
pub async fn store(
    cx: &Cx,
    form: &mut Form,
    id: DesignId,
    edits: &[Edit],
) -> Result<Stored, Trouble> {
    // A version that cannot be read is none that is stored.
    let version = form.value("version").parse().unwrap_or(0);
    match stock::design::change(&cx.act(form), id, version, edits).await {
        Ok(edited) => Ok(Stored::Done(edited.differences)),
        Err(StockError::Changed) => Ok(Stored::Changed(Box::new(design(cx, id).await?))),
        Err(StockError::Field { field, message }) => {
            let field = field_of(form, &field);
            form.fail(&field, message);
            Ok(Stored::Wrong)
        }
        Err(StockError::Refused(why)) => {
            form.fail("", why);
            Ok(Stored::Wrong)
        }
        Err(StockError::NotFound("set")) => Err(no_design()),
        Err(why) => Err(why.into()),
    }
}
