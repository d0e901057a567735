//! The two forms as functions of their figures, with their slopes.

use crate::curve::beta_share;
use crate::fit::Form;
use crate::fit::asked::{Asked, Observation, TAKEN_C};

/// Closer than this to another one or to the edge, a cardinal temperature has
/// run into it, °C (constructed).
const AT_EDGE_C: f64 = 0.25;
/// Farthest below zero that a lag is followed, h; it is refused there anyway.
const LEAST_LAG: f64 = -720.0;

/// The figures of a beta curve, the rate per hour.
#[derive(Debug, Clone, Copy)]
pub(super) struct Beta {
    pub tmin: f64,
    pub topt: f64,
    pub tmax: f64,
    pub best: f64,
}

/// What is estimated, in order: for nodes the rate at each temperature; for
/// beta `tmin` and `tmax` unless fixed, round `topt`, then the rate at it; last
/// the lag. Rates are per hour.
#[derive(Debug, Clone)]
pub(super) struct Shape {
    pub(super) form: Form,
    pub(super) lag: bool,
    pub(super) fixed: (Option<f64>, Option<f64>),
    pub(super) temperatures: Vec<f64>,
    /// Shortest time after which a tube had grown, and the longest of all, h.
    pub(super) times: (f64, f64),
}

impl Shape {
    pub(super) fn new(asked: &Asked) -> Shape {
        let grown = asked.observations.iter().filter(|seen| seen.length > 0.0);
        let shortest = grown.map(|seen| seen.hours).fold(f64::INFINITY, f64::min);
        let longest = asked.observations.iter().map(|seen| seen.hours).fold(0.0, f64::max);
        Shape {
            form: asked.form,
            lag: asked.lag,
            fixed: asked.fixed,
            temperatures: asked.temperatures(),
            times: (shortest, longest),
        }
    }

    /// The different temperatures, rising.
    pub(super) fn temperatures(&self) -> &[f64] {
        &self.temperatures
    }

    /// Name, unit and the factor from per hour of a figure.
    pub(super) fn named(&self, index: usize, asked: &Asked) -> (String, String, f64) {
        let rate = |name: String| (name, asked.unit.to_owned(), asked.hours_in_unit());
        match (self.form, self.names().get(index)) {
            (Form::Nodes, None) => match self.temperatures.get(index) {
                Some(celsius) => rate(format!("rate_at_{celsius}")),
                None => ("lag_hours".to_owned(), "hours".to_owned(), 1.0),
            },
            (_, Some(&"rate_at_topt")) => rate("rate_at_topt".to_owned()),
            (_, Some(name)) => ((*name).to_owned(), "celsius".to_owned(), 1.0),
            (_, None) => ("lag_hours".to_owned(), "hours".to_owned(), 1.0),
        }
    }

