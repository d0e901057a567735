//! Writing SVG elements into one string.

use std::fmt::Write;

/// A point on the picture, px from its left upper corner.
pub(crate) type Point = (f64, f64);

/// Largest coordinate written; whatever lies further out is far off the
/// picture already.
const FARTHEST: f64 = 99_999.0;

/// A rectangle on the picture, px.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Area {
    pub left: f64,
    pub top: f64,
    pub right: f64,
    pub bottom: f64,
}

impl Area {
    /// Square pixels that two rectangles share.
    pub(crate) fn shared(&self, other: &Area) -> f64 {
        let wide = self.right.min(other.right) - self.left.max(other.left);
        let high = self.bottom.min(other.bottom) - self.top.max(other.top);
        wide.max(0.0) * high.max(0.0)
    }

    /// Square pixels.
    pub(crate) fn size(&self) -> f64 {
        (self.right - self.left).max(0.0) * (self.bottom - self.top).max(0.0)
    }
}

/// Which end of a text its point is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Anchor {
    Start,
    Middle,
    End,
}

impl Anchor {
    pub(crate) fn word(self) -> &'static str {
        match self {
            Anchor::Start => "start",
            Anchor::Middle => "middle",
            Anchor::End => "end",
        }
    }
}

/// How a line of text looks.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Type {
    pub size: f64,
    pub colour: &'static str,
    pub bold: bool,
}

impl Type {
    pub(crate) const fn plain(size: f64, colour: &'static str) -> Type {
        Type { size, colour, bold: false }
    }

    pub(crate) const fn bold(size: f64, colour: &'static str) -> Type {
        Type { size, colour, bold: true }
    }
}

/// An SVG document under way.
pub(crate) struct Canvas {
    out: String,
}

impl Canvas {
    /// Opens a picture of `width` by `height` px that says what it shows.
    pub(crate) fn new(width: f64, height: f64, title: &str, description: &str) -> Canvas {
        let mut canvas = Canvas { out: String::with_capacity(48 * 1024) };
        canvas.put(format_args!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" role=\"img\" viewBox=\"0 0 {width:.0} {height:.0}\" \
             width=\"{width:.0}\" height=\"{height:.0}\" font-family=\"sans-serif\">\n\
             <title>{}</title>\n<desc>{}</desc>\n",
            escaped(title),
            escaped(description)
        ));
        canvas
    }

    /// Closes the picture.
    pub(crate) fn finish(mut self) -> String {
        self.out.push_str("</svg>\n");
        self.out
    }

    pub(crate) fn line(&mut self, from: Point, to: Point, style: &str) {
        self.put(format_args!(
            "<line x1=\"{}\" y1=\"{}\" x2=\"{}\" y2=\"{}\" {style}/>\n",
            px(from.0),
            px(from.1),
            px(to.0),
            px(to.1)
        ));
    }

    pub(crate) fn rect(&mut self, area: Area, style: &str) {
        self.put(format_args!(
            "<rect x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\" {style}/>\n",
            px(area.left),
            px(area.top),
            px((area.right - area.left).max(0.0)),
            px((area.bottom - area.top).max(0.0))
        ));
    }

    pub(crate) fn circle(&mut self, centre: Point, radius: f64, style: &str) {
        self.put(format_args!(
            "<circle cx=\"{}\" cy=\"{}\" r=\"{}\" {style}/>\n",
            px(centre.0),
            px(centre.1),
            px(radius)
        ));
    }

    /// An open line through points; fewer than two draw nothing.
    pub(crate) fn path(&mut self, points: &[Point], style: &str) {
        if points.len() >= 2 {
            self.points("polyline", points, style);
        }
    }

    /// A closed shape; fewer than three points draw nothing.
    pub(crate) fn shape(&mut self, points: &[Point], style: &str) {
        if points.len() >= 3 {
            self.points("polygon", points, style);
        }
    }

    fn points(&mut self, element: &str, points: &[Point], style: &str) {
        self.put(format_args!("<{element} points=\""));
        for (n, (x, y)) in points.iter().enumerate() {
            let space = if n == 0 { "" } else { " " };
            self.put(format_args!("{space}{},{}", px(*x), px(*y)));
        }
        self.put(format_args!("\" {style}/>\n"));
    }

    /// Another picture within an area: what stands in its `svg` element from the view box
    /// on, with its own end of the opening tag.
    pub(crate) fn nested(&mut self, area: Area, inner: &str) {
        self.put(format_args!(
            "<svg x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\" {inner}</svg>\n",
            px(area.left),
            px(area.top),
            px((area.right - area.left).max(0.0)),
            px((area.bottom - area.top).max(0.0))
        ));
    }

    /// A line of text on its baseline, with a rim of paper round the letters.
    pub(crate) fn text(&mut self, at: Point, anchor: Anchor, look: Type, words: &str) {
        let weight = if look.bold { " font-weight=\"bold\"" } else { "" };
        self.put(format_args!(
            "<text x=\"{}\" y=\"{}\" font-size=\"{}\" fill=\"{}\"{weight} text-anchor=\"{}\" \
             stroke=\"#ffffff\" stroke-width=\"3\" stroke-linejoin=\"round\" paint-order=\"stroke\">{}</text>\n",
            px(at.0),
            px(at.1),
            px(look.size),
            look.colour,
            anchor.word(),
            escaped(words)
        ));
    }

    fn put(&mut self, piece: std::fmt::Arguments<'_>) {
        self.out.write_fmt(piece).expect("a String takes all that is written to it");
    }
}

/// A coordinate with one decimal, always a number.
fn px(value: f64) -> String {
    let value = if value.is_finite() { value.clamp(-FARTHEST, FARTHEST) } else { 0.0 };
    format!("{value:.1}")
}

/// Text as XML takes it: markup escaped, and characters that XML 1.0 has no
/// way to write replaced.
pub(crate) fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            '\t' | '\n' | '\r' => out.push(' '),
            '\u{0}'..='\u{1f}' | '\u{7f}'..='\u{9f}' | '\u{fffe}' | '\u{ffff}' => out.push('\u{fffd}'),
            c => out.push(c),
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_xml_cannot_write_is_replaced() {
        assert_eq!(escaped("a<b & \"c\"\u{1}\n"), "a&lt;b &amp; &quot;c&quot;\u{fffd} ");
    }

    #[test]
    fn a_coordinate_is_always_a_number() {
        assert_eq!(px(f64::NAN), "0.0");
        assert_eq!(px(f64::INFINITY), "0.0");
        assert_eq!(px(1e300), "99999.0");
        assert_eq!(px(2.349), "2.3");
    }

    #[test]
    fn areas_share_what_lies_in_both() {
        let a = Area { left: 0.0, top: 0.0, right: 10.0, bottom: 10.0 };
        let b = Area { left: 8.0, top: 5.0, right: 20.0, bottom: 7.0 };
        assert_eq!(a.shared(&b), 4.0);
        assert_eq!(a.shared(&Area { left: 10.0, ..b }), 0.0);
    }
}
