//! One suite for both databases: every public method of the store is called on
//! each, and the test fails while one is not.
#![allow(clippy::unwrap_used, clippy::print_stdout, reason = "a test may; the steps are shown")]

mod calendars;
mod decision;
mod delivery;
mod hooks;
mod leases;
mod opening;
mod outbox;
mod people;
mod places;
mod reckoning;
mod rows;
mod season;
mod suite;
mod together;
mod walls;
mod weather;

use black_box::postgres::Postgres;
use store::Store;
use suite::Suite;

/// Runs every behaviour, each on farms and sites of its own.
async fn behaviours(suite: &Suite) {
    suite.step("farms, sites, blocks", places::farms_sites_and_blocks(suite)).await;
    suite.step("many blocks at once", places::many_blocks(suite)).await;
    suite.step("blocks that are moved", places::moving(suite)).await;
    suite.step("rows that name what is not there", places::missing_parents(suite)).await;
    suite.step("curves and materials", places::curves_and_materials(suite)).await;
    suite.step("tokens and sign-ins", people::credentials(suite)).await;
    suite.step("claims, invitations, resets", people::links(suite)).await;
    suite.step("who runs the server", people::operators(suite)).await;
    suite.step("invitations taken back", people::taking_back(suite)).await;
    suite.step("farm walls", walls::walls(suite)).await;
    suite.step("what changed, and by whom", walls::notes(suite)).await;
    suite.step("closed, archived, removed", walls::closing(suite)).await;
    suite.step("what is asked twice", walls::asked_twice(suite)).await;
    suite.step("people and roles", people::roles(suite)).await;
    suite.step("eight at once: one link", people::one_link(suite)).await;
    suite.step("sources", weather::sources(suite)).await;
    suite.step("uploads are idempotent", weather::uploads(suite)).await;
    suite.step("large uploads", weather::large_uploads(suite)).await;
    suite.step("readings in pages", weather::pages(suite)).await;
    suite.step("fetches and forecasts", weather::fetches(suite)).await;
    suite.step("leases of cells", leases::cells(suite)).await;
    suite.step("a clock that was ahead", leases::clock_put_back(suite)).await;
    suite.step("providers in trouble, and their budget", leases::providers(suite)).await;
    suite.step("the rest of the air", weather::air(suite)).await;
    suite.step("a cell for several sources", weather::cells(suite)).await;
    suite.step("how sources stand", weather::states(suite)).await;
    suite.step("forecasts as issued", weather::archive(suite)).await;
    suite.step("files of the watched folder", weather::files(suite)).await;
    suite.step("plans", season::plans(suite)).await;
    suite.step("confirmations and a farm's own tables", decision::confirmations_and_tables(suite)).await;
    suite.step("blocks that borrow from others", decision::borrowing(suite)).await;
    suite.step("calendars", calendars::addresses(suite)).await;
    suite.step("what a calendar shows", calendars::seasons(suite)).await;
    suite.step("field logs", season::logs(suite)).await;
    suite.step("what was expected", reckoning::expected(suite)).await;
    suite.step("what is stale", reckoning::stale(suite)).await;
    suite.step("stale seasons in pages", reckoning::stale_pages(suite)).await;
    suite.step("versions guard what is written", reckoning::guard(suite)).await;
    suite.step("alerts", reckoning::alerts(suite)).await;
    suite.step("season and alerts together", reckoning::all_or_nothing(suite)).await;
    suite.step("many seasons at once", reckoning::many(suite)).await;
    suite.step("composing", outbox::composing(suite)).await;
    suite.step("sending", outbox::sending(suite)).await;
    suite.step("senders that go away", outbox::gone(suite)).await;
    suite.step("alerts taken back", outbox::taken_back(suite)).await;
    suite.step("alerts that come too late", outbox::too_late(suite)).await;
    suite.step("alerts re-timed", outbox::retimed(suite)).await;
    suite.step("contacts, their addresses and mutes", delivery::contacts(suite)).await;
    suite.step("notices and failures", delivery::notices(suite)).await;
    suite.step("another way for what does not arrive", delivery::another_way(suite)).await;
    suite.step("journals after a restore", delivery::journals(suite)).await;
    suite.step("eight at once: blocks, logs, plans", together::read_then_write(suite)).await;
    suite.step("eight at once: one upload", together::uploads(suite)).await;
    suite.step("eight at once: leases", together::leases(suite)).await;
    suite.step("eight at once: reckoning", together::reckoning(suite)).await;
    suite.step("appends share a sync", together::appends(suite)).await;
    suite.step("all that waits given up", outbox::given_up(suite)).await;
    suite.step("hooks", hooks::set_up(suite)).await;
    suite.step("what hooks are told", hooks::told_to(suite)).await;
    suite.step("calls of hooks", hooks::calling(suite)).await;
    suite.step("hooks that are off", hooks::off(suite)).await;
    suite.step("calls taken back", hooks::taken_back(suite)).await;
    suite.step("hooks behind the wall", hooks::walls(suite)).await;
    suite.step("calls given up after a restore", hooks::given_up(suite)).await;
    suite.step("nothing is wrong with it", opening::sound(suite)).await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 4)]
async fn on_sqlite() {
    let cluster = Postgres::start();
    let server = cluster.database();
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("orchard.db");
    let suite = Suite::new(path.to_str().unwrap(), path.to_str().unwrap());
    suite.step("the file is made", opening::sqlite(&suite)).await;
    let suite = suite.opened().await;
    behaviours(&suite).await;
    Store::migrate(&server.owner).await.unwrap();
    suite.step("copies", opening::copying(&suite, &server.service)).await;
    suite.step("damage", opening::damaged_sqlite()).await;
    suite.step("a newer database", opening::newer_sqlite(&suite)).await;
    suite.step("closing", opening::closing(&suite)).await;
    suite.all_methods_were_called();
}

#[tokio::test(flavor = "multi_thread", worker_threads = 4)]
async fn on_postgres() {
    let cluster = Postgres::start();
    let database = cluster.database();
    let suite = Suite::new(&database.service, &database.owner);
    suite.step("behind until migrated", opening::postgres(&suite)).await;
    let suite = suite.opened().await;
    behaviours(&suite).await;
    let other = cluster.database();
    Store::migrate(&other.owner).await.unwrap();
    suite.step("copies", opening::copying(&suite, &other.service)).await;
    suite.step("settings that lose data", opening::unsafe_postgres(&cluster.database().owner)).await;
    suite.step("a newer database", opening::newer_postgres(&suite)).await;
    suite.step("closing", opening::closing(&suite)).await;
    suite.all_methods_were_called();
}

/// The list that the suite counts against is written by the macro that writes
/// the methods; what stands outside it is found here.
#[test]
fn no_public_method_is_missing_from_the_list() {
    let front = include_str!("../../src/front.rs");
    for line in front.lines().map(str::trim) {
        let name = line.strip_prefix("pub async fn ").or_else(|| line.strip_prefix("pub fn "));
        if let Some(name) = name.and_then(|rest| rest.split('(').next()) {
            assert!(name == "$name" || store::METHODS.contains(&name), "`{name}` is not counted");
        }
    }
    let other_ways_in = std::fs::read_dir(concat!(env!("CARGO_MANIFEST_DIR"), "/src"))
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.extension().is_some_and(|end| end == "rs"))
        .filter(|path| std::fs::read_to_string(path).unwrap().contains("impl Store {"))
        .count();
    assert_eq!(other_ways_in, 1, "methods of the store stand in front.rs alone");
}
