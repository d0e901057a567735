//! Who gets alerts and who does not any more, and a restore that sends nothing twice.

use std::time::Duration;

use black_box::program::{Build, Program, eventually, run};
use black_box::smtp::{Act, Listener, Script, Step};
use mail_parser::MessageParser;
use reqwest::StatusCode;
use serde_json::{Value, json};

use crate::rig::{Api, Mail, Outside, block, farm, log, sent, site, state};

const PATIENCE: Duration = Duration::from_secs(60);

/// A browser without a script.
struct Browser(reqwest::Client);

impl Browser {
    fn new() -> Browser {
        let _ = rustls::crypto::ring::default_provider().install_default();
        Browser(reqwest::Client::builder().no_proxy().build().unwrap())
    }

    async fn get(&self, url: &str) -> (StatusCode, String) {
        let answer = self.0.get(url).send().await.unwrap();
        (answer.status(), answer.text().await.unwrap())
    }

    async fn post(&self, url: &str, form: &str) -> (StatusCode, String) {
        let request = self.0.post(url).header("content-type", "application/x-www-form-urlencoded");
        let answer = request.body(form.to_owned()).send().await.unwrap();
        (answer.status(), answer.text().await.unwrap())
    }
}

/// The mails to an address that carry something, in order, as header and text.
fn to(listener: &Listener, address: &str) -> Vec<(String, String)> {
    let mine = |message: &black_box::smtp::Received| message.to == [address];
    listener.messages().iter().filter(|message| mine(message)).map(|message| read(&message.bytes)).collect()
}

fn read(bytes: &[u8]) -> (String, String) {
    let mail = MessageParser::default().parse(bytes).unwrap();
    (mail.subject().unwrap().to_owned(), mail.body_text(0).unwrap().into_owned())
}

/// The address behind some words of a text.
fn link(text: &str, words: &str) -> String {
    let line = text.lines().find(|line| line.contains(words)).unwrap_or_else(|| panic!("{words}: {text}"));
    line.rsplit(' ').next().unwrap().to_owned()
}

async fn begin(outside: &Outside, mail: &Listener) -> (Program, Api) {
    let (mut program, base) = outside.serve(None, Some(mail));
    let api = Api::new(&base, &program.line("token for the API, shown this once: "));
    farm(&api).await;
    site(&api, "hill", true).await;
    (program, api)
}

const INES: &str = "ines@quernstone.example";
const GROWER: &str = "grower@quernstone.example";

