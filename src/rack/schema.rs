//! Which JSON Schema lets an editor complete and check a fitting file while it is written?
//!
//! Made from the same tables that the reader uses, so that the two cannot part. What only the whole file can tell (a
//! garment worn over one that is not there) is left to the reader.

use super::file::{
    BODY_KEYS, CAPTURE_KEYS, CLIP_KEYS, DEMANDS, EXCUSE_KEYS, FABRICS, GARMENT_KEYS, JOINT_KEYS, KEYS,
    MOST_MORPH, MOST_OFFSET_MM, SCALES, SIZE_KEYS, limit_words, measure_words,
};
use crate::contact::region;
use crate::pose;
use crate::pose::capture::RATES_HZ;
use crate::rig::bone::Bone;
use crate::rig::fix::{Unit, Up};
use serde_json::{Map, Value, json};

/// The JSON Schema (2020-12) of a fitting file, as indented text.
pub fn schema() -> String {
    let mut schema = group(&KEYS, &["bodies", "garments"], top);
    schema["$schema"] = json!("https://json-schema.org/draft/2020-12/schema");
    schema["title"] = json!("Fitting file");
    schema["description"] =
        json!("Which garments are tested on which bodies, in which poses. Paths are relative to this file.");
    format!("{schema:#}\n")
}

/// An object of these keys and no other.
fn group(keys: &[&str], required: &[&str], of: fn(&str) -> Value) -> Value {
    let properties: Map<String, Value> = keys.iter().map(|&key| (key.to_owned(), of(key))).collect();
    json!({"type": "object", "additionalProperties": false, "required": required, "properties": properties})
}

fn top(key: &str) -> Value {
    match key {
        "bodies" => told(
            "Who wears.",
            json!({"type": "array", "minItems": 1, "items": group(&BODY_KEYS, &["name", "file"], body)}),
        ),
        "garments" => told(
            "What is worn.",
            json!({"type": "array", "minItems": 1, "items": group(&GARMENT_KEYS, &["name", "file"], garment)}),
        ),
        "poses" => told(
            "Poses of the library, or pose files; without poses and clips the whole library.",
            json!({"type": "array", "items": {"anyOf": [
                {"enum": pose::all().iter().map(|pose| pose.name.as_str()).collect::<Vec<_>>()},
                {"type": "string", "pattern": "\\.ya?ml$"}
            ]}}),
        ),
        "clips" => told(
            "Clips of the bodies' own files.",
            json!({"type": "array", "items": {"anyOf": [words(), group(&CLIP_KEYS, &["name"], clip)]}}),
        ),
        "captures" => told(
            "Motion captures for every body: BVH files, or glTF files with clips of another wearer.",
            json!({"type": "array", "items": {"anyOf": [words(), group(&CAPTURE_KEYS, &["file"], capture)]}}),
        ),
        "promised" => told("Hard poses that must hold: over a limit they fail.", list()),
        "excuses" => told(
            "Places that may be over their limit: they warn.",
            json!({"type": "array", "items": group(&EXCUSE_KEYS, &["measure", "reason"], excuse)}),
        ),
        "limits" => told(
            "Limits in the place of the project's own, for a thigh of 0.41 m.",
            limits(),
        ),
        _ => told("Where reports go, from this file.", words()),
    }
}

fn body(key: &str) -> Value {
    match key {
        "name" => told("Shown; {body} in a garment's file stands for it.", name()),
        "file" => told("Its file.", words()),
        "unit" | "up" => stated(key),
        "meshes" => told("Meshes or materials that are skin; without them, all.", list()),
        "hidden" => told("Meshes or materials that the wearer hides.", list()),
        "hidden_picture" => told(
            "A PNG in the body's texture layout, white where skin is hidden.",
            words(),
        ),
        "sizes" => told(
            "The sizes in which it is worn; without them, as its file has it.",
            json!({"type": "array", "items": group(&SIZE_KEYS, &["name"], size)}),
        ),
        "corners" => told(
            "Also with all that sizes change at its least, and at its most.",
            json!({"type": "boolean"}),
        ),
        _ => {
            let bones: Map<String, Value> = Bone::all()
                .into_iter()
                .map(|bone| (bone.name().to_owned(), words()))
                .collect();
            told(
                "Joints by the role they play, where their names do not say it.",
                json!({"type": "object", "additionalProperties": false, "properties": bones}),
            )
        }
    }
}

