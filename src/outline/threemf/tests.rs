use super::super::tests::{codes, read_with};
use crate::diagnostic::Notes;
use crate::geom::{Point, trig};
use crate::outline::Outline;
use std::f64::consts::{PI, TAU};
use std::fmt::Write as _;
use std::io::{Cursor, Write as _};

const CORE: &str = "xmlns=\"http://schemas.microsoft.com/3dmanufacturing/core/2015/02\" xmlns:s=\"http://schemas.microsoft.com/3dmanufacturing/slice/2015/07\" xmlns:p=\"http://schemas.microsoft.com/3dmanufacturing/production/2015/06\"";

fn zipped(parts: &[(&str, &str)]) -> Vec<u8> {
    let mut zip = zip::ZipWriter::new(Cursor::new(Vec::new()));
    for (name, text) in parts {
        zip.start_file(*name, zip::write::SimpleFileOptions::default()).unwrap();
        zip.write_all(text.as_bytes()).unwrap();
    }
    zip.finish().unwrap().into_inner()
}

const RELS: &str = "<?xml version=\"1.0\"?><Relationships xmlns=\"http://schemas.openxmlformats.org/package/2006/relationships\"><Relationship Target=\"/3D/part.model\" Id=\"r\" Type=\"http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel\"/></Relationships>";

fn model(attributes: &str, resources: &str, build: &str) -> String {
    format!(
        "<model {CORE} {attributes}>\n<resources>\n{resources}\n</resources>\n<build>{build}</build>\n</model>"
    )
}

fn package(attributes: &str, resources: &str, build: &str) -> Vec<u8> {
    zipped(&[("_rels/.rels", RELS), ("3D/part.model", &model(attributes, resources, build))])
}

fn read(bytes: &[u8], height: f64) -> (Outline, Vec<crate::diagnostic::Diagnostic>) {
    let mut notes = Notes::default();
    let (o, _) = read_with(&mut notes, "a.3mf", bytes, None, height).unwrap();
    (o, notes.warnings)
}

fn near(a: f64, b: f64, tolerance: f64) {
    assert!((a - b).abs() <= tolerance, "{a} is not {b} within {tolerance}");
}

/// A slice of rings; the first point's index ends each polygon.
fn slice(top: f64, rings: &[Vec<Point>]) -> String {
    let mut out = format!("<s:slice ztop=\"{top}\">");
    if !rings.is_empty() {
        out += "<s:vertices>";
        for p in rings.iter().flatten() {
            let _ = write!(out, "<s:vertex x=\"{}\" y=\"{}\"/>", p.x, p.y);
        }
        out += "</s:vertices>";
    }
    let mut first = 0;
    for r in rings {
        let _ = write!(out, "<s:polygon startv=\"{first}\">");
        for k in 1..=r.len() {
            let _ = write!(out, "<s:segment v2=\"{}\"/>", first + k % r.len());
        }
        out += "</s:polygon>";
        first += r.len();
    }
    out + "</s:slice>\n"
}

fn circle(r: f64, n: usize) -> Vec<Point> {
    (0..n).map(|k| Point::unit(TAU * k as f64 / n as f64) * r).collect()
}

fn regular(n: usize, r: f64) -> f64 {
    0.5 * n as f64 * r * r * trig::sin(TAU / n as f64)
}

fn backwards(mut r: Vec<Point>) -> Vec<Point> {
    r.reverse();
    r
}

const SLICED: &str = "<object id=\"2\" s:slicestackid=\"1\"><mesh><vertices/><triangles/></mesh></object>";

/// 25 slices of a torus of radii 8 and 3, 0.2 mm each, and an empty one on top.
fn torus() -> String {
    let mut out = String::new();
    for k in 0..25 {
        let z = 0.2 * f64::from(k) + 0.1 - 2.5;
        let w = (9.0 - z * z).sqrt();
        out += &slice(0.2 * f64::from(k + 1), &[circle(8.0 + w, 90), backwards(circle(8.0 - w, 60))]);
    }
    out + &slice(5.2, &[])
}

fn torus_area(k: usize) -> f64 {
    let z = 0.2 * (k as f64 - 1.0) + 0.1 - 2.5;
    let w = (9.0 - z * z).sqrt();
    regular(90, 8.0 + w) - regular(60, 8.0 - w)
}

