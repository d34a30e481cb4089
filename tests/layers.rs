//! The architecture, held by a test: imports go one way, the pure layers stay pure, and links in
//! templates are typed.

use std::{
    collections::BTreeSet,
    fs,
    path::{Path, PathBuf},
};

/// Folders of `src` in the order of who may import whom: each what stands before it.
const LAYERS: &[&str] = &[
    "units", "model", "plan", "draw", "calc", "db", "stock", "people", "web",
];
/// What joins them; nothing below `web` may import it. `web`, `api` and `cli` stand side by side.
const TOP: &[&str] = &[
    "web", "api", "cli", "app", "backups", "config", "clock", "sample",
];
/// Layers without async, database, HTTP or clock.
const PURE: &[&str] = &["units", "model", "plan", "draw", "calc"];

fn files(folder: &Path, end: &str) -> Vec<PathBuf> {
    let mut found = Vec::new();
    for entry in fs::read_dir(folder).into_iter().flatten() {
        let path = entry.expect("an entry").path();
        if path.is_dir() {
            found.extend(files(&path, end));
        } else if path.extension().is_some_and(|extension| extension == end) {
            found.push(path);
        }
    }
    found.sort();
    found
}

fn sources(layer: &str) -> Vec<PathBuf> {
    let src = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut found = files(&src.join(layer), "rs");
    let single = src.join(format!("{layer}.rs"));
    if single.is_file() {
        found.push(single);
    }
    found
}

/// The code of a file: without comments, and without what stands in quotes.
fn code(path: &Path) -> String {
    let text = fs::read_to_string(path).expect("a source file");
    strip(&text)
}

fn strip(text: &str) -> String {
    let mut code = String::new();
    let mut rest = text;
    while !rest.is_empty() {
        if rest.starts_with("//") {
            rest = &rest[rest.find('\n').unwrap_or(rest.len())..];
        } else if let Some(raw) = ["r#\"", "br#\""].iter().find(|raw| rest.starts_with(**raw)) {
            let after = &rest[raw.len()..];
            rest = &after[after.find("\"#").map_or(after.len(), |at| at + 2)..];
        } else if let Some(after) = rest.strip_prefix('"') {
            let mut escaped = false;
            let end = after.find(|c| {
                let ends = c == '"' && !escaped;
                escaped = c == '\\' && !escaped;
                ends
            });
            rest = &after[end.map_or(after.len(), |at| at + 1)..];
        } else if let Some(quote) = ["'\"'", "'\\\"'"].iter().find(|q| rest.starts_with(**q)) {
            rest = &rest[quote.len()..];
        } else {
            let c = rest.chars().next().expect("not empty");
            code.push(c);
            rest = &rest[c.len_utf8()..];
        }
    }
    code
}

/// What a file takes from the crate: the first names after `crate::`, groups included.
fn imports(code: &str) -> BTreeSet<String> {
    let mut found = BTreeSet::new();
    for (at, _) in code.match_indices("crate::") {
        let rest = &code[at + "crate::".len()..];
        if let Some(group) = rest.strip_prefix('{') {
            let mut depth = 0_u32;
            let mut first = String::new();
            for c in group.chars() {
                match c {
                    '{' => depth += 1,
                    '}' if depth == 0 => break,
                    '}' => depth -= 1,
                    ',' if depth == 0 => {
                        found.insert(head(&first));
                        first.clear();
                        continue;
                    }
                    _ => {}
                }
                first.push(c);
            }
            found.insert(head(&first));
        } else {
            found.insert(head(rest));
        }
    }
    found.remove("");
    found
}

fn head(path: &str) -> String {
    path.trim_start()
        .chars()
        .take_while(|c| c.is_alphanumeric() || *c == '_')
        .collect()
}

#[test]
fn imports_go_one_way() {
    let rank = |layer: &str| LAYERS.iter().position(|known| *known == layer);
    let mut seen = 0;
    let mut wrong = Vec::new();
    for layer in LAYERS.iter().filter(|layer| !TOP.contains(layer)) {
        for path in sources(layer) {
            seen += 1;
            for used in imports(&code(&path)) {
                if TOP.contains(&&*used) || rank(&used) > rank(layer) {
                    wrong.push(format!("{} uses crate::{used}", path.display()));
                }
            }
        }
    }
    assert!(seen > 20, "only {seen} files were looked at");
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn the_pure_layers_know_no_async_no_database_no_http_and_no_clock() {
    let mut wrong = Vec::new();
    for layer in PURE {
        for path in sources(layer) {
            let code = code(&path);
            for word in [
                "tokio",
                "sqlx",
                "axum",
                "tower",
                "hyper",
                "askama",
                "async",
                "await",
                "SystemTime",
                "Instant::now",
                "Timestamp::now",
                "Zoned::now",
                "crate::clock",
                "getrandom",
            ] {
                if code.contains(word) {
                    wrong.push(format!("{} mentions {word}", path.display()));
                }
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn sql_stands_in_db_only() {
    let mut wrong = Vec::new();
    for layer in LAYERS.iter().chain(TOP).filter(|layer| **layer != "db") {
        for path in sources(layer) {
            let code = code(&path);
            // A connection may be handed on; what is asked of it stands in db.
            for word in [
                "query!(",
                "query_as!(",
                "query_scalar!(",
                "sqlx::query",
                "raw_sql",
            ] {
                if code.contains(word) {
                    wrong.push(format!("{} has {word}", path.display()));
                }
            }
        }
    }
    assert!(
        wrong.is_empty(),
        "SQL outside of src/db:\n{}",
        wrong.join("\n")
    );
}

#[test]
fn links_in_templates_are_typed() {
    let templates = Path::new(env!("CARGO_MANIFEST_DIR")).join("templates");
    let found = files(&templates, "html");
    assert!(found.len() > 5, "only {} templates", found.len());
    let mut wrong = Vec::new();
    for path in found {
        let text = fs::read_to_string(&path).expect("a template");
        for attribute in ["href", "action", "src", "formaction"] {
            for quote in ['"', '\''] {
                let start = format!("{attribute}={quote}");
                for (at, _) in text.match_indices(&start) {
                    let value = &text[at + start.len()..];
                    // A place on the same page is no link to another.
                    if !value.starts_with("{{") && !value.starts_with('#') {
                        let shown: String = value.chars().take(40).collect();
                        wrong.push(format!("{}: {start}{shown}", path.display()));
                    }
                }
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn what_is_read_as_an_import_is_one() {
    let code = strip(
        "// crate::web\nuse crate::{db::{Db, tx}, model::id, units};\nlet a = \"crate::api\"; \
         crate::plan::cut(); let q = '\"'; crate::stock::x();",
    );
    let found: Vec<_> = imports(&code).into_iter().collect();
    assert_eq!(found, ["db", "model", "plan", "stock", "units"]);
}
