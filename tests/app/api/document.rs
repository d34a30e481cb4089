//! The OpenAPI document: valid, complete, and true.

use std::{collections::BTreeSet, fs, path::Path};

use serde_json::Value;

use super::get;
use crate::help::TestApp;

const METHODS: &[&str] = &["get", "put", "post", "delete", "patch"];

async fn document(app: &TestApp) -> Value {
    let page = get(app, "/openapi.json").await;
    assert_eq!(page.status, 200);
    assert_eq!(page.header("content-type"), Some("application/json"));
    page.value()
}

fn operations(document: &Value) -> Vec<(String, String, &Value)> {
    let paths = document["paths"].as_object().expect("paths");
    let mut found = Vec::new();
    for (path, item) in paths {
        for (method, operation) in item.as_object().expect("a path item") {
            assert!(METHODS.contains(&method.as_str()), "{method} {path}");
            found.push((method.clone(), path.clone(), operation));
        }
    }
    found
}

fn refs<'a>(value: &'a Value, found: &mut BTreeSet<&'a str>) {
    match value {
        Value::Object(map) => {
            if let Some(to) = map.get("$ref").and_then(Value::as_str) {
                found.insert(to);
            }
            map.values().for_each(|value| refs(value, found));
        }
        Value::Array(list) => list.iter().for_each(|value| refs(value, found)),
        _ => {}
    }
}

#[tokio::test]
async fn it_is_an_openapi_3_1_document_whose_references_resolve() {
    let app = TestApp::new().await;
    let document = document(&app).await;
    assert_eq!(document["openapi"], "3.1.0");
    assert_eq!(document["info"]["title"], "Tapewright");
    let mut found = BTreeSet::new();
    refs(&document, &mut found);
    assert!(found.len() > 50, "{found:?}");
    for to in found {
        let pointer = to.strip_prefix('#').expect("a local reference");
        assert!(document.pointer(pointer).is_some(), "{to} is not there");
    }
}

#[tokio::test]
async fn each_operation_says_what_it_does_takes_and_answers() {
    let app = TestApp::new().await;
    let document = document(&app).await;
    let mut ids = BTreeSet::new();
    let all = operations(&document);
    assert!(all.len() > 60, "only {} operations", all.len());
    for (method, path, operation) in all {
        let name = format!("{method} {path}");
        let csv = path.starts_with("/api/v1/csv/");
        assert!(
            operation["summary"]
                .as_str()
                .is_some_and(|it| !it.is_empty()),
            "{name}"
        );
        assert!(
            ids.insert(operation["operationId"].as_str().expect("an id")),
            "{name}"
        );
        let responses = operation["responses"].as_object().expect("responses");
        let good: Vec<_> = responses.keys().filter(|it| it.starts_with('2')).collect();
        assert_eq!(good.len(), 1, "{name}");
        for (status, response) in responses {
            let kind = match status.as_str() {
                "204" | "304" => continue,
                good if good.starts_with('2') && method == "get" && csv => "text/csv",
                good if good.starts_with('2') => "application/json",
                _ => "application/problem+json",
            };
            assert!(
                response["content"][kind]["schema"].is_object(),
                "{name} {status}"
            );
        }
        if matches!(method.as_str(), "put" | "post") {
            let kind = if csv { "text/csv" } else { "application/json" };
            let body = &operation["requestBody"]["content"][kind]["schema"];
            assert!(body.is_object(), "{name} takes no body");
        }
        let named: BTreeSet<_> = operation["parameters"]
            .as_array()
            .into_iter()
            .flatten()
            .filter(|parameter| parameter["in"] == "path")
            .filter_map(|parameter| parameter["name"].as_str())
            .collect();
        let wanted: BTreeSet<_> = path
            .split('/')
            .filter_map(|it| it.strip_prefix('{')?.strip_suffix('}'))
            .collect();
        assert_eq!(named, wanted, "{name}");
    }
}

#[tokio::test]
async fn every_documented_address_is_there_and_takes_only_the_documented_methods() {
    let app = TestApp::new().await;
    let document = document(&app).await;
    for (path, item) in document["paths"].as_object().expect("paths") {
        let address = path
            .split('/')
            .map(|segment| match segment {
                "{name}" | "{tag}" | "{key}" => "NONE",
                it if it.starts_with('{') => "987654",
                it => it,
            })
            .collect::<Vec<_>>()
            .join("/");
        let documented: BTreeSet<String> = item
            .as_object()
            .expect("a path item")
            .keys()
            .map(|method| method.to_uppercase())
            .collect();
        let refused = app.json("PATCH", address.clone(), &[], &Value::Null).await;
        assert_eq!(refused.status, 405, "{address}");
        let allowed: BTreeSet<String> = refused
            .header("allow")
            .expect("Allow")
            .split(',')
            .map(|method| method.trim().to_owned())
            .filter(|method| method != "HEAD")
            .collect();
        assert_eq!(allowed, documented, "{address}");
        if documented.contains("GET") && !address.contains("/search") {
            let page = app.json("GET", address.clone(), &[], &Value::Null).await;
            let there = !path.contains('{');
            assert_eq!(
                page.status,
                if there { 200 } else { 404 },
                "{address}: {}",
                page.body
            );
            // An address that is not routed says so in other words.
            assert!(!page.body.contains("nothing at this address"), "{address}");
        }
    }
    let none = get(&app, "/no-such").await;
    assert!(
        none.body.contains("nothing at this address"),
        "{}",
        none.body
    );
}

