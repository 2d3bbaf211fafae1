//! `fit`.

use super::output::Output;
use super::{Error, Status};

/// (stub)
#[derive(Debug, clap::Args)]
pub struct Args {}

/// Runs the command.
pub fn run(_args: &Args, _output: &mut Output) -> Result<Status, Error> {
    Err(Error::call("not built"))
}
