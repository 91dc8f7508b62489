//! From a Rust file to what the house rules look at: its lines, its tokens without comments and
//! the insides of literals, its paths with `use` trees spread out, its functions, and which lines
//! are only compiled for tests. It reads what the formatter leaves, not all of Rust; macros are
//! read as if they were code. Line numbers count from 1.

use std::ops::RangeInclusive;
use std::path::Path;

/// One token: a word, a string's place (`"`), `::`, or a single character.
pub struct Token {
    pub text: String,
    pub line: usize,
}

/// A path such as `crate::relay::coil::ladder`, spread out and made absolute.
pub struct UsedPath {
    pub parts: Vec<String>,
    pub line: usize,
}

/// One Rust file.
pub struct Source {
    /// Path from the root of the tree, with `/`.
    pub path: String,
    pub raw: String,
    pub tokens: Vec<Token>,
    /// Comments and literals, whole, with the line in which each begins.
    #[allow(dead_code, reason = "what tests/words.rs reads; the rules of the house do not")]
    pub texts: Vec<Token>,
    test_lines: Vec<RangeInclusive<usize>>,
}

impl Source {
    pub fn read(path: &str, raw: &str) -> Self {
        let (tokens, texts) = tokens(raw);
        let whole = path.starts_with("tests/") || path.contains("/tests/");
        let testing =
            ["/tests.rs", "_tests.rs", "src/fixtures.rs"].iter().any(|end| path.ends_with(end));
        let whole = whole || testing || path.contains("/testing/");
        let test_lines = match whole {
            true => std::iter::once(1..=usize::MAX).collect(),
            false => test_items(&tokens),
        };
        Self { path: path.into(), raw: raw.into(), tokens, texts, test_lines }
    }

    /// Whether this line is only compiled for tests.
    pub fn in_tests(&self, line: usize) -> bool {
        self.test_lines.iter().any(|lines| lines.contains(&line))
    }

    /// `file:line: what`.
    pub fn at(&self, line: usize, what: &str) -> String {
        format!("{}:{line}: {what}", self.path)
    }

    /// The modules from the crate's root to this file: `src/relay/coil.rs` is relay, coil.
    pub fn modules(&self) -> Vec<String> {
        let inside = self.path.split_once("src/").map_or("", |(_, rest)| rest);
        let stem = inside.strip_suffix(".rs").unwrap_or(inside);
        let mut parts: Vec<String> = stem.split('/').map(String::from).collect();
        if parts.last().is_some_and(|p| ["mod", "lib", "main"].contains(&p.as_str())) {
            parts.pop();
        }
        parts
    }

    /// Lines where this sequence of tokens begins.
    pub fn find(&self, words: &[&str]) -> Vec<usize> {
        let windows = self.tokens.windows(words.len());
        let hits = windows.filter(|w| w.iter().zip(words).all(|(token, word)| token.text == *word));
        hits.filter_map(|w| w.first().map(|token| token.line)).collect()
    }

    /// First line, last line and name of each function that has a body.
    pub fn functions(&self) -> Vec<(usize, usize, String)> {
        let text = |i: usize| self.tokens.get(i).map_or("", |t| t.text.as_str());
        let starts = (0..self.tokens.len()).filter(|&i| text(i) == "fn" && is_word(text(i + 1)));
        starts
            .filter_map(|i| {
                let end = item_end(&self.tokens, i)?;
                (text(end) == "}")
                    .then(|| (self.tokens[i].line, self.tokens[end].line, text(i + 1).to_string()))
            })
            .collect()
    }

    /// Every path that begins with `crate`, `super`, `coilmark` or `drivers`; `super` is resolved
    /// to `crate`.
    pub fn paths(&self) -> Vec<UsedPath> {
        let mut found = Vec::new();
        let mut inline: Vec<usize> = Vec::new();
        let mut depth = 0_usize;
        for (i, token) in self.tokens.iter().enumerate() {
            match token.text.as_str() {
                "{" => {
                    depth += 1;
                    if i >= 2 && self.tokens[i - 2].text == "mod" {
                        inline.push(depth);
                    }
                }
                "}" => {
                    inline.retain(|d| *d != depth);
                    depth = depth.saturating_sub(1);
                }
                "crate" | "super" | "coilmark" | "drivers" if self.begins_path(i) => {
                    let mut spread = Vec::new();
                    spread_out(&self.tokens, i, &[], &mut spread);
                    found.extend(spread.into_iter().map(|path| self.resolve(path, inline.len())));
                }
                _ => {}
            }
        }
        found
    }

