//! From choices to wires: a [`Board`] (pins and groups) and one [`Choice`] of lanes, slots and
//! turns in, straight segments and placed symbols out, with a cost: wires that could be misread
//! (overlaps, touches, a wire through a symbol or a pin) cost most, then crossings, then length
//! and bends. All segments are level or upright. Choosing is for `router.rs`.

use super::Point;
use super::footprint::{Footprint, PITCH};
use super::group::{Group, Kind};
use super::symbols::{Extent, Placed, U};

/// Height of one lane, in user units.
const LANE: f64 = 62.0;
/// From a row of pins to the nearest lane.
const ROOM: f64 = 54.0;
/// From a pin to where its wire may step aside.
const STUB: f64 = 9.0;
/// What one place that could be misread costs.
pub(super) const UNCLEAR: f64 = 1000.0;
/// Room for a mark beside a pin of a middle row.
const MARK: f64 = 30.0;
/// Half of a pin's box.
pub(super) const PIN: Point = Point::new(17.0, 12.0);

/// What is to be wired.
pub(super) struct Board {
    pub(super) footprint: Footprint,
    pub(super) groups: Vec<Group>,
    /// For each pin the net it belongs to; pins that one port or one pin joins share it.
    nets: Vec<usize>,
}

/// One way to wire it.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Choice {
    /// For each group its lane, from the top.
    pub(super) lanes: Vec<usize>,
    /// For each group the x of its symbol, in quarters of a pitch.
    pub(super) slots: Vec<i32>,
    /// For each group: turned, below, upright.
    pub(super) turns: Vec<[bool; 3]>,
    /// For each pin how far its wire steps aside, in halves of a pitch.
    pub(super) asides: Vec<i32>,
}

/// A level or upright piece of wire; `a` is never right of or below `b`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Segment {
    pub(super) a: Point,
    pub(super) b: Point,
    pub(super) net: usize,
}

/// The wires and symbols of one choice.
pub(super) struct Wiring {
    pub(super) segments: Vec<Segment>,
    pub(super) symbols: Vec<Placed>,
    /// The y of each row of pins.
    pub(super) rows: Vec<f64>,
    /// The y below which nothing is drawn.
    pub(super) bottom: f64,
    bends: u32,
    lanes: usize,
}

impl Board {
    pub(super) fn new(footprint: Footprint, groups: Vec<Group>) -> Self {
        let mut nets: Vec<usize> = (0..footprint.places.len()).collect();
        for port in groups.iter().flat_map(|group| &group.ports) {
            let least = port.iter().map(|pin| nets[*pin]).min().unwrap_or(0);
            let merged: Vec<usize> = port.iter().map(|pin| nets[*pin]).collect();
            nets.iter_mut().filter(|net| merged.contains(net)).for_each(|net| *net = least);
        }
        Self { footprint, groups, nets }
    }

    /// The wires of `choice`.
    pub(super) fn wire(&self, choice: &Choice) -> Wiring {
        let (lane_y, rows, bottom, lanes) = self.levels(choice);
        let mut wiring =
            Wiring { segments: Vec::new(), symbols: Vec::new(), rows, bottom, bends: 0, lanes };
        for (g, group) in self.groups.iter().enumerate() {
            let [turned, below, upright] = choice.turns[g];
            let upright = upright && self.may_stand(group, choice);
            let x = match group.pins().next() {
                Some(pin) if upright => self.trunk(pin, choice),
                _ => f64::from(choice.slots[g]) * PITCH / 4.0,
            };
            let y =
                if upright { self.mid_row(group, &wiring.rows) } else { lane_y[choice.lanes[g]] };
            let centre = Point::new(x, y);
            let placed = Placed { kind: group.kind, centre, turned, below, upright };
            for (port, pins) in group.ports.iter().enumerate() {
                for pin in pins {
                    self.route(&mut wiring, *pin, &placed, port, choice);
                }
            }
            wiring.symbols.push(placed);
        }
        wiring
    }

    /// The places of the pins alone.
    pub(super) fn unwired(&self) -> Wiring {
        let count = self.groups.len();
        self.wire(&Choice {
            lanes: vec![0; count],
            slots: vec![0; count],
            turns: vec![[false; 3]; count],
            asides: vec![0; self.footprint.places.len()],
        })
    }

    /// Whether a two-ended group can stand on the wire between two pins of one column.
    pub(super) fn may_stand(&self, group: &Group, choice: &Choice) -> bool {
        let [a, b] = group.ports.as_slice() else { return false };
        let ([a], [b]) = (a.as_slice(), b.as_slice()) else { return false };
        let places = &self.footprint.places;
        places[*a].0 != places[*b].0
            && (self.trunk(*a, choice) - self.trunk(*b, choice)).abs() < 0.5
    }

    /// Half-way between the rows of a group's pins.
    fn mid_row(&self, group: &Group, rows: &[f64]) -> f64 {
        let ys = group.pins().map(|pin| rows[self.footprint.places[pin].0]);
        let (low, high) = ys.fold((f64::MAX, f64::MIN), |(l, h), y| (l.min(y), h.max(y)));
        (low + high) / 2.0
    }

