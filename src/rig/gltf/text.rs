//! What the JSON text says, as the gltf crate's model of it.

use gltf::json::Root;
use serde::Deserialize;
use serde::de::{Deserializer, IgnoredAny, MapAccess, Visitor};
use serde_json::{Map, Value, json};

use super::error::{Fault, quoted};
use super::limits::Caps;

/// What the reader needs of a file. The rest (textures, cameras, ...) is left out before the gltf crate sees it,
/// so that no extension of theirs can make a mesh unreadable.
const WANTED: [&str; 14] = [
    "asset",
    "accessors",
    "animations",
    "buffers",
    "bufferViews",
    "extensions",
    "extensionsRequired",
    "extensionsUsed",
    "materials",
    "meshes",
    "nodes",
    "scene",
    "scenes",
    "skins",
];

/// Members that are an index or an enumeration wherever they occur. The gltf crate keeps their low 32 bits only.
const INDICES: [&str; 23] = [
    "attributes",
    "buffer",
    "bufferView",
    "children",
    "componentType",
    "indices",
    "input",
    "inverseBindMatrices",
    "joints",
    "material",
    "mesh",
    "mode",
    "node",
    "nodes",
    "output",
    "sampler",
    "scene",
    "skeleton",
    "skin",
    "target",
    "targets",
    "byteStride",
    "camera",
];

/// Parses the JSON text.
pub(super) fn parse(text: &[u8], caps: &Caps) -> Result<Root, Fault> {
    measure(text, caps)?;
    let object = wanted(text)?;
    check_version(&object)?;
    object
        .iter()
        .try_for_each(|(key, value)| check_indices(key, value, &mut String::new()))?;
    // Handed over and not lent, so that the two forms of the text are never in memory side by side.
    Root::deserialize(filled(object)).map_err(|error| match wanted(text) {
        Ok(object) => locate(&filled(object), &error),
        Err(fault) => fault,
    })
}

/// The members that are read; the others are passed over without being kept.
fn wanted(text: &[u8]) -> Result<Map<String, Value>, Fault> {
    let mut parser = serde_json::Deserializer::from_slice(text);
    let object = parser.deserialize_any(Wanted);
    object
        .and_then(|object| parser.end().map(|()| object))
        .map_err(|error| damaged(text, &error))
}

struct Wanted;

impl<'de> Visitor<'de> for Wanted {
    type Value = Map<String, Value>;

    fn expecting(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("an object in curly brackets")
    }

    fn visit_map<A: MapAccess<'de>>(self, mut members: A) -> Result<Self::Value, A::Error> {
        let mut object = Map::new();
        while let Some(key) = members.next_key::<String>()? {
            if WANTED.contains(&key.as_str()) {
                object.insert(key, members.next_value()?);
            } else {
                members.next_value::<IgnoredAny>()?;
            }
        }
        Ok(object)
    }
}

/// Values that an object counts as: with one member it takes 700 bytes where a number takes 32.
const OBJECT: u64 = 10;

/// Refuses text nested too deep or with too many values, before anything is built from it.
fn measure(text: &[u8], caps: &Caps) -> Result<(), Fault> {
    let (mut depth, mut values) = (0_u64, 1_u64);
    let (mut in_text, mut escaped) = (false, false);
    for &byte in text {
        match byte {
            _ if escaped => escaped = false,
            b'\\' if in_text => escaped = true,
            b'"' => in_text = !in_text,
            _ if in_text => {}
            b'[' | b'{' => {
                depth += 1;
                values += if byte == b'{' { OBJECT } else { 1 };
                caps.json_nesting().check(depth, "the JSON text")?;
            }
            b']' | b'}' => depth = depth.saturating_sub(1),
            b',' => values += 1,
            _ => {}
        }
    }
    caps.json_values().check(values, "the JSON text")
}

/// A syntax error, with the byte it is at.
fn damaged(text: &[u8], error: &serde_json::Error) -> Fault {
    let lines = text.split_inclusive(|&byte| byte == b'\n');
    let before: usize = lines.take(error.line().saturating_sub(1)).map(<[u8]>::len).sum();
    Fault::Json {
        byte: (before + error.column()) as u64,
        what: reason(error),
    }
}

/// serde's words without its line and column, which mean nothing inside a GLB.
fn reason(error: &serde_json::Error) -> String {
    let text = error.to_string();
    text.split(" at line ").next().unwrap_or(&text).to_owned()
}

/// Only glTF 2 is read.
fn check_version(object: &Map<String, Value>) -> Result<(), Fault> {
    let asset = object.get("asset");
    let version = |key: &str| asset.and_then(|asset| asset.get(key)).and_then(Value::as_str);
    let Some(stated) = version("version") else {
        return Err(Fault::broken(
            "/asset/version",
            "the file does not say which glTF version it is",
        ));
    };
    let least = version("minVersion").unwrap_or("2.0");
    if stated.split('.').next() == Some("2") && least == "2.0" {
        return Ok(());
    }
    Err(Fault::Broken {
        place: "/asset".into(),
        what: format!(
            "the file is glTF {}, and only glTF 2.0 is read",
            quoted(if least == "2.0" { stated } else { least })
        ),
        help: "export it again as glTF 2.0".into(),
    })
}

