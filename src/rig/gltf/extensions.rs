//! Which extensions a file may use without changing what its meshes and joints are.

use gltf::json::Root;
use gltf::json::mesh::Semantic;
use gltf::json::validation::Checked;

use super::error::Fault;

/// Mesh compression; a trailing letter of the name never differs, so these are compared whole.
const COMPRESSION: [&str; 3] = [
    "KHR_draco_mesh_compression",
    "EXT_meshopt_compression",
    "KHR_meshopt_compression",
];

/// Extensions a file may require: they touch materials, textures, lights or metadata, describe the humanoid, or
/// (quantisation) only widen the component types, which we read all of.
const HARMLESS: [&str; 12] = [
    "EXT_lights_ies",
    "EXT_lights_image_based",
    "EXT_texture_avif",
    "EXT_texture_webp",
    "KHR_audio_emitter",
    "KHR_lights_punctual",
    "KHR_mesh_quantization",
    "KHR_xmp",
    "KHR_xmp_json_ld",
    "MSFT_texture_dds",
    "VRM",
    "KHR_animation_pointer",
];
const HARMLESS_BEGINNINGS: [&str; 4] = ["VRMC_", "KHR_materials_", "KHR_texture_", "EXT_materials_"];

/// Refuses required extensions that we do not know, and compressed geometry.
pub(super) fn check(root: &Root) -> Result<(), Fault> {
    for (index, name) in root.extensions_required.iter().enumerate() {
        let place = format!("/extensionsRequired/{index}");
        if COMPRESSION.contains(&name.as_str()) {
            return Err(Fault::Compressed {
                place,
                name: name.clone(),
            });
        }
        let known = HARMLESS.contains(&name.as_str())
            || HARMLESS_BEGINNINGS
                .iter()
                .any(|beginning| name.starts_with(beginning));
        if !known {
            return Err(Fault::Extension {
                place,
                name: super::error::quoted(name),
            });
        }
    }
    check_primitives(root)
}

/// A primitive may be compressed without saying so at the top; then its accessors have no data of their own.
fn check_primitives(root: &Root) -> Result<(), Fault> {
    for (index, mesh) in root.meshes.iter().enumerate() {
        for (number, primitive) in mesh.primitives.iter().enumerate() {
            let extensions = primitive.extensions.as_ref().map(|extensions| &extensions.others);
            let name = COMPRESSION
                .iter()
                .find(|&&name| extensions.is_some_and(|found| found.contains_key(name)));
            let position = primitive.attributes.get(&Checked::Valid(Semantic::Positions));
            let accessor = position.and_then(|accessor| root.accessors.get(accessor.value()));
            if let (Some(name), true) = (
                name,
                accessor.is_some_and(|accessor| accessor.buffer_view.is_none()),
            ) {
                let place = format!("/meshes/{index}/primitives/{number}/extensions/{name}");
                return Err(Fault::Compressed {
                    place,
                    name: (*name).to_owned(),
                });
            }
        }
    }
    Ok(())
}
