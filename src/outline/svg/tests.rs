use super::super::tests::{codes, notes_of, place, read_text};
use crate::geom::{Area, polyline};
use proptest::prelude::*;
use std::f64::consts::PI;

/// The outline of a drawing on a page of 100 mm by 100 mm, user units mm.
fn drawn(body: &str) -> Area {
    let text = page(body);
    let (outline, _) = read_text("a.svg", text.as_bytes(), Some(1.0), 1.0).unwrap();
    assert_eq!(outline.layers.len(), 1);
    outline.layers[0].outline.clone()
}

fn page(body: &str) -> String {
    format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"100mm\" height=\"100mm\" viewBox=\"0 0 100 100\">\n{body}\n</svg>"
    )
}

fn faults(body: &str) -> Vec<crate::diagnostic::Diagnostic> {
    read_text("a.svg", page(body).as_bytes(), Some(1.0), 1.0).unwrap_err().0
}

fn near(a: f64, b: f64, tolerance: f64) {
    assert!((a - b).abs() <= tolerance, "{a} is not {b} within {tolerance}");
}

#[test]
fn y_is_up_from_the_lower_left_corner() {
    let a = drawn("<rect x='10' y='20' width='30' height='5'/>");
    let b = a.bounds().unwrap();
    near(b.lo.x, 10.0, 1e-9);
    near(b.hi.x, 40.0, 1e-9);
    near(b.lo.y, 75.0, 1e-9);
    near(b.hi.y, 80.0, 1e-9);
}

#[test]
fn units_of_the_page() {
    for (w, h, mm) in [
        ("50mm", "25mm", 50.0),
        ("5cm", "2.5cm", 50.0),
        ("2in", "1in", 50.8),
        ("144pt", "72pt", 50.8),
        ("12pc", "6pc", 50.8),
        ("192px", "96px", 50.8),
        ("192", "96", 50.8),
    ] {
        let text = format!("<svg width='{w}' height='{h}' viewBox='0 0 2 1'><path d='M0,0H2V1H0Z'/></svg>");
        let (o, _) = read_text("a.svg", text.as_bytes(), Some(1.0), 1.0).unwrap();
        let b = o.layers[0].outline.bounds().unwrap();
        near(b.size().x, mm, 1e-6);
        near(b.size().y, mm / 2.0, 1e-6);
        near(b.lo.y, 0.0, 1e-6);
    }
}

#[test]
fn a_page_without_sizes_takes_them_from_the_view_box() {
    let text = "<svg viewBox='-48 -48 96 96'><circle r='24'/></svg>";
    let (o, _) = read_text("a.svg", text.as_bytes(), Some(1.0), 1.0).unwrap();
    let b = o.layers[0].outline.bounds().unwrap();
    near(b.size().x, 12.7, 1e-2);
    near(b.centre().x, 12.7, 1e-6);
    near(b.centre().y, 12.7, 1e-2);
    let one_side = "<svg width='40mm' viewBox='0 0 20 10'><rect width='20' height='10'/></svg>";
    let (o, _) = read_text("a.svg", one_side.as_bytes(), Some(1.0), 1.0).unwrap();
    near(o.layers[0].outline.area(), 800.0, 1e-6);
    let none = read_text("a.svg", b"<svg><rect width='1' height='1'/></svg>", Some(1.0), 1.0);
    assert_eq!(codes(&none), ["drawing-without-size"]);
}

#[test]
fn aspect_ratio_is_kept_in_the_middle_unless_told() {
    let of = |aspect: &str| {
        let text = format!(
            "<svg width='100mm' height='50mm' viewBox='0 0 10 10' {aspect}><rect width='10' height='10'/></svg>"
        );
        let (o, _) = read_text("a.svg", text.as_bytes(), Some(1.0), 1.0).unwrap();
        let b = o.layers[0].outline.bounds().unwrap();
        [b.lo.x, b.lo.y, b.hi.x, b.hi.y].map(|v| format!("{v:.3}")).join(" ")
    };
    assert_eq!(of(""), "25.000 0.000 75.000 50.000");
    assert_eq!(of("preserveAspectRatio='xMinYMid'"), "0.000 0.000 50.000 50.000");
    assert_eq!(of("preserveAspectRatio='xMaxYMin meet'"), "50.000 0.000 100.000 50.000");
    assert_eq!(of("preserveAspectRatio='none'"), "0.000 0.000 100.000 50.000");
    assert_eq!(of("preserveAspectRatio='xMidYMax slice'"), "0.000 0.000 100.000 100.000");
}

