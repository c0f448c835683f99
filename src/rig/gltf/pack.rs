//! Where numbers go in the binary chunk of a GLB, and how its accessors describe them.

use serde_json::{Value, json};

const ARRAY_BUFFER: u32 = 34_962;
const ELEMENT_ARRAY_BUFFER: u32 = 34_963;
const UNSIGNED_BYTE: u32 = 5121;
const UNSIGNED_SHORT: u32 = 5123;
const UNSIGNED_INT: u32 = 5125;
const FLOAT: u32 = 5126;

/// The binary chunk as it grows, with one buffer view per accessor.
#[derive(Default)]
pub(super) struct Pack {
    bin: Vec<u8>,
    views: Vec<Value>,
    accessors: Vec<Value>,
}

impl Pack {
    /// Vertex attributes of `N` floats.
    pub(super) fn floats<const N: usize>(&mut self, elements: &[[f32; N]]) -> usize {
        let bytes = elements.iter().flatten().flat_map(|number| number.to_le_bytes());
        self.accessor(
            bytes,
            Some(ARRAY_BUFFER),
            json!({ "componentType": FLOAT, "count": elements.len(), "type": type_of(N) }),
        )
    }

    /// Positions, with the bounds that glTF wants for them.
    pub(super) fn positions(&mut self, positions: &[[f32; 3]]) -> usize {
        let accessor = self.floats(positions);
        let bound = |pick: fn(f32, f32) -> f32| {
            let both = |a: [f32; 3], b: &[f32; 3]| [pick(a[0], b[0]), pick(a[1], b[1]), pick(a[2], b[2])];
            positions.iter().fold(positions[0], both)
        };
        self.accessors[accessor]["min"] = json!(bound(f32::min));
        self.accessors[accessor]["max"] = json!(bound(f32::max));
        accessor
    }

    /// Linear colours, 255 for full.
    pub(super) fn colours(&mut self, colours: &[[u8; 4]]) -> usize {
        let about = json!({ "componentType": UNSIGNED_BYTE, "count": colours.len(), "type": "VEC4", "normalized": true });
        self.accessor(colours.iter().flatten().copied(), Some(ARRAY_BUFFER), about)
    }

    /// Joint indices, in bytes where they all fit.
    pub(super) fn joints(&mut self, joints: &[[u16; 4]]) -> usize {
        let small = joints.iter().flatten().all(|&joint| joint <= u16::from(u8::MAX));
        let component = if small { UNSIGNED_BYTE } else { UNSIGNED_SHORT };
        let bytes = joints
            .iter()
            .flatten()
            .flat_map(|joint| joint.to_le_bytes().into_iter().take(if small { 1 } else { 2 }));
        let about = json!({ "componentType": component, "count": joints.len(), "type": "VEC4" });
        self.accessor(bytes, Some(ARRAY_BUFFER), about)
    }

    /// Triangle corners.
    pub(super) fn corners(&mut self, triangles: &[[u32; 3]]) -> usize {
        let bytes = triangles.iter().flatten().flat_map(|corner| corner.to_le_bytes());
        let about = json!({ "componentType": UNSIGNED_INT, "count": triangles.len() * 3, "type": "SCALAR" });
        self.accessor(bytes, Some(ELEMENT_ARRAY_BUFFER), about)
    }

    /// Matrices, column by column.
    pub(super) fn matrices(&mut self, matrices: &[[f32; 16]]) -> usize {
        let bytes = matrices.iter().flatten().flat_map(|number| number.to_le_bytes());
        self.accessor(
            bytes,
            None,
            json!({ "componentType": FLOAT, "count": matrices.len(), "type": "MAT4" }),
        )
    }

    /// Bytes that no accessor describes; returns the buffer view.
    pub(super) fn blob(&mut self, bytes: impl Iterator<Item = u8>, target: Option<u32>) -> usize {
        let start = self.bin.len(); // a multiple of 4, which is all the alignment any component needs
        self.bin.extend(bytes);
        let mut view = json!({ "buffer": 0, "byteOffset": start, "byteLength": self.bin.len() - start });
        if let Some(target) = target {
            view["target"] = json!(target);
        }
        self.bin.resize(self.bin.len().next_multiple_of(4), 0);
        self.views.push(view);
        self.views.len() - 1
    }

    fn accessor(&mut self, bytes: impl Iterator<Item = u8>, target: Option<u32>, mut about: Value) -> usize {
        about["bufferView"] = json!(self.blob(bytes, target));
        self.accessors.push(about);
        self.accessors.len() - 1
    }

    /// Adds what was packed to the document and makes the file (specification 4.4).
    pub(super) fn finish(self, mut document: serde_json::Map<String, Value>) -> Vec<u8> {
        if !self.bin.is_empty() {
            document.insert("buffers".into(), json!([{ "byteLength": self.bin.len() }]));
            document.insert("bufferViews".into(), json!(self.views));
        }
        if !self.accessors.is_empty() {
            document.insert("accessors".into(), json!(self.accessors));
        }
        let mut text = Value::Object(document).to_string().into_bytes();
        text.resize(text.len().next_multiple_of(4), b' ');
        let chunks = if self.bin.is_empty() {
            vec![(b"JSON", text)]
        } else {
            vec![(b"JSON", text), (b"BIN\0", self.bin)]
        };
        let length: usize = 12 + chunks.iter().map(|(_, data)| 8 + data.len()).sum::<usize>();
        let mut file = Vec::with_capacity(length);
        file.extend(b"glTF");
        file.extend(2_u32.to_le_bytes());
        file.extend(word(length));
        for (kind, data) in chunks {
            file.extend(word(data.len()));
            file.extend(kind);
            file.extend(data);
        }
        file
    }
}

fn word(length: usize) -> [u8; 4] {
    u32::try_from(length)
        .expect("what we write is a few meshes, far below the 4 GiB a GLB can hold")
        .to_le_bytes()
}

fn type_of(components: usize) -> &'static str {
    match components {
        1 => "SCALAR",
        2 => "VEC2",
        3 => "VEC3",
        _ => "VEC4",
    }
}
