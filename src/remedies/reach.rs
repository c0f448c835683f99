//! How far does an edit reach from a spot, along the cloth?

use crate::contact::Layer;
use crate::geometry::vector::{norm, sub, wide};
use std::cmp::Reverse;
use std::collections::BinaryHeap;

/// By vertex of the garment: 1 within `full` metres of some triangles along the edges of the cloth, falling smoothly to
/// 0 at `end`.
pub(super) fn shares(layer: &Layer, triangles: &[u32], full: f64, end: f64) -> Vec<f64> {
    let distances = distances(layer, triangles, end);
    layer
        .topology
        .canonical()
        .iter()
        .map(|&vertex| {
            let t = ((distances[vertex as usize] - full) / (end - full)).clamp(0.0, 1.0);
            1.0 - t * t * (3.0 - 2.0 * t)
        })
        .collect()
}

/// Along edges (Dijkstra 1959), by canonical vertex; infinite beyond `end`.
fn distances(layer: &Layer, triangles: &[u32], end: f64) -> Vec<f64> {
    let topology = &layer.topology;
    let mut beside: Vec<Vec<(u32, f64)>> = vec![Vec::new(); topology.canonical().len()];
    for &[a, b] in topology.edges() {
        let at = |vertex: u32| wide(layer.surface.positions[vertex as usize]);
        let length = norm(sub(at(b), at(a)));
        beside[a as usize].push((b, length));
        beside[b as usize].push((a, length));
    }
    let mut least = vec![f64::INFINITY; beside.len()];
    // Lengths as whole micrometres: a heap needs an order, and the answer need not be finer.
    let whole = |length: f64| (length * 1e6).round() as u64;
    let mut heap = BinaryHeap::new();
    for vertex in triangles.iter().flat_map(|&t| topology.triangles()[t as usize]) {
        least[vertex as usize] = 0.0;
        heap.push(Reverse((0u64, vertex)));
    }
    while let Some(Reverse((so_far, vertex))) = heap.pop() {
        if so_far > whole(least[vertex as usize]) {
            continue;
        }
        for &(next, length) in &beside[vertex as usize] {
            let there = least[vertex as usize] + length;
            if there < least[next as usize] && there <= end {
                least[next as usize] = there;
                heap.push(Reverse((whole(there), next)));
            }
        }
    }
    least
}
