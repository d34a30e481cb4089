//! SQL for the one search field: parts, things, places, sets, suppliers and people by anything that somebody may type.

use sqlx::SqliteConnection;

use super::{DbError, part::typed_words, refusal::read, thing};
use crate::model::{
    id::{DesignId, PartId, PlaceId, SupplierId, ThingId},
    part::Kind,
    place::PlaceKind,
    text::Name,
    thing::Thing,
};

/// What a search finds. Every word typed occurs in each, part of a word counts.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Found {
    /// Parts, those in use first.
    pub parts: Vec<(PartId, Name, Kind)>,
    /// Things, those that one still owns first.
    pub things: Vec<Thing>,
    /// Places that are in use, with their paths.
    pub places: Vec<(PlaceId, String, PlaceKind)>,
    /// Designs, by their names and notes.
    pub designs: Vec<(DesignId, Name)>,
    /// Suppliers, those in use first.
    pub suppliers: Vec<(SupplierId, Name)>,
    /// Names to choose from as 'who'.
    pub people: Vec<Name>,
}

impl Found {
    /// Whether there is nothing.
    pub const fn is_empty(&self) -> bool {
        self.parts.is_empty()
            && self.things.is_empty()
            && self.places.is_empty()
            && self.designs.is_empty()
            && self.suppliers.is_empty()
            && self.people.is_empty()
    }
}

/// Searches names, kinds, attributes, tags and places; at most `limit` of each sort.
pub async fn search(tx: &mut SqliteConnection, typed: &str, limit: i64) -> Result<Found, DbError> {
    let [a, b, c, d] = typed_words(typed);
    if a.is_empty() {
        return Ok(Found::default());
    }
    let parts = sqlx::query!(
        "SELECT id, name, kind FROM part
         WHERE instr(words, ?) AND instr(words, ?) AND instr(words, ?) AND instr(words, ?)
         ORDER BY retired, kind, name LIMIT ?",
        a,
        b,
        c,
        d,
        limit
    )
    .fetch_all(&mut *tx)
    .await?
    .into_iter()
    .map(|row| {
        Ok((
            PartId(row.id),
            read("part.name", Name::parse(&row.name))?,
            read("part.kind", row.kind.parse())?,
        ))
    })
    .collect::<Result<_, DbError>>()?;
    let places = sqlx::query!(
        "SELECT id, path, kind FROM place
         WHERE retired = 0 AND instr(lower(path), ?) AND instr(lower(path), ?)
           AND instr(lower(path), ?) AND instr(lower(path), ?)
         ORDER BY path COLLATE NOCASE LIMIT ?",
        a,
        b,
        c,
        d,
        limit
    )
    .fetch_all(&mut *tx)
    .await?
    .into_iter()
    .map(|row| {
        Ok((
            PlaceId(row.id),
            row.path,
            read("place.kind", row.kind.parse())?,
        ))
    })
    .collect::<Result<_, DbError>>()?;
    let designs = sqlx::query!(
        r#"WITH said AS (SELECT id, name, strike_on, lower(name || ' ' || note) AS words FROM design)
           SELECT id AS "id!", name AS "name!" FROM said
           WHERE instr(words, ?) AND instr(words, ?) AND instr(words, ?) AND instr(words, ?)
           ORDER BY strike_on DESC, id LIMIT ?"#,
        a,
        b,
        c,
        d,
        limit
    )
    .fetch_all(&mut *tx)
    .await?
    .into_iter()
    .map(|row| {
        Ok((
            DesignId(row.id),
            read("design.name", Name::parse(&row.name))?,
        ))
    })
    .collect::<Result<_, DbError>>()?;
    let suppliers = sqlx::query!(
        r#"WITH said AS (SELECT id, name, retired, lower(name || ' ' || note) AS words FROM supplier)
           SELECT id AS "id!", name AS "name!" FROM said
           WHERE instr(words, ?) AND instr(words, ?) AND instr(words, ?) AND instr(words, ?)
           ORDER BY retired, name COLLATE NOCASE LIMIT ?"#,
        a,
        b,
        c,
        d,
        limit
    )
    .fetch_all(&mut *tx)
    .await?
    .into_iter()
    .map(|row| {
        Ok((
            SupplierId(row.id),
            read("supplier.name", Name::parse(&row.name))?,
        ))
    })
    .collect::<Result<_, DbError>>()?;
    let people = sqlx::query_scalar!(
        "SELECT name FROM person
         WHERE instr(lower(name), ?) AND instr(lower(name), ?) AND instr(lower(name), ?)
           AND instr(lower(name), ?)
         ORDER BY name COLLATE NOCASE LIMIT ?",
        a,
        b,
        c,
        d,
        limit
    )
    .fetch_all(&mut *tx)
    .await?
    .into_iter()
    .map(|name| read("person.name", Name::parse(&name)))
    .collect::<Result<_, DbError>>()?;
    // Parts and places are few and looked through once each; the many things only ask which words
    // their part and place have already answered. Tags are in capitals.
    let ids: Vec<ThingId> = sqlx::query_scalar!(
        r#"WITH p AS MATERIALIZED (
             SELECT id, instr(words, ?1) > 0 AS a, instr(words, ?2) > 0 AS b,
               instr(words, ?3) > 0 AS c, instr(words, ?4) > 0 AS d FROM part),
           w AS MATERIALIZED (
             SELECT account_id, kind IN ('place', 'design', 'loan', 'inside') AS owned,
               instr(lower(words), ?1) > 0 AS a, instr(lower(words), ?2) > 0 AS b,
               instr(lower(words), ?3) > 0 AS c, instr(lower(words), ?4) > 0 AS d FROM whereabouts)
           SELECT thing.id AS "id!: i64" FROM thing
           JOIN w ON w.account_id = thing.account_id
           LEFT JOIN p ON p.id = thing.part_id
           WHERE (p.a OR w.a OR instr(thing.tag, upper(?1)) OR instr(thing.words, ?1))
             AND (p.b OR w.b OR instr(thing.tag, upper(?2)) OR instr(thing.words, ?2))
             AND (p.c OR w.c OR instr(thing.tag, upper(?3)) OR instr(thing.words, ?3))
             AND (p.d OR w.d OR instr(thing.tag, upper(?4)) OR instr(thing.words, ?4))
           ORDER BY w.owned DESC, thing.tag = upper(?1) DESC, length(thing.tag), thing.tag LIMIT ?5"#,
        a,
        b,
        c,
        d,
        limit
    )
    .fetch_all(&mut *tx)
    .await?
    .into_iter()
    .map(ThingId)
    .collect();
    let things = thing::list_in_order(tx, &ids).await?;
    Ok(Found {
        parts,
        things,
        places,
        designs,
        suppliers,
        people,
    })
}