    /// Names of a beta curve's figures that are estimated.
    fn names(&self) -> Vec<&'static str> {
        if self.form == Form::Nodes {
            return Vec::new();
        }
        let tmin = self.fixed.0.is_none().then_some("tmin");
        let tmax = self.fixed.1.is_none().then_some("tmax");
        [tmin, Some("topt"), tmax, Some("rate_at_topt")].into_iter().flatten().collect()
    }

    pub(super) fn lag(&self, values: &[f64]) -> Option<f64> {
        if self.lag { values.last().copied() } else { None }
    }

    pub(super) fn beta(&self, values: &[f64]) -> Option<Beta> {
        if self.form == Form::Nodes {
            return None;
        }
        let mut values = values.iter().copied();
        let tmin = self.fixed.0.or_else(|| values.next())?;
        let topt = values.next()?;
        let tmax = self.fixed.1.or_else(|| values.next())?;
        Some(Beta { tmin, topt, tmax, best: values.next()? })
    }

    /// Hours that a tube has grown.
    fn grown(&self, values: &[f64], seen: &Observation) -> f64 {
        (seen.hours - self.lag(values).unwrap_or(0.0)).max(0.0)
    }

    pub(super) fn node(&self, celsius: f64) -> usize {
        self.temperatures.partition_point(|tried| *tried < celsius)
    }

    fn rate(&self, values: &[f64], celsius: f64) -> f64 {
        match self.beta(values) {
            Some(beta) => beta.best * beta_share(celsius, beta.tmin, beta.topt, beta.tmax),
            None => values[self.node(celsius)],
        }
    }

    /// Length by these values.
    pub(super) fn length(&self, values: &[f64], seen: &Observation) -> f64 {
        self.rate(values, seen.celsius) * self.grown(values, seen)
    }

    /// How the length changes with each of the values.
    pub(super) fn slopes(&self, values: &[f64], seen: &Observation, row: &mut [f64]) {
        row.fill(0.0);
        let grown = self.grown(values, seen);
        match self.beta(values) {
            Some(beta) => {
                let [tmin, topt, tmax, best] = beta.slopes(seen.celsius);
                let free = [
                    self.fixed.0.is_none().then_some(tmin),
                    Some(topt),
                    self.fixed.1.is_none().then_some(tmax),
                    Some(best),
                ];
                for (slope, of) in row.iter_mut().zip(free.into_iter().flatten()) {
                    *slope = of * grown;
                }
            }
            None => row[self.node(seen.celsius)] = grown,
        }
        if self.lag && grown > 0.0 {
            row[values.len() - 1] = -self.rate(values, seen.celsius);
        }
    }

    /// Whether these values make a curve at all.
    pub(super) fn allowed(&self, values: &[f64]) -> bool {
        let lag = self.lag(values).is_none_or(|lag| lag > LEAST_LAG && lag < self.times.1);
        let beta = self.beta(values).is_none_or(|beta| {
            let ordered = beta.tmin < beta.topt && beta.topt < beta.tmax;
            ordered && beta.tmin >= TAKEN_C.0 && beta.tmax <= TAKEN_C.1 && beta.best > 0.0
        });
        lag && beta && values.iter().all(|value| value.is_finite())
    }

    /// Which figure ran into the edge of what is allowed, and what that means.
    pub(super) fn at_edge(&self, values: &[f64]) -> Option<(&'static str, String)> {
        if self.lag(values).is_some_and(|lag| lag < 0.0) {
            let why = "comes out before pollination: these observations show no start lag; leave lag out";
            return Some(("lag", why.to_owned()));
        }
        let beta = self.beta(values)?;
        let ends = "observe at more temperatures on that side, fix it, or fit nodes";
        let (low, high) = TAKEN_C;
        if self.fixed.0.is_none() && beta.tmin < low + AT_EDGE_C {
            let why = format!("runs down to {low} °C: nothing observed tells where growth begins; {ends}");
            return Some(("tmin", why));
        }
        if self.fixed.1.is_none() && beta.tmax > high - AT_EDGE_C {
            let why = format!("runs up to {high} °C: nothing observed tells where growth ends; {ends}");
            return Some(("tmax", why));
        }
        let narrow = beta.topt - beta.tmin < AT_EDGE_C || beta.tmax - beta.topt < AT_EDGE_C;
        narrow.then(|| {
            let why = format!(
                "the best temperature runs into the end of growth (tmin {:.1}, topt {:.1}, tmax {:.1} °C), where \
                 tmin < topt < tmax breaks; observe at more temperatures on both sides of the best one, fix tmin \
                 or tmax, or fit nodes",
                beta.tmin, beta.topt, beta.tmax
            );
            ("topt", why)
        })
    }
}

impl Beta {
    /// How the rate at a temperature changes with `tmin`, `topt`, `tmax` and
    /// the rate at `topt`: the derivatives of its logarithm times itself.
    fn slopes(&self, celsius: f64) -> [f64; 4] {
        let Beta { tmin, topt, tmax, best } = *self;
        let share = beta_share(celsius, tmin, topt, tmax);
        if share == 0.0 {
            return [0.0; 4];
        }
        let (rise, fall) = (topt - tmin, tmax - topt);
        let (power, log) = (rise / fall, libm::log((celsius - tmin) / rise));
        let by_tmin = -log / fall + power * (1.0 / rise - 1.0 / (celsius - tmin));
        let by_topt = 1.0 / fall + (tmax - tmin) / (fall * fall) * log - power / rise;
        let by_tmax = 1.0 / (tmax - celsius) - 1.0 / fall - rise / (fall * fall) * log;
        let rate = best * share;
        [rate * by_tmin, rate * by_topt, rate * by_tmax, share]
    }
}
