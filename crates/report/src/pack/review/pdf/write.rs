//! Sheets written as PDF: drawn, tagged, with an outline, a title and a language.

use std::num::NonZeroU16;

use krilla::annotation::{Annotation, LinkAnnotation, Target};
use krilla::color::rgb;
use krilla::destination::XyzDestination;
use krilla::geom::{Path, PathBuilder, Point, Rect, Transform};
use krilla::metadata::Metadata;
use krilla::num::NormalizedF32;
use krilla::outline::{Outline, OutlineNode};
use krilla::page::PageSettings;
use krilla::paint::{Fill, Stroke, StrokeDash};
use krilla::surface::Surface;
use krilla::tagging::{
    Artifact, ArtifactType, ContentTag, Identifier, ListNumbering, Node as TagNode,
    TableHeaderScope, Tag, TagGroup, TagKind, TagTree,
};
use krilla::text::{Font, GlyphId, KrillaGlyph};
use krilla::{Document, SerializeSettings};

use super::super::model::Report;
use super::PdfError;
use super::face::Face;
use super::flow::{Flow, Ink, Item, Mark, Role};
use super::lay::{LEFT_PT, SHEET_PT, SMALL, WIDTH_PT};
use super::lines::{Line, Run, Style, broken, shortened, widths_pt};
use crate::picture::{Align, Drawn, Rgb, Shape};

/// The language of every report.
const LANGUAGE: &str = "en";
/// What a strong letter is thickened by, and any other, as a share of the size.
const STRONG_EM: f32 = 0.034;
const LIGHT_EM: f32 = 0.008;

struct Fonts {
    text: Font,
    even: Font,
}

impl Fonts {
    fn new() -> Fonts {
        let of =
            |face: Face| Font::new(face.bytes().into(), 0).expect("the embedded typeface is sound");
        Fonts {
            text: of(Face::Text),
            even: of(Face::Even),
        }
    }

    fn of(&self, face: Face) -> Font {
        match face {
            Face::Text => self.text.clone(),
            Face::Even => self.even.clone(),
        }
    }
}

pub(super) fn bytes(report: &Report, flow: &Flow<'_>) -> Result<Vec<u8>, PdfError> {
    let mut document = Document::new_with(SerializeSettings {
        compress_content_streams: true,
        enable_tagging: true,
        xmp_metadata: true,
        ..SerializeSettings::default()
    });
    let fonts = Fonts::new();
    let mut leaves: Vec<Vec<Identifier>> = flow.nodes.iter().map(|_| Vec::new()).collect();
    let sections: Vec<&Mark> = flow.sections().collect();
    let count = flow.sheets.len();
    for (nth, sheet) in flow.sheets.iter().enumerate() {
        let settings = PageSettings::from_wh(SHEET_PT.0, SHEET_PT.1)
            .expect("a page of A4 has a width and a height");
        let mut page = document.start_page_with(settings);
        let mut surface = page.surface();
        margins(&mut surface, &fonts, report, nth + 1, count);
        // Neighbours of one part of the document are tagged together.
        for group in sheet.chunk_by(|a, b| a.of == b.of) {
            let of = group.first().and_then(|item| item.of);
            if group
                .iter()
                .all(|item| matches!(item.ink, Ink::Leads { .. }))
            {
                continue;
            }
            let tag = match of {
                Some(_) => ContentTag::Other,
                None => ContentTag::Artifact(Artifact::with_kind(ArtifactType::Other)),
            };
            let identifier = surface.start_tagged(tag);
            group
                .iter()
                .for_each(|item| draw(&mut surface, &fonts, item));
            surface.end_tagged();
            if let Some(of) = of {
                leaves[of].push(identifier);
            }
        }
        surface.finish();
        for item in sheet {
            let Ink::Leads {
                left,
                top,
                right,
                bottom,
                section,
            } = item.ink
            else {
                continue;
            };
            let (Some(mark), Some(rect)) = (
                sections.get(section),
                Rect::from_ltrb(left, top, right, bottom),
            ) else {
                continue;
            };
            let target = Target::Destination(destination(mark).into());
            let link =
                Annotation::new_link(LinkAnnotation::new(rect, target), Some(mark.text.clone()));
            let identifier = page.add_tagged_annotation(link);
            if let Some(of) = item.of {
                leaves[of].push(identifier);
            }
        }
        page.finish();
    }
    document.set_outline(outline(&flow.marks));
    document.set_tag_tree(tags(flow, leaves));
    document.set_metadata(
        Metadata::new()
            .title(report.title.clone())
            .description(format!(
                "Deployment report for a design review, of the plan {}",
                report.plan_digest
            ))
            .language(LANGUAGE.to_owned())
            .creator(report.program.clone())
            .producer(report.program.clone())
            .document_id(format!("{} {}", report.plan_digest, report.program)),
    );
    document
        .finish()
        .map_err(|error| PdfError::Unwritable(error.to_string()))
}

fn destination(mark: &Mark) -> XyzDestination {
    // A little above, so that the heading is not at the very edge of the window.
    const ABOVE_PT: f32 = 12.0;
    XyzDestination::new(mark.sheet, Point::from_xy(0.0, mark.top_pt - ABOVE_PT))
}

