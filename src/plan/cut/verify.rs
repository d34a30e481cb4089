//! Checks a plan from its segments alone, without trusting how it was found.

use thiserror::Error;

use super::{CutPlan, End, Fed, Joining, Layout, Problem, Rest, Segment, Source, Stock, Use, Want};

/// What is wrong with a plan.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Error)]
pub enum Flaw {
    /// A layout names a piece or want that there is not.
    #[error("a layout names something that is not in the problem")]
    Unknown,
    /// A piece on hand is cut twice, or more rolls are bought than can be had.
    #[error("{0:?} is used more often than it can be had")]
    UsedTooOften(Source),
    /// Segments leave a gap, overlap, are empty, or don't end where the piece ends.
    #[error("the segments of {0:?} don't fill it")]
    NotTiled(Source),
    /// A piece is cut without giving a bar.
    #[error("{0:?} is cut for nothing")]
    NoBar(Source),
    /// A bar has another length than was wanted.
    #[error("a bar from {0:?} has the wrong length")]
    WrongLength(Source),
    /// A bar is fed at the wrong number of ends, or an end is said to be what it is not.
    #[error("a bar from {0:?} is fed wrongly")]
    WrongFeed(Source),
    /// A rest is called usable or scrap wrongly, or is cut in two for nothing.
    #[error("a rest of {0:?} is named wrongly")]
    WrongRest(Source),
    /// A saw cut is missing, or takes too much.
    #[error("the saw cuts of {0:?} don't agree with the kerf")]
    WrongKerf(Source),
    /// An end is not trimmed, or something else is.
    #[error("the ends of {0:?} are not trimmed as asked")]
    WrongTrim(Source),
    /// Bars cut and bars short are not the bars wanted.
    #[error("cut and short don't add up for want {0}")]
    WrongCount(usize),
    /// A total differs from what the segments say.
    #[error("the stated {0} is not what the segments add up to")]
    WrongTotal(Total),
}

/// A figure stated for the whole plan.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Total {
    /// Money.
    Purchase,
    /// Soldering.
    Solder,
    /// What is left.
    Rest,
}

impl std::fmt::Display for Total {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            Self::Purchase => "purchase",
            Self::Solder => "soldering work",
            Self::Rest => "rest",
        })
    }
}

/// Checks that `plan` is a way to do `problem` and that all its figures follow from its
/// segments. Says nothing about whether it is the best.
pub fn verify(problem: &Problem, plan: &CutPlan) -> Result<(), Flaw> {
    let mut stock_used = vec![0_u32; problem.stock.len()];
    let mut rolls_used = vec![0_u32; problem.rolls.len()];
    let mut made = vec![0_u64; problem.wants.len()];
    let mut purchase = 0_i64;
    let mut solder = 0_u64;
    let mut rest = Rest::default();

    for layout in &plan.layouts {
        let piece = match layout.source {
            Source::Stock(index) => {
                let piece = problem.stock.get(index).ok_or(Flaw::Unknown)?;
                stock_used[index] += 1;
                if stock_used[index] > 1 {
                    return Err(Flaw::UsedTooOften(layout.source));
                }
                piece
            }
            Source::Roll(index) => {
                let roll = problem.rolls.get(index).ok_or(Flaw::Unknown)?;
                rolls_used[index] += 1;
                if roll.quantity.is_some_and(|most| rolls_used[index] > most) {
                    return Err(Flaw::UsedTooOften(layout.source));
                }
                purchase += roll.price_minor;
                &roll.piece
            }
        };
        check_tiles(piece, layout)?;
        let untrimmed = check_trim(problem.trim_units, layout)?;
        check_kerf(problem.kerf_units, layout.source, untrimmed)?;
        for segment in &layout.segments {
            let length = segment.to - segment.from;
            match segment.becomes {
                Use::Bar { want, start, end } => {
                    let wanted = problem.wants.get(want).ok_or(Flaw::Unknown)?;
                    if length != wanted.units {
                        return Err(Flaw::WrongLength(layout.source));
                    }
                    check_feed(piece, segment, wanted, start, end)
                        .ok_or(Flaw::WrongFeed(layout.source))?;
                    made[want] += 1;
                    solder += [start, end]
                        .into_iter()
                        .flatten()
                        .map(|joining| u64::from(problem.weights.of(joining)))
                        .sum::<u64>();
                }
                Use::Offcut if length >= problem.usable_units => {
                    rest.offcuts += 1;
                    rest.squares += u128::from(length) * u128::from(length);
                }
                Use::Scrap if length < problem.usable_units => rest.scrap_units += length,
                Use::Offcut | Use::Scrap => return Err(Flaw::WrongRest(layout.source)),
                Use::Kerf | Use::Trim => {}
            }
        }
    }

    for short in &plan.short {
        *made.get_mut(short.want).ok_or(Flaw::Unknown)? += u64::from(short.quantity);
    }
    for (index, (made, want)) in made.iter().zip(&problem.wants).enumerate() {
        if *made != u64::from(want.quantity) {
            return Err(Flaw::WrongCount(index));
        }
    }
    for (piece, used) in problem.stock.iter().zip(&stock_used) {
        if *used == 0 {
            rest.squares += u128::from(piece.units) * u128::from(piece.units);
        }
    }
    if purchase != plan.purchase_minor {
        return Err(Flaw::WrongTotal(Total::Purchase));
    }
    if solder != plan.solder_work {
        return Err(Flaw::WrongTotal(Total::Solder));
    }
    if rest != plan.rest {
        return Err(Flaw::WrongTotal(Total::Rest));
    }
    Ok(())
}

