//! Which bodies and garments does the demo show?

use super::faults::{Fault, plant};
use super::garment::garment;
use super::mannequin::body;
use super::pattern::{Kind, Pattern};
use super::size::BodyShape;
use crate::rig::Rig;
use crate::rig::gltf::{GlbMaterial, GlbNode, GlbScene, GlbSkin, GlbSurface, glb};

/// Colour of unprinted surfaces, linear.
const GREY: [f32; 4] = [0.42, 0.42, 0.42, 1.0];

/// One file of the demo.
#[derive(Clone, Debug)]
pub struct Piece {
    /// File name without ending.
    pub name: String,
    /// What the file holds.
    pub rig: Rig,
    /// The printed cloth as a PNG file, for garments.
    pub print_png: Option<Vec<u8>>,
}

impl Piece {
    /// The file's bytes: a binary glTF with the joints, the skinned mesh and its print.
    pub fn glb(&self) -> Vec<u8> {
        let rig = &self.rig;
        let nodes = rig.nodes.iter();
        let nodes = nodes.map(|node| GlbNode {
            name: node.name.clone(),
            parent: node.parent,
            local: node.local.clone(),
        });
        let mut scene = GlbScene {
            nodes: nodes.collect(),
            ..GlbScene::default()
        };
        scene.pictures.extend(self.print_png.clone());
        for (index, mesh) in rig.meshes.iter().enumerate() {
            let picture = (mesh.uvs.is_some() && self.print_png.is_some()).then_some(0);
            let colour = if picture.is_some() { [1.0; 4] } else { GREY };
            scene.materials.push(GlbMaterial {
                name: mesh.material.clone(),
                colour,
                picture,
            });
            let joints = mesh
                .binds
                .iter()
                .map(|bind| (bind.node, bind.inverse_bind))
                .collect();
            scene.skins.push(GlbSkin { joints });
            scene.surfaces.push(GlbSurface {
                name: mesh.name.clone(),
                material: index,
                positions: mesh.positions.clone(),
                triangles: mesh.triangles.clone(),
                uvs: mesh.uvs.clone(),
                skin: Some((index, mesh.rows.clone())),
                ..GlbSurface::default()
            });
        }
        glb(&scene)
    }

    fn plain(name: &str, rig: &Rig) -> Self {
        Self {
            name: name.to_owned(),
            rig: Rig {
                name: name.to_owned(),
                ..rig.clone()
            },
            print_png: None,
        }
    }
}

/// The shortest demo: a body, clean slim trousers, and the same trousers with weights bled from the left thigh.
pub fn quick() -> [Piece; 3] {
    let woman = body(&BodyShape::woman("wren"));
    let trousers = garment(&woman, &Pattern::new("slim_trousers", Kind::SlimTrousers));
    [
        Piece::plain("wren", &woman.rig()),
        Piece::plain("slim_trousers", trousers.rig()),
        Piece::plain("slim_trousers_bled", &plant(trousers.rig(), Fault::Bleed)),
    ]
}
