//! What is put on a page: lines, areas and letters, grouped into pieces of the reading order.

use super::letters::{Line, Lines};

/// A place, points from the page's top left corner.
pub type Point = (f64, f64);

/// An upright rectangle.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Frame {
    /// Left edge.
    pub x: f64,
    /// Top edge.
    pub y: f64,
    /// Width.
    pub width: f64,
    /// Height.
    pub height: f64,
}

impl Frame {
    /// Right edge.
    #[must_use]
    pub fn right(&self) -> f64 {
        self.x + self.width
    }

    /// Bottom edge.
    #[must_use]
    pub fn bottom(&self) -> f64 {
        self.y + self.height
    }
}

/// How dark. Black and white paper knows three.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Tone {
    /// Black.
    Black,
    /// For auxiliary lines.
    Grey,
    /// For areas behind lines.
    Pale,
    /// For the inside of open marks.
    White,
}

/// How a line is drawn. There are two weights.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Pen {
    /// Thin.
    Fine,
    /// Thin, in long dashes.
    Dashed,
    /// Thick: what was measured.
    Strong,
}

/// One thing on a page.
#[derive(Clone, Debug)]
pub enum Mark {
    /// A line through points.
    Line(Vec<Point>, Pen, Tone),
    /// The area within points.
    Area(Vec<Point>, Tone),
    /// A circle: centre, radius, outline, inside.
    Circle(Point, f64, Option<Pen>, Option<Tone>),
    /// Letters, by the left end of their baseline.
    Text(Point, Line),
    /// Marks of which only what lies within the frame is seen.
    Within(Frame, Vec<Mark>),
}

/// Which side of its place a text lies on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Align {
    /// To the right of it: flush left.
    Left,
    /// To both sides.
    Centre,
    /// To the left of it: flush right.
    Right,
}

impl Align {
    /// Where a text of this width begins.
    #[must_use]
    pub fn start(self, x: f64, width: f64) -> f64 {
        match self {
            Self::Left => x,
            Self::Centre => x - width / 2.0,
            Self::Right => x - width,
        }
    }
}

/// Part of a text as marks: lines `from` up to `to`, the first one's top at `y`, aligned to `x`.
#[must_use]
pub fn text_marks(set: &Lines, from: usize, to: usize, (x, y): Point, align: Align) -> Vec<Mark> {
    let mut top = y;
    let mut marks = Vec::new();
    for line in set.lines.iter().take(to).skip(from) {
        marks.push(Mark::Text((align.start(x, line.width), top + set.baseline), line.clone()));
        top += set.line_height;
    }
    marks
}

/// Marks that belong together.
#[derive(Clone, Debug)]
pub struct Piece {
    /// What it is to a reader who cannot see it.
    pub meaning: Meaning,
    /// The marks.
    pub marks: Vec<Mark>,
}

/// What a piece is in the reading order.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Meaning {
    /// Content: some element of the tree names it.
    Content,
    /// Running head, repeated on each page.
    Head,
    /// Running foot, repeated on each page.
    Foot,
    /// Rules, repeated table heads: nothing to read.
    Decoration,
}

/// One page.
#[derive(Clone, Debug, Default)]
pub struct Page {
    /// Its pieces, in the order of drawing.
    pub pieces: Vec<Piece>,
}

/// What an element is.
#[derive(Clone, Debug, PartialEq)]
pub enum Role {
    /// A part of the document.
    Section,
    /// A heading: level from 1, and its text.
    Heading(u16, String),
    /// A paragraph.
    Paragraph,
    /// A drawing: where it is, and what it shows in words.
    Figure(Frame, String),
    /// A table.
    Table,
    /// A row of a table.
    Row,
    /// A cell that heads a column.
    ColumnHead,
    /// A cell that heads a row.
    RowHead,
    /// Any other cell.
    Cell,
}

/// An element of the reading order.
#[derive(Clone, Debug)]
pub struct Element {
    /// What it is.
    pub role: Role,
    /// What it is made of, in order.
    pub children: Vec<Child>,
}

/// A child of an element.
#[derive(Clone, Debug)]
pub enum Child {
    /// Another element.
    Element(Element),
    /// A piece: page and index on it, both from 0.
    Piece(usize, usize),
}
