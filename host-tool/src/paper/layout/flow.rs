//! Pages filled from top to bottom: headings, paragraphs, figures, room for tables, running head and foot.

use super::PageSize;
use super::letters::{Letters, Lines, Style, Weight};
use super::marks::{Align, Child, Element, Frame, Mark, Meaning, Page, Pen, Piece, Role, Tone, text_marks};

const SIDE: f64 = 50.0;
const HEAD_AT: f64 = 30.0;
const TOP: f64 = 46.0;
/// The first page carries no running head and begins higher.
const FIRST_TOP: f64 = 36.0;
const WARNING_HEIGHT: f64 = 24.0;
const FOOT_HEIGHT: f64 = 62.0;
const FOOT_SIZE: f64 = 8.5;
/// A labelled paragraph up to this height is never broken.
const KEPT_WHOLE: f64 = 120.0;
/// Between a label and the text beside it.
const BESIDE_LABEL: f64 = 6.0;
/// Between two paragraphs side by side.
const BETWEEN_HALVES: f64 = 14.0;
const WARNING: Style = Style::strong(15.0);

/// What every page carries.
#[derive(Clone, Debug, Default)]
pub struct Running {
    /// A warning across the top, in large letters; empty for none.
    pub warning: String,
    /// Top left, from the second page on.
    pub head: String,
    /// Bottom left.
    pub foot: String,
    /// Below it, over the whole width.
    pub caution: String,
}

/// A place in the document for the reader's outline.
#[derive(Clone, Debug)]
pub struct Bookmark {
    /// Its text.
    pub text: String,
    /// Page, from 0.
    pub page: usize,
    /// Where on the page.
    pub y: f64,
}

/// A finished layout.
#[derive(Clone, Debug)]
pub struct Laid {
    /// Width and height of every page.
    pub size: (f64, f64),
    /// The pages.
    pub pages: Vec<Page>,
    /// The reading order.
    pub tree: Vec<Child>,
    /// The outline.
    pub bookmarks: Vec<Bookmark>,
}

/// Fills pages.
#[derive(Debug)]
pub struct Flow {
    /// Sets the text.
    pub letters: Letters,
    size: (f64, f64),
    running: Running,
    pages: Vec<Page>,
    y: f64,
    kept: f64,
    /// Taken from the right of the text for a drawing beside it.
    beside: f64,
    open: Vec<Element>,
    done: Vec<Child>,
    bookmarks: Vec<Bookmark>,
}

impl Flow {
    /// Begins the first page.
    #[must_use]
    pub fn new(size: PageSize, running: Running) -> Self {
        let mut flow = Self {
            letters: Letters::new(),
            size: size.points(),
            running,
            pages: Vec::new(),
            y: 0.0,
            kept: 0.0,
            beside: 0.0,
            open: Vec::new(),
            done: Vec::new(),
            bookmarks: Vec::new(),
        };
        flow.turn_page();
        flow
    }

    /// Left edge of the text.
    #[must_use]
    pub fn left(&self) -> f64 {
        SIDE
    }

    /// Width of the text.
    #[must_use]
    pub fn width(&self) -> f64 {
        self.whole_width() - self.beside
    }

    fn whole_width(&self) -> f64 {
        self.size.0 - 2.0 * SIDE
    }

    /// Where the next thing goes.
    #[must_use]
    pub fn y(&self) -> f64 {
        self.y
    }

    /// Height that is left on this page.
    #[must_use]
    pub fn room(&self) -> f64 {
        self.bottom() - self.y
    }

    /// Height that a page after the first has room for.
    #[must_use]
    pub fn page_room(&self) -> f64 {
        self.bottom() - TOP - if self.running.warning.is_empty() { 0.0 } else { WARNING_HEIGHT }
    }

    /// Whether nothing is on this page yet.
    #[must_use]
    pub fn at_top(&self) -> bool {
        self.y <= self.top()
    }

    fn top(&self) -> f64 {
        let top = if self.pages.len() > 1 { TOP } else { FIRST_TOP };
        if self.running.warning.is_empty() { top } else { top + WARNING_HEIGHT }
    }

    fn bottom(&self) -> f64 {
        self.size.1 - FOOT_HEIGHT - self.kept
    }

    /// Keeps so much of this page's foot free and says where that is; what goes there is put with [`Flow::place`].
    pub fn keep_foot(&mut self, height: f64) -> Frame {
        self.kept += height;
        Frame { x: self.left(), y: self.bottom(), width: self.width(), height }
    }

    /// Begins a new page.
    pub fn turn_page(&mut self) {
        self.kept = 0.0;
        self.pages.push(Page::default());
        self.y = self.top();
    }

    /// Turns the page unless so much room is left.
    pub fn need(&mut self, height: f64) {
        if self.room() < height && !self.at_top() {
            self.turn_page();
        }
    }