    fn begins_path(&self, i: usize) -> bool {
        let follows = self.tokens.get(i + 1).is_some_and(|t| t.text == "::");
        let inside = i > 0 && ["::", "."].contains(&self.tokens[i - 1].text.as_str());
        // `use ::drivers::x` begins a path too; `a::drivers::x` does not.
        let before = i.checked_sub(2).map(|k| self.tokens[k].text.as_str());
        let rooted = inside && before.is_some_and(|t| t == "use" || !is_word(t));
        follows && (!inside || rooted)
    }

    fn resolve(&self, path: UsedPath, inline: usize) -> UsedPath {
        let supers = path.parts.iter().take_while(|p| *p == "super").count();
        if supers == 0 {
            return path;
        }
        let home = self.modules();
        let kept = (home.len() + inline).saturating_sub(supers);
        let mut parts = vec!["crate".to_string()];
        parts.extend(home.iter().take(kept).cloned());
        // What lies in inline modules of this file is this file's own.
        if kept <= home.len() {
            parts.extend(path.parts.iter().skip(supers).cloned());
        }
        UsedPath { parts, line: path.line }
    }
}

/// All Rust files under these folders of the tree, by path.
#[expect(clippy::unwrap_used, reason = "a file that cannot be read fails the test that reads it")]
pub fn tree(root: &Path, folders: &[&str]) -> Vec<Source> {
    let mut files = Vec::new();
    for folder in folders {
        walk(root, Path::new(folder), &mut files);
    }
    files.retain(|path| path.ends_with(".rs"));
    files.sort();
    let read = |path: &String| std::fs::read_to_string(root.join(path)).unwrap();
    files.iter().map(|path| Source::read(path, &read(path))).collect()
}

/// All files under a folder, hidden ones and build output left out.
pub fn walk(root: &Path, folder: &Path, files: &mut Vec<String>) {
    let Ok(entries) = std::fs::read_dir(root.join(folder)) else { return };
    for entry in entries.flatten() {
        let name = entry.file_name().to_string_lossy().into_owned();
        if name.starts_with('.') || name == "target" {
            continue;
        }
        let path = folder.join(&name);
        match entry.file_type() {
            Ok(kind) if kind.is_dir() => walk(root, &path, files),
            Ok(kind) if kind.is_file() => files.push(path.to_string_lossy().replace('\\', "/")),
            _ => {}
        }
    }
}

pub fn is_word(text: &str) -> bool {
    text.starts_with(|c: char| c.is_alphabetic() || c == '_')
}

/// Lines of the items under `#[cfg(test)]`.
fn test_items(tokens: &[Token]) -> Vec<RangeInclusive<usize>> {
    let mark = ["#", "[", "cfg", "(", "test", ")", "]"];
    (0..tokens.len())
        .filter(|&i| {
            mark.iter().enumerate().all(|(k, m)| tokens.get(i + k).is_some_and(|t| t.text == *m))
        })
        .filter_map(|i| Some(tokens[i].line..=tokens[item_end(tokens, i + mark.len())?].line))
        .collect()
}

/// The token that ends the item begun at `from`: its closing brace, or a semicolon before any.
fn item_end(tokens: &[Token], from: usize) -> Option<usize> {
    let (mut braces, mut others) = (0_usize, 0_usize);
    for (i, token) in tokens.iter().enumerate().skip(from) {
        match token.text.as_str() {
            "(" | "[" => others += 1,
            ")" | "]" => others = others.saturating_sub(1),
            "{" => braces += 1,
            "}" if braces <= 1 => return Some(i),
            "}" => braces -= 1,
            ";" if braces == 0 && others == 0 => return Some(i),
            _ => {}
        }
    }
    None
}

