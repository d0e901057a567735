use model::air::Air;

use super::*;

async fn air_of(body: &Value) -> Vec<Air> {
    let server = serving(ResponseTemplate::new(200).set_body_json(body)).await;
    feed(&server).fetch(&cells()[..1], NOW).await.unwrap().remove(0).air
}

#[tokio::test]
async fn the_rest_of_the_air_comes_along() {
    let expected = [
        Air {
            at: Instant(1_657_584_000),
            wind_m_s: Some(2.5),
            gust_m_s: Some(6.6),
            rain_mm: Some(0.0),
            humidity_percent: Some(48.0),
            dew_point_c: Some(8.5),
        },
        Air {
            at: Instant(1_657_587_600),
            wind_m_s: Some(3.0),
            // What no air has is left out, and the rest kept.
            gust_m_s: None,
            rain_mm: Some(0.4),
            humidity_percent: Some(50.0),
            dew_point_c: Some(9.0),
        },
        Air {
            gust_m_s: Some(7.0),
            rain_mm: Some(0.0),
            dew_point_c: Some(9.5),
            ..Air::at(Instant(1_657_591_200))
        },
    ];
    assert_eq!(air_of(&airy()).await, expected);
    // What is missing tells nothing, with its unit or without.
    let mut some = airy();
    for name in ["relative_humidity_2m", "dew_point_2m", "wind_speed_10m", "wind_gusts_10m"] {
        some["hourly"].as_object_mut().unwrap().remove(name);
    }
    some["hourly_units"].as_object_mut().unwrap().remove("precipitation");
    let rain: Vec<_> = air_of(&some).await.into_iter().map(|air| (air.rain_mm, air.wind_m_s)).collect();
    assert_eq!(rain, [(Some(0.0), None), (Some(0.4), None), (Some(0.0), None)]);
    assert_eq!(air_of(&place(None, json!([1.0, 2.0, 3.0, 4.0]))).await, []);
}

#[tokio::test]
async fn air_in_other_units_or_lengths_gives_nothing() {
    let cases = [
        ("/hourly_units/relative_humidity_2m", json!("1"), "humidities in `1`; expected %"),
        ("/hourly_units/dew_point_2m", json!("°F"), "dew points in `°F`; expected °C"),
        ("/hourly_units/precipitation", json!("inch"), "precipitation in `inch`; expected mm"),
        ("/hourly_units/wind_speed_10m", json!("km/h"), "wind speeds in `km/h`; expected m/s"),
        ("/hourly_units/wind_gusts_10m", json!("kn"), "gusts in `kn`; expected m/s"),
        ("/hourly/wind_speed_10m", json!([1.0]), "4 times with 1 wind speeds"),
        ("/hourly/precipitation", json!([1.0, 1.0, 1.0, 1.0, 1.0]), "4 times with 5 precipitation"),
        ("/hourly/dew_point_2m", json!("dry"), "does not fit"),
    ];
    for (pointer, value, expected) in cases {
        let mut body = airy();
        *body.pointer_mut(pointer).unwrap() = value;
        let server = serving(ResponseTemplate::new(200).set_body_json(body)).await;
        let error = feed(&server).fetch(&cells()[..1], NOW).await.unwrap_err();
        assert!(matches!(error.cause, Cause::Unfit(_)) && error.to_string().contains(expected), "{error}");
    }
}
