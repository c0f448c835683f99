//! Which way a surface faces at its vertices, for shading only.

use std::collections::BTreeMap;

/// Unit normals, smooth across vertices at the same place (so that texture seams do not show), weighted by area.
/// A vertex without any area faces up.
pub(super) fn smooth(positions: &[[f32; 3]], triangles: &[[u32; 3]]) -> Vec<[f32; 3]> {
    let mut places: BTreeMap<[u32; 3], usize> = BTreeMap::new();
    let mut sums: Vec<[f64; 3]> = Vec::new();
    let mut place_of = |position: &[f32; 3]| {
        // Adding zero makes -0 and 0 the same place.
        *places
            .entry(position.map(|number| (number + 0.0).to_bits()))
            .or_insert_with(|| {
                sums.push([0.0; 3]);
                sums.len() - 1
            })
    };
    let place: Vec<usize> = positions.iter().map(&mut place_of).collect();
    for triangle in triangles {
        let [a, b, c] = triangle.map(|corner| positions[corner as usize].map(f64::from));
        let normal = cross(minus(b, a), minus(c, a));
        for corner in triangle {
            let sum = &mut sums[place[*corner as usize]];
            (0..3).for_each(|axis| sum[axis] += normal[axis]);
        }
    }
    place.into_iter().map(|place| unit(sums[place])).collect()
}

/// The same direction at length 1; up where there is none.
pub(super) fn unit(vector: [f64; 3]) -> [f32; 3] {
    let length = vector.iter().map(|number| number * number).sum::<f64>().sqrt();
    if length > 0.0 && length.is_finite() {
        vector.map(|number| (number / length) as f32)
    } else {
        [0.0, 1.0, 0.0]
    }
}

fn minus(a: [f64; 3], b: [f64; 3]) -> [f64; 3] {
    [a[0] - b[0], a[1] - b[1], a[2] - b[2]]
}

fn cross(a: [f64; 3], b: [f64; 3]) -> [f64; 3] {
    [
        a[1] * b[2] - a[2] * b[1],
        a[2] * b[0] - a[0] * b[2],
        a[0] * b[1] - a[1] * b[0],
    ]
}
