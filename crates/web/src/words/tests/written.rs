//! Sentences stand in `words/en.toml` and nowhere else: not in a source, not in a
//! template, not in a script.

use super::texts;

/// What has words in a source or a script and is not for people, or is the same in every language.
const NO_SENTENCES: &[&str] = &[
    // Headers, and code that is put together for the browser.
    "default-src 'none'; style-src 'self'; script-src 'self'; connect-src 'self'; img-src 'self' data:; \
     manifest-src 'self'; worker-src 'self'; form-action 'self'; frame-ancestors 'none'; base-uri 'none'",
    "{name}={secret}; Path=/; Max-Age={seconds}; HttpOnly; SameSite=Lax{secure}",
    "export default {};\\n",
    "const VERSION = {:?};\\nconst FILES = {};\\n",
    // A class of buttons and a key.
    "plain drop",
    "Enter",
    // Names under which attempts are counted.
    "feed {provider} {cell}",
    "mail tried by {email}",
    // Causes of a failure, which the server's log has.
    "contact {}: {faults}",
    "plan of {}: {faults}",
    // Units.
    "US gal",
    "US gal/acre",
    "{miles_an_hour:.0} mph",
    "{:.0} ft",
];

/// Code whose literals are for whoever runs or writes the program.
const NOT_FOR_PEOPLE: [&str; 3] = ["tracing::", "reason =", ".expect("];

/// What stands between a template's tags in every language.
const NO_WORDS: [&str; 6] =
    ["- bloomtide", "bloomtide demo", "JSON", "CSV", "openapi.json", "(OpenAPI 3.1)."];

/// Attributes that people read or hear.
const SAID_ATTRIBUTES: [&str; 5] = ["aria-label", "title", "alt", "placeholder", "label"];

/// The string literals of a source, each with what stands before it in its statement.
fn literals(source: &str) -> Vec<(String, String)> {
    let mut found = Vec::new();
    let mut statement = String::new();
    let mut rest = source;
    while let Some(sign) = rest.chars().next() {
        let end = match sign {
            '/' if rest.starts_with("//") => rest.find('\n').unwrap_or(rest.len()),
            '"' => {
                let raw = statement.ends_with('r');
                let mut escaped = false;
                let closing = rest[1..].find(|sign| {
                    let closes = sign == '"' && !escaped;
                    escaped = sign == '\\' && !escaped && !raw;
                    closes
                });
                let end = closing.map_or(rest.len(), |at| at + 1);
                found.push((statement.clone(), joined(&rest[1..end])));
                rest.len().min(end + 1)
            }
            // A character, which a lifetime is not.
            '\'' if rest[1..].starts_with('\\') => rest[3..].find('\'').map_or(1, |at| at + 4),
            '\'' if rest.chars().nth(2) == Some('\'') => rest.chars().take(3).map(char::len_utf8).sum(),
            _ => sign.len_utf8(),
        };
        match sign {
            ';' | '{' | '}' => statement.clear(),
            _ if end == sign.len_utf8() => statement.push(sign),
            _ => {}
        }
        rest = &rest[end..];
    }
    found
}

/// A literal whose lines are joined as the compiler does.
fn joined(literal: &str) -> String {
    let mut lines = literal.split("\\\n");
    let first = lines.next().unwrap_or_default().to_owned();
    lines.fold(first, |whole, line| whole + line.trim_start())
}

/// Whether people would read it: a word beside another, a figure or a place to fill, or
/// a single word with its capital.
fn is_sentence(text: &str) -> bool {
    let mut pieces = text.replace("\\n", " ").split('{').map(str::to_owned).collect::<Vec<_>>();
    for piece in pieces.iter_mut().skip(1) {
        *piece = piece.split_once('}').map_or_else(String::new, |(_, rest)| format!("0{rest}"));
    }
    let plain = pieces.concat();
    let bare = |piece: &str| piece.trim_matches(|sign: char| !sign.is_alphanumeric()).to_owned();
    let is_word = |piece: &str| {
        piece.chars().count() > 1 && piece.chars().all(|sign| sign.is_alphabetic() || "’'".contains(sign))
    };
    let is_figure = |piece: &str| {
        piece.chars().any(|sign| sign.is_ascii_digit()) && !piece.chars().any(char::is_alphabetic)
    };
    let pieces: Vec<String> = plain.split_whitespace().map(bare).collect();
    let capital = |word: &str| {
        let mut letters = word.chars();
        letters.next().is_some_and(char::is_uppercase) && letters.all(char::is_lowercase) && is_word(word)
    };
    pieces.windows(2).any(|two| {
        let (a, b) = (two[0].as_str(), two[1].as_str());
        is_word(a) && (is_word(b) || is_figure(b)) || is_figure(a) && is_word(b)
    }) || pieces.len() == 1 && plain.starts_with(char::is_uppercase) && capital(&pieces[0])
}