#[test]
fn shapes_have_their_areas() {
    // chords within 0.002 mm leave out at most two thirds of that along the rim
    let least = |whole: f64, rim: f64, got: f64| {
        assert!(got <= whole && got >= whole - rim * 0.002 * 0.67, "{got} of {whole}");
    };
    least(PI * 25.0, PI * 10.0, drawn("<circle cx='50' cy='50' r='5'/>").area());
    least(PI * 200.0, 2.0 * PI * 20.0, drawn("<ellipse cx='50' cy='50' rx='10' ry='20'/>").area());
    let r = drawn("<rect x='5' y='5' width='40' height='20' rx='4'/>").area();
    least(800.0 - (4.0 - PI) * 16.0, 2.0 * PI * 4.0, r);
    let r = drawn("<rect x='5' y='5' width='40' height='20' rx='4' ry='2'/>").area();
    least(800.0 - (4.0 - PI) * 8.0, 2.0 * PI * 4.0, r);
    // radii beyond half a side are cut to it
    let r = drawn("<rect x='5' y='5' width='40' height='20' rx='90' ry='90'/>").area();
    least(PI * 200.0, 2.0 * PI * 20.0, r);
    near(drawn("<polygon points='10,10 20,10 20 30'/>").area(), 100.0, 1e-6);
    near(drawn("<polyline points='10,10 20,10 20,30 10,10'/>").area(), 100.0, 1e-6);
}

#[test]
fn path_commands_agree_whichever_way_they_are_written() {
    let square = 100.0;
    for d in [
        "M10 10L20 10L20 20L10 20Z",
        "m10 10 10 0 0 10-10 0z",
        "M10,10h10v10h-10z",
        "M10 10H20V20H10z",
        "M10,10 20,10 20,20 10,20 10,10",
        "M10,10 L20,10 L20,20 L10,20 L10.005,10.003",
        "M1e1 10l1.0e+1 0 0 10-10 0z",
    ] {
        near(drawn(&format!("<path d='{d}'/>")).area(), square, 0.05);
    }
    // two squares, the second drawn on from the first one's start
    near(drawn("<path d='M10 10h5v5h-5z m20 0h5v5h-5z'/>").area(), 50.0, 1e-6);
    near(drawn("<path d='M10 10h5v5h-5z h-5v-5h5z'/>").area(), 50.0, 1e-6);
}

#[test]
fn curves_reflect_their_control_points() {
    let whole = drawn("<path d='M10 50 C10 40 30 40 30 50 C30 60 50 60 50 50 L50 90 L10 90Z'/>");
    let short = drawn("<path d='M10 50 C10 40 30 40 30 50 S50 60 50 50 V90 H10Z'/>");
    near(whole.area(), short.area(), 1e-9);
    let whole = drawn("<path d='M10 50 Q20 30 30 50 Q40 70 50 50 L50 90 L10 90Z'/>");
    let short = drawn("<path d='M10 50 Q20 30 30 50 T50 50 V90 H10Z'/>");
    near(whole.area(), short.area(), 1e-9);
    // without a curve before it the control point is the current point
    let straight = drawn("<path d='M10 50 T50 50 V90 H10Z'/>");
    near(straight.area(), 1600.0, 1e-6);
}

#[test]
fn arcs_take_glued_flags_and_grow_short_radii() {
    let a = drawn("<path d='M10 50A20 20 0 0150 50Z'/>");
    let b = drawn("<path d='M10 50 a20,20,0,0,1,40,0z'/>");
    // radii too short for the ends are grown to fit (F.6.6)
    let c = drawn("<path d='M10 50A5 5 0 0 1 50 50Z'/>");
    for x in [&a, &b, &c] {
        near(x.area(), PI * 200.0, 0.1);
    }
    // the upper half in the drawing is the upper half in the part
    assert!(a.bounds().unwrap().lo.y > 49.99);
    // large arc and sweep: three quarters of a disc and its chord
    let large = drawn("<path d='M50 30 A20 20 0 1 0 70 50 Z'/>");
    near(large.area(), PI * 400.0 * 0.75 + 200.0, 0.2);
    // an ellipse turned by its axis rotation
    let turned = drawn("<path d='M40 50 A20 10 90 0 1 60 50 A20 10 90 0 1 40 50Z'/>");
    near(turned.area(), PI * 200.0, 0.2);
    near(turned.bounds().unwrap().size().y, 40.0, 0.01);
    // a radius of zero is a line
    near(drawn("<path d='M10 10 A0 5 0 0 1 20 10 V20 H10Z'/>").area(), 100.0, 1e-6);
}

