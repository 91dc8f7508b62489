//! The fold: journal entries in, [`Report`] out. Nothing is left out and nothing is invented: each
//! entry but a belief becomes one step, in order, and the totals are counted from the steps. The
//! same entries always give the same report. An entry before any start of a run is kept too.

use super::chapter::chapters;
use super::parts::{BeliefPoint, Captured, Counts, Found, RunEnd, RunPart, Step, What};
use super::{JobReport, OtherTask, Report};
use crate::event::{BeliefSummary, DriveState, Event, Finding, LinkNews, Placement};
use crate::journal::{Entry, tasks};

impl Report {
    /// Folds a journal's entries into a report: identifications as a whole, every other task
    /// as a chapter. No entries give an empty report.
    #[must_use]
    pub fn from_entries(entries: &[Entry]) -> Self {
        let tasks = tasks(entries);
        let newest = tasks.iter().rposition(|task| task.command() == "identify");
        let mut fold = Fold::default();
        let mut others = Vec::new();
        for (place, task) in tasks.iter().enumerate() {
            match task.command() {
                "" => task.entries.iter().for_each(|entry| fold.take(entry)),
                "identify" if Some(place) == newest => {
                    task.entries.iter().for_each(|entry| fold.take(entry));
                }
                "job" => {}
                command => {
                    let mut fold = Fold::default();
                    task.entries.iter().for_each(|entry| fold.take(entry));
                    others.push(OtherTask { command, report: fold.report });
                }
            }
        }
        let mut report = fold.report;
        report.chapters = chapters(&tasks);
        report.others = others;
        report.job = JobReport::of(entries);
        report.entries = entries.last().map_or(0, |entry| entry.seq);
        report.simulated |= tasks.iter().any(|task| task.start.is_some_and(|s| s.simulated));
        let newest = entries.iter().rev().find_map(|entry| match &entry.event {
            Event::RunStarted(start) => Some(start.version.clone()),
            _ => None,
        });
        report.version = newest.unwrap_or_else(|| "of an unknown version".into());
        report
    }
}

#[derive(Default)]
struct Fold {
    report: Report,
    drive: Option<DriveState>,
}

impl Fold {
    fn take(&mut self, entry: &Entry) {
        if let Event::RunStarted(start) = &entry.event {
            self.drive = None;
            self.report.simulated |= start.simulated;
            self.report.runs.push(RunPart {
                began: entry.at,
                last: entry.at,
                start: start.clone(),
                end: None,
            });
        }
        if let Some(run) = self.report.runs.last_mut() {
            run.last = entry.at;
        }
        if let Event::LadderPlanned(ladder) = &entry.event {
            self.report.ladder = Some(ladder.clone());
        }
        if let Some(what) = self.step(entry) {
            let (seq, at, elapsed_s) = (entry.seq, entry.at, entry.elapsed_s);
            self.report.steps.push(Step { seq, at, elapsed_s, what });
        }
    }

    fn step(&mut self, entry: &Entry) -> Option<What> {
        let counts = &mut self.report.counts;
        Some(match &entry.event {
            Event::RunStarted(start) => {
                let run = u32::try_from(self.report.runs.len()).unwrap_or(u32::MAX);
                What::Began { run, resumed: start.resumed, torn_bytes: start.torn_bytes }
            }
            Event::MeterIdentified(meter) => What::Meter(meter.clone()),
            Event::CautionAcknowledged { caution, text } => {
                What::Caution { caution: *caution, text: text.clone() }
            }
            Event::DialTurned { function } => What::Dial { function: *function },
            Event::LeadsPlaced(placed) => self.placed(placed),
            Event::DriveChanged(drive) => {
                let before = self.drive.replace(drive.clone()).unwrap_or(DriveState::Rest);
                counts.drive_changes += u32::from(before != *drive);
                What::Drive { drive: drive.clone() }
            }
            Event::ReadingCaptured(capture) => {
                counts.captures += 1;
                self.count_for_touch(capture.touch);
                let simulated = self.report.runs.last().is_some_and(|run| run.start.simulated);
                What::Capture(Captured { capture: capture.clone(), taken_back: false, simulated })
            }
            Event::CaptureTakenBack { capture } => {
                counts.taken_back += 1;
                self.strike(*capture);
                What::TakenBack { capture: *capture }
            }
            Event::AskSkipped { ask } => {
                counts.skips += 1;
                What::Skipped { asked: ask.clone() }
            }
            Event::OperatorRemarked { text } => What::Remark { text: text.clone() },
            Event::BeliefUpdated(belief) => {
                self.believed(entry.seq, belief);
                return None;
            }
            Event::LinkChanged(news) => {
                counts.link_losses += u32::from(matches!(news, LinkNews::Lost { .. }));
                What::Link { news: news.clone() }
            }
            Event::FunctionRefused { function } => {
                What::Complaint { text: format!("the meter has no {function}") }
            }
            Event::DriveLimited(limit) => What::Complaint { text: limit.to_string() },
            Event::MeterComplained { text } => {
                counts.complaints += 1;
                What::Complaint { text: text.clone() }
            }
            Event::ResultReached(finding) => {
                self.found(entry, finding);
                What::Result
            }
            Event::AlarmChanged { state } => What::Alarm { state: *state },
            // Ladders, logs, boards and the talks of a job have places of their own.
            Event::LadderPlanned(_)
            | Event::Logged(_)
            | Event::BoardBegun { .. }
            | Event::CheckJudged(_)
            | Event::LabelStated { .. }
            | Event::PointLookedAt { .. }
            | Event::StepSettled { .. } => return None,
            Event::RunFinished { exit, reason, job } => {
                self.ended(RunEnd { exit: *exit, reason: reason.clone(), job: job.clone() })
            }
        })
    }

    fn found(&mut self, entry: &Entry, finding: &Finding) {
        if let Finding::Identify(finding) = finding {
            self.report.simulated |= finding.simulated;
            let finding = (**finding).clone();
            self.report.found = Some(Found { seq: entry.seq, at: entry.at, finding });
        }
    }

    fn placed(&mut self, placed: &Placement) -> What {
        let counts = &mut self.report.counts;
        counts.placements += 1;
        counts.lead_moves = counts.lead_moves.saturating_add(placed.lead_moves);
        What::Touch {
            touch: placed.touch,
            red: placed.red.to_string(),
            black: placed.black.to_string(),
            lead_moves: placed.lead_moves,
            captures: 0,
        }
    }

    fn believed(&mut self, seq: u64, belief: &BeliefSummary) {
        let Counts { placements, captures, .. } = self.report.counts;
        let belief = belief.clone();
        self.report.course.push(BeliefPoint { seq, placements, captures, belief });
    }

    fn ended(&mut self, end: RunEnd) -> What {
        if let Some(run) = self.report.runs.last_mut() {
            run.end = Some(end.clone());
        }
        What::Ended(end)
    }

    fn count_for_touch(&mut self, number: u32) {
        let placed = self.report.steps.iter_mut().rev().find_map(|step| match &mut step.what {
            What::Touch { touch, captures, .. } if *touch == number => Some(captures),
            _ => None,
        });
        if let Some(captures) = placed {
            *captures += 1;
        }
    }

    fn strike(&mut self, number: u32) {
        for step in self.report.steps.iter_mut().rev() {
            if let What::Capture(captured) = &mut step.what
                && captured.capture.capture == number
            {
                captured.taken_back = true;
                return;
            }
        }
    }
}
