//! Orders: what all sets are short of, an order written down, sent, and received into stock.

use std::{
    collections::{BTreeMap, BTreeSet},
    sync::Arc,
};

use serde::{Deserialize, Serialize};

use super::{
    Act, Begun, StockError,
    change::Change as _,
    desk,
    planned::{Planned, plan_now},
    receive::{Goods, Pieces, Receive},
    reserve::window_of,
};
use crate::{
    db::{self, Db, ReadTx, WriteTx, offer::Supplier, purchase::NewLine},
    model::{
        design::State,
        id::{
            DesignId, MovementId, OfferId, PartId, PlaceId, PurchaseId, PurchaseLineId, SupplierId,
            ThingId,
        },
        part::{Part, StockBy, StockUnit},
        purchase::{Purchase, PurchaseLine, PurchaseState, Share},
        reservation::{Held, HoldUse},
        text::Note,
    },
    plan::{
        basket::Way,
        shopping::{ShoppingList, Wanting, gather},
    },
    units::{Date, Length, Money, Window},
};

/// The fuses of one set that its plan counts as no part.
#[derive(Debug)]
pub struct SetFuses {
    /// Which set.
    pub design: DesignId,
    /// Its name.
    pub name: String,
    /// Each kind and how many.
    pub fuses: Vec<(String, usize)>,
}

/// What all sets are short of, with what is needed to show it.
#[derive(Debug)]
pub struct Wanted {
    /// The list.
    pub list: ShoppingList,
    /// The catalogue.
    pub parts: BTreeMap<PartId, Part>,
    /// Suppliers, for their delivery charge.
    pub suppliers: Vec<Supplier>,
    /// The fuses that each set asks for and that no part of the catalogue is, and how many; they are in
    /// no list.
    pub fuses: Vec<SetFuses>,
    /// How many sets were looked at.
    pub sets: usize,
    /// How many of them are drafts, which hold nothing: two of them may count on the same things.
    pub drafts: usize,
    /// The drafts that count on the same pieces and units, or together on more than is there, part by
    /// part.
    pub same: BTreeMap<PartId, Vec<(DesignId, String)>>,
    /// The one set that was asked for, and its name.
    pub only: Option<(DesignId, String)>,
}

/// The most sets that are planned for one list: those whose build day is nearest.
const MOST_SETS: usize = 24;

/// How often the sets are read and planned anew because something was written meanwhile.
const TRIES: usize = 3;

/// Plans every set that is still to be built, or only one, adds up what is short, and buys it in one
/// of the ways.
pub async fn wanted(
    db: &Db,
    today: Date,
    way: &Way,
    only: Option<DesignId>,
) -> Result<Wanted, StockError> {
    let mut tries = 0;
    loop {
        tries += 1;
        let mut sets = db::design::list(&mut *db.read().await?).await?;
        sets.retain(|set| {
            matches!(set.state, State::Draft | State::Reserved | State::Building)
                && set.dates.strike_on() >= today
                && only.is_none_or(|only| only == set.id)
        });
        sets.sort_by_key(|set| (set.dates.build_on(), set.id));
        sets.truncate(MOST_SETS);
        let mut planned = Vec::new();
        for set in &sets {
            match plan_now(db, set.id, today).await {
                Ok(plan) => planned.push(plan),
                // Somebody took it away.
                Err(StockError::NotFound(_)) => {}
                Err(why) => return Err(why),
            }
        }
        let mut tx = db.read().await?;
        let revision = db::venue::revision(&mut tx).await?;
        if tries >= TRIES || planned.iter().all(|plan| plan.revision() == revision) {
            return list(tx, planned, way, only).await;
        }
    }
}

