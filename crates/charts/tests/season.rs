//! The picture of a season says what the season says, in well-formed SVG.

use anyhow::Result;
use charts::season::{SeasonPicture, picture, table};
use model::field_log::FieldLog;
use model::growth::Growth;
use model::plan::Plan;
use model::season::Season;
use model::series::{Flag, Forecast, Reading};
use model::time::{DAY, HOUR, Instant};
use roxmltree::{Document, Node};
use serde_json::json;

mod spring;
use spring::{NORTH_BENCH, Names, at};

const AFTERWARDS: &str = "2013-05-20T00:00:00-04:00";

/// A season with all that it was reckoned from.
struct Case {
    plan: Plan,
    log: FieldLog,
    growth: Growth,
    season: Season,
    now: Instant,
}

impl Case {
    fn new(
        plan: Plan,
        log: FieldLog,
        readings: &[Reading],
        forecast: Option<&Forecast>,
        now: Instant,
    ) -> Result<Case> {
        let growth = spring::growth("reference", readings, forecast, now)?;
        let season = spring::season(&plan, &log, &growth, now);
        Ok(Case { plan, log, growth, season, now })
    }

    /// The whole spring, seen afterwards.
    fn whole() -> Result<Case> {
        let log = spring::log("ammonium-thiosulfate")?;
        Case::new(spring::plan(&NORTH_BENCH)?, log, &spring::readings("EWR")?, None, at(AFTERWARDS))
    }

    fn shown(&self) -> SeasonPicture<'_> {
        SeasonPicture::new(&self.plan, &self.log, &self.growth, &self.season, self.now)
    }

    fn svg(&self) -> String {
        picture(&self.shown())
    }
}

/// All that the texts of an SVG say, one a line.
fn texts(document: &Document<'_>) -> Vec<String> {
    let named = |name: &'static str| move |node: &Node<'_, '_>| node.has_tag_name(name);
    ["title", "desc", "text"]
        .into_iter()
        .flat_map(|name| {
            document.descendants().filter(named(name)).filter_map(|node| node.text().map(str::to_owned))
        })
        .collect()
}

/// Every number that places something.
fn coordinates(document: &Document<'_>) -> Vec<f64> {
    const PLACES: [&str; 11] = ["x", "y", "x1", "x2", "y1", "y2", "cx", "cy", "r", "width", "height"];
    let mut found = Vec::new();
    for attribute in document.descendants().flat_map(|node| node.attributes()) {
        if PLACES.contains(&attribute.name()) || attribute.name() == "points" {
            let numbers = attribute.value().split([' ', ',']).map(|number| number.parse::<f64>());
            found.extend(numbers.map(|number| number.expect("a coordinate is a number")));
        }
    }
    found
}

/// Parses a picture and checks what holds for every one.
fn checked(svg: &str) -> Document<'_> {
    let document = Document::parse(svg).expect("well-formed XML");
    let root = document.root_element();
    assert_eq!(root.attribute("role"), Some("img"));
    let first: Vec<&str> =
        root.children().filter(Node::is_element).take(2).map(|node| node.tag_name().name()).collect();
    assert_eq!(first, ["title", "desc"]);
    for node in root.descendants() {
        assert!(!matches!(node.tag_name().name(), "script" | "style" | "image" | "use" | "foreignObject"));
        assert!(
            node.attributes()
                .all(|attribute| !attribute.name().starts_with("on") && attribute.name() != "id")
        );
    }
    let wild: Vec<f64> =
        coordinates(&document).into_iter().filter(|number| !(-10.0..=1_010.0).contains(number)).collect();
    assert!(wild.is_empty(), "off the picture: {wild:?}");
    document
}

#[test]
fn a_whole_season_shows_its_facts_with_their_times() -> Result<()> {
    let case = Case::whole()?;
    let svg = case.svg();
    let document = checked(&svg);
    let texts = texts(&document);
    let zone = case.plan.zone;
    let start = case.season.start.expect("the counts give a start");
    let due = |leg: usize| case.season.legs[leg].reached_at.expect("both marks are reached").spoken(zone);
    for fact in [
        "North Bench (Gala), bloom 2013".to_owned(),
        start.at.spoken(zone),
        format!("due {}", due(0)),
        format!("due {}", due(1)),
        "not before 60 %".to_owned(),
        "not after 60 %".to_owned(),
        "Ammonium thiosulfate".to_owned(),
        "Wed 1 May, 17:10–18:30".to_owned(),
        "Sun 5 May, 07:00–09:15".to_owned(),
        "Times: America/New_York".to_owned(),
        "Mon 29 Apr".to_owned(),
        "57".to_owned(),
        model::words::CAUTION.to_owned(),
    ] {
        assert!(texts.iter().any(|text| text.contains(&fact)), "{fact} is missing in {texts:#?}");
    }
    let told =
        document.descendants().find(|node| node.has_tag_name("desc")).and_then(|node| node.text()).unwrap();
    assert!(told.contains(&due(0)) && told.contains("went on Wed 1 May, 17:10"), "{told}");
    Ok(())
}

