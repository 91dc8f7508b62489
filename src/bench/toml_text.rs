//! Where in a TOML text something stands, and what a reader's complaint means for the person
//! who wrote the text: a line, a one-line problem, a hint with the nearest spelling. Used by all
//! files of the bench; knows none of them.

/// A complaint about a text.
pub(crate) struct TomlProblem {
    /// Counted from 1.
    pub(crate) line: Option<usize>,
    /// One line.
    pub(crate) problem: String,
    /// One line.
    pub(crate) hint: String,
}

/// The reader's complaint, in one line, with the nearest known key for an unknown one.
pub(crate) fn toml_problem(text: &str, error: &toml::de::Error) -> TomlProblem {
    let line = error
        .span()
        .and_then(|span| text.get(..span.start))
        .map(|before| before.matches('\n').count() + 1);
    let problem: String =
        error.message().chars().map(|c| if c.is_control() { ' ' } else { c }).take(300).collect();
    let mut words = problem.split('`').skip(1).step_by(2);
    let nearest = if problem.starts_with("unknown") {
        words.next().and_then(|wrong| {
            let distances = words.map(|known| (strsim::levenshtein(wrong, known), known));
            let near = distances.filter(|(distance, _)| *distance <= 3);
            near.min_by_key(|(distance, _)| *distance)
        })
    } else {
        None
    };
    let hint = match nearest {
        Some((_, known)) => format!("did you mean `{known}`?"),
        None => "`coilmark schema relay` describes relay files; fixtures/ has examples".into(),
    };
    TomlProblem { line, problem, hint }
}

/// The line (from 1) of `key` in the `nth` table of this name, counted from 0; the table's own
/// line if the key stands elsewhere. The table `""` is the top of the file.
pub(crate) fn line_of(text: &str, table: &str, nth: usize, key: &str) -> Option<usize> {
    let mut left = nth;
    let mut inside = table.is_empty();
    let mut found = None;
    for (n, line) in text.lines().enumerate() {
        let line = line.trim_start();
        if line.starts_with('[') {
            if inside && !table.is_empty() {
                return found;
            }
            let named = line.trim_start_matches('[').split(']').next() == Some(table);
            inside = named && left == 0;
            left -= usize::from(named && left > 0);
            if inside {
                found = Some(n + 1);
            }
        } else if inside
            && line.strip_prefix(key).is_some_and(|rest| rest.trim_start().starts_with('='))
        {
            return Some(n + 1);
        }
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;
    use strsim::levenshtein as distance;

    const TEXT: &str =
        "name = \"x\"\n\n[[coil]]\npins = 1\n[[coil]]\nohms = 2\npins = 3\n[truth]\n";

    #[test]
    fn a_key_is_found_in_the_table_that_is_meant() {
        assert_eq!(line_of(TEXT, "", 0, "name"), Some(1));
        assert_eq!(line_of(TEXT, "coil", 0, "pins"), Some(4));
        assert_eq!(line_of(TEXT, "coil", 1, "pins"), Some(7));
        assert_eq!(line_of(TEXT, "coil", 0, "ohms"), Some(3));
        assert_eq!(line_of(TEXT, "truth", 0, "family"), Some(8));
    }

    #[test]
    fn distance_counts_changed_letters() {
        assert_eq!(distance("pinz", "pins"), 1);
        assert_eq!(distance("", "ohms"), 4);
        assert_eq!(distance("ohm", "ohms"), 1);
    }
}
