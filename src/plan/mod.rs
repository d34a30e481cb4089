//! The planner: pure computations over plain values.
//!
//! Nothing here knows the database, the web, the clock or an async runtime. The solvers
//! ([`assign`], [`cut`], [`buy`]) take plain numbers and give back indices into what they
//! were given; each says how good its answer is ([`answer`]).

pub mod answer;
pub mod assign;
pub mod available;
pub mod buy;
pub mod cut;
pub mod input;
pub mod outcome;

pub use input::Input;
pub use outcome::Plan;
