//! Pictures as SVG text, each with the same content in words.
//!
//! A picture is drawn from plain values and knows no database, page or clock. Looks come from the
//! classes at the head of `static/style.css` (`svg-…`), never from style attributes, so that dark
//! pages, paper and the content security policy hold for every picture. Nothing is told by colour
//! alone: a shape, a pattern or a word stands beside it.

pub mod calendar;
pub mod elevation;
pub mod label;
pub mod level;
pub mod lit;
pub mod qr;
mod spots;
pub mod strip;
pub mod switches;
pub mod volts;
pub mod wiring;

use std::fmt::{self, Write as _};

/// A drawn picture: the SVG for those who look, the same content in words for those who read.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Picture {
    /// The SVG element.
    pub svg: String,
    /// What it shows, in a line.
    pub caption: String,
    /// Its content, a sentence or item a line.
    pub twin: Vec<String>,
}

/// Text as it may stand in SVG or HTML, attributes included.
pub fn escape(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            c if c.is_control() && c != '\n' && c != '\t' => out.push(' '),
            c => out.push(c),
        }
    }
    out
}

/// A whole number as a coordinate.
#[expect(
    clippy::cast_precision_loss,
    reason = "a picture needs no more than the 53 bits that a float keeps"
)]
pub const fn float(value: i64) -> f64 {
    value as f64
}

/// How many letters a text has, to lay it out.
fn letters(text: &str) -> f64 {
    float(i64::try_from(text.chars().count()).unwrap_or(i64::MAX))
}

/// A coordinate: pixels, or percent of the picture's width.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum At {
    /// User units; pixels where the picture is not scaled.
    Px(f64),
    /// Percent of the width (or height) of the picture.
    Percent(f64),
}

impl From<f64> for At {
    fn from(px: f64) -> Self {
        Self::Px(px)
    }
}

impl fmt::Display for At {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Px(value) => f.write_str(&short(*value)),
            Self::Percent(value) => write!(f, "{}%", short(*value)),
        }
    }
}

/// A number with at most two decimals and no needless ones; what is no number becomes 0.
fn short(value: f64) -> String {
    if !value.is_finite() {
        return "0".to_owned();
    }
    let text = format!("{value:.2}");
    let text = text.trim_end_matches('0').trim_end_matches('.');
    match text {
        "" | "-0" | "-" => "0".to_owned(),
        text => text.to_owned(),
    }
}

/// Maps a range of micrometres (or of anything whole) to a range of the picture.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Scale {
    from: f64,
    per: f64,
    start: f64,
}

impl Scale {
    /// `from..to` of the world becomes `start..end` of the picture (which may run backwards, for an
    /// upward axis). An empty range of the world maps to `start`.
    pub fn new(from: i64, to: i64, start: f64, end: f64) -> Self {
        let span = float(to) - float(from);
        Self {
            from: float(from),
            per: if span == 0.0 {
                0.0
            } else {
                (end - start) / span
            },
            start,
        }
    }

    /// Where a value lies in the picture.
    pub fn at(&self, value: i64) -> f64 {
        self.start + (float(value) - self.from) * self.per
    }

    /// How long an extent is in the picture, always positive.
    pub fn of(&self, extent: i64) -> f64 {
        (float(extent) * self.per).abs()
    }
}

/// Where a text's given point lies in it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Anchor {
    /// At its start.
    Start,
    /// In its middle.
    Middle,
    /// At its end.
    End,
}

impl Anchor {
    const fn word(self) -> &'static str {
        match self {
            Self::Start => "start",
            Self::Middle => "middle",
            Self::End => "end",
        }
    }
}

/// The most width of a picture that a phone shows whole: words of 14 are 11 px high there.
const SLIM: f64 = 420.0;

/// An SVG element being written.
#[derive(Debug, Clone)]
pub struct Svg {
    body: String,
    open: Vec<&'static str>,
}

