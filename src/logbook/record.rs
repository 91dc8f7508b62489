//! One CSV record at a time, split into its fields by csv-core, the csv crate's own state machine:
//! quoted fields with delimiters and line ends in them, doubled quotes, every kind of line end. It
//! works on bytes that are in memory and keeps one buffer for all records, so that a log of quoted
//! fields is no slow one. What the fields mean is for [`super::row`] to say.

use csv_core::{ReadRecordResult, Reader, ReaderBuilder};

/// The last record that was read.
#[derive(Debug)]
pub(super) struct Record {
    reader: Reader,
    text: Vec<u8>,
    ends: Vec<usize>,
    fields: usize,
}

impl Record {
    pub(super) fn new(delimiter: u8) -> Self {
        let reader = ReaderBuilder::new().delimiter(delimiter).build();
        Self { reader, text: vec![0; 256], ends: vec![0; 16], fields: 0 }
    }

    /// Reads the record at the start of `bytes`, and says how long it is; a blank line has no
    /// fields. `None` where its end is not there yet.
    pub(super) fn read(&mut self, bytes: &[u8], ended: bool) -> Option<usize> {
        self.fields = 0;
        let blank = bytes.iter().take_while(|b| matches!(b, b'\n' | b'\r')).count();
        if blank > 0 {
            return Some(blank);
        }
        self.reader.reset();
        let (mut at, mut letters, mut fields) = (0, 0, 0);
        loop {
            let input = bytes.get(at..).unwrap_or(&[]);
            let text = self.text.get_mut(letters..).unwrap_or(&mut []);
            let ends = self.ends.get_mut(fields..).unwrap_or(&mut []);
            let (result, taken, written, ended_here) = self.reader.read_record(input, text, ends);
            (at, letters, fields) = (at + taken, letters + written, fields + ended_here);
            match result {
                // Asked once more with nothing, it takes that for the end.
                ReadRecordResult::InputEmpty if ended => {}
                ReadRecordResult::InputEmpty => return None,
                ReadRecordResult::OutputFull => self.text.resize(2 * self.text.len(), 0),
                ReadRecordResult::OutputEndsFull => self.ends.resize(2 * self.ends.len(), 0),
                ReadRecordResult::Record | ReadRecordResult::End => break,
            }
        }
        self.fields = fields;
        Some(at)
    }

    /// A field, counted from 0.
    pub(super) fn field(&self, place: usize) -> Option<&[u8]> {
        let ends = self.ends.get(..self.fields)?;
        let from = place.checked_sub(1).map_or(Some(0), |before| ends.get(before).copied())?;
        self.text.get(from..*ends.get(place)?)
    }

    /// All of them.
    pub(super) fn fields(&self) -> impl Iterator<Item = &[u8]> {
        (0..self.fields).filter_map(|place| self.field(place))
    }
}