/// From the invitation by mail to the last click: nothing goes out before the owner
/// agrees, opening a page changes nothing, and each button does once what it says.
#[tokio::test(flavor = "multi_thread")]
async fn a_contact_agrees_takes_note_and_stops() {
    let outside = Outside::new().await;
    let mail = Listener::start(Script::normal());
    let (_program, api) = begin(&outside, &mail).await;
    let browser = Browser::new();
    let contact = json!({"id": "ines", "name": "Ines", "email": INES, "wishes": {"kinds": ["started", "heads-up", "due"]}});
    api.post("farms/farm/contacts", contact).await;
    assert!(mail.wait_for(1, PATIENCE), "asked: {}", mail.conversation());
    let (subject, text) = to(&mail, INES).remove(0);
    assert!(subject.contains("confirm"), "{subject}");
    let page = link(&text, "Agree on this page");
    let (status, shown) = browser.get(&page).await;
    assert!(status == 200 && shown.contains("Yes, send them here"), "{shown}");
    assert_eq!(api.get("contacts/ines").await["confirmed_at"], Value::Null, "a scanner opened it");
    let forged = format!("{}0000", &page[..page.len() - 4]);
    assert_eq!(browser.post(&forged, "").await.0, 404);

    block(&api, "bench", "hill").await;
    assert!(mail.wait_for(2, PATIENCE), "started");
    let alerts = api.get("alerts?limit=100").await;
    let started = api.get(&format!("alerts/{}", alerts["items"][0]["id"].as_str().unwrap())).await;
    assert_eq!(started["recipients"][1]["decision"], "skip", "{started}");
    assert!(started["recipients"][1]["reason"].as_str().unwrap().contains("not confirmed"), "{started}");
    assert_eq!(started["reason"], "live open flowers reached the threshold");
    assert!(to(&mail, INES).len() == 1 && to(&mail, GROWER).len() == 1);

    assert_eq!(browser.post(&page, "").await.0, 200);
    assert_eq!(browser.post(&page, "").await.0, 200, "again does no harm");
    assert!(api.get("contacts/ines").await["confirmed_at"].is_string());
    outside.set(5 * 60);
    assert!(mail.wait_for(4, PATIENCE), "heads-up to both: {}", mail.conversation());
    let (_, text) = to(&mail, INES).remove(1);
    let page = link(&text, "Took note, or want less of this:");
    let (status, shown) = browser.get(&page).await;
    assert!(status == 200 && shown.contains("Took note") && shown.contains("bench"), "{shown}");
    let heads_up = Mail::heard(&mail).into_iter().find(|mail| mail.kind == "heads-up").unwrap().alert;
    assert_eq!(api.get(&format!("alerts/{heads_up}")).await["acknowledged_at"], Value::Null);
    let note = format!("do=note&alert={heads_up}");
    assert!(browser.post(&page, &note).await.1.contains("Noted."));
    let first = api.get(&format!("alerts/{heads_up}")).await["acknowledged_at"].clone();
    assert!(first.is_string());
    outside.set(5 * 60 + 20);
    assert!(browser.post(&page, &note).await.1.contains("noted already"), "a replay changes nothing");
    assert_eq!(api.get(&format!("alerts/{heads_up}")).await["acknowledged_at"], first);
    assert!(browser.post(&page, "do=note&alert=another").await.1.contains("not in this mail"));
    let mutes = api.get("contacts/ines/mutes").await;
    assert_eq!(
        (&mutes["items"][0]["block_id"], &mutes["items"][0]["state"]),
        (&json!("bench"), &json!("growing"))
    );

    // One click in the mail program; whoever else gets the farm's alerts hears of it.
    let (status, said) = browser.post(&format!("{page}/stop"), "List-Unsubscribe=One-Click").await;
    assert!(status == 200 && said.contains("No more alerts go to ines@"), "{said}");
    assert_eq!(browser.get(&format!("{page}/stop")).await.0, 200);
    outside.set(5 * 60 + 22);
    eventually("the others hear of it", async || {
        to(&mail, GROWER).iter().find(|(subject, _)| subject.contains("gets no alerts any more")).map(|_| ())
    })
    .await;
    let before = to(&mail, INES).len();
    outside.set(30 * 60 + 30);
    state(&api, "bench", "due").await;
    eventually("due to the farm's list", async || {
        Mail::heard(&mail).into_iter().find(|mail| mail.kind == "due")
    })
    .await;
    assert_eq!(to(&mail, INES).len(), before);
    assert_eq!(api.get("contacts/ines").await["silenced"], "stopped");
}

/// A box that is not there: the others hear of it, the mail is not tried again.
#[tokio::test(flavor = "multi_thread")]
async fn a_refused_recipient_is_told_to_the_others() {
    let outside = Outside::new().await;
    let gone = Script::normal().at(Step::Rcpt, Act::Say("550 5.1.1 no such box\r\n".into()));
    let mail = Listener::start(gone.for_first(1, Script::normal()));
    let (_program, api) = begin(&outside, &mail).await;
    let both = json!({"alert_emails": [GROWER, INES]});
    api.patch("farms/farm", both).await;
    block(&api, "bench", "hill").await;
    eventually("told to the other", async || {
        mail.messages().iter().map(|message| read(&message.bytes)).find(|(subject, text)| {
            subject.contains("was not delivered - tell them yourself") && text.contains("no such box")
        })
    })
    .await;
    let alerts = api.get("alerts?limit=100").await;
    let started = api.get(&format!("alerts/{}", alerts["items"][0]["id"].as_str().unwrap())).await;
    let states: Vec<&str> =
        started["messages"].as_array().unwrap().iter().filter_map(|one| one["state"].as_str()).collect();
    assert!(states.contains(&"sent") && states.contains(&"failed"), "{started}");
}

