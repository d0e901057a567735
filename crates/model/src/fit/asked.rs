//! What a fit is asked for.

use crate::fit::Form;
use crate::input::Fields;

const FORMS: [&str; 2] = ["nodes", "beta"];
const UNITS: [&str; 4] = ["mm-per-hour", "mm-per-day", "fraction-per-hour", "fraction-per-day"];
const END_POINTS: [&str; 3] = ["style-base", "ovule", "unknown"];

/// Temperatures at which tubes are usually tried, °C (constructed: from where
/// hardly any grow to just above 43.7 °C, the in-vitro maximum of ten
/// cultivars). Beyond, a slip of the unit is likelier than an experiment, so a
/// reason is asked for.
const USUAL_C: (f64, f64) = (0.0, 45.0);
/// Temperatures taken at all, °C; those that a beta curve may have too.
pub(super) const TAKEN_C: (f64, f64) = (-20.0, 60.0);
/// Longest that tubes were followed, h: thirty days (constructed).
const LONGEST_HOURS: f64 = 720.0;
/// Longest tube taken for one, mm: some three of the longest styles
/// (constructed).
const LONGEST_MM: f64 = 100.0;
/// Longest tube as a share of the style: as the largest mark of a plan.
const LONGEST_SHARE: f64 = 1.5;
/// Most observations that one document brings.
const MOST: usize = 1_000;

/// One tube, or the mean of several, measured.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Observation {
    pub celsius: f64,
    pub hours: f64,
    /// mm or share of the style.
    pub length: f64,
    /// Why the temperature is an unusual one.
    pub reason: Option<String>,
}

/// A document as it was read.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Asked {
    pub form: Form,
    pub unit: &'static str,
    pub observations: Vec<Observation>,
    pub lag: bool,
    /// Where growth ends, °C, for nodes; not used for beta.
    pub zeros: (f64, f64),
    /// `tmin` and `tmax` where the person fixed them.
    pub fixed: (Option<f64>, Option<f64>),
    pub source: String,
    pub end_point: &'static str,
    pub cultivars: Vec<String>,
}

impl Asked {
    pub(super) fn from_fields(fields: &Fields<'_>) -> Option<Asked> {
        let form = match required_word(fields, "form", &FORMS) {
            Some("nodes") => Some(Form::Nodes),
            Some(_) => Some(Form::Beta),
            None => {
                // Without its form none of its temperatures can be judged.
                fields.ignore(&["zero_below", "zero_above", "tmin", "tmax"]);
                None
            }
        };
        let unit = required_word(fields, "unit", &UNITS);
        let lag = fields.flag("lag").unwrap_or(false);
        let source = fields.required_text("source");
        let end_point = fields.word("end_point", &END_POINTS).unwrap_or("unknown");
        let cultivars = fields.texts("cultivars");
        let observations = observations(fields, unit);
        let celsius = |name| fields.number(name, TAKEN_C.0, TAKEN_C.1);
        let (mut zeros, mut fixed) = (None, (None, None));
        match form {
            Some(Form::Nodes) => zeros = ends(fields, &observations),
            Some(Form::Beta) => fixed = (celsius("tmin"), celsius("tmax")),
            None => {}
        }
        if let (Some(tmin), Some(tmax)) = fixed
            && tmin >= tmax
        {
            fields.fault("tmin", format!("{tmin} °C does not lie below tmax, {tmax} °C"));
        }
        Some(Asked {
            form: form?,
            unit: unit?,
            observations,
            lag,
            zeros: if form == Some(Form::Nodes) { zeros? } else { (0.0, 0.0) },
            fixed,
            source: source?,
            end_point,
            cultivars,
        })
    }

    /// Hours in the unit of time that rates are given in.
    pub(super) fn hours_in_unit(&self) -> f64 {
        if self.unit.ends_with("day") { 24.0 } else { 1.0 }
    }

    /// The different temperatures, rising.
    pub(super) fn temperatures(&self) -> Vec<f64> {
        let mut all: Vec<f64> = self.observations.iter().map(|seen| seen.celsius).collect();
        all.sort_by(f64::total_cmp);
        all.dedup();
        all
    }

    /// Lowest and highest temperature observed, °C.
    pub(super) fn covered(&self) -> (f64, f64) {
        range(&self.observations).unwrap_or((0.0, 0.0))
    }
}

fn required_word(fields: &Fields<'_>, name: &'static str, words: &[&'static str]) -> Option<&'static str> {
    if fields.require(name) { fields.word(name, words) } else { None }
}

fn range(observations: &[Observation]) -> Option<(f64, f64)> {
    let first = observations.first()?.celsius;
    let wider = |(low, high): (f64, f64), seen: &Observation| (low.min(seen.celsius), high.max(seen.celsius));
    Some(observations.iter().fold((first, first), wider))
}

fn observations(fields: &Fields<'_>, unit: Option<&str>) -> Vec<Observation> {
    if !fields.require("observations") {
        return Vec::new();
    }
    let count = fields.value("observations").and_then(|list| list.as_array()).map_or(1, Vec::len);
    if !(1..=MOST).contains(&count) {
        fields.fault("observations", format!("are {count}; expected 1 to {MOST}"));
        return Vec::new();
    }
    let (length, most, other) = match unit {
        Some(unit) if unit.starts_with("fraction") => ("length_share", LONGEST_SHARE, "length_mm"),
        _ => ("length_mm", LONGEST_MM, "length_share"),
    };
    fields.tables("observations", |seen| {
        let number = |name, low, high| {
            if seen.require(name) { seen.number(name, low, high) } else { None }
        };
        let celsius = number("celsius", TAKEN_C.0, TAKEN_C.1);
        let hours = number("hours", 0.0, LONGEST_HOURS);
        let reason = seen.text("reason").filter(|reason| !reason.trim().is_empty());
        if hours == Some(0.0) {
            seen.fault("hours", "is 0: a tube measured at pollination says nothing of its growth");
        }
        if let Some(celsius) = celsius
            && !(USUAL_C.0..=USUAL_C.1).contains(&celsius)
            && reason.is_none()
        {
            let (low, high) = USUAL_C;
            seen.fault(
                "celsius",
                format!("{celsius} °C lies outside {low} to {high} °C; if it was so, say why in `reason`"),
            );
        }
        let length = match unit {
            // Without its unit no length can be judged.
            None => {
                seen.ignore(&["length_mm", "length_share"]);
                None
            }
            Some(unit) if seen.has(other) => {
                seen.fault(other, format!("does not go with the unit {unit}; give {length}"));
                seen.ignore(&["length_mm", "length_share"]);
                None
            }
            Some(_) => number(length, 0.0, most),
        };
        // A minus zero would be a temperature of its own.
        Some(Observation { celsius: celsius? + 0.0, hours: hours?, length: length?, reason })
    })
}

/// Where growth ends on either side, for nodes.
fn ends(fields: &Fields<'_>, observations: &[Observation]) -> Option<(f64, f64)> {
    let end = |name| {
        if fields.require(name) { fields.number(name, TAKEN_C.0, TAKEN_C.1) } else { None }
    };
    let (below, above) = (end("zero_below"), end("zero_above"));
    if let Some((low, high)) = range(observations) {
        if below.is_some_and(|below| below >= low) {
            fields.fault("zero_below", format!("expected a temperature below the lowest observed, {low} °C"));
        }
        if above.is_some_and(|above| above <= high) {
            fields
                .fault("zero_above", format!("expected a temperature above the highest observed, {high} °C"));
        }
    }
    Some((below?, above?))
}
