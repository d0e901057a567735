//! `config`: the settings in force, and where each came from.

use crate::cli::say;
use crate::settings::{Given, Origin, Settings};

/// Shows them as a file of settings, secrets covered.
pub(crate) fn show(given: &Given) -> anyhow::Result<()> {
    let (_, shown) = Settings::with_origins(given)?;
    let lines: Vec<(String, String)> = shown
        .iter()
        .map(|one| match &one.value {
            Some(value) => (format!("{} = {value}", one.name), origin(&one.origin)),
            None => (format!("# {} is not set", one.name), String::new()),
        })
        .collect();
    let widest = lines.iter().map(|(line, _)| line.chars().count()).max().unwrap_or_default();
    for (line, origin) in lines {
        say(format!("{line:widest$}  {origin}").trim_end());
    }
    Ok(())
}

fn origin(origin: &Origin) -> String {
    match origin {
        Origin::Given(variable) if std::env::var_os(variable).is_some() => {
            format!("# {variable}, or the flag")
        }
        Origin::Given(_) => "# the flag".to_owned(),
        Origin::SecretFile(variable) => format!("# the file that {variable} names"),
        Origin::File(path) => format!("# {}", path.display()),
        Origin::Default => "# by default".to_owned(),
    }
}
