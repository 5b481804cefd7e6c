//! What a drawing is made of: lines, bands and lettering on a sheet, mm from its
//! upper left corner, y down. Backends write it as SVG and as PNG.

use crate::geom::Point;

/// What a line or a surface stands for. How it looks is said once, here.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Ink {
    /// The sheet.
    Paper,
    /// The part's own surface.
    Part,
    /// Outlines, frames, lettering.
    Line,
    /// A band of tow.
    Tow,
    /// Edges of beads.
    Bead,
    /// Centre lines, hidden edges.
    Thin,
}

impl Ink {
    /// Red, green, blue.
    pub(super) fn rgb(self) -> [u8; 3] {
        match self {
            Self::Paper => [0xfb, 0xfa, 0xf5],
            Self::Part => [0xff, 0xff, 0xfd],
            Self::Line => [0x17, 0x1c, 0x24],
            Self::Tow => [0x2b, 0x33, 0x3f],
            Self::Bead => [0x9a, 0xa0, 0xa6],
            Self::Thin => [0x5c, 0x66, 0x70],
        }
    }

    /// The name that style sheets know it by.
    pub(super) fn word(self) -> &'static str {
        match self {
            Self::Paper => "paper",
            Self::Part => "part",
            Self::Line => "line",
            Self::Tow => "tow",
            Self::Bead => "bead",
            Self::Thin => "thin",
        }
    }
}

/// How a line is drawn.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Pen {
    /// Width on the sheet, mm.
    pub(super) width_mm: f64,
    /// What it stands for.
    pub(super) ink: Ink,
    /// Dash and gap in turn, mm; empty for a full line.
    pub(super) dashes: &'static [f64],
}

impl Pen {
    pub(super) fn full(width_mm: f64, ink: Ink) -> Self {
        Self { width_mm, ink, dashes: &[] }
    }
}

/// Dashed, ISO 128-2 type 02: hidden edges. Dashes and gaps for a line of
/// 0.25 mm, shortened so that short edges still show some.
pub(super) const DASHED: &[f64] = &[2.0, 0.8];

/// Long-dashed dotted, ISO 128-2 type 04: centre lines.
pub(super) const CENTRE: &[f64] = &[5.0, 0.8, 0.4, 0.8];

/// A run of points.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Line {
    /// On the sheet, mm.
    pub(super) points: Vec<Point>,
    /// The last point joins the first.
    pub(super) closed: bool,
}

/// Which point of a text stands at its place.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Anchor {
    Start,
    Middle,
}

/// Something on the sheet.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Item {
    /// Surfaces, filled even-odd.
    Fill { lines: Vec<Line>, ink: Ink },
    /// Lines.
    Stroke { lines: Vec<Line>, pen: Pen },
    /// Lettering; the place is on the base line.
    Text { at: Point, height_mm: f64, anchor: Anchor, ink: Ink, text: String },
}

/// A sheet with what is drawn on it, in order.
#[derive(Clone, Debug, Default)]
pub(super) struct Canvas {
    /// Width and height, mm.
    pub(super) size_mm: [f64; 2],
    /// What it shows, for those who do not see it.
    pub(super) title: String,
    /// First drawn first.
    pub(super) items: Vec<Item>,
}

impl Canvas {
    pub(super) fn stroke(&mut self, lines: Vec<Line>, pen: Pen) {
        if !lines.is_empty() {
            self.items.push(Item::Stroke { lines, pen });
        }
    }

    pub(super) fn line(&mut self, points: &[Point], pen: Pen) {
        self.stroke(vec![Line { points: points.to_vec(), closed: false }], pen);
    }

    pub(super) fn rectangle(&mut self, from: Point, to: Point, pen: Pen) {
        let points = vec![from, Point::new(to.x, from.y), to, Point::new(from.x, to.y)];
        self.stroke(vec![Line { points, closed: true }], pen);
    }

    pub(super) fn text(&mut self, at: Point, height_mm: f64, anchor: Anchor, text: impl Into<String>) {
        self.items.push(Item::Text { at, height_mm, anchor, ink: Ink::Line, text: text.into() });
    }

    pub(super) fn note(&mut self, at: Point, height_mm: f64, text: impl Into<String>) {
        let (anchor, ink) = (Anchor::Start, Ink::Thin);
        self.items.push(Item::Text { at, height_mm, anchor, ink, text: text.into() });
    }
}
