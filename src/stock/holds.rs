//! The truth comes first: what happens to holds when the stock turns out otherwise.
//!
//! A correction, a loss, a bad condition or a cut is never refused because of a hold. Afterwards,
//! in the same transaction, each hold on what is gone moves to a like thing that is free on its
//! days: after a cut to the child that holds its range, else to another piece, unit or fixture of
//! the same make. Where there is none it breaks, says why, and its design shows it until it is
//! planned and reserved again. Of a count, the latest holds break.

use std::collections::BTreeSet;

use serde::{Deserialize, Serialize};
use sqlx::SqliteConnection;
use utoipa::ToSchema;

use super::StockError;
use crate::{
    db::{
        self, WriteTx,
        reservation::HeldThing,
        snapshot::{Ask, list_fixtures, list_spare_pieces, list_spare_units},
    },
    model::{
        fixture::Condition,
        id::{DesignId, PartId, ThingId},
        part::PartSpec,
        reservation::{Held, Hold},
        thing::ThingKind,
    },
    plan::{
        available::{At, Rules, freedom},
        input::Freedom,
    },
    units::{Date, Length, Window},
};

/// What became of a hold.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Touched {
    /// Whose it is.
    pub design: DesignId,
    /// Whether it broke; otherwise it moved to a like thing.
    pub broken: bool,
    /// What happened, in words.
    pub words: String,
}

/// What became of a hold: whose it is and for which days, and what happened.
async fn touched(
    tx: &mut WriteTx,
    design: DesignId,
    window: Window,
    broken: bool,
    what: &str,
) -> Result<Touched, StockError> {
    let set = db::design::lookup(tx, design)
        .await?
        .ok_or(StockError::NotFound("set"))?;
    let held = format!("Held for {}, {}", set.name, window.say());
    let words = if broken {
        format!("{held}: that hold is broken now. {what}")
    } else {
        format!("{held}: {what}")
    };
    Ok(Touched {
        design,
        broken,
        words,
    })
}

/// The venue's day and rules.
pub async fn rules(tx: &mut SqliteConnection, today: Date) -> Result<Rules, StockError> {
    let venue = db::venue::lookup(tx).await?;
    Ok(Rules {
        today,
        same_day_turnaround: venue.same_day_turnaround,
    })
}

/// Puts right the holds on things and counts that were changed in this transaction.
pub async fn after_change(
    tx: &mut WriteTx,
    things: &[ThingId],
    parts: &[PartId],
    today: Date,
) -> Result<Vec<Touched>, StockError> {
    let mut all = Vec::new();
    let things: BTreeSet<ThingId> = things.iter().copied().collect();
    let parts: BTreeSet<PartId> = parts.iter().copied().collect();
    // The rules are read where there is something to judge by them: most of what moves is not held.
    let mut known = None;
    for thing in things {
        for hold in db::reservation::list_on_thing(tx, thing).await? {
            let rules = match known {
                Some(rules) => rules,
                None => *known.insert(rules(tx, today).await?),
            };
            all.extend(put_right(tx, &hold, thing, rules).await?);
        }
    }
    for part in parts {
        let rules = match known {
            Some(rules) => rules,
            None => *known.insert(rules(tx, today).await?),
        };
        all.extend(count_put_right(tx, part, rules).await?);
    }
    Ok(all)
}

/// Why a held thing no longer serves its hold, if it does not.
fn no_longer(thing: &HeldThing, hold: &Hold, to: i64, rules: Rules) -> Option<String> {
    let Some(at) = &thing.at else {
        return Some(thing.gone.to_owned());
    };
    if to > thing.amount {
        return Some("it is shorter than held".to_owned());
    }
    let at = match at {
        At::Inside { .. } if thing.mounted => &At::Place,
        at => at,
    };
    let free = freedom(
        thing.condition,
        at,
        [],
        Some(hold.hold.design),
        hold.hold.window,
        rules,
    );
    match free {
        Freedom::Free => None,
        Freedom::Not(why) => Some(why),
    }
}

