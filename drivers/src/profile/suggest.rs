//! Turns an error of the TOML reader into one line with its place and, where a word is not one
//! of those expected, the nearest of them. What counts as near is the edit distance. It only
//! makes messages: what is an error is the reader's word.

/// The longest word that is compared, in characters.
const WORD_MAX: usize = 64;

/// The error as text: line, column, what is wrong, and a suggestion if there is one.
pub(super) fn explain(error: &toml::de::Error, text: &str) -> String {
    let message = error.message().replace('\n', " ");
    let place = error.span().map_or_else(String::new, |span| {
        let before = text.get(..span.start).unwrap_or(text);
        let line = before.matches('\n').count() + 1;
        let column = before.rsplit('\n').next().map_or(0, |tail| tail.chars().count()) + 1;
        format!("line {line}, column {column}: ")
    });
    let hint = suggestion(&message).map_or_else(String::new, |w| format!(", did you mean `{w}`?"));
    let short = match message.find(", expected one of") {
        Some(cut) if !hint.is_empty() => message.get(..cut).unwrap_or(&message),
        _ => &message,
    };
    format!("{place}{}{hint}", crate::error::escape(short.as_bytes(), 400))
}

/// What was found stands quoted ahead of what was expected; it may hold anything, quotes too.
fn suggestion(message: &str) -> Option<String> {
    if !message.starts_with("unknown") {
        return None;
    }
    let (found, expected) = message.rsplit_once(", expected ")?;
    let found = found.split_once('`')?.1.strip_suffix('`')?;
    let expected: Vec<&str> = expected.split('`').skip(1).step_by(2).collect();
    nearest(found, &expected).map(str::to_owned)
}

/// The nearest of `words` to `found`, if any is near: at most a third of its letters differ.
pub(super) fn nearest<'a>(found: &str, words: &[&'a str]) -> Option<&'a str> {
    let found: String = found.chars().take(WORD_MAX).collect();
    let near = words.iter().map(|word| (strsim::levenshtein(&found, word), *word)).min()?;
    (near.0 <= near.1.len().div_ceil(3)).then_some(near.1)
}

#[cfg(test)]
mod tests {
    use super::*;
    use strsim::levenshtein as distance;

    #[test]
    fn edit_distance_of_known_pairs() {
        // Levenshtein's usual example, from memory.
        assert_eq!(distance("kitten", "sitting"), 3);
        assert_eq!(distance("", "abc"), 3);
        assert_eq!(distance("abc", "abc"), 0);
    }

    #[test]
    fn only_expected_words_are_suggested() {
        let of =
            |found: &str| suggestion(&format!("unknown field `{found}`, expected `settle_ms`"));
        assert_eq!(of("settle"), Some("settle_ms".into()));
        for odd in ["a`settle\t`b`settle`", "`", "x`, expected `x\t"] {
            assert_eq!(of(odd), None, "{odd:?}");
        }
    }

    #[test]
    fn a_far_word_is_no_suggestion() {
        assert_eq!(nearest("settle", &["settle_ms", "gap_ms"]), Some("settle_ms"));
        assert_eq!(nearest("colour", &["settle_ms", "gap_ms"]), None);
    }
}
