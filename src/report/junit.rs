//! The run for a build server: one suite per fitting, one case per pose, and one for the rig.
//!
//! The form of the Apache Ant schema (Windy Road) without times, which would differ from run to run. *failure* is a
//! limit that does not hold, *error* a fitting that could not run, *skipped* a pose that does not apply. A warning
//! passes and is told in `system-out`.

use super::{text, words, worst};
use crate::outcome::{Fitting, Outcome, PoseResult, Severity, Verdict};

/// A pose that got worse than what was accepted.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Worse {
    /// Index into the outcome's fittings.
    pub fitting: usize,
    /// The pose's name.
    pub pose: String,
    /// What got worse, in a sentence.
    pub say: String,
}

/// The XML text.
pub fn render(outcome: &Outcome) -> String {
    render_against(outcome, &[])
}

/// As [`render`]; a pose that got worse than what was accepted is a *failure* as well, also where its limits hold.
pub fn render_against(outcome: &Outcome, worse: &[Worse]) -> String {
    let mut xml = String::from("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n");
    let suites: Vec<Suite> = outcome
        .fittings
        .iter()
        .enumerate()
        .map(|(at, fitting)| {
            let of_fitting: Vec<&Worse> = worse.iter().filter(|worse| worse.fitting == at).collect();
            suite(outcome, fitting, &of_fitting)
        })
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
    /// What a failure breaks: a limit, or what was accepted.
    of: &'static str,
    message: String,
    body: String,
}

