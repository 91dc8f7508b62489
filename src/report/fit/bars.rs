//! The margins of a fit as one drawing: a bar for each check from zero to its margin in per cent of
//! the limit, with the range that the inputs allow as a line over it, and the limit as the line
//! that a bar must not cross. In `currentColor`; a limit that is not kept is hatched by dashes and
//! said in words, never by colour.

use super::super::svg::{Canvas, Point};
use super::words;
use crate::event::{FitCheck, FitFinding, Verdict};

const LEFT: f64 = 150.0;
const WIDE: f64 = 400.0;
const ROW: f64 = 34.0;
const TOP: f64 = 26.0;
/// Margins beyond these are drawn to the edge, and written out all the same.
const SHOWN_PERCENT: (f64, f64) = (-100.0, 150.0);

/// The drawing; empty where nothing was checked.
pub(super) fn render(finding: &FitFinding) -> String {
    if finding.checks.is_empty() {
        return String::new();
    }
    let ends = finding.checks.iter().flat_map(|check| {
        [percent(check, check.margin_low), percent(check, check.margin_high), 0.0]
    });
    let (low, high) = ends.fold((-10.0_f64, 20.0_f64), |(low, high), x| (low.min(x), high.max(x)));
    let x = |percent: f64| {
        let at = percent.clamp(SHOWN_PERCENT.0, SHOWN_PERCENT.1);
        LEFT + WIDE * (at - low) / (high - low)
    };
    let rows = finding.checks.iter().fold(0.0, |n, _| n + 1.0);
    let label = format!("Margins in per cent of each limit. {}", words::headline(finding));
    let size = (LEFT + WIDE + 120.0, TOP + rows * ROW + 24.0);
    let mut canvas =
        Canvas::open("margins", Point::new(0.0, 0.0), size, "Margins of the fit", &label);
    let foot = TOP + rows * ROW;
    canvas.styled_line(
        Point::new(x(0.0), TOP - 8.0),
        Point::new(x(0.0), foot),
        "stroke-width=\"2\"",
    );
    let small = "font-size=\"11\"";
    canvas.text(Point::new(x(0.0), TOP - 13.0), "middle", small, "limit");
    canvas.text(Point::new(LEFT + WIDE, foot + 16.0), "end", small, "margin, % of the limit");
    let mut y = TOP;
    for check in &finding.checks {
        draw(&mut canvas, check, y, &x);
        y += ROW;
    }
    canvas.close()
}

fn draw(canvas: &mut Canvas, check: &FitCheck, y: f64, x: &impl Fn(f64) -> f64) {
    let (from, to) = (x(0.0), x(percent(check, check.margin)));
    let style = match check.verdict {
        Verdict::Pass => "fill=\"currentColor\" fill-opacity=\"0.28\"",
        Verdict::Undecided => "fill=\"currentColor\" fill-opacity=\"0.1\" stroke-dasharray=\"5 3\"",
        Verdict::Fail => "fill=\"none\" stroke-dasharray=\"2 3\"",
    };
    canvas.rect(Point::new(from, y + 5.0), Point::new(to, y + 21.0), style);
    let range = [check.margin_low, check.margin_high].map(|end| x(percent(check, end)));
    let middle = y + 13.0;
    canvas.styled_line(
        Point::new(range[0], middle),
        Point::new(range[1], middle),
        "stroke-width=\"1.2\"",
    );
    for end in range {
        canvas.styled_line(
            Point::new(end, middle - 4.0),
            Point::new(end, middle + 4.0),
            "stroke-width=\"1.2\"",
        );
    }
    canvas.text(Point::new(LEFT - 10.0, y + 17.0), "end", "", words::name(check.code));
    let said = format!("{} {} %", check.verdict, words::signed(check.margin_percent.round()));
    canvas.text(Point::new(LEFT + WIDE + 10.0, y + 17.0), "start", "", &said);
}

fn percent(check: &FitCheck, margin: f64) -> f64 {
    let share = if check.limit > 0.0 { 100.0 * margin / check.limit } else { 0.0 };
    if share.is_finite() { share.clamp(SHOWN_PERCENT.0, SHOWN_PERCENT.1) } else { 0.0 }
}
