//! Many blocks at once, and blocks on the map.

use axum::http::{Method, header};
use serde_json::json;

use crate::house::{Answer, House};

const TABLE: &str = "id,site_id,name,cultivar,curve,target_fruit_per_tree\n\
    north,ridge,\"North, upper\",Gala,reference,110\n\
    south,county,South,Fuji,reference,95.5\n";

async fn import(house: &House, query: &str, content_type: &str, body: &str) -> Answer {
    let path = format!("farms/alder/blocks{query}");
    house.send(house.request(Method::POST, &path, Some(content_type), body.to_owned())).await
}

#[tokio::test]
async fn a_table_comes_in_once_and_is_tried_first() {
    let house = House::furnished().await;
    let tried = import(&house, "?dry_run=true", "text/csv", TABLE).await.expect(200);
    assert_eq!(tried, json!({"dry_run": true, "new": 2, "unchanged": 0, "blocks": ["north", "south"]}));
    assert_eq!(house.get("blocks").await.body["items"], json!([]));
    import(&house, "", "text/csv", TABLE).await.expect(201);
    let again = import(&house, "?dry_run=false", "text/csv", TABLE).await.expect(200);
    assert_eq!((&again["new"], &again["unchanged"]), (&json!(0), &json!(2)));
    let north = house.get("blocks/north").await.expect(200);
    assert_eq!((&north["name"], &north["target_fruit_per_tree"]), (&json!("North, upper"), &json!(110.0)));
    assert_eq!(north["farm_id"], "alder");
}

#[tokio::test]
async fn all_that_is_wrong_with_a_table_is_said_at_once() {
    let house = House::furnished().await;
    let table = "id,site_id,name,cultivar,curve,target_fruit_per_tree\n\
        north,ridge,North,Gala,reference,many\n\
        ,ridge,Nameless,Gala,reference,90\n\
        south,nowhere,South,Fuji,steep,95\n\
        south,ridge,South,Fuji,reference,95\n";
    let answer = import(&house, "", "text/csv", table).await;
    assert!(answer.fault(422, "/0/target_fruit_per_tree").starts_with("line 2: "));
    assert!(answer.fault(422, "/1/id").starts_with("line 3: "));
    assert!(answer.fault(422, "/2/curve").starts_with("line 4: "));
    import(&house, "", "text/csv", &table.replace("steep", "reference")).await.fault(422, "/2/site_id");
    assert!(
        import(&house, "", "text/csv", &table.replace("steep", "reference"))
            .await
            .fault(422, "/3/id")
            .contains("twice")
    );
    assert_eq!(house.get("blocks").await.body["items"], json!([]), "all or none");
    import(&house, "", "text/csv", TABLE).await.expect(201);
    let other = TABLE.replace("Gala", "Fuji");
    assert!(import(&house, "", "text/csv", &other).await.fault(422, "/0/id").contains("otherwise"));
    import(&house, "", "text/plain", TABLE).await.problem(415);
    import(&house, "?dry_run=maybe", "text/csv", TABLE).await.fault(422, "dry_run");
    import(&house, "", "application/geo+json", "{\"type\": \"Feature\"}").await.fault(422, "");
}

#[tokio::test]
async fn a_map_goes_out_as_it_came_in() {
    let house = House::furnished().await;
    let ring = json!([[-74.17, 40.69], [-74.16, 40.69], [-74.16, 40.70], [-74.17, 40.69]]);
    let feature = |id: &str, geometry| {
        json!({"type": "Feature", "id": id, "geometry": geometry, "properties": {
            "site_id": "ridge", "name": id, "cultivar": "Gala", "curve": "reference", "target_fruit_per_tree": 90}})
    };
    let polygon = json!({"type": "Polygon", "coordinates": [ring]});
    let map = json!({"type": "FeatureCollection", "features": [feature("east", polygon.clone()), feature("west", json!(null))]});
    import(&house, "", "application/geo+json", &map.to_string()).await.expect(201);
    let mut request = house.request(Method::GET, "blocks?limit=1", None, "");
    request.headers_mut().insert(header::ACCEPT, "application/geo+json".parse().unwrap());
    let answer = house.send(request).await;
    assert_eq!(answer.headers[header::CONTENT_TYPE], "application/geo+json");
    assert!(answer.headers.contains_key(header::LINK));
    let page = answer.expect(200);
    assert_eq!(page["features"][0]["geometry"], polygon);
    assert_eq!(page["features"][0]["properties"]["cultivar"], "Gala");
    let whole = house.get("blocks?format=geojson").await.expect(200);
    assert_eq!(whole["features"][1]["geometry"], json!(null));
    // And in again, as it stands: nothing is new.
    let again = import(&house, "", "application/geo+json", &whole.to_string()).await.expect(200);
    assert_eq!((&again["new"], &again["unchanged"]), (&json!(0), &json!(2)));

    let moved = json!({"geometry": {"type": "Point", "coordinates": [-74.17, 91]}});
    assert!(house.patch("blocks/west", moved).await.fault(422, "/geometry").contains("no map"));
    house
        .patch("blocks/west", json!({"geometry": {"type": "Point", "coordinates": [-74.17, 40.7]}}))
        .await
        .expect(200);
    house.patch("blocks/east", json!({"geometry": null})).await.expect(200);
    assert_eq!(house.get("blocks/east").await.body["geometry"], json!(null));
}
