//! `demo`: the whole loop on the bundled example, into a new folder.

use std::path::PathBuf;

use super::output::Output;
use super::{Error, Status};

/// Run the whole loop on the bundled example: a belt-driven camera slider
#[derive(Debug, clap::Args)]
pub struct Args {
    /// Folder to make
    #[arg(value_name = "DIR", default_value = "shrinkrule-demo")]
    folder: PathBuf,
}

/// Runs the demo.
pub fn run(args: &Args, output: &mut Output) -> Result<Status, Error> {
    output.progress(&format!("would write into {}", args.folder.display()))?;
    Ok(Status::Done)
}