#[test]
fn slices_of_another_part_keep_their_heights_and_go_where_the_build_says() {
    let root = model(
        "",
        &format!(
            "<s:slicestack id=\"1\" zbottom=\"0\"><s:sliceref slicestackid=\"7\" slicepath=\"/2D/s.model\"/></s:slicestack>{SLICED}"
        ),
        "<item objectid=\"2\" transform=\"0 1 0 -1 0 0 0 0 1 30 40 12.5\"/>",
    );
    let other = model("", &format!("<s:slicestack id=\"7\">{}</s:slicestack>", torus()), "");
    let bytes = zipped(&[("_rels/.rels", RELS), ("3D/part.model", &root), ("2D/s.model", &other)]);
    let (o, told) = read(&bytes, 0.7);
    assert_eq!(told, []);
    assert_eq!(o.layers.len(), 25);
    for l in &o.layers {
        near(l.outline.area(), torus_area(l.number), 1e-3);
        assert_eq!(l.outline.polygons()[0].holes().len(), 1);
        near(l.z_top_mm(), 0.2 * l.number as f64, 1e-9);
        let c = l.outline.bounds().unwrap().centre();
        near(c.x, 30.0, 0.02);
        near(c.y, 40.0, 0.02);
    }
}

#[test]
fn mirrored_slices_keep_their_holes() {
    let bytes = package(
        "",
        &format!("<s:slicestack id=\"1\">{}</s:slicestack>{SLICED}", torus()),
        "<item objectid=\"2\" transform=\"-2 0 0 0 1 0 0 0 1 0 0 0\"/>",
    );
    let (o, _) = read(&bytes, 0.2);
    near(o.layers[12].outline.area(), 2.0 * torus_area(13), 1e-3);
}

#[test]
fn units_are_followed() {
    for (unit, mm) in [
        ("micron", 0.001),
        ("millimeter", 1.0),
        ("centimeter", 10.0),
        ("inch", 25.4),
        ("foot", 304.8),
        ("meter", 1000.0),
    ] {
        let one = slice(1.0, &[vec![Point::new(0.0, 0.0), Point::new(1.0, 0.0), Point::new(1.0, 2.0)]]);
        let bytes = package(
            &format!("unit=\"{unit}\""),
            &format!("<s:slicestack id=\"1\">{one}</s:slicestack>{SLICED}"),
            "<item objectid=\"2\" transform=\"1 0 0 0 1 0 0 0 1 3 0 0\"/>",
        );
        let l = &read(&bytes, 1.0).0.layers[0];
        near(l.height_mm, mm, 1e-9);
        near(l.outline.area(), mm * mm, 1e-6 * mm);
        near(l.outline.bounds().unwrap().lo.x, 3.0 * mm, 1e-6);
    }
}

#[test]
fn empty_slices_end_the_part_at_the_top_only() {
    let full = |top| slice(top, &[circle(5.0, 20)]);
    let stack =
        slice(0.1, &[]) + &full(0.3) + &slice(0.4, &[]) + &full(0.5) + &slice(0.6, &[]) + &slice(0.7, &[]);
    let bytes = package(
        "",
        &format!("<s:slicestack id=\"1\" zbottom=\"0\">{stack}</s:slicestack>{SLICED}"),
        "<item objectid=\"2\"/>",
    );
    let (o, _) = read(&bytes, 0.2);
    let full: Vec<bool> = o.layers.iter().map(|l| !l.outline.is_empty()).collect();
    assert_eq!(full, [false, true, false, true]);
    near(o.layers[1].height_mm, 0.2, 1e-9);
}

fn cube(id: u32, attributes: &str) -> String {
    let mut out = format!("<object id=\"{id}\" {attributes}><mesh><vertices>");
    for k in 0..8 {
        let _ = write!(
            out,
            "<vertex x=\"{}\" y=\"{}\" z=\"{}\"/>",
            (k & 1) * 10,
            (k >> 1 & 1) * 10,
            (k >> 2) * 10
        );
    }
    out += "</vertices><triangles>";
    for t in [
        "0 2 1", "1 2 3", "4 5 6", "5 7 6", "0 1 4", "1 5 4", "2 6 3", "3 6 7", "0 4 2", "2 4 6", "1 3 5",
        "3 7 5",
    ] {
        let v: Vec<&str> = t.split(' ').collect();
        let _ = write!(out, "<triangle v1=\"{}\" v2=\"{}\" v3=\"{}\"/>", v[0], v[1], v[2]);
    }
    out + "</triangles></mesh></object>"
}