async fn put_right(
    tx: &mut WriteTx,
    hold: &Hold,
    id: ThingId,
    rules: Rules,
) -> Result<Option<Touched>, StockError> {
    let Held::Thing { from, to, .. } = hold.hold.held else {
        return Ok(None);
    };
    let thing = db::reservation::lookup_thing(tx, id)
        .await?
        .ok_or(StockError::NotFound("thing"))?;
    let Some(why) = no_longer(&thing, hold, to, rules) else {
        return Ok(None);
    };
    let design = hold.hold.design;
    // What is on this set's own stage is seen to there (a swap), not quietly replaced.
    let on_stage = matches!(&thing.at, Some(At::Out { design: out, .. }) if *out == design);
    let found = if on_stage {
        None
    } else if let Some(kin) = kin_with_range(tx, id, &thing, from, to).await? {
        Some(kin)
    } else {
        alike(tx, hold, &thing, id, from, to, rules).await?
    };
    let Some((onto, tag)) = found else {
        let why = if on_stage {
            format!("{}: {why}. Its page says what could replace it.", thing.tag)
        } else {
            format!(
                "{}: {why}, and nothing just like it is free. Its page says what comes near.",
                thing.tag
            )
        };
        db::reservation::change_broken(tx, hold.id, &why).await?;
        let window = hold.hold.window;
        return Ok(Some(touched(tx, design, window, true, &why).await?));
    };
    db::reservation::change_held(tx, hold.id, onto, rules.today).await?;
    let words = format!("{tag} is held in place of {}: {why}.", thing.tag);
    let window = hold.hold.window;
    Ok(Some(touched(tx, design, window, false, &words).await?))
}

/// The child of a cut that holds the range, or, where the cut was undone, the piece it was cut
/// from; through several cuts if need be.
async fn kin_with_range(
    tx: &mut WriteTx,
    id: ThingId,
    thing: &HeldThing,
    from: i64,
    to: i64,
) -> Result<Option<(Held, String)>, StockError> {
    if thing.kind != ThingKind::Piece || thing.at.is_some() {
        return Ok(None);
    }
    // A held range of profile takes the saw cut after it along; the saw has taken that now.
    let kerf = match thing.part {
        Some(part) => match db::part::lookup(tx, part).await?.map(|part| part.spec) {
            Some(PartSpec::Profile(profile)) => profile.kerf_um.map_or(0, Length::get),
            _ => 0,
        },
        None => 0,
    };
    // A cut that was undone has left children at the bench: all that fit are looked at.
    let mut ahead = vec![(id, from, to)];
    while let Some((at, start, end)) = ahead.pop() {
        for (child, offset, amount) in db::reservation::list_cut_from(tx, at).await? {
            let last = offset + amount;
            if start < offset || start >= last || end - kerf > last {
                continue;
            }
            let range = (start - offset, end.min(last) - offset);
            if let Some(found) = good(tx, child, range.0, range.1).await? {
                return Ok(Some(found));
            }
            ahead.push((child, range.0, range.1));
        }
    }
    let mut above = thing.cut_from;
    let (mut start, mut end) = (from, to);
    while let Some((parent, offset)) = above {
        (start, end) = (start + offset, end + offset);
        if let Some(found) = good(tx, parent, start, end).await? {
            return Ok(Some(found));
        }
        above = db::reservation::lookup_thing(tx, parent)
            .await?
            .and_then(|thing| thing.cut_from);
    }
    Ok(None)
}

async fn good(
    tx: &mut WriteTx,
    id: ThingId,
    from: i64,
    to: i64,
) -> Result<Option<(Held, String)>, StockError> {
    let thing = db::reservation::lookup_thing(tx, id).await?;
    Ok(thing
        .filter(|it| it.condition == Condition::Good && it.at == Some(At::Place))
        .map(|it| {
            (
                Held::Thing {
                    thing: id,
                    from,
                    to,
                },
                it.tag,
            )
        }))
}