#[test]
fn holes_by_fill_rule_and_by_nesting() {
    let same_way = "M0 0H30V30H0Z M10 10H20V20H10Z";
    near(drawn(&format!("<path d='{same_way}'/>")).area(), 900.0, 1e-6);
    near(drawn(&format!("<path fill-rule='evenodd' d='{same_way}'/>")).area(), 800.0, 1e-6);
    near(drawn(&format!("<path style='fill-rule: evenodd' d='{same_way}'/>")).area(), 800.0, 1e-6);
    near(drawn(&format!("<g fill-rule='evenodd'><path d='{same_way}'/></g>")).area(), 800.0, 1e-6);
    near(drawn(&format!("<path fill='none' stroke='black' d='{same_way}'/>")).area(), 800.0, 1e-6);
    near(drawn("<path d='M0 0H30V30H0Z M10 10V20H20V10Z'/>").area(), 800.0, 1e-6);
    let nested = drawn(
        "<rect width='10' height='10' x='10' y='10'/><g><rect width='30' height='30'/></g><rect x='14' y='14' width='2' height='2'/>",
    );
    near(nested.area(), 804.0, 1e-6);
    assert_eq!(nested.polygons().len(), 2);
}

#[test]
fn hidden_things_and_definitions_are_no_outline() {
    let a = drawn(
        "<defs><rect id='r' width='10' height='10'/></defs>
         <symbol id='s' viewBox='0 0 1 1'><rect width='1' height='1'/></symbol>
         <clipPath><rect width='50' height='50'/></clipPath>
         <g display='none'><rect width='60' height='60'/></g>
         <g style='display:none'><rect width='60' height='60'/></g>
         <g visibility='hidden'><rect width='70' height='70'/><rect visibility='visible' x='80' y='80' width='1' height='1'/></g>
         <use href='#r' x='20' y='0'/>
         <use xlink:href='#s' xmlns:xlink='http://www.w3.org/1999/xlink' x='50' y='0' width='20' height='20'/>
         <foo:rect xmlns:foo='urn:x' width='99' height='99'/>",
    );
    near(a.area(), 1.0 + 100.0 + 400.0, 1e-6);
    let b = a.bounds().unwrap();
    near(b.lo.x, 20.0, 1e-9);
    near(b.hi.x, 81.0, 1e-9);
}

#[test]
fn what_is_hidden_is_told() {
    let text = page(
        "<rect width='60' height='40'/><circle style='visibility:hidden' cx='20' cy='20' r='9'/>
         <g visibility='collapse'><rect width='5' height='5'/></g>",
    );
    let mut notes = crate::diagnostic::Notes::default();
    super::super::tests::read_with(&mut notes, "a.svg", text.as_bytes(), Some(1.0), 0.2).unwrap();
    let told: Vec<&str> = notes.warnings.iter().map(|d| d.message.as_str()).collect();
    assert_eq!(told, ["an element that is hidden is no outline (2 times; the first is shown)"]);
}

#[test]
fn nested_pages_have_their_own_view() {
    let a = drawn(
        "<svg x='10' y='20' width='40' height='40' viewBox='0 0 4 4'><rect x='1' y='1' width='50%' height='2'/></svg>",
    );
    let b = a.bounds().unwrap();
    near(b.lo.x, 20.0, 1e-9);
    near(b.hi.x, 40.0, 1e-9);
    near(b.lo.y, 50.0, 1e-9);
    near(b.hi.y, 70.0, 1e-9);
}

#[test]
fn groups_with_heights_make_layers() {
    let text = page(
        "<g data-z-mm='0-2.4'><rect width='50' height='20'/><circle cx='10' cy='10' r='3'/></g>
         <g transform='translate(10 0)'><path data-z-mm='2.0 - 4' d='M0 0H10V10H0Z'/></g>",
    );
    let mut notes = crate::diagnostic::Notes::default();
    let (o, _) = super::super::tests::read_with(&mut notes, "a.svg", text.as_bytes(), None, 0.2).unwrap();
    assert_eq!(notes.warnings, []);
    assert_eq!(o.layers.len(), 20);
    let hole = PI * 9.0;
    for l in &o.layers {
        let expected = match l.number {
            1..=10 => 1000.0 - hole,
            // where both are, they are united
            11..=12 => 1000.0 - hole * 0.75,
            _ => 100.0,
        };
        near(l.outline.area(), expected, 0.05);
    }
    near(o.layers[19].z_top_mm(), 4.0, 1e-9);
}

#[test]
fn heights_start_at_the_lowest_group_and_may_leave_gaps() {
    let text = page(
        "<g data-z-mm='1-2'><rect width='5' height='5'/></g><g data-z-mm='3-4'><rect width='5' height='6'/></g>",
    );
    let (o, _) = read_text("a.svg", text.as_bytes(), None, 0.5).unwrap();
    let areas: Vec<f64> = o.layers.iter().map(|l| l.outline.area().round()).collect();
    assert_eq!(areas, [25.0, 25.0, 0.0, 0.0, 30.0, 30.0]);
}

