//! A rack against what was accepted of it.

use crate::cli::{Trouble, accept, try_on};
use gusset::compare::{self, Accepted, Change, Kind};
use gusset::outcome::Outcome;
use gusset::report::junit::Worse;
use gusset::report::words;
use std::path::{Path, PathBuf};

/// The accepted result, where there is one.
pub(in crate::cli) struct Recheck {
    file: PathBuf,
    accepted: Option<Accepted>,
}

/// What came out of it.
#[derive(Default)]
pub(in crate::cli) struct Told {
    /// For people.
    pub(in crate::cli) text: String,
    /// Whether anything got worse.
    pub(in crate::cli) is_worse: bool,
    /// For build servers, pose by pose.
    pub(in crate::cli) worse: Vec<Worse>,
    /// Why this run must not count as one, on a build server.
    pub(in crate::cli) trouble: Option<String>,
}

impl Recheck {
    /// The file the user names, which must be there; else the one beside the fitting file, if it is.
    pub(in crate::cli) fn of(named: Option<&Path>, beside: Option<&Path>) -> Result<Self, Trouble> {
        let file = named.or(beside).map_or_else(PathBuf::new, Path::to_owned);
        let there = named.is_some() || file.is_file();
        Ok(Self {
            accepted: there.then(|| accept::read(&file)).transpose()?,
            file,
        })
    }

    /// What changed. `fittings` are the names of the whole rack, where they are known.
    pub(in crate::cli) fn against(&self, outcome: &Outcome, fittings: Option<&[String]>) -> Told {
        let on_a_server = std::env::var("CI").is_ok_and(|ci| ci == "true");
        let Some(accepted) = &self.accepted else {
            return Told {
                trouble: (on_a_server && fittings.is_some()).then(|| {
                    format!(
                        "{0}: nothing was accepted yet, and a build server needs something to measure against; accept the \
                         report and commit the file: gusset accept REPORT --to {0}",
                        self.file.display()
                    )
                }),
                ..Told::default()
            };
        };
        let mut told = Told::default();
        let stranger = fittings.and_then(|names| accepted.stranger(names));
        let stranger = stranger.map(|name| format!("it knows {name}, which is not in this rack"));
        if let Some(why) = accepted.stale(outcome).or(stranger) {
            let say = format!(
                "{0}: this accepted result is stale: {why}; accept again with: gusset accept REPORT --to {0}",
                self.file.display()
            );
            told.text = format!("{say}\n\n");
            told.trouble = on_a_server.then_some(say);
        }
        let changes = compare::against(&accepted.of_run(outcome), outcome);
        told.is_worse = changes.iter().any(|change| change.kind == Kind::Worse);
        told.worse = changes
            .iter()
            .filter_map(|change| worse(outcome, change))
            .collect();
        told.text.push_str(&try_on::in_words(&self.file, &changes));
        told
    }
}

fn worse(outcome: &Outcome, change: &Change) -> Option<Worse> {
    if change.kind != Kind::Worse {
        return None;
    }
    let is_of = |fitting| change.key == compare::key(fitting, &change.pose, &change.path);
    Some(Worse {
        fitting: outcome.fittings.iter().position(is_of)?,
        pose: change.pose.clone(),
        say: words::plain(&compare::say(change)),
    })
}
