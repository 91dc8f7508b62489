//! The log as one inline SVG: lowest and highest reading of every column, so that no peak is lost,
//! with the alarms' edges, the window, the band of levels and the band of the nominal class marked.
//! In `currentColor` throughout; lines are told apart by dashes and words, never by colour.
//! Volts upwards, seconds or minutes to the right.

use super::super::svg::{Canvas, Point};
use super::words;
use crate::event::{OutputFinding, Trace, TraceSpan};

const LEFT: f64 = 62.0;
const TOP: f64 = 44.0;
const WIDE: f64 = 640.0;
const HIGH: f64 = 260.0;
/// No more columns than this: finer than any print of it.
const COLUMNS_MAX: usize = 1000;
/// Alarms that are marked, and those that are labelled.
const MARKED_MAX: usize = 40;
const LABELLED_MAX: usize = 2;

/// Times and volts to the canvas.
struct Frame {
    from_s: f64,
    to_s: f64,
    low: f64,
    high: f64,
}

impl Frame {
    fn x(&self, t: f64) -> f64 {
        LEFT + WIDE * ((t - self.from_s) / (self.to_s - self.from_s)).clamp(0.0, 1.0)
    }

    fn y(&self, volts: f64) -> f64 {
        TOP + HIGH * (1.0 - ((volts - self.low) / (self.high - self.low)).clamp(0.0, 1.0))
    }

    fn at(&self, t: f64, volts: f64) -> Point {
        Point::new(self.x(t), self.y(volts))
    }
}

/// The chart; `class` is the nominal class and its band. Empty where there is nothing to draw.
pub(super) fn render(
    finding: &OutputFinding,
    trace: &Trace,
    class: Option<(f64, f64, f64)>,
) -> String {
    let Some(frame) = frame(finding, trace, class) else { return String::new() };
    let label = format!("Chart of volts over time. {}", words::headline(finding));
    let (origin, size) = (Point::new(0.0, 0.0), (LEFT + WIDE + 20.0, TOP + HIGH + 50.0));
    let mut canvas = Canvas::open("log", origin, size, "Volts over time", &label);
    draw_axes(&mut canvas, &frame);
    draw_class(&mut canvas, &frame, finding, class);
    draw_gaps(&mut canvas, &frame, trace);
    draw_windows(&mut canvas, &frame, finding);
    draw_trace(&mut canvas, &frame, trace);
    canvas.close()
}

fn frame(f: &OutputFinding, trace: &Trace, class: Option<(f64, f64, f64)>) -> Option<Frame> {
    let low = trace.spans.iter().map(|s| s.min).fold(f64::INFINITY, f64::min);
    let high = trace.spans.iter().map(|s| s.max).fold(f64::NEG_INFINITY, f64::max);
    if low > high {
        return None;
    }
    let band = class.map_or([0.0, 0.0], |(_, a, b)| [a, b]);
    let sign = sign(f);
    let (mut low, mut high) = band
        .iter()
        .fold((low.min(0.0), high.max(0.0)), |(l, h), b| (l.min(b * sign), h.max(b * sign)));
    let air = (0.05 * (high - low)).max(0.05);
    (low, high) = (low - air, high + air);
    let from_s = f.counts.first_s.unwrap_or(trace.start_s).min(trace.start_s);
    let to_s = f.counts.last_s.unwrap_or(from_s);
    Some(Frame { from_s, to_s: if to_s > from_s { to_s } else { from_s + 1.0 }, low, high })
}

/// Which way round the leads are.
fn sign(finding: &OutputFinding) -> f64 {
    if finding.alarm_volts.is_some_and(|volts| volts < 0.0) { -1.0 } else { 1.0 }
}

