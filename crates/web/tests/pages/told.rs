//! Who did what, who gets the alerts, and what was told.

use axum::http::StatusCode;
use model::time::DAY;
use serde_json::json;
use store::{AlertRow, AlertStatus, AlertWrite, Contact, Role};

use crate::house::{House, only_signs_out, tag, whole};
use crate::orchard::{log, plan};

#[tokio::test]
async fn advisors_read_who_did_what_the_latest_first_in_pages() {
    let house = House::in_season().await;
    let ines = house.person("<ines>", "alder", Role::Advisor).await;
    let invite = |n: usize| format!("email=a{n}%40larkmoor.example&role=grower");
    for n in 0..60 {
        let made = house.sent("/farms/alder/people", &invite(n), &ines).await;
        assert_eq!(made.status, StatusCode::OK);
    }
    let first = house.page("/farms/alder/audit", &ines).await;
    assert_eq!(first.matches("<tr><th scope=\"row\">").count(), 50);
    assert!(first.contains("<td>&#60;ines&#62;</td><td>made</td>"), "{first}");
    assert!(first.contains("a59@larkmoor.example") && !first.contains("The latest</a>"), "{first}");
    let older = first.split("/farms/alder/audit?before=").nth(1).unwrap().split('"').next().unwrap();
    let second = house.page(&format!("/farms/alder/audit?before={older}"), &ines).await;
    assert!(second.contains("a0@larkmoor.example") && !second.contains("a59@larkmoor.example"), "{second}");
    assert!(second.contains("href=\"/farms/alder/audit\"") && !second.contains("?before="), "{second}");
    let nowhere = house.get("/farms/alder/audit?before=%3Cb%3E", Some(&ines)).await;
    assert_eq!(nowhere.status, StatusCode::NOT_FOUND);
    assert!(nowhere.body.contains("“&#60;b&#62;” is no place in this list"), "{}", nowhere.body);
}

#[tokio::test]
async fn who_did_what_is_not_for_growers_nor_for_other_farms() {
    let house = House::in_season().await;
    let tom = house.person("tom", "alder", Role::Grower).await;
    assert!(!house.page("/farms/alder", &tom).await.contains("/farms/alder/audit"));
    let refused = house.get("/farms/alder/audit", Some(&tom)).await;
    assert_eq!(refused.status, StatusCode::FORBIDDEN);
    assert!(refused.body.contains("for advisors of the farm to read"), "{}", refused.body);
    let ines = house.person("ines", "alder", Role::Advisor).await;
    assert!(house.page("/farms/alder", &ines).await.contains("/farms/alder/audit"));
    let otto = house.person("otto", "elder", Role::Advisor).await;
    for path in ["/farms/alder/audit", "/farms/alder/alerts", "/farms/alder/contacts"] {
        assert_eq!(house.get(path, Some(&otto)).await.status, StatusCode::NOT_FOUND, "{path}");
    }
}

impl House {
    async fn contact(&self) -> Contact {
        self.store.contacts_of("alder").await.unwrap().remove(0)
    }
}

