//! Tables: columns by shares of the width, rows kept whole where they can be, heads repeated on every page.

use super::flow::Flow;
use super::letters::{Lines, Weight};
use super::marks::{Align, Mark, Pen, Role, Tone, text_marks};

/// Letters of a table: no text of a paper is smaller.
pub const SIZE: f64 = 8.5;
const BETWEEN_COLUMNS: f64 = 7.0;
const BETWEEN_ROWS: f64 = 1.2;
const UNDER_HEAD: f64 = 3.0;

/// What a column's cells are.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// They name their row, and stand out.
    Names,
    /// They name their row: times, which need not stand out.
    Times,
    /// They say something about it.
    Values,
}

/// One column.
#[derive(Clone, Copy, Debug)]
pub struct Column<'a> {
    /// What stands over it; a table whose columns all have none has no head.
    pub head: &'a str,
    /// Its part of the width.
    pub share: f64,
    /// How its cells are aligned.
    pub align: Align,
    /// What its cells are.
    pub kind: Kind,
}

/// A column of names.
#[must_use]
pub const fn names(head: &str, share: f64) -> Column<'_> {
    Column { head, share, align: Align::Left, kind: Kind::Names }
}

/// A column of times that name their rows.
#[must_use]
pub const fn times(head: &str, share: f64) -> Column<'_> {
    Column { head, share, align: Align::Left, kind: Kind::Times }
}

/// A column of words.
#[must_use]
pub const fn words(head: &str, share: f64) -> Column<'_> {
    Column { head, share, align: Align::Left, kind: Kind::Values }
}

/// A column of figures, flush right.
#[must_use]
pub const fn figures(head: &str, share: f64) -> Column<'_> {
    Column { head, share, align: Align::Right, kind: Kind::Values }
}

/// Where a column lies.
#[derive(Clone, Copy, Debug)]
struct Place {
    x: f64,
    width: f64,
    align: Align,
}

impl Place {
    /// The line that its cells are aligned to.
    fn anchor(&self) -> f64 {
        match self.align {
            Align::Left => self.x,
            Align::Centre => self.x + self.width / 2.0,
            Align::Right => self.x + self.width,
        }
    }
}

