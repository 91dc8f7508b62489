//! Plain words for a human at the bench's console -> what to do: `place 3 5`, `drive 12 1 8`,
//! `dial resistance`. One line, one word with its arguments; anything else is refused with the
//! way it should look. Doing it is the console's matter.

use crate::event::{Ask, DriveState, Pin};
use drivers::Function;
use std::str::FromStr;

/// What `help` shows.
pub(crate) const HELP: &str = "place RED BLACK | lift | clip PLUS MINUS | \
    drive VOLTS PLUS MINUS | rest | dial FUNCTION | unplug | plug | supply-unplug | supply-plug | \
    silence (again: speak) | garbage | power | hazards | quit";

/// A word with its arguments.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum Word {
    /// Something that an ask line could have asked as well.
    Ask(Ask),
    Place(Pin, Pin),
    Rest,
    Lift,
    Unplug,
    Plug,
    SupplyUnplug,
    SupplyPlug,
    Silence,
    Garbage,
    PowerCycle,
    Hazards,
    Help,
    Quit,
}

impl FromStr for Word {
    type Err = String;

    fn from_str(line: &str) -> Result<Self, String> {
        let words: Vec<&str> = line.split_whitespace().collect();
        match words.as_slice() {
            ["place", red, black] => Ok(Self::Place(Pin::new(*red), Pin::new(*black))),
            ["drive", volts, plus, minus] => match volts.parse::<f64>() {
                Ok(volts) if volts.is_finite() => {
                    Ok(Self::Ask(Ask::Drive(DriveState::Energised {
                        plus: Pin::new(*plus),
                        minus: Pin::new(*minus),
                        volts,
                    })))
                }
                _ => Err("drive wants volts first: drive 12 1 8".into()),
            },
            ["clip", plus, minus] => {
                Ok(Self::Ask(Ask::Clip { plus: Pin::new(*plus), minus: Pin::new(*minus) }))
            }
            ["dial", name] => match Function::ALL.iter().find(|f| f.name() == *name) {
                Some(function) => Ok(Self::Ask(Ask::Dial { function: *function })),
                None => {
                    let names: Vec<&str> = Function::ALL.iter().map(|f| f.name()).collect();
                    Err(format!("dial wants one of {}", names.join(", ")))
                }
            },
            ["rest"] => Ok(Self::Rest),
            ["lift"] => Ok(Self::Lift),
            ["unplug"] => Ok(Self::Unplug),
            ["plug"] => Ok(Self::Plug),
            ["supply-unplug"] => Ok(Self::SupplyUnplug),
            ["supply-plug"] => Ok(Self::SupplyPlug),
            ["silence"] => Ok(Self::Silence),
            ["garbage"] => Ok(Self::Garbage),
            ["power"] => Ok(Self::PowerCycle),
            ["hazards"] => Ok(Self::Hazards),
            ["help"] => Ok(Self::Help),
            ["quit"] => Ok(Self::Quit),
            _ => Err(format!("not understood; {HELP}")),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_say_what_to_do() {
        assert_eq!("place 3 5".parse(), Ok(Word::Place(Pin::new("3"), Pin::new("5"))));
        let drive =
            DriveState::Energised { plus: Pin::new("1"), minus: Pin::new("8"), volts: 12.0 };
        assert_eq!(" drive 12 1 8 ".parse(), Ok(Word::Ask(Ask::Drive(drive))));
        let clip = Ask::Clip { plus: Pin::new("1"), minus: Pin::new("8") };
        assert_eq!("clip 1 8".parse(), Ok(Word::Ask(clip)));
        let dial = Ask::Dial { function: Function::Resistance };
        assert_eq!("dial resistance".parse(), Ok(Word::Ask(dial)));
    }

    #[test]
    fn what_is_not_understood_is_refused_with_the_way() {
        assert!("place 3".parse::<Word>().unwrap_err().contains("place RED BLACK"));
        assert!("drive NaN 1 8".parse::<Word>().unwrap_err().contains("drive 12 1 8"));
        assert!("dial mass".parse::<Word>().unwrap_err().contains("resistance_4w"));
    }
}