/// The heartbeat goes the way of alerts, and what waits is shown to whoever watches.
#[tokio::test(flavor = "multi_thread")]
async fn silence_can_be_heard() {
    let outside = Outside::new().await;
    let mail = Listener::start(Script::normal());
    let smtp = format!("smtp://{}", mail.addr);
    let (_program, base) =
        outside.serve_with(None, &["--smtp", &smtp, "--heartbeat-to", "operator@quernstone.example"]);
    assert!(mail.wait_for(1, PATIENCE), "{}", mail.conversation());
    let (subject, text) = to(&mail, "operator@quernstone.example").remove(0);
    assert!(subject.starts_with("bloomtide: alive, ") && text.contains("doctor"), "{subject}: {text}");
    outside.set(61);
    assert!(mail.wait_for(2, PATIENCE), "one an hour");
    let ready = base.replace("/api/v1", "/readyz");
    let (status, shown) = Browser::new().get(&ready).await;
    let shown: Value = serde_json::from_str(&shown).unwrap();
    assert_eq!(status, 200);
    for name in ["oldest_unsent_seconds", "blind_sites", "stuck_jobs", "journals_unread"] {
        assert!(shown[name].is_number(), "{name}: {shown}");
    }
}

/// What went out after the backup is known from the journal: it is not sent again,
/// though its alert comes up again. Without the journal nothing goes out until an
/// operator lets it.
#[tokio::test(flavor = "multi_thread")]
async fn a_restore_sends_nothing_twice() {
    let outside = Outside::new().await;
    let mail = Listener::start(Script::normal());
    let (program, api) = begin(&outside, &mail).await;
    block(&api, "bench", "hill").await;
    assert!(mail.wait_for(1, PATIENCE), "started");
    sent(&api, 1).await;
    let at = |name: &str| outside.folder.path().join(name).display().to_string();
    let (database, backup) = (at("bloomtide.db"), at("backup.db"));
    assert!(run(Build::Plain, &["backup", "--database", &database, &backup]).status.success());
    outside.set(30 * 60);
    state(&api, "bench", "due").await;
    eventually("due", async || Mail::heard(&mail).into_iter().find(|mail| mail.kind == "due")).await;
    assert!(program.stop());
    let before = mail.messages().len();

    let put_back = || {
        for end in ["", "-wal", "-shm"] {
            let _ = std::fs::remove_file(format!("{database}{end}"));
        }
        let restored = run(Build::Plain, &["restore", "--database", &database, &backup]);
        assert!(restored.status.success(), "{}", String::from_utf8_lossy(&restored.stderr));
    };
    put_back();
    let (program, base) = outside.serve(None, Some(&mail));
    let api = Api::new(&base, api.token());
    let season = state(&api, "bench", "due").await;
    assert_eq!(season["stale"], false);
    let due = eventually("due comes up again", async || {
        let alerts = api.get("alerts?limit=100").await;
        alerts["items"].as_array().unwrap().iter().find(|alert| alert["kind"] == "due").cloned()
    })
    .await;
    let due = api.get(&format!("alerts/{}", due["id"].as_str().unwrap())).await;
    assert_eq!(due["recipients"][0]["decision"], "skip", "{due}");
    assert!(due["recipients"][0]["reason"].as_str().unwrap().contains("restored"), "{due}");
    // Another alert shows that mail goes out.
    block(&api, "terrace", "hill").await;
    assert!(mail.wait_for(before + 1, PATIENCE), "terrace");
    assert!(program.stop());
    let after = Mail::heard(&mail);
    assert_eq!(
        after.iter().filter(|mail| mail.kind == "due" && mail.subject.starts_with("bench")).count(),
        1
    );

    // The journal is lost: nothing goes out, until someone says so.
    put_back();
    std::fs::remove_dir_all(format!("{database}.journal")).unwrap();
    let before = mail.messages().len();
    let (program, base) = outside.serve(None, Some(&mail));
    let api = Api::new(&base, api.token());
    state(&api, "bench", "due").await;
    let ready: Value = {
        let (_, shown) = Browser::new().get(&base.replace("/api/v1", "/readyz")).await;
        serde_json::from_str(&shown).unwrap()
    };
    assert_eq!(ready["journals_unread"], 1, "{ready}");
    log(&api, "bench", json!({"id": "e-note", "kind": "note", "at": "2026-05-01T00:00:00Z", "text": "x"}))
        .await;
    state(&api, "bench", "due").await;
    assert!(program.stop());
    assert_eq!(mail.messages().len(), before, "held");
    let released = run(Build::Plain, &["restore", "--release", "--database", &database]);
    assert!(String::from_utf8_lossy(&released.stdout).contains("not read: main"), "{released:?}");
    let (_program, _) = outside.serve(None, Some(&mail));
    assert!(mail.wait_for(before + 1, PATIENCE), "released");
}
