//! What was planned of stock, carried out: as few movements as can be undone one by one.

use std::collections::{HashMap, HashSet};

use super::{
    ImportError, Planned, at_row,
    place::{NewSpot, Spot, number_of},
};
use crate::{
    db::{self, WriteTx, place::NewPlace, thing::TagPrefix},
    model::{
        csv::At,
        fixture::Condition,
        id::{AccountId, MovementId, PartId, PlaceId, ThingId},
        movement::{Line, Moved, MovementKind},
        text::{Note, Tag},
    },
    stock::{
        Act, StockError,
        change::{self, Change as _, Head, prefix_of, write},
        holds::Touched,
        make::{EnterFixture, EnterFrame},
        mark::{EditThing, MarkCondition},
        receive::{Goods, Receive, THING_LIMIT},
    },
};

/// What the log says why.
const REASON: &str = "read from a file";

/// How a row is carried out. Ids of places that the file makes stand below zero until then.
pub(super) enum Want {
    Nothing,
    /// Goods, with the start address that a unit is set to.
    Receive(Box<Receive>, Option<u16>),
    Fixture(Box<EnterFixture>),
    Frame(Box<EnterFrame>),
    Correct {
        part: PartId,
        account: AccountId,
        booked: i64,
        counted: i64,
    },
    Tagged(Box<Tagged>),
}

/// A thing that the book knows.
pub(super) struct Tagged {
    pub thing: ThingId,
    pub moved: Moved,
    pub from: AccountId,
    /// Its receipt was undone; this is another.
    pub again: bool,
    pub to: Option<Spot>,
    pub mark: Option<Condition>,
    pub edit: Option<EditThing>,
}

/// A file that was compared with the book.
pub(super) struct Plan {
    pub planned: Vec<Planned<Want>>,
    pub places: Vec<NewSpot>,
}

/// What was done.
#[derive(Default)]
pub(super) struct Carried {
    pub movements: Vec<MovementId>,
    pub touched: Vec<Touched>,
}

/// Places that the file named and that were not there, in the order of their ids below zero.
async fn make_places(tx: &mut WriteTx, new: &[NewSpot]) -> Result<Vec<PlaceId>, StockError> {
    let mut made: Vec<PlaceId> = Vec::with_capacity(new.len());
    for spot in new {
        let place = NewPlace {
            parent: spot.parent.map(|id| real(id, &made)),
            name: spot.name.clone(),
            kind: spot.kind,
            position: 0,
            note: Note::default(),
        };
        made.push(db::place::add(tx, &place).await?);
    }
    Ok(made)
}

fn real(id: PlaceId, made: &[PlaceId]) -> PlaceId {
    number_of(id)
        .and_then(|number| made.get(number))
        .copied()
        .unwrap_or(id)
}

/// Free tags for things without one: asked for once, not once a row.
struct Tags {
    free: Vec<(TagPrefix, Vec<Tag>)>,
}

/// The prefix and number of the tags that a row needs.
fn tags_needed(want: &Want, kinds: &impl Fn(PartId) -> TagPrefix) -> Option<(TagPrefix, usize)> {
    match want {
        Want::Receive(receive, _) => match &receive.goods {
            Goods::Count(_) => None,
            Goods::Pieces(pieces) if pieces.offcuts => {
                Some((TagPrefix::Offcut, pieces.number - pieces.tags.len()))
            }
            Goods::Pieces(pieces) => Some((TagPrefix::Roll, pieces.number - pieces.tags.len())),
            Goods::Units { number, tags, .. } => Some((kinds(receive.part), number - tags.len())),
        },
        Want::Fixture(enter) if enter.about.tag.is_none() => Some((TagPrefix::Fixture, 1)),
        Want::Frame(enter) if enter.about.tag.is_none() => Some((TagPrefix::Frame, 1)),
        _ => None,
    }
}

impl Tags {
    async fn new(
        tx: &mut WriteTx,
        planned: &[Planned<Want>],
        kinds: &impl Fn(PartId) -> TagPrefix,
    ) -> Result<Self, StockError> {
        let typed: HashSet<Tag> = planned
            .iter()
            .flat_map(|one| match &one.want {
                Want::Receive(receive, _) => match &receive.goods {
                    Goods::Count(_) => Vec::new(),
                    Goods::Pieces(pieces) => pieces.tags.clone(),
                    Goods::Units { tags, .. } => tags.clone(),
                },
                Want::Fixture(enter) => enter.about.tag.iter().cloned().collect(),
                Want::Frame(enter) => enter.about.tag.iter().cloned().collect(),
                _ => Vec::new(),
            })
            .collect();
        let mut needed: Vec<(TagPrefix, usize)> = Vec::new();
        for (prefix, number) in planned
            .iter()
            .filter_map(|one| tags_needed(&one.want, kinds))
        {
            match needed.iter_mut().find(|(known, _)| *known == prefix) {
                Some((_, sum)) => *sum += number,
                None => needed.push((prefix, number)),
            }
        }
        let mut free = Vec::new();
        for (prefix, number) in needed {
            let mut tags = db::thing::next_tags(tx, prefix, number + typed.len()).await?;
            tags.retain(|tag| !typed.contains(tag));
            tags.reverse();
            free.push((prefix, tags));
        }
        Ok(Self { free })
    }

