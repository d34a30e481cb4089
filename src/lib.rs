//! Tapewright: stock book and build planner for LED-tape sets.
//!
//! Layers, each knowing only those before it:
//! [`units`] (quantities) ← [`model`] (the words of the trade) ← [`plan`] (what serves, how to cut,
//! wire, power and buy), [`draw`] (pictures) and [`calc`] (calculators: a document in, a document out) ←
//! [`db`] (every SQL statement) ← [`stock`] (what changes stock, one write transaction each), [`people`] (who may come in) ← [`web`],
//! [`api`], `cli`. The first five are pure: no async, no database, no HTTP, no clock.
//!
//! Begin with [`model::part`] and [`model::design`], then [`plan`].

pub mod api;
pub mod app;
pub mod backups;
pub mod calc;
pub mod cli;
pub mod clock;
pub mod config;
pub mod db;
pub mod draw;
pub mod model;
pub mod people;
pub mod plan;
pub mod sample;
pub mod stock;
pub mod units;
pub mod web;
