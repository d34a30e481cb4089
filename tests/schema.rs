//! What the schema refuses by itself, whatever the code above it does: each named rule once, through
//! the real database, and that no rule is without a name or without a test.

#![expect(
    clippy::unwrap_used,
    reason = "a test fails by panicking, in its helpers too"
)]

use std::collections::BTreeSet;

use sqlx::{AssertSqlSafe, Row as _, SqliteConnection};
use tapewright::{
    db::{
        Db, DbError, Refusal,
        part::{PartFilter, list_stock},
    },
    model::{
        id::{AccountId, PartId, PlaceId},
        text::{Name, Note},
    },
    stock::{
        Act,
        audit::audit,
        cut::{Cut, Segment},
        receive::{Goods, Pieces, Receive},
    },
    units::Length,
};

struct House {
    _folder: tempfile::TempDir,
    db: Db,
}

/// One room and one shelf in it; 5 clips, a roll cut in two, a driver, two sets and a hold.
async fn house() -> House {
    let folder = tempfile::tempdir().unwrap();
    let db = Db::open(folder.path()).await.unwrap();
    let mut tx = db.write().await.unwrap();
    for sql in [
        "INSERT INTO place (name, kind) VALUES ('Store room', 'room')",
        "INSERT INTO place (name, kind, parent_id) VALUES ('Shelf', 'shelf', 1)",
        r#"INSERT INTO part (name, kind, stock_by, spec, typical, words) VALUES
            ('Clip', 'sundry', 'count', '{"kind":"sundry","measure":"each"}', 1, ''),
            ('Tape', 'tape', 'length', '{"kind":"tape","voltage_mv":24000,"width_um":10000,"channels":[{"channel":"white"}],"pitch":{"units":1,"um":50000}}', 1, ''),
            ('Driver', 'driver', 'unit', '{"kind":"driver","outputs":1,"channels_per_output":1,"voltage_min_mv":12000,"voltage_max_mv":24000,"inlets":[{"outputs":[1]}],"isolation":"unknown","slots":1,"address_by":"menu"}', 1, '')"#,
        "INSERT INTO design (name, build_on, get_in, strike_on) VALUES
            ('Spring set', '2026-03-01', '2026-03-02', '2026-03-10'),
            ('Autumn set', '2026-03-05', '2026-03-06', '2026-03-12')",
    ] {
        sqlx::query(sql).execute(&mut *tx).await.unwrap();
    }
    tx.commit().await.unwrap();
    let act = Act {
        db: db.clone(),
        who: Name::parse("Ines").unwrap(),
        now_ms: 1_780_000_000_000,
        today: "2026-02-01".parse().unwrap(),
        press: None,
    };
    let (clip, tape, driver) = (PartId(1), PartId(2), PartId(3));
    let here = PlaceId(2);
    act.carry_out(&Receive::new(clip, here, Goods::Count(5)))
        .await
        .unwrap();
    let mut tx = db.read().await.unwrap();
    let part = tapewright::db::part::lookup(&mut tx, tape)
        .await
        .unwrap()
        .unwrap();
    drop(tx);
    let rolls = Pieces::as_bought(&part, Length::mm(5000), 1);
    let roll = act
        .carry_out(&Receive::new(tape, here, Goods::Pieces(rolls)))
        .await
        .unwrap()
        .things[0];
    act.carry_out(&Cut {
        piece: roll,
        segments: Segment::lay(&[40], 0, 100, false),
        to: None,
        reason: Note::default(),
        design: None,
    })
    .await
    .unwrap();
    let units = Goods::Units {
        number: 1,
        tags: Vec::new(),
        serials: Vec::new(),
    };
    act.carry_out(&Receive::new(driver, here, units))
        .await
        .unwrap();
    let mut tx = db.write().await.unwrap();
    sqlx::query(
        "INSERT INTO hold (design_id, thing_id, from_amount, to_amount, from_on, to_on, becomes, made_on, who)
         SELECT 1, id, 0, 1, '2026-03-01', '2026-03-10', 'returns', '2026-02-01', 'Ines' FROM thing WHERE tag = 'D-1'",
    )
    .execute(&mut *tx)
    .await
    .unwrap();
    tx.commit().await.unwrap();
    House {
        _folder: folder,
        db,
    }
}

