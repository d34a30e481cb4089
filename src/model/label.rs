//! Labels: the papers they are printed on, and the address that their codes carry.

use super::text::words;
use crate::units::LengthUnit;

words! {
    /// A sheet of labels, or a single one from a roll. Sizes are those in which label papers are
    /// commonly sold (common practice, no source).
    LabelPaper {
        /// 3 by 7 on A4.
        A4By21 = "a4-21", "A4 sheet, 21 of 63.5 × 38.1 mm";
        /// 3 by 8 on A4, edge to edge.
        A4By24 = "a4-24", "A4 sheet, 24 of 70 × 37 mm";
        /// 2 by 7 on A4.
        A4By14 = "a4-14", "A4 sheet, 14 of 99.1 × 38.1 mm";
        /// 5 by 13 on A4.
        A4By65 = "a4-65", "A4 sheet, 65 of 38.1 × 21.2 mm";
        /// 3 by 10 on Letter.
        LetterBy30 = "letter-30", "Letter sheet, 30 of 2 5/8 × 1 in";
        /// 2 by 5 on Letter.
        LetterBy10 = "letter-10", "Letter sheet, 10 of 4 × 2 in";
        /// From a roll.
        Roll62By29 = "roll-62", "Single, 62 × 29 mm";
        /// From a roll.
        Roll57By32 = "roll-57", "Single, 57 × 32 mm";
        /// From a roll.
        Roll40By20 = "roll-40", "Single, 40 × 20 mm";
    }
}

impl LabelPaper {
    /// The paper that is offered first: Letter where lengths are in inches, else A4.
    pub const fn usual(unit: LengthUnit) -> Self {
        if unit.metric() {
            Self::A4By21
        } else {
            Self::LetterBy30
        }
    }
}

/// Where labels lie on a paper; all in micrometres.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Grid {
    /// Width and height of the paper.
    pub paper_um: [i64; 2],
    /// Width and height of a label.
    pub label_um: [i64; 2],
    /// Labels beside each other, and below each other.
    pub count: [usize; 2],
    /// From the paper's left and upper edge to the first label.
    pub first_um: [i64; 2],
    /// From one label to the next, across and down.
    pub step_um: [i64; 2],
}

impl Grid {
    const fn single(width: i64, height: i64) -> Self {
        let um = [width * 1_000, height * 1_000];
        Self {
            paper_um: um,
            label_um: um,
            count: [1, 1],
            first_um: [0, 0],
            step_um: um,
        }
    }

    /// Labels on one paper.
    pub const fn labels(&self) -> usize {
        self.count[0] * self.count[1]
    }

    /// Left and upper edge of a label, counted from 0 along the rows; in micrometres.
    pub fn at_um(&self, label: usize) -> [i64; 2] {
        let cell = [label % self.count[0], label / self.count[0]];
        let along = |axis: usize| {
            let cell = i64::try_from(cell[axis]).unwrap_or(i64::MAX);
            self.first_um[axis] + cell * self.step_um[axis]
        };
        [along(0), along(1)]
    }
}

const A4: [i64; 2] = [210_000, 297_000];
const LETTER: [i64; 2] = [215_900, 279_400];

impl LabelPaper {
    /// Where its labels lie.
    pub const fn grid(self) -> Grid {
        match self {
            Self::A4By21 => Grid {
                paper_um: A4,
                label_um: [63_500, 38_100],
                count: [3, 7],
                first_um: [7_250, 15_150],
                step_um: [66_000, 38_100],
            },
            Self::A4By24 => Grid {
                paper_um: A4,
                label_um: [70_000, 37_000],
                count: [3, 8],
                first_um: [0, 500],
                step_um: [70_000, 37_000],
            },
            Self::A4By14 => Grid {
                paper_um: A4,
                label_um: [99_100, 38_100],
                count: [2, 7],
                first_um: [4_650, 15_150],
                step_um: [101_600, 38_100],
            },
            Self::A4By65 => Grid {
                paper_um: A4,
                label_um: [38_100, 21_200],
                count: [5, 13],
                first_um: [4_750, 10_700],
                step_um: [40_600, 21_200],
            },
            Self::LetterBy30 => Grid {
                paper_um: LETTER,
                label_um: [66_675, 25_400],
                count: [3, 10],
                first_um: [4_762, 12_700],
                step_um: [69_850, 25_400],
            },
            Self::LetterBy10 => Grid {
                paper_um: LETTER,
                label_um: [101_600, 50_800],
                count: [2, 5],
                first_um: [3_969, 12_700],
                step_um: [106_362, 50_800],
            },
            Self::Roll62By29 => Grid::single(62, 29),
            Self::Roll57By32 => Grid::single(57, 32),
            Self::Roll40By20 => Grid::single(40, 20),
        }
    }

