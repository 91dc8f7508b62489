//! Graphic symbols by the shapes of IEC 60617 (coil 07-15-01, make contact 07-02-01, break contact
//! 07-02-03, changeover 07-02-04; geometry as the TeX libraries pgf `circuits.ee.IEC` and
//! `tikz-relay` 1.3 restate it), on a grid of [`U`]. A symbol lies along its lane, 4 U long, its
//! ports at the ends; it can be mirrored either way and stood upright. Contacts are drawn at rest.

use super::group::Kind;
use super::{Canvas, Point};

/// The grid unit, in user units.
pub(super) const U: f64 = 10.0;

/// A symbol's place: where its middle is and how it is turned.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Placed {
    pub(super) kind: Kind,
    pub(super) centre: Point,
    /// First port at the right (upright: at the bottom) instead of the left (top).
    pub(super) turned: bool,
    /// Break terminal and arm below the line instead of above.
    pub(super) below: bool,
    /// Along the vertical instead of the horizontal.
    pub(super) upright: bool,
}

/// A box, by its smallest and largest corner.
#[derive(Clone, Copy, Debug)]
pub(super) struct Extent {
    pub(super) from: Point,
    pub(super) to: Point,
}

impl Placed {
    /// Where a point of the symbol is: `along` and `up` in grid units from its middle.
    pub(super) fn at(&self, along: f64, up: f64) -> Point {
        let along = U * if self.turned { -along } else { along };
        let across = U * if self.below { up } else { -up };
        let (x, y) = if self.upright { (across, along) } else { (along, across) };
        Point::new(self.centre.x + x, self.centre.y + y)
    }

    /// Where a port is.
    pub(super) fn port(&self, port: usize) -> Point {
        match (self.kind, port) {
            (Kind::Joined, _) => self.centre,
            (Kind::Changeover, 2) => self.at(1.0, 2.0),
            (_, 0) => self.at(-2.0, 0.0),
            _ => self.at(2.0, 0.0),
        }
    }

    /// The box that no wire may enter; ports are on its edge.
    pub(super) fn extent(&self) -> Option<Extent> {
        let (low, high) = match self.kind {
            Kind::Joined => return None,
            Kind::Coil { latching: true } => (-2.2, 3.2),
            Kind::Coil { latching: false } => (-2.2, 2.2),
            Kind::Make | Kind::Break => (-0.4, 1.6),
            Kind::Changeover => (-0.4, 1.9),
        };
        let (a, b) = (self.at(-2.0, low), self.at(2.0, high));
        Some(Extent {
            from: Point::new(a.x.min(b.x), a.y.min(b.y)),
            to: Point::new(a.x.max(b.x), a.y.max(b.y)),
        })
    }

    /// Draws it.
    pub(super) fn draw(&self, canvas: &mut Canvas) {
        match self.kind {
            Kind::Joined => {}
            Kind::Coil { latching } => self.draw_coil(canvas, latching),
            Kind::Make => {
                self.draw_leads(canvas);
                // 30 degrees, the tip over the right end and past it.
                let rise = 2.2 * std::f64::consts::FRAC_PI_6.tan();
                canvas.line(self.at(-1.0, 0.0), self.at(1.2, rise));
            }
            Kind::Break => {
                self.draw_leads(canvas);
                canvas.line(self.at(1.0, 0.0), self.at(1.0, 1.0));
                canvas.line(self.at(-1.0, 0.0), self.at(1.4, 2.4 / 3.0));
            }
            Kind::Changeover => {
                self.draw_leads(canvas);
                canvas.line(self.at(1.0, 2.0), self.at(1.0, 1.0));
                canvas.line(self.at(-1.0, 0.0), self.at(1.3, 2.3 * 2.0 / 3.0));
            }
        }
    }

    fn draw_leads(&self, canvas: &mut Canvas) {
        canvas.line(self.at(-2.0, 0.0), self.at(-1.0, 0.0));
        canvas.line(self.at(1.0, 0.0), self.at(2.0, 0.0));
    }

    /// Leads at the middle of the long sides; a latching coil has a box with a diagonal on one end.
    fn draw_coil(&self, canvas: &mut Canvas, latching: bool) {
        self.draw_leads(canvas);
        canvas.rect(self.at(-1.0, -2.0), self.at(1.0, 2.0), "");
        if latching {
            canvas.rect(self.at(-1.0, 2.0), self.at(1.0, 3.0), "");
            canvas.line(self.at(-1.0, 2.0), self.at(1.0, 3.0));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn placed(kind: Kind) -> Placed {
        let centre = Point::new(100.0, 50.0);
        Placed { kind, centre, turned: false, below: false, upright: false }
    }

    #[test]
    fn the_changeover_arm_crosses_the_break_stroke_at_four_thirds() {
        let mut canvas = Canvas(String::new());
        placed(Kind::Changeover).draw(&mut canvas);
        // Arm from 1 U left to 1.3 U right of the middle at slope 2 : 3, in tenths.
        assert!(canvas.0.contains("M90 50L113 34.7"), "{}", canvas.0);
        // The stroke: 2 U to 1 U above the line, 1 U right of the middle.
        assert!(canvas.0.contains("M110 30L110 40"), "{}", canvas.0);
    }

    #[test]
    fn turning_moves_the_ports_with_the_symbol() {
        let turned = Placed { turned: true, below: true, ..placed(Kind::Changeover) };
        assert_eq!(turned.port(0), Point::new(120.0, 50.0));
        assert_eq!(turned.port(2), Point::new(90.0, 70.0));
        let upright = Placed { upright: true, ..placed(Kind::Coil { latching: false }) };
        assert_eq!(upright.port(0), Point::new(100.0, 30.0));
        assert_eq!(upright.port(1), Point::new(100.0, 70.0));
    }
}