fn suite(outcome: &Outcome, fitting: &Fitting, worse: &[&Worse]) -> Suite {
    let mut cases = vec![rig_case(fitting)];
    cases.extend(fitting.poses.iter().map(|pose| {
        let case = pose_case(outcome, fitting, pose);
        let say: Vec<&str> = worse
            .iter()
            .filter(|worse| worse.pose == pose.pose)
            .map(|worse| worse.say.as_str())
            .collect();
        if say.is_empty() { case } else { case.worse(&say) }
    }));
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
    let findings: Vec<String> = told.collect();
    // A reason that only repeats a finding is not told again.
    let general = general.filter(|say| !fitting.rig_findings.iter().any(|f| say.starts_with(&f.say)));
    let body: Vec<String> = findings.iter().cloned().chain(general).collect();
    Case {
        name: "rig".into(),
        kind,
        of: "limit",
        message: match (body.first(), kind) {
            (Some(first), _) => first.clone(),
            (None, Some("error")) => "This fitting could not run.".into(),
            (None, _) => String::new(),
        },
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
        of: "limit",
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
    /// The case of a pose that got worse than what was accepted.
    fn worse(self, say: &[&str]) -> Self {
        let told = format!("Worse than accepted: {}", say.join("; "));
        match self.kind {
            Some("failure") => Self {
                body: format!("{}\n{told}", self.body),
                ..self
            },
            Some("error") => self,
            _ => Self {
                kind: Some("failure"),
                of: "worse",
                message: told,
                body: self.body,
                ..self
            },
        }
    }

    /// The rest of the element after its attributes.
    fn outcome(&self) -> String {
        let (message, body) = (escaped(&self.message), escaped(&self.body));
        let inner = match self.kind {
            None => return "/>\n".into(),
            Some("system-out") => format!("<system-out>{message}\n{body}</system-out>"),
            Some("skipped") => format!("<skipped message=\"{message}\"/>"),
            Some(kind) => {
                let of = if kind == "error" { "could_not_run" } else { self.of };
                format!("<{kind} message=\"{message}\" type=\"{of}\">{body}</{kind}>")
            }
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
            '\n' | '\u{fffe}' | '\u{ffff}' => safe.push(if letter == '\n' { letter } else { ' ' }),
            _ => safe.push_str(&words::plain(letter.encode_utf8(&mut [0; 4]))),
        }
    }
    safe
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::sample;
    use roxmltree::{Document, Node};

    fn cases<'a>(xml: &'a Document) -> Vec<Node<'a, 'a>> {
        xml.descendants().filter(|n| n.has_tag_name("testcase")).collect()
    }

    fn with(xml: &Document, kind: &str) -> usize {
        cases(xml)
            .iter()
            .filter(|case| case.children().any(|child| child.has_tag_name(kind)))
            .count()
    }

    fn said(node: Node, attribute: &str) -> usize {
        node.attribute(attribute).unwrap().parse().unwrap()
    }

    #[test]
    fn there_is_a_case_for_every_pose_and_one_for_the_rig() {
        let outcome = sample::outcome();
        let text = render(&outcome);
        sample::save("junit.xml", text.as_bytes());
        let xml = Document::parse(&text).unwrap();
        let fitting = &outcome.fittings[0];
        let names: Vec<String> = cases(&xml)
            .iter()
            .map(|case| case.attribute("name").unwrap().to_owned())
            .collect();
        let expected: Vec<String> = std::iter::once("rig".to_owned())
            .chain(fitting.poses.iter().map(|pose| words::pose(&pose.pose)))
            .collect();
        assert_eq!(names, expected);
        assert!(
            cases(&xml)
                .iter()
                .all(|case| case.attribute("classname") == Some("moss-trousers on ash"))
        );
    }

    #[test]
    fn the_counts_are_those_of_the_cases() {
        let text = render(&sample::outcome());
        let xml = Document::parse(&text).unwrap();
        let suite = xml.descendants().find(|n| n.has_tag_name("testsuite")).unwrap();
        assert_eq!(said(suite, "tests"), cases(&xml).len());
        for (attribute, kind) in [
            ("failures", "failure"),
            ("errors", "error"),
            ("skipped", "skipped"),
        ] {
            assert_eq!(said(suite, attribute), with(&xml, kind), "{kind}");
        }
        // Three poses and the rig's fault fail; a warning passes and says so.
        assert_eq!(
            (
                with(&xml, "failure"),
                with(&xml, "error"),
                with(&xml, "system-out")
            ),
            (4, 0, 2)
        );
    }

    #[test]
    fn a_failure_says_what_is_over_which_limit() {
        let text = render(&sample::outcome());
        let xml = Document::parse(&text).unwrap();
        let standing = cases(&xml)
            .into_iter()
            .find(|c| c.attribute("name") == Some("standing"))
            .unwrap();
        let failure = standing.children().find(|n| n.has_tag_name("failure")).unwrap();
        assert_eq!(
            failure.attribute("message"),
            Some("skin shows through 243 cm² (limit 1 cm²)")
        );
        assert_eq!(failure.attribute("type"), Some("limit"));
    }

    #[test]
    fn a_fitting_that_could_not_run_is_an_error_without_any_pose() {
        let mut outcome = sample::outcome();
        let fitting = &mut outcome.fittings[0];
        fitting.verdict = Verdict::CouldNotRun;
        fitting.poses.clear();
        fitting.rig_findings.clear();
        fitting.reasons.clear();
        let text = render(&outcome);
        let xml = Document::parse(&text).unwrap();
        assert_eq!((with(&xml, "error"), with(&xml, "failure")), (1, 0));
        let error = xml.descendants().find(|n| n.has_tag_name("error")).unwrap();
        assert_eq!(error.attribute("message"), Some("This fitting could not run."));
    }

    #[test]
    fn what_got_worse_fails_also_where_its_limits_hold() {
        let outcome = sample::outcome();
        let before = with(&Document::parse(&render(&outcome)).unwrap(), "failure");
        let of = |verdict| {
            outcome.fittings[0]
                .poses
                .iter()
                .find(|pose| pose.verdict == verdict)
                .unwrap()
        };
        let worse = [Verdict::Pass, Verdict::Warn, Verdict::Fail].map(|verdict| Worse {
            fitting: 0,
            pose: of(verdict).pose.clone(),
            say: "lift was 0.4, is 7.5".into(),
        });
        let text = render_against(&outcome, &worse);
        let xml = Document::parse(&text).unwrap();
        assert_eq!(with(&xml, "failure"), before + 2);
        assert_eq!(said(xml.root_element(), "failures"), before + 2);
        assert_eq!(text.matches("type=\"worse\"").count(), 2);
        assert_eq!(
            text.matches("Worse than accepted: lift was 0.4, is 7.5").count(),
            3
        );
    }

    #[test]
    fn names_come_back_as_they_were_less_what_steers() {
        let mut outcome = sample::outcome();
        outcome.fittings[0].body = "\"><failure/>\u{1b}[2J\r\t\u{ffff}\u{202e}&amp;]]>'\u{1f456}".into();
        outcome.fittings[0].reasons[0].say = "</failure>\u{0}\u{7f}\u{85}&#0;".into();
        let text = render(&outcome);
        let xml = Document::parse(&text).unwrap();
        let suite = xml.descendants().find(|n| n.has_tag_name("testsuite")).unwrap();
        assert_eq!(
            suite.attribute("name"),
            Some("moss-trousers on \"><failure/> [2J    &amp;]]>'\u{1f456}")
        );
        assert_eq!(with(&xml, "failure"), 4);
        let failure = xml
            .descendants()
            .filter(|n| n.has_tag_name("failure"))
            .nth(1)
            .unwrap();
        assert!(
            failure.text().unwrap().starts_with("</failure>   &#0;"),
            "{:?}",
            failure.text()
        );
    }
}
