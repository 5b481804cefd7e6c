//! Motion against closed forms.
//!
//! Trapezoid: Biagiotti & Melchiorri, *Trajectory Planning for Automatic Machines
//! and Robots*, Springer 2008, ch. 3 (from memory). The other values are closed
//! forms, calculated outside this project and checked there by time stepping.

use towpath::geom::{Arc, Point, Segment, pt};
use towpath::motion::{Dynamics, Leg, corner_speed, jerk, seconds, trapezoid};

fn machine(corner_deviation_mm: f64) -> Dynamics {
    Dynamics { corner_deviation_mm, axis_speed_mm_s: [1e9; 3], jerk_mm_s3: f64::INFINITY }
}

fn legs(points: &[Point], v: f64, a: f64) -> Vec<Leg> {
    points
        .windows(2)
        .map(|w| Leg {
            path: Segment::Line { from: w[0], to: w[1] },
            dz: 0.0,
            speed_mm_s: v,
            acceleration_mm_s2: a,
            least_s: 0.0,
        })
        .collect()
}

fn total(legs: &[Leg], deviation: f64) -> f64 {
    seconds(legs, &machine(deviation)).iter().sum()
}

#[test]
fn trapezoids_take_the_time_of_the_closed_form() {
    // distance, speed, acceleration, entry, exit, seconds
    let table = [
        (100.0, 50.0, 1000.0, 0.0, 0.0, 2.05),
        (200.0, 100.0, 2000.0, 0.0, 0.0, 2.05),
        (50.0, 20.0, 200.0, 0.0, 0.0, 2.6),
        (2.5, 50.0, 1000.0, 0.0, 0.0, 0.1),
        (1.0, 50.0, 1000.0, 0.0, 0.0, 0.063_245_553_2),
        (10.0, 50.0, 500.0, 10.0, 0.0, 0.282),
        (10.0, 50.0, 500.0, 0.0, 20.0, 0.268),
        (3.0, 60.0, 1000.0, 20.0, 30.0, 0.070_833_333_3),
        (0.4, 60.0, 1000.0, 20.0, 30.0, 0.014_807_407_0),
    ];
    for (d, v, a, v0, v1, want) in table {
        let t = trapezoid(d, v, a, v0, v1);
        assert!((t - want).abs() < 1e-9, "{d} mm at {v} mm/s: {t} s against {want} s");
    }
}

#[test]
fn corners_are_passed_at_the_speed_of_the_rounding_circle() {
    let table = [
        (30.0, 4.178_506),
        (45.0, 5.567_380),
        (60.0, 7.071_068),
        (90.0, 10.986_841),
        (120.0, 17.977_905),
        (135.0, 24.634_398),
        (150.0, 37.648_201),
        (170.0, 114.409_62),
        (175.0, 229.092_20),
    ];
    for (phi, want) in table {
        let v = corner_speed(f64::to_radians(phi), 1000.0, 0.05);
        assert!((v / want - 1.0).abs() < 1e-6, "{phi} degrees: {v} against {want} mm/s");
    }
}

#[test]
fn whole_paths_take_their_time() {
    let l = legs(&[pt(0.0, 0.0), pt(100.0, 0.0), pt(100.0, 100.0)], 50.0, 1000.0);
    assert!((total(&l, 0.05) - 4.080_440_5).abs() < 1e-6, "an L: {}", total(&l, 0.05));
    let square = [pt(0.0, 0.0), pt(40.0, 0.0), pt(40.0, 40.0), pt(0.0, 40.0), pt(0.0, 0.0)];
    let t = total(&legs(&square, 50.0, 1000.0), 0.05);
    assert!((t - 3.341_321_6).abs() < 1e-6, "a square, rest to rest: {t}");
    let steps: Vec<Point> = (0..=5).map(|i| pt(f64::from(i), 0.0)).collect();
    let (many, one) = (
        total(&legs(&steps, 50.0, 1000.0), 0.05),
        total(&legs(&[pt(0.0, 0.0), pt(5.0, 0.0)], 50.0, 1000.0), 0.05),
    );
    assert!((many - 0.15).abs() < 1e-12 && (one - 0.15).abs() < 1e-12, "collinear moves: {many}, {one}");
}

#[test]
fn bends_are_no_faster_than_their_radius_allows() {
    // cruise of a long helix of laps: v = sqrt(a R)
    for (r, speed, lap) in [(2.0, 1000.0, 0.280_992_6), (5.0, 50.0, 0.628_318_5)] {
        let half = |from: Point, to: Point| Leg {
            path: Segment::Arc(Arc { from, to, centre: pt(0.0, 0.0), ccw: true }),
            dz: 0.0,
            speed_mm_s: speed,
            acceleration_mm_s2: 1000.0,
            least_s: 0.0,
        };
        let laps: Vec<Leg> = (0..40)
            .map(|i| if i % 2 == 0 { half(pt(r, 0.0), pt(-r, 0.0)) } else { half(pt(-r, 0.0), pt(r, 0.0)) })
            .collect();
        let t = seconds(&laps, &machine(0.05));
        let middle: f64 = t[20] + t[21];
        assert!((middle - lap).abs() < 1e-6, "radius {r}: a lap takes {middle} s against {lap} s");
        // the same laps as chords, coarse and fine
        for chords in [36_u32, 360] {
            let at = |k: u32| Point::unit(f64::from(k) * std::f64::consts::TAU / f64::from(chords)) * r;
            let points: Vec<Point> = (0..=chords * 9).map(at).collect();
            let t = seconds(&legs(&points, speed, 1000.0), &machine(0.05));
            let n = chords as usize;
            let middle: f64 = t[4 * n..5 * n].iter().sum();
            assert!(
                (middle / lap - 1.0).abs() < 0.01,
                "radius {r} in {chords} chords: {middle} s against {lap} s"
            );
        }
    }
}

#[test]
fn jerk_limited_moves_take_the_time_of_the_closed_form() {
    // from rest to rest, 50 mm/s, 1000 mm/s2, 20000 mm/s3: distance, seconds
    let cube_root = |x: f64| libm::cbrt(x);
    let table = [(100.0, 2.1), (2.0, 0.147_361_26), (0.1, 4.0 * cube_root(0.1 / 40_000.0))];
    for (d, want) in table {
        let t = jerk::double_s(d, 50.0, 1000.0, 20_000.0, 0.0, 0.0);
        assert!((t - want).abs() < 5e-9, "{d} mm: {t} s against {want} s");
        let l = legs(&[pt(0.0, 0.0), pt(d, 0.0)], 50.0, 1000.0);
        let t: f64 = seconds(&l, &Dynamics { jerk_mm_s3: 20_000.0, ..machine(0.05) }).iter().sum();
        assert!((t - want).abs() < 5e-9, "{d} mm as a move: {t} s against {want} s");
    }
    assert!((table[2].1 - 0.054_288_35).abs() < 5e-9, "as calculated outside this project");
}
