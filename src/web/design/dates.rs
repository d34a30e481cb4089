//! Other days for a set that is at work or stands.

use askama::Template;
use axum::http::StatusCode;

use super::{day, edit::day_of_show, load};
use crate::{
    db,
    model::{
        design::{Design, State},
        id::DesignId,
    },
    stock::{
        StockError,
        dates::{Redated, change, get_in_ahead, may_change},
    },
    units::parse_date,
    web::{
        at::Path,
        clash::{Clash, Field},
        cx::Cx,
        error::{Answer, Trouble},
        form::Form,
        link::Link,
        page::{Chrome, Flash, Section, go_with, page_with},
    },
};

#[derive(Template)]
#[template(path = "design/dates.html")]
struct DatesPage {
    chrome: Chrome,
    id: DesignId,
    name: String,
    form: Form,
    clash: Option<Clash>,
    /// Its days as they are stored, in words.
    build_on: String,
    get_in: String,
    strike_on: String,
    /// Whether another get-in can be said.
    ahead: bool,
    /// Whether it should be down already.
    late: bool,
    /// Sets that hold what this one would keep longer.
    others: Vec<Other>,
}

/// A set that stands in the way.
struct Other {
    id: DesignId,
    name: String,
    /// Whether it can be planned again.
    replans: bool,
}

/// Sets that stand in the way, as they are now.
async fn in_the_way(cx: &Cx, sets: &[DesignId]) -> Result<Vec<Other>, Trouble> {
    let mut tx = cx.read().await?;
    let mut others = Vec::new();
    for id in sets {
        let Some(set) = db::design::lookup(&mut tx, *id).await? else {
            continue;
        };
        others.push(Other {
            id: *id,
            name: set.name.to_string(),
            replans: set.state.editable(),
        });
    }
    Ok(others)
}

const FIELDS: &[Field] = &[("get_in", "Get-in"), ("strike_on", "Strike")];

fn filled(design: &Design) -> Form {
    Form::filled([
        ("get_in", design.dates.get_in().to_string()),
        ("strike_on", design.dates.strike_on().to_string()),
        ("version", design.version.to_string()),
    ])
}

fn words(value: &str) -> String {
    parse_date(value).map_or_else(|_| value.to_owned(), day)
}

fn show(cx: &Cx, design: &Design, form: Form, clash: Option<Clash>) -> Answer {
    show_with(cx, design, form, clash, Vec::new())
}

fn show_with(
    cx: &Cx,
    design: &Design,
    form: Form,
    clash: Option<Clash>,
    others: Vec<Other>,
) -> Answer {
    let status = if clash.is_some() {
        StatusCode::PRECONDITION_FAILED
    } else if form.ok() {
        StatusCode::OK
    } else {
        StatusCode::UNPROCESSABLE_ENTITY
    };
    Ok(page_with(
        status,
        &DatesPage {
            chrome: cx.chrome(Section::Designs, format!("Dates · {}", design.name)),
            id: design.id,
            name: design.name.to_string(),
            form,
            clash,
            build_on: day(design.dates.build_on()),
            get_in: day(design.dates.get_in()),
            strike_on: day(design.dates.strike_on()),
            ahead: get_in_ahead(design, cx.today),
            late: design.dates.strike_on() < cx.today,
            others,
        },
    ))
}

/// Where the days of a set are changed that is not at work and does not stand.
fn elsewhere(design: &Design) -> Trouble {
    let id = design.id;
    let (said, link, label) = match design.state {
        State::Draft | State::Reserved => (
            "Before a set is built its days are changed with what it is, and its plan follows.",
            Link::DesignEdit(id),
            "To its dates, budget and notes",
        ),
        _ => (
            "This set is over: it has no days to come. Copy it to plan another.",
            Link::Design(id),
            "To the set",
        ),
    };
    Trouble::new(StatusCode::CONFLICT, said).or_go(link, label)
}

/// GET: the form.
pub async fn get(cx: Cx, Path(id): Path<DesignId>) -> Answer {
    let design = load::design(&cx, id).await?;
    if !may_change(design.state) {
        return Err(elsewhere(&design));
    }
    let form = filled(&design);
    show(&cx, &design, form, None)
}

/// POST: changes the days, and what is held with them.
pub async fn post(cx: Cx, Path(id): Path<DesignId>, mut form: Form) -> Answer {
    let mut design = load::design(&cx, id).await?;
    let strike_on = day_of_show(&mut form, "strike_on");
    // A get-in that is over is not asked for.
    let get_in = if form.has("get_in") {
        day_of_show(&mut form, "get_in")
    } else {
        Some(design.dates.get_in())
    };
    let (Some(get_in), Some(strike_on)) = (get_in, strike_on) else {
        return show(&cx, &design, form, None);
    };
    for _ in 0..load::ATTEMPTS {
        // A version that cannot be read is none that is stored.
        let version = form.value("version").parse().unwrap_or(0);
        match change(&cx.act(&form), id, version, get_in, strike_on).await {
            Ok(Redated::InTheWay { sets, said }) => {
                form.fail("strike_on", said);
                let others = in_the_way(&cx, &sets).await?;
                return show_with(&cx, &design, form, None, others);
            }
            Ok(Redated::Done(_)) => {
                let said = format!(
                    "The strike is on {} now. What the set holds is held until then.",
                    day(strike_on)
                );
                return Ok(go_with(&Link::Design(id), &Flash::good(said)));
            }
            Err(StockError::Changed) => {
                design = load::design(&cx, id).await?;
                let clash =
                    Clash::meet(&mut form, &filled(&design), FIELDS, |_, value| words(value));
                // Where only something else of the set was changed, this goes on.
                if !clash.is_none() {
                    return show(&cx, &design, form, Some(clash));
                }
            }
            Err(StockError::Field { field, message }) => {
                form.fail(&field, message);
                return show(&cx, &design, form, None);
            }
            Err(StockError::Refused(why)) => {
                form.fail("", why);
                return show(&cx, &design, form, None);
            }
            Err(StockError::NotFound("set")) => return Err(load::no_design()),
            Err(why) => return Err(why.into()),
        }
    }
    Err(load::changed(&Link::DesignDates(id)))
}
