//! Pages into a file: PDF/A-3a and PDF/UA-1 in one, tagged, with attachments; the same input gives the same bytes.

use super::flow::Laid;
use super::letters::{FONTS, Letters, Line, Weight};
use super::marks::{Child, Element, Frame, Mark, Meaning, Pen, Point, Role, Tone};
use super::single;
use crate::facts::Wall;
use krilla::Document;
use krilla::SerializeSettings;
use krilla::color::luma;
use krilla::configure::{Accessibility, Archival, ConfigurationBuilder};
use krilla::destination::XyzDestination;
use krilla::embed::{AssociationKind, EmbeddedFile, MimeType};
use krilla::geom::{PathBuilder, Point as At, Rect};
use krilla::metadata::{DateTime, Metadata};
use krilla::outline::{Outline, OutlineNode};
use krilla::page::PageSettings;
use krilla::paint::{Fill, FillRule, LineCap, LineJoin, Stroke, StrokeDash};
use krilla::surface::Surface;
use krilla::tagging::{
    Artifact, ArtifactType, BBox, ContentTag, Identifier, Node, SpanTag, TableHeaderScope, Tag, TagGroup, TagKind, TagTree,
};
use krilla::text::Font;
use std::num::NonZeroU16;

/// Which standard the file keeps.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Standard {
    /// PDF/A-3a and PDF/UA-1 (ISO 19005-3, ISO 14289-1): tagged, with attachments.
    Archive,
    /// PDF/A-1b (ISO 19005-1): the same pages without attachments, outline and tags, for readers and
    /// validators that know no more.
    Plain,
}

/// What the file says about itself, all of it from the record.
#[derive(Clone, Debug)]
pub struct About {
    /// Title.
    pub title: String,
    /// What it is about, in a sentence.
    pub subject: String,
    /// Who made the record.
    pub author: String,
    /// The program that makes it.
    pub program: String,
    /// What tells this document from any other.
    pub identity: String,
    /// When the record ended; the file's dates. `None` where nobody told the rig the time.
    pub date: Option<Wall>,
}

/// A file within the file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Attachment {
    /// Its name.
    pub name: String,
    /// Its media type.
    pub media_type: &'static str,
    /// What it is, in a sentence.
    pub description: String,
    /// Its bytes.
    pub data: Vec<u8>,
}

/// Writes the file.
///
/// # Errors
/// What the standard asks for and the document lacks, in the library's words: a fault of the layout.
pub fn write(laid: &Laid, about: &About, attachments: Vec<Attachment>, standard: Standard) -> Result<Vec<u8>, String> {
    let mut document = Document::new_with(settings(standard)?);
    let letters = Letters::new();
    let fonts = FONTS.map(|data| Font::new(data.into(), 0));
    let [Some(regular), Some(strong)] = fonts else { return Err("the built-in fonts cannot be read".to_owned()) };
    let mut pen = Writer { fonts: [regular, strong] };
    let mut identifiers = Vec::new();
    for page in &laid.pages {
        let size = PageSettings::from_wh(single(laid.size.0), single(laid.size.1)).ok_or("the page has no size")?;
        let mut leaf = document.start_page_with(size);
        let mut surface = leaf.surface();
        let of_page = page.pieces.iter().map(|piece| {
            let identifier = surface.start_tagged(tag(piece.meaning));
            pen.marks(&mut surface, &piece.marks);
            surface.end_tagged();
            identifier
        });
        identifiers.push(of_page.collect::<Vec<_>>());
        surface.finish();
        leaf.finish();
    }
    let date = about.date.and_then(date).unwrap_or_else(|| DateTime::new(1970).utc_offset_hour(0));
    document.set_metadata(metadata(about, date, &letters));
    if standard == Standard::Archive {
        document.set_tag_tree(tree(laid, &identifiers, &letters));
        document.set_outline(outline(laid, &letters));
        for attachment in attachments {
            document.embed_file(embedded(attachment, date)).ok_or("two attachments have one name")?;
        }
    }
    document.finish().map_err(|e| format!("{e:?}"))
}

fn settings(standard: Standard) -> Result<SerializeSettings, String> {
    let builder = ConfigurationBuilder::new();
    let builder = match standard {
        Standard::Archive => builder.with_archival_validator(Archival::A3_A).with_accessibility_validator(Accessibility::UA1),
        Standard::Plain => builder.with_archival_validator(Archival::A1_B),
    };
    let configuration = builder.finish().map_err(|e| format!("{e:?}"))?;
    Ok(SerializeSettings { configuration, enable_tagging: standard == Standard::Archive, ..SerializeSettings::default() })
}

