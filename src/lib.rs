//! Tapewright: stock book and build planner for LED-tape sets.

pub mod plan;
pub mod units;
