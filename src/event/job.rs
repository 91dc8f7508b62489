//! The words of a whole job: its steps, in the order of the work, what each stands on, and the
//! labels that name site, equipment, terminals and people. The steps that measure are commands of
//! their own; these here say how they hang together. What is done, stale or open follows from a
//! job's record, which is read elsewhere.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// A step of a job, in the order of the work.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "kebab-case")]
pub enum JobStep {
    /// Site, equipment and wires get their labels; the cautions of the site are read.
    Site,
    /// What the output does in alarm.
    Output,
    /// The relay: which pin is what.
    Relay,
    /// Whether the output will hold the relay.
    Fit,
    /// The zone loop, worked out.
    Loop,
    /// The board is proved; where there is none, the wiring is looked over.
    Board,
    /// The loop is proved at the panel.
    Zone,
    /// The record is handed over.
    HandOver,
}

impl JobStep {
    /// Every step, in order.
    pub const ALL: [Self; 8] = [
        Self::Site,
        Self::Output,
        Self::Relay,
        Self::Fit,
        Self::Loop,
        Self::Board,
        Self::Zone,
        Self::HandOver,
    ];

    /// Its word on the wire and on the command line.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Site => "site",
            Self::Output => "output",
            Self::Relay => "relay",
            Self::Fit => "fit",
            Self::Loop => "loop",
            Self::Board => "board",
            Self::Zone => "zone",
            Self::HandOver => "hand-over",
        }
    }

    /// What is done in it, in a few words.
    #[must_use]
    pub const fn title(self) -> &'static str {
        match self {
            Self::Site => "site, equipment and labels",
            Self::Output => "the output through an alarm",
            Self::Relay => "the relay, pin by pin",
            Self::Fit => "whether the output holds the relay",
            Self::Loop => "the zone loop, worked out",
            Self::Board => "the board, or the wiring looked over",
            Self::Zone => "the loop, proved at the panel",
            Self::HandOver => "the hand-over",
        }
    }

    /// The steps whose results it stands on: done again, they make it stale.
    #[must_use]
    pub const fn needs(self) -> &'static [Self] {
        match self {
            Self::Site | Self::Output | Self::Relay => &[],
            Self::Fit => &[Self::Output, Self::Relay],
            Self::Loop => &[Self::Relay],
            Self::Board => &[Self::Relay, Self::Loop],
            Self::Zone => &[Self::Loop, Self::Board],
            Self::HandOver => &[
                Self::Site,
                Self::Output,
                Self::Relay,
                Self::Fit,
                Self::Loop,
                Self::Board,
                Self::Zone,
            ],
        }
    }
}

/// Something that is named in a job.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "snake_case")]
pub enum JobLabel {
    /// The site.
    Site,
    /// The equipment whose output it is.
    Equipment,
    /// Who does the job.
    By,
    /// The zone's number at the panel.
    ZoneNumber,
    /// The zone's terminals at the panel.
    ZoneTerminal,
    /// The colours of the wires.
    WireColours,
    /// Anything else that the next one should know.
    Notes,
    /// Who takes the record over.
    ReceivedBy,
}

impl JobLabel {
    /// Those that are asked at the site, in order.
    pub const AT_SITE: [Self; 7] = [
        Self::Site,
        Self::Equipment,
        Self::By,
        Self::ZoneNumber,
        Self::ZoneTerminal,
        Self::WireColours,
        Self::Notes,
    ];

    /// Its word on the wire and in a job sheet.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Site => "site",
            Self::Equipment => "equipment",
            Self::By => "by",
            Self::ZoneNumber => "zone_number",
            Self::ZoneTerminal => "zone_terminal",
            Self::WireColours => "wire_colours",
            Self::Notes => "notes",
            Self::ReceivedBy => "received_by",
        }
    }

    /// Its heading.
    #[must_use]
    pub const fn title(self) -> &'static str {
        match self {
            Self::Site => "Site",
            Self::Equipment => "Equipment",
            Self::By => "Done by",
            Self::ZoneNumber => "Zone number",
            Self::ZoneTerminal => "Zone terminals",
            Self::WireColours => "Wire colours",
            Self::Notes => "Notes",
            Self::ReceivedBy => "Received by",
        }
    }

    /// What is asked.
    #[must_use]
    pub const fn question(self) -> &'static str {
        match self {
            Self::Site => "Which site is it?",
            Self::Equipment => "Which equipment gives the output, and which terminals are they?",
            Self::By => "Who does the job?",
            Self::ZoneNumber => "Which zone number is it at the panel?",
            Self::ZoneTerminal => "Which terminals are the zone's at the panel?",
            Self::WireColours => "Which wire has which colour?",
            Self::Notes => "Anything that the next technician should know?",
            Self::ReceivedBy => "Who takes the record over?",
        }
    }
}

/// What a talk of a job was begun with.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct JobStart {
    /// The step that is talked about.
    pub step: JobStep,
    /// The job sheet in force: for each step the words that its command gets.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub words: BTreeMap<JobStep, Vec<String>>,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_step_stands_only_on_steps_before_it() {
        for step in JobStep::ALL {
            assert!(step.needs().iter().all(|need| *need < step), "{step:?}");
        }
        assert_eq!(JobStep::HandOver.needs(), &JobStep::ALL[..7], "a hand-over is of everything");
    }

    #[test]
    fn names_are_the_words_on_the_wire() {
        for step in JobStep::ALL {
            assert_eq!(serde_json::to_value(step).unwrap(), step.name());
        }
        for label in JobLabel::AT_SITE.into_iter().chain([JobLabel::ReceivedBy]) {
            assert_eq!(serde_json::to_value(label).unwrap(), label.name());
        }
    }
}