#[tokio::test]
async fn a_contact_is_added_asked_and_removed_by_an_advisor() {
    let house = House::planted().await;
    let ines = house.person("ines", "alder", Role::Advisor).await;
    assert!(house.page("/farms/alder/contacts", &ines).await.contains("Nobody gets any alert of this farm."));
    let form = "name=Runa+%3CVale%3E&email=Runa%40larkmoor.example&wishes.kinds=due&wishes.kinds=frost\
                &wishes.quiet.from=22%3A00&wishes.quiet.to=05%3A30&wishes.digest_at=06%3A15\
                &wishes.time_zone=America%2FNew_York&wishes.stand_in=yes";
    let sent = house.sent("/farms/alder/contacts", form, &ines).await;
    assert_eq!(sent.location.as_deref(), Some("/farms/alder/contacts"), "{}", sent.body);
    let page = house.page("/farms/alder/contacts", &ines).await;
    for part in [
        "Runa &#60;Vale&#62; <span class=\"draft\">no mail goes out</span>",
        "runa@larkmoor.example. Not confirmed yet; asked Mon 3 Jun 2013",
        "These kinds come: Spray due; Frost is forecast.",
        "Mail waits from 22:00 to 05:30 on the block’s clock, save what is urgent.",
        "A digest comes each morning at 06:15, America/New_York.",
        "Stands in where mail to another did not arrive.",
        "Ask the owner again",
    ] {
        assert!(page.contains(part), "{part}: {page}");
    }
    let contact = house.contact().await;
    assert!(house.store.confirm_contact(&contact.id, &contact.email, house.now()).await.unwrap());
    let page = house.page("/farms/alder/contacts", &ines).await;
    assert!(page.contains("Confirmed Mon 3 Jun 2013") && !page.contains("no mail goes out"), "{page}");
    assert!(!page.contains("Ask the owner again"), "{page}");
    let path = format!("/farms/alder/contacts/{}/removed", contact.id);
    let unread = house.sent(&path, "", &ines).await;
    assert_eq!(unread.status, StatusCode::UNPROCESSABLE_ENTITY, "what was not read is not removed");
    let read = tag(&page, &format!("remove-{}-typed", contact.id));
    let removed = house.fill(&path, &[("tag", &read)], &ines).await;
    assert_eq!(removed.status, StatusCode::SEE_OTHER, "{}", removed.body);
    assert!(house.store.contacts_of("alder").await.unwrap().is_empty());
}

#[tokio::test]
async fn an_address_that_waits_is_asked_once_more_an_hour_later() {
    let house = House::planted().await;
    let ines = house.person("ines", "alder", Role::Advisor).await;
    house.sent("/farms/alder/contacts", "name=Runa&email=runa%40larkmoor.example", &ines).await;
    let contact = house.contact().await;
    house.set_clock("2013-06-03T14:00:00Z");
    let asked = house.sent(&format!("/farms/alder/contacts/{}/asked", contact.id), "", &ines).await;
    assert_eq!(asked.status, StatusCode::SEE_OTHER, "{}", asked.body);
    assert_eq!(house.contact().await.asked_at, house.now());
    let page = house.page("/farms/alder/contacts", &ines).await;
    assert!(
        page.contains("Every kind of alert comes.") && page.contains("Mail comes at any hour."),
        "{page}"
    );
}

#[tokio::test]
async fn what_is_wrong_with_a_contact_stands_beside_its_field() {
    let house = House::planted().await;
    let ines = house.person("ines", "alder", Role::Advisor).await;
    let form =
        "name=%3Ci%3E&email=nowhere&wishes.kinds=due&wishes.quiet.from=25%3A00&wishes.digest_at=06%3A15";
    let sent = house.sent("/farms/alder/contacts", form, &ines).await;
    assert_eq!(sent.status, StatusCode::UNPROCESSABLE_ENTITY);
    for (field, says) in [
        ("email", "`nowhere` is not a mail address"),
        ("wishes.quiet.from", "25:00"),
        ("wishes.quiet.to", "issing"),
        ("wishes.time_zone", "the digest comes by its wall clock"),
    ] {
        let beside = sent.body.split(&format!("id=\"contact-{field}-wrong\">")).nth(1);
        let beside = beside.unwrap_or_else(|| panic!("{field}: {}", sent.body)).split("</p>").next().unwrap();
        assert!(beside.contains(says), "{field}: {beside}");
    }
    for kept in ["value=\"&#60;i&#62;\"", "value=\"due\" checked", "value=\"25:00\"", "value=\"06:15\""] {
        assert!(sent.body.contains(kept), "{kept}: {}", sent.body);
    }
    assert!(house.store.contacts_of("alder").await.unwrap().is_empty());
}

