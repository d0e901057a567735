//! A growth curve from tubes that were measured at constant temperatures.
//!
//! A tube's length is taken to be r(T) · max(hours − lag, 0), and r is fitted by
//! least squares on the length, every observation with the same weight. For
//! rates at the temperatures tried (`nodes`) without a lag this is a mean in
//! closed form; all else goes by Levenberg's and Marquardt's method. The same
//! document gives the same bits.

use serde::{Deserialize, Serialize};
use serde_json::{Value, json};

use crate::curve::Curve;
use crate::input::{self, Fault, Faults};
use crate::season::Note;
use crate::stats;

mod asked;
mod normal;
mod notes;
mod refusals;
mod shape;
mod squares;
mod starts;
use asked::Asked;
use shape::Shape;
use squares::Found;

/// The form that a curve is fitted in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Form {
    /// A rate at each temperature tried, straight lines between.
    Nodes,
    /// The beta function of [`crate::curve::beta_share`].
    Beta,
}

impl Form {
    /// The word under which it is written.
    pub fn word(self) -> &'static str {
        match self {
            Form::Nodes => "nodes",
            Form::Beta => "beta",
        }
    }
}

/// A fitted figure.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Parameter {
    /// `rate_at_12` (the temperature in °C), `tmin`, `topt`, `tmax`,
    /// `rate_at_topt` or `lag_hours`.
    pub name: String,
    /// What it is counted in: the unit of the curve, `celsius` or `hours`.
    pub unit: String,
    /// Its least-squares value.
    pub value: f64,
    /// √diag(σ²(JᵀJ)⁻¹), the usual one of least squares (textbook formula).
    pub standard_error: f64,
    /// Half of its 95 % interval: the standard error times Student's t with
    /// n − p degrees of freedom.
    pub half_width_95: f64,
}

/// An observation beside what the fit makes of it.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Residual {
    /// Constant temperature, °C.
    pub celsius: f64,
    /// From pollination to measuring, h.
    pub hours: f64,
    /// Length as observed, mm or share of the style.
    pub length: f64,
    /// Length by the fit.
    pub fitted: f64,
    /// Observed less fitted.
    pub residual: f64,
}

/// A fitted curve with what tells how well it was fitted.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Fit {
    /// Its form.
    pub form: Form,
    /// Unit of its rates, one of those that a curve takes.
    pub unit: String,
    /// What was estimated; a temperature that the person fixed is not among it.
    pub parameters: Vec<Parameter>,
    /// Start lag common to all temperatures, h, when one was estimated.
    pub lag_hours: Option<f64>,
    /// Every observation, in the order it came.
    pub residuals: Vec<Residual>,
    /// Standard deviation of the residuals with n − p, mm or share of the style.
    pub sigma: f64,
    /// 1 − Σ residual² ÷ Σ (length − mean length)²; none where all lengths are
    /// the same.
    pub r2: Option<f64>,
    /// How many observations.
    pub n: usize,
    /// Lowest and highest temperature observed, °C.
    pub covered: (f64, f64),
    /// What a reader must know beside the figures.
    pub notes: Vec<Note>,
    /// The curve as a document that [`Curve::from_fields`] reads.
    pub curve: Value,
}

impl Fit {
    /// Fits the curve that a document asks for: `form` (`nodes` or `beta`),
    /// `unit` (as of a curve), `source`, `observations`: a list of `celsius`,
    /// `hours` and `length_mm` (for a unit in mm) or `length_share`;
    /// optionally `lag` (true: a start lag is estimated too), `end_point`,
    /// `cultivars`. For `nodes` the temperatures `zero_below` and `zero_above`
    /// at which growth is taken to end; for `beta` `tmin` or `tmax` where they
    /// are fixed.
    ///
    /// # Errors
    /// All faults of the document; or, where it reads, why the observations do
    /// not carry such a curve.
    pub fn of(document: &Value) -> Result<Fit, Faults> {
        let asked = input::read(document, Asked::from_fields)?;
        asked.enough()?;
        let shape = Shape::new(&asked);
        let found = squares::fit(&shape, &asked).map_err(|stuck| asked.told(&shape, &stuck))?;
        asked.sensible(&shape, &found.values)?;
        let fit = Fit::from_found(&asked, &shape, &found);
        read_back(&fit.curve, &asked)?;
        Ok(fit)
    }

