//! A layer as an engineering drawing: a sheet with frame, title block, scale bar
//! and legend.

use super::canvas::{Anchor, CENTRE, Canvas, DASHED, Ink, Item, Line, Pen};
use super::sheet::{self, Detail, FINE_MM, NARROW_MM, View};
use super::svg::Colours;
use super::{Work, lettering, png, svg};
use crate::count::f64_of;
use crate::diagnostic::counted;
use crate::geom::{Bounds, Point, pt};
use crate::job::Job;
use crate::reinforcement::LeftOut;

/// How a picture is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Format {
    /// Lines and lettering, A4.
    Svg,
    /// 8 pixels a mm.
    Png,
}

impl Format {
    /// The format that a file name asks for.
    pub fn of(name: &std::path::Path) -> Option<Self> {
        let ending = name.extension()?.to_str()?.to_ascii_lowercase();
        match ending.as_str() {
            "svg" => Some(Self::Svg),
            "png" => Some(Self::Png),
            _ => None,
        }
    }
}

/// What the title block says of who drew it.
const DRAWN_BY: &str = "drawn by";

/// A text is an SVG that no picture of a layer is: somebody's drawing.
pub fn is_other_drawing(text: &str) -> bool {
    text.contains("<svg") && !text.contains(&format!(">{DRAWN_BY}<"))
}

/// Layer `index` (from 0) of a planned job as the bytes of a picture file; empty
/// where the part has no such layer.
pub fn picture(job: &Job, work: &Work, left_out: &[LeftOut], index: usize, format: Format) -> Vec<u8> {
    let Some(canvas) = drawing(job, work, left_out, index) else { return Vec::new() };
    match format {
        Format::Svg => svg::svg(&canvas, Colours::Own).into_bytes(),
        Format::Png => png::png(&canvas).unwrap_or_default(),
    }
}

/// A4, long and short side, mm.
const A4: [f64; 2] = [297.0, 210.0];

/// Frame: filing margin at the left and the other margins, mm, as ISO 5457.
const MARGINS: [f64; 2] = [20.0, 10.0];

/// Width and height of the title block, mm: 180 as in ISO 7200.
const BLOCK: [f64; 2] = [180.0, 30.0];

/// Room that the drawing keeps from frame and title block, mm.
const CLEAR: f64 = 9.0;

/// Scales of ISO 5455, and the next ones in its series: sheet to part.
const SCALES: &[(f64, &str)] = &[
    (100.0, "100:1"),
    (50.0, "50:1"),
    (20.0, "20:1"),
    (10.0, "10:1"),
    (5.0, "5:1"),
    (2.0, "2:1"),
    (1.0, "1:1"),
    (0.5, "1:2"),
    (0.2, "1:5"),
    (0.1, "1:10"),
    (0.05, "1:20"),
    (0.02, "1:50"),
    (0.01, "1:100"),
];

/// Height that scale bar and axes take at the head of a sheet, and the longest legend above
/// the title block, mm.
const HEADING: f64 = 17.0;
const LEGEND: f64 = 37.0;

/// There is room for the legend beside the title block.
fn beside_block(frame: [Point; 2]) -> bool {
    frame[1].x - BLOCK[0] - frame[0].x > 60.0
}

/// Where things stand on a sheet.
struct Layout {
    size: [f64; 2],
    frame: [Point; 2],
    scale: f64,
    scale_word: &'static str,
    centre: Point,
}

impl Layout {
    /// The sheet, upright or lying, on which the part is largest.
    fn of(part: Point) -> Self {
        let [lying, upright] = [A4, [A4[1], A4[0]]].map(|size| Self::on(size, part));
        if upright.scale > lying.scale { upright } else { lying }
    }

