//! SQL for suppliers and what they sell.

use sqlx::SqliteConnection;

use super::{DbError, WriteTx, refusal::read};
use crate::{
    model::{
        id::{OfferId, PartId, SupplierId},
        text::{Name, Note},
    },
    plan::input,
    units::Money,
};

/// Who sells.
#[derive(Debug, Clone, PartialEq, Eq, serde::Serialize, serde::Deserialize, utoipa::ToSchema)]
pub struct Supplier {
    /// Its id.
    pub id: SupplierId,
    /// Name.
    pub name: Name,
    /// Days from order to delivery.
    pub delivery_days: u32,
    /// Charge for a delivery.
    pub delivery_minor: Money,
    /// Orders of at least this sum are delivered free.
    pub free_above_minor: Option<Money>,
    /// Notes.
    pub note: Note,
    /// No longer bought from.
    pub retired: bool,
    /// Raised by each change.
    pub version: i64,
}

impl Supplier {
    /// The delivery charge of an order of `goods`.
    pub fn delivery(&self, goods: Money) -> Money {
        match self.free_above_minor {
            Some(above) if goods >= above => Money::ZERO,
            _ => self.delivery_minor,
        }
    }
}

/// A pack or roll that a supplier sells of a part.
#[derive(Debug, Clone, PartialEq, Eq, serde::Serialize, serde::Deserialize, utoipa::ToSchema)]
pub struct Offer {
    /// Its id.
    pub id: OfferId,
    /// The part.
    pub part: PartId,
    /// Who sells.
    pub supplier: SupplierId,
    /// Count in a pack, or micrometres of one roll, reel or bar.
    pub pack_amount: i64,
    /// Price of a pack.
    pub price_minor: Money,
    /// Fewest packs that are sold.
    pub minimum_packs: u32,
    /// The supplier's own code.
    pub code: String,
    /// No longer sold.
    pub retired: bool,
    /// Raised by each change.
    pub version: i64,
}

macro_rules! supplier {
    ($row:expr) => {
        Supplier {
            id: SupplierId($row.id),
            name: read("supplier.name", Name::parse(&$row.name))?,
            delivery_days: small($row.delivery_days),
            delivery_minor: read("supplier.delivery_minor", Money::new($row.delivery_minor))?,
            free_above_minor: $row
                .free_above_minor
                .map(|minor| read("supplier.free_above_minor", Money::new(minor)))
                .transpose()?,
            note: read("supplier.note", Note::parse(&$row.note))?,
            retired: $row.retired != 0,
            version: $row.version,
        }
    };
}

macro_rules! offer {
    ($row:expr) => {
        Offer {
            id: OfferId($row.id),
            part: PartId($row.part_id),
            supplier: SupplierId($row.supplier_id),
            pack_amount: $row.pack_amount,
            price_minor: read("offer.price_minor", Money::new($row.price_minor))?,
            minimum_packs: small($row.minimum_packs),
            code: $row.code,
            retired: $row.retired != 0,
            version: $row.version,
        }
    };
}

fn small(number: i64) -> u32 {
    u32::try_from(number).unwrap_or(0)
}

/// One supplier.
pub async fn lookup_supplier(
    tx: &mut SqliteConnection,
    id: SupplierId,
) -> Result<Option<Supplier>, DbError> {
    let row = sqlx::query!("SELECT * FROM supplier WHERE id = ?", id.0)
        .fetch_optional(tx)
        .await?;
    Ok(match row {
        Some(row) => Some(supplier!(row)),
        None => None,
    })
}

/// Every supplier by name, retired ones last.
pub async fn list_suppliers(tx: &mut SqliteConnection) -> Result<Vec<Supplier>, DbError> {
    let rows = sqlx::query!("SELECT * FROM supplier ORDER BY retired, name")
        .fetch_all(tx)
        .await?;
    rows.into_iter().map(|row| Ok(supplier!(row))).collect()
}

/// Adds a supplier; its id and version are given by the database.
pub async fn add_supplier(tx: &mut WriteTx, supplier: &Supplier) -> Result<SupplierId, DbError> {
    let (name, days) = (supplier.name.as_str(), i64::from(supplier.delivery_days));
    let (charge, free) = (
        supplier.delivery_minor.get(),
        supplier.free_above_minor.map(Money::get),
    );
    let note = supplier.note.as_str();
    let done = sqlx::query!(
        "INSERT INTO supplier (name, delivery_days, delivery_minor, free_above_minor, note)
         VALUES (?, ?, ?, ?, ?)",
        name,
        days,
        charge,
        free,
        note
    )
    .execute(&mut **tx)
    .await?;
    Ok(SupplierId(done.last_insert_rowid()))
}

