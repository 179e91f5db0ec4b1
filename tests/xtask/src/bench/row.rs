//! A line of the table: what is measured, ours, what is beside it, and what is aimed at.

use serde::Deserialize;

/// Another way to do the same.
#[derive(Clone, Debug, PartialEq, Deserialize)]
pub struct Other {
    pub name: String,
    pub value: f64,
}

/// One line, as `measure` says it too.
#[derive(Clone, Debug, PartialEq, Deserialize)]
pub struct Row {
    pub what: String,
    pub unit: String,
    pub ours: f64,
    pub others: Vec<Other>,
    pub aim: String,
    pub holds: bool,
    pub note: String,
}

/// Three figures that count, and no more.
pub fn short(value: f64) -> String {
    if !value.is_finite() {
        return "none".to_owned();
    }
    let digits = match value.abs() {
        size if size >= 100.0 => 0,
        size if size >= 10.0 => 1,
        size if size >= 1.0 => 2,
        _ => 3,
    };
    format!("{value:.digits$}")
}

/// The table of all rows.
pub fn table(rows: &[Row]) -> String {
    let mut table = String::from("| what | ours | beside it (of ours) | aim | reached |\n|---|---|---|---|---|\n");
    for row in rows {
        let other = |other: &Other| {
            let times = if row.ours > 0.0 { format!(" ({} times)", short(other.value / row.ours)) } else { String::new() };
            format!("{} {}{times}", other.name, short(other.value))
        };
        let beside = row.others.iter().map(other).collect::<Vec<_>>().join("; ");
        let what = if row.note.is_empty() { row.what.clone() } else { format!("{}: {}", row.what, row.note) };
        let reached = if row.holds { "yes" } else { "NO" };
        table += &format!("| {what} | {} {} | {beside} | {} | {reached} |\n", short(row.ours), row.unit, row.aim);
    }
    table
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_row_has_its_ratios_and_says_where_the_aim_is_missed() {
        let other = Other { name: "JSON".into(), value: 3.0 };
        let row = Row {
            what: "size".into(),
            unit: "bytes".into(),
            ours: 1.5,
            others: vec![other],
            aim: "half".into(),
            holds: false,
            note: "of one hole".into(),
        };
        assert!(table(&[row]).ends_with("| size: of one hole | 1.50 bytes | JSON 3.00 (2.00 times) | half | NO |\n"));
        assert_eq!([short(0.0123), short(12.34), short(1_234.5), short(f64::NAN)], ["0.012", "12.3", "1234", "none"]);
    }
}
