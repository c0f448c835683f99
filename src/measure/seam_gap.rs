//! Whether a seam opens: vertices that were one place at the bind, over all meshes of the garment, and no longer are.

use super::{At, Failing, Fault, Field, Limit, Measure, Number, Taken};
use crate::contact::Moment;
use crate::geometry::vector::{norm, sub, wide};
use crate::units::Unit;

/// See the module. A garment without seams has none that opens: 0.
pub static MEASURE: Measure = Measure {
    id: "seam_gap",
    about: "a seam opens",
    numbers: &[Number {
        path: "worst_mm",
        about: "widest gap at a seam",
        unit: Unit::Length,
        limit: Some(Limit::fixed(0.5, 0.5, Some(0.5))),
    }],
    take,
    spread: None,
    failing: Some(Failing {
        number: "worst_mm",
        unit: Unit::Length,
        by_area: false,
        find: failing,
    }),
    field: Some(Field {
        values: field,
        unit: Unit::Length,
        bottom: 0.05,
        limit: Some(0.5),
        top: 5.0,
    }),
};

/// The largest distance between two vertices of a group, metres, and one of the two.
fn gap(positions: &[[f32; 3]], group: &[u32]) -> (f64, u32) {
    let mut widest = (0.0, group[0]);
    for (at, &first) in group.iter().enumerate() {
        for &second in &group[at + 1..] {
            let [a, b] = [first, second].map(|vertex| wide(positions[vertex as usize]));
            let apart = norm(sub(a, b));
            if apart > widest.0 {
                widest = (apart, first);
            }
        }
    }
    widest
}

fn take(moment: &Moment) -> Taken {
    let mut widest: Option<(f64, u32)> = None;
    for group in moment.layer.cloth.seams.groups() {
        let found = gap(&moment.posed.positions, group);
        if widest.is_none_or(|(most, _)| found.0 > most) {
            widest = Some(found);
        }
    }
    Taken::at(
        vec![Some(widest.map_or(0.0, |(most, _)| most))],
        widest
            .filter(|(most, _)| *most > 0.0)
            .map(|(_, vertex)| At::Vertex(vertex as usize)),
    )
}

#[expect(clippy::cast_possible_truncation, reason = "for pictures")]
fn field(moment: &Moment) -> Vec<f32> {
    let mut values = vec![0.0; moment.posed.positions.len()];
    for group in moment.layer.cloth.seams.groups() {
        let (apart, _) = gap(&moment.posed.positions, group);
        for &vertex in group {
            values[vertex as usize] = (apart * 1e3) as f32;
        }
    }
    values
}

fn failing(moment: &Moment, limit: f64) -> Vec<Fault> {
    let seams = moment
        .layer
        .cloth
        .seams
        .groups()
        .map(|group| gap(&moment.posed.positions, group));
    seams
        .map(|(apart, vertex)| (Unit::Length.to_edge(apart), vertex))
        .filter(|(apart, _)| *apart > limit)
        .map(|(apart, vertex)| Fault {
            at: At::Vertex(vertex as usize),
            // A seam has no area: a square centimetre for each of its vertices.
            area: 1e-4,
            value: apart,
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_widest_pair_counts() {
        let positions = [[0.0, 0.0, 0.0], [0.003, 0.0, 0.0], [-0.001, 0.0, 0.0]];
        let (apart, vertex) = gap(&positions, &[0, 1, 2]);
        assert!((apart - 0.004).abs() < 1e-9);
        assert_eq!(vertex, 1);
    }
}
