//! What is cut from one piece is one cut.
//!
//! A piece is planned range by range: where another set holds its middle, its two ends are solved as
//! if they were two pieces. At the bench it is one, with one marked end that everything is counted from.

use std::collections::BTreeMap;

use super::outcome::{BarPlan, CutSegment, CutSource, From, PieceCut, Serve};
use crate::model::id::ThingId;

/// The cuts with one for each piece, its segments in order from the marked end, and where each segment
/// is now that was somewhere else; what is bought stays as it is, roll by roll.
pub fn one_each(cuts: Vec<PieceCut>) -> (Vec<PieceCut>, BTreeMap<(usize, usize), From>) {
    let mut of_piece: BTreeMap<ThingId, usize> = BTreeMap::new();
    let mut whole: Vec<PieceCut> = Vec::new();
    let mut laid: Vec<Vec<(CutSegment, (usize, usize))>> = Vec::new();
    for (number, cut) in cuts.into_iter().enumerate() {
        let segments = cut.segments.iter().cloned().enumerate();
        let segments = segments.map(|(at, segment)| (segment, (number, at)));
        let known = match &cut.source {
            CutSource::Piece { thing, .. } => Some(*of_piece.entry(*thing).or_insert(whole.len())),
            CutSource::Buy { .. } => None,
        };
        if let Some(earlier) = known.and_then(|at| laid.get_mut(at)) {
            earlier.extend(segments);
        } else {
            laid.push(segments.collect());
            whole.push(cut);
        }
    }
    let mut moved = BTreeMap::new();
    for (number, (cut, mut segments)) in whole.iter_mut().zip(laid).enumerate() {
        segments.sort_by_key(|(segment, _)| segment.from);
        for (at, (_, was)) in segments.iter().enumerate() {
            let now = From {
                cut: number,
                segment: at,
            };
            moved.insert(*was, now);
        }
        cut.segments = segments.into_iter().map(|(segment, _)| segment).collect();
    }
    (whole, moved)
}

/// The same, and the bars say where theirs are now.
pub(super) fn one_each_for(cuts: Vec<PieceCut>, bars: &mut [BarPlan]) -> Vec<PieceCut> {
    let (cuts, moved) = one_each(cuts);
    let follow = |from: &mut From| {
        if let Some(now) = moved.get(&(from.cut, from.segment)) {
            *from = *now;
        }
    };
    for bar in bars {
        if let Serve::Build(build) = &mut bar.serve {
            follow(&mut build.tape_from);
            if let Some((_, from)) = &mut build.profile {
                follow(from);
            }
        }
    }
    cuts
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{
        model::{
            id::{BarId, PartId},
            text::Tag,
        },
        plan::outcome::{Becomes, Joint},
        units::Length,
    };

    fn piece(thing: i64, segments: &[(i64, i64, Option<i64>)]) -> PieceCut {
        PieceCut {
            part: PartId(1),
            source: CutSource::Piece {
                thing: ThingId(thing),
                tag: Tag::parse(&format!("R-{thing}")).unwrap(),
            },
            amount: 50,
            segments: (segments.iter())
                .map(|&(from, to, bar)| CutSegment {
                    from,
                    to,
                    becomes: bar.map_or(Becomes::Offcut, |bar| Becomes::Bar {
                        bar: BarId(bar),
                        start: Joint::None,
                        end: Joint::None,
                    }),
                })
                .collect(),
        }
    }

    #[test]
    fn the_two_ends_of_a_roll_whose_middle_is_held_are_one_cut_from_its_marked_end() {
        let roll = PieceCut {
            source: CutSource::Buy {
                offer: None,
                roll_um: Length::ZERO,
                nth: 1,
            },
            ..piece(9, &[(0, 50, Some(4))])
        };
        let cuts = vec![
            piece(1, &[(40, 50, Some(1))]),
            roll.clone(),
            piece(2, &[(0, 5, Some(2))]),
            piece(1, &[(0, 17, Some(3)), (17, 20, None)]),
            roll,
        ];
        let (whole, moved) = one_each(cuts.clone());
        assert_eq!(whole.len(), 4, "rolls to buy stay roll by roll");
        let ranges = |cut: &PieceCut| -> Vec<(i64, i64)> {
            let segments = cut.segments.iter();
            segments.map(|segment| (segment.from, segment.to)).collect()
        };
        assert_eq!(ranges(&whole[0]), [(0, 17), (17, 20), (40, 50)]);
        // Each segment is found again, by who had noted where it was.
        for (number, cut) in cuts.iter().enumerate() {
            for (at, segment) in cut.segments.iter().enumerate() {
                let now = moved[&(number, at)];
                assert_eq!(&whole[now.cut].segments[now.segment], segment);
                assert_eq!(whole[now.cut].source, cut.source);
            }
        }
    }
}
