//! Drawings as text: a pin map and the course of the belief, each one inline SVG element in
//! `currentColor`, with a role and a spoken label, no script, no font of its own and no colour
//! that carries meaning. Coordinates are in user units and written to a tenth. Text is escaped
//! by [`Canvas::text`]; geometry is for `footprint`, `wiring` and `router`.

mod chart;
mod footprint;
mod group;
mod pin_map;
mod router;
mod symbols;
mod wiring;

pub(super) use chart::{Curve, curves, render as render_course};
pub(super) use pin_map::render as render_pin_map;

use crate::event::visible;
use std::fmt::Write as _;

/// A point, in user units; `y` grows downwards.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(in crate::report) struct Point {
    pub(in crate::report) x: f64,
    pub(in crate::report) y: f64,
}

impl Point {
    pub(in crate::report) const fn new(x: f64, y: f64) -> Self {
        Self { x, y }
    }
}

/// An SVG element being written.
pub(in crate::report) struct Canvas(String);

impl Canvas {
    /// An element that shows `width` by `height` from `origin`, named by `title` and spoken as
    /// `label`.
    pub(in crate::report) fn open(
        class: &str,
        origin: Point,
        (width, height): (f64, f64),
        title: &str,
        label: &str,
    ) -> Self {
        let mut canvas = Self(String::new());
        canvas.put(format_args!(
            "<svg class=\"{class}\" xmlns=\"http://www.w3.org/2000/svg\" role=\"img\" \
             viewBox=\"{} {} {} {}\" width=\"{}\" height=\"{}\" aria-label=\"{}\">\n\
             {}<g fill=\"none\" stroke=\"currentColor\" stroke-width=\"1.5\" \
             stroke-linecap=\"round\" stroke-linejoin=\"round\" font-size=\"13\">",
            n(origin.x),
            n(origin.y),
            n(width),
            n(height),
            n(width),
            n(height),
            escaped(label),
            named(title, label),
        ));
        canvas
    }

    pub(in crate::report) fn close(mut self) -> String {
        self.0.push_str("</g>\n</svg>\n");
        self.0
    }

    fn line(&mut self, a: Point, b: Point) {
        self.put(format_args!("<path d=\"M{} {}L{} {}\"/>", n(a.x), n(a.y), n(b.x), n(b.y)));
    }

    pub(in crate::report) fn styled_line(&mut self, a: Point, b: Point, style: &str) {
        self.put(format_args!(
            "<path {style} d=\"M{} {}L{} {}\"/>",
            n(a.x),
            n(a.y),
            n(b.x),
            n(b.y)
        ));
    }

    /// A line through all points.
    pub(in crate::report) fn path(&mut self, points: &[Point], style: &str) {
        let mut d = String::new();
        for (i, p) in points.iter().enumerate() {
            let _ = write!(d, "{}{} {}", if i == 0 { 'M' } else { 'L' }, n(p.x), n(p.y));
        }
        self.put(format_args!("<path {style} d=\"{d}\"/>"));
    }

    /// A rectangle between two opposite corners.
    pub(in crate::report) fn rect(&mut self, a: Point, b: Point, style: &str) {
        self.put(format_args!(
            "<rect x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\" {style}/>",
            n(a.x.min(b.x)),
            n(a.y.min(b.y)),
            n((a.x - b.x).abs()),
            n((a.y - b.y).abs()),
        ));
    }

    pub(in crate::report) fn circle(&mut self, centre: Point, radius: f64, style: &str) {
        self.put(format_args!(
            "<circle cx=\"{}\" cy=\"{}\" r=\"{}\" {style}/>",
            n(centre.x),
            n(centre.y),
            n(radius)
        ));
    }

    /// Text that stands on `at`, by its anchor (`start`, `middle`, `end`).
    pub(in crate::report) fn text(&mut self, at: Point, anchor: &str, style: &str, text: &str) {
        self.put(format_args!(
            "<text x=\"{}\" y=\"{}\" text-anchor=\"{anchor}\" fill=\"currentColor\" \
             stroke=\"none\" {style}>{}</text>",
            n(at.x),
            n(at.y),
            escaped(text),
        ));
    }

    fn put(&mut self, text: std::fmt::Arguments<'_>) {
        // Writing to a `String` cannot fail.
        let _ = self.0.write_fmt(text);
        self.0.push('\n');
    }
}

/// What a drawing is called and what it says, for whoever reads or hears it.
pub(in crate::report) fn named(title: &str, label: &str) -> String {
    format!("<title>{}</title>\n<desc>{}</desc>\n", escaped(title), escaped(label))
}

/// A coordinate to a tenth, without a trailing zero or a negative zero.
fn n(x: f64) -> String {
    let tenths = (x * 10.0).round();
    if tenths == 0.0 || !tenths.is_finite() {
        return "0".into();
    }
    let text = format!("{:.1}", tenths / 10.0);
    text.strip_suffix(".0").map_or(text.clone(), str::to_owned)
}

fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in visible(text).chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            c => out.push(c),
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn coordinates_are_short_and_text_cannot_leave_its_element() {
        assert_eq!([n(-0.01), n(12.0), n(3.1245), n(f64::NAN)], ["0", "12", "3.1", "0"]);
        assert_eq!(escaped("</svg>\"'&\u{202e}"), "&lt;/svg&gt;&quot;&#39;&amp;\\u{202e}");
    }
}
