//! The service through its front door: a real port, a real file, pages read by element.
//! One file a subject; [`help`] says how to write one.

#![expect(
    clippy::unwrap_used,
    reason = "a test fails by panicking, in its helpers too"
)]

mod api;
mod archive;
mod arrange;
mod arrived;
mod backdrop;
mod bench;
mod clash;
mod csv;
mod cupboard;
mod dates;
mod designs;
mod faults;
mod frame;
mod fuses;
mod help;
mod import;
mod kept;
mod labels;
mod offered;
mod parts;
mod people;
mod pins;
mod prices;
mod sample;
mod settings;
mod sheets;
mod show_day;
mod stands;
mod start;
mod suits;
mod swap;
mod take_in;
mod together;
mod twice;
mod upgraded;
mod who;
