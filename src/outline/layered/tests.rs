#![allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "numbers of a small file")]

use super::super::tests::{codes, place, read_text, read_with};
use crate::diagnostic::Notes;
use crate::geom::polyline;
use proptest::prelude::*;

/// One layer: z, and its contours with their directions.
type Sheet = (f64, Vec<(i64, Vec<[f64; 2]>)>);

fn square(x: f64, y: f64, side: f64, outer: bool) -> (i64, Vec<[f64; 2]>) {
    let mut ring = vec![[x, y], [x + side, y], [x + side, y + side], [x, y + side], [x, y]];
    if !outer {
        ring.reverse();
    }
    (i64::from(outer), ring)
}

fn ascii(unit: f64, sheets: &[Sheet]) -> Vec<u8> {
    let mut out = format!(
        "$$HEADERSTART // made by hand //\n$$ASCII\n$$UNITS/{unit}\n$$VERSION/200\n$$LAYERS/{}\n$$HEADEREND\n$$GEOMETRYSTART\n",
        sheets.len()
    );
    for (z, contours) in sheets {
        out += &format!("$$LAYER/{}\n", z / unit);
        for (direction, ring) in contours {
            out += &format!("$$POLYLINE/1,{direction},{}", ring.len());
            for [x, y] in ring {
                out += &format!(",{},{}", x / unit, y / unit);
            }
            out += "\n";
        }
    }
    (out + "$$GEOMETRYEND\n").into_bytes()
}

/// The same in bytes: long or short commands, with or without padding.
fn binary(unit: f64, sheets: &[Sheet], short: bool, padded: bool) -> Vec<u8> {
    let align = if padded { "$$ALIGN\n" } else { "" };
    let mut out = format!("$$HEADERSTART\n$$BINARY\n$$UNITS/{unit}\n{align}$$HEADEREND").into_bytes();
    fn number(out: &mut Vec<u8>, v: f64, short: bool, padded: bool) {
        if short {
            out.extend((v.round() as u16).to_le_bytes());
            out.extend(if padded { &[0, 0][..] } else { &[] });
        } else {
            out.extend((v as f32).to_le_bytes());
        }
    }
    let field = |out: &mut Vec<u8>, v: i64| {
        if short {
            number(out, v as f64, true, padded);
        } else {
            out.extend((v as i32).to_le_bytes());
        }
    };
    for (z, contours) in sheets {
        number(&mut out, if short { 128.0 } else { 127.0 }, true, padded);
        number(&mut out, z / unit, short, padded);
        for (direction, ring) in contours {
            number(&mut out, if short { 129.0 } else { 130.0 }, true, padded);
            field(&mut out, 7);
            field(&mut out, *direction);
            field(&mut out, ring.len() as i64);
            for v in ring.iter().flatten() {
                number(&mut out, v / unit, short, padded);
            }
        }
        number(&mut out, if short { 131.0 } else { 132.0 }, true, padded);
        field(&mut out, 7);
        field(&mut out, 1);
        for v in [1.0, 1.0, 2.0, 2.0] {
            number(&mut out, v, short, padded);
        }
    }
    out
}

fn plate() -> Vec<Sheet> {
    let holed = || vec![square(1.0, 2.0, 10.0, true), square(3.0, 4.0, 5.0, false)];
    vec![
        (0.5, Vec::new()),
        (0.7, holed()),
        (0.9, holed()),
        (1.2, Vec::new()),
        (1.4, vec![square(20.0, 2.0, 3.0, true), square(1.0, 2.0, 10.0, true)]),
        (1.6, Vec::new()),
    ]
}

/// The string that open readers of the format are tried with: a layer at z 0.1 mm, two points
/// at (6.60, 4.38) and (6.62, 4.79) mm in units of 0.1 mm; here it goes on to a contour.
#[test]
fn the_known_example_is_read() {
    let text = "$$HEADERSTART\n$$ASCII\n$$UNITS/0.100000\n$$HEADEREND\n$$GEOMETRYSTART\n$$LAYER/0.0\n$$LAYER/1.0\n$$POLYLINE/1,1,4,66.0,43.8,66.2,47.9,60,47.9,66,43.8\n";
    let (outline, _) = read_text("a.cli", text.as_bytes(), None, 0.3).unwrap();
    let [layer] = outline.layers.as_slice() else { panic!("one layer: {outline:?}") };
    assert_eq!((layer.z_bottom_mm, layer.height_mm), (0.0, 0.1));
    let ring = layer.outline.polygons()[0].outer();
    assert!(ring.iter().any(|p| (p.x - 6.60).abs() < 1e-6 && (p.y - 4.38).abs() < 1e-6), "{ring:?}");
    assert!(ring.iter().any(|p| (p.x - 6.62).abs() < 1e-6 && (p.y - 4.79).abs() < 1e-6), "{ring:?}");
}

