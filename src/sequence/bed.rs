//! Where the copies of the part stand on the bed.

use crate::count::f64_of;
use crate::diagnostic::{Diagnostic, Outcome};
use crate::geom::{Bounds, Point, pt};
use crate::job::{Head, Job, place_of};
use crate::outline::Outline;

/// One placement per copy: machine xy = part xy + placement. The copies stand in
/// rows, the whole block in the middle of the bed.
///
/// Errors: `bed-full` (too large, or too many), `out-of-reach`.
pub(super) fn placements(job: &Job, outline: &Outline) -> Outcome<Vec<Point>> {
    let Some(part) = Bounds::of(outline.layers.iter().flat_map(|l| l.outline.rings()).flatten().copied())
    else {
        return Ok(vec![pt(0.0, 0.0)]);
    };
    let [x0, y0, x1, y1] = usable(job);
    let (size, gap) = (part.size(), gap(job));
    let [across, along] = grid(job, size);
    let most = across * along;
    if job.copies > most {
        let what = if most == 0 {
            format!(
                "the part is {:.1} x {:.1} mm, printer `{}` has room for {:.1} x {:.1} mm that both heads reach",
                size.x,
                size.y,
                job.printer.name,
                (x1 - x0).max(0.0),
                (y1 - y0).max(0.0)
            )
        } else {
            format!(
                "{} copies do not fit on the bed of printer `{}`, at most {most} do",
                job.copies, job.printer.name
            )
        };
        let mut d = Diagnostic::error("bed-full", what);
        // of the part where there is no room for one, of the copies asked for elsewhere
        d.place = if most == 0 { Some(job.outline.place.clone()) } else { place_of(job, "build", "copies") };
        if most > 0 {
            d = d.help(format!("set `[build] copies` to {most} or less"));
            let turned = most_turned(job, outline);
            if turned > most {
                d = d.help(format!("{turned} fit if you turn the outline and its map by 90 degrees"));
            }
        } else {
            if let Some((word, mm)) = unit_told(outline) {
                let as_mm = size * (1.0 / mm);
                d = d.help(format!(
                    "the drawing says that its unit is {word}, of {mm} mm ($INSUNITS): drawn in mm it would be {:.1} x {:.1} mm, and `$INSUNITS` 4",
                    as_mm.x, as_mm.y
                ));
            }
            d = d.help("turn the part, divide it, or choose a larger printer");
        }
        return Err(d.into());
    }
    let columns = across.min(job.copies);
    let rows = job.copies.div_ceil(columns.max(1));
    let block = pt(f64_of(columns) * (size.x + gap) - gap, f64_of(rows) * (size.y + gap) - gap);
    // whole micrometres: a placement is written into the plan and added by readers
    let round = |v: f64| (v * 1000.0).round() / 1000.0;
    let corner = pt(x0 + 0.5 * (x1 - x0 - block.x), y0 + 0.5 * (y1 - y0 - block.y));
    let placements: Vec<Point> = (0..job.copies)
        .map(|k| {
            let (i, j) = (k % columns, k / columns);
            let at = corner + pt(f64_of(i) * (size.x + gap), f64_of(j) * (size.y + gap)) - part.lo;
            pt(round(at.x), round(at.y))
        })
        .collect();
    let top = outline.layers.iter().map(crate::outline::Layer::z_top_mm).fold(0.0, f64::max);
    let highest = top + job.printer.clearance.travel_lift_mm;
    for head in [Head::Matrix, Head::Fibre] {
        let [lo, hi] = job.printer.head(head).reach_mm[2];
        if highest > hi || lo > 0.0 {
            return Err(Diagnostic::error(
                "out-of-reach",
                format!(
                    "the part is {top:.2} mm high and travels lift to {highest:.2} mm, the {} head of printer `{}` reaches z {lo:.1} to {hi:.1} mm",
                    head.word(),
                    job.printer.name
                ),
            )
            .help("divide the part, or choose a taller printer")
            .into());
        }
    }
    Ok(placements)
}

/// The unit that a drawing says itself, in a word, where it is none of mm.
fn unit_told(outline: &Outline) -> Option<(&'static str, f64)> {
    let mm = outline.own_unit_mm.filter(|mm| (mm - 1.0).abs() > 1e-9)?;
    let words = [(25.4, "inch"), (304.8, "foot"), (10.0, "cm"), (100.0, "dm"), (1000.0, "m")];
    let word = words.iter().find(|(is, _)| (is - mm).abs() < 1e-9).map_or("another one", |(_, word)| word);
    Some((word, mm))
}

/// Whether the job's copies have room on the bed and height enough.
///
/// Errors: `bed-full`, `out-of-reach`.
pub fn fits(job: &Job, outline: &Outline) -> Outcome<()> {
    placements(job, outline).map(drop)
}

/// The most copies of a part that the bed takes; 0 where not even one fits.
pub fn most_copies(job: &Job, outline: &Outline) -> usize {
    let points = outline.layers.iter().flat_map(|l| l.outline.rings()).flatten().copied();
    Bounds::of(points).map_or(0, |part| grid(job, part.size()).into_iter().product())
}

/// As [`most_copies`], if the outline and its map were turned by a quarter: copies are
/// not turned by themselves, since the program's fibre directions are those of the map.
pub fn most_turned(job: &Job, outline: &Outline) -> usize {
    let points = outline.layers.iter().flat_map(|l| l.outline.rings()).flatten().copied();
    let turned = |part: Bounds| pt(part.size().y, part.size().x);
    Bounds::of(points).map_or(0, |part| grid(job, turned(part)).into_iter().product())
}

/// Between two copies, mm: what the printer asks for, and where perimeters are thinner than half
/// a tow no less than keeps ends of courses a tow's width apart.
fn gap(job: &Job) -> f64 {
    let apart = job.tow.width_mm - 2.0 * job.beads.perimeters_mm();
    if job.map.is_some() { job.printer.copy_gap_mm.max(apart) } else { job.printer.copy_gap_mm }
}

/// How many parts of a size stand side by side, in x and in y.
fn grid(job: &Job, size: Point) -> [usize; 2] {
    let [x0, y0, x1, y1] = usable(job);
    let gap = gap(job);
    [count((x1 - x0 + gap) / (size.x + gap)), count((y1 - y0 + gap) / (size.y + gap))]
}

/// The part of the bed that both heads reach: x0, y0, x1, y1, mm, machine coordinates.
pub(crate) fn usable(job: &Job) -> [f64; 4] {
    let [mut x0, mut y0, mut x1, mut y1] = job.printer.bed_mm;
    for head in [Head::Matrix, Head::Fibre] {
        let [x, y, _] = job.printer.head(head).reach_mm;
        x0 = x0.max(x[0]);
        x1 = x1.min(x[1]);
        y0 = y0.max(y[0]);
        y1 = y1.min(y[1]);
    }
    [x0, y0, x1, y1]
}

fn count(v: f64) -> usize {
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a bed holds few parts")]
    let n = (v + 1e-9).floor().clamp(0.0, 1e6) as usize;
    n
}
