//! Which names does a file give its parts, fit to be printed on one line?

use gltf::json::Root;

use super::error::Fault;
use super::limits::Caps;
use crate::written::one_line;

/// Refuses names longer than the limit. They are copied for every node that shows a mesh, and end in sentences.
pub(super) fn check(root: &Root, caps: &Caps) -> Result<(), Fault> {
    let nodes = root.nodes.iter().map(|node| &node.name);
    let meshes = root.meshes.iter().map(|mesh| &mesh.name);
    let materials = root.materials.iter().map(|material| &material.name);
    let clips = root.animations.iter().map(|clip| &clip.name);
    check_all("nodes", nodes, caps)?;
    check_all("meshes", meshes, caps)?;
    check_all("materials", materials, caps)?;
    check_all("animations", clips, caps)
}

fn check_all<'a>(
    list: &str,
    names: impl Iterator<Item = &'a Option<String>>,
    caps: &Caps,
) -> Result<(), Fault> {
    for (index, name) in names.enumerate() {
        let length = name.as_ref().map_or(0, String::len);
        // The place is only written where it is needed: a list may be long.
        if length as u64 > caps.name_bytes {
            return caps
                .name_bytes()
                .check(length as u64, &format!("/{list}/{index}/name"));
        }
    }
    Ok(())
}

/// A name without line ends, escape codes of terminals, or marks that turn the text around. Two files that name a
/// joint alike still do.
pub(super) fn clean(name: &str) -> String {
    one_line(name)
}