/// Tries statements, the last of which must be refused, and keeps nothing.
async fn refused(db: &Db, sql: &str) -> (Refusal, String) {
    let mut tx = db.write().await.unwrap();
    let statements: Vec<_> = sql
        .split(';')
        .map(str::trim)
        .filter(|one| !one.is_empty())
        .collect();
    let (last, before) = statements.split_last().unwrap();
    for one in before {
        sqlx::query(AssertSqlSafe((*one).to_owned()))
            .execute(&mut *tx)
            .await
            .unwrap_or_else(|why| panic!("{one}: {why}"));
    }
    let why = sqlx::query(AssertSqlSafe((*last).to_owned()))
        .execute(&mut *tx)
        .await
        .expect_err(last);
    let message = why.to_string();
    match DbError::from(why) {
        DbError::Refused(refusal) => (refusal, message),
        other => panic!("{last}: {other:?}"),
    }
}

/// A line of a movement that is begun before it.
fn line(part: &str, thing: &str, amount: i64, from: AccountId, to: AccountId) -> String {
    format!(
        "INSERT INTO movement (id, at_ms, on_date, kind, who) VALUES (900, 0, '2026-02-01', 'move', 'Ines');
         INSERT INTO movement_line (movement_id, part_id, thing_id, amount, from_id, to_id)
         VALUES (900, {part}, {thing}, {amount}, {from}, {to})"
    )
}

