//! Readers of outlines against closed forms, other readers and published rules.
//!
//! - W3C, *Scalable Vector Graphics (SVG) 1.1*, 2nd edition, 2011: 7.2 (units and
//!   viewports), 8.3 (path data), F.6 (arcs).
//! - `kurbo` 0.13: its own reader of path data and its exact areas of curves.
//! - `stl_io` 0.11: its own writer of binary STL.
//! - Elementary geometry: sections of ball, torus and cone.

use std::f64::consts::{PI, TAU};
use std::fmt::Write as _;
use std::io::{Cursor, Write as _};
use std::sync::Arc;
use towpath::diagnostic::{Notes, Place, Source};
use towpath::geom::{Area, Point};
use towpath::job::OutlineFile;
use towpath::outline::{self, Layer};

fn layers(name: &str, bytes: &[u8], thickness_mm: Option<f64>, height_mm: f64) -> Vec<Layer> {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let path = folder.path().join(name);
    std::fs::write(&path, bytes).expect("a temporary file");
    let source = Arc::new(Source { name: "job.toml".into(), text: "outline".into() });
    let place = Place { source, span: 0..7, label: String::new() };
    let thickness_place = place.clone();
    let file =
        OutlineFile { path, typed: name.into(), thickness_mm, unit_mm: Some(1.0), place, thickness_place };
    outline::read(&mut Notes::default(), &file, height_mm).expect("an outline").0.layers
}

fn drawn(d: &str) -> Area {
    let text = format!("<svg width='100mm' height='100mm' viewBox='0 0 100 100'><path d='{d}'/></svg>");
    layers("a.svg", text.as_bytes(), Some(1.0), 1.0).remove(0).outline
}

/// Half a circle of radius 5: length 5 pi = 15.708 (F.6), and its chord.
#[test]
fn half_a_circle_has_its_length() {
    let rim = drawn("M0,50 A5,5 0 0 1 10,50 Z").perimeter();
    assert!((rim - (15.707_963_267_9 + 10.0)).abs() < 0.005, "{rim}");
}

/// Areas of mixed path data by Green's theorem over the curves themselves, as
/// `kurbo` computes them; ours is low or high by at most the chords' 0.002 mm
/// along the rim.
#[test]
fn path_data_has_the_area_that_another_reader_finds() {
    for d in [
        "M10 50C10 20 60 20 60 50S80 80 50 90Q20 90 15 70T10 50Z",
        "m20 20h30v10c5 5 5 15 0 20s-20 5-30 0zm0 0",
        "M20 30 q 10 -25 20 0 t 20 0 l 0 40 l -40 0 z",
        "M20 40a10 10 0 0 1 20 0v20a10 10 0 01-20 0z",
        "M20 50A25 12 30 1 1 60 55A25 12 30 0 1 20 50Z",
        "M50 10 L90 80 L10 80 Z M20 85h60v10h-60z",
    ] {
        let theirs: f64 = kurbo::Shape::area(&kurbo::BezPath::from_svg(d).unwrap()).abs();
        let ours = drawn(d);
        assert!((ours.area() - theirs).abs() < 0.002 * ours.perimeter(), "{d}: {} {theirs}", ours.area());
    }
}

/// A ball of radius 10 and a torus of radii 12 and 4 as meshes written by
/// `stl_io`: the section at height z is a disc of radius sqrt(100 - z2), and a
/// ring between 12 -+ sqrt(16 - z2). Chords of 1 degree leave out less than 2e-4.
#[test]
fn meshes_of_another_writer_have_the_sections_of_their_bodies() {
    let revolve = |profile: &dyn Fn(f64) -> [f64; 2], steps: usize, closed: bool| {
        let at = |i: usize, k: usize| {
            let [r, z] = profile(i as f64 / steps as f64);
            let p = Point::unit(TAU * (k % 360) as f64 / 360.0) * r;
            #[expect(clippy::cast_possible_truncation, reason = "STL holds 32-bit numbers")]
            let v = stl_io::Vertex::new([p.x as f32, p.y as f32, z as f32]);
            v
        };
        let mut out = Vec::new();
        for i in 0..steps {
            let j = if closed { (i + 1) % steps } else { i + 1 };
            for k in 0..360 {
                let (a, b, c, d) = (at(i, k), at(i, k + 1), at(j, k + 1), at(j, k));
                for vertices in [[a, b, c], [a, c, d]] {
                    out.push(stl_io::Triangle { normal: stl_io::Normal::new([0.0; 3]), vertices });
                }
            }
        }
        let mut bytes = Vec::new();
        stl_io::write_stl(&mut bytes, out.iter()).unwrap();
        bytes
    };
    let ball = revolve(
        &|t| {
            let p = Point::unit(PI * (t - 0.5)) * 10.0;
            [p.x.max(0.0), p.y]
        },
        360,
        false,
    );
    let ball = layers("ball.stl", &ball, None, 0.08);
    assert_eq!(ball.len(), 250);
    for l in &ball {
        let z = l.z_middle_mm() - 10.0;
        let whole = PI * (100.0 - z * z);
        assert!(
            (l.outline.area() - whole).abs() < 2e-4 * whole + 0.01,
            "{} {whole} at {z}",
            l.outline.area()
        );
    }
    let torus = revolve(
        &|t| {
            let p = Point::unit(TAU * t) * 4.0;
            [12.0 + p.x, p.y]
        },
        360,
        true,
    );
    let torus = layers("torus.stl", &torus, None, 0.08);
    assert_eq!(torus.len(), 100);
    for l in &torus {
        let z = l.z_middle_mm() - 4.0;
        // pi ((12 + w)2 - (12 - w)2) with w = sqrt(16 - z2)
        let whole = 4.0 * PI * 12.0 * (16.0 - z * z).sqrt();
        assert!(
            (l.outline.area() - whole).abs() < 3e-4 * whole + 0.05,
            "{} {whole} at {z}",
            l.outline.area()
        );
        assert_eq!(l.outline.polygons()[0].holes().len(), 1);
    }
}