    /// Leaves room, except at a page's top.
    pub fn space(&mut self, height: f64) {
        if !self.at_top() {
            self.y += height;
        }
    }

    /// Moves down past something that was put there.
    pub fn advance(&mut self, height: f64) {
        self.y += height;
    }

    /// Begins an element; what follows belongs to it until [`Flow::end`].
    pub fn begin(&mut self, role: Role) {
        self.open.push(Element { role, children: Vec::new() });
    }

    /// Ends the element begun last.
    pub fn end(&mut self) {
        if let Some(element) = self.open.pop() {
            self.adopt(Child::Element(element));
        }
    }

    fn adopt(&mut self, child: Child) {
        match self.open.last_mut() {
            Some(parent) => parent.children.push(child),
            None => self.done.push(child),
        }
    }

    /// Puts marks on the page as part of the element that is open.
    pub fn put(&mut self, marks: Vec<Mark>) {
        let piece = self.place(marks);
        self.claim(piece);
    }

    /// Puts marks on the page; some element must [`Flow::claim`] them before the document ends.
    pub fn place(&mut self, marks: Vec<Mark>) -> (usize, usize) {
        let page = self.pages.len().saturating_sub(1);
        let pieces = &mut self.pages[page].pieces; // the first page is there from the beginning
        pieces.push(Piece { meaning: Meaning::Content, marks });
        (page, pieces.len() - 1)
    }

    /// Makes a piece part of the element that is open.
    pub fn claim(&mut self, (page, index): (usize, usize)) {
        debug_assert!(!self.open.is_empty(), "content belongs to an element");
        self.adopt(Child::Piece(page, index));
    }

    /// Puts marks on the page that mean nothing to a reader who cannot see them.
    pub fn decorate(&mut self, marks: Vec<Mark>) {
        if let Some(page) = self.pages.last_mut() {
            page.pieces.push(Piece { meaning: Meaning::Decoration, marks });
        }
    }

    /// A thin line over the whole width.
    pub fn rule(&mut self) {
        let (x, y, width) = (self.left(), self.y, self.width());
        self.decorate(vec![Mark::Line(vec![(x, y), (x + width, y)], Pen::Fine, Tone::Black)]);
    }

    /// A heading, with room for what it heads; level 1 is the document's.
    pub fn heading(&mut self, level: u16, text: &str, style: Style, keep: f64) {
        let width = self.width();
        let set = self.letters.set(&[(style.weight, text)], style.size, Some(width));
        self.need(set.height() + keep);
        let (page, y) = (self.pages.len().saturating_sub(1), self.y);
        self.bookmarks.push(Bookmark { text: text.to_owned(), page, y });
        self.begin(Role::Heading(level, text.to_owned()));
        self.lines(&set, self.left());
        self.end();
    }

    /// A paragraph, broken over pages where it must be.
    pub fn paragraph(&mut self, spans: &[(Weight, &str)], size: f64) {
        let width = self.width();
        let set = self.letters.set(spans, size, Some(width));
        self.begin(Role::Paragraph);
        self.lines(&set, self.left());
        self.end();
    }

    /// A paragraph that stands `indent` in from the left, beside what it is about in strong letters; empty for what goes on.
    pub fn labelled(&mut self, label: &str, spans: &[(Weight, &str)], size: f64, indent: f64) {
        let [name, text] = self.set_labelled(label, spans, size, indent);
        // whole on one page unless it is long
        self.need(name.height().max(text.height()).min(KEPT_WHOLE));
        self.begin(Role::Paragraph);
        if !label.is_empty() {
            let marks = text_marks(&name, 0, name.lines.len(), (self.left(), self.y), Align::Left);
            self.put(marks);
        }
        let (page, under) = (self.pages.len(), self.y + name.height());
        self.lines(&text, self.left() + indent);
        self.end();
        if self.pages.len() == page {
            self.y = self.y.max(under);
        }
    }

    /// Two short ones side by side, each on one half of the width and both on one page.
    pub fn labelled_pair(&mut self, pair: [(&str, &str); 2], size: f64, indent: f64) {
        let set = pair.map(|(label, text)| self.set_half(label, text, size, indent));
        let height = set.iter().flatten().map(Lines::height).fold(0.0, f64::max);
        self.need(height);
        let (y, half) = (self.y, self.half());
        for (x, [name, text]) in [self.left(), self.left() + half + BETWEEN_HALVES].into_iter().zip(&set) {
            self.begin(Role::Paragraph);
            self.put(text_marks(name, 0, name.lines.len(), (x, y), Align::Left));
            self.put(text_marks(text, 0, text.lines.len(), (x + indent, y), Align::Left));
            self.end();
        }
        self.y += height;
    }

