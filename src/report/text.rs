//! The run in a terminal: the verdict in words first, then why, then each pose.

use super::{rack, words, worst};
use crate::outcome::{Finding, Fitting, Outcome, PoseResult, Reason, Severity, Verdict};
use std::path::Path;

/// How many reasons a fitting shows before "and N more".
const REASONS: usize = 8;

/// How the text may look.
#[derive(Clone, Copy, Debug)]
pub struct Look {
    /// Whether words may be coloured as well.
    pub colour: bool,
    /// Columns of the terminal; lines are wrapped to it, at 40 at least.
    pub width: usize,
}

/// The whole summary; `report` is the page that was written, if any.
pub fn render(outcome: &Outcome, report: Option<&Path>, look: Look) -> String {
    let mut page = Page {
        text: String::new(),
        look,
    };
    if outcome.fittings.len() != 1 {
        page.verdict_line(outcome.verdict, &overall(outcome));
    }
    for fitting in &outcome.fittings {
        page.fitting(outcome, fitting);
    }
    page.text.push('\n');
    if let Some(report) = report {
        page.wrapped("Report: ", &words::plain(&report.display().to_string()));
    }
    page.wrapped("", &outcome.caution);
    page.text
}

/// The summary of a rack: bodies across garments, then what could not run, then the failures by what would mend them.
pub fn of_rack(outcome: &Outcome, report: Option<&Path>, look: Look) -> String {
    let mut page = Page {
        text: String::new(),
        look,
    };
    page.verdict_line(outcome.verdict, &overall(outcome));
    page.text.push('\n');
    page.text.push_str(&rack::table(outcome, look.width.max(40)));
    page.stopped(outcome);
    page.sizes(outcome);
    page.groups(outcome);
    page.text.push('\n');
    if let Some(report) = report {
        page.wrapped("Report: ", &words::plain(&report.display().to_string()));
    }
    page.wrapped("", &outcome.caution);
    page.text
}

/// The verdict of a run of several fittings in a few words.
pub fn overall(outcome: &Outcome) -> String {
    let count = |verdict| outcome.fittings.iter().filter(|f| f.verdict == verdict).count();
    let parts: Vec<String> = [
        Verdict::CouldNotRun,
        Verdict::Fail,
        Verdict::PartlyTested,
        Verdict::Warn,
        Verdict::Pass,
    ]
    .into_iter()
    .filter(|verdict| count(*verdict) > 0)
    .map(|verdict| format!("{} {}", count(verdict), words::verdict(verdict).to_lowercase()))
    .collect();
    let fittings = words::count(outcome.fittings.len(), "fitting", "fittings");
    format!("{fittings}: {}", parts.join(", "))
}

/// What a fitting's verdict rests on, in one line: `skin shows through in 3 of 24 poses, worst standing: 243 cm² in
/// all, worst at the inner left thigh, 8.6 mm deep`.
pub fn in_a_line(fitting: &Fitting) -> String {
    let tested = fitting
        .poses
        .iter()
        .filter(|p| p.verdict != Verdict::NotApplicable)
        .count();
    let Some(first) = fitting.reasons.first() else {
        return format!("within the limits in all of {}", poses(tested));
    };
    if first.pose.is_empty() {
        let next = fitting.reasons.iter().find(|r| !r.pose.is_empty());
        let and = next
            .filter(|_| first.weight == Verdict::PartlyTested)
            .map_or_else(String::new, |next| {
                format!(
                    " Apart from that, {}: {}.",
                    words::verdict(next.weight).to_lowercase(),
                    seen_in(fitting, next, tested)
                )
            });
        return format!("{}{and}", words::plain(&headline(fitting, first)));
    }
    seen_in(fitting, first, tested)
}

/// A finding without what to do, which is said below.
fn headline(fitting: &Fitting, reason: &Reason) -> String {
    fitting
        .rig_findings
        .iter()
        .find(|finding| finding.code == reason.what && reason.say.starts_with(&finding.say))
        .map_or_else(|| reason.say.clone(), |finding| finding.say.clone())
}

