//! What is wrong with a pose, where it is written, and what to write instead.

use crate::written::{Mistake, WrittenError, nearest};
use miette::Diagnostic;
use thiserror::Error;

/// Why a pose, or a name for one, was refused. Each is one sentence; with [`PoseError::report`] the binary prints the
/// file, the line and what to write instead.
#[derive(Clone, Debug, Error, Diagnostic)]
pub enum PoseError {
    /// Something written in a pose file.
    #[error(transparent)]
    #[diagnostic(transparent)]
    Written(Box<Mistake>),
    /// A file that is not text or far too long.
    #[error("{file}: {say}")]
    NotText {
        /// As given.
        file: String,
        /// Why not.
        say: String,
    },
    /// No pose, clip or motion of that name.
    #[error("there is no {kind} called `{name}`")]
    Unknown {
        /// `pose`, `clip`, `motion`.
        kind: &'static str,
        /// As asked for.
        name: String,
        /// The nearest right name, or where to find them.
        #[help]
        help: String,
    },
    /// A range such as `hip.flexion=0:120` that cannot be read.
    #[error("`{text}` is not a motion to sweep: {say}")]
    Sweep {
        /// As given.
        text: String,
        /// Why not.
        say: String,
        /// How it is written.
        #[help]
        help: String,
    },
}

impl From<WrittenError> for PoseError {
    fn from(error: WrittenError) -> Self {
        match error {
            WrittenError::Written(mistake) => Self::Written(mistake),
            WrittenError::NotText { file, say } => Self::NotText { file, say },
        }
    }
}

impl PoseError {
    /// The error as `miette` prints it, with the snippet of the file.
    pub fn report(self) -> miette::Report {
        miette::Report::new(self)
    }

    /// The place in the file, where the error has one.
    pub fn mistake(&self) -> Option<&Mistake> {
        match self {
            Self::Written(mistake) => Some(mistake),
            _ => None,
        }
    }

    /// The sentence with what to do behind it, in one line.
    pub fn in_a_line(&self) -> String {
        let help = Diagnostic::help(self).map(|help| help.to_string());
        help.map_or_else(|| self.to_string(), |help| format!("{self}; {help}"))
    }

    /// `no pose called ..`, with the nearest of the known names.
    pub(super) fn unknown<'a>(
        kind: &'static str,
        name: &str,
        known: impl IntoIterator<Item = &'a str> + Clone,
    ) -> Self {
        let help = match nearest(name, known.clone()) {
            Some(near) => format!("did you mean `{near}`?"),
            None => list(kind, known),
        };
        Self::Unknown {
            kind,
            name: name.to_owned(),
            help,
        }
    }
}

fn list<'a>(kind: &str, known: impl IntoIterator<Item = &'a str>) -> String {
    // A list longer than this is read by nobody.
    const MOST: usize = 40;
    let known: Vec<&str> = known.into_iter().collect();
    match known.len() {
        0 => format!("there is no {kind} here at all"),
        len if len > MOST => format!("there are: {}, and {} more", known[..MOST].join(", "), len - MOST),
        _ => format!("there are: {}", known.join(", ")),
    }
}
