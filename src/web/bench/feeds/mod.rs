//! Which load hangs on which driver output, and which inlet on which supply, by plain fields, or by
//! the document of `tapewright calc feeds`.

mod shown;
mod typed;

use askama::Template;

use super::{away, pasted, refuse, status};
use crate::{
    calc::feeds::{self, FeedsBody},
    units::LengthUnit,
    web::{
        cx::Cx,
        error::Answer,
        form::Form,
        link::Link,
        page::{Chrome, Section, page_with},
    },
};
use shown::Answered;

/// What stands in the fields at first, invented.
const fn first(unit: LengthUnit) -> [(&'static str, &'static str); 4] {
    [
        (
            "loads",
            "Window bar: 8 x 0.6 0.6 0.6 A, 24 V\nStep: 0.35 A, 24 V",
        ),
        (
            "drivers",
            "Eight outputs: 2+2+2+2 of 4, 12 to 24 V, isolated, channel 5 A, output 15 A, inlet 20 A, have 1\nThree outputs: 3 of 4, 5 to 24 V, channel 2 A, output 6 A, whole 12 A, at 39.00",
        ),
        (
            "supplies",
            "Supply 24 V 20 A: 24 V, 20 A, 80 %, pairs 3, have 1, at 65.00",
        ),
        ("feed", if unit.metric() { "1.5 m" } else { "5 ft" }),
    ]
}

#[derive(Template)]
#[template(path = "bench/feeds.html")]
struct FeedsPage {
    chrome: Chrome,
    form: Form,
    answered: Option<Answered>,
}

fn show(cx: &Cx, form: Form, answered: Option<Answered>) -> Answer {
    let status = status(&form);
    let page = FeedsPage {
        chrome: cx.chrome(Section::Bench, "Drivers and supplies"),
        form,
        answered,
    };
    Ok(page_with(status, &page))
}

/// GET: the fields, with the answer where something was asked.
pub async fn get(cx: Cx, mut form: Form) -> Answer {
    let asked = form.has("loads");
    if asked {
        // The length of a feed need not be given.
        form.fill(&[("feed", "")]);
    }
    form.fill(&first(cx.unit()));
    if !asked {
        return show(&cx, form, None);
    }
    let body = typed::read(&cx, &mut form);
    let answered = answer(&cx, &mut form, body, field_of).await;
    show(&cx, form, answered)
}

/// POST: a document instead of the fields.
pub async fn post(cx: Cx, mut form: Form) -> Answer {
    for (field, first) in first(cx.unit()) {
        form.set(field, first);
    }
    let body = pasted::<FeedsBody>(&mut form);
    let answered = answer(&cx, &mut form, body, |_| "document").await;
    show(&cx, form, answered)
}

fn field_of(pointer: &str) -> &'static str {
    if pointer.starts_with("/drivers") {
        "drivers"
    } else if pointer.starts_with("/supplies") {
        "supplies"
    } else if pointer == "/feed_length_m" {
        "feed"
    } else {
        "loads"
    }
}

/// Answers away from what serves pages.
async fn answer(
    cx: &Cx,
    form: &mut Form,
    body: Option<FeedsBody>,
    field: impl Fn(&str) -> &'static str,
) -> Option<Answered> {
    let (body, said) = away(body?, feeds::answer).await;
    match said {
        Ok(said) => Some(shown::answered(cx, &body, &said)),
        Err(why) => {
            refuse(form, &why, field);
            None
        }
    }
}
