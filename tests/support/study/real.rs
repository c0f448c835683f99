//! Trousers of the real rigs, made over: looser or tighter, built with the legs elsewhere, finer, lined.

use super::draw::{Dice, Drawn, fault_at};
use super::finer::{add_row, subdivide};
use gusset::rig::gltf::{ReadOptions, read};
use gusset::rig::{Local, Mesh, Rig};
use nalgebra::{Matrix4, UnitQuaternion, Vector3, Vector4};
use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

/// Half of the room that is left between the legs' cloth, metres.
const MIDDLE: f64 = 0.0015;
/// Over this far from the middle, too, metres.
const INSEAM_TO_THIGH: f64 = 0.05;
/// Over this far below the waist the legs' ease is reached, metres.
const WAIST_TO_SEAT: f64 = 0.15;
/// Ease of the trousers as they come, metres.
const EASE: f64 = 0.007;

/// A pair of the real rigs, made over at random.
pub(crate) fn fitting(folder: &Path, seed: u64, fault: Option<usize>) -> Result<Drawn, String> {
    let mut dice = Dice::new(seed);
    let (body, trousers) = dice.one_of(&[
        ("mhr_body_average", "trousers_average_build9"),
        ("mhr_body_slim", "trousers_slim_build9"),
    ]);
    let body_file = folder.join(format!("bodies/{body}.glb"));
    let bytes = std::fs::read(&body_file).map_err(|error| format!("{}: {error}", body_file.display()))?;
    let file = folder.join(format!("trousers/{trousers}.glb"));
    let mut rig = read(&file, &ReadOptions::default()).map_err(|error| error.to_string())?;

    // Half of them near what is worn, half anywhere up to very loose; no tighter than these triangles can follow a bent
    // knee, and no further together than leaves room for both sheets between the thighs.
    let widest = dice.one_of(&[0.012, 0.030]);
    let ease = dice.between(0.0055, widest);
    let splay = dice.between(if ease > 0.009 { 9.0 } else { 5.0 }, 12.0);
    let finer = dice.one_of(&[false, false, false, true]);
    let lined = dice.one_of(&[false, true]);
    push(&mut rig.meshes[0], ease - EASE);
    build_at(&mut rig, splay.to_radians());
    if finer {
        subdivide(&mut rig.meshes[0]);
    }
    if lined {
        line(&mut rig.meshes[0], 0.002);
    }
    let about = format!(
        "{body}; {trousers}, ease {:.1} mm, built at {splay:.1} degrees{}{}",
        ease * 1e3,
        if finer { ", finer" } else { "" },
        if lined { ", lined" } else { "" }
    );
    Ok(Drawn {
        about,
        body: bytes,
        clean: rig,
        planted: fault.map(|number| fault_at(&mut dice, number)),
    })
}

/// Vertices at the same place share a number: the first of them.
fn welded(mesh: &Mesh) -> Vec<usize> {
    let mut first: BTreeMap<[u32; 3], usize> = BTreeMap::new();
    let number =
        |(vertex, position): (usize, &[f32; 3])| *first.entry(position.map(f32::to_bits)).or_insert(vertex);
    mesh.positions.iter().enumerate().map(number).collect()
}

fn wide(position: [f32; 3]) -> Vector3<f64> {
    Vector3::from(position.map(f64::from))
}

fn narrow(point: Vector3<f64>) -> [f32; 3] {
    [point.x as f32, point.y as f32, point.z as f32]
}

fn normals(mesh: &Mesh) -> Vec<Vector3<f64>> {
    let welded = welded(mesh);
    let mut sums = vec![Vector3::zeros(); mesh.positions.len()];
    for triangle in &mesh.triangles {
        let [a, b, c] = triangle.map(|vertex| wide(mesh.positions[vertex as usize]));
        let area = (b - a).cross(&(c - a));
        triangle
            .iter()
            .for_each(|vertex| sums[welded[*vertex as usize]] += area);
    }
    let unit = |first: &usize| sums[*first].try_normalize(1e-14).unwrap_or_else(Vector3::zeros);
    welded.iter().map(unit).collect()
}