/// Plan and page in the margins: they are of no part of the document.
fn margins(surface: &mut Surface<'_>, fonts: &Fonts, report: &Report, nth: usize, count: usize) {
    const HEAD_PT: f32 = 36.0;
    const FOOT_PT: f32 = 812.0;
    let even = Style {
        face: Face::Even,
        size_pt: 6.0,
        ..SMALL
    };
    let right = LEFT_PT + WIDTH_PT;
    let against_right = |surface: &mut Surface<'_>, text: &str, y_pt: f32| {
        let (width_pt, _) = widths_pt(&[(text, SMALL)]);
        for line in broken(&[(text, SMALL)], f32::INFINITY) {
            line_at(surface, fonts, &line, (right - width_pt, y_pt));
        }
        width_pt
    };
    let head = Artifact::with_kind(ArtifactType::Header);
    surface.start_tagged(ContentTag::Artifact(head));
    let taken_pt = against_right(surface, "deployment report", HEAD_PT);
    let title = shortened(&report.title, SMALL, WIDTH_PT - taken_pt - 20.0);
    line_at(surface, fonts, &title, (LEFT_PT, HEAD_PT));
    surface.end_tagged();
    let foot = Artifact::with_kind(ArtifactType::Footer);
    surface.start_tagged(ContentTag::Artifact(foot));
    let taken_pt = against_right(surface, &format!("page {nth} of {count}"), FOOT_PT);
    let room_pt = WIDTH_PT - taken_pt - 20.0;
    let of = format!("plan {}   {}", report.plan_digest, report.program);
    line_at(
        surface,
        fonts,
        &shortened(&of, even, room_pt),
        (LEFT_PT, FOOT_PT),
    );
    surface.end_tagged();
}

fn draw(surface: &mut Surface<'_>, fonts: &Fonts, item: &Item<'_>) {
    match &item.ink {
        Ink::Line { line, at } => line_at(surface, fonts, line, *at),
        Ink::Fill {
            left,
            top,
            right,
            bottom,
            colour,
        } => fill(surface, [*left, *top, *right, *bottom], *colour),
        Ink::Picture { drawn, at, scale } => picture(surface, fonts, drawn, *at, *scale),
        Ink::Leads { .. } => {}
    }
}

fn line_at(surface: &mut Surface<'_>, fonts: &Fonts, line: &Line, (left, base): (f32, f32)) {
    for run in &line.runs {
        run_at(surface, fonts, run, (left + run.left_pt, base));
    }
}

fn run_at(surface: &mut Surface<'_>, fonts: &Fonts, run: &Run, (left, base): (f32, f32)) {
    let Style {
        size_pt,
        strong,
        colour,
        ..
    } = run.style;
    let Some(first) = run.letters.first() else {
        return;
    };
    let text: String = run.letters.iter().map(|l| l.c).collect();
    let mut at = 0;
    let glyphs: Vec<KrillaGlyph> = run
        .letters
        .iter()
        .map(|letter| {
            let from = at;
            at += letter.c.len_utf8();
            KrillaGlyph::new(
                GlyphId::new(u32::from(letter.glyph)),
                letter.advance_em,
                0.0,
                0.0,
                0.0,
                from..at,
                None,
            )
        })
        .collect();
    let thick_em = match (strong, first.face) {
        (true, _) => STRONG_EM,
        (false, Face::Text) => LIGHT_EM,
        (false, Face::Even) => 0.0,
    };
    surface.set_fill(Some(paint(colour)));
    surface.set_stroke((thick_em > 0.0).then(|| Stroke {
        paint: rgb_of(colour).into(),
        width: thick_em * size_pt,
        ..Stroke::default()
    }));
    let font = fonts.of(first.face);
    surface.draw_glyphs(
        Point::from_xy(left, base),
        &glyphs,
        font,
        &text,
        size_pt,
        false,
    );
    surface.set_stroke(None);
}

fn rgb_of([red, green, blue]: Rgb) -> rgb::Color {
    rgb::Color::new(red, green, blue)
}

fn paint(colour: Rgb) -> Fill {
    Fill {
        paint: rgb_of(colour).into(),
        opacity: NormalizedF32::ONE,
        ..Fill::default()
    }
}

fn fill(surface: &mut Surface<'_>, [left, top, right, bottom]: [f32; 4], colour: Rgb) {
    let mut path = PathBuilder::new();
    // What has no area shows nothing.
    let Some(rect) = Rect::from_ltrb(left, top, right, bottom) else {
        return;
    };
    path.push_rect(rect);
    let Some(path) = path.finish() else { return };
    surface.set_stroke(None);
    surface.set_fill(Some(paint(colour)));
    surface.draw_path(&path);
}

