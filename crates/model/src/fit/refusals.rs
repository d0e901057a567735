//! When observations do not carry what is asked of them, in words.

use crate::fit::Form;
use crate::fit::asked::Asked;
use crate::fit::shape::Shape;
use crate::fit::squares::Stuck;
use crate::input::Faults;

/// Most temperatures with a rate of their own: a degree each from 0 to 45 °C.
const MOST_NODES: usize = 46;

impl Asked {
    /// Whether there are observations enough for what is asked for.
    pub(super) fn enough(&self) -> Result<(), Faults> {
        let refuse = |detail: String| Err(Faults::one("/observations", detail));
        let (tried, n) = (self.temperatures().len(), self.observations.len());
        let free = 4 - usize::from(self.fixed.0.is_some()) - usize::from(self.fixed.1.is_some());
        let (wanted, parameters) = match self.form {
            Form::Nodes => (2, tried + usize::from(self.lag)),
            Form::Beta => (free, free + usize::from(self.lag)),
        };
        if tried < wanted {
            return refuse(match self.form {
                Form::Nodes => {
                    format!("have {} only: a curve takes at least two", different(tried, "temperature"))
                }
                Form::Beta => format!(
                    "have {} for {free} figures of the curve; observe at {} more, or fix tmin or tmax",
                    different(tried, "temperature"),
                    free - tried
                ),
            });
        }
        if self.form == Form::Nodes && tried > MOST_NODES {
            return refuse(format!(
                "have {tried} different temperatures; a rate is fitted at no more than {MOST_NODES}: round them \
                 to those that were set, or fit a beta curve"
            ));
        }
        if n < parameters + 1 {
            return refuse(format!(
                "are {n} for {parameters} figures to estimate; at least {} are needed, so that something is left \
                 to judge the fit by",
                parameters + 1
            ));
        }
        if self.observations.iter().all(|seen| seen.length == 0.0) {
            return refuse("have no tube that grew: there is no rate to fit".to_owned());
        }
        let mut times: Vec<f64> = self.observations.iter().map(|seen| seen.hours).collect();
        times.sort_by(f64::total_cmp);
        times.dedup();
        if self.lag && times.len() < 2 {
            return Err(Faults::one(
                "/lag",
                "cannot be told from the rate when all tubes were measured after the same time; measure at two \
                 times or more, or leave lag out",
            ));
        }
        Ok(())
    }

    /// Whether the fitted values can be those of living tubes.
    pub(super) fn sensible(&self, shape: &Shape, values: &[f64]) -> Result<(), Faults> {
        let Some(lag) = shape.lag(values) else {
            return Ok(());
        };
        let grown = self.observations.iter().filter(|seen| seen.length > 0.0);
        let shortest = grown.map(|seen| seen.hours).fold(f64::INFINITY, f64::min);
        if lag >= shortest {
            return Err(Faults::one(
                "/lag",
                format!(
                    "comes out at {lag:.1} h, but a tube had grown after {shortest} h already; look at that \
                     observation, or leave lag out"
                ),
            ));
        }
        if lag < 0.0 {
            return Err(Faults::one(
                "/lag",
                format!(
                    "comes out at {lag:.1} h, before pollination: these observations show no start lag; leave \
                     lag out"
                ),
            ));
        }
        Ok(())
    }

    /// Why no fit was found, in words.
    pub(super) fn told(&self, shape: &Shape, stuck: &Stuck) -> Faults {
        let name = |index: usize| shape.named(index, self).0;
        match stuck {
            Stuck::Untold(index) if name(*index) == "lag_hours" => Faults::one(
                "/lag",
                "cannot be told from the rates by these observations; measure at each temperature after two times \
                 or more, or leave lag out",
            ),
            Stuck::Untold(index) => Faults::one(
                self.pointer_of(&format!("/{}", name(*index))),
                format!(
                    "{} cannot be told from the other figures by these observations; {}",
                    name(*index),
                    self.remedy()
                ),
            ),
            Stuck::AtEdge { name, why } => Faults::one(self.pointer_of(&format!("/{name}")), why.clone()),
            Stuck::NotSettled => Faults::one(
                "/observations",
                "no curve of this form settles on these observations; look for a slip among them, or try the other \
                 form",
            ),
        }
    }

    fn remedy(&self) -> &'static str {
        match self.form {
            Form::Nodes => "observe that temperature at more times, or leave it out",
            Form::Beta => {
                "observe at more temperatures below and above the best one (one at which no tube grew tells little), \
                 fix tmin or tmax, or fit nodes"
            }
        }
    }

    /// Where in the document a fault of a figure of the curve belongs.
    pub(super) fn pointer_of(&self, figure: &str) -> String {
        let own = match (self.form, figure) {
            (Form::Beta, "/tmin" | "/tmax") => true,
            (_, figure) => {
                ["/lag", "/source", "/cultivars", "/end_point"].iter().any(|own| figure.starts_with(own))
            }
        };
        if own { figure.to_owned() } else { "/observations".to_owned() }
    }
}

/// "one temperature", "3 different temperatures".
fn different(count: usize, what: &str) -> String {
    if count == 1 { format!("one {what}") } else { format!("{count} different {what}s") }
}
