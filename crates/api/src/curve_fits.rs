//! Growth curves from tubes that people measured. Nothing is kept: who is content
//! with one adds it with `POST /curves`.

use axum::Json;
use axum::response::IntoResponse;
use model::curve::Curve;
use model::fit::Fit;
use model::input::{self, Faults};
use serde::Serialize;
use serde_json::Value;
use utoipa::{IntoParams, ToSchema};

use crate::answer::Answer;
use crate::desk::Here;
use crate::problem::Problem;
use crate::query::Query;
use crate::request::Document;

/// What to fit, and from what.
#[derive(ToSchema)]
#[allow(dead_code, reason = "it stands for the body in the document")]
pub(crate) struct FitAsked {
    /// `nodes` or `beta`.
    form: String,
    /// `mm-per-hour`, `mm-per-day`, `fraction-per-hour` or `fraction-per-day`.
    unit: String,
    /// Who measured, where and when; goes into the curve.
    source: String,
    #[schema(min_items = 1, max_items = 1000)]
    observations: Vec<Observed>,
    /// Whether a start lag is estimated too.
    lag: Option<bool>,
    /// `style-base`, `ovule` or `unknown`.
    end_point: Option<String>,
    cultivars: Option<Vec<String>>,
    /// Where growth is taken to end, °C, of the form `nodes`.
    zero_below: Option<f64>,
    zero_above: Option<f64>,
    /// Where it is fixed, °C, of the form `beta`.
    tmin: Option<f64>,
    tmax: Option<f64>,
}

/// A tube, or the mean of several, at a constant temperature.
#[derive(ToSchema)]
#[allow(dead_code, reason = "it stands for observations in the document")]
pub(crate) struct Observed {
    celsius: f64,
    /// From pollination to measuring.
    hours: f64,
    /// For a unit in mm.
    length_mm: Option<f64>,
    /// For a unit in fractions of the style.
    length_share: Option<f64>,
    /// Why the temperature is an unusual one.
    reason: Option<String>,
}

/// A fitted curve with what tells how well it was fitted.
#[derive(ToSchema)]
#[allow(dead_code, reason = "it stands for fits in the document")]
pub(crate) struct FitShown {
    form: String,
    unit: String,
    /// Each with its standard error and half of its 95 % interval.
    #[schema(value_type = Vec<Object>)]
    parameters: Value,
    lag_hours: Option<f64>,
    /// Every observation beside what the fit makes of it.
    #[schema(value_type = Vec<Object>)]
    residuals: Value,
    /// Standard deviation of the residuals, mm or share of the style.
    sigma: f64,
    r2: Option<f64>,
    /// How many observations.
    n: i64,
    /// Lowest and highest temperature observed, °C.
    #[schema(value_type = Vec<f64>, min_items = 2, max_items = 2)]
    covered: Value,
    #[schema(value_type = Vec<Object>)]
    notes: Value,
    /// What `POST /curves` takes, once it is given an `id`.
    #[schema(value_type = Object)]
    curve: Value,
    /// The curve among its observations as SVG, where it was asked for.
    picture: Option<String>,
}

/// What comes with it.
#[derive(IntoParams)]
#[into_params(parameter_in = Query)]
#[allow(dead_code, reason = "it stands for parameters in the document")]
pub(crate) struct Pictured {
    /// Whether the picture comes with it.
    #[param(default = false)]
    picture: Option<bool>,
}

/// The same as it is answered.
#[derive(Serialize)]
struct Fitted {
    #[serde(flatten)]
    fit: Fit,
    picture: Option<String>,
}

/// Fits a growth curve to lengths of tubes. It changes nothing.
#[utoipa::path(post, path = "/curve-fits", tag = "curves and materials", operation_id = "fit-curve",
    params(Pictured), request_body = FitAsked, responses((status = 200, body = FitShown)))]
pub(crate) async fn fit(Here(_desk): Here, mut query: Query, Document(document): Document) -> Answer {
    let pictured = query.word("picture", &["true", "false"]) == Some("true");
    query.finish()?;
    // Up to a thousand observations in many iterations: off the async threads.
    let fitted = tokio::task::spawn_blocking(move || fitted(&document, pictured)).await;
    let fitted = fitted.map_err(|error| {
        tracing::error!(%error, "a curve could not be fitted");
        Problem::failed()
    })?;
    Ok(Json(fitted?).into_response())
}

fn fitted(document: &Value, pictured: bool) -> Result<Fitted, Faults> {
    let fit = Fit::of(document)?;
    let picture = pictured.then(|| input::read(&fit.curve, |fields| Curve::from_fields("fitted", fields)));
    let picture = picture.transpose()?.map(|curve| charts::fit::picture(&fit, &curve));
    Ok(Fitted { fit, picture })
}
