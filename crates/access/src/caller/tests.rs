use super::*;

const NOW: Instant = Instant(1_367_000_000);

async fn store() -> (tempfile::TempDir, Store) {
    let dir = tempfile::tempdir().unwrap();
    let store = Store::open(dir.path().join("t.db").to_str().unwrap()).await.unwrap();
    (dir, store)
}

/// FIPS 180-4, the example of one block, as NIST prints it.
#[test]
fn the_hash_is_sha_256() {
    assert_eq!(hash("abc"), "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
}

#[test]
fn two_secrets_differ() {
    assert_ne!(new_secret().unwrap(), new_secret().unwrap());
}

#[tokio::test]
async fn the_first_token_is_made_once_and_lets_its_bearer_in() {
    let (_dir, store) = store().await;
    let secret = first_token(&store, NOW).await.unwrap().unwrap();
    assert_eq!(secret.len(), LENGTH);
    assert_eq!(first_token(&store, NOW).await.unwrap(), None);
    for scheme in ["Bearer", "bearer", "BEARER "] {
        let header = format!("{scheme} {secret}");
        assert_eq!(bearer(&store, Some(header.as_bytes())).await.unwrap().token_id, FIRST, "{scheme}");
    }
}

#[tokio::test]
async fn only_the_hash_is_kept() {
    let (_dir, store) = store().await;
    let secret = first_token(&store, NOW).await.unwrap().unwrap();
    let kept = store.token_by_hash(&hash(&secret)).await.unwrap().unwrap();
    assert!(!format!("{kept:?}").contains(&secret[PREFIX.len()..]));
    // What is kept does not let anyone in.
    let header = format!("Bearer {PREFIX}{}", kept.hash);
    assert!(matches!(bearer(&store, Some(header.as_bytes())).await, Err(Denied::NoToken)));
}

#[tokio::test]
async fn everything_else_stays_outside() {
    let (_dir, store) = store().await;
    let secret = first_token(&store, NOW).await.unwrap().unwrap();
    let mut other = secret.clone();
    other.replace_range(LENGTH - 1.., if secret.ends_with('0') { "1" } else { "0" });
    let headers = [
        None,
        Some(String::new()),
        Some("Bearer".into()),
        Some("Bearer ".into()),
        Some(secret.clone()),
        Some(format!("Basic {secret}")),
        Some(format!("Bearer {other}")),
        Some(format!("Bearer {}", secret.to_uppercase())),
        Some(format!("Bearer {secret}0")),
        Some(format!("Bearer {secret} {secret}")),
    ];
    for header in headers {
        let came = bearer(&store, header.as_deref().map(str::as_bytes)).await;
        assert!(matches!(came, Err(Denied::NoToken)), "{header:?}");
    }
    assert!(matches!(bearer(&store, Some(b"Bearer \xff")).await, Err(Denied::NoToken)));
}
