//! Goods put into stock: a number, like rolls or bars, or units with tags.

use askama::Template;
use axum::http::StatusCode;

use super::{
    at::Path,
    cx::Cx,
    error::{Answer, Trouble},
    form::{Choice, Form},
    link::Link,
    page::{Chrome, Section, go_with, page_with},
    places::refused,
    show::{counted, told},
    thing::place_choices,
};
use crate::{
    db::{self, ReadTx},
    model::{
        connector::{Connector, Gender},
        id::{PartId, PlaceId},
        part::{Part, PartSpec, StockBy, StockUnit},
        piece::End,
        text::{Name, Tag},
    },
    stock::{
        change::AMOUNT_LIMIT,
        receive::{Goods, Pieces, Receive, THING_LIMIT},
    },
    units::Length,
};

#[derive(Template)]
#[template(path = "receive.html")]
struct ReceivePage {
    chrome: Chrome,
    form: Form,
    back: Link,
    places_link: Link,
    part: String,
    by: &'static str,
    /// The unit after the number, for what is counted.
    unit: &'static str,
    places: Vec<Choice>,
    lengths: Vec<String>,
    starts: Vec<Choice>,
    ends: Vec<Choice>,
    genders: Vec<Choice>,
    is_tape: bool,
}

async fn lookup(tx: &mut ReadTx, id: PartId) -> Result<Part, Trouble> {
    db::part::lookup(tx, id)
        .await?
        .ok_or_else(|| Trouble::not_found("part").or_go(Link::Cupboard, "To the cupboard"))
}

/// Choices for one end of a roll.
fn end_choices(factory: Option<&Connector>, chosen: &str) -> Vec<Choice> {
    let mut choices = Vec::new();
    if let Some(connector) = factory {
        choices.push(("factory", format!("has its factory lead ({connector})")));
    }
    choices.push(("bare", "is bare".to_owned()));
    choices.push(("lead", "has the lead described below".to_owned()));
    Choice::list(choices, chosen)
}

async fn show(cx: &Cx, id: PartId, mut form: Form, status: StatusCode) -> Answer {
    let mut tx = cx.read().await?;
    let part = lookup(&mut tx, id).await?;
    let places = place_choices(&mut tx, form.value("to")).await?;
    drop(tx);
    let (start, end) = factory(&part);
    let lengths = match &part.spec {
        PartSpec::Tape(tape) => tape.rolls_um.as_slice(),
        PartSpec::Profile(profile) => profile.bars_um.as_slice(),
        PartSpec::Cable(cable) => cable.reels_um.as_slice(),
        _ => &[],
    };
    let lengths: Vec<String> = lengths
        .iter()
        .map(|length| length.typed_sold(cx.unit()))
        .collect();
    if let [only] = lengths.as_slice() {
        form.fill(&[("length", only)]);
    }
    Ok(page_with(
        status,
        &ReceivePage {
            chrome: cx.chrome(Section::Cupboard, format!("Receive {}", part.name)),
            back: Link::Part(id),
            places_link: Link::Places,
            by: part.stock_by().word(),
            unit: if part.unit() == StockUnit::Each {
                ""
            } else {
                "length"
            },
            places,
            lengths,
            starts: end_choices(start, form.value("start")),
            ends: end_choices(end, form.value("end")),
            genders: Choice::list(
                Gender::ALL.iter().map(|one| (one.word(), one.label())),
                form.value("gender"),
            ),
            is_tape: matches!(part.spec, PartSpec::Tape(_)),
            part: part.name.to_string(),
            form,
        },
    ))
}

const fn factory(part: &Part) -> (Option<&Connector>, Option<&Connector>) {
    match &part.spec {
        PartSpec::Tape(tape) => (tape.roll_start.as_ref(), tape.roll_end.as_ref()),
        _ => (None, None),
    }
}

/// Reads `R-1, R-2 R-3`; nothing typed is no tag.
pub fn read_tags(text: &str) -> Result<Vec<Tag>, String> {
    text.split([',', ';', ' ', '\n', '\r'])
        .filter(|tag| !tag.trim().is_empty())
        .map(|tag| Tag::parse(tag).map_err(|why| format!("“{tag}”: {why}")))
        .collect()
}

/// Reads family, gender and pins; no family is no connector.
#[expect(
    clippy::option_option,
    reason = "as Form::optional: the outer one says that the form is wrong"
)]
pub fn connector(form: &mut Form) -> Option<Option<Connector>> {
    let family = form.optional("family", Name::parse)?;
    let Some(family) = family else {
        return Some(None);
    };
    let gender = form.word::<Gender>("gender");
    let pins = form.optional("pins", str::parse);
    Some(Some(Connector {
        family,
        gender: gender?,
        pins: pins?,
    }))
}

