//! The words of the trade as types: what a part, a piece, a fixture, a design *is*.
//!
//! A model type may parse, check and describe itself. It may not know a database, HTTP, a clock
//! or randomness, and it does not plan: that is [`crate::plan`]. What is not known is `None`,
//! never zero.

pub mod arrange;
pub mod attribute;
pub mod channel;
pub mod connector;
pub mod csv;
pub mod describe;
pub mod design;
pub mod fixture;
pub mod id;
pub mod label;
pub mod movement;
pub mod part;
pub mod person;
pub mod picture;
pub mod piece;
pub mod place;
pub mod purchase;
pub mod ready_made;
pub mod reservation;
pub mod step;
pub mod test_record;
pub mod text;
pub mod thing;
pub mod venue;