#[tokio::test]
async fn every_named_rule_refuses_what_it_must() {
    let house = house().await;
    let mut tx = house.db.read().await.unwrap();
    let room = tapewright::db::place::account(&mut tx, PlaceId(1))
        .await
        .unwrap()
        .unwrap();
    let shelf = tapewright::db::place::account(&mut tx, PlaceId(2))
        .await
        .unwrap()
        .unwrap();
    drop(tx);
    let child = "(SELECT id FROM thing WHERE tag = 'O-1')";
    let driver = "(SELECT id FROM thing WHERE tag = 'D-1')";
    let hold = |from: &str, to: &str, tag: &str, amount: i64| {
        format!(
            "INSERT INTO hold (design_id, thing_id, from_amount, to_amount, from_on, to_on, becomes, made_on, who)
             SELECT 2, id, 0, {amount}, '{from}', '{to}', 'returns', '2026-02-01', 'Ines' FROM thing WHERE tag = '{tag}'"
        )
    };
    let cases: Vec<(&str, Refusal, String)> = vec![
        (
            "balance_not_negative",
            Refusal::NotEnoughThere,
            line("1", "NULL", 6, shelf, room),
        ),
        (
            "thing_not_there",
            Refusal::ThingNotThere,
            line("2", child, 40, room, shelf),
        ),
        (
            "piece_moves_whole",
            Refusal::PieceMovesWhole,
            line("2", child, 39, shelf, room),
        ),
        (
            "line_needs_its_thing",
            Refusal::NeedsItsThing,
            line("2", "NULL", 1, shelf, room),
        ),
        (
            "line_thing_of_its_part",
            Refusal::NeedsItsThing,
            line("1", driver, 1, shelf, room),
        ),
        (
            "ledger_is_append_only",
            Refusal::LedgerOnly,
            "UPDATE movement SET who = 'Otto'".into(),
        ),
        (
            "ledger_is_append_only",
            Refusal::LedgerOnly,
            "DELETE FROM movement".into(),
        ),
        (
            "ledger_is_append_only",
            Refusal::LedgerOnly,
            "UPDATE movement_line SET amount = 1".into(),
        ),
        (
            "ledger_is_append_only",
            Refusal::LedgerOnly,
            "DELETE FROM movement_line".into(),
        ),
        (
            "test_record_is_append_only",
            Refusal::LedgerOnly,
            "INSERT INTO test_record (at_ms, on_date, who, kind, thing_id, dark, full_good) VALUES (0, '2026-02-01', 'Ines', 'bench', 1, '[]', 1);
             UPDATE test_record SET who = 'Otto'".into(),
        ),
        (
            "test_record_is_append_only",
            Refusal::LedgerOnly,
            "INSERT INTO test_record (at_ms, on_date, who, kind, thing_id, dark, full_good) VALUES (0, '2026-02-01', 'Ines', 'bench', 1, '[]', 1);
             DELETE FROM test_record".into(),
        ),
        (
            "change_is_append_only",
            Refusal::LedgerOnly,
            "UPDATE change SET who = 'Otto'".into(),
        ),
        (
            "change_is_append_only",
            Refusal::LedgerOnly,
            "DELETE FROM change".into(),
        ),
        (
            "ledger_is_append_only",
            Refusal::LedgerOnly,
            "INSERT INTO movement_origin (movement_id, address) SELECT id, '10.0.0.9' FROM movement LIMIT 1;
             UPDATE movement_origin SET address = '10.0.0.8'".into(),
        ),
        (
            "ledger_is_append_only",
            Refusal::LedgerOnly,
            "INSERT INTO movement_origin (movement_id, address) SELECT id, '10.0.0.9' FROM movement LIMIT 1;
             DELETE FROM movement_origin".into(),
        ),
        (
            "thing_moves_by_ledger",
            Refusal::LedgerOnly,
            format!("UPDATE thing SET account_id = {room} WHERE tag = 'O-1'"),
        ),
        (
            "piece_amount_is_kept",
            Refusal::LedgerOnly,
            "UPDATE piece SET amount = 41 WHERE amount = 40".into(),
        ),
        (
            "part_in_use_is_kept",
            Refusal::PartInUse,
            "DELETE FROM part WHERE id = 1".into(),
        ),
        (
            "part_unit_is_kept",
            Refusal::PartUnitKept,
            "UPDATE part SET spec = json_set(spec, '$.pitch.um', 62500) WHERE id = 2".into(),
        ),
        (
            "part_unit_is_kept",
            Refusal::PartUnitKept,
            "UPDATE part SET spec = json_set(spec, '$.measure', 'length') WHERE id = 1".into(),
        ),
        (
            "place_in_use_is_kept",
            Refusal::PlaceInUse,
            "UPDATE place SET retired = 1 WHERE id = 2".into(),
        ),
        (
            "place_in_use_is_kept",
            Refusal::PlaceInUse,
            "UPDATE place SET retired = 1 WHERE id = 1".into(),
        ),
        (
            "place_not_in_itself",
            Refusal::PlaceInItself,
            "UPDATE place SET parent_id = 2 WHERE id = 1".into(),
        ),
        (
            "design_state_step",
            Refusal::NoSuchStep,
            "UPDATE design SET state = 'standing' WHERE id = 1".into(),
        ),
        (
            "left_alone_is_piece_or_fixture",
            Refusal::NotToLeaveAlone,
            format!("INSERT INTO design_left_alone (design_id, thing_id) VALUES (1, {driver})"),
        ),
        (
            "bar_takes_a_fixture",
            Refusal::NotAFixture,
            format!(
                r#"INSERT INTO bar (design_id, position, label, length_um, shorter_um, longer_um, channels,
                       diffused, fed, x_um, y_um, angle_mdeg, cable_um)
                   VALUES (1, 1, '1', 1000000, 0, 0, '["white"]', 0, 'one_end', 0, 0, 0, 0);
                   UPDATE bar SET fixture_id = {driver}"#
            ),
        ),
        (
            "hold_one_at_a_time",
            Refusal::HeldAlready,
            hold("2026-03-10", "2026-03-12", "D-1", 1),
        ),
        (
            "hold_what_is_there",
            Refusal::NotThereToHold,
            hold("2026-03-01", "2026-03-12", "O-1", 41),
        ),
        (
            "hold_what_is_there",
            Refusal::NotThereToHold,
            hold("2026-03-01", "2026-03-12", "R-1", 1),
        ),
    ];
    for (rule, expected, sql) in &cases {
        let (refusal, message) = refused(&house.db, sql).await;
        assert!(message.contains(rule), "{rule}: {message}");
        assert_eq!(refusal, *expected, "{rule}: {message}");
    }
    // And nothing else is refused that looks alike: the neighbour of each limit passes.
    let mut tx = house.db.write().await.unwrap();
    for sql in [
        line("1", "NULL", 5, shelf, room),
        hold("2026-03-11", "2026-03-12", "D-1", 1),
        hold("2026-03-01", "2026-03-12", "O-1", 40),
        "UPDATE design SET state = 'reserved' WHERE id = 1".into(),
        format!("INSERT INTO design_left_alone (design_id, thing_id) VALUES (1, {child})"),
    ] {
        for one in sql.split(';') {
            sqlx::query(AssertSqlSafe(one.to_owned()))
                .execute(&mut *tx)
                .await
                .unwrap_or_else(|why| panic!("{one}: {why}"));
        }
    }
    drop(tx);

    // Every rule that a trigger of the schema names has its case above.
    let mut tx = house.db.read().await.unwrap();
    let tested: BTreeSet<String> = cases.iter().map(|(rule, ..)| (*rule).to_owned()).collect();
    let named: BTreeSet<String> = statements(&mut tx, "trigger")
        .await
        .iter()
        .flat_map(|(_, sql)| {
            sql.split("RAISE(ABORT, '")
                .skip(1)
                .filter_map(|rest| rest.split('\'').next())
                .map(str::to_owned)
                .collect::<Vec<_>>()
        })
        .collect();
    let untested: Vec<_> = named.difference(&tested).collect();
    assert!(untested.is_empty(), "rules without a case: {untested:?}");
}

