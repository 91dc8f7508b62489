//! Text from outside, made safe to look at, on a terminal or a page: labels, identities and
//! messages in, the same text out with every character that does not show, or that turns the
//! direction of writing, spelled as `\u{202e}`. What is left is for HTML or CSV to escape by
//! their own rules.

/// `text` with controls, direction marks and other invisible characters spelled out, so that they
/// can do nothing.
#[must_use]
pub fn visible(text: &str) -> String {
    let mut shown = String::with_capacity(text.len());
    for c in text.chars() {
        if hides(c) { shown.extend(c.escape_default()) } else { shown.push(c) }
    }
    shown
}

/// Controls (C0, C1), and the Unicode characters of general category Cf, Zl and Zp that hide or
/// reorder text: soft hyphen, zero-width marks, bidirectional embeddings, overrides and isolates
/// (Unicode Standard Annex 9), interlinear and tag characters.
fn hides(c: char) -> bool {
    c.is_control()
        || matches!(c,
            '\u{ad}' | '\u{61c}' | '\u{180e}' | '\u{200b}'..='\u{200f}' | '\u{2028}'..='\u{202e}'
            | '\u{2060}'..='\u{206f}' | '\u{feff}' | '\u{fff9}'..='\u{fffb}'
            | '\u{e0000}'..='\u{e007f}')
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_hides_is_spelled_out_and_the_rest_stays() {
        assert_eq!(visible("87a Ω µ é"), "87a Ω µ é");
        assert_eq!(visible("\u{1b}[31m"), "\\u{1b}[31m");
        assert_eq!(visible("a\u{202e}b\u{2066}c\u{200b}"), "a\\u{202e}b\\u{2066}c\\u{200b}");
        assert_eq!(visible("a\nb\u{85}"), "a\\nb\\u{85}");
    }
}
