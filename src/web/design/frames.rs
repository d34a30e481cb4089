//! Frames of a set, and its extra lines.

use askama::Template;
use axum::http::StatusCode;

use super::{
    Head, Tab, Whole,
    bars::{Refused, show as show_bars},
    head, load,
};
use crate::{
    model::{
        design::{Extra, Frame},
        id::{DesignId, ExtraId, FrameId, PartId},
        part::{Measure, Part, PartSpec, StockBy, Sundry},
    },
    plan::input::Freedom,
    stock::design::Edit,
    units::Length,
    web::{
        at::Path,
        clash::{Clash, Field},
        cx::Cx,
        error::{Answer, Trouble},
        form::{Choice, Form},
        link::Link,
        page::{Chrome, Flash, go_with, page_with},
    },
};

fn read(cx: &Cx, form: &mut Form, id: FrameId) -> Option<Frame> {
    let unit = cx.unit();
    let (label, x, y) = (
        form.name("label"),
        form.position("x", unit),
        form.position("y", unit),
    );
    let (width, height) = (
        form.length_above_zero("width", unit),
        form.length_above_zero("height", unit),
    );
    let thing = form.optional_id("thing");
    if !form.ok() {
        return None;
    }
    Some(Frame {
        id,
        label: label?,
        x_um: x?,
        y_um: y?,
        width_um: width?,
        height_um: height?,
        thing: thing?,
    })
}

/// POST: adds a frame.
pub async fn add(cx: Cx, Path(id): Path<DesignId>, mut form: Form) -> Answer {
    let whole = load::whole(&cx, id).await?;
    let Some(frame) = read(&cx, &mut form, FrameId(0)) else {
        return show_bars(&cx, &whole, Refused::Frame(form));
    };
    let flash = Flash::good(format!("Frame {} added.", frame.label));
    match load::store(&cx, &mut form, id, &[Edit::AddFrame(frame)]).await? {
        load::Stored::Done(_) => Ok(go_with(&Link::Bars(id), &flash)),
        load::Stored::Wrong => show_bars(&cx, &whole, Refused::Frame(form)),
        load::Stored::Changed(_) => Err(load::changed(&Link::Bars(id))),
    }
}

#[derive(Template)]
#[template(path = "design/frame.html")]
struct FramePage {
    chrome: Chrome,
    head: Head,
    label: String,
    action: Link,
    form: Form,
    things: Vec<Choice>,
    clash: Option<Clash>,
}

const FIELDS: &[Field] = &[
    ("label", "Label"),
    ("x", "Left edge along"),
    ("y", "Lower edge up"),
    ("width", "Width"),
    ("height", "Height"),
    ("thing", "Frame of the cupboard"),
];

/// Frames of the cupboard that it can be.
fn things(whole: &Whole, frame: &Frame, chosen: &str) -> Vec<Choice> {
    let free = whole
        .input()
        .stock
        .frames
        .iter()
        .filter(|spare| spare.freedom == Freedom::Free || Some(spare.thing) == frame.thing)
        .map(|spare| {
            (
                spare.thing.to_string(),
                format!("{} · {}", spare.tag, spare.name),
            )
        });
    let mut things = Choice::list([("", "none: built for this set")], chosen);
    things.extend(Choice::list(free, chosen));
    things
}

fn show(cx: &Cx, whole: &Whole, frame: &Frame, form: Form, clash: Option<Clash>) -> Answer {
    let status = if clash.is_some() {
        StatusCode::PRECONDITION_FAILED
    } else if form.ok() {
        StatusCode::OK
    } else {
        StatusCode::UNPROCESSABLE_ENTITY
    };
    let things = things(whole, frame, form.value("thing"));
    let (chrome, head) = head(cx, whole, Tab::Bars);
    Ok(page_with(
        status,
        &FramePage {
            chrome,
            label: frame.label.to_string(),
            action: Link::Frame(head.id, frame.id),
            head,
            form,
            things,
            clash,
        },
    ))
}

fn find(whole: &Whole, frame: FrameId) -> Result<Frame, Trouble> {
    whole
        .design()
        .frames
        .iter()
        .find(|other| other.id == frame)
        .cloned()
        .ok_or_else(|| {
            Trouble::not_found("frame")
                .or_go(Link::Bars(whole.design().id), "To the bars of this set")
        })
}

fn filled(cx: &Cx, frame: &Frame, version: i64) -> Form {
    Form::filled([
        ("label", frame.label.to_string()),
        ("x", frame.x_um.typed(cx.unit())),
        ("y", frame.y_um.typed(cx.unit())),
        ("width", cx.exact(frame.width_um)),
        ("height", cx.exact(frame.height_um)),
        (
            "thing",
            frame.thing.map_or_else(String::new, |id| id.to_string()),
        ),
        ("version", version.to_string()),
    ])
}

