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
    let things = list_things(tx, typed, 0, limit).await?;
    Ok(Found {
        parts,
        things,
        places,
        designs,
        suppliers,
        people,
    })
}

/// Things in which every word typed occurs, those that one still owns first: at most `limit` of them,
/// after the first `offset`.
pub async fn list_things(
    tx: &mut SqliteConnection,
    typed: &str,
    offset: i64,
    limit: i64,
) -> Result<Vec<Thing>, DbError> {
    let [a, b, c, d] = typed_words(typed);
    if a.is_empty() {
        return Ok(Vec::new());
    }
    let ids = find_things(tx, [&a, &b, &c, &d], offset.saturating_add(limit)).await?;
    let before = usize::try_from(offset).unwrap_or(0);
    thing::list_in_order(tx, ids.get(before..).unwrap_or_default()).await
}

/// Things in which every word typed occurs: those that one still owns first, and of them the one whose
/// tag is the first word.
async fn find_things(
    tx: &mut SqliteConnection,
    words: [&str; 4],
    limit: i64,
) -> Result<Vec<ThingId>, DbError> {
    let most = usize::try_from(limit).unwrap_or(0);
    let [first, ..] = words;
    let tagged = sqlx::query_scalar!(
        r#"SELECT id AS "id!: i64" FROM thing WHERE tag = upper(?)"#,
        first
    )
    .fetch_optional(&mut *tx)
    .await?;
    let mut found = Vec::new();
    for owned in [true, false] {
        if found.len() >= most {
            break;
        }
        if let Some(id) = tagged {
            found.extend(list_matching(tx, words, owned, Some(id), 1).await?);
        }
        let others = list_matching(tx, words, owned, None, limit).await?;
        found.extend(others.into_iter().filter(|id| Some(id.0) != tagged));
    }
    found.truncate(most);
    Ok(found)
}

/// Those of one's own or those that are gone, by their tags; only one of them where that is asked.
async fn list_matching(
    tx: &mut SqliteConnection,
    [a, b, c, d]: [&str; 4],
    owned: bool,
    only: Option<i64>,
    limit: i64,
) -> Result<Vec<ThingId>, DbError> {
    // Parts and places are few and looked through once each; the many things only ask which words
    // their part and place have already answered, in the order of their tags and only until there are
    // enough. Tags are in capitals.
    Ok(sqlx::query_scalar!(
        r#"WITH p AS MATERIALIZED (
             SELECT id, instr(words, ?1) > 0 AS a, ?2 = '' OR instr(words, ?2) AS b,
               ?3 = '' OR instr(words, ?3) AS c, ?4 = '' OR instr(words, ?4) AS d FROM part),
           said AS MATERIALIZED (
             SELECT account_id, lower(words) AS words FROM whereabouts
             WHERE (kind IN ('place', 'design', 'loan', 'inside')) = ?5
               AND EXISTS (SELECT 1 FROM thing WHERE thing.account_id = whereabouts.account_id)),
           w AS MATERIALIZED (
             SELECT account_id, instr(words, ?1) > 0 AS a, ?2 = '' OR instr(words, ?2) AS b,
               ?3 = '' OR instr(words, ?3) AS c, ?4 = '' OR instr(words, ?4) AS d FROM said)
           SELECT thing.id AS "id!: i64" FROM thing
           CROSS JOIN w ON w.account_id = thing.account_id
           LEFT JOIN p ON p.id = thing.part_id
           WHERE (?6 IS NULL OR thing.id = ?6)
             AND (p.a OR w.a OR instr(thing.tag, upper(?1)) OR instr(thing.words, ?1))
             AND (w.b OR p.b OR instr(thing.tag, upper(?2)) OR instr(thing.words, ?2))
             AND (w.c OR p.c OR instr(thing.tag, upper(?3)) OR instr(thing.words, ?3))
             AND (w.d OR p.d OR instr(thing.tag, upper(?4)) OR instr(thing.words, ?4))
           ORDER BY length(thing.tag), thing.tag LIMIT ?7"#,
        a,
        b,
        c,
        d,
        owned,
        only,
        limit
    )
    .fetch_all(tx)
    .await?
    .into_iter()
    .map(ThingId)
    .collect())
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
