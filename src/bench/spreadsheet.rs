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