#[test]
fn meshes_are_cut_after_their_transform() {
    // turned by 90 degrees about x, stretched in z, mirrored in x
    let bytes = package("", &cube(1, ""), "<item objectid=\"1\" transform=\"-2 0 0 0 0 3 0 1 0 5 6 7\"/>");
    let (o, told) = read(&bytes, 0.5);
    assert_eq!(told, []);
    assert_eq!(o.layers.len(), 60);
    let b = o.layers[3].outline.bounds().unwrap();
    near(o.layers[3].outline.area(), 200.0, 1e-6);
    near(b.lo.x, -15.0, 1e-6);
    near(b.hi.y, 16.0, 1e-6);
    // tilted by 45 degrees about y: a bar with a square section on its corner
    let h = std::f64::consts::FRAC_1_SQRT_2;
    let tilted = format!("<item objectid=\"1\" transform=\"{h} 0 -{h} 0 1 0 {h} 0 {h} 0 0 0\"/>");
    let (o, _) = read(&package("", &cube(1, ""), &tilted), 0.1);
    near(o.layers.iter().map(|l| l.outline.area() * l.height_mm).sum(), 1000.0, 3.0);
}

#[test]
fn components_items_and_production_parts_are_united() {
    let other = model("unit=\"centimeter\"", &cube(4, "").replace("\"10\"", "\"1\""), "");
    let root = model(
        "requiredextensions=\"p\"",
        &format!(
            "{}<object id=\"9\"><components><component objectid=\"1\"/><component objectid=\"1\" transform=\"1 0 0 0 1 0 0 0 1 5 0 0\"/></components></object>
             <object id=\"8\"><components><component objectid=\"9\" transform=\"1 0 0 0 1 0 0 0 1 0 20 0\"/></components></object>",
            cube(1, "")
        ),
        "<item objectid=\"8\"/><item objectid=\"4\" p:path=\"/3D/other.model\" transform=\"1 0 0 0 1 0 0 0 1 50 0 2\"/>",
    );
    let bytes = zipped(&[("_rels/.rels", RELS), ("3D/part.model", &root), ("3D/other.model", &other)]);
    let (o, told) = read(&bytes, 1.0);
    assert_eq!(told, []);
    assert_eq!(o.layers.len(), 12);
    for (k, area) in [(0, 150.0), (1, 150.0), (2, 250.0), (9, 250.0), (10, 100.0), (11, 100.0)] {
        near(o.layers[k].outline.area(), area, 1e-4);
    }
}

#[test]
fn sliced_objects_of_one_build_share_their_layers() {
    let stack = |id: u32, tops: &[f64], r: f64| {
        let slices: String = tops.iter().map(|t| slice(*t, &[circle(r, 40)])).collect();
        format!(
            "<s:slicestack id=\"{id}\">{slices}</s:slicestack><object id=\"{}\" s:slicestackid=\"{id}\"><mesh/></object>",
            id + 10
        )
    };
    let items = "<item objectid=\"11\"/><item objectid=\"12\" transform=\"1 0 0 0 1 0 0 0 1 50 0 0\"/>";
    let same = stack(1, &[0.1, 0.2, 0.3], 5.0) + &stack(2, &[0.1, 0.2], 3.0);
    let (o, _) = read(&package("", &same, items), 1.0);
    let areas: Vec<f64> = o.layers.iter().map(|l| l.outline.area()).collect();
    let (five, three) = (regular(40, 5.0), regular(40, 3.0));
    for (a, e) in areas.iter().zip([five + three, five + three, five]) {
        near(*a, e, 1e-3);
    }
    let differ = stack(1, &[0.1, 0.2, 0.3], 5.0) + &stack(2, &[0.15, 0.3], 3.0);
    let got = read_with(&mut Notes::default(), "a.3mf", &package("", &differ, items), None, 1.0);
    assert_eq!(codes(&got), ["layers-differ"]);
    let mixed = stack(1, &[0.1, 0.2, 0.3], 5.0) + &cube(12, "");
    let got = read_with(&mut Notes::default(), "a.3mf", &package("", &mixed, items), None, 1.0);
    assert_eq!(codes(&got), ["layers-differ"]);
}

