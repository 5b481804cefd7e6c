//! A sheet as PNG.

use super::canvas::{Anchor, Canvas, Ink, Item, Line, Pen};
use super::lettering;
use crate::geom::Point;
use tiny_skia::{FillRule, LineCap, LineJoin, Paint, PathBuilder, Pixmap, Stroke, StrokeDash, Transform};

/// Pixels per mm of the sheet: 203 dpi, as fine as an office printer shows.
const PIXELS_PER_MM: f64 = 8.0;

/// The drawing as the bytes of a PNG file.
///
/// Lettering is drawn with strokes, so that no font is needed: Latin letters,
/// figures and the signs that towpath writes; a box stands for anything else.
/// `None` where the sheet has no size.
pub(super) fn png(canvas: &Canvas) -> Option<Vec<u8>> {
    let [w, h] = canvas.size_mm.map(pixels);
    let mut pixmap = Pixmap::new(w, h)?;
    pixmap.fill(colour(Ink::Paper));
    for item in &canvas.items {
        match item {
            Item::Fill { lines, ink } => {
                if let Some(path) = path(lines) {
                    let paint = paint(*ink);
                    pixmap.fill_path(&path, &paint, FillRule::EvenOdd, scale(), None);
                }
            }
            Item::Stroke { lines, pen } => stroke(&mut pixmap, lines, pen, LineCap::Butt),
            Item::Text { at, height_mm, anchor, ink, text } => {
                let width = lettering::width(text) * height_mm;
                let x = match anchor {
                    Anchor::Start => at.x,
                    Anchor::Middle => at.x - 0.5 * width,
                };
                let lines = lettering::lines(text, Point::new(x, at.y), *height_mm);
                let pen = Pen::full(height_mm * lettering::PEN, *ink);
                stroke(&mut pixmap, &lines, &pen, LineCap::Round);
            }
        }
    }
    pixmap.encode_png().ok()
}

fn stroke(pixmap: &mut Pixmap, lines: &[Line], pen: &Pen, line_cap: LineCap) {
    let Some(path) = path(lines) else { return };
    let dashes: Vec<f32> = pen.dashes.iter().map(|d| single(*d)).collect();
    let stroke = Stroke {
        width: single(pen.width_mm),
        line_cap,
        line_join: LineJoin::Round,
        dash: if dashes.is_empty() { None } else { StrokeDash::new(dashes, 0.0) },
        ..Stroke::default()
    };
    pixmap.stroke_path(&path, &paint(pen.ink), &stroke, scale(), None);
}

fn scale() -> Transform {
    Transform::from_scale(single(PIXELS_PER_MM), single(PIXELS_PER_MM))
}

fn path(lines: &[Line]) -> Option<tiny_skia::Path> {
    let mut builder = PathBuilder::new();
    for line in lines {
        for (i, p) in line.points.iter().enumerate() {
            let (x, y) = (single(p.x), single(p.y));
            if i == 0 { builder.move_to(x, y) } else { builder.line_to(x, y) }
        }
        if line.closed {
            builder.close();
        }
    }
    builder.finish()
}

fn paint(ink: Ink) -> Paint<'static> {
    let mut paint = Paint { anti_alias: true, ..Paint::default() };
    paint.set_color(colour(ink));
    paint
}

fn colour(ink: Ink) -> tiny_skia::Color {
    let [r, g, b] = ink.rgb();
    tiny_skia::Color::from_rgba8(r, g, b, 255)
}

#[expect(clippy::cast_possible_truncation, reason = "pixels: seven digits are plenty")]
fn single(v: f64) -> f32 {
    v as f32
}

#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "clamped to 1..=20000")]
fn pixels(mm: f64) -> u32 {
    (mm * PIXELS_PER_MM).round().clamp(1.0, 20_000.0) as u32
}