    fn trunk(&self, pin: usize, choice: &Choice) -> f64 {
        self.footprint.places[pin].1 + f64::from(choice.asides[pin]) * PITCH / 2.0
    }

    /// The y of every lane and row, the bottom, and how many lanes are in use.
    fn levels(&self, choice: &Choice) -> (Vec<f64>, Vec<f64>, f64, usize) {
        let rows = self.footprint.rows;
        let channels = rows.saturating_sub(1).max(1);
        let stands = |g: &usize| choice.turns[*g][2] && self.may_stand(&self.groups[*g], choice);
        let mut used: Vec<usize> =
            (0..self.groups.len()).filter(|g| !stands(g)).map(|g| choice.lanes[g]).collect();
        used.sort_unstable();
        used.dedup();
        let mut lane_y = vec![0.0; self.groups.len()];
        let mut row_y = vec![0.0];
        let mut y = 0.0;
        let mut rank = 0;
        for channel in 0..channels {
            y += ROOM;
            let empty = rank == used.len() || rank * channels / used.len() != channel;
            y += if empty { ROOM / 2.0 } else { 0.0 };
            while rank < used.len() && rank * channels / used.len() == channel {
                lane_y[used[rank]] = y;
                rank += 1;
                let more = rank < used.len() && rank * channels / used.len() == channel;
                y += if more { LANE } else { ROOM };
            }
            if row_y.len() < rows {
                row_y.push(y);
            }
        }
        let bottom = if rows == 1 { y - ROOM / 2.0 } else { y };
        (lane_y, row_y, bottom, used.len())
    }

    /// A wire from a pin to a port: aside, along its trunk, and level to the port; round the
    /// symbol where the port looks the other way.
    fn route(
        &self,
        wiring: &mut Wiring,
        pin: usize,
        placed: &Placed,
        port: usize,
        choice: &Choice,
    ) {
        let (row, x) = self.footprint.places[pin];
        let trunk = self.trunk(pin, choice);
        let end = placed.port(port);
        let down = end.y > wiring.rows[row];
        let start = Point::new(x, wiring.rows[row] + if down { PIN.y } else { -PIN.y });
        let mut points = vec![start];
        if (trunk - x).abs() > 0.5 {
            let stub = if down { STUB } else { -STUB };
            points.push(Point::new(x, start.y + stub));
            points.push(Point::new(trunk, start.y + stub));
        }
        let looks_right = end.x > placed.centre.x;
        let awkward = !placed.upright
            && placed.kind != Kind::Joined
            && !(placed.kind == Kind::Changeover && port == 2)
            && (trunk - end.x).abs() > 0.5
            && (trunk > end.x) != looks_right;
        if awkward {
            let away = if placed.below { -1.6 * U } else { 1.6 * U };
            let side = end.x + if looks_right { U } else { -U };
            let reach = if matches!(placed.kind, Kind::Coil { .. }) { 2.8 * U } else { 1.6 * U };
            let level = end.y + away.signum() * reach;
            points.push(Point::new(trunk, level));
            points.push(Point::new(side, level));
            points.push(Point::new(side, end.y));
        } else {
            points.push(Point::new(trunk, end.y));
        }
        points.push(end);
        points.dedup();
        let net = self.nets[pin];
        let mut count = 0;
        for pair in points.windows(2) {
            let (p, q) = (pair[0], pair[1]);
            let (a, b) = if (p.x, p.y) <= (q.x, q.y) { (p, q) } else { (q, p) };
            wiring.segments.push(Segment { a, b, net });
            count += 1;
        }
        wiring.bends += count;
    }

    /// What a wiring costs; less is better. Infinite as soon as it is plain that it costs more than
    /// `limit`.
    pub(super) fn cost(&self, wiring: &Wiring, limit: f64) -> f64 {
        let lanes = u32::try_from(wiring.lanes).unwrap_or(16);
        let length = |s: &Segment| (s.b.x - s.a.x) + (s.b.y - s.a.y);
        let off_centre = wiring.symbols.iter().map(|s| self.off_centre(s, wiring));
        let mut cost = f64::from(self.overlapping(wiring)) * UNCLEAR
            + f64::from(wiring.bends) * 4.0
            + f64::from(lanes) * 30.0
            + wiring.segments.iter().map(length).sum::<f64>() * 0.1
            + off_centre.sum::<f64>() * 0.2;
        for (i, s) in wiring.segments.iter().enumerate() {
            cost += f64::from(self.obstacles(s, wiring)) * UNCLEAR;
            for t in &wiring.segments[i + 1..] {
                cost += match s.meets(t) {
                    Meeting::Apart => 0.0,
                    Meeting::Crossing => 60.0,
                    Meeting::Unclear => UNCLEAR,
                };
            }
            if cost > limit {
                return f64::INFINITY;
            }
        }
        cost
    }

