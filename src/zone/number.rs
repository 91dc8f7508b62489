//! Zone numbers: an expander's address switches and a terminal <-> the zone's number on the panel,
//! by the panel file's numbering. Switches are written in their order on the expander, 1 for on and
//! 0 for off. A site's schedule (CSV) is checked line by line against the same rule.

use super::panel_raw::RawNumbering;
use crate::event::visible;

/// An expander's terminal.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Spot {
    /// The expander's address.
    pub address: u32,
    /// Its switches, 1 for on and 0 for off, switch 1 first.
    pub switches: String,
    /// The terminal, from 1.
    pub terminal: u32,
}

/// Why there is no such zone or terminal.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum BadSpot {
    /// Switches that are not as many as the expander has, or neither on nor off.
    #[error("switches `{text}`: expected {count} of 0 and 1, switch 1 first")]
    Switches {
        /// As written.
        text: String,
        /// How many there are.
        count: u32,
    },
    /// An address below the first or above what the switches reach.
    #[error("address {address}: expected {low} to {high}")]
    Address {
        /// The address.
        address: u32,
        /// The lowest.
        low: u32,
        /// The highest.
        high: u32,
    },
    /// No such terminal.
    #[error("terminal {terminal}: an expander has 1 to {count}")]
    Terminal {
        /// The terminal.
        terminal: u32,
        /// How many there are.
        count: u32,
    },
    /// No expander has this zone.
    #[error("zone {zone}: the expanders have {low} to {high}")]
    Zone {
        /// The zone.
        zone: u32,
        /// The lowest.
        low: u32,
        /// The highest.
        high: u32,
    },
}

impl RawNumbering {
    fn last_address(&self) -> u32 {
        (1 << self.switches) - 1
    }

    fn last(&self) -> u32 {
        let expanders = self.last_address() - self.first_address + 1;
        let reach = self.first_zone + expanders * self.zones_per_expander - 1;
        self.last_zone.map_or(reach, |last| last.min(reach))
    }

    /// The address that switches say.
    ///
    /// # Errors
    /// [`BadSpot::Switches`] where they are not as many as there are, or neither 0 nor 1.
    pub fn address(&self, switches: &str) -> Result<u32, BadSpot> {
        let bits: Vec<bool> = switches.trim().chars().map(|c| c == '1').collect();
        let sound = switches.trim().chars().all(|c| c == '0' || c == '1');
        if !sound || bits.len() != self.switches as usize {
            let text = visible(switches).chars().take(24).collect();
            return Err(BadSpot::Switches { text, count: self.switches });
        }
        let ordered: Vec<bool> = match self.switch_1_is_lowest {
            true => bits.into_iter().rev().collect(),
            false => bits,
        };
        Ok(ordered.iter().fold(0, |sum, on| 2 * sum + u32::from(*on == self.on_is_1)))
    }

    /// The switches of an address, switch 1 first.
    #[must_use]
    pub fn switches_of(&self, address: u32) -> String {
        let bit = |place: u32| match (address >> place & 1 == 1) == self.on_is_1 {
            true => '1',
            false => '0',
        };
        match self.switch_1_is_lowest {
            true => (0..self.switches).map(bit).collect(),
            false => (0..self.switches).rev().map(bit).collect(),
        }
    }

    /// The zone of a terminal.
    ///
    /// # Errors
    /// [`BadSpot`] where there is no such expander, terminal or zone.
    pub fn zone(&self, address: u32, terminal: u32) -> Result<u32, BadSpot> {
        let (low, high) = (self.first_address, self.last_address());
        if !(low..=high).contains(&address) {
            return Err(BadSpot::Address { address, low, high });
        }
        if !(1..=self.zones_per_expander).contains(&terminal) {
            return Err(BadSpot::Terminal { terminal, count: self.zones_per_expander });
        }
        let zone = self.first_zone + (address - low) * self.zones_per_expander + terminal - 1;
        let (low, high) = (self.first_zone, self.last());
        if zone > high { Err(BadSpot::Zone { zone, low, high }) } else { Ok(zone) }
    }

