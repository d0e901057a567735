//! The checker of accessibility.

use black_box::browser::{Window, build};
use black_box::program::bytes;

/// The script of axe-core.
pub(crate) struct Axe(String);

impl Axe {
    /// # Panics
    /// When it is not there.
    pub(crate) fn fetched() -> Axe {
        let path = build().join("axe/package/axe.min.js");
        assert!(path.exists(), "{} is missing: tests/run fetches axe-core", path.display());
        Axe(String::from_utf8(bytes(&path)).unwrap())
    }

    /// What it holds to be serious or critical on the page that is shown.
    pub(crate) async fn faults(&self, window: &Window) -> Vec<String> {
        window.run(&self.0).await;
        let found = window
            .run_to_its_call(
                "axe.run().then(found => arguments[0](found.violations
                    .filter(fault => ['serious', 'critical'].includes(fault.impact))
                    .flatMap(fault => fault.nodes.map(node =>
                        `${fault.impact}: ${fault.help} (${fault.id}): ${node.html} ${node.failureSummary}`))),
                failed => arguments[0]([String(failed)]))",
            )
            .await;
        found.as_array().unwrap().iter().map(|fault| fault.as_str().unwrap().to_owned()).collect()
    }
}
