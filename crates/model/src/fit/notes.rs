//! What a reader must know beside the figures of a fit.

use crate::fit::asked::Asked;
use crate::fit::{Fit, Form, Parameter};
use crate::season::Note;

/// A cardinal temperature with a wider 95 % half-width is called loose, °C
/// (constructed).
const LOOSE_C: f64 = 3.0;
/// A rate or lag with a wider 95 % half-width is called loose, as a share of
/// itself (constructed).
const LOOSE_SHARE: f64 = 0.3;
/// Mean of the residuals at the shortest time below minus so many of its
/// standard errors speaks of a lag (constructed).
const LAG_LIKELY: f64 = 2.0;

pub(super) fn all(fit: &Fit, asked: &Asked) -> Vec<Note> {
    let mut notes = vec![lag(fit), beyond(fit, asked)];
    notes.extend(lag_likely(fit));
    notes.extend(fixed(asked));
    notes.extend(fit.parameters.iter().filter(|parameter| loose(parameter)).map(told_loose));
    notes.extend(once(fit));
    notes.extend(arrived(fit));
    notes.extend(unusual(asked));
    notes
}

fn lag(fit: &Fit) -> Note {
    match fit.lag_hours {
        None => Note::new(
            "lag-inside",
            "No start lag was estimated, so the hours before tubes begin to grow are inside these rates: a lag \
             added beside them counts it twice.",
        ),
        Some(lag) => Note::new(
            "lag-apart",
            format!(
                "A start lag of {lag:.1} h stands beside these rates and is not inside them: each leg's tubes begin \
                 to grow so much after it."
            ),
        ),
    }
}

/// Tubes that are all shorter than the fit after the shortest time began later
/// than at pollination.
fn lag_likely(fit: &Fit) -> Option<Note> {
    let hours = || fit.residuals.iter().map(|seen| seen.hours);
    let (shortest, longest) = (hours().fold(f64::INFINITY, f64::min), hours().fold(0.0, f64::max));
    if fit.lag_hours.is_some() || shortest >= longest {
        return None;
    }
    let early: Vec<f64> =
        fit.residuals.iter().filter(|seen| seen.hours == shortest).map(|seen| seen.residual).collect();
    let count = early.len() as f64;
    let mean = early.iter().sum::<f64>() / count;
    (mean * libm::sqrt(count) < -LAG_LIKELY * fit.sigma).then(|| {
        let text = format!(
            "After {shortest} h the tubes are shorter than the fit by {:.3} in the mean: they may have begun to grow \
             later than at pollination. Try `lag`.",
            -mean
        );
        Note::new("lag-likely", text)
    })
}

fn beyond(fit: &Fit, asked: &Asked) -> Note {
    let (low, high) = fit.covered;
    let rests = match fit.form {
        Form::Nodes => {
            let (below, above) = asked.zeros;
            format!(
                "straight lines to no growth at {below} and {above} °C, which were given and not measured"
            )
        }
        Form::Beta => "the form of the curve alone".to_owned(),
    };
    Note::new("covered", format!("Observed from {low} to {high} °C; outside, the rate rests on {rests}."))
}

fn fixed(asked: &Asked) -> Option<Note> {
    let (tmin, tmax) = asked.fixed;
    let said = |name: &str, celsius: Option<f64>| celsius.map(|celsius| format!("{name} at {celsius} °C"));
    let fixed: Vec<String> = [said("tmin", tmin), said("tmax", tmax)].into_iter().flatten().collect();
    (!fixed.is_empty()).then(|| {
        let text =
            format!("Given and not estimated: {}. The standard errors take it as exact.", fixed.join(", "));
        Note::new("fixed", text)
    })
}

fn loose(parameter: &Parameter) -> bool {
    if parameter.unit == "celsius" {
        return parameter.half_width_95 > LOOSE_C;
    }
    parameter.half_width_95 > LOOSE_SHARE * parameter.value.abs()
}

fn told_loose(parameter: &Parameter) -> Note {
    let text = format!(
        "{} is hardly known: {:.3} ± {:.3} ({}, 95 %).",
        parameter.name, parameter.value, parameter.half_width_95, parameter.unit
    );
    Note::new("loose", text)
}

/// Temperatures with a rate that rests on one observation.
fn once(fit: &Fit) -> Option<Note> {
    let seen = |celsius: f64| fit.residuals.iter().filter(|seen| seen.celsius == celsius).count();
    let once: Vec<String> = fit
        .residuals
        .iter()
        .filter(|residual| fit.form == Form::Nodes && seen(residual.celsius) == 1)
        .map(|residual| residual.celsius.to_string())
        .collect();
    (!once.is_empty()).then(|| {
        Note::new("observed-once", format!("The rate rests on one observation at: {} °C.", once.join(", ")))
    })
}

/// A tube at the foot of the style has nowhere to go on: its length says that
/// it came so far by then, not when.
fn arrived(fit: &Fit) -> Option<Note> {
    let share = fit.unit.starts_with("fraction");
    let there = fit.residuals.iter().filter(|seen| share && seen.length >= 1.0).count();
    (there > 0).then(|| {
        let text = format!(
            "{there} of {} observations were at the foot of the style already and may have been for some time: \
             the true rate there may be higher.",
            fit.n
        );
        Note::new("arrived", text)
    })
}

fn unusual(asked: &Asked) -> Vec<Note> {
    let told = asked.observations.iter().filter_map(|seen| {
        let reason = seen.reason.as_ref()?;
        Some(Note::new("reason", format!("{} °C after {} h: {reason}", seen.celsius, seen.hours)))
    });
    told.collect()
}
