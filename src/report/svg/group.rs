//! What is drawn inside a part: a finding in, groups out. A group is a coil, a contact or a bare
//! connection, with the pins at each of its ports by their position in the operator's order. Only
//! what the finding claims is drawn: of an undecided part, its coils and joined pins alone.

use crate::event::{Form, IdentifyFinding, Latching, Outcome, Pin, Pins};

/// The kind of a group, which fixes its ports.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Kind {
    /// Ports: plus, minus.
    Coil { latching: bool },
    /// Ports: either side.
    Make,
    /// Ports: either side.
    Break,
    /// Ports: common, normally open, normally closed.
    Changeover,
    /// One port.
    Joined,
}

/// A group of pins.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Group {
    pub(super) kind: Kind,
    /// For each port the positions of its pins.
    pub(super) ports: Vec<Vec<usize>>,
}

impl Group {
    /// All its pins' positions.
    pub(super) fn pins(&self) -> impl Iterator<Item = usize> {
        self.ports.iter().flatten().copied()
    }
}

/// The groups that `finding` claims; pins that are not in `pins` are left out.
pub(super) fn groups(finding: &IdentifyFinding, pins: &Pins) -> Vec<Group> {
    let at = |side: &[Pin]| side.iter().filter_map(|pin| pins.position(pin)).collect::<Vec<_>>();
    let latching = finding.latching != Latching::No;
    let mut groups: Vec<Group> = finding
        .coils
        .iter()
        .map(|coil| Group {
            kind: Kind::Coil { latching },
            ports: vec![
                at(std::slice::from_ref(&coil.plus)),
                at(std::slice::from_ref(&coil.minus)),
            ],
        })
        .collect();
    if finding.result == Outcome::Identified {
        groups.extend(finding.poles.iter().map(|pole| {
            let (common, no, nc) = (at(&pole.common), at(&pole.no), at(&pole.nc));
            match pole.form {
                Form::A => Group { kind: Kind::Make, ports: vec![common, no] },
                Form::B => Group { kind: Kind::Break, ports: vec![common, nc] },
                Form::C => Group { kind: Kind::Changeover, ports: vec![common, no, nc] },
            }
        }));
    }
    let joined = finding.joined.iter();
    groups.extend(joined.map(|side| Group { kind: Kind::Joined, ports: vec![at(side)] }));
    groups.retain(|group| group.ports.iter().all(|port| !port.is_empty()));
    groups
}