/// Refuses indices of 2^32 and more in a member of the parts we read. Depth is bounded by [`measure`].
fn check_indices(key: &str, value: &Value, place: &mut String) -> Result<(), Fault> {
    if key == "extras" || key == "extensions" {
        return Ok(());
    }
    let length = place.len();
    place.push('/');
    place.push_str(&key.replace('~', "~0").replace('/', "~1"));
    if INDICES.contains(&key) && is_large(value) {
        return Err(Fault::broken(
            place.as_str(),
            "an index here is larger than any glTF file can hold",
        ));
    }
    match value {
        Value::Object(members) => members
            .iter()
            .try_for_each(|(key, value)| check_indices(key, value, place))?,
        Value::Array(items) => {
            for (index, item) in items.iter().enumerate().filter(|(_, item)| !item.is_number()) {
                check_indices(&index.to_string(), item, place)?;
            }
        }
        _ => {}
    }
    place.truncate(length);
    Ok(())
}

/// Whether an index, or one in a list or map of them, is 2^32 or more.
fn is_large(value: &Value) -> bool {
    match value {
        Value::Array(items) => items.iter().any(is_large),
        Value::Object(members) => members.values().any(is_large),
        one => one.as_u64().is_some_and(|number| number > u64::from(u32::MAX)),
    }
}

/// The object with those members that glTF lets a file leave out and the gltf crate insists on.
fn filled(mut object: Map<String, Value>) -> Value {
    fill_gaps(&mut object);
    Value::Object(object)
}

fn fill_gaps(object: &mut Map<String, Value>) {
    for material in items(object, "materials") {
        *material = json!({ "name": material.get("name").and_then(Value::as_str) });
    }
    for scene in items(object, "scenes").filter_map(Value::as_object_mut) {
        scene.entry("nodes").or_insert_with(|| json!([]));
    }
    for node in items(object, "nodes").filter_map(Value::as_object_mut) {
        node.remove("camera");
    }
    for animation in items(object, "animations") {
        let channels = animation.get_mut("channels").and_then(Value::as_array_mut);
        for channel in channels.into_iter().flatten().filter_map(Value::as_object_mut) {
            // A channel without a node is for extensions; as a channel of morph weights it is skipped.
            if channel
                .get("target")
                .is_some_and(|target| target.is_object() && target.get("node").is_none())
            {
                channel.insert("target".into(), json!({ "node": 0, "path": "weights" }));
            }
        }
    }
}

fn items<'a>(object: &'a mut Map<String, Value>, key: &str) -> impl Iterator<Item = &'a mut Value> {
    object
        .get_mut(key)
        .and_then(Value::as_array_mut)
        .into_iter()
        .flatten()
}

/// The JSON pointer of what the gltf crate could not take: the first item of a list that fails alone.
fn locate(value: &Value, error: &serde_json::Error) -> Fault {
    use gltf::json::{Accessor, Animation, Asset, Buffer, Material, Mesh, Node, Scene, Skin, buffer::View};
    let place = fails_alone::<Asset>(value.get("asset"))
        .then(|| "/asset".to_owned())
        .or_else(|| first_bad::<Accessor>(value, "accessors"))
        .or_else(|| first_bad::<View>(value, "bufferViews"))
        .or_else(|| first_bad::<Buffer>(value, "buffers"))
        .or_else(|| first_bad::<Node>(value, "nodes"))
        .or_else(|| first_bad::<Skin>(value, "skins"))
        .or_else(|| first_bad::<Mesh>(value, "meshes"))
        .or_else(|| first_bad::<Animation>(value, "animations"))
        .or_else(|| first_bad::<Material>(value, "materials"))
        .or_else(|| first_bad::<Scene>(value, "scenes"))
        .unwrap_or_else(|| "/".to_owned());
    Fault::broken(
        place,
        format!("the JSON does not follow glTF 2.0: {}", reason(error)),
    )
}

fn fails_alone<T: for<'de> Deserialize<'de>>(value: Option<&Value>) -> bool {
    value.is_some_and(|value| T::deserialize(value).is_err())
}

fn first_bad<T: for<'de> Deserialize<'de>>(value: &Value, key: &str) -> Option<String> {
    let member = value.get(key)?;
    let Some(items) = member.as_array() else {
        return Some(format!("/{key}"));
    };
    let bad = items.iter().position(|item| fails_alone::<T>(Some(item)))?;
    Some(format!("/{key}/{bad}"))
}
