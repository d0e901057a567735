use super::*;

/// An ensemble as documented: the control and two of its members.
fn ensemble() -> Value {
    json!({
        "latitude": 41.0, "longitude": 2.0, "generationtime_ms": 1.2, "utc_offset_seconds": 0,
        "timezone": "GMT", "timezone_abbreviation": "GMT", "elevation": 5.0,
        "hourly_units": {
            "time": "unixtime", "temperature_2m": "°C", "temperature_2m_member01": "°C",
            "temperature_2m_member02": "°C"
        },
        "hourly": {
            "time": [1_657_584_000, 1_657_587_600, 1_657_591_200, 1_657_594_800],
            "temperature_2m_member02": [8.0, 8.1, 8.2, 8.3],
            "temperature_2m": [9.1, 8.8, 8.9, 9.0],
            "temperature_2m_member01": [9.4, 9.3, 9.2, null]
        }
    })
}

async fn ensembles(answer: ResponseTemplate) -> MockServer {
    let server = MockServer::start().await;
    Mock::given(method("GET")).and(path("/v1/ensemble")).respond_with(answer).mount(&server).await;
    server
}

async fn asked(server: &MockServer, cells: &[CellRequest]) -> Result<Vec<Members>, FeedError> {
    let uri = server.uri();
    let feed = feed_with("http://127.0.0.1:9".to_owned(), |settings, _| settings.ensemble_url = uri + "/");
    // Whoever fetches does so in a task of its own.
    let sent: Box<dyn Future<Output = _> + Send> = Box::new(feed.members(cells, NOW));
    Box::into_pin(sent).await
}

async fn refused(answer: ResponseTemplate) -> FeedError {
    asked(&ensembles(answer).await, &cells()[..1]).await.unwrap_err()
}

fn values(members: &Members) -> Vec<Vec<(i64, f64)>> {
    let hours =
        |member: &Vec<model::series::Reading>| member.iter().map(|hour| (hour.at.0, hour.celsius)).collect();
    members.members.iter().map(hours).collect()
}

#[tokio::test]
async fn the_control_comes_first_and_then_the_members() {
    let server = ensembles(ResponseTemplate::new(200).set_body_json(ensemble())).await;
    let answers = asked(&server, &cells()[..1]).await.unwrap();
    assert_eq!((answers[0].cell.as_str(), answers[0].issued_at), ("north", NOW));
    let (third, fourth) = (1_657_591_200, 1_657_594_800);
    let expected = [
        vec![(third, 8.9), (fourth, 9.0)],
        // A null at the end is no hour.
        vec![(third, 9.2)],
        vec![(third, 8.2), (fourth, 8.3)],
    ];
    assert_eq!(values(&answers[0]), expected);
    let request = &server.received_requests().await.unwrap()[0];
    assert_eq!(
        request.url.query_pairs().map(|(name, value)| format!("{name}={value}")).collect::<Vec<_>>(),
        [
            "latitude=41.0000",
            "longitude=2.0000",
            "timezone=GMT",
            "timeformat=unixtime",
            "elevation=5",
            "hourly=temperature_2m",
            "models=icon_seamless_eps",
            "forecast_days=5"
        ]
    );
}

#[tokio::test]
async fn several_cells_come_in_their_order() {
    let server = MockServer::start().await;
    let numbered = |id: u64, celsius: f64| {
        let mut place = ensemble();
        place["location_id"] = json!(id);
        place["hourly"]["temperature_2m"] = json!([0.0, 0.0, celsius, celsius]);
        place
    };
    Mock::given(query_param("latitude", "41.0000,43.0000"))
        .and(query_param_is_missing("elevation"))
        .respond_with(ResponseTemplate::new(200).set_body_json(json!([numbered(0, 1.0), numbered(1, 3.0)])))
        .mount(&server)
        .await;
    Mock::given(query_param("latitude", "42.0000"))
        .and(query_param("elevation", "70"))
        .respond_with(ResponseTemplate::new(200).set_body_json(numbered(0, 2.0)))
        .mount(&server)
        .await;
    let cells = [cell("a", 41.0, None), cell("b", 42.0, Some(70.0)), cell("c", 43.0, None)];
    let answers = asked(&server, &cells).await.unwrap();
    let found: Vec<_> =
        answers.iter().map(|answer| (answer.cell.as_str(), answer.members[0][0].celsius)).collect();
    assert_eq!(found, [("a", 1.0), ("b", 2.0), ("c", 3.0)]);
    assert_eq!(asked(&server, &[]).await, Ok(vec![]));
}

