use super::*;

fn names(folder: &Path) -> Vec<String> {
    let mut names: Vec<String> = fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .collect();
    names.sort();
    names
}

#[tokio::test]
async fn a_message_stands_under_its_id_and_nothing_beside_it() {
    let dir = tempfile::tempdir().unwrap();
    let folder = dir.path().join("mail");
    let path = keep(&folder, "a-1@mail.example", "one\r\n").await.unwrap();
    assert_eq!(path, folder.join("a-1.eml"));
    assert_eq!(fs::read(&path).unwrap(), b"one\r\n");
    assert_eq!(names(&folder), ["a-1.eml"]);
}

#[tokio::test]
async fn the_same_again_changes_nothing_and_another_under_the_same_id_is_refused() {
    let dir = tempfile::tempdir().unwrap();
    let path = keep(dir.path(), "a@mail.example", "one\r\n").await.unwrap();
    let first = fs::metadata(&path).unwrap().modified().unwrap();
    keep(dir.path(), "a@mail.example", "one\r\n").await.unwrap();
    assert_eq!(fs::metadata(&path).unwrap().modified().unwrap(), first);
    let other = keep(dir.path(), "a@mail.example", "two\r\n").await;
    assert!(matches!(other, Err(FolderError::Taken(taken)) if taken == path));
    assert_eq!(fs::read(&path).unwrap(), b"one\r\n");
    assert_eq!(names(dir.path()), ["a.eml"]);
}

#[tokio::test]
async fn a_failed_try_leaves_nothing_behind() {
    let dir = tempfile::tempdir().unwrap();
    fs::write(dir.path().join("mail"), "a file, not a folder").unwrap();
    let error = keep(&dir.path().join("mail"), "a@mail.example", "one\r\n").await.unwrap_err();
    assert!(error.to_string().contains("mail"), "{error}");
    assert_eq!(names(dir.path()), ["mail"]);
    // A folder where the file should go: the rename fails after the write.
    let taken = dir.path().join("sub");
    fs::create_dir_all(taken.join("b.eml")).unwrap();
    assert!(keep(&taken, "b@mail.example", "one\r\n").await.is_err());
    assert_eq!(names(&taken), ["b.eml"]);
}

#[tokio::test]
async fn an_id_cannot_lead_out_of_the_folder() {
    let dir = tempfile::tempdir().unwrap();
    for id in ["../a@mail.example", "a/b@mail.example", ".a@mail.example", "a"] {
        let kept = keep(&dir.path().join("mail"), id, "one\r\n").await;
        assert!(matches!(kept, Err(FolderError::Id(_))), "{id}");
    }
    assert_eq!(names(dir.path()), Vec::<String>::new());
}
