//! A large book to measure on, and a bare page to measure against.

use std::{error::Error, net::SocketAddr, path::Path};

use askama::Template;
use axum::{Router, extract::State, response::Html, routing::get};
use sqlx::{
    Connection as _, Row as _, SqliteConnection, SqlitePool,
    sqlite::{SqliteConnectOptions, SqlitePoolOptions},
};

pub type Fallible<T> = Result<T, Box<dyn Error + Send + Sync>>;

const PARTS: i64 = 60;
const PLACES: i64 = 20;
const FIXTURES: i64 = 200;

/// How large a book is.
#[derive(Clone, Copy)]
pub struct Size {
    /// Ledger lines.
    pub lines: i64,
    /// Pieces.
    pub pieces: i64,
}

impl Size {
    /// Reads `lines:pieces`.
    pub fn parse(text: &str) -> Option<Self> {
        let (lines, pieces) = text.split_once(':')?;
        Some(Self {
            lines: lines.parse().ok()?,
            pieces: pieces.parse().ok()?,
        })
    }
}

#[derive(Template)]
#[template(
    source = "<!doctype html><title>Bare</title><table>{% for row in rows %}<tr><td>{{ row.0 }}</td><td>{{ row.1 }}</td><td>{{ row.2 }}</td><td>{{ row.3 }}</td></tr>{% endfor %}</table>",
    ext = "html"
)]
struct Bare {
    rows: Vec<(String, String, i64, String)>,
}

async fn bare_page(State(pool): State<SqlitePool>) -> Html<String> {
    let rows = sqlx::query(
        // In this order, so that it reads 50 rows of each table and not one more: without it SQLite
        // begins with the places and sorts everything that lies in them.
        "SELECT thing.tag, part.name, piece.amount, place.name FROM thing
         CROSS JOIN piece ON piece.thing_id = thing.id CROSS JOIN part ON part.id = thing.part_id
         CROSS JOIN account ON account.id = thing.account_id
         CROSS JOIN place ON place.id = account.place_id
         WHERE thing.id > 100 ORDER BY thing.id LIMIT 50",
    )
    .fetch_all(&pool)
    .await
    .map(|rows| {
        rows.iter()
            .map(|row| (row.get(0), row.get(1), row.get(2), row.get(3)))
            .collect()
    })
    .unwrap_or_default();
    Html(Bare { rows }.render().unwrap_or_default())
}

/// A bare axum + sqlx + askama page of 50 joined rows.
pub async fn serve_bare(file: &Path) -> Fallible<SocketAddr> {
    let pool = SqlitePoolOptions::new()
        .max_connections(4)
        .test_before_acquire(false)
        .connect_with(SqliteConnectOptions::new().filename(file).read_only(true))
        .await?;
    let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await?;
    let address = listener.local_addr()?;
    let router = Router::new().route("/", get(bare_page)).with_state(pool);
    tokio::spawn(async move { axum::serve(listener, router).await });
    Ok(address)
}

/// Places, parts, pieces and fixtures made of some of them, a set of eight bars of one tape that holds fixtures and pieces,
/// and then moves between places up to so many ledger lines.
pub async fn fill(file: &Path, size: Size) -> Fallible<()> {
    let options = SqliteConnectOptions::new()
        .filename(file)
        .foreign_keys(true);
    let mut db = SqliteConnection::connect_with(&options).await?;
    let mut tx = sqlx::Connection::begin(&mut db).await?;
    for place in 1..=PLACES {
        sqlx::query(
            "INSERT INTO place (id, name, kind, position) VALUES (?1, 'Shelf ' || ?1, 'shelf', ?1)",
        )
        .bind(place)
        .execute(&mut *tx)
        .await?;
    }
    let accounts: Vec<i64> =
        sqlx::query_scalar("SELECT id FROM account WHERE kind = 'place' ORDER BY id")
            .fetch_all(&mut *tx)
            .await?;
    let spec = r#"{"kind":"tape","voltage_mv":24000,"width_um":10000,"channels":[{"channel":"white"}],"pitch":{"units":1,"um":50000}}"#;
    for part in 1..=PARTS {
        sqlx::query(
            "INSERT INTO part (id, name, kind, stock_by, spec, typical, words)
             VALUES (?1, 'Tape ' || ?1, 'tape', 'length', ?2, 1, 'tape ' || ?1)",
        )
        .bind(part)
        .bind(spec)
        .execute(&mut *tx)
        .await?;
    }
    let mut ledger = Ledger {
        tx: &mut tx,
        lines: 0,
    };
    let mut at: Vec<usize> = Vec::new();
    for thing in 1..=size.pieces {
        let place = usize::try_from(thing * 7 % PLACES)?;
        ledger.receive_piece(thing, accounts[place]).await?;
        at.push(place);
    }
    for number in 1..=FIXTURES.min(size.pieces / 4) {
        let from = accounts[at[usize::try_from(number * 2 - 1)?]];
        ledger
            .assemble(size.pieces + number, number * 2, from)
            .await?;
    }
    let mut dice: u64 = 1;
    while ledger.lines < size.lines {
        dice = dice
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        let thing = i64::try_from((dice >> 33) % u64::try_from(size.pieces)?)? + 1;
        // What is built into a fixture stays.
        if thing % 2 == 0 && thing <= FIXTURES * 2 {
            continue;
        }
        let from = &mut at[usize::try_from(thing - 1)?];
        let to = (*from + 1 + usize::try_from((dice >> 20) % 19)?) % accounts.len();
        ledger
            .movement("move", thing, accounts[*from], accounts[to])
            .await?;
        *from = to;
    }
    for sql in [
        "INSERT INTO design (id, name, build_on, get_in, strike_on)
         VALUES (1, 'Spring set', date('now'), date('now', '2 days'), date('now', '20 days'))",
        r#"INSERT INTO bar (design_id, position, label, length_um, shorter_um, longer_um, channels, diffused,
             fed, x_um, y_um, angle_mdeg, cable_um, tape_part_id)
         SELECT 1, id, 'bar ' || id, 1200000 + id * 50000, 50000, 0, '["white"]', 0, 'one_end', 0, 0, 0, 0, 7
         FROM part WHERE id <= 8"#,
        "UPDATE design SET state = 'reserved'",
        "INSERT INTO hold (design_id, thing_id, from_amount, to_amount, from_on, to_on, becomes, made_on, who)
         SELECT 1, id, 0, 1, date('now'), date('now', '20 days'), 'returns', date('now'), 'bench'
         FROM thing WHERE kind = 'fixture' AND id % 2 = 0",
        "INSERT INTO hold (design_id, thing_id, from_amount, to_amount, from_on, to_on, becomes, made_on, who)
         SELECT 1, id, 0, 10, date('now'), '9999-12-31', 'consumed', date('now'), 'bench'
         FROM thing WHERE kind = 'piece' AND id % 2 = 1 AND id < 400",
    ] {
        sqlx::query(sql).execute(&mut *tx).await?;
    }
    tx.commit().await?;
    db.close().await?;
    Ok(())
}

