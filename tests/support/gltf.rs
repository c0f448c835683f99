//! A small rigged file, built in memory, to be bent in one place per test.

use serde_json::{Value, json};

/// JSON and binary data of a glTF file.
#[derive(Clone)]
pub(crate) struct Sample {
    pub(crate) json: Value,
    pub(crate) bin: Vec<u8>,
}

pub(crate) const POSITION: usize = 0;
pub(crate) const JOINTS: usize = 1;
pub(crate) const WEIGHTS: usize = 2;
pub(crate) const TEXCOORD: usize = 3;
pub(crate) const INDICES: usize = 4;
pub(crate) const BINDS: usize = 5;
pub(crate) const TIMES: usize = 6;
pub(crate) const TURNS: usize = 7;
pub(crate) const MOVES: usize = 8;
pub(crate) const MORPH: usize = 9;

pub(crate) const BYTE: u32 = 5120;
pub(crate) const UNSIGNED_BYTE: u32 = 5121;
pub(crate) const SHORT: u32 = 5122;
pub(crate) const UNSIGNED_SHORT: u32 = 5123;
pub(crate) const UNSIGNED_INT: u32 = 5125;
pub(crate) const FLOAT: u32 = 5126;

/// The bytes of floats.
pub(crate) fn floats(numbers: &[f32]) -> Vec<u8> {
    numbers.iter().flat_map(|number| number.to_le_bytes()).collect()
}

/// The bytes of unsigned shorts.
pub(crate) fn shorts(numbers: &[u16]) -> Vec<u8> {
    numbers.iter().flat_map(|number| number.to_le_bytes()).collect()
}

impl Sample {
    /// Two joints (`hips` at height 1, `knee` half a metre below), a unit square with weights 0.75 and 0.25 on them,
    /// a morph target `bulge` and a clip of one second. Accessor `n` lies in buffer view `n`.
    pub(crate) fn new() -> Self {
        let mut sample = Self {
            json: skeleton(),
            bin: Vec::new(),
        };
        let square = [0., 0., 0., 1., 0., 0., 1., 1., 0., 0., 1., 0.];
        sample.accessor(&floats(&square), FLOAT, "VEC3", 4);
        sample.json["accessors"][POSITION]["min"] = json!([0.0, 0.0, 0.0]);
        sample.json["accessors"][POSITION]["max"] = json!([1.0, 1.0, 0.0]);
        sample.accessor(&[0, 1, 0, 0].repeat(4), UNSIGNED_BYTE, "VEC4", 4);
        sample.accessor(&floats(&[0.75, 0.25, 0., 0.].repeat(4)), FLOAT, "VEC4", 4);
        sample.accessor(&floats(&[0., 0., 1., 0., 1., 1., 0., 1.]), FLOAT, "VEC2", 4);
        sample.accessor(&shorts(&[0, 1, 2, 0, 2, 3]), UNSIGNED_SHORT, "SCALAR", 6);
        let down = |height: f32| {
            [
                1., 0., 0., 0., 0., 1., 0., 0., 0., 0., 1., 0., 0., -height, 0., 1.,
            ]
        };
        sample.accessor(&floats(&[down(1.0), down(0.5)].concat()), FLOAT, "MAT4", 2);
        sample.accessor(&floats(&[0., 1.]), FLOAT, "SCALAR", 2);
        sample.accessor(&floats(&[0., 0., 0., 1., 1., 0., 0., 0.]), FLOAT, "VEC4", 2);
        sample.accessor(&floats(&[0., 1., 0., 0., 1.5, 0.]), FLOAT, "VEC3", 2);
        sample.accessor(&floats(&[0., 0., 0.5].repeat(4)), FLOAT, "VEC3", 4);
        sample
    }

    /// Appends data with a view of its own; returns the view.
    pub(crate) fn view(&mut self, bytes: &[u8]) -> usize {
        self.bin.resize(self.bin.len().next_multiple_of(4), 0);
        let view = json!({ "buffer": 0, "byteOffset": self.bin.len(), "byteLength": bytes.len() });
        self.bin.extend(bytes);
        self.push("bufferViews", view)
    }

    /// Appends data with a view and an accessor of its own; returns the accessor.
    pub(crate) fn accessor(&mut self, bytes: &[u8], component: u32, type_: &str, count: usize) -> usize {
        let view = self.view(bytes);
        self.push(
            "accessors",
            json!({ "bufferView": view, "componentType": component, "type": type_, "count": count }),
        )
    }

