//! QR codes (ISO/IEC 18004), as runs of dark squares.

use std::fmt::Write as _;

use qrcode_generator::qr::{Encoder, ErrorCorrection};

/// Light squares that the standard asks for on each side of a code.
const QUIET: usize = 4;

/// A code, drawn in squares of one unit.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Code {
    /// Squares along each side, the light ones around it included.
    pub side: usize,
    /// Its dark squares, in SVG's path language.
    pub path: String,
}

/// The code of a text; nothing for a text that is too long for any. About a sixth of it may be worn
/// off or dirty (level M at least).
pub fn code(text: &str) -> Option<Code> {
    let symbol = Encoder::new(ErrorCorrection::Medium)
        .encode_text(text)
        .ok()?;
    let size = symbol.size();
    let mut path = String::new();
    for (y, row) in symbol.modules().chunks(size).enumerate() {
        let mut x = 0;
        while x < row.len() {
            let run = row[x..].iter().take_while(|dark| **dark).count();
            if run > 0 {
                let (x, y) = (x + QUIET, y + QUIET);
                // Writing into a String cannot fail.
                let _ = write!(path, "M{x} {y}h{run}v1h-{run}z");
            }
            x += run.max(1);
        }
    }
    Some(Code {
        side: size + 2 * QUIET,
        path,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Dark squares of a path, read back from it.
    fn squares(code: &Code) -> Vec<Vec<bool>> {
        let mut dark = vec![vec![false; code.side]; code.side];
        for run in code.path.split('z').filter(|run| !run.is_empty()) {
            let (at, length) = run.trim_start_matches('M').split_once('h').unwrap();
            let (x, y) = at.split_once(' ').unwrap();
            let (x, y): (usize, usize) = (x.parse().unwrap(), y.parse().unwrap());
            let length: usize = length.split('v').next().unwrap().parse().unwrap();
            for place in &mut dark[y][x..x + length] {
                assert!(!*place, "drawn twice");
                *place = true;
            }
        }
        dark
    }

    #[test]
    fn the_three_finders_stand_in_their_corners_and_all_around_is_light() {
        let code = code("http://millpond.local:8470/tag/F-12").unwrap();
        let dark = squares(&code);
        // ISO/IEC 18004: a finder is 7 squares wide, dark at its rim and in its 3 by 3 heart.
        let far = code.side - QUIET - 7;
        for (left, top) in [(QUIET, QUIET), (far, QUIET), (QUIET, far)] {
            for y in 0..7 {
                for x in 0..7 {
                    let rim = x == 0 || x == 6 || y == 0 || y == 6;
                    let heart = (2..5).contains(&x) && (2..5).contains(&y);
                    assert_eq!(dark[top + y][left + x], rim || heart, "{x} {y}");
                }
            }
        }
        for (y, row) in dark.iter().enumerate() {
            for (x, square) in row.iter().enumerate() {
                let inner = QUIET..code.side - QUIET;
                assert!(inner.contains(&x) && inner.contains(&y) || !square);
            }
        }
    }

    #[test]
    fn what_no_code_can_hold_has_none() {
        assert_eq!(code(&"x".repeat(5_000)), None);
        assert!(code("x").is_some());
    }
}