#[tokio::test]
async fn uniqueness_references_and_checks_have_their_own_refusals() {
    let house = house().await;
    for (sql, expected) in [
        (
            "INSERT INTO thing (tag, kind, part_id) VALUES ('D-1', 'unit', 3)",
            Refusal::Taken("thing.tag"),
        ),
        (
            "INSERT INTO place (name, kind, parent_id) VALUES ('SHELF', 'shelf', 1)",
            Refusal::Taken("place_name_in_parent"),
        ),
        (
            "INSERT INTO movement (at_ms, on_date, kind, who, undoes_id) VALUES (0, '2026-02-01', 'undo', 'Ines', 1);
             INSERT INTO movement (at_ms, on_date, kind, who, undoes_id) VALUES (0, '2026-02-01', 'undo', 'Ines', 1)",
            Refusal::UndoneAlready,
        ),
        (
            "INSERT INTO offer (part_id, supplier_id, pack_amount, price_minor) VALUES (1, 77, 1, 1)",
            Refusal::StillReferred,
        ),
    ] {
        let (refusal, message) = refused(&house.db, sql).await;
        assert_eq!(refusal, expected, "{sql}: {message}");
    }
    for (check, sql) in [
        (
            "thing_tag_form",
            "INSERT INTO thing (tag, kind, part_id) VALUES ('d-2', 'unit', 3)",
        ),
        (
            "thing_part",
            "INSERT INTO thing (tag, kind) VALUES ('D-2', 'unit')",
        ),
        ("thing_condition", "UPDATE thing SET condition = 'broken'"),
        (
            "part_stock_by",
            "UPDATE part SET stock_by = 'unit' WHERE id = 1",
        ),
        (
            "part_spec_kind",
            "UPDATE part SET spec = json_set(spec, '$.kind', 'data') WHERE id = 1",
        ),
        (
            "design_strike_on",
            "UPDATE design SET strike_on = '2026-03-01' WHERE id = 1",
        ),
        (
            "design_build_on",
            "UPDATE design SET build_on = '2026-02-30' WHERE id = 1",
        ),
        (
            "movement_mark_is_whole",
            "INSERT INTO movement (at_ms, on_date, kind, who, mark_thing_id) VALUES (0, '2026-02-01', 'mark', 'Ines', 1)",
        ),
        (
            "movement_undo_names_one",
            "INSERT INTO movement (at_ms, on_date, kind, who) VALUES (0, '2026-02-01', 'undo', 'Ines')",
        ),
        (
            "hold_consumed_is_for_good",
            "UPDATE hold SET becomes = 'consumed'",
        ),
        ("hold_range", "UPDATE hold SET from_amount = 1"),
        (
            "purchase_share_amount",
            "INSERT INTO purchase_share (line_id, design_id, amount) VALUES (1, 1, 0)",
        ),
    ] {
        let (refusal, message) = refused(&house.db, sql).await;
        assert!(matches!(refusal, Refusal::Check(_)), "{check}: {refusal:?}");
        assert!(message.contains(check), "{check}: {message}");
    }
}

