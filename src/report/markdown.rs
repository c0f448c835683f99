//! The run for a pull request or a chat: the verdict first, then a table.

use super::words::{self, capital};
use super::{rack, text, worst};
use crate::outcome::{Fitting, Outcome, Verdict};

/// How many reasons a fitting shows before "and N more".
const REASONS: usize = 8;

/// The summary as GitHub-flavoured Markdown; signs that Markdown reads are escaped in every name and sentence.
pub fn render(outcome: &Outcome) -> String {
    let mut page = String::new();
    if outcome.fittings.len() != 1 {
        page.push_str(&format!(
            "# {}: {}\n",
            words::verdict(outcome.verdict),
            escaped(&text::overall(outcome))
        ));
    }
    let level = if outcome.fittings.len() == 1 { "#" } else { "##" };
    for fitting in &outcome.fittings {
        if !page.is_empty() {
            page.push('\n');
        }
        let line = format!("{}: {}", words::fitting(fitting), text::in_a_line(fitting));
        page.push_str(&format!(
            "{level} {}: {}\n",
            words::verdict(fitting.verdict),
            escaped(&line)
        ));
        page.push_str(&reasons(fitting));
        page.push_str(&table(outcome, fitting));
        page.push_str(&findings(fitting));
    }
    page.push_str(&format!("\n{}\n", escaped(&outcome.caution)));
    page
}

/// The summary of a rack: bodies across garments, then the failures by what would mend them.
pub fn of_rack(outcome: &Outcome) -> String {
    let mut page = format!(
        "# {}: {}\n\n",
        words::verdict(outcome.verdict),
        escaped(&text::overall(outcome))
    );
    let [bodies, garments] = rack::names(outcome);
    let head: String = bodies
        .iter()
        .map(|body| format!(" on {} |", escaped(body)))
        .collect();
    page.push_str(&format!(
        "| garment |{head}\n| --- |{}\n",
        " --- |".repeat(bodies.len())
    ));
    for name in &garments {
        page.push_str(&format!("| {} |", escaped(name)));
        for body in &bodies {
            let worn = |one: &&Fitting| words::plain(&one.body) == *body && rack::garment(one) == *name;
            let cells: Vec<String> = outcome
                .fittings
                .iter()
                .filter(worn)
                .map(|one| cell(outcome, one))
                .collect();
            page.push_str(&format!(" {} |", cells.join("; ")));
        }
        page.push('\n');
    }
    let stopped = outcome
        .fittings
        .iter()
        .filter(|one| one.verdict == Verdict::CouldNotRun);
    let stopped: Vec<String> = stopped.map(stopped_line).collect();
    if !stopped.is_empty() {
        page.push_str(&format!("\nCould not run:\n\n{}", stopped.concat()));
    }
    let sizes: Vec<String> = rack::sizes(outcome)
        .iter()
        .map(|line| format!("- {}\n", escaped(line)))
        .collect();
    if !sizes.is_empty() {
        page.push_str(&format!("\nSizes that fail:\n\n{}", sizes.concat()));
    }
    let groups = rack::groups(outcome);
    if !groups.is_empty() {
        page.push_str("\nWhat would mend them:\n\n");
    }
    for group in &groups {
        let cause = if group.cause.is_empty() {
            String::new()
        } else {
            format!("**{}** ", group.cause)
        };
        let mend = if group.mend.is_empty() {
            String::new()
        } else {
            format!(": {}", group.mend)
        };
        page.push_str(&format!(
            "- {cause}{}\n",
            escaped(&format!("{}, {}{mend}", group.place, group.share))
        ));
    }
    page.push_str(&format!("\n{}\n", escaped(&outcome.caution)));
    page
}

fn cell(outcome: &Outcome, fitting: &Fitting) -> String {
    let text = escaped(&rack::cell(outcome, fitting));
    let verdict = words::verdict(fitting.verdict);
    match fitting.verdict > Verdict::Pass {
        true => text.replacen(verdict, &format!("**{verdict}**"), 1),
        false => text,
    }
}

