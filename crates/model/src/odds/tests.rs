use proptest::collection::vec;
use proptest::prelude::*;

use super::case::NEVER;
use super::noise::{self, Dealer};
use super::sort;
use super::tubes::{Guide, Row};

proptest! {
    #[test]
    fn sorted_as_by_comparing(mut sample in vec(prop_oneof![Just(NEVER), -900_000..1_400_000_i32, any::<i32>()], 0..60), near in any::<bool>()) {
        if near {
            sample.retain(|at| *at == NEVER || at.abs() < 1_500_000);
        }
        let mut expected = sample.clone();
        expected.sort_unstable();
        sort(&mut sample);
        prop_assert_eq!(sample, expected);
    }

    /// Also over nights in which nothing grows, and at the knots themselves.
    #[test]
    fn a_guide_finds_what_a_search_finds(steps in vec(prop_oneof![Just(0_i64), 0..1_i64 << 37], 1..300), into in 0.0..1.2_f64, knot in any::<prop::sample::Index>()) {
        let sums: Vec<i64> = std::iter::once(0)
            .chain(steps.iter().scan(0, |sum, step| {
                *sum += step;
                Some(*sum)
            }))
            .collect();
        let guide = Guide::new(&sums);
        let most = sums[sums.len() - 1];
        for goal in [(most as f64 * into) as i64, sums[knot.index(sums.len())], most].map(|goal| goal.max(1)) {
            let row = |guide| Row { sums: &sums, first: 1_500, guide };
            prop_assert_eq!(row(Some(&guide)).reached(goal), row(None).reached(goal), "{}", goal);
            // What is reached then was not a second before.
            if let Some(at) = row(None).reached(goal) {
                let within = 1_i64 << 27;
                prop_assert!(row(None).at(at).is_none_or(|sum| sum + within >= goal));
                prop_assert!(at == 0 || row(None).at(at - 1).is_some_and(|sum| sum < goal));
            }
        }
    }
}

#[test]
fn each_member_is_drawn_the_same_number_of_times() {
    for members in [1, 5, 51, 128, 200] {
        let each = noise::each(members);
        let drawn: Vec<(usize, usize)> =
            noise::points(members, each).map(|(member, points)| (member, points.len())).collect();
        assert_eq!(drawn, (0..members).map(|member| (member, each)).collect::<Vec<_>>());
        assert!(members * each >= noise::FEWEST_DRAWS);
    }
}

/// The points fill each side evenly: of any hundred in a row some ten lie in each tenth.
#[test]
fn points_are_spread_evenly() {
    for (_, points) in noise::points(10, 100) {
        for tenth in 0..10 {
            let within = |share: f64| (share * 10.0) as usize == tenth;
            let gaps = points.iter().filter(|point| within(point.gap)).count();
            let curves = points.iter().filter(|point| within(point.curve)).count();
            assert!((6..=14).contains(&gaps) && (6..=14).contains(&curves), "{gaps} {curves}");
        }
    }
}

/// A dealer deals each score once, with a mean of 0 and a variance of 1, and another
/// seed deals them in another order.
#[test]
fn scores_are_dealt_once_each() {
    let mut dealer = Dealer::new(128, 7);
    let first = dealer.deal().to_vec();
    let second = dealer.deal().to_vec();
    assert_ne!(first, second);
    assert_ne!(first, Dealer::new(128, 8).deal());
    assert_eq!(first, Dealer::new(128, 7).deal());
    let in_order = |scores: &[f64]| {
        let mut scores = scores.to_vec();
        scores.sort_by(f64::total_cmp);
        scores
    };
    assert_eq!(in_order(&first), in_order(&second));
    let sum: f64 = first.iter().sum();
    let squares: f64 = first.iter().map(|score| score * score).sum();
    assert!(sum.abs() < 1e-9 && (squares / 128.0 - 1.0).abs() < 1e-12);
}