/// GET: the form of one frame.
pub async fn get(cx: Cx, Path((id, frame)): Path<(DesignId, FrameId)>) -> Answer {
    let whole = load::whole(&cx, id).await?;
    let frame = find(&whole, frame)?;
    let form = filled(&cx, &frame, whole.design().version);
    show(&cx, &whole, &frame, form, None)
}

/// POST: changes it.
pub async fn post(cx: Cx, Path((id, frame)): Path<(DesignId, FrameId)>, mut form: Form) -> Answer {
    let mut whole = load::whole(&cx, id).await?;
    let mut frame = find(&whole, frame)?;
    for _ in 0..load::ATTEMPTS {
        let Some(new) = read(&cx, &mut form, frame.id) else {
            break;
        };
        match load::store(&cx, &mut form, id, &[Edit::ChangeFrame(new.clone())]).await? {
            load::Stored::Done(_) => {
                return Ok(go_with(
                    &Link::Bars(id),
                    &Flash::good(format!("Frame {} was changed.", new.label)),
                ));
            }
            load::Stored::Wrong => break,
            load::Stored::Changed(now) => {
                whole = load::whole(&cx, id).await?;
                frame = find(&whole, frame.id)?;
                let stored = filled(&cx, &frame, now.version);
                let clash = Clash::meet(&mut form, &stored, FIELDS, |name, value| match name {
                    "thing" => Choice::label_of(&things(&whole, &frame, value), value),
                    _ => value.to_owned(),
                });
                // Where something else of the set was changed, this goes on.
                if !clash.is_none() {
                    return show(&cx, &whole, &frame, form, Some(clash));
                }
            }
        }
    }
    if form.ok() {
        return Err(load::changed(&Link::Frame(id, frame.id)));
    }
    show(&cx, &whole, &frame, form, None)
}

/// POST: takes a frame out. Its bars stay.
pub async fn remove(
    cx: Cx,
    Path((id, frame)): Path<(DesignId, FrameId)>,
    mut form: Form,
) -> Answer {
    let flash = Flash::good("The frame was taken out. Its bars are still there, on no frame.");
    let edits = [Edit::RemoveFrame(frame)];
    load::store_or_say(&cx, &mut form, id, &edits, &Link::Bars(id), flash).await
}

/// Whether an amount of the part is typed as a length.
fn by_length(part: &Part) -> bool {
    part.stock_by() == StockBy::Length
        || matches!(
            part.spec,
            PartSpec::Sundry(Sundry {
                measure: Measure::Length,
                ..
            })
        )
}

impl Whole {
    /// The amount of an extra line: a count, or a length for what is kept by length.
    pub fn extra_amount(&self, cx: &Cx, extra: &Extra) -> String {
        match self.part(extra.part) {
            Some(part) if by_length(part) => Length::new(extra.amount)
                .map_or_else(|_| extra.amount.to_string(), |length| cx.length(length)),
            _ => extra.amount.to_string(),
        }
    }
}

/// POST: adds an extra line.
pub async fn add_extra(cx: Cx, Path(id): Path<DesignId>, mut form: Form) -> Answer {
    let whole = load::whole(&cx, id).await?;
    let part = form
        .id::<PartId>("part")
        .and_then(|part| whole.part(part).cloned());
    if part.is_none() && form.errors("part").is_empty() {
        form.fail("part", "Choose one from the list.");
    }
    let amount = match &part {
        Some(part) if by_length(part) => {
            form.length_above_zero("amount", cx.unit()).map(Length::get)
        }
        _ => form.count("amount", 1, 100_000),
    };
    let note = form.note("note");
    let (Some(part), Some(amount), Some(note), true) = (part, amount, note, form.ok()) else {
        return show_bars(&cx, &whole, Refused::Extra(form));
    };
    let flash = Flash::good(format!("{} added.", part.name));
    let extra = Extra {
        id: ExtraId(0),
        part: part.id,
        amount,
        note,
    };
    match load::store(&cx, &mut form, id, &[Edit::AddExtra(extra)]).await? {
        load::Stored::Done(_) => Ok(go_with(&Link::Bars(id), &flash)),
        load::Stored::Wrong => show_bars(&cx, &whole, Refused::Extra(form)),
        load::Stored::Changed(_) => Err(load::changed(&Link::Bars(id))),
    }
}

/// POST: takes an extra line out.
pub async fn remove_extra(
    cx: Cx,
    Path((id, extra)): Path<(DesignId, ExtraId)>,
    mut form: Form,
) -> Answer {
    let flash = Flash::good("The line was taken out.");
    let edits = [Edit::RemoveExtra(extra)];
    load::store_or_say(&cx, &mut form, id, &edits, &Link::Bars(id), flash).await
}
