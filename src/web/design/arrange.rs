//! Moving, copying, turning, mirroring, aligning the ticked bars of a set, without the drawing.

use std::collections::BTreeSet;

use axum::http::StatusCode;

use super::{
    Whole,
    bar::parse_angle,
    bars::{Refused, show},
    count_of, load,
};
use crate::{
    model::{
        arrange::{About, Align, COPIES_LIMIT, Keep, Mirror, Step},
        design::Design,
        id::{BarId, DesignId, FrameId},
    },
    stock::{self, StockError, design::Edit},
    units::SignedLength,
    web::{
        at::Path,
        cx::Cx,
        error::{Answer, Trouble},
        form::{Choice, Form},
        link::Link,
        page::{Flash, go_with},
    },
};

/// What the form's selects offer, and what is ticked beside it.
#[derive(Debug, Clone)]
pub struct Arranging {
    /// What was typed.
    pub form: Form,
    /// Which bars.
    pub of: Vec<Choice>,
    /// About what they are turned.
    pub about: Vec<Choice>,
    /// What stays while a length changes.
    pub keep: Vec<Choice>,
    /// What changes sides.
    pub mirror: Vec<Choice>,
    /// How they are brought into line.
    pub to: Vec<Choice>,
    /// Frames to hang them on.
    pub frame: Vec<Choice>,
    /// Whether the form is shown open.
    pub open: bool,
    /// The key of what was done last, which can be taken back.
    pub done: String,
    /// Whether that was a taking back itself.
    pub undone: bool,
    bars: BTreeSet<BarId>,
    frames: BTreeSet<FrameId>,
}

fn words<T: Copy>(
    all: &[T],
    word: impl Fn(T) -> &'static str,
    label: impl Fn(T) -> &'static str,
    form: &Form,
    name: &str,
) -> Vec<Choice> {
    Choice::list(
        all.iter().map(|one| (word(*one), label(*one))),
        form.value(name),
    )
}

impl Arranging {
    /// The form as it was typed, or to begin with.
    pub fn new(cx: &Cx, design: &Design, typed: Option<Form>) -> Self {
        let open = typed.is_some();
        let mut form = typed.unwrap_or_default();
        let unit = cx.unit();
        let step = if unit.metric() { 300_000 } else { 304_800 };
        let step = SignedLength::new(step).unwrap_or_default().show(unit);
        let nothing = SignedLength::ZERO.show(unit);
        form.fill(&[
            ("dx", &step),
            ("dy", &nothing),
            ("copies", "1"),
            ("turn", "90"),
            ("version", &design.version.to_string()),
        ]);
        let frame_names = || {
            let frames = design.frames.iter();
            frames.map(|frame| (frame.id, frame.label.to_string()))
        };
        let mut of = vec![
            (String::new(), "the ticked ones".to_owned()),
            ("bars".to_owned(), "every bar".to_owned()),
        ];
        if !design.frames.is_empty() {
            of.push(("all".to_owned(), "every bar and frame".to_owned()));
        }
        of.extend(
            frame_names()
                .map(|(id, name)| (format!("frame-{id}"), format!("frame {name} and its bars"))),
        );
        let mut frame = Choice::list([("", "no frame")], form.value("frame"));
        frame.extend(Choice::list(frame_names(), form.value("frame")));
        let bars = ids(form.all("bars"));
        let frames = ids(form.all("frames"));
        Self {
            of: Choice::list(of, form.value("of")),
            about: words(About::ALL, About::word, About::label, &form, "about"),
            keep: words(Keep::ALL, Keep::word, Keep::label, &form, "keep"),
            mirror: words(Mirror::ALL, Mirror::word, Mirror::label, &form, "mirror"),
            to: words(Align::ALL, Align::word, Align::label, &form, "to"),
            frame,
            done: String::new(),
            undone: false,
            open: open || !bars.is_empty() || !frames.is_empty(),
            bars,
            frames,
            form,
        }
    }

    /// With these ticked to begin with.
    pub fn ticking(cx: &Cx, design: &Design, query: &Form) -> Self {
        let ticked = |name: &str| {
            let all = query.value(name).split('-');
            let pairs = all.map(|id| (name.to_owned(), id.to_owned()));
            pairs.collect::<Vec<_>>()
        };
        let form = Form::filled(ticked("bars").into_iter().chain(ticked("frames")));
        let mut new = Self::new(cx, design, Some(form));
        new.open = !new.bars.is_empty() || !new.frames.is_empty();
        query.value("done").clone_into(&mut new.done);
        new.undone = query.value("undone") == "yes";
        new
    }

