//! Meshes for the tests: closed, bumpy, reproducible.

use std::collections::BTreeMap;

/// A small reproducible source of numbers (splitmix64, Steele, Lea and Flood 2014).
pub(super) struct Random(u64);

impl Random {
    pub(super) fn new(seed: u64) -> Self {
        Self(seed)
    }

    /// 0..1.
    pub(super) fn share(&mut self) -> f32 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        ((z ^ (z >> 31)) >> 40) as f32 / (1u64 << 24) as f32
    }

    /// In the cube from -1 to 1.
    pub(super) fn point(&mut self) -> [f32; 3] {
        [
            self.share() * 2.0 - 1.0,
            self.share() * 2.0 - 1.0,
            self.share() * 2.0 - 1.0,
        ]
    }

    pub(super) fn below(&mut self, end: usize) -> usize {
        ((self.share() * end as f32) as usize).min(end - 1)
    }
}

pub(super) type Mesh = (Vec<[f32; 3]>, Vec<[u32; 3]>);

/// An octahedron cut `levels` times on the sphere of radius 1: 8 * 4^levels triangles.
pub(super) fn sphere(levels: u32) -> Mesh {
    let mut positions = vec![
        [1.0, 0.0, 0.0],
        [-1.0, 0.0, 0.0],
        [0.0, 1.0, 0.0],
        [0.0, -1.0, 0.0],
        [0.0, 0.0, 1.0],
        [0.0, 0.0, -1.0],
    ];
    let mut triangles: Vec<[u32; 3]> = vec![
        [0, 2, 4],
        [2, 1, 4],
        [1, 3, 4],
        [3, 0, 4],
        [2, 0, 5],
        [1, 2, 5],
        [3, 1, 5],
        [0, 3, 5],
    ];
    for _ in 0..levels {
        let mut middles = BTreeMap::new();
        let mut cut = Vec::with_capacity(triangles.len() * 4);
        for [a, b, c] in triangles {
            let mut middle = |u: u32, v: u32| {
                *middles.entry((u.min(v), u.max(v))).or_insert_with(|| {
                    let (p, q): ([f32; 3], [f32; 3]) = (positions[u as usize], positions[v as usize]);
                    let sum: [f32; 3] = std::array::from_fn(|k| p[k] + q[k]);
                    let length = sum.iter().map(|x| x * x).sum::<f32>().sqrt();
                    positions.push(sum.map(|x| x / length));
                    positions.len() as u32 - 1
                })
            };
            let (ab, bc, ca) = (middle(a, b), middle(b, c), middle(c, a));
            cut.extend([[a, ab, ca], [ab, b, bc], [ca, bc, c], [ab, bc, ca]]);
        }
        triangles = cut;
    }
    (positions, triangles)
}

/// A limb: a bumpy closed capsule about 1.2 m long and 0.35 m wide.
pub(super) fn limb(levels: u32) -> Mesh {
    let (mut positions, triangles) = sphere(levels);
    for p in &mut positions {
        let bump = 1.0 + 0.06 * (9.0 * p[0]).sin() * (7.0 * p[1] + 1.0).cos() + 0.04 * (13.0 * p[2]).sin();
        *p = [0.17 * bump * p[0], 0.6 * p[1], 0.17 * bump * p[2]];
    }
    (positions, triangles)
}

/// `count` loose triangles of random shape in the cube from -1 to 1.
pub(super) fn soup(seed: u64, count: usize, size: f32) -> Mesh {
    let mut random = Random::new(seed);
    let mut positions = Vec::new();
    for _ in 0..count {
        let middle = random.point();
        for _ in 0..3 {
            let off = random.point();
            positions.push(std::array::from_fn(|k| middle[k] + size * off[k]));
        }
    }
    let triangles = (0..count as u32).map(|t| [3 * t, 3 * t + 1, 3 * t + 2]).collect();
    (positions, triangles)
}

/// The cube from -1 to 1, facing outward: 12 triangles, two per face, faces in the order -x +x -y +y -z +z.
pub(super) fn cube() -> Mesh {
    let positions = (0..8u8)
        .map(|v| std::array::from_fn(|axis| if v >> axis & 1 == 1 { 1.0 } else { -1.0 }))
        .collect();
    let quads: [[u32; 4]; 6] = [
        [0, 4, 6, 2],
        [1, 3, 7, 5],
        [0, 1, 5, 4],
        [2, 6, 7, 3],
        [0, 2, 3, 1],
        [4, 5, 7, 6],
    ];
    let triangles = quads
        .iter()
        .flat_map(|&[a, b, c, d]| [[a, b, c], [a, c, d]])
        .collect();
    (positions, triangles)
}
