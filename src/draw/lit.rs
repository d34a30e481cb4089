//! The set in the dark, each bar in the colours that are on: a stripe a channel, side by side. No
//! mixed colour is made up; what the eye mixes depends on tape, cover and camera.

use super::{
    Svg, float,
    spots::{Labels, Spot},
};
use crate::model::{arrange::bounds_of, channel::Channel, design::Bar};

/// A bar with the channels of it that are on.
#[derive(Debug, Clone)]
pub struct LitBar<'a> {
    /// The bar.
    pub bar: &'a Bar,
    /// Its channels that are on.
    pub on: Vec<Channel>,
}

const WIDE: f64 = 880.0;
const HIGH: f64 = 520.0;
const MARGIN: f64 = 40.0;
/// Thickness of a bar, which is not to scale.
const THICK: f64 = 16.0;
/// How far a bar's light reaches around it: veils that lie over each other, so that it fades.
const GLOW: [f64; 6] = [2.0, 5.0, 8.0, 12.0, 16.0, 21.0];

/// The letters of what is on, or that nothing is.
pub fn letters(on: &[Channel]) -> String {
    if on.is_empty() {
        "off".to_owned()
    } else {
        on.iter().map(|channel| channel.letter()).collect()
    }
}

/// The stripes of a bar, one a channel: class, upper edge and height.
fn stripes(class: &str, on: &[Channel], y: f64) -> Vec<(String, f64, f64)> {
    let count = u32::try_from(on.len()).unwrap_or(1).max(1);
    let each = THICK / f64::from(count);
    (0_u32..)
        .zip(on)
        .map(|(at, channel)| {
            let top = y - THICK / 2.0 + f64::from(at) * each;
            (format!("{class} ch-{}", channel.word()), top, each)
        })
        .collect()
}

/// The set as SVG. Empty when there is no bar.
pub fn svg(bars: &[LitBar<'_>]) -> String {
    let Some(all) = bounds_of(bars.iter().map(|lit| lit.bar), []) else {
        return String::new();
    };
    let low = float(all.low.min(0));
    let wide = float(all.right - all.left).max(100_000.0);
    let tall = (float(all.high) - low).max(100_000.0);
    let scale = (WIDE / wide).min(HIGH / tall);
    let width = (wide * scale + 2.0 * MARGIN).max(420.0);
    let height = tall * scale + 2.0 * MARGIN;
    let inset = (width - wide * scale) / 2.0;
    let mut out = Svg::new("The set in the dark, from the front", width, height);
    out.rect("lit-ground", 0.0, 0.0, width, height);
    let down = |um: i64| MARGIN + (low + tall - float(um)) * scale;
    let floor = down(0);
    out.line("lit-floor", (0.0, floor), (width, floor));
    let place = |bar: &Bar| {
        let x = inset + (float(bar.x_um.get()) - float(all.left)) * scale;
        let long = (float(bar.length_um.get()) * scale).max(4.0);
        (
            x,
            down(bar.y_um.get()),
            long,
            -f64::from(bar.angle_mdeg) / 1000.0,
        )
    };
    // First the light, then the bars, then the words: no glow lies over a bar or a word.
    for lit in bars {
        let (x, y, long, turned) = place(lit.bar);
        out.turned(turned, x, y);
        for (class, top, each) in stripes("lit-glow", &lit.on, y) {
            for far in GLOW {
                out.round(
                    &class,
                    (x - far, top - far),
                    (long + 2.0 * far, each + 2.0 * far),
                    far,
                );
            }
        }
        out.end();
    }
    let mut labels = Labels::new(width, height);
    for lit in bars {
        let (x, y, long, turned) = place(lit.bar);
        out.turned(turned, x, y);
        for (class, top, each) in stripes("lit", &lit.on, y) {
            out.rect(&class, x, top, long, each);
        }
        if lit.on.is_empty() {
            out.rect("lit-off", x, y - THICK / 2.0, long, THICK);
        }
        out.end();
        let (sin, cos) = turned.to_radians().sin_cos();
        labels.bodies.push(Spot {
            x: x + cos * long / 2.0,
            y: y + sin * long / 2.0,
            wide: long,
            high: THICK,
            degrees: turned,
        });
    }
    for (at, lit) in bars.iter().enumerate() {
        let (label, on) = (&lit.bar.label, letters(&lit.on));
        let group = format!("{label} · {} {on}", lit.bar.group);
        let own = format!("{label} {on}");
        let grouped = (!lit.bar.group.is_empty()).then_some(group.as_str());
        let words: Vec<&str> = grouped.into_iter().chain([&*own, label.as_str()]).collect();
        labels.beside(&mut out, at, &words);
    }
    out.finish()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{
        model::{channel::Channels, fixture::Fed, id::BarId, text::Name},
        units::{Length, SignedLength},
    };

    #[test]
    fn only_what_is_on_has_a_colour_and_each_says_its_letters() {
        let bar = Bar {
            id: BarId(1),
            label: Name::parse("Left <1>").unwrap(),
            length_um: Length::mm(2000),
            shorter_um: Length::ZERO,
            longer_um: Length::ZERO,
            channels: Channels::new(vec![Channel::Red, Channel::White]).unwrap(),
            voltage_mv: None,
            diffused: false,
            fed: Fed::OneEnd,
            frame: None,
            x_um: SignedLength::ZERO,
            y_um: SignedLength::ZERO,
            angle_mdeg: 90_000,
            group: String::new(),
            feed_place: String::new(),
            cable_um: Length::ZERO,
            tape: None,
            profile: None,
            fixture: None,
        };
        let drawn = |on: &[Channel]| {
            svg(&[LitBar {
                bar: &bar,
                on: on.to_vec(),
            }])
        };
        let dark = drawn(&[]);
        assert!(
            !dark.contains("ch-") && dark.contains("&lt;1&gt; off"),
            "{dark}"
        );
        let both = drawn(&[Channel::Red, Channel::White]);
        assert!(both.contains("lit ch-red") && both.contains("lit ch-white"));
        // Its light lies under all bars.
        let (glow, stripe) = (both.rfind("lit-glow ch-"), both.find("\"lit ch-"));
        assert!(glow.is_some() && glow < stripe, "{both}");
        assert!(!both.contains("ch-blue") && both.contains("RW"), "{both}");
        assert_eq!(svg(&[]), "");
    }
}