#[test]
fn a_page_without_a_unit_is_warned_about() {
    let codes = |size: &str| -> Vec<&str> {
        let text =
            format!("<svg xmlns='http://www.w3.org/2000/svg' {size}><rect width='50' height='50'/></svg>");
        notes_of("a.svg", text.as_bytes()).iter().map(|d| d.code).collect()
    };
    for size in [
        "width='100' height='100'",
        "viewBox='0 0 100 100'",
        "width='100%' height='100' viewBox='0 0 100 100'",
    ] {
        assert_eq!(codes(size), ["drawing-without-unit"], "{size}");
    }
    for size in
        ["width='100px' height='100'", "width='10cm' height='10cm'", "height='100mm' viewBox='0 0 100 100'"]
    {
        assert!(codes(size).is_empty(), "{size}");
    }
}

#[test]
fn thickness_is_rounded_to_layers_and_told() {
    let text = page("<rect width='5' height='5'/>");
    let mut notes = crate::diagnostic::Notes::default();
    let (o, _) =
        super::super::tests::read_with(&mut notes, "a.svg", text.as_bytes(), Some(4.0), 0.2).unwrap();
    assert_eq!((o.layers.len(), notes.warnings.len()), (20, 0));
    let (o, _) =
        super::super::tests::read_with(&mut notes, "a.svg", text.as_bytes(), Some(4.15), 0.2).unwrap();
    assert_eq!(o.layers.len(), 21);
    assert!(notes.warnings[0].message.contains("21 layers make 4.2 mm"), "{}", notes.warnings[0]);
    let missing = read_text("a.svg", text.as_bytes(), None, 0.2);
    assert_eq!(codes(&missing), ["thickness-missing"]);
    assert!(missing.unwrap_err().0[0].message.contains("`thickness_mm`"));
}

#[test]
fn named_elements_become_shapes() {
    let text = page(
        "<rect id='plate' width='50' height='30'/><circle id='pin' cx='10' cy='10' r='4'/>
         <g id='marks' data-role='region'><rect id='zone' x='20' y='0' width='10' height='30'/></g>",
    );
    let (o, _) = read_text("a.svg", text.as_bytes(), Some(1.0), 1.0).unwrap();
    near(o.layers[0].outline.area(), 1500.0 - PI * 16.0, 0.05);
    assert_eq!(o.shapes.keys().collect::<Vec<_>>(), ["marks", "pin", "plate", "zone"]);
    near(o.shapes["plate"].area(), 1500.0, 1e-6);
    near(o.shapes["pin"].area(), PI * 16.0, 0.05);
    near(o.shapes["zone"].area(), 300.0, 1e-6);
}

#[test]
fn what_is_passed_over_is_told() {
    let n = notes_of(
        "a.svg",
        page("<rect width='9' height='9'/><text>a</text><line x1='1' y1='2' x2='3' y2='4'/><text>b</text><rect fill='none' width='80' height='80'/><path d='M1 1L2 2Z'/>").as_bytes(),
    );
    let told: Vec<&str> = n.iter().map(|d| d.message.as_str()).collect();
    assert_eq!(
        told,
        [
            "`line` is not read",
            "`text` is not read (2 times; the first is shown)",
            "an element that encloses nothing is no outline",
            "an element that is neither filled nor stroked is no outline",
        ]
    );
    assert!(n.iter().all(|d| d.place.is_some()));
}

#[test]
fn elements_drawn_twice_count_once_and_crossing_ones_are_told() {
    let twice = "<rect width='9' height='9'/><path fill='none' stroke='red' d='M9 9V0H0V9Z'/>";
    near(drawn(twice).area(), 81.0, 1e-6);
    assert_eq!(notes_of("a.svg", page(twice).as_bytes())[0].code, "drawing-overlap");
    let crossing = "<rect width='9' height='9'/><rect x='5' width='9' height='9'/>";
    near(drawn(crossing).area(), 90.0, 1e-6);
    assert_eq!(notes_of("a.svg", page(crossing).as_bytes())[0].code, "drawing-overlap");
    // side by side, inside, and in a hole are as drawings are
    let fine = "<rect width='9' height='9'/><rect x='9' width='9' height='9'/><rect x='2' y='2' width='4' height='4'/>";
    assert_eq!(notes_of("a.svg", page(fine).as_bytes()), []);
}

