//! Beads against closed forms and against another polygon program: the Clipper
//! library (A. Johnson, version 6) through `geo-clipper`.

use geo::{Area as _, Coord, LineString, MultiLineString, MultiPolygon};
use geo_clipper::{Clipper, ClipperOpen, EndType, JoinType};
use std::time::Instant;
use towpath::geom::{Area, Point, combine, hatch, offset, polyline, pt};
use towpath::job::{BeadPlan, Fill};
use towpath::matrix::{self, LayerBeads};

const FACTOR: f64 = 1e6;
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

fn foreign(area: &Area) -> MultiPolygon<f64> {
    let ring = |r: &[Point]| LineString(r.iter().map(|p| Coord { x: p.x, y: p.y }).collect());
    MultiPolygon(
        area.polygons()
            .iter()
            .map(|p| geo::Polygon::new(ring(p.outer()), p.holes().iter().map(|h| ring(h)).collect()))
            .collect(),
    )
}

fn strip(points: &[Point], width: f64, closed: bool) -> MultiPolygon<f64> {
    let coords: Vec<Coord<f64>> = points.iter().map(|p| Coord { x: p.x, y: p.y }).collect();
    if closed {
        let ring = geo::Polygon::new(LineString(coords), vec![]);
        return ring.offset(width * 0.5, JoinType::Round(0.002), EndType::ClosedLine, FACTOR);
    }
    MultiLineString(vec![LineString(coords)]).offset(
        width * 0.5,
        JoinType::Round(0.002),
        EndType::OpenButt,
        FACTOR,
    )
}

/// What an outside program measures on one layer, as shares.
#[derive(Debug)]
struct Measured {
    unfilled: f64,
    over_tow: f64,
    outside: f64,
    overlap: f64,
    volume: f64,
    closure: f64,
    told_unfilled: f64,
}

fn measured(outline: &Area, strips: &Area, layer: &LayerBeads) -> Measured {
    let mut all = Vec::new();
    let mut each = 0.0;
    let mut volume = 0.0;
    for b in &layer.beads {
        let s = strip(&b.points, b.width_mm, b.closed);
        each += s.unsigned_area();
        volume += b.area_mm2 * b.length_mm();
        all.extend(s.0);
    }
    // pairwise halving keeps the unions small
    let mut parts: Vec<MultiPolygon<f64>> = all.into_iter().map(|p| MultiPolygon(vec![p])).collect();
    while parts.len() > 1 {
        parts = parts
            .chunks(2)
            .map(|c| if c.len() == 2 { c[0].union(&c[1], FACTOR) } else { c[0].clone() })
            .collect();
    }
    let laid = parts.pop().unwrap_or_else(|| MultiPolygon(vec![]));
    let whole = foreign(outline);
    let tow = foreign(strips);
    let over = if tow.0.is_empty() { 0.0 } else { laid.intersection(&tow, FACTOR).unsigned_area() };
    let outside = laid.difference(&whole, FACTOR).unsigned_area();
    let a = layer.areas;
    let covered = laid.unsigned_area() - over - outside;
    Measured {
        unfilled: (whole.unsigned_area() - tow.unsigned_area() - covered - a.open) / whole.unsigned_area(),
        over_tow: over / tow.unsigned_area().max(1e-9),
        outside: outside / whole.unsigned_area(),
        overlap: (each - laid.unsigned_area()) / whole.unsigned_area(),
        volume: volume / (a.matrix * HEIGHT) - 1.0,
        closure: (a.outline - a.tow - a.matrix - a.open - a.unfilled) / a.outline,
        told_unfilled: a.unfilled / a.outline,
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
    let pitch = 0.95 + 2.0 * next(&mut s);
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
            m.told_unfilled,
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