/// Reads what is sold, lets go of the database, and adds up at the desk.
async fn list(
    mut tx: ReadTx,
    planned: Vec<Arc<Planned>>,
    way: &Way,
    only: Option<DesignId>,
) -> Result<Wanted, StockError> {
    let parts: BTreeMap<PartId, Part> = db::part::list(&mut tx, None, true)
        .await?
        .into_iter()
        .map(|part| (part.id, part))
        .collect();
    let offers = db::offer::list_for_plan(&mut tx).await?;
    let open = db::purchase::list_open(&mut tx, only).await?;
    let venue = db::venue::lookup(&mut tx).await?;
    let suppliers = db::offer::list_suppliers(&mut tx).await?;
    drop(tx);
    let way = way.clone();
    let added = desk::work(move |_| {
        let not_from: Vec<BTreeSet<SupplierId>> = planned
            .iter()
            .map(|it| {
                let design = &it.input.design;
                design.not_from.iter().map(|it| it.supplier).collect()
            })
            .collect();
        let wanting: Vec<Wanting<'_>> = (planned.iter().zip(&not_from))
            .map(|(planned, not_from)| Wanting {
                design: planned.input.design.id,
                name: planned.input.design.name.as_str(),
                build_on: planned.input.design.dates.build_on(),
                plan: &planned.plan,
                not_from,
            })
            .collect();
        Wanted {
            list: gather(&wanting, &parts, &offers, &open, &venue, &way),
            fuses: wanting.iter().filter_map(fuses_of).collect(),
            sets: planned.len(),
            drafts: (planned.iter())
                .filter(|it| it.input.design.state == State::Draft)
                .count(),
            same: same(&planned),
            only: wanting
                .first()
                .filter(|set| only == Some(set.design))
                .map(|set| (set.design, set.name.to_owned())),
            parts,
            suppliers,
        }
    });
    Ok(added.await?)
}

/// One draft's claim on something of a part, for the days that it has it.
struct Claim {
    design: DesignId,
    part: PartId,
    held: Held,
    window: Window,
}

/// The drafts, part by part, that cannot all have what each counts on; `there` is what lies of a part.
fn collisions(
    claims: &[Claim],
    same_day: bool,
    there: impl Fn(PartId) -> i64,
) -> BTreeMap<PartId, BTreeSet<DesignId>> {
    let mut met: BTreeMap<PartId, BTreeSet<DesignId>> = BTreeMap::new();
    let mut counted: BTreeMap<PartId, (i64, BTreeSet<DesignId>)> = BTreeMap::new();
    let mut on_piece: BTreeMap<ThingId, Vec<(&Claim, i64, i64)>> = BTreeMap::new();
    for claim in claims {
        match claim.held {
            Held::Count { amount, .. } => {
                let (sum, sets) = counted.entry(claim.part).or_default();
                *sum += amount;
                sets.insert(claim.design);
            }
            Held::Thing { thing, from, to } => {
                let before = on_piece.entry(thing).or_default();
                for (other, begins, ends) in &*before {
                    let at_once = (claim.window).overlaps_turnaround(&other.window, same_day);
                    if other.design != claim.design && at_once && from < *ends && *begins < to {
                        let sets = met.entry(claim.part).or_default();
                        sets.extend([claim.design, other.design]);
                    }
                }
                before.push((claim, from, to));
            }
        }
    }
    for (part, (sum, sets)) in counted {
        if sets.len() > 1 && sum > there(part) {
            met.entry(part).or_default().extend(sets);
        }
    }
    met
}

/// The drafts that count on the same things, by name. What comes back may be used by one after the
/// other; of counts that come back nothing is said, as they are free day by day.
fn same(planned: &[Arc<Planned>]) -> BTreeMap<PartId, Vec<(DesignId, String)>> {
    let drafts = || {
        let all = planned.iter();
        all.filter(|it| it.input.design.state == State::Draft)
    };
    let mut claims = Vec::new();
    let mut there: BTreeMap<PartId, i64> = BTreeMap::new();
    let mut names: BTreeMap<DesignId, String> = BTreeMap::new();
    for it in drafts() {
        let design = it.input.design.id;
        names.insert(design, it.input.design.name.to_string());
        for count in &it.input.stock.counts {
            let most = there.entry(count.part).or_default();
            *most = count.available.max(*most);
        }
        let pieces = it.input.stock.pieces.iter();
        let units = it.input.stock.units.iter();
        let part_of: BTreeMap<_, _> = pieces
            .map(|spare| (spare.piece.id, spare.piece.part))
            .chain(units.map(|unit| (unit.thing, unit.part)))
            .collect();
        for hold in &it.plan.holds {
            let part = match hold.held {
                Held::Thing { thing, .. } => part_of.get(&thing).copied(),
                Held::Count {
                    part, due: None, ..
                } if hold.becomes == HoldUse::Consumed => Some(part),
                Held::Count { .. } => None,
            };
            claims.extend(part.map(|part| Claim {
                design,
                part,
                held: hold.held,
                window: window_of(&it.input.design, hold.becomes),
            }));
        }
    }
    let by_name = |id: DesignId| Some((id, names.get(&id)?.clone()));
    let same_day = drafts().any(|it| it.input.venue.same_day_turnaround);
    collisions(&claims, same_day, |part| {
        there.get(&part).copied().unwrap_or(0)
    })
    .into_iter()
    .map(|(part, sets)| (part, sets.into_iter().filter_map(by_name).collect()))
    .collect()
}

