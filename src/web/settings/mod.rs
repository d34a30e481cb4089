//! Settings: units, currency, zone, the venue's rules; and the way to everything kept beside.

use askama::Template;
use axum::http::StatusCode;
use jiff::tz::TimeZone;

use super::{
    clash::{Clash, Field, tick_words},
    cx::Cx,
    error::Answer,
    form::{Choice, Form},
    link::Link,
    page::{Chrome, Flash, Section, go_with, page_with},
    places::refused,
};
use crate::{
    db,
    model::{
        label::label_base,
        venue::{Mains, Venue},
    },
    stock::{StockError, settings},
    units::{Currency, Current, Length, LengthUnit, Voltage},
};

pub mod backup;
pub mod import;
pub mod offer;
pub mod people;
pub mod supplier;

#[derive(Template)]
#[template(path = "settings/venue.html")]
struct SettingsPage {
    chrome: Chrome,
    form: Form,
    units: Vec<Choice>,
    clash: Option<Clash>,
}

fn filled(venue: &Venue) -> Form {
    Form::filled([
        ("name", venue.name.to_string()),
        ("length_unit", venue.length_unit.to_string()),
        ("currency", venue.currency.code().to_owned()),
        ("prices_include_tax", tick(venue.prices_include_tax)),
        ("zone", venue.zone.clone()),
        ("slots_taken", venue.slots_taken.clone()),
        (
            "usable_offcut",
            venue.usable_offcut_um.show(venue.length_unit),
        ),
        ("spare_percent", venue.spare_percent.to_string()),
        ("same_day_turnaround", tick(venue.same_day_turnaround)),
        ("order_slack_days", venue.order_slack_days.to_string()),
        ("feed", venue.feed_um.show(venue.length_unit)),
        (
            "mains",
            venue
                .mains
                .map_or_else(String::new, |mains| mains.voltage_mv.show()),
        ),
        (
            "breaker",
            venue
                .mains
                .map_or_else(String::new, |mains| mains.breaker_ma.show()),
        ),
        (
            "continuous_percent",
            venue
                .mains
                .map_or(Mains::USUAL_PERCENT, |mains| mains.continuous_percent)
                .to_string(),
        ),
        ("label_base", venue.label_base.clone()),
        ("version", venue.version.to_string()),
    ])
}

fn tick(on: bool) -> String {
    if on { "on".into() } else { String::new() }
}

/// The units that lengths may be shown in, in words.
pub fn unit_choices(chosen: &str) -> Vec<Choice> {
    Choice::list(
        LengthUnit::ALL.iter().map(|unit| {
            let words = match unit {
                LengthUnit::Mm => "millimetres",
                LengthUnit::Cm => "centimetres",
                LengthUnit::M => "metres",
                LengthUnit::In => "inches",
                LengthUnit::Ft => "feet and inches",
            };
            (*unit, words)
        }),
        chosen,
    )
}

fn show(cx: &Cx, form: Form, clash: Option<Clash>, status: StatusCode) -> Answer {
    let units = unit_choices(form.value("length_unit"));
    let chrome = cx.chrome(Section::Settings, "Settings");
    Ok(page_with(
        status,
        &SettingsPage {
            chrome,
            form,
            units,
            clash,
        },
    ))
}

const FIELDS: &[Field] = &[
    ("name", "Name of the venue"),
    ("length_unit", "Lengths in"),
    ("currency", "Currency"),
    ("prices_include_tax", "Prices include tax"),
    ("zone", "Time zone"),
    ("slots_taken", "DMX slots taken"),
    ("usable_offcut", "Shortest usable offcut"),
    ("spare_percent", "Spares"),
    ("same_day_turnaround", "Strike and build on one day"),
    ("order_slack_days", "Days in hand"),
    ("feed", "Cable from supply to driver"),
    ("mains", "Mains voltage"),
    ("breaker", "Breaker of the circuit"),
    ("continuous_percent", "Loaded for hours to"),
    ("label_base", "Address on labels"),
];

/// GET: the settings as they are.
pub async fn get(cx: Cx) -> Answer {
    let form = filled(&cx.venue);
    show(&cx, form, None, StatusCode::OK)
}

