//! Short explanations of the trade's words, in our own: a topic in, a screenful of text out. They
//! say what a technician needs at the bench; what a standard is named for stands in the text. Facts
//! without a source are common practice.

/// A topic, what it is about in a line, and its text.
pub(super) struct Topic {
    pub(super) name: &'static str,
    pub(super) about: &'static str,
    pub(super) text: &'static str,
}

/// The topic of this name, or one that begins with it and no other does.
pub(super) fn find(name: &str) -> Option<&'static Topic> {
    let name = name.to_lowercase();
    let exact = TOPICS.iter().find(|topic| topic.name == name);
    let mut begin = TOPICS.iter().filter(|topic| !name.is_empty() && topic.name.starts_with(&name));
    exact.or_else(|| begin.next().filter(|_| begin.next().is_none()))
}

/// All of them.
pub(super) const TOPICS: [Topic; 12] = [
    Topic {
        name: "forms",
        about: "make, break, changeover; A, B, C; poles and throws",
        text: "\
A contact has a form. Make (Form A, normally open): open at rest, closed while the coil is
driven. Break (Form B, normally closed): closed at rest, opens when driven. Changeover (Form C):
a common that rests on one side (NC) and goes over to the other (NO). IEC 61810-1 uses make,
break and changeover; the letters are the trade's.

A pole is one such contact. `2C` is two changeovers moved by one coil, `1A+1B` a make and a
break. Rest means: no drive, after a latching part was reset. In an alarm loop the form decides
what a cut wire looks like, so it is proved before it is trusted.",
    },
    Topic {
        name: "marks",
        about: "the numbers on a relay's pins: A1-A2, 11-12-14",
        text: "\
EN 50005 numbers the pins. A1 and A2 are the coil; with polarity A1 is plus. The first digit of a
contact is its pole, the second what it does: 1 common, 2 break side (NC), 4 make side (NO). So
11-12-14 is the first changeover and 21-22-24 the second.

A part without numbers gets them in the report. Write them on the part before you put it away.",
    },
    Topic {
        name: "coil",
        about: "coil ohms, and why they do not fix the voltage",
        text: "\
A coil's ohms follow from its voltage and its power: R = U * U / P. Powers differ from type to
type, so the same ohms fit several voltages: 1440 ohm is 0.1 W at 12 V and 0.4 W at 24 V. The
program gives a list of voltages with probabilities, drives from the lowest plausible one up, and
stops at the first that moves a contact.

Copper has 0.393 % more ohms for each degree, so a coil at 40 degrees reads 8 % high. Give
--ambient-celsius and the report states it at 20 degrees.",
    },
    Topic {
        name: "pick-up",
        about: "pick-up, drop-out, hold: voltages at which contacts move",
        text: "\
Pick-up is the coil voltage at which the contacts change over as it rises; drop-out the one at
which they return as it falls. Drop-out is well below pick-up: once the armature has closed its
gap it needs less to stay. A part that picks up at 70 % of its rated voltage when cold wants more
when it is warm, because warm copper takes less current.

A relay run from an equipment's output has to pick up at the lowest voltage the output ever has
(low battery, long cable, other loads), with a hot coil, not at the rated one.",
    },
    Topic {
        name: "polarity",
        about: "coils that want plus on one side",
        text: "\
A plain coil works either way round. With a suppression diode across it, plus must go to the
cathode's end (A1), or the diode shorts the supply. With a lamp it lights only one way. Latching
and some sensitive parts have a magnet inside and move only with the right polarity.

Ohms in both lead directions and the diode test show most of these. A meter with a small test
current may not open a diode that lies across a low coil: then the report says that it cannot
tell. Use a supply with a current limit.",
    },
    Topic {
        name: "latching",
        about: "parts that stay where they were put",
        text: "\
A latching part keeps its state without drive. One coil: one polarity sets, the other resets. Two
coils: one sets, the other resets. It has no `at rest` of its own: NC and NO are named for the
state after the drive that the report calls reset.

In an alarm loop it is usually the wrong part: after a power cut it shows the past.",
    },
    Topic {
        name: "end-of-line",
        about: "why a loop has resistors, and where they belong",
        text: "\
A zone input measures the resistance of its loop. A bare contact has two values, open and short,
and a cut cable or a bridged one looks like one of them. An end-of-line resistor at the far end,
behind the contact, gives the healthy loop a value of its own, so that cut and bridge show. With a
second resistor across the contact the panel also tells an alarm from a cut.

The resistors belong at the contact, at the end of the line; at the panel they supervise nothing.
The values are the panel's: read its manual.",
    },
    Topic {
        name: "isolation",
        about: "coil against contacts; what a multimeter cannot show",
        text: "\
A relay keeps two circuits apart: the equipment's output on the coil, the panel's loop on the
contact. With --isolation the program looks for a path between coil and each pole and between
poles, and says `open beyond the meter's range`.

That finds a short or a joined pin. It is no insulation test: that takes a test voltage of
hundreds of volts from an instrument made for it, and a part that was made and approved for it.",
    },
    Topic {
        name: "placement",
        about: "leads, touches, and why the program asks again",
        text: "\
A placement is both leads on two pins, once. A lead that misses reads open, whatever the pins
are, for as long as it stays: all readings of one touch are wrong together. So the program never
counts ten readings of a touch as ten reasons, and asks for a fresh touch where it matters.

It asks for the placement that tells most for the time it takes; moving one lead is quicker than
moving two. It ends when one pinout is as probable as you asked, and then proves each contact.",
    },
    Topic {
        name: "hands",
        about: "keys, pedals, the held dwell, sounds and speech",
        text: "\
A closed contact or a coil announces itself: hold the leads there until the bell. An open pair
looks exactly like leads in the air, so it wants your word: Enter, Space, or a pedal that types Page
Down or a function key. Or `--dwell 1.5s`: after each ask the program gives you time to get
there, then ticks while you hold, and takes it. Lift before the end and it begins anew. It
stops taking pairs by time alone when it notices nobody.

Bells: one for a capture, two for an ask, two slow ones where only the supply's switch is asked
for as before, three fast ones for trouble, four slow ones at the end.
`--say PROGRAM` gives each ask and result to a speech program, one line each.",
    },
    Topic {
        name: "uncertainty",
        about: "what +- means in the report, and `undecided`",
        text: "\
Every reading has the meter's own uncertainty, from the accuracy in its profile: a share of the
reading plus a share of the range. Leads add theirs, and stay in the ohms of a contact. A value is
only as good as that, however many digits the meter shows.

Where the measurement cannot tell, the result is `undecided` with the reason, and exit code 1.
That is an answer: it is never a guess dressed as one.",
    },
    Topic {
        name: "safety",
        about: "before you touch anything",
        text: "\
Only a part that lies on the bench, out of its circuit, with nothing connected. Mains may be inside
the equipment it came from; an energizer's fence terminals carry kilovolt pulses and are never
measured; a panel's battery can deliver tens of amperes. Switch off, isolate, discharge and earth
before you open a cover, and never defeat its interlock.

Ohms only on dead circuits. A coil kicks back when its drive goes: fingers off bare pins. Local
wiring codes, the equipment's own manual and a licensed person come first. Nothing here is a
certificate.",
    },
];
