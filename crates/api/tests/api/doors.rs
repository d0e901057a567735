//! Who comes in, and what everyone is told who does not.

use axum::body::{Body, Bytes};
use axum::http::{Method, Request, header};
use serde_json::json;

use crate::house::House;

/// Every operation that the router serves, with words in the place of ids.
fn operations() -> Vec<(String, String)> {
    let filled = |path: &str| {
        let path = path.strip_prefix("/api/v1/").unwrap();
        path.replace("{year}", "2013").replace(['{', '}'], "")
    };
    api::operations().iter().map(|(method, path, _)| (method.clone(), filled(path))).collect()
}

fn bare(method: &str, path: &str, authorization: Option<&str>) -> Request<Body> {
    let mut request =
        Request::builder().method(method).uri(path).header(header::CONTENT_TYPE, "application/json");
    if let Some(value) = authorization {
        request = request.header(header::AUTHORIZATION, value);
    }
    request.body(Body::from("{}")).unwrap()
}

#[tokio::test]
async fn without_a_token_no_route_answers_anything_else() {
    let house = House::new().await;
    let wrong = format!("Bearer bt_{}", "0".repeat(64));
    let secret_alone = house.token.clone();
    let basic = format!("Basic {}", house.token);
    let mut answers = Vec::new();
    let others =
        [("GET", ""), ("POST", "/"), ("GET", "nothing/here"), ("DELETE", "farms"), ("POST", "farms/x/y")];
    let others = others.map(|(method, path)| (method.to_owned(), path.to_owned()));
    house.send(bare("GET", "/api/v1", None)).await.problem(401);
    for (method, path) in operations().into_iter().chain(others) {
        for authorization in [None, Some(wrong.as_str()), Some(&secret_alone), Some(&basic), Some("Bearer ")]
        {
            let answer = house.send(bare(&method, &format!("/api/v1/{path}"), authorization)).await;
            answer.problem(401);
            assert!(
                answer.headers[header::WWW_AUTHENTICATE].to_str().unwrap().starts_with("Bearer"),
                "{method} {path}"
            );
            let mut body = answer.body;
            body["request_id"] = json!(null);
            answers.push(body.to_string());
        }
    }
    answers.dedup();
    assert_eq!(answers.len(), 1, "the same answer whatever is wrong: {answers:?}");
}

#[tokio::test]
async fn every_route_is_there_for_the_bearer() {
    let house = House::new().await;
    let operations = operations();
    assert!(operations.len() > 40, "{}", operations.len());
    for (method, path) in operations {
        let request = house.request(method.parse().unwrap(), &path, Some("application/json"), "{}");
        let answer = house.send(request).await;
        assert_ne!(answer.status, 405, "{method} {path}");
        let unknown_path = answer.body["detail"] == "Nothing is served under this path.";
        assert!(!unknown_path, "{method} {path}: {}", answer.body);
    }
}

#[tokio::test]
async fn health_asks_for_no_token() {
    let house = House::new().await;
    let up = house.send(bare("GET", "/healthz", None)).await.expect(200);
    assert_eq!(up["version"], "0.0.0-test");
    house.send(bare("GET", "/readyz", None)).await.expect(200);
    house.store.close().await.unwrap();
    house.send(bare("GET", "/readyz", None)).await.problem(503);
    house.send(bare("GET", "/healthz", None)).await.expect(200);
}

#[tokio::test]
async fn the_framework_answers_in_problems_too() {
    let house = House::new().await;
    house.send(bare("GET", "/nothing", None)).await.problem(404);
    house.send(bare("GET", "/", None)).await.problem(404);
    house.get("nothing").await.problem(404);

    let answer = house.send(house.request(Method::DELETE, "farms", None, Body::empty())).await;
    answer.problem(405);
    assert!(answer.headers[header::ALLOW].to_str().unwrap().contains("POST"));
    assert!(answer.body["detail"].as_str().unwrap().contains("Allow"));
    house.get("farms/%FF").await.problem(400);
}