/// The things that were moved last and the sets that were changed last, each the latest first.
pub async fn recent(
    tx: &mut SqliteConnection,
    limit: i64,
) -> Result<(Vec<Thing>, Vec<(DesignId, Name)>), DbError> {
    // Looked for among the latest movements and changes only: the ledger may be long.
    let ids = sqlx::query_scalar!(
        r#"SELECT thing_id AS "id!: i64" FROM movement_line
           WHERE movement_id > (SELECT coalesce(max(id), 0) - 200 FROM movement)
             AND thing_id IS NOT NULL
           GROUP BY thing_id ORDER BY max(movement_id) DESC, thing_id LIMIT ?"#,
        limit
    )
    .fetch_all(&mut *tx)
    .await?;
    let ids: Vec<ThingId> = ids.into_iter().map(ThingId).collect();
    let things = thing::list_in_order(&mut *tx, &ids).await?;
    let sets = sqlx::query!(
        r#"SELECT design.id AS "id!", design.name AS "name!" FROM change
           JOIN design ON design.id = CASE change.of
               WHEN 'design' THEN change.row_id
               ELSE coalesce(json_extract(change.after, '$.design_id'), json_extract(change.before, '$.design_id'))
           END
           WHERE change.id > (SELECT coalesce(max(id), 0) - 500 FROM change)
             AND change.of IN ('design', 'bar', 'design_frame', 'design_extra')
           GROUP BY design.id ORDER BY max(change.id) DESC LIMIT ?"#,
        limit
    )
    .fetch_all(tx)
    .await?;
    let sets = sets.into_iter().map(|row| {
        Ok((
            DesignId(row.id),
            read("design.name", Name::parse(&row.name))?,
        ))
    });
    Ok((things, sets.collect::<Result<_, DbError>>()?))
}
