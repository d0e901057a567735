//! A date as `2026-04-28`, for serde.

use chrono::NaiveDate;
use serde::{Deserialize, Deserializer, Serializer};

pub(crate) fn serialize<S: Serializer>(date: &NaiveDate, to: S) -> Result<S::Ok, S::Error> {
    to.collect_str(date)
}

pub(crate) fn deserialize<'de, D: Deserializer<'de>>(from: D) -> Result<NaiveDate, D::Error> {
    String::deserialize(from)?.parse().map_err(serde::de::Error::custom)
}

/// The same where there may be none.
pub(crate) mod option {
    use super::*;

    pub(crate) fn serialize<S: Serializer>(date: &Option<NaiveDate>, to: S) -> Result<S::Ok, S::Error> {
        match date {
            Some(date) => to.collect_str(date),
            None => to.serialize_none(),
        }
    }

    pub(crate) fn deserialize<'de, D: Deserializer<'de>>(from: D) -> Result<Option<NaiveDate>, D::Error> {
        let text = Option::<String>::deserialize(from)?;
        text.map(|text| text.parse().map_err(serde::de::Error::custom)).transpose()
    }
}