    fn on(size: [f64; 2], part: Point) -> Self {
        let [left, other] = MARGINS;
        let frame = [pt(left, other), pt(size[0] - other, size[1] - other)];
        let low = frame[1].y - BLOCK[1];
        let room = pt(frame[1].x - frame[0].x - 2.0 * CLEAR, low - frame[0].y - 2.0 * CLEAR);
        let fits = |s: f64| part.x * s <= room.x && part.y * s <= room.y;
        let (scale, scale_word) =
            SCALES.iter().copied().find(|(s, _)| fits(*s)).unwrap_or(SCALES[SCALES.len() - 1]);
        // between scale bar and legend where there is room, else as far from them as it goes
        let legend = if beside_block(frame) { 0.0 } else { LEGEND };
        let half = 0.5 * part.y * scale;
        let (top, bottom) = (frame[0].y + CLEAR + half, low - CLEAR - half);
        let between = 0.5 * (frame[0].y + HEADING + low - legend);
        let y = if top <= bottom { between.clamp(top, bottom) } else { 0.5 * (frame[0].y + low) };
        let centre = pt(0.5 * (frame[0].x + frame[1].x), y);
        Self { size, frame, scale, scale_word, centre }
    }
}

/// The sheet of a layer; `None` where there is no such layer.
fn drawing(job: &Job, work: &Work, left_out: &[LeftOut], index: usize) -> Option<Canvas> {
    let layer = work.outline.layers.get(index)?;
    let nothing = Bounds { lo: Point::default(), hi: pt(1.0, 1.0) };
    let bounds = sheet::part_bounds(work).unwrap_or(nothing);
    let layout = Layout::of(bounds.size());
    let title = format!("{}, layer {} of {}", job.name, layer.number, work.outline.layers.len());
    let mut canvas = Canvas { size_mm: layout.size, title, items: Vec::new() };
    let view = View { centre: bounds.centre(), on_sheet: layout.centre, scale: layout.scale };
    sheet::draw(&mut canvas, job, work, left_out, index, view, Detail::Whole);
    furniture(&mut canvas, &layout, bounds);
    block(&mut canvas, &layout, job, work, index);
    legend(
        &mut canvas,
        &layout,
        left_out.iter().any(|l| l.layer == layer.number && l.mark().is_some()),
        sheet::edges_below(work, index, view.scale).is_some(),
        cut_row(job, work, index),
        work.program.courses.get(index).is_some_and(|c| c.iter().any(|l| l.course.trail.is_some())),
    );
    Some(canvas)
}

/// Frame, scale bar, axes.
fn furniture(canvas: &mut Canvas, layout: &Layout, bounds: Bounds) {
    let [lo, hi] = layout.frame;
    canvas.rectangle(lo, hi, Pen::full(0.7, Ink::Line));
    // a bar of 20 to 50 mm on the sheet, a round number of mm in the part
    let length =
        [0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0, 500.0, 1000.0, 2000.0, 5000.0]
            .into_iter()
            .find(|l| l * layout.scale >= 20.0)
            .unwrap_or(5000.0);
    let (at, w) = (pt(lo.x + 4.0, lo.y + 6.5), length * layout.scale);
    let half = |from: f64, to: f64| Line {
        points: vec![at + pt(from, 0.0), at + pt(to, 0.0), at + pt(to, 1.5), at + pt(from, 1.5)],
        closed: true,
    };
    canvas.items.push(Item::Fill { lines: vec![half(0.0, 0.5 * w)], ink: Ink::Line });
    canvas.stroke(vec![half(0.0, w)], Pen::full(0.18, Ink::Line));
    for (share, text) in [(0.0, "0".to_owned()), (0.5, (0.5 * length).to_string()), (1.0, length.to_string())]
    {
        canvas.text(at + pt(share * w, -1.2), 1.8, Anchor::Middle, text);
    }
    canvas.note(at + pt(w + 3.0, 1.5), 1.8, "mm");
    // where x and y count from
    let (o, reach) = (pt(hi.x - 16.0, lo.y + 14.0), 9.0);
    for (tip, wing, name) in [(pt(reach, 0.0), pt(0.0, 0.7), "x"), (pt(0.0, -reach), pt(0.7, 0.0), "y")] {
        canvas.line(&[o, o + tip], Pen::full(NARROW_MM, Ink::Line));
        let back = o + tip * 0.75;
        let head = Line { points: vec![o + tip, back + wing, back - wing], closed: true };
        canvas.items.push(Item::Fill { lines: vec![head], ink: Ink::Line });
        canvas.text(o + tip * 1.2 + pt(0.0, 0.9), 1.8, Anchor::Middle, name);
    }
    let (a, b) = (bounds.lo, bounds.hi);
    canvas.items.push(Item::Text {
        // outside the frame, where no part is
        at: pt(lo.x, hi.y + 3.5),
        height_mm: 1.5,
        anchor: Anchor::Start,
        ink: Ink::Thin,
        text: format!("part x {:.1} to {:.1}, y {:.1} to {:.1}", a.x, b.x, a.y, b.y),
    });
}