fn fuses_of(set: &Wanting<'_>) -> Option<SetFuses> {
    let fuses = set.plan.uncounted_fuses().into_iter();
    let fuses: Vec<_> = fuses.map(|(fuse, many)| (fuse.to_owned(), many)).collect();
    (!fuses.is_empty()).then(|| SetFuses {
        design: set.design,
        name: set.name.to_owned(),
        fuses,
    })
}

/// One line to be ordered.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Wish {
    /// From which offer.
    pub offer: OfferId,
    /// Packs, above zero.
    pub packs: i64,
    /// For which sets, and how much of it each needs; empty if for none in particular.
    pub shares: Vec<Share>,
}

/// The sets of a line, by id: one that is named twice needs both amounts.
fn joined(shares: &[Share]) -> Vec<Share> {
    let mut amounts: BTreeMap<DesignId, i64> = BTreeMap::new();
    for share in shares {
        let amount = amounts.entry(share.design).or_default();
        *amount = amount.saturating_add(share.amount.max(1));
    }
    let shares = amounts.into_iter();
    shares
        .map(|(design, amount)| Share { design, amount })
        .collect()
}

/// Writes an order down, with the offers' prices of now.
pub async fn place(
    act: &Act,
    supplier: SupplierId,
    wishes: &[Wish],
) -> Result<PurchaseId, StockError> {
    let mut tx = match act.begin().await? {
        Begun::Repeat(answer) => return Ok(answer),
        Begun::Fresh(tx) => tx,
    };
    let seller = db::offer::lookup_supplier(&mut tx, supplier)
        .await?
        .ok_or(StockError::NotFound("supplier"))?;
    let mut lines = Vec::with_capacity(wishes.len());
    for wish in wishes {
        let offer = db::offer::lookup(&mut tx, wish.offer)
            .await?
            .ok_or(StockError::NotFound("price"))?;
        if offer.supplier != supplier || offer.retired {
            return Err(StockError::refused(
                "One of these prices is no longer this supplier's. Nothing was ordered. Load the list again.",
            ));
        }
        lines.push(NewLine {
            part: offer.part,
            offer: Some(offer.id),
            shares: joined(&wish.shares),
            packs: wish.packs.max(i64::from(offer.minimum_packs)),
            pack_amount: offer.pack_amount,
            price_minor: offer.price_minor,
        });
    }
    let goods = Money::sum(lines.iter().filter_map(|line| {
        line.price_minor
            .times(u64::try_from(line.packs).unwrap_or(0))
    }))
    .ok_or_else(|| {
        StockError::refused("The sum is beyond what can be counted. Nothing was ordered.")
    })?;
    let id = db::purchase::add(&mut tx, supplier, seller.delivery(goods)).await?;
    for line in &lines {
        db::purchase::add_line(&mut tx, id, line).await?;
    }
    act.finish(tx, id).await
}

/// What is in stock now: pieces, where packs hold a number of them.
fn came(part: Option<&Part>, line: &PurchaseLine, packs: i64) -> String {
    let each = part
        .is_some_and(|part| part.stock_by() != StockBy::Length && part.unit() == StockUnit::Each);
    let many = if each { line.pieces(packs) } else { packs };
    let verb = if many == 1 { "is" } else { "are" };
    format!("{many} × {} {verb} in stock.", line.part_name)
}

/// What is noted of an order.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Change {
    /// The state it goes to, or is in.
    pub to: PurchaseState,
    /// The version that was read.
    pub version: i64,
    /// The day it was sent.
    pub ordered_on: Option<Date>,
    /// The day it is expected; from the supplier's delivery time where none is said.
    pub expected_on: Option<Date>,
    /// Paid so far.
    pub paid_minor: Money,
    /// Notes.
    pub note: Note,
}