#[test]
fn ids_that_a_map_cannot_tell_apart_are_told() {
    let notes = |body: &str| {
        let mut notes = crate::diagnostic::Notes::default();
        let file = page(body);
        super::super::tests::read_with(&mut notes, "a.svg", file.as_bytes(), Some(1.0), 1.0).unwrap();
        notes.warnings
    };
    let outline = "<rect width='20' height='20'/>";
    let q = "<rect id='q' data-role='region' x='2' width='2' height='2'/>";
    let told = notes(&format!("{outline}\n{q}\n{q}"));
    assert_eq!(told.iter().map(|d| d.code).collect::<Vec<_>>(), ["duplicate-name"]);
    assert!(told[0].message.contains("line 3") && place(&told[0]).0 == 4, "{}", told[0]);
    // many are told in one line, and drown nothing
    let told = notes(&format!("{outline}\n{}", format!("{q}\n").repeat(30)));
    assert_eq!(told.len(), 1, "{told:?}");
    assert!(told[0].message.contains("28 more"), "{}", told[0]);
    let told = notes(&format!("{outline}\n<rect data-role='region' x='2' width='2' height='2'/>"));
    assert!(told.len() == 1 && told[0].message.contains("no `id`"), "{told:?}");
    let told =
        notes(&format!("{outline}<g id='q' data-role='region'><rect x='2' width='2' height='2'/></g>"));
    assert!(told.is_empty(), "{told:?}");
}

#[test]
fn many_ids_that_are_given_twice_are_no_work() {
    // where the first stands was looked up for each of them, which took many seconds
    let circles = "<circle id='q' data-role='region' r='1'/>\n<circle id='r' data-role='region' r='1'/>\n";
    let defs: String = (0..60_000).map(|k| format!("<path id='p{}'/>\n", k % 20_000)).collect();
    let told = notes_of(
        "a.svg",
        page(&format!("<rect width='20' height='20'/>\n<defs>{defs}</defs>\n{circles}")).as_bytes(),
    );
    assert_eq!(told.len(), 1, "{told:?}");
    assert!(
        told[0].message.contains("`p0`") && told[0].message.contains("line 3; 39999 more"),
        "{}",
        told[0]
    );
    assert_eq!(place(&told[0]), (20_003, "<path id='p0'".to_owned()));
}

#[test]
fn elements_of_a_region_that_are_drawn_twice_count_once() {
    let shape = |body: &str| {
        let text = page(&format!("<rect width='60' height='60'/>{body}"));
        let mut notes = crate::diagnostic::Notes::default();
        let (o, _) =
            super::super::tests::read_with(&mut notes, "a.svg", text.as_bytes(), Some(1.0), 1.0).unwrap();
        (o.shapes["pad"].area(), notes.warnings)
    };
    let pad = |body: &str| shape(&format!("<g id='pad' data-role='region'>{body}</g>"));
    let square = "<rect width='10' height='10'/>";
    let (area, told) = pad(&square.repeat(2));
    near(area, 100.0, 1e-6);
    assert!(told.len() == 1 && told[0].code == "drawing-overlap", "{told:?}");
    assert!(told[0].message.starts_with("1 element of a shape"), "{}", told[0]);
    // however often, drawn in another way, and with others beside and inside
    let (area, told) = pad(&format!(
        "{}<rect x='20' width='10' height='10'/><path d='M0 10H10V0H0Z'/><circle cx='5' cy='5' r='2'/>",
        square.repeat(4)
    ));
    near(area, 200.0 - PI * 4.0, 0.02);
    assert!(told[0].message.starts_with("4 elements of shapes"), "{}", told[0]);
    // elements side by side and one in the other are as drawings are
    let (area, told) = pad(&format!(
        "{square}<rect x='10' width='10' height='10'/><rect x='2' y='2' width='4' height='4'/>"
    ));
    near(area, 184.0, 1e-6);
    assert_eq!(told, []);
    // a group of the outline is named, too
    let (area, told) = shape(&format!("<g id='pad' transform='translate(80 80)'>{}</g>", square.repeat(2)));
    near(area, 100.0, 1e-6);
    assert_eq!(told.len(), 1, "{told:?}");
}

#[test]
fn transforms_go_about_their_origin() {
    let bar = |attributes: &str| {
        let b =
            drawn(&format!("<rect x='30' y='30' width='40' height='20' {attributes}/>")).bounds().unwrap();
        // y down, as in the drawing
        [b.lo.x, 100.0 - b.hi.y, b.hi.x, 100.0 - b.lo.y].map(|v| format!("{v:.3}")).join(" ")
    };
    let about_middle = "50.000 30.000 70.000 70.000";
    for origin in [
        "transform-origin='50 50'",
        "transform-origin='50px 50px 3px'",
        "transform-origin='50% 50%'",
        "transform-origin='center'",
        "style='Transform-Origin: CENTER 50%'",
        "style='transform-origin: 50px 50px; transform-box: view-box'",
    ] {
        assert_eq!(bar(&format!("transform='rotate(90)' {origin}")), about_middle, "{origin}");
    }
    // for instance, with the lower left corner of the page in one order and the other
    let corner = bar("transform='scale(0.5)' transform-origin='left bottom'");
    assert_eq!(corner, "15.000 65.000 35.000 75.000");
    assert_eq!(bar("transform='scale(0.5)' transform-origin='bottom left'"), corner);
    assert_eq!(bar("transform='scale(0.5)' transform-origin='bottom'"), "40.000 65.000 60.000 75.000");
    assert_eq!(bar("transform='scale(0.5)' transform-origin='right'"), "65.000 40.000 85.000 50.000");
    // a shift is the same about every point
    let shifted = "32.000 30.000 72.000 50.000";
    assert_eq!(bar("transform='translate(2)' style='transform-box:fill-box'"), shifted);
    assert_eq!(bar("transform='translate(2)' transform-origin='9 9'"), shifted);
    for (attributes, word) in [
        ("transform='rotate(90)' transform-origin='50 fifty'", "50 fifty"),
        ("transform='rotate(90)' transform-origin='top 20'", "top 20"),
        ("transform='rotate(90)' transform-origin='2em 2em'", "2em"),
        ("transform='rotate(90)' style='transform-origin:50 50'", "transform-origin:50 50"),
        ("transform='rotate(90)' style='transform-box:fill-box'", "transform-box:fill-box"),
    ] {
        let f = faults(&format!("<rect width='4' height='2' {attributes}/>"));
        assert_eq!((f.len(), f[0].code), (1, "element-unreadable"), "{attributes}");
        assert!(place(&f[0]).1.starts_with(word), "{}: {:?}", f[0], place(&f[0]));
    }
}