/// One end as chosen.
fn end(
    form: &mut Form,
    field: &str,
    factory: Option<&Connector>,
    typed: Option<&Connector>,
) -> Option<End> {
    match (form.value(field), factory, typed) {
        ("factory", Some(connector), _) | ("lead", _, Some(connector)) => Some(End::Lead {
            connector: connector.clone(),
        }),
        ("lead", _, None) => {
            form.fail(
                "family",
                "Say what the lead ends in: type the family of its connector.",
            );
            None
        }
        _ => Some(End::Bare),
    }
}

fn pieces(form: &mut Form, cx: &Cx, part: &Part) -> Option<Pieces> {
    let most = i64::try_from(THING_LIMIT).unwrap_or(i64::MAX);
    let number = form.count("number", 1, most);
    let length = form.length_above_zero("length", cx.unit());
    let typed = connector(form);
    let batch = form.take("batch", |text| {
        if text.chars().count() > 60 {
            Err("A batch has at most 60 characters. Shorten it.")
        } else {
            Ok(text.trim().to_owned())
        }
    });
    let tags = form.take("tags", read_tags);
    let (start, stop) = factory(part);
    let typed = typed?;
    let start = end(form, "start", start, typed.as_ref());
    let stop = end(form, "end", stop, typed.as_ref());
    let (number, length) = (number?, length?);
    let number = usize::try_from(number).unwrap_or(0);
    let offcuts = form.ticked("offcuts");
    // An offcut's first joint is not where a new roll's is: it is not known.
    let base = if offcuts {
        Pieces::of_length(part, length, number)
    } else {
        Pieces::as_bought(part, part.spec.sold_as(length).unwrap_or(length), number)
    };
    Some(Pieces {
        start: start?,
        end: stop?,
        batch: batch?,
        tags: tags?,
        offcuts,
        ..base
    })
}

fn goods(form: &mut Form, cx: &Cx, part: &Part) -> Option<(Goods, String)> {
    match part.stock_by() {
        StockBy::Count if part.unit() == StockUnit::Micrometres => {
            let length: Length = form.length_above_zero("amount", cx.unit())?;
            Some((Goods::Count(length.get()), cx.length(length)))
        }
        StockBy::Count => {
            let amount = form.count("amount", 1, AMOUNT_LIMIT)?;
            Some((Goods::Count(amount), amount.to_string()))
        }
        StockBy::Length => {
            let pieces = pieces(form, cx, part)?;
            let said = counted(pieces.number, "piece", "pieces");
            Some((Goods::Pieces(pieces), said))
        }
        StockBy::Unit => {
            let most = i64::try_from(THING_LIMIT).unwrap_or(i64::MAX);
            let number = form.count("number", 1, most);
            let tags = form.take("tags", read_tags);
            let serials: Vec<String> = form
                .value("serials")
                .split([',', ';', '\n'])
                .map(|serial| serial.trim().to_owned())
                .filter(|serial| !serial.is_empty())
                .collect();
            if serials.iter().any(|serial| serial.chars().count() > 120) {
                form.fail("serials", "Each number has at most 120 characters.");
                return None;
            }
            let number = usize::try_from(number?).unwrap_or(0);
            Some((
                Goods::Units {
                    number,
                    tags: tags?,
                    serials,
                },
                counted(number, "unit", "units"),
            ))
        }
    }
}

/// GET: the form.
pub async fn get(cx: Cx, Path(id): Path<PartId>, mut form: Form) -> Answer {
    form.fill(&[("number", "1")]);
    show(&cx, id, form, StatusCode::OK).await
}

/// POST: puts the goods into stock.
pub async fn post(cx: Cx, Path(id): Path<PartId>, mut form: Form) -> Answer {
    let part = lookup(&mut cx.read().await?, id).await?;
    let goods = goods(&mut form, &cx, &part);
    let to = form.id::<PlaceId>("to");
    let (reason, note) = (form.note("reason"), form.note("note"));
    let (Some((goods, said)), Some(to), Some(reason), Some(note)) = (goods, to, reason, note)
    else {
        return show(&cx, id, form, StatusCode::UNPROCESSABLE_ENTITY).await;
    };
    let change = Receive {
        reason,
        note,
        ..Receive::new(id, to, goods)
    };
    match cx.act(&form).carry_out(&change).await {
        Ok(done) => Ok(go_with(
            &Link::Part(id),
            &told(&format!("{said} of {} put into stock.", part.name), &done),
        )),
        Err(why) => {
            let status = refused(&mut form, why)?;
            for message in form.errors("tag").to_vec() {
                form.fail("tags", message);
            }
            show(&cx, id, form, status).await
        }
    }
}
