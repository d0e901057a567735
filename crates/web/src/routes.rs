//! The table of routes: what is added to the router is noted in the same step, so
//! that no page stands beside the list that the browser's tests go through.

use axum::Router;
use axum::handler::Handler;
use axum::middleware::from_fn;
use axum::routing::{get, post};

use crate::{Web, kept};

/// Routes, with the paths of all that is read.
#[derive(Default)]
pub(crate) struct Routes {
    router: Router<Web>,
    read: Vec<&'static str>,
}

impl Routes {
    /// A path that is read.
    pub(crate) fn get<H: Handler<T, Web>, T: 'static>(mut self, path: &'static str, handler: H) -> Routes {
        self.read.push(path);
        self.router = self.router.route(path, get(handler));
        self
    }

    /// The same of a page for whoever is signed in, whose browser may keep it if it asks
    /// each time whether it still is so. A page with a secret in its address is none.
    pub(crate) fn kept<H: Handler<T, Web>, T: 'static>(mut self, path: &'static str, handler: H) -> Routes {
        self.read.push(path);
        self.router = self.router.route(path, get(handler).layer(from_fn(kept::tagged)));
        self
    }

    /// A path that browsers fetch beside pages, and that is no page itself.
    pub(crate) fn file<H: Handler<T, Web>, T: 'static>(mut self, path: &'static str, handler: H) -> Routes {
        self.router = self.router.route(path, get(handler));
        self
    }

    /// A path to which something is sent.
    pub(crate) fn post<H: Handler<T, Web>, T: 'static>(mut self, path: &'static str, handler: H) -> Routes {
        self.router = self.router.route(path, post(handler));
        self
    }

    /// All of them.
    pub(crate) fn into_router(self) -> Router<Web> {
        self.router
    }

    /// The paths that are read, with their parameters in braces.
    pub(crate) fn into_read(self) -> Vec<&'static str> {
        self.read
    }
}
