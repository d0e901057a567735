//! What bytes a message may consist of, and how they look on the wire.

/// Longest line of a message without its CRLF (RFC 5322, 2.1.1).
pub const LONGEST_LINE: usize = 998;

/// Why bytes are not fit to be handed to a mail server as they are.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum Unfit {
    /// A byte above 127 or a NUL; some servers strip or refuse it.
    #[error("byte {at} is not plain ASCII text")]
    NotAscii {
        /// Offset of the byte.
        at: usize,
    },
    /// A CR or LF on its own: servers disagree on where such a line ends, and
    /// that disagreement lets one message pose as two.
    #[error("byte {at} is a CR or LF on its own; lines end in CRLF")]
    LoneBreak {
        /// Offset of the byte.
        at: usize,
    },
    /// A line longer than the standard lets servers accept.
    #[error("the line that ends at byte {at} is longer than 998 characters")]
    LongLine {
        /// Offset of the line's end.
        at: usize,
    },
    /// The last line has no CRLF.
    #[error("the last line does not end in CRLF")]
    Unended,
}

/// Whether `message` can go over the wire unchanged: ASCII lines of at most
/// [`LONGEST_LINE`] characters, each ended by CRLF.
pub fn fit(message: &[u8]) -> Result<(), Unfit> {
    let mut line = 0;
    let mut before = 0u8;
    for (at, &byte) in message.iter().enumerate() {
        match byte {
            b'\n' if before != b'\r' => return Err(Unfit::LoneBreak { at }),
            _ if before == b'\r' && byte != b'\n' => return Err(Unfit::LoneBreak { at: at - 1 }),
            0 | 128.. => return Err(Unfit::NotAscii { at }),
            b'\r' => {}
            b'\n' => line = 0,
            _ => line += 1,
        }
        if line > LONGEST_LINE {
            return Err(Unfit::LongLine { at });
        }
        before = byte;
    }
    if message.ends_with(b"\r\n") { Ok(()) } else { Err(Unfit::Unended) }
}

/// `message` as it follows DATA, without the closing dot: a dot that begins a
/// line is doubled (RFC 5321, 4.5.2). `message` is [`fit`].
pub fn dot_stuffed(message: &[u8]) -> Vec<u8> {
    let mut out = Vec::with_capacity(message.len() + 64);
    for line in message.split_inclusive(|&byte| byte == b'\n') {
        if line.starts_with(b".") {
            out.push(b'.');
        }
        out.extend_from_slice(line);
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_ascii_lines_ended_by_crlf_are_fit() {
        assert_eq!(fit(b"a: b\r\n\r\n.\r\n"), Ok(()));
        assert_eq!(fit(b"a\nb\r\n"), Err(Unfit::LoneBreak { at: 1 }));
        assert_eq!(fit(b"a\rb\r\n"), Err(Unfit::LoneBreak { at: 1 }));
        assert_eq!(fit(b"a\r\r\n"), Err(Unfit::LoneBreak { at: 1 }));
        assert_eq!(fit(b"a\0\r\n"), Err(Unfit::NotAscii { at: 1 }));
        assert_eq!(fit("é\r\n".as_bytes()), Err(Unfit::NotAscii { at: 0 }));
        assert_eq!(fit(b"a\r\nb"), Err(Unfit::Unended));
        assert_eq!(fit(b"a\r"), Err(Unfit::Unended));
        assert_eq!(fit(b""), Err(Unfit::Unended));
        let long = |n: usize| format!("x\r\n{}\r\n", "y".repeat(n));
        assert_eq!(fit(long(LONGEST_LINE).as_bytes()), Ok(()));
        assert_eq!(fit(long(LONGEST_LINE + 1).as_bytes()), Err(Unfit::LongLine { at: 3 + LONGEST_LINE }));
    }

    #[test]
    fn a_dot_that_begins_a_line_is_doubled() {
        assert_eq!(dot_stuffed(b".a\r\nb.\r\n.\r\n..\r\n"), b"..a\r\nb.\r\n..\r\n...\r\n");
        assert_eq!(dot_stuffed(b"plain\r\n"), b"plain\r\n");
    }
}
