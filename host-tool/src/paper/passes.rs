//! The passes of a hole: two to a row where each found the bottom where the one before had left it.

use super::figures::list;
use super::hole::Hole;
use super::layout::flow::Flow;
use super::layout::table::{Column, names, words};
use super::words::{NONE, Units, datum, difference_word, duration};

/// A pass in words.
struct Told {
    number: String,
    began: String,
    took: String,
    met: String,
    left: String,
    new: String,
    found: Option<String>,
}

/// Lists them; says whether there were any.
pub fn list_of(flow: &mut Flow, hole: &Hole<'_>) -> bool {
    let told = told(hole);
    let title = format!("Passes, depths below {}", datum(hole.plan()));
    if told.iter().all(|pass| pass.found.is_none()) {
        return list(flow, &title, &short_columns(), &short_rows(&told, day_of(&hole.setup.opened.moment.text())));
    }
    let columns = [
        names("No.", 0.45),
        words("Began", 2.6),
        words("Took", 1.1),
        words("Met bottom at", 1.35),
        words("Left it at", 1.35),
        words("New", 1.0),
        words("Bottom found", 1.4),
    ];
    let row = |p: Told| vec![p.number, p.began, p.took, p.met, p.left, p.new, p.found.unwrap_or_else(|| NONE.to_owned())];
    list(flow, &title, &columns, &told.into_iter().map(row).collect::<Vec<_>>())
}

fn told(hole: &Hole<'_>) -> Vec<Told> {
    let units = hole.units();
    let mut before: Option<(u16, f64)> = None;
    let one = |pass: &crate::facts::Timed<shared_protocol::record::Pass>| {
        let body = &pass.body;
        let (met, left) = (hole.below_datum(body.tag), hole.below_datum(body.bottom));
        let found = found(units, before, body.number, met);
        before = Some((body.number, left));
        Told {
            number: body.number.to_string(),
            began: pass.moment.text(),
            took: duration(body.ended.since(body.began)),
            met: units.long(met),
            left: units.long(left),
            new: units.short(left - met),
            found,
        }
    };
    hole.setup.passes.iter().map(one).collect()
}

/// Where a pass found the bottom against where the one before left it; `None` where it is the same, or the first.
fn found(units: Units, before: Option<(u16, f64)>, number: u16, met: f64) -> Option<String> {
    let (last, left) = before?;
    if number != last.wrapping_add(1) {
        return Some("pass missing".to_owned());
    }
    ((left - met).abs() >= 1e-9).then(|| difference_word(units, left - met, "higher", "deeper"))
}

fn short_columns() -> [Column<'static>; 10] {
    let [no, began, took, met, left] =
        [names("No.", 0.35), words("Began", 1.1), words("Took", 0.9), words("Met bottom at", 1.3), words("Left it at", 1.3)];
    [no, began, took, met, left, no, began, took, met, left]
}

/// The first half at the left, the second at the right; a time without its day is of the day of opening.
fn short_rows(told: &[Told], day: Option<&str>) -> Vec<Vec<String>> {
    let half = told.len().div_ceil(2);
    let cells = |p: &Told| [p.number.clone(), time_of_day(&p.began, day), p.took.clone(), p.met.clone(), p.left.clone()];
    let row = |i: usize| told.get(i).into_iter().chain(told.get(i + half)).flat_map(cells).collect();
    (0..half).map(row).collect()
}

fn day_of(moment: &str) -> Option<&str> {
    moment.split_once('T').map(|(day, _)| day)
}

/// The time alone where the day is the one given: "01:00:34" of "2027-01-15T01:00:34-07:00".
fn time_of_day(moment: &str, day: Option<&str>) -> String {
    let time = moment.split_once('T').filter(|(on, _)| Some(*on) == day).and_then(|(_, time)| time.get(..8));
    time.unwrap_or(moment).to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_pass_that_found_the_bottom_elsewhere_or_follows_a_missing_one_says_so() {
        let found = |before, number, met| found(Units::Metric, before, number, met);
        assert_eq!(found(None, 1, 0.0), None);
        assert_eq!(found(Some((1, 1.0)), 2, 1.0), None);
        assert_eq!(found(Some((1, 1.0)), 2, 0.96).as_deref(), Some("40 mm higher"));
        assert_eq!(found(Some((1, 1.0)), 2, 1.04).as_deref(), Some("40 mm deeper"));
        assert_eq!(found(Some((1, 1.0)), 3, 1.0).as_deref(), Some("pass missing"));
    }

    #[test]
    fn a_time_stands_without_its_day_only_on_the_day_of_opening() {
        let (opened, next) = ("2027-01-15T23:59:00-07:00", "2027-01-16T00:01:00-07:00");
        assert_eq!(time_of_day(opened, day_of(opened)), "23:59:00");
        assert_eq!(time_of_day(next, day_of(opened)), next);
        let unknown = "time unknown (start 7, 60 s)";
        assert_eq!(time_of_day(unknown, day_of(unknown)), unknown);
    }
}
