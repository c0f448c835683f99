//! Where real test input lies; said loudly when it does not.

use std::io::Write;
use std::path::{Path, PathBuf};

/// The folder of real rigs: `GUSSET_RIGS`, else `../shared/rigs` beside the project.
pub(crate) fn rigs() -> Option<PathBuf> {
    let beside = || Path::new(env!("CARGO_MANIFEST_DIR")).join("../shared/rigs");
    let folder = std::env::var_os("GUSSET_RIGS").map_or_else(beside, PathBuf::from);
    if folder.is_dir() {
        return Some(folder);
    }
    // Not by the print macros: the test harness would swallow those of a test that passes.
    let _ = writeln!(
        std::io::stderr(),
        "SKIPPED: no real rigs at {}; set GUSSET_RIGS to test on them",
        folder.display()
    );
    None
}
