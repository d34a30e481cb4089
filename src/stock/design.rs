//! Describing a set: the edits, checked one by one and stored together.
//!
//! An edit changes a [`Design`] as a value; what differs is then stored. A draft is stored at
//! once. For a reserved set the edited design is planned again, and design, plan and holds change
//! together or not at all ([`super::reserve`]).

use std::collections::{BTreeSet, HashMap, HashSet};

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::{Act, Begun, StockError, reserve};
use crate::{
    db::{self, DbError, Refusal, design::LimitReason, design::NextIds},
    model::{
        arrange::{FrameBack, Ids, Placed, PlacedFrame, Step, next_label},
        design::{BAR_LIMIT, Bar, Choices, Design, Extra, Frame, LeftAlone, NotFrom, State},
        id::{BarId, DesignId, ExtraId, FrameId, SupplierId, ThingId},
        text::{Name, Note},
    },
    units::{Length, Money, ShowDates, SignedLength},
};

/// The longest word for a control group or a driver's place, in characters.
pub const WORD_LIMIT: usize = 120;
/// The most of one extra line, in pieces or micrometres.
pub const EXTRA_LIMIT: i64 = Length::MAX;
/// The longest reason for a broken limit, in characters.
pub const REASON_LIMIT: usize = 400;

/// What a design is apart from its frames, bars and extra lines.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Basics {
    /// Name.
    pub name: Name,
    /// Build day, get-in, strike.
    pub dates: ShowDates,
    /// Budget, if there is one.
    pub budget_minor: Option<Money>,
    /// Notes.
    pub note: Note,
    /// Parts to use throughout.
    pub choices: Choices,
}

/// One edit. Ids of what is added are given when it is stored; what stands in them is not read.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(tag = "edit", content = "with", rename_all = "snake_case")]
pub enum Edit {
    /// Name, dates, budget, notes, parts to use throughout.
    Basics(Basics),
    /// Adds bars at the end.
    AddBars(Vec<Bar>),
    /// Changes bars.
    ChangeBars(Vec<Bar>),
    /// Removes bars.
    RemoveBars(Vec<BarId>),
    /// Puts the bars into this order; bars not named follow in the order that they had.
    Reorder(Vec<BarId>),
    /// Chooses the fixture that serves a bar, or leaves it to the plan.
    Pick {
        /// The bar.
        bar: BarId,
        /// The fixture.
        fixture: Option<ThingId>,
    },
    /// Moves a bar in the elevation.
    MoveBar {
        /// The bar.
        bar: BarId,
        /// Left end, from the left.
        x_um: SignedLength,
        /// Left end, above the floor.
        y_um: SignedLength,
        /// Turned counter-clockwise, in thousandths of a degree.
        angle_mdeg: i32,
    },
    /// Arranges bars and frames in the elevation, step after step.
    Arrange(Vec<Step>),
    /// Adds a frame.
    AddFrame(Frame),
    /// Changes a frame.
    ChangeFrame(Frame),
    /// Removes a frame; its bars stay, on no frame.
    RemoveFrame(FrameId),
    /// Adds an extra line.
    AddExtra(Extra),
    /// Changes an extra line.
    ChangeExtra(Extra),
    /// Removes an extra line.
    RemoveExtra(ExtraId),
    /// Leaves a roll, an offcut or a fixture alone; or changes why.
    LeaveAlone(LeftAlone),
    /// The plan may take it again.
    MayTake(ThingId),
    /// Buys nothing from a supplier; or changes why.
    BuyNotFrom(NotFrom),
    /// The plan may buy there again.
    MayBuyFrom(SupplierId),
}

/// What an edit did.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Edited {
    /// The design.
    pub design: DesignId,
    /// Its version from now on.
    pub version: i64,
    /// Bars that were added, in their order.
    pub added: Vec<BarId>,
    /// Frames that were added, in their order.
    #[serde(default)]
    pub added_frames: Vec<FrameId>,
    /// Bars that were taken out, as they were.
    #[serde(default)]
    pub removed: Vec<Bar>,
    /// Where each of these stood among the set's bars, counted from 0.
    #[serde(default)]
    pub removed_at: Vec<usize>,
    /// Frames that were taken out, as they were.
    #[serde(default)]
    pub removed_frames: Vec<Frame>,
    /// Bars that were changed, as they were.
    #[serde(default)]
    pub changed: Vec<Bar>,
    /// Frames that were changed, as they were.
    #[serde(default)]
    pub changed_frames: Vec<Frame>,
    /// What changed in plan and holds of a reserved set, in words.
    pub differences: Vec<String>,
}

