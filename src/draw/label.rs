//! Labels on their paper, drawn to scale in millimetres: the code at the left, the tag in big
//! letters, what it is below it.

use super::{Anchor, Svg, float, qr};
use crate::model::label::{Grid, LabelPaper};

/// One label.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Label {
    /// In big letters.
    pub tag: String,
    /// Below it, the most telling first; as many are printed as there is room for.
    pub lines: Vec<String>,
    /// What its code holds.
    pub address: String,
}

/// Clear of every edge of a label, in mm: printers shift by as much.
const MARGIN: f64 = 2.0;
/// Smallest letters of a line, in mm from base line to base line.
const LEAST: f64 = 2.4;
/// Widths of letters in their size, on the safe side: capitals and digits of a bold face, and text.
const WIDE: f64 = 0.72;
const USUAL: f64 = 0.56;
/// The size that letters have in the style sheet, scaled to what fits.
const LETTER: f64 = 10.0;

/// Papers of labels, from a place on the first one on (0 for its first label): each as an SVG
/// element of its true size.
pub fn papers(paper: LabelPaper, skipped: usize, labels: &[Label]) -> Vec<String> {
    let grid = paper.grid();
    let each = grid.labels();
    let skipped = skipped % each;
    let number = (skipped + labels.len()).div_ceil(each);
    (0..number)
        .map(|page| {
            let title = format!("Labels, paper {} of {number}", page + 1);
            let mut svg = Svg::paper(&title, mm(grid.paper_um[0]), mm(grid.paper_um[1]));
            for place in 0..each {
                let at = page * each + place;
                if let Some(label) = at.checked_sub(skipped).and_then(|at| labels.get(at)) {
                    draw(&mut svg, &grid, place, label);
                }
            }
            svg.finish()
        })
        .collect()
}

fn mm(um: i64) -> f64 {
    float(um) / 1_000.0
}

fn draw(svg: &mut Svg, grid: &Grid, place: usize, label: &Label) {
    let [left, top] = grid.at_um(place).map(mm);
    let [width, height] = grid.label_um.map(mm);
    let mut x = left + MARGIN;
    let room = height - 2.0 * MARGIN;
    if let Some(code) = qr::code(&label.address) {
        let side = room.min(width * 0.45);
        svg.scaled(
            x,
            top + (height - side) / 2.0,
            side / float(i64::try_from(code.side).unwrap_or(i64::MAX)),
        );
        svg.path("label-code", &code.path);
        svg.end();
        x += side;
    }
    let wide = left + width - MARGIN - x;
    let tag = (room * 0.42).min(wide / (letters(&label.tag) * WIDE));
    let mut y = top + MARGIN + tag * 0.85;
    text(svg, "label-tag", x, y, tag, &label.tag);
    y += tag * 0.25;
    let left_over = top + height - MARGIN - y;
    let size = (left_over / float(i64::try_from(label.lines.len()).unwrap_or(1).max(1)) / 1.15)
        .min(room * 0.13)
        .max(LEAST);
    for line in &label.lines {
        for part in fold(line, wide / (size * USUAL)) {
            y += size * 1.15;
            if y > top + height - MARGIN {
                return;
            }
            text(svg, "label-line", x, y - size * 0.15, size, &part);
        }
    }
}

fn text(svg: &mut Svg, class: &str, x: f64, y: f64, size: f64, words: &str) {
    svg.scaled(x, y, size / LETTER);
    svg.text(class, 0.0, 0.0, Anchor::Start, words);
    svg.end();
}

fn letters(text: &str) -> f64 {
    float(i64::try_from(text.chars().count().max(1)).unwrap_or(i64::MAX))
}

fn is_figure(word: &str) -> bool {
    word.ends_with(|c: char| c.is_ascii_digit())
}

fn is_unit(word: &str) -> bool {
    let letters = word.trim_end_matches(',');
    letters.len() <= 2 && letters.bytes().all(|byte| byte.is_ascii_alphabetic())
}

/// A line in pieces of at most so many letters, parted between words; a longer word is cut off.
fn fold(line: &str, most: f64) -> Vec<String> {
    let mut folded: Vec<String> = Vec::new();
    let mut words: Vec<String> = Vec::new();
    for word in line.split_whitespace() {
        match words.last_mut() {
            // A figure stays with its unit.
            Some(last) if is_figure(last) && is_unit(word) => {
                last.push(' ');
                last.push_str(word);
            }
            _ => words.push(word.to_owned()),
        }
    }
    for word in words {
        match folded.last_mut() {
            Some(last) if letters(last) + 1.0 + letters(&word) <= most => {
                last.push(' ');
                last.push_str(&word);
            }
            _ => {
                let mut word = word;
                while letters(&word) > most && word.chars().count() > 2 {
                    word.pop();
                    word.pop();
                    word.push('…');
                }
                folded.push(word);
            }
        }
    }
    folded
}

#[cfg(test)]
mod tests {
    use super::*;

    fn label(tag: &str) -> Label {
        Label {
            tag: tag.to_owned(),
            lines: vec![
                "1.2 m, red green blue".to_owned(),
                "Millpond Hall".to_owned(),
            ],
            address: format!("http://millpond.local:8470/tag/{tag}"),
        }
    }

    #[test]
    fn labels_begin_where_the_paper_still_has_some_and_go_on_over_the_next() {
        let labels: Vec<Label> = (1..=20).map(|at| label(&format!("F-{at}"))).collect();
        let papers = papers(LabelPaper::A4By21, 5, &labels);
        let seen: Vec<usize> = papers
            .iter()
            .map(|svg| svg.matches("label-tag").count())
            .collect();
        assert_eq!(seen, [16, 4]);
        assert!(papers[0].contains("width=\"210mm\" height=\"297mm\""));
        assert!(papers[0].contains(">F-1<") && papers[1].contains(">F-17<"));
    }

    #[test]
    fn every_paper_shows_the_tag_and_the_code_whole_and_what_it_is_where_there_is_room() {
        for paper in LabelPaper::ALL {
            let papers = papers(*paper, 0, &[label("F-1234")]);
            assert_eq!(papers.len(), 1, "{paper}");
            assert!(papers[0].contains(">F-1234<"), "{paper}");
            assert!(papers[0].contains("label-code"), "{paper}");
            assert!(papers[0].contains(">1.2 m"), "{paper}");
        }
    }

    #[test]
    fn long_words_are_folded_between_words_and_at_last_cut_off() {
        assert_eq!(fold("red green blue", 9.0), ["red green", "blue"]);
        assert_eq!(fold("tape 24 V, 10 mm", 9.0), ["tape", "24 V,", "10 mm"]);
        assert_eq!(fold("warmwhitewarm", 6.0), ["warmw…"]);
        assert_eq!(fold("", 6.0), Vec::<String>::new());
    }
}
