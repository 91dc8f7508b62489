//! One program message under way: its units (`CONF:RES;:READ?` has two), the header path from one
//! to the next, the responses so far and what it waits for. Text in, commands out; executing
//! them is the voice's matter.

use super::scpi_header::{Command, command_of};
use super::scpi_status::ScpiError;
use std::collections::VecDeque;

/// A message being executed.
#[derive(Clone, Debug)]
pub(crate) struct Message {
    pub(crate) units: VecDeque<String>,
    /// Nodes above the last header, for the header that follows after `;`.
    path: String,
    pub(crate) responses: Vec<String>,
    /// What it waits for, while a conversion runs.
    pub(crate) waits: Option<Command>,
    /// Whether an identity was answered: it must be the last answer.
    pub(crate) indefinite: bool,
}

impl Message {
    /// The message of this text.
    pub(crate) fn of(text: &str) -> Self {
        Self {
            units: split_outside_quotes(text, ';').map(str::to_owned).collect(),
            path: String::new(),
            responses: Vec::new(),
            waits: None,
            indefinite: false,
        }
    }

    /// The command and parameters of one unit, by the header path (SCPI-99 vol. 1, 6.2.4).
    pub(crate) fn parse(&mut self, unit: &str) -> Result<(Command, Vec<String>), ScpiError> {
        let unit = unit.trim();
        let (header, rest) = unit.split_once([' ', '\t']).unwrap_or((unit, ""));
        let full = if header.starts_with('*') {
            header.to_owned()
        } else if let Some(rooted) = header.strip_prefix(':') {
            rooted.to_owned()
        } else {
            format!("{}{header}", self.path)
        };
        let command = command_of(&full).ok_or(ScpiError::UndefinedHeader)?;
        if !full.starts_with('*') {
            self.path = full.rfind(':').map(|at| full[..=at].to_owned()).unwrap_or_default();
        }
        let rest = rest.trim();
        let parameters: Vec<String> = match rest {
            "" => Vec::new(),
            _ => split_outside_quotes(rest, ',').map(|p| p.trim().to_owned()).collect(),
        };
        let (fewest, most) = command.parameters();
        if parameters.len() > most {
            Err(ScpiError::ParameterNotAllowed)
        } else if parameters.len() < fewest || parameters.iter().any(String::is_empty) {
            Err(ScpiError::MissingParameter)
        } else {
            Ok((command, parameters))
        }
    }
}

fn split_outside_quotes(text: &str, at: char) -> impl Iterator<Item = &str> {
    let mut quote = None;
    text.split(move |c: char| {
        match quote {
            None if c == '"' || c == '\'' => quote = Some(c),
            Some(open) if open == c => quote = None,
            _ => {}
        }
        quote.is_none() && c == at
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn separators_inside_quotes_do_not_split() {
        let units: Vec<&str> = split_outside_quotes("FUNC \"A;B\";READ?", ';').collect();
        assert_eq!(units, ["FUNC \"A;B\"", "READ?"]);
    }
}