    /// The next `number` free ones.
    fn take(&mut self, prefix: TagPrefix, number: usize) -> Vec<Tag> {
        let free = self.free.iter_mut().find(|(known, _)| *known == prefix);
        free.map_or_else(Vec::new, |(_, tags)| {
            tags.split_off(tags.len().saturating_sub(number))
                .into_iter()
                .rev()
                .collect()
        })
    }

    fn fill(&mut self, want: &mut Want, kinds: &impl Fn(PartId) -> TagPrefix) {
        let Some((prefix, number)) = tags_needed(want, kinds) else {
            return;
        };
        let mut more = self.take(prefix, number);
        match want {
            Want::Receive(receive, _) => match &mut receive.goods {
                Goods::Count(_) => {}
                Goods::Pieces(pieces) => pieces.tags.append(&mut more),
                Goods::Units { tags, .. } => tags.append(&mut more),
            },
            Want::Fixture(enter) => enter.about.tag = more.pop(),
            Want::Frame(enter) => enter.about.tag = more.pop(),
            _ => {}
        }
    }
}

/// The lines of the movements to come, by what they do.
#[derive(Default)]
struct Lines {
    received: Vec<Line>,
    counted: Vec<Line>,
    moved: Vec<Line>,
}

/// Carries a plan out. What arrives, is corrected or moves stands in one movement each, of at most
/// [`THING_LIMIT`] lines; a condition is a movement of its own, as everywhere.
pub(super) async fn carry_out(
    tx: &mut WriteTx,
    act: &Act,
    plan: Plan,
) -> Result<Carried, ImportError> {
    let made = make_places(tx, &plan.places).await?;
    let prefixes: HashMap<PartId, TagPrefix> = db::part::list(tx, None, true)
        .await?
        .into_iter()
        .map(|part| (part.id, prefix_of(part.spec.kind())))
        .collect();
    let kinds = |id: PartId| prefixes.get(&id).copied().unwrap_or(TagPrefix::Roll);
    let mut tags = Tags::new(tx, &plan.planned, &kinds).await?;
    let reason = Note::parse(REASON).unwrap_or_default();
    let mut lines = Lines::default();
    let mut marks: Vec<(At, MarkCondition)> = Vec::new();
    for Planned { at, mut want, .. } in plan.planned {
        tags.fill(&mut want, &kinds);
        row(tx, act, &at, want, &made, &mut lines, &mut marks)
            .await
            .map_err(|why| at_row(&at, why))?;
    }
    let mut carried = Carried::default();
    for (kind, lines) in [
        (MovementKind::Receive, lines.received),
        (MovementKind::Count, lines.counted),
        (MovementKind::Move, lines.moved),
    ] {
        for some in lines.chunks(THING_LIMIT) {
            let done = write(tx, act, Head::new(kind, &reason), some.to_vec()).await?;
            carried.movements.extend(done.movement);
            carried.touched.extend(done.touched);
        }
    }
    for (at, mark) in marks {
        let done = mark.within(tx, act).await.map_err(|why| at_row(&at, why))?;
        carried.movements.extend(done.movement);
        carried.touched.extend(done.touched);
    }
    Ok(carried)
}

async fn row(
    tx: &mut WriteTx,
    act: &Act,
    at: &At,
    want: Want,
    made: &[PlaceId],
    lines: &mut Lines,
    marks: &mut Vec<(At, MarkCondition)>,
) -> Result<(), StockError> {
    match want {
        Want::Nothing => {}
        Want::Receive(mut receive, address) => {
            receive.to = real(receive.to, made);
            let brought = receive.bring(tx).await?;
            if let (Some(address), [thing], Goods::Units { serials, .. }) =
                (address, &brought.things[..], &receive.goods)
            {
                let serial = serials.first().map_or("", String::as_str);
                db::thing::change_unit(tx, *thing, Some(address), serial).await?;
            }
            lines.received.extend(brought.lines);
        }
        Want::Fixture(mut enter) => {
            enter.about.to = real(enter.about.to, made);
            lines.received.push(enter.bring(tx).await?.1);
        }
        Want::Frame(mut enter) => {
            enter.about.to = real(enter.about.to, made);
            lines.received.push(enter.bring(tx).await?.1);
        }
        Want::Correct {
            part,
            account,
            booked,
            counted,
        } => {
            let (from, to) = if counted > booked {
                (AccountId::ADJUST, account)
            } else {
                (account, AccountId::ADJUST)
            };
            lines.counted.push(Line {
                moved: Moved::Count {
                    part,
                    amount: (counted - booked).abs(),
                },
                from,
                to,
            });
        }
        Want::Tagged(known) => {
            if let Some(spot) = &known.to {
                let line = Line {
                    moved: known.moved,
                    from: known.from,
                    to: change::place(tx, real(spot.id, made)).await?,
                };
                if known.again {
                    lines.received.push(line);
                } else {
                    lines.moved.push(line);
                }
            }
            // Before the mark, which raises the version that was read.
            if let Some(edit) = &known.edit {
                edit.within(tx, act).await?;
            }
            if let Some(condition) = known.mark {
                let mark = MarkCondition {
                    thing: known.thing,
                    condition,
                    reason: Note::parse(REASON).unwrap_or_default(),
                };
                marks.push((at.clone(), mark));
            }
        }
    }
    Ok(())
}
