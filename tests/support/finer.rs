//! The same mesh with every triangle in four: the shape stays, the samples change.

use gusset::rig::{Mesh, Rows};
use std::collections::BTreeMap;

/// Appends a weight row.
pub(crate) fn add_row(rows: &mut Rows, row: &BTreeMap<usize, f64>) {
    rows.binds.extend(row.keys().map(|joint| *joint as u16));
    rows.weights.extend(row.values().map(|weight| *weight as f32));
    rows.starts.push(rows.binds.len() as u32);
}

/// Halfway between two points.
pub(crate) fn middle(a: [f32; 3], b: [f32; 3]) -> [f32; 3] {
    std::array::from_fn(|k| ((f64::from(a[k]) + f64::from(b[k])) * 0.5) as f32)
}

/// Every triangle in four. The ends of the edge that each new vertex halves; new vertices follow the old ones.
pub(crate) fn subdivide(mesh: &mut Mesh) -> Vec<[u32; 2]> {
    let old = mesh.positions.len() as u32;
    let mut ends: Vec<[u32; 2]> = Vec::new();
    let mut halved: BTreeMap<[u32; 2], u32> = BTreeMap::new();
    let mut finer = Vec::with_capacity(mesh.triangles.len() * 4);
    for &[a, b, c] in &mesh.triangles {
        let [ab, bc, ca] = [[a, b], [b, c], [c, a]].map(|[from, to]| {
            let edge = [from.min(to), from.max(to)];
            *halved.entry(edge).or_insert_with(|| {
                ends.push(edge);
                old + ends.len() as u32 - 1
            })
        });
        finer.extend([[a, ab, ca], [ab, b, bc], [ca, bc, c], [ab, bc, ca]]);
    }
    mesh.triangles = finer;
    for &[a, b] in &ends {
        let [a, b] = [a, b].map(|end| end as usize);
        mesh.positions.push(middle(mesh.positions[a], mesh.positions[b]));
        if let Some(uvs) = &mut mesh.uvs {
            let [p, q] = [uvs[a], uvs[b]];
            uvs.push([(p[0] + q[0]) * 0.5, (p[1] + q[1]) * 0.5]);
        }
        let mut row: BTreeMap<usize, f64> = BTreeMap::new();
        for (joint, weight) in mesh.rows.row(a).chain(mesh.rows.row(b)) {
            *row.entry(joint).or_default() += 0.5 * f64::from(weight);
        }
        add_row(&mut mesh.rows, &row);
    }
    ends
}
