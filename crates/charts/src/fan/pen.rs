//! Writing SVG in as few bytes as it takes.

use std::fmt::Write;

use crate::svg::{Anchor, Type, escaped};

/// An SVG under way. Its shapes are paths, since those are shortest.
pub(super) struct Pen {
    out: String,
}

impl Pen {
    /// Opens a picture that says what it shows, by title and description; without them
    /// one that is hidden from who listens, for a page of HTML.
    pub(super) fn new((width, height): (u32, u32), said: Option<(&str, &str)>) -> Pen {
        let mut pen = Pen { out: String::with_capacity(1_024) };
        let size = format!(r#"viewBox="0 0 {width} {height}" width="{width}" height="{height}""#);
        match said {
            None => pen.put(format_args!(r#"<svg {size} aria-hidden="true">"#)),
            Some((title, description)) => pen.put(format_args!(
                "<svg xmlns=\"http://www.w3.org/2000/svg\" role=\"img\" {size} font-family=\"sans-serif\">\
                 <title>{}</title><desc>{}</desc>",
                escaped(title),
                escaped(description)
            )),
        }
        pen
    }

    /// A path; an empty one draws nothing.
    pub(super) fn path(&mut self, d: &str, style: &str) {
        if !d.is_empty() {
            self.put(format_args!(r#"<path d="{d}" {style}/>"#));
        }
    }

    /// Opens a group of one style.
    pub(super) fn group(&mut self, style: &str) {
        self.put(format_args!("<g {style}>"));
    }

    /// A path in the style of its group.
    pub(super) fn member(&mut self, d: &str) {
        self.put(format_args!(r#"<path d="{d}"/>"#));
    }

    /// Closes a group.
    pub(super) fn close(&mut self) {
        self.out.push_str("</g>");
    }

    pub(super) fn text(&mut self, (x, y): (f64, f64), anchor: Anchor, look: Type, words: &str) {
        let place = format!(r#"x="{}" y="{}""#, short(x), short(y));
        let anchor = anchor.word();
        let (size, colour) = (look.size, look.colour);
        self.put(format_args!(
            r#"<text {place} font-size="{size}" fill="{colour}" text-anchor="{anchor}">{}</text>"#,
            escaped(words)
        ));
    }

    pub(super) fn finish(mut self) -> String {
        self.out.push_str("</svg>\n");
        self.out
    }

    fn put(&mut self, piece: std::fmt::Arguments<'_>) {
        self.out.write_fmt(piece).expect("a String takes all that is written to it");
    }
}

/// A coordinate with one decimal at most, always a number.
pub(super) fn short(value: f64) -> String {
    const FARTHEST: f64 = 9_999.0;
    let value = if value.is_finite() { value.clamp(-FARTHEST, FARTHEST) } else { 0.0 };
    let tenths = (value * 10.0).round() as i64;
    if tenths % 10 == 0 { (tenths / 10).to_string() } else { format!("{:.1}", tenths as f64 / 10.0) }
}

/// A rectangle as a part of a path.
pub(super) fn block(left: f64, right: f64, top: f64, bottom: f64) -> String {
    let (wide, high) = (short(right - left), short(bottom - top));
    format!("M{} {}h{wide}v{high}h-{wide}z", short(left), short(top))
}

/// A standing line as a part of a path.
pub(super) fn standing(x: f64, top: f64, bottom: f64) -> String {
    format!("M{} {}v{}", short(x), short(top), short(bottom - top))
}