async fn statements(tx: &mut SqliteConnection, kind: &str) -> Vec<(String, String)> {
    sqlx::query(
        "SELECT name, sql FROM sqlite_schema
         WHERE type = ? AND sql IS NOT NULL AND name NOT LIKE 'sqlite_%' AND name NOT LIKE '_sqlx_%'",
    )
    .bind(kind)
    .fetch_all(tx)
    .await
    .unwrap()
    .iter()
    .map(|row| (row.get(0), row.get(1)))
    .collect()
}

#[tokio::test]
async fn every_table_is_strict_and_every_check_has_a_name() {
    let house = house().await;
    let mut tx = house.db.read().await.unwrap();
    let tables = statements(&mut tx, "table").await;
    assert!(tables.len() > 20, "only {} tables", tables.len());
    let mut checks = 0;
    for (table, sql) in &tables {
        // Comments may speak of checks.
        let sql: String = sql
            .lines()
            .map(|line| line.split("--").next().unwrap_or_default())
            .collect::<Vec<_>>()
            .join(" ");
        let tail = sql.rsplit(')').next().unwrap();
        assert!(tail.contains("STRICT"), "{table} is not STRICT");
        let words: Vec<&str> = sql
            .split(|c: char| c.is_whitespace() || "(),".contains(c))
            .filter(|word| !word.is_empty())
            .collect();
        for (at, _) in words
            .iter()
            .enumerate()
            .filter(|(_, word)| **word == "CHECK")
        {
            checks += 1;
            assert_eq!(
                words[at - 2],
                "CONSTRAINT",
                "a CHECK of {table} has no name: {}",
                words[at..].join(" ")
            );
        }
    }
    assert!(checks > 50, "only {checks} checks were read");
}

#[tokio::test]
async fn paths_follow_their_places() {
    let house = house().await;
    let mut tx = house.db.write().await.unwrap();
    for sql in [
        "INSERT INTO place (name, kind, parent_id) VALUES ('Box 3', 'box', 2)",
        "UPDATE place SET name = 'Store' WHERE id = 1",
        "INSERT INTO place (name, kind) VALUES ('Van', 'room')",
    ] {
        sqlx::query(sql).execute(&mut *tx).await.unwrap();
    }
    let paths = |rows: Vec<tapewright::db::place::PlaceNode>| {
        rows.into_iter()
            .map(|node| (node.depth, node.place.path))
            .collect::<Vec<_>>()
    };
    let seen = paths(tapewright::db::place::list(&mut tx, false).await.unwrap());
    assert_eq!(
        seen,
        [
            (0, "Store".to_owned()),
            (1, "Store / Shelf".to_owned()),
            (2, "Store / Shelf / Box 3".to_owned()),
            (0, "Van".to_owned()),
        ]
    );
    sqlx::query("UPDATE place SET parent_id = 4 WHERE id = 2")
        .execute(&mut *tx)
        .await
        .unwrap();
    let seen = paths(tapewright::db::place::list(&mut tx, false).await.unwrap());
    assert_eq!(seen[3], (2, "Van / Shelf / Box 3".to_owned()));
}

