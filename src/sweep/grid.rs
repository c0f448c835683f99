//! Two joint motions against each other: how much of its limit does each number use, over both angles?

use super::even_angles;
use crate::fitting::{self, Dressed, Frame};
use crate::measure::FabricClass;
use crate::outcome::Demand;
use crate::pose::sweep::{self, Sweep};
use crate::pose::{OnSide, PoseFrame};
use crate::units::Unit;
use serde::Serialize;
use std::collections::BTreeMap;

/// What was found over both angles.
#[derive(Clone, Debug, Serialize)]
pub struct Grid {
    /// `hip.flexion`.
    pub motion: String,
    /// `hip.abduction`.
    pub with: String,
    /// Angles of the first motion.
    pub across_deg: Vec<f64>,
    /// Angles of the second.
    pub up_deg: Vec<f64>,
    /// Row by row: every angle of the first motion at the first of the second, and so on.
    pub cells: Vec<Cell>,
}

/// Both motions at one angle each.
#[derive(Clone, Debug, Serialize)]
pub struct Cell {
    /// What it asks of a garment: the harder of the two.
    pub demand: Demand,
    /// By limit key: the value, and the share of its limit that it uses (over 1 is over the limit; of a stretch what is
    /// over 1 counts).
    pub used: BTreeMap<String, [Option<f64>; 2]>,
}

/// Runs a garment through both motions.
pub fn grid(
    dressed: &Dressed,
    [first, second]: [Sweep; 2],
    sides: OnSide,
    steps: [usize; 2],
    fabric: FabricClass,
    tick: &(dyn Fn() + Sync),
) -> Grid {
    let limits = fitting::limits_of(dressed, fabric);
    let across_deg = even_angles(first.from_deg, first.to_deg, steps[0]);
    let up_deg = even_angles(second.from_deg, second.to_deg, steps[1]);
    let poses: Vec<PoseFrame> = up_deg
        .iter()
        .flat_map(|up| across_deg.iter().map(move |across| (*across, *up)))
        .map(|(across, up)| {
            let motions = [(first.what, across.to_radians()), (second.what, up.to_radians())];
            sweep::at(&motions, sides)
        })
        .collect();
    let frames: Vec<Frame> = poses.iter().cloned().map(Frame::Angles).collect();
    let cells = fitting::each(dressed, &frames, &|number, result, _| {
        tick();
        let demand = sweep::demand(&poses[number]);
        let used = limits
            .most
            .keys()
            .filter_map(|path| {
                let limit = limits.get(path, demand)?;
                let value = result.measures.get(path).filter(|value| value.is_finite());
                Some((path.clone(), [value, value.map(|value| used(path, value, limit))]))
            })
            .collect();
        Cell { demand, used }
    });
    Grid {
        motion: first.what.to_string(),
        with: second.what.to_string(),
        across_deg,
        up_deg,
        cells,
    }
}

/// The share of a limit that a value uses: a stretch of 1 is no stretch at all.
fn used(path: &str, value: f64, limit: f64) -> f64 {
    let is_ratio = crate::measure::find(path).is_some_and(|(_, number)| number.unit == Unit::Ratio);
    let rest = if is_ratio { 1.0 } else { 0.0 };
    ((value - rest) / (limit - rest).max(1e-9)).max(0.0)
}

impl Cell {
    /// The numbers that pass their limit here, or could not be measured.
    pub fn over(&self) -> impl Iterator<Item = &String> {
        let over = |used: &Option<f64>| used.is_none_or(|used| used > 1.0);
        self.used
            .iter()
            .filter(move |(_, [_, used])| over(used))
            .map(|(path, _)| path)
    }
}

impl Grid {
    /// The numbers that pass their limit in any cell, the widest first.
    pub fn over(&self) -> Vec<String> {
        let mut counts: BTreeMap<&str, usize> = BTreeMap::new();
        for path in self.cells.iter().flat_map(Cell::over) {
            *counts.entry(path).or_default() += 1;
        }
        let mut paths: Vec<String> = counts.keys().map(|path| (*path).to_owned()).collect();
        paths.sort_by_key(|path| (std::cmp::Reverse(counts[path.as_str()]), path.clone()));
        paths
    }

    /// The pair of angles, degrees, at which a number passes its limit after the least motion: each angle as a share of
    /// its range, added up.
    pub fn nearest(&self, path: &str) -> Option<[f64; 2]> {
        let columns = self.across_deg.len();
        let share = |angles: &[f64], index: usize| index as f64 / (angles.len().max(2) - 1) as f64;
        (0..self.cells.len())
            .filter(|&cell| self.cells[cell].over().any(|over| over == path))
            .map(|cell| [cell % columns, cell / columns])
            .min_by(|a, b| {
                let [a, b] = [a, b].map(|[x, y]| share(&self.across_deg, *x) + share(&self.up_deg, *y));
                a.total_cmp(&b)
            })
            .map(|[x, y]| [self.across_deg[x], self.up_deg[y]])
    }
}
