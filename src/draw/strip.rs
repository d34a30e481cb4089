//! A roll, reel or bar of profile as a strip: cut marks, pre-tinned joints, leads at its ends, and
//! what lies where in it (bars to cut, children cut from it, what is held, what is over).

use super::{Anchor, At, Picture, Svg, float, letters};
use crate::{
    model::{
        part::StockUnit,
        piece::{End, length_of},
    },
    units::{Length, LengthUnit},
};

/// What a stretch of a strip is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Stretch {
    /// To be cut from it, or cut from it.
    Bar,
    /// Held for a set.
    Held,
    /// Left over and worth keeping.
    Rest,
    /// Too short to keep, or lost to the saw.
    Scrap,
}

impl Stretch {
    const fn class(self) -> &'static str {
        match self {
            Self::Bar => "svg-reused",
            Self::Held => "svg-build",
            Self::Rest => "svg-paper",
            Self::Scrap => "svg-short",
        }
    }

    const fn word(self) -> &'static str {
        match self {
            Self::Bar => "cut",
            Self::Held => "held",
            Self::Rest => "rest",
            Self::Scrap => "scrap",
        }
    }
}

/// A stretch of a strip, in the part's stock unit.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Segment {
    /// Where it begins.
    pub from: i64,
    /// Where it ends.
    pub to: i64,
    /// What it is.
    pub stretch: Stretch,
    /// Its name: a tag, a bar's label, a set.
    pub label: String,
    /// What is written into it after its letter in the list beside the picture, where both have room:
    /// a bar's label, a tag.
    pub mark: Option<String>,
    /// The page it opens, if any.
    pub href: Option<String>,
}

/// A piece to be drawn.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Strip {
    /// Its tag or name.
    pub name: String,
    /// What its amount counts.
    pub unit: StockUnit,
    /// Cut units or micrometres.
    pub amount: i64,
    /// What is left beyond the last whole cut unit.
    pub rest_um: i64,
    /// The marked end.
    pub start: End,
    /// The other end.
    pub end: End,
    /// Pre-tinned joints: the first one's place and the distance between them, in cut units.
    pub joints: Option<(i64, i64)>,
    /// What lies in it, in order and apart from each other.
    pub segments: Vec<Segment>,
    /// The unit that lengths are shown in.
    pub show: LengthUnit,
}

/// Most cut marks that are drawn one by one.
const MOST_MARKS: i64 = 120;
/// Room at each end for a lead, in percent of the width.
const MARGIN: f64 = 5.0;
/// How wide a picture is at least on paper and on wider screens, in pixels; A4 has some 700.
const PAPER: f64 = 700.0;
/// The same on a phone.
const PHONE: f64 = 330.0;
/// Width of the ground that a letter or digit is written on, and least width of the whole ground.
const LETTER: f64 = 8.5;
const LEAST_GROUND: f64 = 22.0;

/// What a line of the list beside a strip is called: a to z, then aa. A number would be read as that
/// of a bar.
pub fn list_letter(index: usize) -> String {
    let mut left = index + 1;
    let mut text = String::new();
    while left > 0 {
        left -= 1;
        text.insert(0, char::from(b'a' + u8::try_from(left % 26).unwrap_or(0)));
        left /= 26;
    }
    text
}

/// How wide the ground is that a text is written on.
fn ground(text: &str) -> f64 {
    (letters(text) * LETTER + 6.0).max(LEAST_GROUND)
}

/// Whether a text has room in so many percent of a picture of this width.
fn has_room(text: &str, percent: f64, wide: f64) -> bool {
    percent / 100.0 * wide >= ground(text)
}

/// Writes a text on a ground of its own, so that it stays readable on a pattern; `shown` says on
/// which screens alone.
fn write(svg: &mut Svg, middle: At, text: &str, shown: &str) {
    let wide = ground(text);
    svg.moved(middle, 46.0);
    let (class, text_class) = (format!("pat-ground{shown}"), format!("svg-text{shown}"));
    svg.rect(&class, -wide / 2.0, -9.0, wide, 18.0);
    svg.text(&text_class, 0.0, 5.0, Anchor::Middle, text);
    svg.end();
}

