//! Farms, sites, blocks, curves, materials, tokens.

use model::series::Reading;
use serde_json::json;
use store::{Block, StoreError};

use crate::rows::{self, Orchard, SPRING, hours};
use crate::suite::{Suite, call};

pub async fn farms_sites_and_blocks(suite: &Suite) {
    let orchard = Orchard::planted(suite, 3).await;
    let other = Orchard::planted(suite, 1).await;

    assert_eq!(call!(suite, farm(&orchard.farm.id)).unwrap().as_ref(), Some(&orchard.farm));
    assert_eq!(call!(suite, farm("none")).unwrap(), None);
    let first = call!(suite, farms(None, 1)).unwrap();
    let second = call!(suite, farms(Some(&first[0].id), 1)).unwrap();
    assert!(first[0].id < second[0].id);
    call!(suite, change_farm(&other.farm, "Fenside", &["new@fenside.example".into()], &[])).unwrap();
    let late = call!(suite, change_farm(&other.farm, "Late", &[], &[]));
    assert!(matches!(late, Err(StoreError::Changed { .. })), "{late:?}");
    let changed = call!(suite, farm(&other.farm.id)).unwrap().unwrap();
    assert_eq!(changed.name, "Fenside");
    assert_eq!(changed.alert_emails, ["new@fenside.example"]);
    assert!(matches!(
        call!(suite, change_farm(&rows::farm(), "x", &[], &[])),
        Err(StoreError::NotFound { .. })
    ));
    let again = call!(suite, add_farm(&orchard.farm)).unwrap_err();
    assert!(matches!(&again, StoreError::Conflict { what } if what.contains(&orchard.farm.id)));

    assert_eq!(call!(suite, site(&orchard.site.id)).unwrap().as_ref(), Some(&orchard.site));
    assert_eq!(
        call!(suite, sites(Some(&orchard.farm.id), None, 9)).unwrap(),
        std::slice::from_ref(&orchard.site)
    );
    let of_the_server = rows::site(None);
    call!(suite, add_site(&of_the_server)).unwrap();
    assert!(call!(suite, sites(None, None, 1_000)).unwrap().contains(&of_the_server));

    assert_eq!(call!(suite, block(orchard.block())).unwrap().as_ref(), Some(&orchard.blocks[0]));
    let farm_id = Some(orchard.farm.id.as_str());
    assert_eq!(call!(suite, blocks(farm_id, None, 9)).unwrap(), orchard.blocks);
    assert_eq!(call!(suite, blocks(farm_id, Some(orchard.block()), 1)).unwrap(), orchard.blocks[1..2]);
    assert!(call!(suite, blocks(None, None, 1_000)).unwrap().contains(&other.blocks[0]));

    let details = json!({ "cultivar": "Fuji" });
    assert_eq!(call!(suite, change_block(&orchard.blocks[0], "South Bench", &details, None)).unwrap(), 2);
    let late = call!(suite, change_block(&orchard.blocks[0], "Late", &details, None));
    assert!(matches!(late, Err(StoreError::Changed { .. })), "{late:?}");
    let second = call!(suite, block(orchard.block())).unwrap().unwrap();
    assert_eq!(
        call!(suite, change_block(&second, "South Bench", &details, None)).unwrap(),
        2,
        "what does not differ raises nothing"
    );
    let changed = call!(suite, block(orchard.block())).unwrap().unwrap();
    assert_eq!((changed.name.as_str(), changed.version), ("South Bench", 2));
    assert_eq!(changed.details, details);
    assert!(call!(suite, change_block(&rows::block("none", "none"), "x", &details, None)).is_err());
}