#[test]
fn what_is_passed_over_is_told() {
    let with_lattice = cube(1, "").replace("</mesh>", "<b:beamlattice xmlns:b=\"urn:b\"/></mesh>");
    let resources = with_lattice + &cube(2, "type=\"support\"");
    let (o, told) = read(
        &package(
            "",
            &resources,
            "<item objectid=\"1\"/><item objectid=\"2\" transform=\"9 0 0 0 9 0 0 0 9 0 0 0\"/>",
        ),
        1.0,
    );
    assert_eq!(o.layers.len(), 10);
    let told: Vec<&str> = told.iter().map(|d| d.message.as_str()).collect();
    assert_eq!(told, ["`beamlattice` in a mesh is not read", "an object of type `support` is not read"]);
    let clockwise = slice(0.1, &[circle(2.0, 9)])
        + &slice(0.2, &[backwards(circle(2.0, 9))])
        + &slice(0.3, &[circle(2.0, 9)]);
    let (_, told) = read(
        &package(
            "",
            &format!("<s:slicestack id=\"1\">{clockwise}</s:slicestack>{SLICED}"),
            "<item objectid=\"2\"/>",
        ),
        1.0,
    );
    assert_eq!(told[0].code, "slices-clockwise");
}

#[test]
fn faults_are_told_with_their_place() {
    let stack = |slices: &str| format!("<s:slicestack id=\"1\">\n{slices}\n</s:slicestack>{SLICED}");
    let item = "<item objectid=\"2\"/>";
    let ring = "<s:vertices><s:vertex x=\"0\" y=\"0\"/><s:vertex x=\"4\" y=\"0\"/><s:vertex x=\"4\" y=\"4\"/></s:vertices>";
    let closed =
        "<s:polygon startv=\"0\"><s:segment v2=\"1\"/><s:segment v2=\"2\"/><s:segment v2=\"0\"/></s:polygon>";
    // ten times ten times ... of nothing
    let ten = |of: u32| format!("<component objectid=\"{of}\"/>").repeat(10);
    let level = |k: u32| format!("<object id=\"{}\"><components>{}</components></object>", k + 1, ten(k));
    let hollow =
        (2..9).map(level).fold("<object id=\"2\"><components/></object>".to_owned(), |all, l| all + &l);
    let good = format!("<s:slice ztop=\"1\">{ring}{closed}</s:slice>");
    let cases: Vec<(Vec<u8>, &str, &str)> = vec![
        (
            package("", &stack(&good.replace("v2=\"2\"", "v2=\"3\"")), item),
            "threemf-unreadable",
            "`v2` names vertex 3, there are 3",
        ),
        (package("", &stack(&good.replace("<s:segment v2=\"0\"/>", "")), item), "outline-open", "slice 1"),
        (package("", &stack(&format!("{good}{good}")), item), "threemf-unreadable", "slice 2 ends at 1 mm"),
        (
            package("", &stack(&good.replacen("x=\"4\"", "x=\"four\"", 1)), item),
            "threemf-unreadable",
            "`x` is no number: `four`",
        ),
        (package("", &stack(&good.replacen("x=\"4\"", "x=\"nan\"", 1)), item), "threemf-unreadable", "`nan`"),
        (package("", &stack(&good.replacen("x=\"4\"", "x=\"4e9\"", 1)), item), "outline-too-large", "4e9"),
        (
            package("", &stack(&good.replace(" ztop=\"1\"", "")), item),
            "threemf-unreadable",
            "`slice` has no `ztop`",
        ),
        (
            package("", &stack(&format!("{good}<s:sliceref slicestackid=\"1\" slicepath=\"/x\"/>")), item),
            "threemf-unreadable",
            "not both",
        ),
        (
            package("", &stack("<s:sliceref slicestackid=\"1\" slicepath=\"/2D/none.model\"/>"), item),
            "threemf-unreadable",
            "`/2D/none.model`",
        ),
        (
            package("", &stack("<s:sliceref slicestackid=\"6\" slicepath=\"/3D/part.model\"/>"), item),
            "threemf-unreadable",
            "no slice stack 6",
        ),
        (
            package("", &stack("<s:sliceref slicestackid=\"1\" slicepath=\"/3D/part.model\"/>"), item),
            "threemf-unreadable",
            "only refers to others",
        ),
        (
            package("", &stack(&good), "<item objectid=\"2\" transform=\"1 0 0 0 0 1 0 -1 0 0 0 0\"/>"),
            "threemf-unreadable",
            "must not tilt",
        ),
        (
            package("", &stack(&good), "<item objectid=\"2\" transform=\"1 0 0 0 1 0 0 0 2 0 0 0\"/>"),
            "threemf-unreadable",
            "scale its height",
        ),
        (
            package("", &stack(&good), "<item objectid=\"2\" transform=\"1 0 0 0 1\"/>"),
            "threemf-unreadable",
            "twelve numbers",
        ),
        (
            package("", &stack(&good), "<item objectid=\"2\" transform=\"0 0 0 0 0 0 0 0 0 0 0 0\"/>"),
            "threemf-unreadable",
            "flattens",
        ),
        (
            package("", &stack(&good), "<item objectid=\"2\" transform=\"1e6 0 0 0 1 0 0 0 1 0 0 0\"/>"),
            "outline-too-large",
            "x 4e6 mm",
        ),
        (package("", &stack(&good), "<item objectid=\"5\"/>"), "threemf-unreadable", "no object 5"),
        (package("", &stack(&good), ""), "threemf-unreadable", "holds no item"),
        (
            package("", &SLICED.replace("slicestackid=\"1\"", "slicestackid=\"3\""), item),
            "threemf-unreadable",
            "no slice stack 3",
        ),
        (package("unit=\"ell\"", &stack(&good), item), "threemf-unreadable", "`ell` is no unit"),
        (
            package("requiredextensions=\"b\" xmlns:b=\"urn:beams\"", &stack(&good), item),
            "threemf-extension",
            "`b` (urn:beams)",
        ),
        (
            package("", "<object id=\"2\"><mesh><vertices/><triangles/></mesh></object>", item),
            "threemf-unreadable",
            "has no triangles",
        ),
        (package("", "<object id=\"2\"/>", item), "threemf-unreadable", "neither mesh nor components"),
        (
            package("", &cube(2, "").replace("v1=\"7\"", "v1=\"8\"").replace("v3=\"7\"", "v3=\"8\""), item),
            "threemf-unreadable",
            "names vertex 8, there are 8",
        ),
        (package("", &(cube(2, "") + &cube(2, "")), item), "threemf-unreadable", "same `id`"),
        (
            package(
                "",
                "<object id=\"2\"><components><component objectid=\"2\"/></components></object>",
                item,
            ),
            "threemf-unreadable",
            "in a circle",
        ),
        (package("", &hollow, "<item objectid=\"9\"/>"), "outline-too-large", "uses of objects"),
        (package("", "<object id=\"2\"><mesh>", item), "xml-unreadable", "XML"),
        (zipped(&[("_rels/.rels", RELS)]), "threemf-unreadable", "no part `/3D/part.model`"),
        (zipped(&[("3D/part.model", "")]), "threemf-unreadable", "no part `/_rels/.rels`"),
        (zipped(&[("_rels/.rels", "<Relationships/>")]), "threemf-unreadable", "names no 3D model"),
        (b"PK".to_vec(), "threemf-unreadable", "cut off"),
        (Vec::new(), "threemf-unreadable", "cut off"),
        (package("", &stack(&good), item)[..300].to_vec(), "threemf-unreadable", "cut off"),
        (package("", &stack("<s:slice ztop=\"1\"/>"), item), "outline-empty", "no outline"),
    ];
    for (bytes, code, words) in cases {
        let got = read_with(&mut Notes::default(), "a.3mf", &bytes, None, 0.2);
        assert_eq!(codes(&got), [code], "{words}: {got:?}");
        let d = got.unwrap_err().0.remove(0);
        assert!(d.message.contains(words), "{words}: {d}");
        assert!(d.place.is_some() || d.file.is_some(), "{d}");
    }
    assert!(read_with(&mut Notes::default(), "a.3mf", &package("", &stack(&good), item), None, 0.2).is_ok());
}

