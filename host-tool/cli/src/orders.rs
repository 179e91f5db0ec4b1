//! What is typed while listening, one order a line.

use host_tool::plan::{from_pairs, from_toml};
use host_tool::planned::loading::Wanted;
use host_tool::text::terminal;
use shared_protocol::message::{ChangeTool, CloseHole, Command, ConfirmRefusal, LoadHole, TakeNote, TouchHub};

/// The orders, for the help.
pub const HELP: &str = "\
While listening, type:
  load FILE.toml         open the hole that the file plans
  load KEY=VALUE ...     the same without a file: structure=41 leg=left depth=\"10 ft 6 in\" ...
  load sheet 41 left tool=1 hub_above_datum=\"0.2 ft\" heading=90
                         open that leg as the sheet in the store plans it; locate ticket and operator go on record
  touch                  the tip is on the hub now
  tool N                 tool N is on now
  close                  the hole is finished, or left
  note [WHO:] TEXT       record what somebody says
  refusal yes | no       whether slow going is refusal
  leave                  stop listening; nothing is lost
A plan has structure, depth, diameter, tool, depth_under, depth_over, plumb_limit and heading, and may have line,
leg, attempt, setup, operator, units, datum, hub_above_datum and heading_within. From a sheet, tool, hub_above_datum and
heading are needed; attempt, setup, operator, heading_within and line may be said.";

/// An order.
#[derive(Clone, Debug, PartialEq)]
pub enum Order {
    /// For the rig, with the word for it.
    Ask(&'static str, Box<Command>),
    /// Open a hole as a sheet in the store plans it.
    FromSheet(Box<Wanted>),
    /// Show the orders.
    Help,
    /// Stop listening.
    Leave,
}

/// Reads an order; what is wrong with it in one line.
pub fn parse(line: &str) -> Result<Order, String> {
    let line = line.trim();
    let (word, rest) = line.split_once(char::is_whitespace).map_or((line, ""), |(word, rest)| (word, rest.trim()));
    let alone =
        |order: Order| if rest.is_empty() { Ok(order) } else { Err(format!("{word} stands alone, without \"{}\"", terminal(rest))) };
    let ask = |name, command| Order::Ask(name, Box::new(command));
    match word {
        "load" => load(rest),
        "touch" => alone(ask("touch", Command::TouchHub(TouchHub {}))),
        "tool" => {
            let tool = rest.parse().map_err(|_| "tool is followed by the tool's number in the rig's table, 1 to 255".to_owned())?;
            Ok(ask("tool", Command::ChangeTool(ChangeTool { tool })))
        }
        "close" => alone(ask("close", Command::CloseHole(CloseHole {}))),
        "note" => note(rest).map(|note| ask("note", Command::TakeNote(note))),
        "refusal" => match rest {
            "yes" | "no" => Ok(ask("refusal", Command::ConfirmRefusal(ConfirmRefusal { confirmed: u8::from(rest == "yes") }))),
            _ => Err("refusal is followed by yes or no".to_owned()),
        },
        "help" => alone(Order::Help),
        "leave" => alone(Order::Leave),
        _ => Err(format!("\"{}\" is no order: load, touch, tool, close, note, refusal, help or leave", terminal(word))),
    }
}

fn load(rest: &str) -> Result<Order, String> {
    let words = shell_words::split(rest).map_err(|_| "a quotation mark is missing".to_owned())?;
    let plan = match &words[..] {
        [] => return Err("load is followed by a file, by key=value pairs, or by sheet and a structure".to_owned()),
        [word, named @ ..] if word == "sheet" => {
            return Wanted::read(named).map(|wanted| Order::FromSheet(Box::new(wanted))).map_err(|e| e.to_string());
        }
        [file] if !file.contains('=') => {
            let text = std::fs::read_to_string(file).map_err(|e| format!("{} cannot be read: {e}", terminal(file)))?;
            from_toml(&text).map_err(|e| format!("{}: {e}", terminal(file)))
        }
        pairs => from_pairs(pairs.iter().map(String::as_str)).map_err(|e| e.to_string()),
    };
    plan.map(|plan| Order::Ask("load", Box::new(Command::LoadHole(LoadHole { plan }))))
}

fn note(rest: &str) -> Result<TakeNote, String> {
    let (author, text) = rest.split_once(':').map_or(("", rest), |(author, text)| (author.trim(), text.trim()));
    if text.is_empty() {
        return Err("note is followed by what is to be recorded".to_owned());
    }
    take_note(author, text)
}

/// A note for the rig to record as heard.
///
/// # Errors
/// Where it is empty or does not fit a record.
pub fn take_note(author: &str, text: &str) -> Result<TakeNote, String> {
    if text.is_empty() {
        return Err("say what is to be noted".to_owned());
    }
    let author = author.trim().try_into().map_err(|_| "who says so is too long: at most 24 bytes".to_owned())?;
    let text = text.try_into().map_err(|_| "the note is too long: at most 120 bytes; make two of it".to_owned())?;
    Ok(TakeNote { author, text })
}

#[cfg(test)]
mod tests {
    use super::*;
    use shared_protocol::state::Leg;

    const PAIRS: &str = "structure=41 leg=left depth=\"10 ft 6 in\" diameter='48 in' tool=1 depth_under=\"6 in\" depth_over=\"6 in\" plumb_limit=\"2 %\" heading=90";

    fn command(line: &str) -> Command {
        match parse(line) {
            Ok(Order::Ask(_, command)) => *command,
            other => panic!("{line}: {other:?}"),
        }
    }

