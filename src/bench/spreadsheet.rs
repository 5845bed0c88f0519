//! Text as spreadsheets save it: encodings, delimiters, line numbers.

/// Text of a spreadsheet's CSV: UTF-8, UTF-16 with its mark, else Windows-1252.
pub(crate) fn decoded(bytes: &[u8]) -> String {
    let utf_16 = encoding_rs::Encoding::for_bom(bytes).map(|(encoding, _)| encoding);
    let fallback = || if std::str::from_utf8(bytes).is_ok() { encoding_rs::UTF_8 } else { encoding_rs::WINDOWS_1252 };
    utf_16.unwrap_or_else(fallback).decode(bytes).0.into_owned()
}

/// What separates the cells: whichever of semicolon, tab and comma stands most often in the header.
pub(crate) fn delimiter(text: &str) -> u8 {
    let header = text.lines().find(|line| !line.trim().is_empty()).unwrap_or("");
    [b';', b'\t', b',']
        .into_iter()
        .max_by_key(|&d| (header.bytes().filter(|&b| b == d).count(), d == b','))
        .unwrap_or(b',')
}

/// What is wrong with a record that a stray quote or a cut file made, if anything is: what was found and what is allowed.
///
/// `rest` is the text from the record's beginning to the end of the file, for the last record alone.
pub(crate) fn torn(
    record: &csv::StringRecord,
    rest: Option<&str>,
    (width, delimiter): (usize, u8),
) -> Option<(&'static str, &'static str)> {
    let short = record.len() < width;
    if let Some(rest) = rest {
        let open = rest.bytes().filter(|&b| b == b'"').count() % 2 == 1;
        if open && (short || rest.trim_end().contains('\n')) {
            return Some(("a quote that nothing closes", "close it: all from it to the end of the file is one cell"));
        }
        if short && !rest.ends_with(['\n', '\r']) {
            let allowed = "allowed: whole rows; if this one is whole, end it with a line break";
            return Some(("the file ends in the middle of this row", allowed));
        }
    }
    // rows between two stray quotes are one cell with line breaks in it
    let row = |line: &str| line.bytes().filter(|&b| b == delimiter).count() + 1 >= width;
    let holds_rows = width > 2 && record.iter().any(|cell| cell.contains('\n') && cell.lines().skip(1).any(row));
    holds_rows.then_some(("a cell that holds whole rows", "close the quote that it begins with"))
}

/// Line numbers of records in the order of the file, counted on from the one before.
pub(crate) struct Lines<'t> {
    text: &'t str,
    byte: usize,
    line: usize,
}

impl<'t> Lines<'t> {
    pub(crate) fn new(text: &'t str) -> Self {
        Self { text, byte: 0, line: 1 }
    }

    /// Line of the record that begins at a byte: the ends of lines and empty lines before it are passed over.
    pub(crate) fn at(&mut self, byte: usize) -> usize {
        let rest = self.text.get(byte..).unwrap_or("");
        let begins = byte + rest.len() - rest.trim_start_matches(['\r', '\n', ' ']).len();
        if let Some(between) = self.text.get(self.byte..begins) {
            self.line += between.bytes().filter(|&b| b == b'\n').count();
            self.byte = begins;
        }
        self.line
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What is said of each record after the header.
    fn said(text: &str) -> Vec<Option<&'static str>> {
        let mut reader = csv::ReaderBuilder::new().flexible(true).from_reader(text.as_bytes());
        let width = reader.headers().unwrap().len();
        let (mut record, mut out) = (csv::StringRecord::new(), Vec::new());
        while reader.read_record(&mut record).unwrap() {
            let at = record.position().unwrap().byte() as usize;
            let last = reader.position().byte() as usize >= text.len();
            out.push(torn(&record, last.then(|| &text[at..]), (width, b',')).map(|(found, _)| found));
        }
        out
    }

    #[test]
    fn whole_tables_are_whole() {
        assert_eq!(said("a,b,c\n1,2,3\n4,5,6\n"), [None, None]);
        assert_eq!(said("a,b,c\n1,2,3\n4,5,6"), [None, None]);
        // short rows are a habit, inches no quotes, notes may have lines
        assert_eq!(said("a,b,c\n1,2\n4,5 \" plug,6\n"), [None, None]);
        assert_eq!(said("a,b,c\n1,\"two\nlines, and more\",3\n4,5\n"), [None, None]);
    }

    #[test]
    fn what_was_torn_says_so() {
        let cut = Some("the file ends in the middle of this row");
        let open = Some("a quote that nothing closes");
        assert_eq!(said("a,b,c\n1,2,3\n4,5"), [None, cut]);
        assert_eq!(said("a,b,c\n1,2,\"3\n4,5,6\n7,8,9\n"), [open]);
        assert_eq!(said("a,b,c\n1,\"2,3\n"), [open]);
        assert_eq!(said("a,b,c\n1,2,\"3\n4,5,6\n7,8,9\"\n1,2,3\n"), [Some("a cell that holds whole rows"), None]);
    }
}
