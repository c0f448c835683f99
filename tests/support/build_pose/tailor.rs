//! Trousers cut for any body in any build pose: the surface at a distance from the skin, with the skin's weights.
//!
//! Where the legs meet, that surface closes to a fork by itself, as a maker's does. Marching tetrahedra.

use gusset::contact::Body;
use gusset::geometry::box_tree::{ALL, BoxTree};
use gusset::geometry::winding::Winding;
use gusset::rig::bone::{Bone, Side};
use gusset::rig::{Bind, Local, Mesh, Rig, Rows};
use gusset::{skin, splay};
use rayon::prelude::*;
use std::collections::{BTreeMap, HashMap};

/// Distance of the grid's points, metres.
const GRID: f32 = 0.011;
/// Weights are evened out over neighbours this often, as a maker does after taking them from the skin.
const EVENED: usize = 4;

/// Trousers with this much room, built at a splay, bound there.
pub(crate) fn trousers(of: &Rig, body: &Body, splay_deg: f64, ease: f32) -> Rig {
    let world = splay::at(body, splay_deg);
    let mut skin_then = Vec::new();
    skin::blend(
        &body.surface,
        &skin::palette(&body.surface, &world),
        &mut skin_then,
    );
    let tree = BoxTree::build(&skin_then, &body.surface.triangles);
    let winding = Winding::build(&tree);
    let height = |bone: Bone| world[body.skeleton.roles.node(bone).unwrap()][(1, 3)] as f32;
    let (hip, knee, ankle) = (
        height(Bone::UpperLeg(Side::Left)),
        height(Bone::LowerLeg(Side::Left)),
        height(Bone::Foot(Side::Left)),
    );
    let (low, high) = (ankle + 0.1 * (knee - ankle), hip + 0.30 * (hip - knee));
    let reach = 0.05 + 0.22 * (hip - low) / 0.8 + (splay_deg.to_radians().sin() as f32) * (hip - low);
    let from = [-reach, low, -0.30];
    let size = [2.0 * reach, high - low, 0.60];
    let field = |p: [f32; 3]| {
        let near = tree.closest(p, 0.04, ALL, None);
        let far = near.map_or(0.04, |found| found.distance_sq.sqrt());
        let inside = winding.at(&tree, p) >= 0.5;
        (if inside { -far } else { far }) - ease
    };
    let (positions, triangles) = largest(march(from, size, &field));
    let rows = weights(body, &tree, &positions, &triangles);
    let mut nodes = of.nodes.clone();
    for at in 0..nodes.len() {
        let above = nodes[at]
            .parent
            .map(|parent| world[parent].try_inverse().unwrap());
        nodes[at].local = Local::Matrix(above.map_or(world[at], |above| above * world[at]));
    }
    let binds = (0..nodes.len()).map(|node| Bind {
        node,
        inverse_bind: world[node].try_inverse().unwrap(),
    });
    let mesh = Mesh {
        name: "trousers".into(),
        material: "cloth".into(),
        place: "/meshes/0/primitives/0".into(),
        binds: binds.collect(),
        skinned: true,
        positions,
        uvs: None,
        triangles,
        rows,
        morphs: Vec::new(),
        hidden: Vec::new(),
    };
    Rig {
        name: format!("trousers_{splay_deg}"),
        nodes,
        meshes: vec![mesh],
        stated_roles: of.stated_roles.clone(),
        ..Rig::default()
    }
}

type Cloth = (Vec<[f32; 3]>, Vec<[u32; 3]>);

/// The surface on which a field is 0, outside where it is positive.
fn march(from: [f32; 3], size: [f32; 3], field: &(dyn Fn([f32; 3]) -> f32 + Sync)) -> Cloth {
    let count: [usize; 3] = std::array::from_fn(|axis| (size[axis] / GRID).ceil() as usize + 1);
    let step: [f32; 3] = std::array::from_fn(|axis| size[axis] / (count[axis] - 1) as f32);
    let number = |[x, y, z]: [usize; 3]| (z * count[1] + y) * count[0] + x;
    let place = |at: usize| {
        let index = [at % count[0], at / count[0] % count[1], at / count[0] / count[1]];
        std::array::from_fn::<f32, 3, _>(|axis| from[axis] + step[axis] * index[axis] as f32)
    };
    let values: Vec<f32> = (0..count.iter().product())
        .into_par_iter()
        .map(|at| field(place(at)))
        .collect();
    let mut made: BTreeMap<(usize, usize), u32> = BTreeMap::new();
    let (mut positions, mut triangles) = (Vec::new(), Vec::new());
    // Six tetrahedra round the diagonal of a cell.
    const WAYS: [[usize; 3]; 6] = [[0, 1, 2], [0, 2, 1], [1, 0, 2], [1, 2, 0], [2, 0, 1], [2, 1, 0]];
    for z in 0..count[2] - 1 {
        for y in 0..count[1] - 1 {
            for x in 0..count[0] - 1 {
                for way in WAYS {
                    let mut corner = [x, y, z];
                    let mut four = [number(corner); 4];
                    for (at, axis) in way.into_iter().enumerate() {
                        corner[axis] += 1;
                        four[at + 1] = number(corner);
                    }
                    let (inside, outside): (Vec<usize>, Vec<usize>) =
                        four.iter().partition(|at| values[**at] < 0.0);
                    let mut cut = |a: usize, b: usize| {
                        *made.entry((a.min(b), a.max(b))).or_insert_with(|| {
                            // Not nearer than a twentieth to a corner: slivers pull without end.
                            let share = (values[a] / (values[a] - values[b])).clamp(0.05, 0.95);
                            let (p, q) = (place(a), place(b));
                            positions.push(std::array::from_fn(|k| p[k] + (q[k] - p[k]) * share));
                            positions.len() as u32 - 1
                        })
                    };
                    let faces: Vec<[u32; 3]> = match (inside.as_slice(), outside.as_slice()) {
                        ([a], [b, c, d]) | ([b, c, d], [a]) => vec![[cut(*a, *b), cut(*a, *c), cut(*a, *d)]],
                        ([a, b], [c, d]) => {
                            let [p, q, r, s] = [cut(*a, *c), cut(*a, *d), cut(*b, *d), cut(*b, *c)];
                            vec![[p, q, r], [p, r, s]]
                        }
                        _ => Vec::new(),
                    };
                    if faces.is_empty() {
                        continue;
                    }
                    // Turned so that the outside is out.
                    let centre = |all: &[usize]| -> [f32; 3] {
                        std::array::from_fn(|k| {
                            all.iter().map(|at| place(*at)[k]).sum::<f32>() / all.len() as f32
                        })
                    };
                    let (i, o) = (centre(&inside), centre(&outside));
                    for [a, b, c] in faces {
                        let [p, q, r]: [[f32; 3]; 3] = [a, b, c].map(|v| positions[v as usize]);
                        let (u, v): ([f32; 3], [f32; 3]) = (
                            std::array::from_fn(|k| q[k] - p[k]),
                            std::array::from_fn(|k| r[k] - p[k]),
                        );
                        let normal = [
                            u[1] * v[2] - u[2] * v[1],
                            u[2] * v[0] - u[0] * v[2],
                            u[0] * v[1] - u[1] * v[0],
                        ];
                        let out: f32 = (0..3).map(|k| normal[k] * (o[k] - i[k])).sum();
                        triangles.push(if out > 0.0 { [a, b, c] } else { [a, c, b] });
                    }
                }
            }
        }
    }
    (positions, triangles)
}