    /// The named page of the style sheet that it prints on.
    pub const fn page(self) -> &'static str {
        match self {
            Self::A4By21 | Self::A4By24 | Self::A4By14 | Self::A4By65 => "labels-a4",
            Self::LetterBy30 | Self::LetterBy10 => "labels-letter",
            Self::Roll62By29 => "labels-62",
            Self::Roll57By32 => "labels-57",
            Self::Roll40By20 => "labels-40",
        }
    }
}

/// The longest address that labels may begin with, in characters: with a tag behind it, its code
/// still prints in squares that a phone can tell apart on the smallest label.
pub const BASE_LIMIT: usize = 60;

/// Checks the address that the codes of labels begin with: what people open on a phone to reach
/// this service, such as `http://millpond.local:8470`; empty for none. Answers it without a slash
/// at its end, or what to type instead.
pub fn label_base(text: &str) -> Result<String, &'static str> {
    let text = text.trim().trim_end_matches('/');
    if text.is_empty() {
        return Ok(String::new());
    }
    let host = text
        .strip_prefix("http://")
        .or_else(|| text.strip_prefix("https://"));
    let sound = host.is_some_and(|host| {
        let mut parts = host.rsplitn(2, ':');
        let last = parts.next().unwrap_or_default();
        let name = match parts.next() {
            Some(name) if !name.contains(':') || name.ends_with(']') => {
                if last.is_empty() || last.parse::<u16>().is_err() {
                    return false;
                }
                name
            }
            _ => host,
        };
        let name = name
            .strip_prefix('[')
            .and_then(|name| name.strip_suffix(']'))
            .unwrap_or(name);
        !name.is_empty()
            && name
                .bytes()
                .all(|byte| byte.is_ascii_alphanumeric() || b".-:".contains(&byte))
    });
    if !sound {
        Err(
            "Type the address as a phone opens it: http://, the name or number of this machine, and the port, such as http://millpond.local:8470.",
        )
    } else if text.len() > BASE_LIMIT {
        Err("That is too long for a code on a small label. Type at most 60 characters.")
    } else {
        Ok(text.to_owned())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_label_lies_on_its_paper_and_none_on_another() {
        for paper in LabelPaper::ALL {
            let grid = paper.grid();
            let last = grid.at_um(grid.labels() - 1);
            let axes = [0, 1].map(|axis: usize| {
                let [first, step, label] =
                    [grid.first_um, grid.step_um, grid.label_um].map(|it| it[axis]);
                (first, step, label, last[axis] + label, grid.paper_um[axis])
            });
            for (first, step, label, end, paper_um) in axes {
                assert!(first >= 0, "{paper}");
                assert!(step >= label, "{paper}");
                assert!(end <= paper_um, "{paper}: {end}");
                // What is left over is the same on both sides, to a tenth of a millimetre.
                assert!((paper_um - end - first).abs() <= 100, "{paper}: {end}");
            }
        }
    }

    #[test]
    fn an_address_is_taken_as_a_phone_opens_it() {
        for (typed, kept) in [
            ("", ""),
            (
                " http://millpond.local:8470/ ",
                "http://millpond.local:8470",
            ),
            ("https://book.hall", "https://book.hall"),
            ("http://192.168.7.20:8470", "http://192.168.7.20:8470"),
            ("http://[fd00::7]:8470", "http://[fd00::7]:8470"),
            ("http://[fd00::7]", "http://[fd00::7]"),
        ] {
            assert_eq!(label_base(typed).as_deref(), Ok(kept), "{typed}");
        }
        let long = format!("http://{}", "a".repeat(60));
        for wrong in [
            "millpond.local",
            "ftp://millpond.local",
            "http://",
            "http://:8470",
            "http://hall:port",
            "http://hall:99999",
            "http://hall/x",
            "http://ha ll",
            "http://hall?x",
            "http://a@hall",
            long.as_str(),
        ] {
            assert!(label_base(wrong).is_err(), "{wrong}");
        }
    }
}