impl Svg {
    /// A picture of a fixed proportion, scaled to the room it gets. `title` is its name for those
    /// who cannot see it.
    pub fn new(title: &str, width: f64, height: f64) -> Self {
        let (w, h) = (short(width), short(height));
        // One that is little wider than a phone is not drawn wider there.
        let slim = if width <= SLIM { " class=\"slim\"" } else { "" };
        Self::begin(
            &format!("viewBox=\"0 0 {w} {h}\" width=\"{w}\" height=\"{h}\"{slim}"),
            title,
        )
    }

    /// A picture as wide as its room, of a fixed height, its text never scaled. Horizontal places
    /// in it are given in percent.
    pub fn wide(title: &str, height: f64) -> Self {
        Self::begin(
            &format!("width=\"100%\" height=\"{}\"", short(height)),
            title,
        )
    }

    /// A picture of a true size on paper, in millimetres.
    pub fn paper(title: &str, width: f64, height: f64) -> Self {
        let (w, h) = (short(width), short(height));
        Self::begin(
            &format!("viewBox=\"0 0 {w} {h}\" width=\"{w}mm\" height=\"{h}mm\""),
            title,
        )
    }

    fn begin(size: &str, title: &str) -> Self {
        let title = escape(title);
        Self {
            body: format!(
                "<svg xmlns=\"http://www.w3.org/2000/svg\" role=\"img\" {size}><title>{title}</title>"
            ),
            open: Vec::new(),
        }
    }

    fn put(&mut self, text: fmt::Arguments<'_>) {
        // Writing into a String cannot fail.
        let _ = self.body.write_fmt(text);
    }

    /// A rectangle.
    pub fn rect(
        &mut self,
        class: &str,
        x: impl Into<At>,
        y: impl Into<At>,
        width: impl Into<At>,
        height: impl Into<At>,
    ) {
        self.put(format_args!(
            "<rect class=\"{}\" x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\"/>",
            escape(class),
            x.into(),
            y.into(),
            width.into(),
            height.into()
        ));
    }

    /// A rectangle with round corners.
    pub fn round(
        &mut self,
        class: &str,
        (x, y): (f64, f64),
        (width, height): (f64, f64),
        radius: f64,
    ) {
        self.put(format_args!(
            "<rect class=\"{}\" x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\" rx=\"{}\"/>",
            escape(class),
            short(x),
            short(y),
            short(width),
            short(height),
            short(radius)
        ));
    }

    /// A straight line.
    pub fn line(
        &mut self,
        class: &str,
        from: (impl Into<At>, impl Into<At>),
        to: (impl Into<At>, impl Into<At>),
    ) {
        self.put(format_args!(
            "<line class=\"{}\" x1=\"{}\" y1=\"{}\" x2=\"{}\" y2=\"{}\"/>",
            escape(class),
            from.0.into(),
            from.1.into(),
            to.0.into(),
            to.1.into()
        ));
    }

    /// A circle.
    pub fn circle(&mut self, class: &str, x: impl Into<At>, y: impl Into<At>, radius: f64) {
        self.put(format_args!(
            "<circle class=\"{}\" cx=\"{}\" cy=\"{}\" r=\"{}\"/>",
            escape(class),
            x.into(),
            y.into(),
            short(radius)
        ));
    }

    /// A path, in SVG's own path language.
    pub fn path(&mut self, class: &str, d: &str) {
        self.put(format_args!(
            "<path class=\"{}\" d=\"{}\"/>",
            escape(class),
            escape(d)
        ));
    }

    /// A text, on its base line.
    pub fn text(
        &mut self,
        class: &str,
        x: impl Into<At>,
        y: impl Into<At>,
        anchor: Anchor,
        text: &str,
    ) {
        self.put(format_args!(
            "<text class=\"{}\" x=\"{}\" y=\"{}\" text-anchor=\"{}\">{}</text>",
            escape(class),
            x.into(),
            y.into(),
            anchor.word(),
            escape(text)
        ));
    }

