//! What a still picture is made of: one frame of one pose, dressed.

use std::sync::Arc;

/// One frame worth a picture.
#[derive(Clone, Debug)]
pub struct Scene {
    /// Index into the outcome's fittings.
    pub fitting: usize,
    /// The pose's name.
    pub pose: String,
    /// Frame of the pose.
    pub frame: usize,
    /// Path of the number that asks for the picture; may be empty.
    pub what: String,
    /// Drawn grey.
    pub body: Posed,
    /// The garment under test, then those it is worn over.
    pub garments: Vec<Posed>,
    /// Where to look, worst first; empty for a picture of the whole from the front.
    pub focus: Vec<Focus>,
    /// The spot that it shows, for the pictures of its card.
    pub spot: Option<OfSpot>,
}

/// A place that fails, and what it looked like before any pose.
#[derive(Clone, Debug)]
pub struct OfSpot {
    /// Index into the fitting's spots.
    pub number: usize,
    /// Of the garment under test, sorted.
    pub triangles: Vec<u32>,
    /// The same garments on the same body as built.
    pub as_built: AsBuilt,
}

/// Body and garments as built, and the place there.
#[derive(Clone, Debug)]
pub struct AsBuilt {
    /// Drawn grey.
    pub body: Posed,
    /// The garment under test, then those it is worn over.
    pub garments: Vec<Posed>,
    /// The same point of the cloth, its direction turned back with it.
    pub focus: Focus,
}

/// A posed surface.
#[derive(Clone, Debug)]
pub struct Posed {
    /// Name of the body or garment.
    pub name: String,
    /// Metres, glTF axes.
    pub positions: Vec<[f32; 3]>,
    /// Corners, outside out.
    pub triangles: Arc<Vec<[u32; 3]>>,
    /// Values to colour it by; without them it is drawn plain.
    pub heat: Option<Heat>,
}

/// One value per vertex.
#[derive(Clone, Debug)]
pub struct Heat {
    /// Path of the number that it belongs to (`skin_shows.inner.depth_mm`).
    pub measure: String,
    /// As it stands behind a number (`mm`); empty for a ratio.
    pub unit: String,
    /// NaN where it was not measured. Values up to `bottom` are drawn plain.
    pub values: Vec<f32>,
    /// 0 for a depth or distance, 1 for a stretch.
    pub bottom: f32,
    /// Outlined where it is passed.
    pub limit: Option<f32>,
    /// The value of the last colour.
    pub top: f32,
}

/// A place to look at.
#[derive(Clone, Debug)]
pub struct Focus {
    /// Metres, glTF axes.
    pub position: [f32; 3],
    /// Out of the surface.
    pub normal: [f32; 3],
    /// What is to be seen there, in a sentence.
    pub say: String,
}
