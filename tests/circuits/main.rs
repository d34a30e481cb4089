//! The solved circuit against what we did not write: closed forms and ngspice. Each check names its
//! source beside it.

mod closed;
mod document;
mod generated;
mod mistakes;
mod netlist;
mod refused;