    /// Height that one of those would take.
    pub fn measure_half(&mut self, label: &str, text: &str, size: f64, indent: f64) -> f64 {
        self.set_half(label, text, size, indent).iter().map(Lines::height).fold(0.0, f64::max)
    }

    fn half(&self) -> f64 {
        (self.width() - BETWEEN_HALVES) / 2.0
    }

    fn set_half(&mut self, label: &str, text: &str, size: f64, indent: f64) -> [Lines; 2] {
        let half = self.half();
        [
            self.letters.set(&[(Weight::Strong, label)], size, Some(indent - BESIDE_LABEL)),
            self.letters.set(&[(Weight::Regular, text)], size, Some(half - indent)),
        ]
    }

    /// Height that such a paragraph would take.
    pub fn measure_labelled(&mut self, label: &str, spans: &[(Weight, &str)], size: f64, indent: f64) -> f64 {
        self.set_labelled(label, spans, size, indent).iter().map(Lines::height).fold(0.0, f64::max)
    }

    fn set_labelled(&mut self, label: &str, spans: &[(Weight, &str)], size: f64, indent: f64) -> [Lines; 2] {
        let width = self.width();
        [
            self.letters.set(&[(Weight::Strong, label)], size, Some(indent - BESIDE_LABEL)),
            self.letters.set(spans, size, Some(width - indent)),
        ]
    }

    /// Height that a paragraph would take.
    pub fn measure(&mut self, spans: &[(Weight, &str)], size: f64) -> f64 {
        let width = self.width();
        self.letters.set(spans, size, Some(width)).height()
    }

    /// Set lines from `x` on, page after page.
    fn lines(&mut self, set: &Lines, x: f64) {
        let mut from = 0;
        while from < set.lines.len() {
            let mut to = from;
            let mut height = 0.0;
            while to < set.lines.len() && (height + set.line_height <= self.room() || (to == from && self.at_top())) {
                height += set.line_height;
                to += 1;
            }
            if to > from {
                let marks = text_marks(set, from, to, (x, self.y), Align::Left);
                self.put(marks);
                self.y += height;
                from = to;
            } else {
                self.turn_page();
            }
        }
    }

    /// A drawing over the whole width, with what it shows in words. The drawer gets the frame to fill.
    pub fn figure(&mut self, height: f64, words: &str, draw: impl FnOnce(&mut Letters, Frame) -> Vec<Mark>) {
        self.need(height);
        let frame = Frame { x: self.left(), y: self.y, width: self.width(), height };
        let marks = draw(&mut self.letters, frame);
        self.begin(Role::Figure(frame, words.to_owned()));
        self.put(marks);
        self.end();
        self.y += height;
    }

    /// Takes so much from the right of the text, with the gap to it, until [`Flow::widen`].
    pub fn narrow(&mut self, width: f64) {
        self.beside = width;
    }

    /// A drawing of this width and height at the right edge, beside the text that follows, which [`Flow::narrow`] keeps off it. Returns
    /// where it ends, for [`Flow::widen`].
    pub fn figure_beside(
        &mut self,
        (width, height): (f64, f64),
        words: &str,
        draw: impl FnOnce(&mut Letters, Frame) -> Vec<Mark>,
    ) -> (usize, f64) {
        let frame = Frame { x: self.left() + self.whole_width() - width, y: self.y, width, height };
        let marks = draw(&mut self.letters, frame);
        self.begin(Role::Figure(frame, words.to_owned()));
        self.put(marks);
        self.end();
        (self.pages.len(), frame.bottom())
    }

    /// Gives the text its whole width again, below a drawing that ended there.
    pub fn widen(&mut self, (page, bottom): (usize, f64)) {
        self.beside = 0.0;
        if page == self.pages.len() {
            self.y = self.y.max(bottom);
        }
    }

    /// Ends the document: every page gets its head and foot.
    #[must_use]
    pub fn finish(mut self) -> Laid {
        while !self.open.is_empty() {
            self.end();
        }
        let count = self.pages.len();
        for number in 1..=count {
            let (head, foot) = (self.head_marks(number), self.foot_marks(number, count));
            let Some(page) = self.pages.get_mut(number - 1) else { continue };
            page.pieces.push(Piece { meaning: Meaning::Head, marks: head });
            page.pieces.push(Piece { meaning: Meaning::Foot, marks: foot });
        }
        Laid { size: self.size, pages: self.pages, tree: self.done, bookmarks: self.bookmarks }
    }