/// Spreads the path at `i` out into `out`, and says where it ends.
fn spread_out(tokens: &[Token], mut i: usize, prefix: &[String], out: &mut Vec<UsedPath>) -> usize {
    let text = |i: usize| tokens.get(i).map_or("", |t| t.text.as_str());
    let mut parts = prefix.to_vec();
    let line = tokens.get(i).map_or(0, |t| t.line);
    while is_word(text(i)) || text(i) == "*" {
        parts.push(text(i).to_string());
        i += 1;
        if text(i) != "::" {
            break;
        }
        i += 1;
        if text(i) == "{" {
            i += 1;
            while text(i) != "}" && i < tokens.len() {
                i = spread_out(tokens, i, &parts, out).max(i + 1);
                while !["}", ","].contains(&text(i)) && i < tokens.len() {
                    i += 1;
                }
                i += usize::from(text(i) == ",");
            }
            return i + 1;
        }
    }
    out.push(UsedPath { parts, line });
    i
}

/// Tokens of Rust text, without comments and without what stands inside literals; and those.
fn tokens(raw: &str) -> (Vec<Token>, Vec<Token>) {
    let chars: Vec<char> = raw.chars().collect();
    let (mut found, mut texts) = (Vec::new(), Vec::new());
    let (mut i, mut line) = (0, 1);
    while let Some(&c) = chars.get(i) {
        let next = chars.get(i + 1).copied().unwrap_or('\n');
        let (text, end) = match c {
            '/' if next == '/' => (String::new(), run(&chars, i, |c| c != '\n')),
            '/' if next == '*' => (String::new(), block_comment_end(&chars, i)),
            '"' => ("\"".into(), string_end(&chars, i)),
            'r' | 'b' | 'c' if let Some(end) = prefixed_string_end(&chars, i) => ("\"".into(), end),
            '\'' => (String::new(), char_end(&chars, i)),
            ':' if next == ':' => ("::".into(), i + 2),
            _ if c.is_alphanumeric() || c == '_' => {
                let end = run(&chars, i, |c| c.is_alphanumeric() || c == '_');
                (chars[i..end].iter().collect(), end)
            }
            _ if c.is_whitespace() => (String::new(), i + 1),
            _ => (c.to_string(), i + 1),
        };
        let end = end.min(chars.len());
        if text == "\"" || (c == '/' && text.is_empty()) {
            texts.push(Token { text: chars[i..end].iter().collect(), line });
        }
        if !text.is_empty() {
            found.push(Token { text, line });
        }
        line += chars[i..end].iter().filter(|c| **c == '\n').count();
        i = end;
    }
    (found, texts)
}

fn run(chars: &[char], from: usize, wanted: impl Fn(char) -> bool) -> usize {
    chars.iter().skip(from).position(|c| !wanted(*c)).map_or(chars.len(), |n| from + n)
}

fn block_comment_end(chars: &[char], from: usize) -> usize {
    let (mut i, mut depth) = (from, 0);
    while i + 1 < chars.len() {
        match (chars[i], chars[i + 1]) {
            ('/', '*') => depth += 1,
            ('*', '/') if depth == 1 => return i + 2,
            ('*', '/') => depth -= 1,
            _ => {
                i += 1;
                continue;
            }
        }
        i += 2;
    }
    chars.len()
}

fn string_end(chars: &[char], quote: usize) -> usize {
    let mut i = quote + 1;
    while i < chars.len() && chars[i] != '"' {
        i += if chars[i] == '\\' { 2 } else { 1 };
    }
    i + 1
}

/// The end of `r"..."`, `r#"..."#`, `b"..."`, `br"..."`; none if no string begins here.
fn prefixed_string_end(chars: &[char], from: usize) -> Option<usize> {
    let letters = run(chars, from, |c| matches!(c, 'r' | 'b' | 'c'));
    let quote = run(chars, letters, |c| c == '#');
    if chars.get(quote) != Some(&'"') || letters - from > 2 {
        return None;
    }
    if !chars[from..letters].contains(&'r') {
        return (quote == letters).then(|| string_end(chars, quote));
    }
    let hashes = quote - letters;
    let closes = |i: usize| chars[i] == '"' && (1..=hashes).all(|k| chars.get(i + k) == Some(&'#'));
    (quote + 1..chars.len()).find(|&i| closes(i)).map(|i| i + 1 + hashes)
}

/// The end of a character literal, or of the quote that begins a lifetime.
fn char_end(chars: &[char], from: usize) -> usize {
    match (chars.get(from + 1), chars.get(from + 2)) {
        (Some('\\'), _) => run(chars, from + 3, |c| c != '\'') + 1,
        (Some(_), Some('\'')) => from + 3,
        _ => from + 1,
    }
}
