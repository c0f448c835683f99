//! Can an eye see the fault? Where the spoilt garment's cloth is, against the clean one's, in the same frames.

use gusset::contact::Scratch;
use gusset::fitting::{Dressed, Sequence, joints_at, meet};
use gusset::pose;

/// Cloth out of place by this much, metres for a thigh of 0.41 m,
const OUT_OF_PLACE: f32 = 0.015;
/// over this area as built, square metres, is seen.
const SEEN_AREA: f64 = 5e-4;
/// A spike this long is seen however thin it is.
const SPIKE: f32 = 0.03;
/// Looked at in these poses, every second frame of those that move.
const POSES: [&str; 8] = [
    "standing",
    "wide_stance",
    "bend_forward",
    "leg_raise",
    "sitting",
    "sitting_knees_apart",
    "walk",
    "stairs_up",
];

/// Posed cloth of two garments.
pub(crate) struct Posed;

impl Posed {
    /// What an eye sees of the difference, if anything.
    pub(crate) fn compared(clean: &Dressed, spoilt: &Dressed) -> Option<String> {
        let scale = clean.body.anatomy.scale() as f32;
        let mut scratches = [clean, spoilt].map(|dressed| Scratch::new(&dressed.body, &dressed.layers));
        let areas = vertex_areas(clean);
        let (mut most_area, mut most_far) = (0.0_f64, 0.0_f32);
        for name in POSES {
            let Some(pose) = pose::all().iter().find(|pose| pose.name == name) else {
                continue;
            };
            for frame in Sequence::from(pose).frames.iter().step_by(2) {
                let [first, second] = &mut scratches;
                let was = meet(clean, &joints_at(clean, frame), first)
                    .posed
                    .positions
                    .clone();
                let is = meet(spoilt, &joints_at(spoilt, frame), second)
                    .posed
                    .positions
                    .clone();
                let apart = was
                    .iter()
                    .zip(&is)
                    .map(|(a, b)| (0..3).map(|axis| (a[axis] - b[axis]).powi(2)).sum::<f32>().sqrt() / scale);
                let mut area = 0.0;
                for (vertex, apart) in apart.enumerate() {
                    most_far = most_far.max(apart);
                    if apart > OUT_OF_PLACE {
                        area += areas[vertex];
                    }
                }
                most_area = most_area.max(area);
            }
        }
        if most_area > SEEN_AREA {
            Some(format!("{:.0} cm2 out of place", most_area * 1e4))
        } else {
            (most_far > SPIKE).then(|| format!("a spike of {:.0} mm", most_far * 1e3))
        }
    }
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