#[test]
fn the_table_has_the_same_facts_by_time() -> Result<()> {
    let case = Case::whole()?;
    let rows = table(&case.shown());
    assert_eq!(rows[0], ["When", "What", "Detail"]);
    let what: Vec<&str> = rows[1..].iter().map(|row| row[1].as_str()).collect();
    let expected = [
        "Open flowers counted",
        "Open flowers counted",
        "Open flowers counted",
        "Clock started",
        "Open flowers counted",
        "Open flowers counted",
        "Leg 1: mark reached",
        "Spray 1",
        "Leg 2: mark reached",
        "Spray 2",
        "Last reading",
    ];
    assert_eq!(what, expected, "{rows:#?}");
    assert_eq!(rows[3][0], "Sun 28 Apr, 10:00");
    assert_eq!(rows[3][2], "57 a tree, mean of 5 trees");
    assert!(
        rows[8][2].starts_with("Ammonium thiosulfate, finished Wed 1 May, 18:30; leg 1 ends at "),
        "{:?}",
        rows[8]
    );
    assert!(rows.iter().all(|row| row.len() == 3));
    Ok(())
}

#[test]
fn the_same_numbers_give_the_same_bytes() -> Result<()> {
    assert_eq!(Case::whole()?.svg(), Case::whole()?.svg());
    Ok(())
}

#[test]
fn a_warmer_spring_gives_another_picture() -> Result<()> {
    let mut readings = spring::readings("EWR")?;
    for reading in &mut readings {
        reading.celsius += 3.0;
    }
    let log = spring::log("ammonium-thiosulfate")?;
    let warmer = Case::new(spring::plan(&NORTH_BENCH)?, log, &readings, None, at(AFTERWARDS))?;
    let (warmer_due, due) = (warmer.season.legs[0].reached_at, Case::whole()?.season.legs[0].reached_at);
    assert!(warmer_due < due);
    let words = format!("due {}", warmer_due.unwrap().spoken(warmer.plan.zone));
    assert!(warmer.svg().contains(&words));
    Ok(())
}

#[test]
fn hostile_names_stay_text() -> Result<()> {
    let names = Names {
        block: "</desc><script>alert(1)</script>&\"'\u{1}",
        cultivar: "<!-- Gala ]]> &amp;",
        material: "a & b \" onload=\"x\" <svg>",
    };
    let plan = spring::plan(&names)?;
    let case =
        Case::new(plan, spring::log(names.material)?, &spring::readings("EWR")?, None, at(AFTERWARDS))?;
    let svg = case.svg();
    let texts = texts(&checked(&svg)).join("\n");
    assert!(texts.contains("</desc><script>alert(1)</script>&\"'\u{fffd}"), "{texts}");
    assert!(texts.contains("<!-- Gala ]]> &amp;"), "{texts}");
    assert!(texts.contains("a & b \" onload=\"x\" <svg>"), "{texts}");
    Ok(())
}

#[test]
fn an_empty_season_says_that_there_is_nothing() -> Result<()> {
    let plan = spring::plan(&NORTH_BENCH)?;
    let case = Case::new(plan, FieldLog::default(), &[], None, at("2013-04-01T00:00:00Z"))?;
    let svg = case.svg();
    let texts = texts(&checked(&svg));
    assert!(texts.iter().any(|text| text == "No readings and no counts yet"), "{texts:?}");
    assert_eq!(table(&case.shown()).len(), 1);
    Ok(())
}

#[test]
fn counts_without_a_single_reading_are_shown() -> Result<()> {
    let plan = spring::plan(&NORTH_BENCH)?;
    let case = Case::new(plan, spring::log("ammonium-thiosulfate")?, &[], None, at(AFTERWARDS))?;
    let svg = case.svg();
    let texts = texts(&checked(&svg));
    assert!(
        texts.iter().any(|text| text == "57") && texts.iter().any(|text| text == "no readings"),
        "{texts:?}"
    );
    Ok(())
}

#[test]
fn readings_without_a_single_count_are_shown() -> Result<()> {
    let plan = spring::plan(&NORTH_BENCH)?;
    let now = at("2013-04-20T00:00:00-04:00");
    let case = Case::new(plan, FieldLog::default(), &spring::readings("EWR")?, None, now)?;
    let svg = case.svg();
    let document = checked(&svg);
    let drawn = |node: Node<'_, '_>| node.has_tag_name("polyline");
    assert!(document.descendants().any(drawn));
    assert!(texts(&document).iter().any(|text| text == "State: waiting for open flowers"));
    Ok(())
}