    /// Where a zone is.
    ///
    /// # Errors
    /// [`BadSpot::Zone`] where no expander has it.
    pub fn spot(&self, zone: u32) -> Result<Spot, BadSpot> {
        let (low, high) = (self.first_zone, self.last());
        if !(low..=high).contains(&zone) {
            return Err(BadSpot::Zone { zone, low, high });
        }
        let beyond = zone - low;
        let address = self.first_address + beyond / self.zones_per_expander;
        let terminal = beyond % self.zones_per_expander + 1;
        Ok(Spot { address, switches: self.switches_of(address), terminal })
    }
}

/// A line of a site's schedule, checked.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ScheduleLine {
    /// The line of the file, from 1.
    pub line: u64,
    /// The zone's name, with controls made visible.
    pub name: String,
    /// What is wrong with it; `None`: it agrees.
    pub problem: Option<String>,
}

/// Checks a schedule: CSV with a header that names `zone`, `terminal`, and `address` or
/// `switches`; `name` if there is one.
///
/// # Errors
/// A sentence where the header is of no use, or the file has no lines.
pub fn check_schedule(numbering: &RawNumbering, text: &str) -> Result<Vec<ScheduleLine>, String> {
    let mut reader = csv::ReaderBuilder::new()
        .trim(csv::Trim::All)
        .flexible(true)
        .comment(Some(b'#'))
        .from_reader(text.as_bytes());
    let header = reader.headers().map_err(|e| visible(&e.to_string()))?.clone();
    let column = |name: &str| header.iter().position(|h| h.eq_ignore_ascii_case(name));
    let (Some(zone), Some(terminal)) = (column("zone"), column("terminal")) else {
        return Err("the header has no `zone` and `terminal`".into());
    };
    let (address, switches, name) = (column("address"), column("switches"), column("name"));
    if address.is_none() && switches.is_none() {
        return Err("the header has neither `address` nor `switches`".into());
    }
    let mut lines: Vec<ScheduleLine> = Vec::new();
    let mut taken: Vec<(u32, u64)> = Vec::new();
    for row in reader.records() {
        let row = row.map_err(|e| visible(&e.to_string()))?;
        let line = row.position().map_or(0, csv::Position::line);
        let cell = |column: Option<usize>| column.and_then(|c| row.get(c)).unwrap_or("");
        let agreed = agree(
            numbering,
            [cell(Some(zone)), cell(address), cell(switches), cell(Some(terminal))],
        );
        let problem = match agreed {
            Err(problem) => Some(problem),
            Ok(zone) => match taken.iter().find(|(known, _)| *known == zone) {
                Some((_, first)) => Some(format!("zone {zone} stands in line {first} too")),
                None => {
                    taken.push((zone, line));
                    None
                }
            },
        };
        lines.push(ScheduleLine { line, name: visible(cell(name)), problem });
    }
    if lines.is_empty() { Err("there is no zone in it".into()) } else { Ok(lines) }
}

