//! One order: sent, expected, arrived (wholly, partly, wrong), closed.

mod letter;

use std::collections::BTreeSet;

use askama::Template;
use axum::http::StatusCode;

use self::letter::Needed;
use super::{
    at::Path,
    cx::Cx,
    error::{Answer, Trouble},
    form::{Choice, Form},
    link::Link,
    page::{Chrome, Flash, Section, go_with, page_with},
    places::refused,
    settings::offer::pack_words,
};
use crate::{
    db,
    model::{
        design::State,
        id::{DesignId, PartId, PlaceId, PurchaseId, PurchaseLineId},
        purchase::{Purchase, PurchaseState},
    },
    stock::order::{self, Arrival, Came, Goes},
    units::{Date, Money, say_day},
};

/// Ids of a line's fields: each line has a form of its own.
struct Ids {
    good: String,
    bad: String,
    note: String,
    place: String,
}

struct LineView {
    ids: Ids,
    id: PurchaseLineId,
    part: PartId,
    name: String,
    pack: String,
    packs: i64,
    open: i64,
    received: i64,
    refused: i64,
    note: String,
    cost: String,
    places: Vec<Choice>,
    /// Whether it is ticked among those that have arrived: all are at first.
    ticked: bool,
    /// What stands in its form: all of it came, right, or what was typed and refused.
    form: Form,
}