impl Strip {
    fn across(&self, amount: i64) -> f64 {
        let whole = float(self.amount.max(1));
        MARGIN + (100.0 - 2.0 * MARGIN) * (float(amount) / whole).clamp(0.0, 1.0)
    }

    fn length(&self, amount: i64) -> String {
        length_of(self.unit, amount, 0).say(self.show)
    }

    /// The same with nothing written in but the letters of the list beside it.
    #[must_use]
    pub fn lettered(&self) -> Self {
        let mut strip = self.clone();
        for segment in &mut strip.segments {
            segment.mark = None;
        }
        strip
    }

    /// Draws it, with its text.
    pub fn draw(&self) -> Picture {
        let whole = length_of(self.unit, self.amount, self.rest_um).say(self.show);
        let caption = format!("{}: {whole}", self.name);
        let mut svg = Svg::wide(&caption, 92.0);
        let (top, bottom) = (30.0, 62.0);
        svg.text(
            "svg-text",
            At::Percent(MARGIN),
            18.0,
            Anchor::Start,
            "start",
        );
        svg.text(
            "svg-text",
            At::Percent(100.0 - MARGIN),
            18.0,
            Anchor::End,
            &whole,
        );
        svg.rect(
            "svg-paper",
            At::Percent(MARGIN),
            top,
            At::Percent(100.0 - 2.0 * MARGIN),
            bottom - top,
        );
        self.draw_segments(&mut svg, top, bottom);
        self.draw_marks(&mut svg, top, bottom);
        self.draw_lead(&mut svg, &self.start, MARGIN, -1.0);
        self.draw_lead(&mut svg, &self.end, 100.0 - MARGIN, 1.0);
        Picture {
            svg: svg.finish(),
            caption,
            twin: self.twin(&whole),
        }
    }

    fn draw_segments(&self, svg: &mut Svg, top: f64, bottom: f64) {
        for (i, segment) in self.segments.iter().enumerate() {
            let (x, end) = (self.across(segment.from), self.across(segment.to));
            let letter = list_letter(i);
            let mark = segment.mark.as_deref().filter(|mark| !mark.is_empty());
            let full = match mark {
                None => letter.clone(),
                Some(mark) => format!("{letter} · {mark}"),
            };
            if let Some(href) = &segment.href {
                // What is read out has in it what is written (WCAG 2.5.3).
                let name = match mark {
                    None => format!("{letter}. {}", segment.label),
                    Some(mark) if mark == segment.label => full.clone(),
                    Some(_) => format!("{full}, {}", segment.label),
                };
                svg.link(href, &name);
            }
            svg.rect(
                segment.stretch.class(),
                At::Percent(x),
                top,
                At::Percent(end - x),
                bottom - top,
            );
            let middle = At::Percent(f64::midpoint(x, end));
            let percent = end - x;
            // On a phone the letter alone stands where both have no room.
            match (
                has_room(&full, percent, PHONE),
                has_room(&full, percent, PAPER),
            ) {
                (true, _) => write(svg, middle, &full, ""),
                (false, true) => {
                    write(svg, middle, &full, " svg-narrow");
                    if full != letter && has_room(&letter, percent, PHONE) {
                        write(svg, middle, &letter, " svg-phone");
                    }
                }
                (false, false) if has_room(&letter, percent, PHONE) => {
                    write(svg, middle, &letter, "");
                }
                (false, false) if has_room(&letter, percent, PAPER) => {
                    write(svg, middle, &letter, " svg-narrow");
                }
                (false, false) => {}
            }
            if segment.href.is_some() {
                svg.end();
            }
        }
    }

