//! What the service is compared to: a handler that answers with a constant body
//! of a given size, and reads nothing.
#![allow(clippy::print_stdout, clippy::unwrap_used, reason = "a measuring tool says where it listens")]

use axum::Router;
use axum::routing::get;

fn main() {
    let size: usize = std::env::args().nth(1).and_then(|size| size.parse().ok()).unwrap_or(4_096);
    let body: &'static str = "x".repeat(size).leak();
    let runtime = tokio::runtime::Builder::new_multi_thread().enable_all().build().unwrap();
    runtime.block_on(async {
        let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await.unwrap();
        println!("{}", listener.local_addr().unwrap());
        axum::serve(listener, Router::new().route("/", get(move || async move { body }))).await.unwrap();
    });
}
