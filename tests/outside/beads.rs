//! Beads against closed forms and against another polygon program: the Clipper
//! library (A. Johnson, version 6) through `geo-clipper`.
#![expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    clippy::cast_precision_loss,
    reason = "raster cells of a small part"
)]

use geo::{Area as _, Coord, LineString, MultiPolygon};
use geo_clipper::{Clipper, EndType, JoinType};
use towpath::geom::{Area, Point, Polygon, combine, hatch, offset, pt};
use towpath::job::{BeadPlan, Fill};
use towpath::matrix::{self, LayerBeads};

/// Grid of the other program, steps per mm.
const FACTOR: f64 = 1e6;
/// Layer height, mm.
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
        let b = outline.bounds().expect("a part is not empty");
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
    f64::from(u32::try_from(*seed).expect("below the modulus")) / 2_147_483_647.0
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
fn generated_layers_close_on_a_raster() {
    for seed in 1..=20_u64 {
        let (outline, strips) = layer(seed);
        let fill = if seed % 5 == 0 { Fill::Contour } else { Fill::Parallel };
        let p = plan(if seed % 2 == 0 { 0.5 } else { 0.42 }, fill);
        let index = usize::try_from(seed).unwrap();
        let layer = matrix::fill(&outline, &strips, &p, index, HEIGHT);
        let a = layer.areas;
        let m = measured(&outline, &strips, &layer);
        let volume: f64 = layer.beads.iter().map(|b| b.area_mm2 * b.length_mm()).sum();
        assert!((volume / (a.matrix * HEIGHT) - 1.0).abs() < 1e-9, "layer {seed}");
        assert!((a.tow + a.matrix + a.open + a.unfilled - a.outline).abs() < 1e-6, "layer {seed}");
        assert!(a.unfilled > -1e-6 && a.unfilled < 0.01 * a.outline, "layer {seed}: {a:?}");
        // the raster also sees hairlines at bends, which overlaps elsewhere make up for
        assert!(m.unfilled < 0.017, "layer {seed}: {m:?}");
        assert!(m.over_tow < 0.01, "layer {seed}: {m:?}");
        assert!(m.outside < 0.0005, "layer {seed}: {m:?}");
        assert!(m.overlap < 0.025, "layer {seed}: {m:?}");
        let again = matrix::fill(&outline, &strips, &p, index, HEIGHT);
        assert_eq!(layer.beads, again.beads, "layer {seed} differs from run to run");
    }
}

fn rectangle(w: f64, h: f64) -> Area {
    combine::ring_area(&[pt(0.0, 0.0), pt(w, 0.0), pt(w, h), pt(0.0, h)])
}

#[test]
fn cross_sections_have_their_closed_forms() {
    assert!((matrix::rectangle_mm2(0.9, 0.2) - 0.18).abs() < 1e-12);
    // 0.7 x 0.2 + pi x 0.1^2
    assert!((matrix::rounded_mm2(0.9, 0.2) - 0.171_415_926_5).abs() < 1e-9);
}

#[test]
fn rings_of_a_rectangle_have_their_closed_lengths() {
    let mut p = plan(1.0, Fill::None);
    p.perimeters = 5;
    let layer = matrix::fill(&rectangle(40.0, 20.0), &Area::empty(), &p, 0, HEIGHT);
    let lengths: Vec<f64> = layer.beads.iter().map(matrix::Bead::length_mm).collect();
    let expected = [116.0, 108.0, 100.0, 92.0, 84.0];
    assert_eq!(lengths.len(), expected.len());
    for (l, e) in lengths.iter().zip(expected) {
        assert!((l - e).abs() < 1e-3, "{lengths:?}");
    }
    assert!((layer.areas.matrix - 500.0).abs() < 0.01, "{:?}", layer.areas);
    assert!((layer.areas.open - 300.0).abs() < 1.5, "{:?}", layer.areas);
}