    /// Whether a bar is ticked.
    pub fn bar(&self, id: &BarId) -> bool {
        self.bars.contains(id)
    }

    /// Whether a frame is ticked.
    pub fn frame_ticked(&self, id: &FrameId) -> bool {
        self.frames.contains(id)
    }
}

fn ids<'a, T: Ord + std::str::FromStr>(texts: impl Iterator<Item = &'a str>) -> BTreeSet<T> {
    texts.filter_map(|text| text.parse().ok()).collect()
}

/// Which bars and frames are meant.
fn chosen(design: &Design, form: &mut Form) -> (Vec<BarId>, Vec<FrameId>) {
    let every_bar = || design.bars.iter().map(|bar| bar.id).collect::<Vec<_>>();
    match form.value("of") {
        "" => {
            let (bars, frames) = (ids(form.all("bars")), ids(form.all("frames")));
            if bars.is_empty() && frames.is_empty() {
                form.fail(
                    "of",
                    "Nothing is ticked in the tables. Tick bars or frames there, or choose here.",
                );
            }
            (bars.into_iter().collect(), frames.into_iter().collect())
        }
        "bars" => (every_bar(), Vec::new()),
        "all" => (
            every_bar(),
            design.frames.iter().map(|frame| frame.id).collect(),
        ),
        other => {
            let id = other.strip_prefix("frame-").and_then(|id| id.parse().ok());
            if id.is_none() {
                form.fail("of", "Choose one from the list.");
            }
            (Vec::new(), id.into_iter().collect())
        }
    }
}

/// What only bars can do is done to those that hang on the frames too.
fn with_hung(design: &Design, mut bars: Vec<BarId>, frames: &[FrameId]) -> Vec<BarId> {
    let on = |frame: Option<FrameId>| frame.is_some_and(|frame| frames.contains(&frame));
    let hung = design.bars.iter().filter(|bar| on(bar.frame));
    bars.extend(hung.map(|bar| bar.id));
    bars.sort_unstable();
    bars.dedup();
    bars
}

/// The step that a form asks for, and what was done in words.
fn read(cx: &Cx, design: &Design, form: &mut Form) -> Option<(Step, &'static str)> {
    let unit = cx.unit();
    let (bars, frames) = chosen(design, form);
    let only_bars = with_hung(design, bars.clone(), &frames);
    let asked = form.value("do").to_owned();
    let step = match asked.as_str() {
        "move" => {
            let (dx, dy) = (form.position("dx", unit), form.position("dy", unit));
            Step::Move {
                bars,
                frames,
                dx_um: dx?,
                dy_um: dy?,
            }
        }
        "copy" => {
            let (dx, dy) = (form.position("dx", unit), form.position("dy", unit));
            let copies = form.count("copies", 1, COPIES_LIMIT.into());
            Step::Copy {
                bars,
                frames,
                copies: u32::try_from(copies?).ok()?,
                dx_um: dx?,
                dy_um: dy?,
            }
        }
        "turn" => {
            let (turn, about) = (form.take("turn", parse_angle), form.word("about"));
            Step::Turn {
                bars: only_bars,
                turn_mdeg: turn?,
                about: about?,
            }
        }
        "resize" => {
            let (length, keep) = (form.length_above_zero("length", unit), form.word("keep"));
            Step::Resize {
                bars: only_bars,
                length_um: length?,
                keep: keep?,
            }
        }
        "lengthen" => {
            let by = form.take("by", |text| SignedLength::parse(text, unit));
            let keep = form.word("keep");
            Step::Lengthen {
                bars: only_bars,
                by_um: by?,
                keep: keep?,
            }
        }
        "mirror" => {
            let at = form.optional("at", |text| SignedLength::parse(text, unit));
            let mirror = form.word("mirror");
            Step::Mirror {
                bars,
                frames,
                mirror: mirror?,
                at_um: at?,
                copy: form.ticked("copy"),
            }
        }
        "align" => Step::Align {
            bars,
            frames,
            to: form.word("to")?,
        },
        "hang" => Step::Hang {
            bars: only_bars,
            frame: form.optional_id("frame")?,
        },
        "remove" => Step::Remove { bars, frames },
        _ => {
            form.fail("", "Press one of the buttons of this form.");
            return None;
        }
    };
    let done = match asked.as_str() {
        "move" => "moved",
        "copy" => "copied",
        "turn" => "turned",
        "resize" => "made one length",
        "lengthen" => "given another length",
        "mirror" => "mirrored",
        "align" => "brought into line",
        "hang" => "hung",
        _ => "taken out",
    };
    form.ok().then_some((step, done))
}

