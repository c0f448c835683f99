//! Which bodies and garments does the demo show?

use super::faults::{Fault, plant};
use super::garment::{Garment, garment};
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
}

/// Wearer, garment, kind, build splay in degrees, what it is worn over, colours.
type Hanger = (&'static str, &'static str, Kind, f64, Option<&'static str>, Dyes);

/// Garments of the rack: body, name, kind, build splay in degrees, worn over, dyes.
const RACK: [Hanger; 6] = [
    (
        "wren",
        "work_trousers",
        Kind::SlimTrousers,
        8.0,
        None,
        dyes([74, 94, 122], [92, 112, 140]),
    ),
    (
        "wren",
        "skirt",
        Kind::Skirt,
        6.0,
        None,
        dyes([140, 74, 70], [160, 96, 88]),
    ),
    (
        "wren",
        "leggings",
        Kind::Leggings,
        8.0,
        None,
        dyes([58, 62, 70], [76, 80, 90]),
    ),
    (
        "brock",
        "tunic",
        Kind::Tunic,
        7.0,
        None,
        dyes([176, 164, 132], [192, 182, 152]),
    ),
    (
        "brock",
        "padded_jacket",
        Kind::Jacket,
        7.0,
        Some("tunic"),
        dyes([96, 108, 82], [114, 126, 98]),
    ),
    (
        "pip",
        "wide_trousers",
        Kind::WideTrousers,
        8.0,
        None,
        dyes([122, 98, 66], [142, 118, 84]),
    ),
];

const fn dyes(ground: [u8; 3], check: [u8; 3]) -> Dyes {
    Dyes { ground, check }
}

/// The invented crew: Wren and Brock of average build, Pip a child; their rack; and the faults.
pub fn scenario() -> Scenario {
    let crew = [
        BodyShape::woman("wren"),
        BodyShape::man("brock"),
        BodyShape::child("pip"),
    ];
    let crew: Vec<Mannequin> = crew.par_iter().map(body).collect();
    let made: Vec<(Worn, Garment)> = RACK
        .par_iter()
        .filter_map(|(wearer, name, kind, splay, over, dyes)| {
            let wearer = crew.iter().find(|body| body.shape.name == *wearer)?;
            let cloth = garment(wearer, &Pattern::new(name, *kind).built_at(*splay));
            let piece = Piece::printed(name, cloth.rig(), check(cloth.print_side, *dyes));
            let over = over.map(ToOwned::to_owned);
            Some((
                Worn {
                    piece,
                    body: wearer.shape.name.clone(),
                    over,
                },
                cloth,
            ))
        })
        .collect();
    let (clean, cloth) = &made[0];
    let faulty = Fault::ALL.into_iter().map(|fault| {
        let name = format!("{}_{}", clean.piece.name, fault.name());
        let piece = Piece {
            print_png: clean.piece.print_png.clone(),
            ..Piece::plain(&name, &plant(cloth.rig(), fault))
        };
        (
            fault,
            Worn {
                piece,
                body: clean.body.clone(),
                over: None,
            },
        )
    });
    Scenario {
        faulty: faulty.collect(),
        bodies: crew
            .iter()
            .map(|body| Piece::plain(&body.shape.name, &body.rig()))
            .collect(),
        garments: made.into_iter().map(|(worn, _)| worn).collect(),
    }
}

/// The shortest demo: a body, clean slim trousers, and the same trousers with weights bled from the left thigh.
pub fn quick() -> [Piece; 3] {
    let woman = body(&BodyShape::woman("wren"));
    // A little closer than usual: in a deep sitting crease cloth loses all its room, so it must not have too much.
    let pattern = Pattern {
        ease: 0.005,
        ..Pattern::new("slim_trousers", Kind::SlimTrousers)
    };
    let trousers = garment(&woman, &pattern);
    [
        Piece::plain("wren", &woman.rig()),
        Piece::plain("slim_trousers", trousers.rig()),
        Piece::plain("slim_trousers_bled", &plant(trousers.rig(), Fault::Bleed)),
    ]
}
