//! The JSON Schema of the operator's two sides: what the program writes and what it takes, made
//! from the very types that are written and read. On this wire an event is a note, so its tag is
//! renamed here as it is there.

use super::json::{AnswerLine, AskLine, ErrorLine, ReadingLine};
use crate::event::Event;
use schemars::{Schema, SchemaGenerator, json_schema};
use serde_json::Value;

/// `output` describes one line that the program writes, `input` one line that it takes.
#[must_use]
pub fn schema() -> Schema {
    let mut generator = SchemaGenerator::default();
    let ask = generator.subschema_for::<AskLine>();
    let answer = generator.subschema_for::<AnswerLine>();
    let reading = generator.subschema_for::<ReadingLine>();
    let error = generator.subschema_for::<ErrorLine>();
    let note = note_of(generator.subschema_for::<Event>(), &mut generator);
    let defs = Value::Object(generator.take_definitions(true));
    json_schema!({
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "Operator lines",
        "description": "One JSON object a line. `output` is what coilmark writes, `input` what it takes.",
        "properties": {
            "output": { "anyOf": [ask, reading, error, note] },
            "input": answer,
        },
        "$defs": defs,
    })
}

/// An event's schema with its tag renamed: on this wire a fact is a note.
fn note_of(event: Schema, generator: &mut SchemaGenerator) -> Schema {
    for definition in generator.definitions_mut().values_mut() {
        rename_tag(definition);
    }
    event
}

fn rename_tag(value: &mut Value) {
    match value {
        Value::Object(object) => {
            if let Some(Value::Object(properties)) = object.get_mut("properties")
                && let Some(tag) = properties.remove("event")
            {
                properties.insert("note".into(), tag);
                properties.insert("v".into(), serde_json::json!({ "const": 1 }));
            }
            if let Some(Value::Array(required)) = object.get_mut("required") {
                for name in required.iter_mut().filter(|name| *name == "event") {
                    *name = Value::from("note");
                }
            }
            object.values_mut().for_each(rename_tag);
        }
        Value::Array(items) => items.iter_mut().for_each(rename_tag),
        _ => {}
    }
}