    fn push(&mut self, key: &str, item: Value) -> usize {
        let items = self.json[key].as_array_mut().unwrap();
        items.push(item);
        items.len() - 1
    }

    /// Sets the member at a JSON pointer, making it if need be.
    pub(crate) fn set(&mut self, pointer: &str, value: Value) -> &mut Self {
        let (parent, key) = pointer.rsplit_once('/').unwrap();
        let parent = self
            .json
            .pointer_mut(parent)
            .unwrap_or_else(|| panic!("nothing at {parent}"));
        match parent {
            Value::Array(items) => items[key.parse::<usize>().unwrap()] = value,
            parent => parent[key] = value,
        }
        self
    }

    /// Takes the member at a JSON pointer away.
    pub(crate) fn remove(&mut self, pointer: &str) -> &mut Self {
        let (parent, key) = pointer.rsplit_once('/').unwrap();
        self.json
            .pointer_mut(parent)
            .unwrap()
            .as_object_mut()
            .unwrap()
            .remove(key)
            .unwrap();
        self
    }

    /// As a binary file.
    pub(crate) fn glb(&self) -> Vec<u8> {
        let mut json = self.json.clone();
        if json.get("buffers").is_none() {
            json["buffers"] = json!([{ "byteLength": self.bin.len() }]);
        }
        container(json.to_string().as_bytes(), &self.bin)
    }

    /// As a text file with its buffer at `uri`.
    pub(crate) fn gltf(&self, uri: &str) -> Vec<u8> {
        let mut json = self.json.clone();
        json["buffers"] = json!([{ "byteLength": self.bin.len(), "uri": uri }]);
        json.to_string().into_bytes()
    }

    /// As a text file with its buffer inside.
    pub(crate) fn embedded(&self) -> Vec<u8> {
        use base64::Engine;
        let data = base64::engine::general_purpose::STANDARD.encode(&self.bin);
        self.gltf(&format!("data:application/octet-stream;base64,{data}"))
    }
}

/// A GLB from its two chunks.
pub(crate) fn container(json: &[u8], bin: &[u8]) -> Vec<u8> {
    let padded = |data: &[u8], with: u8| {
        let mut data = data.to_vec();
        data.resize(data.len().next_multiple_of(4), with);
        data
    };
    let (json, bin) = (padded(json, b' '), padded(bin, 0));
    let word = |number: usize| (number as u32).to_le_bytes();
    let mut file = b"glTF\x02\0\0\0".to_vec();
    file.extend(word(12 + 8 + json.len() + 8 + bin.len()));
    file.extend(
        [
            &word(json.len())[..],
            b"JSON",
            &json,
            &word(bin.len()),
            b"BIN\0",
            &bin,
        ]
        .concat(),
    );
    file
}

fn skeleton() -> Value {
    json!({
        "asset": { "version": "2.0" },
        "scene": 0,
        "scenes": [{ "nodes": [0, 2] }],
        "nodes": [
            { "name": "hips", "children": [1], "translation": [0.0, 1.0, 0.0] },
            { "name": "knee", "translation": [0.0, -0.5, 0.0] },
            { "name": "cloth", "mesh": 0, "skin": 0 },
        ],
        "materials": [{ "name": "denim" }],
        "meshes": [{
            "name": "square",
            "primitives": [{
                "attributes": { "POSITION": POSITION, "JOINTS_0": JOINTS, "WEIGHTS_0": WEIGHTS, "TEXCOORD_0": TEXCOORD },
                "indices": INDICES,
                "material": 0,
                "targets": [{ "POSITION": MORPH }],
            }],
            "weights": [0.25],
            "extras": { "targetNames": ["bulge"] },
        }],
        "skins": [{ "joints": [0, 1], "inverseBindMatrices": BINDS }],
        "animations": [{
            "name": "kick",
            "samplers": [{ "input": TIMES, "output": TURNS }, { "input": TIMES, "output": MOVES, "interpolation": "STEP" }],
            "channels": [
                { "sampler": 0, "target": { "node": 1, "path": "rotation" } },
                { "sampler": 1, "target": { "node": 0, "path": "translation" } },
            ],
        }],
        "accessors": [],
        "bufferViews": [],
    })
}
