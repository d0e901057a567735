use super::*;

/// 2026-01-15, long after the days asked for.
const LATER: Instant = Instant(1_768_435_200);

fn at(text: &str) -> Instant {
    Instant::parse(text).unwrap()
}

fn archived() -> Value {
    place(None, json!([20.0, 20.1, 19.5, null]))
}

async fn archives(answer: ResponseTemplate) -> MockServer {
    let server = MockServer::start().await;
    Mock::given(method("GET")).and(path("/v1/archive")).respond_with(answer).mount(&server).await;
    server
}

async fn asked(
    server: &MockServer,
    from: &str,
    to: &str,
    now: Instant,
) -> Result<Vec<(i64, f64)>, FeedError> {
    let uri = server.uri();
    let feed = feed_with("http://127.0.0.1:9".to_owned(), |settings, _| settings.archive_url = uri);
    let cell = &cells()[0];
    let sent: Box<dyn Future<Output = _> + Send> = Box::new(feed.archive(cell, at(from), at(to), now));
    let readings: Vec<model::series::Reading> = Box::into_pin(sent).await?;
    Ok(readings.iter().map(|reading| (reading.at.0, reading.celsius)).collect())
}

async fn refused(answer: ResponseTemplate) -> FeedError {
    asked(&archives(answer).await, "2022-07-12T00:00:00Z", "2022-07-12T23:00:00Z", LATER).await.unwrap_err()
}

#[tokio::test]
async fn whole_days_are_asked_for_and_the_stretch_is_kept() {
    let server = archives(ResponseTemplate::new(200).set_body_json(archived())).await;
    let readings = asked(&server, "2022-07-12T01:00:00Z", "2022-07-13T02:00:00Z", LATER).await.unwrap();
    assert_eq!(readings, [(1_657_587_600, 20.1), (1_657_591_200, 19.5)], "a null is no reading");
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
            "start_date=2022-07-12",
            "end_date=2022-07-13"
        ]
    );
    let one = asked(&server, "2022-07-12T02:00:00Z", "2022-07-12T02:00:00Z", LATER).await.unwrap();
    assert_eq!(one, [(1_657_591_200, 19.5)]);
}

#[tokio::test]
async fn what_lies_ahead_has_no_archive() {
    let server = archives(ResponseTemplate::new(200).set_body_json(archived())).await;
    let readings = asked(&server, "2022-07-12T00:00:00Z", "2022-07-20T00:00:00Z", NOW).await.unwrap();
    assert_eq!(readings, [(1_657_584_000, 20.0), (1_657_587_600, 20.1)]);
    let query = server.received_requests().await.unwrap()[0].url.query().unwrap().to_owned();
    assert!(query.ends_with("end_date=2022-07-12"), "{query}");
}

#[tokio::test]
async fn what_cannot_be_asked_is_never_sent() {
    let server = archives(ResponseTemplate::new(200).set_body_json(archived())).await;
    let stretches = [
        ("2022-07-12T02:00:00Z", "2022-07-12T01:00:00Z"),
        ("2026-02-01T00:00:00Z", "2026-02-02T00:00:00Z"),
        ("2024-01-01T00:00:00Z", "2025-01-01T00:00:00Z"),
        ("1900-01-01T00:00:00Z", "2025-01-01T00:00:00Z"),
    ];
    for (from, to) in stretches {
        let error = asked(&server, from, to, LATER).await.unwrap_err();
        assert!(matches!(error.cause, Cause::Request(_)), "{error}");
        assert_eq!(error.retry, Retry::Never);
    }
    let feed = feed_with("http://127.0.0.1:9".to_owned(), |settings, _| settings.archive_url = server.uri());
    for (from, to) in [(i64::MIN, i64::MAX), (i64::MIN, 0), (0, i64::MIN)] {
        let error = feed.archive(&cells()[0], Instant(from), Instant(to), Instant::MAX).await.unwrap_err();
        assert!(matches!(error.cause, Cause::Request(_)), "{error}");
    }
    let error =
        feed.archive(&cell("pole", 91.0, None), at("2022-07-12T00:00:00Z"), NOW, NOW).await.unwrap_err();
    assert!(error.to_string().contains("pole"), "{error}");
    assert!(server.received_requests().await.unwrap().is_empty());
    // A leap year is asked for at once; here the answer is one of other days.
    let error = asked(&server, "2024-01-01T00:00:00Z", "2024-12-31T23:00:00Z", LATER).await.unwrap_err();
    assert!(error.to_string().contains("another than asked for"), "{error}");
}

#[tokio::test]
async fn archives_that_do_not_fit_give_nothing() {
    let whole = archived().to_string();
    let with = |pointer: &str, value: Value| {
        let mut body = archived();
        *body.pointer_mut(pointer).unwrap() = value;
        body.to_string()
    };
    let cases = [
        (whole[..whole.len() / 2].to_owned(), "not the JSON"),
        ("<html></html>".to_owned(), "web page"),
        (String::new(), "empty"),
        (json!([]).to_string(), "0 places for 1"),
        (json!([archived(), archived()]).to_string(), "2 places for 1"),
        (r#"{"error":true,"reason":"Out of sorts"}"#.to_owned(), "Out of sorts"),
        (with("/hourly/temperature_2m", json!([1.0])), "4 times with 1 temperatures"),
        (with("/hourly/temperature_2m/1", json!(1e308)), "outside -60 to 60"),
        (with("/hourly_units/temperature_2m", json!("°F")), "expected unixtime and °C"),
        (with("/hourly/time/3", json!(1_689_130_800)), "another than asked for"),
        (with("/hourly/time/3", json!(1_657_670_400)), "another than asked for"),
        (
            whole.replacen("\"hourly\":", "\"hourly\":{\"time\":[],\"temperature_2m\":[]},\"hourly\":", 1),
            "duplicate field",
        ),
    ];
    for (text, expected) in cases {
        let error = refused(body(&text)).await;
        assert!(error.to_string().contains(expected), "{text:.80}: {error}");
        assert_eq!(error.retry, Retry::At(LATER.plus(300)), "{error}");
    }
    let words = "Parameter 'start_date' is out of allowed range from 1940-01-01 to 2026-01-15";
    let error =
        refused(ResponseTemplate::new(400).set_body_json(json!({ "error": true, "reason": words }))).await;
    assert!(error.to_string().contains(words), "{error}");
    let limit = ResponseTemplate::new(429).set_body_string("Hourly limit");
    assert_eq!(refused(limit).await.retry, Retry::At(LATER.plus(3_600)));
}

proptest! {
    #[test]
    fn no_body_is_a_panic(
        body in proptest::collection::vec(any::<u8>(), 0..400),
        begin in any::<prop::sample::Index>(),
        length in 0_usize..40,
        put in prop_oneof!["[-0-9eE.\",:{}\\[\\]]{0,12}", "(null|true|1e308|-1e308|9223372036854775808)"],
    ) {
        let within = (Instant(1_657_584_000), Instant(1_657_591_200));
        let _ = super::super::archive::read(&body, within);
        if let Ok(readings) = super::super::archive::read(&spliced(&archived(), begin, length, put), within) {
            prop_assert!(readings.iter().all(|hour| within.0 <= hour.at && hour.at <= within.1));
        }
    }
}
