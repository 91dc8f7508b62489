//! The course of the belief: probability of the leading candidates over the placements, as a small
//! line chart. Lines are told apart by their dashes and by a letter at their end, never by colour.
//! A candidate that is not among those recorded at a point has no known probability there: its
//! line has a gap. Where several points share a placement, the last one counts.

use super::super::parts::BeliefPoint;
use super::super::words;
use super::{Canvas, Point, n};

/// The most lines.
const CURVES_MAX: usize = 4;
const DASHES: [&str; CURVES_MAX] = ["", "7 4", "1.5 4", "9 3 1.5 3"];
const LETTERS: [&str; CURVES_MAX] = ["a", "b", "c", "d"];

const LEFT: f64 = 44.0;
const TOP: f64 = 14.0;
const WIDE: f64 = 560.0;
const HIGH: f64 = 170.0;

/// One candidate's course.
#[derive(Clone, Debug, PartialEq)]
pub(in crate::report) struct Curve {
    /// The letter at its line's end.
    pub(in crate::report) letter: &'static str,
    /// The candidate in words.
    pub(in crate::report) name: String,
    /// Its probability at the last point, if it is known there.
    pub(in crate::report) last: Option<f64>,
    /// For each point its placements and its probability there.
    points: Vec<(u32, Option<f64>)>,
}

/// The leading candidates: best at the end first, then best at any time.
pub(in crate::report) fn curves(course: &[BeliefPoint]) -> Vec<Curve> {
    let mut points: Vec<&BeliefPoint> = Vec::new();
    for point in course {
        if points.last().is_some_and(|last| last.placements == point.placements) {
            points.pop();
        }
        points.push(point);
    }
    let mut names: Vec<(String, f64, f64)> = Vec::new();
    for (i, point) in points.iter().enumerate() {
        let is_last = i + 1 == points.len();
        for candidate in &point.belief.candidates {
            let name = words::candidate(candidate);
            let p = candidate.posterior;
            let at_end = if is_last { p } else { 0.0 };
            match names.iter_mut().find(|(known, ..)| *known == name) {
                Some((_, end, best)) => (*end, *best) = (end.max(at_end), best.max(p)),
                None => names.push((name, at_end, p)),
            }
        }
    }
    names.sort_by(|a, b| b.1.total_cmp(&a.1).then(b.2.total_cmp(&a.2)).then(a.0.cmp(&b.0)));
    let of = |(i, (name, ..)): (usize, (String, f64, f64))| {
        let points: Vec<_> = points
            .iter()
            .map(|point| {
                let candidates = &point.belief.candidates;
                let here = candidates.iter().find(|c| words::candidate(c) == name);
                (point.placements, here.map(|c| c.posterior.clamp(0.0, 1.0)))
            })
            .collect();
        let last = points.last().and_then(|(_, p)| *p);
        Curve { letter: LETTERS[i], name, last, points }
    };
    names.into_iter().take(CURVES_MAX).enumerate().map(of).collect()
}

/// The chart as one SVG element; empty where there is nothing to draw.
pub(in crate::report) fn render(curves: &[Curve]) -> String {
    let most = curves.iter().flat_map(|c| c.points.iter().map(|(x, _)| *x)).max().unwrap_or(0);
    if most == 0 {
        return String::new();
    }
    let label = format!(
        "Line chart: probability of the leading candidates over {most} placements; {}",
        curves.iter().map(spoken).collect::<Vec<_>>().join("; ")
    );
    let (origin, size) = (Point::new(0.0, 0.0), (LEFT + WIDE + 30.0, TOP + HIGH + 46.0));
    let mut canvas = Canvas::open("course", origin, size, "Course of the belief", &label);
    let place = |placements: u32, p: f64| {
        Point::new(LEFT + WIDE * f64::from(placements) / f64::from(most), TOP + HIGH * (1.0 - p))
    };
    draw_axes(&mut canvas, most, &place);
    let mut ends: Vec<(f64, &str, f64)> = Vec::new();
    for (curve, dashes) in curves.iter().zip(DASHES) {
        let style = format!("stroke-width=\"2\" stroke-dasharray=\"{dashes}\"");
        let mut run: Vec<Point> = Vec::new();
        for (placements, p) in &curve.points {
            match p {
                Some(p) => run.push(place(*placements, *p)),
                None => draw_run(&mut canvas, &mut run, &style),
            }
        }
        draw_run(&mut canvas, &mut run, &style);
        let known = curve.points.iter().rev().find_map(|(x, p)| p.map(|p| place(*x, p)));
        ends.extend(known.map(|end| (end.y, curve.letter, end.x)));
    }
    draw_letters(&mut canvas, ends);
    canvas.close()
}

fn spoken(curve: &Curve) -> String {
    let last = curve.last.map(super::super::number::probability);
    format!("{} ends at {}: {}", curve.letter, last.as_deref().unwrap_or("not known"), curve.name)
}

fn draw_run(canvas: &mut Canvas, run: &mut Vec<Point>, style: &str) {
    if let [only] = run.as_slice() {
        canvas.circle(*only, 2.5, "fill=\"currentColor\"");
    } else if !run.is_empty() {
        canvas.path(run, style);
    }
    run.clear();
}

fn draw_axes(canvas: &mut Canvas, most: u32, place: &dyn Fn(u32, f64) -> Point) {
    let small = "font-size=\"12\"";
    for quarter in 0..=4_u32 {
        let p = f64::from(quarter) / 4.0;
        let (from, to) = (place(0, p), place(most, p));
        let style = if quarter == 0 {
            "stroke-width=\"1\""
        } else {
            "stroke-width=\"0.6\" stroke-opacity=\"0.35\""
        };
        canvas.styled_line(from, to, style);
        canvas.text(Point::new(LEFT - 8.0, from.y + 4.0), "end", small, &n2(p));
    }
    let step = [1, 2, 5, 10, 20, 50, 100].into_iter().find(|s| most / s <= 12).unwrap_or(500);
    for x in (0..=most).step_by(step as usize) {
        let foot = place(x, 0.0);
        canvas.styled_line(foot, Point::new(foot.x, foot.y + 5.0), "stroke-width=\"1\"");
        canvas.text(Point::new(foot.x, foot.y + 19.0), "middle", small, &x.to_string());
    }
    let middle = Point::new(LEFT + WIDE / 2.0, TOP + HIGH + 38.0);
    canvas.text(middle, "middle", small, "placements");
}

/// Letters at the ends of the lines, from the lowest up, each pushed above those it would cover.
fn draw_letters(canvas: &mut Canvas, mut ends: Vec<(f64, &str, f64)>) {
    ends.sort_by(|a, b| b.0.total_cmp(&a.0));
    let mut placed: Vec<Point> = Vec::new();
    for (y, letter, x) in ends {
        let mut y = y.min(TOP + HIGH - 7.0);
        for other in &placed {
            if (other.x - x).abs() < 16.0 && other.y - y < 15.0 {
                y = other.y - 15.0;
            }
        }
        placed.push(Point::new(x, y));
        let style = "font-weight=\"700\" font-size=\"14\"";
        canvas.text(Point::new(x + 8.0, y + 4.0), "start", style, letter);
    }
}

fn n2(p: f64) -> String {
    if p == 0.0 || p == 1.0 { n(p) } else { format!("{p:.2}") }
}