/// The shapes of a picture, its left upper corner there.
fn picture(surface: &mut Surface<'_>, fonts: &Fonts, drawn: &Drawn, at: (f32, f32), scale: f32) {
    surface.push_transform(&Transform::from_row(scale, 0.0, 0.0, scale, at.0, at.1));
    for shape in &drawn.shapes {
        match shape {
            Shape::Fill { area, colour } => {
                let sides = [area.left, area.top, area.right, area.bottom];
                fill(surface, sides.map(|side| side as f32), *colour);
            }
            Shape::Line {
                points,
                colour,
                width_px,
                dashes_px,
            } => {
                let Some(path) = path_of(points) else {
                    continue;
                };
                surface.set_fill(None);
                surface.set_stroke(Some(Stroke {
                    paint: rgb_of(*colour).into(),
                    width: *width_px,
                    dash: (!dashes_px.is_empty()).then(|| StrokeDash {
                        array: dashes_px.to_vec(),
                        offset: 0.0,
                    }),
                    ..Stroke::default()
                }));
                surface.draw_path(&path);
                surface.set_stroke(None);
            }
            Shape::Image {
                at: (left, top),
                width_px,
                pixels,
            } => {
                for (y, row) in pixels.chunks((*width_px).max(1)).enumerate() {
                    let top = *top as f32 + y as f32;
                    let mut left = *left as f32;
                    for same in row.chunk_by(|a, b| a == b) {
                        let right = left + same.len() as f32;
                        fill(surface, [left, top, right, top + 1.0], same[0]);
                        left = right;
                    }
                }
            }
            Shape::Text {
                text,
                at: (x, base),
                size_px,
                align,
                colour,
            } => {
                let style = Style {
                    face: Face::Even,
                    size_pt: *size_px,
                    strong: false,
                    colour: *colour,
                };
                let (width, _) = widths_pt(&[(text, style)]);
                let left = *x as f32
                    - match align {
                        Align::Left => 0.0,
                        Align::Centre => 0.5 * width,
                        Align::Right => width,
                    };
                for line in broken(&[(text, style)], f32::INFINITY) {
                    line_at(surface, fonts, &line, (left, *base as f32));
                }
            }
        }
    }
    surface.pop();
}

fn path_of(points: &[(f64, f64)]) -> Option<Path> {
    let mut path = PathBuilder::new();
    let (first, rest) = points.split_first()?;
    path.move_to(first.0 as f32, first.1 as f32);
    for point in rest {
        path.line_to(point.0 as f32, point.1 as f32);
    }
    path.finish()
}

/// Sections, each with its parts below it.
fn outline(marks: &[Mark]) -> Outline {
    let mut outline = Outline::new();
    let mut section: Option<OutlineNode> = None;
    for mark in marks {
        let node = OutlineNode::new(mark.text.clone(), destination(mark));
        match (&mut section, mark.level) {
            (Some(section), 3) => section.push_child(node),
            (open, _) => {
                if let Some(done) = open.replace(node) {
                    outline.push_child(done);
                }
            }
        }
    }
    if let Some(last) = section {
        outline.push_child(last);
    }
    outline
}

fn tags(flow: &Flow<'_>, leaves: Vec<Vec<Identifier>>) -> TagTree {
    let mut groups: Vec<Option<TagGroup>> = flow
        .nodes
        .iter()
        .zip(leaves)
        .map(|(node, leaves)| {
            let children = leaves.into_iter().map(TagNode::from).collect();
            Some(TagGroup::with_children(kind(&node.role), children))
        })
        .collect();
    // A part stands behind what it is within, so from the last up each is whole when it is put there.
    let mut below: Vec<Vec<TagGroup>> = flow.nodes.iter().map(|_| Vec::new()).collect();
    let mut top = Vec::new();
    for nth in (0..flow.nodes.len()).rev() {
        let Some(mut group) = groups[nth].take() else {
            continue;
        };
        let parts = std::mem::take(&mut below[nth]);
        parts.into_iter().rev().for_each(|part| group.push(part));
        match flow.nodes[nth].within {
            Some(within) => below[within].push(group),
            None => top.push(group),
        }
    }
    let mut tree = TagTree::new().with_lang(Some(LANGUAGE.to_owned()));
    top.into_iter().rev().for_each(|group| tree.push(group));
    tree
}

fn kind(role: &Role) -> TagKind {
    match role {
        Role::Heading(level, text) => {
            let level = NonZeroU16::new(u16::from(*level)).unwrap_or(NonZeroU16::MIN);
            Tag::Hn(level, Some(text.clone())).into()
        }
        Role::Paragraph => Tag::P.into(),
        Role::Contents => Tag::TOC.into(),
        Role::Entry => Tag::TOCI.into(),
        Role::Link => Tag::Link.into(),
        Role::List => Tag::L(ListNumbering::None).into(),
        Role::Member => Tag::LI.into(),
        Role::Body => Tag::LBody.into(),
        Role::Printed => Tag::Code.into(),
        Role::Table => Tag::Table.into(),
        Role::Row => Tag::TR.into(),
        Role::ColumnHead => Tag::TH(TableHeaderScope::Column).into(),
        Role::RowHead => Tag::TH(TableHeaderScope::Row).into(),
        Role::Cell => Tag::TD.into(),
        Role::Picture(about) => Tag::Figure(Some(about.clone())).into(),
    }
}
