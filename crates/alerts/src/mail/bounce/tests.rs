use proptest::prelude::*;

use super::*;

const ID: &str = "0198c1de-2f00-7abc-8def-0123456789ab@mail.quernstone.example";
const ANN: &str = "ann@longacre.example";

fn crlf(text: &str) -> Vec<u8> {
    text.replace('\n', "\r\n").into_bytes()
}

/// A report of the documented shape (RFC 3464, appendix E), with its recipients'
/// groups and the part that brings the mail back.
fn report(groups: &str, back: &str) -> Vec<u8> {
    crlf(&format!(
        "Return-Path: <>\n\
         Received: by mail.longacre.example (Postfix) id 4CF1; Fri, 1 May 2026 04:00:03 +0000 (UTC)\n\
         From: MAILER-DAEMON@mail.longacre.example (Mail Delivery System)\n\
         To: clock@mail.quernstone.example\n\
         Subject: Undelivered Mail Returned to Sender\n\
         Auto-Submitted: auto-replied\n\
         MIME-Version: 1.0\n\
         Content-Type: multipart/report; report-type=delivery-status;\n\
         \tboundary=\"4CF1.1777608003/mail.longacre.example\"\n\
         Message-Id: <20260501040003.4CF1@mail.longacre.example>\n\
         \n\
         This is a MIME-encapsulated message.\n\
         \n\
         --4CF1.1777608003/mail.longacre.example\n\
         Content-Description: Notification\n\
         Content-Type: text/plain; charset=us-ascii\n\
         \n\
         Your message could not be delivered. Action: failed Status: 5.9.9\n\
         \n\
         --4CF1.1777608003/mail.longacre.example\n\
         Content-Description: Delivery report\n\
         Content-Type: message/delivery-status\n\
         \n\
         Reporting-MTA: dns; mail.longacre.example\n\
         X-Postfix-Queue-ID: 4CF1\n\
         Arrival-Date: Fri,  1 May 2026 04:00:02 +0000 (UTC)\n\
         \n\
         {groups}\n\
         {back}\
         --4CF1.1777608003/mail.longacre.example--\n"
    ))
}

const FAILED: &str = "Final-Recipient: rfc822; ann@longacre.example\n\
    Original-Recipient: rfc822;ann@longacre.example\n\
    Action: failed\n\
    Status: 5.1.1\n\
    Diagnostic-Code: smtp; 550 5.1.1 <ann@longacre.example>: Recipient address\n    rejected: no such box\n";

fn headers_back(id: &str) -> String {
    format!(
        "--4CF1.1777608003/mail.longacre.example\n\
         Content-Type: text/rfc822-headers\n\n\
         From: clock@mail.quernstone.example\nSubject: North Bench: due\nMessage-ID: <{id}>\n\n"
    )
}

fn one(mail: &[u8]) -> Bounce {
    let mut told = read(mail).unwrap();
    assert_eq!(told.len(), 1, "{told:?}");
    told.remove(0)
}

#[test]
fn a_box_that_is_not_there_is_permanent_and_names_the_mail() {
    let bounce = one(&report(FAILED, &headers_back(ID)));
    assert_eq!(bounce.action, Action::Failed);
    assert_eq!(bounce.status, Status { class: 5, subject: 1, detail: 1 });
    assert_eq!(bounce.recipient, ANN);
    assert_eq!(bounce.reached_for, None);
    assert_eq!(bounce.header_id.as_deref(), Some(ID));
    let said = "550 5.1.1 <ann@longacre.example>: Recipient address rejected: no such box";
    assert_eq!(bounce.diagnostic, said);
    assert!(bounce.permanent() && bounce.names(ID, "Ann@LongAcre.example"));
    let bare =
        read(&String::from_utf8(report(FAILED, &headers_back(ID))).unwrap().replace('\r', "").into_bytes());
    assert_eq!(bare, Ok(vec![bounce]), "the same with bare line ends, as a Maildir keeps it");
}

