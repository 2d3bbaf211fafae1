//! Output files, written whole or not at all.
//!
//! Every file is written under a temporary name beside its target, synced, and renamed in place only
//! when all files of the run are ready. A run that fails, or is dropped before [`Outputs::commit`],
//! leaves nothing behind: no temporary file and no folder that it made; nor does one that is interrupted
//! ([`clean_up_when_interrupted`]). An existing file is refused before any work unless the person asked to overwrite.

use std::collections::{BTreeSet, VecDeque};
use std::fs::{self, File};
use std::io::{self, Write as _};
use std::path::{Path, PathBuf};

mod leftovers;
mod many;

pub use leftovers::clean_up_when_interrupted;
use leftovers::{Leftover, hold};
pub use many::FolderFiles;

/// Why an output could not be written, or an input not be read.
#[derive(Debug, thiserror::Error)]
pub enum FileError {
    /// The target exists and overwriting was not asked for.
    #[error("{}: this file exists already", path.display())]
    Exists {
        /// The target.
        path: PathBuf,
    },
    /// The folder exists, holds something, and overwriting was not asked for.
    #[error("{}: this folder exists already and is not empty", path.display())]
    NotEmpty {
        /// The folder.
        path: PathBuf,
    },
    /// The target is a file that this run reads.
    #[error("{}: this run reads this file, and would write over it", path.display())]
    IsInput {
        /// The target.
        path: PathBuf,
    },
    /// Two outputs of one run have the same name.
    #[error("{}: two outputs of this run have this name", path.display())]
    Twice {
        /// The target.
        path: PathBuf,
    },
    /// The operating system refused.
    #[error("{}: cannot {purpose}: {source}", path.display())]
    Io {
        /// The file or folder.
        path: PathBuf,
        /// What was being done: `write`, `read`, `make this folder`.
        purpose: &'static str,
        /// The system's own words.
        source: io::Error,
    },
}

impl FileError {
    fn io(path: &Path, purpose: &'static str) -> impl FnOnce(io::Error) -> Self {
        let path = path.to_owned();
        move |source| Self::Io { path, purpose, source }
    }

    /// What the person can do about it.
    pub fn help(&self) -> Option<&'static str> {
        match self {
            Self::Exists { .. } | Self::NotEmpty { .. } => {
                Some("name another one, or add --force to overwrite")
            }
            Self::IsInput { .. } => Some("name another one to write to; what was read is never changed"),
            Self::Twice { .. } => Some("give every output, setup and piece a name of its own"),
            Self::Io { source, .. } => advice(source),
        }
    }
}

/// What the person can do about what the operating system refused.
pub fn advice(refused: &io::Error) -> Option<&'static str> {
    match refused.kind() {
        io::ErrorKind::NotFound => Some("is the name right, and is it in the folder that you are in?"),
        io::ErrorKind::IsADirectory => Some("this is a folder: name a file"),
        io::ErrorKind::NotADirectory => Some("a file is in the place of a folder: name another folder"),
        io::ErrorKind::InvalidData => Some("this is not a text file: name another one, or save it as UTF-8"),
        io::ErrorKind::PermissionDenied | io::ErrorKind::ReadOnlyFilesystem => {
            Some("name one that you may use")
        }
        _ => None,
    }
}

/// The whole of a file, with its path in the error.
pub fn read(path: &Path) -> Result<Vec<u8>, FileError> {
    fs::read(path).map_err(FileError::io(path, "read"))
}

/// The whole of a text file, with its path in the error.
pub fn read_text(path: &Path) -> Result<String, FileError> {
    fs::read_to_string(path).map_err(FileError::io(path, "read"))
}

struct Staged {
    file: File,
    temporary: PathBuf,
    target: PathBuf,
}

/// The files of one run, staged until [`Outputs::commit`].
pub struct Outputs {
    overwrite: bool,
    inputs: Vec<PathBuf>,
    staged: VecDeque<Staged>,
    /// The targets of what is staged.
    targets: BTreeSet<PathBuf>,
    made_folders: Vec<PathBuf>,
}

impl Outputs {
    /// No files yet. With `overwrite`, existing files are replaced on commit.
    pub fn new(overwrite: bool) -> Self {
        Self {
            overwrite,
            inputs: Vec::new(),
            staged: VecDeque::new(),
            targets: BTreeSet::new(),
            made_folders: Vec::new(),
        }
    }