/// A torus of radii 9 and 3 as a 3MF slice stack of 0.08 mm (3MF Consortium,
/// *3MF Slice Extension* 1.0.2): polygons with known areas, an empty slice at the
/// top, contours clockwise where they are holes.
#[test]
fn a_sliced_torus_has_its_areas_and_volume() {
    let n = 240;
    let polygon = |r: f64| 0.5 * f64::from(n) * r * r * towpath::geom::trig::sin(TAU / f64::from(n));
    let mut slices = String::new();
    let mut expected = Vec::new();
    for k in 0..75 {
        let z = 0.08 * f64::from(k) + 0.04 - 3.0;
        let w = (9.0 - z * z).sqrt();
        let _ = write!(slices, "<s:slice ztop=\"{:.3}\"><s:vertices>", 0.08 * f64::from(k + 1));
        for (r, way) in [(9.0 + w, 1.0), (9.0 - w, -1.0)] {
            for i in 0..n {
                let p = Point::unit(way * TAU * f64::from(i) / f64::from(n)) * r;
                let _ = write!(slices, "<s:vertex x=\"{}\" y=\"{}\"/>", p.x, p.y);
            }
        }
        slices += "</s:vertices>";
        for first in [0, n] {
            let _ = write!(slices, "<s:polygon startv=\"{first}\">");
            for i in 1..=n {
                let _ = write!(slices, "<s:segment v2=\"{}\"/>", first + i % n);
            }
            slices += "</s:polygon>";
        }
        slices += "</s:slice>";
        expected.push(polygon(9.0 + w) - polygon(9.0 - w));
    }
    let model = format!(
        "<model xmlns=\"http://schemas.microsoft.com/3dmanufacturing/core/2015/02\" xmlns:s=\"http://schemas.microsoft.com/3dmanufacturing/slice/2015/07\"><resources><s:slicestack id=\"1\">{slices}<s:slice ztop=\"6.08\"/></s:slicestack><object id=\"2\" s:slicestackid=\"1\"><mesh/></object></resources><build><item objectid=\"2\"/></build></model>"
    );
    let rels = "<Relationships xmlns=\"http://schemas.openxmlformats.org/package/2006/relationships\"><Relationship Target=\"/3D/m.model\" Id=\"a\" Type=\"http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel\"/></Relationships>";
    let mut zip = zip::ZipWriter::new(Cursor::new(Vec::new()));
    for (name, text) in [("_rels/.rels", rels), ("3D/m.model", model.as_str())] {
        zip.start_file(name, zip::write::SimpleFileOptions::default()).unwrap();
        zip.write_all(text.as_bytes()).unwrap();
    }
    let got = layers("torus.3mf", &zip.finish().unwrap().into_inner(), None, 0.2);
    assert_eq!(got.len(), 75);
    for (l, e) in got.iter().zip(&expected) {
        assert!((l.outline.area() - e).abs() < 1e-3, "layer {}: {} {e}", l.number, l.outline.area());
    }
    // 2 pi2 R r2, low by what 240 corners leave out, high by the midpoint rule
    let volume: f64 = got.iter().map(|l| l.outline.area() * l.height_mm).sum();
    let whole = 2.0 * PI * PI * 9.0 * 9.0;
    assert!((volume / whole - 1.0).abs() < 2e-3, "{volume} {whole}");
}
