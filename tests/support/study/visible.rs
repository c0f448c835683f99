//! Can an eye see the fault? Cloth out of its place and skin in pictures, against the clean garment in the same frames.
//!
//! Nothing here is a measure of the tool under test: only posed positions, and pictures drawn of them.

use gusset::contact::Scratch;
use gusset::fitting::{Dressed, Sequence, joints_at};
use gusset::pose;
use gusset::report::picture::{Camera, Image, Paint, Shape, bounds_of, draw};

/// Cloth out of place by this much, metres for a thigh of 0.41 m,
const OUT_OF_PLACE: f32 = 0.015;
/// over this area as built, square metres, is seen.
const SEEN_AREA: f64 = 5e-4;
/// A spike this long is seen however thin it is.
const SPIKE: f32 = 0.03;
/// So much more skin in one picture is seen, square metres.
const SEEN_SKIN: f64 = 2e-4;
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
/// Pictures are this large, and taken from these sides.
const SIZE: [u32; 2] = [360, 480];
const SIDES: [f32; 6] = [0.0, 60.0, 120.0, 180.0, 240.0, 300.0];
const HEIGHTS: [f32; 2] = [-25.0, 20.0];
const SKIN: [u8; 3] = [220, 0, 0];
const CLOTH: [u8; 3] = [0, 0, 220];

/// What an eye sees of the difference, if anything. `as_built` faults are in the shape the maker sees all day: of them
/// only skin counts.
pub(crate) fn compared(clean: &Dressed, spoilt: &Dressed, as_built: bool) -> Option<String> {
    let scale = clean.body.anatomy.scale() as f32;
    let mut scratches = [clean, spoilt].map(|dressed| Scratch::new(&dressed.body, &dressed.layers));
    let areas = vertex_areas(clean);
    let (mut most_area, mut most_far, mut most_skin) = (0.0_f64, 0.0_f32, 0.0_f64);
    for pose in pose::all()
        .iter()
        .filter(|pose| POSES.contains(&pose.name.as_str()))
    {
        for frame in Sequence::from(pose).frames.iter().step_by(3) {
            for (dressed, scratch) in [clean, spoilt].into_iter().zip(&mut scratches) {
                scratch.pose(&dressed.body, &dressed.layers, &joints_at(dressed, frame));
            }
            let [was, is] = &scratches;
            let pairs = was.layer_positions(0).iter().zip(is.layer_positions(0));
            let apart = pairs
                .map(|(a, b)| (0..3).map(|axis| (a[axis] - b[axis]).powi(2)).sum::<f32>().sqrt() / scale);
            let mut area = 0.0;
            for (vertex, apart) in apart.enumerate() {
                most_far = most_far.max(apart);
                if apart > OUT_OF_PLACE {
                    area += areas[vertex];
                }
            }
            most_area = most_area.max(area);
            most_skin = most_skin.max(more_skin(clean, was, spoilt, is));
        }
    }
    if most_skin / f64::from(scale).powi(2) > SEEN_SKIN {
        Some(format!("{:.0} cm2 of skin in a picture", most_skin * 1e4))
    } else if as_built {
        None
    } else if most_area > SEEN_AREA {
        Some(format!("{:.0} cm2 out of place", most_area * 1e4))
    } else {
        (most_far > SPIKE).then(|| format!("a spike of {:.0} mm", most_far * 1e3))
    }
}

/// Skin where the clean garment shows cloth, square metres in the picture that shows most of it.
fn more_skin(clean: &Dressed, was: &Scratch, spoilt: &Dressed, is: &Scratch) -> f64 {
    let bounds = bounds_of(was.body_positions());
    let views = SIDES
        .iter()
        .flat_map(|side| HEIGHTS.map(|height| (*side, height)));
    let counts = views.map(|(side, height)| {
        let camera = Camera::around(bounds, side, height);
        let (before, after) = (picture(clean, was, &camera), picture(spoilt, is, &camera));
        let pixel =
            2.0 * f64::from((camera.extent[0] / SIZE[0] as f32).max(camera.extent[1] / SIZE[1] as f32));
        let is_skin = |rgb: &[u8]| rgb[0] > rgb[2].saturating_add(60);
        let is_cloth = |rgb: &[u8]| rgb[2] > rgb[0].saturating_add(60);
        let pixels = before.rgb.chunks(3).zip(after.rgb.chunks(3));
        pixels
            .filter(|(before, after)| is_cloth(before) && is_skin(after))
            .count() as f64
            * pixel
            * pixel
    });
    counts.fold(0.0, f64::max)
}

fn picture(dressed: &Dressed, scratch: &Scratch, camera: &Camera) -> Image {
    let shape = |positions, triangles, colour| Shape {
        positions,
        triangles,
        paint: Paint::Plain(colour),
    };
    let shapes = [
        shape(scratch.body_positions(), &dressed.body.surface.triangles, SKIN),
        shape(
            scratch.layer_positions(0),
            &dressed.layers[0].surface.triangles,
            CLOTH,
        ),
    ];
    draw(&shapes, camera, SIZE, [255, 255, 255])
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
