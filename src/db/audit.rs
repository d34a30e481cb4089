//! SQL that holds the kept figures against the ledger that they come from.

use sqlx::SqliteConnection;

use super::DbError;

/// Balances that are not the sum of their lines, that do not match the things that lie there, or
/// that are below nothing where one's own can't be.
pub async fn list_balance_faults(tx: &mut SqliteConnection) -> Result<Vec<String>, DbError> {
    let mut faults = Vec::new();
    let rows = sqlx::query!(
        r#"WITH moved (part_id, account_id, amount, things) AS (
             SELECT part_id, to_id, amount, thing_id IS NOT NULL FROM movement_line WHERE part_id IS NOT NULL
             UNION ALL
             SELECT part_id, from_id, -amount, -(thing_id IS NOT NULL) FROM movement_line WHERE part_id IS NOT NULL),
           summed AS (
             SELECT part_id, account_id, sum(amount) AS amount, sum(things) AS things FROM moved
             GROUP BY part_id, account_id),
           every AS (
             SELECT part_id, account_id FROM summed UNION SELECT part_id, account_id FROM balance)
           SELECT part.name AS "name!", every.part_id AS "part!: i64", every.account_id AS "account!: i64",
             coalesce(balance.amount, 0) AS "kept!: i64", coalesce(summed.amount, 0) AS "summed!: i64",
             coalesce(balance.things, 0) AS "kept_things!: i64", coalesce(summed.things, 0) AS "summed_things!: i64"
           FROM every
           LEFT JOIN part ON part.id = every.part_id
           LEFT JOIN balance ON balance.part_id = every.part_id AND balance.account_id = every.account_id
           LEFT JOIN summed ON summed.part_id = every.part_id AND summed.account_id = every.account_id
           WHERE coalesce(balance.amount, 0) <> coalesce(summed.amount, 0)
              OR coalesce(balance.things, 0) <> coalesce(summed.things, 0)"#
    )
    .fetch_all(&mut *tx)
    .await?;
    for row in rows {
        faults.push(format!(
            "Balance of part {} ({}) in account {} is {} in {} things, but its ledger lines sum to \
             {} in {}.",
            row.part,
            row.name,
            row.account,
            row.kept,
            row.kept_things,
            row.summed,
            row.summed_things
        ));
    }
    let rows = sqlx::query!(
        r#"SELECT balance.part_id AS "part_id!: i64", balance.account_id AS "account_id!: i64", balance.things AS "kept!: i64", count(thing.id) AS "there!: i64"
           FROM balance
           LEFT JOIN thing ON thing.part_id = balance.part_id AND thing.account_id = balance.account_id
           WHERE balance.account_id NOT IN (1, 5, 6)
           GROUP BY balance.part_id, balance.account_id HAVING balance.things <> count(thing.id)"#
    )
    .fetch_all(&mut *tx)
    .await?;
    for row in rows {
        faults.push(format!(
            "Account {} should hold {} things of part {}, but {} lie there.",
            row.account_id, row.kept, row.part_id, row.there
        ));
    }
    let rows = sqlx::query!(
        "SELECT balance.part_id, balance.account_id, balance.amount
         FROM balance JOIN account ON account.id = balance.account_id
         WHERE balance.amount < 0 AND account.kind IN ('place', 'design', 'loan', 'inside')"
    )
    .fetch_all(tx)
    .await?;
    for row in rows {
        faults.push(format!(
            "Balance of part {} in account {} is below zero: {}.",
            row.part_id, row.account_id, row.amount
        ));
    }
    Ok(faults)
}

