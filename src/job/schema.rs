//! JSON Schemas (draft 2020-12) of the files that people type, made from the
//! tables that their readers use.

use super::document::MOST_POINTS;
use super::table::{Key, Kind, Need, Range, Table};
use super::unit::unit_of;
use super::{layers, map, material, printer, read};
use serde_json::{Map, Value, json};

/// Schema of a job file.
pub fn job() -> Value {
    document("job", &read::JOB)
}

/// Schema of a reinforcement map.
pub fn map() -> Value {
    let mut schema = document("map", &map::MAP);
    // what a rule cannot do without
    let needs = |rule: &str, key: &str| {
        json!({
            "if": {"properties": {"rule": {"const": rule}}, "required": ["rule"]},
            "then": {"required": [key]},
        })
    };
    schema["properties"]["region"]["items"]["allOf"] =
        json!([needs("unidirectional", "angle_deg"), needs("steered", "field")]);
    schema
}

/// Schema of a printer profile.
pub fn printer() -> Value {
    let mut schema = document("printer", &printer::PRINTER);
    let names: Vec<String> = super::block::NAMES
        .iter()
        .map(|n| {
            let only = if n.of_a_head { " (only in heat and heat_wait)" } else { "" };
            format!("{}: {}{only}", n.name, n.text)
        })
        .collect();
    schema["properties"]["blocks"]["x-names"] = json!(names);
    // heads that park or dock need their places
    let change = &mut schema["properties"]["head_change"];
    change["if"] = json!({"properties": {"way": {"enum": ["park", "dock"]}}, "required": ["way"]});
    change["then"] = json!({"required": ["matrix_at_mm", "fibre_at_mm"]});
    schema
}

/// Schema of a material file: a matrix or a tow, told apart by `kind`.
pub fn material() -> Value {
    json!({
        "$schema": DRAFT,
        "title": "towpath material",
        "description": "A material file: a matrix or a tow.",
        "oneOf": [object(&material::MATRIX_FILE), object(&material::TOW_FILE)],
    })
}

const DRAFT: &str = "https://json-schema.org/draft/2020-12/schema";

fn document(title: &str, table: &'static Table) -> Value {
    let mut schema = Map::new();
    schema.insert("$schema".to_owned(), json!(DRAFT));
    schema.insert("title".to_owned(), json!(format!("towpath {title}")));
    if let Value::Object(rest) = object(table) {
        schema.extend(rest);
    }
    Value::Object(schema)
}

fn object(table: &'static Table) -> Value {
    let mut properties = Map::new();
    let mut required = Vec::new();
    for key in table.keys {
        if matches!(key.kind, Kind::Later(_)) {
            continue;
        }
        properties.insert(key.name.to_owned(), property(key));
        if matches!(key.need, Need::Required) {
            required.push(key.name);
        }
    }
    let mut schema = json!({
        "type": "object",
        "description": table.text,
        "properties": properties,
        "additionalProperties": false,
    });
    if !required.is_empty() {
        schema["required"] = json!(required);
    }
    schema
}

fn property(key: &'static Key) -> Value {
    let mut schema = match &key.kind {
        Kind::Number(range) => number(range),
        Kind::Integer(low, high) => json!({"type": "integer", "minimum": low, "maximum": high}),
        // something that is no space, nothing that is a control character
        Kind::Text => {
            json!({"type": "string", "pattern": r"^[^\u0000-\u001f\u007f-\u009f]*[^\s\u0000-\u001f\u007f-\u009f][^\u0000-\u001f\u007f-\u009f]*$"})
        }
        Kind::Lines => json!({"type": "string"}),
        Kind::Flag => json!({"type": "boolean"}),
        Kind::Word(words) => json!({"enum": words.now}),
        Kind::Numbers(range, least, most) => list(number(range), *least, *most),
        Kind::NumberOrList(range) => json!({"oneOf": [number(range), list(number(range), 1, usize::MAX)]}),
        Kind::Points(range, least) => list(list(number(range), 2, 2), *least, MOST_POINTS),
        Kind::Discs(range, least) => list(list(number(range), 3, 3), *least, usize::MAX),
        Kind::Table(inner) => object(inner),
        Kind::OneOf(inner) => {
            let mut schema = object(inner);
            schema["minProperties"] = json!(1);
            schema["maxProperties"] = json!(1);
            schema
        }
        Kind::Tables(inner) => list(object(inner), 1, usize::MAX),
        Kind::Later(_) => json!(false),
    };
    if key.name == "layers" {
        schema["pattern"] = json!(layers::PATTERN);
    }
    let unit = unit_of(key.name);
    let unit = if unit.is_empty() { String::new() } else { format!(" [{unit}]") };
    schema["description"] = json!(format!("{}{unit}", key.text));
    match &key.need {
        Need::Number(v) => schema["default"] = json!(v),
        Need::Integer(v) => schema["default"] = json!(v),
        Need::Word(v) => schema["default"] = json!(v),
        Need::Numbers(v) => schema["default"] = json!(v),
        Need::Required | Need::Optional | Need::Empty => {}
    }
    schema
}

fn number(range: &Range) -> Value {
    let low = if range.low_in { "minimum" } else { "exclusiveMinimum" };
    json!({"type": "number", low: range.low, "maximum": range.high})
}

fn list(items: Value, least: usize, most: usize) -> Value {
    let mut schema = json!({"type": "array", "items": items, "minItems": least});
    if most != usize::MAX {
        schema["maxItems"] = json!(most);
    }
    schema
}
