//! Lines as plain text and as HTML.

/// Longest subject, in characters: what readers show of it is far shorter.
const LONGEST_SUBJECT: usize = 200;

/// A subject that is not endless.
pub(super) fn cut(subject: &str) -> String {
    if subject.chars().count() <= LONGEST_SUBJECT {
        return subject.to_owned();
    }
    subject.chars().take(LONGEST_SUBJECT - 1).chain(['…']).collect()
}

/// Parts under their headings, which show where there are several, then the foot.
pub(crate) fn text(parts: &[(String, Vec<String>)], foot: &[String]) -> String {
    let several = parts.len() > 1;
    let mut text = String::new();
    for (heading, lines) in parts {
        if several {
            text.push_str(&format!("== {heading}\n"));
        }
        lines.iter().for_each(|line| text.push_str(&format!("{line}\n")));
        if several {
            text.push('\n');
        }
    }
    foot.iter().for_each(|line| text.push_str(&format!("{line}\n")));
    text
}

/// The same as a page.
pub(crate) fn html(title: &str, parts: &[(String, Vec<String>)], foot: &[String]) -> String {
    let several = parts.len() > 1;
    let mut html = format!(
        "<!doctype html>\n<html lang=\"en\">\n<head><meta charset=\"utf-8\"><title>{}</title></head>\n<body>\n",
        escaped(title)
    );
    if !several {
        html.push_str(&format!("<h1 style=\"font-size:1.2em\">{}</h1>\n", escaped(title)));
    }
    for (heading, lines) in parts {
        if several {
            html.push_str(&format!("<h2 style=\"font-size:1.2em\">{}</h2>\n", escaped(heading)));
        }
        lines.iter().for_each(|line| html.push_str(&format!("<p>{}</p>\n", linked(line))));
    }
    foot.iter().for_each(|line| html.push_str(&format!("<p>{}</p>\n", linked(line))));
    html.push_str("</body>\n</html>\n");
    html
}

/// A line whose last word is an address leads there.
fn linked(line: &str) -> String {
    match line.rsplit_once(' ') {
        Some((before, url)) if url.starts_with("https://") || url.starts_with("http://") => {
            format!("{} <a href=\"{1}\">{1}</a>", escaped(before), escaped(url))
        }
        _ => escaped(line),
    }
}

fn escaped(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;").replace('"', "&quot;")
}
