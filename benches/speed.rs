//! What does a frame cost, step by step, beside the same step by a stock collision crate (parry3d) in the same run?
//!
//! `cargo bench` prints medians and ratios. It is a program of its own rather than one of a bench framework, because the
//! two sides must take turns in one run for their ratio to mean anything on a busy machine. The workload is the synthetic
//! pair of the test rigs, or an invented pair where those are missing.

#![allow(
    clippy::unwrap_used,
    missing_docs,
    reason = "a bench may stop at the first surprise"
)]
#![allow(clippy::cast_possible_truncation, reason = "vertex numbers are u32")]

#[path = "speed/stock.rs"]
mod stock;
#[path = "speed/subset.rs"]
mod subset;
#[path = "speed/workload.rs"]
mod workload;

use gusset::fitting::{self, Plan, Sequence};
use gusset::geometry::winding::exact;
use rayon::prelude::*;
use std::hint::black_box;
use std::time::Instant;
use subset::Subset;
use workload::Workload;

/// Rounds of a step; the median counts.
const ROUNDS: usize = 9;
/// Frames of a sweep.
const SWEEP: usize = 1000;

fn main() {
    // `cargo test --benches` passes this: only see that everything runs.
    let short = std::env::args().any(|argument| argument == "--test");
    let rounds = if short { 1 } else { ROUNDS };
    let work = Workload::load();
    println!(
        "{}: {} + {} triangles, {} poses\n",
        work.name,
        work.body.triangles.len(),
        work.cloth.triangles.len(),
        work.world.len()
    );
    steps(&work, rounds);
    signs(&work, if short { 1 } else { 32 });
    sweeps(&work, if short { 4 } else { SWEEP });
    growth(&work, rounds, if short { 1 } else { 4 });
}

/// Median seconds of two ways that take turns.
fn medians(rounds: usize, mut ours: impl FnMut(), mut stock: impl FnMut()) -> [f64; 2] {
    let mut taken = [Vec::new(), Vec::new()];
    for _ in 0..rounds {
        for (side, times) in taken.iter_mut().enumerate() {
            let start = Instant::now();
            if side == 0 {
                ours()
            } else {
                stock()
            }
            times.push(start.elapsed().as_secs_f64());
        }
    }
    taken.map(|mut times| {
        times.sort_by(f64::total_cmp);
        times[times.len() / 2]
    })
}

fn row(name: &str, [ours, stock]: [f64; 2]) {
    println!(
        "{name:44}{:10.3} ms{:10.3} ms{:8.1} x",
        ours * 1e3,
        stock * 1e3,
        stock / ours
    );
}

/// Every step of the subset of DESIGN 10 on the hardest pose, one thread.
fn steps(work: &Workload, rounds: usize) {
    println!(
        "{:44}{:>13}{:>13}{:>10}",
        "step, hardest pose, one thread", "gusset", "parry3d", "ratio"
    );
    let world = work.world.last().unwrap();
    let mut ours = Subset::new(work);
    let mut stock = stock::Stock::new(work, world);
    let nothing = || ();
    let skinning = medians(rounds, || ours.skin(work, world), nothing);
    println!("{:44}{:10.3} ms", "skinning, both", skinning[0] * 1e3);
    row(
        "trees to a new pose (refit / rebuild)",
        medians(rounds, || ours.refit(), || stock.rebuild()),
    );
    row(
        "fabric to skin: nearest, all vertices",
        medians(rounds, || ours.fabric_to_skin(work), || stock.fabric_to_skin()),
    );
    row(
        "skin to fabric: nearest, all vertices",
        medians(rounds, || ours.skin_to_fabric(work), || stock.skin_to_fabric()),
    );
    row(
        "fabric through skin: crossing pairs",
        medians(rounds, || ours.cross(), || stock.cross()),
    );
    row(
        "fabric through itself: crossing pairs",
        medians(rounds, || ours.cross_itself(), || stock.cross_itself()),
    );
    let sides = medians(rounds, || ours.sides(work), nothing);
    println!(
        "{:44}{:10.3} ms   (parry3d: with the nearest point, wrong where limbs overlap)",
        "side of every fabric vertex",
        sides[0] * 1e3
    );
    let stretch = medians(rounds, || ours.stretch(work), nothing);
    println!("{:44}{:10.3} ms", "stretch", stretch[0] * 1e3);
    row(
        "the whole subset",
        medians(rounds, || ours.frame(work, world), || stock.frame(work, world)),
    );
    println!();
}

