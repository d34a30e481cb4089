//! Files inside the binary, under names with their hash, so that browsers keep them for good.

use std::sync::LazyLock;

use axum::{
    body::Body,
    extract::Path,
    http::{StatusCode, header},
    response::{IntoResponse, Response},
};
use rust_embed::{EmbeddedFile, RustEmbed};

use super::{link::Link, page::hex};

#[derive(RustEmbed)]
#[folder = "static/"]
struct Files;

/// The style sheet's link.
pub static STYLE: LazyLock<String> = LazyLock::new(|| link("style.css"));
/// The script's link.
pub static SCRIPT: LazyLock<String> = LazyLock::new(|| link("enhance.js"));
/// The link of the script that tells of others' changes.
pub static LIVE: LazyLock<String> = LazyLock::new(|| link("changed.js"));
/// The links of the elevation's editor, in the order in which they are run.
pub static EDITOR: LazyLock<[String; 3]> =
    LazyLock::new(|| ["elevation-shape.js", "elevation-save.js", "elevation.js"].map(link));
/// The mark's link.
pub static ICON: LazyLock<String> = LazyLock::new(|| link("icon.svg"));

fn hash(file: &EmbeddedFile) -> String {
    hex(&file.metadata.sha256_hash()[..6])
}

fn link(name: &'static str) -> String {
    let hash = Files::get(name)
        .as_ref()
        .map_or_else(|| "none".to_owned(), hash);
    Link::Asset(name, hash).to_string()
}

/// GET: one file. The name decides; the hash only makes the address new when the file is.
pub async fn get(Path((asked, name)): Path<(String, String)>) -> Response {
    let Some(file) = Files::get(&name) else {
        return StatusCode::NOT_FOUND.into_response();
    };
    let kind = match name.rsplit_once('.').map(|(_, end)| end) {
        Some("css") => "text/css; charset=utf-8",
        Some("js") => "text/javascript; charset=utf-8",
        Some("svg") => "image/svg+xml",
        _ => "application/octet-stream",
    };
    let keep = if asked == hash(&file) {
        "public, max-age=31536000, immutable"
    } else {
        "no-cache"
    };
    (
        [(header::CONTENT_TYPE, kind), (header::CACHE_CONTROL, keep)],
        Body::from(file.data.into_owned()),
    )
        .into_response()
}
