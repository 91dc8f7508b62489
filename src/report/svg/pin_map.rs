//! The pin map: a part as the operator looks at its pins, each pin with its label and its EN 50005
//! mark, and inside the body what the finding claims, in IEC 60617 shapes, at rest. A finding
//! that is undecided leaves the body empty but for its coils. Wires that cross without a dot are
//! not connected.

use super::super::words;
use super::footprint::Footprint;
use super::group::{Kind, groups};
use super::router::route;
use super::wiring::{Board, PIN, Segment, Wiring};
use super::{Canvas, Point};
use crate::event::{IdentifyFinding, Pins};

/// From the outermost pins to the edge of the body.
const EDGE: Point = Point::new(42.0, 24.0);
/// Room for the marks outside the body.
const MARKS: f64 = 26.0;

/// A pin map.
pub(in crate::report) struct PinMap {
    /// The drawing, as one SVG element.
    pub(in crate::report) svg: String,
    /// Whether what the finding claims is drawn; not where its wires could be misread.
    pub(in crate::report) inside: bool,
}

/// The pin map of a part.
pub(in crate::report) fn render(
    pins: &Pins,
    footprint: Option<&str>,
    finding: Option<&IdentifyFinding>,
) -> PinMap {
    let place = Footprint::of(footprint, pins);
    let full = Board::new(place.clone(), finding.map(|f| groups(f, pins)).unwrap_or_default());
    let (board, wiring, inside) = match route(&full) {
        Some(wiring) => (full, wiring, true),
        None => {
            let bare = Board::new(place, Vec::new());
            let wiring = bare.unwired();
            (bare, wiring, false)
        }
    };
    let widest = board.footprint.places.iter().map(|(_, x)| *x).fold(0.0, f64::max);
    // A wire may have to step aside beyond the outermost pins.
    let left = wiring.segments.iter().map(|s| s.a.x - 14.0).fold(-EDGE.x, f64::min);
    let right = wiring.segments.iter().map(|s| s.b.x + 14.0).fold(widest + EDGE.x, f64::max);
    let (from, to) = (Point::new(left, -EDGE.y), Point::new(right, wiring.bottom + EDGE.y));
    let origin = Point::new(from.x - 8.0, from.y - MARKS);
    let (width, height) = (to.x - origin.x + 8.0, to.y - origin.y + MARKS);
    let label = spoken(pins, finding);
    let mut canvas = Canvas::open("pin-map", origin, (width, height), "Pin map", &label);
    canvas.rect(from, to, "rx=\"8\" stroke-width=\"1\" stroke-opacity=\"0.55\"");
    for segment in &wiring.segments {
        canvas.line(segment.a, segment.b);
    }
    for symbol in &wiring.symbols {
        symbol.draw(&mut canvas);
        if symbol.kind == Kind::Joined {
            canvas.circle(symbol.centre, 2.6, "fill=\"currentColor\"");
        }
    }
    for dot in dots(&wiring.segments) {
        canvas.circle(dot, 2.6, "fill=\"currentColor\"");
    }
    draw_pins(&mut canvas, &board, &wiring, pins, finding);
    PinMap { svg: canvas.close(), inside }
}

fn draw_pins(
    canvas: &mut Canvas,
    board: &Board,
    wiring: &Wiring,
    pins: &Pins,
    finding: Option<&IdentifyFinding>,
) {
    let rows = board.footprint.rows;
    for (pin, (row, x)) in pins.iter().zip(&board.footprint.places) {
        let at = Point::new(*x, wiring.rows[*row]);
        let (from, to) =
            (Point::new(at.x - PIN.x, at.y - PIN.y), Point::new(at.x + PIN.x, at.y + PIN.y));
        canvas.rect(from, to, "rx=\"12\"");
        let length = pin.label().chars().count();
        let size = if length <= 3 {
            13
        } else if length <= 5 {
            10
        } else {
            7
        };
        let style = format!("font-size=\"{size}\"");
        canvas.text(Point::new(at.x, at.y + f64::from(size) * 0.36), "middle", &style, pin.label());
        let mark = words::mark(finding, pin);
        let style = "font-weight=\"700\" font-size=\"15\"";
        match row {
            0 => canvas.text(Point::new(at.x, at.y - EDGE.y - 8.0), "middle", style, &mark),
            row if row + 1 == rows => {
                canvas.text(Point::new(at.x, at.y + EDGE.y + 19.0), "middle", style, &mark);
            }
            _ => canvas.text(Point::new(to.x + 5.0, at.y + 5.0), "start", style, &mark),
        }
    }
}

fn spoken(pins: &Pins, finding: Option<&IdentifyFinding>) -> String {
    let said = pins.iter().map(|pin| match words::mark(finding, pin).as_str() {
        "?" => format!("pin {pin} not established"),
        "\u{2013}" => format!("pin {pin} spare"),
        mark => format!("pin {pin} is {mark}"),
    });
    format!("Pin map: {}", said.collect::<Vec<_>>().join(", "))
}

/// Where three or more wires of one net meet.
fn dots(segments: &[Segment]) -> Vec<Point> {
    let mut dots: Vec<Point> = Vec::new();
    for (i, s) in segments.iter().enumerate() {
        for end in [s.a, s.b] {
            let inside = |t: &Segment| {
                t.net == s.net
                    && t.is_level() != s.is_level()
                    && if t.is_level() {
                        (t.a.y - end.y).abs() < 0.5 && t.a.x + 0.5 < end.x && end.x < t.b.x - 0.5
                    } else {
                        (t.a.x - end.x).abs() < 0.5 && t.a.y + 0.5 < end.y && end.y < t.b.y - 0.5
                    }
            };
            let meets = segments.iter().enumerate().any(|(j, t)| j != i && inside(t));
            if meets && !dots.contains(&end) {
                dots.push(end);
            }
        }
    }
    dots
}