#[test]
fn what_a_nested_page_would_cut_off_is_told() {
    let told = |body: &str| notes_of("a.svg", page(body).as_bytes());
    let nested = "<rect x='-50' y='-50' width='65' height='65'/></svg>";
    let far = told(&format!("<svg x='10' y='10' width='20' height='20'>{nested}"));
    assert_eq!(far.iter().map(|d| d.code).collect::<Vec<_>>(), ["element-not-read"]);
    assert!(far[0].message.contains("1 element of a nested `svg` reaches 50.000 mm beyond"), "{}", far[0]);
    assert!(place(&far[0]).1.starts_with("<svg x='10'"), "{:?}", place(&far[0]));
    assert_eq!(
        told(&format!("<svg x='60' y='60' width='20' height='20' style='overflow:visible'>{nested}")),
        []
    );
    let symbol = "<symbol id='s' viewBox='0 0 10 10'><rect width='30' height='5'/></symbol>";
    let far = told(&format!(
        "{symbol}<use href='#s' transform='rotate(20)' x='10' y='10' width='20' height='20'/><use href='#s' y='60' width='10' height='10'/>"
    ));
    assert!(far.len() == 1, "{far:?}");
    assert!(far[0].message.contains("2 elements of a nested `symbol` reach up to 40.000 mm"), "{}", far[0]);
    // what fills its page to the edge stays in it, turned as well
    let fits = symbol.replace("30", "10");
    assert_eq!(
        told(&format!("{fits}<use href='#s' transform='rotate(9)' x='20' width='20' height='20'/>")),
        []
    );
}

#[test]
fn styles_are_read_as_browsers_read_them() {
    for hidden in [
        "style='fill:#000;/* c: d */ display:none'",
        "style='display:none;/*x*/'",
        "style='DISPLAY:NONE'",
        "style='display: none ! important; display: inline'",
        "display='NONE'",
        "style='Visibility:Hidden'",
    ] {
        near(
            drawn(&format!("<rect width='40' height='20' {hidden}/><rect x='50' width='10' height='10'/>"))
                .area(),
            100.0,
            1e-6,
        );
    }
    let told = |body: &str| -> Vec<String> {
        let body = format!("{body}<rect width='90' height='90'/><circle cx='40' cy='40' r='5'/>");
        notes_of("a.svg", page(&body).as_bytes()).into_iter().map(|d| d.message).collect()
    };
    assert_eq!(
        told("<style>circle{r:20px;fill:red} g { D : path('M0 0') }</style>"),
        [
            "a style sheet that changes what is drawn (`d`) is not read",
            "a style sheet that changes what is drawn (`r`) is not read"
        ]
    );
    assert_eq!(told("<style>.a{fill:#123;stroke-width:2}/* .b{r:3px} */</style>"), [""; 0]);
    assert_eq!(told("<circle style='r:9px' cx='95' cy='95' r='2'/>"), ["`r` in `style` is not read"]);
}

#[test]
fn groups_in_no_layer_are_told() {
    let text = page(
        "<g data-z-mm='0-0.2'><rect width='40' height='20'/></g>
         <g data-z-mm='0.2-0.25'><circle cx='70' cy='50' r='9'/></g>
         <g data-z-mm='0.25-1'><rect width='20' height='20'/><g data-z-mm='0.9-0.91'><rect x='70' width='2' height='2'/></g></g>",
    );
    let told = |height: f64| {
        let mut notes = crate::diagnostic::Notes::default();
        super::super::tests::read_with(&mut notes, "a.svg", text.as_bytes(), None, height).unwrap();
        notes.warnings
    };
    let all = told(0.1);
    assert_eq!(all.iter().map(|d| d.code).collect::<Vec<_>>(), ["element-not-read"]);
    let words = "a group from 0.2 to 0.25 mm is in no layer: the middle of none of them, 0.1 mm high, lies there; 1 more";
    assert!(all[0].message.starts_with(words), "{}", all[0]);
    assert_eq!(place(&all[0]), (3, "0.2-0.25".to_owned()));
    assert_eq!(told(0.01), []);
}

