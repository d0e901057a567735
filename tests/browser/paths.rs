//! What stands in the place of each path's parameters.

use crate::orchard::spring::SPRAY;
use crate::orchard::{BENCH, FARM, GROWER, Orchard, PAST, TERRACE};

/// Whether only who runs the server sees it.
pub(crate) fn is_the_operators(path: &str) -> bool {
    path == "/farms/new"
}

/// Where one path of the router is looked at: each address in full.
///
/// # Panics
/// On a path that is not known here: each new page gets its line.
pub(crate) async fn filled(orchard: &Orchard, path: &str) -> Vec<String> {
    let past = format!("/blocks/{BENCH}/seasons/{PAST}");
    let under_way = format!("/blocks/{TERRACE}/seasons/{}", orchard.year);
    let there = match path {
        "/" | "/today" | "/care" | "/reference" | "/sign-in" | "/forgotten" => vec![path.to_owned()],
        "/log" => ["open-count", "spray-rest", "spray-record", "damage-count", "decision"]
            .map(|what| format!("/log?block={TERRACE}&what={what}"))
            .to_vec(),
        "/farms/{id}/sprays/{year}" => vec![format!("/farms/{FARM}/sprays/{PAST}")],
        "/blocks/{id}" => vec![format!("/blocks/{BENCH}")],
        "/blocks/{id}/seasons/{year}/report" => vec![format!("{past}/report"), format!("{under_way}/report")],
        "/blocks/{id}/seasons/{year}/job" => vec![format!("{under_way}/job")],
        "/blocks/{id}/seasons/{year}/sprays/{entry}/notice" => vec![format!("{past}/sprays/{SPRAY}/notice")],
        "/outcomes/{year}" => vec![format!("/outcomes/{PAST}"), format!("/outcomes/{}", orchard.year)],
        "/board" => vec!["/board".to_owned(), format!("/board?year={PAST}")],
        "/board/map" => vec!["/board/map".to_owned(), format!("/board/map?year={PAST}")],
        "/blocks/{id}/seasons/{year}" => vec![under_way, past],
        "/blocks/{id}/seasons/{year}/slots" => vec![format!("{under_way}/slots")],
        "/farms/{id}/round" => vec![format!("/farms/{FARM}/round")],
        "/farms/{id}" => vec![format!("/farms/{FARM}")],
        "/farms/{id}/verification" => vec![format!("/farms/{FARM}/verification")],
        "/farms/{id}/materials" => vec![format!("/farms/{FARM}/materials")],
        "/farms/{id}/people" => vec![format!("/farms/{FARM}/people")],
        "/farms/{id}/audit" => vec![format!("/farms/{FARM}/audit")],
        "/farms/{id}/contacts" => vec![format!("/farms/{FARM}/contacts")],
        "/farms/{id}/contacts/{contact}" => vec![format!("/farms/{FARM}/contacts/runa")],
        "/farms/{id}/alerts" => vec![format!("/farms/{FARM}/alerts")],
        "/curves" | "/me" => vec![path.to_owned()],
        "/curves/{id}" => vec!["/curves/reference".to_owned()],
        "/sites/{id}" => vec!["/sites/ridge".to_owned()],
        "/sites/{id}/springs" => vec![
            "/sites/ridge/springs".to_owned(),
            "/sites/ridge/springs?start=04-29T10%3A00&marks=0.60%2C+0.60".to_owned(),
        ],
        "/confirm/{contact}/{mark}" => vec![orchard.confirm.clone()],
        "/mail/{message}/{mark}" => vec![orchard.mail.clone()],
        "/mail/{message}/{mark}/stop" => vec![format!("{}/stop", orchard.mail)],
        "/claim/{secret}" => return vec![orchard.claim.clone()],
        "/invitation/{secret}" => vec![orchard.invitation("someone@larkmoor.example").await],
        "/reset/{secret}" => vec![orchard.reset(GROWER)],
        "/begin" => vec!["/begin".to_owned(), format!("/begin?farm={FARM}")],
        "/mail-test" | "/farms/new" => vec![path.to_owned()],
        "/farms/{id}/change"
        | "/farms/{id}/slot-limits"
        | "/farms/{id}/calendars"
        | "/farms/{id}/note"
        | "/farms/{id}/plans"
        | "/farms/{id}/sites/new"
        | "/farms/{id}/blocks/new"
        | "/farms/{id}/blocks/import" => {
            vec![path.replace("{id}", FARM)]
        }
        "/sites/{id}/feed-test" | "/sites/{id}/import" | "/sites/{id}/readings" => {
            vec![path.replace("{id}", "ridge")]
        }
        "/blocks/{id}/change" | "/blocks/{id}/site" => vec![path.replace("{id}", TERRACE)],
        "/blocks/{id}/seasons/{year}/plan" => vec![format!("{under_way}/plan")],
        other => panic!("the router has {other}, and tests/browser/paths.rs does not know what to fill in"),
    };
    there.into_iter().map(|path| format!("{}{path}", orchard.server)).collect()
}