#[test]
fn the_whole_mail_may_come_back_too() {
    let back = format!(
        "--4CF1.1777608003/mail.longacre.example\nContent-Type: message/rfc822\n\n\
         Message-ID: <{ID}>\nContent-Type: multipart/alternative; boundary=x\n\n\
         --x\nContent-Type: text/plain\n\nMessage-ID: <other@mail.example>\n--x--\n\n"
    );
    let bounce = one(&report(FAILED, &back));
    assert!(bounce.names(ID, ANN));
    let coded = "--4CF1.1777608003/mail.longacre.example\nContent-Type: text/rfc822-headers\n\
        Content-Transfer-Encoding: quoted-printable\n\nSubject: N=C3=B6rd\nMessage-ID: <a=3Db@mail.example>\n\n";
    assert_eq!(one(&report(FAILED, coded)).header_id.as_deref(), Some("a=b@mail.example"));
}

#[test]
fn what_is_put_off_or_done_is_noted_and_not_permanent() {
    for (action, status, class) in [
        ("delayed", "4.4.1", 4),
        ("Delayed", "4.2.2 (mailbox full)", 4),
        ("failed", "4.4.7", 4),
        ("relayed", "2.0.0", 2),
        ("delivered", "2.1.5", 2),
        ("expanded", "2.1.5", 2),
        // A server at odds with itself.
        ("delayed", "5.0.0", 5),
    ] {
        let group =
            format!("Final-Recipient: RFC822;ann@longacre.example\nAction: {action}\nStatus: {status}\n");
        let bounce = one(&report(&group, &headers_back(ID)));
        assert!(!bounce.permanent(), "{bounce:?}");
        assert_eq!((bounce.status.class, bounce.action.word()), (class, action.to_lowercase().as_str()));
        assert_eq!(bounce.diagnostic, "");
    }
}

#[test]
fn behind_an_alias_both_addresses_are_told() {
    let group = FAILED.replace("Final-Recipient: rfc822; ann@", "Final-Recipient: rfc822; a.smith@");
    let bounce = one(&report(&group, &headers_back(ID)));
    assert_eq!(bounce.recipient, ANN);
    assert_eq!(bounce.reached_for.as_deref(), Some("a.smith@longacre.example"));
    assert!(bounce.names(ID, ANN) && bounce.names(ID, "a.smith@longacre.example"));
    let two = format!("{FAILED}\n{}", group.replace("5.1.1", "4.2.2"));
    let told = read(&report(&two, &headers_back(ID))).unwrap();
    assert_eq!(told.iter().map(Bounce::permanent).collect::<Vec<_>>(), [true, false]);
    assert!(told.iter().all(|bounce| bounce.header_id.as_deref() == Some(ID)));
}

#[test]
fn one_without_the_mail_s_headers_is_matched_by_nothing() {
    for back in
        ["", "--4CF1.1777608003/mail.longacre.example\nContent-Type: text/rfc822-headers\n\nSubject: x\n\n"]
    {
        let bounce = one(&report(FAILED, back));
        assert_eq!(bounce.header_id, None);
        assert!(bounce.permanent() && !bounce.names(ID, ANN) && !bounce.names("", ANN));
    }
}

#[test]
fn a_forged_one_names_no_mail_that_went_to_that_address() {
    // Whoever writes it must know the Message-ID; and that mail went to one address.
    let guessed = one(&report(FAILED, &headers_back("1@mail.quernstone.example")));
    assert!(!guessed.names(ID, ANN));
    let own_mail_turned_on_another = one(&report(FAILED, &headers_back(ID)));
    assert!(!own_mail_turned_on_another.names(ID, "bea@longacre.example"));
    let not_an_id = one(&report(FAILED, &headers_back("../../etc@x")));
    assert_eq!(not_an_id.header_id, None);
}

