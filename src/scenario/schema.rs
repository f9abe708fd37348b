//! The JSON Schema of the typed structs, and the rules read off it.
//!
//! Only the few words of JSON Schema that the structs produce are understood. A shape that is not would become a table
//! that is not looked into; the test of the rules allows one of those, by name.

use schemars::JsonSchema;
use schemars::generate::SchemaSettings;
use serde_json::Value as Json;

use super::rules::{KeyRule, MapKeys, Range, Rule, ValueShape};

/// The JSON Schema of a whole file. TOML has no null, so none is offered.
pub(super) fn schema_value<File: JsonSchema>() -> Json {
    let settings =
        SchemaSettings::draft2020_12().with(|settings| settings.inline_subschemas = true);
    let mut schema = settings
        .into_generator()
        .into_root_schema_for::<File>()
        .to_value();
    drop_null(&mut schema);
    schema
}

/// The rule that a schema stands for.
pub(super) fn rule(schema: &Json) -> Rule {
    let meaning = text_of(schema, "description").unwrap_or_default();
    let example = schema
        .get("examples")
        .and_then(|list| list.get(0))
        .map(toml_text);
    let mut shape = shape(schema);
    explain_parts(&mut shape, &meaning, &example);
    Rule {
        meaning,
        unit: text_of(schema, "x-unit"),
        default: text_of(schema, "x-default").or_else(|| schema.get("default").map(toml_text)),
        example,
        shape,
    }
}

/// Gives the values inside a list or a map, which have no words of their own, those of the key.
fn explain_parts(shape: &mut ValueShape, meaning: &str, example: &Option<String>) {
    let parts: Vec<&mut Rule> = match shape {
        ValueShape::List { item, .. } if item.fields().is_empty() => vec![item],
        ValueShape::Map { value, .. } => vec![value],
        ValueShape::Either(choices) => choices.iter_mut().collect(),
        _ => Vec::new(),
    };
    for part in parts {
        part.meaning = meaning.to_owned();
        part.example = part.example.take().or_else(|| example.clone());
        explain_parts(&mut part.shape, meaning, example);
    }
}

fn shape(schema: &Json) -> ValueShape {
    if let Some(choices) = schema.get("anyOf").and_then(Json::as_array) {
        return ValueShape::Either(choices.iter().map(rule).collect());
    }
    match schema.get("type").and_then(Json::as_str) {
        Some("object") => table_shape(schema),
        Some("array") => ValueShape::List {
            item: Box::new(rule(&schema["items"])),
            least: whole(schema, "minItems").unwrap_or(0),
            most: whole(schema, "maxItems").unwrap_or(usize::MAX),
        },
        Some("number") => ValueShape::Number(range(schema)),
        Some("integer") => ValueShape::Whole {
            range: range(schema),
            only: listed(schema, Json::as_i64),
        },
        Some("string") => ValueShape::Text {
            choices: listed(schema, |word| word.as_str().map(str::to_owned)),
            shortest: whole(schema, "minLength").unwrap_or(0),
            longest: whole(schema, "maxLength").unwrap_or(usize::MAX),
        },
        Some("boolean") => ValueShape::Flag,
        _ => ValueShape::Unread,
    }
}

fn table_shape(schema: &Json) -> ValueShape {
    if let Some(properties) = schema.get("properties").and_then(Json::as_object) {
        let required = listed(schema.get("required").unwrap_or(&Json::Null), |word| {
            word.as_str().map(str::to_owned)
        });
        let optional = properties.keys().filter(|name| !required.contains(name));
        let field = |name: &String| KeyRule {
            name: name.clone(),
            required: required.contains(name),
            rule: rule(&properties[name]),
        };
        return ValueShape::Table(required.iter().chain(optional).map(field).collect());
    }
    match (
        text_of(schema, "x-keys").as_deref(),
        schema.get("additionalProperties"),
    ) {
        (Some("Noll index"), Some(value)) => ValueShape::Map {
            keys: MapKeys::Noll,
            value: Box::new(rule(value)),
        },
        (Some(_), Some(value)) => ValueShape::Map {
            keys: MapKeys::Screws,
            value: Box::new(rule(value)),
        },
        _ => ValueShape::Unread,
    }
}

