//! The bytes of a file to text: byte-order marks, UTF-16 with and without one, Windows-1252.
//!
//! UTF-8 is read as it stands, block by block. Every other encoding, and a file whose lines end in a
//! bare carriage return, is turned into UTF-8 with line feeds as a whole first.

use encoding_rs::{Encoding, UTF_8, UTF_16BE, UTF_16LE, WINDOWS_1252};

/// Why a file is no text.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub(crate) enum NotText {
    /// A spreadsheet program's own format.
    #[error("this is a spreadsheet file, not a CSV file")]
    Spreadsheet,
    /// Bytes that occur in no text.
    #[error("this is not a text file")]
    Binary,
    /// Marked as UTF-16, with halves of characters.
    #[error("this file is marked as UTF-16 and is not")]
    BrokenUtf16,
}

impl NotText {
    /// What the person can do about it.
    pub(crate) fn help(self) -> &'static str {
        match self {
            Self::Spreadsheet | Self::BrokenUtf16 => "save it as CSV (UTF-8) and read that",
            Self::Binary => "give the readings sheet, saved as CSV (UTF-8)",
        }
    }
}

/// How many bytes to skip when a file that begins like this can be read as UTF-8; `None` when it must be
/// turned into UTF-8 as a whole.
pub(crate) fn mark_of_utf8(head: &[u8]) -> Option<usize> {
    let mark = if head.starts_with(b"\xef\xbb\xbf") { 3 } else { 0 };
    let foreign = head.starts_with(b"\xff\xfe")
        || head.starts_with(b"\xfe\xff")
        || head.contains(&0)
        || is_spreadsheet(head)
        || ends_lines_with_a_carriage_return(head);
    (!foreign).then_some(mark)
}

/// A zip archive, as spreadsheets of today are, or the compound file of older ones.
fn is_spreadsheet(head: &[u8]) -> bool {
    head.starts_with(b"PK\x03\x04") || head.starts_with(b"\xd0\xcf\x11\xe0")
}

fn ends_lines_with_a_carriage_return(text: &[u8]) -> bool {
    text.contains(&b'\r') && !text.contains(&b'\n')
}

/// The whole file as UTF-8 with line feeds, without a byte-order mark.
pub(crate) fn whole(bytes: &[u8]) -> Result<String, NotText> {
    if is_spreadsheet(bytes) {
        return Err(NotText::Spreadsheet);
    }
    let (text, encoding, broken) = encoding_of(bytes).decode(bytes);
    if broken && (encoding == UTF_16LE || encoding == UTF_16BE) {
        return Err(NotText::BrokenUtf16);
    }
    if text.contains('\0') {
        return Err(NotText::Binary);
    }
    let text = text.into_owned();
    Ok(if ends_lines_with_a_carriage_return(text.as_bytes()) { text.replace('\r', "\n") } else { text })
}

fn encoding_of(bytes: &[u8]) -> &'static Encoding {
    if let Some((encoding, _)) = Encoding::for_bom(bytes) {
        return encoding;
    }
    // Latin letters and digits in UTF-16 have a zero in every other byte.
    let head = &bytes[..bytes.len().min(1024)];
    let zeros = |offset: usize| head.iter().skip(offset).step_by(2).filter(|byte| **byte == 0).count();
    let (even, odd) = (zeros(0), zeros(1));
    if odd > head.len() / 4 && even == 0 {
        UTF_16LE
    } else if even > head.len() / 4 && odd == 0 {
        UTF_16BE
    } else if std::str::from_utf8(bytes).is_ok() {
        UTF_8
    } else {
        WINDOWS_1252
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn utf16(text: &str, mark: bool, big: bool) -> Vec<u8> {
        let mark = if mark { "\u{feff}" } else { "" };
        let units = mark.encode_utf16().chain(text.encode_utf16());
        units.flat_map(|unit| if big { unit.to_be_bytes() } else { unit.to_le_bytes() }).collect()
    }

    #[test]
    fn utf16_is_read_with_and_without_its_mark_in_both_byte_orders() {
        let text = "kind;nominal_mm;note\nbore;5;für den Motor, 20 °C\n";
        for (mark, big) in [(true, false), (true, true), (false, false), (false, true)] {
            let bytes = utf16(text, mark, big);
            assert_eq!(mark_of_utf8(&bytes), None);
            assert_eq!(whole(&bytes).unwrap(), text, "mark {mark} big {big}");
        }
    }

    #[test]
    fn utf8_is_read_as_it_stands_but_for_its_mark() {
        assert_eq!(mark_of_utf8("kind,\u{b0}\n".as_bytes()), Some(0));
        assert_eq!(mark_of_utf8(b"\xef\xbb\xbfkind\n"), Some(3));
    }

    #[test]
    fn letters_of_windows_1252_come_out_right() {
        assert_eq!(whole(b"note\nf\xfcr 20 \xb0C\n").unwrap(), "note\nfür 20 °C\n");
    }

    #[test]
    fn bare_carriage_returns_become_line_feeds() {
        assert_eq!(mark_of_utf8(b"kind\rbore\r"), None);
        assert_eq!(whole(b"kind\rbore\r").unwrap(), "kind\nbore\n");
    }

    #[test]
    fn what_is_no_text_is_refused_by_name() {
        assert_eq!(whole(b"PK\x03\x04rest"), Err(NotText::Spreadsheet));
        assert_eq!(whole(b"kind\n\0\0\0\0abc"), Err(NotText::Binary));
        assert_eq!(whole(b"\xff\xfea\x00\x00\xd8b\x00"), Err(NotText::BrokenUtf16));
    }
}
