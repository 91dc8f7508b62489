//! The wiring picture: output, siren beside it, diode, relay with its marks and pins, contact,
//! resistors, cable and the panel's terminals, by the shapes of IEC 60617 (resistor 04-01-01, coil
//! 07-15-01, make contact 07-02-01, break contact 07-02-03, diode 05-03-01; numbers from memory).
//! The resistors stand where the wiring that was worked out has them. In `currentColor`.

use super::super::svg::{Canvas, Point};
use super::words;
use crate::event::{
    IdentifyFinding, LoopKind, RelayTerminals, ResistorPlace, ZoneContact, ZoneDesignFinding,
    ZoneResistor,
};

const TOP: f64 = 120.0;
const BOTTOM: f64 = 240.0;
const MIDDLE: f64 = 180.0;
const PANEL: f64 = 850.0;
const STEP: f64 = 75.0;

/// The drawing, with the pins of this relay if one was identified.
#[must_use]
pub fn render(finding: &ZoneDesignFinding, relay: Option<&IdentifyFinding>) -> String {
    let label = "Wiring from the output over the relay and the loop to the panel's zone";
    let mut c = Canvas::open("zone", at(0.0, 60.0), (960.0, 270.0), "Wiring", label);
    supply(&mut c, &RelayTerminals::of(&finding.wiring, relay));
    contact(&mut c, finding, &RelayTerminals::of(&finding.wiring, relay));
    let x = far_end(&mut c, finding);
    pair(&mut c, finding, x);
    panel(&mut c);
    c.close()
}

fn at(x: f64, y: f64) -> Point {
    Point::new(x, y)
}

fn wire(c: &mut Canvas, points: &[(f64, f64)]) {
    let points: Vec<Point> = points.iter().map(|(x, y)| at(*x, *y)).collect();
    c.path(&points, "");
}

fn node(c: &mut Canvas, x: f64, y: f64) {
    c.circle(at(x, y), 2.6, "fill=\"currentColor\"");
}

fn say(c: &mut Canvas, x: f64, y: f64, anchor: &str, text: &str) {
    c.text(at(x, y), anchor, "font-size=\"12\"", text);
}

/// Output, siren, diode and coil, all between plus and minus.
fn supply(c: &mut Canvas, pins: &RelayTerminals) {
    c.rect(at(20.0, 130.0), at(90.0, 230.0), "");
    say(c, 55.0, 176.0, "middle", "output");
    say(c, 55.0, 192.0, "middle", "low volts");
    for (y, sign) in [(140.0, "+"), (220.0, "\u{2212}")] {
        c.circle(at(90.0, y), 3.0, "");
        say(c, 78.0, y + 4.0, "middle", sign);
        wire(c, &[(93.0, y), (320.0, y)]);
    }
    // The siren: a square with a horn that widens away from it.
    node(c, 150.0, 140.0);
    node(c, 150.0, 220.0);
    wire(c, &[(150.0, 140.0), (150.0, 170.0)]);
    wire(c, &[(150.0, 190.0), (150.0, 220.0)]);
    c.rect(at(140.0, 170.0), at(160.0, 190.0), "");
    wire(c, &[(160.0, 174.0), (174.0, 164.0), (174.0, 196.0), (160.0, 186.0)]);
    say(c, 150.0, 238.0, "middle", "siren");
    // The diode: its cathode, the bar, on plus.
    node(c, 240.0, 140.0);
    node(c, 240.0, 220.0);
    wire(c, &[(240.0, 140.0), (240.0, 220.0)]);
    wire(c, &[(230.0, 190.0), (250.0, 190.0), (240.0, 171.0), (230.0, 190.0)]);
    wire(c, &[(230.0, 171.0), (250.0, 171.0)]);
    say(c, 240.0, 238.0, "middle", "diode");
    wire(c, &[(320.0, 140.0), (320.0, 170.0)]);
    wire(c, &[(320.0, 190.0), (320.0, 220.0)]);
    c.rect(at(300.0, 170.0), at(340.0, 190.0), "");
    say(c, 320.0, 132.0, "middle", &pins.plus);
    say(c, 320.0, 238.0, "middle", &pins.minus);
    c.styled_line(at(340.0, MIDDLE), at(430.0, MIDDLE - 4.0), "stroke-dasharray=\"5 4\"");
}

/// The contact at rest, its common end on the lower wire, its other end on the upper.
fn contact(c: &mut Canvas, finding: &ZoneDesignFinding, pins: &RelayTerminals) {
    wire(c, &[(420.0, MIDDLE), (405.0, MIDDLE), (405.0, BOTTOM), (470.0, BOTTOM)]);
    wire(c, &[(440.0, MIDDLE), (470.0, MIDDLE), (470.0, TOP)]);
    switch(c, 430.0, MIDDLE, finding.wiring.contact);
    say(c, 405.0, BOTTOM + 18.0, "middle", &pins.common);
    say(c, 464.0, MIDDLE - 26.0, "end", &pins.throw);
}

/// A contact 20 wide with its middle here, drawn at rest: open it rises at 30 degrees, closed its
/// arm crosses the stroke.
fn switch(c: &mut Canvas, x: f64, y: f64, contact: ZoneContact) {
    match contact {
        ZoneContact::NormallyOpen => wire(c, &[(x - 10.0, y), (x + 12.0, y - 12.7)]),
        ZoneContact::NormallyClosed => {
            wire(c, &[(x + 10.0, y), (x + 10.0, y - 10.0)]);
            wire(c, &[(x - 10.0, y), (x + 14.0, y - 8.0)]);
        }
    }
}