#[tokio::test]
async fn growers_see_contacts_and_change_none() {
    let house = House::planted().await;
    let ines = house.person("ines", "alder", Role::Advisor).await;
    house.person("otto", "elder", Role::Advisor).await;
    house.sent("/farms/alder/contacts", "name=Runa&email=runa%40larkmoor.example", &ines).await;
    let id = house.contact().await.id;
    let tom = house.person("tom", "alder", Role::Grower).await;
    let page = house.page("/farms/alder/contacts", &tom).await;
    assert!(page.contains("Runa") && only_signs_out(&page), "{page}");
    let of = |deed: &str| format!("/farms/alder/contacts/{id}{deed}");
    for path in [of(""), of("/removed"), of("/asked")] {
        assert_eq!(house.sent(&path, "", &tom).await.status, StatusCode::FORBIDDEN, "{path}");
        let otto = house.sign_in("otto").await;
        assert_eq!(house.sent(&path, "", &otto).await.status, StatusCode::NOT_FOUND, "{path}");
    }
    let added = house.sent("/farms/alder/contacts", "name=Tom&email=tom%40larkmoor.example", &tom).await;
    assert_eq!(added.status, StatusCode::FORBIDDEN);
    assert_eq!(house.store.contacts_of("alder").await.unwrap().len(), 1);
}

#[tokio::test]
async fn a_block_that_was_muted_is_heard_of_again() {
    let house = House::alerted().await;
    let ines = house.person("ines", "alder", Role::Advisor).await;
    house.fill("/farms/alder/contacts", &WISHES, &ines).await;
    let contact_id = house.contact().await.id;
    let mute = store::Mute {
        contact_id: contact_id.clone(),
        block_id: "bench".into(),
        year: 2013,
        state: "growing".into(),
        at: house.now(),
    };
    house.store.mute(&mute).await.unwrap();
    let path = format!("/farms/alder/contacts/{contact_id}");
    let page = house.page(&path, &ines).await;
    assert!(page.contains("Hears nothing of North &#60;Bench&#62;, 2013, for now"), "{page}");
    let read = tag(&page, "hear-bench-2013-typed");
    let hears = format!("{path}/hears");
    let typed = [("block", "bench"), ("year", "2013"), ("tag", read.as_str())];
    let tom = house.person("tom", "alder", Role::Grower).await;
    assert_eq!(house.fill(&hears, &typed, &tom).await.status, StatusCode::FORBIDDEN);
    let other = house.fill(&hears, &[("block", "bench"), ("year", "2013"), ("tag", "\"x\"")], &ines).await;
    assert!(other.body.contains("Someone else changed this"), "{}", other.body);
    assert_eq!(house.fill(&hears, &typed, &ines).await.status, StatusCode::SEE_OTHER);
    assert!(house.store.mutes_of(&contact_id).await.unwrap().is_empty());
    assert_eq!(house.fill(&hears, &typed, &ines).await.status, StatusCode::NOT_FOUND);
}

const WISHES: [(&str, &str); 8] = [
    ("name", "Runa"),
    ("email", "runa@larkmoor.example"),
    ("wishes.kinds", "due"),
    ("wishes.quiet.from", "22:00"),
    ("wishes.quiet.to", "05:30"),
    ("wishes.digest_at", "06:15"),
    ("wishes.time_zone", "America/New_York"),
    ("wishes.stand_in", "yes"),
];