fn push(mesh: &mut Mesh, by: f64) {
    let normals = normals(mesh);
    let top = mesh
        .positions
        .iter()
        .map(|position| position[1])
        .fold(f32::MIN, f32::max);
    for (position, normal) in mesh.positions.iter_mut().zip(normals) {
        let was = wide(*position);
        // A waistband fits, however loose the legs are.
        let below = (f64::from(top - position[1]) / WAIST_TO_SEAT).min(1.0);
        let share = if by > 0.0 {
            below * below * (3.0 - 2.0 * below)
        } else {
            1.0
        };
        // Nor is it loose where the legs meet: there is no room.
        let share = share * (was.x.abs() / INSEAM_TO_THIGH).min(1.0);
        let mut now = was + normal * (by * share);
        // Cloth of one leg stays on its side of the middle.
        if was.x.abs() > 1e-4 && now.x * was.x.signum() < MIDDLE {
            now.x = was.x.signum() * MIDDLE.min(was.x.abs());
        }
        *position = narrow(now);
    }
}

/// Carries the trousers to legs at `splay` (radians) by their own weights and binds them there.
fn build_at(rig: &mut Rig, splay: f64) {
    let before = rig.rest_world();
    for (side, sign) in [("left", 1.0), ("right", -1.0)] {
        let node = |bone: &str| {
            rig.nodes
                .iter()
                .position(|node| node.name == format!("{side}{bone}"))
        };
        let (Some(hip), Some(knee)) = (node("UpperLeg"), node("LowerLeg")) else {
            continue;
        };
        let place = |node: usize| before[node].fixed_view::<3, 1>(0, 3).into_owned();
        let along = place(knee) - place(hip);
        let now = (sign * along.x).atan2(-along.y);
        let turn = UnitQuaternion::new(Vector3::z() * (sign * (splay - now)));
        let parent = rig.nodes[hip]
            .parent
            .map_or_else(Matrix4::identity, |parent| before[parent]);
        let frame = UnitQuaternion::from_matrix(&parent.fixed_view::<3, 3>(0, 0).into_owned());
        if let Local::Parts { rotation, .. } = &mut rig.nodes[hip].local {
            *rotation = frame.inverse() * turn * frame * *rotation;
        }
    }
    let after = rig.rest_world();
    let mesh = &mut rig.meshes[0];
    let joints: Vec<Matrix4<f64>> = mesh
        .binds
        .iter()
        .map(|bind| after[bind.node] * bind.inverse_bind)
        .collect();
    for vertex in 0..mesh.positions.len() {
        let at = wide(mesh.positions[vertex]).push(1.0);
        let moved: Vector4<f64> = mesh
            .rows
            .row(vertex)
            .map(|(joint, weight)| joints[joint] * at * f64::from(weight))
            .sum();
        mesh.positions[vertex] = narrow(moved.xyz());
    }
    for bind in &mut mesh.binds {
        if let Some(inverse) = after[bind.node].try_inverse() {
            bind.inverse_bind = inverse;
        }
    }
}

/// An inner sheet, joined to the outer one along every open border.
fn line(mesh: &mut Mesh, thickness: f64) {
    let (normals, welded) = (normals(mesh), welded(mesh));
    let count = mesh.positions.len();
    let lining = count as u32;
    let mut edges: BTreeSet<(usize, usize)> = BTreeSet::new();
    for triangle in &mesh.triangles {
        for corner in 0..3 {
            let [a, b] = [corner, (corner + 1) % 3].map(|at| welded[triangle[at] as usize]);
            edges.insert((a, b));
        }
    }
    let mut triangles = mesh.triangles.clone();
    for triangle in &mesh.triangles {
        let [a, b, c] = triangle.map(|vertex| vertex + lining);
        triangles.push([a, c, b]);
        for corner in 0..3 {
            let (a, b) = (triangle[corner], triangle[(corner + 1) % 3]);
            if !edges.contains(&(welded[b as usize], welded[a as usize])) {
                triangles.extend([[b, a, a + lining], [b, a + lining, b + lining]]);
            }
        }
    }
    mesh.triangles = triangles;
    for vertex in 0..count {
        mesh.positions
            .push(narrow(wide(mesh.positions[vertex]) - normals[vertex] * thickness));
        if let Some(uvs) = &mut mesh.uvs {
            uvs.push(uvs[vertex]);
        }
        let row: BTreeMap<usize, f64> = mesh
            .rows
            .row(vertex)
            .map(|(joint, weight)| (joint, f64::from(weight)))
            .collect();
        add_row(&mut mesh.rows, &row);
    }
}
