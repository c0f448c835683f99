//! The rig sheet on the page.

use super::RigPictures;
use crate::report::rig::Piece;
use crate::report::words::{self, capital};
use base64::Engine;
use serde::Serialize;

#[derive(Serialize)]
pub(super) struct RigView {
    pieces: Vec<PieceView>,
    weights: Vec<WeightView>,
}

#[derive(Serialize)]
struct PieceView {
    name: String,
    facts: Vec<String>,
    /// Bone in words, joint, how it was found.
    roles: Vec<[String; 3]>,
    loose: String,
}

#[derive(Serialize)]
struct WeightView {
    data: String,
    alt: String,
    joint: String,
    share: String,
    wide: u32,
    high: u32,
}

impl RigView {
    /// A page to pass on goes without the pictures of the weights: they are many, and the maker's own affair.
    pub(super) fn new((sheet, pictures): &RigPictures, share: bool) -> Self {
        let shown = if share { &[][..] } else { pictures };
        Self {
            pieces: sheet.pieces.iter().map(PieceView::new).collect(),
            weights: shown
                .iter()
                .map(|picture| {
                    let share = format!("{} %", words::number((picture.share * 1000.0).round() / 10.0));
                    WeightView {
                        data: base64::engine::general_purpose::STANDARD.encode(&picture.png),
                        alt: format!("What {} moves: {share} of the garment's weight.", picture.joint),
                        joint: picture.joint.clone(),
                        share,
                        wide: picture.size[0],
                        high: picture.size[1],
                    }
                })
                .collect(),
        }
    }
}

impl PieceView {
    fn new(piece: &Piece) -> Self {
        let loose: Vec<String> = piece.loose.iter().map(|name| words::plain(name)).collect();
        Self {
            name: words::plain(&piece.name),
            facts: piece.facts.clone(),
            roles: piece
                .roles
                .iter()
                .map(|[bone, joint, how]| [bone_in_words(bone), words::plain(joint), how.clone()])
                .collect(),
            loose: loose.join(", "),
        }
    }
}

/// `leftUpperLeg` is `Left upper leg`.
fn bone_in_words(bone: &str) -> String {
    let parted: String = bone
        .chars()
        .flat_map(|c| {
            c.is_uppercase()
                .then_some(' ')
                .into_iter()
                .chain(c.to_lowercase())
        })
        .collect();
    capital(&parted)
}