/// Totals of parts that are not the sum of their balances.
pub async fn list_total_faults(tx: &mut SqliteConnection) -> Result<Vec<String>, DbError> {
    let rows = sqlx::query!(
        r#"WITH summed AS (
             SELECT balance.part_id,
               sum(iif(account.kind = 'place', balance.amount, 0)) AS in_places,
               sum(iif(account.kind = 'design', balance.amount, 0)) AS on_stage,
               sum(iif(account.kind = 'loan', balance.amount, 0)) AS lent,
               sum(iif(account.kind = 'inside' AND whole.kind IN ('place', 'design', 'loan', 'inside'),
                 balance.amount, 0)) AS inside,
               sum(iif(account.kind = 'place', balance.things, 0)) AS things_in_places,
               sum(account.kind = 'place' AND balance.amount > 0) AS places,
               sum(iif(account.kind = 'place' AND balance.amount > 0, account.place_id, 0)) AS places_sum
             FROM balance JOIN account ON account.id = balance.account_id
             LEFT JOIN thing AS holder ON holder.id = account.thing_id
             LEFT JOIN account AS whole ON whole.id = holder.account_id
             GROUP BY balance.part_id)
           SELECT part.id, part.name,
             kept.in_places AS "in_places?", coalesce(summed.in_places, 0) AS "places_amount!: i64",
             kept.on_stage AS "on_stage?", coalesce(summed.on_stage, 0) AS "stage_amount!: i64",
             kept.lent AS "lent?", coalesce(summed.lent, 0) AS "loan_amount!: i64",
             kept.inside AS "inside?", coalesce(summed.inside, 0) AS "inside_amount!: i64",
             kept.things_in_places AS "things_in_places?", coalesce(summed.things_in_places, 0) AS "places_things!: i64",
             kept.places AS "places?", coalesce(summed.places, 0) AS "places_number!: i64",
             kept.places_sum AS "places_sum?", coalesce(summed.places_sum, 0) AS "places_ids!: i64"
           FROM part LEFT JOIN part_total AS kept ON kept.part_id = part.id
           LEFT JOIN summed ON summed.part_id = part.id"#
    )
    .fetch_all(tx)
    .await?;
    let mut faults = Vec::new();
    for row in rows {
        for (what, kept, summed) in [
            ("amount in places", row.in_places, row.places_amount),
            ("amount on stage", row.on_stage, row.stage_amount),
            ("amount lent out", row.lent, row.loan_amount),
            ("amount built in", row.inside, row.inside_amount),
            ("things in places", row.things_in_places, row.places_things),
            ("number of places", row.places, row.places_number),
            ("sum of its places' ids", row.places_sum, row.places_ids),
        ] {
            if kept != Some(summed) {
                faults.push(format!(
                    "Total of part {} ({}): its {what} is kept as {}, but the balances say {summed}.",
                    row.id,
                    row.name,
                    kept.map_or_else(|| "nothing".to_owned(), |kept| kept.to_string()),
                ));
            }
        }
    }
    Ok(faults)
}

/// Corrected counts whose amount is not what their place held after them by the ledger.
pub async fn list_count_faults(tx: &mut SqliteConnection) -> Result<Vec<String>, DbError> {
    let rows = sqlx::query!(
        r#"WITH correction (line_id, movement_id, account_id) AS (
             SELECT line.id, line.movement_id, iif(source.kind = 'place', line.from_id, line.to_id)
             FROM movement JOIN movement_line AS line ON line.movement_id = movement.id
             JOIN account AS source ON source.id = line.from_id
             WHERE movement.kind = 'count' AND line.thing_id IS NULL),
           moved (line_id, part_id, account_id, amount) AS (
             SELECT id, part_id, to_id, amount FROM movement_line WHERE thing_id IS NULL
             UNION ALL
             SELECT id, part_id, from_id, -amount FROM movement_line WHERE thing_id IS NULL),
           running (line_id, account_id, amount) AS (
             SELECT line_id, account_id,
               sum(amount) OVER (PARTITION BY part_id, account_id ORDER BY line_id)
             FROM moved)
           SELECT correction.movement_id AS "movement!: i64", counted.amount AS "kept?: i64",
             running.amount AS "summed!: i64"
           FROM correction JOIN running USING (line_id, account_id)
           LEFT JOIN counted ON counted.line_id = correction.line_id
           WHERE counted.amount IS NOT running.amount"#
    )
    .fetch_all(&mut *tx)
    .await?;
    let mut faults: Vec<String> = rows
        .into_iter()
        .map(|row| {
            format!(
                "Movement {} corrected a count to {}, but its ledger lines sum to {}.",
                row.movement,
                row.kept
                    .map_or_else(|| "nothing".to_owned(), |kept| kept.to_string()),
                row.summed
            )
        })
        .collect();
    let rows = sqlx::query!(
        r#"SELECT counted.line_id, counted.amount FROM counted
           LEFT JOIN movement_line AS line ON line.id = counted.line_id
           LEFT JOIN movement ON movement.id = line.movement_id
           WHERE movement.kind IS NOT 'count' OR line.thing_id IS NOT NULL"#
    )
    .fetch_all(tx)
    .await?;
    faults.extend(rows.into_iter().map(|row| {
        format!(
            "Line {} is kept as a count of {}, but it corrected none.",
            row.line_id, row.amount
        )
    }));
    Ok(faults)
}