#[tokio::test]
async fn bodies_that_are_no_json_say_where() {
    let house = House::new().await;
    let post = |content_type, body: &'static [u8]| {
        house.send(house.request(Method::POST, "farms", content_type, Bytes::from_static(body)))
    };
    let broken = post(Some("application/json"), b"{\n  \"name\": ]\n}").await;
    let said = broken.fault(400, "");
    assert!(said.contains("line 2") && said.contains("column 11"), "{said}");
    post(Some("application/json"), b"").await.problem(400);
    post(Some("application/json"), b"{\"name\": \"\xff\"}").await.problem(400);
    assert!(post(None, b"{}").await.body["detail"].as_str().unwrap().contains("application/json"));
    post(Some("text/plain"), b"{}").await.problem(415);
    post(Some("application/json"), b"[]").await.fault(422, "");
    assert!(
        post(Some("application/json; charset=utf-8"), b"{}").await.fault(422, "/name").contains("missing")
    );

    let mut packed = house.request(Method::POST, "farms", Some("application/json"), "{}");
    packed.headers_mut().insert(header::CONTENT_ENCODING, "gzip".parse().unwrap());
    house.send(packed).await.problem(415);
}

#[tokio::test]
async fn a_body_that_is_too_large_is_refused_whether_or_not_it_says_so() {
    let house = House::new().await;
    let long = format!("{{\"name\": \"{}\"}}", "a".repeat(1024 * 1024));
    let mut announced = house.request(Method::POST, "farms", Some("application/json"), long.clone());
    announced.headers_mut().insert(header::CONTENT_LENGTH, long.len().into());
    house.send(announced).await.problem(413);

    let chunks: Vec<Result<Bytes, std::io::Error>> =
        long.into_bytes().chunks(64 * 1024).map(|chunk| Ok(Bytes::copy_from_slice(chunk))).collect();
    let streamed = Body::from_stream(futures::stream::iter(chunks));
    house.send(house.request(Method::POST, "farms", Some("application/json"), streamed)).await.problem(413);
    assert_eq!(house.get("farms").await.body["items"], json!([]));
}

/// Routes come from what stands beside the handlers, so that the document, the
/// matrix of callers and the test of repeats know each of them.
#[test]
fn no_route_is_added_past_the_document() {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/src");
    let mut added: Vec<String> = std::fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.is_file())
        .flat_map(|path| {
            let text = std::fs::read_to_string(path).unwrap();
            let routes = text.lines().filter(|line| line.contains(".route(") || line.contains(".nest("));
            routes.map(|line| line.split('"').nth(1).unwrap_or(line).to_owned()).collect::<Vec<_>>()
        })
        .collect();
    added.sort();
    // What is documented is nested twice: as it is served, and for the operator's hand.
    let mut others = vec!["/api/v1"; 4];
    others.extend(["/api/v1/", "/api/v1/openapi.json", "/calendar/{file}", "/healthz", "/readyz"]);
    assert_eq!(added, others);
}

#[tokio::test]
async fn a_token_in_the_address_is_refused_with_the_reason() {
    let house = House::new().await;
    let secret = house.token.clone();
    for query in [format!("token={secret}"), format!("after={secret}"), "access_token=x".to_owned()] {
        let answer = house.send(bare("GET", &format!("/api/v1/farms?{query}"), None)).await;
        answer.problem(400);
        assert_eq!(answer.body["type"], "urn:bloomtide:problem:token-in-address");
        assert!(answer.body["detail"].as_str().unwrap().contains("revoke"), "{}", answer.body);
        assert!(!answer.body.to_string().contains(&secret));
    }
}

#[tokio::test]
async fn what_is_nested_deeper_than_anyone_writes_is_refused() {
    let house = House::new().await;
    let deep = format!("{{\"name\": {}1{}}}", "[".repeat(10_000), "]".repeat(10_000));
    let answer = house.send(house.request(Method::POST, "farms", Some("application/json"), deep)).await;
    assert!(answer.fault(400, "").contains("recursion"), "{}", answer.body);
}
