//! Whole runs of the real program in a real terminal of 80 by 24: a person who presses keys as the
//! screen asks for them, in `tmux`. The simulated bench does with its hands what is answered. What
//! is held: the run ends identified, the terminal is as it was on every way out, and what was
//! captured is kept. Skipped, with the reason, where there is no `tmux`.

#![cfg(feature = "screen")]
#![allow(clippy::unwrap_used, clippy::panic, reason = "in a test a panic is the finding")]

mod tmuxed;

use tmuxed::Terminal;

fn sim(name: &str) -> String {
    format!("sim:{}/fixtures/relays/{name}.toml", env!("CARGO_MANIFEST_DIR"))
}

/// What to type for the page that stands there; `None` where it asks nothing.
fn key(page: &str) -> Option<&'static str> {
    let keys = page.lines().last().unwrap_or_default();
    if keys.contains("I have read it") {
        return Some("o");
    }
    let asks = page.contains("Put the leads here")
        || page.contains("touch the same pins again")
        || page.contains("Drive the coil")
        || page.contains("Take the drive off");
    asks.then_some("Enter")
}

/// Answers what the screen asks until this stands on it.
fn lead(terminal: &mut Terminal, until: &str) {
    let mut answered = String::new();
    for _ in 0..3000 {
        let page = terminal.page();
        if page.contains(until) {
            return;
        }
        // The page without its clock: what was answered is not answered again.
        let state: String = page.lines().skip(1).take(8).collect();
        match key(&page) {
            Some(key) if state != answered => {
                terminal.press(key);
                answered = state;
            }
            _ => terminal.wait_a_moment(),
        }
        // The same ask may come again: a look at the drive, say. After a while it is answered anew.
        if terminal.waited() > 15 {
            answered.clear();
        }
    }
    panic!("`{until}` did not come:\n{}", terminal.page());
}

#[test]
fn a_person_at_the_screen_identifies_a_part_and_the_terminal_is_as_it_was() {
    let Some(mut terminal) = Terminal::start(80, 24) else { return };
    let link = sim("changeover_1_pole");
    terminal.run(&["identify", "--meter", &link, "--pins", "5", "--job", "job"]);
    terminal.until("O I have read it");
    assert!(terminal.page().contains("SIMULATED"), "{}", terminal.page());
    lead(&mut terminal, "IDENTIFIED: 1C");
    terminal.until("exit=0");
    let page = terminal.page();
    assert!(page.contains("report: job/report.html"), "{page}");
    assert!(!page.contains("Enter, Space or pedal"), "{page}");
    terminal.is_as_it_was();
}

#[test]
fn stopping_keeps_all_and_gives_the_terminal_back() {
    for (keys, signal) in [(&["q", "y"][..], None), (&["C-c"], None), (&[], Some("TERM"))] {
        let Some(mut terminal) = Terminal::start(80, 24) else { return };
        let link = sim("changeover_1_pole");
        terminal.run(&["identify", "--meter", &link, "--pins", "5", "--job", "job"]);
        lead(&mut terminal, "Put the leads here");
        keys.iter().for_each(|key| terminal.press(key));
        if let Some(signal) = signal {
            terminal.signal(signal);
        }
        terminal.until("exit=4");
        assert!(terminal.page().contains("`coilmark resume job` goes on"), "{}", terminal.page());
        terminal.is_as_it_was();
        terminal.run(&["verify", "job"]);
        terminal.until("exit=0");
    }
}

#[test]
fn the_window_may_change_its_size_and_help_is_a_key_away() {
    let Some(mut terminal) = Terminal::start(80, 24) else { return };
    let link = sim("changeover_1_pole");
    terminal.run(&["identify", "--meter", &link, "--pins", "5", "--job", "job"]);
    lead(&mut terminal, "Put the leads here");
    terminal.resize(110, 36);
    terminal.until_lines(36, "? help   Q stop");
    terminal.press("?");
    terminal.until("Any key goes back");
    terminal.press("Escape");
    terminal.until("Put the leads here");
    terminal.press("s");
    terminal.until("Skip, because:");
    terminal.type_text("pin is bent");
    terminal.press("Enter");
    terminal.until("because: pin is bent");
    terminal.press("C-c");
    terminal.until("exit=4");
}