/// POST: saves them.
pub async fn post(cx: Cx, mut form: Form) -> Answer {
    let name = form.name("name");
    let length_unit = form.word::<LengthUnit>("length_unit");
    let currency = form.take("currency", |text| {
        Currency::parse(&text.to_ascii_uppercase()).or(Currency::parse(text))
    });
    let zone = form.take("zone", zone);
    let slots_taken = form.take("slots_taken", |text| {
        let text = text.trim();
        crate::plan::address::Taken::parse(text).map(|_| text.to_owned())
    });
    let before = unit_before(&form).unwrap_or(cx.venue.length_unit);
    let unit = length_unit.unwrap_or(before);
    let usable = length(&mut form, "usable_offcut", before, unit);
    let spare = form.count("spare_percent", 0, 100);
    let slack = form.count("order_slack_days", 0, 60);
    let feed = length(&mut form, "feed", before, unit);
    if feed.is_some_and(|feed| feed > Venue::MOST_FEED) {
        form.fail(
            "feed",
            "That is longer than any feed. Type at most 100 m, or 0 where supplies stand at their drivers.",
        );
    }
    let mains = mains(&mut form);
    let label_base = form.take("label_base", label_base);
    let version = form.count("version", 1, i64::MAX);
    let (
        Some(name),
        Some(length_unit),
        Some(currency),
        Some(zone),
        Some(slots_taken),
        Some(usable_offcut_um),
        Some(spare),
        Some(slack),
        Some(feed_um),
        Some(label_base),
        Some(version),
        true,
    ) = (
        name,
        length_unit,
        currency,
        zone,
        slots_taken,
        usable,
        spare,
        slack,
        feed,
        label_base,
        version,
        form.ok(),
    )
    else {
        return show(&cx, form, None, StatusCode::UNPROCESSABLE_ENTITY);
    };
    let venue = Venue {
        name,
        length_unit,
        currency,
        prices_include_tax: form.ticked("prices_include_tax"),
        zone,
        slots_taken,
        usable_offcut_um,
        spare_percent: u8::try_from(spare).unwrap_or(0),
        same_day_turnaround: form.ticked("same_day_turnaround"),
        order_slack_days: u16::try_from(slack).unwrap_or(0),
        feed_um,
        mains,
        label_base,
        version,
    };
    let relabel = form.ticked(settings::RELABEL);
    let saved = settings::change(&cx.act(&form), &venue, relabel).await;
    if matches!(saved, Err(StockError::Changed)) {
        let stored = db::venue::lookup(&mut *cx.read().await?).await?;
        let clash = Clash::meet(
            &mut form,
            &filled(&stored),
            FIELDS,
            |name, value| match name {
                "prices_include_tax" | "same_day_turnaround" => tick_words(value),
                "length_unit" => Choice::label_of(&unit_choices(value), value),
                _ => value.to_owned(),
            },
        );
        return show(&cx, form, Some(clash), StatusCode::PRECONDITION_FAILED);
    }
    if let Err(why) = saved {
        let status = refused(&mut form, why)?;
        return show(&cx, form, None, status);
    }
    Ok(go_with(
        &Link::Settings,
        &Flash::good("The settings are saved."),
    ))
}

/// The unit that lengths had when the form was opened.
fn unit_before(form: &Form) -> Option<LengthUnit> {
    form.opened_with()?.value("length_unit").parse().ok()
}

/// A length as typed, beside the choice of the unit: where the same form changes that, what was left
/// alone keeps its length, and of a number alone nobody knows in which of the two it was meant.
fn length(form: &mut Form, name: &str, before: LengthUnit, unit: LengthUnit) -> Option<Length> {
    let opened = form.opened_with();
    if opened.is_some_and(|opened| opened.value(name) == form.value(name)) {
        return form.length(name, before);
    }
    let typed = form.value(name).trim().to_owned();
    let read = |unit| Length::parse(&typed, unit).ok();
    if let (Some(old), Some(new)) = (read(before), read(unit))
        && old != new
    {
        form.fail(
            name,
            format!("Say the unit: {typed} {before} or {typed} {unit}."),
        );
        return None;
    }
    form.length(name, unit)
}

/// The mains circuit as typed; none where neither voltage nor breaker is. What is wrong stands at
/// its field.
fn mains(form: &mut Form) -> Option<Mains> {
    let percent = form.count("continuous_percent", 1, 100);
    if form.value("mains").trim().is_empty() && form.value("breaker").trim().is_empty() {
        return None;
    }
    let voltage = form.take("mains", |text| {
        Voltage::parse(text)
            .map_err(|_| "Type the voltage of the mains with its unit, such as 230 V or 120 V.")
    });
    let breaker = form.take("breaker", Current::parse);
    let mains = Mains {
        voltage_mv: voltage?,
        breaker_ma: breaker?,
        continuous_percent: u8::try_from(percent?).unwrap_or(Mains::USUAL_PERCENT),
    };
    if let Some((field, why)) = mains.wrong() {
        let field = if field == "voltage_mv" {
            "mains"
        } else {
            "breaker"
        };
        form.fail(field, why);
        return None;
    }
    Some(mains)
}

/// A time zone that is known here.
pub fn zone(text: &str) -> Result<String, &'static str> {
    let text = text.trim();
    if text.len() <= 60 && TimeZone::get(text).is_ok() {
        Ok(text.to_owned())
    } else {
        Err(
            "That is not a time zone that is known here. Type its IANA name, such as Europe/London or UTC.",
        )
    }
}
