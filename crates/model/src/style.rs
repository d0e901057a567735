//! Style lengths measured on the block: how far their mean can be trusted, and
//! whether it is used at all.

use serde::{Deserialize, Serialize};

use crate::block::USUAL_STYLE_MM;
use crate::curve::Measure;
use crate::stats::{self, Sample};

/// Share of the mean that measured styles should come within, 95 times in 100:
/// ±5 % (common practice, no source).
pub const WITHIN: f64 = 0.05;
/// Spread of style lengths to plan for before two are measured: a CV of 10 %, at
/// which ±5 % needs 18 styles (derived).
pub const EXPECTED_SPREAD: f64 = 0.10;
/// Spread above which a sample looks mixed: styles of two cultivars, of open
/// flowers and closed ones, or two ways of measuring (constructed).
pub const WIDE_SPREAD: f64 = 0.25;
/// Least deviation that counts, mm. A ruler is read to half a millimetre, and such
/// rounding alone has a standard deviation of 0.5/√12; without it the rule would
/// throw out the one style of 8.5 mm among many read as 8.0 (constructed).
const LEAST_DEVIATION_MM: f64 = 0.5 / 3.464_101_615_137_754_6;
/// Fewest styles of which one can be said to stand apart (constructed).
const FEWEST_TO_JUDGE: usize = 5;

/// What looks odd in a sample.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Odd {
    /// Lengths that stand apart from the rest, mm, in the order measured.
    pub apart_mm: Vec<f64>,
    /// Whether the spread is wider than one cultivar's styles have.
    pub wide: bool,
}

/// Measured styles, summed up.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct StyleLength {
    /// The lengths, mm.
    pub sample: Sample,
    /// 95 % interval of their mean, mm; none for one style.
    pub low: Option<f64>,
    /// High end of the same.
    pub high: Option<f64>,
    /// Styles that bring the mean to ±5 % at their spread, 95 times in 100; at a
    /// spread of 10 % where one was measured.
    pub needed: usize,
    /// How many of them are still to be measured.
    pub still_to_measure: usize,
    /// Whether the mean lies outside 5 to 15 mm (from memory).
    pub unusual: bool,
    /// What looks odd, if anything.
    pub odd: Option<Odd>,
    /// Whether the clock uses the length: only a curve in mm does.
    pub used: bool,
}

/// Sums measured lengths up, mm, for a curve of that measure; none for none.
pub fn style_length(lengths_mm: &[f64], measure: Measure) -> Option<StyleLength> {
    let sample = Sample::of(lengths_mm)?;
    let half = sample.half_width();
    let needed = stats::needed(sample.spread().unwrap_or(EXPECTED_SPREAD), WITHIN);
    let (low, high) = USUAL_STYLE_MM;
    Some(StyleLength {
        sample,
        low: half.map(|half| (sample.mean - half).max(0.0)),
        high: half.map(|half| sample.mean + half),
        needed,
        still_to_measure: needed.saturating_sub(sample.n),
        unusual: !(low..=high).contains(&sample.mean),
        odd: odd(lengths_mm, &sample),
        used: measure == Measure::Millimetre,
    })
}

fn odd(lengths_mm: &[f64], sample: &Sample) -> Option<Odd> {
    let apart_mm = apart(lengths_mm);
    let wide = sample.spread().is_some_and(|spread| spread > WIDE_SPREAD);
    (wide || !apart_mm.is_empty()).then_some(Odd { apart_mm, wide })
}

/// Lengths farther from the median than the rest would let one expect.
fn apart(lengths_mm: &[f64]) -> Vec<f64> {
    if lengths_mm.len() < FEWEST_TO_JUDGE {
        return Vec::new();
    }
    stats::apart(lengths_mm, LEAST_DEVIATION_MM)
}

impl StyleLength {
    /// What was measured, how far it can be trusted and whether it counts, in
    /// sentences.
    pub fn told(&self) -> String {
        let Sample { n, mean, .. } = self.sample;
        let mut said = vec![match (self.low, self.high) {
            (Some(low), Some(high)) => {
                format!("Style {mean:.1} mm ({low:.1} to {high:.1}, 95 times in 100), mean of {n} styles.")
            }
            _ => format!("Style {mean:.1} mm, from one style: nothing is known of how much they differ."),
        }];
        said.push(match self.still_to_measure {
            0 => format!("Known within ±5 %: {} styles are enough.", self.needed),
            more => format!("±5 % needs {}: measure {more} more.", self.needed),
        });
        if self.unusual {
            let (low, high) = USUAL_STYLE_MM;
            said.push(format!("That is unusual (mostly {low} to {high} mm): measure again."));
        }
        if let Some(odd) = &self.odd {
            said.extend(odd.told());
        }
        if !self.used {
            said.push("It is shown, not used: the curve is in shares of the style.".to_owned());
        }
        said.join(" ")
    }
}

impl StyleLength {
    /// The same known to so much less of its mean on either side: of another block.
    pub fn widen(&mut self, share: f64) {
        let wider = share * self.sample.mean;
        self.low = Some((self.low.unwrap_or(self.sample.mean) - wider).max(0.0));
        self.high = Some(self.high.unwrap_or(self.sample.mean) + wider);
    }
}

impl Odd {
    fn told(&self) -> Vec<String> {
        let mut said = Vec::new();
        if !self.apart_mm.is_empty() {
            let lengths: Vec<String> = self.apart_mm.iter().map(|length| format!("{length:.1}")).collect();
            said.push(format!(
                "Far from the rest: {} mm. Look whether it was written down or measured wrongly; it counts as it stands.",
                lengths.join(", ")
            ));
        }
        if self.wide {
            said.push(
                "The lengths differ by more than 25 %: perhaps two cultivars, flowers of different ages, or two ways \
                 of measuring."
                    .to_owned(),
            );
        }
        said
    }
}

#[cfg(test)]
mod tests;