    /// A picture of somebody else's; `strength` from 0 to 1.
    pub fn image(
        &mut self,
        class: &str,
        href: &str,
        (x, y): (f64, f64),
        (width, height): (f64, f64),
        strength: f64,
    ) {
        self.put(format_args!(
            "<image class=\"{}\" href=\"{}\" x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\" \
             opacity=\"{}\" preserveAspectRatio=\"none\"/>",
            escape(class),
            escape(href),
            short(x),
            short(y),
            short(width),
            short(height),
            short(strength)
        ));
    }

    /// Begins a link; ended by [`Self::end`]. `label` is said for it.
    pub fn link(&mut self, href: &str, label: &str) {
        self.put(format_args!(
            "<a href=\"{}\" aria-label=\"{}\">",
            escape(href),
            escape(label)
        ));
        self.open.push("</a>");
    }

    /// Begins a group, turned about a point (degrees, clockwise); ended by [`Self::end`].
    pub fn turned(&mut self, degrees: f64, x: f64, y: f64) {
        self.put(format_args!(
            "<g transform=\"rotate({} {} {})\">",
            short(degrees),
            short(x),
            short(y)
        ));
        self.open.push("</g>");
    }

    /// Begins a group with its own origin and scale; ended by [`Self::end`].
    pub fn scaled(&mut self, x: f64, y: f64, scale: f64) {
        self.put(format_args!(
            "<g transform=\"translate({} {}) scale({scale:.4})\">",
            short(x),
            short(y)
        ));
        self.open.push("</g>");
    }

    /// Begins a part with its own origin, whose shapes are in pixels; ended by [`Self::end`].
    pub fn moved(&mut self, x: impl Into<At>, y: impl Into<At>) {
        self.put(format_args!(
            "<svg x=\"{}\" y=\"{}\" overflow=\"visible\">",
            x.into(),
            y.into()
        ));
        self.open.push("</svg>");
    }

    /// Ends the last link, group or part.
    pub fn end(&mut self) {
        if let Some(tag) = self.open.pop() {
            self.body.push_str(tag);
        }
    }

    /// The whole element; what is still open is ended. A picture with links in it is a group, since
    /// what is an image to a reader can hold nothing to go to.
    pub fn finish(mut self) -> String {
        while !self.open.is_empty() {
            self.end();
        }
        if self.body.contains("<a href=") {
            self.body = self.body.replacen("role=\"img\"", "role=\"group\"", 1);
        }
        self.body.push_str("</svg>");
        self.body
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_people_typed_cannot_leave_its_text() {
        let mut svg = Svg::new("a <b> & \"c\"", 10.0, 10.0);
        svg.text(
            "svg-text",
            1.0,
            2.0,
            Anchor::Middle,
            "</text><script>'x'\u{7}",
        );
        svg.link("/things/1?a=1&b=\"", "x");
        let text = svg.finish();
        assert!(!text.contains("<script>"), "{text}");
        assert!(text.contains("&lt;/text&gt;&lt;script&gt;&#39;x&#39; </text>"));
        assert!(text.contains("a &lt;b&gt; &amp; &quot;c&quot;"));
        assert!(text.ends_with("</a></svg>"), "{text}");
    }

    #[test]
    fn scales_run_both_ways_and_survive_nothing() {
        let across = Scale::new(0, 4_000_000, 10.0, 410.0);
        assert_eq!(across.at(1_000_000).to_bits(), 110.0_f64.to_bits());
        assert_eq!(across.of(2_000_000).to_bits(), 200.0_f64.to_bits());
        let up = Scale::new(0, 100, 300.0, 100.0);
        assert_eq!(up.at(100).to_bits(), 100.0_f64.to_bits());
        assert_eq!(up.of(50).to_bits(), 100.0_f64.to_bits());
        assert_eq!(
            Scale::new(7, 7, 5.0, 9.0).at(7).to_bits(),
            5.0_f64.to_bits()
        );
    }

    #[test]
    fn numbers_are_short_and_always_numbers() {
        assert_eq!(short(1.0), "1");
        assert_eq!(short(-0.001), "0");
        assert_eq!(short(12.345), "12.35");
        assert_eq!(short(f64::NAN), "0");
        assert_eq!(At::Percent(33.333_333).to_string(), "33.33%");
    }
}