#[test]
fn walls_and_scraps_are_filled_or_told() {
    for wall in [0.05, 0.3, 0.5, 0.8, 1.0, 1.3, 2.0, 2.4, 3.1] {
        let outline = rectangle(30.0, wall);
        let layer = matrix::fill(&outline, &Area::empty(), &plan(0.5, Fill::Parallel), 0, HEIGHT);
        let m = measured(&outline, &Area::empty(), &layer);
        assert!(m.outside < 0.02, "wall {wall}: {m:?}");
        assert!(layer.areas.unfilled > -1e-6, "wall {wall}: {:?}", layer.areas);
        if wall > 0.2 {
            assert!(layer.areas.unfilled < 0.03 * layer.areas.outline, "wall {wall}: {:?}", layer.areas);
        }
    }
    let none = matrix::fill(&Area::empty(), &Area::empty(), &plan(0.5, Fill::Parallel), 0, HEIGHT);
    assert!(none.beads.is_empty());
}

/// The share asked for is that of what perimeters and tow leave, by volume: what stays bare
/// beyond it is told as unfilled.
#[test]
fn open_fill_lays_its_share() {
    // strips 1 mm wide with slots of 0.3, 0.5, 0.8 mm between them, and open ground beside
    let slots = [0.3, 0.5, 0.8, 0.3, 0.5, 0.8, 0.3, 0.5, 0.8, 0.3];
    let mut y = 2.0;
    let strips: Vec<Area> = slots
        .iter()
        .map(|gap| {
            let strip = combine::ring_area(&[pt(5.0, y), pt(70.0, y), pt(70.0, y + 1.0), pt(5.0, y + 1.0)]);
            y += 1.0 + gap;
            strip
        })
        .collect();
    for (tow, strips) in [("none", Area::empty()), ("slots", combine::union_all(&strips))] {
        let ground = 78.0 * 58.0 - strips.area();
        for fill in [Fill::Parallel, Fill::Contour] {
            for fraction in [0.1, 0.25, 0.4, 0.6, 0.8, 0.9, 0.95, 0.99] {
                let p = BeadPlan { fill_fraction: fraction, ..plan(0.5, fill) };
                let layer = matrix::fill(&rectangle(80.0, 60.0), &strips, &p, 2, HEIGHT);
                let fill_mm3: f64 = layer
                    .beads
                    .iter()
                    .filter(|b| b.kind == matrix::BeadKind::Fill)
                    .map(|b| b.area_mm2 * b.length_mm())
                    .sum();
                let share = fill_mm3 / HEIGHT / ground;
                let what = format!("{fill:?}, {tow}, {fraction}: {share:.4}, {:?}", layer.areas);
                assert!((share - fraction).abs() < 0.01, "{what}");
                assert!((layer.areas.open / ground - (1.0 - fraction)).abs() < 0.01, "{what}");
                assert!(layer.areas.unfilled.abs() < 0.01 * layer.areas.outline, "{what}");
            }
        }
    }
}

/// In a bar of a few beads' width, too, where whole beads would be far from the share.
#[test]
fn open_fill_lays_its_share_in_bars() {
    for fill in [Fill::Parallel, Fill::Contour] {
        for wide in [2.5, 3.0, 4.0, 5.0, 8.0] {
            for fraction in [0.1, 0.3, 0.5, 0.7, 0.745, 0.755, 0.9] {
                let p = BeadPlan { fill_fraction: fraction, ..plan(0.5, fill) };
                let layer = matrix::fill(&rectangle(80.0, wide), &Area::empty(), &p, 2, HEIGHT);
                let ground = 78.0 * (wide - 2.0);
                let fill_beads = layer.beads.iter().filter(|b| b.kind == matrix::BeadKind::Fill);
                let share = fill_beads.map(|b| b.area_mm2 * b.length_mm()).sum::<f64>() / HEIGHT / ground;
                assert!((share - fraction).abs() < 0.06, "{fill:?}, {wide} mm, {fraction}: {share:.3}");
            }
        }
    }
}

