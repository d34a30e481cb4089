//! The planner: pure computations over plain values.
//!
//! Nothing here knows the database, the web, the clock or an async runtime. The solvers
//! ([`assign`], [`cut`], [`packs`], [`driven`]) take plain numbers and give back indices into what they
//! were given; each says how good its answer is ([`answer`]).

pub mod address;
pub mod answer;
pub mod assign;
pub mod available;
pub mod basket;
mod bench;
mod beyond;
mod block;
mod book;
mod bought;
mod build;
mod cable;
pub mod chain;
pub mod check;
mod choice;
pub mod cut;
mod cutting;
pub mod data;
pub mod differ;
pub mod driven;
mod feed;
pub mod fit;
mod fuses;
pub mod input;
mod joint;
pub mod known;
pub mod ladder;
mod linked;
mod load;
mod make;
mod manner;
mod mix;
mod need;
pub mod one_cut;
pub mod other;
pub mod outcome;
pub mod packs;
pub mod pin;
mod plug;
mod power;
pub mod protect;
pub mod rests;
pub mod reuse;
pub mod shopping;
pub mod source;
mod stay;
pub mod sundry;
mod supply;
mod together;
pub mod volts;
pub mod wire;
mod worth;

pub use differ::differences;
pub use input::Input;
pub use make::{plan, plan_resting, plan_while};
pub use outcome::Plan;