/// Saves a supplier that was read at its version; `false` if another saved meanwhile.
pub async fn change_supplier(tx: &mut WriteTx, supplier: &Supplier) -> Result<bool, DbError> {
    let (name, days) = (supplier.name.as_str(), i64::from(supplier.delivery_days));
    let (charge, free) = (
        supplier.delivery_minor.get(),
        supplier.free_above_minor.map(Money::get),
    );
    let note = supplier.note.as_str();
    let done = sqlx::query!(
        "UPDATE supplier SET name = ?, delivery_days = ?, delivery_minor = ?, free_above_minor = ?,
             note = ?, retired = ?, version = version + 1
         WHERE id = ? AND version = ?",
        name,
        days,
        charge,
        free,
        note,
        supplier.retired,
        supplier.id.0,
        supplier.version
    )
    .execute(&mut **tx)
    .await?;
    Ok(done.rows_affected() == 1)
}

/// One offer.
pub async fn lookup(tx: &mut SqliteConnection, id: OfferId) -> Result<Option<Offer>, DbError> {
    let row = sqlx::query!("SELECT * FROM offer WHERE id = ?", id.0)
        .fetch_optional(tx)
        .await?;
    Ok(match row {
        Some(row) => Some(offer!(row)),
        None => None,
    })
}

/// The offers of a part with the supplier's name, cheapest first, retired ones last.
pub async fn list_of_part(
    tx: &mut SqliteConnection,
    part: PartId,
) -> Result<Vec<(Offer, String)>, DbError> {
    let rows = sqlx::query!(
        "SELECT offer.*, supplier.name AS supplier_name FROM offer
         JOIN supplier ON supplier.id = offer.supplier_id
         WHERE part_id = ? ORDER BY offer.retired, price_minor, offer.id",
        part.0
    )
    .fetch_all(tx)
    .await?;
    rows.into_iter()
        .map(|row| Ok((offer!(row), row.supplier_name)))
        .collect()
}

/// Everything that can be bought now, as the planner takes it.
pub async fn list_for_plan(tx: &mut SqliteConnection) -> Result<Vec<input::Offer>, DbError> {
    let rows = sqlx::query!(
        "SELECT offer.id, part_id, supplier_id, pack_amount, price_minor, minimum_packs,
             supplier.name AS supplier_name, supplier.delivery_days,
             supplier.delivery_minor, supplier.free_above_minor
         FROM offer JOIN supplier ON supplier.id = offer.supplier_id
         WHERE offer.retired = 0 AND supplier.retired = 0 ORDER BY offer.id"
    )
    .fetch_all(tx)
    .await?;
    rows.into_iter()
        .map(|row| {
            Ok(input::Offer {
                id: OfferId(row.id),
                part: PartId(row.part_id),
                supplier: SupplierId(row.supplier_id),
                supplier_name: row.supplier_name,
                pack_amount: row.pack_amount,
                price_minor: read("offer.price_minor", Money::new(row.price_minor))?,
                minimum_packs: small(row.minimum_packs),
                delivery_days: small(row.delivery_days),
                delivery_minor: read("supplier.delivery_minor", Money::new(row.delivery_minor))?,
                free_from_minor: row
                    .free_above_minor
                    .map(|sum| read("supplier.free_above_minor", Money::new(sum)))
                    .transpose()?,
            })
        })
        .collect()
}

/// Adds an offer; its id and version are given by the database.
pub async fn add(tx: &mut WriteTx, offer: &Offer) -> Result<OfferId, DbError> {
    let (price, minimum) = (offer.price_minor.get(), i64::from(offer.minimum_packs));
    let done = sqlx::query!(
        "INSERT INTO offer (part_id, supplier_id, pack_amount, price_minor, minimum_packs, code)
         VALUES (?, ?, ?, ?, ?, ?)",
        offer.part.0,
        offer.supplier.0,
        offer.pack_amount,
        price,
        minimum,
        offer.code
    )
    .execute(&mut **tx)
    .await?;
    Ok(OfferId(done.last_insert_rowid()))
}

/// Saves an offer that was read at its version; `false` if another saved meanwhile.
pub async fn change(tx: &mut WriteTx, offer: &Offer) -> Result<bool, DbError> {
    let (price, minimum) = (offer.price_minor.get(), i64::from(offer.minimum_packs));
    let done = sqlx::query!(
        "UPDATE offer SET supplier_id = ?, pack_amount = ?, price_minor = ?, minimum_packs = ?,
             code = ?, retired = ?, version = version + 1
         WHERE id = ? AND version = ?",
        offer.supplier.0,
        offer.pack_amount,
        price,
        minimum,
        offer.code,
        offer.retired,
        offer.id.0,
        offer.version
    )
    .execute(&mut **tx)
    .await?;
    Ok(done.rows_affected() == 1)
}
