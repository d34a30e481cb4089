//! What every operation of the API has in common, written into its OpenAPI document in one place:
//! its id and tag, the ids in its address, the headers it reads, the refusals it may answer with.

use serde_json::{Map, Value, json};

use crate::calc::Kind;

const PROBLEM: &str = "#/components/schemas/Problem";
const NAME: &str = "#/components/schemas/Name";

/// What is added to a set, or done with it, on the version that `If-Match` may name.
const ON_A_VERSION: &[&str] = &["bars", "frames", "extras", "pick", "reserve", "state"];

/// Completes the document that the handlers' own descriptions make.
pub fn complete(mut document: Value) -> Value {
    open_parts(&mut document);
    if let Some(colours) = document.pointer_mut("/components/schemas/Channels") {
        colours["uniqueItems"] = true.into();
    }
    add_examples(&mut document);
    // Asked for where people sign in; on one's own machine nobody is.
    if let Some(components) = document
        .get_mut("components")
        .and_then(Value::as_object_mut)
    {
        components.insert(
            "securitySchemes".into(),
            json!({
                "key": {
                    "type": "http", "scheme": "bearer",
                    "description": "The key of a program, made by a keeper at Settings, People."
                },
                "session": {
                    "type": "apiKey", "in": "cookie", "name": "session",
                    "description": "A browser that is signed in."
                },
            }),
        );
    }
    document["security"] = json!([{}, { "key": [] }, { "session": [] }]);
    let Some(paths) = document.get_mut("paths").and_then(Value::as_object_mut) else {
        return document;
    };
    for (path, item) in paths.iter_mut() {
        let Some(item) = item.as_object_mut() else {
            continue;
        };
        // What is edited has an entity tag.
        let edited =
            item.contains_key("get") && ["put", "delete"].iter().any(|m| item.contains_key(*m));
        for (method, operation) in item.iter_mut() {
            if let Some(operation) = operation.as_object_mut() {
                complete_operation(path, method, edited, operation);
            }
        }
    }
    document
}

/// The calculators' worked examples, asked and answered.
fn add_examples(document: &mut Value) {
    for kind in Kind::ALL {
        let Some(operation) =
            document.pointer_mut(&format!("/paths/~1api~1v1~1calc~1{}/post", kind.word()))
        else {
            continue;
        };
        let (mut asked, mut said) = (Map::new(), Map::new());
        for example in kind.examples() {
            asked.insert(example.title.clone(), json!({"value": example.asked}));
            said.insert(example.title, json!({"value": example.said}));
        }
        for (at, examples) in [
            ("/requestBody/content/application~1json", asked),
            ("/responses/200/content/application~1json", said),
        ] {
            if let Some(content) = operation.pointer_mut(at).and_then(Value::as_object_mut) {
                content.insert("examples".into(), examples.into());
            }
        }
    }
}

/// A kind's attributes and the word that says which kind stand in one object: each half is open,
/// and the whole is closed (JSON Schema, `unevaluatedProperties`).
fn open_parts(document: &mut Value) {
    let Some(schemas) = document
        .pointer_mut("/components/schemas")
        .and_then(Value::as_object_mut)
    else {
        return;
    };
    let mut halves = Vec::new();
    for schema in schemas.values_mut() {
        let variants = schema.get_mut("oneOf").and_then(Value::as_array_mut);
        for variant in variants.into_iter().flatten() {
            let refs: Vec<String> = variant["allOf"]
                .as_array()
                .into_iter()
                .flatten()
                .filter_map(|half| half["$ref"].as_str()?.rsplit('/').next())
                .map(ToOwned::to_owned)
                .collect();
            if !refs.is_empty() {
                variant["unevaluatedProperties"] = false.into();
                halves.extend(refs);
            }
        }
    }
    for half in halves {
        if let Some(half) = schemas.get_mut(&half).and_then(Value::as_object_mut) {
            half.remove("additionalProperties");
        }
    }
}