fn tag(meaning: Meaning) -> ContentTag<'static> {
    let artifact = |kind| ContentTag::Artifact(Artifact::with_kind(kind));
    match meaning {
        Meaning::Content => ContentTag::Span(SpanTag::empty()),
        Meaning::Head => artifact(ArtifactType::Header),
        Meaning::Foot => artifact(ArtifactType::Footer),
        Meaning::Decoration => artifact(ArtifactType::Layout),
    }
}

fn date(wall: Wall) -> Option<DateTime> {
    let offset = jiff::tz::Offset::from_seconds(i32::from(wall.offset) * 60).ok()?;
    let local = offset.to_datetime(jiff::Timestamp::from_millisecond(wall.unix_ms).ok()?);
    let small = |value: i8| u8::try_from(value).ok();
    Some(
        DateTime::new(u16::try_from(local.year()).ok()?)
            .month(small(local.month())?)
            .day(small(local.day())?)
            .hour(small(local.hour())?)
            .minute(small(local.minute())?)
            .second(small(local.second())?)
            .utc_offset_hour(i8::try_from(wall.offset / 60).ok()?)
            .utc_offset_minute(u8::try_from(wall.offset.unsigned_abs() % 60).ok()?),
    )
}

fn metadata(about: &About, date: DateTime, letters: &Letters) -> Metadata {
    let program = letters.printable(&about.program);
    Metadata::new()
        .title(letters.printable(&about.title))
        .description(letters.printable(&about.subject))
        .authors(vec![letters.printable(&about.author)])
        .document_id(letters.printable(&about.identity))
        .language("en".to_owned())
        .creator(program.clone())
        .producer(program)
        .creation_date(date)
}

fn embedded(attachment: Attachment, date: DateTime) -> EmbeddedFile {
    EmbeddedFile {
        path: attachment.name,
        mime_type: MimeType::new(attachment.media_type),
        description: Some(attachment.description),
        association_kind: AssociationKind::Source,
        data: attachment.data.into(),
        modification_date: Some(date),
        compress: Some(true),
        location: None,
    }
}

fn outline(laid: &Laid, letters: &Letters) -> Outline {
    let mut outline = Outline::new();
    for mark in &laid.bookmarks {
        let place = XyzDestination::new(mark.page, At::from_xy(0.0, single(mark.y)));
        outline.push_child(OutlineNode::new(letters.printable(&mark.text), place));
    }
    outline
}

fn tree(laid: &Laid, identifiers: &[Vec<Identifier>], letters: &Letters) -> TagTree {
    let mut tree = TagTree::new().with_lang(Some("en".to_owned()));
    for child in &laid.tree {
        if let Some(node) = node(child, identifiers, letters) {
            tree.push(node);
        }
    }
    tree
}

fn node(child: &Child, identifiers: &[Vec<Identifier>], letters: &Letters) -> Option<Node> {
    match child {
        Child::Piece(page, index) => identifiers.get(*page)?.get(*index).map(|i| Node::Leaf(*i)),
        Child::Element(element) => {
            let children = element.children.iter().filter_map(|c| node(c, identifiers, letters)).collect();
            Some(Node::Group(TagGroup::with_children(kind(element, letters), children)))
        }
    }
}

fn kind(element: &Element, letters: &Letters) -> TagKind {
    match &element.role {
        Role::Section => Tag::Section.into(),
        Role::Heading(level, text) => Tag::Hn(NonZeroU16::new(*level).unwrap_or(NonZeroU16::MIN), Some(letters.printable(text))).into(),
        Role::Paragraph => Tag::P.into(),
        Role::Figure(frame, words) => {
            let place = first_page(element).zip(rect(*frame)).map(|(page, rect)| BBox::new(page, rect));
            Tag::Figure(Some(letters.printable(words))).with_bbox(place).into()
        }
        Role::Table => Tag::Table.into(),
        Role::Row => Tag::TR.into(),
        Role::ColumnHead => Tag::TH(TableHeaderScope::Column).into(),
        Role::RowHead => Tag::TH(TableHeaderScope::Row).into(),
        Role::Cell => Tag::TD.into(),
    }
}