fn field(field: &str, message: impl Into<String>) -> StockError {
    StockError::Field {
        field: field.to_owned(),
        message: message.into(),
    }
}

impl Edit {
    /// Carries the edit out on a design as a value.
    pub fn apply(&self, design: &mut Design, next: &mut NextIds) -> Result<(), StockError> {
        match self {
            Self::Basics(basics) => basics.put_into(design),
            Self::AddBars(bars) => {
                if design.bars.len() + bars.len() > BAR_LIMIT {
                    return Err(field(
                        "count",
                        format!(
                            "A set has at most {BAR_LIMIT} bars; this one has {} already. \
                             Add fewer.",
                            design.bars.len()
                        ),
                    ));
                }
                for bar in bars {
                    let mut bar = bar.clone();
                    bar.id = BarId(next.bar);
                    next.bar += 1;
                    check_bar(design, &bar)?;
                    design.bars.push(bar);
                }
            }
            Self::ChangeBars(bars) => {
                for bar in bars {
                    let at = bar_at(design, bar.id)?;
                    design.bars[at] = bar.clone();
                }
                for bar in bars {
                    check_bar(design, bar)?;
                }
            }
            Self::RemoveBars(bars) => {
                for bar in bars {
                    let at = bar_at(design, *bar)?;
                    design.bars.remove(at);
                }
            }
            Self::Reorder(order) => {
                for bar in order {
                    bar_at(design, *bar)?;
                }
                design.bars.sort_by_key(|bar| {
                    order
                        .iter()
                        .position(|id| *id == bar.id)
                        .unwrap_or(usize::MAX)
                });
            }
            Self::Pick { bar, fixture } => {
                let at = bar_at(design, *bar)?;
                if let Some(fixture) = fixture
                    && let Some(other) = design
                        .bars
                        .iter()
                        .find(|other| other.fixture == Some(*fixture) && other.id != *bar)
                {
                    return Err(field(
                        "fixture",
                        format!("This fixture is chosen for bar {} already.", other.label),
                    ));
                }
                design.bars[at].fixture = *fixture;
                let bar = design.bars[at].clone();
                check_bar(design, &bar)?;
            }
            Self::MoveBar {
                bar,
                x_um,
                y_um,
                angle_mdeg,
            } => {
                let at = bar_at(design, *bar)?;
                let bar = &mut design.bars[at];
                (bar.x_um, bar.y_um, bar.angle_mdeg) = (*x_um, *y_um, *angle_mdeg);
                let bar = bar.clone();
                check_bar(design, &bar)?;
            }
            Self::Arrange(steps) => {
                for (at, step) in steps.iter().enumerate() {
                    arrange(step, design, next).map_err(|why| under_step(at, why))?;
                }
            }
            Self::AddFrame(frame) => {
                let mut frame = frame.clone();
                frame.id = FrameId(next.frame);
                next.frame += 1;
                check_frame(design, &frame)?;
                design.frames.push(frame);
            }
            Self::ChangeFrame(frame) => {
                check_frame(design, frame)?;
                let at = frame_at(design, frame.id)?;
                design.frames[at] = frame.clone();
            }
            Self::RemoveFrame(id) => {
                let at = frame_at(design, *id)?;
                design.frames.remove(at);
                for bar in &mut design.bars {
                    bar.frame = bar.frame.filter(|frame| frame != id);
                }
            }
            Self::AddExtra(extra) => {
                let mut extra = extra.clone();
                extra.id = ExtraId(next.extra);
                next.extra += 1;
                check_extra(&extra)?;
                design.extras.push(extra);
            }
            Self::ChangeExtra(extra) => {
                check_extra(extra)?;
                let at = extra_at(design, extra.id)?;
                design.extras[at] = extra.clone();
            }
            Self::RemoveExtra(id) => {
                let at = extra_at(design, *id)?;
                design.extras.remove(at);
            }
            Self::LeaveAlone(left) => {
                if let Some(bar) = design.bars.iter().find(|it| it.fixture == Some(left.thing)) {
                    return Err(field(
                        "thing",
                        format!(
                            "This fixture is chosen for bar {}. Let the plan choose there first.",
                            bar.label
                        ),
                    ));
                }
                design.left_alone.retain(|it| it.thing != left.thing);
                design.left_alone.push(left.clone());
                design.left_alone.sort_by_key(|it| it.thing);
            }
            Self::MayTake(thing) => {
                let at = design.left_alone.iter().position(|it| it.thing == *thing);
                let at = at.ok_or(StockError::NotFound("thing that is left alone"))?;
                design.left_alone.remove(at);
            }
            Self::BuyNotFrom(from) => {
                design.not_from.retain(|it| it.supplier != from.supplier);
                design.not_from.push(from.clone());
                design.not_from.sort_by_key(|it| it.supplier);
            }
            Self::MayBuyFrom(supplier) => {
                let at = design
                    .not_from
                    .iter()
                    .position(|it| it.supplier == *supplier);
                let at = at.ok_or(StockError::NotFound("supplier that is left out"))?;
                design.not_from.remove(at);
            }
        }
        Ok(())
    }
}