fn hatched(area: &Area, phase: f64) -> f64 {
    hatch::rows(area, 0.0, 1.0, phase).iter().flat_map(|r| &r.spans).map(|(a, b)| b - a).sum()
}

#[test]
fn hatch_lengths_have_their_closed_forms() {
    // chords 2 sqrt(r^2 - y^2) at y = -9.5 .. 9.5
    let chords = |r: f64, n: u32| -> f64 {
        (0..n).map(|i| f64::from(i) - f64::from(n) * 0.5 + 0.5).map(|y| 2.0 * (r * r - y * y).sqrt()).sum()
    };
    assert!((chords(10.0, 20) - 315.241_143_3).abs() < 1e-6);
    let round = |c: Point| {
        let ring: Vec<Point> = (0..20_000)
            .map(|k| c + Point::unit(f64::from(k) * std::f64::consts::TAU / 20_000.0) * 10.0)
            .collect();
        combine::ring_area(&ring)
    };
    let disc = hatched(&round(pt(0.0, 0.0)), -9.5);
    assert!((disc - 315.241_143_3).abs() < 1e-3, "{disc}");
    let plate = combine::difference(&rectangle(100.0, 50.0), &round(pt(50.0, 25.0)));
    let holed = hatched(&plate, 0.5);
    assert!((holed - 4_684.758_856_7).abs() < 1e-3, "{holed}");
}

#[test]
fn a_grown_square_has_its_closed_form() {
    let grown = offset::grown(&rectangle(10.0, 10.0), 2.0, 1e-5);
    // 40 + 2 pi 2; 100 + 4 x 20 + pi 2^2
    assert!((grown.perimeter() - 52.566_370_6).abs() < 1e-3, "{}", grown.perimeter());
    assert!((grown.area() - 192.566_370_6).abs() < 1e-3, "{}", grown.area());
}

fn foreign(area: &Area) -> MultiPolygon<f64> {
    let ring = |r: &[Point]| LineString(r.iter().map(|p| Coord { x: p.x, y: p.y }).collect());
    let polygon =
        |p: &Polygon| geo::Polygon::new(ring(p.outer()), p.holes().iter().map(|h| ring(h)).collect());
    MultiPolygon(area.polygons().iter().map(polygon).collect())
}

#[test]
fn polygon_results_agree_with_another_program() {
    let mut s = 4711;
    for case in 0..40 {
        let mut star = |c: Point| {
            let ring: Vec<Point> = (0..24)
                .map(|k| c + Point::unit(f64::from(k) * 15.0_f64.to_radians()) * (6.0 + 8.0 * next(&mut s)))
                .collect();
            combine::ring_area(&ring)
        };
        let (a, b) = (star(pt(0.0, 0.0)), star(pt(5.0, 3.0)));
        let (fa, fb) = (foreign(&a), foreign(&b));
        let round = JoinType::Round(1e-4);
        let pairs = [
            (
                "both",
                combine::intersection(&a, &b).area(),
                fa.intersection(&fb, FACTOR).unsigned_area(),
                1e-4,
            ),
            ("less", combine::difference(&a, &b).area(), fa.difference(&fb, FACTOR).unsigned_area(), 1e-4),
            ("either", combine::union(&a, &b).area(), fa.union(&fb, FACTOR).unsigned_area(), 1e-4),
            (
                "grown",
                offset::grown(&a, 0.7, 1e-4).area(),
                fa.offset(0.7, round, EndType::ClosedPolygon, FACTOR).unsigned_area(),
                0.02,
            ),
            (
                "shrunk",
                offset::grown(&a, -0.7, 1e-4).area(),
                fa.offset(-0.7, round, EndType::ClosedPolygon, FACTOR).unsigned_area(),
                0.02,
            ),
        ];
        for (what, own, theirs, tolerance) in pairs {
            assert!((own - theirs).abs() < tolerance, "case {case} {what}: {own} {theirs}");
        }
    }
}