    /// Files that this run reads: they are never written over, also when overwriting was asked for.
    #[must_use]
    pub fn keeping<'a>(mut self, inputs: impl IntoIterator<Item = &'a PathBuf>) -> Self {
        // An input that is not there fails when it is read, with its own words.
        self.inputs.extend(inputs.into_iter().filter_map(|input| fs::canonicalize(input).ok()));
        self
    }

    /// Refuses a target that exists or is an input, before any long work is done for it.
    pub fn check_file(&self, target: &Path) -> Result<(), FileError> {
        if fs::canonicalize(target).is_ok_and(|target| self.inputs.contains(&target)) {
            return Err(FileError::IsInput { path: target.to_owned() });
        }
        if !self.overwrite && fs::symlink_metadata(target).is_ok() {
            return Err(FileError::Exists { path: target.to_owned() });
        }
        Ok(())
    }

    /// Refuses a folder that exists and holds anything, before any long work is done for it.
    pub fn check_new_folder(&self, folder: &Path) -> Result<(), FileError> {
        if self.overwrite {
            return Ok(());
        }
        match fs::read_dir(folder).map(|mut entries| entries.next().is_some()) {
            Ok(true) => Err(FileError::NotEmpty { path: folder.to_owned() }),
            Err(error) if error.kind() != io::ErrorKind::NotFound => {
                Err(FileError::io(folder, "use this as a folder")(error))
            }
            _ => Ok(()),
        }
    }

    /// Stages a file with these bytes; missing folders on the way are made.
    pub fn write(&mut self, target: &Path, bytes: &[u8]) -> Result<(), FileError> {
        self.write_with(target, |mut file| file.write_all(bytes))
    }

    /// Stages a file that `fill` writes; missing folders on the way are made.
    pub fn write_with(
        &mut self,
        target: &Path,
        fill: impl FnOnce(&File) -> io::Result<()>,
    ) -> Result<(), FileError> {
        self.check_file(target)?;
        if self.targets.contains(target) {
            return Err(FileError::Twice { path: target.to_owned() });
        }
        if let Some(folder) = target.parent() {
            self.make_folder(folder)?;
        }
        let temporary = temporary_name(target);
        let mut left = hold();
        let file = File::create_new(&temporary).map_err(FileError::io(target, "write"))?;
        left.insert(temporary.clone(), Leftover::File);
        drop(left);
        // Registered before it is filled, so that a failed fill is cleaned away too.
        self.targets.insert(target.to_owned());
        self.staged.push_back(Staged { file, temporary, target: target.to_owned() });
        let staged = &self.staged[self.staged.len() - 1];
        fill(&staged.file).map_err(FileError::io(target, "write"))
    }

    fn make_folder(&mut self, folder: &Path) -> Result<(), FileError> {
        if folder.as_os_str().is_empty() || folder.is_dir() {
            return Ok(());
        }
        if let Some(parent) = folder.parent() {
            self.make_folder(parent)?;
        }
        let mut left = hold();
        fs::create_dir(folder).map_err(FileError::io(folder, "make this folder"))?;
        left.insert(folder.to_owned(), Leftover::EmptyFolder);
        self.made_folders.push(folder.to_owned());
        Ok(())
    }

    /// Stages a file that is written piece by piece until the commit.
    pub fn open(&mut self, target: &Path) -> Result<File, FileError> {
        self.write_with(target, |_| Ok(()))?;
        let staged = &self.staged[self.staged.len() - 1];
        staged.file.try_clone().map_err(FileError::io(target, "write"))
    }

    /// Syncs every staged file to the disk, then puts each in its place; the paths that were written.
    pub fn commit(mut self) -> Result<Vec<PathBuf>, FileError> {
        sync_all(self.staged.make_contiguous())?;
        // From here on an interruption waits until all files are in their places.
        let mut left = hold();
        let mut written = Vec::with_capacity(self.staged.len());
        // On a failed rename, what is still staged is cleaned away by the drop.
        while let Some(staged) = self.staged.front() {
            if let Err(error) = fs::rename(&staged.temporary, &staged.target) {
                let error = FileError::io(&staged.target, "write")(error);
                // The drop takes it again.
                drop(left);
                return Err(error);
            }
            left.remove(&staged.temporary);
            written.extend(self.staged.pop_front().map(|staged| staged.target));
        }
        for folder in self.made_folders.drain(..) {
            left.remove(&folder);
        }
        drop(left);
        Ok(written)
    }
}