#[tokio::test]
async fn totals_are_filled_in_for_a_book_that_had_none() {
    let house = house().await;
    let mut tx = house.db.write().await.unwrap();
    for sql in [
        "DROP TRIGGER part_total_begun",
        "DROP TRIGGER balance_moves_total",
        "DROP TRIGGER holder_moves_total",
        "DROP TABLE part_total",
        "DROP INDEX thing_by_inspection",
        "DROP INDEX movement_by_kind",
        "DROP INDEX movement_by_date",
    ] {
        sqlx::query(sql).execute(&mut *tx).await.unwrap();
    }
    sqlx::raw_sql(include_str!("../migrations/0007_total.sql"))
        .execute(&mut *tx)
        .await
        .unwrap();
    let stock = list_stock(&mut tx, &PartFilter::default(), 0, 10)
        .await
        .unwrap();
    let seen: Vec<_> = stock
        .iter()
        .map(|one| {
            (
                one.part.name.as_str(),
                one.in_places,
                one.things_in_places,
                one.places,
            )
        })
        .collect();
    // The roll of 100 cut units lies there as two pieces.
    assert_eq!(
        seen,
        [("Tape", 100, 2, 1), ("Driver", 1, 1, 1), ("Clip", 5, 0, 1)]
    );
    tx.commit().await.unwrap();
    assert_eq!(audit(&house.db).await.unwrap(), Vec::<String>::new());
}

/// Tables whose changes are no entries of the log of changes: what the ledger tells already, what is
/// only there for speed, what is only ever added to, and what lets people in (written down by what
/// they did with it).
const NOT_LOGGED: &[&str] = &[
    "_sqlx_migrations",
    "account",
    "acting",
    "api_token",
    "balance",
    "change",
    "counted",
    "design_backdrop",
    "fixture",
    "frame",
    "hold",
    "invitation",
    "loan",
    "movement",
    "movement_line",
    "movement_origin",
    "part_total",
    "piece",
    "press",
    "print",
    "purchase_receipt",
    "revision",
    "session",
    "session_hand",
    "step",
    "test_record",
    "thing",
    "touched",
    "unit",
];
/// Columns that say nothing of their own, or that nobody may read.
const NOT_TOLD: &[&str] = &[
    "id",
    "version",
    "words",
    "path",
    "plan",
    "plan_digest",
    "password",
    "pin",
];

#[tokio::test]
async fn every_change_of_a_table_is_logged_column_by_column() {
    let house = house().await;
    let mut tx = house.db.read().await.unwrap();
    let triggers: std::collections::BTreeMap<String, String> =
        statements(&mut tx, "trigger").await.into_iter().collect();
    for (table, _) in statements(&mut tx, "table").await {
        if NOT_LOGGED.contains(&&*table) || table.starts_with("sqlite_") {
            continue;
        }
        let columns: Vec<String> = sqlx::query_scalar("SELECT name FROM pragma_table_info(?)")
            .bind(&table)
            .fetch_all(&mut *tx)
            .await
            .unwrap();
        for kind in ["added", "changed", "removed"] {
            let name = format!("{table}_{kind}_is_logged");
            let sql = triggers
                .get(&name)
                .unwrap_or_else(|| panic!("there is no {name}"));
            for column in columns
                .iter()
                .filter(|column| !NOT_TOLD.contains(&&***column))
            {
                assert!(
                    sql.contains(&format!("'{column}',")),
                    "{name} leaves out {column}"
                );
                if kind == "changed" {
                    let tells = format!("OLD.{column} IS NOT NEW.{column}");
                    assert!(sql.contains(&tells), "{name} does not see {column}");
                }
            }
        }
    }
}
