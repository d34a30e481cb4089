//! The bench: calculators that need no stock and no design. A nine-way switch here; each other one
//! has a page of its own.

use std::sync::Arc;

use askama::Template;
use axum::http::StatusCode;

use super::{
    cx::Cx,
    error::Answer,
    form::Form,
    link::Link,
    page::{Chrome, Section, page_with},
};
use crate::{
    calc::{
        Elapsed, Refused,
        document::{self, Unread},
    },
    clock::Watch,
    stock::desk,
    units::Money,
};

pub mod addresses;
pub mod cuts;
pub mod drop;
pub mod feeds;
pub mod packs;
pub mod wires;

/// A document that was pasted instead of the fields; what is wrong stands beside it.
fn pasted<T: serde::de::DeserializeOwned + utoipa::ToSchema>(form: &mut Form) -> Option<T> {
    form.take("document", |text| {
        let value = document::parse(text.as_bytes()).map_err(|why| match why {
            Unread::NotJson(why) => {
                format!("This is not JSON: {why}. Paste the whole document.")
            }
            Unread::Refused(why) => why.to_string(),
        })?;
        document::read(value).map_err(|why| why.to_string())
    })
}

/// What a calculator refuses, beside the field that it is about.
fn refuse(form: &mut Form, why: &Refused, field: impl Fn(&str) -> &'static str) {
    let name = field(&why.pointer);
    if name == "document" {
        form.fail(name, why);
    } else {
        form.fail(name, why.detail.replace("Send", "Type"));
    }
}

/// A sum of a document as the venue reads it; as it is where it is beyond all money.
fn sum(cx: &Cx, minor: i64) -> String {
    Money::new(minor).map_or_else(|_| minor.to_string(), |sum| cx.money(sum))
}

/// OK, or that something typed is wrong.
fn status(form: &Form) -> StatusCode {
    if form.ok() {
        StatusCode::OK
    } else {
        StatusCode::UNPROCESSABLE_ENTITY
    }
}

/// Calculates away from what serves pages, and gives the question back with its answer.
async fn away<Q, A>(
    asked: Q,
    answer: impl FnOnce(&Q, Elapsed<'_>) -> Result<A, Refused> + Send + 'static,
) -> (Arc<Q>, Result<A, Refused>)
where
    Q: Send + Sync + 'static,
    A: Send + 'static,
{
    let asked = Arc::new(asked);
    let question = asked.clone();
    let answered = desk::work(move |wanted| {
        let watch = Watch::start();
        answer(&question, &|| wanted.so_far(watch.elapsed()))
    });
    let answered = answered.await.unwrap_or_else(|crowded| {
        Err(Refused {
            pointer: String::new(),
            detail: crowded.to_string(),
        })
    });
    (asked, answered)
}

/// Lines of a list, each read by itself; what is wrong with one says which it is.
fn lines<T>(
    text: &str,
    most: usize,
    read: impl Fn(&str, usize) -> Result<T, String>,
) -> Result<Vec<T>, String> {
    let lines = text.lines().map(str::trim).filter(|line| !line.is_empty());
    let lines: Vec<&str> = lines.collect();
    if lines.len() > most {
        return Err(format!("At most {most} lines; these are {}.", lines.len()));
    }
    (1..)
        .zip(&lines)
        .map(|(at, line)| read(line, at).map_err(|why| format!("Line {at}: {why}")))
        .collect()
}

#[derive(Template)]
#[template(path = "bench.html")]
struct BenchPage {
    chrome: Chrome,
    form: Form,
    switches: Option<Vec<(u16, bool)>>,
    address: String,
}

/// GET: the calculators, with the switches where an address was asked.
pub async fn get(cx: Cx, mut form: Form) -> Answer {
    let less_one = form.ticked("less_one");
    let address = if !form.has("address") {
        None
    } else if form.value("address").trim() == "512" && !less_one {
        form.fail(
            "address",
            "Nine switches show 511 at most. Tick that the device shows start − 1 if it does; else type 1 to 511.",
        );
        None
    } else {
        form.count("address", 1, 511 + i64::from(less_one))
    };
    let switches = address.map(|address| {
        let shown = u16::try_from(address).unwrap_or(1) - u16::from(less_one);
        (0..9)
            .map(|switch| (switch + 1, shown >> switch & 1 == 1))
            .collect()
    });
    let status = status(&form);
    let page = BenchPage {
        chrome: cx.chrome(Section::Bench, "Bench"),
        switches,
        address: address
            .map(|address| address.to_string())
            .unwrap_or_default(),
        form,
    };
    Ok(page_with(status, &page))
}