/// The largest connected piece: a hand beside the hip is no trousers.
fn largest((positions, triangles): Cloth) -> Cloth {
    let mut root: Vec<usize> = (0..positions.len()).collect();
    fn find(root: &mut [usize], mut at: usize) -> usize {
        while root[at] != at {
            root[at] = root[root[at]];
            at = root[at];
        }
        at
    }
    for [a, b, c] in &triangles {
        for (a, b) in [(a, b), (b, c)] {
            let (a, b) = (find(&mut root, *a as usize), find(&mut root, *b as usize));
            root[a] = b;
        }
    }
    let mut sizes: BTreeMap<usize, usize> = BTreeMap::new();
    for [a, ..] in &triangles {
        *sizes.entry(find(&mut root, *a as usize)).or_default() += 1;
    }
    let largest = *sizes.iter().max_by_key(|(_, size)| **size).unwrap().0;
    let mut renumbered: HashMap<u32, u32> = HashMap::new();
    let (mut kept, mut faces) = (Vec::new(), Vec::new());
    for triangle in &triangles {
        if find(&mut root, triangle[0] as usize) == largest {
            faces.push(triangle.map(|v| {
                *renumbered.entry(v).or_insert_with(|| {
                    kept.push(positions[v as usize]);
                    kept.len() as u32 - 1
                })
            }));
        }
    }
    (kept, faces)
}

/// The weights of the skin beneath, evened out a little; over nodes.
fn weights(body: &Body, tree: &BoxTree, positions: &[[f32; 3]], triangles: &[[u32; 3]]) -> Rows {
    let skin = &body.surface;
    let mut rows: Vec<BTreeMap<usize, f32>> = positions
        .par_iter()
        .map(|p| {
            let found = tree.closest(*p, f32::INFINITY, ALL, None).unwrap();
            let mut row = BTreeMap::new();
            for (vertex, share) in skin.triangles[found.triangle as usize]
                .into_iter()
                .zip(found.barycentric)
            {
                for (bind, weight) in skin.rows.row(vertex as usize) {
                    *row.entry(skin.binds[bind].node).or_insert(0.0) += share * weight;
                }
            }
            row
        })
        .collect();
    let mut around: Vec<Vec<u32>> = vec![Vec::new(); positions.len()];
    for [a, b, c] in triangles {
        for (v, others) in [(a, [b, c]), (b, [c, a]), (c, [a, b])] {
            around[*v as usize].extend(others);
        }
    }
    for _ in 0..EVENED {
        rows = (0..rows.len())
            .into_par_iter()
            .map(|vertex| {
                let mut row: BTreeMap<usize, f32> =
                    rows[vertex].iter().map(|(node, w)| (*node, w * 0.5)).collect();
                let share = 0.5 / around[vertex].len() as f32;
                for other in &around[vertex] {
                    for (node, w) in &rows[*other as usize] {
                        *row.entry(*node).or_insert(0.0) += w * share;
                    }
                }
                row
            })
            .collect();
    }
    let mut packed = Rows {
        starts: vec![0],
        ..Rows::default()
    };
    for row in rows {
        let mut row: Vec<(usize, f32)> = row.into_iter().collect();
        row.sort_by(|a, b| b.1.total_cmp(&a.1));
        row.truncate(4);
        let sum: f32 = row.iter().map(|(_, w)| w).sum();
        for (node, weight) in row {
            packed.binds.push(node as u16);
            packed.weights.push(weight / sum);
        }
        packed.starts.push(packed.binds.len() as u32);
    }
    packed
}