/// Where the lines are written and counted.
struct Ledger<'a> {
    tx: &'a mut SqliteConnection,
    lines: i64,
}

fn amount(thing: i64) -> i64 {
    20 + thing % 80
}

impl Ledger<'_> {
    async fn receive_piece(&mut self, thing: i64, to: i64) -> Fallible<()> {
        sqlx::query(
            "INSERT INTO thing (id, tag, kind, part_id) VALUES (?1, 'R-' || ?1, 'piece', ?2)",
        )
        .bind(thing)
        .bind(thing % PARTS + 1)
        .execute(&mut *self.tx)
        .await?;
        sqlx::query("INSERT INTO piece (thing_id, amount, start_end, end_end) VALUES (?, ?, '{\"is\":\"bare\"}', '{\"is\":\"bare\"}')")
            .bind(thing)
            .bind(amount(thing))
            .execute(&mut *self.tx)
            .await?;
        self.movement("receive", thing, 1, to).await
    }

    /// A fixture in the place of the piece that goes into it.
    async fn assemble(&mut self, fixture: i64, piece: i64, place: i64) -> Fallible<()> {
        for sql in [
            "INSERT INTO thing (id, tag, kind) VALUES (?1, 'F-' || ?1, 'fixture')",
            "INSERT INTO fixture (thing_id, channels, voltage_mv, lit_um, diffused, fed)
             VALUES (?1, 'white', 24000, 1000000, 1, 'one_end')",
        ] {
            sqlx::query(sql)
                .bind(fixture)
                .execute(&mut *self.tx)
                .await?;
        }
        let id = self.head("assemble").await?;
        sqlx::query(
            "INSERT INTO movement_line (movement_id, thing_id, amount, from_id, to_id)
             VALUES (?, ?, 1, 1, ?)",
        )
        .bind(id)
        .bind(fixture)
        .bind(place)
        .execute(&mut *self.tx)
        .await?;
        self.lines += 1;
        let inside: i64 = sqlx::query_scalar("SELECT id FROM account WHERE thing_id = ?")
            .bind(fixture)
            .fetch_one(&mut *self.tx)
            .await?;
        self.movement("assemble", piece, place, inside).await
    }

    async fn head(&mut self, kind: &str) -> Fallible<i64> {
        Ok(sqlx::query(
            "INSERT INTO movement (at_ms, on_date, kind, who) VALUES (1770000000000, '2026-02-02', ?, 'bench')",
        )
        .bind(kind)
        .execute(&mut *self.tx)
        .await?
        .last_insert_rowid())
    }

    async fn movement(&mut self, kind: &str, thing: i64, from: i64, to: i64) -> Fallible<()> {
        let id = self.head(kind).await?;
        sqlx::query(
            "INSERT INTO movement_line (movement_id, part_id, thing_id, amount, from_id, to_id)
             VALUES (?, ?, ?, ?, ?, ?)",
        )
        .bind(id)
        .bind(thing % PARTS + 1)
        .bind(thing)
        .bind(amount(thing))
        .bind(from)
        .bind(to)
        .execute(&mut *self.tx)
        .await?;
        self.lines += 1;
        Ok(())
    }
}
