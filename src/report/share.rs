//! What may be passed on of a report: pictures and numbers, no point of a surface, in a page under a megabyte.

use super::page::{self, Shown};
use super::stills::Still;
use crate::outcome::Outcome;

/// The page stays below this many bytes.
pub(super) const MOST_BYTES: usize = 1_000_000;

/// The page to pass on: the pictures of the worst poses of every fitting that fit in, and the curves that are judged.
pub(super) fn page(outcome: &Outcome, shown: &Shown) -> Result<String, minijinja::Error> {
    let bare = Shown {
        stills: &[],
        share: true,
        ..*shown
    };
    let mut bare_page = page::render(outcome, &bare)?;
    let mut plots = shown.plots;
    if bare_page.len() > MOST_BYTES * 7 / 10 {
        plots = &[];
        bare_page = page::render(outcome, &Shown { plots, ..bare })?;
    }
    let stills = fitting_in(shown.stills, MOST_BYTES.saturating_sub(bare_page.len()));
    page::render(
        outcome,
        &Shown {
            stills: &stills,
            plots,
            ..bare
        },
    )
}

/// The pictures of the worst poses that take no more than `room` in base64, the fittings by turns. The worst pose is
/// shown twice, at the top as well.
fn fitting_in(stills: &[Still], room: usize) -> Vec<Still> {
    let rank = |at: usize| {
        let still = &stills[at];
        let before = stills[..at].iter().filter(|s| s.fitting == still.fitting).count();
        (before, still.fitting)
    };
    // The two at the top, then the cards, then the other poses.
    let group = |at: usize| match (rank(at).0 < 2, stills[at].card) {
        (true, _) => 0,
        (false, Some(_)) => 1,
        (false, None) => 2,
    };
    let mut order: Vec<usize> = (0..stills.len()).collect();
    order.sort_by_key(|&at| (group(at), rank(at)));
    let mut left = room;
    let mut kept: Vec<usize> = Vec::new();
    for at in order {
        let shown = if rank(at).0 < 2 { 2 } else { 1 };
        let bytes = shown * (stills[at].png.len() * 4 / 3 + 1_200);
        if bytes > left {
            break;
        }
        left -= bytes;
        kept.push(at);
    }
    kept.sort_unstable();
    kept.into_iter().map(|at| stills[at].clone()).collect()
}

/// The record without the points of surfaces that places name.
pub(super) fn without_places(outcome: &Outcome) -> Outcome {
    let mut outcome = outcome.clone();
    for fitting in &mut outcome.fittings {
        fitting.reasons.iter_mut().for_each(|reason| reason.place = None);
        let frames = fitting.poses.iter_mut().flat_map(|pose| &mut pose.frames);
        frames.for_each(|frame| frame.worst.clear());
    }
    outcome
}

#[cfg(test)]
mod tests {
    use crate::report::folder::{self, Extras};
    use crate::report::{model, sample};
    use std::path::Path;

    fn files(folder: &Path, into: &mut Vec<(String, Vec<u8>)>) {
        for entry in std::fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                files(&path, into);
            } else {
                into.push((path.display().to_string(), std::fs::read(&path).unwrap()));
            }
        }
    }

    fn report(share: bool) -> Vec<(String, Vec<u8>)> {
        let parent = tempfile::tempdir().unwrap();
        let folder = parent.path().join("fit");
        let (scenes, models) = (sample::scenes(), sample::models());
        let extras = Extras {
            scenes: &scenes,
            models: &models,
            rigs: &[],
            no_curves: false,
            share,
            beside: None,
            files: &[],
        };
        folder::write(&folder, &sample::outcome(), &extras).unwrap();
        let mut all = Vec::new();
        files(&folder, &mut all);
        all
    }

    /// Whether some file holds a packed shape, or a place in metres.
    fn geometry(files: &[(String, Vec<u8>)]) -> Vec<String> {
        let blobs = model::pack(&sample::models()).blobs;
        let holds =
            |bytes: &[u8], text: &str| bytes.windows(text.len()).any(|window| window == text.as_bytes());
        let signs: Vec<String> = blobs
            .iter()
            .map(|blob| blob.text[..60].to_owned())
            .chain(["position_m", "id=\"models\"", "data-view", "webgl2"].map(str::to_owned))
            .collect();
        files
            .iter()
            .filter(|(name, _)| !name.ends_with(".png"))
            .flat_map(|(name, bytes)| {
                let found = signs.iter().filter(|sign| holds(bytes, sign));
                found.map(move |sign| format!("{name}: {sign}"))
            })
            .collect()
    }

    #[test]
    fn a_report_to_pass_on_holds_no_geometry_and_is_small() {
        let shared = report(true);
        assert_eq!(geometry(&shared), [""; 0]);
        let page = shared
            .iter()
            .find(|(name, _)| name.ends_with("index.html"))
            .unwrap();
        assert!(page.1.len() < super::MOST_BYTES, "{}", page.1.len());
        let text = String::from_utf8_lossy(&page.1);
        assert!(text.contains("no geometry") && text.contains("data:image/png"));
        // The same search finds it in the full report, so it can find it.
        assert!(
            geometry(&report(false)).len() >= 5,
            "{:?}",
            geometry(&report(false))
        );
    }

    #[test]
    fn pictures_give_way_before_the_page_grows_too_large() {
        let stills: Vec<_> = sample::scenes()
            .iter()
            .flat_map(crate::report::stills::of_scene)
            .collect();
        let all: usize = stills.iter().map(|still| still.png.len() * 4 / 3 + 1_200).sum();
        assert_eq!(super::fitting_in(&stills, 10 * all).len(), stills.len());
        let some = super::fitting_in(&stills, all / 2);
        assert!(!some.is_empty() && some.len() < stills.len());
        assert_eq!(some[0].pose, stills[0].pose, "the worst stays");
    }
}