/// The zone of one line, if its cells agree.
fn agree(
    numbering: &RawNumbering,
    [zone, address, switches, terminal]: [&str; 4],
) -> Result<u32, String> {
    let number = |what: &str, text: &str| {
        text.parse::<u32>().map_err(|_| {
            let shown: String = visible(text).chars().take(24).collect();
            format!("{what} `{shown}` is no number")
        })
    };
    let (zone, terminal) = (number("zone", zone)?, number("terminal", terminal)?);
    let by_switches = match switches {
        "" => None,
        text => Some(numbering.address(text).map_err(|bad| bad.to_string())?),
    };
    let by_number = match address {
        "" => None,
        text => Some(number("address", text)?),
    };
    let address = match (by_switches, by_number) {
        (Some(a), Some(b)) if a != b => {
            return Err(format!("the switches say address {a}, the line says {b}"));
        }
        (a, b) => a.or(b).ok_or("neither address nor switches")?,
    };
    let found = numbering.zone(address, terminal).map_err(|bad| bad.to_string())?;
    if found == zone {
        return Ok(zone);
    }
    Err(format!("terminal {terminal} of address {address} is zone {found}, the line says {zone}"))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn numbering() -> RawNumbering {
        RawNumbering {
            zones_per_expander: 8,
            first_zone: 9,
            first_address: 1,
            switches: 3,
            switch_1_is_lowest: true,
            on_is_1: true,
            last_zone: Some(60),
        }
    }

    #[test]
    fn every_zone_goes_there_and_back() {
        for lowest in [true, false] {
            for on_is_1 in [true, false] {
                let n = RawNumbering { switch_1_is_lowest: lowest, on_is_1, ..numbering() };
                for zone in 9..=60 {
                    let spot = n.spot(zone).unwrap();
                    assert_eq!(n.zone(spot.address, spot.terminal), Ok(zone));
                    assert_eq!(n.address(&spot.switches), Ok(spot.address), "{spot:?}");
                }
            }
        }
    }

    #[test]
    fn worked_by_hand() {
        // Address 3 is 1 + 2: switches 1 and 2 on. It is the third expander: 9 + 2 x 8 + 4 = 29.
        let n = numbering();
        assert_eq!(n.address("110"), Ok(3));
        assert_eq!(n.zone(3, 5), Ok(29));
        assert_eq!(n.switches_of(4), "001");
    }

    #[test]
    fn what_is_not_there_is_refused() {
        let n = numbering();
        assert!(n.zone(0, 1).is_err() && n.zone(1, 9).is_err() && n.zone(7, 8).is_err());
        assert!(n.spot(8).is_err() && n.spot(61).is_err());
        assert!(n.address("11").is_err() && n.address("1a0").is_err());
        let terminal = |terminal| Err(BadSpot::Terminal { terminal, count: 8 });
        assert_eq!([n.zone(1, 0), n.zone(1, 9)], [terminal(0), terminal(9)]);
        let address = |address| Err(BadSpot::Address { address, low: 1, high: 7 });
        assert_eq!([n.zone(0, 1), n.zone(8, 1)], [address(0), address(8)]);
    }

    #[test]
    fn zones_end_where_the_expanders_do_or_the_panel_before_them() {
        // Seven expanders of eight zones from 9 on: 9 + 56 - 1 = 64.
        for (last_zone, high) in [(None, 64), (Some(99), 64), (Some(60), 60)] {
            let n = RawNumbering { last_zone, ..numbering() };
            let end = n.spot(high).unwrap();
            assert_eq!((end.address, end.terminal), (7, 8 - (64 - high)));
            let zone = high + 1;
            assert_eq!(n.spot(zone), Err(BadSpot::Zone { zone, low: 9, high }));
        }
    }

    #[test]
    fn a_schedule_is_checked_line_by_line() {
        let text = "zone,name,switches,terminal\n9,gate,100,1\n18,yard,010,1\n9,again,100,1\n\
                    x,bad,100,2\n";
        let lines = check_schedule(&numbering(), text).unwrap();
        let problems: Vec<Option<&str>> = lines.iter().map(|l| l.problem.as_deref()).collect();
        assert_eq!(problems[0], None);
        assert!(problems[1].unwrap().contains("is zone 17"), "{problems:?}");
        assert!(problems[2].unwrap().contains("line 2"), "{problems:?}");
        assert!(problems[3].unwrap().contains("no number") && lines[3].line == 5);
        assert!(check_schedule(&numbering(), "a,b\n1,2\n").is_err());
    }

    #[test]
    fn a_schedule_may_say_the_address_the_switches_or_both_alike() {
        let problems = |text: &str| -> Vec<Option<String>> {
            let lines = check_schedule(&numbering(), text).unwrap();
            lines.into_iter().map(|line| line.problem).collect()
        };
        assert_eq!(problems("zone,address,terminal\n29,3,5\n"), [None]);
        let both = problems("Zone,Address,Switches,Terminal\n29,3,110,5\n30,3,100,6\n31,,,7\n");
        let apart = "the switches say address 1, the line says 3".to_owned();
        let none = "neither address nor switches".to_owned();
        assert_eq!(both, [None, Some(apart), Some(none)]);
        for useless in ["zone,terminal\n9,1\n", "zone,address\n9,1\n", "zone,address,terminal\n"] {
            assert!(check_schedule(&numbering(), useless).is_err(), "{useless}");
        }
    }
}
