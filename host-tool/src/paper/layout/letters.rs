//! Letters into lines: what can be printed, how wide it is, where it breaks.
//!
//! `parley` shapes and breaks (bold within a sentence, kerning, Unicode line breaking, words longer than a line);
//! `krilla` draws the very glyphs that were measured here, so that nothing is wider on paper than it was in the plan.

use super::single;
use krilla::text::{GlyphId, KrillaGlyph};
use parley::fontique::{Blob, Charmap, Collection, CollectionOptions, FontInfoOverride, FontWeight, SourceCache};
use parley::style::{FontFamily, FontFamilyName, LineHeight, OverflowWrap, StyleProperty};
use parley::{FontContext, Layout, LayoutContext};
use std::cell::RefCell;
use std::collections::HashMap;
use std::sync::Arc;

/// The typeface, regular and semibold.
pub static FONTS: [&[u8]; 2] =
    [include_bytes!("../../../fonts/IBMPlexSans-Regular.ttf"), include_bytes!("../../../fonts/IBMPlexSans-SemiBold.ttf")];
const FAMILY: &str = "Paper";
/// Height of a line over the size of its letters.
const LEADING: f64 = 1.32;
/// Where the baseline lies within a line's height.
const BASELINE: f64 = 0.98;
/// What stands for a character that the typeface lacks or that cannot be seen.
pub const REPLACEMENT: char = '\u{FFFD}';

/// Set texts that are kept: a few papers' worth.
const KEPT_MAX: usize = 2_048;

/// Spans of text, the bits of their size and of the width that they are broken at.
type Asked = (Vec<(Weight, Box<str>)>, u64, Option<u64>);

thread_local! {
    /// What was set before on this thread. A text is set the same whenever it is asked for; labels come back on every paper, and what was
    /// measured comes back to be drawn.
    static KEPT: RefCell<HashMap<Asked, Lines>> = RefCell::new(HashMap::new());
}

/// How heavy letters are.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Weight {
    /// For reading.
    Regular,
    /// For finding.
    Strong,
}

/// Size and weight.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Style {
    /// Size, points.
    pub size: f64,
    /// Weight.
    pub weight: Weight,
}

impl Style {
    /// Regular letters.
    #[must_use]
    pub const fn regular(size: f64) -> Self {
        Self { size, weight: Weight::Regular }
    }

    /// Semibold letters.
    #[must_use]
    pub const fn strong(size: f64) -> Self {
        Self { size, weight: Weight::Strong }
    }

    /// Height of one line, points.
    #[must_use]
    pub fn line_height(self) -> f64 {
        self.size * LEADING
    }
}

/// Glyphs of one weight that follow one another on a line.
#[derive(Clone, Debug)]
pub struct Run {
    /// Their weight.
    pub weight: Weight,
    /// Size, points.
    pub size: f64,
    /// Where they begin, from the line's beginning.
    pub x: f64,
    /// The glyphs, with their places in `text`.
    pub glyphs: Vec<KrillaGlyph>,
    /// The whole text that they are from.
    pub text: Arc<str>,
}

impl Run {
    /// What it says.
    #[must_use]
    pub fn words(&self) -> &str {
        let from = self.glyphs.iter().map(|glyph| glyph.text_range.start).min().unwrap_or(0);
        let to = self.glyphs.iter().map(|glyph| glyph.text_range.end).max().unwrap_or(0);
        self.text.get(from..to).unwrap_or_default()
    }
}

/// One set line.
#[derive(Clone, Debug)]
pub struct Line {
    /// Width without the white space at its end.
    pub width: f64,
    /// Its runs, from left to right.
    pub runs: Vec<Run>,
}

/// A set text.
#[derive(Clone, Debug)]
pub struct Lines {
    /// Its lines, from top to bottom.
    pub lines: Vec<Line>,
    /// Height of each.
    pub line_height: f64,
    /// From a line's top to its baseline.
    pub baseline: f64,
}