#[tokio::test]
async fn all_that_a_contact_wants_is_changed_on_its_page() {
    let house = House::planted().await;
    let ines = house.person("ines", "alder", Role::Advisor).await;
    house.fill("/farms/alder/contacts", &WISHES, &ines).await;
    let path = format!("/farms/alder/contacts/{}", house.contact().await.id);
    assert!(house.page("/farms/alder/contacts", &ines).await.contains(&format!("href=\"{path}\"")));
    let page = house.page(&path, &ines).await;
    for part in [
        "Runa: what comes, and when",
        "name=\"wishes.kinds\" value=\"due\" checked",
        "value=\"22:00\"",
        "id=\"wishes.stand_in\" name=\"wishes.stand_in\" value=\"yes\" checked",
        "<option value=\"bench\">North &#60;Bench&#62;</option>",
    ] {
        assert!(page.contains(part), "{part}: {page}");
    }
    assert!(!page.contains("value=\"frost\" checked") && !page.contains("bend"), "{page}");

    // None ticked is none; a block of its own still hears of one thing.
    let read = tag(&page, "typed");
    let quiet = [
        ("name", "Runa <Vale>"),
        ("email", "runa@larkmoor.example"),
        ("wishes.quiet.from", ""),
        ("wishes.quiet.to", ""),
        ("apart.block", "bench"),
        ("apart.kinds", "overrun"),
        ("tag", &read),
    ];
    let saved = house.fill(&path, &quiet, &ines).await;
    assert_eq!(saved.location.as_deref(), Some(format!("{path}?saved=1").as_str()), "{}", saved.body);
    let contact = house.contact().await;
    assert_eq!(contact.name, "Runa <Vale>");
    assert_eq!(
        contact.wishes,
        json!({"kinds": [], "blocks": {"bench": ["overrun"]}, "quiet": null, "digest_at": null,
            "time_zone": null, "stand_in": false})
    );
    let page = house.page(&format!("{path}?saved=1"), &ines).await;
    for part in ["Saved.", "name=\"set.bench\"", "name=\"wishes.blocks.bench\" value=\"overrun\" checked"] {
        assert!(page.contains(part), "{part}: {page}");
    }

    // The block is let go again, and every kind ticked is all there ever will be.
    let read = tag(&page, "typed");
    let mut all = vec![("name", "Runa"), ("email", "runa@larkmoor.example"), ("tag", read.as_str())];
    all.extend(model::alert_kind::AlertKind::WORDS.iter().map(|word| ("wishes.kinds", *word)));
    all.extend([("set.bench", "yes"), ("wishes.blocks.bench", "overrun"), ("together.bench", "yes")]);
    assert_eq!(house.fill(&path, &all, &ines).await.status, StatusCode::SEE_OTHER);
    let wishes = house.contact().await.wishes;
    assert_eq!((&wishes["kinds"], &wishes["blocks"]), (&json!(null), &json!({})));
}

#[tokio::test]
async fn of_two_who_change_a_contact_the_second_is_told_and_nothing_is_lost() {
    let house = House::planted().await;
    let ines = house.person("ines", "alder", Role::Advisor).await;
    let nora = house.person("nora", "alder", Role::Advisor).await;
    house.fill("/farms/alder/contacts", &WISHES, &ines).await;
    let path = format!("/farms/alder/contacts/{}", house.contact().await.id);
    let read = tag(&house.page(&path, &ines).await, "typed");
    let with = |digest: &'static str, from: &'static str, read: &str| {
        let typed = WISHES.map(|(name, value)| match name {
            "wishes.digest_at" => (name, digest),
            "wishes.quiet.from" => (name, from),
            _ => (name, value),
        });
        let typed = typed.iter().map(|(name, value)| ((*name).to_owned(), (*value).to_owned()));
        typed.chain([("tag".to_owned(), read.to_owned())]).collect::<Vec<_>>()
    };
    let send = async |typed: Vec<(String, String)>, who: &str| {
        let typed: Vec<_> = typed.iter().map(|(name, value)| (name.as_str(), value.as_str())).collect();
        house.fill(&path, &typed, who).await
    };
    assert_eq!(send(with("07:00", "22:00", &read), &nora).await.status, StatusCode::SEE_OTHER);
    let late = send(with("06:15", "20:30", &read), &ines).await;
    assert_eq!(late.status, StatusCode::UNPROCESSABLE_ENTITY);
    whole(&late);
    for part in [
        "Someone else changed this since the page was opened.",
        "value=\"20:30\"",
        "id=\"wishes.quiet.from-now\">Stands there now: 22:00</p>",
        "id=\"wishes.digest_at-now\">Stands there now: 07:00</p>",
    ] {
        assert!(late.body.contains(part), "{part}: {}", late.body);
    }
    assert!(!late.body.contains("wishes.kinds-now"), "{}", late.body);
    assert_eq!(house.contact().await.wishes["digest_at"], "07:00", "what the first wrote stands");
    // Both read, it is saved over what is there.
    let read = tag(&late.body, "typed");
    let slip = send(with("7 am", "20:30", &read), &ines).await;
    assert!(slip.body.contains("id=\"wishes.digest_at-wrong\">`7 am` is not a time of day"), "{}", slip.body);
    assert_eq!(tag(&slip.body, "typed"), read, "a slip does not pass over what comes meanwhile");
    assert_eq!(send(with("07:00", "20:30", &read), &ines).await.status, StatusCode::SEE_OTHER);
    let wishes = house.contact().await.wishes;
    assert_eq!((&wishes["digest_at"], &wishes["quiet"]["from"]), (&json!("07:00"), &json!("20:30")));
}

