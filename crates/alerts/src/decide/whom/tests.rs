use serde_json::{Value, json};

use super::*;

/// 2 May 2026, 03:00 UTC: 23:00 on the evening before in New York.
const NIGHT: Instant = Instant(1_777_690_800);

fn contact(wishes: Value) -> Contact {
    Contact {
        id: "ines".into(),
        farm_id: "farm".into(),
        name: "Ines".into(),
        email: "ines@quernstone.example".into(),
        pending_email: None,
        asked_at: NIGHT,
        confirmed_at: Some(NIGHT),
        wishes,
        version: 1,
        created_at: NIGHT,
    }
}

/// What becomes of a kind for one contact: `send`, `skip` or `hold`, with the reason.
fn decided(contact: &Contact, mutes: &[Mute], silenced: &[Silenced], kind: AlertKind) -> (String, String) {
    let recipients = Recipients {
        block_id: "bench",
        addresses: &[],
        contacts: std::slice::from_ref(contact),
        silenced,
        mutes,
    };
    let zone = chrono_tz::America::New_York;
    let one = whom(&recipients, kind, "growing", zone, NIGHT).remove(0);
    let decision = match (one.skipped, one.hold_until) {
        (true, None) => "skip".to_owned(),
        (false, Some(until)) => format!("hold until {}", until.rfc3339_in(zone)),
        (false, None) => "send".to_owned(),
        (true, Some(_)) => panic!("held and skipped"),
    };
    (decision, one.because)
}

#[test]
fn wishes_decide_which_kinds_of_which_block_come() {
    let picky = contact(json!({"kinds": ["due"], "blocks": {"bench": ["frost"]}}));
    let (decision, because) = decided(&picky, &[], &[], AlertKind::Frost);
    assert_eq!((decision.as_str(), because.as_str()), ("send", "Ines wants `frost`"));
    let (decision, because) = decided(&picky, &[], &[], AlertKind::Due);
    assert_eq!((decision.as_str(), because.as_str()), ("skip", "Ines does not want `due` of this block"));
    // What cannot be read any more keeps nothing back.
    assert_eq!(decided(&contact(json!({"kinds": "?"})), &[], &[], AlertKind::Due).0, "send");
}

#[test]
fn an_address_that_is_not_confirmed_or_silenced_gets_nothing() {
    let asked = Contact { confirmed_at: None, ..contact(json!({})) };
    assert_eq!(decided(&asked, &[], &[], AlertKind::Due).0, "skip");
    for because in [Silence::Stopped, Silence::Bounced] {
        let silenced = Silenced {
            farm_id: "farm".into(),
            email: "ines@quernstone.example".into(),
            because,
            detail: None,
            at: NIGHT,
        };
        assert_eq!(decided(&contact(json!({})), &[], &[silenced], AlertKind::Due).0, "skip");
    }
}

/// Quiet hours hold what can wait, and what cannot only where the person chose so.
#[test]
fn quiet_hours_never_hold_what_is_urgent_unless_chosen() {
    let quiet = |also_urgent: bool| {
        contact(json!({"quiet": {"from": "21:00", "to": "06:00", "also_urgent": also_urgent}}))
    };
    let until_morning = "hold until 2026-05-02T06:00:00-04:00";
    assert_eq!(decided(&quiet(false), &[], &[], AlertKind::HeadsUp).0, until_morning);
    for kind in [AlertKind::Due, AlertKind::Overrun, AlertKind::Blind, AlertKind::Withdrawn] {
        assert_eq!(decided(&quiet(false), &[], &[], kind).0, "send", "{kind:?}");
        assert_eq!(decided(&quiet(true), &[], &[], kind).0, until_morning, "{kind:?}");
    }
}

/// A mute ends with the state, and never hides that an alert is taken back.
#[test]
fn a_mute_lasts_while_the_state_does() {
    let mute = |state: &str| Mute {
        contact_id: "ines".into(),
        block_id: "bench".into(),
        year: 2026,
        state: state.into(),
        at: NIGHT,
    };
    let ines = contact(json!({}));
    assert_eq!(decided(&ines, &[mute("growing")], &[], AlertKind::HeadsUp).0, "skip");
    assert_eq!(decided(&ines, &[mute("growing")], &[], AlertKind::Withdrawn).0, "send");
    assert_eq!(decided(&ines, &[mute("watching")], &[], AlertKind::HeadsUp).0, "send");
}

#[test]
fn one_address_gets_one_item_and_its_contact_decides() {
    let never = contact(json!({"kinds": []}));
    let addresses = ["Ines@quernstone.example".to_owned(), "ole@quernstone.example".to_owned()];
    let recipients = Recipients {
        block_id: "bench",
        addresses: &addresses,
        contacts: std::slice::from_ref(&never),
        silenced: &[],
        mutes: &[],
    };
    let all = whom(&recipients, AlertKind::Due, "due", chrono_tz::UTC, NIGHT);
    let shown: Vec<(&str, bool)> = all.iter().map(|one| (one.recipient.as_str(), one.skipped)).collect();
    assert_eq!(shown, [("ines@quernstone.example", true), ("ole@quernstone.example", false)]);
}
