//! What holds for any forecast.

use model::odds::{Doubt, Odds};
use model::series::Reading;
use model::time::{HOUR, Instant};
use proptest::collection::vec;
use proptest::prelude::*;

use super::asked::{Asked, ahead, in_mm};
use crate::kit::{self, hour};

/// Five to twenty members over two to ten days, each with a mean and a drift of its
/// own.
fn members() -> impl Strategy<Value = Vec<Vec<Reading>>> {
    let one = (5.0..20.0_f64, -0.03..0.03_f64);
    (48_i64..240, vec(one, 5..20)).prop_map(|(hours, means)| {
        let member = |(mean, drift): (f64, f64)| {
            let mut hours = ahead(72, hours, mean);
            hours.iter_mut().enumerate().for_each(|(n, hour)| hour.celsius += drift * n as f64);
            hours
        };
        means.into_iter().map(member).collect()
    })
}

/// A season on these members: with its start behind or ahead, in mm or in shares.
fn asked() -> impl Strategy<Value = Asked> {
    (members(), any::<bool>(), any::<bool>(), any::<bool>(), 3_i64..40).prop_map(
        |(members, started, mm, both, spread)| {
            let mut asked = Asked::of(members);
            if !started {
                let count = |id, at, mean: i64| kit::count(id, at, &[mean - spread, mean + spread, mean]);
                asked.entries = vec![count("c1", hour(45.0), 41), count("c2", hour(70.0), 75)];
            }
            if mm {
                asked.plan = in_mm(&[8.0, 9.5, 8.6]);
            }
            if both {
                asked.others = vec![kit::curve("cardinal")];
            }
            asked
        },
    )
}

fn all(asked: &Asked) -> Vec<Odds> {
    let odds = asked.odds();
    odds.start.into_iter().chain(odds.legs.into_iter().map(|leg| leg.odds)).collect()
}

/// None, which is beyond the horizon, comes after all that is not.
fn order(at: Option<Instant>) -> Instant {
    at.unwrap_or(Instant::MAX)
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 48, ..ProptestConfig::default() })]

    #[test]
    fn early_comes_before_likely_before_late(asked in asked()) {
        for odds in all(&asked) {
            prop_assert!(order(odds.early) <= order(odds.likely) && order(odds.likely) <= order(odds.late));
            prop_assert!(odds.dots.is_sorted_by_key(|dot| order(*dot)));
            prop_assert!(odds.draws >= 1_000 && (0.0..=1.0).contains(&odds.never));
            prop_assert_eq!(odds.late.is_none(), odds.never >= 0.1);
            let chances: Vec<f64> = (-80..260).map(|n| odds.chance_by(hour(72.0).plus(n * HOUR))).collect();
            prop_assert!(chances.is_sorted(), "{:?}", chances);
            prop_assert!((chances[339] - (1.0 - odds.never)).abs() < 1e-12 && chances[0] == 0.0);
            // By the stated moments the stated shares, to half a dot.
            for (at, share) in [(odds.early, 0.1), (odds.likely, 0.5), (odds.late, 0.9)] {
                if let Some(at) = at {
                    prop_assert!(odds.chance_by(at) > share - 0.026, "{} {:?}", share, odds);
                    prop_assert!(odds.chance_by(at.plus(-1)) < share + 0.026, "{} {:?}", share, odds);
                }
            }
        }
    }

    /// The start comes before the first mark and that before the next, at each share.
    #[test]
    fn legs_follow_one_another(asked in asked()) {
        let odds = all(&asked);
        for pair in odds.windows(2) {
            let each = pair[0].dots.iter().zip(&pair[1].dots);
            prop_assert!(each.clone().all(|(before, after)| order(*before) <= order(*after)));
        }
    }

    #[test]
    fn the_same_input_gives_the_same_bits_in_any_order(asked in asked(), turn in 0..20_usize) {
        let once = asked.odds();
        prop_assert_eq!(&once, &asked.odds());
        let mut turned = asked;
        let by = turn % turned.members.len();
        turned.members.rotate_left(by);
        turned.members.reverse();
        prop_assert_eq!(once, turned.odds());
    }

    /// With the weather known, style length alone makes the width: the more it is in
    /// doubt, the wider.
    #[test]
    fn more_style_error_never_narrows(mean in 8.0..20.0_f64, near in 0.0..1.0_f64, far in 0.0..1.0_f64) {
        let width = |off: f64| {
            let members = vec![ahead(72, 240, mean); 7];
            let asked = Asked { plan: in_mm(&[8.8 - off, 8.8, 8.8 + off]), ..Asked::of(members) };
            all(&asked).into_iter().map(|odds| (order(odds.early), order(odds.late))).collect::<Vec<_>>()
        };
        for (near, far) in width(near.min(far)).into_iter().zip(width(near.max(far))) {
            // The mean of the lengths may differ by a rounding: a second.
            prop_assert!(far.0 <= near.0.plus(1) && near.1 <= far.1.plus(1), "{:?} {:?}", near, far);
        }
    }

    /// Members that are all equal add nothing: what remains is the width of the other
    /// doubts, and it is the same to the second with five of them as with fifty.
    #[test]
    fn equal_members_add_no_width(mean in 8.0..20.0_f64, few in prop::sample::select(vec![5, 8, 10, 20, 25])) {
        let odds = |members: usize| {
            all(&Asked { plan: in_mm(&[8.0, 9.5, 8.6]), ..Asked::of(vec![ahead(72, 240, mean); members]) })
        };
        for (few, many) in odds(few).into_iter().zip(odds(50)) {
            prop_assert_eq!((few.early, few.likely, few.late), (many.early, many.likely, many.late));
            prop_assert_eq!(few.dots, many.dots);
            prop_assert!(few.weighs.is_none_or(|weighs| weighs.doubt == Doubt::Style));
        }
    }
}
