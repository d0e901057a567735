use mail_parser::MessageParser;

use super::*;

fn letter() -> Letter {
    Letter {
        from: "Orchard alerts <alerts@mail.example>".to_owned(),
        to: "Zoë Ränder <zoe@longacre.example>".to_owned(),
        subject: "North Bench: first spray due Wed 1 May, 17:10 – mark 60 % reached".to_owned(),
        text: "Now 14.5 °C.\n.\n..\nFrom here on: nothing.  \nEnd".to_owned(),
        html: format!("<p>Now 14.5 °C.</p>\n<p>{}</p>\n", "x".repeat(3_000)),
        header_id: "0196b1d2-7a4e-7c11-9a3f-0f6c1b2d3e4f.1@mail.example".to_owned(),
        date: Instant(1_367_442_600),
        headers: vec![("List-Unsubscribe".to_owned(), "<https://bench.example/stop/42>".to_owned())],
    }
}

#[test]
fn a_reader_sees_what_was_written() {
    let letter = letter();
    let message = build(&letter).unwrap();
    let read = MessageParser::default().parse(&message).unwrap();
    assert_eq!(read.subject(), Some(letter.subject.as_str()));
    assert_eq!(read.message_id(), Some(letter.header_id.as_str()));
    assert_eq!(read.date().unwrap().to_timestamp(), letter.date.0);
    assert_eq!(read.to().unwrap().first().unwrap().name(), Some("Zoë Ränder"));
    let unix = |text: std::borrow::Cow<'_, str>| text.replace("\r\n", "\n");
    assert_eq!(unix(read.body_text(0).unwrap()), letter.text);
    assert_eq!(unix(read.body_html(0).unwrap()), letter.html);
    assert_eq!(read.text_body_count(), 1);
    assert_eq!(read.html_body_count(), 1);
}

#[test]
fn the_headers_stand_as_mail_servers_expect_them() {
    let message = build(&letter()).unwrap();
    for line in [
        "Date: Wed, 01 May 2013 21:10:00 +0000\r\n",
        "Message-ID: <0196b1d2-7a4e-7c11-9a3f-0f6c1b2d3e4f.1@mail.example>\r\n",
        "Auto-Submitted: auto-generated\r\n",
        "MIME-Version: 1.0\r\n",
        "List-Unsubscribe: <https://bench.example/stop/42>\r\n",
        "Content-Transfer-Encoding: quoted-printable\r\n",
    ] {
        assert!(message.contains(line), "{line:?} is not in\n{message}");
    }
    assert!(!message.contains("7bit"), "{message}");
}

#[test]
fn the_same_letter_gives_the_same_bytes_and_another_id_another_boundary() {
    let one = build(&letter()).unwrap();
    assert_eq!(one, build(&letter()).unwrap());
    let mut other = letter();
    other.header_id = header_id("another", "mail.example").unwrap();
    let boundary_of = |message: &str| {
        let from = message.find("boundary=\"").unwrap() + 10;
        message[from..from + 34].to_owned()
    };
    assert!(boundary_of(&one).starts_with("=_"));
    assert_ne!(boundary_of(&one), boundary_of(&build(&other).unwrap()));
}

#[test]
fn the_message_is_ascii_in_crlf_lines_whatever_the_letter_holds() {
    let mut odd = letter();
    odd.text = "a\rb\r\nc\n\u{0}\u{7f}🌸\n.\n".repeat(300);
    odd.html = "é".repeat(5_000);
    odd.subject = "Größe 🌸 ".repeat(60);
    let message = build(&odd).unwrap();
    assert_eq!(wire::fit(message.as_bytes()), Ok(()));
    let read = MessageParser::default().parse(&message).unwrap();
    assert_eq!(read.subject().unwrap().trim(), odd.subject.trim());
    assert_eq!(read.body_html(0).unwrap(), odd.html);
}

#[test]
fn nothing_can_smuggle_in_a_header() {
    let bad = "Bench\r\nBcc: all@elsewhere.example";
    let with = |change: fn(&mut Letter, &str)| {
        let mut changed = letter();
        change(&mut changed, bad);
        build(&changed)
    };
    for (field, change) in [
        ("Subject", (|l, s| l.subject = s.to_owned()) as fn(&mut Letter, &str)),
        ("From", |l, s| l.from = format!("{s} <a@b.example>")),
        ("To", |l, s| l.to = format!("{s} <a@b.example>")),
        ("X-Farm", |l, s| l.headers = vec![("X-Farm".to_owned(), s.to_owned())]),
    ] {
        assert_eq!(with(change), Err(LetterError::Control { field: field.to_owned() }));
    }
    for lone in ["a\nb", "a\rb", "a\u{2028}b", "a\u{0}b"] {
        let mut changed = letter();
        changed.subject = lone.to_owned();
        assert!(build(&changed).is_err(), "{lone:?}");
    }
    for name in ["Bcc", "subject", "X: y", "X\r\nBcc", "", "Content-Type", "auto-submitted"] {
        let mut changed = letter();
        changed.headers = vec![(name.to_owned(), "x".to_owned())];
        assert_eq!(build(&changed), Err(LetterError::HeaderName(name.to_owned())));
    }
    let mut twice = letter();
    twice.headers = vec![("X-Farm".to_owned(), "1".to_owned()), ("x-farm".to_owned(), "2".to_owned())];
    assert!(matches!(build(&twice), Err(LetterError::HeaderName(_))));
}

#[test]
fn text_that_looks_encoded_is_not_decoded() {
    let mut sly = letter();
    sly.subject = "=?utf-8?b?ZHVlIG5vdw==?=".to_owned();
    let message = build(&sly).unwrap();
    let read = MessageParser::default().parse(&message).unwrap();
    assert_eq!(read.subject(), Some("= ?utf-8?b?ZHVlIG5vdw== ?="));
}

#[test]
fn only_ids_that_are_safe_as_header_and_file_name_are_made() {
    assert_eq!(header_id("a-1", "mail.example").unwrap(), "a-1@mail.example");
    for (id, domain) in [
        ("a b", "mail.example"),
        ("../a", "mail.example"),
        (".a", "mail.example"),
        ("a/b", "mail.example"),
        ("a@b", "mail.example"),
        ("", "mail.example"),
        ("a", ""),
        ("a>", "mail.example"),
        ("ä", "mail.example"),
    ] {
        assert!(header_id(id, domain).is_err(), "{id:?} {domain:?}");
    }
    assert!(header_id(&"a".repeat(LONGEST_ID), "mail.example").is_err());
}

#[test]
fn addresses_are_taken_apart_or_refused() {
    assert_eq!(address("Zoë <zoe@x.example>").unwrap(), "zoe@x.example");
    assert_eq!(address("zoe@x.example").unwrap(), "zoe@x.example");
    for bad in ["zoe", "zoë@x.example", "zoe@bäume.example", "a@b.example, c@d.example", ""] {
        assert!(address(bad).is_err(), "{bad:?}");
    }
}

#[test]
fn a_date_that_mail_cannot_carry_is_refused() {
    for seconds in [-1, YEAR_10000] {
        let mut far = letter();
        far.date = Instant(seconds);
        assert_eq!(build(&far), Err(LetterError::Date(Instant(seconds))));
    }
}