fn draw_axes(canvas: &mut Canvas, frame: &Frame) {
    let small = "font-size=\"12\"";
    for volts in ticks(frame.low, frame.high, 8.0) {
        let y = frame.y(volts);
        let style = if volts == 0.0 {
            "stroke-width=\"1\""
        } else {
            "stroke-width=\"0.6\" stroke-opacity=\"0.3\""
        };
        canvas.styled_line(Point::new(LEFT, y), Point::new(LEFT + WIDE, y), style);
        canvas.text(Point::new(LEFT - 7.0, y + 4.0), "end", small, &plain(volts));
    }
    let long = frame.to_s - frame.from_s;
    let (per, unit) = match long {
        l if l >= 2.0 * 86_400.0 => (3600.0, "hours"),
        l if l >= 600.0 => (60.0, "minutes"),
        l if l < 0.1 => (0.001, "milliseconds"),
        _ => (1.0, "seconds"),
    };
    let foot = TOP + HIGH;
    canvas.styled_line(Point::new(LEFT, foot), Point::new(LEFT + WIDE, foot), "stroke-width=\"1\"");
    for t in ticks(frame.from_s / per, frame.to_s / per, 10.0) {
        let x = frame.x(t * per);
        canvas.styled_line(Point::new(x, foot), Point::new(x, foot + 5.0), "stroke-width=\"1\"");
        canvas.text(Point::new(x, foot + 19.0), "middle", small, &plain(t));
    }
    let middle = Point::new(LEFT + WIDE / 2.0, foot + 40.0);
    canvas.text(middle, "middle", small, &format!("time in {unit}"));
    canvas.text(Point::new(LEFT - 7.0, TOP - 12.0), "end", small, "volts");
}

/// Round numbers from `low` to `high`, about `most` of them.
fn ticks(low: f64, high: f64, most: f64) -> Vec<f64> {
    let rough = (high - low) / most;
    if !(rough.is_finite() && rough > 0.0) {
        return Vec::new();
    }
    let ten = 10_f64.powf(rough.log10().floor());
    let step = [1.0, 2.0, 5.0, 10.0].map(|m| m * ten);
    let step = step.into_iter().find(|s| *s >= rough).unwrap_or(rough);
    let first = (low / step).ceil();
    (0..32).map(|i| (first + f64::from(i)) * step).take_while(|x| *x <= high).map(tidy).collect()
}

fn tidy(x: f64) -> f64 {
    (x * 1e9).round() / 1e9
}

fn plain(x: f64) -> String {
    let text = format!("{:.6}", x.abs());
    let text = text.trim_end_matches('0').trim_end_matches('.');
    if x < 0.0 { format!("\u{2212}{text}") } else { text.into() }
}

fn draw_class(
    canvas: &mut Canvas,
    frame: &Frame,
    finding: &OutputFinding,
    class: Option<(f64, f64, f64)>,
) {
    let Some((volts, low, high)) = class else { return };
    // Where the leads are the other way round, so is the class.
    let sign = sign(finding);
    let (a, b) = (frame.at(frame.from_s, sign * low), frame.at(frame.to_s, sign * high));
    canvas.rect(a, b, "fill=\"currentColor\" fill-opacity=\"0.06\" stroke=\"none\"");
    for y in [a.y, b.y] {
        let style = "stroke-width=\"0.8\" stroke-dasharray=\"2 4\"";
        canvas.styled_line(Point::new(LEFT, y), Point::new(LEFT + WIDE, y), style);
    }
    let label = format!("{} V class: {} to {} V", plain(volts), plain(low), plain(high));
    // Beyond the band, where no level of this class comes; and where the trace is at rest for
    // longer, ahead of the alarms or behind them.
    let on = finding.windows.first().and_then(|w| w.on_at_s).unwrap_or(frame.from_s);
    let off = finding.windows.last().and_then(|w| w.off_at_s).unwrap_or(frame.to_s);
    let ahead = on - frame.from_s > frame.to_s - off;
    let (x, anchor) = if ahead { (LEFT + 4.0, "start") } else { (LEFT + WIDE - 4.0, "end") };
    let at = Point::new(x, if sign > 0.0 { b.y - 3.0 } else { b.y + 10.0 });
    canvas.text(at, anchor, "font-size=\"11\"", &label);
}

fn draw_gaps(canvas: &mut Canvas, frame: &Frame, trace: &Trace) {
    for (from, to) in trace.gaps.iter().take(MARKED_MAX) {
        let (a, b) = (frame.x(*from), frame.x(*to));
        let y = TOP + HIGH - 6.0;
        canvas.styled_line(Point::new(a, y), Point::new(b, y), "stroke-width=\"3\"");
        if b - a > 24.0 {
            let at = Point::new(f64::midpoint(a, b), y - 5.0);
            canvas.text(at, "middle", "font-size=\"11\"", "gap");
        }
    }
}

