//! Bodies of the size and shape that providers answer with, made up. Every
//! temperature is [`CELSIUS`], so that it can be found in the text.

use model::time::{HOUR, Instant};
use serde_json::{Value, json};

/// The one temperature, °C; exact in binary.
pub const CELSIUS: f64 = 11.25;

/// Some number with one decimal, other ones for other `n`.
fn some(n: i64, from: i64, tenths: i64) -> f64 {
    from as f64 + ((n * 7_919).rem_euclid(tenths)) as f64 / 10.0
}

/// Open-Meteo: so many places with six variables from `begin` on.
pub fn open_meteo(places: usize, begin: Instant, hours: i64) -> String {
    let times: Vec<i64> = (0..hours).map(|n| begin.0 + n * HOUR).collect();
    let column = |from: i64, tenths: i64| (0..hours).map(|n| some(n, from, tenths)).collect::<Vec<_>>();
    let place = |number: usize| {
        let mut place = json!({
            "latitude": 40.7 + number as f64, "longitude": 7.625, "generationtime_ms": 0.105,
            "utc_offset_seconds": 0, "timezone": "GMT", "timezone_abbreviation": "GMT", "elevation": 38.0,
            "hourly_units": {
                "time": "unixtime", "temperature_2m": "°C", "relative_humidity_2m": "%", "dew_point_2m": "°C",
                "precipitation": "mm", "wind_speed_10m": "m/s", "wind_gusts_10m": "m/s",
            },
            "hourly": {
                "time": times, "temperature_2m": vec![CELSIUS; times.len()],
                "relative_humidity_2m": (0..hours).map(|n| n % 100).collect::<Vec<_>>(),
                "dew_point_2m": column(-2, 90), "precipitation": column(0, 30),
                "wind_speed_10m": column(0, 120), "wind_gusts_10m": column(3, 200),
            },
        });
        if number > 0 {
            place["location_id"] = json!(number);
        }
        place
    };
    match places {
        1 => place(0).to_string(),
        _ => Value::from((0..places).map(place).collect::<Vec<_>>()).to_string(),
    }
}

/// Bright Sky: hours from `begin` on, those until `now` observed.
pub fn bright_sky(begin: Instant, hours: i64, now: Instant) -> String {
    let row = |n: i64| {
        let at = begin.plus(n * HOUR);
        json!({
            "timestamp": at.to_string().replace('Z', "+00:00"), "source_id": if at <= now { 6007 } else { 2252 },
            "precipitation": some(n, 0, 30), "pressure_msl": some(n, 1_000, 300), "sunshine": some(n, 0, 600),
            "temperature": CELSIUS, "wind_direction": n % 360, "wind_speed": some(n, 2, 300),
            "cloud_cover": n % 100, "dew_point": some(n, -2, 90), "relative_humidity": n % 100,
            "visibility": 40_000 + n, "wind_gust_direction": n % 360, "wind_gust_speed": some(n, 9, 500),
            "condition": "dry", "precipitation_probability": null, "precipitation_probability_6h": null,
            "solar": 0.153, "fallback_source_ids": {
                "pressure_msl": 6008, "wind_gust_direction": 6008, "wind_gust_speed": 6008, "visibility": 6008,
            },
            "icon": "partly-cloudy-night",
        })
    };
    let source = |id: i64, kind: &str| {
        json!({
            "id": id, "dwd_station_id": "01766", "observation_type": kind, "lat": 52.1344, "lon": 7.6969,
            "height": 47.8, "station_name": "Münster/Osnabrück", "wmo_station_id": "10315",
            "first_record": "2010-01-01T00:00:00+00:00", "last_record": "2026-05-01T10:00:00+00:00",
            "distance": 6_600.0,
        })
    };
    json!({
        "weather": (0..hours).map(row).collect::<Vec<_>>(),
        "sources": [source(6007, "synop"), source(6008, "current"), source(2252, "forecast")],
    })
    .to_string()
}