fn garment(key: &str) -> Value {
    match key {
        "name" => told("Shown.", name()),
        "file" => told("Its file; {body} stands for the body's name.", words()),
        "unit" | "up" => stated(key),
        "meshes" => told("Meshes or materials that are cloth; without them, all.", list()),
        "over" => told("Garments of this file that it is worn over.", list()),
        "bodies" => told("The bodies that wear it; without them, all.", list()),
        "sizes" => told("The sizes in which it comes; without them, all.", list()),
        _ => told(
            "How much the cloth gives.",
            json!({"enum": FABRICS.map(|known| known.0)}),
        ),
    }
}

fn size(key: &str) -> Value {
    let joint = json!({"anyOf": [scale(), group(&JOINT_KEYS, &[], joint)]});
    match key {
        "name" => told("Shown behind the body's name.", name()),
        "morphs" => told(
            "Morph targets of body and clothes, with their weights.",
            json!({"type": "object", "additionalProperties": {"type": "number", "minimum": -MOST_MORPH, "maximum": MOST_MORPH}}),
        ),
        _ => told(
            "Joints of body and clothes by name or role, each with its scale or what else it does.",
            json!({"type": "object", "additionalProperties": joint}),
        ),
    }
}

fn joint(key: &str) -> Value {
    match key {
        "scale" => told(
            "How many times as large, in all directions or along the joint's own three axes.",
            json!({"anyOf": [scale(), three(SCALES)]}),
        ),
        "offset_mm" => told(
            "How far it goes to the wearer's left, up and to the front.",
            three([-MOST_OFFSET_MM, MOST_OFFSET_MM]),
        ),
        _ => told(
            "Whether the joints below are scaled with it; they are unless told.",
            json!({"type": "boolean"}),
        ),
    }
}

fn scale() -> Value {
    json!({"type": "number", "minimum": SCALES[0], "maximum": SCALES[1]})
}

fn three([least, most]: [f64; 2]) -> Value {
    let one = json!({"type": "number", "minimum": least, "maximum": most});
    json!({"type": "array", "minItems": 3, "maxItems": 3, "items": one})
}

/// What a file says wrongly of itself.
fn stated(key: &str) -> Value {
    match key {
        "unit" => told(
            "What a length of 1 in its file really is, where the file is not in metres as it should be.",
            json!({"enum": Unit::WORDS.map(|known| known.0)}),
        ),
        _ => told(
            "Which axis of its file really points up, where that is not Y as it should be.",
            json!({"enum": Up::WORDS.map(|known| known.0)}),
        ),
    }
}

fn clip(key: &str) -> Value {
    match key {
        "name" => told("The clip's name.", words()),
        _ => told(
            "How much it asks of a garment.",
            json!({"enum": DEMANDS.map(|known| known.0)}),
        ),
    }
}

fn capture(key: &str) -> Value {
    match key {
        "file" => told("Its file; a BVH capture goes by the file's name.", words()),
        "demand" => clip(key),
        _ => told(
            "Frames a second that are tested of a BVH file.",
            json!({"type": "number", "minimum": RATES_HZ.0, "maximum": RATES_HZ.1}),
        ),
    }
}

fn excuse(key: &str) -> Value {
    match key {
        "measure" => told(
            "A measure, or one of its numbers.",
            json!({"enum": measure_words()}),
        ),
        "pose" => told("Without it, every pose.", words()),
        "region" => told(
            "In tailor's words; without it, the whole garment.",
            json!({"enum": region::all()}),
        ),
        "body" => told("Without it, every body.", words()),
        "garment" => told("Without it, every garment.", words()),
        "reason" => told("Why; printed with every result.", words()),
        _ => told(
            "The last day it holds.",
            json!({"type": "string", "pattern": "^\\d{4}-\\d{2}-\\d{2}$"}),
        ),
    }
}

fn limits() -> Value {
    let most = json!({"type": "number", "minimum": 0, "maximum": 100_000});
    let row: Map<String, Value> = DEMANDS
        .iter()
        .map(|known| (known.0.to_owned(), most.clone()))
        .collect();
    let row = json!({"type": "object", "additionalProperties": false, "properties": row});
    let rows: Map<String, Value> = limit_words()
        .into_iter()
        .map(|path| (path, row.clone()))
        .collect();
    json!({"type": "object", "additionalProperties": false, "properties": rows})
}

fn told(text: &str, mut schema: Value) -> Value {
    schema["description"] = json!(text);
    schema
}

fn words() -> Value {
    json!({"type": "string", "pattern": "\\S"})
}

fn list() -> Value {
    json!({"type": "array", "items": words()})
}

fn name() -> Value {
    json!({"type": "string", "pattern": "^[^:,{}/\\\\]+$", "maxLength": 80})
}
