//! What may be a name: it goes into file names, papers, other sheets and the rig's records.

use crate::text::terminal;

/// Characters that names of lines, structures, tags and tickets have besides letters and digits.
const MARKS: &str = " -_./#&()+:'°";

/// Why this cannot be a name and how to mend it; `None` where it can.
pub(super) fn fault(text: &str, bytes_max: usize) -> Option<String> {
    let strange = |c: &char| !c.is_alphanumeric() && !MARKS.contains(*c);
    if text.starts_with(['=', '+', '-', '@']) {
        return Some(format!("begins with {}, which a spreadsheet takes for a formula: write the name alone", &text[..1]));
    }
    if terminal(text) != text {
        return Some("has characters that are not seen: type the name again".to_owned());
    }
    if let Some(strange) = text.chars().find(strange) {
        return Some(format!("{strange} cannot stand in a name: write letters, digits and any of {}", MARKS.trim()));
    }
    if text.split('/').any(|part| part.trim().is_empty() || part.trim().trim_start_matches('.').is_empty()) {
        return Some("reads as a path: write the name alone".to_owned());
    }
    if !text.chars().any(char::is_alphanumeric) {
        return Some("has neither letter nor digit".to_owned());
    }
    (text.len() > bytes_max).then(|| format!("is too long: at most {bytes_max} bytes"))
}

/// Free text on one line; `None` where it has characters that steer what shows it.
pub(super) fn remark(text: &str) -> Option<String> {
    let line = text.split(['\r', '\n', '\t']).map(str::trim).filter(|part| !part.is_empty()).collect::<Vec<_>>().join(" ");
    (terminal(&line) == line).then_some(line)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_names() {
        for name in ["41", "41/2", "L-7 tie", "Åby (north)", "No. 3", "#12", "T&G 4'"] {
            assert_eq!(fault(name, 16), None, "{name}");
        }
        for name in [
            "../../x",
            "..",
            "/etc",
            "a//b",
            "<b>",
            "=cmd()",
            "+1",
            "-x",
            "@SUM(1)",
            "a\u{202E}b",
            "a\x1b[2J",
            "a\nb",
            "x|y",
            "C:\\x",
            "--",
            "'",
            "seventeen letters",
        ] {
            assert!(fault(name, 16).is_some(), "{name:?}");
        }
        assert_eq!(remark("wet\r\n  spot"), Some("wet spot".to_owned()));
        assert_eq!(remark("wet \x1b[2J"), None);
    }
}
