//! What weights and joints show: jumps from vertex to vertex, sides that do not mirror, joints that are missing or
//! stand still.

use super::finding;
use crate::contact::layer::NOBODY;
use crate::contact::{Body, Layer};
use crate::geometry::box_tree::{ALL, BoxTree};
use crate::geometry::pseudo_normal::PseudoNormals;
use crate::geometry::topology::Topology;
use crate::geometry::vector::{dot, narrow, norm, scale, sub, wide};
use crate::outcome::{Finding, Severity};
use crate::rig::anatomy::Anatomy;
use crate::rig::bone::Bone;
use crate::rig::skeleton::Skeleton;
use crate::rig::surface::Surface;
use std::collections::BTreeMap;

/// Weights that change by more than this share per millimetre jump: a joint takes over within 20 mm.
const JUMP_PER_MM: f64 = 0.05;
/// A smaller change altogether is no jump, however short the edge.
const JUMP_LEAST: f64 = 0.15;
/// Mirrored weights may differ by this (half the sum of differences): twice what counts as unlike, since the other
/// side's weights are read between vertices of another mesh layout.
const MIRROR: f64 = 0.10;
/// The other side's surface must lie this near to compare, metres at the scale of 1.
const MIRROR_REACH: f32 = 0.002;
/// Of a shape that mirrors less than this, weights are not compared.
const MIRROR_SHAPE: f64 = 0.5;

/// Half the sum of differences of two weightings, 0 to 1 for rows that add up to 1.
fn unlike<K: Ord + Copy>(a: &BTreeMap<K, f64>, b: &BTreeMap<K, f64>) -> f64 {
    let keys: std::collections::BTreeSet<K> = a.keys().chain(b.keys()).copied().collect();
    keys.iter()
        .map(|key| (a.get(key).unwrap_or(&0.0) - b.get(key).unwrap_or(&0.0)).abs())
        .sum::<f64>()
        / 2.0
}

/// A vertex's weights by joint.
fn by_node(surface: &Surface, vertex: u32) -> BTreeMap<usize, f64> {
    let mut sums = BTreeMap::new();
    for (bind, weight) in surface.rows.row(vertex as usize) {
        *sums.entry(surface.binds[bind].node).or_insert(0.0) += f64::from(weight);
    }
    sums
}

/// Edges over which the weights change too fast. `skin` says how much the skin beneath an edge's ends differs.
pub(super) fn jumps(
    surface: &Surface,
    topology: &Topology,
    skeleton: &Skeleton,
    skin: impl Fn([u32; 2]) -> f64,
) -> Option<Finding> {
    let mut count = 0;
    let mut worst: Option<(f64, u32)> = None;
    for &[a, b] in topology.edges() {
        if surface.faulty[a as usize] || surface.faulty[b as usize] {
            continue;
        }
        let [at, to] = [a, b].map(|vertex| wide(surface.positions[vertex as usize]));
        let change = unlike(&by_node(surface, a), &by_node(surface, b));
        let per_mm = change / (norm(sub(to, at)) * 1e3).max(1e-3);
        // A jump that the skin has too, the garment must have.
        if change < JUMP_LEAST || per_mm < JUMP_PER_MM || change < 2.0 * skin([a, b]) {
            continue;
        }
        count += 1;
        if worst.is_none_or(|(most, _)| per_mm > most) {
            worst = Some((per_mm, a));
        }
    }
    let (per_mm, vertex) = worst?;
    let place = name(surface, skeleton, vertex);
    Some(finding(
        "weights_jump",
        Severity::Note,
        &surface.name,
        count,
        place.clone(),
        format!(
            "Weights jump along {count} edges, up to {:.0} % per mm ({place}).",
            per_mm * 100.0
        ),
        "Smooth the weights there, unless the part is meant to move rigidly.",
    ))
}

