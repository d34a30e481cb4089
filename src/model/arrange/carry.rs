//! What a step does to a design.

use std::collections::{BTreeMap, BTreeSet, HashSet};

use super::{
    About, Align, ArrangeError, COPIES_LIMIT, FrameBack, Keep, Mirror, Placed, PlacedFrame, Step,
    label::next_label,
    shape::{Bounds, bounds_of, float, mirrored, normal, start_keeping, start_turned},
};
use crate::{
    model::{
        design::{BAR_LIMIT, Bar, Design, Frame},
        id::{BarId, FrameId},
        text::Name,
    },
    units::{Length, SignedLength},
};

/// The next free ids; what is used is counted up.
#[derive(Debug)]
pub struct Ids<'a> {
    /// For a bar.
    pub bar: &'a mut i64,
    /// For a frame.
    pub frame: &'a mut i64,
}

impl Ids<'_> {
    fn bar(&mut self) -> BarId {
        *self.bar += 1;
        BarId(*self.bar - 1)
    }

    fn frame(&mut self) -> FrameId {
        *self.frame += 1;
        FrameId(*self.frame - 1)
    }
}

type Done = Result<(), ArrangeError>;

fn position(um: i64, label: &Name) -> Result<SignedLength, ArrangeError> {
    SignedLength::new(um).map_err(|_| ArrangeError::Beyond(label.clone()))
}

fn put_bar(bar: &mut Bar, (x, y): (i64, i64)) -> Done {
    bar.x_um = position(x, &bar.label)?;
    bar.y_um = position(y, &bar.label)?;
    Ok(())
}

fn put_frame(frame: &mut Frame, (x, y): (i64, i64)) -> Done {
    frame.x_um = position(x, &frame.label)?;
    frame.y_um = position(y, &frame.label)?;
    Ok(())
}

fn bar_of(design: &mut Design, id: BarId) -> Result<&mut Bar, ArrangeError> {
    let found = design.bars.iter_mut().find(|bar| bar.id == id);
    found.ok_or(ArrangeError::NoBar(id))
}

fn frame_of(design: &mut Design, id: FrameId) -> Result<&mut Frame, ArrangeError> {
    let found = design.frames.iter_mut().find(|frame| frame.id == id);
    found.ok_or(ArrangeError::NoFrame(id))
}

/// What a step is about: frames, the bars on them, and other bars.
struct Chosen {
    bars: BTreeSet<BarId>,
    frames: BTreeSet<FrameId>,
}

impl Chosen {
    fn new(design: &Design, bars: &[BarId], frames: &[FrameId]) -> Result<Self, ArrangeError> {
        let known: HashSet<BarId> = design.bars.iter().map(|bar| bar.id).collect();
        if let Some(gone) = bars.iter().find(|id| !known.contains(id)) {
            return Err(ArrangeError::NoBar(*gone));
        }
        for id in frames {
            if design.frames.iter().all(|frame| frame.id != *id) {
                return Err(ArrangeError::NoFrame(*id));
            }
        }
        if bars.is_empty() && frames.is_empty() {
            return Err(ArrangeError::Nothing);
        }
        let frames: BTreeSet<_> = frames.iter().copied().collect();
        let hung = design
            .bars
            .iter()
            .filter(|bar| bar.frame.is_some_and(|frame| frames.contains(&frame)))
            .map(|bar| bar.id);
        Ok(Self {
            bars: bars.iter().copied().chain(hung).collect(),
            frames,
        })
    }

    fn bars<'a>(&self, design: &'a Design) -> impl Iterator<Item = &'a Bar> {
        design.bars.iter().filter(|bar| self.bars.contains(&bar.id))
    }

    fn frames<'a>(&self, design: &'a Design) -> impl Iterator<Item = &'a Frame> {
        let frames = design.frames.iter();
        frames.filter(|frame| self.frames.contains(&frame.id))
    }

    /// Changes each of them.
    fn each(
        &self,
        design: &mut Design,
        mut bar: impl FnMut(&mut Bar) -> Done,
        mut frame: impl FnMut(&mut Frame) -> Done,
    ) -> Done {
        for it in &mut design.bars {
            if self.bars.contains(&it.id) {
                bar(it)?;
            }
        }
        for it in &mut design.frames {
            if self.frames.contains(&it.id) {
                frame(it)?;
            }
        }
        Ok(())
    }

    fn shift(&self, design: &mut Design, dx: i64, dy: i64) -> Done {
        self.each(
            design,
            |bar| {
                let to = (bar.x_um.get() + dx, bar.y_um.get() + dy);
                put_bar(bar, to)
            },
            |frame| {
                let to = (frame.x_um.get() + dx, frame.y_um.get() + dy);
                put_frame(frame, to)
            },
        )
    }
}