/// One sync after another waits for the disk each time; together they share its writes.
fn sync_all(staged: &[Staged]) -> Result<(), FileError> {
    let per_thread = staged.len().div_ceil(8).max(1);
    std::thread::scope(|scope| {
        let waiting: Vec<_> = staged
            .chunks(per_thread)
            .map(|chunk| {
                scope.spawn(move || {
                    chunk.iter().try_for_each(|staged| {
                        staged.file.sync_data().map_err(FileError::io(&staged.target, "write"))
                    })
                })
            })
            .collect();
        waiting.into_iter().try_for_each(|thread| thread.join().expect("a sync only returns errors"))
    })
}

fn temporary_name(target: &Path) -> PathBuf {
    let name = target.file_name().unwrap_or_default().to_string_lossy();
    target.with_file_name(format!(".{name}.{}.part", std::process::id()))
}

impl Drop for Outputs {
    fn drop(&mut self) {
        let mut left = hold();
        // Nothing can be done about a failure to clean up, and the first error is the one to report.
        for staged in &self.staged {
            let _ = fs::remove_file(&staged.temporary);
            left.remove(&staged.temporary);
        }
        for folder in self.made_folders.iter().rev() {
            let _ = fs::remove_dir(folder);
            left.remove(folder);
        }
    }
}

/// A new folder that appears whole or not at all: filled beside its place, then renamed into it.
///
/// A folder that exists already, empty or with leave to overwrite, is filled in place instead: what a
/// person has in it cannot be swapped for a new folder.
pub struct NewFolder {
    target: PathBuf,
    filling: PathBuf,
}

impl NewFolder {
    /// Begins the folder `target`, which must be missing or empty unless `overwrite`.
    pub fn begin(target: &Path, overwrite: bool) -> Result<Self, FileError> {
        Outputs::new(overwrite).check_new_folder(target)?;
        if target.is_dir() {
            return Ok(Self { target: target.to_owned(), filling: target.to_owned() });
        }
        if let Some(parent) = target.parent().filter(|parent| !parent.as_os_str().is_empty()) {
            fs::create_dir_all(parent).map_err(FileError::io(parent, "make this folder"))?;
        }
        let filling = temporary_name(target);
        let mut left = hold();
        fs::create_dir(&filling).map_err(FileError::io(target, "make this folder"))?;
        left.insert(filling.clone(), Leftover::Folder);
        Ok(Self { target: target.to_owned(), filling })
    }

    /// Where to put its files.
    pub fn path(&self) -> &Path {
        &self.filling
    }

    /// Puts the filled folder in its place.
    pub fn commit(self) -> Result<(), FileError> {
        if self.filling != self.target {
            let mut left = hold();
            let renamed = fs::rename(&self.filling, &self.target);
            if renamed.is_ok() {
                left.remove(&self.filling);
            }
            drop(left);
            renamed.map_err(FileError::io(&self.target, "write"))?;
        }
        Ok(())
    }
}