/// Carries a step of arranging out, and checks what it touched.
fn arrange(step: &Step, design: &mut Design, next: &mut NextIds) -> Result<(), StockError> {
    let (bars, frames) = (design.bars.clone(), design.frames.clone());
    let mut ids = Ids {
        bar: &mut next.bar,
        frame: &mut next.frame,
    };
    step.carry_out(design, &mut ids)
        .map_err(|why| field(why.field(step), why.to_string()))?;
    let before: HashMap<BarId, &Bar> = bars.iter().map(|bar| (bar.id, bar)).collect();
    for bar in &design.bars {
        if before.get(&bar.id) != Some(&bar) {
            check_bar(design, bar)?;
        }
    }
    for frame in design.frames.iter().filter(|it| !frames.contains(it)) {
        check_frame(design, frame)?;
    }
    Ok(())
}

/// What is wrong with a step stands under it.
fn under_step(at: usize, why: StockError) -> StockError {
    match why {
        StockError::Field { field, message } => StockError::Field {
            field: format!("steps.{at}.{field}"),
            message,
        },
        why => why,
    }
}

impl Basics {
    /// What a design has now.
    pub fn of(design: &Design) -> Self {
        Self {
            name: design.name.clone(),
            dates: design.dates,
            budget_minor: design.budget_minor,
            note: design.note.clone(),
            choices: design.choices.clone(),
        }
    }

    fn put_into(&self, design: &mut Design) {
        design.name = self.name.clone();
        design.dates = self.dates;
        design.budget_minor = self.budget_minor;
        design.note = self.note.clone();
        design.choices = self.choices.clone();
    }
}

fn bar_at(design: &Design, id: BarId) -> Result<usize, StockError> {
    design
        .bars
        .iter()
        .position(|bar| bar.id == id)
        .ok_or(StockError::NotFound("bar"))
}

fn frame_at(design: &Design, id: FrameId) -> Result<usize, StockError> {
    design
        .frames
        .iter()
        .position(|frame| frame.id == id)
        .ok_or(StockError::NotFound("frame in this set"))
}

fn extra_at(design: &Design, id: ExtraId) -> Result<usize, StockError> {
    design
        .extras
        .iter()
        .position(|extra| extra.id == id)
        .ok_or(StockError::NotFound("extra line"))
}