impl Step {
    /// Carries the step out. What was refused half way has changed `design`: it is to be thrown
    /// away then.
    pub fn carry_out(&self, design: &mut Design, ids: &mut Ids<'_>) -> Done {
        match self {
            Self::Move {
                bars,
                frames,
                dx_um,
                dy_um,
            } => Chosen::new(design, bars, frames)?.shift(design, dx_um.get(), dy_um.get()),
            Self::Turn {
                bars,
                turn_mdeg,
                about,
            } => turn(design, bars, *turn_mdeg, *about),
            Self::Resize {
                bars,
                length_um,
                keep,
            } => resize(design, bars, *keep, |_| length_um.get()),
            Self::Lengthen { bars, by_um, keep } => {
                resize(design, bars, *keep, |bar| bar.length_um.get() + by_um.get())
            }
            Self::Place { bars, frames } => place(design, bars, frames),
            Self::Copy {
                bars,
                frames,
                copies,
                dx_um,
                dy_um,
            } => {
                if !(1..=COPIES_LIMIT).contains(copies) {
                    return Err(ArrangeError::Copies);
                }
                let chosen = Chosen::new(design, bars, frames)?;
                let made = usize::try_from(*copies).unwrap_or(usize::MAX);
                room(design, chosen.bars.len().saturating_mul(made))?;
                let source = design.clone();
                for copy in 1..=i64::from(*copies) {
                    let new = duplicate(design, &source, &chosen, ids)?;
                    new.shift(design, dx_um.get() * copy, dy_um.get() * copy)?;
                }
                Ok(())
            }
            Self::Add { like, x_um, y_um } => {
                let chosen = Chosen::new(design, &[*like], &[])?;
                room(design, 1)?;
                let source = design.clone();
                let new = duplicate(design, &source, &chosen, ids)?;
                new.each(
                    design,
                    |bar| put_bar(bar, (x_um.get(), y_um.get())),
                    |_| Ok(()),
                )
            }
            Self::Mirror {
                bars,
                frames,
                mirror,
                at_um,
                copy,
            } => {
                let mut chosen = Chosen::new(design, bars, frames)?;
                if *copy {
                    room(design, chosen.bars.len())?;
                    let source = design.clone();
                    chosen = duplicate(design, &source, &chosen, ids)?;
                }
                flip(design, &chosen, *mirror, *at_um)
            }
            Self::Align { bars, frames, to } => align(design, bars, frames, *to),
            Self::Hang { bars, frame } => {
                let chosen = Chosen::new(design, bars, &[])?;
                if let Some(frame) = frame {
                    frame_of(design, *frame)?;
                }
                let hang = |bar: &mut Bar| {
                    bar.frame = *frame;
                    Ok(())
                };
                chosen.each(design, hang, |_| Ok(()))
            }
            Self::Remove { bars, frames } => {
                Chosen::new(design, bars, frames)?;
                design.bars.retain(|bar| !bars.contains(&bar.id));
                design.frames.retain(|frame| !frames.contains(&frame.id));
                for bar in &mut design.bars {
                    bar.frame = bar.frame.filter(|frame| !frames.contains(frame));
                }
                Ok(())
            }
            Self::Restore { bars, at, frames } => restore(design, bars, at, frames, ids),
        }
    }
}

fn turn(design: &mut Design, bars: &[BarId], by: i32, about: About) -> Done {
    if !(-360_000..=360_000).contains(&by) {
        return Err(ArrangeError::Angle);
    }
    let chosen = Chosen::new(design, bars, &[])?;
    let middle = bounds_of(chosen.bars(design), []).map_or((0.0, 0.0), |all| {
        (
            float(all.left + all.right) / 2.0,
            float(all.low + all.high) / 2.0,
        )
    });
    chosen.each(
        design,
        |bar| {
            let angle = normal(normal(bar.angle_mdeg) + by);
            let to = match about {
                About::Middle => start_keeping(bar, 0.5, angle, bar.length_um.get()),
                About::Start => (bar.x_um.get(), bar.y_um.get()),
                About::All => start_turned(bar, by, middle),
            };
            bar.angle_mdeg = angle;
            put_bar(bar, to)
        },
        |_| Ok(()),
    )
}