impl Lines {
    /// Height of all lines.
    #[must_use]
    pub fn height(&self) -> f64 {
        self.lines.len() as f64 * self.line_height
    }

    /// Width of the longest line.
    #[must_use]
    pub fn width(&self) -> f64 {
        self.lines.iter().map(|l| l.width).fold(0.0, f64::max)
    }
}

/// Sets text in the paper's typeface.
pub struct Letters {
    fonts: FontContext,
    scratch: LayoutContext<()>,
    strong: u64,
    charmap: Charmap<'static>,
}

impl std::fmt::Debug for Letters {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Letters").finish_non_exhaustive()
    }
}

impl Default for Letters {
    fn default() -> Self {
        Self::new()
    }
}

impl Letters {
    /// Reads the typeface.
    ///
    /// # Panics
    /// When the fonts built into this program are not fonts: a fault of the build.
    #[must_use]
    pub fn new() -> Self {
        let mut collection = Collection::new(CollectionOptions { shared: false, system_fonts: false });
        let [regular, strong] = FONTS.map(|font| Blob::new(Arc::new(font)));
        let strong_id = strong.id();
        let mut register = |blob: Blob<u8>, weight: f32| {
            let named =
                FontInfoOverride { family_name: Some(FAMILY), weight: Some(FontWeight::new(weight)), ..FontInfoOverride::default() };
            collection.register_fonts(blob, Some(named))
        };
        let registered = register(regular, 400.0);
        register(strong, 600.0);
        let index = registered.first().and_then(|(_, fonts)| fonts.first()).map(parley::fontique::FontInfo::charmap_index);
        let charmap = index.and_then(|i| i.charmap(FONTS[0])).expect("the built-in font has a character map");
        Self {
            fonts: FontContext { collection, source_cache: SourceCache::default() },
            scratch: LayoutContext::new(),
            strong: strong_id,
            charmap,
        }
    }

    /// The text with everything that cannot be printed, or would not be seen, replaced by [`REPLACEMENT`]:
    /// control and format characters, characters that the typeface lacks, and all but the first of combining
    /// marks, which would otherwise climb over the line above. Tabs and line breaks become spaces.
    #[must_use]
    pub fn printable(&self, text: &str) -> String {
        let mut marked = true;
        text.chars()
            .map(|c| {
                let mark = ('\u{300}'..='\u{36F}').contains(&c);
                let allowed = !(mark && marked);
                marked = mark || c.is_control();
                match c {
                    '\t' | '\n' | '\r' => ' ',
                    _ if allowed && !invisible(c) && self.charmap.map(c).is_some_and(|glyph| glyph != 0) => c,
                    _ => REPLACEMENT,
                }
            })
            .collect()
    }

    /// Sets spans of text as one paragraph, broken at `width` if there is one.
    pub fn set(&mut self, spans: &[(Weight, &str)], size: f64, width: Option<f64>) -> Lines {
        let asked: Asked =
            (spans.iter().map(|(weight, span)| (*weight, (*span).into())).collect(), size.to_bits(), width.map(f64::to_bits));
        if let Some(lines) = KEPT.with_borrow(|kept| kept.get(&asked).cloned()) {
            return lines;
        }
        let lines = self.set_anew(spans, size, width);
        KEPT.with_borrow_mut(|kept| {
            if kept.len() >= KEPT_MAX {
                kept.clear();
            }
            kept.insert(asked, lines.clone());
        });
        lines
    }