fn draw_windows(canvas: &mut Canvas, frame: &Frame, finding: &OutputFinding) {
    for (i, w) in finding.windows.iter().take(MARKED_MAX).enumerate() {
        let from = w.on_at_s.unwrap_or(frame.from_s);
        let to = w.off_at_s.unwrap_or(frame.to_s);
        let (low, high) = (frame.at(from, w.volts_min), frame.at(to, w.volts_max));
        canvas.rect(low, high, "fill=\"currentColor\" fill-opacity=\"0.14\" stroke=\"none\"");
        let dotted = "stroke-width=\"1\" stroke-dasharray=\"1 3\"";
        canvas.styled_line(frame.at(from, w.volts), frame.at(to, w.volts), dotted);
        for edge in [w.on_at_s, w.off_at_s].into_iter().flatten() {
            let x = frame.x(edge);
            let dashed = "stroke-width=\"1\" stroke-dasharray=\"6 3\"";
            canvas.styled_line(Point::new(x, TOP - 4.0), Point::new(x, TOP + HIGH), dashed);
        }
        let y = TOP - 8.0;
        let bracket = "stroke-width=\"1.5\"";
        canvas.styled_line(Point::new(frame.x(from), y), Point::new(frame.x(to), y), bracket);
        if i < LABELLED_MAX {
            let length = w.window_s.map_or("cut off".into(), |s| format!("{s:.3} s"));
            let label = format!("{}: {length}", words::volts(w.volts));
            let x =
                f64::midpoint(frame.x(from), frame.x(to)).clamp(LEFT + 60.0, LEFT + WIDE - 60.0);
            let above = if i == 0 { 6.0 } else { 22.0 };
            canvas.text(Point::new(x, y - above), "middle", "font-size=\"12\"", &label);
        }
    }
}

fn draw_trace(canvas: &mut Canvas, frame: &Frame, trace: &Trace) {
    let per_column = trace.spans.len().div_ceil(COLUMNS_MAX).max(1);
    let thin = "stroke-width=\"1\"";
    let mut line: Vec<Point> = Vec::new();
    let mut before = f64::NEG_INFINITY;
    for (i, spans) in trace.spans.chunks(per_column).enumerate() {
        let column = spans.iter().fold(TraceSpan::EMPTY, |a, b| TraceSpan {
            min: a.min.min(b.min),
            max: a.max.max(b.max),
            overload: a.overload || b.overload,
        });
        #[expect(clippy::cast_precision_loss, reason = "at most a few thousand")]
        let (first, many) = ((i * per_column) as f64, spans.len() as f64);
        let t = trace.start_s + trace.span_s * (first + many / 2.0);
        if column.overload {
            canvas.text(Point::new(frame.x(t), TOP + 12.0), "middle", "font-size=\"11\"", "OL");
        }
        if column.is_empty() {
            continue;
        }
        if trace.gaps.iter().any(|(from, to)| {
            before < *to && *from >= before - trace.span_s * 2.0 && *to <= t + trace.span_s * many
        }) {
            draw_line(canvas, &mut line, thin);
        }
        before = t;
        let (low, high) = (frame.at(t, column.min), frame.at(t, column.max));
        // The nearer end first: the line then crosses no more than it must.
        let from_low = line.last().is_none_or(|p| (p.y - low.y).abs() <= (p.y - high.y).abs());
        let (a, b) = if from_low { (low, high) } else { (high, low) };
        line.push(a);
        if (a.y - b.y).abs() >= 0.05 {
            line.push(b);
        }
    }
    draw_line(canvas, &mut line, thin);
}

fn draw_line(canvas: &mut Canvas, line: &mut Vec<Point>, style: &str) {
    if let [only] = line.as_slice() {
        canvas.path(&[*only, Point::new(only.x + 0.5, only.y)], style);
    } else if !line.is_empty() {
        canvas.path(line, style);
    }
    line.clear();
}
