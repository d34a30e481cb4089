//! The set in the dark, each bar in the colours that are on: a stripe a channel, side by side. No
//! mixed colour is made up; what the eye mixes depends on tape, cover and camera.

use super::{Anchor, Svg, float};
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
const THICK: f64 = 14.0;

/// The letters of what is on, or that nothing is.
pub fn letters(on: &[Channel]) -> String {
    if on.is_empty() {
        "off".to_owned()
    } else {
        on.iter().map(|channel| channel.letter()).collect()
    }
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
    for lit in bars {
        let bar = lit.bar;
        let x = inset + (float(bar.x_um.get()) - float(all.left)) * scale;
        let y = down(bar.y_um.get());
        let long = (float(bar.length_um.get()) * scale).max(4.0);
        let angle = f64::from(bar.angle_mdeg) / 1000.0;
        out.turned(-angle, x, y);
        let count = u32::try_from(lit.on.len()).unwrap_or(1).max(1);
        let each = THICK / f64::from(count);
        for (at, channel) in (0_u32..).zip(&lit.on) {
            let class = format!("lit ch-{}", channel.word());
            let top = y - THICK / 2.0 + f64::from(at) * each;
            out.rect(&class, x, top, long, each);
        }
        let class = if lit.on.is_empty() {
            "lit-off"
        } else {
            "lit-edge"
        };
        out.rect(class, x, y - THICK / 2.0, long, THICK);
        out.text(
            "lit-text",
            x + 2.0,
            y - THICK / 2.0 - 4.0,
            Anchor::Start,
            &format!("{} {}", bar.label, letters(&lit.on)),
        );
        out.end();
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
        assert!(!both.contains("ch-blue") && both.contains("RW"), "{both}");
        assert_eq!(svg(&[]), "");
    }
}