/// MET Norway: 55 hours from `begin` on, then steps of six hours.
pub fn met_norway(begin: Instant) -> String {
    let hours = (0..55).chain((0..32).map(|n| 60 + 6 * n));
    let step = |n: i64| {
        let (rain, cloudy) = (some(n, 0, 30), json!({ "symbol_code": "partlycloudy_day" }));
        let mut data = json!({
            "instant": { "details": {
                "air_pressure_at_sea_level": some(n, 1_000, 300), "air_temperature": CELSIUS,
                "cloud_area_fraction": some(n, 0, 1_000), "relative_humidity": some(n, 20, 800),
                "wind_from_direction": some(n, 0, 3_599), "wind_speed": some(n, 0, 120),
            } },
            "next_12_hours": { "summary": cloudy, "details": {} },
            "next_6_hours": { "summary": cloudy, "details": { "precipitation_amount": rain } },
        });
        if n < 55 {
            data["next_1_hours"] = json!({ "summary": cloudy, "details": { "precipitation_amount": rain } });
        }
        json!({ "time": begin.plus(n * HOUR).to_string(), "data": data })
    };
    json!({
        "type": "Feature", "geometry": { "type": "Point", "coordinates": [7.6, 52.1235, 60] },
        "properties": {
            "meta": { "updated_at": begin.plus(-HOUR).to_string(), "units": {
                "air_pressure_at_sea_level": "hPa", "air_temperature": "celsius", "cloud_area_fraction": "%",
                "precipitation_amount": "mm", "relative_humidity": "%", "wind_from_direction": "degrees",
                "wind_speed": "m/s",
            } },
            "timeseries": hours.map(step).collect::<Vec<_>>(),
        },
    })
    .to_string()
}

/// Layers of a square of the National Weather Service, beside the one of
/// temperature, with their units.
const LAYERS: &[(&str, &str)] = &[
    ("dewpoint", "wmoUnit:degC"),
    ("maxTemperature", "wmoUnit:degC"),
    ("minTemperature", "wmoUnit:degC"),
    ("relativeHumidity", "wmoUnit:percent"),
    ("apparentTemperature", "wmoUnit:degC"),
    ("wetBulbGlobeTemperature", "wmoUnit:degC"),
    ("heatIndex", "wmoUnit:degC"),
    ("windChill", "wmoUnit:degC"),
    ("skyCover", "wmoUnit:percent"),
    ("windDirection", "wmoUnit:degree_(angle)"),
    ("windSpeed", "wmoUnit:km_h-1"),
    ("windGust", "wmoUnit:km_h-1"),
    ("probabilityOfPrecipitation", "wmoUnit:percent"),
    ("quantitativePrecipitation", "wmoUnit:mm"),
    ("snowfallAmount", "wmoUnit:mm"),
    ("visibility", "wmoUnit:m"),
    ("transportWindSpeed", "wmoUnit:km_h-1"),
    ("mixingHeight", "wmoUnit:m"),
    ("lightningActivityLevel", ""),
    ("twentyFootWindSpeed", "wmoUnit:km_h-1"),
];

