//! The ledger.

use serde::Serialize;
use utoipa::ToSchema;

use super::{Amount, Named};
use crate::{
    db,
    model::{
        fixture::Condition,
        id::{MovementId, PartId, ThingId},
        movement::MovementKind,
        place::Whereabouts,
    },
    units::Date,
};

/// A movement of the ledger.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct Movement {
    /// Its id.
    pub id: MovementId,
    /// Milliseconds since 1970 (UTC).
    pub at_ms: i64,
    /// The venue's calendar day.
    #[schema(value_type = String, format = Date)]
    pub on: Date,
    /// Why.
    pub kind: MovementKind,
    /// Who.
    pub who: String,
    /// In the person's own words; may be empty.
    pub reason: String,
    /// For which set.
    pub design: Option<Named>,
    /// The movement that it undoes.
    pub undoes: Option<MovementId>,
    /// The movement that undid it.
    pub undone_by: Option<MovementId>,
    /// The condition that it noted.
    pub mark: Option<Mark>,
    /// What moved.
    pub lines: Vec<MovementLine>,
}

/// A condition that was noted.
#[derive(Debug, Clone, Serialize, ToSchema)]
#[schema(as = MovementMark)]
pub struct Mark {
    /// Of which thing.
    pub thing: ThingId,
    /// Its tag.
    pub tag: String,
    /// What it was.
    pub before: Condition,
    /// What it was from then on.
    pub after: Condition,
}

/// A line of a movement.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct MovementLine {
    /// Of which part.
    pub part: Option<PartId>,
    /// Which thing, if one.
    pub thing: Option<ThingId>,
    /// Its tag.
    pub tag: Option<String>,
    /// What it is called.
    pub name: String,
    /// How much.
    pub amount: Amount,
    /// From where.
    pub from: Whereabouts,
    /// To where.
    pub to: Whereabouts,
}

impl From<db::movement::Entry> for Movement {
    fn from(entry: db::movement::Entry) -> Self {
        let line = |line: db::movement::EntryLine| MovementLine {
            part: line.part,
            thing: line.thing,
            tag: line.tag.map(|tag| tag.to_string()),
            name: line.name,
            amount: Amount::new(line.amount.unit, line.amount.amount, line.amount.rest_um),
            from: line.from,
            to: line.to,
        };
        Self {
            id: entry.id,
            at_ms: entry.at_ms,
            on: entry.on,
            kind: entry.kind,
            who: entry.who.to_string(),
            reason: entry.reason.as_str().to_owned(),
            design: entry.design.map(|(id, name)| Named { id: id.0, name }),
            undoes: entry.undoes,
            undone_by: entry.undone_by,
            mark: entry.mark.map(|(mark, tag)| Mark {
                thing: mark.thing,
                tag: tag.to_string(),
                before: mark.before,
                after: mark.after,
            }),
            lines: entry.lines.into_iter().map(line).collect(),
        }
    }
}