/// Sides against the winding number evaluated at every fabric vertex, in all poses; in the hardest one against the
/// exact sum over all triangles too.
fn signs(work: &Workload, poses: usize) {
    let mut ours = Subset::new(work);
    let (mut asked, mut inside, mut evaluated) = (0, 0, 0);
    let (mut wrong, mut stock_wrong) = (0, 0);
    for (number, world) in work.world.iter().rev().take(poses).enumerate() {
        ours.frame(work, world);
        let everywhere = ours.sides_everywhere();
        if number == 0 {
            let exactly = |at: &[f32; 3]| exact(*at, &ours.body, &work.body.triangles) >= 0.5;
            let truth: Vec<bool> = ours.cloth.par_iter().map(exactly).collect();
            println!(
                "hardest pose, against the exact sum: {} wrong",
                differing(&truth, &ours.inside)
            );
        }
        wrong += differing(&everywhere, &ours.inside);
        stock_wrong += differing(&everywhere, &stock::Stock::new(work, world).sides());
        inside += everywhere.iter().filter(|inside| **inside).count();
        asked += everywhere.len();
        evaluated += ours.evaluated;
    }
    println!("{poses} poses, against the winding number everywhere: {asked} vertices, {inside} inside");
    println!("  wrong: gusset {wrong} ({evaluated} winding numbers evaluated), parry3d {stock_wrong}\n");
}

fn differing(one: &[bool], other: &[bool]) -> usize {
    one.iter().zip(other).filter(|(one, other)| one != other).count()
}

/// Milliseconds per frame over a sweep, by thread.
fn sweeps(work: &Workload, frames: usize) {
    let pools: Vec<rayon::ThreadPool> = [1, 2]
        .into_iter()
        .map(|threads| {
            rayon::ThreadPoolBuilder::new()
                .num_threads(threads)
                .build()
                .unwrap()
        })
        .collect();
    let mut per_frame = [[0.0; 2]; 3];
    for (column, pool) in pools.iter().enumerate() {
        let timed = |run: &(dyn Fn() + Sync), frames: usize| {
            let start = Instant::now();
            pool.install(run);
            start.elapsed().as_secs_f64() * 1e3 / frames as f64
        };
        let world = |frame: usize| &work.world[frame % work.world.len()];
        per_frame[0][column] = timed(
            &|| {
                (0..frames)
                    .into_par_iter()
                    .for_each_init(|| Subset::new(work), |ours, frame| ours.frame(work, world(frame)));
            },
            frames,
        );
        // A tenth of the frames is enough to know what the slow way costs, and the poses come round as often.
        let fewer = frames.div_ceil(10).max(work.world.len().min(frames));
        per_frame[1][column] = timed(
            &|| {
                (0..fewer).into_par_iter().for_each_init(
                    || stock::Stock::new(work, world(0)),
                    |stock, frame| stock.frame(work, world(frame)),
                );
            },
            fewer,
        );
        let plan = long_plan(work, frames);
        per_frame[2][column] = timed(
            &|| drop(black_box(fitting::run(&work.dressed, &plan, &|| ()))),
            frames,
        );
    }
    println!(
        "{:44}{:>13}{:>13}{:>10}",
        format!("{frames} frames, ms per frame"),
        "1 thread",
        "2 threads",
        "ratio"
    );
    for (name, [one, two]) in ["the subset", "the subset by parry3d", "all measures"]
        .into_iter()
        .zip(per_frame)
    {
        println!("{name:44}{one:10.3} ms{two:10.3} ms{:8.2} x", one / two);
    }
    println!(
        "parry3d over gusset, the subset: {:.1} x on one thread, {:.1} x on two\n",
        per_frame[1][0] / per_frame[0][0],
        per_frame[1][1] / per_frame[0][1]
    );
}

/// The workload's frames again and again.
fn long_plan(work: &Workload, frames: usize) -> Plan {
    let pool: Vec<_> = work.frames.iter().cycle().take(frames).cloned().collect();
    Plan {
        sequences: vec![Sequence {
            frames: pool,
            ..work.sequence.clone()
        }],
        ..Plan::default()
    }
}

/// Nearest points and crossings on finer and finer meshes: per n log n they must not grow.
fn growth(work: &Workload, rounds: usize, levels: usize) {
    println!(
        "{:>12}{:>16}{:>22}{:>16}{:>22}",
        "triangles", "nearest, ms", "ns per n log2 n", "crossings, ms", "ns per n log2 n"
    );
    let mut finer = workload::Finer::new(work);
    for _ in 0..levels {
        let mut ours = subset::Pair::new(&finer);
        let count = (finer.body.1.len() + finer.cloth.1.len()) as f64;
        let [nearest, crossing] = [0, 1].map(|which| {
            medians(
                rounds.min(5),
                || if which == 0 { ours.nearest() } else { ours.cross() },
                || (),
            )[0]
        });
        let share = 1e9 / (count * count.log2());
        println!(
            "{count:12}{:16.2}{:22.2}{:16.2}{:22.2}",
            nearest * 1e3,
            nearest * share,
            crossing * 1e3,
            crossing * share
        );
        finer.halve();
    }
}
