//! Very many files for one folder, from several threads, that appear together or not at all.
//!
//! They are written into a folder of their own, which is synced once: a hundred thousand files cannot all
//! be open, and would be synced one by one for minutes. A new folder is that one, renamed; into one that
//! exists the files are renamed one after the other.

use std::fs::{self, File};
use std::io::{self, Write as _};
use std::path::{Path, PathBuf};

use super::leftovers::{Leftover, hold};
use super::{FileError, Outputs, temporary_name};

/// Files for one folder, until [`FolderFiles::commit`] beside their places.
pub struct FolderFiles {
    target: PathBuf,
    filling: PathBuf,
    overwrite: bool,
    is_new: bool,
    /// Holds the folders above that were made.
    above: Option<Outputs>,
}

impl FolderFiles {
    /// Begins files for the folder `target`, which need not exist. With `overwrite`, files in it are
    /// replaced on commit.
    pub fn begin(target: &Path, overwrite: bool) -> Result<Self, FileError> {
        let is_new = !target.is_dir();
        let mut above = Outputs::new(overwrite);
        if is_new {
            if fs::symlink_metadata(target).is_ok() {
                return Err(FileError::io(target, "make this folder")(io::ErrorKind::NotADirectory.into()));
            }
            above.make_folder(target.parent().unwrap_or(Path::new("")))?;
        }
        let filling =
            if is_new { temporary_name(target) } else { temporary_name(&target.join("corrections")) };
        let mut left = hold();
        fs::create_dir(&filling).map_err(FileError::io(target, "make this folder"))?;
        left.insert(filling.clone(), Leftover::Folder);
        Ok(Self { target: target.to_owned(), filling, overwrite, is_new, above: Some(above) })
    }

    /// Writes one file. Its name must be new: [`FileError::Twice`] otherwise.
    pub fn write(&self, name: &str, bytes: &[u8]) -> Result<(), FileError> {
        let path = || self.target.join(name);
        if !self.is_new && !self.overwrite && fs::symlink_metadata(path()).is_ok() {
            return Err(FileError::Exists { path: path() });
        }
        let written = File::create_new(self.filling.join(name)).and_then(|mut file| file.write_all(bytes));
        written.map_err(|error| match error.kind() {
            io::ErrorKind::AlreadyExists => FileError::Twice { path: path() },
            _ => FileError::io(&path(), "write")(error),
        })
    }

    /// Forgets the files that were written.
    pub fn clear(&self) -> Result<(), FileError> {
        let cleared = fs::remove_dir_all(&self.filling).and_then(|()| fs::create_dir(&self.filling));
        cleared.map_err(FileError::io(&self.target, "write"))
    }

    /// Syncs all files to the disk, then puts them in their places.
    pub fn commit(mut self) -> Result<(), FileError> {
        sync(&self.filling).map_err(FileError::io(&self.target, "write"))?;
        let mut left = hold();
        let placed = if self.is_new { fs::rename(&self.filling, &self.target) } else { self.place_each() };
        if placed.is_ok() {
            left.remove(&self.filling);
        }
        drop(left);
        placed.map_err(FileError::io(&self.target, "write"))?;
        // Without files of its own this only keeps the folders.
        self.above.take().map_or(Ok(()), |above| above.commit().map(drop))
    }

    fn place_each(&self) -> io::Result<()> {
        for entry in fs::read_dir(&self.filling)? {
            let entry = entry?;
            fs::rename(entry.path(), self.target.join(entry.file_name()))?;
        }
        fs::remove_dir(&self.filling)
    }
}

impl Drop for FolderFiles {
    fn drop(&mut self) {
        // After a commit there is nothing at this path; a failure to clean up has nobody to hear it.
        let mut left = hold();
        if left.remove(&self.filling).is_some() {
            let _ = fs::remove_dir_all(&self.filling);
        }
    }
}

/// One sync of the whole file system: it takes as long as the disk needs for what was written.
#[cfg(target_os = "linux")]
fn sync(folder: &Path) -> io::Result<()> {
    Ok(rustix::fs::syncfs(File::open(folder)?)?)
}

/// File by file, where the system has no other way.
#[cfg(not(target_os = "linux"))]
fn sync(folder: &Path) -> io::Result<()> {
    for entry in fs::read_dir(folder)? {
        File::options().write(true).open(entry?.path())?.sync_data()?;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn names(folder: &Path) -> Vec<String> {
        let entries = fs::read_dir(folder).unwrap();
        let mut names: Vec<String> =
            entries.map(|entry| entry.unwrap().file_name().into_string().unwrap()).collect();
        names.sort();
        names
    }

    #[test]
    fn a_new_folder_appears_with_all_files_or_not_at_all() {
        let scratch = tempfile::tempdir().unwrap();
        let target = scratch.path().join("deep/corrections");
        let files = FolderFiles::begin(&target, false).unwrap();
        files.write("a.toml", b"a").unwrap();
        assert!(matches!(files.write("a.toml", b"b"), Err(FileError::Twice { .. })));
        drop(files);
        assert!(names(scratch.path()).is_empty());
        let files = FolderFiles::begin(&target, false).unwrap();
        files.write("void.toml", b"a").unwrap();
        files.clear().unwrap();
        files.write("a.toml", b"a").unwrap();
        files.write("b.toml", b"b").unwrap();
        assert!(!target.exists());
        files.commit().unwrap();
        assert_eq!(names(&target), ["a.toml", "b.toml"]);
        assert_eq!(names(&scratch.path().join("deep")), ["corrections"]);
    }

    #[test]
    fn a_folder_that_exists_keeps_what_it_has_and_its_files_are_only_replaced_when_asked() {
        let scratch = tempfile::tempdir().unwrap();
        fs::write(scratch.path().join("a.toml"), b"old").unwrap();
        let files = FolderFiles::begin(scratch.path(), false).unwrap();
        assert!(matches!(files.write("a.toml", b"new"), Err(FileError::Exists { .. })));
        files.write("b.toml", b"new").unwrap();
        drop(files);
        assert_eq!(names(scratch.path()), ["a.toml"]);
        let files = FolderFiles::begin(scratch.path(), true).unwrap();
        files.write("a.toml", b"new").unwrap();
        files.write("b.toml", b"new").unwrap();
        assert_eq!(fs::read(scratch.path().join("a.toml")).unwrap(), b"old");
        files.commit().unwrap();
        assert_eq!(names(scratch.path()), ["a.toml", "b.toml"]);
        assert_eq!(fs::read(scratch.path().join("a.toml")).unwrap(), b"new");
    }

    #[test]
    fn a_file_in_the_place_of_the_folder_is_refused() {
        let scratch = tempfile::tempdir().unwrap();
        let target = scratch.path().join("corrections");
        fs::write(&target, b"").unwrap();
        let error = FolderFiles::begin(&target, true).err().unwrap();
        assert_eq!(error.help(), Some("a file is in the place of a folder: name another folder"));
    }
}