/// `skin shows through in 3 of 24 poses, worst standing: 243 cm² in all, ...`.
fn seen_in(fitting: &Fitting, first: &Reason, tested: usize) -> String {
    let mut failing: Vec<&str> = same(fitting, first).map(|r| r.pose.as_str()).collect();
    failing.sort_unstable();
    failing.dedup();
    let what = words::short(&first.what);
    let pose = words::pose(&first.pose);
    format!(
        "{what} in {} of {}, worst {pose}: {}",
        failing.len(),
        poses(tested),
        worst_value(fitting, first)
    )
}

fn same<'a>(fitting: &'a Fitting, first: &'a Reason) -> impl Iterator<Item = &'a Reason> {
    fitting
        .reasons
        .iter()
        .filter(|r| r.what == first.what && r.weight == first.weight)
}

fn poses(count: usize) -> String {
    if count == 1 {
        "1 pose".into()
    } else {
        format!("{count} poses")
    }
}

/// `243 cm² in all, worst at the inner left thigh, 8.6 mm deep`.
fn worst_value(fitting: &Fitting, reason: &Reason) -> String {
    let mut text = reason
        .value
        .map_or_else(|| "not measurable".into(), |v| words::quantity(&reason.what, v));
    if let Some(place) = reason.place.as_ref().filter(|p| !p.region.is_empty()) {
        let all = if reason.what.ends_with("_cm2") {
            " in all"
        } else {
            ""
        };
        text.push_str(&format!("{all}, worst at the {}", words::plain(&place.region)));
    }
    if let Some(depth) = depth(fitting, reason) {
        text.push_str(&format!(", {} deep", words::quantity("_mm", depth)));
    }
    text
}

/// How deep it is where the reason is an area that has a depth beside it.
fn depth(fitting: &Fitting, reason: &Reason) -> Option<f64> {
    let path = reason.what.strip_suffix(".area_cm2")?;
    let pose = fitting.poses.iter().find(|p| p.pose == reason.pose)?;
    let frame = pose.frames.iter().find(|f| f.frame == reason.frame)?;
    frame
        .measures
        .get(&format!("{path}.depth_mm"))
        .filter(|depth| *depth > 0.0)
}

/// A pose's worst number in words: `skin shows through 243 cm² (limit 1 cm²)`.
pub fn worst_number(limits: &worst::Limits, pose: &PoseResult) -> String {
    if let Some(why) = &pose.not_applicable {
        return words::plain(why);
    }
    let Some(worst) = worst::of_pose(limits, pose) else {
        return "nothing measured".into();
    };
    let frame = if pose.frames.len() > 1 {
        format!(", frame {}", worst.frame)
    } else {
        String::new()
    };
    format!(
        "{} {} (limit {}{frame})",
        words::short(&worst.path),
        words::quantity(&worst.path, worst.value),
        words::quantity(&worst.path, worst.limit)
    )
}

struct Page {
    text: String,
    look: Look,
}

impl Page {
    fn fitting(&mut self, outcome: &Outcome, fitting: &Fitting) {
        let line = format!("{}: {}", words::fitting(fitting), in_a_line(fitting));
        self.verdict_line(fitting.verdict, &line);
        if let [only] = fitting.reasons.as_slice()
            && only.pose.is_empty()
        {
            // The one reason is the line above; only what to do is missing.
            let help = only.say.strip_prefix(&headline(fitting, only)).unwrap_or("");
            self.wrapped("", help.trim_start());
        } else if !fitting.reasons.is_empty() {
            self.why(fitting);
        }
        self.table(outcome, fitting);
        self.spots(fitting);
        self.findings(fitting);
    }

    /// Fittings that could not run, each with why.
    fn stopped(&mut self, outcome: &Outcome) {
        let mut stopped = outcome
            .fittings
            .iter()
            .filter(|f| f.verdict == Verdict::CouldNotRun)
            .peekable();
        if stopped.peek().is_some() {
            self.text.push_str("\nCould not run\n");
        }
        for fitting in stopped {
            let why = fitting.reasons.first().map_or("", |reason| reason.say.as_str());
            self.hanging(
                "  ",
                4,
                &words::plain(&format!("{}: {why}", words::fitting(fitting))),
            );
        }
    }

