use serde_json::json;
use store::{AlertRow, AlertStatus, Block, Farm, Item, Site};

use model::bloom::Basis;
use model::plan::MarkBound;
use model::verdict::Advice;

use super::*;
use crate::about::Judged;

const NOW: Instant = Instant(1_367_416_800);

fn waiting(kind: AlertKind) -> Uncomposed {
    let about = About {
        kind,
        at: Some(Instant(1_367_414_222)),
        earliest: Some(Instant(1_367_400_000)),
        latest: Some(Instant(1_367_420_000)),
        leg: Some(1),
        mark: Some(0.6),
        bound: Some(MarkBound::NotBefore),
        material: Some("ammonium-thiosulfate".into()),
        threshold: 115.0,
        target: Some(115.0),
        basis: (kind == AlertKind::Started).then_some(Basis::BetweenCounts),
        as_of: Some(NOW),
        decided: false,
        curve: "reference (constructed)".into(),
        temperatures: vec!["ridge mast (station)".into()],
        checked: Vec::new(),
        verdict: Some(Judged {
            advice: Advice::YourCall,
            says: "It is your call.".into(),
            close: false,
            would_change: Some("A damage count.".into()),
        }),
        night: (kind == AlertKind::CheckDamage).then(|| "the night of 30 April (-3.1 °C)".into()),
        on_hold: false,
        through: Some("40 live flowers a tree have tubes at the foot of the style; 115 are wanted.".into()),
        bees: None,
        closed_until: None,
        reentry_known: false,
        confirmed: None,
        takes_back: (kind == AlertKind::Withdrawn).then_some(AlertKind::Due),
        was: None,
        told: None,
        count_at: None,
        odds: None,
        likely: None,
        likely_at: None,
        slot: None,
        slot_told: None,
        lost: None,
        unread_from: None,
        may_be_since: None,
    };
    Uncomposed {
        item: Item {
            id: "3f0c1a52-9f1e-5b7a-8f0e-0123456789ab".into(),
            alert_id: "alert-1".into(),
            recipient: "grower@quernstone.example".into(),
            message_id: None,
        },
        alert: AlertRow {
            id: "alert-1".into(),
            block_id: "north-bench".into(),
            year: 2013,
            kind: kind.word().into(),
            subject: "start".into(),
            generation: 1,
            status: AlertStatus::Told,
            reason: None,
            about: serde_json::to_value(about).unwrap(),
            raised_at: NOW,
            useful_until: NOW.plus(72 * 3_600),
            withdrawn_at: None,
            acknowledged_at: None,
            mailed: false,
        },
        block: Block {
            id: "north-bench".into(),
            farm_id: "quernstone".into(),
            site_id: "inland".into(),
            name: "North <Bench> & Söhne".into(),
            details: json!({"cultivar": "Gala"}),
            geometry: None,
            version: 1,
            created_at: NOW,
            archived_at: None,
        },
        site: Site {
            id: "inland".into(),
            farm_id: None,
            name: "Inland".into(),
            latitude: 40.7,
            longitude: -74.2,
            elevation_m: None,
            time_zone: "America/New_York".into(),
            version: 1,
            created_at: NOW,
        },
        farm: Farm {
            id: "quernstone".into(),
            name: "Quernstone Orchard".into(),
            alert_emails: vec![],
            created_at: NOW,
            closed_at: None,
        },
        thread: Vec::new(),
    }
}

fn sender() -> Sender {
    Sender::new("bloomtide <clock@quernstone.example>").unwrap()
}

fn read(message: &Message) -> (String, String, String) {
    let mail = mail_parser::MessageParser::default().parse(message.body.as_bytes()).unwrap();
    (
        mail.subject().unwrap().to_owned(),
        mail.body_text(0).unwrap().into_owned(),
        mail.body_html(0).unwrap().into_owned(),
    )
}

#[test]
fn a_due_mail_says_block_time_and_what_to_do_in_its_subject() {
    let (subject, text, html) = read(&compose(&[&waiting(AlertKind::Due)], &sender(), NOW).unwrap());
    assert_eq!(subject, "North <Bench> & Söhne: at its mark since Wed 1 May, 09:18 - decide first");
    assert!(text.starts_with("No decision to thin this block is logged yet"), "{text}");
    for fact in
        ["0.60 of the style", "not before the mark", "ridge mast (station)", words::CAUTION, "re-entry"]
    {
        assert!(text.contains(fact), "{fact}: {text}");
    }
    assert!(text.lines().count() <= 15, "{text}");
    assert!(html.contains("North &lt;Bench&gt; &amp; Söhne"), "{html}");
    assert!(!html.contains("<Bench>"));
}