/// An alert of North Bench.
pub fn alert(house: &House, id: &str, kind: &str, status: AlertStatus) -> AlertRow {
    AlertRow {
        id: id.into(),
        block_id: "bench".into(),
        year: 2013,
        kind: kind.into(),
        subject: "start".into(),
        generation: 1,
        status,
        reason: Some("the <b>leg</b> is over".into()),
        about: json!({}),
        raised_at: house.now(),
        useful_until: house.now().plus(3 * DAY),
        withdrawn_at: None,
        acknowledged_at: None,
        mailed: false,
    }
}

impl House {
    /// North Bench with an alert that was told, and one that was not.
    async fn alerted() -> House {
        let house = House::planted().await;
        house.store.set_plan("bench", 2013, 0, &plan(), house.now()).await.unwrap();
        house.write("bench", &log()).await;
        let new = |alert| AlertWrite::New { alert, to: Vec::new() };
        let due = alert(&house, "due-1", "due", AlertStatus::Told);
        let frost = alert(&house, "frost-1", "frost", AlertStatus::Skipped);
        house.reckon_telling(&[new(due), new(frost)]).await;
        house
    }
}

#[tokio::test]
async fn alerts_of_a_season_are_shown_and_taken_note_of() {
    let house = House::alerted().await;
    let tom = house.person("tom", "alder", Role::Grower).await;
    let page = house.page("/farms/alder/alerts", &tom).await;
    for part in [
        "Alder &#60;Ridge&#62;: alerts of 2013",
        "Spray due: <a href=\"/blocks/bench\">North &#60;Bench&#62;</a>",
        "Decided Mon 3 Jun 2013, 08:00 EDT. Told: the &#60;b&#62;leg&#60;/b&#62; is over.",
        "Frost is forecast: <a",
        "Not told: the &#60;b&#62;leg",
        "/farms/alder/alerts/due-1/noted",
    ] {
        assert!(page.contains(part), "{part}: {page}");
    }
    assert!(!page.contains("/frost-1/noted"), "nobody takes note of what was not told: {page}");
    let noted = house.sent("/farms/alder/alerts/due-1/noted", "", &tom).await;
    assert_eq!(noted.location.as_deref(), Some("/farms/alder/alerts?year=2013"), "{}", noted.body);
    let page = house.page("/farms/alder/alerts?year=2013", &tom).await;
    assert!(page.contains("Noted Mon 3 Jun 2013, 08:00 EDT.") && !page.contains("/noted\""), "{page}");
    let none = house.page("/farms/alder/alerts?year=2012", &tom).await;
    assert!(none.contains("No alert in this season.") && !none.contains("Spray due"), "{none}");
    let never = house.get("/farms/alder/alerts?year=never", Some(&tom)).await;
    assert_eq!(never.status, StatusCode::NOT_FOUND);
}

#[tokio::test]
async fn who_only_reads_takes_note_of_nothing() {
    let house = House::alerted().await;
    let cora = house.person("cora", "alder", Role::Consultant).await;
    let page = house.page("/farms/alder/alerts", &cora).await;
    assert!(page.contains("Spray due") && only_signs_out(&page), "{page}");
    let note = "/farms/alder/alerts/due-1/noted";
    assert_eq!(house.sent(note, "", &cora).await.status, StatusCode::FORBIDDEN);
    let otto = house.person("otto", "elder", Role::Advisor).await;
    for path in [note, "/farms/elder/alerts/due-1/noted"] {
        assert_eq!(house.sent(path, "", &otto).await.status, StatusCode::NOT_FOUND, "{path}");
    }
    assert!(house.store.alert("due-1").await.unwrap().unwrap().acknowledged_at.is_none());
}