    /// Failures by what would mend them.
    fn sizes(&mut self, outcome: &Outcome) {
        let sizes = rack::sizes(outcome);
        if !sizes.is_empty() {
            self.text.push_str("\nSizes that fail\n");
        }
        sizes.iter().for_each(|line| self.hanging("  ", 4, line));
    }

    fn groups(&mut self, outcome: &Outcome) {
        let groups = rack::groups(outcome);
        if !groups.is_empty() {
            self.text.push_str("\nWhat would mend them\n");
        }
        for group in &groups {
            let mend = if group.mend.is_empty() {
                String::new()
            } else {
                format!(": {}", group.mend)
            };
            let text = format!("{}, {}{mend}", group.place, group.share);
            self.entry(group.cause, Verdict::NotApplicable, &text);
        }
    }

    fn why(&mut self, fitting: &Fitting) {
        self.text.push_str("\nWhy\n");
        for reason in fitting.reasons.iter().take(REASONS) {
            let pose = if reason.pose.is_empty() {
                String::new()
            } else {
                format!("{}: ", words::pose(&reason.pose))
            };
            self.entry(
                words::verdict(reason.weight),
                reason.weight,
                &format!("{pose}{}", words::plain(&reason.say)),
            );
        }
        if fitting.reasons.len() > REASONS {
            self.text
                .push_str(&format!("  and {} more\n", fitting.reasons.len() - REASONS));
        }
    }

    fn table(&mut self, outcome: &Outcome, fitting: &Fitting) {
        if fitting.poses.is_empty() {
            return;
        }
        let names: Vec<String> = fitting.poses.iter().map(|p| words::pose(&p.pose)).collect();
        let wide = names
            .iter()
            .map(|n| n.chars().count())
            .max()
            .unwrap_or(0)
            .clamp(4, 28);
        self.text.push_str(&format!(
            "\n{:wide$}  {:14}  Worst against its limit\n",
            "Pose", "Verdict"
        ));
        for (pose, name) in fitting.poses.iter().zip(names) {
            let verdict = self.painted(&format!("{:14}", words::verdict(pose.verdict)), pose.verdict);
            let head = format!("{name:wide$}  {verdict}  ");
            self.hanging(
                &head,
                wide + 18,
                &worst_number(worst::limits(outcome, fitting), pose),
            );
        }
    }

    /// The places that fail, why, and what would help.
    fn spots(&mut self, fitting: &Fitting) {
        if !fitting.spots.is_empty() {
            self.text.push_str("\nWhere, why, and what would help\n");
        }
        for spot in &fitting.spots {
            self.entry(
                words::cause(spot.cause),
                Verdict::NotApplicable,
                &words::plain(&spot.say),
            );
            for remedy in &spot.remedies {
                self.hanging("         - ", 11, &words::plain(&words::remedy(spot, remedy)));
            }
        }
    }

    fn findings(&mut self, fitting: &Fitting) {
        // Faults and stops are among the reasons already, and so is what was left untested.
        let said = |finding: &&Finding| fitting.reasons.iter().all(|reason| reason.what != finding.code);
        let notes: Vec<&Finding> = fitting.rig_findings.iter().filter(said).collect();
        if !notes.is_empty() {
            self.text.push_str("\nThe rig\n");
        }
        for finding in notes {
            let weight = match finding.severity {
                Severity::Note => Verdict::NotApplicable,
                Severity::Fault => Verdict::Fail,
                Severity::Stop => Verdict::CouldNotRun,
            };
            let (say, help) = (words::plain(&finding.say), words::plain(&finding.help));
            let text = format!("{}: {say} {help}", words::whereabouts(finding));
            self.entry(words::severity(finding.severity), weight, text.trim_end());
        }
    }

    fn verdict_line(&mut self, verdict: Verdict, line: &str) {
        if !self.text.is_empty() {
            self.text.push('\n');
        }
        let word = words::verdict(verdict);
        let head = format!("{}  ", self.painted(word, verdict));
        self.hanging(&head, word.len() + 2, line);
    }

