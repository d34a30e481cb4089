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
/// Sizes of letters that are tried between the largest and the smallest.
const STEPS: i64 = 6;
/// More lines than any label has room for.
const MOST_LINES: i64 = 60;
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
    let (tag, name) = tag_lines(&label.tag, wide, room * 0.42);
    let mut y = top + MARGIN - tag * 0.15;
    for part in name {
        y += tag;
        text(svg, "label-tag", x, y, tag, &part);
    }
    y += tag * 0.25;
    let left_over = top + height - MARGIN - y;
    let most = (room * 0.13).min(tag * 0.8).max(LEAST);
    let (size, lines) = fitted(&label.lines, wide, left_over, most);
    for part in lines {
        y += size * 1.15;
        text(svg, "label-line", x, y - size * 0.15, size, &part);
    }
}

/// The tag as large as it may be, on two lines where that is larger: the name of a place is several
/// words.
fn tag_lines(tag: &str, wide: f64, most: f64) -> (f64, Vec<String>) {
    let longest = |lines: &[String]| lines.iter().map(|line| letters(line)).fold(1.0, f64::max);
    let one = vec![tag.to_owned()];
    let size = most.min(wide / (letters(tag) * WIDE));
    let two = (1..=tag.chars().count())
        .map(|at| fold(tag, float(i64::try_from(at).unwrap_or(i64::MAX))))
        .find(|lines| lines.len() <= 2 && !lines.iter().any(|line| line.ends_with('…')));
    let Some(two) = two.filter(|lines| lines.len() == 2) else {
        return (size, one);
    };
    let smaller = (most / 2.0).min(wide / (longest(&two) * WIDE));
    if smaller > size {
        (smaller, two)
    } else {
        (size, one)
    }
}

/// Lines folded to the room there is, in the largest letters in which all of them fit. What does not
/// fit even in the smallest is cut off, and says so.
fn fitted(lines: &[String], wide: f64, high: f64, most: f64) -> (f64, Vec<String>) {
    let folded = |size: f64| -> Vec<String> {
        let lines = lines.iter();
        lines
            .flat_map(|line| fold(line, wide / (size * USUAL)))
            .collect()
    };
    let room = |size: f64| {
        (1..=MOST_LINES)
            .take_while(|n| float(*n) * size * 1.15 <= high)
            .count()
    };
    for step in 0..STEPS {
        let size = most - (most - LEAST) * float(step) / float(STEPS);
        let parts = folded(size);
        if parts.len() <= room(size) && !parts.iter().any(|part| part.ends_with('…')) {
            return (size, parts);
        }
    }
    let mut parts = folded(LEAST);
    let fit = room(LEAST);
    if parts.len() > fit {
        parts.truncate(fit);
        if let Some(last) = parts.last_mut() {
            *last = cut_off(last, wide / (LEAST * USUAL));
        }
    }
    (LEAST, parts)
}

/// A line that goes on where nobody sees it.
fn cut_off(line: &str, most: f64) -> String {
    let mut kept = line.trim_end_matches([',', ';', '…', ' ']).to_owned();
    while letters(&kept) + 1.0 > most && kept.chars().count() > 1 {
        kept.pop();
    }
    format!("{}…", kept.trim_end_matches([',', ';', ' ']))
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
    fn text_shrinks_to_fit_and_what_is_cut_off_says_so() {
        let lines = [
            "24 V, 1.2 m".to_owned(),
            "Tunable white tape, diffused".to_owned(),
        ];
        let (large, all) = fitted(&lines, 60.0, 30.0, 4.0);
        assert_eq!(all.join(" "), lines.join(" "));
        let (small, all) = fitted(&lines, 24.0, 9.0, 4.0);
        assert!(small < large);
        assert_eq!(all.join(" "), lines.join(" "));
        let (_, cut) = fitted(&lines, 24.0, 6.0, 4.0);
        assert_eq!(cut, ["24 V, 1.2 m", "Tunable white…"]);
        assert_eq!(cut_off("white 24 V,", 20.0), "white 24 V…");
    }

    #[test]
    fn the_name_of_a_place_is_larger_than_what_stands_under_it() {
        let (one, _) = tag_lines("F-12", 40.0, 8.0);
        let (size, name) = tag_lines("Small parts box in the loft", 40.0, 8.0);
        assert_eq!(name, ["Small parts box", "in the loft"]);
        assert!(size < one && size > 40.0 / (27.0 * WIDE));
    }

    #[test]
    fn long_words_are_folded_between_words_and_at_last_cut_off() {
        assert_eq!(fold("red green blue", 9.0), ["red green", "blue"]);
        assert_eq!(fold("tape 24 V, 10 mm", 9.0), ["tape", "24 V,", "10 mm"]);
        assert_eq!(fold("warmwhitewarm", 6.0), ["warmw…"]);
        assert_eq!(fold("", 6.0), Vec::<String>::new());
    }
}
