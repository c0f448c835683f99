//! An invented mannequin and a rack of clothes to go with it, generated in code.

mod girth;
mod limb;
mod mannequin;
mod mesher;
mod shape;
mod size;
mod skeleton;
mod weights;

pub use mannequin::{Mannequin, body};
pub use size::{BodyShape, Girths, Helpers};
