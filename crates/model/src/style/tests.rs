use super::*;

fn of(lengths_mm: &[f64]) -> StyleLength {
    style_length(lengths_mm, Measure::Millimetre).unwrap()
}

/// Sample sizes by Student's t (derived): a CV of 10 % to ±5 % needs 18 styles.
#[test]
fn styles_still_to_measure() {
    // Mean 8.8, sd 0.88: two pairs and their middle at 0.88 from it.
    let five = of(&[7.92, 7.92, 8.8, 9.68, 9.68]);
    assert!((five.sample.spread().unwrap() - 0.10).abs() < 1e-12);
    assert_eq!((five.needed, five.still_to_measure), (18, 13));
    assert!(five.told().contains("±5 % needs 18: measure 13 more."), "{}", five.told());
    // 2.776445 at 4 degrees of freedom (published).
    assert!((five.high.unwrap() - (8.8 + 2.776_445 * 0.88 / 5.0_f64.sqrt())).abs() < 1e-5);
    assert_eq!(of(&[8.8, 8.9, 8.8, 8.7]).still_to_measure, 0);
}

#[test]
fn one_style_is_planned_for_at_ten_percent() {
    let one = of(&[8.8]);
    assert_eq!((one.low, one.high, one.needed, one.still_to_measure), (None, None, 18, 17));
    assert!(one.told().contains("from one style"));
    assert_eq!(style_length(&[], Measure::Style), None);
}

/// 5 to 15 mm is usual (from memory).
#[test]
fn an_unusual_mean_from_both_sides() {
    for (mm, unusual) in [(4.9, true), (5.0, false), (15.0, false), (15.1, true)] {
        assert_eq!(of(&[mm, mm]).unusual, unusual, "{mm}");
        assert_eq!(of(&[mm, mm]).told().contains("measure again"), unusual);
    }
}

/// Iglewicz & Hoaglin 1993 (published): |0.6745·(x − median)/MAD| above 3.5.
/// Around 9.0 with a MAD of 0.4 that is 2.0756 mm away.
#[test]
fn a_length_apart_from_both_sides() {
    let with = |far: f64| of(&[8.4, 8.6, 8.8, 9.0, 9.2, 9.4, far]).odd.map(|odd| odd.apart_mm);
    // The deviations of these seven are 0, 0.2, 0.2, 0.4, 0.4, 0.6 and the far one.
    assert_eq!(with(9.0 + 2.07), None);
    assert_eq!(with(9.0 + 2.08), Some(vec![9.0 + 2.08]));
    assert!(of(&[8.4, 8.6, 8.8, 9.0, 9.2, 9.4, 12.0]).told().contains("Far from the rest: 12.0 mm."));
}

#[test]
fn a_ruler_of_half_millimetres_throws_nothing_out() {
    assert_eq!(of(&[8.0, 8.0, 8.0, 8.0, 8.5]).odd, None);
    assert_eq!(of(&[8.0, 8.0, 8.0, 8.0, 9.0]).odd.unwrap().apart_mm, [9.0]);
    assert_eq!(of(&[8.0, 8.0, 8.0, 9.0]).odd, None, "four are too few to judge");
}

/// A spread of 25 % (constructed) from both sides: 8 ± x has a spread of
/// x·√2/8.
#[test]
fn a_wide_spread_from_both_sides() {
    let x = 0.25 * 8.0 / 2.0_f64.sqrt();
    assert_eq!(of(&[8.0 - x * 0.999, 8.0 + x * 0.999]).odd, None);
    assert!(of(&[8.0 - x * 1.001, 8.0 + x * 1.001]).odd.unwrap().wide);
}

#[test]
fn a_curve_in_shares_of_the_style_shows_it_only() {
    let shown = style_length(&[8.6, 9.0], Measure::Style).unwrap();
    assert!(
        !shown.used && shown.told().ends_with("It is shown, not used: the curve is in shares of the style.")
    );
    let used = of(&[8.6, 9.0]);
    assert!(used.used && !used.told().contains("not used"));
}

#[test]
fn a_style_length_survives_storage() {
    let length = of(&[8.0, 8.0, 8.0, 8.0, 9.0]);
    let stored = serde_json::to_string(&length).unwrap();
    assert_eq!(serde_json::from_str::<StyleLength>(&stored).unwrap(), length);
}
