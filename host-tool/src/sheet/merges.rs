//! Merged cells: what they mean, where they mean something.

use super::finding::Finding;
use super::grid::{MERGES_MAX, Merge, Row};
use super::is_comment;

/// A cell merged down its column says the same of every row that it spans: so it is read, and said. One that spans
/// columns says nothing certain of any.
pub(super) fn apply(
    rows: &mut [Row],
    header: usize,
    merges: &[Merge],
    leave: &[u32],
    problems: &mut Vec<Finding>,
    remarks: &mut Vec<Finding>,
) {
    if merges.len() > MERGES_MAX {
        problems.push(Finding::of_file(format!("more than {MERGES_MAX} merged cells: unmerge them")));
        return;
    }
    let header = rows[header].number;
    let mut filled = Vec::new();
    for merge in merges.iter().filter(|merge| merge.rows.1 >= header) {
        let first = rows.partition_point(|row| row.number < merge.rows.0);
        let end = rows.partition_point(|row| row.number <= merge.rows.1);
        let of_leg = |row: &Row| !is_comment(row) && !leave.contains(&row.number);
        let touched = rows.get(first..end).unwrap_or_default().iter().any(of_leg);
        if merge.rows.0 <= header || merge.columns.0 != merge.columns.1 {
            if touched {
                problems.push(Finding::of_row(merge.rows.0.max(header), "has merged cells: unmerge them, so that each column has its own"));
            }
        } else if let Some(cell) =
            rows.get(first).filter(|row| row.number == merge.rows.0).and_then(|row| row.cells.get(merge.columns.0)).cloned()
        {
            for row in &mut rows[first + 1..end] {
                if row.cells.len() <= merge.columns.0 {
                    row.cells.resize(merge.columns.0 + 1, super::Cell::default());
                }
                row.cells[merge.columns.0] = cell.clone();
                filled.push(row.number);
            }
        }
    }
    filled.sort_unstable();
    filled.dedup();
    remarks.extend(filled.first().map(|row| {
        Finding::of_row(
            *row,
            format!("is spanned by a merged cell, as are {} in all: what stands there was read for each row that it spans", filled.len()),
        )
    }));
}
