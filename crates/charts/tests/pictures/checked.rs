//! What holds for every picture, and odds to draw.

use charts::weather::Seen;
use model::odds::Odds;
use model::plan::MarkBound;
use model::round::{Ask, MarkTime, Round, Sprayer, Stop, Ways, Window, plan};
use model::series::{Reading, Series};
use model::time::{HOUR, Instant};
use roxmltree::{Document, Node};

/// A moment of these tests.
pub fn at(text: &str) -> Instant {
    Instant::parse(text).expect("tests write their times in RFC 3339")
}

/// Odds with dots each so many hours apart, the first `first` hours after `from`, the
/// last `never` of them not within the forecast, which reaches ten days.
pub fn odds(from: Instant, first: f64, apart: f64, never: usize) -> Odds {
    let after = |hours: f64| from.plus((hours * HOUR as f64) as i64);
    let dots: Vec<Option<Instant>> =
        (0..20).map(|n| (n < 20 - never).then(|| after(first + apart * n as f64))).collect();
    let middle = |n: usize| Some(dots[n - 1]?.plus(dots[n]?.since(dots[n - 1]?) / 2));
    Odds {
        early: middle(2),
        likely: middle(10),
        late: middle(18).filter(|_| never < 2),
        never: never as f64 / 20.0,
        horizon: from.plus(240 * HOUR),
        ends: dots[0].map(|first| (first, dots.iter().flatten().copied().max().unwrap_or(first))),
        dots,
        draws: 1_000,
        weighs: None,
    }
}

/// All that the texts of an SVG say.
pub fn texts(svg: &str) -> Vec<String> {
    let document = Document::parse(svg).expect("well-formed XML");
    let says = |node: &Node<'_, '_>| ["title", "desc", "text"].contains(&node.tag_name().name());
    document.descendants().filter(says).filter_map(|node| node.text().map(str::to_owned)).collect()
}

/// Elements of a name.
pub fn count(svg: &str, name: &str) -> usize {
    Document::parse(svg)
        .expect("well-formed XML")
        .descendants()
        .filter(|node| node.has_tag_name(name))
        .count()
}

/// Every number that places something; of a path those after its first point are steps.
fn numbers(document: &Document<'_>) -> Vec<f64> {
    const PLACES: [&str; 13] =
        ["x", "y", "x1", "x2", "y1", "y2", "cx", "cy", "r", "width", "height", "points", "d"];
    let places = document.descendants().flat_map(|node| node.attributes());
    let places = places.filter(|attribute| PLACES.contains(&attribute.name()));
    places
        .flat_map(|attribute| {
            // A minus begins a number where a path leaves the space out.
            let apart = attribute.value().replace('-', " -");
            let parts = apart.split(|c: char| c != '.' && c != '-' && !c.is_ascii_digit());
            let parts: Vec<String> = parts.filter(|part| !part.is_empty()).map(str::to_owned).collect();
            assert!(!attribute.value().contains("NaN") && !attribute.value().contains("inf"));
            parts
        })
        .map(|number| number.parse().expect("a coordinate is a number"))
        .collect()
}

/// Checks what holds for every picture that stands by itself.
pub fn sound(svg: &str) {
    let document = Document::parse(svg).expect("well-formed XML");
    let root = document.root_element();
    assert_eq!(root.attribute("role"), Some("img"));
    let first: Vec<&str> =
        root.children().filter(Node::is_element).take(2).map(|node| node.tag_name().name()).collect();
    assert_eq!(first, ["title", "desc"]);
    plain(svg);
}

/// Checks what holds for every picture, those too that are for the eye alone.
pub fn plain(svg: &str) {
    let document = Document::parse(svg).expect("well-formed XML");
    let root = document.root_element();
    for node in root.descendants() {
        assert!(!matches!(node.tag_name().name(), "script" | "style" | "image" | "use" | "foreignObject"));
        let fine = |name: &str| !name.starts_with("on") && !["id", "class", "style", "font"].contains(&name);
        assert!(node.attributes().all(|attribute| fine(attribute.name())));
    }
    for text in root.descendants().filter(|node| node.has_tag_name("text")) {
        let against = contrast(text.attribute("fill").expect("a text has its colour"), "#fffdf7");
        assert!(against >= 7.0, "{:?} stands out {against} only", text.text());
    }
    let size = |name| root.attribute(name).and_then(|size| size.parse::<f64>().ok()).expect("a size");
    let far = size("width").max(size("height")) + 10.0;
    let wild: Vec<f64> =
        numbers(&document).into_iter().filter(|number| !(-far..=far).contains(number)).collect();
    assert!(wild.is_empty(), "off the picture: {wild:?}");
}

