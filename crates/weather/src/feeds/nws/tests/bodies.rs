//! Bodies of the shape that the provider documents.

use serde_json::{Value, json};

/// `/points/…`.
pub(super) fn point(office: &str, x: u32, y: u32) -> Value {
    let square = format!("https://api.weather.gov/gridpoints/{office}/{x},{y}");
    json!({
        "@context": ["https://geojson.org/geojson-ld/geojson-context.jsonld"],
        "id": "https://api.weather.gov/points/40.7,-74.006",
        "type": "Feature",
        "geometry": { "type": "Point", "coordinates": [-74.006, 40.7] },
        "properties": {
            "cwa": office, "gridId": office, "gridX": x, "gridY": y,
            "forecast": format!("{square}/forecast"), "forecastHourly": format!("{square}/forecast/hourly"),
            "forecastGridData": square, "observationStations": format!("{square}/stations"),
            "timeZone": "America/New_York",
        },
    })
}

/// `/gridpoints/…/stations`, not in the order of their distance.
pub(super) fn stations() -> Value {
    let station = |id: &str, east: f64, north: f64| {
        json!({
            "id": format!("https://api.weather.gov/stations/{id}"),
            "type": "Feature",
            "geometry": { "type": "Point", "coordinates": [east, north] },
            "properties": {
                "elevation": { "unitCode": "wmoUnit:m", "value": 3.0 },
                "stationIdentifier": id, "name": id, "timeZone": "America/New_York",
            },
        })
    };
    json!({
        "type": "FeatureCollection",
        "features": [
            station("KFAR", -73.5, 40.7),
            station("KNEA", -74.0, 40.75),
            station("KMID", -74.2, 40.7),
            station("KOUT", -72.0, 42.0),
        ],
    })
}

/// `/gridpoints/…` with these layers.
pub(super) fn grid(layers: Value) -> Value {
    let mut properties = json!({
        "@id": "https://api.weather.gov/gridpoints/OKX/33,35",
        "updateTime": "2026-05-01T11:12:33+00:00",
        "validTimes": "2026-05-01T05:00:00+00:00/P7DT20H",
        "elevation": { "unitCode": "wmoUnit:m", "value": 100.0 },
        "weather": { "values": [{ "validTime": "2026-05-01T05:00:00+00:00/PT1H", "value": [] }] },
    });
    for (name, layer) in layers.as_object().unwrap() {
        properties[name] = layer.clone();
    }
    json!({ "type": "Feature", "geometry": null, "properties": properties })
}

/// A layer of temperatures in °C.
pub(super) fn temperature(values: Value) -> Value {
    json!({ "uom": "wmoUnit:degC", "values": values })
}

/// `/gridpoints/…/forecast/hourly` with this temperature from 13:00 UTC.
pub(super) fn hourly(temperature: Value, unit: Option<&str>) -> Value {
    let mut period = json!({
        "number": 1, "name": "", "startTime": "2026-05-01T09:00:00-04:00", "endTime": "2026-05-01T10:00:00-04:00",
        "isDaytime": true, "temperature": temperature, "temperatureTrend": "", "windSpeed": "10 mph",
        "dewpoint": { "unitCode": "wmoUnit:degC", "value": 3.888_888_888_888_889 },
    });
    if let Some(unit) = unit {
        period["temperatureUnit"] = json!(unit);
    }
    json!({
        "type": "Feature",
        "properties": {
            "units": "us", "generatedAt": "2026-05-01T11:07:45+00:00", "updateTime": "2026-05-01T10:50:36+00:00",
            "elevation": { "unitCode": "wmoUnit:m", "value": 100.0 }, "periods": [period],
        },
    })
}

/// One observation with what was measured beside.
pub(super) fn observation(station: &str, at: &str, measured: Value) -> Value {
    let mut properties = json!({
        "elevation": { "unitCode": "wmoUnit:m", "value": 3.0 },
        "station": format!("https://api.weather.gov/stations/{station}"),
        "timestamp": at, "rawMessage": "", "textDescription": "Clear",
        "windDirection": { "unitCode": "wmoUnit:degree_(angle)", "value": 340, "qualityControl": "V" },
        "cloudLayers": [{ "base": { "unitCode": "wmoUnit:m", "value": 370 }, "amount": "BKN" }],
    });
    for (name, value) in measured.as_object().unwrap() {
        properties[name] = value.clone();
    }
    json!({
        "id": format!("https://api.weather.gov/stations/{station}/observations/{at}"),
        "type": "Feature",
        "geometry": { "type": "Point", "coordinates": [-74.0, 40.75] },
        "properties": properties,
    })
}

/// `/stations/…/observations`: times, °C and letters of the check.
pub(super) fn observations(station: &str, told: &[(&str, Value, &str)]) -> Value {
    let features: Vec<Value> = told
        .iter()
        .map(|(at, value, letter)| {
            let quantity = json!({ "unitCode": "wmoUnit:degC", "value": value, "qualityControl": letter });
            observation(station, at, json!({ "temperature": quantity }))
        })
        .collect();
    json!({ "type": "FeatureCollection", "features": features })
}