/// Notes how far an order is.
pub async fn change(
    act: &Act,
    id: PurchaseId,
    change: Change,
) -> Result<PurchaseState, StockError> {
    let mut tx = match act.begin().await? {
        Begun::Repeat(answer) => return Ok(answer),
        Begun::Fresh(tx) => tx,
    };
    let mut order = db::purchase::lookup(&mut tx, id)
        .await?
        .ok_or(StockError::NotFound("order"))?;
    if !step_exists(order.state, change.to) {
        return Err(StockError::refused(format!(
            "An order that is {} cannot become {}. Nothing was changed.",
            order.state, change.to
        )));
    }
    if change.to == PurchaseState::Ordered {
        let sent = change.ordered_on.unwrap_or(act.today);
        let days = match db::offer::lookup_supplier(&mut tx, order.supplier).await? {
            Some(supplier) => supplier.delivery_days,
            None => 0,
        };
        let usual = sent
            .checked_add(jiff::Span::new().days(i64::from(days)))
            .unwrap_or(sent);
        order.ordered_on = Some(sent);
        order.expected_on = Some(change.expected_on.unwrap_or(usual));
    }
    order.state = change.to;
    order.version = change.version;
    order.paid_minor = change.paid_minor;
    order.note = change.note;
    if !db::purchase::change(&mut tx, &order).await? {
        return Err(StockError::Changed);
    }
    act.finish(tx, order.state).await
}

fn step_exists(from: PurchaseState, to: PurchaseState) -> bool {
    use PurchaseState::{Cancelled, Closed, List, Ordered};
    from == to
        || matches!(
            (from, to),
            (List, Ordered | Cancelled) | (Ordered, Closed | Cancelled)
                // Closed or dropped by a slip of the finger: it is taken up again.
                | (Closed, Ordered)
                | (Cancelled, List)
        )
}

/// What arrived of a line.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Arrival {
    /// Packs that are right.
    pub good: i64,
    /// Packs that are wrong or faulty.
    pub bad: i64,
    /// Where the good ones go.
    pub place: PlaceId,
    /// What is wrong with the others.
    pub note: Note,
}

/// What came of an arrival.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Received {
    /// The movement that took the good ones into stock, if there were any.
    pub movement: Option<MovementId>,
    /// In words.
    pub said: String,
}

/// Takes what arrived of a line into stock; holds that waited for it become sure.
pub async fn receive(
    act: &Act,
    line: PurchaseLineId,
    arrival: &Arrival,
) -> Result<Received, StockError> {
    let mut tx = match act.begin().await? {
        Begun::Repeat(answer) => return Ok(answer),
        Begun::Fresh(tx) => tx,
    };
    let id = db::purchase::find_of_line(&mut tx, line).await?;
    let order = match id {
        Some(id) => db::purchase::lookup(&mut tx, id).await?,
        None => None,
    };
    let order = order.ok_or(StockError::NotFound("order"))?;
    let Some(ordered) = order.lines.iter().find(|known| known.id == line) else {
        return Err(StockError::NotFound("order line"));
    };
    under_way(&order)?;
    if arrival.good + arrival.bad == 0 {
        return Err(StockError::Field {
            field: "good".into(),
            message: "Say how many packs came: at least one, right or wrong.".into(),
        });
    }
    if arrival.good + arrival.bad > ordered.open_packs() {
        return Err(StockError::Field {
            field: "good".into(),
            message: format!(
                "Only {} of this line are still to come. Receive what is more at the part itself.",
                ordered.open_packs()
            ),
        });
    }
    let movement = arrive(&mut tx, act, &order, ordered, arrival).await?;
    close_if_done(&mut tx, order.id).await?;
    let mut said = Vec::new();
    if arrival.good > 0 {
        let part = db::part::lookup(&mut tx, ordered.part).await?;
        said.push(came(part.as_ref(), ordered, arrival.good));
    }
    if arrival.bad > 0 {
        said.push(format!(
            "{} noted as wrong or faulty; not in stock.",
            arrival.bad
        ));
    }
    act.finish(
        tx,
        Received {
            movement,
            said: said.join(" "),
        },
    )
    .await
}