    fn from_found(asked: &Asked, shape: &Shape, found: &Found) -> Fit {
        let n = asked.observations.len();
        let t = stats::student_95(n - found.values.len());
        let parameters = (0..found.values.len())
            .map(|index| {
                let (name, unit, scale) = shape.named(index, asked);
                let standard_error = found.errors[index] * scale;
                let value = found.values[index] * scale;
                Parameter { name, unit, value, standard_error, half_width_95: t * standard_error }
            })
            .collect();
        let residuals: Vec<Residual> = asked
            .observations
            .iter()
            .map(|seen| {
                let fitted = shape.length(&found.values, seen);
                let residual = seen.length - fitted;
                Residual { celsius: seen.celsius, hours: seen.hours, length: seen.length, fitted, residual }
            })
            .collect();
        let mean = residuals.iter().map(|seen| seen.length).sum::<f64>() / n as f64;
        let about: f64 = residuals.iter().map(|seen| (seen.length - mean) * (seen.length - mean)).sum();
        let mut fit = Fit {
            form: asked.form,
            unit: asked.unit.to_owned(),
            parameters,
            lag_hours: shape.lag(&found.values),
            residuals,
            sigma: found.sigma,
            r2: (about > 0.0).then(|| 1.0 - found.squares / about),
            n,
            covered: asked.covered(),
            notes: Vec::new(),
            curve: document(asked, shape, &found.values),
        };
        fit.notes = notes::all(&fit, asked);
        fit
    }
}

/// The curve document of the fitted values, which are per hour.
fn document(asked: &Asked, shape: &Shape, values: &[f64]) -> Value {
    let per_unit = asked.hours_in_unit();
    let mut curve = json!({"form": asked.form.word(), "unit": asked.unit});
    match shape.beta(values) {
        Some(beta) => {
            curve["tmin"] = json!(beta.tmin);
            curve["topt"] = json!(beta.topt);
            curve["tmax"] = json!(beta.tmax);
            curve["rate_at_topt"] = json!(beta.best * per_unit);
        }
        None => {
            let (below, above) = asked.zeros;
            let tried = shape.temperatures().iter().zip(values).map(|(t, rate)| (*t, rate * per_unit));
            let nodes: Vec<(f64, f64)> =
                std::iter::once((below, 0.0)).chain(tried).chain(std::iter::once((above, 0.0))).collect();
            curve["nodes"] = json!(nodes);
        }
    }
    curve["source"] = json!(asked.source);
    curve["status"] = json!("measured");
    curve["covered"] = json!(asked.covered());
    curve["lag_inside"] = json!(!asked.lag);
    if let Some(hours) = shape.lag(values) {
        curve["lag_hours"] = json!(hours);
    }
    curve["end_point"] = json!(asked.end_point);
    if !asked.cultivars.is_empty() {
        curve["cultivars"] = json!(asked.cultivars);
    }
    curve
}

/// Whatever a curve is refused for, a fitted one is too.
fn read_back(curve: &Value, asked: &Asked) -> Result<(), Faults> {
    let read = input::read(curve, |fields| Curve::from_fields("fitted", fields));
    read.map(|_| ()).map_err(|faults| {
        let told = |fault: Fault| {
            let detail =
                format!("the curve that fits best cannot be used: {} {}", fault.pointer, fault.detail);
            Fault { pointer: asked.pointer_of(&fault.pointer), detail }
        };
        Faults(faults.0.into_iter().map(told).collect())
    })
}

#[cfg(test)]
mod tests;
