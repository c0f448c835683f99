//! Which bodies and garments does the demo show?

use super::faults::{Fault, plant};
use super::garment::garment;
use super::mannequin::{Mannequin, body};
use super::pattern::{Kind, Pattern};
use super::print::{Dyes, check};
use super::size::BodyShape;
use crate::rig::Rig;
use crate::rig::gltf::{GlbMaterial, GlbNode, GlbScene, GlbSkin, GlbSurface, glb};
use rayon::prelude::*;

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
                morphs: mesh.morphs.clone(),
                skin: Some((index, mesh.rows.clone())),
                ..GlbSurface::default()
            });
        }
        glb(&scene)
    }

    fn printed(name: &str, rig: &Rig, png: Vec<u8>) -> Self {
        Self {
            print_png: Some(png),
            ..Self::plain(name, rig)
        }
    }

    /// A rig as a file, without a print.
    pub fn plain(name: &str, rig: &Rig) -> Self {
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

/// The crew, their clothes, and what was done to some of them.
#[derive(Clone, Debug)]
pub struct Scenario {
    /// The mannequins.
    pub bodies: Vec<Piece>,
    /// The clean clothes.
    pub garments: Vec<Worn>,
    /// The work trousers again, each with one planted fault.
    pub faulty: Vec<(Fault, Worn)>,
}

/// A garment and who wears it.
#[derive(Clone, Debug)]
pub struct Worn {
    /// The file.
    pub piece: Piece,
    /// Name of the body it was made for.
    pub body: String,
    /// Name of the garment it is worn over.
    pub over: Option<String>,
    /// For a garment without a planted fault that fails all the same: the true fault that its pictures show.
    pub shows: Option<&'static str>,
}

/// What hangs on the rack: who wears it, what it is, how it is dyed.
struct Hanger {
    wearer: &'static str,
    name: &'static str,
    kind: Kind,
    /// Hip splay of the build pose, degrees.
    splay: f64,
    over: Option<&'static str>,
    dyes: Dyes,
}

const fn hanger(
    wearer: &'static str,
    name: &'static str,
    (kind, splay): (Kind, f64),
    over: Option<&'static str>,
    [ground, check]: [[u8; 3]; 2],
) -> Hanger {
    Hanger {
        wearer,
        name,
        kind,
        splay,
        over,
        dyes: Dyes { ground, check },
    }
}

const BLUE: [[u8; 3]; 2] = [[74, 94, 122], [92, 112, 140]];
const RED: [[u8; 3]; 2] = [[140, 74, 70], [160, 96, 88]];
const BLACK: [[u8; 3]; 2] = [[58, 62, 70], [76, 80, 90]];
const FLAX: [[u8; 3]; 2] = [[176, 164, 132], [192, 182, 152]];
const MOSS: [[u8; 3]; 2] = [[96, 108, 82], [114, 126, 98]];
const EARTH: [[u8; 3]; 2] = [[122, 98, 66], [142, 118, 84]];

/// The rack. The first are the trousers that the faults are planted in; the next the same, built with the legs together.
const RACK: [Hanger; 7] = [
    hanger("wren", "work_trousers_9", (Kind::SlimTrousers, 9.0), None, BLUE),
    hanger("wren", "work_trousers_0", (Kind::SlimTrousers, 0.0), None, BLUE),
    hanger("wren", "skirt", (Kind::Skirt, 6.0), None, RED),
    hanger("wren", "leggings", (Kind::Leggings, 8.0), None, BLACK),
    hanger("brock", "tunic", (Kind::Tunic, 7.0), None, FLAX),
    hanger("brock", "padded_jacket", (Kind::Jacket, 7.0), Some("tunic"), MOSS),
    hanger("pip", "wide_trousers", (Kind::WideTrousers, 8.0), None, EARTH),
];

/// The invented crew: Wren a little heavier than the average woman, Brock the average man, Pip a child.
fn crew() -> Vec<Mannequin> {
    let crew = [
        BodyShape::woman("wren").heavier(0.5),
        BodyShape::man("brock"),
        BodyShape::child("pip"),
    ];
    crew.par_iter().map(body).collect()
}

/// The crew, their rack, and the work trousers with one fault each.
pub fn scenario() -> Scenario {
    let crew = crew();
    let garments: Vec<Worn> = RACK.par_iter().filter_map(|hanger| made(&crew, hanger)).collect();
    let faulty = Fault::SHOWN
        .into_iter()
        .map(|fault| (fault, spoilt(&garments[0], fault)));
    Scenario {
        faulty: faulty.collect(),
        bodies: crew
            .iter()
            .map(|body| Piece::plain(&body.shape.name, &body.rig()))
            .collect(),
        garments,
    }
}

/// What a maker would say of those that still fail.
fn shows(name: &str) -> Option<&'static str> {
    match name {
        "work_trousers_0" => Some(
            "A true fault: built with the legs together, the crotch is a web between touching thighs; it is pulled \
             off them when they part.",
        ),
        "skirt" => Some(
            "A true fault: one tube hung on two thighs; seated or in a stride it opens like a bell, and skin that it \
             hid comes to light.",
        ),
        "tunic" => Some(
            "A true fault: cut in one with its sleeves, without a gusset and on a skeleton without shoulder blades. When \
             an arm is raised or drawn back the sleeve folds at the armpit, swallows cloth and pulls what is left; bent \
             forward or to the side the print over the back grows by a fifth.",
        ),
        "padded_jacket" => Some(
            "A true fault, the tunic's made larger: cloth a finger's breadth off the joint folds deeper at the armpit, \
             and the tunic comes through.",
        ),
        _ => None,
    }
}

fn made(crew: &[Mannequin], hanger: &Hanger) -> Option<Worn> {
    let wearer = crew.iter().find(|body| body.shape.name == hanger.wearer)?;
    let cloth = garment(
        wearer,
        &Pattern::new(hanger.name, hanger.kind).built_at(hanger.splay),
    );
    Some(Worn {
        piece: Piece::printed(hanger.name, cloth.rig(), check(cloth.print_side, hanger.dyes)),
        body: hanger.wearer.to_owned(),
        over: hanger.over.map(ToOwned::to_owned),
        shows: shows(hanger.name),
    })
}

/// The same garment with a fault planted.
fn spoilt(clean: &Worn, fault: Fault) -> Worn {
    let name = format!("{}_{}", clean.piece.name, fault.name());
    Worn {
        piece: Piece {
            print_png: clean.piece.print_png.clone(),
            ..Piece::plain(&name, &plant(&clean.piece.rig, fault))
        },
        ..clean.clone()
    }
}
