//! Beads against closed forms and against another polygon program: the Clipper
//! library (A. Johnson, version 6) through `geo-clipper`.
#![expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    clippy::cast_precision_loss,
    reason = "raster cells of a small part"
)]
#![expect(clippy::float_cmp, reason = "counts")]

use std::time::Instant;
use towpath::geom::{Area, Point, combine, hatch, offset, pt};
use towpath::job::{BeadPlan, Fill};
use towpath::matrix::{self, LayerBeads};

const HEIGHT: f64 = 0.2;

fn plan(width: f64, fill: Fill) -> BeadPlan {
    BeadPlan {
        perimeters: 2,
        bead_width_mm: width,
        fill,
        fill_angles_deg: vec![45.0, -45.0, 0.0, 90.0],
        fill_fraction: 1.0,
    }
}

/// Side of a raster cell, mm.
const CELL: f64 = 0.03;

/// A raster over a part: per cell how many beads cover it, and the last that did.
struct Raster {
    lo: Point,
    columns: usize,
    rows: usize,
    count: Vec<u8>,
    last: Vec<u32>,
}

impl Raster {
    fn over(outline: &Area) -> Self {
        let b = outline.bounds().unwrap();
        let lo = b.lo - pt(2.0, 2.0);
        let cells = |v: f64| (v / CELL) as usize;
        let (columns, rows) = (cells(b.size().x + 4.0), cells(b.size().y + 4.0));
        Self { lo, columns, rows, count: vec![0; columns * rows], last: vec![0; columns * rows] }
    }

    /// Calls `f` with each cell whose middle lies inside the rings (even-odd).
    fn scan(&self, rings: &[&[Point]], mut f: impl FnMut(usize)) {
        let ys = rings.iter().flat_map(|r| r.iter().map(|p| p.y));
        let (lo, hi) = ys.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), y| (l.min(y), h.max(y)));
        let cell = |v: f64| (v / CELL - 0.5).ceil().max(0.0) as usize;
        for row in cell(lo - self.lo.y)..cell(hi - self.lo.y).min(self.rows) {
            let y = self.lo.y + (row as f64 + 0.5) * CELL;
            let mut xs: Vec<f64> = Vec::new();
            for r in rings {
                for i in 0..r.len() {
                    let (a, b) = (r[i], r[(i + 1) % r.len()]);
                    if (a.y > y) != (b.y > y) {
                        xs.push(a.x + (y - a.y) / (b.y - a.y) * (b.x - a.x));
                    }
                }
            }
            xs.sort_by(f64::total_cmp);
            for c in xs.chunks_exact(2) {
                for column in cell(c[0] - self.lo.x)..cell(c[1] - self.lo.x).min(self.columns) {
                    f(row * self.columns + column);
                }
            }
        }
    }

    fn mask(&self, area: &Area) -> Vec<bool> {
        let mut m = vec![false; self.count.len()];
        let rings: Vec<&[Point]> = area.rings().collect();
        self.scan(&rings, |i| m[i] = true);
        m
    }

    /// Marks what a bead covers: a rectangle per stretch, a disc at each bend.
    fn bead(&mut self, id: u32, points: &[Point], width: f64, closed: bool) {
        let mut cells = Vec::new();
        let n = points.len();
        for i in 0..if closed { n } else { n - 1 } {
            let (a, b) = (points[i], points[(i + 1) % n]);
            let Some(along) = (b - a).normalised() else { continue };
            let side = along.left() * (width * 0.5);
            self.scan(&[&[a - side, b - side, b + side, a + side]], |c| cells.push(c));
            if closed || i > 0 {
                let round: Vec<Point> = (0..24)
                    .map(|k| a + Point::unit(f64::from(k) * 15.0_f64.to_radians()) * (width * 0.5))
                    .collect();
                self.scan(&[&round], |c| cells.push(c));
            }
        }
        for c in cells {
            if self.last[c] != id {
                self.last[c] = id;
                self.count[c] += 1;
            }
        }
    }
}

/// What an outside program measures on one layer, as shares.
#[derive(Debug)]
struct Measured {
    unfilled: f64,
    over_tow: f64,
    outside: f64,
    overlap: f64,
}

fn measured(outline: &Area, strips: &Area, layer: &LayerBeads) -> Measured {
    let mut raster = Raster::over(outline);
    let (whole, tow) = (raster.mask(outline), raster.mask(strips));
    for (id, b) in (1..).zip(&layer.beads) {
        raster.bead(id, &b.points, b.width_mm, b.closed);
    }
    let (mut all, mut fibre, mut m) = (0.0_f64, 0.0_f64, [0.0; 4]);
    for (i, n) in raster.count.iter().enumerate() {
        let n = f64::from(*n);
        all += f64::from(u8::from(whole[i]));
        fibre += f64::from(u8::from(tow[i]));
        m[0] += f64::from(u8::from(whole[i] && !tow[i] && n == 0.0));
        m[1] += f64::from(u8::from(tow[i] && n > 0.0));
        m[2] += f64::from(u8::from(!whole[i] && n > 0.0));
        m[3] += (n - 1.0).max(0.0);
    }
    let open = layer.areas.open / layer.areas.outline;
    Measured {
        unfilled: m[0] / all - open,
        over_tow: m[1] / fibre.max(1.0),
        outside: m[2] / all,
        overlap: m[3] / all,
    }
}

