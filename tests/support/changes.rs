//! The same rig written another way: mirrored, renumbered, larger, turned, with other names.

use gusset::rig::{Bind, Local, Mesh, Node, Rig, Rows};
use nalgebra::{Matrix4, Quaternion, UnitQuaternion, Vector3};

/// Numbers that look random and are the same every time (Steele, Lea, Flood 2014: SplitMix64).
struct Dice(u64);

impl Dice {
    fn below(&mut self, end: usize) -> usize {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        usize::try_from((z ^ (z >> 31)) % end as u64).unwrap()
    }

    /// A random order of `0..count` (Fisher and Yates).
    fn order(&mut self, count: usize) -> Vec<usize> {
        let mut order: Vec<usize> = (0..count).collect();
        for last in (1..count).rev() {
            order.swap(last, self.below(last + 1));
        }
        order
    }
}

fn each_local(rig: &mut Rig, change: impl Fn(usize, &Local) -> Local) {
    for (number, node) in rig.nodes.iter_mut().enumerate() {
        node.local = change(number, &node.local);
    }
}

/// The image in the plane x = 0, left and right changing names.
pub(crate) fn mirrored(rig: &Rig) -> Rig {
    let mut image = rig.clone();
    let flip = Matrix4::new_nonuniform_scaling(&Vector3::new(-1.0, 1.0, 1.0));
    each_local(&mut image, |_, local| match local {
        Local::Matrix(matrix) => Local::Matrix(flip * matrix * flip),
        Local::Parts {
            translation: t,
            rotation: q,
            scale,
        } => Local::Parts {
            translation: Vector3::new(-t.x, t.y, t.z),
            rotation: UnitQuaternion::from_quaternion(Quaternion::new(q.w, q.i, -q.j, -q.k)),
            scale: *scale,
        },
    });
    image
        .nodes
        .iter_mut()
        .for_each(|node| node.name = swapped(&node.name));
    for (bone, _) in &mut image.stated_roles {
        *bone = swapped(bone);
    }
    for mesh in &mut image.meshes {
        mesh.positions.iter_mut().for_each(|p| p[0] = -p[0]);
        mesh.triangles.iter_mut().for_each(|corners| corners.swap(1, 2));
        for bind in &mut mesh.binds {
            bind.inverse_bind = flip * bind.inverse_bind * flip;
        }
    }
    image
}

/// `leftFoot` for `rightFoot`, and back.
pub(crate) fn swapped(name: &str) -> String {
    name.replace("left", "\u{0}")
        .replace("right", "left")
        .replace('\u{0}', "right")
}

/// Every length of the file times a factor.
pub(crate) fn enlarged(rig: &Rig, factor: f64) -> Rig {
    let mut large = rig.clone();
    let resized = |matrix: &Matrix4<f64>| {
        let mut matrix = *matrix;
        matrix.fixed_view_mut::<3, 1>(0, 3).scale_mut(factor);
        matrix
    };
    each_local(&mut large, |_, local| match local {
        Local::Matrix(matrix) => Local::Matrix(resized(matrix)),
        Local::Parts {
            translation,
            rotation,
            scale,
        } => Local::Parts {
            translation: translation * factor,
            rotation: *rotation,
            scale: *scale,
        },
    });
    for mesh in &mut large.meshes {
        #[allow(clippy::cast_possible_truncation, reason = "positions are f32 in files")]
        let larger = |p: &mut [f32; 3]| *p = p.map(|value| (f64::from(value) * factor) as f32);
        mesh.positions.iter_mut().for_each(larger);
        for bind in &mut mesh.binds {
            bind.inverse_bind = resized(&bind.inverse_bind);
        }
    }
    large
}

/// The whole file carried elsewhere: every root moved, nothing else.
pub(crate) fn carried(rig: &Rig, by: &Matrix4<f64>) -> Rig {
    let mut moved = rig.clone();
    let roots: Vec<bool> = rig.nodes.iter().map(|node| node.parent.is_none()).collect();
    each_local(&mut moved, |number, local| {
        if roots[number] {
            Local::Matrix(by * local.matrix())
        } else {
            local.clone()
        }
    });
    moved
}

/// Other names for the joints; what the file states of roles is left out.
pub(crate) fn renamed(rig: &Rig, name: impl Fn(usize, &str) -> String) -> Rig {
    let mut other = rig.clone();
    other.stated_roles.clear();
    for (number, node) in other.nodes.iter_mut().enumerate() {
        node.name = name(number, &node.name);
    }
    other
}

/// Nodes, binds, vertices and triangles in another order, each triangle from another corner.
pub(crate) fn renumbered(rig: &Rig, seed: u64) -> Rig {
    let mut dice = Dice(seed);
    let (nodes, place) = shuffled_nodes(rig, &mut dice);
    Rig {
        nodes,
        meshes: rig
            .meshes
            .iter()
            .map(|mesh| shuffled_mesh(mesh, &place, &mut dice))
            .collect(),
        stated_roles: rig
            .stated_roles
            .iter()
            .map(|(bone, node)| (bone.clone(), place[*node]))
            .collect(),
        ..rig.clone()
    }
}

/// Nodes in a random order with parents first, and by old number the new one.
fn shuffled_nodes(rig: &Rig, dice: &mut Dice) -> (Vec<Node>, Vec<usize>) {
    let mut place = vec![usize::MAX; rig.nodes.len()];
    let mut nodes = Vec::new();
    let mut waiting = dice.order(rig.nodes.len());
    while !waiting.is_empty() {
        let ready = |old: &usize| {
            rig.nodes[*old]
                .parent
                .is_none_or(|parent| place[parent] != usize::MAX)
        };
        let chosen = waiting.iter().position(ready).unwrap();
        let old = waiting.remove(chosen);
        place[old] = nodes.len();
        let node = rig.nodes[old].clone();
        nodes.push(Node {
            parent: node.parent.map(|parent| place[parent]),
            ..node
        });
    }
    (nodes, place)
}

fn shuffled_mesh(mesh: &Mesh, node_place: &[usize], dice: &mut Dice) -> Mesh {
    let vertices = dice.order(mesh.positions.len());
    let binds = dice.order(mesh.binds.len());
    let triangles = dice.order(mesh.triangles.len());
    let inverse = |order: &[usize]| {
        let mut place = vec![0; order.len()];
        order.iter().enumerate().for_each(|(new, &old)| place[old] = new);
        place
    };
    let (vertex_place, bind_place) = (inverse(&vertices), inverse(&binds));
    let mut rows = Rows {
        starts: vec![0],
        ..Rows::default()
    };
    for &old in &vertices {
        for (bind, weight) in mesh.rows.row(old) {
            rows.binds.push(u16::try_from(bind_place[bind]).unwrap());
            rows.weights.push(weight);
        }
        rows.starts.push(u32::try_from(rows.binds.len()).unwrap());
    }
    let corners = |&old: &usize| {
        let mut corners = mesh.triangles[old].map(|v| u32::try_from(vertex_place[v as usize]).unwrap());
        corners.rotate_left(old % 3);
        corners
    };
    Mesh {
        positions: vertices.iter().map(|&old| mesh.positions[old]).collect(),
        uvs: mesh
            .uvs
            .as_ref()
            .map(|uvs| vertices.iter().map(|&old| uvs[old]).collect()),
        triangles: triangles.iter().map(corners).collect(),
        binds: binds
            .iter()
            .map(|&old| Bind {
                node: node_place[mesh.binds[old].node],
                ..mesh.binds[old].clone()
            })
            .collect(),
        rows,
        ..mesh.clone()
    }
}
