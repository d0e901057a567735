//! What goes wrong on the way, and what is still answered then.

use super::*;

const POINT: &str = "/points/40.7,-74.006";

/// The error of a first fetch whose look-up is answered so.
async fn refused(answer: ResponseTemplate) -> FeedError {
    let server = MockServer::start().await;
    put(&server, POINT, answer).await;
    fetch(&server, cell()).await.unwrap_err()
}

fn problem(status: u16, kind: &str, title: &str, detail: &str) -> ResponseTemplate {
    let body = json!({
        "correlationId": "3ed8bace", "title": title, "type": format!("https://api.weather.gov/problems/{kind}"),
        "status": status, "detail": detail, "instance": "https://api.weather.gov/requests/3ed8bace",
    });
    ResponseTemplate::new(status).set_body_raw(body.to_string(), "application/problem+json")
}

#[tokio::test]
async fn refusals_carry_the_providers_words() {
    let (soon, grid_soon, late) = (300, 900, 3_600);
    let cases = [
        (404, "InvalidPoint", "Data Unavailable For Requested Point", "Unable to provide data", late),
        (400, "BadRequest", "Bad Request", "Query parameter 'x' is not recognized", late),
        (500, "UnexpectedProblem", "Unexpected Problem", "An unexpected problem has occurred.", soon),
        (503, "UnavailableWebService", "Web Service Unavailable", "Temporarily down", soon),
        (
            503,
            "ForecastGridExpired",
            "Forecast Grid Expired",
            "was issued 2020-02-11 and has expired.",
            grid_soon,
        ),
    ];
    for (status, kind, title, detail, pause) in cases {
        let error = refused(problem(status, kind, title, detail)).await;
        let text = error.to_string();
        assert!(text.starts_with("nws: ") && text.contains(&status.to_string()), "{text}");
        assert!(text.contains(&format!("{title}: {detail}")), "{text}");
        assert_eq!(error.retry, Retry::At(now().plus(pause)), "{text}");
        assert_eq!(matches!(error.cause, Cause::Failing { .. }), status >= 500);
    }
    let blocked = ResponseTemplate::new(403)
        .set_body_raw("<HTML><HEAD><TITLE>Access Denied</TITLE></HEAD></HTML>", "text/html");
    let error = refused(blocked).await;
    assert_eq!(error.cause, Cause::Refused { status: 403, reason: "a web page".to_owned() });
    let error = refused(ResponseTemplate::new(429).insert_header("retry-after", "7200")).await;
    assert_eq!(error.retry, Retry::At(now().plus(7_200)));
    let error = refused(ResponseTemplate::new(304)).await;
    assert!(error.to_string().contains("status 304"), "no time was named: {error}");
}

#[tokio::test]
async fn bodies_that_are_none_give_nothing() {
    let whole = point("OKX", 33, 35).to_string();
    let cases = [
        (whole[..whole.len() / 2].to_owned(), "not the JSON"),
        ("<!DOCTYPE html><html><body>busy</body></html>".to_owned(), "web page"),
        (String::new(), "empty"),
        (" \n".to_owned(), "empty"),
        ("null".to_owned(), "not the JSON"),
        ("[]".to_owned(), "not the JSON"),
        ("{}".to_owned(), "does not fit"),
        (point("../../alerts", 1, 1).to_string(), "no name of an office"),
        (whole.replace("\"gridX\":33", "\"gridX\":-33"), "does not fit"),
        (whole.replace("\"gridX\":33", "\"gridX\":33,\"gridX\":34"), "duplicate"),
        ("[".repeat(100_000), "not the JSON"),
    ];
    for (text, expected) in cases {
        let error =
            refused(ResponseTemplate::new(200).set_body_raw(text.clone(), "application/geo+json")).await;
        assert!(error.to_string().contains(expected), "{text:.80}: {error}");
        assert_eq!(error.retry, Retry::At(now().plus(300)), "{error}");
    }
}

#[tokio::test]
async fn one_failing_part_costs_only_itself() {
    // Good, were they not that long.
    let huge = |good: &Value| {
        ResponseTemplate::new(200)
            .set_body_raw(good.to_string() + &" ".repeat(10 << 20), "application/geo+json")
    };
    let long_list = observations("KNEA", &[("2026-05-01T11:51:00+00:00", json!(8.3), "V")]);
    let hour = json!([{ "validTime": "2026-05-01T13:00:00Z/PT1H", "value": 7.5 }]);
    let long_grid = grid(json!({ "temperature": temperature(hour) }));
    let page = || ResponseTemplate::new(200).set_body_raw("<html></html>", "text/html");
    let other = || answering(&observations("KFAR", &[("2026-05-01T11:51:00+00:00", json!(8.3), "V")]));
    for broken in [huge(&long_list), page(), other(), ResponseTemplate::new(500), ResponseTemplate::new(200)]
    {
        let server = MockServer::start().await;
        put(&server, OBSERVATIONS, broken).await;
        put_the_rest(&server).await;
        let answer = fetch(&server, known_cell()).await.unwrap();
        assert!(answer.readings.is_empty() && answer.forecast.is_some());
        assert_eq!(answer.not_before, Some(now().plus(300)));
        assert_eq!(memory(&answer).station.unwrap().id, "KNEA", "still remembered");
    }
    let newer = "Fri, 01 May 2026 12:12:33 GMT";
    let cut = || answering(&json!("x")).set_body_raw("{\"properties\":{", "application/geo+json");
    for broken in
        [huge(&long_grid), page(), cut().insert_header("last-modified", newer), ResponseTemplate::new(503)]
    {
        let server = MockServer::start().await;
        put(&server, GRID, broken).await;
        put_the_rest(&server).await;
        let answer = fetch(&server, known_cell()).await.unwrap();
        assert!(answer.readings.len() == 1 && answer.forecast.is_none());
        let kept = memory(&answer).grid_modified;
        assert_eq!(kept.as_deref(), Some(MODIFIED), "what was not read is not remembered as read");
    }
}

