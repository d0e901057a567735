use super::*;

#[test]
fn a_password_is_not_shown_to_the_network() {
    let near: SocketAddr = "127.0.0.1:25".parse().unwrap();
    let far: SocketAddr = "192.0.2.7:25".parse().unwrap();
    let named_here = Relay::parse("smtp://ann:pw@localhost").unwrap();
    assert!(!would_expose(&named_here, Some(near)));
    assert!(would_expose(&named_here, Some(far)));
    assert!(would_expose(&named_here, None));
    let open = Relay::parse("smtp://mail.example").unwrap();
    assert!(!would_expose(&open, Some(far)));
    let tls = Relay::parse("smtps://ann:pw@mail.example").unwrap();
    assert!(!would_expose(&tls, Some(far)));
}
