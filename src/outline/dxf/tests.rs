use super::super::tests::{codes, place, read_text, read_with};
use crate::diagnostic::Notes;
use crate::geom::Area;
use proptest::prelude::*;
use std::f64::consts::PI;

/// Pairs from codes and values written in a line each.
fn pairs(text: &str) -> String {
    text.split_whitespace().map(|w| w.replace('_', " ") + "\n").collect()
}

/// A drawing of these entities, in mm.
fn file(entities: &str) -> String {
    pairs(&format!(
        "0 SECTION 2 HEADER 9 $INSUNITS 70 4 0 ENDSEC 0 SECTION 2 ENTITIES {entities} 0 ENDSEC 0 EOF"
    ))
}

fn drawn(text: &str) -> Area {
    let (outline, _) = read_text("a.dxf", text.as_bytes(), Some(1.0), 1.0).unwrap();
    outline.layers[0].outline.clone()
}

fn near(found: f64, want: f64, what: &str) {
    assert!((found - want).abs() < 2e-3 * want.abs(), "{what}: {found}, {want}");
}

#[test]
fn closed_forms_of_every_curve() {
    let circle = "0 CIRCLE 8 0 10 30 20 20 40 7";
    near(drawn(&file(circle)).area(), PI * 49.0, "a circle");
    let turned = "0 ELLIPSE 8 0 10 30 20 20 11 3 21 4 40 0.5 41 0 42 6.283185307179586";
    near(drawn(&file(turned)).area(), PI * 5.0 * 2.5, "an ellipse");
    // a bulge of 1 is half a circle
    let slot = "0 LWPOLYLINE 8 0 90 4 70 1 10 0 20 0 10 20 20 0 42 1 10 20 20 10 10 0 20 10 42 1";
    near(drawn(&file(slot)).area(), 200.0 + PI * 25.0, "a slot of bulges");
    let hollow = "0 LWPOLYLINE 8 0 90 4 70 1 10 0 20 0 10 20 20 0 42 -1 10 20 20 10 10 0 20 10";
    near(drawn(&file(hollow)).area(), 200.0 - PI * 12.5, "a bulge to the other side");
    // 0.5: an angle of 4 atan 0.5 = 1.8546 over a chord of 10, radius 6.25
    let segment = 0.5 * 6.25 * 6.25 * (1.854_590 - 0.96);
    for (bulge, sign) in [("0.5", 1.0), ("-0.5", -1.0)] {
        let side =
            format!("0 LWPOLYLINE 8 0 90 4 70 1 10 0 20 0 10 20 20 0 42 {bulge} 10 20 20 10 10 0 20 10");
        near(drawn(&file(&side)).area(), 200.0 + sign * segment, "a bulge of less than half a circle");
    }
    let old = "0 POLYLINE 8 0 66 1 70 1 0 VERTEX 8 0 10 0 20 0 0 VERTEX 8 0 10 20 20 0 42 1 0 VERTEX 8 0 10 20 20 10 0 VERTEX 8 0 10 0 20 10 0 SEQEND";
    near(drawn(&file(old)).area(), 200.0 + PI * 12.5, "a polyline of old");
    // lines and arcs in any order and sense
    let joined = "0 LINE 8 0 10 20 20 10 11 0 21 10 0 ARC 8 0 10 20 20 5 40 5 50 270 51 90 0 LINE 8 0 10 20 20 0 11 0 21 0 0 ARC 8 0 10 0 20 5 40 5 50 90 51 270";
    near(drawn(&file(joined)).area(), 200.0 + PI * 25.0, "a slot of four pieces");
    // nine control points and weights of a circle (Piegl and Tiller, The NURBS Book, 7.5; from memory)
    let w = 0.5_f64.sqrt();
    let corner = [(1, 0), (1, 1), (0, 1), (-1, 1), (-1, 0), (-1, -1), (0, -1), (1, -1), (1, 0)];
    let mut spline = "0 SPLINE 8 0 70 12 71 2".to_owned();
    for k in [0, 0, 0, 1, 1, 2, 2, 3, 3, 4, 4, 4] {
        spline += &format!(" 40 {k}");
    }
    for k in 0..9 {
        spline += &format!(" 41 {}", if k % 2 == 0 { 1.0 } else { w });
    }
    for (x, y) in corner {
        spline += &format!(" 10 {} 20 {}", 30 + 7 * x, 20 + 7 * y);
    }
    near(drawn(&file(&spline)).area(), PI * 49.0, "a rational spline");
}

