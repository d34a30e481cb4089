//! The planner against figures and methods that others published. Each check names its
//! source beside it.

mod assign;
mod checker;
mod cutting;
mod feeds;
mod house;
mod laws;
mod layouts;
mod pins;
mod plugs;
mod protect;
mod reuse;
mod tapes;
mod trade;
mod volts;