fn stopped_line(fitting: &Fitting) -> String {
    let why = fitting.reasons.first().map_or("", |reason| reason.say.as_str());
    format!(
        "- {}\n",
        escaped(&words::plain(&format!("{}: {why}", words::fitting(fitting))))
    )
}

fn reasons(fitting: &Fitting) -> String {
    let mut list = String::new();
    for reason in fitting.reasons.iter().take(REASONS) {
        let pose = if reason.pose.is_empty() {
            String::new()
        } else {
            format!("{}: ", words::pose(&reason.pose))
        };
        let say = escaped(&format!("{pose}{}", words::plain(&reason.say)));
        list.push_str(&format!("- **{}** {say}\n", words::verdict(reason.weight)));
    }
    if fitting.reasons.len() > REASONS {
        list.push_str(&format!("- and {} more\n", fitting.reasons.len() - REASONS));
    }
    if list.is_empty() {
        list
    } else {
        format!("\n{list}")
    }
}

fn table(outcome: &Outcome, fitting: &Fitting) -> String {
    let mut table = String::from("\n| pose | verdict | worst against its limit |\n| --- | --- | --- |\n");
    let limits = worst::limits(outcome, fitting);
    for pose in &fitting.poses {
        let verdict = words::verdict(pose.verdict);
        let verdict = if pose.verdict > Verdict::Pass {
            format!("**{verdict}**")
        } else {
            verdict.to_owned()
        };
        let worst = escaped(&text::worst_number(limits, pose));
        table.push_str(&format!(
            "| {} | {verdict} | {worst} |\n",
            escaped(&capital(&words::pose(&pose.pose)))
        ));
    }
    if fitting.poses.is_empty() {
        String::new()
    } else {
        table
    }
}

fn findings(fitting: &Fitting) -> String {
    let line = |finding: &crate::outcome::Finding| {
        let (say, help) = (words::plain(&finding.say), words::plain(&finding.help));
        let text = escaped(format!("{}: {say} {help}", words::whereabouts(finding)).trim_end());
        format!("- **{}** {text}\n", words::severity(finding.severity))
    };
    let list: String = fitting.rig_findings.iter().map(line).collect();
    if list.is_empty() {
        list
    } else {
        format!("\nThe rig:\n\n{list}")
    }
}

/// Markup, links, mentions and table bars of a name are only signs.
fn escaped(text: &str) -> String {
    let mut safe = String::with_capacity(text.len());
    for letter in text.chars() {
        match letter {
            '<' => safe.push_str("&lt;"),
            '&' => safe.push_str("&amp;"),
            '@' => safe.push_str("&#64;"),
            '\\' | '|' | '*' | '_' | '`' | '[' | ']' | '#' | '~' | '!' => safe.extend(['\\', letter]),
            _ => safe.push(letter),
        }
    }
    safe
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::sample;

    #[test]
    fn the_verdict_is_the_heading_and_every_pose_has_a_row() {
        let outcome = sample::outcome();
        let page = render(&outcome);
        sample::save("summary.md", page.as_bytes());
        assert!(
            page.starts_with("# FAIL: moss-trousers on ash: skin shows through in 3 of 23 poses"),
            "{page}"
        );
        assert!(
            page.contains("\n| Standing | **FAIL** | skin shows through 243 cm² (limit 1 cm²) |\n"),
            "{page}"
        );
        assert_eq!(
            page.lines().filter(|l| l.starts_with("| ")).count(),
            outcome.fittings[0].poses.len() + 2
        );
    }

    #[test]
    fn a_name_is_never_markup() {
        let mut outcome = sample::outcome();
        outcome.fittings[0].poses[0].pose = "a|b <img src=x> [c](d) @e".into();
        let page = render(&outcome);
        assert!(
            page.contains("| A\\|b &lt;img src=x> \\[c\\](d) &#64;e |"),
            "{page}"
        );
    }
}
