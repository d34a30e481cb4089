//! Cutting a piece at the bench: type lengths, see the marks and what is left, then cut.

use askama::Template;
use axum::http::StatusCode;

use super::{Inside, lookup, part_of, place_choices};
use crate::{
    db,
    draw::{
        Picture,
        strip::{Segment as Stroke, Stretch, Strip},
    },
    model::{
        id::{PlaceId, ThingId},
        part::{Part, PartSpec, StockUnit},
        piece::{Piece, length_of},
    },
    stock::cut::{Cut, SEGMENT_LIMIT, Segment},
    units::{Length, LengthUnit},
    web::{
        at::Path,
        cx::Cx,
        error::{Answer, Trouble},
        form::{Choice, Form},
        link::Link,
        page::{Chrome, Section, go_with, page_with},
        places::refused,
        show::{counted, told},
    },
};

/// How a wanted length goes to the cut marks of a tape.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Rounding {
    /// To the mark before it: never longer than wanted.
    Shorter,
    /// To the nearest mark.
    Nearest,
    /// To the mark after it: never shorter than wanted.
    Longer,
}

impl Rounding {
    fn read(word: &str) -> Self {
        match word {
            "nearest" => Self::Nearest,
            "longer" => Self::Longer,
            _ => Self::Shorter,
        }
    }
}

/// A wanted length, as typed, and what it becomes in the part's stock unit.
#[derive(Debug, Clone, PartialEq, Eq)]
struct Want {
    /// As typed, without its number.
    typed: String,
    /// In the part's stock unit.
    amount: i64,
}

/// Several alike, for an example.
const fn several(unit: LengthUnit) -> &'static str {
    unit.such("3 x 900 mm", "3 x 3 ft")
}

/// A length to cut, for an example.
const fn single(unit: LengthUnit) -> &'static str {
    unit.such("450 mm", "18 in")
}

/// Reads `3 x 900 mm, 450 mm` or `2 x 18 marks`: commas with a space after them, semicolons and
/// new lines part the lengths.
fn read_wants(
    text: &str,
    unit: StockUnit,
    bare: LengthUnit,
    rounding: Rounding,
) -> Result<Vec<Want>, String> {
    let text = text.replace(", ", ";").replace(['\n', '\r'], ";");
    let mut wants = Vec::new();
    for item in text
        .split(';')
        .map(|item| item.trim().trim_end_matches(','))
    {
        if item.is_empty() {
            continue;
        }
        let (number, length) = match item.split_once(['x', '×', '*']) {
            Some((number, length)) if number.trim().chars().all(|c| c.is_ascii_digit()) => (
                number
                    .trim()
                    .parse::<usize>()
                    .ok()
                    .filter(|number| (1..=SEGMENT_LIMIT).contains(number))
                    .ok_or_else(|| {
                        format!(
                            "“{item}”: type how many from 1 to {SEGMENT_LIMIT}, such as {}.",
                            several(bare)
                        )
                    })?,
                length.trim(),
            ),
            _ => (1, item),
        };
        let amount = amount_of(length, unit, bare, rounding)?;
        if amount < 1 {
            return Err(format!(
                "“{length}” is shorter than one cut unit. Type a longer length, or round it to the mark after."
            ));
        }
        if wants.len() + number > SEGMENT_LIMIT {
            return Err(format!("Type at most {SEGMENT_LIMIT} lengths at once."));
        }
        wants.extend(std::iter::repeat_n(
            Want {
                typed: length.to_owned(),
                amount,
            },
            number,
        ));
    }
    if wants.is_empty() {
        return Err(format!(
            "Type at least one length, such as {}, {}.",
            several(bare),
            single(bare)
        ));
    }
    Ok(wants)
}

fn amount_of(
    text: &str,
    unit: StockUnit,
    bare: LengthUnit,
    rounding: Rounding,
) -> Result<i64, String> {
    let StockUnit::CutUnits(pitch) = unit else {
        return Length::parse(text, bare)
            .map(Length::get)
            .map_err(|why| why.to_string());
    };
    for word in ["marks", "mark", "units", "unit"] {
        if let Some(number) = text.strip_suffix(word) {
            return number
                .trim()
                .parse::<u32>()
                .map(i64::from)
                .map_err(|_| format!("“{text}”: type a whole number of marks, such as 18 marks."));
        }
    }
    let length = Length::parse(text, bare).map_err(|why| why.to_string())?;
    let (units, rest) = pitch.whole_units(length);
    let one = pitch.length_of(1).get();
    let up = match rounding {
        Rounding::Shorter => false,
        Rounding::Nearest => rest * 2 >= one,
        Rounding::Longer => rest > 0,
    };
    Ok(i64::try_from(units).unwrap_or(i64::MAX) + i64::from(up))
}