/// What arrived of a line, into stock and noted at the line.
async fn arrive(
    tx: &mut WriteTx,
    act: &Act,
    order: &Purchase,
    line: &PurchaseLine,
    arrival: &Arrival,
) -> Result<Option<MovementId>, StockError> {
    let mut movement = None;
    if arrival.good > 0 {
        movement = take_in(tx, act, order, line, arrival).await?;
        if let Some(id) = movement {
            db::purchase::add_receipt(tx, line.id, id, arrival.good).await?;
        }
        let count = arrival.good.saturating_mul(line.pack_amount);
        db::reservation::settle_line(tx, line.id, count).await?;
    }
    if arrival.bad > 0 {
        db::purchase::refuse_packs(tx, line.id, arrival.bad, &arrival.note).await?;
    }
    Ok(movement)
}

/// Where everything of an order goes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Goes {
    /// All of it to one place.
    To(PlaceId),
    /// Each part to where it was put last.
    Usual {
        /// Where parts go that were never put anywhere.
        otherwise: Option<PlaceId>,
    },
}

/// Which lines of an order have come, of those with something still to come.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Came {
    /// Every one.
    All,
    /// Those of which nothing was noted yet; what came short stays to come.
    AllButShort,
    /// These, each with all that was still to come of it.
    These {
        /// Which.
        lines: BTreeSet<PurchaseLineId>,
        /// Whether those of them that came short are left to come.
        but_short: bool,
    },
}

impl Came {
    fn takes(&self, line: &PurchaseLine) -> bool {
        match self {
            Self::All => true,
            Self::AllButShort => !line.came_short(),
            Self::These { lines, but_short } => {
                lines.contains(&line.id) && !(*but_short && line.came_short())
            }
        }
    }

    /// Why nothing is received where it takes none of the lines that are still to come.
    const fn none(&self) -> &'static str {
        match self {
            Self::All | Self::AllButShort => {
                "Of every line still to come a part has come already. Nothing was received. Note the \
                 rest line by line."
            }
            Self::These { .. } => {
                "None of the lines that are still to come is among those that are ticked. Nothing \
                 was received. Tick what has come."
            }
        }
    }
}

/// What came of the arrival of everything.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct ReceivedAll {
    /// One movement a line, each to be undone by itself.
    pub movements: Vec<MovementId>,
    /// In words.
    pub said: String,
}

/// Takes what is still to come of an order into stock, line by line, or nothing of it.
pub async fn receive_all(
    act: &Act,
    id: PurchaseId,
    goes: Goes,
    came: &Came,
) -> Result<ReceivedAll, StockError> {
    let mut tx = match act.begin().await? {
        Begun::Repeat(answer) => return Ok(answer),
        Begun::Fresh(tx) => tx,
    };
    let order = db::purchase::lookup(&mut tx, id)
        .await?
        .ok_or(StockError::NotFound("order"))?;
    under_way(&order)?;
    let mut movements = Vec::new();
    let (taken, left): (Vec<&PurchaseLine>, Vec<_>) = order
        .lines
        .iter()
        .filter(|line| line.open_packs() > 0)
        .partition(|line| came.takes(line));
    for line in &taken {
        let place = match goes {
            Goes::To(place) => Some(place),
            Goes::Usual { otherwise } => usual_place(&mut tx, line.part).await?.or(otherwise),
        };
        let place = place.ok_or_else(|| StockError::Field {
            field: "to".into(),
            message: format!(
                "{} was never put anywhere. Nothing was received. Say where it goes.",
                line.part_name
            ),
        })?;
        let arrival = Arrival {
            good: line.open_packs(),
            bad: 0,
            place,
            note: Note::default(),
        };
        movements.extend(arrive(&mut tx, act, &order, line, &arrival).await?);
    }
    if taken.is_empty() {
        return Err(StockError::refused(if left.is_empty() {
            "Nothing of this order is still to come. Nothing was received."
        } else {
            came.none()
        }));
    }
    close_if_done(&mut tx, order.id).await?;
    let said = match (taken.len(), left.len()) {
        (1, 0) => "What was still to come is in stock.".to_owned(),
        (lines, 0) => format!(
            "All {lines} lines that were still to come are in stock. Each is taken back by itself in \
             the log."
        ),
        (lines, short) => format!(
            "{} in stock; {}. Each is taken back by itself in the log.",
            match lines {
                1 => "1 line is".to_owned(),
                more => format!("{more} lines are"),
            },
            match (came, short) {
                (Came::These { .. }, 1) => "1 other is still to come".to_owned(),
                (Came::These { .. }, more) => format!("{more} others are still to come"),
                (_, 1) => "what is missing of 1 other is still to come".to_owned(),
                (_, more) => format!("what is missing of {more} others is still to come"),
            }
        ),
    };
    act.finish(tx, ReceivedAll { movements, said }).await
}

