//! Many blocks of a farm from a table: tried first, then added as they were shown, all
//! or none.

use api::{Asked, Undone};
use axum::extract::{Multipart, Path};
use store::Farm;

use super::FormPage;
use super::begin::sites_for;
use super::import::{FileSent, Upload};
use crate::fields::{Field, Form, Group, Sent, theirs};
use crate::visit::{Shown, Signed, Stop, on_to};

fn form(signed: &Signed, sent: &Sent) -> Form {
    let words = signed.words();
    let fields = vec![
        Field::file("file", words.get("many.file")),
        Field::lines("rows", words.get("many.rows"), 8).hint(words.get("many.rows_hint")),
    ];
    Form::new(words, words.get("many.look"), vec![Group::of(fields)]).uploading().filled(sent)
}

async fn page_of(signed: &Signed, farm: &Farm, form: Form) -> Result<FormPage, Stop> {
    let words = signed.words();
    let mut page = FormPage::new(words, words.fill("many.title", &[("farm", &farm.name)]), form);
    page.said.push(words.get("many.what_it_is").to_owned());
    for site in sites_for(signed, &farm.id).await? {
        page.said.push(words.fill("many.site", &[("id", &site.id), ("name", &site.name)]));
    }
    Ok(page.back(format!("/begin?farm={}", farm.id), words.get("settings.to_steps")))
}

/// The form.
pub(crate) async fn page(signed: Signed, Path(farm): Path<String>) -> Shown {
    let farm = signed.farm(&farm).await?;
    signed.sets_up(&farm.id)?;
    Ok(page_of(&signed, &farm, form(&signed, &Sent::default())).await?.shown())
}

/// Tries a table, or adds the blocks of one that was tried.
pub(crate) async fn take(signed: Signed, Path(farm): Path<String>, body: Multipart) -> Shown {
    let farm = signed.farm(&farm).await?;
    signed.sets_up(&farm.id)?;
    let words = signed.words();
    let (sent, file) = match Upload::read(body).await {
        Ok(Upload { sent, file }) => (sent, file),
        Err(no_file) => (Sent::default(), Err(no_file)),
    };
    let file = match file {
        Ok(file) => file,
        Err(no_file) => {
            let mut form = form(&signed, &sent);
            form.fault("/file", &no_file.said(words));
            return Ok(page_of(&signed, &farm, form).await?.shown());
        }
    };
    let stores = sent.raw("step") == "store";
    let dry_run = if stores { "false" } else { "true" };
    let asked = Asked::file(&["farms", &farm.id, "blocks"], "text/csv", file.bytes.clone(), None);
    match signed.0.ask(asked.query(&[("dry_run", dry_run)])).await {
        Ok(_) if stores => on_to(&format!("/begin?farm={}", farm.id)),
        Ok(tried) => {
            let count = |name: &str| tried.document[name].as_u64().unwrap_or_default();
            Ok(tried_page(&signed, &farm, &file, count("new"), count("unchanged")).await?.shown())
        }
        Err(undone) => Ok(refused(&signed, &farm, &sent, theirs(undone)?).await?.shown()),
    }
}

/// What would be added, with the button that does.
async fn tried_page(
    signed: &Signed,
    farm: &Farm,
    file: &FileSent,
    new: u64,
    unchanged: u64,
) -> Result<FormPage, Stop> {
    let words = signed.words();
    let carried = vec![Field::hidden("packed", file.packed()), Field::hidden("step", "store")];
    let form = match new {
        0 => Form::new(words, "", Vec::new()),
        _ => Form::new(words, &words.fill("many.add", &[("n", &new)]), vec![Group::of(carried)]).uploading(),
    };
    let mut page = page_of(signed, farm, form).await?;
    page.said.clear();
    page.done = Some(words.fill("many.tried", &[("new", &new), ("unchanged", &unchanged)]));
    Ok(page)
}

/// Each thing that is wrong names its line, so all stand above the form.
async fn refused(signed: &Signed, farm: &Farm, sent: &Sent, undone: Undone) -> Result<FormPage, Stop> {
    let mut form = form(signed, sent);
    for amiss in &undone.errors {
        let field = amiss.pointer.rsplit('/').next().unwrap_or_default().replace('_', " ");
        let said = if field.is_empty() { amiss.detail.clone() } else { format!("{field}, {}", amiss.detail) };
        form.wrong.push(said);
    }
    if undone.errors.is_empty() {
        form.wrong.push(undone.detail);
    }
    page_of(signed, farm, form).await
}