#[test]
fn what_is_no_report_is_no_bounce() {
    let holiday = crlf(
        "From: Ann <ann@longacre.example>\nTo: clock@mail.quernstone.example\nSubject: Re: North Bench\n\
         Auto-Submitted: auto-replied\nIn-Reply-To: <x@y.example>\nContent-Type: text/plain\n\n\
         I am away until Monday.\n\nFinal-Recipient: rfc822; ann@longacre.example\nAction: failed\nStatus: 5.1.1\n",
    );
    assert_eq!(read(&holiday), Err(NotABounce::NotAReport));
    let receipt = String::from_utf8(report(FAILED, "")).unwrap();
    let receipt = receipt.replace("report-type=delivery-status", "report-type=disposition-notification");
    assert_eq!(read(receipt.as_bytes()), Err(NotABounce::NotAReport));
    assert_eq!(read(b""), Err(NotABounce::NotAReport));
    assert_eq!(read(&vec![b'a'; 2 << 20]), Err(NotABounce::TooLong));
    for group in [
        "",
        "Action: failed\nStatus: 5.1.1\n",
        "Final-Recipient: x400; /S=ann/\nAction: failed\nStatus: 5.1.1\n",
        "Final-Recipient: rfc822; ann@longacre.example\nStatus: 5.1.1\n",
        "Final-Recipient: rfc822; ann@longacre.example\nAction: lost\nStatus: 5.1.1\n",
        "Final-Recipient: rfc822; ann@longacre.example\nAction: failed\nStatus: 5.1\n",
        "Final-Recipient: rfc822; ann@longacre.example\nAction: failed\nStatus: 3.1.1\n",
        "Final-Recipient: rfc822; ann@longacre.example\nAction: failed\nStatus: 5.1.1.1\n",
        "Final-Recipient: rfc822; ann@longacre.example\nAction: failed\nStatus: 5.-1.1\n",
    ] {
        assert_eq!(read(&report(group, "")), Err(NotABounce::NobodyNamed), "{group}");
    }
}

#[test]
fn what_a_server_said_is_one_short_line() {
    let group = FAILED.replace("no such box", &format!("\u{1b}[31m{}", "no ".repeat(4_000)));
    let bounce = one(&report(&group, &headers_back(ID)));
    assert!(!bounce.diagnostic.contains(char::is_control));
    assert!(bounce.diagnostic.chars().count() <= 300);
}

/// What is nested in what came back is never opened, however deep it goes.
#[test]
fn depth_costs_nothing() {
    let deep = "Content-Type: message/rfc822\n\n".repeat(20_000);
    let back = format!("--4CF1.1777608003/mail.longacre.example\n{deep}");
    assert_eq!(one(&report(FAILED, &back)).header_id, None);
    let many = "--4CF1.1777608003/mail.longacre.example\nContent-Type: text/plain\n\nx\n".repeat(10_000);
    let told = read(&report(FAILED, &format!("{many}{}", headers_back(ID)))).unwrap();
    assert_eq!(told[0].header_id, None, "no part behind the tenth is looked at");
    let crowd = format!("{FAILED}\n").repeat(1_000);
    assert_eq!(read(&report(&crowd, "")).unwrap().len(), MOST_RECIPIENTS);
}

/// What parts one thing from another in a mail.
const SIGNS: &[u8] = b"\r\n-:;=<>\"()%@ ";

proptest! {
    #[test]
    fn arbitrary_bytes_never_panic(bytes in proptest::collection::vec(any::<u8>(), 0..2_000)) {
        let _ = read(&bytes);
    }

    /// A good report with pieces cut out, doubled and overwritten.
    #[test]
    fn a_damaged_report_never_panics(
        damage in proptest::collection::vec((any::<prop::sample::Index>(), any::<prop::sample::Index>(), any::<u8>(), 0..4_u8), 1..12),
    ) {
        let mut mail = report(FAILED, &headers_back(ID));
        for (from, to, byte, how) in damage {
            if mail.is_empty() {
                break;
            }
            let (a, b) = (from.index(mail.len()), to.index(mail.len()));
            let (a, b) = (a.min(b), a.max(b));
            match how {
                0 => drop(mail.drain(a..b.min(a + 300))),
                1 => {
                    let piece = mail[a..b.min(a + 300)].to_vec();
                    mail.splice(b..b, piece);
                }
                2 => mail[a] = byte,
                _ => mail[a] = SIGNS[usize::from(byte) % SIGNS.len()],
            }
        }
        if let Ok(told) = read(&mail) {
            for bounce in told {
                prop_assert!(bounce.recipient.len() <= LONGEST_ADDRESS && !bounce.recipient.contains(char::is_control));
                prop_assert!(!bounce.diagnostic.contains(char::is_control));
            }
        }
    }

    /// Any text behind the fields' names.
    #[test]
    fn arbitrary_fields_never_panic(recipient in ".{0,80}", status in ".{0,20}", said in ".{0,80}", id in ".{0,60}") {
        let group = format!("Final-Recipient: rfc822; {recipient}\nAction: failed\nStatus: {status}\nDiagnostic-Code: {said}\n");
        let _ = read(&report(&group, &headers_back(&id)));
    }
}