/// Puts a table into the flow. Missing cells are dashes; empty ones too, since every field is filled.
pub fn table(flow: &mut Flow, columns: &[Column<'_>], rows: &[Vec<String>]) {
    sized(flow, columns, rows, SIZE);
}

/// As [`table`], in letters of this size.
pub fn sized(flow: &mut Flow, columns: &[Column<'_>], rows: &[Vec<String>], size: f64) {
    set(flow, columns, rows, &[], size);
}

/// As [`table`], with a single line through some cells, by row and column, which stay legible.
pub fn table_with_struck(flow: &mut Flow, columns: &[Column<'_>], rows: &[Vec<String>], struck: &[(usize, usize)]) {
    set(flow, columns, rows, struck, SIZE);
}

fn set(flow: &mut Flow, columns: &[Column<'_>], rows: &[Vec<String>], struck: &[(usize, usize)], size: f64) {
    let places = places(flow, columns);
    let heads: Vec<Lines> = columns.iter().zip(&places).map(|(c, p)| cell(flow, c.head, Weight::Strong, p.width, size)).collect();
    let headed = columns.iter().any(|c| !c.head.is_empty());
    flow.begin(Role::Table);
    if headed {
        flow.need(height(&heads) + UNDER_HEAD + 2.0 * size);
        flow.begin(Role::Row);
        for (head, place) in heads.iter().zip(&places) {
            flow.begin(Role::ColumnHead);
            let marks = text_marks(head, 0, head.lines.len(), (place.anchor(), flow.y()), place.align);
            flow.put(marks);
            flow.end();
        }
        flow.end();
        under_head(flow, &heads);
    }
    for (number, row) in rows.iter().enumerate() {
        let cells = cells(flow, columns, &places, row, size);
        let struck: Vec<usize> = struck.iter().filter(|(row, _)| *row == number).map(|(_, column)| *column).collect();
        whole_row(flow, columns, &places, &cells, headed.then_some(&heads[..]), &struck);
    }
    flow.end();
}

/// Height that the rows of such a table would take, without its head.
pub fn measure(flow: &mut Flow, columns: &[Column<'_>], rows: &[Vec<String>], size: f64) -> f64 {
    let places = places(flow, columns);
    rows.iter().map(|row| height(&cells(flow, columns, &places, row, size)) + BETWEEN_ROWS).sum()
}

fn cells(flow: &mut Flow, columns: &[Column<'_>], places: &[Place], row: &[String], size: f64) -> Vec<Lines> {
    let set = |(i, (column, place)): (usize, (&Column<'_>, &Place))| {
        let text = row.get(i).map_or("", String::as_str);
        let weight = if column.kind == Kind::Names { Weight::Strong } else { Weight::Regular };
        cell(flow, if text.trim().is_empty() { "–" } else { text }, weight, place.width, size)
    };
    columns.iter().zip(places).enumerate().map(set).collect()
}

fn places(flow: &Flow, columns: &[Column<'_>]) -> Vec<Place> {
    let shares: f64 = columns.iter().map(|c| c.share).sum();
    let gaps: f64 = columns.iter().skip(1).map(|_| BETWEEN_COLUMNS).sum();
    let unit = (flow.width() - gaps) / shares;
    let mut x = flow.left();
    let place = |column: &Column<'_>| {
        let place = Place { x, width: column.share * unit, align: column.align };
        x += place.width + BETWEEN_COLUMNS;
        place
    };
    columns.iter().map(place).collect()
}

fn cell(flow: &mut Flow, text: &str, weight: Weight, width: f64, size: f64) -> Lines {
    flow.letters.set(&[(weight, text)], size, Some(width))
}

fn height(cells: &[Lines]) -> f64 {
    cells.iter().map(Lines::height).fold(0.0, f64::max)
}

fn under_head(flow: &mut Flow, heads: &[Lines]) {
    flow.advance(height(heads) + UNDER_HEAD / 2.0);
    flow.rule();
    flow.advance(UNDER_HEAD);
}

/// Turns the page within a table: the head is there again, to look at only.
fn turn_page(flow: &mut Flow, places: &[Place], heads: Option<&[Lines]>) {
    flow.turn_page();
    let Some(heads) = heads else { return };
    let y = flow.y();
    let again = heads.iter().zip(places).flat_map(|(h, p)| text_marks(h, 0, h.lines.len(), (p.anchor(), y), p.align));
    let marks: Vec<Mark> = again.collect();
    flow.decorate(marks);
    under_head(flow, heads);
}

/// A row, on one page where a page can hold it.
fn whole_row(flow: &mut Flow, columns: &[Column<'_>], places: &[Place], cells: &[Lines], heads: Option<&[Lines]>, struck: &[usize]) {
    let line = cells.first().map_or(SIZE, |c| c.line_height);
    let longest = cells.iter().map(|c| c.lines.len()).max().unwrap_or(0);
    if height(cells) > flow.room() && !flow.at_top() {
        turn_page(flow, places, heads);
    }
    let mut parts = vec![0];
    let mut pieces: Vec<Vec<(usize, usize)>> = vec![Vec::new(); cells.len()];
    // Nearly always one part; a cell taller than a page goes on over the next.
    while parts.last().is_some_and(|&from| from < longest) {
        let from = parts.last().copied().unwrap_or(0);
        let fits = (from + 1..=longest).take_while(|to| span(*to - from, line) <= flow.room()).last().unwrap_or(from + 1);
        for (index, (place, lines)) in places.iter().zip(cells).enumerate() {
            if from < lines.lines.len() {
                let marks = text_marks(lines, from, fits, (place.anchor(), flow.y()), place.align);
                if struck.contains(&index) {
                    let lines = strokes(&marks);
                    flow.decorate(lines);
                }
                pieces[index].push(flow.place(marks));
            }
        }
        flow.advance(span(fits - from, line));
        parts.push(fits);
        if fits < longest {
            turn_page(flow, places, heads);
        }
    }
    flow.begin(Role::Row);
    for (column, list) in columns.iter().zip(pieces) {
        flow.begin(if column.kind == Kind::Values { Role::Cell } else { Role::RowHead });
        list.into_iter().for_each(|piece| flow.claim(piece));
        flow.end();
    }
    flow.end();
    flow.advance(BETWEEN_ROWS);
}

/// A line through each line of text, at the height of a small letter's middle.
fn strokes(marks: &[Mark]) -> Vec<Mark> {
    let stroke = |mark: &Mark| match mark {
        Mark::Text((x, y), line) => {
            Some(Mark::Line(vec![(*x, y - 0.28 * SIZE), (x + line.width, y - 0.28 * SIZE)], Pen::Fine, Tone::Black))
        }
        _ => None,
    };
    marks.iter().filter_map(stroke).collect()
}

fn span(lines: usize, line_height: f64) -> f64 {
    lines as f64 * line_height
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::paper::layout::PageSize;
    use crate::paper::layout::flow::{Laid, Running};
    use crate::paper::layout::marks::{Child, Element, Meaning};

    fn rows(laid: &Laid) -> Vec<&Element> {
        let Some(Child::Element(table)) = laid.tree.first() else { return Vec::new() };
        table.children.iter().filter_map(|c| if let Child::Element(e) = c { Some(e) } else { None }).collect()
    }

    #[test]
    fn heads_are_repeated_to_look_at_and_read_once() {
        let mut flow = Flow::new(PageSize::A4, Running::default());
        let body: Vec<_> = (0..150).map(|i| vec![i.to_string(), String::new(), "x".into()]).collect();
        table(&mut flow, &[names("No.", 1.0), words("What", 2.0), figures("How much", 1.0)], &body);
        let laid = flow.finish();
        assert_eq!(laid.pages.len(), 3);
        let rows = rows(&laid);
        assert_eq!(rows.len(), 151);
        assert!(rows.iter().all(|r| r.children.len() == 3), "every row has every cell");
        for page in &laid.pages[1..] {
            let first = page.pieces.iter().find(|p| !p.marks.is_empty()).unwrap();
            assert_eq!((first.meaning, first.marks.len()), (Meaning::Decoration, 3));
        }
    }

    #[test]
    fn a_struck_cell_has_a_line_through_each_of_its_lines_and_all_its_letters() {
        let mut flow = Flow::new(PageSize::A4, Running::default());
        let body = vec![vec!["1".to_owned(), "wrong ".repeat(60)], vec!["2".to_owned(), "right".to_owned()]];
        table_with_struck(&mut flow, &[names("No.", 1.0), words("What", 2.0)], &body, &[(0, 1)]);
        let laid = flow.finish();
        let marks = || laid.pages[0].pieces.iter().flat_map(|piece| piece.marks.iter().map(|mark| (piece.meaning, mark)));
        let texts = marks().filter_map(|(_, mark)| if let Mark::Text((x, y), line) = mark { Some((*x, *y, line.width)) } else { None });
        let wrong: Vec<_> = texts.filter(|(.., width)| *width > 200.0).collect();
        let struck = |(x, y, width): &(f64, f64, f64)| {
            marks().any(|(meaning, mark)| {
                let Mark::Line(points, ..) = mark else { return false };
                let spans = points.len() == 2 && (points[0].0 - x).abs() < 1e-9 && (points[1].0 - x - width).abs() < 1e-9;
                spans && points.iter().all(|p| p.1 < *y && p.1 > y - SIZE) && meaning == Meaning::Decoration
            })
        };
        assert!(wrong.len() >= 4 && wrong.iter().all(struck), "{wrong:?}");
        let lines = marks().filter(|(meaning, mark)| *meaning == Meaning::Decoration && matches!(mark, Mark::Line(..))).count();
        assert_eq!(lines, wrong.len() + 1, "one through each of the wrong lines, and the rule under the head: {wrong:?}");
    }

    #[test]
    fn a_cell_taller_than_a_page_goes_on_over_the_next() {
        let mut flow = Flow::new(PageSize::Letter, Running::default());
        table(&mut flow, &[names("", 1.0), words("", 1.0)], &[vec!["long".into(), "word ".repeat(1_200)]]);
        let laid = flow.finish();
        assert!(laid.pages.len() > 1);
        let Some(Child::Element(cell)) = rows(&laid)[0].children.last() else { panic!("no cell") };
        assert_eq!(cell.children.len(), laid.pages.len());
    }
}