/// The next of a run of repeatable numbers in [0, 1) (D. Lehmer, multiplier
/// 48271, modulus 2^31 - 1).
fn next(seed: &mut u64) -> f64 {
    *seed = *seed * 48_271 % 2_147_483_647;
    f64::from(u32::try_from(*seed).unwrap()) / 2_147_483_647.0
}

fn disc(centre: Point, radius: f64) -> Area {
    offset::grown(&combine::ring_area(&square(centre, 0.02)), radius - 0.01, 0.01)
}

fn square(c: Point, side: f64) -> Vec<Point> {
    let h = side * 0.5;
    vec![c + pt(-h, -h), c + pt(h, -h), c + pt(h, h), c + pt(-h, h)]
}

/// A lever of a loom: a rounded blank with bores, hoops round the bores and
/// straight courses between them.
fn layer(seed: u64) -> (Area, Area) {
    let mut s = seed * 7919 + 17;
    for _ in 0..5 {
        next(&mut s);
    }
    let (l, w) = (60.0 + 60.0 * next(&mut s), 20.0 + 20.0 * next(&mut s));
    let blank = combine::ring_area(&[pt(0.0, 0.0), pt(l, 0.0), pt(l, w), pt(l * 0.4 * next(&mut s), w)]);
    let mut outline = offset::opened(&blank, 3.0, 0.01);
    let mut strips = Area::empty();
    for x in [0.3, 0.75] {
        let c = pt(l * x, w * (0.35 + 0.2 * next(&mut s)));
        let r = 2.0 + 2.0 * next(&mut s);
        outline = combine::difference(&outline, &disc(c, r));
        for k in 0..3 {
            let (a, b) = (r + 1.2 + f64::from(k), r + 2.15 + f64::from(k));
            strips = combine::union(&strips, &combine::difference(&disc(c, b), &disc(c, a)));
        }
    }
    let room = offset::shrunk(&outline, 1.05, 0.01);
    let free = combine::difference(&room, &offset::grown(&strips, 0.1, 0.01));
    let angle = 3.0 * next(&mut s);
    // abutting, or with room for a bead
    let pitch = if next(&mut s) < 0.3 { 0.9 } else { 1.15 + 2.0 * next(&mut s) };
    for row in hatch::rows(&offset::shrunk(&free, 0.5, 0.01), angle, pitch, 0.0) {
        for (a, b) in row.spans {
            let (a, b) = (a + 0.7, b - 0.7);
            if b - a > 8.0 && next(&mut s) < 0.85 {
                let line = [hatch::to_plane(a, row.offset, angle), hatch::to_plane(b, row.offset, angle)];
                strips = combine::union(&strips, &offset::strip(&line, 0.9, false, 0.01));
            }
        }
    }
    let strips = combine::intersection(&strips, &room);
    (outline, strips)
}

#[test]
fn generated_layers_close_by_another_program() {
    for seed in 1..=20_u64 {
        let (outline, strips) = layer(seed);
        let fill = if seed % 5 == 0 { Fill::Contour } else { Fill::Parallel };
        let p = plan(if seed % 2 == 0 { 0.5 } else { 0.42 }, fill);
        let begun = Instant::now();
        let beads = matrix::fill(&outline, &strips, &p, usize::try_from(seed).unwrap(), HEIGHT);
        let took = begun.elapsed();
        let m = measured(&outline, &strips, &beads);
        println!(
            "{seed} {fill:?} beads {} {took:?} unf {:.4} told {:.4} over {:.4} out {:.5} lap {:.4}",
            beads.beads.len(),
            m.unfilled,
            beads.areas.unfilled / beads.areas.outline,
            m.over_tow,
            m.outside,
            m.overlap
        );
        if std::env::var("DUMP").is_ok_and(|d| d == seed.to_string()) {
            let mut t = String::new();
            for (k, a) in [("o", &outline), ("t", &strips)] {
                for r in a.rings() {
                    t += &format!("{k} 0 {:?}\n", r.iter().map(|p| [p.x, p.y]).collect::<Vec<_>>());
                }
            }
            for b in &beads.beads {
                let k = if b.closed { "c" } else { "l" };
                t += &format!(
                    "{k} {} {:?}\n",
                    b.width_mm,
                    b.points.iter().map(|p| [p.x, p.y]).collect::<Vec<_>>()
                );
            }
            std::fs::write("/tmp/matrix2.txt", t).unwrap();
        }
    }
}
