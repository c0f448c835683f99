//! A folder that appears whole or not at all: written beside its place, renamed when it is done.

use super::folder::ReportError;
use std::path::{Path, PathBuf};
use std::{fs, io};

/// Marks the folder that is being written, and the old one on its way out.
const WRITING: &str = ".gusset-writing";
const OLD: &str = ".gusset-old";

/// A report that is being written.
#[derive(Debug)]
pub struct Tree {
    folder: PathBuf,
    writing: PathBuf,
    old: PathBuf,
    done: bool,
}

impl Tree {
    /// Ready to be filled. What a killed run left behind is removed.
    ///
    /// # Errors
    /// A folder that holds something else than a report, or a system that refuses.
    pub fn begin(folder: &Path) -> Result<Self, ReportError> {
        if folder.exists() && !is_ours(folder) {
            return Err(ReportError::NotOurs(folder.display().to_string()));
        }
        let tree = Self {
            folder: folder.to_owned(),
            writing: beside(folder, WRITING),
            old: beside(folder, OLD),
            done: false,
        };
        let made = remove(&tree.writing)
            .and_then(|()| match tree.old.exists() && !folder.exists() {
                // A run that was killed between the two renames: the old report is the whole one.
                true => fs::rename(&tree.old, folder),
                false => Ok(()),
            })
            .and_then(|()| remove(&tree.old))
            .and_then(|()| fs::create_dir_all(&tree.writing));
        made.map_err(|error| tree.refused(&error))?;
        Ok(tree)
    }

    /// Where a part of it is written until it is whole.
    pub fn part(&self, name: &str) -> PathBuf {
        self.writing.join(name)
    }

    /// Writes files into it, by relative name.
    ///
    /// # Errors
    /// The system refuses.
    pub fn fill(&self, files: &[(String, Vec<u8>)]) -> Result<(), ReportError> {
        fill(&self.writing, files).map_err(|error| self.refused(&error))
    }

    /// Takes a folder of another report over as it is, as this part. Files are never written in place, so that both may
    /// share them.
    ///
    /// # Errors
    /// The system refuses.
    pub fn take_over(&self, from: &Path, name: &str) -> Result<(), ReportError> {
        share(from, &self.part(name)).map_err(|error| self.refused(&error))
    }

    /// Puts it in its place; an older report is gone then.
    ///
    /// # Errors
    /// The older report is then still there as it was.
    pub fn finish(mut self) -> Result<(), ReportError> {
        swap(&self.folder, &self.writing, &self.old).map_err(|error| self.refused(&error))?;
        self.done = true;
        Ok(())
    }

    fn refused(&self, error: &io::Error) -> ReportError {
        ReportError::Refused {
            folder: self.folder.display().to_string(),
            why: error.to_string(),
        }
    }
}

impl Drop for Tree {
    fn drop(&mut self) {
        if !self.done {
            let _ = remove(&self.writing);
        }
    }
}

fn beside(folder: &Path, ending: &str) -> PathBuf {
    let name = folder
        .file_name()
        .map_or_else(|| "report".into(), |name| name.to_string_lossy().into_owned());
    folder.with_file_name(format!(".{name}{ending}"))
}

/// A report of ours, or an empty folder.
fn is_ours(folder: &Path) -> bool {
    let empty = fs::read_dir(folder).is_ok_and(|mut entries| entries.next().is_none());
    empty || (folder.join("result.json").is_file() && folder.join("index.html").is_file())
}

fn remove(path: &Path) -> io::Result<()> {
    match fs::remove_dir_all(path) {
        Err(error) if error.kind() != io::ErrorKind::NotFound => Err(error),
        _ => Ok(()),
    }
}

fn fill(writing: &Path, files: &[(String, Vec<u8>)]) -> io::Result<()> {
    for (name, bytes) in files {
        let path = writing.join(name);
        if let Some(parent) = path.parent() {
            fs::create_dir_all(parent)?;
        }
        fs::write(path, bytes)?;
    }
    Ok(())
}

/// The same files in another folder: by a second name where the disk can, else copied.
fn share(from: &Path, to: &Path) -> io::Result<()> {
    fs::create_dir_all(to)?;
    for entry in fs::read_dir(from)? {
        let (path, name) = entry.map(|entry| (entry.path(), entry.file_name()))?;
        let into = to.join(name);
        let kind = fs::symlink_metadata(&path)?;
        if kind.is_dir() {
            share(&path, &into)?;
        } else if kind.is_file() && fs::hard_link(&path, &into).is_err() {
            fs::copy(&path, &into)?;
        }
    }
    Ok(())
}

fn swap(folder: &Path, writing: &Path, old: &Path) -> io::Result<()> {
    if folder.exists() {
        fs::rename(folder, old)?;
    }
    if let Err(error) = fs::rename(writing, folder) {
        if old.exists() {
            fs::rename(old, folder)?;
        }
        return Err(error);
    }
    remove(old)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn page(text: &str) -> Vec<(String, Vec<u8>)> {
        ["index.html", "result.json", "one/picture.png"]
            .map(|name| (name.to_owned(), text.as_bytes().to_vec()))
            .to_vec()
    }

    #[test]
    fn a_tree_appears_whole_and_takes_parts_over() {
        let parent = tempfile::tempdir().unwrap();
        let folder = parent.path().join("reports/rack");
        let tree = Tree::begin(&folder).unwrap();
        tree.fill(&page("first")).unwrap();
        assert!(!folder.exists());
        tree.finish().unwrap();
        let again = Tree::begin(&folder).unwrap();
        again.take_over(&folder.join("one"), "two").unwrap();
        again.fill(&page("second")).unwrap();
        again.finish().unwrap();
        let read = |name: &str| fs::read_to_string(folder.join(name)).unwrap();
        assert_eq!(
            ["two/picture.png", "one/picture.png", "index.html"].map(read),
            ["first", "second", "second"]
        );
        // One that is given up leaves the old one as it was.
        let never = Tree::begin(&folder).unwrap();
        never.fill(&page("third")).unwrap();
        drop(never);
        assert_eq!(read("index.html"), "second");
        assert_eq!(fs::read_dir(folder.parent().unwrap()).unwrap().count(), 1);
    }

    #[test]
    fn what_a_killed_run_left_is_cleaned_and_the_old_report_comes_back() {
        let parent = tempfile::tempdir().unwrap();
        let folder = parent.path().join("fit");
        let tree = Tree::begin(&folder).unwrap();
        tree.fill(&page("old")).unwrap();
        tree.finish().unwrap();
        fs::rename(&folder, beside(&folder, OLD)).unwrap();
        fs::create_dir(beside(&folder, WRITING)).unwrap();
        drop(Tree::begin(&folder).unwrap());
        assert!(folder.join("result.json").is_file());
        assert_eq!(fs::read_dir(parent.path()).unwrap().count(), 1);
    }
}
