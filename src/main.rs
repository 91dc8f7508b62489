//! The command line: words in, exit code out. Flags carry units; every failure is one message and
//! one hint on standard error; standard output carries nothing but what was asked for.

mod command_line;

use std::process::ExitCode;

fn main() -> ExitCode {
    let (exit, failure) = command_line::obey();
    if let Some(failure) = failure {
        eprintln!("error: {}", coilmark::operator::plain(&failure.to_string()));
        eprintln!("hint: {}", coilmark::operator::plain(failure.hint()));
    }
    ExitCode::from(exit.code())
}