#[tokio::test]
async fn a_member_without_a_number_ahead_is_left_out() {
    let mut body = ensemble();
    body["hourly"]["temperature_2m"] = json!([9.1, 8.8, null, null]);
    // What was not asked for is not read, whatever it is.
    body["hourly"]["temperature_2m_spread"] = json!("wide");
    body["hourly"]["temperature_2m_member001"] = json!([1e9]);
    let server = ensembles(ResponseTemplate::new(200).set_body_json(body)).await;
    let answers = asked(&server, &cells()[..1]).await.unwrap();
    assert_eq!(values(&answers[0]).iter().map(Vec::len).collect::<Vec<_>>(), [1, 2]);
}

#[tokio::test]
async fn ensembles_that_do_not_fit_give_nothing() {
    let whole = ensemble().to_string();
    let with = |pointer: &str, value: Value| {
        let mut body = ensemble();
        *body.pointer_mut(pointer).unwrap() = value;
        body.to_string()
    };
    let twice = whole.replacen("\"temperature_2m_member01\":[", "\"temperature_2m_member02\":[", 1);
    let (member, unit) = ("/hourly/temperature_2m_member01", "/hourly_units/temperature_2m_member01");
    let cases = [
        (whole[..whole.len() - 30].to_owned(), "not the JSON"),
        ("<html></html>".to_owned(), "web page"),
        (String::new(), "empty"),
        ("7".to_owned(), "not the JSON"),
        (json!([ensemble(), ensemble()]).to_string(), "2 places for 1"),
        (r#"{"error":true,"reason":"Out of sorts"}"#.to_owned(), "Out of sorts"),
        (twice, "`temperature_2m_member02` stands twice"),
        (whole.replacen("\"time\":[", "\"time\":[],\"time\":[", 1), "`time` stands twice"),
        (with("/hourly", json!({ "temperature_2m": [1.0] })), "missing field `time`"),
        (with("/hourly", json!({ "time": [1_657_584_000] })), "no member"),
        (with("/hourly", json!([[1_657_584_000]])), "times and temperatures by their names"),
        (with(member, json!([9.4, 9.3, 9.2])), "4 times with 3 values of temperature_2m_member01"),
        (with(member, json!([9.4, 9.3, 9.2, 9.1, 9.0])), "4 times with 5 values of temperature_2m_member01"),
        (with(member, json!([9.4, 9.3, 1e308, 9.1])), "outside -60 to 60"),
        (with(unit, json!("°F")), "temperature_2m_member01 in `°F`; expected °C"),
        (with("/hourly_units", json!({ "time": "unixtime" })), "expected °C"),
        (with("/hourly_units/time", json!("iso8601")), "expected unixtime"),
        (with("/hourly/time/1", json!(1_657_584_000)), "out of order"),
        (with("/hourly/time/3", json!(1_689_130_800)), "another than asked for"),
        (with("/hourly/time/0", json!(1_626_048_000)), "another than asked for"),
        (with("/hourly/time/0", json!(1.5)), "does not fit"),
    ];
    for (text, expected) in cases {
        let error = refused(body(&text)).await;
        assert!(error.to_string().contains(expected), "{text:.80}: {error}");
        assert_eq!(error.retry, Retry::At(NOW.plus(300)), "{error}");
    }
}

#[tokio::test]
async fn ensembles_that_are_refused_say_why() {
    let reason = |status: u16, words: &str| {
        ResponseTemplate::new(status).set_body_json(json!({ "error": true, "reason": words }))
    };
    let plan = "This API endpoint requires the API Professional or Enterprise plan";
    let cases = [
        (reason(403, plan), 3_600, plan),
        (reason(429, "Minutely API request limit exceeded."), 60, "asked too often"),
        (reason(429, "Too many").insert_header("retry-after", "7200"), 7_200, "asked too often"),
        (reason(503, "The service is overloaded"), 300, "overloaded"),
    ];
    for (answer, seconds, expected) in cases {
        let error = refused(answer).await;
        assert!(error.to_string().contains(expected), "{error}");
        assert_eq!(error.retry, Retry::At(NOW.plus(seconds)), "{error}");
    }
    let other = MockServer::start().await;
    Mock::given(everything()).respond_with(reason(200, "never asked")).mount(&other).await;
    let error = refused(ResponseTemplate::new(302).insert_header("location", other.uri())).await;
    assert!(matches!(error.cause, Cause::Redirected(_)), "{error}");
    assert!(other.received_requests().await.unwrap().is_empty());
    let many: Vec<_> = (0..=MOST_CELLS).map(|n| cell(&n.to_string(), 41.0, None)).collect();
    let error = asked(&other, &many).await.unwrap_err();
    assert_eq!(error.retry, Retry::Never, "{error}");
}

fn read(body: &[u8]) -> Option<Members> {
    let cells = cells();
    let read = super::super::ensemble::read(body, &[&cells[0]], (Instant::MIN, Instant::MAX), NOW);
    read.ok().map(|mut members| members.remove(0))
}

proptest! {
    #[test]
    fn no_body_is_a_panic(body in proptest::collection::vec(any::<u8>(), 0..400)) {
        read(&body);
    }

    #[test]
    fn no_change_of_a_good_body_is_a_panic(
        begin in any::<prop::sample::Index>(),
        length in 0_usize..40,
        put in prop_oneof!["[-0-9eE.\",:{}\\[\\]]{0,12}", "(null|true|1e308|-1e308|9223372036854775808)"],
    ) {
        if let Some(members) = read(&spliced(&ensemble(), begin, length, put)) {
            let mut hours = members.members.iter().flatten();
            prop_assert!(hours.all(|hour| hour.at > NOW && hour.celsius.abs() <= 60.0));
        }
    }
}

/// The feed with members, at a server that has both; the ensemble answers so.
async fn both(ensembles: ResponseTemplate) -> (MockServer, OpenMeteo) {
    let server = ensembles_and(ensembles).await;
    let uri = server.uri();
    let feed = feed_with(uri.clone(), |settings, _| {
        settings.ensemble_url = uri;
        settings.members = true;
    });
    (server, feed)
}

async fn ensembles_and(answer: ResponseTemplate) -> MockServer {
    let server = ensembles(answer).await;
    let one = place(None, json!([18.0, 18.5, 19.0, 19.5]));
    let forecast = ResponseTemplate::new(200).set_body_json(one);
    Mock::given(method("GET")).and(path("/v1/forecast")).respond_with(forecast).mount(&server).await;
    server
}

#[tokio::test]
async fn members_come_along_four_times_a_day() {
    let (server, feed) = both(ResponseTemplate::new(200).set_body_json(ensemble())).await;
    let mut cell = cells()[0].clone();
    assert_eq!(feed.cost(std::slice::from_ref(&cell), NOW), 5, "one for the place, four for forty members");
    let fetched = feed.fetch(std::slice::from_ref(&cell), NOW).await.unwrap().remove(0);
    assert_eq!(fetched.members.as_ref().map(Vec::len), Some(3));
    assert_eq!(fetched.lacks, None);
    cell.memory = fetched.memory;
    let later = NOW.plus(MEMBERS_EVERY - 1);
    assert_eq!(feed.cost(std::slice::from_ref(&cell), later), 1);
    assert!(feed.wants_members(&cell, later.plus(1)));
    let again = feed.fetch(std::slice::from_ref(&cell), NOW.plus(60)).await.unwrap().remove(0);
    assert_eq!((again.members, again.memory), (None, cell.memory));
    assert_eq!(server.received_requests().await.unwrap().len(), 3);
}

#[tokio::test]
async fn the_rest_stands_when_members_cannot_be_had() {
    let (_server, feed) = both(ResponseTemplate::new(503)).await;
    let mut cell = cells()[0].clone();
    let fetched = feed.fetch(std::slice::from_ref(&cell), NOW).await.unwrap().remove(0);
    assert!(!fetched.readings.is_empty());
    assert_eq!(fetched.members, None);
    assert!(fetched.lacks.unwrap().contains("503"));
    cell.memory = fetched.memory;
    assert!(!feed.wants_members(&cell, NOW.plus(MEMBERS_AGAIN - 1)), "no storm");
    assert!(feed.wants_members(&cell, NOW.plus(MEMBERS_AGAIN)));
}
