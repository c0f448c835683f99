//! A rig of the tests as the bytes of a file.

use gusset::rig::Rig;
use gusset::rig::gltf::{GlbMaterial, GlbNode, GlbScene, GlbSkin, GlbSurface, glb};

/// As GLB, through the writer of the crate.
pub(crate) fn bytes(rig: &Rig) -> Vec<u8> {
    let nodes = rig.nodes.iter();
    let mut scene = GlbScene {
        nodes: nodes
            .map(|node| GlbNode {
                name: node.name.clone(),
                parent: node.parent,
                local: node.local.clone(),
            })
            .collect(),
        materials: vec![GlbMaterial {
            name: "plain".into(),
            colour: [1.0; 4],
            picture: None,
        }],
        ..GlbScene::default()
    };
    for (index, mesh) in rig.meshes.iter().enumerate() {
        scene.skins.push(GlbSkin {
            joints: mesh
                .binds
                .iter()
                .map(|bind| (bind.node, bind.inverse_bind))
                .collect(),
        });
        scene.surfaces.push(GlbSurface {
            name: mesh.name.clone(),
            positions: mesh.positions.clone(),
            triangles: mesh.triangles.clone(),
            uvs: mesh.uvs.clone(),
            skin: Some((index, mesh.rows.clone())),
            ..GlbSurface::default()
        });
    }
    glb(&scene)
}