/// What the saw or knife takes at each cut, in the part's stock unit.
fn kerf(part: &Part) -> i64 {
    match &part.spec {
        PartSpec::Profile(profile) => profile.kerf_um.map_or(0, Length::get),
        _ => 0,
    }
}

/// Lays the wanted lengths from the marked end on; what is left is a segment of its own, kept or
/// thrown away.
fn lay(wants: &[Want], piece: &Piece, kerf: i64, keep_rest: bool) -> Result<Vec<Segment>, String> {
    let mut segments = Vec::with_capacity(wants.len() + 1);
    let mut at = 0;
    for want in wants {
        let to = at + want.amount;
        if to > piece.amount {
            return Err(format!(
                "These lengths are longer than {} together{}. Take something away.",
                piece.tag,
                if kerf > 0 {
                    " with what the saw takes"
                } else {
                    ""
                }
            ));
        }
        segments.push(Segment {
            from: at,
            to,
            scrap: false,
            tag: None,
        });
        at = to + kerf;
    }
    if at < piece.amount && keep_rest {
        segments.push(Segment {
            from: at,
            to: piece.amount,
            scrap: false,
            tag: None,
        });
    }
    Ok(segments)
}

/// One length in the preview.
struct Row {
    typed: String,
    becomes: String,
    at: String,
}

/// What would be cut.
struct Preview {
    picture: Picture,
    rows: Vec<Row>,
    rest: String,
    lost: Option<String>,
}

#[derive(Template)]
#[template(path = "thing/cut.html")]
struct CutPage {
    chrome: Chrome,
    form: Form,
    back: Link,
    action: Link,
    tag: String,
    part: String,
    length: String,
    is_tape: bool,
    mark_every: String,
    /// How lengths are typed, with an example.
    how: String,
    lengths: String,
    roundings: Vec<Choice>,
    rests: Vec<Choice>,
    places: Vec<Choice>,
    preview: Option<Preview>,
    held: Vec<Inside>,
}

struct Loaded {
    piece: Piece,
    part: Part,
    place: Option<PlaceId>,
    places: Vec<Choice>,
    held: Vec<Inside>,
}

async fn load(cx: &Cx, id: ThingId, form: &Form) -> Result<Loaded, Trouble> {
    let mut tx = cx.read().await?;
    let thing = lookup(&mut tx, id).await?;
    let part = part_of(&mut tx, &thing).await?;
    let piece = db::piece::lookup(&mut tx, id).await?;
    let (Some(piece), Some(part)) = (piece, part) else {
        return Err(Trouble::new(
            StatusCode::NOT_FOUND,
            format!(
                "{} is not a piece: only rolls, reels, bars and offcuts are cut.",
                thing.tag
            ),
        )
        .or_go(Link::Thing(id), "Back to it"));
    };
    let held = db::overview::list_holds_of_thing(&mut tx, id)
        .await?
        .into_iter()
        .map(|hold| Inside {
            href: Link::Design(hold.design),
            tag: String::new(),
            name: hold.name,
            sub: format!(
                "{} to {}",
                cx.length(length_of(part.unit(), hold.from, 0)),
                cx.length(length_of(part.unit(), hold.to, 0))
            ),
            take_off: None,
        })
        .collect();
    let chosen = if form.has("to") {
        form.value("to").to_owned()
    } else {
        piece
            .place
            .place
            .map_or_else(String::new, |place| place.to_string())
    };
    Ok(Loaded {
        place: piece.place.place,
        places: place_choices(&mut tx, &chosen).await?,
        piece: piece.piece,
        part,
        held,
    })
}

fn wants(cx: &Cx, part: &Part, form: &Form) -> Result<Vec<Want>, String> {
    read_wants(
        form.value("lengths"),
        part.unit(),
        cx.unit(),
        Rounding::read(form.value("rounding")),
    )
}

fn segments(cx: &Cx, loaded: &Loaded, form: &Form) -> Result<(Vec<Want>, Vec<Segment>), String> {
    let wants = wants(cx, &loaded.part, form)?;
    let keep = keep_rest(cx, loaded, form, &wants);
    let segments = lay(&wants, &loaded.piece, kerf(&loaded.part), keep)?;
    Ok((wants, segments))
}

