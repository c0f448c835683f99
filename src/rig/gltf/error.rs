//! What can be wrong with a file, each as one plain sentence: what, where, and what to do.

use crate::written::{one_line, shortened};
use thiserror::Error;

/// A file that could not be read, with its name in front of the reason.
#[derive(Clone, Debug, PartialEq, Error)]
#[error("{}: {fault}", one_line(.file))]
pub struct ReadError {
    /// The file as it was named to us.
    pub file: String,
    /// What is wrong.
    pub fault: Fault,
}

/// The reason a file is refused. `place` is a JSON pointer into the file.
#[derive(Clone, Debug, PartialEq, Error)]
pub enum Fault {
    /// Nothing lies at that path.
    #[error("there is no such file; check the spelling and the folder")]
    Missing,
    /// A folder, a device or a pipe.
    #[error("this is not a file that can be read from start to end; name a .glb, .gltf or .vrm file")]
    NotAFile,
    /// The operating system refused.
    #[error("the file cannot be opened: {why}; check that you may read it and that it is not in use")]
    Unreadable {
        /// The system's own words.
        why: String,
    },
    /// Not glTF at all.
    #[error("this is not a glTF file: {seen}; export the model as glTF 2.0 (.glb)")]
    NotGltf {
        /// What it looks like instead.
        seen: String,
    },
    /// The GLB container is damaged.
    #[error("the GLB container is damaged at byte {byte}: {what}; export or copy the file again")]
    Container {
        /// Offset from the start of the file.
        byte: u64,
        /// What was found there.
        what: String,
    },
    /// The JSON text is damaged.
    #[error("the JSON text is damaged at its byte {byte}: {}; export or copy the file again", shown(.what))]
    Json {
        /// Offset from the start of the JSON text.
        byte: u64,
        /// What was found there.
        what: String,
    },
    /// The JSON says something glTF 2.0 does not allow.
    #[error("{} (at {}); {help}", shown(.what), shown(.place))]
    Broken {
        /// JSON pointer.
        place: String,
        /// What was found.
        what: String,
        /// What to do.
        help: String,
    },
    /// A number beyond a limit that keeps memory in bounds.
    #[error(
        "{found} {what} are more than the limit `{limit}` of {most} (at {}); make the file smaller, or raise the limit with --raise {limit}=NUMBER",
        shown(.place)
    )]
    TooMuch {
        /// The field of [`super::Caps`].
        limit: &'static str,
        /// What is counted.
        what: &'static str,
        /// How many the file has or claims to have.
        found: u64,
        /// How many are allowed.
        most: u64,
        /// JSON pointer, or where else the number comes from.
        place: String,
    },
    /// The file asks for a glTF extension that would change what we read.
    #[error(
        "the file requires the extension {name} (at {}), which gusset does not know; export it without that extension",
        shown(.place)
    )]
    Extension {
        /// JSON pointer.
        place: String,
        /// The extension.
        name: String,
    },
    /// Geometry packed by a compressor.
    #[error(
        "the geometry is compressed with {name} (at {}); export it again with mesh compression switched off",
        shown(.place)
    )]
    Compressed {
        /// JSON pointer.
        place: String,
        /// The extension.
        name: String,
    },
    /// A buffer that lies where it must not.
    #[error(
        "the file {uri} (at {}) is not read because {why}; put it beside the model, embed it by exporting as .glb, or read it with --allow-outside-files",
        shown(.place)
    )]
    Outside {
        /// JSON pointer.
        place: String,
        /// As the file names it.
        uri: String,
        /// Which rule it breaks.
        why: &'static str,
    },
    /// A buffer that cannot be read.
    #[error(
        "the file {uri} (at {}), which holds the geometry, cannot be read: {why}; keep it beside the model, or export as .glb",
        shown(.place)
    )]
    Buffer {
        /// JSON pointer.
        place: String,
        /// As the file names it.
        uri: String,
        /// The reason.
        why: String,
    },
    /// Meshes, but no joint moves any of them.
    #[error(
        "{what} (at {}), so nothing can be posed; export the mesh together with its armature and skin weights",
        shown(.place)
    )]
    NoSkin {
        /// JSON pointer.
        place: String,
        /// What is missing.
        what: &'static str,
    },
    /// The reader itself failed.
    #[error("this file broke the reader; please report it, if you may, together with the file")]
    Panicked,
}

impl Fault {
    /// A [`Fault::Broken`] with the usual advice.
    pub(super) fn broken(place: impl Into<String>, what: impl Into<String>) -> Self {
        Self::Broken {
            place: place.into(),
            what: what.into(),
            help: "export the file again, or report it to the maker of the exporter".into(),
        }
    }
}

/// A text from the file, fit for a sentence: in quotes, no control characters, not endless.
pub(super) fn quoted(text: &str) -> String {
    if text.is_empty() {
        return "without a name".into();
    }
    format!("\"{}\"", shortened(text, 80))
}

/// A place or a reason on one line of bearable length, whatever keys and values of the file went into it.
fn shown(text: &str) -> String {
    shortened(text, 300)
}
