//! What is wrong with a hand-written file, where it is written, and what to write instead.

use miette::{Diagnostic, NamedSource, SourceSpan};
use thiserror::Error;

/// Why a hand-written file was refused: one sentence; with [`WrittenError::report`] the binary prints the file, the line
/// and what to write instead.
#[derive(Clone, Debug, Error, Diagnostic)]
pub enum WrittenError {
    /// Something written in it.
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
}

/// Something in a hand-written file that cannot stand, with its place.
#[derive(Clone, Debug, Error, Diagnostic)]
#[error("{file}:{line}:{column}: {say}")]
pub struct Mistake {
    /// Name of the file, as given.
    pub file: String,
    /// 1-based.
    pub line: usize,
    /// 1-based, in characters.
    pub column: usize,
    /// One plain sentence.
    pub say: String,
    /// The whole text, for the snippet.
    #[source_code]
    pub written: NamedSource<String>,
    /// Byte offset and length.
    #[label("{label}")]
    pub span: SourceSpan,
    /// A few words under the spot.
    pub label: String,
    /// What to write instead.
    #[help]
    pub help: String,
}

impl WrittenError {
    /// The error as `miette` prints it, with the snippet of the file.
    pub fn report(self) -> miette::Report {
        miette::Report::new(self)
    }

    /// The place in the file, where the error has one.
    pub fn mistake(&self) -> Option<&Mistake> {
        match self {
            Self::Written(mistake) => Some(mistake),
            Self::NotText { .. } => None,
        }
    }

    /// The sentence with what to do behind it, in one line.
    pub fn in_a_line(&self) -> String {
        let help = Diagnostic::help(self).map(|help| help.to_string());
        help.map_or_else(|| self.to_string(), |help| format!("{self}; {help}"))
    }
}
