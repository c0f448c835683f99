//! Weight rows that cannot be used, and what is wrong with them.

use super::finding;
use crate::outcome::{Finding, Severity};
use crate::rig::surface::{RowFault, Surface, row_fault};
use std::collections::BTreeMap;

/// Rows that do not add up to 1, are empty, or hold something that is no weight.
pub fn of_rows(surface: &Surface) -> Vec<Finding> {
    let mut kinds: BTreeMap<&str, Vec<(usize, f64)>> = BTreeMap::new();
    for vertex in 0..surface.positions.len() {
        let code = match row_fault(&surface.rows, vertex) {
            None => continue,
            Some(RowFault::NotFinite) => "rows_not_finite",
            Some(RowFault::Negative) => "rows_negative",
            Some(RowFault::Zero) => "rows_zero",
            Some(RowFault::Unnormalised) => "rows_unnormalised",
        };
        let sum: f64 = surface
            .rows
            .row(vertex)
            .map(|(_, weight)| f64::from(weight))
            .sum();
        kinds.entry(code).or_default().push((vertex, sum));
    }
    let mut findings: Vec<Finding> = kinds
        .iter()
        .map(|(code, rows)| row_finding(surface, code, rows))
        .collect();
    let faulty: usize = kinds.values().map(Vec::len).sum();
    if faulty * 2 > surface.positions.len() {
        findings.push(finding(
            "most_rows_faulty",
            Severity::Stop,
            &surface.name,
            faulty,
            String::new(),
            format!(
                "{faulty} of {} weight rows of {} are faulty.",
                surface.positions.len(),
                surface.name
            ),
            "Normalise the weights in your 3-D program and export again.",
        ));
    }
    findings
}

fn row_finding(surface: &Surface, code: &str, rows: &[(usize, f64)]) -> Finding {
    let off = |sum: f64| {
        if sum.is_finite() {
            (sum - 1.0).abs()
        } else {
            f64::INFINITY
        }
    };
    let worst = rows.iter().fold(
        rows[0],
        |worst, row| if off(row.1) > off(worst.1) { *row } else { worst },
    );
    let vertex = surface.sources[worst.0].1;
    let many = if rows.len() == 1 {
        "1 vertex has".into()
    } else {
        format!("{} vertices have", rows.len())
    };
    let (what, help) = match code {
        "rows_not_finite" => (
            "a weight that is not a number",
            "Repaint these vertices, or remove the bad weights, and export again.",
        ),
        "rows_negative" => (
            "a negative weight",
            "Clamp negative weights to 0, normalise, and export again.",
        ),
        "rows_zero" => (
            "no weight at all",
            "Assign these vertices to a joint and export again.",
        ),
        _ => (
            "weights that do not add up to 1",
            "Normalise all weights and export again.",
        ),
    };
    let sum = if code == "rows_unnormalised" {
        format!(", worst sum {:.3}", worst.1)
    } else {
        String::new()
    };
    finding(
        code,
        Severity::Fault,
        &surface.name,
        rows.len(),
        format!("vertex {vertex}"),
        format!("{many} {what} (worst: vertex {vertex}{sum}); left out of every measure."),
        help,
    )
}
