//! The command line: words in, exit code out. Every failure is one message and one hint on standard
//! error; standard output carries nothing but what was asked for. What words mean is in
//! `command_line`, what they do is in [`coilmark::run`].

mod command_line;

use std::process::ExitCode;

fn main() -> ExitCode {
    let (exit, failure) = command_line::obey();
    if let Some(failure) = failure {
        eprintln!("error: {}", coilmark::event::visible(&failure.to_string()));
        eprintln!("hint: {}", coilmark::event::visible(failure.hint()));
    }
    ExitCode::from(exit.code())
}
