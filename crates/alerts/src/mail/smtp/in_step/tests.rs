use tokio::io::{AsyncReadExt, AsyncWriteExt, DuplexStream, duplex};

use super::*;

fn pair() -> (InStep<DuplexStream>, DuplexStream) {
    let (ours, theirs) = duplex(64 * 1024);
    (InStep::new(ours), theirs)
}

async fn read_once(stream: &mut InStep<DuplexStream>) -> io::Result<String> {
    let mut room = [0u8; 1024];
    let read = stream.read(&mut room).await?;
    Ok(String::from_utf8_lossy(&room[..read]).into_owned())
}

#[tokio::test]
async fn one_reply_a_turn_and_the_rest_is_seen() {
    let (mut ours, mut theirs) = pair();
    theirs.write_all(b"220-hi\r\n220 there\r\n250 ok\r\n").await.unwrap();
    assert_eq!(read_once(&mut ours).await.unwrap(), "220-hi\r\n220 there\r\n");
    let error = ours.nothing_more().unwrap_err();
    assert!(error.to_string().contains("`250 ok` unasked"), "{error}");
    assert!(ours.write_all(b"EHLO a\r\n").await.is_err());
    assert!(ours.into_inner().is_err());
}

#[tokio::test]
async fn what_comes_between_two_turns_stops_the_next_word() {
    let (mut ours, mut theirs) = pair();
    theirs.write_all(b"220 hi\r\n").await.unwrap();
    read_once(&mut ours).await.unwrap();
    ours.quiet().await.unwrap();
    theirs.write_all(b"421 bye\r\n").await.unwrap();
    assert!(ours.quiet().await.is_err());
    assert!(ours.write_all(b"EHLO a\r\n").await.is_err());
}

#[tokio::test]
async fn a_reply_in_pieces_is_one_reply() {
    let (mut ours, mut theirs) = pair();
    for piece in ["2", "5", "0", "-a\r", "\n250", " ", "b", "\r", "\n"] {
        assert!(!ours.reply.complete, "before {piece:?}");
        theirs.write_all(piece.as_bytes()).await.unwrap();
        assert_eq!(read_once(&mut ours).await.unwrap(), piece);
    }
    assert!(ours.reply.complete);
    ours.quiet().await.unwrap();
    ours.write_all(b"NOOP\r\n").await.unwrap();
    assert!(!ours.reply.complete);
}

#[tokio::test]
async fn two_codes_in_one_answer_no_code_and_no_end_are_refused() {
    for bad in ["250-ok\r\n554 no\r\n", "ok\r\n", "\r\n"] {
        let (mut ours, mut theirs) = pair();
        theirs.write_all(bad.as_bytes()).await.unwrap();
        assert!(read_once(&mut ours).await.is_err(), "{bad:?}");
    }
    let (mut ours, mut theirs) = pair();
    theirs.write_all("250-\r\n".repeat(LONGEST_REPLY / 6 + 1).as_bytes()).await.unwrap();
    let error = loop {
        if let Err(error) = read_once(&mut ours).await {
            break error;
        }
    };
    assert!(error.to_string().contains("no end"), "{error}");
}

#[tokio::test]
async fn a_server_that_has_gone_is_noticed() {
    let (mut ours, theirs) = pair();
    drop(theirs);
    let error = ours.quiet().await.unwrap_err();
    assert_eq!(error.kind(), io::ErrorKind::UnexpectedEof);
    assert!(read_once(&mut ours).await.is_err());
}