#[test]
fn groups_within_others_in_all_their_layers_are_told() {
    let told = |lower: &str, upper: &str| {
        let text = page(&format!(
            "<g data-z-mm='{lower}'><rect width='60' height='40'/></g>
             <g data-z-mm='{upper}'><circle cx='20' cy='20' r='9'/></g>"
        ));
        let mut notes = crate::diagnostic::Notes::default();
        super::super::tests::read_with(&mut notes, "a.svg", text.as_bytes(), None, 0.2).unwrap();
        notes.warnings
    };
    // a counterbore, as somebody may think, and a boss that begins within the plate
    let all = told("0-0.8", "0.4-0.8");
    assert_eq!(all.iter().map(|d| d.code).collect::<Vec<_>>(), ["drawing-overlap"]);
    let words = "a group from 0.4 to 0.8 mm lies within another one that is as high, and adds nothing";
    assert!(all[0].message.starts_with(words), "{}", all[0]);
    assert_eq!(place(&all[0]), (3, "0.4-0.8".to_owned()));
    assert_eq!(told("0-0.8", "0-1.6"), []);
    assert_eq!(told("0-0.8", "0.8-1.6"), []);
}

#[test]
fn curves_that_would_fill_the_memory_are_refused() {
    use super::{shapes, transform::Affine};
    // far out: it ends with the first curve
    let far = format!("M0 0{}z", "c1e9 1e9 -1e9 2e9 1 1".repeat(40));
    let made = shapes::path(Affine::IDENTITY, &far, usize::MAX).unwrap();
    assert!(made.iter().map(|s| s.points.len()).sum::<usize>() <= 100_001);
    let f = faults(&format!("<path d='{far}'/>"));
    assert!(f[0].code == "outline-too-large" && f[0].message.contains("at most 1e5 mm are read"), "{}", f[0]);
    // within reach, but too many: uses count each time
    let wide = format!("M0 0{}z", "c9e4 9e4 -9e4 9e4 1 1".repeat(40));
    let made = shapes::path(Affine::IDENTITY, &wide, 50_000).unwrap();
    assert!(made.iter().map(|s| s.points.len()).sum::<usize>() < 100_000);
    let uses = "<use href='#w'/>".repeat(40);
    let f = faults(&format!("<g visibility='hidden'><path id='w' d='{wide}'/>{uses}</g>"));
    assert_eq!((f.len(), f[0].code), (1, "outline-too-large"));
    assert!(f[0].message.contains("more than 10000000 points"), "{}", f[0]);
    assert!(place(&f[0]).1.starts_with("<path id='w'"));
}

#[test]
fn faults_point_at_their_place() {
    let cases = [
        ("<path d='M0 0L10 0L10 10Z M5 x'/>", "element-unreadable", 2, "x"),
        ("<path d='L0 0L10 0Z'/>", "element-unreadable", 2, "L0"),
        ("<path d='M0 0L10 0L10'/>", "element-unreadable", 2, ""),
        ("<path d='M0 0A5 5 0 2 0 10 10Z'/>", "element-unreadable", 2, "2"),
        ("<path d='M0 0L10 0L10 10'/>", "outline-open", 2, ""),
        ("<polyline points='0,0 10,0 10,10'/>", "outline-open", 2, ""),
        ("<polygon points='0,0 10,0 10'/>", "element-unreadable", 2, ""),
        ("<polygon points='0,0 10,zero 10 10'/>", "element-unreadable", 2, "zero"),
        ("<rect width='ten' height='3'/>", "element-unreadable", 2, "ten"),
        ("<rect width='-1' height='3'/>", "element-unreadable", 2, "-1"),
        ("<circle r='2em'/>", "element-unreadable", 2, "2em"),
        ("<g transform='rotate(1'><circle r='2'/></g>", "element-unreadable", 2, ""),
        ("<g transform='turn(1)'><circle r='2'/></g>", "element-unreadable", 2, "turn(1)"),
        ("<g data-z-mm='2-1'><circle r='2'/></g>", "element-unreadable", 2, "2-1"),
        ("<g data-role='hole'><circle r='2'/></g>", "element-unreadable", 2, "hole"),
        ("<use href='#gone'/>", "element-unreadable", 2, ""),
        ("<g id='a'><use href='#a'/></g>", "element-unreadable", 2, ""),
        ("<g id='a'><use href='#b'/></g><g id='b'><use href='#a'/></g>", "element-unreadable", 2, ""),
        ("<path d='M0 0L1e9 0L10 10Z'/>", "outline-too-large", 2, ""),
        ("<path d='M0 0L1e999 0L10 10Z'/>", "element-unreadable", 2, "1e999"),
        // an arc from so far off cannot be reckoned: where it begins is told all the same
        ("<path d='M0 0H1e308A5 5 0 0 1 65 30H0Z'/>", "outline-too-large", 2, ""),
        ("<g transform='scale(1e300) scale(1e300)'><circle r='2'/></g>", "outline-too-large", 2, ""),
        ("\n\n<rect width='2' height='2'>", "xml-unreadable", 5, ""),
    ];
    for (body, code, line, word) in cases {
        let f = faults(body);
        assert_eq!(f[0].code, code, "{body}: {}", f[0]);
        let (l, text) = place(&f[0]);
        assert_eq!(l, line, "{body}");
        if !word.is_empty() {
            assert!(text.starts_with(word), "{body}: `{text}`");
        }
    }
    let twice = &faults("<rect width='1' width='2' height='2'/>")[0];
    assert!(twice.message.contains("attribute 'width' is already defined"), "{twice}");
    // all faults of a drawing are told
    assert_eq!(faults("<path d='M1 1L2 2'/><rect width='a' height='b'/>\n<circle r='x'/>").len(), 4);
}