/// Whether what is left is kept: as chosen, or where it is at least as long as the venue's
/// shortest usable offcut.
fn keep_rest(cx: &Cx, loaded: &Loaded, form: &Form, wants: &[Want]) -> bool {
    match form.value("rest") {
        "keep" => true,
        "scrap" => false,
        _ => {
            let number = i64::try_from(wants.len()).unwrap_or(i64::MAX);
            let used = wants
                .iter()
                .map(|want| want.amount)
                .sum::<i64>()
                .saturating_add(kerf(&loaded.part).saturating_mul(number));
            let rest = length_of(
                loaded.part.unit(),
                loaded.piece.amount.saturating_sub(used),
                loaded.piece.rest_um,
            );
            rest >= cx.venue.usable_offcut_um
        }
    }
}

fn preview(cx: &Cx, loaded: &Loaded, wants: &[Want], segments: &[Segment]) -> Preview {
    let (piece, part) = (&loaded.piece, &loaded.part);
    let length = |amount| cx.length(length_of(part.unit(), amount, 0));
    let mut strokes: Vec<Stroke> = segments
        .iter()
        .enumerate()
        .map(|(i, segment)| Stroke {
            from: segment.from,
            to: segment.to,
            stretch: if i < wants.len() {
                Stretch::Bar
            } else {
                Stretch::Rest
            },
            label: if i < wants.len() {
                format!("length {}", i + 1)
            } else {
                "kept".to_owned()
            },
            mark: None,
            href: None,
        })
        .collect();
    let end = segments.last().map_or(0, |segment| segment.to);
    let kept = segments.len() > wants.len();
    let left = piece.amount - end;
    if left > 0 {
        strokes.push(Stroke {
            from: end,
            to: piece.amount,
            stretch: Stretch::Scrap,
            label: "thrown away".to_owned(),
            mark: None,
            href: None,
        });
    }
    let joints = match (&part.spec, piece.joint_offset_units) {
        (PartSpec::Tape(tape), Some(offset)) => tape
            .joints
            .map(|joints| (offset, i64::from(joints.every_units))),
        _ => None,
    };
    let rest = if kept {
        let rest = segments
            .last()
            .map_or(0, |segment| segment.to - segment.from);
        format!(
            "{} is kept as an offcut.",
            cx.length(length_of(part.unit(), rest, piece.rest_um))
        )
    } else if left > 0 || piece.rest_um > 0 {
        format!(
            "{} is thrown away.",
            cx.length(length_of(part.unit(), left, piece.rest_um))
        )
    } else {
        "Nothing is left over.".to_owned()
    };
    let sawn = kerf(part);
    Preview {
        picture: Strip {
            name: piece.tag.to_string(),
            unit: part.unit(),
            amount: piece.amount,
            rest_um: piece.rest_um,
            start: piece.start.clone(),
            end: piece.end.clone(),
            joints,
            segments: strokes,
            show: cx.unit(),
        }
        .draw(),
        rows: wants
            .iter()
            .zip(segments)
            .map(|(want, segment)| Row {
                typed: want.typed.clone(),
                becomes: match part.unit() {
                    StockUnit::CutUnits(_) => format!(
                        "{}, {}",
                        length(want.amount),
                        counted(want.amount, "cut unit", "cut units")
                    ),
                    _ => length(want.amount),
                },
                at: length(segment.to),
            })
            .collect(),
        rest,
        lost: (sawn > 0).then(|| {
            format!(
                "The saw takes {} at each cut.",
                cx.length(Length::new(sawn).unwrap_or_default())
            )
        }),
    }
}