#[test]
fn packages_that_unpack_to_too_much_are_refused() {
    let mut zip = zip::ZipWriter::new(Cursor::new(Vec::new()));
    zip.start_file("_rels/.rels", zip::write::SimpleFileOptions::default()).unwrap();
    let block = vec![b' '; 1 << 20];
    for _ in 0..257 {
        zip.write_all(&block).unwrap();
    }
    let bytes = zip.finish().unwrap().into_inner();
    assert!(bytes.len() < 1 << 20);
    let got = read_with(&mut Notes::default(), "a.3mf", &bytes, None, 0.2);
    assert_eq!(codes(&got), ["outline-too-large"]);
}

#[test]
fn xml_that_takes_too_much_memory_is_refused() {
    // room for each sign is made before the first one is looked at
    let text = format!("<model {CORE}>{}</model>", "=".repeat(24_000_000));
    let bytes = zipped(&[("_rels/.rels", RELS), ("3D/part.model", &text)]);
    assert!(bytes.len() < 1 << 16);
    let got = read_with(&mut Notes::default(), "a.3mf", &bytes, None, 0.2);
    assert_eq!(codes(&got), ["outline-too-large"]);
    let d = &got.unwrap_err().0[0];
    assert!(d.message.contains("at most 24000000 are read") && d.file.is_some(), "{d}");
}

