//! Signatures against the specification's own vector, and what answers mean.

use super::*;

const SECRET: &str = "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw";
const ID: &str = "msg_p5jXN8AQM9LWM0D4loKWxJek";
const AT: Instant = Instant(1_614_265_330);
const BODY: &str = r#"{"test": 2432232314}"#;
const SIGNATURE: &str = "v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE=";

fn verified(signatures: &str, body: &str) -> Result<(), Unverified> {
    verify(SECRET, ID, "1614265330", signatures, body.as_bytes(), AT)
}

/// The example of the specification's reference libraries.
#[test]
fn the_signature_is_the_specifications() {
    assert_eq!(sign([SECRET].into_iter(), ID, AT, BODY).unwrap(), SIGNATURE);
    assert_eq!(verified(SIGNATURE, BODY), Ok(()));
}

#[test]
fn a_call_that_was_changed_is_not_taken() {
    assert_eq!(verified(SIGNATURE, r#"{"test": 2432232315}"#), Err(Unverified::Signature));
    assert_eq!(verified("v1,AAAA", BODY), Err(Unverified::Signature));
    assert_eq!(verified(&SIGNATURE.replace("v1,", "v2,"), BODY), Err(Unverified::Signature));
    assert_eq!(verified("", BODY), Err(Unverified::Signature));
    let with = |id: &str, time: &str, now: Instant| verify(SECRET, id, time, SIGNATURE, BODY.as_bytes(), now);
    assert_eq!(with("msg_other", "1614265330", AT), Err(Unverified::Signature));
    assert_eq!(with(ID, "1614265331", AT), Err(Unverified::Signature));
    assert_eq!(with(ID, "1614265330", AT.plus(TOO_LATE)), Err(Unverified::Time));
    assert_eq!(with(ID, "1614265330", AT.plus(-TOO_LATE)), Err(Unverified::Time));
    assert_eq!(with(ID, "soon", AT), Err(Unverified::Time));
}

const TOO_LATE: i64 = 5 * MINUTE + 1;

#[test]
fn while_a_secret_is_replaced_both_sign() {
    let other = "whsec_C2FVsBQIhrscChlQIMV+b5sSYspob7oD";
    let both = sign([other, SECRET].into_iter(), ID, AT, BODY).unwrap();
    assert_eq!(both.split(' ').count(), 2);
    assert_eq!(verified(&both, BODY), Ok(()));
    assert_eq!(verify(other, ID, "1614265330", &both, BODY.as_bytes(), AT), Ok(()));
}

#[test]
fn only_a_secret_signs() {
    for none in ["", "whsec_", "MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw", "whsec_!", "whsec_c2hvcnQ="] {
        assert_eq!(sign([none].into_iter(), ID, AT, BODY), Err(SecretError), "{none}");
        assert_eq!(
            verify(none, ID, "1614265330", SIGNATURE, BODY.as_bytes(), AT),
            Err(Unverified::Secret),
            "{none}"
        );
    }
    assert_eq!(sign(std::iter::empty(), ID, AT, BODY), Err(SecretError));
}

fn answered(status: u16, tries: i64) -> Called {
    settle(Carried::Answered { status, said: "so\n it is".into() }, tries, AT).1
}

#[test]
fn what_an_answer_means() {
    for status in [200, 202, 204, 299] {
        assert_eq!(answered(status, 1), Called::Delivered, "{status}");
    }
    for status in [100, 301, 302, 307, 308, 400, 404, 429, 500, 503] {
        let Called::Later(at, error) = answered(status, 1) else { panic!("{status}") };
        assert_eq!(at, AT.plus(5));
        assert!(error.contains(&status.to_string()) && error.ends_with(": so it is"), "{error}");
    }
    assert!(matches!(answered(410, 1), Called::Gone(because) if because.contains("410")));
    let failed = settle(Carried::Failed("no route".into()), 1, AT).1;
    assert_eq!(failed, Called::Later(AT.plus(5), "no route".into()));
}

#[test]
fn tries_go_over_days_and_end() {
    let mut at = AT;
    let mut tries = 1;
    while let Some(pause) = pause(tries) {
        at = at.plus(pause);
        tries += 1;
    }
    assert_eq!(tries, 10);
    let days = at.since(AT) as f64 / (24 * HOUR) as f64;
    assert!((3.0..3.5).contains(&days), "{days}");
    assert!(matches!(answered(500, tries), Called::Failed(_)));
}
