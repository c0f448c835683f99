//! How much a file may ask for before we refuse it.

use super::error::Fault;

/// Limits that keep time and memory in bounds whatever a file claims. An error names the field.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Caps {
    /// Bytes of the file and of each file it refers to. A dressed character with 4k textures has about 100 MB.
    pub file_bytes: u64,
    /// Brackets within brackets. glTF itself needs about ten; `serde_json` stops at 128.
    pub json_nesting: u64,
    /// Values in the JSON text. The richest clip collection among our test files has 50,000.
    pub json_values: u64,
    /// Nodes of the scene graph.
    pub nodes: u64,
    /// Joints of one skin. Must stay below 65,536: rows keep 16-bit indices.
    pub joints: u64,
    /// Vertices of one primitive.
    pub vertices: u64,
    /// Triangle corners of one primitive.
    pub corners: u64,
    /// Keys of one animation sampler: 9 hours at 30 Hz.
    pub keys: u64,
    /// Bytes of everything decoded, all meshes and clips together.
    pub decoded_bytes: u64,
}

impl Default for Caps {
    fn default() -> Self {
        Self {
            file_bytes: 512 << 20,
            json_nesting: 96,
            json_values: 4_000_000,
            nodes: 200_000,
            joints: 16_384,
            vertices: 4_000_000,
            corners: 24_000_000,
            keys: 1_000_000,
            decoded_bytes: 1 << 30,
        }
    }
}

/// One limit with its name, what it counts, and its value.
#[derive(Clone, Copy)]
pub(super) struct Cap {
    limit: &'static str,
    what: &'static str,
    most: u64,
}

impl Cap {
    /// Refuses `found` where it is beyond the limit.
    pub(super) fn check(self, found: u64, place: &str) -> Result<(), Fault> {
        if found <= self.most {
            return Ok(());
        }
        let Self { limit, what, most } = self;
        Err(Fault::TooMuch {
            limit,
            what,
            found,
            most,
            place: place.to_owned(),
        })
    }
}

impl Caps {
    pub(super) fn file_bytes(&self) -> Cap {
        Cap {
            limit: "file_bytes",
            what: "bytes",
            most: self.file_bytes,
        }
    }

    pub(super) fn json_nesting(&self) -> Cap {
        Cap {
            limit: "json_nesting",
            what: "brackets within brackets",
            most: self.json_nesting.min(120),
        }
    }

    pub(super) fn json_values(&self) -> Cap {
        Cap {
            limit: "json_values",
            what: "JSON values",
            most: self.json_values,
        }
    }

    pub(super) fn nodes(&self) -> Cap {
        Cap {
            limit: "nodes",
            what: "nodes",
            most: self.nodes,
        }
    }

    pub(super) fn joints(&self) -> Cap {
        Cap {
            limit: "joints",
            what: "joints",
            most: self.joints.min(u64::from(u16::MAX)),
        }
    }

    pub(super) fn vertices(&self) -> Cap {
        Cap {
            limit: "vertices",
            what: "vertices",
            most: self.vertices,
        }
    }

    pub(super) fn corners(&self) -> Cap {
        Cap {
            limit: "corners",
            what: "triangle corners",
            most: self.corners,
        }
    }

    pub(super) fn keys(&self) -> Cap {
        Cap {
            limit: "keys",
            what: "animation keys",
            most: self.keys,
        }
    }

    pub(super) fn decoded_bytes(&self) -> Cap {
        Cap {
            limit: "decoded_bytes",
            what: "decoded bytes",
            most: self.decoded_bytes,
        }
    }
}
