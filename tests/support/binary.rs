//! The binary as a user runs it.

use std::path::Path;
use std::process::{Command, Output};

/// Runs the binary in a fresh empty folder and hands both back.
pub(crate) fn gusset(words: &[&str]) -> (Output, tempfile::TempDir) {
    let place = tempfile::tempdir().unwrap();
    let output = Command::new(env!("CARGO_BIN_EXE_gusset"))
        .args(words)
        .current_dir(place.path())
        .output()
        .unwrap();
    (output, place)
}

pub(crate) fn is_empty(folder: &Path) -> bool {
    std::fs::read_dir(folder).unwrap().next().is_none()
}

/// Exit code 2, one sentence that holds the words, nothing written.
pub(crate) fn refuses(words: &[&str], said: &[&str]) {
    let (output, place) = gusset(words);
    let all = format!(
        "{}{}",
        String::from_utf8_lossy(&output.stdout),
        String::from_utf8_lossy(&output.stderr)
    );
    assert_eq!(output.status.code(), Some(2), "{words:?}: {all}");
    for word in said {
        assert!(
            all.replace('\n', " ").contains(word),
            "{words:?} does not say `{word}`: {all}"
        );
    }
    assert!(!all.contains("panicked"), "{all}");
    assert!(is_empty(place.path()), "{words:?} wrote something");
}