    fn entry(&mut self, word: &str, weight: Verdict, text: &str) {
        let head = format!("  {}  ", self.painted(&format!("{word:5}"), weight));
        self.hanging(&head, 4 + word.len().max(5), text);
    }

    fn wrapped(&mut self, head: &str, text: &str) {
        self.hanging(head, 0, text);
    }

    /// `head`, then the text in lines of the page's width, later lines `indent` columns in.
    fn hanging(&mut self, head: &str, indent: usize, text: &str) {
        let width = self.look.width.max(40);
        self.text.push_str(head);
        let mut column = indent;
        for (at, word) in text.split(' ').enumerate() {
            let long = word.chars().count();
            if at > 0 && column + 1 + long > width {
                self.text.push_str(&format!("\n{:indent$}", ""));
                column = indent;
            } else if at > 0 {
                self.text.push(' ');
                column += 1;
            }
            self.text.push_str(word);
            column += long;
        }
        let end = self.text.trim_end_matches(' ').len();
        self.text.truncate(end);
        self.text.push('\n');
    }

    fn painted(&self, word: &str, verdict: Verdict) -> String {
        let code = match verdict {
            _ if !self.look.colour => return word.to_owned(),
            Verdict::Pass => "32",
            Verdict::Warn | Verdict::PartlyTested => "33",
            Verdict::Fail | Verdict::CouldNotRun => "31",
            Verdict::NotApplicable => "2",
        };
        format!("\u{1b}[1;{code}m{word}\u{1b}[0m")
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::sample;

    const PLAIN: Look = Look {
        colour: false,
        width: 100,
    };

    #[test]
    fn the_first_line_says_the_verdict_what_and_where() {
        let text = render(&sample::outcome(), None, Look { width: 500, ..PLAIN });
        assert_eq!(
            text.lines().next().unwrap(),
            "FAIL  moss-trousers on ash: skin shows through in 3 of 23 poses, worst standing: 243 cm² in all, worst at \
             the inner left thigh, 8.6 mm deep"
        );
    }

    #[test]
    fn every_pose_has_its_word_and_number() {
        let text = render(
            &sample::outcome(),
            Some(Path::new("reports/ash/index.html")),
            PLAIN,
        );
        sample::save("summary.txt", text.as_bytes());
        for line in [
            "standing                   FAIL            skin shows through 243 cm² (limit 1 cm²)",
            "arms wide                  not applicable  the rig has no upper arms",
            "Report: reports/ash/index.html",
        ] {
            assert!(text.contains(line), "{line}\n{text}");
        }
        assert!(text.lines().all(|line| line.chars().count() <= 100), "{text}");
        assert!(text.lines().all(|line| line.trim_end() == line), "{text}");
    }

    #[test]
    fn colour_only_adds() {
        let coloured = render(
            &sample::outcome(),
            None,
            Look {
                colour: true,
                ..PLAIN
            },
        );
        assert!(coloured.starts_with("\u{1b}[1;31mFAIL\u{1b}[0m  moss-trousers"));
        let mut bare = coloured;
        for code in [
            "\u{1b}[1;31m",
            "\u{1b}[1;32m",
            "\u{1b}[1;33m",
            "\u{1b}[1;2m",
            "\u{1b}[0m",
        ] {
            bare = bare.replace(code, "");
        }
        assert_eq!(bare, render(&sample::outcome(), None, PLAIN));
    }

    #[test]
    fn many_fittings_start_with_the_count() {
        let mut outcome = sample::outcome();
        let mut clean = outcome.fittings[0].clone();
        clean.verdict = Verdict::Pass;
        clean.reasons.clear();
        outcome.fittings.push(clean);
        let text = render(&outcome, None, PLAIN);
        assert_eq!(text.lines().next().unwrap(), "FAIL  2 fittings: 1 fail, 1 pass");
        assert!(
            text.contains("PASS  moss-trousers on ash: within the limits in all of 23 poses"),
            "{text}"
        );
    }
}
