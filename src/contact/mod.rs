//! Who is near whom: found once per frame, shared by all measures.
//!
//! [`Body`] and [`Layer`] are made once per fitting and hold what was true as built: homes, covered skin, edges.
//! [`Moment`] is one posed frame; it can be measured for all samples or for a subset.

pub mod body; // the skin: parts, rims, topology
pub mod samples; // points on a surface, each with the area under it
pub mod edges; // hems and folds of a garment
pub mod cloth; // the garment by itself: print, seams, rings, folds
pub mod layer; // a garment as built on a body
pub mod beneath; // a garment under the one that is tested
pub mod beside; // the skin beneath each fabric triangle
pub mod patches; // which skin lies surely under its fabric
pub mod pull; // how far fabric and skin are drawn out in a frame
pub mod moment; // one posed frame
pub mod tangle; // where a garment runs through itself
pub mod far; // fabric in another part, and through its fabric
pub mod seen; // which skin can be looked at
pub mod tape; // what a tape reads around a body
pub mod region; // tailor's words for a place on the skin

pub use beneath::Beneath;
pub use body::Body;
pub use layer::Layer;
pub use moment::{Moment, Scratch};
pub use samples::Samples;

/// Fabric further than this from any skin as built lies over no skin, metres at the scale of 1.
pub const HOME_REACH: f32 = 0.060;
/// A tag bit for skin that is drawn. Hidden skin covers nothing and is no fault, but it is home to fabric.
pub const VISIBLE: u32 = 1 << 21;
/// A tag bit for fabric that hides what is behind it but is never anyone's home: linings.
pub const LINING: u32 = 1 << 20;
