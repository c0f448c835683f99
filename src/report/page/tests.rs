//! What the page must hold, whatever the run.

use super::*;
use crate::report::{model, plot, sample, stills};

fn page(outcome: &Outcome) -> String {
    let stills: Vec<Still> = sample::scenes().iter().flat_map(stills::of_scene).collect();
    render(
        outcome,
        &Shown {
            stills: &stills,
            plots: &plot::all(outcome),
            view: &model::pack(&sample::models()),
            rigs: &[],
            share: false,
            beside: None,
            pages: &[],
        },
    )
    .unwrap()
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
        "<script src",
        "<link",
        "<iframe",
        "@import",
        "url(",
        "srcset",
        " onload",
        " onerror",
    ] {
        assert!(!text.contains(loader), "{loader}");
    }
    assert!(text.contains("default-src 'none'"));
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

/// Names of every nasty kind, in every place a file can put one.
fn hostile() -> (Outcome, Vec<model::Model>) {
    let names = [
        "</script></style><script>alert(1)</script><img src=x onerror=alert(2)>\"'`".to_owned(),
        "\u{1f456}\u{1f9f5}".to_owned(),
        "a".repeat(300),
        "\u{5de}\u{5db}\u{5e0}\u{5e1}\u{5d9}\u{5d9}\u{5dd} \u{202e}abc".to_owned(),
        "{{ 7 * 7 }} {% raw %} &lt;b&gt; <!--".to_owned(),
    ];
    let mut outcome = sample::outcome();
    let mut models = sample::models();
    let fitting = &mut outcome.fittings[0];
    fitting.body = names[0].clone();
    fitting.garments[0].name = names[3].clone();
    for (pose, name) in fitting.poses.iter_mut().zip(names.iter().cycle()).take(10) {
        for reason in fitting
            .reasons
            .iter_mut()
            .filter(|reason| reason.pose == pose.pose)
        {
            reason.pose.clone_from(name);
            reason.say.clone_from(name);
        }
        for sequence in models[0].sequences.iter_mut().filter(|s| s.pose == pose.pose) {
            sequence.pose.clone_from(name);
        }
        pose.pose.clone_from(name);
        pose.about.clone_from(name);
    }
    fitting.rig_findings[0].place = names[0].clone();
    fitting.rig_findings[1].say = names[2].clone();
    models[0].surfaces[0].name = names[0].clone();
    models[0].surfaces[1].joints = vec![names[0].clone()];
    (outcome, models)
}

#[test]
fn hostile_names_are_text_in_every_part_of_the_page() {
    let (outcome, models) = hostile();
    let stills: Vec<Still> = sample::scenes()
        .into_iter()
        .map(|mut scene| {
            scene.pose = outcome.fittings[0].poses[0].pose.clone();
            scene.focus[0].say = outcome.fittings[0].body.clone();
            scene
        })
        .flat_map(|scene| stills::of_scene(&scene))
        .collect();
    let plots = plot::all(&outcome);
    let view = model::pack(&models);
    let page = render(
        &outcome,
        &Shown {
            stills: &stills,
            plots: &plots,
            view: &view,
            rigs: &[],
            share: false,
            beside: None,
            pages: &[],
        },
    )
    .unwrap();
    sample::save("hostile.html", page.as_bytes());
    let text = bare(&page);
    // Only our own elements: two styles' ends would be a break-out, and every script is ours or data.
    assert_eq!(text.matches("</style").count(), 1);
    let scripts: Vec<&str> = text
        .match_indices("<script")
        .map(|(at, _)| &text[at..at + 24])
        .collect();
    assert_eq!(text.matches("</script").count(), scripts.len());
    assert!(
        scripts
            .iter()
            .all(|script| script.starts_with("<script nonce=\"") || script.starts_with("<script type=\"")),
        "{scripts:?}"
    );
    assert!(!text.contains("<img src=x") && text.contains("&lt;script&gt;alert(1)"));
    assert!(
        text.contains("{{ 7 * 7 }} {% raw %} &amp;lt;b&amp;gt;"),
        "a template in a name is not run"
    );
    assert!(!text.contains('\u{202e}'), "nothing turns the line around");
}

#[test]
fn several_fittings_are_a_table_of_garments_and_bodies_whose_cells_lead_on() {
    let mut outcome = sample::outcome();
    for (body, garment, verdict) in [
        ("birch", "moss-trousers", Verdict::Pass),
        ("ash", "coat", Verdict::Fail),
    ] {
        let mut fitting = outcome.fittings[0].clone();
        fitting.body = body.into();
        fitting.garments[0].name = garment.into();
        fitting.verdict = verdict;
        outcome.fittings.push(fitting);
    }
    let text = bare(&page(&outcome));
    let table = text.split("<section class=\"overview\">").nth(1).unwrap();
    let table = table.split("</section>").next().unwrap();
    let rows: Vec<&str> = table.split("<tr>").skip(1).collect();
    assert_eq!(rows.len(), 3, "a head, two garments");
    assert!(rows[0].contains("on ash") && rows[0].contains("on birch"));
    assert!(
        rows[1].contains("moss-trousers") && rows[1].contains("#fitting0") && rows[1].contains("#fitting1")
    );
    assert!(rows[2].contains("coat") && rows[2].contains("#fitting2"));
    assert!(
        rows[2].contains("<td data-on=\"on birch\" class=\"bare\"></td>"),
        "the coat was not tried on birch"
    );
    assert!((0..3).all(|at| text.contains(&format!("id=\"fitting{at}\""))));
}
