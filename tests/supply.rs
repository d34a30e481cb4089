//! What the program is built from: licences, bans and sources as `deny.toml` allows them. Advisories
//! are for cargo-deny, which reads the same file (see `tests/run`).

use std::{
    collections::{BTreeMap, BTreeSet},
    path::Path,
    process::Command,
};

use serde_json::Value;
use spdx::Expression;

struct Crates {
    /// Every crate of the lock file, by id.
    all: BTreeMap<String, Value>,
    /// Those that the program itself contains or is built by: tests left out.
    shipped: BTreeSet<String>,
}

fn list(value: &Value) -> &[Value] {
    value.as_array().map_or(&[], Vec::as_slice)
}

fn text(value: &Value) -> &str {
    value.as_str().unwrap_or_default()
}

fn crates() -> Crates {
    let out = Command::new(env!("CARGO"))
        .args(["metadata", "--format-version", "1", "--locked"])
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .output()
        .expect("cargo runs");
    assert!(
        out.status.success(),
        "{}",
        String::from_utf8_lossy(&out.stderr)
    );
    let told: Value = serde_json::from_slice(&out.stdout).expect("JSON");
    let all = list(&told["packages"])
        .iter()
        .map(|one| (text(&one["id"]).to_owned(), one.clone()))
        .collect();
    let nodes: BTreeMap<&str, &Value> = list(&told["resolve"]["nodes"])
        .iter()
        .map(|node| (text(&node["id"]), node))
        .collect();
    let mut shipped = BTreeSet::new();
    let mut next = vec![text(&told["resolve"]["root"]).to_owned()];
    while let Some(id) = next.pop() {
        if !shipped.insert(id.clone()) {
            continue;
        }
        for dep in list(&nodes[id.as_str()]["deps"]) {
            let for_tests = |kind: &Value| text(&kind["kind"]) == "dev";
            if !list(&dep["dep_kinds"]).iter().all(for_tests) {
                next.push(text(&dep["pkg"]).to_owned());
            }
        }
    }
    Crates { all, shipped }
}

fn rules() -> toml::Table {
    let file = Path::new(env!("CARGO_MANIFEST_DIR")).join("deny.toml");
    let text = std::fs::read_to_string(file).expect("deny.toml");
    text.parse().expect("TOML")
}

fn words(value: &toml::Value) -> Vec<String> {
    let all = value.as_array().expect("a list");
    all.iter()
        .map(|word| word.as_str().expect("a word").to_owned())
        .collect()
}

/// Whether a licence expression can be met by those allowed.
fn met(licence: &str, allowed: &[String]) -> bool {
    // A slash is the older way to write OR.
    let licence = licence.replace('/', " OR ");
    let Ok(expression) = Expression::parse(&licence) else {
        return false;
    };
    expression.evaluate(|asked| allowed.iter().any(|one| *one == asked.to_string()))
}

#[test]
fn licences_bans_and_sources_are_as_deny_toml_allows() {
    let (crates, rules) = (crates(), rules());
    let allowed = words(&rules["licenses"]["allow"]);
    let excepted: BTreeMap<String, Vec<String>> = rules["licenses"]["exceptions"]
        .as_array()
        .expect("a list")
        .iter()
        .map(|one| {
            let name = one["crate"].as_str().expect("a crate").to_owned();
            (name, words(&one["allow"]))
        })
        .collect();
    let banned: Vec<String> = rules["bans"]["deny"]
        .as_array()
        .expect("a list")
        .iter()
        .map(|one| one["crate"].as_str().expect("a crate").to_owned())
        .collect();
    let mut faults = Vec::new();
    let mut used = BTreeSet::new();
    let mut sources = BTreeSet::new();
    for (id, one) in &crates.all {
        let (name, licence) = (text(&one["name"]), text(&one["license"]));
        if !met(licence, &allowed) {
            match excepted.get(name) {
                Some(also) if met(licence, also) && !crates.shipped.contains(id) => {
                    used.insert(name.to_owned());
                }
                Some(_) => faults.push(format!("{name} is shipped, under {licence}")),
                None => faults.push(format!("{name} is under {licence:?}")),
            }
        }
        if banned.iter().any(|other| other == name) {
            faults.push(format!("{name} is banned"));
        }
        match text(&one["source"]) {
            // Our own.
            "" => assert_eq!(name, env!("CARGO_PKG_NAME")),
            source if source.starts_with("registry+") => {
                sources.insert(source.to_owned());
            }
            source => faults.push(format!("{name} comes from {source}")),
        }
    }
    // What this crate itself asks for says which version.
    let own = crates.all.values().find(|one| one["source"].is_null());
    for dep in list(&own.expect("this crate")["dependencies"]) {
        if text(&dep["req"]) == "*" {
            faults.push(format!("any version of {} would do", text(&dep["name"])));
        }
    }
    assert!(faults.is_empty(), "{}", faults.join("\n"));
    assert_eq!(sources.len(), 1, "{sources:?}");
    let unused: Vec<_> = excepted
        .keys()
        .filter(|name| !used.contains(*name))
        .collect();
    assert!(
        unused.is_empty(),
        "exceptions that nothing needs: {unused:?}"
    );
    assert!(crates.all.len() > 100 && crates.shipped.len() < crates.all.len());
}

#[test]
fn a_licence_that_is_not_allowed_is_told() {
    let allowed = words(&rules()["licenses"]["allow"]);
    for fine in [
        "MIT",
        "MIT/Apache-2.0",
        "GPL-3.0-only OR MIT",
        "(MIT OR Apache-2.0) AND Unicode-3.0",
    ] {
        assert!(met(fine, &allowed), "{fine}");
    }
    for not in [
        "",
        "GPL-3.0-only",
        "MIT AND GPL-3.0-only",
        "MPL-2.0",
        "who knows",
    ] {
        assert!(!met(not, &allowed), "{not}");
    }
}
