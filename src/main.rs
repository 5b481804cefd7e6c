//! The `towpath` command.

use std::process::ExitCode;

fn main() -> ExitCode {
    towpath::cli::run(std::env::args_os())
}
