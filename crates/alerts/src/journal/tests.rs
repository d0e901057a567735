use store::{Message, MessageState, Purpose};

use super::*;

const AT: Instant = Instant(1_777_593_600);

fn leased(header_id: &str) -> LeasedMessage {
    LeasedMessage {
        message: Message {
            id: header_id.into(),
            header_id: header_id.into(),
            purpose: Purpose::Alerts,
            recipient: "grower@quernstone.example".into(),
            body: String::new(),
            composed_at: AT,
            state: MessageState::Ready,
            attempts: 0,
            next_try_at: Some(AT),
            last_error: None,
            sent_at: None,
            useful_until: None,
        },
        token: 1,
        unknown_before: false,
        carries: vec![Carried {
            block_id: "bench".into(),
            year: 2026,
            kind: "due".into(),
            subject: "start".into(),
            generation: 1,
        }],
    }
}

#[tokio::test]
async fn the_last_word_of_each_message_is_read_back_over_a_cut_line() {
    let folder = tempfile::tempdir().unwrap();
    let journal = Journal::open(folder.path(), "north").unwrap();
    for (id, words) in [
        ("sent@x", vec![Wrote::Offering, Wrote::Accepted]),
        ("refused@x", vec![Wrote::Offering, Wrote::NotTaken]),
        ("unknown@x", vec![Wrote::Offering, Wrote::Unknown]),
        ("copied@x", vec![Wrote::Offering, Wrote::Accepted, Wrote::Offering, Wrote::NotTaken]),
        ("cut@x", vec![Wrote::Offering]),
    ] {
        for word in words {
            journal.write(&leased(id), word, AT).await.unwrap();
        }
    }
    drop(journal);
    // A crash in the midst of a line.
    let path = folder.path().join("north.jsonl");
    let mut file = OpenOptions::new().append(true).open(&path).unwrap();
    file.write_all(b"{\"at\":\"2026-05-01T").unwrap();
    drop(file);

    let journal = Journal::open(folder.path(), "north").unwrap();
    journal.write(&leased("later@x"), Wrote::Offering, AT).await.unwrap();
    let (told, unread) = journal.read().unwrap();
    assert_eq!(unread, 1);
    let shown: Vec<(&str, bool)> = told.iter().map(|one| (one.header_id.as_str(), one.taken)).collect();
    assert_eq!(
        shown,
        [("copied@x", true), ("cut@x", false), ("later@x", false), ("sent@x", true), ("unknown@x", false)]
    );
    assert!(told.iter().all(|one| one.carries.len() == 1 && one.carries[0].kind == "due"));
}