/// Things that are not where their last line put them, whose lines do not follow one another, or
/// whose condition is not the one last marked; kinds without their own row.
pub async fn list_thing_faults(tx: &mut SqliteConnection) -> Result<Vec<String>, DbError> {
    let mut faults = Vec::new();
    let rows = sqlx::query!(
        r#"SELECT thing.id, thing.tag, thing.account_id AS "account?: i64",
             (SELECT to_id FROM movement_line WHERE thing_id = thing.id ORDER BY id DESC LIMIT 1) AS "last?: i64"
           FROM thing
           WHERE thing.account_id IS NULL OR thing.account_id IS NOT
             (SELECT to_id FROM movement_line WHERE thing_id = thing.id ORDER BY id DESC LIMIT 1)"#
    )
    .fetch_all(&mut *tx)
    .await?;
    for row in rows {
        faults.push(match (row.account, row.last) {
            (account, Some(last)) => format!(
                "Thing {} ({}) is kept in account {}, but its last movement put it into {last}.",
                row.id,
                row.tag,
                account.map_or_else(|| "none".to_owned(), |id| id.to_string())
            ),
            (_, None) => format!("Thing {} ({}) was never moved in.", row.id, row.tag),
        });
    }
    let rows = sqlx::query!(
        r#"SELECT line.id, line.thing_id AS "thing!: i64", line.came_from AS "came_from!: i64", line.was_in AS "was_in!: i64" FROM (
             SELECT id, thing_id, from_id AS came_from,
               lag(to_id) OVER (PARTITION BY thing_id ORDER BY id) AS was_in
             FROM movement_line WHERE thing_id IS NOT NULL) AS line
           WHERE line.was_in IS NOT NULL AND line.was_in <> line.came_from"#
    )
    .fetch_all(&mut *tx)
    .await?;
    for row in rows {
        faults.push(format!(
            "Line {} takes thing {} out of account {}, but it was in {}.",
            row.id, row.thing, row.came_from, row.was_in
        ));
    }
    let rows = sqlx::query!(
        r#"SELECT thing.id, thing.tag, thing.condition, movement.mark_after AS "marked!: String", movement.id AS movement
           FROM thing JOIN movement ON movement.id =
             (SELECT id FROM movement WHERE mark_thing_id = thing.id ORDER BY id DESC LIMIT 1)
           WHERE movement.mark_after <> thing.condition"#
    )
    .fetch_all(&mut *tx)
    .await?;
    for row in rows {
        faults.push(format!(
            "Thing {} ({}) is kept as {}, but movement {} marked it {}.",
            row.id, row.tag, row.condition, row.movement, row.marked
        ));
    }
    let rows = sqlx::query!(
        r#"SELECT id AS "id!: i64", tag, kind FROM thing WHERE
           (kind = 'piece') <> EXISTS (SELECT 1 FROM piece WHERE thing_id = thing.id)
           OR (kind = 'unit') <> EXISTS (SELECT 1 FROM unit WHERE thing_id = thing.id)
           OR (kind = 'fixture') <> EXISTS (SELECT 1 FROM fixture WHERE thing_id = thing.id)
           OR (kind = 'frame') <> EXISTS (SELECT 1 FROM frame WHERE thing_id = thing.id)"#
    )
    .fetch_all(tx)
    .await?;
    for row in rows {
        faults.push(format!(
            "Thing {} ({}) has no row, or too many, as a {}.",
            row.id, row.tag, row.kind
        ));
    }
    Ok(faults)
}

