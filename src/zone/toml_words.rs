//! What a reader's complaint about a TOML file means for the person who wrote it: a line, one
//! problem in one line, and the nearest spelling of a word that is not known. Knows no key itself;
//! the reader's complaint names those that there are. Panel files and job sheets are read with it.

/// A complaint about a text.
pub(crate) struct Complaint {
    /// Counted from 1.
    pub(crate) line: Option<usize>,
    /// One line.
    pub(crate) problem: String,
    /// One line.
    pub(crate) hint: String,
}

/// The reader's complaint, in one line, with the nearest known word for an unknown one; the hint is
/// `otherwise` where none is near.
pub(crate) fn complaint(text: &str, error: &toml::de::Error, otherwise: &str) -> Complaint {
    let before = error.span().and_then(|span| text.get(..span.start));
    let line = before.map(|before| before.matches('\n').count() + 1);
    let clean = |c: char| if c.is_control() { ' ' } else { c };
    let problem: String = error.message().chars().map(clean).take(300).collect();
    let mut words = problem.split('`').skip(1).step_by(2);
    let nearest = if problem.starts_with("unknown") {
        words.next().and_then(|wrong| {
            let by_distance = words.map(|known| (strsim::levenshtein(wrong, known), known));
            by_distance.min().filter(|(far, known)| *far <= 3.max(known.len() / 3))
        })
    } else {
        None
    };
    let hint = match nearest {
        Some((_, known)) => format!("did you mean `{known}`?"),
        None => otherwise.to_owned(),
    };
    Complaint { line, problem, hint }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[derive(Debug, serde::Deserialize)]
    #[serde(deny_unknown_fields)]
    struct Sheet {
        #[expect(dead_code, reason = "only its name is of use here")]
        longest_silence_minutes: u32,
    }

    fn hint(text: &str) -> String {
        let error = toml::from_str::<Sheet>(text).unwrap_err();
        complaint(text, &error, "otherwise").hint
    }

    #[test]
    fn a_long_word_may_be_wrong_in_more_places_than_a_short_one() {
        // Of 23 letters seven may differ.
        let meant = "did you mean `longest_silence_minutes`?";
        assert_eq!(hint("longest_silence_minute = 1"), meant);
        assert_eq!(hint("longest_silence_in_minut = 1"), meant);
        assert_eq!(hint("silence_minutes_xxxxxxxx = 1"), "otherwise");
        assert_eq!(hint("x = 1"), "otherwise");
    }
}