#[test]
fn every_form_says_the_same() {
    let sheets = plate();
    let forms = [
        ascii(1.0, &sheets),
        ascii(0.005, &sheets),
        binary(1.0, &sheets, false, false),
        binary(0.1, &sheets, false, true),
        binary(0.1, &sheets, true, false),
        binary(0.1, &sheets, true, true),
    ];
    for (k, bytes) in forms.iter().enumerate() {
        let mut notes = Notes::default();
        let (outline, _) = read_with(&mut notes, "a.cli", bytes, None, 0.2).unwrap();
        let heights: Vec<f64> = outline.layers.iter().map(|l| l.height_mm).collect();
        let areas: Vec<f64> = outline.layers.iter().map(|l| l.outline.area()).collect();
        for (found, want) in heights.iter().zip([0.2, 0.2, 0.3, 0.2]) {
            assert!((found - want).abs() < 1e-6, "form {k}: {heights:?}");
        }
        for (found, want) in areas.iter().zip([75.0, 75.0, 0.0, 109.0]) {
            assert!((found - want).abs() < 1e-3, "form {k}: {areas:?}");
        }
        assert_eq!((heights.len(), areas.len()), (4, 4), "form {k}: nothing of the top");
        let hatched = notes.warnings.iter().any(|d| d.message.contains("6 hatch blocks"));
        assert_eq!(hatched, k > 1, "form {k}: {:?}", notes.warnings);
    }
}

#[test]
fn names_may_be_in_any_encoding() {
    let named = |file: Vec<u8>| {
        let at = file.windows(9).position(|w| w == b"$$UNITS/1").unwrap();
        // so many that places behind them shift by a line
        [&file[..at], b"$$LABEL/1,Pr\xfcfk\xf6rper", &[0xe4; 40], b"\n", &file[at..]].concat()
    };
    for plain in [ascii(1.0, &plate()), binary(1.0, &plate(), false, true)] {
        let want = read_text("a.cli", &plain, None, 0.2).unwrap().0.layers;
        assert_eq!(read_text("a.cli", &named(plain), None, 0.2).unwrap().0.layers, want);
    }
    // the name is not told to be bytes where the header does not say which of them follow
    let unsaid = String::from_utf8(ascii(1.0, &plate())).unwrap().replace("$$ASCII\n", "");
    let unsaid = unsaid.replace("$$GEOMETRYSTART", "$$GEOMETRYSTART // ? //").into_bytes();
    let unsaid: Vec<u8> = unsaid.into_iter().map(|b| if b == b'?' { 0xfc } else { b }).collect();
    assert_eq!(read_text("a.cli", &named(unsaid), None, 0.2).unwrap().0.layers.len(), 4);
    // faults stay at their places
    let spoilt = String::from_utf8(ascii(1.0, &plate())).unwrap().replacen("$$LAYER/0.7", "$$LAYER/x", 1);
    let got = read_text("a.cli", &named(spoilt.into_bytes()), None, 0.2);
    assert_eq!(place(&got.unwrap_err().0[0]), (10, "$$LAYER".to_owned()));
}

#[test]
fn the_first_layer_without_a_base_is_as_high_as_the_next() {
    let sheet = |z: f64| (z, vec![square(0.0, 0.0, 4.0, true)]);
    let heights = |sheets: &[Sheet]| -> Vec<f64> {
        let (outline, _) = read_text("a.cli", &ascii(1.0, sheets), None, 0.15).unwrap();
        outline.layers.iter().map(|l| (l.height_mm * 1e6).round() / 1e6).collect()
    };
    assert_eq!(heights(&[sheet(0.25), sheet(0.5), sheet(0.7)]), [0.25, 0.25, 0.2]);
    assert_eq!(heights(&[sheet(10.0), sheet(10.1)]), [0.1, 0.1], "wherever it stands");
    assert_eq!(heights(&[sheet(3.0)]), [0.15], "the job's");
}

#[test]
fn a_contour_counts_as_said_and_the_contradiction_is_told() {
    let mut hole = square(3.0, 3.0, 4.0, true);
    hole.0 = 0;
    let sheets = [(0.2, vec![square(0.0, 0.0, 10.0, true), hole])];
    let mut notes = Notes::default();
    let (outline, _) = read_with(&mut notes, "a.cli", &ascii(1.0, &sheets), None, 0.2).unwrap();
    assert!((outline.layers[0].outline.area() - 84.0).abs() < 1e-6);
    assert_eq!(notes.warnings[0].code, "contour-turned");
    assert_eq!(place(&notes.warnings[0]).0, 10, "its line: {}", notes.warnings[0]);
}

