//! The catalogue written as CSV.

use std::collections::HashMap;

use sqlx::SqliteConnection;

use super::{Book, OWN};
use crate::{
    db::{self, DbError},
    model::{
        attribute::{self, Typed},
        csv::write,
        part::Kind,
    },
    units::LengthUnit,
};

/// The catalogue as CSV: of one kind or of all; only the titles where `template`.
pub async fn out(
    tx: &mut SqliteConnection,
    kind: Option<Kind>,
    unit: LengthUnit,
    template: bool,
    mark: bool,
) -> Result<String, DbError> {
    let book = Book::load(tx).await?;
    let kinds: Vec<Kind> = kind.map_or_else(|| Kind::ALL.to_vec(), |kind| vec![kind]);
    let mut attributes: Vec<(String, String)> = Vec::new();
    for attribute in kinds.iter().flat_map(|kind| attribute::of(*kind)) {
        if attributes
            .iter()
            .all(|(name, _)| *name != attribute.column())
        {
            attributes.push((attribute.column(), attribute.title(unit)));
        }
    }
    let (before, after) = OWN.split_at(3);
    let titles: Vec<String> = before
        .iter()
        .map(|title| (*title).to_owned())
        .chain(attributes.iter().map(|(_, title)| title.clone()))
        .chain(after.iter().map(|title| (*title).to_owned()))
        .collect();
    let mut rows = Vec::new();
    if !template {
        let yes = |yes: bool| if yes { "yes" } else { "no" }.to_owned();
        for kind in kinds {
            for part in db::part::list(tx, Some(kind), true).await? {
                let mut cells: HashMap<String, String> = attribute::show(&part.spec, unit)
                    .into_iter()
                    .map(|shown| {
                        let cell = match shown.attribute.typed {
                            Typed::Part(_) => shown
                                .text
                                .parse()
                                .ok()
                                .and_then(|id| book.names.get(&id).cloned())
                                .unwrap_or_default(),
                            _ => shown.attribute.cell(&shown.text, unit),
                        };
                        (shown.attribute.column(), cell)
                    })
                    .collect();
                let mut row = vec![
                    kind.label().to_owned(),
                    part.name.to_string(),
                    part.code.clone(),
                ];
                row.extend(
                    attributes
                        .iter()
                        .map(|(column, _)| cells.remove(column).unwrap_or_default()),
                );
                row.extend([
                    yes(part.typical),
                    yes(part.retired),
                    part.note.as_str().to_owned(),
                ]);
                rows.push(row);
            }
        }
    }
    Ok(write(&titles, &rows, mark))
}
