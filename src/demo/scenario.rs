//! Which bodies and garments does the demo show?

use super::faults::{Fault, plant};
use super::garment::garment;
use super::mannequin::body;
use super::pattern::{Kind, Pattern};
use super::size::BodyShape;
use crate::rig::Rig;

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
