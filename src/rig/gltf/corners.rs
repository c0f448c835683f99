//! Which vertices make a triangle.

use gltf::json::mesh::{Mode, Primitive};

use super::accessor::Source;
use super::error::Fault;

/// Vertex numbers in drawing order, all in range.
pub(super) fn corners(
    source: &Source,
    primitive: &Primitive,
    place: &str,
    vertices: u64,
) -> Result<Vec<u32>, Fault> {
    let Some(indices) = primitive.indices else {
        source.spend(vertices * 4, place)?;
        return Ok((0..vertices as u32).collect());
    };
    let place = format!("{place}/indices");
    let corners: Vec<u32> = source
        .integers::<1>(indices.value(), &place)?
        .into_iter()
        .flatten()
        .collect();
    match corners.iter().position(|&corner| u64::from(corner) >= vertices) {
        Some(at) => {
            let what = format!(
                "corner {at} is vertex {}, but there are only {vertices} vertices",
                corners[at]
            );
            Err(Fault::broken(place, what))
        }
        None => Ok(corners),
    }
}

/// Separate triangles (specification 3.7.2.1). Strips turn corners with each other around an edge of no width to
/// reach a new place; those empty triangles are left out.
pub(super) fn unrolled(mode: Mode, corners: &[u32]) -> Vec<[u32; 3]> {
    let three = |window: &[u32]| [window[0], window[1], window[2]];
    match mode {
        Mode::TriangleStrip => {
            let turned = |(index, window): (usize, &[u32])| {
                let [a, b, c] = three(window);
                if index % 2 == 0 { [a, b, c] } else { [a, c, b] }
            };
            let flat = |[a, b, c]: &[u32; 3]| a == b || b == c || c == a;
            corners
                .windows(3)
                .enumerate()
                .map(turned)
                .filter(|triangle| !flat(triangle))
                .collect()
        }
        Mode::TriangleFan => {
            let rim = corners.get(1..).unwrap_or_default();
            rim.windows(2)
                .map(|pair| [pair[0], pair[1], corners[0]])
                .collect()
        }
        _ => corners.chunks_exact(3).map(three).collect(),
    }
}