#[derive(Template)]
#[template(path = "shopping/order.html")]
struct OrderPage {
    chrome: Chrome,
    form: Form,
    order: Purchase,
    lines: Vec<LineView>,
    /// The sets that lines are for.
    sets: Vec<(DesignId, String)>,
    goods: String,
    delivery: String,
    total: String,
    next: Vec<(PurchaseState, &'static str)>,
    /// Whether it has not been sent yet.
    sends: bool,
    /// The way back from an end.
    again: Option<(PurchaseState, &'static str)>,
    has_place: bool,
    /// Lines of which something is still to come.
    to_come: usize,
    /// Those of them of which a part has come.
    came_short: usize,
    /// Where all of it may go: each part to its usual place, or one place.
    goes: Vec<Choice>,
    /// What to send to the supplier, while there is something to send.
    letter: Option<Letter>,
}

/// The order as text.
struct Letter {
    text: String,
    rows: usize,
    mail: Link,
    /// The day that is past by which it should have been there, and why it should.
    late: Option<(String, String)>,
}

/// The text of an order that is to be sent, or was and can be asked about.
fn letter(
    cx: &Cx,
    order: &Purchase,
    wanted: &[letter::Wanted],
    needed: Option<Needed>,
) -> Option<Letter> {
    if !matches!(order.state, PurchaseState::List | PurchaseState::Ordered) {
        return None;
    }
    let text = letter::text(order, wanted, needed, &cx.venue);
    Some(Letter {
        rows: text.lines().count().clamp(8, 30),
        mail: Link::Mail(letter::subject(order, &cx.venue), text.clone()),
        late: match needed {
            Some(late @ Needed::Soon { was, .. }) => late.late().map(|why| (say_day(was), why)),
            Some(Needed::By(_)) | None => None,
        },
        text,
    })
}

/// GET: one order.
pub async fn get(cx: Cx, Path(id): Path<PurchaseId>) -> Answer {
    show(&cx, id, Form::default(), None, StatusCode::OK).await
}

/// Every place, after the usual one of each part.
fn goes(places: &[db::place::PlaceNode], chosen: &str) -> Vec<Choice> {
    let usual = places.first().map(|first| {
        let new = &first.place.path;
        let words = format!("each to where it was put last; what is new to {new}");
        (String::new(), words)
    });
    let each = places
        .iter()
        .map(|place| (place.place.id.to_string(), place.place.path.clone()));
    Choice::list(usual.into_iter().chain(each), chosen)
}

/// What was typed about one line and is refused.
type LineForm = (PurchaseLineId, Form);

/// What stands in a line's form.
fn line_form(open: i64, usual: &str, typed: Option<Form>) -> Form {
    let mut form = typed.unwrap_or_default();
    form.fill(&[
        ("good", &open.to_string()),
        ("bad", "0"),
        ("note", ""),
        ("place", usual),
    ]);
    form
}

async fn show(
    cx: &Cx,
    id: PurchaseId,
    mut form: Form,
    refused: Option<LineForm>,
    status: StatusCode,
) -> Answer {
    let mut tx = cx.read().await?;
    let order = db::purchase::lookup(&mut tx, id)
        .await?
        .ok_or_else(|| Trouble::not_found("order").or_go(Link::Shopping, "To the shopping list"))?;
    let places = db::place::list(&mut tx, false).await?;
    let (mut refused_line, mut typed) = match refused {
        Some((line, typed)) => (Some(line), Some(typed)),
        None => (None, None),
    };
    // The line may have come meanwhile: then it has no form to say it in.
    if let Some(typed) = &typed
        && !order
            .lines
            .iter()
            .any(|line| Some(line.id) == refused_line && line.open_packs() > 0)
    {
        for message in typed.all_errors() {
            form.fail("", message);
        }
        refused_line = None;
    }
    if refused_line.is_some() {
        form.fail(
            "",
            "Nothing was taken in. What is wrong is said at its line below; what you typed stands there.",
        );
    }
    let mut lines = Vec::new();
    let mut wanted = Vec::new();
    for line in &order.lines {
        let part = db::part::lookup(&mut tx, line.part).await?;
        let pack = part
            .map(|part| pack_words(&part, line.pack_amount, cx.unit()))
            .unwrap_or_default();
        let offer = match line.offer {
            Some(offer) => db::offer::lookup(&mut tx, offer).await?,
            None => None,
        };
        letter::gather(
            &mut wanted,
            letter::Wanted {
                name: line.part_name.clone(),
                pack: pack.clone(),
                // A price may have become another supplier's meanwhile; its code then says nothing here.
                code: offer
                    .filter(|offer| offer.supplier == order.supplier)
                    .map(|offer| offer.code)
                    .unwrap_or_default(),
                packs: line.packs,
                price: line.price_minor,
                cost: line.cost(),
            },
        );
        let usual = order::usual_place(&mut tx, line.part).await?;
        let chosen = usual
            .or_else(|| places.first().map(|place| place.place.id))
            .map(|place| place.to_string())
            .unwrap_or_default();
        let value = line.id.to_string();
        let ticked = !form.has("to") || form.all("line").any(|ticked| ticked == value);
        let own = (refused_line == Some(line.id)).then(|| typed.take());
        let form = line_form(line.open_packs(), &chosen, own.flatten());
        lines.push(LineView {
            id: line.id,
            part: line.part,
            name: line.part_name.clone(),
            pack,
            packs: line.packs,
            open: line.open_packs(),
            received: line.received_packs,
            refused: line.refused_packs,
            note: line.note.as_str().to_owned(),
            cost: cx.money(line.cost()),
            ids: Ids {
                good: format!("good-{}", line.id),
                bad: format!("bad-{}", line.id),
                note: format!("note-{}", line.id),
                place: format!("place-{}", line.id),
            },
            places: Choice::list(
                places
                    .iter()
                    .map(|place| (place.place.id, place.place.path.as_str())),
                form.value("place"),
            ),
            ticked,
            form,
        });
    }
    let mut sets: Vec<(DesignId, String)> = Vec::new();
    let mut first: Option<Date> = None;
    for listed in db::design::list(&mut tx).await? {
        if order.lines.iter().any(|line| line.is_for(listed.id)) {
            sets.push((listed.id, listed.name.to_string()));
            if matches!(
                listed.state,
                State::Draft | State::Reserved | State::Building
            ) {
                let day = listed.dates.build_on();
                first = Some(first.map_or(day, |first| first.min(day)));
            }
        }
    }
    for (field, stored) in [
        (
            "ordered_on",
            order.ordered_on.unwrap_or(cx.today).to_string(),
        ),
        (
            "expected_on",
            order
                .expected_on
                .map(|day| day.to_string())
                .unwrap_or_default(),
        ),
        ("paid", cx.money(order.paid_minor)),
        ("note", order.note.as_str().to_owned()),
    ] {
        if !form.has(field) {
            form.set(field, stored);
        }
    }
    let page = OrderPage {
        chrome: cx.chrome(
            Section::Shopping,
            format!("Order {} from {}", order.id, order.supplier_name),
        ),
        sets,
        goods: cx.money(order.goods()),
        delivery: cx.money(order.delivery_minor),
        total: cx.money(order.total()),
        next: match order.state {
            PurchaseState::List => {
                vec![
                    (PurchaseState::Ordered, "I have sent it"),
                    (PurchaseState::Cancelled, "Drop it"),
                ]
            }
            PurchaseState::Ordered => vec![
                (PurchaseState::Closed, "Nothing more will come"),
                (PurchaseState::Cancelled, "It was cancelled"),
            ],
            PurchaseState::Closed | PurchaseState::Cancelled => Vec::new(),
        },
        sends: order.state == PurchaseState::List,
        again: match order.state {
            PurchaseState::Closed if order.open() => {
                Some((PurchaseState::Ordered, "Something will come all the same"))
            }
            PurchaseState::Cancelled => Some((PurchaseState::List, "Put it back on the list")),
            _ => None,
        },
        has_place: !places.is_empty(),
        to_come: lines.iter().filter(|line| line.open > 0).count(),
        came_short: order.lines.iter().filter(|line| line.came_short()).count(),
        goes: goes(&places, form.value("to")),
        letter: letter(
            cx,
            &order,
            &wanted,
            first.map(|first| Needed::new(first, cx.venue.order_slack_days.into(), cx.today)),
        ),
        form,
        order,
        lines,
    };
    Ok(page_with(status, &page))
}

/// POST: sent, expected, paid, closed, cancelled.
pub async fn state(cx: Cx, Path(id): Path<PurchaseId>, mut form: Form) -> Answer {
    let to = form.word::<PurchaseState>("state");
    let version = form.count("version", 1, i64::MAX);
    let ordered: Option<Option<Date>> = form.optional("ordered_on", crate::units::parse_date);
    let expected: Option<Option<Date>> = form.optional("expected_on", crate::units::parse_date);
    let paid = form.optional("paid", |text| Money::parse(text, &cx.venue.currency));
    let note = form.note("note");
    if paid.flatten().is_some_and(|paid| paid < Money::ZERO) {
        form.fail("paid", "Type a sum of zero or more.");
    }
    if let (Some(Some(sent)), Some(Some(due))) = (ordered, expected)
        && due < sent
    {
        form.fail("expected_on", "It cannot be expected before it was sent.");
    }
    let (Some(to), Some(version), Some(ordered), Some(expected), Some(paid), Some(note), true) =
        (to, version, ordered, expected, paid, note, form.ok())
    else {
        return show(&cx, id, form, None, StatusCode::UNPROCESSABLE_ENTITY).await;
    };
    let was = db::purchase::lookup(&mut *cx.read().await?, id)
        .await?
        .map(|order| order.state);
    let change = order::Change {
        to,
        version,
        ordered_on: ordered,
        expected_on: expected,
        paid_minor: paid.unwrap_or(Money::ZERO),
        note,
    };
    match order::change(&cx.act(&form), id, change).await {
        Ok(state) => {
            let said = if was == Some(state) {
                "The days and sums are saved.".to_owned()
            } else {
                format!("The order is noted as {}.", state.label())
            };
            Ok(go_with(&Link::Purchase(id), &Flash::good(said)))
        }
        Err(crate::stock::StockError::Changed) => {
            form.fail("", "Somebody else changed this order meanwhile. Nothing was overwritten: what stands here is as it is stored now.");
            show(&cx, id, form, None, StatusCode::PRECONDITION_FAILED).await
        }
        Err(why) => Err(why.into()),
    }
}

/// The order with what was typed about one line standing there, and what is wrong with it.
async fn refuse_line(
    cx: &Cx,
    id: PurchaseId,
    line: PurchaseLineId,
    typed: Form,
    status: StatusCode,
) -> Answer {
    show(cx, id, Form::default(), Some((line, typed)), status).await
}

/// POST: one line arrived.
pub async fn receive(
    cx: Cx,
    Path((id, line)): Path<(PurchaseId, PurchaseLineId)>,
    mut form: Form,
) -> Answer {
    let good = form.count("good", 0, 100_000);
    let bad = form.optional("bad", |text| {
        text.trim()
            .parse::<u32>()
            .map_err(|_| "Type a whole number.")
    });
    let place = form.optional_id::<PlaceId>("place");
    let note = form.note("note");
    let (Some(good), Some(bad), Some(place), Some(note)) = (good, bad, place, note) else {
        return refuse_line(&cx, id, line, form, StatusCode::UNPROCESSABLE_ENTITY).await;
    };
    let Some(place) = place else {
        form.fail(
            "place",
            "Say where it goes. If there is no place yet, add one under Settings, Places.",
        );
        return refuse_line(&cx, id, line, form, StatusCode::UNPROCESSABLE_ENTITY).await;
    };
    let arrival = Arrival {
        good,
        bad: i64::from(bad.unwrap_or(0)),
        place,
        note,
    };
    match order::receive(&cx.act(&form), line, &arrival).await {
        Ok(done) => {
            let flash = Flash::good(done.said);
            let flash = match done.movement {
                Some(movement) => flash.undo(movement),
                None => flash,
            };
            Ok(go_with(&Link::Purchase(id), &flash))
        }
        Err(why) => {
            let status = refused(&mut form, why)?;
            refuse_line(&cx, id, line, form, status).await
        }
    }
}

/// POST: of what is still to come the lines that are ticked arrived.
pub async fn receive_all(cx: Cx, Path(id): Path<PurchaseId>, mut form: Form) -> Answer {
    let Some(to) = form.optional_id::<PlaceId>("to") else {
        return show(&cx, id, form, None, StatusCode::UNPROCESSABLE_ENTITY).await;
    };
    let goes = match to {
        Some(place) => Goes::To(place),
        None => Goes::Usual {
            otherwise: db::place::list(&mut *cx.read().await?, false)
                .await?
                .first()
                .map(|first| first.place.id),
        },
    };
    let came = Came::These {
        lines: form
            .all("line")
            .filter_map(|line| line.parse().ok())
            .collect::<BTreeSet<PurchaseLineId>>(),
        but_short: form.value("came") == "but",
    };
    match order::receive_all(&cx.act(&form), id, goes, &came).await {
        Ok(done) => Ok(go_with(&Link::Purchase(id), &Flash::good(done.said))),
        Err(why) => {
            let status = refused(&mut form, why)?;
            show(&cx, id, form, None, status).await
        }
    }
}