    fn head_marks(&mut self, number: usize) -> Vec<Mark> {
        let mut marks = Vec::new();
        let mut y = HEAD_AT;
        if !self.running.warning.is_empty() {
            let line = self.letters.line(&self.running.warning, WARNING);
            marks.push(Mark::Text((SIDE, y + 6.0), line));
            let under = y + 13.0;
            marks.push(Mark::Line(vec![(SIDE, under), (self.size.0 - SIDE, under)], Pen::Strong, Tone::Black));
            y += WARNING_HEIGHT;
        }
        if number > 1 {
            marks.push(Mark::Text((SIDE, y + 6.0), self.letters.line(&self.running.head, Style::strong(FOOT_SIZE))));
        }
        marks
    }

    fn foot_marks(&mut self, number: usize, count: usize) -> Vec<Mark> {
        let top = self.size.1 - FOOT_HEIGHT + 14.0;
        let width = self.whole_width();
        let right = SIDE + width;
        let page = self.letters.line(&format!("Page {number} of {count}"), Style::regular(FOOT_SIZE));
        let foot = self.letters.set(&[(Weight::Regular, &self.running.foot)], FOOT_SIZE, Some(width - page.width - 12.0));
        let caution = self.letters.set(&[(Weight::Regular, &self.running.caution)], FOOT_SIZE, Some(width));
        let mut marks = vec![Mark::Line(vec![(SIDE, top - 3.0), (right, top - 3.0)], Pen::Fine, Tone::Black)];
        marks.push(Mark::Text((right - page.width, top + foot.baseline), page));
        marks.extend(text_marks(&foot, 0, 1, (SIDE, top), Align::Left));
        marks.extend(text_marks(&caution, 0, 2, (SIDE, top + foot.line_height), Align::Left));
        marks
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn contents(laid: &Laid) -> usize {
        laid.pages.iter().flat_map(|p| &p.pieces).filter(|p| p.meaning == Meaning::Content).count()
    }

    fn named(children: &[Child]) -> Vec<(usize, usize)> {
        children
            .iter()
            .flat_map(|child| match child {
                Child::Element(element) => named(&element.children),
                Child::Piece(page, index) => vec![(*page, *index)],
            })
            .collect()
    }

    #[test]
    fn a_paragraph_longer_than_a_page_goes_on_and_every_piece_has_its_place_in_the_order() {
        let mut flow = Flow::new(PageSize::A4, Running::default());
        flow.heading(1, "Top", Style::strong(12.0), 40.0);
        let long = "word ".repeat(3_000);
        flow.paragraph(&[(Weight::Regular, &long)], 9.5);
        let laid = flow.finish();
        assert!(laid.pages.len() > 2, "{}", laid.pages.len());
        let order = named(&laid.tree);
        assert_eq!(order.len(), contents(&laid));
        assert!(order.is_sorted());
    }

    #[test]
    fn nothing_lies_below_the_foot_rule() {
        let mut flow = Flow::new(PageSize::Letter, Running { warning: "W".into(), ..Running::default() });
        for _ in 0..200 {
            flow.heading(2, "Heading", Style::strong(11.0), 30.0);
            flow.paragraph(&[(Weight::Regular, "text")], 9.5);
        }
        let laid = flow.finish();
        for piece in laid.pages.iter().flat_map(|p| &p.pieces).filter(|p| p.meaning == Meaning::Content) {
            for mark in &piece.marks {
                let Mark::Text((_, y), _) = mark else { continue };
                assert!(*y <= 792.0 - FOOT_HEIGHT, "{y}");
            }
        }
    }

    #[test]
    fn what_keeps_the_foot_of_a_page_is_left_alone_and_the_next_page_is_whole() {
        let mut flow = Flow::new(PageSize::Letter, Running::default());
        let whole = flow.room();
        let kept = flow.keep_foot(100.0);
        assert!((flow.room() - whole + 100.0).abs() < 1e-9 && (kept.bottom() - (792.0 - FOOT_HEIGHT)).abs() < 1e-9, "{kept:?}");
        for _ in 0..60 {
            flow.labelled("Label", &[(Weight::Regular, "text")], 9.5, 60.0);
        }
        let laid = flow.finish();
        let lowest = |page: &Page| {
            let marks = page.pieces.iter().filter(|p| p.meaning == Meaning::Content).flat_map(|p| &p.marks);
            marks.filter_map(|m| if let Mark::Text((_, y), _) = m { Some(*y) } else { None }).fold(0.0, f64::max)
        };
        assert_eq!(laid.pages.len(), 2);
        assert!(lowest(&laid.pages[0]) <= kept.y, "{} in {kept:?}", lowest(&laid.pages[0]));
    }

    #[test]
    fn a_heading_is_never_the_last_thing_on_a_page() {
        let mut flow = Flow::new(PageSize::Letter, Running::default());
        let before = flow.room();
        flow.advance(before - 30.0);
        flow.heading(2, "Heading", Style::strong(11.0), 40.0);
        assert_eq!(flow.finish().pages.len(), 2);
    }
}
