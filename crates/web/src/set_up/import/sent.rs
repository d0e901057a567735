//! What a form with a file sends: read whole, within limits, and told from what is no
//! table at all.

use std::io::{Read, Write};

use axum::extract::Multipart;
use axum::extract::multipart::{Field, MultipartError};
use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use flate2::Compression;
use flate2::read::GzDecoder;
use flate2::write::GzEncoder;

use crate::fields::Sent;
use crate::words::Words;

/// Largest file that a page takes: two months of readings each minute. It goes back
/// and forth in the page, so that what is stored is what was looked at.
const MOST_FILE: usize = 4 << 20;
/// Longest of the other fields: rows that were pasted, or the file on its way back.
const MOST_FIELD: usize = 6 << 20;
/// Largest form.
pub(crate) const MOST_SENT: usize = 12 << 20;
/// Most fields.
const MOST_FIELDS: usize = 60;

/// The bytes of a station's file.
#[derive(Debug, Clone, PartialEq)]
pub(in crate::set_up) struct FileSent {
    pub(in crate::set_up) name: String,
    pub(in crate::set_up) bytes: Vec<u8>,
}

/// What a form brought.
pub(in crate::set_up) struct Upload {
    pub(in crate::set_up) sent: Sent,
    pub(in crate::set_up) file: Result<FileSent, NoFile>,
}

/// Why there is no file to look at.
#[derive(Debug, Clone, PartialEq)]
pub(in crate::set_up) enum NoFile {
    Nothing,
    TooLarge,
    /// Of another kind, with the key of its words.
    Other(&'static str),
    BrokenOff,
}

impl NoFile {
    pub(in crate::set_up) fn said(&self, words: &Words) -> String {
        match self {
            NoFile::Nothing => words.get("import.nothing").to_owned(),
            NoFile::TooLarge => words.fill("import.too_large", &[("most", &(MOST_FILE >> 20))]),
            NoFile::Other(kind) => words.fill("import.no_table", &[("kind", &words.get(kind))]),
            NoFile::BrokenOff => words.get("import.broken_off").to_owned(),
        }
    }
}

impl FileSent {
    /// As the API is told of it.
    pub(in crate::set_up) fn kind(&self) -> &'static str {
        if self.bytes.starts_with(&[0x1F, 0x8B]) { "application/gzip" } else { "text/csv" }
    }

    /// The same on its way through a page.
    pub(in crate::set_up) fn packed(&self) -> String {
        let mut packed = GzEncoder::new(Vec::new(), Compression::fast());
        // Writing into memory does not fail.
        let written = packed.write_all(&self.bytes).and_then(|()| packed.finish());
        STANDARD.encode(written.unwrap_or_default())
    }

    fn unpacked(name: &str, text: &str) -> Result<FileSent, NoFile> {
        let packed = STANDARD.decode(text).map_err(|_| NoFile::BrokenOff)?;
        let mut bytes = Vec::new();
        let read = GzDecoder::new(packed.as_slice()).take(MOST_FILE as u64 + 1).read_to_end(&mut bytes);
        read.map_err(|_| NoFile::BrokenOff)?;
        if bytes.len() > MOST_FILE {
            return Err(NoFile::TooLarge);
        }
        Ok(FileSent { name: name.to_owned(), bytes })
    }

    /// Whether its first bytes hold signs that stand in no text, of any encoding; what is
    /// packed holds all.
    fn is_no_text(&self) -> bool {
        const LOOKED_AT: usize = 4_096;
        let none = |byte: &u8| matches!(byte, 1..=8 | 11 | 14..=25 | 28..=31 | 127);
        self.kind() == "text/csv" && self.bytes.iter().take(LOOKED_AT).any(none)
    }

    /// The file, where it can be a table: a picture or a workbook is told by how it
    /// begins.
    fn checked(self) -> Result<FileSent, NoFile> {
        const KINDS: [(&[u8], &str); 9] = [
            (b"\x89PNG", "import.png"),
            (b"\xFF\xD8\xFF", "import.jpeg"),
            (b"GIF8", "import.gif"),
            (b"RIFF", "import.sound"),
            (b"\0\0\0", "import.film"),
            (b"%PDF", "import.pdf"),
            (b"PK\x03\x04", "import.workbook"),
            (b"\xD0\xCF\x11\xE0", "import.old_workbook"),
            (b"\x7FELF", "import.program"),
        ];
        match KINDS.iter().find(|(begin, _)| self.bytes.starts_with(begin)) {
            Some((_, kind)) => Err(NoFile::Other(kind)),
            None if self.bytes.is_empty() => Err(NoFile::Nothing),
            None if self.is_no_text() => Err(NoFile::Other("import.no_text")),
            None => Ok(self),
        }
    }
}