    /// Cut marks below the strip, joints as dots above it.
    fn draw_marks(&self, svg: &mut Svg, top: f64, bottom: f64) {
        if matches!(self.unit, StockUnit::CutUnits(_)) {
            let every = self.marks_every();
            let mut mark = 0;
            while mark <= self.amount {
                let x = At::Percent(self.across(mark));
                svg.line("svg-muted", (x, bottom), (x, bottom + 7.0));
                mark += every;
            }
        }
        if let Some((first, every)) = self.joints {
            let step = every.max(1);
            let mut joint = first;
            let mut drawn = 0;
            while joint <= self.amount && drawn < MOST_MARKS {
                let x = At::Percent(self.across(joint));
                svg.circle("svg-paper", x, top - 4.0, 3.5);
                joint += step;
                drawn += 1;
            }
        }
        svg.text(
            "svg-small",
            At::Percent(MARGIN),
            bottom + 24.0,
            Anchor::Start,
            "0",
        );
        let mut after = MARGIN;
        for segment in &self.segments {
            let x = self.across(segment.to);
            // Only where the figures do not run into each other.
            if x - after >= 22.0 && x < 100.0 - MARGIN - 12.0 {
                svg.text(
                    "svg-small",
                    At::Percent(x),
                    bottom + 24.0,
                    Anchor::Middle,
                    &self.length(segment.to),
                );
                after = x;
            }
        }
    }

    const fn marks_every(&self) -> i64 {
        let mut every = 1;
        let mut turn = 0;
        while self.amount / every > MOST_MARKS {
            every *= if turn % 2 == 0 { 5 } else { 2 };
            turn += 1;
        }
        every
    }

    #[expect(clippy::unused_self, reason = "stands among the strip's other strokes")]
    fn draw_lead(&self, svg: &mut Svg, end: &End, at: f64, side: f64) {
        if end.connector().is_some() {
            svg.moved(At::Percent(at), 46.0);
            svg.line("svg-ink", (0.0, 0.0), (side * 7.0, 0.0));
            let x = if side > 0.0 { 6.0 } else { -14.0 };
            svg.rect("svg-fill", x, -7.0, 8.0, 14.0);
            svg.end();
        }
    }