#[test]
fn one_within_another_is_a_hole_and_units_are_the_files_own() {
    let ring = "0 CIRCLE 8 0 10 5 20 5 40 4 0 CIRCLE 8 0 10 5 20 5 40 2";
    near(drawn(&file(ring)).area(), PI * 12.0, "mm");
    for (code, mm) in [(1, 25.4), (2, 304.8), (5, 10.0), (6, 1000.0), (9, 0.0254), (14, 100.0)] {
        let text = file(ring).replace("$INSUNITS\n70\n4\n", &format!("$INSUNITS\n70\n{code}\n"));
        let (outline, _) = read_text("a.dxf", text.as_bytes(), Some(1.0), 1.0).unwrap();
        let b = outline.layers[0].outline.bounds().unwrap();
        near(b.size().x, 8.0 * mm, "another unit");
    }
    // without one the job's holds
    let text = file(ring).replace("$INSUNITS", "$LUNITS");
    near(drawn(&text).area(), PI * 12.0, "the job's mm");
    // one that the job asks for in vain is told where the file says its own
    let told = |text: &str, asked: Option<f64>| {
        let mut notes = Notes::default();
        super::read(&mut notes, "a.dxf", text.as_bytes(), asked).unwrap();
        notes.warnings.iter().map(|d| d.code).collect::<Vec<_>>()
    };
    assert_eq!(told(&file(ring), Some(25.4)), ["key-unused"]);
    assert_eq!(told(&text, None), ["unit-doubtful"], "8 mm across, or 8 inches");
    assert!(told(&text.replace("40\n4\n", "40\n6\n"), None).is_empty(), "12 mm");
    for (text, asked) in [(file(ring), Some(1.0)), (file(ring), None), (text, Some(25.4))] {
        assert!(told(&text, asked).is_empty(), "{asked:?}");
    }
}

#[test]
fn names_of_layers_and_blocks_have_no_case() {
    let text = "0 SECTION 2 TABLES 0 LAYER 2 CENTRE 62 -7 70 0 0 ENDSEC \
        0 SECTION 2 BLOCKS 0 BLOCK 2 Plate 10 0 20 0 0 CIRCLE 8 0 10 0 20 0 40 5 0 ENDBLK 0 ENDSEC \
        0 SECTION 2 ENTITIES 0 INSERT 8 0 2 PLATE 10 7 20 7 0 LINE 8 Centre 10 0 20 0 11 9 21 9 0 ENDSEC 0 EOF";
    near(drawn(&pairs(text)).area(), PI * 25.0, "the plate, and no line of the layer that is off");
}

#[test]
fn blocks_are_put_where_they_are_inserted() {
    let file = |insert: &str| {
        pairs(&format!(
            "0 SECTION 2 BLOCKS 0 BLOCK 8 0 2 tab 10 1 20 1 0 LWPOLYLINE 8 0 90 3 70 1 10 1 20 1 10 5 20 1 10 1 20 3 0 ENDBLK 0 ENDSEC 0 SECTION 2 ENTITIES {insert} 0 ENDSEC 0 EOF"
        ))
    };
    let a = drawn(&file("0 INSERT 8 0 2 tab 10 20 20 10 41 2 42 3 50 90"));
    near(a.area(), 4.0 * 6.0, "scaled");
    let b = a.bounds().unwrap();
    near(b.lo.x, 14.0, "turned: what was up is to the left");
    near(b.hi.x, 20.0, "from the base on");
    near(b.hi.y, 18.0, "what was right is up");
    let many = drawn(&file("0 INSERT 8 0 2 tab 10 20 20 10 70 3 71 2 44 10 45 5"));
    near(many.area(), 6.0 * 4.0, "an array");
    assert_eq!(many.polygons().len(), 6);
    // seen from below x counts the other way
    let mirrored = drawn(&file("0 INSERT 8 0 2 tab 10 20 20 10 210 0 220 0 230 -1"));
    near(mirrored.bounds().unwrap().lo.x, -24.0, "mirrored");
    let circle = "0 CIRCLE 8 0 10 -30 20 20 40 7 210 0 220 0 230 -1";
    near(drawn(&self::file(circle)).bounds().unwrap().lo.x, 23.0, "a circle drawn from below");
}

