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
