//! Which JSON Schema lets an editor complete and check a pose file while it is written?
//!
//! Made from the same tables that the reader uses, so that the two cannot part.

use super::joint::{self, Joint};
use super::yaml::{CYCLE_KEYS, DEMANDS, KEYS, MOST_FRAMES};
use serde_json::{Map, Value, json};

/// The JSON Schema (2020-12) of a pose file, as indented text.
pub fn schema() -> String {
    let schema = json!({
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "Pose",
        "description": "A pose or a sequence of poses. Angles are in degrees.",
        "type": "object",
        "additionalProperties": false,
        "required": ["name", "about", "basis", "demand"],
        "oneOf": [{"required": ["angles"]}, {"required": ["frames"]}],
        "properties": KEYS.iter().map(|&key| (key.to_owned(), property(key))).collect::<Map<_, _>>(),
    });
    format!("{schema:#}\n")
}

fn property(key: &str) -> Value {
    match key {
        "name" => described(
            "Small letters, digits and _; the file is named after it.",
            json!({
                "type": "string", "pattern": "^[a-z][a-z0-9_]*$"
            }),
        ),
        "about" => described("One plain sentence.", json!({"type": "string", "pattern": "\\S"})),
        "basis" => described(
            "Where the angles come from: citations, or common practice.",
            json!({
                "type": "array", "minItems": 1, "items": {"type": "string", "pattern": "\\S"}
            }),
        ),
        "demand" => described(
            "How much the pose asks of a garment.",
            json!({
                "enum": DEMANDS.map(|(word, _)| word)
            }),
        ),
        "beyond_range" => described(
            "The pose may go further than published joint ranges.",
            json!({"type": "boolean"}),
        ),
        "optional" => described(
            "Joints that a rig may lack and still take the pose.",
            json!({
                "type": "array", "items": {"enum": joint_words()}
            }),
        ),
        "angles" => described("The joints of a still pose; others stay as bound.", joints(&[])),
        "frames" => described(
            "The key frames of a sequence.",
            json!({
                "type": "array", "minItems": 1, "maxItems": MOST_FRAMES,
                "items": joints(&[("at_s", 3600.0), ("at_percent", 100.0)])
            }),
        ),
        "steps" => described(
            "How many frames to make of the key frames.",
            json!({
                "type": "integer", "minimum": 1, "maximum": MOST_FRAMES
            }),
        ),
        _ => described(
            "The frames are one turn of a movement that repeats.",
            json!({
                "type": "object",
                "additionalProperties": false,
                "required": [CYCLE_KEYS[0]],
                "properties": {
                    CYCLE_KEYS[0]: {"type": "number", "minimum": 0.01, "maximum": 3600},
                    CYCLE_KEYS[1]: {
                        "description": "The right side does what the left did so much of the cycle earlier.",
                        "type": "number", "minimum": 0, "maximum": 100
                    }
                }
            }),
        ),
    }
}

fn described(text: &str, mut schema: Value) -> Value {
    schema["description"] = json!(text);
    schema
}

fn joint_words() -> Vec<String> {
    joint::keys().into_iter().map(|(word, ..)| word).collect()
}

/// Joint key words, with time keys (and their largest value) beside them.
fn joints(times: &[(&str, f64)]) -> Value {
    let times = times.iter().map(|(key, most)| {
        (
            (*key).to_owned(),
            json!({"type": "number", "minimum": 0, "maximum": most}),
        )
    });
    let joints = joint::keys()
        .into_iter()
        .map(|(word, joint, _)| (word, motions(joint)));
    let properties: Map<String, Value> = times.chain(joints).collect();
    json!({"type": "object", "additionalProperties": false, "properties": properties})
}

fn motions(joint: Joint) -> Value {
    let angle = json!({"type": "number", "minimum": -360, "maximum": 360});
    let properties: Map<String, Value> = joint
        .motions()
        .iter()
        .map(|motion| (motion.word().to_owned(), angle.clone()))
        .collect();
    json!({"anyOf": [
        {"const": "bind"},
        {"type": "object", "additionalProperties": false, "properties": properties}
    ]})
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_key_of_the_reader_is_in_the_schema() {
        let schema: Value = serde_json::from_str(&schema()).unwrap();
        for key in KEYS {
            assert!(schema["properties"][key]["description"].is_string(), "{key}");
        }
        let hip = &schema["properties"]["angles"]["properties"]["left_hip"]["anyOf"][1]["properties"];
        assert_eq!(
            hip.as_object().unwrap().keys().collect::<Vec<_>>(),
            ["abduction", "flexion", "rotation"]
        );
        assert!(schema["properties"]["angles"]["properties"]["at_s"].is_null());
        assert!(schema["properties"]["frames"]["items"]["properties"]["at_percent"].is_object());
        assert!(schema["properties"]["cycle"]["properties"]["seconds"].is_object());
    }
}