/// The National Weather Service: a square's layers, each with so many hours from
/// `begin` on, written over many lines as the service does.
pub fn nws_grid(begin: Instant, hours: i64) -> String {
    let layer = |uom: &str, value: &dyn Fn(i64) -> f64| {
        let stretch = |n: i64| {
            let at = begin.plus(n * HOUR).to_string().replace('Z', "+00:00");
            json!({ "validTime": format!("{at}/PT1H"), "value": value(n) })
        };
        json!({ "uom": uom, "values": (0..hours).map(stretch).collect::<Vec<_>>() })
    };
    let mut properties = json!({
        "@id": "https://api.weather.gov/gridpoints/OKX/33,35", "@type": "wx:Gridpoint",
        "updateTime": begin.to_string(), "validTimes": format!("{begin}/P7DT20H"),
        "elevation": { "unitCode": "wmoUnit:m", "value": 39.928_8 },
        "forecastOffice": "https://api.weather.gov/offices/OKX", "gridId": "OKX", "gridX": "33", "gridY": "35",
        "temperature": layer("wmoUnit:degC", &|_| CELSIUS),
    });
    for (name, uom) in LAYERS {
        properties[*name] = layer(uom, &|n| some(n, 0, 400) / 1.8);
    }
    let corners = json!([[-74.0, 40.7], [-74.0, 40.73], [-74.03, 40.73], [-74.03, 40.7], [-74.0, 40.7]]);
    let body = json!({
        "@context": ["https://geojson.org/geojson-ld/geojson-context.jsonld"],
        "id": "https://api.weather.gov/gridpoints/OKX/33,35", "type": "Feature",
        "geometry": { "type": "Polygon", "coordinates": [corners] }, "properties": properties,
    });
    format!("{body:#}")
}

/// The same of observations of a station, one each five minutes until `last`.
pub fn nws_observations(last: Instant, count: i64) -> String {
    let told = |unit: &str, value: Value| json!({ "unitCode": unit, "value": value, "qualityControl": "V" });
    let one = |n: i64| {
        let at = last.plus(-300 * n).to_string().replace('Z', "+00:00");
        json!({
            "id": format!("https://api.weather.gov/stations/KNEA/observations/{at}"), "type": "Feature",
            "geometry": { "type": "Point", "coordinates": [-74.0, 40.75] },
            "properties": {
                "@id": format!("https://api.weather.gov/stations/KNEA/observations/{at}"),
                "@type": "wx:ObservationStation", "elevation": { "unitCode": "wmoUnit:m", "value": 3 },
                "station": "https://api.weather.gov/stations/KNEA", "stationId": "KNEA", "stationName": "Near",
                "timestamp": at, "rawMessage": "KNEA 011151Z 34008KT 10SM FEW250 11/02 A3012 RMK AO2 SLP198",
                "textDescription": "Mostly Clear",
                "icon": "https://api.weather.gov/icons/land/day/few?size=medium", "presentWeather": [],
                "temperature": told("wmoUnit:degC", json!(CELSIUS)),
                "dewpoint": told("wmoUnit:degC", json!(some(n, -2, 90))),
                "windDirection": told("wmoUnit:degree_(angle)", json!(n % 360)),
                "windSpeed": told("wmoUnit:km_h-1", json!(some(n, 0, 400))),
                "windGust": told("wmoUnit:km_h-1", json!(null)),
                "barometricPressure": told("wmoUnit:Pa", json!(101_900 + n)),
                "seaLevelPressure": told("wmoUnit:Pa", json!(101_980 + n)),
                "visibility": told("wmoUnit:m", json!(16_093.44)),
                "maxTemperatureLast24Hours": { "unitCode": "wmoUnit:degC", "value": null },
                "minTemperatureLast24Hours": { "unitCode": "wmoUnit:degC", "value": null },
                "precipitationLastHour": told("wmoUnit:mm", json!(some(n, 0, 30))),
                "precipitationLast3Hours": told("wmoUnit:mm", json!(null)),
                "precipitationLast6Hours": told("wmoUnit:mm", json!(null)),
                "relativeHumidity": told("wmoUnit:percent", json!(some(n, 30, 600))),
                "windChill": told("wmoUnit:degC", json!(null)),
                "heatIndex": told("wmoUnit:degC", json!(null)),
                "cloudLayers": [{ "base": { "unitCode": "wmoUnit:m", "value": 7_620 }, "amount": "FEW" }],
            },
        })
    };
    let body = json!({
        "@context": ["https://geojson.org/geojson-ld/geojson-context.jsonld"], "type": "FeatureCollection",
        "features": (0..count).map(one).collect::<Vec<_>>(),
    });
    format!("{body:#}")
}