    #[test]
    fn orders_are_read() {
        assert_eq!(command(" touch "), Command::TouchHub(TouchHub {}));
        assert_eq!(command("tool 2"), Command::ChangeTool(ChangeTool { tool: 2 }));
        assert_eq!(command("close"), Command::CloseHole(CloseHole {}));
        assert_eq!(command("refusal yes"), Command::ConfirmRefusal(ConfirmRefusal { confirmed: 1 }));
        assert_eq!(command("refusal no"), Command::ConfirmRefusal(ConfirmRefusal { confirmed: 0 }));
        let Command::TakeNote(note) = command("note Ground hand: gravel: coarse, \"dry\"") else { panic!() };
        assert_eq!((note.author.as_str(), note.text.as_str()), ("Ground hand", "gravel: coarse, \"dry\""));
        let Command::TakeNote(note) = command("note water at the bottom") else { panic!() };
        assert_eq!((note.author.as_str(), note.text.as_str()), ("", "water at the bottom"));
        assert_eq!((parse("leave"), parse("help")), (Ok(Order::Leave), Ok(Order::Help)));
    }

    #[test]
    fn a_plan_is_loaded_from_pairs_or_from_a_file() {
        let Command::LoadHole(load) = command(&format!("load {PAIRS}")) else { panic!() };
        assert_eq!((load.plan.structure.as_str(), load.plan.depth.0), ("41", 3_200_400));
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("a plan.toml");
        let toml: String = shell_words::split(PAIRS).unwrap().iter().map(|p| p.replacen('=', " = '", 1) + "'\n").collect();
        std::fs::write(&file, toml).unwrap();
        assert_eq!(command(&format!("load \"{}\"", file.display())), Command::LoadHole(load));
        std::fs::write(&file, "depth = 3").unwrap();
        let said = parse(&format!("load '{}'", file.display())).unwrap_err();
        assert!(said.contains("a plan.toml: missing field"), "{said}");
    }

    #[test]
    fn a_leg_of_a_sheet_is_loaded_by_its_name() {
        let wanted = |line: &str| match parse(line) {
            Ok(Order::FromSheet(wanted)) => *wanted,
            other => panic!("{line}: {other:?}"),
        };
        let said = wanted("load sheet 41 left tool=1 hub_above_datum=\"0.2 ft\" heading=90 line='SIMULATED tie' attempt=2 operator=Tester");
        assert_eq!((said.structure.as_str(), said.leg, said.line.as_deref()), ("41", Some(Leg::Left), Some("SIMULATED tie")));
        assert_eq!((said.attempt, said.setup, said.operator.as_str(), said.tool), (Some(2), None, "Tester", 1));
        assert_eq!((said.hub_above_datum.0, said.heading.0, said.heading_within.0), (60_960, 9_000, 1_000));
        let alone = wanted("load sheet '4 2' heading=0 hub_above_datum=-5mm tool=2 heading_within=3 setup=7");
        assert_eq!((alone.structure.as_str(), alone.leg, alone.setup, alone.heading_within.0), ("4 2", None, Some(7), 300));
        let rows = [
            ("load sheet", "load sheet is followed by a structure"),
            ("load sheet tool=1", "load sheet is followed by a structure"),
            ("load sheet 41 left leg tool=1", "load sheet is followed by a structure"),
            ("load sheet 41 port tool=1", "\"port\" is no leg: it is single, left"),
            ("load sheet 41 tool=1 heading=0", "say how far the hub lies above the datum with hub_above_datum="),
            ("load sheet 41 tool=1 hub_above_datum=3 heading=0", "hub_above_datum: \"3\" is no length"),
            ("load sheet 41 hub_above_datum='0 m' heading=0", "say which tool of the rig's table is on with tool="),
            ("load sheet 41 tool=0 hub_above_datum='0 m' heading=0", "tool must be a whole number from 1 to 255"),
            ("load sheet 41 tool=1 hub_above_datum='0 m'", "with heading="),
            ("load sheet 41 tool=1 depth='3 m'", "\"depth\" is not said here: tool, "),
            ("load sheet 41 tool=1 tool=2", "tool is given twice"),
            ("load sheet 41 tool=1 left", "\"left\" is not key=value"),
        ];
        for (line, want) in rows {
            let said = parse(line).unwrap_err();
            assert!(said.contains(want) && !said.contains('\n'), "{line}: {said}");
        }
    }

    #[test]
    fn what_is_no_order_is_said_in_one_line() {
        let rows = [
            ("", "\"\" is no order"),
            ("dig", "\"dig\" is no order"),
            ("touch now", "touch stands alone"),
            ("tool", "tool is followed by"),
            ("tool 300", "tool is followed by"),
            ("note", "note is followed by"),
            ("refusal", "refusal is followed by yes or no"),
            ("refusal perhaps", "refusal is followed by yes or no"),
            ("note me:", "note is followed by"),
            ("load", "load is followed by"),
            ("load 'x", "a quotation mark is missing"),
            ("load no-such-file.toml", "no-such-file.toml cannot be read"),
            ("load depth=3", "missing field"),
            ("note a very long author indeed it is: x", "who says so is too long"),
        ];
        for (line, want) in rows {
            let said = parse(line).unwrap_err();
            assert!(said.contains(want) && !said.contains('\n'), "{line}: {said}");
        }
        assert!(parse(&format!("note {}", "x".repeat(121))).is_err());
    }
}
