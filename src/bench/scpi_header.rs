//! One unit of a program message (`CONF:RES 1000`) -> a [`Command`] and its parameters. Headers
//! match by the long or the short form of each mnemonic and nothing between, in any case; nodes
//! in brackets may be left out (SCPI-99 vol. 1, 6.2). Doing the command is the voice's matter.

use super::scpi_status::ScpiError;
use drivers::Function;

/// What a header means.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Command {
    Identify,
    ClearStatus,
    Reset,
    TakeEvent,
    EventEnable,
    AskEventEnable,
    ServiceEnable,
    AskServiceEnable,
    StatusByte,
    Complete,
    AskComplete,
    Wait,
    Trigger,
    SelfTest,
    NextError,
    ErrorCount,
    Version,
    /// Remote, local, beep: nothing that a reader would notice.
    Accepted,
    Configure(Function),
    Measure(Function),
    Read,
    Fetch,
    Initiate,
    Abort,
    SetFunction,
    AskFunction,
}

impl Command {
    /// Whether it is answered.
    pub(crate) const fn is_query(self) -> bool {
        matches!(
            self,
            Self::Identify
                | Self::TakeEvent
                | Self::AskEventEnable
                | Self::AskServiceEnable
                | Self::StatusByte
                | Self::AskComplete
                | Self::SelfTest
                | Self::NextError
                | Self::ErrorCount
                | Self::Version
                | Self::Measure(_)
                | Self::Read
                | Self::Fetch
                | Self::AskFunction
        )
    }

    /// Fewest and most parameters.
    pub(crate) const fn parameters(self) -> (usize, usize) {
        match self {
            Self::Configure(_) | Self::Measure(_) => (0, 2),
            Self::EventEnable | Self::ServiceEnable | Self::SetFunction => (1, 1),
            _ => (0, 0),
        }
    }
}

const COMMANDS: &[(&str, Command)] = &[
    ("*IDN?", Command::Identify),
    ("*CLS", Command::ClearStatus),
    ("*RST", Command::Reset),
    ("*ESR?", Command::TakeEvent),
    ("*ESE", Command::EventEnable),
    ("*ESE?", Command::AskEventEnable),
    ("*SRE", Command::ServiceEnable),
    ("*SRE?", Command::AskServiceEnable),
    ("*STB?", Command::StatusByte),
    ("*OPC", Command::Complete),
    ("*OPC?", Command::AskComplete),
    ("*WAI", Command::Wait),
    ("*TRG", Command::Trigger),
    ("*TST?", Command::SelfTest),
    ("SYSTem:ERRor[:NEXT]?", Command::NextError),
    ("SYSTem:ERRor:COUNt?", Command::ErrorCount),
    ("SYSTem:VERSion?", Command::Version),
    ("SYSTem:REMote", Command::Accepted),
    ("SYSTem:LOCal", Command::Accepted),
    ("SYSTem:BEEPer[:IMMediate]", Command::Accepted),
    ("READ?", Command::Read),
    ("FETCh?", Command::Fetch),
    ("INITiate[:IMMediate]", Command::Initiate),
    ("ABORt", Command::Abort),
    ("[SENSe:]FUNCtion[:ON]", Command::SetFunction),
    ("[SENSe:]FUNCtion[:ON]?", Command::AskFunction),
];

/// The functions' headers below `CONFigure` and `MEASure`, and in `FUNCtion`'s string.
const FUNCTIONS: &[(&str, Function)] = &[
    ("VOLTage[:DC]", Function::VoltageDc),
    ("VOLTage:AC", Function::VoltageAc),
    ("RESistance", Function::Resistance),
    ("FRESistance", Function::Resistance4w),
    ("CONTinuity", Function::Continuity),
    ("DIODe", Function::Diode),
];

/// The command of a full header, without its leading colon.
pub(crate) fn command_of(header: &str) -> Option<Command> {
    if let Some((_, command)) = COMMANDS.iter().find(|(pattern, _)| matches(pattern, header)) {
        return Some(*command);
    }
    FUNCTIONS.iter().find_map(|(pattern, function)| {
        if matches(&format!("CONFigure[:SCALar]:{pattern}"), header) {
            Some(Command::Configure(*function))
        } else if matches(&format!("MEASure[:SCALar]:{pattern}?"), header) {
            Some(Command::Measure(*function))
        } else {
            None
        }
    })
}

/// The function that a quoted string names.
pub(crate) fn function_of(parameter: &str) -> Result<Function, ScpiError> {
    let quote = parameter.chars().next().filter(|c| "\"'".contains(*c));
    let Some(inside) = quote.and_then(|q| parameter.strip_prefix(q)?.strip_suffix(q)) else {
        return Err(if quote.is_some() { ScpiError::InvalidString } else { ScpiError::DataType });
    };
    let found = FUNCTIONS.iter().find(|(pattern, _)| matches(pattern, inside));
    found.map(|(_, function)| *function).ok_or(ScpiError::IllegalParameter)
}