/// Without a table of lines, each fault counted them from the start: these took more than a minute.
#[test]
fn a_fault_in_every_element_of_one_line_is_told_at_once() {
    let polygon = format!("<s:polygon startv=\"0\">{}</s:polygon>", "<s:segment v2=\"9\"/>".repeat(400_000));
    let stack = format!(
        "<s:slicestack id=\"1\"><s:slice ztop=\"0.2\"><s:vertices><s:vertex x=\"0\" y=\"0\"/></s:vertices>{polygon}</s:slice></s:slicestack>{SLICED}"
    );
    let bytes = package("", &stack, "<item objectid=\"2\"/>");
    let faults = read_with(&mut Notes::default(), "a.3mf", &bytes, None, 0.2).unwrap_err().0;
    assert_eq!(faults.len(), 20);
    let first = stack.find("<s:segment").unwrap() + 1;
    let step = "<s:segment v2=\"9\"/>".len();
    for (k, d) in faults.iter().enumerate() {
        let place = format!("(line 3, column {})", first + k * step);
        assert!(d.message.ends_with(&place), "{d}: {place}");
    }
}

#[test]
fn damaged_packages_do_not_panic() {
    let good = package(
        "",
        &format!("<s:slicestack id=\"1\">{}</s:slicestack>{SLICED}", torus()),
        "<item objectid=\"2\"/>",
    );
    for k in (0..good.len()).step_by(good.len() / 300 + 1) {
        let mut bad = good.clone();
        bad[k] ^= 0x5a;
        let _ = read_with(&mut Notes::default(), "a.3mf", &bad, None, 0.2);
    }
}

#[test]
fn a_ball_of_slices_has_its_volume() {
    // 200 slices of 0.1 mm, each as wide as the ball at its middle
    let slices: String = (0..200)
        .map(|k| {
            let z = 0.1 * f64::from(k) + 0.05 - 10.0;
            slice(0.1 * f64::from(k + 1), &[circle((100.0 - z * z).sqrt(), 200)])
        })
        .collect();
    let bytes = package(
        "",
        &format!("<s:slicestack id=\"1\">{slices}</s:slicestack>{SLICED}"),
        "<item objectid=\"2\"/>",
    );
    let (o, _) = read(&bytes, 1.0);
    let volume: f64 = o.layers.iter().map(|l| l.outline.area() * l.height_mm).sum();
    near(volume, 4.0 / 3.0 * PI * 1000.0, 2.0);
}
