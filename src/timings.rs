//! Where did the time go? Sums over all threads, for `--timings`; no result depends on them.

use std::sync::atomic::{AtomicU64, Ordering};
use std::time::{Duration, Instant};

/// What a run does, in order.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Step {
    /// Files to checked rigs.
    Read,
    /// Homes, covered skin, all that is true as built.
    Dress,
    /// Joint matrices, and every vertex to where they carry it.
    Skin,
    /// Boxes and moments to the new positions.
    Refit,
    /// From each fabric sample to the skin of its home.
    Ease,
    /// Which covered skin lies surely under its fabric.
    Cover,
    /// From the skin that is in doubt to its fabric.
    Outside,
    /// Rays to see whether skin in the open can be seen.
    Seen,
    /// Fabric through itself.
    Tangle,
    /// Fabric in far parts of the body and their fabric.
    Far,
    /// Numbers of all measures.
    Measure,
    /// Spots, causes and remedies.
    Remedies,
    /// What the pictures and the 3-D view show.
    Scenes,
    /// Pictures.
    Stills,
    /// Curves as SVG and PNG.
    Plots,
    /// The whole report: pictures, plots, page, tables; the time on the clock.
    Write,
}

/// All steps with their words.
const STEPS: [(Step, &str); 16] = [
    (Step::Read, "read files"),
    (Step::Dress, "dress: homes, covered skin"),
    (Step::Skin, "pose: joints, skinning"),
    (Step::Refit, "pose: refit trees"),
    (Step::Ease, "fabric to skin"),
    (Step::Cover, "skin surely covered"),
    (Step::Outside, "skin in doubt to fabric"),
    (Step::Seen, "rays: seen, laid bare"),
    (Step::Tangle, "fabric through itself"),
    (Step::Far, "far parts"),
    (Step::Measure, "measures"),
    (Step::Remedies, "spots and remedies, whole"),
    (Step::Scenes, "scenes, 3-D view"),
    (Step::Stills, "pictures"),
    (Step::Plots, "plots"),
    (Step::Write, "report, whole"),
];

static SPENT: [AtomicU64; STEPS.len()] = [const { AtomicU64::new(0) }; STEPS.len()];

/// Does some work and books its time.
#[inline]
pub fn time<T>(step: Step, work: impl FnOnce() -> T) -> T {
    let start = Instant::now();
    let result = work();
    book(step, start.elapsed());
    result
}

/// Books time that was taken elsewhere.
pub fn book(step: Step, spent: Duration) {
    let nanoseconds = u64::try_from(spent.as_nanos()).unwrap_or(u64::MAX);
    SPENT[step as usize].fetch_add(nanoseconds, Ordering::Relaxed);
}

/// A table of all steps, in thread milliseconds; `whole` is the time on the clock, `frames` how many were measured.
pub fn table(whole: Duration, frames: usize) -> String {
    let mut text = format!("{:28}{:>12}{:>14}\n", "step", "thread ms", "ms per frame");
    for (step, words) in STEPS {
        let spent = Duration::from_nanos(SPENT[step as usize].load(Ordering::Relaxed)).as_secs_f64() * 1e3;
        let per_frame =
            if (Step::Skin as usize..=Step::Measure as usize).contains(&(step as usize)) && frames > 0 {
                format!("{:14.3}", spent / frames as f64)
            } else {
                String::new()
            };
        text.push_str(&format!("{words:28}{spent:12.1}{per_frame}\n"));
    }
    let threads = rayon::current_num_threads();
    text.push_str(&format!(
        "{:28}{:12.1}  on the clock, {frames} frames, threads: {threads}\n",
        "whole run",
        whole.as_secs_f64() * 1e3
    ));
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_step_has_its_row_and_is_booked_there() {
        for (row, (step, _)) in STEPS.iter().enumerate() {
            assert_eq!(*step as usize, row);
        }
        let before = SPENT[Step::Read as usize].load(Ordering::Relaxed);
        assert_eq!(time(Step::Read, || 7), 7);
        book(Step::Read, Duration::from_millis(3));
        assert!(SPENT[Step::Read as usize].load(Ordering::Relaxed) >= before + 3_000_000);
        assert!(table(Duration::from_millis(5), 2).contains("read files"));
    }
}
