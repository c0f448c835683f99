//! What the page must hold, whatever the run.

use super::*;
use crate::report::{plot, sample, stills};

fn page(outcome: &Outcome) -> String {
    let stills: Vec<Still> = sample::scenes().iter().flat_map(stills::of_scene).collect();
    render(outcome, &stills, &plot::all(outcome)).unwrap()
}

/// The page without its pictures.
fn bare(page: &str) -> String {
    let mut parts = page.split("data:image/png;base64,");
    let first = parts.next().unwrap().to_owned();
    parts.fold(first, |text, part| text + part.split_once('"').unwrap().1)
}

#[test]
fn it_asks_nothing_of_the_network() {
    let page = page(&sample::outcome());
    sample::save("index.html", page.as_bytes());
    let text = bare(&page);
    assert!(!text.replace("http-equiv", "").contains("http"), "an address");
    for loader in [
        "<script", "<link", "<iframe", "@import", "url(", "srcset", " onload", " onerror",
    ] {
        assert!(!text.contains(loader), "{loader}");
    }
    assert!(text.contains("default-src 'none'"));
}

#[test]
fn names_with_markup_are_only_text() {
    let mut outcome = sample::outcome();
    let evil = "</style><script>alert(1)</script><img src=x onerror=alert(2)>\"'";
    let fitting = &mut outcome.fittings[0];
    fitting.body = evil.into();
    fitting.garments[0].name = evil.into();
    fitting.poses[0].pose = evil.into();
    fitting.poses[0].about = evil.into();
    fitting.reasons[0].pose = evil.into();
    fitting.reasons[0].say = evil.into();
    fitting.rig_findings[0].place = evil.into();
    fitting.poses[14].not_applicable = Some(evil.into());
    let text = bare(&page(&outcome));
    assert!(
        !text.contains("<script") && !text.contains("<img src=x"),
        "markup got through"
    );
    assert_eq!(text.matches("</style>").count(), 1);
    assert!(text.contains("&lt;script&gt;"));
}

#[test]
fn every_pose_has_a_word_and_every_picture_a_text() {
    let outcome = sample::outcome();
    let text = bare(&page(&outcome));
    for pose in &outcome.fittings[0].poses {
        assert!(text.contains(&capital(&words::pose(&pose.pose))), "{}", pose.pose);
    }
    assert_eq!(text.matches("<img").count(), text.matches("alt=\"").count());
    assert!(text.matches("<img").count() >= 10 && !text.contains("alt=\"\""));
    assert!(text.contains("project&#x27;s own") || text.contains("project's own"));
    assert!(
        text.contains("Of 23 poses, 3 fail, 1 is partly tested, 2 warn, 17 pass."),
        "{:?}",
        tell::counts(&outcome.fittings[0])
    );
}

#[test]
fn headings_do_not_skip_a_level() {
    let text = bare(&page(&sample::outcome()));
    let levels: Vec<u32> = text
        .match_indices("<h")
        .filter_map(|(at, _)| text[at + 2..].chars().next().and_then(|c| c.to_digit(10)))
        .collect();
    assert_eq!(levels.iter().filter(|l| **l == 1).count(), 1);
    assert!(levels.windows(2).all(|pair| pair[1] <= pair[0] + 1), "{levels:?}");
}
