//! The bars of a set: drawn, listed, and many like ones added in one action.

use std::{cmp::Reverse, collections::BTreeSet};

use askama::Template;
use axum::http::StatusCode;

use super::{
    Head, Tab, Whole,
    arrange::Arranging,
    backdrop::Laid,
    bar::{Offered, offered, read, show_angle},
    count_of, editor, head, load,
    marks::{OffMarks, off_marks},
};
use crate::{
    model::{
        design::{BAR_LIMIT, Bar},
        id::{BarId, DesignId, ExtraId, FrameId, PartId, ThingId},
        part::PartSpec,
        text::Name,
    },
    plan::input::Freedom,
    stock::design::Edit,
    units::{Length, LengthUnit, SignedLength},
    web::{
        asset,
        at::Path,
        cx::Cx,
        error::Answer,
        form::{Choice, Form},
        link::Link,
        page::{Chrome, Flash, go_with, page_with},
    },
};

struct Row {
    id: BarId,
    href: Link,
    label: String,
    length: String,
    tolerance: String,
    colours: String,
    cover: &'static str,
    frame: String,
    at: String,
    feed: String,
    state: &'static str,
    word: &'static str,
    by: Option<(Link, String)>,
}

struct FrameRow {
    id: FrameId,
    label: String,
    at: String,
    size: String,
    thing: Option<(Link, String)>,
}

struct ExtraRow {
    id: ExtraId,
    part: String,
    href: Link,
    amount: String,
    note: String,
}

#[derive(Template)]
#[template(path = "design/bars.html")]
struct BarsPage {
    chrome: Chrome,
    head: Head,
    picture: String,
    scripts: &'static [String; 3],
    data: String,
    grid: Vec<(i64, String)>,
    unit: &'static str,
    step: String,
    answer: editor::Answer,
    rows: Vec<Row>,
    /// Bars that are wanted between two cut marks.
    off_marks: Vec<OffMarks>,
    arranging: Arranging,
    laid: Laid,
    frames: Vec<FrameRow>,
    extras: Vec<ExtraRow>,
    form: Form,
    offered: Offered,
    frame_form: Form,
    frame_things: Vec<Choice>,
    extra_form: Form,
    parts: Vec<Choice>,
    total: String,
}

fn row(cx: &Cx, whole: &Whole, bar: &Bar) -> Row {
    let plan = whole.bar_plan(bar.id);
    let look = plan.map(|_| whole.look(bar.id));
    let by = whole
        .served_by(bar.id)
        .map(|(fixture, tag)| (Link::Thing(fixture), tag.to_string()));
    let mut feed = cx.length(bar.cable_um);
    if !bar.feed_place.is_empty() {
        feed = format!("{feed} from {}", bar.feed_place);
    }
    if !bar.group.is_empty() {
        feed = format!("{feed}, group {}", bar.group);
    }
    Row {
        id: bar.id,
        href: Link::Bar(whole.design().id, bar.id),
        label: bar.label.to_string(),
        length: cx.length(bar.length_um),
        tolerance: format!(
            "−{} +{}",
            cx.length(bar.shorter_um),
            cx.length(bar.longer_um)
        ),
        colours: bar.channels.to_string(),
        cover: if bar.diffused { "diffused" } else { "bare" },
        frame: whole.frame_label(bar),
        at: format!(
            "{}, {}, {}°",
            bar.x_um.say(cx.unit()),
            bar.y_um.say(cx.unit()),
            show_angle(bar.angle_mdeg)
        ),
        feed,
        state: look.map_or("waiting", super::elevation::Look::word),
        word: look.map_or("not planned", super::elevation::Look::label),
        by,
    }
}

/// Which of the page's forms came back refused.
pub enum Refused {
    /// None.
    None,
    /// That of the bars to add.
    Bars(Form),
    /// That of a frame to add.
    Frame(Form),
    /// That of an extra line to add.
    Extra(Form),
    /// That of what is done to bars.
    Arrange(Form),
    /// One of those of the picture.
    Picture(Form),
}

/// A round measure of the venue's unit: so many millimetres, or so many inches.
fn round(unit: LengthUnit, mm: i64, inches: i64) -> SignedLength {
    let um = if unit.metric() {
        mm * 1000
    } else {
        inches * 25_400
    };
    SignedLength::new(um).unwrap_or_default()
}