/// The title block: fields with their names, as ISO 7200 asks for.
fn block(canvas: &mut Canvas, layout: &Layout, job: &Job, work: &Work, index: usize) {
    let hi = layout.frame[1];
    let at = pt(hi.x - BLOCK[0], hi.y - BLOCK[1]);
    let Some(layer) = work.outline.layers.get(index) else { return };
    canvas.items.push(Item::Fill {
        lines: vec![Line { points: vec![at, pt(hi.x, at.y), hi, pt(at.x, hi.y)], closed: true }],
        ink: Ink::Paper,
    });
    canvas.rectangle(at, hi, Pen::full(0.7, Ink::Line));
    let laid = work.program.courses.get(index).map_or(&[][..], Vec::as_slice);
    // an empty sum is -0, which would be written so
    let tow = laid.iter().map(|l| l.course.length_mm()).sum::<f64>() + 0.0;
    let beads = work.beads.get(index).map_or(0, |b| b.beads.len());
    let job_file = job.inputs.iter().find(|i| i.role == "job");
    let hash: String = job_file.map(|i| i.sha256.chars().take(12).collect()).unwrap_or_default();
    let rows: [&[(f64, &str, String)]; 3] = [
        &[
            (98.0, "part", job.name.clone()),
            (40.0, "layer", format!("{} of {}", layer.number, work.outline.layers.len())),
            (42.0, "z, mm", format!("{:.2} – {:.2}", layer.z_bottom_mm, layer.z_top_mm())),
        ],
        &[
            (60.0, "tow", job.tow.name.clone()),
            (38.0, "matrix", job.matrix.name.clone()),
            (40.0, "printer", job.printer.name.clone()),
            (42.0, "scale", format!("{} at A4", layout.scale_word)),
        ],
        &[
            (60.0, "tow in this layer", format!("{:.2} m, {}", tow / 1000.0, counted(laid.len(), "course"))),
            (38.0, "beads", beads.to_string()),
            (40.0, "job, sha256", hash),
            (42.0, DRAWN_BY, format!("towpath {}", env!("CARGO_PKG_VERSION"))),
        ],
    ];
    let heights = [12.0, 9.0, 9.0];
    let mut y = at.y;
    for (row, height) in rows.iter().zip(heights) {
        let mut x = at.x;
        for (i, (width, name, value)) in row.iter().enumerate() {
            if i > 0 {
                canvas.line(&[pt(x, y), pt(x, y + height)], Pen::full(NARROW_MM, Ink::Line));
            }
            canvas.note(pt(x + 1.5, y + 3.0), 1.4, *name);
            let size = if height > 10.0 { 3.2 } else { 2.3 };
            canvas.text(
                pt(x + 1.5, y + height - 2.0),
                size,
                Anchor::Start,
                fitted(value, (width - 3.0) / size),
            );
            x += width;
        }
        y += height;
        if y < hi.y - 0.1 {
            canvas.line(&[pt(at.x, y), pt(hi.x, y)], Pen::full(NARROW_MM, Ink::Line));
        }
    }
}

/// A text that fits its field, `room` heights of a capital wide.
fn fitted(text: &str, room: f64) -> String {
    if lettering::width(text) <= room {
        return text.to_owned();
    }
    let mut short: Vec<char> = text.chars().collect();
    while short.pop().is_some() {
        let text: String = short.iter().chain(['…'].iter()).collect();
        if lettering::width(&text) <= room {
            return text;
        }
    }
    String::new()
}

/// What the bars across courses mean; nothing where there is none. The tow is whole there: what
/// the blade parts lies at the cutter, and is laid behind it.
fn cut_row(job: &Job, work: &Work, index: usize) -> Option<String> {
    let any = work.program.courses.get(index).is_some_and(|c| !c.is_empty());
    any.then(|| format!("{CUT}: the end lies {} mm on", job.printer.cutter_to_nozzle_mm))
}

