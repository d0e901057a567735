//! `bloomtide`: see `bloomtide --help`.

use std::process::ExitCode;

fn main() -> ExitCode {
    bloomtide::cli::main()
}