fn blank(cx: &Cx, whole: &Whole) -> Form {
    // Like the last bar, a step further on: most sets repeat one bar.
    if let Some(last) = whole.design().bars.last() {
        let mut form = super::bar::filled(cx, last, whole.design().version);
        form.set("pattern", pattern_after(last.label.as_str()));
        form.set("first", "");
        form.set("count", "1");
        form.set("fixture", "");
        let step = round(cx.unit(), 300, 12);
        let x = SignedLength::new(last.x_um.get().saturating_add(step.get())).unwrap_or(last.x_um);
        form.set("x", x.typed(cx.unit()));
        form.set("step_x", step.typed(cx.unit()));
        return form;
    }
    let tolerance = usual_tolerance(whole, cx.unit());
    let even = |mm: i64, inches: i64| round(cx.unit(), mm, inches).typed(cx.unit());
    Form::filled([
        ("pattern", "#".to_owned()),
        ("count", "8".to_owned()),
        ("shorter", cx.exact(tolerance)),
        ("longer", cx.exact(tolerance)),
        ("channels", usual_colours(whole)),
        ("diffused", "on".to_owned()),
        ("fed", "one_end".to_owned()),
        ("x", even(0, 0)),
        ("y", even(0, 0)),
        ("step_x", even(300, 12)),
        ("step_y", even(0, 0)),
        ("angle", "90".to_owned()),
        ("cable", cx.exact(super::new::usual_cable(cx.unit()))),
        ("version", whole.design().version.to_string()),
    ])
}

/// By how much a new bar may be off: 20 mm, or half the longest cut unit of the catalogue's tapes, so
/// that a cut mark is near enough whichever is chosen; in steps that are easy to read.
fn usual_tolerance(whole: &Whole, unit: LengthUnit) -> Length {
    let step = match unit {
        LengthUnit::In | LengthUnit::Ft => 6_350,
        LengthUnit::Mm | LengthUnit::Cm | LengthUnit::M => 5_000,
    };
    let tapes = (whole.input().parts.iter()).filter(|part| !part.retired);
    let halves = tapes.filter_map(|part| match &part.spec {
        PartSpec::Tape(tape) => Some(tape.pitch.length_of(1).get() / 2),
        _ => None,
    });
    let least = halves.max().unwrap_or(0);
    let even = least.saturating_add(step - 1) / step * step;
    match Length::new(even) {
        Ok(even) if least > Length::mm(20).get() => even,
        _ => Length::mm(20),
    }
}

/// The colours of the tape that lies there, the most of it first; else of one in the catalogue.
fn usual_colours(whole: &Whole) -> String {
    let input = whole.input();
    let length = |part: PartId| -> i64 {
        let pieces = input.stock.pieces.iter();
        pieces
            .filter(|spare| spare.piece.part == part)
            .map(|spare| spare.piece.amount)
            .sum()
    };
    input
        .parts
        .iter()
        .filter(|part| !part.retired)
        .filter_map(|part| match &part.spec {
            PartSpec::Tape(tape) => Some((part.id, tape.colours()?)),
            _ => None,
        })
        .max_by_key(|(part, _)| (length(*part), Reverse(*part)))
        .map_or_else(|| "RGBW".to_owned(), |(_, colours)| colours.to_string())
}

/// The first number from which on no label of so many bars is taken.
fn free_number(whole: &Whole, pattern: &str, count: i64) -> i64 {
    let taken: BTreeSet<&str> = whole
        .design()
        .bars
        .iter()
        .map(|bar| bar.label.as_str())
        .collect();
    let highest = i64::try_from(taken.len()).unwrap_or(0) + 1;
    (1..=highest)
        .find(|first| {
            (*first..first.saturating_add(count))
                .all(|number| !taken.contains(label(pattern, count, number).as_str()))
        })
        .unwrap_or(highest)
}

/// The pattern that a label was made by: its last number becomes the sign for the number.
fn pattern_after(label: &str) -> String {
    let head = label.trim_end_matches(|c: char| c.is_ascii_digit());
    format!("{head}#")
}

/// Shows the page.
pub fn show(cx: &Cx, whole: &Whole, refused: Refused) -> Answer {
    show_ticking(cx, whole, refused, &Form::default())
}

