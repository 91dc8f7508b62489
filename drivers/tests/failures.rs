//! The ways in which meters on wires fail, and the test that shows each of them handled. The
//! table is read by the test below, which looks for every named test in the sources: a row
//! cannot outlive its test. Rows without a test say why this crate has none.
//!
//! | F | failure | test |
//! |---|---|---|
//! | 01 | hung-up line reads as end of file, for ever | `an_unplug_during_a_read_is_noticed_at_once_and_gives_no_value` |
//! | 02 | the same unplug has many names | `every_error_but_nothing_yet_is_gone` |
//! | 03 | the last reading before an unplug is cut | `an_unplug_during_a_read_is_noticed_at_once_and_gives_no_value` |
//! | 04 | the meter comes back under another name | `a_replug_under_another_number_is_followed_by_its_steady_name`, `the_steady_name_of_a_port_is_found` |
//! | 05 | another meter answers after a replug | `another_meter_after_a_replug_ends_the_port`, `another_identity_in_place_is_another_meter` |
//! | 06 | power-cycled, settings gone | `a_power_cycle_in_place_is_noticed_before_the_next_value_counts`, `a_link_that_comes_back_goes_on_with_a_gap_and_set_anew` |
//! | 07 | closing never returns | `a_peer_that_never_reads_cannot_hold_the_program` |
//! | 08 | a write ignores its deadline | `a_peer_that_never_reads_cannot_hold_the_program` |
//! | 09 | timeouts only in the precise mode | `the_deadline_follows_the_integration_time` |
//! | 10 | every later value belongs to the query before it | `a_late_answer_is_never_the_next_querys`, `a_late_answer_to_a_poll_is_not_the_next_polls` |
//! | 11 | a read lasts as long as bytes trickle | `a_trickling_answer_fails_at_the_absolute_deadline` |
//! | 12 | an adapter hands bytes over every 16 ms | `an_adapter_with_a_latency_only_slows_the_readings` |
//! | 13 | slow reads on Windows | none: another system |
//! | 14 | times jump with the wall clock | none: this crate has no wall clock, see `clock.rs` |
//! | 15 | a hole after the machine slept | `a_meter_that_stood_still_leaves_a_hole_in_time_and_no_shift` |
//! | 16 | a torn number that parses | `an_answer_torn_by_the_deadline_is_never_a_number`, `half_a_line_behind_an_answer_never_joins_the_next`, `any_chunking_gives_the_same_lines` |
//! | 17 | the stream ends after one bad byte | `noise_spoils_its_own_line_only` |
//! | 18 | a good reading lost behind noise | `noise_spoils_its_own_line_only`, `a_bad_answer_costs_one_reading_and_is_told` |
//! | 19 | CR, LF, CRLF | `every_line_end_gives_the_same_lines`, `every_line_end_and_echo_is_understood` |
//! | 20 | CR and LF apart | `line_ends_that_arrive_apart_make_no_empty_line` |
//! | 21 | the command comes back | `every_line_end_and_echo_is_understood`, `a_cooked_terminal_is_made_raw` |
//! | 22 | no line end, ever | `an_endless_line_is_cut_and_reported_once`, `a_flood_of_lines_is_bounded` |
//! | 23 | lines nobody asked for | `a_line_that_nobody_asked_for_is_told_and_is_no_reading` |
//! | 24 | empty answers | `empty_answers_are_no_answers` |
//! | 25 | the first value is from the last session | `leftovers_of_another_run_do_no_harm`, `bytes_from_before_are_nobodys_answer` |
//! | 26 | clearing did nothing | `bytes_that_arrive_after_opening_are_drained` |
//! | 27 | half a command in the meter | `leftovers_of_another_run_do_no_harm` |
//! | 28 | permission denied | `each_cause_of_a_failed_opening_has_its_own_error`, `the_group_of_a_node_is_read_from_the_group_list` |
//! | 29 | busy | `a_port_in_use_is_busy_until_it_is_let_go`, `a_held_port_is_waited_for_and_opened_when_it_is_let_go`, `the_holder_of_an_open_file_is_named` |
//! | 30 | one kind for two causes | `each_cause_of_a_failed_opening_has_its_own_error`, `what_cannot_be_opened_says_so_at_once` |
//! | 31 | locked after drop | `a_port_in_use_is_busy_until_it_is_let_go` |
//! | 32 | two readers share one port | `a_port_in_use_is_busy_until_it_is_let_go` |
//! | 33 | a stranger probes a fresh port | `a_port_that_is_busy_after_a_replug_is_waited_for`, `a_port_that_is_held_for_ten_seconds_is_waited_for`, `a_port_held_for_ten_seconds_is_waited_for_and_the_holder_is_named_once` |
//! | 34 | the list lacks the meter | `usb_test_devices_are_found_by_their_nodes` |
//! | 35 | a stranger's device was driven | none: listing opens nothing, see `ports.rs` |
//! | 36 | the meter restarts when opened, or is mute | `a_meter_that_restarts_when_opened_is_waited_for`, `the_profiles_dtr_holds_where_the_link_leaves_it` |
//! | 37 | opening hangs on macOS | none: another system |
//! | 38 | pseudo-terminals on macOS | none: another system |
//! | 39 | denied on reopening, on Windows | none: another system |
//! | 40 | writing waits for reading, on Windows | none: another system |
//! | 41 | garbage from a wrong baud rate | `noise_names_baud_and_parity` |
//! | 42 | under local control | `a_meter_under_local_control_is_taken_over_and_given_back` |
//! | 43 | every third command lost | `a_meter_that_needs_a_pause_between_lines_gets_it` |
//! | 44 | -420, a read without a query | `a_timeout_leads_through_the_error_queue_back_into_step`, `a_link_of_messages_is_read_only_when_an_answer_is_due` |
//! | 45 | -410, a query interrupted | `an_order_at_any_moment_never_interrupts_a_query` |
//! | 46 | old errors, endless errors | `an_endless_error_queue_is_left_alone`, `every_way_to_send_an_entry_is_read` |
//! | 47 | overload as a number of volts | `published_forms_are_read_and_all_others_refused`, `what_the_languages_own_parser_takes_is_refused` |
//! | 48 | commas and units | `what_the_languages_own_parser_takes_is_refused`, `anything_else_is_no_reading`, `a_block_of_readings_is_taken_whole_or_not_at_all` |
//! | 49 | the knob was turned | `a_turned_knob_is_noticed_and_set_back`, `a_reading_in_another_function_is_told_but_not_credited` |
//! | 50 | decimal commas in CSV | none: this crate writes no CSV |
//! | 51 | the program will not exit | `a_meter_on_a_pseudo_terminal_is_read_and_closed`, `closing_works_while_the_link_is_away`, `a_call_that_never_comes_back_ends_the_run_from_outside` |
//! | 52 | Enter needed to exit | none: this crate reads no keyboard |
//! | 53 | a signal during a wait | `a_signal_or_a_timeout_is_nothing_yet`, `a_storm_of_signals_makes_no_false_timeouts_and_loses_no_reading`, `a_storm_of_interrupts_is_one_abort` |
//! | 54 | a blocking call in async code | none: nothing here is async |
//! | 55 | off by one after a cancel | `an_order_at_any_moment_never_interrupts_a_query`, `a_query_under_way_is_finished_for_a_new_order_and_its_value_dropped` |
//! | 56 | a broken shell | none: this crate has no screen |
//! | 57 | the kernel's own timeout | `a_kernel_timeout_is_nothing_yet_and_enodev_is_gone` |
//! | 58 | wedged after one timeout | `a_device_that_is_wedged_until_it_is_cleared_is_cleared`, `an_answer_that_is_too_late_is_aborted_before_the_next_query` |
//! | 59 | polling a message device never wakes | `a_link_of_messages_is_read_only_when_an_answer_is_due` |
//! | 60 | a dead node | `a_kernel_timeout_is_nothing_yet_and_enodev_is_gone` |
//! | 61 | cut or padded messages | `an_answer_cut_at_every_byte_is_the_same_answer`, `an_answer_in_short_packets_and_several_frames_is_put_together` |
//! | 63 | a socket without a line end | `a_peer_that_never_answers_ends_in_no_answer` |
//! | 64 | the peer dies silently | `a_peer_that_dies_without_a_word_is_given_up_by_its_deadlines` |
//! | 65 | idle sessions are closed | `a_connection_closed_while_idle_is_opened_again` |
//! | 66 | only one client allowed | `silence_on_the_network_suggests_another_client` |
//! | 67 | 40 ms per exchange | `small_packets_go_out_at_once` |

