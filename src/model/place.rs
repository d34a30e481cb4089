//! Where things are kept: rooms, shelves, boxes; and where else a thing can be.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::{
    id::{AccountId, DesignId, LoanId, PlaceId, ThingId},
    movement::AccountKind,
    text::{Name, Note, words},
};

words! {
    /// What a place is.
    PlaceKind {
        /// A room.
        Room = "room", "room";
        /// A shelf, rack or hook.
        Shelf = "shelf", "shelf";
        /// A box, drawer or case.
        Box = "box", "box";
    }
}

/// A place to keep things.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Place {
    /// Its id.
    pub id: PlaceId,
    /// The place that it is in.
    pub parent: Option<PlaceId>,
    /// Its own name.
    pub name: Name,
    /// Its name with those of the places that it is in: `Store room / Shelf B`.
    pub path: String,
    /// What it is.
    pub kind: PlaceKind,
    /// Order along which one walks, among the places beside it.
    pub position: i64,
    /// Notes.
    pub note: Note,
    /// No longer in use.
    pub retired: bool,
    /// Raised by each change.
    pub version: i64,
}

/// Where an account is: in words, and what it belongs to.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Whereabouts {
    /// The account.
    pub account: AccountId,
    /// What kind of account.
    pub kind: AccountKind,
    /// In words: a place's path, `on stage for …`, `lent to … until …`, `in F-12`, `lost`.
    pub words: String,
    /// The place, if it is one.
    pub place: Option<PlaceId>,
    /// The design on whose stage, if on one.
    pub design: Option<DesignId>,
    /// The loan, if lent out.
    pub loan: Option<LoanId>,
    /// The fixture or frame inside of which.
    pub inside: Option<ThingId>,
}