fn resize(design: &mut Design, bars: &[BarId], keep: Keep, length: impl Fn(&Bar) -> i64) -> Done {
    let part = match keep {
        Keep::Start => 0.0,
        Keep::Middle => 0.5,
        Keep::End => 1.0,
    };
    Chosen::new(design, bars, &[])?.each(
        design,
        |bar| {
            let new = length(bar);
            if new <= bar.shorter_um.get() {
                return Err(ArrangeError::NoLength(bar.label.clone()));
            }
            let long = Length::new(new).map_err(|_| ArrangeError::TooLong(bar.label.clone()))?;
            let to = start_keeping(bar, part, bar.angle_mdeg, new);
            bar.length_um = long;
            put_bar(bar, to)
        },
        |_| Ok(()),
    )
}

fn place(design: &mut Design, bars: &[Placed], frames: &[PlacedFrame]) -> Done {
    if bars.is_empty() && frames.is_empty() {
        return Err(ArrangeError::Nothing);
    }
    for placed in bars {
        let bar = bar_of(design, placed.bar)?;
        (bar.x_um, bar.y_um) = (placed.x_um, placed.y_um);
        bar.angle_mdeg = placed.angle_mdeg;
        if placed.length_um <= bar.shorter_um {
            return Err(ArrangeError::NoLength(bar.label.clone()));
        }
        bar.length_um = placed.length_um;
    }
    for placed in frames {
        let frame = frame_of(design, placed.frame)?;
        (frame.x_um, frame.y_um) = (placed.x_um, placed.y_um);
    }
    Ok(())
}

fn room(design: &Design, added: usize) -> Done {
    let total = design.bars.len().saturating_add(added);
    if total > BAR_LIMIT {
        return Err(ArrangeError::TooMany { added, total });
    }
    Ok(())
}

/// Adds a copy of each where it stands in `source`, and gives the copies.
fn duplicate(
    design: &mut Design,
    source: &Design,
    chosen: &Chosen,
    ids: &mut Ids<'_>,
) -> Result<Chosen, ArrangeError> {
    let mut new = Chosen {
        bars: BTreeSet::new(),
        frames: BTreeSet::new(),
    };
    let mut taken: BTreeSet<String> = design
        .frames
        .iter()
        .map(|it| it.label.to_string())
        .collect();
    let mut copied = BTreeMap::new();
    for frame in chosen.frames(source) {
        let id = ids.frame();
        copied.insert(frame.id, id);
        new.frames.insert(id);
        design.frames.push(Frame {
            id,
            label: next_label(&frame.label, &mut taken)
                .ok_or_else(|| ArrangeError::NoLabel(frame.label.clone()))?,
            thing: None,
            ..frame.clone()
        });
    }
    let mut taken: BTreeSet<String> = design.bars.iter().map(|it| it.label.to_string()).collect();
    for bar in chosen.bars(source) {
        let id = ids.bar();
        new.bars.insert(id);
        design.bars.push(Bar {
            id,
            label: next_label(&bar.label, &mut taken)
                .ok_or_else(|| ArrangeError::NoLabel(bar.label.clone()))?,
            frame: bar
                .frame
                .map(|frame| copied.get(&frame).copied().unwrap_or(frame)),
            fixture: None,
            ..bar.clone()
        });
    }
    Ok(new)
}

fn flip(design: &mut Design, chosen: &Chosen, mirror: Mirror, at_um: Option<SignedLength>) -> Done {
    let all = bounds_of(chosen.bars(design), chosen.frames(design));
    let twice = match (at_um, all, mirror) {
        (Some(at), _, _) => 2 * at.get(),
        (None, Some(all), Mirror::Across) => all.left + all.right,
        (None, Some(all), Mirror::Up) => all.low + all.high,
        (None, None, _) => 0,
    };
    chosen.each(
        design,
        |bar| {
            let (x, y, angle) = mirrored(bar, mirror, twice);
            bar.angle_mdeg = angle;
            put_bar(bar, (x, y))
        },
        |frame| {
            let it = Bounds::of_frame(frame);
            let to = match mirror {
                Mirror::Across => (twice - it.right, it.low),
                Mirror::Up => (it.left, twice - it.high),
            };
            put_frame(frame, to)
        },
    )
}

/// `num / den` to the nearest whole number, halves away from nought; `den` is above zero.
const fn div_round(num: i64, den: i64) -> i64 {
    let half = if num < 0 { -den } else { den };
    (2 * num + half) / (2 * den)
}

