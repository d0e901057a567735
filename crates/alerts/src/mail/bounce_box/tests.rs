use super::*;

const BOUNCE: &str = "From: MAILER-DAEMON@mail.example\r\n\
    Content-Type: multipart/report; report-type=delivery-status; boundary=b\r\n\r\n\
    --b\r\nContent-Type: message/delivery-status\r\n\r\nReporting-MTA: dns; mail.example\r\n\r\n\
    Final-Recipient: rfc822; ann@longacre.example\r\nAction: failed\r\nStatus: 5.1.1\r\n\r\n--b--\r\n";

fn put(folder: &Path, name: &str, bytes: &[u8]) {
    fs::create_dir_all(folder.join("new")).unwrap();
    fs::write(folder.join("new").join(name), bytes).unwrap();
}

fn names(folder: &Path) -> Vec<String> {
    let Ok(files) = fs::read_dir(folder) else { return Vec::new() };
    let mut names: Vec<_> = files.map(|file| file.unwrap().file_name().into_string().unwrap()).collect();
    names.sort();
    names
}

#[test]
fn what_is_read_moves_once_it_is_done_with_and_not_before() {
    let place = tempfile::tempdir().unwrap();
    let folder = place.path();
    let boxed = BounceBox::new(folder);
    assert!(boxed.look().unwrap().is_empty(), "one that is not there is empty");
    put(folder, "2.a.mail", BOUNCE.as_bytes());
    put(folder, "1.b.mail", b"Subject: away until Monday\r\n\r\nHello.\r\n");
    put(folder, ".hidden", BOUNCE.as_bytes());
    assert_eq!(boxed.look().unwrap().len(), 2);
    let returned = boxed.look().unwrap();
    assert_eq!(returned.len(), 2, "nobody had done with them");
    assert_eq!(returned[0].told, Err(NotABounce::NotAReport));
    assert_eq!(returned[1].told.as_ref().unwrap()[0].recipient, "ann@longacre.example");
    for one in returned {
        one.done().unwrap();
    }
    assert_eq!(names(&folder.join("new")), [".hidden"]);
    assert_eq!(names(&folder.join("cur")), ["1.b.mail:2,", "2.a.mail:2,S"]);
    assert!(boxed.look().unwrap().is_empty());
}

#[test]
fn what_is_too_long_or_no_file_stays_and_holds_up_nothing() {
    let place = tempfile::tempdir().unwrap();
    let folder = place.path();
    let boxed = BounceBox::new(folder);
    let mut long = BOUNCE.as_bytes().to_vec();
    long.resize(usize::try_from(LONGEST).unwrap() + 1, b'x');
    put(folder, "1.long", &long);
    long.pop();
    put(folder, "2.longest", &long);
    put(place.path().join("elsewhere").as_path(), "secret", BOUNCE.as_bytes());
    std::os::unix::fs::symlink(folder.join("elsewhere/new/secret"), folder.join("new/3.link")).unwrap();
    fs::create_dir(folder.join("new/4.folder")).unwrap();
    for _ in 0..2 {
        let returned = boxed.look().unwrap();
        assert_eq!(returned.len(), 1);
        assert!(returned[0].path.ends_with("2.longest"));
        assert!(returned[0].told.is_ok());
    }
    assert_eq!(names(&folder.join("new")), ["1.long", "2.longest", "3.link", "4.folder"]);
    assert_eq!(boxed.passed_over.lock().unwrap().len(), 3);
    fs::remove_file(folder.join("new/1.long")).unwrap();
    boxed.look().unwrap();
    assert_eq!(boxed.passed_over.lock().unwrap().len(), 2, "nothing is remembered of what is gone");
}

#[test]
fn one_look_reads_so_many_and_the_next_goes_on() {
    let place = tempfile::tempdir().unwrap();
    let boxed = BounceBox::new(place.path());
    for number in 0..=READ_AT_ONCE {
        put(place.path(), &format!("{number:04}"), BOUNCE.as_bytes());
    }
    let returned = boxed.look().unwrap();
    assert_eq!(returned.len(), READ_AT_ONCE);
    for one in returned {
        one.done().unwrap();
    }
    // Taken in the midst by another reader.
    let last = boxed.look().unwrap().remove(0);
    fs::remove_file(&last.path).unwrap();
    last.done().unwrap();
    assert!(boxed.look().unwrap().is_empty());
}
