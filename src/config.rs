//! What the command line says, parsed once.

use std::{net::SocketAddr, path::PathBuf};

/// Backups that are made by themselves.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Backups {
    /// Hours from one to the next; 0: none are made.
    pub every_hours: u32,
    /// How many are kept.
    pub kept: u16,
}

/// A certificate of one's own, by which the service itself speaks https.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Tls {
    /// The certificate, with those between it and the one that browsers trust, in PEM.
    pub certificate: PathBuf,
    /// Its key, in PEM.
    pub key: PathBuf,
}

/// How to serve.
#[derive(Debug, Clone)]
pub struct Config {
    /// The data folder.
    pub data: PathBuf,
    /// Where to listen; port 0 takes a free one.
    pub listen: SocketAddr,
    /// Whether people sign in. Beyond this machine they always do.
    pub sign_in: bool,
    /// Whether a proxy in front of this service speaks https with browsers.
    pub behind_https: bool,
    /// The certificate by which the service speaks https itself.
    pub tls: Option<Tls>,
    /// Backups that are made by themselves.
    pub backups: Backups,
    /// Whether this book is served within another one, which asks who comes in for both.
    pub within: bool,
    /// Host names under which the service is known, beside this machine's own addresses.
    pub hosts: Vec<String>,
}

impl Config {
    /// Whether people sign in here: wherever other machines can reach the service, and where it was
    /// asked for (behind a proxy on this machine).
    pub const fn needs_sign_in(&self) -> bool {
        !self.within && (self.sign_in || self.behind_https || !self.listen.ip().is_loopback())
    }

    /// Whether browsers speak https with the service: cookies are for https only then.
    pub const fn https(&self) -> bool {
        self.behind_https || self.tls.is_some()
    }

    /// The address that is listened on where none is said.
    pub const LISTEN: &str = "127.0.0.1:8470";
    /// The data folder where none is said.
    pub const DATA: &str = "tapewright-data";
}
