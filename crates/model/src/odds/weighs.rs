//! Which doubt makes odds as wide as they are.

use serde::{Deserialize, Serialize};

use super::case::{Case, NEVER};
use super::noise;

/// Draws by which the doubts are compared: at least so many, and one of each member.
const COMPARED: usize = 50;
/// Most styles that anyone is asked for at a time (constructed: an hour's work).
const MOST_STYLES: usize = 60;

/// A source of doubt.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Doubt {
    /// The weather ahead.
    Weather,
    /// The mean style length.
    Style,
    /// When the clock started, or the counts that say when it will.
    Start,
    /// Which curve holds.
    Curve,
    /// Hours without readings.
    Gap,
}

/// The doubt that weighs most.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Weighs {
    /// Which it is.
    pub doubt: Doubt,
    /// Hours by which early to late would shrink were it known.
    pub narrows_h: f64,
    /// Of the style length: styles still to measure until it adds no more than all other
    /// doubts together, or as many as are asked for at a time.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub more_styles: Option<usize>,
}

impl Weighs {
    /// What to do about it, in a sentence.
    pub fn told(&self) -> String {
        match (self.doubt, self.more_styles) {
            (Doubt::Weather, _) => {
                "The weather ahead weighs most: look again after the next forecast.".to_owned()
            }
            (Doubt::Style, Some(1)) => "The style length weighs most: measure 1 more style.".to_owned(),
            (Doubt::Style, Some(more)) => {
                format!("The style length weighs most: measure {more} more styles.")
            }
            (Doubt::Style, None) => "The style length weighs most: measure more styles.".to_owned(),
            (Doubt::Start, _) => "The counts of open flowers weigh most: count more trees.".to_owned(),
            (Doubt::Curve, _) => {
                "The growth curve weighs most: one measured on this cultivar would tell more.".to_owned()
            }
            (Doubt::Gap, _) => {
                "The hours without readings weigh most: bring them in if they exist.".to_owned()
            }
        }
    }
}

/// Seconds from early to late of a sample; what never comes counts as the horizon.
fn width(sample: &mut [i32], horizon: i32) -> f64 {
    for at in sample.iter_mut().filter(|at| **at == NEVER) {
        *at = horizon;
    }
    let (low, high) = (super::rank(0.1, sample.len()), super::rank(0.9, sample.len()));
    let (_, late, _) = sample.select_nth_unstable(high);
    let late = *late;
    let (_, early, _) = sample[..high + 1].select_nth_unstable(low);
    f64::from(late) - f64::from(*early)
}

/// For each slot of a case, the doubt that weighs most: each in turn is fixed at its
/// middle, and the one that early to late shrink by most without is it. `samples` are
/// the draws of each slot, member by member, and `styles` were measured.
pub(super) fn most(
    case: &Case<'_>,
    samples: &[Vec<i32>],
    horizon: i32,
    styles: usize,
) -> Vec<Option<Weighs>> {
    let (slots, members) = (case.slots(), case.outlook.members());
    let doubts = case.doubts();
    // The first draws of each member, so that like is compared with like.
    let each = noise::each(members);
    let few = COMPARED.div_ceil(members).min(each);
    let firsts = |sample: &Vec<i32>| -> Vec<i32> {
        sample.chunks(each).flat_map(|draws| &draws[..few]).copied().collect()
    };
    let mut fewer: Vec<Vec<i32>> = samples.iter().map(firsts).collect();
    let all: Vec<f64> = fewer.iter_mut().map(|sample| width(sample, horizon)).collect();
    let mut drawn = vec![0; slots];
    let mut widths = |fixed: Doubt| -> Vec<f64> {
        fewer.iter_mut().for_each(Vec::clear);
        for (member, points) in noise::points(members, each) {
            for point in &points[..few] {
                case.draw(member, point, Some(fixed), &mut drawn);
                fewer.iter_mut().zip(&drawn).for_each(|(sample, at)| sample.push(*at));
            }
        }
        fewer.iter_mut().map(|sample| width(sample, horizon)).collect()
    };
    let without: Vec<(Doubt, Vec<f64>)> = match doubts[..] {
        [only] => vec![(only, vec![0.0; slots])],
        _ => doubts.iter().map(|doubt| (*doubt, widths(*doubt))).collect(),
    };
    let one = |slot: usize| {
        let narrows = |(_, widths): &&(Doubt, Vec<f64>)| all[slot] - widths[slot];
        let most = without.iter().max_by(|a, b| narrows(a).total_cmp(&narrows(b)))?;
        let narrows_h = narrows(&most) / 3_600.0;
        let more_styles = (most.0 == Doubt::Style).then(|| more_styles(styles, all[slot], most.1[slot]));
        (narrows_h > 0.0).then_some(Weighs { doubt: most.0, narrows_h, more_styles })
    };
    (0..slots).map(one).collect()
}

/// Styles still to measure until their length adds no more to the width than all other
/// doubts together, which leave `rest` of the width `all` by themselves. Doubts add by
/// their squares, and the square of what the style length adds falls with the styles.
fn more_styles(measured: usize, all: f64, rest: f64) -> usize {
    let n = measured.max(1) as f64;
    let wanted = n * (all * all - rest * rest) / (rest * rest);
    libm::ceil(wanted - n).clamp(1.0, MOST_STYLES as f64) as usize
}
