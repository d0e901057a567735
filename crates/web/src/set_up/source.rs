//! Where a site's temperatures come from, as a choice in a form.

use api::{Asked, Undone, View};
use serde_json::{Value, json};
use store::Way;

use crate::fields::{Field, Sent};
use crate::words::Words;

/// What a feed's choice begins with, before the provider's name.
const FEED: &str = "feed:";

/// The choice. Which feeds there are is the server's setting.
pub(crate) fn field(view: &View, words: &Words) -> Field {
    let feeds = view.providers().iter().map(|provider| {
        let said = words.fill("source.feed", &[("name", &provider.name), ("credit", &provider.attribution)]);
        (format!("{FEED}{}", provider.name), said)
    });
    let others = [("file", words.get("source.file")), ("hand", words.get("source.hand"))];
    let others = others.map(|(value, said)| (value.to_owned(), said.to_owned()));
    Field::choice("source", words.get("source.label"), feeds.chain(others).collect())
        .hint(words.get("source.hint"))
}

/// The source that was chosen, as a document; the name is the provider's or one of ours.
fn chosen(sent: &Sent, words: &Words) -> Value {
    match sent.raw("source").strip_prefix(FEED) {
        Some(provider) => json!({"way": "feed", "provider": provider, "name": provider}),
        None => {
            let name = match sent.raw("source") {
                "hand" => words.get("source.hand_name"),
                _ => words.get("source.file_name"),
            };
            json!({"way": sent.raw("source"), "name": name})
        }
    }
}

/// Adds the source that was chosen to a site, and gives the page that it leads to.
pub(crate) async fn add(view: &View, words: &Words, site_id: &str, sent: &Sent) -> Result<String, Undone> {
    let added = view.ask(Asked::post(&["sites", site_id, "sources"], &chosen(sent, words))).await?;
    Ok(match added.document["way"].as_str().and_then(Way::named) {
        Some(Way::File) => format!("/sites/{site_id}/import"),
        _ => format!("/sites/{site_id}/feed-test"),
    })
}