/// How much two colours stand out from each other, 1 to 21, by WCAG 2.
fn contrast(one: &str, other: &str) -> f64 {
    let light = |colour: &str| {
        let part = |at: usize| {
            let share = f64::from(u8::from_str_radix(&colour[at..at + 2], 16).expect("hex")) / 255.0;
            if share <= 0.04045 { share / 12.92 } else { ((share + 0.055) / 1.055).powf(2.4) }
        };
        0.2126 * part(1) + 0.7152 * part(3) + 0.0722 * part(5)
    };
    let (a, b) = (light(one), light(other));
    (a.max(b) + 0.05) / (a.min(b) + 0.05)
}

/// Checks that no text runs out of the picture, by letters of an ordinary sans-serif.
pub fn held(svg: &str) {
    let document = Document::parse(svg).expect("well-formed XML");
    let root = document.root_element();
    let whole: f64 = root.attribute("width").and_then(|wide| wide.parse().ok()).expect("a width");
    for node in document.descendants().filter(|node| node.has_tag_name("text")) {
        let number =
            |name| node.attribute(name).and_then(|value| value.parse::<f64>().ok()).expect("a number");
        let words = node.text().unwrap_or_default();
        let wide = words.chars().count() as f64 * number("font-size") * 0.55;
        let left = match node.attribute("text-anchor") {
            Some("end") => number("x") - wide,
            Some("middle") => number("x") - wide / 2.0,
            _ => number("x"),
        };
        assert!(left >= -1.0 && left + wide <= whole + 1.0, "`{words}` runs out: {left} to {}", left + wide);
    }
}

/// Two sources of one site over a week of hours, and what is joined of them: the station
/// has two gaps, of which the feed fills one and a part of the other.
pub fn site(from: Instant) -> (Vec<Seen<'static>>, Vec<Seen<'static>>, Series) {
    let celsius = |hour: i64| {
        12.0 - (4.0 + (hour / 24 % 3) as f64) * ((hour % 24) as f64 / 24.0 * std::f64::consts::TAU).cos()
    };
    let seen = |hour: i64, (usable, flag): (bool, Option<&'static str>)| Seen {
        at: from.plus(hour * HOUR),
        celsius: celsius(hour) + if flag == Some("spike") { 20.0 } else { 0.0 },
        usable,
        flag,
    };
    let found = |hour: i64| match hour {
        30 => (false, Some("spike")),
        78..=83 => (true, Some("flat-line")),
        100 => (true, Some("step")),
        _ => (true, None),
    };
    let read = |hour: &i64| !(51..64).contains(hour) && !(111..130).contains(hour);
    let station: Vec<_> = (0..168).filter(read).map(|hour| seen(hour, found(hour))).collect();
    let feed = (0..168).filter(|hour| !(111..124).contains(hour)).map(|hour| seen(hour, (true, None)));
    let feed: Vec<_> = feed.collect();
    let readings = |seen: &[Seen<'_>]| -> Vec<Reading> {
        seen.iter().filter(|seen| seen.usable).map(|seen| Reading::instant(seen.at, seen.celsius)).collect()
    };
    let series = Series::join(&[readings(&station), readings(&feed)], None, from.plus(168 * HOUR));
    (station, feed, series)
}

/// A round of two sprayers and six blocks, one of which has no slot.
pub fn round(now: Instant) -> (Vec<Stop>, Round) {
    let window = |begin: i64, end: i64| Window { begin: now.plus(begin * HOUR), end: now.plus(end * HOUR) };
    let stop = |block: &str, hectares: f64, windows: Vec<Window>, mark: i64, bound: MarkBound| Stop {
        block: block.to_owned(),
        hectares,
        spot: None,
        litres_per_hectare: Some(900.0),
        windows,
        mark: Some(MarkTime {
            early: Some(now.plus((mark - 2) * HOUR)),
            likely: now.plus(mark * HOUR),
            late: Some(now.plus((mark + 3) * HOUR)),
        }),
        bound,
        style_per_hour: 0.02,
        flowers: None,
        hold_since: None,
        reentry_unrecorded: false,
    };
    let slots = || vec![window(2, 6), window(14, 19)];
    let stops = vec![
        stop("North Bench", 2.0, slots(), 3, MarkBound::NotBefore),
        stop("South Bench", 4.5, slots(), 4, MarkBound::NotAfter),
        stop("River <field> & far side", 3.0, slots(), 15, MarkBound::NotBefore),
        stop("Hill", 1.5, vec![window(3, 5)], 8, MarkBound::NotBefore),
        stop("Old yard", 2.0, vec![window(15, 20)], 12, MarkBound::NotAfter),
        stop("Shade", 2.0, Vec::new(), 12, MarkBound::NotAfter),
    ];
    let sprayer = |name: &str| Sprayer {
        name: name.to_owned(),
        hectares_per_hour: 2.0,
        tank_litres: Some(2_000.0),
        fill_minutes: 15.0,
        fill_at: None,
        starts_at: None,
        free_from: None,
    };
    let sprayers = vec![sprayer("Red"), sprayer("Blue & \"Co\"")];
    let zone = chrono_tz::America::New_York;
    let ask = Ask { stops, sprayers, ways: Ways::default(), working: None, zone, now };
    let round = plan(&ask);
    (ask.stops, round)
}