#[test]
fn layers_say_what_counts() {
    let layers = "0 SECTION 2 TABLES 0 TABLE 2 LAYER 0 LAYER 2 centre_lines 70 1 62 7 0 LAYER 2 notes 70 0 62 -3 0 ENDTAB 0 ENDSEC";
    let square = |layer: &str, x: f64| {
        format!(
            "0 LWPOLYLINE 8 {layer} 90 4 70 1 10 {x} 20 0 10 {} 20 0 10 {} 20 2 10 {x} 20 2",
            x + 2.0,
            x + 2.0
        )
    };
    let text = pairs(&format!(
        "{layers} 0 SECTION 2 ENTITIES {} 0 LINE 8 centre_lines 10 0 20 0 11 9 21 9 {} {} 0 TEXT 8 0 1 hello 0 LINE 8 0 67 1 10 0 20 0 11 5 21 5 0 ENDSEC 0 EOF",
        square("part", 0.0),
        square("notes", 5.0),
        square("region-web", 10.0)
    ));
    let mut notes = Notes::default();
    let (outline, _) = read_with(&mut notes, "a.dxf", text.as_bytes(), Some(1.0), 1.0).unwrap();
    near(outline.layers[0].outline.area(), 4.0, "the part alone");
    near(outline.shapes["web"].area(), 4.0, "a shape for the map");
    let told: Vec<&str> = notes.warnings.iter().map(|d| d.message.as_str()).collect();
    assert_eq!(told, ["`TEXT` is not read"]);
}

/// A plate of 60 x 40 mm.
const PLATE: &str = "0 LWPOLYLINE 8 0 90 4 70 1 10 0 20 0 10 60 20 0 10 60 20 40 10 0 20 40";

