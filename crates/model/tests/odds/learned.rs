//! What is learned of forecasts' errors, and what it does to odds.

use model::odds::{Errors, Pair};
use model::time::{DAY, HOUR, Instant};

use super::asked::{Asked, ahead, apart, celsius, ensemble};
use crate::kit::{self, hour};

fn pairs(issues: i64, off: f64) -> Vec<Pair> {
    let hours = |issue: i64| (0..120).map(move |lead| (issue, lead));
    (0..issues)
        .flat_map(hours)
        .map(|(issue, lead)| Pair {
            issued_at: hour((12 * issue) as f64),
            at: hour((12 * issue + lead) as f64),
            foretold_c: celsius(12 * issue + lead, 12.0) - off - f64::from((issue % 2) as i32 * 2 - 1),
            read_c: celsius(12 * issue + lead, 12.0),
        })
        .collect()
}

#[test]
fn errors_are_learned_from_what_was_read_by_then() {
    let prior = Errors::prior();
    assert_eq!(Errors::learn(&[], Instant::MAX), prior);
    let all = pairs(60, 1.5);
    let learned = Errors::learn(&all, Instant::MAX);
    assert_eq!(learned.issues, 60);
    for days in 0..5 {
        let lead = days * DAY + DAY / 2;
        assert!((learned.bias_c(lead) - 1.5).abs() < 0.1, "{}", learned.bias_c(lead));
        assert!((learned.spread_c(lead) - 1.0).abs() < 0.2, "{}", learned.spread_c(lead));
        assert!(learned.spread_c(lead) < prior.spread_c(lead));
    }
    // An error that lasts through its issue is carried far.
    assert!(learned.carry > 0.99);
    let (asked, mut turned) = (hour(200.0), all.clone());
    turned.reverse();
    turned.extend([Pair { read_c: f64::NAN, ..all[0] }, Pair { at: hour(-1.0), ..all[0] }]);
    let by_then: Vec<Pair> = all.iter().copied().filter(|pair| pair.at <= asked).collect();
    assert!(by_then.len() < all.len());
    assert_eq!(Errors::learn(&turned, asked), Errors::learn(&by_then, Instant::MAX));
}

/// An ensemble is corrected by what its own mean was off, once enough is learned.
#[test]
fn an_ensemble_is_shifted_and_widened_by_what_was_learned() {
    let mut asked = Asked::of(ensemble(21, 0.01));
    // As before the last reading, so that nothing is known of the error now.
    let narrow = asked.odds().legs[0].odds.clone();
    asked.errors = Errors::learn(&pairs(60, 1.5), Instant::MAX);
    for member in &mut asked.members {
        member.remove(0);
    }
    let wide = asked.odds().legs[0].odds.clone();
    assert!(wide.likely < narrow.likely && apart(&wide) > 3 * apart(&narrow));
    asked.errors = Errors::learn(&pairs(9, 1.5), Instant::MAX);
    assert_eq!(apart(&asked.odds().legs[0].odds), apart(&narrow));
}

/// A forecast that is 3 °C too cold at the last reading is not right again at once.
#[test]
fn the_error_of_now_is_carried_on() {
    let one = |now_off: f64| {
        let mut hours = ahead(66, 240, 13.0);
        for hour in hours.iter_mut().take_while(|hour| hour.at <= kit::hour(72.0)) {
            hour.celsius = celsius(hour.at.since(kit::begin()) / HOUR, 12.0) - now_off;
        }
        let asked = Asked { issued_at: hour(66.0), ..Asked::of(vec![hours]) };
        asked.odds().legs[0].odds.likely.unwrap()
    };
    assert!(one(3.0) < one(0.0) && one(0.0) < one(-3.0));
}