/// A resistor in the loop.
enum Part<'a> {
    /// In the upper wire.
    InLine(&'a ZoneResistor),
    /// Between the wires.
    Across(&'a ZoneResistor),
}

/// The resistors in their order from the contact to the panel.
fn parts(finding: &ZoneDesignFinding) -> Vec<Part<'_>> {
    let of = |role: &str| finding.resistors.iter().find(|resistor| resistor.role == role);
    let eol = of("end of line");
    let alarm = of("alarm");
    let opens = finding.wiring.opens_in_alarm();
    let ordered = match (finding.wiring.kind, opens) {
        (LoopKind::Bare, _) => [None, None],
        (LoopKind::Series, _) => [eol.map(Part::InLine), None],
        (LoopKind::Parallel, _) => [eol.map(Part::Across), None],
        (LoopKind::Double, false) => [alarm.map(Part::InLine), eol.map(Part::Across)],
        (LoopKind::Double | LoopKind::Triple, _) => {
            [alarm.map(Part::Across), eol.map(Part::InLine)]
        }
    };
    ordered.into_iter().flatten().collect()
}

/// What stands at the relay beside the contact; returns where the cable begins.
fn far_end(c: &mut Canvas, finding: &ZoneDesignFinding) -> f64 {
    let mut x = 470.0;
    if finding.wiring.place == ResistorPlace::FarEnd {
        x = resistors(c, finding, x);
    }
    let faulty = finding.resistors.iter().find(|resistor| resistor.role == "fault");
    let extra = [finding.wiring.tamper.then_some("tamper"), faulty.map(|_| "fault")];
    let mut low = x;
    wire(c, &[(470.0, BOTTOM), (low, BOTTOM)]);
    for name in extra.into_iter().flatten() {
        wire(c, &[(low, BOTTOM), (low + 20.0, BOTTOM)]);
        switch(c, low + 30.0, BOTTOM, ZoneContact::NormallyClosed);
        wire(c, &[(low + 40.0, BOTTOM), (low + 60.0, BOTTOM)]);
        let below = match (name, faulty) {
            ("fault", Some(resistor)) => {
                let (from, to) = (low + 5.0, low + 55.0);
                wire(c, &[(from, BOTTOM), (from, 270.0), (low + 10.0, 270.0)]);
                wire(c, &[(low + 50.0, 270.0), (to, 270.0), (to, BOTTOM)]);
                c.rect(at(low + 10.0, 265.0), at(low + 50.0, 275.0), "");
                node(c, from, BOTTOM);
                node(c, to, BOTTOM);
                format!("fault, {}", resistor.code)
            }
            _ => name.to_owned(),
        };
        say(c, low + 30.0, 292.0, "middle", &below);
        low += 60.0;
    }
    let end = x.max(low);
    wire(c, &[(x, TOP), (end, TOP)]);
    wire(c, &[(low, BOTTOM), (end, BOTTOM)]);
    end
}

/// The resistors from here on; returns where they end.
fn resistors(c: &mut Canvas, finding: &ZoneDesignFinding, from: f64) -> f64 {
    let mut x = from;
    for part in parts(finding) {
        match part {
            Part::InLine(resistor) => {
                wire(c, &[(x, TOP), (x + 18.0, TOP)]);
                c.rect(at(x + 18.0, TOP - 5.0), at(x + 58.0, TOP + 5.0), "");
                wire(c, &[(x + 58.0, TOP), (x + STEP, TOP)]);
                say(c, x + 38.0, TOP - 26.0, "middle", &resistor.role);
                say(c, x + 38.0, TOP - 12.0, "middle", &resistor.code);
            }
            Part::Across(resistor) => {
                let middle = x + 30.0;
                wire(c, &[(x, TOP), (x + STEP, TOP)]);
                node(c, middle, TOP);
                node(c, middle, BOTTOM);
                wire(c, &[(middle, TOP), (middle, MIDDLE - 20.0)]);
                wire(c, &[(middle, MIDDLE + 20.0), (middle, BOTTOM)]);
                c.rect(at(middle - 5.0, MIDDLE - 20.0), at(middle + 5.0, MIDDLE + 20.0), "");
                say(c, middle + 9.0, MIDDLE - 6.0, "start", &resistor.code);
                say(c, middle + 9.0, MIDDLE + 9.0, "start", &resistor.role);
            }
        }
        x += STEP;
    }
    x
}

/// The cable, and what stands at the panel's end of it.
fn pair(c: &mut Canvas, finding: &ZoneDesignFinding, from: f64) {
    let at_panel = finding.wiring.place == ResistorPlace::PanelEnd;
    let count = if at_panel { parts(finding).len() } else { 0 };
    let to = PANEL - STEP * count as f64;
    for y in [TOP, BOTTOM] {
        wire(c, &[(from, y), (to, y)]);
    }
    let middle = f64::midpoint(from, to);
    for x in [middle - 14.0, middle + 14.0] {
        c.styled_line(at(x, TOP - 8.0), at(x, BOTTOM + 8.0), "stroke-dasharray=\"2 3\"");
    }
    say(c, middle, TOP - 28.0, "middle", "cable");
    let ohms = format!("{} ohm", words::ohms(Some(finding.cable_ohms)));
    say(c, middle, TOP - 14.0, "middle", &ohms);
    if at_panel {
        resistors(c, finding, to);
        wire(c, &[(to, BOTTOM), (PANEL, BOTTOM)]);
    }
}

fn panel(c: &mut Canvas) {
    c.rect(at(PANEL, 90.0), at(PANEL + 90.0, 270.0), "");
    say(c, PANEL + 50.0, 184.0, "middle", "panel");
    for (y, name) in [(TOP, "zone"), (BOTTOM, "common")] {
        c.circle(at(PANEL, y), 3.0, "");
        say(c, PANEL + 10.0, y + 4.0, "start", name);
    }
}
