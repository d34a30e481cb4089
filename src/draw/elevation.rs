//! The set from the front, to scale: each bar where it hangs, told apart by word, pattern and
//! colour.

use super::{
    Anchor, Svg, float,
    spots::{Labels, Spot, wide_of},
};
use crate::units::{Length, LengthUnit, SignedLength};

/// What becomes of a bar, as drawn.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Look {
    /// A fixture from the cupboard serves.
    Reused,
    /// A new one is to be built.
    Build,
    /// One was built for it.
    Built,
    /// Nothing serves.
    Short,
}

impl Look {
    /// Its word, which is also the name of its mark.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Reused => "reused",
            Self::Build => "build",
            Self::Built => "built",
            Self::Short => "short",
        }
    }

    /// Its words in a sentence.
    pub const fn label(self) -> &'static str {
        match self {
            Self::Reused => "reused",
            Self::Build => "to build",
            Self::Built => "built",
            Self::Short => "short",
        }
    }
}

/// A bar as drawn.
#[derive(Debug, Clone)]
pub struct DrawnBar {
    /// Its label.
    pub label: String,
    /// Left end, from the left.
    pub x_um: SignedLength,
    /// Left end, above the floor.
    pub y_um: SignedLength,
    /// Lit length.
    pub length_um: Length,
    /// Counter-clockwise from lying level, in thousandths of a degree.
    pub angle_mdeg: i32,
    /// What becomes of it.
    pub look: Look,
    /// The page that it opens, if any.
    pub href: Option<String>,
}

/// A frame as drawn.
#[derive(Debug, Clone)]
pub struct DrawnFrame {
    /// Its label.
    pub label: String,
    /// Left edge.
    pub x_um: SignedLength,
    /// Lower edge, above the floor.
    pub y_um: SignedLength,
    /// Width.
    pub width_um: Length,
    /// Height.
    pub height_um: Length,
}

/// A photo or drawing of the stage, laid under the set.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DrawnPicture {
    /// Its address.
    pub href: String,
    /// Left edge.
    pub x_um: i64,
    /// Lower edge, above the floor.
    pub y_um: i64,
    /// Width.
    pub width_um: i64,
    /// Height.
    pub height_um: i64,
    /// How strongly it shows, in percent.
    pub opacity: i64,
    /// Whether it prints.
    pub print: bool,
}

/// Width of the picture without its margins, in its own units.
const WIDE: f64 = 880.0;
/// Most height of the picture without its margins.
const HIGH: f64 = 520.0;
/// Room around.
const MARGIN: f64 = 36.0;
/// Thickness of a bar, which is not to scale: it has to carry its label.
const THICK: f64 = 22.0;
/// The bounds of what is drawn, in metres: left, right, bottom, top.
fn bounds(
    bars: &[DrawnBar],
    frames: &[DrawnFrame],
    under: Option<&DrawnPicture>,
) -> (f64, f64, f64, f64) {
    let bar_points = bars.iter().flat_map(|bar| {
        let (sin, cos) = turn(bar);
        let (x, y, long) = (bar.x_um.metres(), bar.y_um.metres(), bar.length_um.metres());
        [(x, y), (x + cos * long, y + sin * long)]
    });
    let frame_points = frames.iter().flat_map(|frame| {
        let (x, y) = (frame.x_um.metres(), frame.y_um.metres());
        [
            (x, y),
            (x + frame.width_um.metres(), y + frame.height_um.metres()),
        ]
    });
    let under_points = under.into_iter().flat_map(|picture| {
        let ((x, y), (wide, high)) = picture.metres();
        [(x, y), (x + wide, y + high)]
    });
    let none = (f64::INFINITY, f64::NEG_INFINITY, 0.0, f64::NEG_INFINITY);
    // The floor is always in the picture, since heights are told from it.
    bar_points
        .chain(frame_points)
        .chain(under_points)
        .fold(none, |(left, right, low, high), (x, y)| {
            (left.min(x), right.max(x), low.min(y), high.max(y))
        })
}

fn turn(bar: &DrawnBar) -> (f64, f64) {
    (f64::from(bar.angle_mdeg) / 1000.0).to_radians().sin_cos()
}

impl DrawnPicture {
    /// Its lower left corner and its size, in metres.
    fn metres(&self) -> ((f64, f64), (f64, f64)) {
        let metres = |um: i64| float(um) / 1e6;
        (
            (metres(self.x_um), metres(self.y_um)),
            (metres(self.width_um), metres(self.height_um)),
        )
    }
}