/// Shows the page with what a query names ticked.
fn show_ticking(cx: &Cx, whole: &Whole, refused: Refused, query: &Form) -> Answer {
    let status = match refused {
        Refused::None => StatusCode::OK,
        _ => StatusCode::UNPROCESSABLE_ENTITY,
    };
    let (chrome, head) = head(cx, whole, Tab::Bars);
    let design = whole.design();
    let version = design.version.to_string();
    let (mut form, mut frame_form, mut extra_form) =
        (blank(cx, whole), Form::default(), Form::default());
    frame_form.set("version", version.clone());
    extra_form.set("version", version);
    let mut laid = Laid::new(cx, whole.picture.as_ref(), None);
    let mut arranging = Arranging::ticking(cx, design, query);
    match refused {
        Refused::None => {}
        Refused::Bars(typed) => form = typed,
        Refused::Frame(typed) => frame_form = typed,
        Refused::Extra(typed) => extra_form = typed,
        Refused::Picture(typed) => laid = Laid::new(cx, whole.picture.as_ref(), Some(typed)),
        Refused::Arrange(typed) => arranging = Arranging::new(cx, design, Some(typed)),
    }
    let thing = |id: ThingId| {
        let tag = whole
            .input()
            .stock
            .frames
            .iter()
            .find(|frame| frame.thing == id)
            .map_or_else(|| "gone".to_owned(), |frame| frame.tag.to_string());
        (Link::Thing(id), tag)
    };
    let mut frame_things = Choice::list(
        [("", "none: built for this set")],
        frame_form.value("thing"),
    );
    frame_things.extend(Choice::list(
        whole
            .input()
            .stock
            .frames
            .iter()
            .filter(|frame| frame.freedom == Freedom::Free)
            .map(|frame| {
                (
                    frame.thing.to_string(),
                    format!("{} · {}", frame.tag, frame.name),
                )
            }),
        frame_form.value("thing"),
    ));
    let mut parts = Choice::list([("", "choose a part")], extra_form.value("part"));
    parts.extend(Choice::list(
        whole
            .input()
            .parts
            .iter()
            .filter(|part| !part.retired)
            .map(|part| (part.id.to_string(), part.name.to_string())),
        extra_form.value("part"),
    ));
    let total = design
        .bars
        .iter()
        .try_fold(Length::ZERO, |sum, bar| sum.checked_add(bar.length_um));
    Ok(page_with(
        status,
        &BarsPage {
            chrome,
            picture: whole.elevation(cx),
            off_marks: off_marks(cx, whole),
            scripts: &asset::EDITOR,
            data: editor::data(cx, whole),
            grid: editor::grid(cx.unit()),
            unit: cx.unit().as_str(),
            step: editor::usual_step(cx.unit()),
            answer: editor::answer(cx, whole),
            rows: design.bars.iter().map(|bar| row(cx, whole, bar)).collect(),
            frames: design
                .frames
                .iter()
                .map(|frame| FrameRow {
                    id: frame.id,
                    label: frame.label.to_string(),
                    at: format!(
                        "{} along, {} up",
                        frame.x_um.say(cx.unit()),
                        frame.y_um.say(cx.unit())
                    ),
                    size: format!(
                        "{} × {}",
                        cx.length(frame.width_um),
                        cx.length(frame.height_um)
                    ),
                    thing: frame.thing.map(thing),
                })
                .collect(),
            extras: design
                .extras
                .iter()
                .map(|extra| ExtraRow {
                    id: extra.id,
                    part: whole.part_name(extra.part),
                    href: Link::Part(extra.part),
                    amount: whole.extra_amount(cx, extra),
                    note: extra.note.as_str().to_owned(),
                })
                .collect(),
            offered: offered(cx, whole, &form),
            arranging,
            laid,
            form,
            frame_form,
            frame_things,
            extra_form,
            parts,
            total: format!(
                "{}{}",
                count_of(design.bars.len(), "bar", "bars"),
                total.map_or_else(String::new, |um| format!(", {} together", cx.length(um)))
            ),
            head,
        },
    ))
}

/// GET: the bars; `bars` and `frames` of the query are ticked.
pub async fn get(cx: Cx, Path(id): Path<DesignId>, query: Form) -> Answer {
    show_ticking(&cx, &load::whole(&cx, id).await?, Refused::None, &query)
}