/// The spring seen on the evening after the first spray, with a forecast.
fn under_way(readings: &[Reading]) -> Result<Case> {
    let now = at("2013-05-02T20:00:00-04:00");
    let repeated = |reading: &&Reading| reading.at <= now && reading.at > now.plus(-2 * DAY);
    let hours =
        readings.iter().filter(repeated).map(|reading| Reading { at: reading.at.plus(2 * DAY), ..*reading });
    let forecast = Forecast { issued_at: now, hours: hours.collect() };
    let log = spring::log("ammonium-thiosulfate")?;
    Case::new(spring::plan(&NORTH_BENCH)?, log, readings, Some(&forecast), now)
}

#[test]
fn what_is_foretold_is_parted_from_what_was_read() -> Result<()> {
    let case = under_way(&spring::readings("EWR")?)?;
    let expected =
        case.season.legs[1].expected_at.expect("the forecast reaches the mark").spoken(case.plan.zone);
    let svg = case.svg();
    let texts = texts(&checked(&svg));
    for words in ["last reading", "forecast", &format!("expected {expected}")] {
        assert!(texts.iter().any(|text| text == words), "{words} is missing in {texts:#?}");
    }
    assert!(!texts.iter().any(|text| text.contains("5 May, 07:00")), "the later spray is not known yet");
    Ok(())
}

#[test]
fn hours_without_readings_are_grey_and_widen_the_progress() -> Result<()> {
    let hole = at("2013-04-30T06:00:00-04:00")..at("2013-04-30T20:00:00-04:00");
    let mut readings = spring::readings("EWR")?;
    for reading in readings.iter_mut().filter(|reading| hole.contains(&reading.at)) {
        reading.flag = Flag::Missing;
    }
    let case = under_way(&readings)?;
    let grey = checked(&case.svg())
        .descendants()
        .filter(|node| node.has_tag_name("rect") && node.attribute("fill") == Some("#c9c6c0"))
        .count();
    // The band itself and its key.
    assert_eq!(grey, 2);
    let svg = case.svg();
    let texts = texts(&checked(&svg));
    for words in ["no readings", "between at least and at most"] {
        assert!(texts.iter().any(|text| text == words), "{words} is missing in {texts:#?}");
    }
    Ok(())
}

#[test]
fn a_second_curve_stands_beside_under_its_own_name() -> Result<()> {
    let case = Case::whole()?;
    let growth = spring::growth("cardinal", &spring::readings("EWR")?, None, case.now)?;
    let season = spring::season(&case.plan, &case.log, &growth, case.now);
    let shown = case.shown().beside(&case.log, &growth, &season);
    let due = season.legs[0].reached_at.unwrap().spoken(case.plan.zone);
    let svg = picture(&shown);
    let texts = texts(&checked(&svg));
    for words in [
        "on curve reference".to_owned(),
        "on curve cardinal".to_owned(),
        "cardinal: due".to_owned(),
        due.clone(),
    ] {
        assert!(texts.contains(&words), "{words} is missing in {texts:#?}");
    }
    assert!(
        table(&shown).iter().any(|row| row[1] == "Leg 1: mark reached on curve cardinal" && row[0] == due)
    );
    Ok(())
}

#[test]
fn a_spray_that_resets_nothing_says_so() -> Result<()> {
    let log = spring::entries(&[
        json!({"id": "1", "kind": "bloom-start", "at": "2013-04-29T08:00:00-04:00"}),
        json!({"id": "2", "kind": "spray", "material": "captan", "at": "2013-04-30T06:00:00-04:00",
               "finished_at": "2013-04-30T07:00:00-04:00"}),
    ])?;
    let case = Case::new(spring::plan(&NORTH_BENCH)?, log, &spring::readings("EWR")?, None, at(AFTERWARDS))?;
    let svg = case.svg();
    let texts = texts(&checked(&svg));
    assert!(texts.iter().any(|text| text == "Captan, clock runs on"), "{texts:#?}");
    let rows = table(&case.shown());
    let row = rows.iter().find(|row| row[1] == "Spray, clock runs on").expect("a row of its own");
    assert_eq!(row[2], "Captan, finished Tue 30 Apr, 07:00; resets nothing");
    Ok(())
}