fn is_rest(segment: &Segment) -> bool {
    matches!(segment.becomes, Use::Offcut | Use::Scrap)
}

fn check_tiles(piece: &Stock, layout: &Layout) -> Result<(), Flaw> {
    let mut at = 0;
    for segment in &layout.segments {
        if segment.from != at || segment.to <= segment.from {
            return Err(Flaw::NotTiled(layout.source));
        }
        at = segment.to;
    }
    if at != piece.units {
        return Err(Flaw::NotTiled(layout.source));
    }
    if !layout
        .segments
        .iter()
        .any(|segment| matches!(segment.becomes, Use::Bar { .. }))
    {
        return Err(Flaw::NoBar(layout.source));
    }
    let mut solid = layout
        .segments
        .iter()
        .filter(|segment| segment.becomes != Use::Kerf)
        .peekable();
    while let Some(segment) = solid.next() {
        if is_rest(segment) && solid.peek().is_some_and(|next| is_rest(next)) {
            return Err(Flaw::WrongRest(layout.source));
        }
    }
    Ok(())
}

/// What lies between the trimmed ends.
fn check_trim(trim: u64, layout: &Layout) -> Result<&[Segment], Flaw> {
    let wrong = Flaw::WrongTrim(layout.source);
    let is_trim = |segment: &Segment| segment.becomes == Use::Trim;
    let right = |segment: &Segment| is_trim(segment) && segment.to - segment.from == trim;
    let between = match layout.segments.as_slice() {
        [first, between @ .., last] if trim > 0 => {
            if !(right(first) && right(last)) {
                return Err(wrong);
            }
            between
        }
        all => all,
    };
    if between.iter().any(is_trim) {
        return Err(wrong);
    }
    Ok(between)
}

/// Between two segments lies one cut, or one and what was too little for another; at the
/// piece's ends at most what was too little for a rest.
fn check_kerf(kerf: u64, source: Source, segments: &[Segment]) -> Result<(), Flaw> {
    let is_kerf = |segment: &Segment| segment.becomes == Use::Kerf;
    let last = segments.len().saturating_sub(1);
    let wrong = Err(Flaw::WrongKerf(source));
    for (index, segment) in segments.iter().enumerate() {
        let next_is_kerf = segments.get(index + 1).is_some_and(is_kerf);
        if is_kerf(segment) {
            let length = segment.to - segment.from;
            let at_an_end = index == 0 || index == last;
            let right = if at_an_end {
                length <= kerf
            } else {
                (kerf..=2 * kerf).contains(&length)
            };
            if next_is_kerf || !right {
                return wrong;
            }
        } else if kerf > 0 && index < last && !next_is_kerf {
            return wrong;
        }
    }
    Ok(())
}

fn check_feed(
    piece: &Stock,
    segment: &Segment,
    wanted: &Want,
    start: Option<Joining>,
    end: Option<Joining>,
) -> Option<()> {
    let fed = usize::from(start.is_some()) + usize::from(end.is_some());
    let right_number = match wanted.fed {
        Fed::OneEnd => fed == 1,
        Fed::BothEnds => fed == 2,
    };
    let lies_on = |at: u64| {
        let leaded =
            (at == 0 && piece.start == End::Lead) || (at == piece.units && piece.end == End::Lead);
        let jointed = piece.joints.is_some_and(|joints| {
            (at + joints.every - joints.offset % joints.every).is_multiple_of(joints.every)
        });
        match (leaded, jointed) {
            (true, _) => Joining::FactoryLead,
            (false, true) => Joining::Joint,
            (false, false) => Joining::Mark,
        }
    };
    let right_kind = start.is_none_or(|joining| joining == lies_on(segment.from))
        && end.is_none_or(|joining| joining == lies_on(segment.to));
    (right_number && right_kind).then_some(())
}