fn first_page(element: &Element) -> Option<usize> {
    element.children.iter().find_map(|c| match c {
        Child::Piece(page, _) => Some(*page),
        Child::Element(inner) => first_page(inner),
    })
}

fn rect(frame: Frame) -> Option<Rect> {
    Rect::from_xywh(single(frame.x), single(frame.y), single(frame.width), single(frame.height))
}

/// Draws marks.
struct Writer {
    fonts: [Font; 2],
}

impl Writer {
    fn marks(&mut self, surface: &mut Surface<'_>, marks: &[Mark]) {
        for mark in marks {
            match mark {
                Mark::Line(points, pen, tone) => self.path(surface, points, false, Some((*pen, *tone)), None),
                Mark::Area(points, tone) => self.path(surface, points, true, None, Some(*tone)),
                Mark::Circle(centre, radius, pen, tone) => circle(surface, *centre, *radius, *pen, *tone),
                Mark::Text(at, line) => self.text(surface, *at, line),
                Mark::Within(frame, marks) => {
                    let Some(path) = rect(*frame).and_then(|rect| {
                        let mut builder = PathBuilder::new();
                        builder.push_rect(rect);
                        builder.finish()
                    }) else {
                        continue;
                    };
                    surface.push_clip_path(&path, &FillRule::NonZero);
                    self.marks(surface, marks);
                    surface.pop();
                }
            }
        }
    }

    fn path(&self, surface: &mut Surface<'_>, points: &[Point], close: bool, pen: Option<(Pen, Tone)>, inside: Option<Tone>) {
        let mut builder = PathBuilder::new();
        for (i, (x, y)) in points.iter().enumerate() {
            if i == 0 {
                builder.move_to(single(*x), single(*y));
            } else {
                builder.line_to(single(*x), single(*y));
            }
        }
        if close {
            builder.close();
        }
        // A path of no extent has no ink; the library gives none, and nothing is lost.
        if let Some(path) = builder.finish() {
            surface.set_stroke(pen.map(|(pen, tone)| stroke(pen, tone)));
            surface.set_fill(inside.map(fill));
            surface.draw_path(&path);
        }
    }

    fn text(&mut self, surface: &mut Surface<'_>, (x, y): Point, line: &Line) {
        surface.set_stroke(None);
        surface.set_fill(Some(fill(Tone::Black)));
        for run in &line.runs {
            let font = match run.weight {
                Weight::Regular => self.fonts[0].clone(),
                Weight::Strong => self.fonts[1].clone(),
            };
            let at = At::from_xy(single(x + run.x), single(y));
            surface.draw_glyphs(at, &run.glyphs, font, &run.text, single(run.size), false);
        }
    }
}

fn circle(surface: &mut Surface<'_>, (x, y): Point, radius: f64, pen: Option<Pen>, inside: Option<Tone>) {
    // Four cubic arcs, 4/3·tan(π/8) of the radius to the control points: off by less than 0.03 %.
    let k = radius * 0.552_284_75;
    let (x, y, r, k) = (single(x), single(y), single(radius), single(k));
    let mut builder = PathBuilder::new();
    builder.move_to(x + r, y);
    builder.cubic_to(x + r, y + k, x + k, y + r, x, y + r);
    builder.cubic_to(x - k, y + r, x - r, y + k, x - r, y);
    builder.cubic_to(x - r, y - k, x - k, y - r, x, y - r);
    builder.cubic_to(x + k, y - r, x + r, y - k, x + r, y);
    builder.close();
    if let Some(path) = builder.finish() {
        surface.set_stroke(pen.map(|p| stroke(p, Tone::Black)));
        surface.set_fill(inside.map(fill));
        surface.draw_path(&path);
    }
}

fn shade(tone: Tone) -> luma::Color {
    luma::Color::new(match tone {
        Tone::Black => 0,
        Tone::Grey => 110,
        Tone::Pale => 222,
        Tone::White => 255,
    })
}

fn fill(tone: Tone) -> Fill {
    Fill { paint: shade(tone).into(), ..Fill::default() }
}

fn stroke(pen: Pen, tone: Tone) -> Stroke {
    let dash = (pen == Pen::Dashed).then(|| StrokeDash { array: vec![4.0, 2.5], offset: 0.0 });
    let width = if pen == Pen::Strong { 1.6 } else { 0.6 };
    Stroke { paint: shade(tone).into(), width, line_cap: LineCap::Butt, line_join: LineJoin::Round, dash, ..Stroke::default() }
}