/// The set as SVG, over a picture of the stage if there is one. Empty when there is nothing to draw.
pub fn svg(
    bars: &[DrawnBar],
    frames: &[DrawnFrame],
    under: Option<&DrawnPicture>,
    unit: LengthUnit,
) -> String {
    if bars.is_empty() && frames.is_empty() {
        return String::new();
    }
    let (left, right, low, high) = bounds(bars, frames, under);
    let (wide, tall) = ((right - left).max(0.1), (high - low).max(0.1));
    let scale = (WIDE / wide).min(HIGH / tall);
    let (width, height) = (
        (wide * scale + 2.0 * MARGIN).max(420.0),
        tall * scale + 2.0 * MARGIN + 30.0,
    );
    let inset = (width - wide * scale) / 2.0;
    let x_of = |metres: f64| inset + (metres - left) * scale;
    let y_of = |metres: f64| MARGIN + (high - metres) * scale;
    let mut out = Svg::new("The set from the front, to scale", width, height);
    if let Some(picture) = under {
        let ((x, y), (picture_wide, picture_high)) = picture.metres();
        let class = if picture.print {
            "backdrop printed"
        } else {
            "backdrop"
        };
        out.image(
            class,
            &picture.href,
            (x_of(x), y_of(y + picture_high)),
            (picture_wide * scale, picture_high * scale),
            float(picture.opacity) / 100.0,
        );
    }
    let floor = y_of(0.0);
    out.line("svg-muted", (8.0, floor), (width - 8.0, floor));
    let mut labels = Labels::new(width, height);
    if let Some(spot) = labels.place([Spot::level(8.0, floor + 10.0, wide_of("floor"))]) {
        spot.write(&mut out, "floor", false);
    }
    for frame in frames {
        let (x, y, wide, high) = framed(frame, x_of, y_of, scale);
        out.rect("svg-muted", x, y, wide, high);
    }
    // First every bar, then the words on them: no bar lies over the words of another.
    for bar in bars {
        let (x, y) = (x_of(bar.x_um.metres()), y_of(bar.y_um.metres()));
        labels.bodies.push(draw_bar(&mut out, bar, x, y, scale));
    }
    for (at, bar) in bars.iter().enumerate() {
        let full = format!("{} · {}", bar.label, bar.look.label());
        labels.of_bar(&mut out, at, &full, &bar.label);
    }
    for frame in frames {
        let (x, y, wide, high) = framed(frame, x_of, y_of, scale);
        let text = wide_of(&frame.label);
        let spots = [
            Spot::level(x + 2.0, y - 11.0, text),
            Spot::level(x + wide - text - 2.0, y - 11.0, text),
            Spot::level(x + 2.0, y + high + 11.0, text),
        ];
        if let Some(spot) = labels.place_clear(spots.into_iter()) {
            spot.write(&mut out, &frame.label, false);
        }
    }
    let (ruler, word) = ruler(wide, unit);
    let (from, to, at) = (inset, inset + ruler * scale, height - 16.0);
    out.line("svg-ink", (from, at), (to, at));
    out.line("svg-ink", (from, at - 4.0), (from, at + 4.0));
    out.line("svg-ink", (to, at - 4.0), (to, at + 4.0));
    out.text("svg-label", to + 8.0, at + 5.0, Anchor::Start, &word);
    out.finish()
}

/// Where a frame is drawn: its upper left corner and its size.
fn framed(
    frame: &DrawnFrame,
    x_of: impl Fn(f64) -> f64,
    y_of: impl Fn(f64) -> f64,
    scale: f64,
) -> (f64, f64, f64, f64) {
    let top = frame.y_um.metres() + frame.height_um.metres();
    (
        x_of(frame.x_um.metres()),
        y_of(top),
        frame.width_um.metres() * scale,
        frame.height_um.metres() * scale,
    )
}

/// A bar without its words; where it lies.
fn draw_bar(out: &mut Svg, bar: &DrawnBar, x: f64, y: f64, scale: f64) -> Spot {
    let long = (bar.length_um.metres() * scale).max(4.0);
    let angle = f64::from(bar.angle_mdeg) / 1000.0;
    let full = format!("{} · {}", bar.label, bar.look.label());
    if let Some(href) = &bar.href {
        out.link(href, &full);
    }
    // SVG turns clockwise, people draw counter-clockwise.
    out.turned(-angle, x, y);
    out.rect(
        &format!("svg-{}", bar.look.word()),
        x,
        y - THICK / 2.0,
        long,
        THICK,
    );
    out.end();
    if bar.href.is_some() {
        out.end();
    }
    let (sin, cos) = turn(bar);
    Spot {
        x: x + cos * long / 2.0,
        y: y - sin * long / 2.0,
        wide: long,
        high: THICK,
        degrees: -angle,
    }
}

