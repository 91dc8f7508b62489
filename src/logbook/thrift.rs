//! Thrift's compact protocol, as far as Parquet's headers need it: structs of numbered fields,
//! whole numbers, text, and lists (apache/thrift, thrift-compact-protocol). Bytes come out; field
//! numbers and their meaning are for [`super::parquet`].

/// Types of a list's elements.
pub(super) const I32: u8 = 5;
pub(super) const TEXT: u8 = 8;
pub(super) const STRUCT: u8 = 12;
const I64: u8 = 6;
const LIST: u8 = 9;

/// A struct being written, and those inside it.
#[derive(Debug)]
pub(super) struct Compact {
    bytes: Vec<u8>,
    /// The last field's number in each struct that is open.
    last: Vec<u8>,
}

impl Default for Compact {
    fn default() -> Self {
        Self { bytes: Vec::new(), last: vec![0] }
    }
}

impl Compact {
    pub(super) fn i32(&mut self, field: u8, number: i64) {
        self.head(field, I32);
        self.number(number);
    }

    pub(super) fn i64(&mut self, field: u8, number: i64) {
        self.head(field, I64);
        self.number(number);
    }

    pub(super) fn text(&mut self, field: u8, text: &str) {
        self.head(field, TEXT);
        self.letters(text);
    }

    /// A list of so many elements, which follow.
    pub(super) fn list(&mut self, field: u8, of: u8, length: usize) {
        self.head(field, LIST);
        if length < 15 {
            self.bytes.push((length as u8) << 4 | of);
        } else {
            self.bytes.push(0xf0 | of);
            self.variable(length as u64);
        }
    }

    /// Begins a struct that is a field.
    pub(super) fn begin(&mut self, field: u8) {
        self.head(field, STRUCT);
        self.element();
    }

    /// Begins a struct that is an element of a list.
    pub(super) fn element(&mut self) {
        self.last.push(0);
    }

    /// Ends the innermost struct.
    pub(super) fn end(&mut self) {
        self.bytes.push(0);
        self.last.pop();
    }

    /// A number that is an element of a list.
    pub(super) fn number(&mut self, number: i64) {
        self.variable(((number << 1) ^ (number >> 63)).cast_unsigned());
    }

    /// Text that is an element of a list.
    pub(super) fn letters(&mut self, text: &str) {
        self.variable(text.len() as u64);
        self.bytes.extend_from_slice(text.as_bytes());
    }

    pub(super) fn bytes(self) -> Vec<u8> {
        self.bytes
    }

    /// Fields come in order, less than sixteen apart.
    fn head(&mut self, field: u8, kind: u8) {
        if let Some(last) = self.last.last_mut() {
            self.bytes.push((field - *last) << 4 | kind);
            *last = field;
        }
    }

    fn variable(&mut self, mut number: u64) {
        while number > 0x7f {
            self.bytes.push((number & 0x7f) as u8 | 0x80);
            number >>= 7;
        }
        self.bytes.push(number as u8);
    }
}