impl Drop for NewFolder {
    fn drop(&mut self) {
        // After a commit there is nothing at this path; a failure to clean up has nobody to hear it.
        if self.filling != self.target {
            let mut left = hold();
            let _ = fs::remove_dir_all(&self.filling);
            left.remove(&self.filling);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn names(folder: &Path) -> Vec<String> {
        let mut names: Vec<String> = fs::read_dir(folder)
            .unwrap()
            .map(|entry| entry.unwrap().file_name().into_string().unwrap())
            .collect();
        names.sort();
        names
    }

    #[test]
    fn files_appear_only_when_all_are_ready() {
        let scratch = tempfile::tempdir().unwrap();
        let mut outputs = Outputs::new(false);
        outputs.write(&scratch.path().join("a.txt"), b"a").unwrap();
        outputs.write(&scratch.path().join("new/b.txt"), b"b").unwrap();
        assert!(!scratch.path().join("a.txt").exists());
        outputs.commit().unwrap();
        assert_eq!(fs::read(scratch.path().join("new/b.txt")).unwrap(), b"b");
        assert_eq!(names(scratch.path()), ["a.txt", "new"]);
    }

    #[test]
    fn a_run_that_fails_leaves_nothing_behind() {
        let scratch = tempfile::tempdir().unwrap();
        let mut outputs = Outputs::new(false);
        outputs.write(&scratch.path().join("deep/er/a.txt"), b"a").unwrap();
        let error = outputs
            .write_with(&scratch.path().join("b.txt"), |_| Err(io::Error::other("the disk is full")))
            .unwrap_err();
        assert!(error.to_string().ends_with("b.txt: cannot write: the disk is full"));
        drop(outputs);
        assert!(names(scratch.path()).is_empty());
    }

    #[test]
    fn an_existing_file_is_kept_unless_overwriting_was_asked_for() {
        let scratch = tempfile::tempdir().unwrap();
        let target = scratch.path().join("a.txt");
        fs::write(&target, b"old").unwrap();
        let error = Outputs::new(false).write(&target, b"new").unwrap_err();
        assert!(matches!(error, FileError::Exists { .. }));
        assert_eq!(error.help(), Some("name another one, or add --force to overwrite"));
        assert_eq!(fs::read(&target).unwrap(), b"old");
        let mut outputs = Outputs::new(true);
        outputs.write(&target, b"new").unwrap();
        outputs.commit().unwrap();
        assert_eq!(fs::read(&target).unwrap(), b"new");
    }

    #[test]
    fn what_a_run_reads_is_never_written_over() {
        let scratch = tempfile::tempdir().unwrap();
        let input = scratch.path().join("readings.csv");
        fs::write(&input, b"typed by hand").unwrap();
        fs::create_dir(scratch.path().join("sub")).unwrap();
        let mut outputs = Outputs::new(true).keeping([&input]);
        let roundabout = scratch.path().join("sub/../readings.csv");
        let error = outputs.write(&roundabout, b"new").unwrap_err();
        assert!(matches!(error, FileError::IsInput { .. }), "{error}");
        assert!(error.help().unwrap().starts_with("name another one"));
        outputs.write(&scratch.path().join("other.csv"), b"new").unwrap();
        outputs.commit().unwrap();
        assert_eq!(fs::read(&input).unwrap(), b"typed by hand");
    }

    #[test]
    fn a_file_that_cannot_be_read_comes_with_advice() {
        let scratch = tempfile::tempdir().unwrap();
        let help = |path: &Path| read_text(path).unwrap_err().help();
        assert!(help(&scratch.path().join("none.toml")).unwrap().starts_with("is the name right"));
        assert_eq!(help(scratch.path()), Some("this is a folder: name a file"));
        let picture = scratch.path().join("photo.jpg");
        fs::write(&picture, [0xff, 0xd8, 0xff, 0xe0]).unwrap();
        assert!(help(&picture).unwrap().starts_with("this is not a text file"));
    }

    #[test]
    fn a_full_folder_is_refused_and_a_missing_or_empty_one_is_not() {
        let scratch = tempfile::tempdir().unwrap();
        let outputs = Outputs::new(false);
        outputs.check_new_folder(&scratch.path().join("missing")).unwrap();
        outputs.check_new_folder(scratch.path()).unwrap();
        fs::write(scratch.path().join("a.txt"), b"a").unwrap();
        assert!(matches!(outputs.check_new_folder(scratch.path()), Err(FileError::NotEmpty { .. })));
    }

    #[test]
    fn two_outputs_of_one_name_are_refused() {
        let scratch = tempfile::tempdir().unwrap();
        let mut outputs = Outputs::new(true);
        outputs.write(&scratch.path().join("a.txt"), b"1").unwrap();
        assert!(matches!(outputs.write(&scratch.path().join("a.txt"), b"2"), Err(FileError::Twice { .. })));
    }

    #[test]
    fn a_new_folder_appears_whole_or_not_at_all() {
        let scratch = tempfile::tempdir().unwrap();
        let target = scratch.path().join("deep/demo");
        let folder = NewFolder::begin(&target, false).unwrap();
        fs::write(folder.path().join("a.txt"), b"a").unwrap();
        drop(folder);
        assert!(names(&scratch.path().join("deep")).is_empty());
        let folder = NewFolder::begin(&target, false).unwrap();
        fs::write(folder.path().join("a.txt"), b"a").unwrap();
        assert!(!target.exists());
        folder.commit().unwrap();
        assert_eq!(names(&target), ["a.txt"]);
        assert!(matches!(NewFolder::begin(&target, false), Err(FileError::NotEmpty { .. })));
    }
}
