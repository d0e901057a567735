//! Temperatures that no orchard has, and those that hardly any has.

use model::series::Flag;

use super::sheet::Sheet;
use super::{Check, Thresholds};

pub(super) fn judge(sheet: &mut Sheet, limits: &Thresholds) {
    let values: Vec<f64> = sheet.readings().map(|reading| reading.celsius).collect();
    for (row, celsius) in values.into_iter().enumerate() {
        let (flag, low, high) =
            if (limits.range_suspect_below_c..=limits.range_suspect_above_c).contains(&celsius) {
                continue;
            } else if (limits.range_fail_below_c..=limits.range_fail_above_c).contains(&celsius) {
                (Flag::Suspect, limits.range_suspect_below_c, limits.range_suspect_above_c)
            } else {
                // What is no number comes here too.
                (Flag::Fail, limits.range_fail_below_c, limits.range_fail_above_c)
            };
        sheet.note(row, Check::Range, flag, format!("{celsius:.1} °C is outside {low} to {high} °C"));
    }
}