    fn twin(&self, whole: &str) -> Vec<String> {
        let end = |end: &End| match end.connector() {
            Some(connector) => format!("a lead ({connector})"),
            None => "no lead".to_owned(),
        };
        let mut twin = vec![format!(
            "{whole} in all; at its start {}, at its end {}.",
            end(&self.start),
            end(&self.end)
        )];
        if let StockUnit::CutUnits(pitch) = self.unit {
            let every = self.marks_every();
            twin.push(format!(
                "{} cut units, a cut mark every {}{}.",
                self.amount,
                pitch.length_of(1).show(self.show),
                if every > 1 {
                    format!("; every {every}th is drawn")
                } else {
                    String::new()
                }
            ));
        }
        if self.rest_um > 0 {
            let rest = Length::new(self.rest_um).unwrap_or(Length::ZERO);
            twin.push(format!("{} beyond the last mark.", rest.say(self.show)));
        }
        if let Some((first, every)) = self.joints {
            twin.push(format!(
                "Pre-tinned joints: the first at {}, then one every {}.",
                self.length(first),
                self.length(every)
            ));
        }
        for (i, segment) in self.segments.iter().enumerate() {
            twin.push(format!(
                "{}. {} to {} ({}): {}, {}.",
                list_letter(i),
                self.length(segment.from),
                self.length(segment.to),
                self.length(segment.to - segment.from),
                segment.label,
                segment.stretch.word()
            ));
        }
        twin
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{
        model::{
            connector::{Connector, Gender},
            text::Name,
        },
        units::CutPitch,
    };

    fn strip() -> Strip {
        Strip {
            name: "R-7".into(),
            unit: StockUnit::CutUnits(CutPitch::new(3, 150_000).unwrap()),
            amount: 100,
            rest_um: 1_500,
            start: End::Lead {
                connector: Connector {
                    family: Name::parse("five-pin <inline>").unwrap(),
                    gender: Gender::Male,
                    pins: None,
                },
            },
            end: End::Bare,
            joints: Some((10, 10)),
            segments: vec![
                Segment {
                    from: 0,
                    to: 18,
                    stretch: Stretch::Bar,
                    label: "O-1".into(),
                    mark: None,
                    href: Some("/things/9".into()),
                },
                Segment {
                    from: 18,
                    to: 20,
                    stretch: Stretch::Scrap,
                    label: "too short".into(),
                    mark: None,
                    href: None,
                },
            ],
            show: LengthUnit::Mm,
        }
    }

    #[test]
    fn the_text_says_what_the_strip_shows() {
        let picture = strip().draw();
        assert_eq!(picture.caption, "R-7: 5001.5 mm");
        assert_eq!(
            picture.twin,
            [
                "5001.5 mm in all; at its start a lead (five-pin <inline>, male), at its end no lead.",
                "100 cut units, a cut mark every 50 mm.",
                "1.5 mm beyond the last mark.",
                "Pre-tinned joints: the first at 500 mm, then one every 500 mm.",
                "a. 0 mm to 900 mm (900 mm): O-1, cut.",
                "b. 900 mm to 1000 mm (100 mm): too short, scrap.",
            ]
        );
    }

    #[test]
    fn marks_joints_leads_and_stretches_are_drawn_to_scale() {
        let svg = strip().draw().svg;
        // 101 marks (both ends are marks) and the stroke of the one lead.
        assert_eq!(svg.matches("<line class=\"svg-muted\"").count(), 101);
        assert_eq!(svg.matches("<line class=\"svg-ink\"").count(), 1);
        assert_eq!(svg.matches("<circle").count(), 10);
        // 18 of 100 units between margins of 5 percent.
        assert!(svg.contains("class=\"svg-reused\" x=\"5%\" y=\"30\" width=\"16.2%\""));
        assert!(svg.contains("<a href=\"/things/9\" aria-label=\"a. O-1\">"));
        assert!(!svg.contains("style="));
    }

    #[test]
    fn a_letter_stands_where_it_has_room_for_itself() {
        let mut many = strip();
        many.segments = [(0, 40), (40, 45), (45, 48)]
            .map(|(from, to)| Segment {
                from,
                to,
                stretch: Stretch::Bar,
                label: String::new(),
                mark: None,
                href: None,
            })
            .into();
        let svg = many.draw().svg;
        // 36, 4.5 and 2.7 percent of the width.
        assert!(svg.contains(">a</text>") && svg.contains(">b</text>"));
        assert!(!svg.contains(">c</text>"));
        assert_eq!(svg.matches("svg-text svg-narrow").count(), 1);
    }

    #[test]
    fn a_label_stands_after_its_letter_where_both_have_room() {
        let mut labelled = strip();
        let marked = |label: &str| Some(label.to_owned());
        labelled.segments[0].mark = marked("A7");
        labelled.segments[1].mark = marked("");
        let svg = labelled.draw().svg;
        assert!(svg.contains("aria-label=\"a · A7, O-1\""));
        // 16.2 percent are 113 px on paper and 53 on a phone.
        assert!(svg.contains(">a · A7</text>"));
        // Six letters more have room on paper alone: on a phone the letter stands there.
        labelled.segments[0].mark = marked("A7 left");
        let svg = labelled.draw().svg;
        assert!(svg.contains("svg-text svg-narrow\""));
        assert!(svg.contains(">a · A7 left</text>") && svg.contains(">a</text>"));
        assert_eq!(svg.matches("svg-text svg-phone\"").count(), 1);
        // Twenty letters have no room anywhere; the letter still names the line of the list.
        labelled.segments[0].mark = marked("far upstage left");
        let svg = labelled.draw().svg;
        assert!(!svg.contains("upstage left</text>") && svg.contains(">a</text>"));
        assert!(!labelled.lettered().draw().svg.contains("upstage"));
    }

    #[test]
    fn lines_of_a_long_list_go_on_after_z() {
        let letters = [0, 25, 26, 51, 52, 701, 702].map(list_letter);
        assert_eq!(letters, ["a", "z", "aa", "az", "ba", "zz", "aaa"]);
    }

    #[test]
    fn a_long_reel_has_no_more_marks_than_can_be_told_apart() {
        let mut long = strip();
        long.amount = 100_000;
        long.joints = Some((0, 1));
        long.segments.clear();
        let picture = long.draw();
        assert!(picture.svg.matches("<line").count() <= 122);
        assert!(picture.svg.matches("<circle").count() <= 120);
        assert!(
            picture.twin[1].contains("every 1000th is drawn"),
            "{:?}",
            picture.twin
        );
    }

    #[test]
    fn an_empty_piece_draws_without_a_division_by_nothing() {
        let mut none = strip();
        none.amount = 0;
        none.segments.clear();
        assert!(!none.draw().svg.contains("NaN"));
    }
}
