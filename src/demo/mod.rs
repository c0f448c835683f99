//! An invented mannequin and a rack of clothes to go with it, generated in code.

mod clear;
mod drape;
mod faults;
mod garment;
mod girth;
mod limb;
mod mannequin;
mod mesher;
mod panels;
mod pattern;
mod print;
mod scenario;
mod shape;
mod size;
mod skeleton;
mod skirt;
mod strip;
mod trousers;
mod tunic;
mod under;
mod weights;

pub use faults::{Fault, Planted, plant};
pub use garment::{Garment, garment};
pub use mannequin::{Mannequin, body};
pub use pattern::{Kind, Pattern};
pub use scenario::{Piece, Scenario, Worn, scenario};
pub use size::{BodyShape, Girths, Helpers};

#[cfg(test)]
mod tests;
