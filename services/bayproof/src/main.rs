//! The one binary.

use std::process::ExitCode;

fn main() -> ExitCode {
    bayproof::run()
}