/// What single fields of a bar cannot check: that they agree with each other and the design.
fn check_bar(design: &Design, bar: &Bar) -> Result<(), StockError> {
    let label = &bar.label;
    if design
        .bars
        .iter()
        .any(|other| other.label == *label && other.id != bar.id)
    {
        return Err(field(
            "label",
            format!("This set has a bar {label} already; choose another label."),
        ));
    }
    if bar.length_um == Length::ZERO {
        return Err(field(
            "length_um",
            format!("Bar {label} has no length; type one above zero, such as 1200 mm."),
        ));
    }
    if let Some(fixture) = bar.fixture
        && design.left_alone.iter().any(|it| it.thing == fixture)
    {
        return Err(field(
            "fixture",
            format!(
                "The fixture chosen for bar {label} is left alone in this set. Allow it first, or \
                 choose another."
            ),
        ));
    }
    if bar.shorter_um >= bar.length_um {
        return Err(field(
            "shorter_um",
            format!(
                "Bar {label} cannot be that much shorter: nothing would be left of it. Type less."
            ),
        ));
    }
    if bar
        .frame
        .is_some_and(|id| design.frames.iter().all(|frame| frame.id != id))
    {
        return Err(field(
            "frame",
            format!("Bar {label} is to hang on a frame that this set does not have."),
        ));
    }
    for (name, text) in [("group", &bar.group), ("feed_place", &bar.feed_place)] {
        if text.chars().count() > WORD_LIMIT {
            return Err(field(
                name,
                format!("Type at most {WORD_LIMIT} characters for bar {label}."),
            ));
        }
        if text.chars().any(char::is_control) {
            return Err(field(
                name,
                format!("Bar {label} holds a character that cannot be printed. Remove it."),
            ));
        }
    }
    if !(-360_000..=360_000).contains(&bar.angle_mdeg) {
        return Err(field(
            "angle_mdeg",
            format!("Turn bar {label} by −360 to 360 degrees."),
        ));
    }
    Ok(())
}

fn check_frame(design: &Design, frame: &Frame) -> Result<(), StockError> {
    if design
        .frames
        .iter()
        .any(|other| other.label == frame.label && other.id != frame.id)
    {
        return Err(field(
            "label",
            format!(
                "This set has a frame {} already; choose another label.",
                frame.label
            ),
        ));
    }
    if let Some(thing) = frame.thing
        && let Some(other) = design
            .frames
            .iter()
            .find(|other| other.thing == Some(thing) && other.id != frame.id)
    {
        return Err(field(
            "thing",
            format!("That frame serves as {} already.", other.label),
        ));
    }
    Ok(())
}

fn check_extra(extra: &Extra) -> Result<(), StockError> {
    if (1..=EXTRA_LIMIT).contains(&extra.amount) {
        Ok(())
    } else {
        Err(field(
            "amount",
            format!("Type an amount from 1 to {EXTRA_LIMIT}."),
        ))
    }
}

/// Labels for `count` like bars: the first as typed, the others with the next free numbers.
pub fn labels(design: &Design, first: &Name, count: usize) -> Vec<Name> {
    let bars = design.bars.iter().map(|bar| bar.label.to_string());
    let mut taken: BTreeSet<String> = bars.chain([first.to_string()]).collect();
    let mut labels = vec![first.clone()];
    while labels.len() < count
        && let Some(next) = labels.last().and_then(|last| next_label(last, &mut taken))
    {
        labels.push(next);
    }
    labels
}

/// Adds a draft without bars.
pub async fn add(act: &Act, basics: &Basics, bars: &[Bar]) -> Result<DesignId, StockError> {
    let mut tx = match act.begin().await? {
        Begun::Fresh(tx) => tx,
        Begun::Repeat(id) => return Ok(id),
    };
    let mut design = Design {
        id: DesignId(0),
        name: basics.name.clone(),
        state: State::Draft,
        dates: basics.dates,
        budget_minor: None,
        note: Note::default(),
        choices: Choices::default(),
        frames: Vec::new(),
        bars: Vec::new(),
        extras: Vec::new(),
        left_alone: Vec::new(),
        not_from: Vec::new(),
        version: 1,
    };
    basics.put_into(&mut design);
    let mut next = db::design::next_ids(&mut tx).await?;
    Edit::AddBars(bars.to_vec()).apply(&mut design, &mut next)?;
    let id = db::design::add(&mut tx, &design)
        .await
        .map_err(name_taken)?;
    act.finish(tx, id).await
}