#[test]
fn the_day_of_a_clock_change_has_its_own_length() -> Result<()> {
    let mut case = Case::whole()?;
    case.plan.zone = chrono_tz::America::New_York;
    let mut shown = case.shown();
    (shown.from, shown.to) = (at("2013-03-09T05:00:00Z"), at("2013-03-12T04:00:00Z"));
    let svg = picture(&shown);
    let document = checked(&svg);
    let name = |words: &str| {
        let found =
            document.descendants().find(|node| node.text() == Some(words) && node.has_tag_name("text"));
        found.and_then(|node| node.attribute("x")).and_then(|x| x.parse::<f64>().ok()).expect("a named day")
    };
    // Names stand in the middle of their days, which are 24, 23 and 24 hours.
    let (saturday, sunday, monday) = (name("Sat 9 Mar"), name("Sun 10 Mar"), name("Mon 11 Mar"));
    assert!(((sunday - saturday) - (monday - sunday)).abs() < 0.3);
    let hour = (976.0 - 66.0) / 71.0;
    assert!(((sunday - saturday) / hour - 23.5).abs() < 0.02, "{}", (sunday - saturday) / hour);
    Ok(())
}

#[test]
fn senseless_numbers_stay_on_the_picture() -> Result<()> {
    let case = Case::whole()?;
    let mut shown = case.shown();
    for (n, moment) in shown.moments.iter_mut().enumerate() {
        moment.celsius = [Some(f64::NAN), Some(1e300), Some(f64::NEG_INFINITY), None][n % 4];
        moment.progress_low = [Some(f64::NAN), Some(1e300), Some(f64::INFINITY), Some(-3.0)][n % 4];
        moment.progress_high = [Some(1e300), Some(f64::NAN), None, Some(0.1)][n % 4];
    }
    let svg = picture(&shown);
    checked(&svg);
    Ok(())
}

#[test]
fn labels_of_the_usual_case_keep_clear_of_each_other() -> Result<()> {
    let case = Case::whole()?;
    let growth = spring::growth("cardinal", &spring::readings("EWR")?, None, case.now)?;
    let season = spring::season(&case.plan, &case.log, &growth, case.now);
    let svg = picture(&case.shown().beside(&case.log, &growth, &season));
    let document = checked(&svg);
    let boxes: Vec<(String, [f64; 4])> = document.descendants().filter_map(|node| text_box(&node)).collect();
    for (n, (text, a)) in boxes.iter().enumerate() {
        for (other, b) in &boxes[..n] {
            let apart = a[0] >= b[2] || b[0] >= a[2] || a[1] >= b[3] || b[1] >= a[3];
            assert!(apart, "`{text}` covers `{other}`");
        }
    }
    assert!(boxes.len() > 40, "only {} texts", boxes.len());
    Ok(())
}

/// Where a text stands, for letters of an ordinary sans-serif: left, top,
/// right, bottom.
fn text_box(node: &Node<'_, '_>) -> Option<(String, [f64; 4])> {
    if !node.has_tag_name("text") {
        return None;
    }
    let number = |name| node.attribute(name).and_then(|value| value.parse::<f64>().ok());
    let (x, y, size) = (number("x")?, number("y")?, number("font-size")?);
    let words = node.text()?;
    let wide = words.chars().count() as f64 * size * 0.52;
    let left = match node.attribute("text-anchor") {
        Some("end") => x - wide,
        Some("middle") => x - wide / 2.0,
        _ => x,
    };
    Some((words.to_owned(), [left, y - size * 0.72, left + wide, y + size * 0.2]))
}

#[test]
fn a_mark_ends_with_its_leg_when_the_spray_came_first() -> Result<()> {
    let spray = json!({"id": "2", "kind": "spray", "material": "ammonium-thiosulfate",
                       "at": "2013-04-29T18:00:00-04:00", "finished_at": "2013-04-29T20:00:00-04:00"});
    let start = json!({"id": "1", "kind": "bloom-start", "at": "2013-04-29T08:00:00-04:00"});
    let log = spring::entries(&[start, spray])?;
    let case = Case::new(spring::plan(&NORTH_BENCH)?, log, &spring::readings("EWR")?, None, at(AFTERWARDS))?;
    assert_eq!(case.season.legs[0].reached_at, None);
    let svg = case.svg();
    let document = checked(&svg);
    let line = |colour: &'static str, wide: &'static str| {
        document.descendants().find(|node| {
            node.has_tag_name("line")
                && node.attribute("stroke") == Some(colour)
                && node.attribute("stroke-width") == Some(wide)
        })
    };
    let (mark, sprayed) = (line("#26242b", "1.6").unwrap(), line("#1d63bd", "2").unwrap());
    assert_eq!(mark.attribute("x2"), sprayed.attribute("x1"));
    Ok(())
}

#[test]
fn a_season_of_years_draws_few_days() -> Result<()> {
    let case = Case::whole()?;
    let mut shown = case.shown();
    shown.to = shown.from.plus(100 * 365 * DAY);
    let svg = picture(&shown);
    checked(&svg);
    assert!(svg.len() < 200_000);
    shown.to = shown.from.plus(HOUR);
    checked(&picture(&shown));
    Ok(())
}
