//! What two motions against each other show: a sentence, and a map for every number that passes its limit.

use crate::report::heat::{self, Map};
use crate::report::leaf::{Plot, Section};
use crate::report::words;
use crate::sweep::Grid;

/// How many pairs of angles are clean, and for each number where it fails nearest to the start.
pub fn in_words(grid: &Grid) -> String {
    let name = |motion: &str| motion.replace('.', " ");
    let clean = grid
        .cells
        .iter()
        .filter(|cell| cell.over().next().is_none())
        .count();
    let mut said = format!(
        "{} and {} together: {} of {} are clean",
        words::capital(&name(&grid.motion)),
        name(&grid.with),
        words::grouped(clean as f64),
        words::count(grid.cells.len(), "pair of angles", "pairs of angles"),
    );
    let firsts = grid.over().into_iter().filter_map(|path| {
        let [across, up] = grid.nearest(&path)?;
        Some(format!(
            "{} at {across:.0} and {up:.0} degrees",
            words::short(&path)
        ))
    });
    let firsts: Vec<String> = firsts.collect();
    if !firsts.is_empty() {
        said.push_str("; the first to fail are ");
        said.push_str(&firsts.join(", "));
    }
    said + "."
}

/// A map for every number that passes its limit anywhere over two motions.
pub fn maps(grid: &Grid) -> Section {
    let over = grid.over();
    let name = |motion: &str| format!("{}, degrees", motion.replace('.', " "));
    let plots = over
        .iter()
        .map(|path| {
            let used = grid
                .cells
                .iter()
                .map(|cell| cell.used.get(path).and_then(|row| row[1]).unwrap_or(f64::NAN));
            let (xs, ys, used) = rising(&grid.across_deg, &grid.up_deg, &used.collect::<Vec<f64>>());
            let map = Map {
                title: words::title(path),
                across: name(&grid.motion),
                up: name(&grid.with),
                xs,
                ys,
                used,
            };
            Plot {
                file: format!("map_{}", path.replace('.', "_")),
                caption: format!("{}: the line is where it meets its limit.", words::title(path)),
                svg: heat::svg(&map),
            }
        })
        .collect();
    Section {
        heading: "Both motions together".into(),
        sentences: vec![if over.is_empty() {
            "No number passes its limit at any pair of angles.".into()
        } else {
            format!(
                "{} of {} pass their limit somewhere. Colours say how much of the limit is used.",
                words::count(over.len(), "number", "numbers"),
                grid.cells.first().map_or(0, |cell| cell.used.len())
            )
        }],
        plots,
        ..Section::default()
    }
}

/// Columns and rows in rising order.
fn rising(xs: &[f64], ys: &[f64], values: &[f64]) -> (Vec<f64>, Vec<f64>, Vec<f64>) {
    let turned = |all: &[f64]| all.first() > all.last();
    let at = |turn: bool, count: usize, index: usize| if turn { count - 1 - index } else { index };
    let (across, up) = (turned(xs), turned(ys));
    let column = |x: usize| at(across, xs.len(), x);
    let row = |y: usize| at(up, ys.len(), y);
    (
        (0..xs.len()).map(|x| xs[column(x)]).collect(),
        (0..ys.len()).map(|y| ys[row(y)]).collect(),
        (0..ys.len())
            .flat_map(|y| (0..xs.len()).map(move |x| (x, y)))
            .map(|(x, y)| values[row(y) * xs.len() + column(x)])
            .collect(),
    )
}