/// A half that is closed by itself would refuse the other half: no part could be sent.
#[tokio::test]
async fn kinds_of_parts_are_closed_as_a_whole_and_not_by_halves() {
    let app = TestApp::new().await;
    let document = document(&app).await;
    let kinds = document["components"]["schemas"]["PartSpec"]["oneOf"]
        .as_array()
        .expect("the kinds");
    assert_eq!(kinds.len(), 10);
    for kind in kinds {
        assert_eq!(kind["unevaluatedProperties"], false, "{kind}");
        let half = kind["allOf"][0]["$ref"].as_str().expect("a reference");
        let half = document.pointer(&half[1..]).expect("it is there");
        assert!(half["additionalProperties"].is_null(), "{half}");
        assert!(kind["allOf"][1]["properties"]["kind"].is_object(), "{kind}");
    }
}

/// What a thing is called in the document is its type's name: two of one name would be one.
#[test]
fn no_two_types_of_the_document_have_one_name() {
    fn look(folder: &Path, found: &mut Vec<String>) {
        for entry in fs::read_dir(folder).expect("a folder") {
            let path = entry.expect("an entry").path();
            if path.is_dir() {
                look(&path, found);
                continue;
            }
            let code = fs::read_to_string(&path).expect("a source file");
            for after in code.split("ToSchema").skip(1) {
                // What follows a derive: attributes, then the type.
                let Some((attributes, item)) = after
                    .starts_with(")]")
                    .then(|| after.split_once("struct ").or(after.split_once("enum ")))
                    .flatten()
                else {
                    continue;
                };
                let (attributes, item) = match after.split_once("enum ") {
                    Some((head, item)) if head.len() < attributes.len() => (head, item),
                    _ => (attributes, item),
                };
                let name = attributes
                    .split_once("schema(as = ")
                    .map_or(item, |(_, name)| name);
                found.push(name.chars().take_while(|c| c.is_alphanumeric()).collect());
            }
        }
    }
    let mut found = Vec::new();
    look(
        &Path::new(env!("CARGO_MANIFEST_DIR")).join("src"),
        &mut found,
    );
    assert!(found.len() > 100, "only {} types", found.len());
    found.sort();
    let twice: Vec<_> = found.windows(2).filter(|two| two[0] == two[1]).collect();
    assert!(twice.is_empty(), "{twice:?}");
}

#[tokio::test]
async fn words_stand_in_the_document_as_they_are_sent() {
    let app = TestApp::new().await;
    let document = document(&app).await;
    let schema = &document["components"]["schemas"]["State"];
    assert_eq!(schema["enum"][0], "draft", "{schema}");
}

/// Routes come into the router by their description only, so that none can be missing.
#[test]
fn no_route_is_added_beside_the_document() {
    fn look(folder: &Path, files: &mut usize) {
        for entry in fs::read_dir(folder).expect("a folder") {
            let path = entry.expect("an entry").path();
            if path.is_dir() {
                look(&path, files);
            } else {
                let code = fs::read_to_string(&path).expect("a source file");
                assert!(!code.contains(".route("), "{}", path.display());
                *files += 1;
            }
        }
    }
    let mut files = 0;
    look(
        &Path::new(env!("CARGO_MANIFEST_DIR")).join("src/api"),
        &mut files,
    );
    assert!(files > 10);
}

#[tokio::test]
async fn integers_that_a_client_sends_have_a_format_and_bounds() {
    let app = TestApp::new().await;
    let document = document(&app).await;
    let schemas = document["components"]["schemas"]
        .as_object()
        .expect("schemas");
    let mut seen = 0;
    for (name, schema) in schemas.iter().filter(|(name, _)| name.ends_with("Body")) {
        for (field, schema) in schema["properties"].as_object().into_iter().flatten() {
            let whole = match &schema["type"] {
                Value::String(kind) => kind == "integer",
                Value::Array(kinds) => kinds.iter().any(|kind| kind == "integer"),
                _ => false,
            };
            if whole {
                seen += 1;
                assert!(schema["minimum"].is_number(), "{name}.{field}: {schema}");
                assert!(schema["maximum"].is_number(), "{name}.{field}: {schema}");
            }
        }
    }
    assert!(seen > 10, "only {seen} were seen");
}