/// A like thing that is free on the hold's days: the same part, or a fixture of the same make; a
/// piece with room, the smallest room first, so that long pieces stay long.
async fn alike(
    tx: &mut WriteTx,
    hold: &Hold,
    thing: &HeldThing,
    id: ThingId,
    from: i64,
    to: i64,
    rules: Rules,
) -> Result<Option<(Held, String)>, StockError> {
    // Its own holds count here: what this set holds otherwise is not free for it twice.
    let ask = Ask {
        own: None,
        window: hold.hold.window,
        rules,
    };
    let whole = |thing: ThingId| Held::Thing {
        thing,
        from: 0,
        to: 1,
    };
    Ok(match thing.kind {
        ThingKind::Piece => {
            let length = to - from;
            let Some(part) = thing.part else {
                return Ok(None);
            };
            list_spare_pieces(tx, ask, part)
                .await?
                .into_iter()
                .filter(|spare| spare.piece.id != id)
                .flat_map(|spare| {
                    let ranges = spare.free.clone().into_iter();
                    ranges
                        .filter(move |(start, end)| end - start >= length)
                        .map(move |(start, end)| {
                            let piece = &spare.piece;
                            (end - start, piece.id, start, piece.tag.to_string())
                        })
                })
                .min()
                .map(|(_, thing, start, tag)| {
                    let range = Held::Thing {
                        thing,
                        from: start,
                        to: start + length,
                    };
                    (range, tag)
                })
        }
        ThingKind::Unit => list_spare_units(tx, ask)
            .await?
            .into_iter()
            .filter(|spare| Some(spare.part) == thing.part && spare.thing != id)
            .find(|spare| spare.freedom == Freedom::Free)
            .map(|spare| (whole(spare.thing), spare.tag.to_string())),
        ThingKind::Fixture => {
            let fixtures = list_fixtures(tx, ask).await?;
            let make = match fixtures.iter().find(|spare| spare.fixture.id == id) {
                Some(spare) => Some(spare.fixture.make.clone()),
                None => db::fixture::lookup(tx, id)
                    .await?
                    .map(|gone| gone.fixture.make),
            };
            fixtures
                .into_iter()
                .filter(|spare| spare.fixture.id != id && spare.freedom == Freedom::Free)
                .find(|spare| Some(&spare.fixture.make) == make.as_ref())
                .map(|spare| (whole(spare.fixture.id), spare.fixture.tag.to_string()))
        }
        ThingKind::Frame => None,
    })
}

/// Breaks the latest holds on a count until the others have what they hold.
async fn count_put_right(
    tx: &mut WriteTx,
    part: PartId,
    rules: Rules,
) -> Result<Vec<Touched>, StockError> {
    let mut all = Vec::new();
    let Some(mut counted) = db::reservation::list_counted(tx, Some(part))
        .await?
        .remove(&part)
    else {
        return Ok(all);
    };
    let name = match db::part::lookup(tx, part).await? {
        Some(part) => part.name.to_string(),
        None => return Err(StockError::NotFound("part")),
    };
    let mut holds = db::reservation::list_on_part(tx, part).await?;
    holds.sort_by_key(|hold| std::cmp::Reverse(hold.id));
    for hold in holds {
        let Held::Count { amount, due, .. } = hold.hold.held else {
            continue;
        };
        if counted.available(hold.hold.window, rules) >= 0 {
            continue;
        }
        let (design, window) = (hold.hold.design, hold.hold.window);
        if let Some(at) = counted.claims.iter().position(|claim| {
            claim.design == design
                && claim.window == window
                && claim.to - claim.from == amount
                && claim.due == due
        }) {
            counted.claims.remove(at);
        }
        let why = format!(
            "{name}: there are fewer than are held, and this hold of {amount} was made last."
        );
        db::reservation::change_broken(tx, hold.id, &why).await?;
        all.push(touched(tx, design, window, true, &why).await?);
    }
    Ok(all)
}
