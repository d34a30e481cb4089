//! Nine address switches as they look on a device: each with its lever up (on) or down (off), its
//! number, and what it is worth.

use super::{Anchor, Picture, Svg, float};

/// From one switch to the next.
const STEP: f64 = 34.0;
/// Where the first begins.
const LEFT: f64 = 40.0;
/// The slot that a lever moves in.
const TOP: f64 = 8.0;
const SLOT: f64 = 40.0;
const WIDTH: f64 = 20.0;
/// Height of the whole picture.
const HEIGHT: f64 = 86.0;

/// Draws the switches that show a number, by those that are on.
pub fn draw(number: u16, on: &[u16]) -> Picture {
    let caption = format!("Nine switches that show {number}");
    let mut svg = Svg::new(&caption, LEFT + 9.0 * STEP, HEIGHT);
    svg.text("svg-small svg-on", 0.0, TOP + 14.0, Anchor::Start, "on");
    svg.text(
        "svg-small svg-on",
        0.0,
        TOP + SLOT - 4.0,
        Anchor::Start,
        "off",
    );
    for switch in 1..=9_u16 {
        let x = LEFT + STEP * (float(switch.into()) - 1.0);
        let middle = x + WIDTH / 2.0;
        svg.rect("svg-paper", x, TOP, WIDTH, SLOT);
        let lever = if on.contains(&switch) {
            TOP + 3.0
        } else {
            TOP + SLOT / 2.0 + 1.0
        };
        svg.rect("svg-fill", x + 3.0, lever, WIDTH - 6.0, SLOT / 2.0 - 4.0);
        let number = switch.to_string();
        svg.text(
            "svg-text",
            middle,
            TOP + SLOT + 16.0,
            Anchor::Middle,
            &number,
        );
        let worth = (1_u16 << (switch - 1)).to_string();
        svg.text(
            "svg-small",
            middle,
            TOP + SLOT + 32.0,
            Anchor::Middle,
            &worth,
        );
    }
    let worths: Vec<String> = on.iter().map(|k| (1_u16 << (k - 1)).to_string()).collect();
    let twin = (1..=9)
        .map(|switch| {
            let word = if on.contains(&switch) { "on" } else { "off" };
            format!("switch {switch}: {word}")
        })
        .chain([format!(
            "{} = {number}",
            if worths.is_empty() {
                "0".to_owned()
            } else {
                worths.join(" + ")
            }
        )])
        .collect();
    Picture {
        svg: svg.finish(),
        caption,
        twin,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_switch_that_is_on_has_its_lever_up() {
        // Common practice, no source: 257 is switches 1 and 9.
        let drawn = draw(257, &[1, 9]);
        let levers: Vec<&str> = drawn.svg.split("svg-fill").skip(1).collect();
        assert_eq!(levers.len(), 9);
        let up: Vec<usize> = (1..)
            .zip(&levers)
            .filter(|(_, lever)| lever.contains("y=\"11\""))
            .map(|(nth, _)| nth)
            .collect();
        assert_eq!(up, [1, 9]);
        assert_eq!(drawn.twin[0], "switch 1: on");
        assert_eq!(drawn.twin[1], "switch 2: off");
        assert_eq!(drawn.twin[9], "1 + 256 = 257");
    }
}