/// Copies a design, of whatever state, into a draft with another name and dates. Fixtures chosen
/// by hand and frames of the cupboard are left to be chosen anew, and so is what is left alone: all
/// of it was chosen for other days. From whom nothing is bought is kept.
pub async fn copy(
    act: &Act,
    from: DesignId,
    name: &Name,
    dates: ShowDates,
) -> Result<DesignId, StockError> {
    let mut tx = match act.begin().await? {
        Begun::Fresh(tx) => tx,
        Begun::Repeat(id) => return Ok(id),
    };
    let mut design = db::design::lookup(&mut tx, from)
        .await?
        .ok_or(StockError::NotFound("set"))?;
    design.name = name.clone();
    design.dates = dates;
    design.left_alone.clear();
    let mut next = db::design::next_ids(&mut tx).await?;
    for frame in &mut design.frames {
        let old = frame.id;
        frame.id = FrameId(next.frame);
        frame.thing = None;
        next.frame += 1;
        for bar in &mut design.bars {
            if bar.frame == Some(old) {
                bar.frame = Some(frame.id);
            }
        }
    }
    for bar in &mut design.bars {
        bar.id = BarId(next.bar);
        bar.fixture = None;
        next.bar += 1;
    }
    for extra in &mut design.extras {
        extra.id = ExtraId(next.extra);
        next.extra += 1;
    }
    let id = db::design::add(&mut tx, &design)
        .await
        .map_err(name_taken)?;
    act.finish(tx, id).await
}

/// Carries edits out on the design as it was at `version`, all or none.
///
/// Refused with [`StockError::Changed`] when another stored meanwhile. A reserved set is planned
/// again and its holds follow; when the new plan breaks a limit without a reason, nothing changes.
pub async fn change(
    act: &Act,
    id: DesignId,
    version: i64,
    edits: &[Edit],
) -> Result<Edited, StockError> {
    reserve::edit(act, id, version, edits).await
}

/// Takes back what was done under a key, if nothing of the design was stored since: bars and frames
/// are where they were, what was added goes, what was taken out comes back.
pub async fn undo(act: &Act, id: DesignId, version: i64, key: &str) -> Result<Edited, StockError> {
    let mut tx = act.db.write_as(&act.who, act.now_ms).await?;
    let pressed = db::press::find(&mut tx, key).await?;
    drop(tx);
    let done: Option<Edited> = pressed.and_then(|it| serde_json::from_str(&it.answer).ok());
    let done = done
        .filter(|done| done.design == id)
        .ok_or(StockError::NotFound("change of this set"))?;
    if done.version != version {
        return Err(StockError::refused(
            "The set was changed since. Nothing was undone; take back what was done last first.",
        ));
    }
    change(act, id, version, &[Edit::Arrange(done.back())]).await
}

impl Edited {
    /// The steps that take it back.
    fn back(&self) -> Vec<Step> {
        let mut steps = Vec::new();
        if !(self.added.is_empty() && self.added_frames.is_empty()) {
            steps.push(Step::Remove {
                bars: self.added.clone(),
                frames: self.added_frames.clone(),
            });
        }
        let placed = |bar: &Bar| Placed {
            bar: bar.id,
            x_um: bar.x_um,
            y_um: bar.y_um,
            angle_mdeg: bar.angle_mdeg,
            length_um: bar.length_um,
        };
        let placed_frame = |frame: &Frame| PlacedFrame {
            frame: frame.id,
            x_um: frame.x_um,
            y_um: frame.y_um,
        };
        if !(self.changed.is_empty() && self.changed_frames.is_empty()) {
            steps.push(Step::Place {
                bars: self.changed.iter().map(placed).collect(),
                frames: self.changed_frames.iter().map(placed_frame).collect(),
            });
        }
        let hung = |frame: Option<FrameId>| -> Vec<BarId> {
            let on = self.changed.iter().filter(|bar| bar.frame == frame);
            on.map(|bar| bar.id).collect()
        };
        if !(self.removed.is_empty() && self.removed_frames.is_empty()) {
            let back = |frame: &Frame| FrameBack {
                frame: frame.clone(),
                bars: hung(Some(frame.id)),
            };
            steps.push(Step::Restore {
                bars: self.removed.clone(),
                at: self.removed_at.clone(),
                frames: self.removed_frames.iter().map(back).collect(),
            });
        }
        let gone = |frame: Option<FrameId>| {
            let mut frames = self.removed_frames.iter();
            frame.is_some_and(|id| frames.any(|it| it.id == id))
        };
        let mut frames: Vec<_> = self.changed.iter().map(|bar| bar.frame).collect();
        frames.sort_unstable();
        frames.dedup();
        for frame in frames.into_iter().filter(|frame| !gone(*frame)) {
            steps.push(Step::Hang {
                bars: hung(frame),
                frame,
            });
        }
        steps
    }
}

