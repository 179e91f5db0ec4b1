//! What is typed while listening, one order a line.

use host_tool::plan::{from_pairs, from_toml};
use host_tool::text::terminal;
use shared_protocol::message::{ChangeTool, CloseHole, Command, ConfirmRefusal, LoadHole, TakeNote, TouchHub};

/// The orders, for the help.
pub const HELP: &str = "\
While listening, type:
  load FILE.toml         open the hole that the file plans
  load KEY=VALUE ...     the same without a file: structure=41 leg=left depth=\"10 ft 6 in\" ...
  touch                  the tip is on the hub now
  tool N                 tool N is on now
  close                  the hole is finished, or left
  note [WHO:] TEXT       record what somebody says
  refusal yes | no       whether slow going is refusal
  leave                  stop listening; nothing is lost
A plan has structure, depth, diameter, tool, depth_under, depth_over, plumb_limit and heading, and may have line,
leg, attempt, setup, operator, units, datum, hub_above_datum and heading_within.";

/// An order.
#[derive(Clone, Debug, PartialEq)]
pub enum Order {
    /// For the rig, with the word for it.
    Ask(&'static str, Box<Command>),
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
        "load" => load(rest).map(|load| ask("load", Command::LoadHole(load))),
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

fn load(rest: &str) -> Result<LoadHole, String> {
    let words = shell_words::split(rest).map_err(|_| "a quotation mark is missing".to_owned())?;
    let plan = match &words[..] {
        [] => return Err("load is followed by a file, or by key=value pairs".to_owned()),
        [file] if !file.contains('=') => {
            let text = std::fs::read_to_string(file).map_err(|e| format!("{} cannot be read: {e}", terminal(file)))?;
            from_toml(&text).map_err(|e| format!("{}: {e}", terminal(file)))
        }
        pairs => from_pairs(pairs.iter().map(String::as_str)).map_err(|e| e.to_string()),
    };
    plan.map(|plan| LoadHole { plan })
}

fn note(rest: &str) -> Result<TakeNote, String> {
    let (author, text) = rest.split_once(':').map_or(("", rest), |(author, text)| (author.trim(), text.trim()));
    if text.is_empty() {
        return Err("note is followed by what is to be recorded".to_owned());
    }
    let author = author.try_into().map_err(|_| "who says so is too long: at most 24 bytes".to_owned())?;
    let text = text.try_into().map_err(|_| "the note is too long: at most 120 bytes; make two of it".to_owned())?;
    Ok(TakeNote { author, text })
}

#[cfg(test)]
mod tests {
    use super::*;

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