/// Whether it is a sentence that belongs among the words.
fn is_said(text: &str) -> bool {
    is_sentence(text) && !NO_SENTENCES.contains(&text)
}

/// Sentences of a source outside its tests.
fn sentences(source: &str) -> Vec<String> {
    let source = source.split("#[cfg(test)]\nmod tests {").next().unwrap_or_default();
    let of_people = literals(source)
        .into_iter()
        .filter(|(before, _)| !NOT_FOR_PEOPLE.iter().any(|code| before.contains(code)));
    let texts = of_people.map(|(_, text)| text);
    texts.filter(|text| is_said(text)).collect()
}

/// What a template says by itself: between its tags, and in attributes that are read.
fn said_by(template: &str) -> Vec<String> {
    let without = |text: &str, open: &str, close: &str| -> String {
        let mut parts = text.split(open);
        let first = parts.next().unwrap_or_default().to_owned();
        parts.fold(first, |all, part| all + part.split_once(close).map_or("", |(_, rest)| rest))
    };
    let plain = without(template, "{#", "#}");
    let plain = without(&without(&plain, "{%", "%}"), "{{", "}}");
    let mut said = Vec::new();
    for part in plain.split('<') {
        let (tag, text) = part.split_once('>').unwrap_or(("", part));
        // Attributes that another template takes over stand outside of a tag.
        let attributes = if text.contains("=\"") { text } else { tag };
        said.extend((!text.contains("=\"")).then_some(text.trim()));
        for name in SAID_ATTRIBUTES {
            let name = format!(" {name}=\"");
            let values = attributes.split(&name).skip(1);
            said.extend(values.filter_map(|rest| rest.split('"').next()).map(str::trim));
        }
    }
    let letters = |text: &str| text.chars().filter(|sign| sign.is_alphabetic()).count() > 1;
    said.into_iter().filter(|text| letters(text) && !NO_WORDS.contains(text)).map(str::to_owned).collect()
}

/// Sentences between quotes on a line of a script.
fn of_script(script: &str) -> Vec<String> {
    let code =
        script.lines().map(str::trim).filter(|line| !["//", "*", "/*"].iter().any(|c| line.starts_with(c)));
    let quoted = code.flat_map(|line| line.split(['"', '`']).skip(1).step_by(2));
    quoted.filter(|text| is_said(text)).map(str::to_owned).collect()
}

/// What is said in files of this kind, with where.
fn found(kind: &str, said: fn(&str) -> Vec<String>) -> Vec<String> {
    let files = texts().into_iter().filter(|(file, _)| file.ends_with(kind));
    let files = files.filter(|(file, _)| !file.ends_with("tests.rs") && !file.contains("/tests/"));
    files.flat_map(|(file, text)| said(&text).into_iter().map(move |one| format!("{file}: {one}"))).collect()
}

#[test]
fn no_source_says_anything_by_itself() {
    assert_eq!(found(".rs", sentences), Vec::<String>::new());
}

#[test]
fn no_template_says_anything_by_itself() {
    assert_eq!(found(".html", said_by), Vec::<String>::new());
}

#[test]
fn no_script_says_anything_by_itself() {
    assert_eq!(found(".js", of_script), Vec::<String>::new());
}

#[test]
fn sentences_of_a_source_are_found() {
    let source = r#"
        // "A remark is none."
        const ROLES: [&str; 2] = ["advisor", "open-count"];
        const CSS: &str = "text/css; charset=utf-8";
        fn said<'a>(name: &'a str, quote: char) -> String {
            if quote == '"' { tracing::error!(%name, "nothing for people"); }
            let head = "Weather";
            let age = format!("{name} days");
            format!("“{name}” is no day; \
                write it anew.\n")
        }
        #[cfg(test)]
        mod tests { const SAID: &str = "what a test says"; }
    "#;
    let source = source.replace("        #[cfg(test)]\n        mod", "#[cfg(test)]\nmod");
    assert_eq!(sentences(&source), ["Weather", "{name} days", "“{name}” is no day; write it anew.\\n"]);
}

#[test]
fn words_of_a_template_are_found() {
    let template = r##"<a class="wide of-page" href="#text"{% if a > b %} title="To {{ x }}"{% endif %}>
        {{ words.get("base.skip") }}, {# none #} <b>Go on</b></a> 12 h <pre>bloomtide demo</pre>"##;
    assert_eq!(said_by(template), ["To", "Go on"]);
}

#[test]
fn sentences_of_a_script_are_found() {
    let script = "// say(\"no remark\")\nadd(\"p\", `${n} trees`, say(\"phone.tree\"), \"Take it out\");";
    assert_eq!(of_script(script), ["${n} trees", "Take it out"]);
}
