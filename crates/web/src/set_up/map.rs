//! A plain map to point at: a picture of the land, and the place under a click on it. A
//! first click comes closer, so that the last one is exact to some kilometres.

use axum::extract::Query;
use axum::http::{HeaderValue, header};
use axum::response::{IntoResponse, Response};
use charts::map::Stretch;

use crate::fields::Sent;

/// Pixels of the picture, on every screen the same: a click is counted in them.
pub(crate) const PIXELS: (u32, u32) = (320, 160);
/// Degrees across at each step.
const ACROSS: [f64; 3] = [360.0, 60.0, 10.0];

/// What the picture shows.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Window {
    step: usize,
    latitude: f64,
    longitude: f64,
}

impl Window {
    /// The whole world.
    pub(crate) const WORLD: Window = Window { step: 0, latitude: 0.0, longitude: 0.0 };

    /// Around a place, at a step.
    pub(crate) fn around(latitude: f64, longitude: f64, step: usize) -> Window {
        let step = step.min(ACROSS.len() - 1);
        if step == 0 {
            return Window::WORLD;
        }
        let half = ACROSS[step] / 2.0;
        Window {
            step,
            latitude: latitude.clamp(half / 2.0 - 90.0, 90.0 - half / 2.0),
            longitude: longitude.clamp(half - 180.0, 180.0 - half),
        }
    }

    /// From the fields of a form or an address; what does not read is the world.
    pub(crate) fn of(sent: &Sent) -> Window {
        let number = |name| sent.text(name).and_then(|text| text.parse::<f64>().ok());
        let within = |limit: f64| move |number: &f64| number.abs() <= limit;
        let step = sent.text("map_step").and_then(|text| text.parse().ok());
        let latitude = number("map_latitude").filter(within(90.0));
        match (latitude, number("map_longitude").filter(within(180.0)), step) {
            (Some(latitude), Some(longitude), Some(step)) => Window::around(latitude, longitude, step),
            _ => Window::WORLD,
        }
    }

    /// Its fields.
    pub(crate) fn fields(self) -> [(&'static str, String); 3] {
        [
            ("map_step", self.step.to_string()),
            ("map_latitude", format!("{:.4}", self.latitude)),
            ("map_longitude", format!("{:.4}", self.longitude)),
        ]
    }

    /// Address of its picture.
    pub(crate) fn picture(self) -> String {
        let pairs = self.fields().map(|(name, value)| format!("{name}={value}"));
        format!("/map.svg?{}", pairs.join("&"))
    }

    /// Latitude and longitude under a click, to what a pixel is worth.
    pub(crate) fn under(self, x: f64, y: f64) -> (f64, f64) {
        let a_pixel = ACROSS[self.step] / f64::from(PIXELS.0);
        let longitude = self.longitude + (x - f64::from(PIXELS.0) / 2.0) * a_pixel;
        let latitude = self.latitude - (y - f64::from(PIXELS.1) / 2.0) * a_pixel;
        let rounded = |degrees: f64| (degrees * 100.0).round() / 100.0;
        (rounded(latitude), rounded(longitude))
    }

    /// The picture after a click there.
    pub(crate) fn closer(self, latitude: f64, longitude: f64) -> Window {
        Window::around(latitude, longitude, self.step + 1)
    }

    /// Whether a click on it is as exact as the map can be.
    pub(crate) fn is_closest(self) -> bool {
        self.step + 1 == ACROSS.len()
    }

    fn drawn(self) -> String {
        let across = ACROSS[self.step];
        let stretch = Stretch::around(self.latitude, self.longitude, across, across / 2.0);
        charts::map::plain(&stretch, PIXELS.0, PIXELS.1)
    }
}

/// The picture. It shows nothing of anybody's, so it is open to all.
pub(crate) async fn picture(Query(asked): Query<Sent>) -> Response {
    let kind = HeaderValue::from_static("image/svg+xml");
    ([(header::CONTENT_TYPE, kind)], Window::of(&asked).drawn()).into_response()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn three_clicks_lead_to_within_some_kilometres() {
        // Newark, 40.69 north, 74.17 west.
        let (latitude, longitude) = (40.6925, -74.1687);
        let mut window = Window::WORLD;
        for most in [0.6, 0.1, 0.02] {
            let a_pixel = ACROSS[window.step] / 320.0;
            let x = ((longitude - window.longitude) / a_pixel + 160.0).round();
            let y = ((window.latitude - latitude) / a_pixel + 80.0).round();
            let (north, east) = window.under(x, y);
            assert!((north - latitude).abs() <= most && (east - longitude).abs() <= most, "{north} {east}");
            window = window.closer(north, east);
        }
        assert!(window.is_closest());
    }

    #[test]
    fn a_window_keeps_to_the_world_and_survives_its_own_address() {
        let edge = Window::around(89.0, -179.0, 1);
        assert_eq!((edge.latitude, edge.longitude), (75.0, -150.0));
        let sent: Sent = edge.fields().map(|(name, value)| (name.to_owned(), value)).into_iter().collect();
        assert_eq!(Window::of(&sent), edge);
        let mut broken = sent;
        broken.set("map_latitude", "NaN");
        assert_eq!(Window::of(&broken), Window::WORLD);
        assert!(Window::around(0.0, 0.0, 99).is_closest());
    }

    #[test]
    fn the_picture_has_land_and_lines_with_their_degrees() {
        let drawn = Window::around(40.0, -74.0, 2).drawn();
        assert!(
            drawn.contains("viewBox=\"-790.00 -425.00 100.00 50.00\"") && drawn.contains(">-74</text>"),
            "{}",
            &drawn[..400]
        );
        assert!(drawn.contains(" d=\"M") && drawn.len() < 60_000);
    }
}
