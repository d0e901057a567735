use super::*;

#[test]
fn neither_mails_nor_passwords_are_shown_to_the_network() {
    let near: SocketAddr = "127.0.0.1:25".parse().unwrap();
    let far: SocketAddr = "192.0.2.7:25".parse().unwrap();
    for named_here in ["smtp://ann:pw@localhost", "smtp://localhost", "smtp+unprotected://ann:pw@localhost"] {
        let named_here = Relay::parse(named_here).unwrap();
        assert_eq!(may_go_unprotected(&named_here, Some(near)), Ok(()));
        for other in [Some(far), None] {
            let refused = may_go_unprotected(&named_here, other).unwrap_err();
            assert!(
                matches!(&refused, Outcome::Later { stage, .. } if stage.concerns_the_relay()),
                "{refused:?}"
            );
        }
    }
    let open = Relay::parse("smtp+unprotected://mail.example").unwrap();
    assert_eq!(may_go_unprotected(&open, Some(far)), Ok(()));
}
