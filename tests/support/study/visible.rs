//! Can an eye see the fault? Cloth out of its place and skin in pictures, against the clean garment in the same frames.
//!
//! Nothing here is a measure of the tool under test: only posed positions, and pictures drawn of them.

use super::eye::Eye;
use gusset::contact::Scratch;
use gusset::fitting::{Dressed, Frame, Sequence, joints_at};
use gusset::pose;

/// Cloth out of place by this much, metres for a thigh of 0.41 m,
const OUT_OF_PLACE: f32 = 0.015;
/// over this area as built, square metres, is seen.
const SEEN_AREA: f64 = 5e-4;
/// A spike this long is seen however thin it is.
const SPIKE: f32 = 0.03;
/// So much more skin in pictures is seen, square centimetres.
const SEEN_SKIN: f64 = 2.0;
/// Looked at in these poses, every third frame of those that move.
const POSES: [&str; 7] = [
    "standing",
    "wide_stance",
    "bend_forward",
    "sitting",
    "sitting_knees_apart",
    "walk",
    "stairs_up",
];
/// What an eye sees of the difference, if anything. `as_built` faults are in the shape the maker sees all day: of them
/// only skin counts.
pub(crate) fn compared(clean: &Dressed, spoilt: &Dressed, as_built: bool) -> Option<String> {
    let scale = clean.body.anatomy.scale() as f32;
    let mut scratches = [clean, spoilt].map(|dressed| Scratch::new(&dressed.body, &dressed.layers));
    let areas = vertex_areas(clean);
    let (mut most_area, mut most_far) = (0.0_f64, 0.0_f32);
    for frame in frames() {
        for (dressed, scratch) in [clean, spoilt].into_iter().zip(&mut scratches) {
            scratch.pose(&dressed.body, &dressed.layers, &joints_at(dressed, &frame));
        }
        let [was, is] = &scratches;
        let pairs = was.layer_positions(0).iter().zip(is.layer_positions(0));
        let apart =
            pairs.map(|(a, b)| (0..3).map(|axis| (a[axis] - b[axis]).powi(2)).sum::<f32>().sqrt() / scale);
        let mut area = 0.0;
        for (vertex, apart) in apart.enumerate() {
            most_far = most_far.max(apart);
            if apart > OUT_OF_PLACE {
                area += areas[vertex];
            }
        }
        most_area = most_area.max(area);
    }
    if !as_built && most_area > SEEN_AREA {
        return Some(format!("{:.0} cm2 out of place", most_area * 1e4));
    }
    if !as_built && most_far > SPIKE {
        return Some(format!("a spike of {:.0} mm", most_far * 1e3));
    }
    let eye = Eye::new(clean);
    let more = frames()
        .map(|frame| eye.sees(spoilt, &frame) - eye.sees(clean, &frame))
        .fold(0.0, f64::max);
    (more > SEEN_SKIN * f64::from(scale).powi(2)).then(|| format!("{more:.1} cm2 of skin in pictures"))
}

/// What is looked at.
fn frames() -> impl Iterator<Item = Frame> {
    let asked = pose::all()
        .iter()
        .filter(|pose| POSES.contains(&pose.name.as_str()));
    asked.flat_map(|pose| Sequence::from(pose).frames.into_iter().step_by(3))
}

/// What an eye sees of a garment that should be clean, in a frame where the tool says that skin shows.
pub(crate) fn by_itself(dressed: &Dressed, frame: &Frame) -> Option<String> {
    let scale = dressed.body.anatomy.scale();
    let area = Eye::new(dressed).sees(dressed, frame);
    (area > SEEN_SKIN * scale * scale).then(|| format!("{area:.1} cm2 of skin in pictures"))
}

fn vertex_areas(dressed: &Dressed) -> Vec<f64> {
    let layer = &dressed.layers[0];
    let mut areas = vec![0.0; layer.surface.positions.len()];
    for (triangle, area) in layer.surface.triangles.iter().zip(&layer.areas) {
        for vertex in triangle {
            areas[*vertex as usize] += area / 3.0;
        }
    }
    areas
}