fn align(design: &mut Design, bars: &[BarId], frames: &[FrameId], to: Align) -> Done {
    let chosen = Chosen::new(design, bars, frames)?;
    // A frame moves as one with what hangs on it.
    let mut blocks: Vec<(Chosen, Bounds)> = Vec::new();
    for frame in chosen.frames(design) {
        blocks.push((
            Chosen::new(design, &[], &[frame.id])?,
            Bounds::of_frame(frame),
        ));
    }
    for bar in chosen.bars(design) {
        if bar
            .frame
            .is_none_or(|frame| !chosen.frames.contains(&frame))
        {
            blocks.push((Chosen::new(design, &[bar.id], &[])?, Bounds::of_bar(bar)));
        }
    }
    let spread = matches!(to, Align::SpreadAcross | Align::SpreadUp);
    let least = if spread { 3 } else { 2 };
    if blocks.len() < least {
        return Err(ArrangeError::TooFew(least));
    }
    let across = |it: &Bounds| it.left + it.right;
    let up = |it: &Bounds| it.low + it.high;
    let all = blocks.iter().map(|(_, it)| *it).reduce(Bounds::with);
    let Some(all) = all else { return Ok(()) };
    let moves: Vec<(i64, i64)> = match to {
        Align::Left => blocks
            .iter()
            .map(|(_, it)| (all.left - it.left, 0))
            .collect(),
        Align::Right => blocks
            .iter()
            .map(|(_, it)| (all.right - it.right, 0))
            .collect(),
        Align::Top => blocks
            .iter()
            .map(|(_, it)| (0, all.high - it.high))
            .collect(),
        Align::Bottom => blocks.iter().map(|(_, it)| (0, all.low - it.low)).collect(),
        Align::CentreAcross => {
            let move_of = |it| (div_round(across(&all) - across(it), 2), 0);
            blocks.iter().map(|(_, it)| move_of(it)).collect()
        }
        Align::CentreUp => {
            let move_of = |it| (0, div_round(up(&all) - up(it), 2));
            blocks.iter().map(|(_, it)| move_of(it)).collect()
        }
        Align::SpreadAcross => {
            blocks.sort_by_key(|(_, it)| across(it));
            let middles: Vec<i64> = blocks.iter().map(|(_, it)| across(it)).collect();
            even(&middles).into_iter().map(|dx| (dx, 0)).collect()
        }
        Align::SpreadUp => {
            blocks.sort_by_key(|(_, it)| up(it));
            let middles: Vec<i64> = blocks.iter().map(|(_, it)| up(it)).collect();
            even(&middles).into_iter().map(|dy| (0, dy)).collect()
        }
    };
    for ((block, _), (dx, dy)) in blocks.iter().zip(moves) {
        block.shift(design, dx, dy)?;
    }
    Ok(())
}

/// How far each of these sorted (doubled) middles is moved so that the steps between them are
/// even; the first and the last stay.
fn even(doubled: &[i64]) -> Vec<i64> {
    let (Some(first), Some(last)) = (doubled.first(), doubled.last()) else {
        return Vec::new();
    };
    let gaps = i64::try_from(doubled.len()).unwrap_or(i64::MAX) - 1;
    (0..)
        .zip(doubled)
        .map(|(at, middle)| {
            div_round(
                (last - first) * at - (middle - first) * gaps,
                2 * gaps.max(1),
            )
        })
        .collect()
}

fn restore(
    design: &mut Design,
    bars: &[Bar],
    at: &[usize],
    frames: &[FrameBack],
    ids: &mut Ids<'_>,
) -> Done {
    if bars.is_empty() && frames.is_empty() {
        return Err(ArrangeError::Nothing);
    }
    room(design, bars.len())?;
    let mut back = BTreeMap::new();
    for old in frames {
        let id = ids.frame();
        back.insert(old.frame.id, id);
        design.frames.push(Frame {
            id,
            ..old.frame.clone()
        });
        for bar in &old.bars {
            bar_of(design, *bar)?.frame = Some(id);
        }
    }
    for (n, bar) in bars.iter().enumerate() {
        let frame = bar
            .frame
            .map(|frame| back.get(&frame).copied().unwrap_or(frame));
        let last = design.bars.len();
        let new = Bar {
            id: ids.bar(),
            frame,
            ..bar.clone()
        };
        design
            .bars
            .insert(at.get(n).map_or(last, |at| last.min(*at)), new);
    }
    Ok(())
}

#[cfg(test)]
mod tests;
