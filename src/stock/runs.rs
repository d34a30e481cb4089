//! Cable runs: cut at the bench, out with the set while it stands, and free to be used again.
//!
//! A length of cable that is still to be cut is held for good, like tape: nobody knows what the
//! rest of the reel will be. Once it is cut to its own length and hung, it comes back at strike. One that
//! had its length when the set was planned is held until strike from the first, and goes out with the rest.

use sqlx::SqliteConnection;

use super::{StockError, change::moved};
use crate::{
    db::{self, WriteTx},
    model::{
        design::Design,
        id::{BarId, DesignId, HoldId, ThingId},
        movement::{AccountKind, Line},
        part::Kind,
        reservation::{Held, HoldState, HoldUse, NewHold},
        thing::Thing,
    },
};

/// A run that is cut to its length and lies in a place.
pub(super) struct Run {
    hold: HoldId,
    bar: Option<BarId>,
    thing: Thing,
}

/// What a set holds of cable and has not taken out.
#[derive(Default)]
pub(super) struct Runs {
    /// Cut to length.
    pub ready: Vec<Run>,
    /// Tags of reels from which something is still to be cut.
    pub uncut: Vec<String>,
}

/// The runs of a set in places; those of some bars only, if they are named.
pub(super) async fn list(
    tx: &mut SqliteConnection,
    design: DesignId,
    bars: Option<&[BarId]>,
) -> Result<Runs, StockError> {
    let mut runs = Runs::default();
    for hold in db::reservation::list(tx, design).await? {
        let Held::Thing { thing, from, to } = hold.hold.held else {
            continue;
        };
        let bar = hold.hold.bar;
        let asked = bars.is_none_or(|bars| bar.is_some_and(|bar| bars.contains(&bar)));
        if !asked || hold.state != HoldState::Active || hold.hold.becomes != HoldUse::Consumed {
            continue;
        }
        let Some(thing) = db::thing::lookup(tx, thing).await? else {
            continue;
        };
        if thing.part_kind != Some(Kind::Cable) || thing.place.kind != AccountKind::Place {
            continue;
        }
        let length = db::piece::lookup(tx, thing.id)
            .await?
            .map(|at| at.piece.amount);
        if length == Some(to - from) {
            runs.ready.push(Run {
                hold: hold.id,
                bar,
                thing,
            });
        } else if !runs.uncut.contains(&thing.tag.to_string()) {
            runs.uncut.push(thing.tag.to_string());
        }
    }
    Ok(runs)
}

/// Holds runs until strike instead of for good, and gives the lines by which they go out.
pub(super) async fn hang(
    tx: &mut WriteTx,
    act: &super::Act,
    design: &Design,
    runs: Vec<Run>,
) -> Result<Vec<Line>, StockError> {
    let stage = db::place::account_of_design(tx, design.id)
        .await?
        .ok_or(StockError::NotFound("set"))?;
    let mut lines = Vec::new();
    for run in runs {
        hold_as(tx, act, design, &run, HoldUse::Returns).await?;
        lines.push(Line {
            moved: moved(&run.thing),
            from: run.thing.place.account,
            to: stage,
        });
    }
    Ok(lines)
}

/// Holds runs for good again, after they were put back.
pub(super) async fn unhang(
    tx: &mut WriteTx,
    act: &super::Act,
    design: &Design,
    things: &[ThingId],
) -> Result<(), StockError> {
    for id in things {
        for hold in db::reservation::list_on_thing(tx, *id).await? {
            if hold.hold.design == design.id {
                let run = Run {
                    hold: hold.id,
                    bar: hold.hold.bar,
                    thing: super::change::thing(tx, *id).await?,
                };
                hold_as(tx, act, design, &run, HoldUse::Consumed).await?;
            }
        }
    }
    Ok(())
}

async fn hold_as(
    tx: &mut WriteTx,
    act: &super::Act,
    design: &Design,
    run: &Run,
    becomes: HoldUse,
) -> Result<(), StockError> {
    let length = db::piece::lookup(tx, run.thing.id)
        .await?
        .ok_or(StockError::NotFound("piece"))?
        .piece
        .amount;
    db::reservation::end(tx, run.hold).await?;
    let hold = NewHold {
        design: design.id,
        bar: run.bar,
        held: Held::Thing {
            thing: run.thing.id,
            from: 0,
            to: length,
        },
        window: super::reserve::window_of(design, becomes),
        becomes,
    };
    db::reservation::add(tx, &hold, act.today, &act.who).await?;
    Ok(())
}
