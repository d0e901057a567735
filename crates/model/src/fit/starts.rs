//! Where the search for the best figures begins.

use crate::fit::Form;
use crate::fit::asked::{Observation, TAKEN_C};
use crate::fit::shape::Shape;

/// How far beyond the temperatures tried the search for `tmin` and `tmax`
/// begins, °C (constructed; the best of all starts is kept).
const STARTS_C: [f64; 3] = [1.0, 4.0, 10.0];
/// Where the search for the lag begins, as shares of the shortest time after
/// which a tube had grown (constructed).
const LAG_STARTS: [f64; 2] = [0.1, 0.6];
impl Shape {
    /// Where the search begins. For nodes the rates at each lag begun with, in
    /// closed form (Σ h·length ÷ Σ h²), which without a lag is the answer; for
    /// beta the greatest of those rates at its temperature, with the ends a
    /// little and further outside the temperatures tried.
    pub(super) fn starts(&self, observations: &[Observation]) -> Vec<Vec<f64>> {
        let lags: Vec<f64> =
            if self.lag { LAG_STARTS.iter().map(|share| share * self.times.0).collect() } else { vec![0.0] };
        let mut starts = Vec::new();
        for lag in lags {
            let rates = self.rates(observations, lag);
            let lag = self.lag.then_some(lag);
            if self.form == Form::Nodes {
                starts.push(rates.into_iter().chain(lag).collect());
                continue;
            }
            let (best, topt) =
                rates.iter().zip(&self.temperatures).fold((0.0, 0.0), |most: (f64, f64), (rate, celsius)| {
                    if *rate > most.0 { (*rate, *celsius) } else { most }
                });
            for below in STARTS_C {
                for above in STARTS_C {
                    starts.push(self.beta_start(topt, best, below, above).into_iter().chain(lag).collect());
                }
            }
        }
        starts
    }

    fn beta_start(&self, topt: f64, best: f64, below: f64, above: f64) -> Vec<f64> {
        let (low, high) = (self.temperatures[0], self.temperatures[self.temperatures.len() - 1]);
        let tmin = self.fixed.0.unwrap_or((low - below).max(TAKEN_C.0));
        let tmax = self.fixed.1.unwrap_or((high + above).min(TAKEN_C.1));
        let (tmin, tmax) = if tmin < tmax { (tmin, tmax) } else { self.round(tmin, tmax) };
        let inside = (tmax - tmin) / 10.0;
        let topt = topt.clamp(tmin + inside, tmax - inside);
        let free = [
            self.fixed.0.is_none().then_some(tmin),
            Some(topt),
            self.fixed.1.is_none().then_some(tmax),
            Some(best),
        ];
        free.into_iter().flatten().collect()
    }

    /// Ends in their order where a fixed one lies beyond all that was tried.
    fn round(&self, tmin: f64, tmax: f64) -> (f64, f64) {
        if self.fixed.0.is_some() {
            (tmin, (tmin + 10.0).min(TAKEN_C.1))
        } else {
            ((tmax - 10.0).max(TAKEN_C.0), tmax)
        }
    }

    fn rates(&self, observations: &[Observation], lag: f64) -> Vec<f64> {
        let mut sums = vec![(0.0, 0.0); self.temperatures.len()];
        for seen in observations {
            let grown = (seen.hours - lag).max(0.0);
            let sum = &mut sums[self.node(seen.celsius)];
            *sum = (sum.0 + grown * seen.length, sum.1 + grown * grown);
        }
        sums.into_iter().map(|(with, of)| if of > 0.0 { with / of } else { 0.0 }).collect()
    }
}
