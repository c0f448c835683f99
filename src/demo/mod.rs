//! An invented mannequin and a rack of clothes to go with it, generated in code.

mod drape;
mod garment;
mod girth;
mod limb;
mod mannequin;
mod mesher;
mod panels;
mod pattern;
mod shape;
mod size;
mod skeleton;
mod strip;
mod trousers;
mod under;
mod weights;

pub use garment::{Garment, garment};
pub use mannequin::{Mannequin, body};
pub use pattern::{Kind, Pattern};
pub use size::{BodyShape, Girths, Helpers};