/// What a drawing encloses, and what is warned of: codes and messages.
fn told(text: &str) -> (Area, Vec<(&'static str, String)>) {
    let mut notes = Notes::default();
    let (outline, _) = read_with(&mut notes, "a.dxf", text.as_bytes(), Some(1.0), 1.0).unwrap();
    let warnings = notes.warnings.iter().map(|d| (d.code, d.message.clone())).collect();
    (outline.layers[0].outline.clone(), warnings)
}

#[test]
fn turns_lose_digits_and_stay_whole() {
    for to in ["6.283", "6.2832", "6.283185", "6.28318531", "6.2831853072"] {
        let ellipse = format!("0 ELLIPSE 8 0 10 30 20 20 11 8 21 0 40 0.5 41 0.0 42 {to}");
        near(drawn(&file(&format!("{PLATE} {ellipse}"))).area(), 2400.0 - PI * 32.0, to);
        near(drawn(&file(&ellipse)).area(), PI * 32.0, to);
    }
    for (from, to) in
        [("30", "390.0000001"), ("30", "389.9999999"), ("30", "30.0000001"), ("360", "0"), ("0", "720")]
    {
        let turn = format!("{PLATE} 0 ARC 8 0 10 30 20 20 40 8 50 {from} 51 {to}");
        near(drawn(&file(&turn)).area(), 2400.0 - PI * 64.0, to);
    }
    // an arc over the angle where they begin again is none
    let quarter = file("0 ARC 8 0 10 30 20 20 40 8 50 315 51 45");
    assert_eq!(codes(&read_text("a.dxf", quarter.as_bytes(), Some(1.0), 1.0)), ["outline-open"; 2]);
}

#[test]
fn a_hole_with_open_joints_that_is_drawn_twice_stays_one() {
    let square = |lo: f64, hi: f64, open: f64| {
        let line =
            |a: [f64; 2], b: [f64; 2]| format!("0 LINE 8 0 10 {} 20 {} 11 {} 21 {} ", a[0], a[1], b[0], b[1]);
        line([lo, lo], [hi - open, lo])
            + &line([hi, lo], [hi, hi - open])
            + &line([hi, hi], [lo + open, hi])
            + &line([lo, hi], [lo, lo + open])
    };
    let text = square(0.0, 60.0, 0.0) + &square(20.0, 40.0, 0.004) + &square(20.002, 40.002, 0.004);
    let (area, warnings) = told(&file(&text));
    near(area.area(), 3200.0, "the plate without the hole");
    assert_eq!(warnings, [("drawing-overlap", super::counted_once(1, "closed curve"))]);
}

#[test]
fn arcs_whose_angles_are_more_than_a_turn_apart_are_as_long_as_they_look() {
    // from 400 to 30 degrees: 350 of them, from 350 to 800: 90
    let closing = |from: f64, to: f64| {
        let at = |deg: f64| {
            let t = deg.to_radians();
            (5.0 * libm::cos(t), 5.0 * libm::sin(t))
        };
        let ((x, y), (u, v)) = (at(from), at(to));
        format!("0 ARC 8 0 10 0 20 0 40 5 50 {from} 51 {to} 0 LINE 8 0 10 {x} 20 {y} 11 {u} 21 {v}")
    };
    for (from, to, turn) in [(400.0_f64, 30.0_f64, 350.0_f64), (350.0, 800.0, 90.0), (10.0, 100.0, 90.0)] {
        let t = turn.to_radians();
        near(drawn(&file(&closing(from, to))).area(), 12.5 * (t - libm::sin(t)), "a segment");
    }
}

#[test]
fn what_is_drawn_twice_counts_once() {
    let square = "0 LINE 8 0 10 0 20 0 11 9 21 0 0 LINE 8 0 10 9 20 0 11 9 21 9 0 LINE 8 0 10 9 20 9 11 0 21 9 0 LINE 8 0 10 0 20 9 11 0 21 0";
    let again = "0 LINE 8 0 10 9 20 9 11 9 21 0 0 CIRCLE 8 0 10 4 20 4 40 1 0 CIRCLE 8 0 10 4 20 4 40 1";
    let (area, warnings) = told(&file(&format!("{square} {again}")));
    near(area.area(), 81.0 - PI, "a square with a hole");
    let once = |n: usize, what: &str| ("drawing-overlap", super::counted_once(n, what));
    assert_eq!(warnings, [once(1, "curve"), once(1, "closed curve")]);
    // by other curves, from another corner, of other pieces
    let circle = "0 CIRCLE 8 0 10 30 20 20 40 8";
    let arcs = "0 ARC 8 A 10 30 20 20 40 8 50 10 51 130 0 ARC 8 A 10 30 20 20 40 8 50 130 51 370";
    let ellipse = "0 ELLIPSE 8 0 10 30 20 20 11 0 21 8 40 1 41 0 42 6.2831853";
    let bulges = "0 LWPOLYLINE 8 0 90 2 70 1 10 22 20 20 42 1 10 38 20 20 42 1";
    let block = "0 LWPOLYLINE 8 0 90 4 70 1 10 20 20 10 10 40 20 10 10 40 20 30 10 20 20 30";
    let turned = "0 LWPOLYLINE 8 0 90 4 70 1 10 40 20 30.004 10 40 20 10 10 20 20 10 10 20 20 30";
    let line =
        |a: [u8; 2], b: [u8; 2]| format!("0 LINE 8 0 10 {} 20 {} 11 {} 21 {} ", a[0], a[1], b[0], b[1]);
    let sides = [[20, 10], [40, 10], [40, 30], [20, 30], [20, 10]];
    let halves = [[20, 10], [30, 10], [40, 10], [40, 20], [40, 30], [30, 30], [20, 30], [20, 20], [20, 10]];
    let mixed: String = (0..4)
        .map(|k| {
            line(sides[k], sides[k + 1])
                + &line(halves[2 * k], halves[2 * k + 1])
                + &line(halves[2 * k + 2], halves[2 * k + 1])
        })
        .collect();
    let round = PI * 64.0;
    for (hole, twice, area) in [
        (circle, arcs.to_owned(), round),
        (circle, ellipse.to_owned(), round),
        (bulges, arcs.to_owned(), round),
        (bulges, circle.to_owned(), round),
        (block, turned.to_owned(), 400.0),
        ("", mixed, 400.0),
    ] {
        for text in [format!("{PLATE} {hole} {twice}"), format!("{twice} {hole} {PLATE}")] {
            let (found, warnings) = told(&file(&text));
            near(found.area(), 2400.0 - area, &text);
            assert_eq!((found.polygons().len(), found.rings().count()), (1, 2), "{text}");
            assert_eq!(warnings, [once(1, "closed curve")], "{text}");
        }
    }
    // alike at their ends and in the middle
    let flat = "0 ELLIPSE 8 0 10 30 20 20 11 8 21 0 40 0.5 41 0 42 6.2831853";
    let (found, warnings) = told(&file(&format!("{PLATE} {circle} {flat}")));
    near(found.area(), 2400.0 - round + PI * 32.0, "an ellipse in a circle");
    assert_eq!(warnings, []);
}

#[test]
fn what_overlaps_in_part_is_told() {
    let other = "0 CIRCLE 8 0 10 20 20 20 40 8 0 LWPOLYLINE 8 0 90 4 70 1 10 50 20 0 10 80 20 0 10 80 20 20 10 50 20 20";
    let (area, warnings) = told(&file(&format!("{PLATE} {other}")));
    near(area.area(), 2400.0 - PI * 64.0 + 200.0, "even-odd");
    assert_eq!(warnings.len(), 1, "{warnings:?}");
    assert!(warnings[0].0 == "drawing-overlap" && warnings[0].1.contains("here 200.000 mm2"), "{warnings:?}");
}

#[test]
fn an_insertion_on_a_layer_that_is_off_draws_what_is_on_others() {
    let text = |flags: u8, colour: i8, own: &str| {
        pairs(&format!(
            "0 SECTION 2 TABLES 0 TABLE 2 LAYER 0 LAYER 2 parts 70 {flags} 62 {colour} 0 LAYER 2 geo 70 0 62 7 0 ENDTAB 0 ENDSEC \
             0 SECTION 2 BLOCKS 0 BLOCK 2 inner 10 0 20 0 0 CIRCLE 8 {own} 10 0 20 0 40 8 0 ENDBLK \
             0 BLOCK 2 outer 10 0 20 0 0 INSERT 8 0 2 inner 10 0 20 0 0 ENDBLK 0 ENDSEC \
             0 SECTION 2 ENTITIES {PLATE} 0 INSERT 8 Parts 2 outer 10 30 20 20 0 ENDSEC 0 EOF"
        ))
    };
    for (flags, colour, own, seen) in [
        (0, 7, "geo", true),
        (0, -7, "geo", true),
        (0, -7, "0", false),
        (0, -7, "parts", false),
        (1, 7, "geo", false),
        (1, -7, "geo", false),
        (0, 7, "0", true),
    ] {
        let hole = if seen { PI * 64.0 } else { 0.0 };
        near(drawn(&text(flags, colour, own)).area(), 2400.0 - hole, &format!("{flags} {colour} {own}"));
    }
}

#[test]
fn widths_and_drawings_in_other_files_are_told() {
    let width = |text: &str| {
        let (_, warnings) = told(&file(&format!("{PLATE} {text}")));
        warnings.iter().map(|w| w.1.clone()).collect::<Vec<_>>()
    };
    let donut = "0 LWPOLYLINE 8 0 90 2 70 1 43 10 10 20 20 20 42 1 10 40 20 20 42 1";
    assert_eq!(width(donut), ["the width of `LWPOLYLINE` is not read"]);
    assert!(width(&donut.replace("43 10", "43 0")).is_empty());
    let tapered = donut.replace("43 10", "40 0 41 2.5");
    assert_eq!(width(&tapered), ["the width of `LWPOLYLINE` is not read"]);
    let old = "0 POLYLINE 8 0 66 1 70 1 40 0 41 0 0 VERTEX 8 0 10 20 20 20 42 1 0 VERTEX 8 0 10 40 20 20 42 1 0 SEQEND";
    assert!(width(old).is_empty());
    assert_eq!(width(&old.replace("40 0 41 0", "40 10 41 10")), ["the width of `POLYLINE` is not read"]);
    assert_eq!(
        width(&old.replace("10 40 20 20", "10 40 20 20 41 1")),
        ["the width of `POLYLINE` is not read"]
    );
    for flags in [4, 12, 36] {
        let text = pairs(&format!(
            "0 SECTION 2 BLOCKS 0 BLOCK 8 0 2 Other 70 {flags} 10 0 20 0 1 other.dwg 0 ENDBLK 0 ENDSEC 0 SECTION 2 ENTITIES {PLATE} 0 INSERT 8 0 2 OTHER 10 0 20 0 0 ENDSEC 0 EOF"
        ));
        let mut notes = Notes::default();
        read_with(&mut notes, "a.dxf", text.as_bytes(), Some(1.0), 1.0).unwrap();
        assert_eq!(notes.warnings.len(), 1, "{:?}", notes.warnings);
        let d = &notes.warnings[0];
        assert_eq!(d.message, "the drawing in another file that `OTHER` refers to is not read");
        assert_eq!(place(d).0, text.lines().position(|l| l == "INSERT").unwrap() + 1, "{d}");
    }
}

/// A closed ring of lines round (20, 20) with corners `apart` mm from one another.
fn fine_ring(radius: f64, apart: f64) -> String {
    let n = (2.0 * PI * radius / apart).ceil();
    let corner = |k: f64| {
        let (sin, cos) = crate::geom::trig::sin_cos(2.0 * PI * k / n);
        (20.0 + radius * cos, 20.0 + radius * sin)
    };
    let mut text = String::new();
    let mut k = 0.0;
    while k < n {
        let ((a, b), (c, d)) = (corner(k), corner(if k + 1.0 < n { k + 1.0 } else { 0.0 }));
        text += &format!("0 LINE 8 0 10 {a:.6} 20 {b:.6} 11 {c:.6} 21 {d:.6} ");
        k += 1.0;
    }
    text
}

#[test]
fn short_lines_are_pieces_of_an_outline() {
    for (radius, apart) in [(4.0, 0.0087), (1.0, 0.002), (0.2, 0.0004)] {
        let (area, warnings) = told(&file(&format!("{PLATE} {}", fine_ring(radius, apart))));
        near(2400.0 - area.area(), PI * radius * radius, "a ring of short lines");
        assert_eq!(warnings, []);
    }
    // one that closes what is left open, where the ends would have met without it
    let gap = "0 LWPOLYLINE 8 0 90 4 70 0 10 10 20 10 10 20 20 10 10 20 20 20 10 10 20 10.009";
    let bridged = format!("{PLATE} {gap} 0 LINE 8 0 10 10 20 10 11 10 21 10.009");
    let (area, warnings) = told(&file(&bridged));
    near(2400.0 - area.area(), 50.0, "a gap with a line across it");
    assert_eq!(warnings, []);
    let (area, warnings) = told(&file(&format!("{PLATE} {gap}")));
    near(2400.0 - area.area(), 50.0, "a gap");
    assert_eq!(warnings, []);
    // scraps change nothing and are told, wherever they lie; a place is no line
    for at in ["10 20 20 20 11 20 21 20.004", "10 0 20 0 11 0.003 21 0.003"] {
        let (area, warnings) =
            told(&file(&format!("{PLATE} 0 LINE 8 0 {at} 0 LINE 8 0 10 5 20 5 11 5 21 5")));
        near(area.area(), 2400.0, at);
        assert_eq!(warnings.len(), 1, "{warnings:?}");
        assert!(warnings[0].0 == "element-not-read" && warnings[0].1.contains("at most 0.04 mm long"));
    }
    // closed, and with nothing within
    for sliver in ["0 CIRCLE 8 0 10 20 20 20 40 0.004", "0 LWPOLYLINE 8 0 90 2 70 1 10 20 20 20 10 30 20 20"]
    {
        let (area, warnings) = told(&file(&format!("{PLATE} {sliver}")));
        near(area.area(), 2400.0, sliver);
        assert_eq!(area.rings().count(), 1, "{sliver}");
        assert!(warnings.len() == 1 && warnings[0].1.contains("nowhere 0.01 mm wide"), "{warnings:?}");
    }
}

#[test]
fn small_files_that_draw_without_end_are_refused() {
    let array = pairs(
        "0 SECTION 2 BLOCKS 0 BLOCK 2 hole 10 0 20 0 0 CIRCLE 8 0 10 0 20 0 40 49 0 ENDBLK 0 ENDSEC 0 SECTION 2 ENTITIES 0 INSERT 8 0 2 hole 10 0 20 0 70 200 71 200 44 100 45 100 0 ENDSEC 0 EOF",
    );
    let got = read_text("a.dxf", array.as_bytes(), Some(1.0), 1.0);
    assert_eq!(codes(&got), ["outline-too-large"]);
    assert!(got.unwrap_err().0[0].message.contains("4000000 points"));
}

#[test]
fn lines_that_all_begin_in_one_place_are_told() {
    // in one place, and in places that nobody can tell apart
    let star = |apart: f64| {
        let line = |k: u32| {
            let (sin, cos) = crate::geom::trig::sin_cos(f64::from(k) * 1e-3);
            let at = 20.0 + f64::from(k) * apart;
            format!("0 LINE 8 0 10 {at:.7} 20 20 11 {:.5} 21 {:.5} ", 20.0 + 10.0 * cos, 20.0 + 10.0 * sin)
        };
        file(&(0..1500).map(line).collect::<String>())
    };
    let got = read_text("a.dxf", star(0.0).as_bytes(), Some(1.0), 1.0);
    assert_eq!(codes(&got), ["outline-open"; 20]);
    let got = read_text("a.dxf", star(5e-6).as_bytes(), Some(1.0), 1.0);
    let faults = got.unwrap_err().0;
    assert!(faults.len() == 1 && faults[0].message.contains("more than 1000 ends"), "{}", faults[0]);
}

#[test]
fn faults_are_told_with_their_line() {
    let line = |text: &str, word: &str| text.lines().position(|l| l == word).unwrap() + 1;
    let open = file(
        "0 LINE 8 0 10 0 20 0 11 9 21 0 0 LINE 8 0 10 9 20 0.02 11 9 21 9 0 LINE 8 0 10 9 20 9 11 0 21 0",
    );
    let got = read_text("a.dxf", open.as_bytes(), Some(1.0), 1.0);
    assert_eq!(codes(&got), ["outline-open", "outline-open"]);
    let d = &got.as_ref().unwrap_err().0[0];
    assert!(d.message.contains("x 9.000 mm, y 0.000 mm") && d.message.contains("0.020 mm from"), "{d}");
    assert_eq!(place(d).0, line(&open, "LINE"), "{d}");
    for (entities, words) in [
        ("0 CIRCLE 8 0 10 1 20 1 40 two", "`two` is no number"),
        ("0 CIRCLE 8 0 10 1 20 1 40 -2", "radius -2"),
        ("0 CIRCLE 8 0 10 1 20 1", "no group code 40"),
        ("0 LINE 8 0 10 1 20 1", "no group code 11"),
        ("0 CIRCLE 8 0 10 1 20 1 40 2 210 1 220 0 230 0", "xy plane"),
        ("0 INSERT 8 0 2 gone 10 1 20 1", "no block `gone`"),
        ("0 SPLINE 8 0 71 3 11 1 21 1", "cannot be drawn"),
        ("0 CIRCLE 8 0 10 1 20 nan 40 2", "`nan` is no number"),
    ] {
        let text = file(entities);
        let got = read_text("a.dxf", text.as_bytes(), Some(1.0), 1.0);
        assert_eq!(codes(&got), ["dxf-unreadable"], "{entities}");
        assert!(got.as_ref().unwrap_err().0[0].message.contains(words), "{entities}: {got:?}");
    }
    let far = read_text("a.dxf", file("0 CIRCLE 8 0 10 1e9 20 1 40 2").as_bytes(), Some(1.0), 1.0);
    assert_eq!(codes(&far), ["outline-too-large"]);
    let endless = pairs(
        "0 SECTION 2 BLOCKS 0 BLOCK 2 a 10 0 20 0 0 INSERT 8 0 2 a 10 1 20 1 0 ENDBLK 0 ENDSEC 0 SECTION 2 ENTITIES 0 INSERT 8 0 2 a 10 0 20 0 0 ENDSEC 0 EOF",
    );
    let got = read_text("a.dxf", endless.as_bytes(), Some(1.0), 1.0);
    assert!(got.unwrap_err().0[0].message.contains("in a circle"));
    // blocks of blocks that draw nothing
    let hollow = pairs(
        "0 SECTION 2 BLOCKS 0 BLOCK 2 a 10 0 20 0 0 ENDBLK 0 BLOCK 2 b 10 0 20 0 0 INSERT 8 0 2 a 10 0 20 0 70 1000 71 1000 0 ENDBLK 0 ENDSEC 0 SECTION 2 ENTITIES 0 INSERT 8 0 2 b 10 0 20 0 70 1000 71 1000 0 ENDSEC 0 EOF",
    );
    assert_eq!(codes(&read_text("a.dxf", hollow.as_bytes(), Some(1.0), 1.0)), ["outline-too-large"]);
    for (bytes, words) in [
        (&b""[..], "empty"),
        (b"some words\nthat are no pairs\n", "is no group code"),
        (b"0\nSECTION\n2", "cut off"),
        (b"a binary\0file", "binary"),
        (b"0\nSECTION\n2\nHEADER\n9\n$INSUNITS\n70\n17\n0\nENDSEC\n0\nEOF\n", "no unit that is read"),
    ] {
        let got = read_text("a.dxf", bytes, Some(1.0), 1.0);
        assert_eq!(codes(&got), ["dxf-unreadable"], "{words}");
        assert!(got.as_ref().unwrap_err().0[0].message.contains(words), "{got:?}");
    }
    let nothing = read_text("a.dxf", file("0 POINT 8 0 10 1 20 1").as_bytes(), Some(1.0), 1.0);
    assert_eq!(codes(&nothing), ["outline-empty"]);
    let flat = read_text("a.dxf", file("0 CIRCLE 8 0 10 1 20 1 40 2").as_bytes(), None, 1.0);
    assert_eq!(codes(&flat), ["thickness-missing"]);
}

#[test]
fn a_file_that_is_cut_off_is_no_other_part() {
    let plate = "0 LWPOLYLINE 8 0 90 4 70 1 10 0 20 0 10 50 20 0 10 50 20 30 10 0 20 30";
    let text = file(&format!("{plate} 0 CIRCLE 8 0 10 20 20 15 40 5 0 CIRCLE 8 0 10 35 20 15 40 5"));
    let all = drawn(&text);
    let mut refused = 0;
    for end in 0..text.len() {
        match read_text("a.dxf", &text.as_bytes()[..end], Some(1.0), 1.0) {
            Ok((outline, _)) => assert_eq!(outline.layers[0].outline, all, "cut at byte {end}"),
            Err(_) => refused += 1,
        }
    }
    // behind the last section's end nothing is missing; a group code without its value is told
    let end = text.find("ENDSEC\n0\nEOF").unwrap() + "ENDSEC".len();
    assert!((end..=end + 2).contains(&refused), "{refused} of {}, {end} before that end", text.len());
    let short = file(&plate.replace("90 4", "90 5"));
    let got = read_text("a.dxf", short.as_bytes(), Some(1.0), 1.0);
    assert!(got.unwrap_err().0[0].message.contains("has 4 corners and says that it has 5"));
    near(drawn(&file(&plate.replace("90 4", "90 4.0"))).area(), 1500.0, "a count as a number");
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::with_cases(64) })]

    #[test]
    fn no_bytes_panic(cut in 0..900usize, at in 0..900usize, value: u8) {
        let text = file("0 LINE 8 0 10 20 20 10 11 0 21 10 0 ARC 8 0 10 20 20 5 40 5 50 270 51 90 0 LINE 8 0 10 20 20 0 11 0 21 0 0 ARC 8 0 10 0 20 5 40 5 50 90 51 270 0 SPLINE 8 0 71 1 40 0 40 0 40 1 40 1 10 1 20 1 10 2 20 2 0 LWPOLYLINE 8 0 90 3 70 1 10 5 20 5 42 0.5 10 9 20 5 10 5 20 9");
        let mut bytes = text.into_bytes();
        if let Some(b) = bytes.get_mut(at) {
            *b = value;
        }
        bytes.truncate(cut);
        let _ = read_text("a.dxf", &bytes, Some(1.0), 1.0);
    }

    /// Pieces of a ring in any order and sense join to the ring.
    #[test]
    fn pieces_in_any_order_join(order in Just((0..12usize).collect::<Vec<_>>()).prop_shuffle(), flipped in prop::collection::vec(any::<bool>(), 12)) {
        let corner = |k: usize| {
            let t = k as f64 / 12.0 * std::f64::consts::TAU;
            (40.0 + (20.0 + (k % 3) as f64) * crate::geom::trig::cos(t), 40.0 + 20.0 * crate::geom::trig::sin(t))
        };
        let whole: f64 = (0..12).map(|k| {
            let ((a, b), (c, d)) = (corner(k), corner((k + 1) % 12));
            0.5 * (a * d - b * c)
        }).sum();
        let text: String = order.iter().map(|&k| {
            let (mut a, mut b) = (corner(k), corner((k + 1) % 12));
            if flipped[k] {
                std::mem::swap(&mut a, &mut b);
            }
            format!("0 LINE 8 0 10 {} 20 {} 11 {} 21 {} ", a.0, a.1, b.0, b.1)
        }).collect();
        let area = drawn(&file(&text)).area();
        prop_assert!((area - whole).abs() < 1e-3, "{area}, {whole}");
    }
}