/// How `FUNCtion?` names a function, without its quotes.
pub(crate) const fn short_name(function: Function) -> &'static str {
    match function {
        Function::VoltageDc => "VOLT",
        Function::VoltageAc => "VOLT:AC",
        Function::Resistance => "RES",
        Function::Resistance4w => "FRES",
        Function::Continuity => "CONT",
        Function::Diode => "DIOD",
    }
}

/// Checks a number or one of the words that stand for one.
pub(crate) fn check_number(parameter: &str) -> Result<Option<f64>, ScpiError> {
    if parameter.starts_with(['"', '\'']) {
        return Err(ScpiError::DataType);
    }
    if parameter.starts_with(|c: char| c.is_ascii_alphabetic()) {
        let known = ["AUTO", "MINimum", "MAXimum", "DEFault"];
        let fits = known.iter().any(|word| matches(word, parameter));
        return if fits { Ok(None) } else { Err(ScpiError::InvalidCharacterData) };
    }
    let plain = parameter.bytes().all(|b| b.is_ascii_digit() || b"+-.eE".contains(&b));
    match parameter.parse::<f64>() {
        Ok(number) if plain && number.is_finite() => Ok(Some(number)),
        _ => Err(ScpiError::InvalidCharacterInNumber),
    }
}

/// Whether `header` is a spelling of `pattern`.
fn matches(pattern: &str, header: &str) -> bool {
    let (pattern, asks) = stripped(pattern);
    let (header, asked) = stripped(header);
    let nodes: Vec<&str> = header.split(':').collect();
    asks == asked && matches_nodes(&pattern_nodes(pattern), &nodes)
}

fn stripped(header: &str) -> (&str, bool) {
    header.strip_suffix('?').map_or((header, false), |rest| (rest, true))
}

/// The nodes of a pattern, and whether each may be left out.
fn pattern_nodes(pattern: &str) -> Vec<(&str, bool)> {
    let mut nodes = Vec::new();
    let mut optional = false;
    for piece in pattern.split_inclusive(['[', ']', ':']) {
        let name = piece.trim_end_matches(['[', ']', ':']);
        if !name.is_empty() {
            nodes.push((name, optional));
        }
        match piece.chars().last() {
            Some('[') => optional = true,
            Some(']') => optional = false,
            _ => {}
        }
    }
    nodes
}

fn matches_nodes(pattern: &[(&str, bool)], nodes: &[&str]) -> bool {
    let Some(((name, optional), rest)) = pattern.split_first() else {
        return nodes.is_empty();
    };
    let here = nodes
        .split_first()
        .is_some_and(|(node, left)| is_mnemonic(name, node) && matches_nodes(rest, left));
    here || (*optional && matches_nodes(rest, nodes))
}

/// Long form, or the short form that the pattern's capitals show.
fn is_mnemonic(name: &str, node: &str) -> bool {
    let short = name.trim_end_matches(|c: char| c.is_ascii_lowercase());
    node.eq_ignore_ascii_case(name) || node.eq_ignore_ascii_case(short)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn long_and_short_forms_match_and_nothing_between() {
        for spelling in ["MEASure:RESistance?", "meas:res?", "MEAS:SCAL:RESISTANCE?"] {
            let command = command_of(spelling);
            assert_eq!(command, Some(Command::Measure(Function::Resistance)), "{spelling}");
        }
        for wrong in ["MEASU:RES?", "MEAS:RESI?", "MEAS:RES", "RES?", "MEAS", "MEAS::RES?", ""] {
            assert_eq!(command_of(wrong), None, "{wrong}");
        }
    }

    #[test]
    fn optional_nodes_may_be_left_out() {
        for spelling in ["CONF:VOLT", "CONF:VOLT:DC", "CONFIGURE:SCALAR:VOLTAGE:DC"] {
            assert_eq!(command_of(spelling), Some(Command::Configure(Function::VoltageDc)));
        }
        assert_eq!(command_of("SENS:FUNC?"), Some(Command::AskFunction));
        assert_eq!(command_of("FUNC:ON?"), Some(Command::AskFunction));
        assert_eq!(command_of("syst:err:next?"), Some(Command::NextError));
    }

    #[test]
    fn a_function_is_named_in_quotes() {
        assert_eq!(function_of("\"RES\""), Ok(Function::Resistance));
        assert_eq!(function_of("'volt:ac'"), Ok(Function::VoltageAc));
        assert_eq!(function_of("RES"), Err(ScpiError::DataType));
        assert_eq!(function_of("\"RES"), Err(ScpiError::InvalidString));
        assert_eq!(function_of("\""), Err(ScpiError::InvalidString));
        assert_eq!(function_of("\"MASS\""), Err(ScpiError::IllegalParameter));
    }
}