/// One label of `count` bars: `#` is where the number stands; without it the number is put after.
fn label(pattern: &str, count: i64, number: i64) -> String {
    let pattern = pattern.trim();
    if pattern.contains('#') || (count == 1 && !pattern.is_empty()) {
        pattern.replace('#', &number.to_string())
    } else if pattern.is_empty() {
        number.to_string()
    } else {
        format!("{pattern} {number}")
    }
}

/// The labels of `count` bars.
fn labels(form: &mut Form, count: i64, first: i64) -> Option<Vec<Name>> {
    let pattern = form.value("pattern").to_owned();
    let made: Result<Vec<Name>, _> = (first..first.saturating_add(count))
        .map(|number| Name::parse(&label(&pattern, count, number)))
        .collect();
    match made {
        Ok(labels) => Some(labels),
        Err(why) => {
            form.fail("pattern", why);
            None
        }
    }
}

/// POST: adds like bars.
pub async fn add(cx: Cx, Path(id): Path<DesignId>, mut form: Form) -> Answer {
    let whole = load::whole(&cx, id).await?;
    let most = i64::try_from(BAR_LIMIT).unwrap_or(i64::MAX);
    let count = form.count("count", 1, most);
    let first = if form.value("first").trim().is_empty() {
        let pattern = form.value("pattern").to_owned();
        count.map(|count| free_number(&whole, &pattern, count))
    } else {
        form.count("first", 0, 1_000_000)
    };
    let unit = cx.unit();
    let step_x = form.position("step_x", unit);
    let step_y = form.position("step_y", unit);
    let names = match (count, first) {
        (Some(count), Some(first)) => labels(&mut form, count, first),
        _ => None,
    };
    let one = names.as_ref().and_then(|names| names.first().cloned());
    let bar = read(&cx, &mut form, BarId(0), one);
    let mut bars = Vec::new();
    let (Some(names), Some(bar), Some(step_x), Some(step_y), true) =
        (names, bar, step_x, step_y, form.ok())
    else {
        return show(&cx, &whole, Refused::Bars(form));
    };
    for (at, label) in names.iter().enumerate() {
        let at = i64::try_from(at).unwrap_or(0);
        let further = |start: SignedLength, step: SignedLength| {
            SignedLength::new(start.get().saturating_add(step.get().saturating_mul(at)))
        };
        let (Ok(x_um), Ok(y_um)) = (further(bar.x_um, step_x), further(bar.y_um, step_y)) else {
            form.fail(
                "step_x",
                "With this step the last bar would hang further off than 1 km. Type a smaller step.",
            );
            return show(&cx, &whole, Refused::Bars(form));
        };
        bars.push(Bar {
            label: label.clone(),
            x_um,
            y_um,
            ..bar.clone()
        });
    }
    match load::store(&cx, &mut form, id, &[Edit::AddBars(bars)]).await? {
        load::Stored::Done(lines) => {
            let added = count_of(names.len(), "bar", "bars");
            // The page that is loaded anew has no history: it is taken back by its key.
            let back = Link::Bars(id).with([("done", form.value("press").to_owned())]);
            Ok(go_with(
                &back,
                &Flash::good(format!("{added} added.")).followed(lines),
            ))
        }
        load::Stored::Wrong => show(&cx, &whole, Refused::Bars(form)),
        // New bars overwrite nothing: the next press adds them to what is stored now.
        load::Stored::Changed(now) => {
            form.set("version", now.version.to_string());
            form.fail(
                "",
                "Somebody else changed this set meanwhile; it is shown as it is now. Nothing was added yet: send the form again.",
            );
            let whole = load::whole(&cx, id).await?;
            let mut answer = show(&cx, &whole, Refused::Bars(form))?;
            *answer.status_mut() = StatusCode::PRECONDITION_FAILED;
            Ok(answer)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn labels_run_on_where_the_sign_stands() {
        let mut form = Form::filled([("pattern", "Bar #")]);
        let made = labels(&mut form, 3, 9).unwrap();
        assert_eq!(
            made.iter().map(Name::as_str).collect::<Vec<_>>(),
            ["Bar 9", "Bar 10", "Bar 11"]
        );
        let mut form = Form::filled([("pattern", "Left")]);
        assert_eq!(labels(&mut form, 2, 1).unwrap()[1].as_str(), "Left 2");
        let mut form = Form::filled([("pattern", "Left")]);
        assert_eq!(labels(&mut form, 1, 1).unwrap()[0].as_str(), "Left");
        assert_eq!(pattern_after("Bar 12"), "Bar #");
    }
}
