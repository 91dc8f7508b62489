//! Messages that are not numbers: the identification (IEEE 488.2, 10.14), and headers in their
//! short form (SCPI-99 vol. 1, 6.2.1), by which spellings of one header are compared. What a
//! header means is left to the session.

use super::number::parse_value;

/// The four fields of an identification.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct IdentityFields {
    /// Who made it.
    pub maker: String,
    /// Which model.
    pub model: String,
    /// Serial number; empty where it sends `0` or nothing.
    pub serial: String,
    /// Firmware; empty where it sends `0` or nothing.
    pub firmware: String,
}

impl IdentityFields {
    /// Reads an identification. Instruments that send fewer fields than the standard's four are
    /// understood; firmware may hold further commas.
    #[must_use]
    pub fn parse(text: &str) -> Self {
        let mut fields = text.splitn(4, ',').map(|field| {
            let field = field.trim();
            if field == "0" { String::new() } else { field.to_owned() }
        });
        let mut next = || fields.next().unwrap_or_default();
        Self { maker: next(), model: next(), serial: next(), firmware: next() }
    }
}

/// Whether a line can be an identification: text that is neither a number nor an error entry,
/// nor what a meter sends by itself.
pub(crate) fn may_be_identity(line: &str) -> bool {
    let first = line.split(',').next().unwrap_or_default();
    line.bytes().any(|byte| byte.is_ascii_alphabetic())
        && parse_value(first).is_err()
        && !line.starts_with('"')
        && !crate::stream::is_shipped_reading(line)
}

/// A header in its short form: each word of more than four letters is cut to four, or to three
/// if the fourth is a vowel; quotes and whatever follows a blank are dropped. `VOLTage:DC`
/// gives `VOLT:DC`.
#[must_use]
pub fn short_header(text: &str) -> String {
    let text = text.trim().trim_matches(['"', '\'']);
    let header = text.split([' ', ',']).next().unwrap_or_default();
    let header = header.trim_start_matches(':');
    let mut short = String::with_capacity(header.len());
    for (place, word) in header.split(':').enumerate() {
        if place > 0 {
            short.push(':');
        }
        short.push_str(short_word(word));
    }
    short.make_ascii_uppercase();
    short
}

fn short_word(word: &str) -> &str {
    if word.len() <= 4 || !word.bytes().all(|byte| byte.is_ascii_alphabetic()) {
        return word;
    }
    let fourth = word.as_bytes().get(3).map(u8::to_ascii_uppercase);
    let vowel = matches!(fourth, Some(b'A' | b'E' | b'I' | b'O' | b'U'));
    word.get(..if vowel { 3 } else { 4 }).unwrap_or(word)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_identification_has_four_fields() {
        let fields = IdentityFields::parse("MAKER, MODEL ,0,1.0,b");
        assert_eq!((fields.maker.as_str(), fields.model.as_str()), ("MAKER", "MODEL"));
        assert_eq!((fields.serial.as_str(), fields.firmware.as_str()), ("", "1.0,b"));
        assert_eq!(IdentityFields::parse("meter").maker, "meter");
        assert_eq!(IdentityFields::parse("").model, "");
    }

    #[test]
    fn a_late_number_or_an_error_is_no_identification() {
        assert!(may_be_identity("MAKER,MODEL,0,1.0"));
        assert!(may_be_identity("simulated meter"));
        for line in [
            "+1.5E+00",
            "0,\"No error\"",
            "-113,\"Undefined header\"",
            "\"VOLT\"",
            "1",
            "",
            "+0329.8 OHM",
            "OL  OHM",
        ] {
            assert!(!may_be_identity(line), "{line}");
        }
    }

    // SCPI-99 vol. 1, 6.2.1: the long and short forms of its own examples.
    #[test]
    fn headers_shorten_by_the_standards_rule() {
        for (long, short) in [
            ("MEASure", "MEAS"),
            ("CONFigure", "CONF"),
            ("INITiate", "INIT"),
            ("IMMediate", "IMM"),
            ("TRIGger", "TRIG"),
            ("SOURce", "SOUR"),
            ("DELay", "DEL"),
            ("OUTPut", "OUTP"),
            ("FORMat", "FORM"),
            ("VOLTage", "VOLT"),
            ("CURRent", "CURR"),
            ("RESistance", "RES"),
            ("FRESistance", "FRES"),
            ("DIODe", "DIOD"),
            ("CONTinuity", "CONT"),
            ("CAPacitance", "CAP"),
            ("FREQuency", "FREQ"),
            ("PERiod", "PER"),
            ("FETCh", "FETC"),
            ("READ", "READ"),
            ("SYSTem", "SYST"),
            ("ERRor", "ERR"),
            ("FUNCtion", "FUNC"),
            ("SENSe", "SENS"),
            ("RANGe", "RANG"),
            ("AUTO", "AUTO"),
        ] {
            assert_eq!(short_header(long), short);
        }
        assert_eq!(short_header("\"VOLT:DC\""), "VOLT:DC");
        assert_eq!(short_header(" \"voltage:ac\" "), "VOLT:AC");
        assert_eq!(short_header("RES +1.000E+03,+1.0E-3"), "RES");
        assert_eq!(short_header(""), "");
    }
}
