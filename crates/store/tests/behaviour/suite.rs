//! Counts which methods were called.

use std::collections::BTreeSet;
use std::future::Future;
use std::sync::Mutex;

use store::{METHODS, Store};

/// A database under test.
pub struct Suite {
    pub url: String,
    /// As who may bring it up to date.
    pub owner: String,
    store: Option<Store>,
    called: Mutex<BTreeSet<&'static str>>,
}

impl Suite {
    /// A database that is not open yet.
    pub fn new(url: &str, owner: &str) -> Suite {
        Suite { url: url.to_owned(), owner: owner.to_owned(), store: None, called: Mutex::default() }
    }

    /// The same, open.
    pub async fn opened(self) -> Suite {
        self.called("open");
        let store = Store::open(&self.url).await.unwrap();
        Suite { store: Some(store), ..self }
    }

    /// The open database.
    pub fn store(&self) -> &Store {
        self.store.as_ref().expect("opened before the behaviours")
    }

    /// Notes that a method is called.
    pub fn called(&self, name: &'static str) {
        assert!(METHODS.contains(&name), "`{name}` is no method of the store");
        self.called.lock().unwrap().insert(name);
    }

    /// Runs one behaviour under its name.
    pub async fn step(&self, name: &str, behaviour: impl Future<Output = ()>) {
        println!("- {name}");
        behaviour.await;
    }

    /// Fails while the list of methods has one that was not called.
    pub fn all_methods_were_called(&self) {
        let called = self.called.lock().unwrap();
        let left: Vec<_> = METHODS.iter().filter(|name| !called.contains(*name)).collect();
        assert!(left.is_empty(), "the suite calls none of {left:?}");
        println!("{} methods called", called.len());
    }
}

/// Calls a method of the store and counts it.
macro_rules! call {
    ($suite:expr, $name:ident($($argument:expr),* $(,)?)) => {{
        $suite.called(stringify!($name));
        $suite.store().$name($($argument),*).await
    }};
}
pub(crate) use call;
