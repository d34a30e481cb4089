//! The catalogue: parts added, changed, retired, deleted, and taken from the ready-made ones.

use super::{Act, Begun, StockError};
use crate::{
    db::{
        DbError, Refusal, WriteTx,
        part::{self, NewPart},
    },
    model::{
        id::PartId,
        part::{Kind, Part, PartSpec},
        ready_made,
        text::{NAME_LIMIT, Name, Note},
    },
};

/// Adds a part.
pub async fn add(act: &Act, new: &NewPart) -> Result<PartId, StockError> {
    match act.begin().await? {
        Begun::Repeat(id) => Ok(id),
        Begun::Fresh(mut tx) => {
            let id = add_in(&mut tx, new).await?;
            act.finish(tx, id).await
        }
    }
}

/// Adds a part in a transaction that does more.
pub async fn add_in(tx: &mut WriteTx, new: &NewPart) -> Result<PartId, StockError> {
    check(tx, &new.spec).await?;
    part::add(tx, new).await.map_err(name_taken)
}

/// Changes a part that was read at `part.version`.
pub async fn change(act: &Act, part: &Part) -> Result<(), StockError> {
    match act.begin().await? {
        Begun::Repeat(()) => Ok(()),
        Begun::Fresh(mut tx) => {
            change_in(&mut tx, part).await?;
            act.finish(tx, ()).await
        }
    }
}

/// Changes a part in a transaction that does more.
pub async fn change_in(tx: &mut WriteTx, part: &Part) -> Result<(), StockError> {
    if part::lookup(tx, part.id).await?.is_none() {
        return Err(StockError::NotFound("part"));
    }
    check(tx, &part.spec).await?;
    if part::change(tx, part).await.map_err(name_taken)? {
        Ok(())
    } else {
        Err(StockError::Changed)
    }
}

/// Retires a part, or offers it again.
pub async fn retire(act: &Act, id: PartId, retired: bool) -> Result<(), StockError> {
    match act.begin().await? {
        Begun::Repeat(()) => Ok(()),
        Begun::Fresh(mut tx) => {
            if !part::retire(&mut tx, id, retired).await? {
                return Err(StockError::NotFound("part"));
            }
            act.finish(tx, ()).await
        }
    }
}

/// Deletes a part that nothing uses, and answers what it was called and of which kind it was.
pub async fn remove(act: &Act, id: PartId) -> Result<(Name, Kind), StockError> {
    match act.begin().await? {
        Begun::Repeat(removed) => Ok(removed),
        Begun::Fresh(mut tx) => {
            let found = part::lookup(&mut tx, id).await?;
            let part = found.ok_or(StockError::NotFound("part"))?;
            part::remove(&mut tx, id).await?;
            act.finish(tx, (part.name, part.spec.kind())).await
        }
    }
}

/// Takes ready-made parts into the catalogue, all or none; those that are there already stay as
/// they are. Answers how many were added.
pub async fn take_ready_made(act: &Act, keys: &[String]) -> Result<usize, StockError> {
    let mut tx = match act.begin().await? {
        Begun::Repeat(added) => return Ok(added),
        Begun::Fresh(tx) => tx,
    };
    let there = part::list_ready_made(&mut tx).await?;
    let mut added = 0;
    for key in keys.iter().filter(|key| !there.contains(key)) {
        let ready = ready_made::find(key).ok_or(StockError::NotFound("ready-made part"))?;
        let new = NewPart {
            name: free_name(&mut tx, &ready.name).await?,
            code: String::new(),
            spec: ready.spec.clone(),
            typical: true,
            ready_made: Some(ready.key.to_owned()),
            note: Note::default(),
        };
        part::add(&mut tx, &new).await?;
        added += 1;
    }
    act.finish(tx, added).await
}

/// The name, or the name with a number where a part of one's own has it already.
async fn free_name(tx: &mut WriteTx, name: &Name) -> Result<Name, StockError> {
    let mut free = name.clone();
    for number in 2_u32.. {
        if part::find_by_name(tx, free.as_str()).await?.is_none() {
            break;
        }
        let short: String = name.as_str().chars().take(NAME_LIMIT - 12).collect();
        free = Name::parse(&format!("{short} ({number})"))
            .map_err(|why| StockError::refused(why.to_string()))?;
    }
    Ok(free)
}

/// What the attributes refer to must be there.
async fn check(tx: &mut WriteTx, spec: &PartSpec) -> Result<(), StockError> {
    spec.check().map_err(|why| StockError::Field {
        field: why.field.to_owned(),
        message: why.message,
    })?;
    if let PartSpec::Sundry(sundry) = spec
        && let Some(profile) = sundry.goes_with
    {
        let there = part::lookup(tx, profile).await?;
        if there.is_none_or(|part| part.spec.kind() != Kind::Profile) {
            return Err(StockError::Field {
                field: "goes_with".into(),
                message: "There is no such profile. Choose one from the list.".into(),
            });
        }
    }
    Ok(())
}

fn name_taken(why: DbError) -> StockError {
    match why {
        DbError::Refused(Refusal::Taken("part.name")) => StockError::Field {
            field: "name".into(),
            message: "A part of this name is there already. Choose another name.".into(),
        },
        why => why.into(),
    }
}