#[tokio::test]
async fn both_parts_failing_is_an_error_with_the_longer_pause() {
    let server = MockServer::start().await;
    put(&server, GRID, problem(503, "ForecastGridExpired", "Forecast Grid Expired", "has expired")).await;
    put(&server, OBSERVATIONS, ResponseTemplate::new(500)).await;
    let error = fetch(&server, known_cell()).await.unwrap_err();
    assert!(error.to_string().contains("Forecast Grid Expired"), "{error}");
    assert_eq!(error.retry, Retry::At(now().plus(900)));

    // Nothing new of the grid makes up for no observations.
    let server = MockServer::start().await;
    put(&server, GRID, ResponseTemplate::new(304)).await;
    put(&server, OBSERVATIONS, ResponseTemplate::new(403)).await;
    let error = fetch(&server, known_cell()).await.unwrap_err();
    assert_eq!(error.retry, Retry::At(now().plus(3_600)));
    // And nothing new at all is no error.
    let server = MockServer::start().await;
    put(&server, GRID, ResponseTemplate::new(304)).await;
    put(&server, OBSERVATIONS, answering(&observations("KNEA", &[]))).await;
    let answer = fetch(&server, known_cell()).await.unwrap();
    assert!(answer.readings.is_empty() && answer.forecast.is_none());
}

#[tokio::test]
async fn a_fault_that_passes_is_over_with_the_next_call() {
    let server = MockServer::start().await;
    for at in [GRID, OBSERVATIONS] {
        Mock::given(path(at)).respond_with(ResponseTemplate::new(500)).up_to_n_times(1).mount(&server).await;
    }
    put_the_rest(&server).await;
    let error = fetch(&server, known_cell()).await.unwrap_err();
    assert!(matches!(error.cause, Cause::Failing { status: 500, .. }), "{error}");
    assert_eq!(paths(&server).await, [GRID, OBSERVATIONS], "nothing is tried again within a call");
    let answer = fetch(&server, known_cell()).await.unwrap();
    assert!(answer.forecast.is_some() && answer.readings.len() == 1);
}

#[tokio::test]
async fn redirects_stay_on_the_host_and_keep_the_name() {
    let elsewhere = MockServer::start().await;
    let to = |place: String| ResponseTemplate::new(301).insert_header("location", place);
    let error = refused(to(format!("{}{POINT}", elsewhere.uri()))).await;
    assert!(matches!(error.cause, Cause::Redirected(_)), "{error}");
    assert_eq!(error.retry, Retry::At(now().plus(3_600)));
    assert!(elsewhere.received_requests().await.unwrap().is_empty());

    let server = MockServer::start().await;
    put(&server, POINT, to("/points/40.7,-74.01".to_owned())).await;
    // Answers only to the name and the form, as all of `put`.
    put(&server, "/points/40.7,-74.01", answering(&point("OKX", 33, 35))).await;
    put_the_rest(&server).await;
    assert!(fetch(&server, cell()).await.is_ok());
}

/// What is remembered comes from outside of the feed, and goes into addresses
/// and headers.
#[tokio::test]
async fn a_memory_that_is_none_is_forgotten() {
    let good = known_cell().memory.unwrap();
    assert!(Memory::read(&good).is_some());
    let cases = [
        String::new(),
        "null".to_owned(),
        good.replace("OKX", "../alerts"),
        good.replace("KNEA", "KNEA/../KFAR"),
        good.replace("KNEA", ""),
        good.replace("GMT", "GMT\\r\\nx: y"),
        good.replace("33", "-33"),
        good.replace("KNEA", &"K".repeat(2_000)),
    ];
    for memory in cases {
        assert_eq!(Memory::read(&memory), None, "{memory:.80}");
        let server = MockServer::start().await;
        put_the_rest(&server).await;
        let answer = fetch(&server, CellRequest { memory: Some(memory), ..cell() }).await.unwrap();
        assert!(answer.forecast.is_some() && answer.readings.len() == 1);
    }
}
