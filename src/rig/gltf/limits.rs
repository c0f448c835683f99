//! How much a file may ask for before we refuse it.

use super::error::Fault;

/// Limits that keep time and memory in bounds whatever a file claims. An error names the field, and with it the
/// number to raise.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Caps {
    /// Bytes of the file and of each file it refers to. A dressed character with 4k textures has about 100 MB.
    pub file_bytes: u64,
    /// Brackets within brackets. glTF itself needs about ten; `serde_json` stops at 128.
    pub json_nesting: u64,
    /// Values in the JSON text, an object counted as ten, since that is what it takes. The richest clip collection
    /// among our test files has 160,000.
    pub json_values: u64,
    /// Bytes of one name.
    pub name_bytes: u64,
    /// Nodes of the scene graph.
    pub nodes: u64,
    /// Joints of one skin: telling what each is takes a second at this number. Rows keep 16-bit indices.
    pub joints: u64,
    /// Parts of meshes, each counted as often as a node shows it.
    pub parts: u64,
    /// Vertices of one part.
    pub vertices: u64,
    /// Triangle corners of one part.
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
            json_values: 2_000_000,
            name_bytes: 1024,
            nodes: 50_000,
            joints: 4_096,
            parts: 50_000,
            vertices: 1_000_000,
            corners: 6_000_000,
            keys: 1_000_000,
            decoded_bytes: 512 << 20,
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

/// No machine word or parser goes further than this, whatever a user allows.
const CEILINGS: [(&str, u64); 2] = [("json_nesting", 120), ("joints", u16::MAX as u64)];

impl Caps {
    /// Sets the limit of that name, as an error names it.
    ///
    /// # Errors
    /// One sentence: there is no such limit, or it cannot be set that high.
    pub fn set(&mut self, limit: &str, most: u64) -> Result<(), String> {
        let ceiling = CEILINGS.iter().find(|(name, _)| *name == limit);
        if let Some((_, ceiling)) = ceiling.filter(|(_, ceiling)| most > *ceiling) {
            return Err(format!("the limit {limit} cannot be more than {ceiling}"));
        }
        let mut fields = self.fields();
        if let Some((_, field)) = fields.iter_mut().find(|(name, _)| *name == limit) {
            **field = most;
            return Ok(());
        }
        let names = fields.map(|(name, _)| name).join(", ");
        Err(format!("there is no limit called `{limit}`; there are {names}"))
    }
}

impl Caps {
    pub(super) fn file_bytes(&self) -> Cap {
        cap("file_bytes", "bytes", self.file_bytes)
    }

    pub(super) fn json_nesting(&self) -> Cap {
        cap("json_nesting", "brackets within brackets", self.json_nesting)
    }

    pub(super) fn json_values(&self) -> Cap {
        cap(
            "json_values",
            "JSON values (an object counts as ten)",
            self.json_values,
        )
    }

    pub(super) fn name_bytes(&self) -> Cap {
        cap("name_bytes", "bytes of a name", self.name_bytes)
    }

    pub(super) fn nodes(&self) -> Cap {
        cap("nodes", "nodes", self.nodes)
    }

    pub(super) fn joints(&self) -> Cap {
        cap("joints", "joints", self.joints)
    }

    pub(super) fn parts(&self) -> Cap {
        cap("parts", "parts of meshes", self.parts)
    }

    pub(super) fn vertices(&self) -> Cap {
        cap("vertices", "vertices", self.vertices)
    }

    pub(super) fn keys(&self) -> Cap {
        cap("keys", "animation keys", self.keys)
    }

    pub(super) fn decoded_bytes(&self) -> Cap {
        cap("decoded_bytes", "decoded bytes", self.decoded_bytes)
    }

    /// Corners are the widest of the counts: an accessor may have no more, whatever it is for.
    pub(super) fn elements(&self) -> Cap {
        cap("corners", "elements of one accessor", self.corners)
    }

    /// Every limit by its name.
    fn fields(&mut self) -> [(&'static str, &mut u64); 11] {
        [
            ("file_bytes", &mut self.file_bytes),
            ("json_nesting", &mut self.json_nesting),
            ("json_values", &mut self.json_values),
            ("name_bytes", &mut self.name_bytes),
            ("nodes", &mut self.nodes),
            ("joints", &mut self.joints),
            ("parts", &mut self.parts),
            ("vertices", &mut self.vertices),
            ("corners", &mut self.corners),
            ("keys", &mut self.keys),
            ("decoded_bytes", &mut self.decoded_bytes),
        ]
    }
}

fn cap(limit: &'static str, what: &'static str, most: u64) -> Cap {
    Cap { limit, what, most }
}
