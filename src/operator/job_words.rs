//! The asks of a whole job in plain words: what is named, which step comes next, which point of
//! the wiring is looked at. Each names the keys that answer it; nothing else is said about them
//! here.

use crate::event::Ask;

/// Title, text and keys of an ask of a job; none for any other ask.
pub(super) fn asked(ask: &Ask) -> Option<[String; 3]> {
    Some(match ask {
        Ask::Label { label, text } => [
            label.title().into(),
            text.clone(),
            "type it; Enter alone leaves it as it is (q stops)".into(),
        ],
        Ask::Step { step, text } => [
            format!("NEXT: {}", step.title()),
            text.clone(),
            "Enter does it now (s WHY leaves it out, q stops; all is kept)".into(),
        ],
        Ask::Point { text } => [
            "LOOK at the wiring".into(),
            text.clone(),
            "Enter if it is so (s WHY if it is not, q stops)".into(),
        ],
        _ => return None,
    })
}