#[test]
fn faults_are_told_with_their_place() {
    let with = |line: &str| {
        let head = "$$HEADERSTART\n$$ASCII\n$$UNITS/1\n$$HEADEREND\n$$GEOMETRYSTART\n$$LAYER/0.2\n";
        format!("{head}{line}\n$$GEOMETRYEND\n")
    };
    for (line, code, words) in [
        ("$$POLYLINE/1,1,3,0,0,1,0,1,1", "outline-open", "ends at x 1.000 mm, y 1.000 mm, 1.414 mm from"),
        ("$$POLYLINE/1,1,4,0,0,1,0,1,1", "cli-unreadable", "4 points need twice as many numbers, 6"),
        ("$$POLYLINE/1,3,1,0,0", "cli-unreadable", "direction 3"),
        ("$$POLYLINE/1,1,2,0,0,one,0", "cli-unreadable", "`one` is no number"),
        ("$$POLYLINE/1,1,-1", "cli-unreadable", "-1 points"),
        ("$$POLYLINE/1,1,4,0,0,1e9,0,1,1,0,0", "outline-too-large", "1e9"),
        ("$$LAYER/0.1", "cli-unreadable", "layers go up"),
        ("$$LAYER/high", "cli-unreadable", "`high` is no number"),
        ("$$CIRCLE/1", "cli-unreadable", "`$$CIRCLE`"),
    ] {
        let text = with(line);
        let got = read_text("a.cli", text.as_bytes(), None, 0.2);
        assert_eq!(codes(&got), [code], "{line}");
        let d = &got.as_ref().unwrap_err().0[0];
        assert!(d.message.contains(words), "{line}: {d}");
        assert_eq!(place(d).0, 7, "{line}: {d}");
    }
    for (text, words) in [
        (&b"$$HEADERSTART\n$$ASCII\n"[..], "no `$$HEADEREND`"),
        (b"", "0 bytes"),
        (b"$$HEADERSTART\n$$ASCII\n$$HEADEREND", "no `$$UNITS`"),
        (b"$$HEADERSTART\n$$UNITS/0\n$$HEADEREND", "no number of millimetres"),
        (b"$$HEADERSTART\n$$UNITS/1\n$$BINARY\n$$HEADEREND\x7f\x00\x00", "cut off"),
        (b"$$HEADERSTART\n$$UNITS/1\n$$BINARY\n$$HEADEREND\x01\x00", "1 is no command"),
    ] {
        let got = read_text("a.cli", text, None, 0.2);
        assert_eq!(codes(&got), ["cli-unreadable"], "{words}");
        assert!(got.as_ref().unwrap_err().0[0].message.contains(words), "{got:?}");
    }
    let huge =
        [&b"$$HEADERSTART\n$$UNITS/1\n$$BINARY\n$$HEADEREND\x82\x00"[..], &[0; 8], &[0xff, 0xff, 0xff, 0x7f]]
            .concat();
    let got = read_text("a.cli", &huge, None, 0.2);
    assert!(got.unwrap_err().0[0].message.contains("could follow"), "no memory for what is not there");
    let nothing = read_text("a.cli", &ascii(1.0, &[(0.2, Vec::new())]), None, 0.2);
    assert_eq!(codes(&nothing), ["outline-empty"]);
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::with_cases(96) })]

    #[test]
    fn no_bytes_panic(cut in 0..1200usize, at in 0..1200usize, value: u8, form in 0..4usize) {
        let mut bytes = match form {
            0 => ascii(0.1, &plate()),
            n => binary(0.1, &plate(), n == 2, n == 3),
        };
        if let Some(b) = bytes.get_mut(at) {
            *b = value;
        }
        bytes.truncate(cut);
        let _ = read_text("a.cli", &bytes, None, 0.2);
    }

    /// Any star-shaped outline has the area of its ring's shoelace formula.
    #[test]
    fn areas_are_those_of_the_rings(radii in prop::collection::vec(2.0..20.0f64, 5..40)) {
        let n = radii.len() as f64;
        let mut ring: Vec<[f64; 2]> = radii
            .iter()
            .enumerate()
            .map(|(k, r)| {
                let t = k as f64 / n * std::f64::consts::TAU;
                [40.0 + r * crate::geom::trig::cos(t), 40.0 + r * crate::geom::trig::sin(t)]
            })
            .collect();
        ring.push(ring[0]);
        let points: Vec<crate::geom::Point> = ring.iter().map(|p| crate::geom::pt(p[0], p[1])).collect();
        let want = polyline::signed_area(&points[..points.len() - 1]).abs();
        for bytes in [ascii(0.01, &[(0.2, vec![(1, ring.clone())])]), binary(0.01, &[(0.2, vec![(1, ring.clone())])], false, false)] {
            let (outline, _) = read_text("a.cli", &bytes, None, 0.2).unwrap();
            prop_assert!((outline.layers[0].outline.area() - want).abs() < 1e-3 * want);
        }
    }
}