/// A round length of about a fifth of the width, in metres, with its words.
fn ruler(wide: f64, unit: LengthUnit) -> (f64, String) {
    let (one, name) = if unit.metric() {
        (1.0, "m")
    } else {
        (0.3048, "ft")
    };
    let count = [0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0]
        .into_iter()
        .rfind(|count| count * one <= wide / 4.0)
        .unwrap_or(0.1);
    (count * one, format!("{count} {name}"))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn bar(label: &str, x_mm: u32, look: Look) -> DrawnBar {
        DrawnBar {
            label: label.into(),
            x_um: Length::mm(x_mm).into(),
            y_um: Length::mm(500).into(),
            length_um: Length::mm(2000),
            angle_mdeg: 90_000,
            look,
            href: None,
        }
    }

    #[test]
    fn nothing_to_draw_is_no_picture() {
        assert_eq!(svg(&[], &[], None, LengthUnit::Mm), "");
    }

    #[test]
    fn bars_keep_their_places_to_scale() {
        let drawn = svg(
            &[
                bar("1", 0, Look::Reused),
                bar("2", 1000, Look::Build),
                bar("3", 4000, Look::Short),
            ],
            &[],
            None,
            LengthUnit::Mm,
        );
        let at: Vec<f64> = drawn
            .split("<g transform=\"rotate(-90 ")
            .skip(1)
            .filter_map(|part| part.split(' ').next()?.parse().ok())
            // The words follow after all bars.
            .take(3)
            .collect();
        assert_eq!(at.len(), 3);
        let ratio = (at[2] - at[0]) / (at[1] - at[0]);
        assert!((ratio - 4.0).abs() < 0.01, "{ratio}");
    }

    /// Where labels are written, by their middles and texts.
    fn written(drawn: &str) -> Vec<String> {
        let texts = drawn.split("<text class=\"svg-label").skip(1);
        let texts = texts.filter_map(|part| part.split('>').nth(1)?.split('<').next());
        texts.map(str::to_owned).collect()
    }

    #[test]
    fn labels_never_lie_over_each_other_and_those_without_room_are_left_out() {
        // Two bars in one place: the second is told beside, or a little along.
        let both = [bar("one", 0, Look::Build), bar("two", 0, Look::Build)];
        let words = written(&svg(&both, &[], None, LengthUnit::Mm));
        assert!(words.contains(&"one · to build".to_owned()), "{words:?}");
        // Twenty there: each that is written has a place of its own.
        let many: Vec<DrawnBar> = (0..20)
            .map(|at| bar(&format!("bar {at}"), 0, Look::Build))
            .collect();
        let words = written(&svg(&many, &[], None, LengthUnit::Mm));
        let bars = words.iter().filter(|word| word.starts_with("bar")).count();
        assert!((1..8).contains(&bars), "{words:?}");
        // One too short for its label is told beside it.
        let mut short = bar("a longer label", 0, Look::Short);
        short.length_um = Length::mm(50);
        let far = bar("far", 6000, Look::Build);
        let words = written(&svg(&[short, far], &[], None, LengthUnit::Mm));
        assert!(words.contains(&"a longer label".to_owned()), "{words:?}");
    }

    #[test]
    fn a_picture_lies_under_the_bars_to_the_same_scale() {
        let picture = DrawnPicture {
            href: "/a?\"".into(),
            x_um: 0,
            y_um: 0,
            width_um: 8_000_000,
            height_um: 2_000_000,
            opacity: 40,
            print: false,
        };
        let drawn = svg(
            &[bar("1", 0, Look::Build), bar("2", 4000, Look::Build)],
            &[],
            Some(&picture),
            LengthUnit::Mm,
        );
        let image = drawn
            .split("<image ")
            .nth(1)
            .unwrap()
            .split("/>")
            .next()
            .unwrap();
        let number = |name: &str| -> f64 {
            let rest = image.split(&format!("{name}=\"")).nth(1).unwrap();
            rest.split('"').next().unwrap().parse().unwrap()
        };
        // 880 units for its 8 m; four times as wide as high.
        assert!((number(" width") - 880.0).abs() < 0.02, "{image}");
        assert!((number(" height") - 220.0).abs() < 0.02, "{image}");
        assert!(image.contains("opacity=\"0.4\"") && image.contains("/a?&quot;"));
        assert!(drawn.find("<image").unwrap() < drawn.find("<g ").unwrap());
    }

    #[test]
    fn labels_cannot_break_out_of_the_picture() {
        let mut odd = bar("<script>\"&", 0, Look::Build);
        odd.length_um = Length::mm(30_000);
        let drawn = svg(&[odd], &[], None, LengthUnit::Ft);
        assert!(!drawn.contains("<script"));
        assert!(drawn.contains("&lt;script&gt;&quot;&amp;"));
    }
}
