//! Every id of the project, in one list: no two kinds are exchangeable.

/// Declares a database id as a type of its own, transparent in JSON.
macro_rules! ids {
    ($($(#[$doc:meta])* $name:ident,)+) => {$(
        $(#[$doc])*
        #[derive(
            Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash,
            serde::Serialize, serde::Deserialize, utoipa::ToSchema,
        )]
        #[serde(transparent)]
        pub struct $name(pub i64);

        impl std::fmt::Display for $name {
            fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                self.0.fmt(f)
            }
        }

        impl std::str::FromStr for $name {
            type Err = std::num::ParseIntError;
            fn from_str(text: &str) -> Result<Self, Self::Err> {
                text.parse().map(Self)
            }
        }

        impl From<i64> for $name {
            fn from(id: i64) -> Self {
                Self(id)
            }
        }
    )+};
}

ids! {
    /// A kind of thing one can own (catalogue).
    PartId,
    /// A room, shelf or box.
    PlaceId,
    /// A side of a ledger entry: a place, a design, a loan, the inside of a thing, the world.
    AccountId,
    /// Anything with a tag: a piece, a unit, a fixture, a frame.
    ThingId,
    /// Something lent out, to whom and until when.
    LoanId,
    /// One ledger movement.
    MovementId,
    /// A set.
    DesignId,
    /// A frame of a design.
    FrameId,
    /// A bar of a design.
    BarId,
    /// An extra line of a design.
    ExtraId,
    /// A hold of a thing or of a count for a design.
    HoldId,
    /// One bench step of a design.
    StepId,
    /// Who sells.
    SupplierId,
    /// A pack or roll that a supplier sells of a part.
    OfferId,
    /// An order from one supplier.
    PurchaseId,
    /// One line of an order.
    PurchaseLineId,
    /// Somebody who is known here.
    PersonId,
    /// A browser that is signed in.
    SessionId,
    /// A key for programs.
    TokenId,
    /// A link that lets somebody in for the first time.
    InvitationId,
    /// An entry of the log of changes.
    ChangeId,
}