impl Upload {
    /// Reads a form.
    ///
    /// # Errors
    /// When it is larger than is taken, or breaks off.
    pub(in crate::set_up) async fn read(mut body: Multipart) -> Result<Upload, NoFile> {
        let mut pairs = Vec::new();
        let mut file = None;
        while let Some(field) = body.next_field().await.map_err(|error| of_body(&error))? {
            let name = field.name().unwrap_or_default().to_owned();
            if name == "file" {
                let told = field.file_name().unwrap_or_default().to_owned();
                let bytes = within(field, MOST_FILE).await?;
                file = (!bytes.is_empty()).then_some(FileSent { name: told, bytes });
            } else if pairs.len() < MOST_FIELDS {
                let bytes = within(field, MOST_FIELD).await?;
                pairs.push((name, String::from_utf8_lossy(&bytes).into_owned()));
            }
        }
        let sent: Sent = pairs.into_iter().collect();
        let file = match (file, sent.text("rows"), sent.text("packed")) {
            (Some(file), ..) => file.checked(),
            (None, Some(_), _) => {
                let bytes = sent.raw("rows").as_bytes().to_vec();
                if bytes.len() > MOST_FILE {
                    Err(NoFile::TooLarge)
                } else {
                    Ok(FileSent { name: String::new(), bytes })
                }
            }
            (None, None, Some(packed)) => FileSent::unpacked(sent.raw("packed_name"), packed),
            (None, None, None) => Err(NoFile::Nothing),
        };
        Ok(Upload { sent, file })
    }
}

async fn within(mut field: Field<'_>, most: usize) -> Result<Vec<u8>, NoFile> {
    let mut bytes = Vec::new();
    while let Some(chunk) = field.chunk().await.map_err(|error| of_body(&error))? {
        if bytes.len() + chunk.len() > most {
            return Err(NoFile::TooLarge);
        }
        bytes.extend_from_slice(&chunk);
    }
    Ok(bytes)
}

fn of_body(error: &MultipartError) -> NoFile {
    if error.status() == axum::http::StatusCode::PAYLOAD_TOO_LARGE {
        NoFile::TooLarge
    } else {
        NoFile::BrokenOff
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::words::english;

    fn file(bytes: &[u8]) -> FileSent {
        FileSent { name: "mast.csv".into(), bytes: bytes.to_vec() }
    }

    #[test]
    fn a_file_comes_back_from_a_page_byte_for_byte() {
        let odd: Vec<u8> = (0..=255).cycle().take(10_000).chain(*b"\r\n;\0").collect();
        let packed = file(&odd).packed();
        assert_eq!(FileSent::unpacked("mast.csv", &packed), Ok(file(&odd)));
        assert_eq!(FileSent::unpacked("", "no base64 at all"), Err(NoFile::BrokenOff));
        assert_eq!(FileSent::unpacked("", &packed[..packed.len() / 2 * 4 / 4]), Err(NoFile::BrokenOff));
    }

    #[test]
    fn what_unpacks_to_too_much_is_not_unpacked_whole() {
        let packed = file(&vec![b' '; MOST_FILE + 1]).packed();
        assert!(packed.len() < 100_000, "{}", packed.len());
        assert_eq!(FileSent::unpacked("", &packed), Err(NoFile::TooLarge));
    }

    #[test]
    fn pictures_and_workbooks_are_told_from_tables() {
        for (begin, kind) in [
            (&b"\xFF\xD8\xFF\xE0\0\x10JFIF"[..], "JPEG"),
            (b"PK\x03\x04\x14", "workbook"),
            (b"%PDF-1.7", "PDF"),
        ] {
            let Err(other @ NoFile::Other(_)) = file(begin).checked() else { panic!("{kind}") };
            let told = other.said(english());
            assert!(told.contains(kind), "{told}");
        }
        assert_eq!(file(b"").checked(), Err(NoFile::Nothing));
        for table in [&b"time,temp\n"[..], b"\xFF\xFEt\0i\0", b"\xEF\xBB\xBFtime", b"\x1F\x8B\x08"] {
            assert!(file(table).checked().is_ok());
        }
    }
}