async fn show(cx: &Cx, id: ThingId, mut form: Form, status: StatusCode) -> Answer {
    let loaded = load(cx, id, &form).await?;
    let mut status = status;
    let laid = if form.value("lengths").trim().is_empty() {
        None
    } else {
        match segments(cx, &loaded, &form) {
            Ok((wants, segments)) => Some(preview(cx, &loaded, &wants, &segments)),
            Err(why) => {
                if form.errors("lengths").is_empty() {
                    form.fail("lengths", why);
                }
                status = StatusCode::UNPROCESSABLE_ENTITY;
                None
            }
        }
    };
    let (is_tape, mark_every) = match &loaded.part.spec {
        PartSpec::Tape(tape) => (true, cx.length(tape.pitch.length_of(1))),
        _ => (false, String::new()),
    };
    Ok(page_with(
        status,
        &CutPage {
            chrome: cx.chrome(Section::Cupboard, format!("Cut {}", loaded.piece.tag)),
            back: Link::Thing(id),
            action: Link::ThingCut(id),
            tag: loaded.piece.tag.to_string(),
            part: loaded.part.name.to_string(),
            length: cx.length(length_of(
                loaded.part.unit(),
                loaded.piece.amount,
                loaded.piece.rest_um,
            )),
            is_tape,
            mark_every,
            how: format!(
                "Such as {}, {}, or 2 x 18 marks; a line each if you like",
                several(cx.unit()),
                single(cx.unit())
            ),
            lengths: form.value("lengths").to_owned(),
            roundings: Choice::list(
                [
                    ("shorter", "to the mark before: never longer"),
                    ("nearest", "to the nearest mark"),
                    ("longer", "to the mark after: never shorter"),
                ],
                form.value("rounding"),
            ),
            rests: Choice::list(
                [
                    ("", "kept if long enough to use"),
                    ("keep", "kept"),
                    ("scrap", "thrown away"),
                ],
                form.value("rest"),
            ),
            places: loaded.places,
            preview: laid,
            held: loaded.held,
            form,
        },
    ))
}

/// GET: the form, with a preview once lengths were typed.
pub async fn get(cx: Cx, Path(id): Path<ThingId>, form: Form) -> Answer {
    show(&cx, id, form, StatusCode::OK).await
}

/// POST: cuts.
pub async fn post(cx: Cx, Path(id): Path<ThingId>, mut form: Form) -> Answer {
    let loaded = load(&cx, id, &form).await?;
    let reason = form.note("reason");
    let to = form.optional_id::<PlaceId>("to");
    let laid = match segments(&cx, &loaded, &form) {
        Ok((_, segments)) => Some(segments),
        Err(why) => {
            form.fail("lengths", why);
            None
        }
    };
    let (Some(reason), Some(to), Some(segments)) = (reason, to, laid) else {
        return show(&cx, id, form, StatusCode::UNPROCESSABLE_ENTITY).await;
    };
    let change = Cut {
        piece: id,
        segments,
        to: to.or(loaded.place),
        reason,
        design: None,
    };
    match cx.act(&form).carry_out(&change).await {
        Ok(done) => {
            let said = format!(
                "{} was cut into {}.",
                loaded.piece.tag,
                counted(done.things.len(), "piece", "pieces")
            );
            Ok(go_with(&Link::Thing(id), &told(&said, &done)))
        }
        Err(why) => {
            let status = refused(&mut form, why)?;
            for message in form.errors("segments").to_vec() {
                form.fail("lengths", message);
            }
            show(&cx, id, form, status).await
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::CutPitch;

    fn amounts(text: &str, rounding: Rounding) -> Result<Vec<i64>, String> {
        let tape = StockUnit::CutUnits(CutPitch::new(1, 50_000).unwrap());
        read_wants(text, tape, LengthUnit::Mm, rounding)
            .map(|wants| wants.into_iter().map(|want| want.amount).collect())
    }

    #[test]
    fn lengths_are_read_as_people_type_them() {
        let down = Rounding::Shorter;
        assert_eq!(
            amounts("3 x 900 mm, 1 x 450 mm", down),
            Ok(vec![18, 18, 18, 9])
        );
        assert_eq!(amounts("2×0.9 m\n450", down), Ok(vec![18, 18, 9]));
        // A comma without a space belongs to the number.
        assert_eq!(amounts("0,9 m; 2 x 7 marks", down), Ok(vec![18, 7, 7]));
        assert_eq!(amounts("12 in", down), Ok(vec![6]));
    }

    #[test]
    fn lengths_go_to_marks_by_the_rule_that_was_chosen() {
        assert_eq!(amounts("930 mm", Rounding::Shorter), Ok(vec![18]));
        assert_eq!(amounts("930 mm", Rounding::Nearest), Ok(vec![19]));
        assert_eq!(amounts("920 mm", Rounding::Nearest), Ok(vec![18]));
        assert_eq!(amounts("901 mm", Rounding::Longer), Ok(vec![19]));
        assert_eq!(amounts("900 mm", Rounding::Longer), Ok(vec![18]));
    }

    #[test]
    fn what_cannot_be_cut_says_what_to_type() {
        let down = Rounding::Shorter;
        for text in [
            "",
            "x 900",
            "0 x 900 mm",
            "20 mm",
            "900 parsecs",
            "-3 m",
            "501 x 50 mm",
            "2 x half marks",
        ] {
            assert!(amounts(text, down).is_err(), "{text}");
        }
    }
}