/// Cuts whose children and losses do not add up to what was cut, and children that their parent
/// did not have.
pub async fn list_cut_faults(tx: &mut SqliteConnection) -> Result<Vec<String>, DbError> {
    let mut faults = Vec::new();
    // Account 6 is the bench.
    let rows = sqlx::query!(
        r#"SELECT line.movement_id, line.part_id AS "part!: i64",
             sum(CASE WHEN line.to_id = 6 THEN line.amount ELSE 0 END) AS "entered!: i64",
             sum(CASE WHEN line.from_id = 6 THEN line.amount ELSE 0 END) AS "left!: i64",
             sum(CASE WHEN line.to_id = 6 THEN line.rest_um ELSE 0 END) AS "entered_rest!: i64",
             sum(CASE WHEN line.from_id = 6 THEN line.rest_um ELSE 0 END) AS "left_rest!: i64"
           FROM movement_line AS line JOIN part ON part.id = line.part_id
           WHERE part.stock_by = 'length' AND 6 IN (line.from_id, line.to_id)
           GROUP BY line.movement_id, line.part_id
           HAVING sum(CASE WHEN line.to_id = 6 THEN line.amount ELSE -line.amount END) <> 0
               OR sum(CASE WHEN line.to_id = 6 THEN line.rest_um ELSE -line.rest_um END) <> 0"#
    )
    .fetch_all(&mut *tx)
    .await?;
    for row in rows {
        faults.push(format!(
            "Movement {} brings {} (and {} µm) of part {} to the bench, but takes {} (and {} µm) \
             from it.",
            row.movement_id, row.entered, row.entered_rest, row.part, row.left, row.left_rest
        ));
    }
    let rows = sqlx::query!(
        r#"SELECT child.thing_id AS child, parent.thing_id AS "parent!: i64", child.parent_from AS "start!: i64",
             child.amount, parent.amount AS whole
           FROM piece AS child JOIN piece AS parent ON parent.thing_id = child.parent_id
           WHERE child.parent_from < 0 OR child.parent_from + child.amount > parent.amount
              OR (SELECT part_id FROM thing WHERE id = child.thing_id)
                 <> (SELECT part_id FROM thing WHERE id = parent.thing_id)"#
    )
    .fetch_all(&mut *tx)
    .await?;
    for row in rows {
        faults.push(format!(
            "Piece {} says it was cut from piece {} at {} for {}, but that was {} long or is of \
             another part.",
            row.child, row.parent, row.start, row.amount, row.whole
        ));
    }
    let rows = sqlx::query!(
        r#"SELECT child.thing_id AS child, child.parent_id AS "parent!: i64" FROM piece AS child
           WHERE child.parent_id IS NOT NULL AND NOT EXISTS (
             SELECT 1 FROM movement_line AS born
             JOIN movement ON movement.id = born.movement_id AND movement.kind = 'cut'
             JOIN movement_line AS ended ON ended.movement_id = born.movement_id AND ended.thing_id = child.parent_id
             WHERE born.thing_id = child.thing_id AND born.from_id = 6 AND ended.to_id = 6)"#
    )
    .fetch_all(tx)
    .await?;
    for row in rows {
        faults.push(format!(
            "Piece {} names piece {} as what it was cut from, but no cut in the ledger made it so.",
            row.child, row.parent
        ));
    }
    Ok(faults)
}