#![allow(clippy::unwrap_used, reason = "a test may panic")]

use std::fs;
use std::path::Path;

fn sources(folder: &Path, into: &mut String) {
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            sources(&path, into);
        } else {
            into.push_str(&String::from_utf8_lossy(&fs::read(&path).unwrap()));
        }
    }
}

#[test]
fn every_failure_has_its_test_or_a_reason_for_none() {
    let mut text = String::new();
    // Some are shown by the whole program.
    for folder in ["src", "../src", "../tests"] {
        sources(&Path::new(env!("CARGO_MANIFEST_DIR")).join(folder), &mut text);
    }
    let mut numbers = Vec::new();
    for row in include_str!("failures.rs").lines().filter(|line| line.starts_with("//! | ")) {
        let cells: Vec<&str> = row.trim_start_matches("//! |").split('|').map(str::trim).collect();
        let Ok(number) = cells[0].parse::<u32>() else { continue };
        numbers.push(number);
        let tests: Vec<&str> = cells[2].split('`').skip(1).step_by(2).collect();
        if cells[2].starts_with("none: ") {
            continue;
        }
        assert!(!tests.is_empty(), "row {number} names no test");
        for test in tests {
            assert!(text.contains(&format!("fn {test}(")), "row {number}: no test {test}");
        }
    }
    // There is no row 62.
    let wanted: Vec<u32> = (1..=67).filter(|number| *number != 62).collect();
    assert_eq!(numbers, wanted);
}