#[test]
fn drawings_that_are_none() {
    for (text, code) in [
        (&b""[..], "xml-unreadable"),
        (b"<svg", "xml-unreadable"),
        (b"<html/>", "element-unreadable"),
        (b"<svg width='1mm' height='1mm'>\xff</svg>", "xml-unreadable"),
        (b"<svg width='0' height='1mm'/>", "element-unreadable"),
        (b"<svg width='1mm' height='1mm' viewBox='0 0 1'/>", "element-unreadable"),
        (b"<svg width='1mm' height='1mm'/>", "outline-empty"),
        (b"<svg width='1mm' height='1mm'><text>x</text></svg>", "outline-empty"),
    ] {
        let got = read_text("a.svg", text, Some(1.0), 1.0);
        assert_eq!(codes(&got), [code]);
    }
}

#[test]
fn what_blows_up_is_bounded() {
    let deep = format!("{}<rect width='1' height='1'/>{}", "<g>".repeat(400), "</g>".repeat(400));
    assert_eq!(faults(&deep)[0].code, "element-unreadable");
    let mut uses = "<g id='u0'><rect width='1' height='1'/></g>".to_owned();
    for k in 0..12 {
        let one = format!("<use href='#u{k}'/>");
        uses += &format!("<g id='u{}'>{}</g>", k + 1, one.repeat(10));
    }
    assert!(
        faults(&format!("<defs>{uses}</defs><use href='#u12'/>"))
            .iter()
            .any(|d| d.code == "outline-too-large")
    );
}

const BLOB: &str = "M20 50 C20 20 60 25 60 45 S80 60 75 70 Q60 90 45 75 T25 70 A12 9 30 0 1 20 50Z";

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::with_cases(64) })]

    #[test]
    fn area_scales_by_the_determinant(
        angle in -360.0..360.0f64, sx in 0.2..3.0f64, sy in -3.0..-0.2f64, skew in -40.0..40.0f64,
        x in -50.0..50.0f64, y in -50.0..50.0f64,
    ) {
        let plain = drawn(&format!("<path d='{BLOB}'/>"));
        let moved = drawn(&format!(
            "<g transform='translate({x},{y}) rotate({angle} 3 4)'><path transform='scale({sx} {sy}) skewX({skew})' d='{BLOB}'/></g>"
        ));
        let expected = plain.area() * (sx * sy).abs();
        // both are low by the chords' share
        let low = 0.002 * (plain.perimeter() * (sx * sy).abs() + moved.perimeter());
        prop_assert!((moved.area() - expected).abs() <= low, "{} {expected}", moved.area());
        prop_assert_eq!(moved.polygons().len(), 1);
        prop_assert!(polyline::signed_area(moved.polygons()[0].outer()) > 0.0);
    }

    #[test]
    fn no_path_data_panics(d in "[MmLlHhVvCcSsQqTtAaZz0-9eE., +-]{0,60}") {
        let _ = read_text("a.svg", page(&format!("<path d='{d}'/>")).as_bytes(), Some(1.0), 1.0);
    }

    #[test]
    fn no_transform_panics(t in "(matrix|translate|scale|rotate|skewX|skewY|)[(]?[0-9eE., +-]{0,30}[)]?") {
        let _ = read_text("a.svg", page(&format!("<rect transform='{t}' width='9' height='9'/>")).as_bytes(), Some(1.0), 1.0);
    }
}