/// The vertex as numbered in the file, and the joint it follows most.
fn name(surface: &Surface, skeleton: &Skeleton, vertex: u32) -> String {
    let weights = by_node(surface, vertex);
    let most = weights
        .iter()
        .fold(None, |best: Option<(usize, f64)>, (&node, &weight)| {
            if best.is_none_or(|(_, known)| weight > known) {
                Some((node, weight))
            } else {
                best
            }
        });
    let joint = most.map_or_else(String::new, |(node, _)| format!(", {}", skeleton.label(node)));
    format!("vertex {}{joint}", surface.sources[vertex as usize].1)
}

/// How much the skin beneath an edge differs: over either end's home triangle, or between the two; 0 without a home.
pub(super) fn skin_change(body: &Body, layer: &Layer) -> impl Fn([u32; 2]) -> f64 {
    let mut home = vec![NOBODY; layer.surface.positions.len()];
    let points = &layer.fabric.points;
    for point in 0..points.vertices {
        home[super::worn::vertex_of(layer, point)] = layer.fabric.home[point];
    }
    let rows = move |vertex: u32| {
        let skin = body.surface.triangles.get(home[vertex as usize] as usize);
        skin.map(|corners| corners.map(|corner| by_node(&body.surface, corner)))
    };
    move |ends| {
        let rows: Vec<BTreeMap<usize, f64>> = ends.into_iter().filter_map(&rows).flatten().collect();
        let pairs = rows
            .iter()
            .enumerate()
            .flat_map(|(at, a)| rows[at + 1..].iter().map(move |b| unlike(a, b)));
        pairs.fold(0.0, f64::max)
    }
}

/// Weights by the bone that moves each joint, sides swapped or not.
fn by_bone(
    surface: &Surface,
    skeleton: &Skeleton,
    vertex: u32,
    turn: impl Fn(Bone) -> Bone,
    share: f64,
    into: &mut BTreeMap<Option<Bone>, f64>,
) {
    for (bind, weight) in surface.rows.row(vertex as usize) {
        let bone = skeleton.moved_by(surface.binds[bind].node).map(&turn);
        *into.entry(bone).or_insert(0.0) += share * f64::from(weight);
    }
}

/// Vertices whose mirror image on the other side has other weights.
pub(super) fn mirror(
    surface: &Surface,
    topology: &Topology,
    skeleton: &Skeleton,
    anatomy: &Anatomy,
) -> Option<Finding> {
    let tree = BoxTree::build(&surface.positions, &surface.triangles);
    let normals = PseudoNormals::new(topology, &surface.positions);
    let across: [f64; 3] = (anatomy.pelvis * nalgebra::Vector3::x()).into();
    let middle: [f64; 3] = anatomy.mid_hip.into();
    #[expect(clippy::cast_possible_truncation, reason = "a factor near 1")]
    let reach = MIRROR_REACH * anatomy.scale() as f32;
    let (mut compared, mut count) = (0usize, 0usize);
    let mut worst: Option<(f64, u32)> = None;
    for (vertex, &position) in (0u32..).zip(&surface.positions) {
        let at = wide(position);
        let out = dot(sub(at, middle), across);
        let image = narrow(sub(at, scale(across, 2.0 * out)));
        // Where legs touch, the nearest surface may be the own side's: the image must face the same way.
        let normal = wide(normals.vertex(vertex));
        let facing = sub(normal, scale(across, 2.0 * dot(normal, across)));
        let alike = |triangle: u32| dot(wide(normals.face(triangle)), facing) > 0.0;
        let Some(found) = tree.closest_where(image, reach, ALL, None, alike) else {
            continue;
        };
        let other = surface.triangles[found.triangle as usize];
        let faulty = |vertex: u32| surface.faulty[vertex as usize];
        if faulty(vertex) || other.into_iter().any(faulty) {
            continue;
        }
        compared += 1;
        let (mut own, mut theirs) = (BTreeMap::new(), BTreeMap::new());
        by_bone(surface, skeleton, vertex, Bone::mirror, 1.0, &mut own);
        for (corner, share) in other.into_iter().zip(found.barycentric) {
            by_bone(
                surface,
                skeleton,
                corner,
                |bone| bone,
                f64::from(share),
                &mut theirs,
            );
        }
        let off = unlike(&own, &theirs);
        if off > MIRROR {
            count += 1;
            if worst.is_none_or(|(most, _)| off > most) {
                worst = Some((off, vertex));
            }
        }
    }
    let shape = compared as f64 / surface.positions.len().max(1) as f64;
    let (most, vertex) = worst.filter(|_| shape >= MIRROR_SHAPE)?;
    let place = name(surface, skeleton, vertex);
    Some(finding(
        "sides_not_mirrored",
        Severity::Note,
        &surface.name,
        count,
        place.clone(),
        format!(
            "{count} of {compared} vertices whose place mirrors have weights that do not, off by up to {:.0} % ({place}).",
            most * 100.0
        ),
        "Mirror the weights from the better side, if left and right are meant to move alike.",
    ))
}

