//! SQL for the pictures that are laid under elevations.

use sqlx::SqliteConnection;

use super::{DbError, WriteTx, refusal::read};
use crate::{
    model::{
        id::DesignId,
        picture::{Lie, Looks, PictureKind},
    },
    units::{Length, SignedLength},
};

/// A picture as it lies under an elevation, without its bytes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Backdrop {
    /// What it is.
    pub looks: Looks,
    /// Where it lies.
    pub lie: Lie,
    /// Digest of its bytes, which its address carries.
    pub digest: String,
    /// How strongly it shows, in percent.
    pub opacity: i64,
    /// Whether it prints with the elevation.
    pub print: bool,
}

/// The picture under a design's elevation.
pub async fn lookup(tx: &mut SqliteConnection, id: DesignId) -> Result<Option<Backdrop>, DbError> {
    let row = sqlx::query!(
        "SELECT kind, width_px, height_px, digest, x_um, y_um, width_um, opacity, print
         FROM design_backdrop WHERE design_id = ?",
        id.0
    )
    .fetch_optional(tx)
    .await?;
    row.map(|row| {
        let edge = |px: i64| read("design_backdrop.width_px", u32::try_from(px));
        Ok(Backdrop {
            looks: Looks {
                kind: read("design_backdrop.kind", row.kind.parse::<PictureKind>())?,
                width_px: edge(row.width_px)?,
                height_px: edge(row.height_px)?,
            },
            lie: Lie {
                x_um: read("design_backdrop.x_um", SignedLength::new(row.x_um))?,
                y_um: read("design_backdrop.y_um", SignedLength::new(row.y_um))?,
                width_um: read("design_backdrop.width_um", Length::new(row.width_um))?,
            },
            digest: row.digest,
            opacity: row.opacity,
            print: row.print != 0,
        })
    })
    .transpose()
}

/// The kind and bytes of a design's picture, if it is still the one of this digest.
pub async fn lookup_bytes(
    tx: &mut SqliteConnection,
    id: DesignId,
    digest: &str,
) -> Result<Option<(PictureKind, Vec<u8>)>, DbError> {
    let row = sqlx::query!(
        "SELECT kind, bytes FROM design_backdrop WHERE design_id = ? AND digest = ?",
        id.0,
        digest
    )
    .fetch_optional(tx)
    .await?;
    row.map(|row| {
        Ok((
            read("design_backdrop.kind", row.kind.parse::<PictureKind>())?,
            row.bytes,
        ))
    })
    .transpose()
}

/// Stores a picture in place of the one that was there.
pub async fn add(
    tx: &mut WriteTx,
    id: DesignId,
    new: &Backdrop,
    bytes: &[u8],
) -> Result<(), DbError> {
    remove(tx, id).await?;
    let kind = new.looks.kind.word();
    let (x, y, width) = (
        new.lie.x_um.get(),
        new.lie.y_um.get(),
        new.lie.width_um.get(),
    );
    sqlx::query!(
        "INSERT INTO design_backdrop (design_id, kind, width_px, height_px, bytes, digest, x_um,
             y_um, width_um, opacity, print) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        id.0,
        kind,
        new.looks.width_px,
        new.looks.height_px,
        bytes,
        new.digest,
        x,
        y,
        width,
        new.opacity,
        new.print
    )
    .execute(&mut **tx)
    .await?;
    Ok(())
}

/// Changes where a picture lies and how it shows; `false` where there is none.
pub async fn change(tx: &mut WriteTx, id: DesignId, new: &Backdrop) -> Result<bool, DbError> {
    let (x, y, width) = (
        new.lie.x_um.get(),
        new.lie.y_um.get(),
        new.lie.width_um.get(),
    );
    let done = sqlx::query!(
        "UPDATE design_backdrop SET x_um = ?, y_um = ?, width_um = ?, opacity = ?, print = ?
         WHERE design_id = ?",
        x,
        y,
        width,
        new.opacity,
        new.print,
        id.0
    )
    .execute(&mut **tx)
    .await?;
    Ok(done.rows_affected() == 1)
}

/// Takes a picture away.
pub async fn remove(tx: &mut WriteTx, id: DesignId) -> Result<(), DbError> {
    sqlx::query!("DELETE FROM design_backdrop WHERE design_id = ?", id.0)
        .execute(&mut **tx)
        .await?;
    Ok(())
}
