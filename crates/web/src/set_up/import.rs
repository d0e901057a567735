//! A station's file, sent from a page: looked at first, then stored as it was shown.

mod layout;
mod looked_at;
mod sent;

use access::Deed;
use api::{Asked, Undone};
use axum::extract::{Multipart, Path, Query};
use store::{Site, Source, Way};

use self::looked_at::LookedAt;
use super::FormPage;
use crate::fields::{Field, Form, Group, Sent, theirs};
use crate::visit::{Shown, Signed, Stop, on_to};
use crate::words::Words;

pub(crate) use self::sent::MOST_SENT;
pub(super) use self::sent::{FileSent, Upload};

/// The sources of a site that come by file.
async fn sources(signed: &Signed, site: &Site) -> Result<Vec<Source>, Stop> {
    let all = signed.0.store().sources_of(&site.id).await?;
    Ok(all.into_iter().filter(|source| source.way == Way::File).collect())
}

/// A site whose files the reader may send.
async fn site(signed: &Signed, id: &str) -> Result<Site, Stop> {
    let (site, _) = signed.site(id).await?;
    let Some(farm) = &site.farm_id else {
        return Err(Stop::NotAllowed(signed.words().get("import.of_the_server").to_owned()));
    };
    if !signed.0.caller().may(Deed::Log, farm) {
        return Err(Stop::NotAllowed(signed.words().get("import.not_theirs").to_owned()));
    }
    Ok(site)
}

fn form(signed: &Signed, sources: &[Source], sent: &Sent) -> Form {
    let words = signed.words();
    let choices = sources.iter().map(|source| (source.id.clone(), source.name.clone())).collect();
    let fields = vec![
        Field::choice("source", words.get("import.source"), choices),
        Field::file("file", words.get("import.file")).hint(words.get("import.file_hint")),
        Field::lines("rows", words.get("import.rows"), 6).hint(words.get("import.rows_hint")),
    ];
    let groups = vec![Group::of(fields), layout::group(words)];
    Form::new(words, words.get("import.look"), groups).uploading().filled(sent)
}

fn page_of(signed: &Signed, site: &Site, sources: &[Source], mut form: Form) -> FormPage {
    let words = signed.words();
    let mut cautions = Vec::new();
    if sources.is_empty() {
        cautions.push(words.get("import.no_source").to_owned());
        form.button.clear();
    }
    let page = FormPage::new(words, words.fill("import.title", &[("site", &site.name)]), form);
    let next = vec![(format!("/sites/{}/feed-test", site.id), words.get("import.to_sources").to_owned())];
    let farm = site.farm_id.as_deref().unwrap_or_default();
    FormPage { said: vec![words.get("import.what_it_is").to_owned()], cautions, next, ..page }
        .back(format!("/begin?farm={farm}"), words.get("settings.to_steps"))
}

/// The form, and what the last file gave.
pub(crate) async fn page(signed: Signed, Path(id): Path<String>, Query(asked): Query<Sent>) -> Shown {
    let site = site(&signed, &id).await?;
    let sources = sources(&signed, &site).await?;
    let mut page = page_of(&signed, &site, &sources, form(&signed, &sources, &asked));
    let count = |name| asked.text(name).and_then(|text| text.parse::<u64>().ok());
    if let (Some(stored), Some(unchanged), Some(corrected), Some(refused)) =
        (count("stored"), count("unchanged"), count("corrected"), count("refused"))
    {
        let places: [(&str, &dyn std::fmt::Display); 4] = [
            ("stored", &stored),
            ("unchanged", &unchanged),
            ("corrected", &corrected),
            ("refused", &refused),
        ];
        page.done = Some(signed.words().fill("import.is_stored", &places));
    }
    Ok(page.shown())
}

/// Looks at a file, or stores one that was looked at.
pub(crate) async fn take(signed: Signed, Path(id): Path<String>, body: Multipart) -> Shown {
    let site = site(&signed, &id).await?;
    let sources = sources(&signed, &site).await?;
    let words = signed.words();
    let refused = |sent: &Sent, field: &str, said: String| {
        let mut form = form(&signed, &sources, sent);
        form.fault(field, &said);
        Ok(page_of(&signed, &site, &sources, form).shown())
    };
    let Upload { sent, file } = match Upload::read(body).await {
        Ok(upload) => upload,
        Err(too_much) => return refused(&Sent::default(), "/file", too_much.said(words)),
    };
    let Some(source) = sources.iter().find(|source| source.id == sent.raw("source")) else {
        return refused(&sent, "/source", words.get("import.which_source").to_owned());
    };
    let file = match file {
        Ok(file) => file,
        Err(no_file) => return refused(&sent, "/file", no_file.said(words)),
    };
    let by_hand = layout::said(&sent);
    let asked = Asked::file(&["sites", &site.id, "readings"], file.kind(), file.bytes.clone(), by_hand);
    if sent.raw("do") == "store" {
        let asked = asked.query(&[("source", &source.id)]);
        return store(&signed, &site, &sources, (&sent, &file), asked).await;
    }
    match signed.0.ask(asked.query(&[("source", &source.id), ("dry_run", "true")])).await {
        Ok(seen) => {
            let seen = LookedAt::of(&seen.document, words, &site);
            let mut form = form(&signed, &sources, &sent);
            if seen.to_settle.is_empty() && seen.is_understood {
                return Ok(looked_at::shown(&signed, &site, source, &sent, &file, &seen));
            }
            layout::settle(&mut form, &seen);
            Ok(page_of(&signed, &site, &sources, keeping(form, &file, words)).shown())
        }
        Err(undone) => again(&signed, &site, &sources, (&sent, &file), undone),
    }
}

/// Stores what was looked at: the very bytes, read in the very way.
async fn store(
    signed: &Signed,
    site: &Site,
    sources: &[Source],
    (sent, file): (&Sent, &FileSent),
    asked: Asked,
) -> Shown {
    match signed.0.ask(asked).await {
        Ok(stored) => {
            let count = |name: &str| stored.document[name].as_u64().unwrap_or_default();
            on_to(&format!(
                "/sites/{}/import?stored={}&unchanged={}&corrected={}&refused={}",
                site.id,
                count("stored"),
                count("unchanged"),
                count("corrected"),
                count("refused")
            ))
        }
        Err(undone) => again(signed, site, sources, (sent, file), undone),
    }
}

/// The form with what was wrong with the file.
fn again(
    signed: &Signed,
    site: &Site,
    sources: &[Source],
    (sent, file): (&Sent, &FileSent),
    undone: Undone,
) -> Shown {
    if undone.status == 403 {
        // The first file of a source sets how all are read, which is an advisor's to say.
        return Err(Stop::NotAllowed(signed.words().get("import.first_by_advisor").to_owned()));
    }
    let mut form = form(signed, sources, sent);
    let undone = theirs(undone)?;
    if undone.errors.iter().all(|amiss| amiss.pointer.is_empty()) {
        form.fault("/file", &undone.detail);
    } else {
        form = form.refused(&undone);
    }
    Ok(page_of(signed, site, sources, keeping(form, file, signed.words())).shown())
}

/// A form that has the file with it, since a browser sends none twice by itself.
fn keeping(mut form: Form, file: &FileSent, words: &Words) -> Form {
    if let Some(group) = form.groups.first_mut().filter(|_| !file.name.is_empty()) {
        group.fields.push(Field::hidden("packed", file.packed()));
        group.fields.push(Field::hidden("packed_name", file.name.as_str()));
        group.said.push(words.fill("import.kept", &[("file", &file.name)]));
    }
    form
}
