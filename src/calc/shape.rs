//! Whether lists and objects stand where a document's description has them. A reader of ours takes a list
//! for an object, its fields in the order in which they were written down here, and an object for the
//! word that is its only key: promises that nobody made.

use serde_json::{Map, Value};
use utoipa::ToSchema;

use super::document::{Refused, step};

/// Refuses a list or an object where the description of `T` has neither.
pub fn check<T: ToSchema>(value: &Value) -> Result<(), Refused> {
    // Much of what is sent is plain fields, of which none can be in the wrong place.
    let nests = |value: &Value| value.is_array() || value.is_object();
    if value
        .as_object()
        .is_some_and(|fields| !fields.values().any(nests))
    {
        return Ok(());
    }
    let mut named = Vec::new();
    T::schemas(&mut named);
    let described = |schema| serde_json::to_value(schema).unwrap_or_default();
    let shape = Shape(
        named
            .into_iter()
            .map(|(name, schema)| (name, described(schema)))
            .collect(),
    );
    shape.meets(&described(T::schema()), value)
}

/// The descriptions that others refer to, by name.
struct Shape(Map<String, Value>);

impl Shape {
    fn meets(&self, schema: &Value, value: &Value) -> Result<(), Refused> {
        if !(value.is_array() || value.is_object()) {
            return Ok(());
        }
        if let Some(to) = schema["$ref"].as_str() {
            let named = to.rsplit('/').next().and_then(|name| self.0.get(name));
            return named.map_or(Ok(()), |named| self.meets(named, value));
        }
        for all in schema["allOf"].as_array().into_iter().flatten() {
            self.meets(all, value)?;
        }
        for of in ["oneOf", "anyOf"] {
            if let Some(any) = schema[of].as_array() {
                self.meets_one(any, value)?;
            }
        }
        match value {
            Value::Array(_) if !takes(schema, "array") => {
                Err(Refused::at("", wanted(schema, "a list")))
            }
            Value::Object(_) if !takes(schema, "object") => {
                Err(Refused::at("", wanted(schema, "an object")))
            }
            Value::Array(items) => items.iter().enumerate().try_for_each(|(at, item)| {
                let inner = schema["prefixItems"].get(at).unwrap_or(&schema["items"]);
                self.meets(inner, item)
                    .map_err(|why| why.under(&at.to_string()))
            }),
            Value::Object(fields) => fields.iter().try_for_each(|(name, field)| {
                let inner = schema["properties"]
                    .get(name)
                    .unwrap_or(&schema["additionalProperties"]);
                self.meets(inner, field)
                    .map_err(|why| why.under(&step(name)))
            }),
            _ => Ok(()),
        }
    }

    /// Whether a value is of this kind, where a word in it says of which it is.
    fn agrees(&self, schema: &Value, value: &Value) -> bool {
        if let Some(to) = schema["$ref"].as_str() {
            let named = to.rsplit('/').next().and_then(|name| self.0.get(name));
            return named.is_none_or(|named| self.agrees(named, value));
        }
        let mut parts = schema["allOf"].as_array().into_iter().flatten();
        let mut fields = schema["properties"].as_object().into_iter().flatten();
        parts.all(|part| self.agrees(part, value))
            && fields.all(|(name, field)| {
                let words = field["enum"].as_array().filter(|_| value[name].is_string());
                words.is_none_or(|words| words.contains(&value[name]))
            })
    }

    /// What one of several descriptions takes; where none does, what the nearest says.
    fn meets_one(&self, any: &[Value], value: &Value) -> Result<(), Refused> {
        let mut nearest: Option<Refused> = None;
        let fitting = any.iter().filter(|one| self.agrees(one, value));
        for one in fitting {
            match self.meets(one, value) {
                Ok(()) => return Ok(()),
                Err(why) => {
                    let deeper = nearest
                        .as_ref()
                        .is_none_or(|known| known.pointer.len() < why.pointer.len());
                    if deeper {
                        nearest = Some(why);
                    }
                }
            }
        }
        // A word that is none of theirs is refused by the reader, which lists them.
        nearest.map_or(Ok(()), Err)
    }
}

/// Whether a description takes what is of this type; one that names no type takes every.
fn takes(schema: &Value, word: &str) -> bool {
    match &schema["type"] {
        Value::String(one) => one == word,
        Value::Array(several) => several.iter().any(|one| one == word),
        _ => true,
    }
}

fn wanted(schema: &Value, found: &str) -> String {
    let wanted = if takes(schema, "object") {
        "an object here, its fields by their names"
    } else if takes(schema, "array") {
        "a list here"
    } else {
        "one value here"
    };
    format!("Send {wanted}, not {found}.")
}

#[cfg(test)]
mod tests {
    use serde_json::json;
    use utoipa::ToSchema;

    use super::*;

    #[derive(ToSchema)]
    #[expect(dead_code, reason = "only its description is looked at")]
    struct ShapeOuter {
        list: Vec<ShapeInner>,
        maybe: Option<ShapeInner>,
        either: ShapeEither,
    }

    #[derive(ToSchema)]
    #[expect(dead_code, reason = "only its description is looked at")]
    struct ShapeInner {
        number: i64,
    }

    #[derive(ToSchema, serde::Serialize)]
    #[serde(tag = "is", rename_all = "snake_case")]
    #[expect(dead_code, reason = "only its description is looked at")]
    enum ShapeEither {
        One { many: Vec<i64> },
        Two { inner: ShapeTwo },
    }

    #[derive(ToSchema, serde::Serialize)]
    struct ShapeTwo {
        number: i64,
    }

    #[test]
    fn a_list_is_no_object_however_deep_it_lies() {
        let pointer = |value| check::<ShapeOuter>(&value).map_err(|why| why.pointer);
        assert_eq!(
            pointer(json!({"list": [{"number": 1}, {"number": 2}]})),
            Ok(())
        );
        assert_eq!(
            pointer(json!({"either": {"is": "one", "many": [1, 2]}})),
            Ok(())
        );
        assert_eq!(pointer(json!({"unknown": [1]})), Ok(()));
        assert_eq!(pointer(json!([[]])), Err(String::new()));
        assert_eq!(
            pointer(json!({"list": [{"number": 1}, [2]]})),
            Err("/list/1".into())
        );
        assert_eq!(pointer(json!({"maybe": [2]})), Err("/maybe".into()));
        assert_eq!(
            pointer(json!({"either": ["one", [1]]})),
            Err("/either".into())
        );
        assert_eq!(
            pointer(json!({"either": {"is": "two", "inner": [1]}})),
            Err("/either/inner".into())
        );
        assert_eq!(
            pointer(json!({"maybe": {"number": {"a": 1}}})),
            Err("/maybe/number".into())
        );
        assert_eq!(
            pointer(json!({"maybe": {"number": [1]}})),
            Err("/maybe/number".into())
        );
    }
}
