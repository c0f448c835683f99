//! Weight rows as edits handle them: by bind of the garment.

use crate::contact::Layer;
use crate::rig::Rows;
use std::collections::BTreeMap;

/// Most joints a vertex keeps: what every runtime reads.
const INFLUENCES: usize = 4;

/// By bind of the garment.
pub(super) type Row = BTreeMap<usize, f64>;

pub(super) fn row(layer: &Layer, vertex: usize) -> Row {
    let mut sums = Row::new();
    for (bind, weight) in layer.surface.rows.row(vertex) {
        *sums.entry(bind).or_default() += f64::from(weight);
    }
    sums
}

pub(super) fn unlike(a: &Row, b: &Row) -> f64 {
    let keys: std::collections::BTreeSet<usize> = a.keys().chain(b.keys()).copied().collect();
    let get = |row: &Row, key: &usize| row.get(key).copied().unwrap_or(0.0);
    keys.iter()
        .map(|key| (get(a, key) - get(b, key)).abs())
        .sum::<f64>()
        / 2.0
}

/// The heaviest entries, adding up to 1.
pub(super) fn whole(row: Row) -> Row {
    let mut entries: Vec<(usize, f64)> = row.into_iter().filter(|(_, weight)| *weight > 0.0).collect();
    entries.sort_by(|a, b| b.1.total_cmp(&a.1).then(a.0.cmp(&b.0)));
    entries.truncate(INFLUENCES);
    let sum: f64 = entries.iter().map(|(_, weight)| weight).sum();
    entries
        .into_iter()
        .map(|(bind, weight)| (bind, weight / sum.max(1e-12)))
        .collect()
}

#[expect(clippy::cast_possible_truncation, reason = "weights are f32, binds u16")]
pub(super) fn packed(rows: &[Row]) -> Rows {
    let mut packed = Rows {
        starts: vec![0],
        ..Rows::default()
    };
    for row in rows {
        for (bind, weight) in row {
            packed.binds.push(*bind as u16);
            packed.weights.push(*weight as f32);
        }
        packed.starts.push(packed.binds.len() as u32);
    }
    packed
}
