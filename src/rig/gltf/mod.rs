//! glTF 2.0 files to [`crate::rig::Rig`], and rigs and posed surfaces to GLB.
//!
//! The gltf crate serves as the JSON model only. Containers, bounds, accessors and URIs are read here, because
//! what comes in is hostile until it has been checked.

mod accessor;
mod buffers;
mod clip;
mod container;
mod corners;
mod cost;
mod error;
mod extensions;
mod limits;
mod mesh;
mod names;
mod nodes;
mod normals;
mod pack;
mod remarks;
mod roles;
mod sanity;
mod shape;
mod skin;
mod text;
mod uri;
mod vertices;
mod write;

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::Path;

use self::remarks::Remarks;
use crate::rig::Rig;

pub use self::buffers::Fetch;
pub use self::error::{Fault, ReadError};
pub use self::limits::Caps;
pub use self::write::{GlbMaterial, GlbNode, GlbScene, GlbSkin, GlbSurface, glb};

/// How to read.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct ReadOptions {
    /// What a file may ask for.
    pub caps: Caps,
    /// Read buffers that lie outside the file's own folder.
    pub allow_outside_files: bool,
    /// Read meshes that hang on no joint too, as if their node were one: for shapes that are not rigged yet.
    pub unskinned: bool,
}

/// Reads a `.glb`, `.gltf` or `.vrm` file and the buffers it names.
///
/// # Errors
/// One sentence naming the file, the place in it, and what to do.
pub fn read(path: &Path, options: &ReadOptions) -> Result<Rig, ReadError> {
    let name = path.display().to_string();
    let failed = |fault| ReadError {
        file: name.clone(),
        fault,
    };
    let bytes =
        uri::first_bytes(path, u64::MAX, options.caps.file_bytes(), "the whole file").map_err(failed)?;
    let bytes = bytes.map_err(|error| failed(cannot_open(&error)))?;
    let folder = path
        .parent()
        .filter(|folder| !folder.as_os_str().is_empty())
        .unwrap_or(Path::new("."));
    let folder = uri::Folder {
        path: folder,
        allow_outside: options.allow_outside_files,
        cap: options.caps.file_bytes(),
    };
    let fetch = |uri: &str, place: &str, length: u64| folder.fetch(uri, place, length);
    parse(&bytes, &name, &fetch, options)
}

/// Reads a rig from bytes. `fetch` answers the URIs of external buffers, see [`Fetch`] (data URIs are decoded here). A
/// caller that has no files passes [`no_files`].
///
/// # Errors
/// One sentence naming the file, the place in it, and what to do.
pub fn parse(bytes: &[u8], name: &str, fetch: &Fetch, options: &ReadOptions) -> Result<Rig, ReadError> {
    let outcome = catch_unwind(AssertUnwindSafe(|| parse_unguarded(bytes, fetch, options)));
    let fault = |fault| ReadError {
        file: name.to_owned(),
        fault,
    };
    let mut rig = outcome.unwrap_or(Err(Fault::Panicked)).map_err(fault)?;
    rig.name = Path::new(name)
        .file_stem()
        .map_or_else(|| name.to_owned(), |stem| stem.to_string_lossy().into_owned());
    Ok(rig)
}

/// A `fetch` for [`parse`] that refuses every external buffer.
///
/// # Errors
/// Always [`Fault::Outside`].
pub fn no_files(uri: &str, place: &str, _length: u64) -> Result<Vec<u8>, Fault> {
    Err(Fault::Outside {
        place: place.into(),
        uri: error::quoted(uri),
        why: "only the model's own bytes were given",
    })
}

/// [`parse`] without the last net under it.
fn parse_unguarded(bytes: &[u8], fetch: &Fetch, options: &ReadOptions) -> Result<Rig, Fault> {
    let caps = &options.caps;
    caps.file_bytes().check(bytes.len() as u64, "the whole file")?;
    let parts = container::split(bytes)?;
    let root = text::parse(parts.json, caps)?;
    extensions::check(&root)?;
    sanity::check(&root, caps)?;
    names::check(&root, caps)?;
    let mut remarks = Remarks::default();
    if parts.trailing > 0 {
        let say = format!(
            "{} bytes lie behind the end that the file's header states; they are not read.",
            parts.trailing
        );
        remarks.add("trailing_bytes", "/".into(), say, "Export the file again.");
    }
    let graph = nodes::Graph::read(&root, &mut remarks)?;
    if root.meshes.is_empty() && root.skins.is_empty() && root.animations.is_empty() {
        return Err(Fault::NoSkin {
            place: "/".into(),
            what: "this file has no mesh, no skin and no animation",
        });
    }
    let source = buffers::load(&root, &parts, fetch, caps)?;
    skin::check_all(&source, &graph, &mut remarks)?;
    let meshes = mesh::read(&source, &graph, options.unskinned, &mut remarks)?;
    let clips = clip::read(&source, &graph, &mut remarks)?;
    let stated_roles = roles::stated(&root, &graph, &mut remarks);
    Ok(Rig {
        name: String::new(),
        nodes: graph.nodes,
        meshes,
        clips,
        stated_roles,
        remarks: remarks.finish(),
    })
}

/// Why the file itself cannot be opened.
fn cannot_open(error: &std::io::Error) -> Fault {
    match error.kind() {
        std::io::ErrorKind::NotFound => Fault::Missing,
        _ => Fault::Unreadable {
            why: uri::plain(error),
        },
    }
}

#[cfg(test)]
#[path = "../../../tests/support/gltf.rs"]
#[allow(dead_code, reason = "the integration tests use the rest")]
mod support;
#[cfg(test)]
mod tests;