/// Joints that the skin beneath follows and the garment does not know.
pub(super) fn missing_joints(body: &Body, layer: &Layer) -> Option<Finding> {
    let known: Vec<usize> = layer
        .surface
        .binds
        .iter()
        .filter_map(|bind| layer.pairing.driver[bind.node])
        .collect();
    let mut missing: BTreeMap<usize, (usize, f64)> = BTreeMap::new();
    let mut homes: Vec<u32> = layer
        .homes
        .iter()
        .copied()
        .filter(|home| *home != NOBODY)
        .collect();
    homes.sort_unstable();
    homes.dedup();
    for home in homes {
        let corner = body.surface.triangles[home as usize][0];
        for (node, weight) in by_node(&body.surface, corner) {
            // A trace of weight is no lead: the joint must move the skin there at least half.
            if weight >= 0.5 && !known.contains(&node) {
                let row = missing.entry(node).or_insert((0, 0.0));
                row.0 += 1;
                row.1 = row.1.max(weight);
            }
        }
    }
    let (node, _) = missing.iter().max_by_key(|(_, row)| row.0)?;
    let names: Vec<String> = missing
        .keys()
        .take(5)
        .map(|&node| body.skeleton.label(node))
        .collect();
    Some(finding(
        "joints_missing",
        Severity::Note,
        &layer.surface.name,
        missing.len(),
        body.skeleton.label(*node),
        format!(
            "The skin beneath follows {} joints that this garment does not have: {}.",
            missing.len(),
            names.join(", ")
        ),
        "Add these joints to the garment's skin, or it cannot follow the skin there.",
    ))
}

/// Joints with weight that no pose moves by themselves.
pub(super) fn still_joints(surface: &Surface, skeleton: &Skeleton) -> Option<Finding> {
    let still: Vec<usize> = (0..skeleton.joints.len())
        .filter(|&node| skeleton.joints[node].weighted && skeleton.roles.bone(node).is_none())
        .collect();
    let mut moved = vec![0.0f64; skeleton.joints.len()];
    for (bind, weight) in surface.rows.binds.iter().zip(&surface.rows.weights) {
        moved[surface.binds[usize::from(*bind)].node] += f64::from(*weight);
    }
    let most = still
        .iter()
        .copied()
        .max_by(|a, b| moved[*a].total_cmp(&moved[*b]).then(b.cmp(a)))?;
    let names: Vec<String> = still.iter().take(5).map(|&node| skeleton.label(node)).collect();
    let more = if still.len() > names.len() { " ..." } else { "" };
    Some(finding(
        "joints_held_still",
        Severity::Note,
        &surface.name,
        still.len(),
        skeleton.label(most),
        format!(
            "{} joints with weight have no role, so poses hold them still against their parent: {}{more}.",
            still.len(),
            names.join(", ")
        ),
        "Right for helpers that ride along; clips of the file move them. State a role where one is meant.",
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn half_the_sum_of_differences() {
        let a = BTreeMap::from([(1, 0.7), (2, 0.3)]);
        let b = BTreeMap::from([(2, 0.5), (3, 0.5)]);
        assert!((unlike(&a, &b) - 0.7).abs() < 1e-12);
        assert_eq!(unlike(&a, &a), 0.0);
    }
}
