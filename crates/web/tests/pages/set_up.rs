//! Setting up: from the first sign-in to a block with its plan and readings.

mod calendars;
mod file;
mod kept;
mod limits;
mod mail;
mod place;
mod planted;
mod readings;
mod steps;
mod together;

use axum::http::StatusCode;

use crate::house::{Answer, House, cookie_of, whole};

/// The operator of a house that nobody else is in, signed in.
async fn operator(house: &House) -> String {
    let secret = access::link::claim(&house.store, house.now()).await.unwrap().unwrap();
    let form = format!("name=Ole&email=ole%40larkmoor.example&password={}", crate::house::PASSWORD);
    house.post(&format!("/claim/{secret}"), &form).await;
    let form = format!("email=ole%40larkmoor.example&password={}", crate::house::PASSWORD);
    cookie_of(&house.post("/sign-in", &form).await)
}

/// Where a form led to.
fn led_to(answer: &Answer) -> String {
    assert_eq!(answer.status, StatusCode::SEE_OTHER, "{}", answer.body);
    answer.location.clone().unwrap()
}

/// A form that was refused, with all of these in it.
fn refused(answer: &Answer, parts: &[&str]) {
    assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY, "{}", answer.body);
    whole(answer);
    for part in parts.iter().chain(&["role=\"alert\""]) {
        assert!(answer.body.contains(part), "{part}: {}", answer.body);
    }
}
