//! One key, as any terminal can send it: what a person pressed, without what a program makes of
//! it. A pedal is a key too: it types whatever it was set to. A change of the window's size comes
//! the same way, because it wants the same thing, a fresh look at the screen.

/// One key.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Key {
    /// A printable character.
    Char(char),
    /// Return, or Enter.
    Enter,
    /// Takes the last character away.
    Backspace,
    /// Leaves what is open.
    Escape,
    /// A key that means nothing by itself, as pedals send it: a function or page key.
    Pedal,
    /// Ctrl-C, which is a key where keys come one by one.
    Interrupt,
    /// No key: the window has another size now.
    Resized,
}
