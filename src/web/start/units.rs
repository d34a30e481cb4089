//! The first question: in which units and which money the book is kept.

use askama::Template;
use axum::http::StatusCode;

use super::{Step, Steps};
use crate::{
    db,
    model::venue::Venue,
    stock::{self, StockError},
    units::{Currency, LengthUnit},
    web::{
        cx::Cx,
        error::Answer,
        form::{Choice, Form},
        link::Link,
        page::{Chrome, Section, go, page_with},
        places::refused,
        settings::{self, unit_choices},
    },
};

#[derive(Template)]
#[template(path = "start/units.html")]
struct UnitsPage {
    chrome: Chrome,
    steps: Steps,
    form: Form,
    units: Vec<Choice>,
    /// Whether nobody has said yet where the venue stands: scripting fills in the zone of the device.
    untouched: bool,
}

fn show(cx: &Cx, form: Form, status: StatusCode, untouched: bool) -> Answer {
    Ok(page_with(
        status,
        &UnitsPage {
            chrome: cx.chrome(Section::Settings, "Units and money"),
            steps: Step::Units.list(),
            units: unit_choices(form.value("length_unit")),
            form,
            untouched,
        },
    ))
}

/// GET: what stands in the settings now.
pub async fn get(cx: Cx) -> Answer {
    let form = Form::filled([
        ("name", cx.venue.name.to_string()),
        ("length_unit", cx.venue.length_unit.to_string()),
        ("currency", cx.venue.currency.code().to_owned()),
        ("zone", cx.venue.zone.clone()),
        ("version", cx.venue.version.to_string()),
    ]);
    // The settings were never saved.
    show(&cx, form, StatusCode::OK, cx.venue.version == 1)
}

/// POST: saves them and leads on to the tape.
pub async fn post(cx: Cx, mut form: Form) -> Answer {
    let (name, length_unit, currency, zone, version) = (
        form.name("name"),
        form.word::<LengthUnit>("length_unit"),
        form.take("currency", |text| {
            Currency::parse(&text.to_ascii_uppercase()).or(Currency::parse(text))
        }),
        form.take("zone", settings::zone),
        form.count("version", 1, i64::MAX),
    );
    let (Some(name), Some(length_unit), Some(currency), Some(zone), Some(version)) =
        (name, length_unit, currency, zone, version)
    else {
        return show(&cx, form, StatusCode::UNPROCESSABLE_ENTITY, false);
    };
    let venue = Venue {
        name,
        length_unit,
        currency,
        zone,
        version,
        ..Venue::clone(&cx.venue)
    };
    let relabel = form.ticked(stock::settings::RELABEL);
    let saved = stock::settings::change(&cx.act(&form), &venue, relabel).await;
    if matches!(saved, Err(StockError::Changed)) {
        let stored = db::venue::lookup(&mut *cx.read().await?).await?;
        form.set("version", stored.version.to_string());
        form.fail(
            "",
            "Somebody else saved the settings meanwhile. Nothing was overwritten. Look, and save again to put yours in their place.",
        );
        return show(&cx, form, StatusCode::PRECONDITION_FAILED, false);
    }
    if let Err(why) = saved {
        let status = refused(&mut form, why)?;
        return show(&cx, form, status, false);
    }
    Ok(go(&Link::StartTape))
}