fn complete_operation(path: &str, method: &str, edited: bool, operation: &mut Map<String, Value>) {
    let names: Vec<&str> = path
        .split('/')
        .skip(3)
        .map(|segment| segment.trim_matches(['{', '}']))
        .collect();
    operation.insert(
        "operationId".into(),
        format!("{method}_{}", names.join("_"))
            .replace(['.', '-'], "_")
            .into(),
    );
    operation.insert("tags".into(), json!([names.first()]));

    let mut parameters: Vec<Value> = path
        .split('/')
        .filter_map(|segment| segment.strip_prefix('{')?.strip_suffix('}'))
        .map(|name| {
            let schema = match name {
                "name" => json!({"$ref": NAME}),
                "tag" => json!({"type": "string", "minLength": 1, "maxLength": 24}),
                _ => json!({"type": "integer", "format": "int64", "minimum": 1}),
            };
            json!({"name": name, "in": "path", "required": true, "schema": schema})
        })
        .collect();
    let mut header = |name: &str, required: bool, description: &str, schema: Value| {
        parameters.push(json!({
            "name": name, "in": "header", "required": required,
            "description": description, "schema": schema,
        }));
    };
    // A calculator reads and writes nothing: it knows no version, no key, and not who asks.
    let calculates = names.first() == Some(&"calc");
    let mut refusals: Vec<(&str, &str)> = vec![(
        "503",
        if calculates {
            "Too much is being calculated; ask again"
        } else {
            "The database is busy or cannot be written; nothing was changed"
        },
    )];
    refusals.push(("401", "People sign in here, and nobody did"));
    refusals.push((
        "403",
        "Who is signed in may not do this; nothing was changed",
    ));
    if path.contains('{') {
        refusals.push(("404", "There is no such thing"));
    }
    if calculates {
        refusals.push(("400", "The body cannot be read"));
    } else if method == "get" {
        header(
            "If-None-Match",
            false,
            "Entity tags of what the client has",
            json!({"type": "string"}),
        );
    } else {
        header(
            "Tapewright-Who",
            false,
            "Who acts, as the log will say; `api` where it is left out",
            json!({"$ref": NAME}),
        );
        refusals.push(("400", "A header, or the body, cannot be read"));
        refusals.push((
            "409",
            "What is stored does not allow it; the sentence says why",
        ));
        refusals.push(("507", "The disk is full; nothing was changed"));
    }
    if method != "get" && !calculates {
        header(
            "Idempotency-Key",
            false,
            "A key of the client's own: the same request under the same key is carried out once, and gets the first answer again",
            json!({"type": "string", "minLength": 8, "maxLength": 200}),
        );
        refusals.push((
            "422",
            "The key was used for another request, or fields are wrong",
        ));
    }
    if (edited && method != "get" && method != "post") || names.last() == Some(&"arrange") {
        header(
            "If-Match",
            true,
            "Entity tag of what the change was made from",
            json!({"type": "string"}),
        );
        refusals.push((
            "412",
            "It was changed meanwhile; ETag says which version is stored now",
        ));
        refusals.push(("428", "If-Match is missing"));
    }
    if method == "post" && names.last().is_some_and(|name| ON_A_VERSION.contains(name)) {
        header(
            "If-Match",
            false,
            "Entity tag of the set that this is meant for; the set as it is now where it is left \
             out",
            json!({"type": "string"}),
        );
        refusals.push((
            "412",
            "The set was changed meanwhile; ETag says which version is stored now",
        ));
    }
    if operation.contains_key("requestBody") {
        refusals.push(("413", "The body is too large"));
        refusals.push(if names.first() == Some(&"csv") {
            ("415", "The body is not text/csv")
        } else {
            ("415", "The body is not application/json")
        });
        refusals.push(("422", "Fields are wrong; `errors` names each"));
    }
    let own = operation.entry("parameters").or_insert_with(|| json!([]));
    if let Some(own) = own.as_array_mut() {
        if own.iter().any(|parameter| parameter["in"] == "query") {
            refusals.push(("422", "A parameter is wrong; `errors` names it"));
        }
        own.append(&mut parameters);
    }
    let Some(responses) = operation
        .get_mut("responses")
        .and_then(Value::as_object_mut)
    else {
        return;
    };
    if method == "get" {
        if let Some(found) = responses.get_mut("200").and_then(Value::as_object_mut) {
            found.insert(
                "headers".into(),
                json!({"ETag": {
                    "description": if edited {
                        "Strong entity tag, for If-Match and If-None-Match"
                    } else {
                        "Weak entity tag, for If-None-Match"
                    },
                    "required": true,
                    "schema": {"type": "string"},
                }}),
            );
        }
        responses.insert(
            "304".into(),
            json!({"description": "The client has it already"}),
        );
    }
    for (status, description) in refusals {
        responses.entry(status).or_insert_with(|| {
            json!({
                "description": description,
                "content": {super::problem::MEDIA_TYPE: {"schema": {"$ref": PROBLEM}}},
            })
        });
    }
}
