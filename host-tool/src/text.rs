//! Names that come from a rig or a sheet are hostile: here they become fit for a file name or a terminal.

/// The most characters of a file name made here, well below any file system's own limit.
const FILE_NAME_CHARS: usize = 80;

/// What a terminal shows in place of a character that would steer it.
const STAND_IN: char = '\u{FFFD}';

/// A name that no file system takes for a path, an option, a hidden file or a device: letters, digits, `-`, `_`
/// and inner full stops stay, everything else becomes `_`. Never empty. Different texts may give the same name.
#[must_use]
pub fn file_name(text: &str) -> String {
    let fit = |c: char| if c.is_alphanumeric() || matches!(c, '-' | '_' | '.') { c } else { '_' };
    let name: String = text.trim().chars().map(fit).take(FILE_NAME_CHARS).collect();
    let name = name.trim_matches('.').replace("..", "__");
    let stem = name.split('.').next().unwrap_or_default();
    if name.is_empty() || name.starts_with('-') || is_device(stem) { format!("_{name}") } else { name }
}

/// Names that Windows keeps for devices, whatever follows the first full stop.
fn is_device(stem: &str) -> bool {
    let stem = stem.to_ascii_uppercase();
    let numbered = |prefix| stem.strip_prefix(prefix).is_some_and(|n: &str| n.chars().count() == 1 && n.chars().all(char::is_numeric));
    matches!(stem.as_str(), "CON" | "PRN" | "AUX" | "NUL") || numbered("COM") || numbered("LPT")
}

/// A text that moves no cursor, sets no colour, turns no writing round and stays on its line.
#[must_use]
pub fn terminal(text: &str) -> String {
    text.chars().map(|c| if steers(c) { STAND_IN } else { c }).collect()
}

/// Control characters, line and paragraph separators, and what is invisible or changes the direction of writing.
fn steers(c: char) -> bool {
    c.is_control()
        || matches!(c, '\u{AD}' | '\u{61C}' | '\u{200B}'..='\u{200F}' | '\u{2028}'..='\u{202E}' | '\u{2060}'..='\u{206F}' | '\u{FEFF}' | '\u{FFF9}'..='\u{FFFB}' | '\u{E0000}'..='\u{E007F}')
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_name_is_one_plain_name() {
        let rows = [
            ("L-7 41 left leg", "L-7_41_left_leg"),
            ("../../etc/passwd", "____etc_passwd"),
            ("..", "_"),
            ("", "_"),
            (" . ", "_"),
            ("/", "_"),
            ("a\0b\nc", "a_b_c"),
            ("C:\\x", "C__x"),
            ("-rf", "_-rf"),
            (".hidden", "hidden"),
            ("nul.pdf", "_nul.pdf"),
            ("COM1", "_COM1"),
            ("Åby 12", "Åby_12"),
            ("trailing.", "trailing"),
        ];
        for (text, want) in rows {
            let got = file_name(text);
            assert_eq!(got, want, "{text:?}");
        }
        assert_eq!(file_name(&"W".repeat(500)).chars().count(), FILE_NAME_CHARS);
    }

    #[test]
    fn a_terminal_is_not_steered() {
        assert_eq!(terminal("a\x1b[2Jb"), "a\u{FFFD}[2Jb");
        assert_eq!(terminal("line\r\nnext\u{9b}31m"), "line\u{FFFD}\u{FFFD}next\u{FFFD}31m");
        assert_eq!(terminal("\u{202E}gnp.exe\u{2066}\u{2028}"), "\u{FFFD}gnp.exe\u{FFFD}\u{FFFD}");
        assert_eq!(terminal("Åby 12, 3/4″ — fine"), "Åby 12, 3/4″ — fine");
    }
}
