//! What the command line says, parsed once.

use std::{net::SocketAddr, path::PathBuf};

/// How to serve.
#[derive(Debug, Clone)]
pub struct Config {
    /// The data folder.
    pub data: PathBuf,
    /// Where to listen; port 0 takes a free one.
    pub listen: SocketAddr,
    /// Whether others on the network were let in on purpose.
    pub trust_network: bool,
    /// Host names under which the service is known, beside this machine's own addresses.
    pub hosts: Vec<String>,
}

impl Config {
    /// The address that is listened on where none is said.
    pub const LISTEN: &str = "127.0.0.1:8470";
    /// The data folder where none is said.
    pub const DATA: &str = "tapewright-data";
}
