//! The `shrinkrule` command: everything is in the library, see [`shrinkrule::cli`].
#![forbid(unsafe_code)]

fn main() -> std::process::ExitCode {
    shrinkrule::cli::run(std::env::args_os())
}