fn range(schema: &Json) -> Range {
    let limit_of = |key: &str| schema.get(key).and_then(Json::as_f64);
    let above = limit_of("exclusiveMinimum");
    Range {
        least: above.or(limit_of("minimum")).unwrap_or(f64::NEG_INFINITY),
        above: above.is_some(),
        most: limit_of("maximum").unwrap_or(f64::INFINITY),
    }
}

fn text_of(schema: &Json, key: &str) -> Option<String> {
    schema.get(key).and_then(Json::as_str).map(str::to_owned)
}

fn whole(schema: &Json, key: &str) -> Option<usize> {
    schema
        .get(key)
        .and_then(Json::as_u64)
        .and_then(|count| usize::try_from(count).ok())
}

/// The items of a list, or of the list under `enum`.
fn listed<T>(schema: &Json, item: impl Fn(&Json) -> Option<T>) -> Vec<T> {
    let list = schema
        .as_array()
        .or_else(|| schema.get("enum").and_then(Json::as_array));
    list.map(|items| items.iter().filter_map(item).collect())
        .unwrap_or_default()
}

/// A JSON value as it would be typed in TOML; the two agree for numbers, text, flags and lists of them.
fn toml_text(value: &Json) -> String {
    match value {
        Json::Array(items) => format!(
            "[{}]",
            items.iter().map(toml_text).collect::<Vec<_>>().join(", ")
        ),
        other => other.to_string(),
    }
}

/// Takes every null out of a schema: as a type, as one of several shapes, and as a default.
fn drop_null(schema: &mut Json) {
    match schema {
        Json::Object(object) => {
            object.retain(|key, value| !(key == "default" && value.is_null()));
            for list in ["type", "anyOf"] {
                drop_null_of(object, list);
            }
            if let Some(Json::Array(choices)) = object.get_mut("enum") {
                choices.retain(|choice| !choice.is_null());
            }
            object.values_mut().for_each(drop_null);
        }
        Json::Array(items) => items.iter_mut().for_each(drop_null),
        _ => {}
    }
}

fn drop_null_of(object: &mut serde_json::Map<String, Json>, list: &str) {
    let Some(Json::Array(items)) = object.get_mut(list) else {
        return;
    };
    items.retain(|item| item != "null" && item.get("type").is_none_or(|kind| kind != "null"));
    if let [single] = items.as_slice() {
        let single = single.clone();
        match single {
            Json::Object(inner) => {
                object.remove(list);
                for (key, value) in inner {
                    object.entry(key).or_insert(value);
                }
            }
            word => {
                object.insert(list.to_owned(), word);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::raw::RawScenario;
    use super::*;
    use serde_json::json;

    #[test]
    fn null_is_taken_out_wherever_it_may_stand() {
        let mut schema = json!({
            "type": ["number", "null"], "default": null, "enum": [1, 2, null],
            "properties": { "inner": { "anyOf": [{ "type": "object", "minProperties": 1 }, { "type": "null" }] } },
        });
        drop_null(&mut schema);
        let expected = json!({ "type": "number", "enum": [1, 2], "properties": { "inner": { "type": "object", "minProperties": 1 } } });
        assert_eq!(schema, expected);
    }

    #[test]
    fn the_schema_offers_no_null_and_allows_no_unknown_key() {
        let schema = schema_value::<RawScenario>();
        assert!(!schema.to_string().contains("null"));
        assert_eq!(schema["additionalProperties"], json!(false));
        assert_eq!(
            schema["properties"]["telescope"]["additionalProperties"],
            json!(false)
        );
    }
}