/// How many bars and frames a step is about, in words.
fn about(step: &Step) -> (String, bool) {
    let (bars, frames) = match step {
        Step::Move { bars, frames, .. }
        | Step::Copy { bars, frames, .. }
        | Step::Mirror { bars, frames, .. }
        | Step::Align { bars, frames, .. }
        | Step::Remove { bars, frames } => (bars.len(), frames.len()),
        Step::Turn { bars, .. }
        | Step::Resize { bars, .. }
        | Step::Lengthen { bars, .. }
        | Step::Hang { bars, .. } => (bars.len(), 0),
        Step::Place { bars, frames } => (bars.len(), frames.len()),
        Step::Add { .. } => (1, 0),
        Step::Restore { bars, frames, .. } => (bars.len(), frames.len()),
    };
    let words = match (bars, frames) {
        (_, 0) => count_of(bars, "bar", "bars"),
        (0, _) => count_of(frames, "frame", "frames"),
        _ => format!(
            "{} and {}",
            count_of(bars, "bar", "bars"),
            count_of(frames, "frame", "frames")
        ),
    };
    (words, bars + frames == 1)
}

/// Ids as a query carries them.
fn joined<T: ToString>(ids: impl IntoIterator<Item = T>) -> String {
    let words: Vec<String> = ids.into_iter().map(|id| id.to_string()).collect();
    words.join("-")
}

/// POST: carries out what the pressed button says, and leads back with the same ones ticked.
pub async fn post(cx: Cx, Path(id): Path<DesignId>, mut form: Form) -> Answer {
    let whole = load::whole(&cx, id).await?;
    let Some((step, done)) = read(&cx, whole.design(), &mut form) else {
        return show(&cx, &whole, Refused::Arrange(form));
    };
    let (what, one) = about(&step);
    let edits = [Edit::Arrange(vec![step])];
    match load::store(&cx, &mut form, id, &edits).await? {
        load::Stored::Done(lines) => {
            let flash = Flash::good(format!(
                "{what} {} {done}.",
                if one { "was" } else { "were" }
            ))
            .followed(lines);
            let ticked = |name: &str| joined(ids::<i64>(form.all(name)));
            let back = Link::Bars(id).with([
                ("bars", ticked("bars")),
                ("frames", ticked("frames")),
                ("done", form.value("press").to_owned()),
            ]);
            Ok(go_with(&back, &flash))
        }
        load::Stored::Wrong => refused(&cx, &whole, form),
        load::Stored::Changed(now) => changed(&cx, id, form, now.version).await,
    }
}

/// POST: takes back what was done under a key. What this did is taken back the same way.
pub async fn undo(cx: Cx, Path(id): Path<DesignId>, form: Form) -> Answer {
    let version = form.value("version").parse().unwrap_or(0);
    match stock::design::undo(&cx.act(&form), id, version, form.value("done")).await {
        Ok(_) => {
            let again = if form.value("undone") == "yes" {
                ""
            } else {
                "yes"
            };
            let back = Link::Bars(id).with([
                ("done", form.value("press").to_owned()),
                ("undone", again.to_owned()),
            ]);
            Ok(go_with(&back, &Flash::good("It was taken back.")))
        }
        Err(StockError::Changed) => Err(load::changed(&Link::Bars(id))),
        Err(why) => Err(Trouble::from(why).or_go(Link::Bars(id), "To the bars of this set")),
    }
}

/// What names no field of the form is said above it.
fn refused(cx: &Cx, whole: &Whole, mut form: Form) -> Answer {
    for name in ["bars", "frames"] {
        let said: Vec<String> = form.errors(name).to_vec();
        for why in said {
            form.fail("of", why);
        }
    }
    show(cx, whole, Refused::Arrange(form))
}

async fn changed(cx: &Cx, id: DesignId, mut form: Form, version: i64) -> Answer {
    form.set("version", version.to_string());
    form.fail(
        "",
        "Somebody else changed this set meanwhile; it is shown as it is now. Nothing was done yet: look, and press again.",
    );
    let whole = load::whole(cx, id).await?;
    let mut answer = show(cx, &whole, Refused::Arrange(form))?;
    *answer.status_mut() = StatusCode::PRECONDITION_FAILED;
    Ok(answer)
}
