//! What an interrupted run would leave behind, and who takes it away.
//!
//! Every temporary file and folder is listed while it exists. On Ctrl-C, or when the system asks the
//! process to end, a thread that waits for nothing else removes what is listed and ends the process as the
//! signal would have. Whoever makes, removes or renames something that is listed holds the list meanwhile:
//! an interruption finds files before they are put in their places or after, never between.

use std::collections::BTreeMap;
use std::path::PathBuf;
use std::sync::{Mutex, MutexGuard, PoisonError};

/// What is removed, and how.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Leftover {
    /// A file.
    File,
    /// A folder that this run made, when nothing is in it any more.
    EmptyFolder,
    /// A folder with all that is in it.
    Folder,
}

static LEFTOVERS: Mutex<BTreeMap<PathBuf, Leftover>> = Mutex::new(BTreeMap::new());

/// The list, by path; nobody interrupts as long as it is held.
pub(super) fn hold() -> MutexGuard<'static, BTreeMap<PathBuf, Leftover>> {
    LEFTOVERS.lock().unwrap_or_else(PoisonError::into_inner)
}

/// From now on an interruption of this process takes unfinished files away before it ends the process.
///
/// Where the system has no such signals, or gives no thread for it, all stays as it is.
pub fn clean_up_when_interrupted() {
    #[cfg(unix)]
    {
        use signal_hook::consts::{SIGINT, SIGTERM};
        let Ok(mut signals) = signal_hook::iterator::Signals::new([SIGINT, SIGTERM]) else { return };
        let wait = move || {
            if let Some(signal) = signals.forever().next() {
                // Held until the process ends, so that nothing new is begun.
                let left = hold();
                remove(&left);
                let _ = signal_hook::low_level::emulate_default_handler(signal);
            }
        };
        let _ = std::thread::Builder::new().name("interruption".to_owned()).spawn(wait);
    }
}

/// Removes what is listed, deepest first. What cannot be removed stays, since there is nobody to tell.
#[cfg(unix)]
fn remove(left: &BTreeMap<PathBuf, Leftover>) {
    use std::fs;
    // Threads that still write into a folder may add to it while it is removed, but only a few more files:
    // once it has another name they find it no more.
    const ATTEMPTS: usize = 100;
    for (path, leftover) in left.iter().rev() {
        let _ = match leftover {
            Leftover::File => fs::remove_file(path),
            Leftover::EmptyFolder => fs::remove_dir(path),
            Leftover::Folder => {
                let going = path.with_extension("gone");
                let going = if fs::rename(path, &going).is_ok() { &going } else { path };
                let mut removed = fs::remove_dir_all(going);
                for _ in 1..ATTEMPTS {
                    if removed.is_ok() {
                        break;
                    }
                    removed = fs::remove_dir_all(going);
                }
                removed
            }
        };
    }
}
