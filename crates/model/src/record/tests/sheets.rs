//! The notice at the block's edge and the sheet for a contractor.

use super::*;
use crate::mixing::MixAsked;
use crate::plan::MarkBound;
use crate::words;

const BLOCK: BlockFacts<'_> = BlockFacts {
    name: "North Bench",
    farm: Some("Larkmoor"),
    cultivar: Some("Gala"),
    location: None,
    crop: None,
    area: Some("2 ha"),
    zone: None,
};

fn posted(more: Value) -> Sheet {
    notice(&record(more), None, &BLOCK, chrono_tz::America::New_York)
}

#[test]
fn a_notice_says_when_people_may_go_in_again() {
    let sheet = posted(json!({"product": "X", "reentry_interval": "24 h"}));
    assert_eq!(sheet.row("Keep out until"), Some("Fri 2 May 2025, 18:30 EDT"));
    assert_eq!(sheet.row("Sprayed"), Some("Thu 1 May 2025, 17:10 EDT to Thu 1 May 2025, 18:30 EDT"));
    assert_eq!((sheet.row("Product"), sheet.row("Registration number")), (Some("X"), Some("not recorded")));
    assert_eq!(sheet.below, [words::CAUTION]);
}

#[test]
fn a_notice_without_a_re_entry_time_goes_by_the_label() {
    let none = posted(json!({}));
    assert_eq!(none.row("Keep out until"), Some("not recorded: go by the label"));
    assert_eq!(none.below, [words::NO_REENTRY, words::CAUTION]);
    let unread = posted(json!({"reentry_interval": "until dry"}));
    let value = unread.row("Keep out until").unwrap();
    assert!(value.starts_with("not recorded: go by the label") && value.contains("`until dry`"), "{value}");
    let draft = posted(json!({"finished_at": null, "reentry_hours": 24}));
    assert_eq!(draft.row("Keep out until"), Some("24 h after the spray is finished"));
    assert_eq!(draft.row("Sprayed"), Some("begun Thu 1 May 2025, 17:10 EDT, not finished yet"));
}

#[test]
fn nobody_goes_in_early_for_a_few_seconds() {
    let sheet = posted(json!({"finished_at": "2025-05-01T18:30:01-04:00", "reentry_hours": 24}));
    assert_eq!(sheet.row("Keep out until"), Some("Fri 2 May 2025, 18:31 EDT"));
}

fn mix() -> crate::mixing::Mix {
    let asked = json!({"rate": 2.5, "rate_unit": "percent", "rate_basis": "product-by-volume",
        "volume_per_area": 100, "volume_unit": "US-gal/acre", "area": 6, "area_unit": "acre",
        "tank": 400, "tank_unit": "US-gal"});
    input::read(&asked, MixAsked::from_fields).unwrap().mix()
}

#[test]
fn a_job_says_what_to_mix_and_when() {
    let (mix, ats) =
        (mix(), material(json!({"max_wind_m_s": 4.4704, "basis": "common practice, no source"})));
    let asked = Job {
        before: &[],
        block: BLOCK,
        material: &ats,
        rate: None,
        mix: Some(&mix),
        mark: Some(0.6),
        bound: Some(MarkBound::NotBefore),
        likely: Some("Wednesday evening, in 8 of 10 cases like this"),
        confirmed: None,
        profile: None,
    };
    let sheet = job(&asked);
    assert_eq!(sheet.row("Rate"), Some(mix.asked.rate.spoken().as_str()));
    assert!(
        sheet.row("Tanks").unwrap().starts_with("One full tank of 1514 L (400 US gal): 37.9 L (10 US gal)")
    );
    assert_eq!(sheet.row("Mark"), Some("0.60 of the style"));
    assert!(sheet.row("Which side").unwrap().starts_with("not before"));
    assert_eq!(sheet.row("Limits set here"), Some("wind at most 4.47 m/s (10 mph)"));
    assert_eq!(sheet.row("Re-entry"), Some("not recorded: go by the label"));
    assert!(sheet.row("Write down").unwrap().contains("registration number"));
    assert_eq!(sheet.below, [words::UNCONFIRMED, words::CAUTION]);
    let bare = job(&Job { mix: None, likely: None, bound: Some(MarkBound::NotAfter), ..asked });
    assert_eq!((bare.row("Rate"), bare.row("Area")), (Some("not given: ask"), Some("2 ha")));
    assert_eq!(bare.row("Likely time"), Some("not known yet"));
    assert!(bare.row("Which side").unwrap().starts_with("not after"));
}

#[test]
fn a_job_is_unconfirmed_until_someone_confirmed_this_material() {
    let ats = material(json!({"reentry_hours": 24}));
    let profiles = shipped();
    let below = |confirmed: Option<&Confirmation>| {
        let profile = profiles.get("us-federal");
        let asked = Job {
            before: &[],
            block: BLOCK,
            material: &ats,
            rate: None,
            mix: None,
            mark: None,
            bound: None,
            likely: None,
            confirmed,
            profile,
        };
        job(&asked)
    };
    let ours = confirmation(json!({})).unwrap();
    let other = confirmation(json!({"material": "lime-sulfur"})).unwrap();
    assert_eq!(below(Some(&other)).below, [words::UNCONFIRMED, words::CAUTION]);
    let sheet = below(Some(&ours));
    assert_eq!(sheet.below, [words::CAUTION]);
    assert!(sheet.row("Confirmed").unwrap().starts_with("Ines confirmed on 2025-04-20"));
    assert!(sheet.row("Re-entry").unwrap().starts_with("24 h after the finish"));
    let write = sheet.row("Write down").unwrap();
    assert!(write.contains("certificate") && !write.contains("crop"), "{write}");
}
