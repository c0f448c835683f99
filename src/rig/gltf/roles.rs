//! Which bone each node is, by the file's own word.

use std::collections::BTreeMap;

use gltf::json::Root;
use serde_json::Value;

use super::nodes::Graph;
use super::remarks::Remarks;

/// VRM 1.0 bone names and our nodes, from `VRMC_vrm`, else from the 0.x extension `VRM`; sorted by name.
pub(super) fn stated(root: &Root, graph: &Graph, remarks: &mut Remarks) -> Vec<(String, usize)> {
    let extension = |name: &str| {
        root.extensions
            .as_ref()
            .and_then(|extensions| extensions.others.get(name))
    };
    let bones = |vrm: &'_ Value| {
        vrm.get("humanoid")
            .and_then(|humanoid| humanoid.get("humanBones"))
            .cloned()
    };
    let (found, place) = match (
        extension("VRMC_vrm").and_then(bones),
        extension("VRM").and_then(bones),
    ) {
        (Some(Value::Object(bones)), _) => {
            let bone = |(name, bone): (String, Value)| Some((name, bone.get("node")?.as_u64()?));
            (
                bones.into_iter().filter_map(bone).collect::<Vec<_>>(),
                "/extensions/VRMC_vrm/humanoid/humanBones",
            )
        }
        (_, Some(Value::Array(bones))) => {
            let bone = |bone: &Value| {
                Some((
                    newer_name(bone.get("bone")?.as_str()?),
                    bone.get("node")?.as_u64()?,
                ))
            };
            (
                bones.iter().filter_map(bone).collect(),
                "/extensions/VRM/humanoid/humanBones",
            )
        }
        _ => return Vec::new(),
    };
    let mut roles = BTreeMap::new();
    for (name, node) in found {
        match usize::try_from(node).ok().and_then(|node| graph.ours.get(node)) {
            Some(&node) => drop(roles.entry(super::names::clean(&name)).or_insert(node)),
            None => {
                let say = format!(
                    "The bone {} is said to be node {node}, which the file does not have.",
                    super::error::quoted(&name)
                );
                remarks.add(
                    "stated_role_without_node",
                    place.to_owned(),
                    say,
                    "Export the humanoid again.",
                );
            }
        }
    }
    roles.into_iter().collect()
}

/// VRM 1.0 renamed the three bones of each thumb; all other names of 0.x are the same.
fn newer_name(old: &str) -> String {
    let (side, thumb) = match old.split_once("Thumb") {
        Some((side @ ("left" | "right"), thumb)) => (side, thumb),
        _ => return old.to_owned(),
    };
    match thumb {
        "Proximal" => format!("{side}ThumbMetacarpal"),
        "Intermediate" => format!("{side}ThumbProximal"),
        _ => old.to_owned(),
    }
}