fn under_way(order: &Purchase) -> Result<(), StockError> {
    if order.state == PurchaseState::Ordered {
        return Ok(());
    }
    Err(StockError::refused(
        "This order is not under way. Nothing was received. Note it as sent first.",
    ))
}

async fn take_in(
    tx: &mut WriteTx,
    act: &Act,
    order: &Purchase,
    line: &PurchaseLine,
    arrival: &Arrival,
) -> Result<Option<MovementId>, StockError> {
    let part = db::part::lookup(tx, line.part)
        .await?
        .ok_or(StockError::NotFound("part"))?;
    let reason = Note::parse(&format!("order {} from {}", order.id, order.supplier_name))
        .unwrap_or_default();
    let receive = Receive {
        reason,
        design: line.only_for(),
        ..Receive::new(part.id, arrival.place, goods(&part, line, arrival.good)?)
    };
    Ok(receive.within(tx, act).await?.movement)
}

/// What packs of a line are, as things to receive.
fn goods(part: &Part, line: &PurchaseLine, packs: i64) -> Result<Goods, StockError> {
    let amount = packs.saturating_mul(line.pack_amount);
    let number = |count| usize::try_from(count).unwrap_or(usize::MAX);
    Ok(match part.stock_by() {
        StockBy::Count => Goods::Count(amount),
        StockBy::Unit => Goods::Units {
            number: number(amount),
            tags: Vec::new(),
            serials: Vec::new(),
        },
        StockBy::Length => {
            let length = Length::new(line.pack_amount)
                .map_err(|why| StockError::refused(why.to_string()))?;
            Goods::Pieces(Pieces::as_bought(part, length, number(packs)))
        }
    })
}

async fn close_if_done(tx: &mut WriteTx, id: PurchaseId) -> Result<(), StockError> {
    if let Some(mut order) = db::purchase::lookup(tx, id).await?
        && !order.open()
    {
        order.state = PurchaseState::Closed;
        db::purchase::change(tx, &order).await?;
    }
    Ok(())
}

/// Where the part was last put, for a suggestion.
pub async fn usual_place(
    tx: &mut sqlx::SqliteConnection,
    part: PartId,
) -> Result<Option<PlaceId>, db::DbError> {
    db::purchase::find_usual_place(tx, part).await
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn drafts_collide_on_the_same_range_or_on_more_than_is_there() {
        let days = |from, to| {
            let day = |day| jiff::civil::date(2026, 12, day);
            Window::new(day(from), day(to)).unwrap()
        };
        let claim = |design, part, held| Claim {
            design: DesignId(design),
            part: PartId(part),
            held,
            window: days(4, 8),
        };
        let piece = |from, to| Held::Thing {
            thing: ThingId(9),
            from,
            to,
        };
        let count = |amount| Held::Count {
            part: PartId(2),
            amount,
            due: None,
        };
        let both = BTreeSet::from([DesignId(1), DesignId(2)]);
        let apart = [claim(1, 1, piece(0, 10)), claim(2, 1, piece(10, 20))];
        assert!(collisions(&apart, false, |_| 0).is_empty());
        let mut over = [claim(1, 1, piece(0, 10)), claim(2, 1, piece(9, 20))];
        assert_eq!(collisions(&over, false, |_| 0).get(&PartId(1)), Some(&both));
        // One after the other they can.
        over[1].window = days(9, 12);
        assert!(collisions(&over, false, |_| 0).is_empty());
        let counts = [claim(1, 2, count(3)), claim(2, 2, count(4))];
        assert!(collisions(&counts, false, |_| 7).is_empty());
        assert_eq!(
            collisions(&counts, false, |_| 6).get(&PartId(2)),
            Some(&both)
        );
        // One set alone collides with nobody.
        let own = [claim(1, 1, piece(0, 10)), claim(1, 1, piece(5, 12))];
        assert!(collisions(&own, false, |_| 0).is_empty());
    }
}