pub async fn moving(suite: &Suite) {
    let orchard = Orchard::planted(suite, 2).await;
    let (block, here) = (&orchard.blocks[0], &orchard.site.id);
    let there = rows::site(Some(&orchard.farm.id));
    call!(suite, add_site(&there)).unwrap();
    let tower = rows::station(&there.id);
    call!(suite, add_source(&tower)).unwrap();
    call!(suite, store_readings(&orchard.station.id, &rows::readings(0, 9), hours(9))).unwrap();
    call!(suite, store_readings(&tower.id, &rows::readings(0, 9), hours(9))).unwrap();
    let weather = async || call!(suite, block_weather(&block.id, hours(1), hours(7))).unwrap();
    let as_site = call!(suite, site_weather(here, hours(1), hours(7))).unwrap();
    assert_eq!(weather().await, as_site, "as the site's while it was never moved");

    assert_eq!(call!(suite, stays_of(&block.id)).unwrap(), []);
    assert_eq!(call!(suite, move_block(block, here, hours(4))).unwrap(), 1, "it is there already");
    assert_eq!(call!(suite, move_block(block, &there.id, hours(4))).unwrap(), 2);
    let moved = call!(suite, block(&block.id)).unwrap().unwrap();
    assert_eq!((moved.site_id.as_str(), moved.version), (there.id.as_str(), 2));
    let late = call!(suite, move_block(block, here, hours(5)));
    assert!(matches!(late, Err(StoreError::Changed { .. })), "{late:?}");
    let along = weather().await;
    assert_eq!(along.site.id, there.id);
    assert_eq!(along.version, 4, "two of each site");
    let times = |source: &str| -> Vec<_> {
        let found = along.sources.iter().find(|(known, _)| known.id == source);
        found.unwrap().1.iter().map(|reading| reading.at).collect()
    };
    assert_eq!(times(&tower.id), (4..=7).map(hours).collect::<Vec<_>>());
    assert_eq!(times(&orchard.station.id), (1..4).map(hours).collect::<Vec<_>>());

    let times: Vec<Vec<_>> =
        along.by_trust().iter().map(|rank| rank.iter().map(|reading| reading.at).collect()).collect();
    assert_eq!(times, [(1..=7).map(hours).collect::<Vec<_>>()], "the stations of both sites as one");

    // What comes late for the time before the move counts.
    let warm = [Reading { celsius: 30.0, ..rows::readings(2, 3)[0] }];
    call!(suite, store_readings(&orchard.station.id, &warm, hours(9))).unwrap();
    assert_eq!(weather().await.version, 5);

    // And back again: each source once, its readings in order.
    let early = call!(suite, move_block(&moved, here, hours(3)));
    assert!(
        matches!(&early, Err(StoreError::Refused(why)) if why.contains("only leave it later")),
        "{early:?}"
    );
    assert_eq!(call!(suite, move_block(&moved, here, hours(6))).unwrap(), 3);
    let back = weather().await;
    assert_eq!(back.sources.len(), 2);
    assert_eq!(back.sources[0].0.id, orchard.station.id, "the present site's first");
    let at: Vec<_> = back.sources[0].1.iter().map(|reading| reading.at).collect();
    assert_eq!(at, [1, 2, 3, 6, 7].map(hours));
    let stays = call!(suite, stays_of(&block.id)).unwrap();
    assert_eq!(stays.iter().map(|stay| stay.until).collect::<Vec<_>>(), [hours(4), hours(6)]);

    // The day was wrong, and then the move as a whole.
    let held = async || call!(suite, block(&block.id)).unwrap().unwrap();
    assert_eq!(call!(suite, move_block(&held().await, here, hours(7))).unwrap(), 4);
    let early = call!(suite, move_block(&held().await, here, hours(4)));
    assert!(matches!(early, Err(StoreError::Refused(_))), "{early:?}");
    let until = async || {
        let stays = call!(suite, stays_of(&block.id)).unwrap();
        stays.iter().map(|stay| stay.until).collect::<Vec<_>>()
    };
    assert_eq!(until().await, [hours(4), hours(7)]);
    assert_eq!(call!(suite, move_block(&held().await, &there.id, hours(7))).unwrap(), 5);
    assert_eq!((until().await, held().await.site_id), (vec![hours(4)], there.id.clone()));

    let strange = rows::site(Some(&Orchard::planted(suite, 0).await.farm.id));
    call!(suite, add_site(&strange)).unwrap();
    let other = call!(suite, move_block(&orchard.blocks[1], &strange.id, hours(4)));
    assert!(matches!(other, Err(StoreError::NotFound { .. })), "another farm's site: {other:?}");
}