/// The edits on a design as a value.
pub(super) fn edited(
    old: &Design,
    edits: &[Edit],
    mut next: NextIds,
) -> Result<Design, StockError> {
    let mut new = old.clone();
    for edit in edits {
        edit.apply(&mut new, &mut next)?;
    }
    Ok(new)
}

impl Edited {
    /// What came and went between a design as it was and as it is.
    pub(super) fn between(
        old: &Design,
        new: &Design,
        version: i64,
        differences: Vec<String>,
    ) -> Self {
        let had: HashSet<BarId> = old.bars.iter().map(|bar| bar.id).collect();
        let has: HashSet<BarId> = new.bars.iter().map(|bar| bar.id).collect();
        let in_both = |frame: &Frame, other: &Design| {
            let mut others = other.frames.iter();
            others.any(|it| it.id == frame.id)
        };
        let new_bars = new.bars.iter().map(|bar| bar.id);
        let gone = || {
            (0..)
                .zip(&old.bars)
                .filter(|(_, bar)| !has.contains(&bar.id))
        };
        let now: HashMap<BarId, &Bar> = new.bars.iter().map(|bar| (bar.id, bar)).collect();
        let changed = old
            .bars
            .iter()
            .filter(|bar| now.get(&bar.id).is_some_and(|now| now != bar));
        let changed_frames = old
            .frames
            .iter()
            .filter(|it| in_both(it, new) && !new.frames.contains(it));
        let new_frames = new.frames.iter().filter(|it| !in_both(it, old));
        let gone_frames = old.frames.iter().filter(|it| !in_both(it, new));
        Self {
            design: new.id,
            version,
            added: new_bars.filter(|id| !had.contains(id)).collect(),
            added_frames: new_frames.map(|it| it.id).collect(),
            removed: gone().map(|(_, bar)| bar.clone()).collect(),
            removed_at: gone().map(|(at, _)| at).collect(),
            changed: changed.cloned().collect(),
            changed_frames: changed_frames.cloned().collect(),
            removed_frames: gone_frames.cloned().collect(),
            differences,
        }
    }
}

/// A name that another design has, as a message at its field.
pub(super) fn name_taken(error: DbError) -> StockError {
    match error {
        DbError::Refused(Refusal::Taken("design.name")) => field(
            "name",
            "Another set has this name. Nothing was changed; choose another.",
        ),
        DbError::Refused(refusal @ Refusal::NotToLeaveAlone) => field("thing", refusal.sentence()),
        DbError::Refused(refusal @ Refusal::NotAFixture) => field("fixture", refusal.sentence()),
        DbError::Refused(Refusal::StillReferred) => StockError::refused(
            "A part or thing that this names is no longer there. Nothing was changed; \
             load the page again.",
        ),
        error => error.into(),
    }
}

/// Gives the reason for which a plan is used although it breaks the limit `check_key`; an empty
/// one takes it back. It prints on the set's sheets.
pub async fn give_reason(
    act: &Act,
    id: DesignId,
    check_key: &str,
    reason: &str,
) -> Result<(), StockError> {
    let mut tx = match act.begin::<()>().await? {
        Begun::Fresh(tx) => tx,
        Begun::Repeat(()) => return Ok(()),
    };
    let design = db::design::lookup(&mut tx, id)
        .await?
        .ok_or(StockError::NotFound("set"))?;
    let reason = reason.trim();
    let found = reason.chars().count();
    if found > REASON_LIMIT {
        return Err(field(
            "reason",
            format!("This is {found} characters long; the limit is {REASON_LIMIT}. Shorten it."),
        ));
    }
    if reason.is_empty() && design.state.holds() {
        return Err(field(
            "reason",
            "The set is reserved with this reason. It was kept; change it, or make the set a \
             draft first.",
        ));
    }
    if reason.is_empty() {
        db::design::remove_reason(&mut tx, id, check_key).await?;
    } else {
        let reason = LimitReason {
            check_key: check_key.to_owned(),
            reason: reason.to_owned(),
            who: act.who.to_string(),
            at_ms: act.now_ms,
        };
        db::design::add_reason(&mut tx, id, &reason).await?;
    }
    act.finish(tx, ()).await
}