    fn set_anew(&mut self, spans: &[(Weight, &str)], size: f64, width: Option<f64>) -> Lines {
        let mut text = String::new();
        let mut strong = Vec::new();
        for (weight, span) in spans {
            let from = text.len();
            text.push_str(&glued(&self.printable(span)));
            if *weight == Weight::Strong {
                strong.push(from..text.len());
            }
        }
        let mut builder = self.scratch.ranged_builder(&mut self.fonts, &text, 1.0, false);
        builder.push_default(StyleProperty::FontFamily(FontFamily::Single(FontFamilyName::Named(FAMILY.into()))));
        builder.push_default(StyleProperty::FontSize(single(size)));
        builder.push_default(StyleProperty::LineHeight(LineHeight::FontSizeRelative(single(LEADING))));
        builder.push_default(StyleProperty::OverflowWrap(OverflowWrap::Anywhere));
        for range in strong {
            builder.push(StyleProperty::FontWeight(FontWeight::new(600.0)), range);
        }
        let mut layout = builder.build(&text);
        layout.break_all_lines(width.map(single));
        self.lines(&layout, &text.into(), size)
    }

    /// Sets one line that is never broken.
    pub fn line(&mut self, text: &str, style: Style) -> Line {
        self.set(&[(style.weight, text)], style.size, None).lines.into_iter().next().unwrap_or(Line { width: 0.0, runs: Vec::new() })
    }

    fn lines(&self, layout: &Layout<()>, text: &Arc<str>, size: f64) -> Lines {
        let lines = layout.lines().map(|line| {
            let metrics = line.metrics();
            let mut x = 0.0;
            let runs = line.runs().map(|run| {
                let glyphs = glyphs(&run);
                let weight = if run.font().data.id() == self.strong { Weight::Strong } else { Weight::Regular };
                let at = x;
                x += f64::from(run.advance());
                Run { weight, size, x: at, glyphs, text: Arc::clone(text) }
            });
            Line { runs: runs.collect(), width: f64::from(metrics.advance - metrics.hanging_advance) }
        });
        Lines { lines: lines.collect(), line_height: size * LEADING, baseline: size * BASELINE }
    }
}

/// A run's glyphs as the file wants them: advances and offsets in ems, each with the text that it stands for.
fn glyphs(run: &parley::layout::Run<'_, ()>) -> Vec<KrillaGlyph> {
    let em = run.font_size();
    let mut out: Vec<KrillaGlyph> = Vec::new();
    for cluster in run.visual_clusters() {
        if cluster.is_ligature_continuation() {
            if let Some(last) = out.last_mut() {
                last.text_range.end = cluster.text_range().end;
            }
            continue;
        }
        out.extend(
            cluster
                .glyphs()
                .map(|g| KrillaGlyph::new(GlyphId::new(g.id), g.advance / em, g.x / em, g.y / em, 0.0, cluster.text_range(), None)),
        );
    }
    out
}

/// The text with a space that never breaks between whole and fraction, "1 1/2", and behind "±": a figure torn apart is another one.
fn glued(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    let mut before = ' ';
    let mut rest = text.chars();
    while let Some(c) = rest.next() {
        let after = rest.as_str();
        let behind = after.trim_start_matches(|next: char| next.is_ascii_digit());
        let digits = behind.len() < after.len();
        let fraction = before.is_ascii_digit() && digits && behind.starts_with('/');
        out.push(if c == ' ' && (fraction || (before == '±' && digits)) { '\u{A0}' } else { c });
        before = c;
    }
    out
}