/// How that begins.
const CUT: &str = "blade cuts here";

/// What the lines mean, at the left of the title block or above it.
fn legend(
    canvas: &mut Canvas,
    layout: &Layout,
    crosses: bool,
    has_below: bool,
    cut: Option<String>,
    trails: bool,
) {
    let [lo, hi] = layout.frame;
    let beside = beside_block(layout.frame);
    let cut = cut.unwrap_or_default();
    let mut rows = vec!["tow, true width; start"];
    if !cut.is_empty() {
        rows.push(&cut);
    }
    rows.extend(["beads", "outline"]);
    if trails {
        rows.push("nozzle's way; the tow trails");
    }
    if has_below {
        rows.push("edge of the layer below");
    }
    rows.push("centre line");
    if crosses {
        rows.push("tow left out");
    }
    let tall = f64_of(rows.len()) * 4.4;
    let low = if beside { hi.y - 2.0 } else { hi.y - BLOCK[1] - 2.0 };
    let mut at = pt(lo.x + 4.0, low - tall + 2.2);
    for row in rows {
        let (a, b) = (at, at + pt(14.0, 0.0));
        match row {
            "beads" => {
                for dy in [-0.75, 0.75] {
                    let (a, b) = (a + pt(0.0, dy), b + pt(0.0, dy));
                    canvas.line(&[a, b], Pen::full(1.5, Ink::Bead));
                    canvas.line(&[a, b], Pen::full(1.5 - 2.0 * FINE_MM, Ink::Part));
                }
            }
            "nozzle's way; the tow trails" => {
                canvas.line(&[a, b], Pen::full(2.4, Ink::Tow));
                canvas.line(&[a, b], Pen::full(2.4 * sheet::WAY_MM, Ink::Part));
                canvas.line(&[a, b], Pen::full(sheet::WAY_MM, Ink::Line));
            }
            "outline" => canvas.line(&[a, b], Pen::full(0.5, Ink::Line)),
            "edge of the layer below" => {
                canvas.line(&[a, b], Pen { width_mm: NARROW_MM, ink: Ink::Thin, dashes: DASHED });
            }
            "centre line" => canvas.line(&[a, b], Pen { width_mm: 0.18, ink: Ink::Thin, dashes: CENTRE }),
            "tow left out" => sheet::cross(canvas, a.lerp(b, 0.5), 1.0),
            _ => {
                canvas.line(&[a, b], Pen::full(2.4, Ink::Tow));
                if row.starts_with(CUT) {
                    let cut = b - pt(4.0, 0.0);
                    canvas.line(&[cut - pt(0.0, 1.2), cut + pt(0.0, 1.2)], Pen::full(0.18, Ink::Part));
                } else {
                    let start = sheet::dot(a + pt(1.5, 0.0), 0.7);
                    canvas.items.push(Item::Fill { lines: vec![start], ink: Ink::Part });
                }
            }
        }
        canvas.text(b + pt(2.5, 0.7), 1.6, Anchor::Start, row);
        at.y += 4.4;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_largest_scale_of_the_series_that_fits_is_taken() {
        let word = |x: f64, y: f64| Layout::of(pt(x, y)).scale_word;
        assert_eq!(word(110.0, 38.0), "2:1");
        assert_eq!(word(300.0, 100.0), "1:2");
        assert_eq!(word(3.0, 3.0), "50:1", "upright: 150 mm of 162");
        assert_eq!(word(1e9, 1.0), "1:100", "nothing is too large to be drawn at all");
        let upright = Layout::of(pt(150.0, 200.0));
        assert!(upright.size[0] < upright.size[1] && upright.scale_word == "1:1", "{}", upright.scale_word);
    }

    #[test]
    fn a_long_name_is_shortened() {
        assert_eq!(fitted("treadle link", 30.0), "treadle link");
        let short = fitted("übermäßig lang", 5.0);
        assert!(short == "über…" && lettering::width(&short) <= 5.0, "{short}");
        assert_eq!(fitted("a", 0.1), "", "no room at all");
    }
}