#[test]
fn every_kind_carries_the_caution_and_its_time() {
    for kind in AlertKind::ALL {
        let (subject, text, html) = read(&compose(&[&waiting(kind)], &sender(), NOW).unwrap());
        let when = if kind == AlertKind::CheckDamage { "30 April" } else { "Wed 1 May, 09:18" };
        assert!(subject.contains(when), "{subject}");
        assert!(text.lines().count() <= 15, "{text}");
        assert!(text.contains(words::CAUTION) && html.contains("it is the law"), "{kind:?}: {text}");
        assert!(text.contains("Wed 1 May, 09:18"), "{kind:?}: {text}");
    }
}

/// What stands before a spray stands in the place of it, in subject and first line.
#[test]
fn a_due_mail_says_first_what_comes_before_the_spray() {
    let due = |decided: bool, hold: bool, advice: &str| {
        let mut waiting = waiting(AlertKind::Due);
        waiting.alert.about["decided"] = json!(decided);
        waiting.alert.about["on_hold"] = json!(hold);
        waiting.alert.about["verdict"]["advice"] = json!(advice);
        let (subject, text, _) = read(&compose(&[&waiting], &sender(), NOW).unwrap());
        (subject.rsplit_once(" - ").unwrap().1.to_owned(), text.lines().next().unwrap().to_owned())
    };
    let (subject, first) = due(true, false, "thin");
    assert_eq!(subject, "look, then spray");
    assert!(first.starts_with("North <Bench>"), "{first}");
    let (subject, first) = due(true, true, "thin");
    assert_eq!(subject, "look at the flowers first");
    assert!(first.starts_with("Frost came over this leg"), "{first}");
    assert_eq!(due(true, false, "count-first").0, "count damage first");
    assert_eq!(due(true, false, "stand-down").0, "the table says stand down");
    assert_eq!(due(true, false, "wait").0, "frost is forecast: wait");
    assert_eq!(due(false, false, "thin").0, "decide first");
    assert_eq!(due(false, false, "lean-stand-down").0, "decide first: the table leans against");
}

/// Nothing asks for work in a block that is closed after a spray without saying so;
/// who confirmed the material stands where the warning stood.
#[test]
fn a_closed_block_and_a_confirmed_material_are_said() {
    let mut waiting = waiting(AlertKind::Due);
    waiting.alert.about["closed_until"] = json!("2013-05-02T13:18:00Z");
    waiting.alert.about["confirmed"] = json!("Confirmed by Ines Kolbe on 2013-04-02.");
    let (subject, text, _) = read(&compose(&[&waiting], &sender(), NOW).unwrap());
    assert!(subject.ends_with("closed for re-entry until Thu 2 May, 09:18"), "{subject}");
    assert!(text.contains("Not before Thu 2 May, 09:18, when the block is open again."), "{text}");
    assert!(text.contains("Nobody works in the block before Thu 2 May, 09:18."), "{text}");
    assert!(text.contains("Confirmed by Ines Kolbe") && !text.contains(words::UNCONFIRMED), "{text}");
    assert!(!text.contains(words::NO_REENTRY));
}

#[test]
fn what_the_checks_found_is_said() {
    let told = "1 reading of ridge mast failed the checks and was not used: -10.5 °C (spike).";
    let mut waiting = waiting(AlertKind::Due);
    waiting.alert.about["checked"] = json!([told]);
    let (_, text, html) = read(&compose(&[&waiting], &sender(), NOW).unwrap());
    assert!(text.contains(told) && html.contains("failed the checks"), "{text}");
}

/// A start is called what it is: logged, counted, or only known to be no later.
#[test]
fn a_started_mail_says_what_the_start_rests_on() {
    let started = |basis: &str, target: f64| {
        let mut waiting = waiting(AlertKind::Started);
        waiting.alert.about["basis"] = json!(basis);
        waiting.alert.about["target"] = json!(target);
        read(&compose(&[&waiting], &sender(), NOW).unwrap())
    };
    let (subject, text, _) = started("no-later-than", 115.0);
    assert!(subject.contains("clock started by Wed 1 May, 09:18"), "{subject}");
    assert!(text.contains("were open no later than Wed 1 May, 09:18"), "{text}");
    let (subject, text, _) = started("logged", 115.0);
    assert!(subject.contains("clock started Wed"), "{subject}");
    assert!(text.contains("The start was logged for Wed 1 May, 09:18"), "{text}");
    let (_, text, _) = started("between-counts", 115.0);
    assert!(
        text.contains("By the counts 115 live open flowers a tree (as many as fruit are wanted)"),
        "{text}"
    );
    // A start factor other than 1 has the clock start at another number.
    let (_, text, _) = started("between-counts", 100.0);
    assert!(!text.contains("wanted"), "{text}");
}

#[test]
fn the_same_item_gives_the_same_bytes() {
    let one = compose(&[&waiting(AlertKind::Due)], &sender(), NOW).unwrap();
    let other = compose(&[&waiting(AlertKind::Due)], &sender(), NOW).unwrap();
    assert_eq!(one, other);
    assert!(one.body.is_ascii());
    assert_eq!(one.header_id, "3f0c1a52-9f1e-5b7a-8f0e-0123456789ab@quernstone.example");
}