/// Format characters that a typeface may carry without ink (zero widths, joiners, direction overrides), and those
/// whose meaning is private to it.
fn invisible(c: char) -> bool {
    matches!(c, '\u{AD}' | '\u{34F}' | '\u{61C}' | '\u{180B}'..='\u{180F}' | '\u{200B}'..='\u{200F}' | '\u{2028}'..='\u{202E}'
        | '\u{2060}'..='\u{206F}' | '\u{E000}'..='\u{F8FF}' | '\u{FE00}'..='\u{FE0F}' | '\u{FEFF}' | '\u{FFF0}'..='\u{FFFB}')
        || c.is_control()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_cannot_be_seen_or_printed_is_replaced_visibly() {
        let letters = Letters::new();
        assert_eq!(letters.printable("Pole 7\u{7}\u{202E}x\u{200B}"), "Pole 7��x�");
        assert_eq!(letters.printable("שלום 🕳"), "���� �");
        assert_eq!(letters.printable("a\tb\nc"), "a b c");
        assert_eq!(letters.printable("Łódź − ½ é ж"), "Łódź − ½ é ж");
        assert_eq!(letters.printable("e\u{301}\u{301}\u{301}"), "e\u{301}��");
    }

    #[test]
    fn a_figure_is_never_torn_apart() {
        assert_eq!(glued("1 1/2 in ± 3 mm, 12 of 40, 3/8 in, 3 /4"), "1\u{A0}1/2 in ±\u{A0}3 mm, 12 of 40, 3/8 in, 3 /4");
        let mut letters = Letters::new();
        for width in 20..60 {
            let set = letters.set(&[(Weight::Regular, "at 10 11/16 in ± 3 mm")], 9.5, Some(f64::from(width)));
            let begins: Vec<&str> = set
                .lines
                .iter()
                .filter_map(|line| {
                    let run = line.runs.first()?;
                    run.text.get(run.glyphs.first()?.text_range.start..)
                })
                .collect();
            assert!(width < 45 || !begins.iter().any(|line| line.starts_with("11/16")), "{width}: {begins:?}");
        }
    }

    #[test]
    fn no_line_is_wider_than_it_may_be_and_no_glyph_is_missing() {
        let mut letters = Letters::new();
        let hostile = "W".repeat(120) + " Überführung 12.5 m\u{202E}🕳 " + &"il1".repeat(40);
        let set = letters.set(&[(Weight::Regular, &hostile), (Weight::Strong, "bold end")], 9.5, Some(90.0));
        assert!(set.lines.len() > 10, "{}", set.lines.len());
        for line in &set.lines {
            assert!(line.width <= 90.0, "{}", line.width);
            assert!(line.runs.iter().flat_map(|r| &r.glyphs).all(|g| g.glyph_id.to_u32() != 0));
        }
        let last = set.lines.last().and_then(|l| l.runs.last()).unwrap();
        assert_eq!(last.weight, Weight::Strong);
    }

    /// Alike in all but one thing, and each set again after the others: nothing is taken for another, however often all is given up.
    #[test]
    fn what_is_kept_is_what_would_be_set() {
        let mut letters = Letters::new();
        let mut asked = Vec::new();
        for text in ["deep", "deeper"] {
            for (weight, size) in [(Weight::Regular, 9.5), (Weight::Strong, 9.5), (Weight::Regular, 9.0)] {
                asked.extend([None, Some(12.0), Some(30.0)].map(|width| (weight, text, size, width)));
            }
        }
        for turn in 0..3 {
            for (weight, text, size, width) in &asked {
                let spans = [(*weight, *text)];
                let [kept, anew] = [letters.set(&spans, *size, *width), letters.set_anew(&spans, *size, *width)];
                assert_eq!(format!("{kept:?}"), format!("{anew:?}"), "{text} {weight:?} {size} {width:?}, turn {turn}");
            }
            if turn == 1 {
                (0..KEPT_MAX).for_each(|n| drop(letters.line(&n.to_string(), Style::regular(8.0))));
                assert!(KEPT.with_borrow(HashMap::len) <= KEPT_MAX);
            }
        }
    }

    #[test]
    fn figures_stand_under_one_another() {
        let mut letters = Letters::new();
        let width = |text: &str, letters: &mut Letters| letters.line(text, Style::regular(10.0)).width;
        assert!((width("1111", &mut letters) - width("8408", &mut letters)).abs() < 0.01);
    }

    #[test]
    fn one_text_is_as_wide_as_its_advances_in_the_font() {
        // IBM Plex Sans has 1000 units to the em and figures 600 wide (its horizontal metrics, `hmtx`).
        let mut letters = Letters::new();
        assert!((letters.line("0000", Style::regular(10.0)).width - 24.0).abs() < 0.01);
    }
}
