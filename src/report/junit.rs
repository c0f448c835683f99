//! The run for a build server: one suite per fitting, one case per pose, and one for the rig.
//!
//! The form of the Apache Ant schema (Windy Road) without times, which would differ from run to run. *failure* is a
//! limit that does not hold, *error* a fitting that could not run, *skipped* a pose that does not apply. A warning
//! passes and is told in `system-out`.

use super::{text, words, worst};
use crate::outcome::{Fitting, Outcome, PoseResult, Severity, Verdict};

/// The XML text.
pub fn render(outcome: &Outcome) -> String {
    let mut xml = String::from("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n");
    let suites: Vec<Suite> = outcome
        .fittings
        .iter()
        .map(|fitting| suite(outcome, fitting))
        .collect();
    let sum = |of: fn(&Suite) -> usize| suites.iter().map(of).sum::<usize>();
    xml.push_str(&format!(
        "<testsuites name=\"gusset\" tests=\"{}\" failures=\"{}\" errors=\"{}\">\n",
        sum(|s| s.cases.len()),
        sum(|s| s.count("failure")),
        sum(|s| s.count("error"))
    ));
    suites.iter().for_each(|suite| suite.write(&mut xml));
    xml + "</testsuites>\n"
}

struct Suite {
    name: String,
    cases: Vec<Case>,
}

struct Case {
    name: String,
    /// `failure`, `error`, `skipped`, `system-out`; absent for a clean pass.
    kind: Option<&'static str>,
    message: String,
    body: String,
}

fn suite(outcome: &Outcome, fitting: &Fitting) -> Suite {
    let mut cases = vec![rig_case(fitting)];
    cases.extend(fitting.poses.iter().map(|pose| pose_case(outcome, fitting, pose)));
    Suite {
        name: words::fitting(fitting),
        cases,
    }
}

fn rig_case(fitting: &Fitting) -> Case {
    let worst = fitting
        .rig_findings
        .iter()
        .map(|f| f.severity)
        .max_by_key(|s| match s {
            Severity::Note => 0,
            Severity::Fault => 1,
            Severity::Stop => 2,
        });
    let kind = match worst {
        // Whatever stopped it: silence is never a pass.
        _ if fitting.verdict == Verdict::CouldNotRun => Some("error"),
        None => None,
        Some(Severity::Note) => Some("system-out"),
        Some(Severity::Fault) => Some("failure"),
        Some(Severity::Stop) => Some("error"),
    };
    let told = fitting
        .rig_findings
        .iter()
        .map(|f| format!("{}: {} {}", words::whereabouts(f), f.say, f.help));
    let general = fitting
        .reasons
        .iter()
        .filter(|r| r.pose.is_empty())
        .map(|r| r.say.clone());
    let body: Vec<String> = told.chain(general).collect();
    Case {
        name: "rig".into(),
        kind,
        message: body.first().cloned().unwrap_or_default(),
        body: body.join("\n"),
    }
}

fn pose_case(outcome: &Outcome, fitting: &Fitting, pose: &PoseResult) -> Case {
    let kind = match pose.verdict {
        Verdict::Pass => None,
        Verdict::Warn => Some("system-out"),
        // Part of the test is missing: a build server knows no better word for it.
        Verdict::NotApplicable | Verdict::PartlyTested => Some("skipped"),
        Verdict::Fail => Some("failure"),
        Verdict::CouldNotRun => Some("error"),
    };
    let reasons: Vec<&str> = fitting
        .reasons
        .iter()
        .filter(|r| r.pose == pose.pose)
        .map(|r| r.say.as_str())
        .collect();
    let message = text::worst_number(worst::limits(outcome, fitting), pose);
    Case {
        name: words::pose(&pose.pose),
        kind,
        message,
        body: reasons.join("\n"),
    }
}

impl Suite {
    fn count(&self, kind: &str) -> usize {
        self.cases.iter().filter(|case| case.kind == Some(kind)).count()
    }

    fn write(&self, xml: &mut String) {
        let name = escaped(&self.name);
        xml.push_str(&format!(
            "  <testsuite name=\"{name}\" tests=\"{}\" failures=\"{}\" errors=\"{}\" skipped=\"{}\">\n",
            self.cases.len(),
            self.count("failure"),
            self.count("error"),
            self.count("skipped")
        ));
        for case in &self.cases {
            xml.push_str(&format!(
                "    <testcase name=\"{}\" classname=\"{name}\"",
                escaped(&case.name)
            ));
            xml.push_str(&case.outcome());
        }
        xml.push_str("  </testsuite>\n");
    }
}

impl Case {
    /// The rest of the element after its attributes.
    fn outcome(&self) -> String {
        let (message, body) = (escaped(&self.message), escaped(&self.body));
        let inner = match self.kind {
            None => return "/>\n".into(),
            Some("system-out") => format!("<system-out>{message}\n{body}</system-out>"),
            Some("skipped") => format!("<skipped message=\"{message}\"/>"),
            Some(kind) => format!("<{kind} message=\"{message}\" type=\"limit\">{body}</{kind}>"),
        };
        format!(">\n      {inner}\n    </testcase>\n")
    }
}

/// Text that XML 1.0 allows, also in an attribute.
fn escaped(text: &str) -> String {
    let mut safe = String::with_capacity(text.len());
    for letter in text.chars() {
        match letter {
            '<' => safe.push_str("&lt;"),
            '>' => safe.push_str("&gt;"),
            '&' => safe.push_str("&amp;"),
            '"' => safe.push_str("&quot;"),
            '\n' => safe.push(letter),
            _ if letter.is_control() || matches!(letter, '\u{fffe}' | '\u{ffff}') => safe.push(' '),
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
    fn cases_are_counted_by_how_they_ended() {
        let xml = render(&sample::outcome());
        sample::save("junit.xml", xml.as_bytes());
        let suite = "<testsuite name=\"moss-trousers on ash\" tests=\"25\" failures=\"4\" errors=\"0\" skipped=\"2\">";
        assert!(xml.contains(suite), "{xml}");
        assert_eq!(xml.matches("<failure").count(), 4);
        assert!(
            xml.contains("<failure message=\"skin shows through 243 cm² (limit 1 cm²)\" type=\"limit\">")
        );
        assert!(xml.contains("<testcase name=\"build splay\" classname=\"moss-trousers on ash\"/>"));
    }

    #[test]
    fn a_fitting_that_could_not_run_is_an_error_without_any_pose() {
        let mut outcome = sample::outcome();
        let fitting = &mut outcome.fittings[0];
        fitting.verdict = Verdict::CouldNotRun;
        fitting.poses.clear();
        fitting.rig_findings.clear();
        let xml = render(&outcome);
        assert!(xml.contains("errors=\"1\"") && xml.contains("<error "), "{xml}");
    }

    #[test]
    fn names_cannot_break_out() {
        let mut outcome = sample::outcome();
        outcome.fittings[0].body = "\"><failure/>\u{1b}&".into();
        let xml = render(&outcome);
        assert!(xml.contains("&quot;&gt;&lt;failure/&gt; &amp;") && !xml.contains('\u{1b}'));
        assert!(resvg::usvg::roxmltree::Document::parse(&xml).is_ok());
    }
}