pub async fn many_blocks(suite: &Suite) {
    let orchard = Orchard::planted(suite, 1).await;
    let outline = json!({"type": "Point", "coordinates": [-74.2, 40.7]});
    let new = || rows::block(&orchard.farm.id, &orchard.site.id);
    let blocks = [Block { geometry: Some(outline.clone()), ..new() }, new()];
    call!(suite, add_blocks(&blocks)).unwrap();
    assert_eq!(call!(suite, block(&blocks[0].id)).unwrap().as_ref(), Some(&blocks[0]));
    let changed = call!(suite, change_block(&blocks[1], "South", &json!({}), Some(&outline))).unwrap();
    assert_eq!(changed, 2);
    assert_eq!(call!(suite, block(&blocks[1].id)).unwrap().unwrap().geometry, Some(outline));
    // All or none.
    let late = new();
    let again = call!(suite, add_blocks(&[late.clone(), blocks[0].clone()]));
    assert!(matches!(again, Err(StoreError::Conflict { .. })), "{again:?}");
    assert_eq!(call!(suite, block(&late.id)).unwrap(), None);
}

pub async fn missing_parents(suite: &Suite) {
    let orchard = Orchard::planted(suite, 0).await;
    let refused = call!(suite, add_block(&rows::block(&orchard.farm.id, "no-site"))).unwrap_err();
    assert!(matches!(&refused, StoreError::NotFound { what } if what.contains("no-site")));
    let refused = call!(suite, add_site(&rows::site(Some("no-farm")))).unwrap_err();
    assert!(matches!(&refused, StoreError::NotFound { what } if what.contains("no-farm")));
    let refused = call!(suite, add_source(&rows::station("no-site"))).unwrap_err();
    assert!(matches!(&refused, StoreError::NotFound { what } if what.contains("no-site")));
    let refused = call!(suite, set_plan("no-block", 2013, 0, &json!([]), SPRING)).unwrap_err();
    assert!(matches!(&refused, StoreError::NotFound { what } if what.contains("no-block")));
}

pub async fn curves_and_materials(suite: &Suite) {
    let orchard = Orchard::in_bloom(suite).await;
    let first = call!(suite, season(orchard.block(), rows::YEAR)).unwrap().unwrap();
    let (curve, material) = (rows::id("curve"), rows::id("material"));
    let doc = json!({ "nodes": [[4, 0], [5, 0.08]], "unit": "fraction-per-day" });
    call!(suite, add_curve(&curve, &doc, SPRING)).unwrap();
    call!(suite, add_curve(&curve, &doc, SPRING.plus(1))).unwrap();
    let other = call!(suite, add_curve(&curve, &json!({}), SPRING)).unwrap_err();
    assert!(matches!(&other, StoreError::Conflict { what } if what.contains(&curve)), "{other}");
    let curves = call!(suite, curves()).unwrap();
    let held = curves.iter().find(|held| held.id == curve).unwrap();
    assert_eq!((&held.doc, held.at), (&doc, SPRING));

    let version = async || {
        let season = call!(suite, season(orchard.block(), rows::YEAR)).unwrap().unwrap();
        season.versions_now.catalogue
    };
    let before = version().await;
    assert_eq!(before, first.versions_now.catalogue + 1, "a curve was added");
    let doc = json!({ "acts_on_flowers": true });
    call!(suite, add_material(&material, &doc, SPRING)).unwrap();
    assert_eq!(version().await, before + 1);
    call!(suite, add_material(&material, &doc, SPRING)).unwrap();
    call!(suite, change_material(&material, &doc, SPRING)).unwrap();
    assert_eq!(version().await, before + 1, "the same again raises nothing");
    assert!(matches!(
        call!(suite, add_material(&material, &json!({}), SPRING)),
        Err(StoreError::Conflict { .. })
    ));
    let doc = json!({ "acts_on_flowers": false });
    call!(suite, change_material(&material, &doc, SPRING.plus(5))).unwrap();
    assert_eq!(version().await, before + 2);
    let materials = call!(suite, materials()).unwrap();
    let held = materials.iter().find(|held| held.id == material).unwrap();
    assert_eq!((&held.doc, held.at), (&doc, SPRING.plus(5)));
    assert!(call!(suite, change_material("none", &doc, SPRING)).is_err());
}