    /// The middle and half the size of a pin; in a middle row, with its mark at its right.
    fn pin_box(&self, pin: usize, wiring: &Wiring) -> (Point, Point) {
        let (row, x) = self.footprint.places[pin];
        let at = Point::new(x, wiring.rows[row]);
        let mark = if row == 0 || row + 1 == self.footprint.rows { 0.0 } else { MARK / 2.0 };
        (Point::new(at.x + mark, at.y), Point::new(PIN.x + mark, PIN.y))
    }

    /// How many symbols cover a symbol or a pin.
    fn overlapping(&self, wiring: &Wiring) -> u32 {
        const GAP: f64 = 6.0;
        let mut boxes: Vec<Extent> = wiring.symbols.iter().filter_map(Placed::extent).collect();
        let symbols = boxes.len();
        boxes.extend((0..self.nets.len()).map(|pin| {
            let (at, half) = self.pin_box(pin, wiring);
            let (from, to) = (
                Point::new(at.x - half.x, at.y - half.y),
                Point::new(at.x + half.x, at.y + half.y),
            );
            Extent { from, to }
        }));
        let mut count = 0;
        for (i, a) in boxes[..symbols].iter().enumerate() {
            for b in &boxes[i + 1..] {
                let apart = a.to.x + GAP < b.from.x
                    || b.to.x + GAP < a.from.x
                    || a.to.y + GAP < b.from.y
                    || b.to.y + GAP < a.from.y;
                count += u32::from(!apart);
            }
        }
        count
    }

    /// How many pins and symbols a wire runs through or too close by.
    fn obstacles(&self, s: &Segment, wiring: &Wiring) -> u32 {
        let mut count = 0;
        for (pin, net) in self.nets.iter().enumerate() {
            let (centre, half) = self.pin_box(pin, wiring);
            count += u32::from(*net != s.net && s.enters(centre, half, 3.0));
        }
        for (placed, group) in wiring.symbols.iter().zip(&self.groups) {
            let Some(extent) = placed.extent() else { continue };
            let own = group.pins().any(|pin| self.nets[pin] == s.net);
            let (from, to) = (extent.from, extent.to);
            let centre = Point::new((from.x + to.x) / 2.0, (from.y + to.y) / 2.0);
            let half = Point::new((to.x - from.x) / 2.0, (to.y - from.y) / 2.0);
            count += u32::from(s.enters(centre, half, if own { -1.0 } else { 4.0 }));
        }
        count
    }

    /// How far a symbol is from the middle of the level wires at its ends.
    fn off_centre(&self, placed: &Placed, wiring: &Wiring) -> f64 {
        let ends = wiring.segments.iter().filter(|s| {
            s.is_level() && (s.a.y - placed.centre.y).abs() < 0.5 && (s.a.x - s.b.x).abs() > 0.5
        });
        let touching = |x: f64| (x - placed.centre.x).abs() < 2.5 * U;
        let reach = ends.filter_map(|s| match (touching(s.a.x), touching(s.b.x)) {
            (true, false) => Some(s.b.x - placed.centre.x),
            (false, true) => Some(s.a.x - placed.centre.x),
            _ => None,
        });
        reach.sum::<f64>().abs()
    }
}

enum Meeting {
    Apart,
    Crossing,
    Unclear,
}

impl Segment {
    pub(super) fn is_level(&self) -> bool {
        (self.a.y - self.b.y).abs() < 0.5
    }

    /// How two segments meet; those of one net may do as they like.
    fn meets(&self, other: &Self) -> Meeting {
        const NEAR: f64 = 6.0;
        let near = |from: f64, to: f64, x: f64| x > from - NEAR && x < to + NEAR;
        if self.net == other.net {
            return Meeting::Apart;
        }
        let (level, upright) = match (self.is_level(), other.is_level()) {
            (true, false) => (self, other),
            (false, true) => (other, self),
            (both_level, _) => {
                let beside = |p: f64, q: f64| (p - q).abs() < NEAR;
                let (close, along) = if both_level {
                    let along =
                        near(self.a.x, self.b.x, other.a.x) || near(other.a.x, other.b.x, self.a.x);
                    (beside(self.a.y, other.a.y), along)
                } else {
                    let along =
                        near(self.a.y, self.b.y, other.a.y) || near(other.a.y, other.b.y, self.a.y);
                    (beside(self.a.x, other.a.x), along)
                };
                return if close && along { Meeting::Unclear } else { Meeting::Apart };
            }
        };
        let (x, y) = (upright.a.x, level.a.y);
        if !(near(level.a.x, level.b.x, x) && near(upright.a.y, upright.b.y, y)) {
            return Meeting::Apart;
        }
        let inside = |from: f64, to: f64, x: f64| x > from + NEAR && x < to - NEAR;
        if inside(level.a.x, level.b.x, x) && inside(upright.a.y, upright.b.y, y) {
            Meeting::Crossing
        } else {
            Meeting::Unclear
        }
    }

    /// Whether it comes into a box, grown by `margin`.
    fn enters(&self, centre: Point, half: Point, margin: f64) -> bool {
        self.b.x > centre.x - half.x - margin
            && self.a.x < centre.x + half.x + margin
            && self.b.y > centre.y - half.y - margin
            && self.a.y < centre.y + half.y + margin
    }
}