#[test]
fn facts_that_cannot_be_read_are_named() {
    let mut broken = waiting(AlertKind::Due);
    broken.alert.about = json!({"kind": "due"});
    assert!(compose(&[&broken], &sender(), NOW).unwrap_err().to_string().contains("alert-1"));
}

/// Several alerts of one person are one mail, the most urgent first, each whole.
#[test]
fn several_alerts_are_one_mail_with_the_most_urgent_first() {
    let (mut started, due) = (waiting(AlertKind::Started), waiting(AlertKind::Due));
    started.item.id = "2f0c1a52-9f1e-5b7a-8f0e-0123456789ab".into();
    started.block.name = "South Bench".into();
    let one = compose(&[&started, &due], &sender(), NOW).unwrap();
    let (subject, text, html) = read(&one);
    assert!(subject.starts_with("North <Bench> & Söhne: at its mark"), "{subject}");
    assert!(subject.ends_with("(+1 more)"), "{subject}");
    assert!(text.contains("== South Bench: bloom clock started"), "{text}");
    assert!(text.find("At its mark").or(text.find("at its mark")) < text.find("South Bench"), "{text}");
    assert_eq!(text.matches(words::CAUTION).count(), 1, "once for all: {text}");
    assert!(html.contains("<h2") && html.contains("South Bench"));
    let mail = mail_parser::MessageParser::default().parse(one.body.as_bytes()).unwrap();
    let header = mail.header("X-Bloomtide-Alert").and_then(|value| value.as_text()).unwrap();
    let header = header.split_whitespace().collect::<Vec<_>>().join(" ");
    assert_eq!(header, "due; alert-1, started; alert-1");
    assert_eq!(compose(&[&due, &started], &sender(), NOW).unwrap().header_id, one.header_id, "in any order");
}

/// Amendments and withdrawals stand in the thread of what they amend.
#[test]
fn a_later_mail_refers_to_the_earlier_ones() {
    let mut moved = waiting(AlertKind::Moved);
    moved.thread = vec!["a@quernstone.example".into(), "b@quernstone.example".into()];
    moved.alert.about["was"] = json!("2013-05-01T02:00:00Z");
    let mail = compose(&[&moved], &sender(), NOW).unwrap();
    let parsed = mail_parser::MessageParser::default().parse(mail.body.as_bytes()).unwrap();
    assert_eq!(parsed.in_reply_to().as_text(), Some("b@quernstone.example"));
    let references = parsed.references().as_text_list().unwrap();
    assert_eq!(references, ["a@quernstone.example", "b@quernstone.example"]);
    assert!(parsed.subject().unwrap().contains("not Tue 30 Apr, 22:00"), "{:?}", parsed.subject());
}

/// Links lead to a page, and the header of one click to its address.
#[test]
fn a_mail_with_links_can_be_stopped_at_one_click() {
    let seal = store::Seal::new("key");
    let links = crate::sender::Links { public_url: "https://bloom.example".into(), seal: seal.clone() };
    let sender = Sender { links: Some(links), ..sender() };
    let mail = compose(&[&waiting(AlertKind::Due)], &sender, NOW).unwrap();
    let page = format!("https://bloom.example/mail/{}/{}", mail.id, seal.of_mail(&mail.id));
    let (_, text, html) = read(&mail);
    assert!(text.contains(&page) && html.contains(&format!("<a href=\"{page}\">")), "{text}");
    let parsed = mail_parser::MessageParser::default().parse(mail.body.as_bytes()).unwrap();
    assert_eq!(
        parsed.header_raw("List-Unsubscribe").unwrap().split_whitespace().collect::<String>(),
        format!("<{page}/stop>")
    );
    assert_eq!(parsed.header_raw("List-Unsubscribe-Post").unwrap().trim(), "List-Unsubscribe=One-Click");
}

/// Whatever a name holds, the mail goes out, with its headers as they are.
#[test]
fn hostile_names_neither_break_nor_stop_a_mail() {
    for name in [
        "x\r\nBcc: all@quernstone.example",
        "כרם\u{202e} צפון",
        &"long ".repeat(400),
        "=?utf-8?Q?=0ABcc=3A?=",
    ] {
        let mut hostile = waiting(AlertKind::Due);
        hostile.block.name = name.to_string();
        hostile.farm.name = name.to_string();
        let mail = compose(&[&hostile], &sender(), NOW).unwrap();
        let parsed = mail_parser::MessageParser::default().parse(mail.body.as_bytes()).unwrap();
        assert!(
            parsed.header("Bcc").is_none() && parsed.to().unwrap().as_list().unwrap().len() == 1,
            "{name}"
        );
        assert!(parsed.subject().unwrap().chars().count() <= 200, "{name}");
        assert!(!parsed.subject().unwrap().contains(['\n', '\u{202e}']), "{name}");
    }
}
