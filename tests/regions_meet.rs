//! Where two regions of a layer overlap: by priority, half and half, or woven.
#![allow(clippy::expect_used, reason = "a test that cannot go on says why and stops")]

use std::path::Path;
use towpath::diagnostic::Notes;
use towpath::fibre::{self, LayerCourses};
use towpath::geom::{Area, combine, offset, pt};
use towpath::{job, outline, reinforcement};

const SPAN: (f64, f64) = (44.0, 66.0);

/// A plate of 110 x 44 mm with a region at either side; both hold x 44 to 66.
fn laid(meets: &str, angles: [f64; 2]) -> (Vec<LayerCourses>, f64) {
    laid_in("all", meets, angles)
}

/// The same in some layers.
fn laid_in(layers: &str, meets: &str, angles: [f64; 2]) -> (Vec<LayerCourses>, f64) {
    let region = |name: &str, x0: f64, x1: f64, angle: f64, priority: i64| {
        format!(
            "[[region]]\nname = \"{name}\"\nshape = {{ polygon_mm = [[{x0}, -1], [{x1}, -1], [{x1}, 45], [{x0}, 45]] }}\nlayers = \"{layers}\"\nrule = \"unidirectional\"\nangle_deg = {angle}\nmeets = \"{meets}\"\npriority = {priority}\n\n"
        )
    };
    let map = region("left", -1.0, SPAN.1, angles[0], 2) + &region("right", SPAN.0, 111.0, angles[1], 1);
    laid_by(&format!("{meets}-{}-{}-{}", angles[0], angles[1], layers.replace('/', "_")), "", &map)
}

/// A plate of 110 x 44 mm, less what is drawn besides, with this map; its layers and the
/// tow's width.
fn laid_by(of: &str, drawn: &str, map: &str) -> (Vec<LayerCourses>, f64) {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join(format!("meet-{of}"));
    std::fs::create_dir_all(&folder).expect("a folder");
    let svg = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"110mm\" height=\"44mm\" viewBox=\"0 0 110 44\"><path fill-rule=\"evenodd\" d=\"M0 0 L110 0 L110 44 L0 44 Z {drawn}\"/></svg>"
    );
    std::fs::write(folder.join("part.svg"), svg).expect("a drawing");
    std::fs::write(folder.join("map.toml"), map).expect("a map");
    let text = "[part]\nname = \"meet\"\noutline = \"part.svg\"\nthickness_mm = 0.8\n\n[build]\nprinter = \"shuttle-15\"\nmatrix = \"peek\"\ntow = \"carbon-1k5-peek\"\nlayer_height_mm = 0.2\n\n[reinforcement]\nmap = \"map.toml\"\n";
    let path = folder.join("job.toml");
    std::fs::write(&path, text).expect("a job");
    let mut notes = Notes::default();
    let job = job::read(&mut notes, &path).expect("the job reads");
    let (part, _) = outline::read(&mut notes, &job.outline, job.layer_height_mm).expect("its outline reads");
    let tasks = reinforcement::place(&job, &part).expect("its map fits");
    (fibre::lay(&mut notes, &job, &part, &tasks), job.tow.width_mm)
}

fn strips(layer: &LayerCourses, region: &str, width: f64) -> Area {
    let each: Vec<Area> = layer
        .courses
        .iter()
        .filter(|c| c.region == region)
        .map(|c| offset::strip(&c.path().flatten(0.005), width, c.path().closed, 0.005))
        .collect();
    combine::union_all(&each)
}

/// How far left the right region's tow reaches, and right the left one's, mm.
fn reaches(layer: &LayerCourses, width: f64) -> (f64, f64) {
    let (left, right) = (strips(layer, "left", width), strips(layer, "right", width));
    let common = combine::intersection(&left, &right).area();
    assert!(common < 0.05, "{common} mm2 of tow over tow");
    (left.bounds().expect("tow at the left").hi.x, right.bounds().expect("tow at the right").lo.x)
}

/// The widest bare disc that lies between the two regions, tow widths.
fn widest_gap(layer: &LayerCourses, width: f64) -> f64 {
    // away from the corners, in which slanting rows are too short to be laid
    let window = combine::ring_area(&[pt(40.0, 18.0), pt(70.0, 18.0), pt(70.0, 36.0), pt(40.0, 36.0)]);
    let tow = combine::union(&strips(layer, "left", width), &strips(layer, "right", width));
    let bare = combine::difference(&window, &tow);
    let mut widths = 0.0;
    for k in 1..60 {
        let radius = 0.025 * f64::from(k) * width;
        if offset::opened(&bare, radius, 0.005).area() > 1e-3 {
            widths = 2.0 * radius / width;
        }
    }
    widths
}

#[test]
fn half_and_half_they_part_in_the_middle_of_what_they_share() {
    for angles in [[0.0, 90.0], [90.0, 0.0], [0.0, 0.0], [30.0, -40.0], [90.0, 90.0]] {
        let (layers, width) = laid("butt", angles);
        for layer in &layers {
            let (left, right) = reaches(layer, width);
            let middle = 0.5 * (SPAN.0 + SPAN.1);
            assert!(left <= middle + 1e-6 && right >= middle - 1e-6, "{angles:?}: {left} and {right}");
            let gap = widest_gap(layer, width);
            // ends keep a width from one another; slanting ends stand in teeth besides
            let most = if angles[0] % 90.0 == 0.0 { 1.0 } else { 1.15 };
            assert!(gap <= most, "{angles:?}: a gap of {gap} tow widths");
        }
    }
}

#[test]
fn two_bars_that_cross_part_the_middle_alike_on_all_sides() {
    let bar = |name: &str, [x0, y0, x1, y1]: [f64; 4], angle: f64| {
        format!(
            "[[region]]\nname = \"{name}\"\nshape = {{ polygon_mm = [[{x0}, {y0}], [{x1}, {y0}], [{x1}, {y1}], [{x0}, {y1}]] }}\nlayers = \"all\"\nrule = \"unidirectional\"\nangle_deg = {angle}\nmeets = \"butt\"\n\n"
        )
    };
    // shifted out of the middle it is much the same
    for shift in [0.0, 7.0, 8.0] {
        let (x0, x1) = (45.0 + shift, 65.0 + shift);
        let map = bar("left", [12.0, 12.0, 98.0, 32.0], 0.0) + &bar("right", [x0, 1.0, x1, 43.0], 90.0);
        let (layers, width) = laid_by("cross", "", &map);
        let window = combine::ring_area(&[pt(x0, 12.0), pt(x1, 12.0), pt(x1, 32.0), pt(x0, 32.0)]);
        // of the square in the middle each bar has half, and of that as much on either side
        for (region, axis) in [("left", pt(1.0, 0.0)), ("right", pt(0.0, 1.0))] {
            let tow = combine::intersection(&strips(&layers[0], region, width), &window);
            let centre = tow.centroid().expect("tow in the middle") - pt(0.5 * (x0 + x1), 22.0);
            assert!(centre.dot(axis).abs() < 1.5, "{shift}, {region}: {centre:?}");
            // rows up the short bar are too short at its edges
            let least = if region == "left" { 150.0 } else { 80.0 };
            assert!((least..200.5).contains(&tow.area()), "{shift}, {region}: {} mm2", tow.area());
        }
    }
}

#[test]
fn by_priority_the_higher_has_the_place() {
    for angles in [[0.0, 90.0], [90.0, 0.0], [0.0, 0.0]] {
        let (layers, width) = laid("priority", angles);
        for layer in &layers {
            let (left, right) = reaches(layer, width);
            assert!(left > SPAN.1 - 1.5 * width && right > SPAN.1 - width, "{angles:?}: {left} and {right}");
            let gap = widest_gap(layer, width);
            assert!(gap <= 1.0, "{angles:?}: a gap of {gap} tow widths");
        }
    }
}

#[test]
fn woven_the_place_changes_hands_from_layer_to_layer() {
    for (written, numbers) in [("all", [1, 2, 3, 4].as_slice()), ("1-4/2", &[1, 3]), ("2-4", &[2, 3, 4])] {
        let (layers, width) = laid_in(written, "weave", [0.0, 90.0]);
        // what names a course's region does not change hands with the ground
        for (region, rank) in [("left", 0), ("right", 1)] {
            let mut mine = layers.iter().flat_map(|l| &l.courses).filter(|c| c.region == region).peekable();
            assert!(mine.peek().is_some() && mine.all(|c| c.rank == rank), "{written}: {region}");
        }
        for (turn, number) in numbers.iter().enumerate() {
            let (left, right) = reaches(&layers[number - 1], width);
            if turn % 2 == 0 {
                assert!(left > SPAN.1 - 1.5 * width, "{written}, {number}: the left one has it: {left}");
            } else {
                assert!(right < SPAN.0 + 1.5 * width, "{written}, {number}: the right one has it: {right}");
            }
        }
    }
}

#[test]
fn pairs_of_regions_take_turns_each_by_itself() {
    // two pairs that never share a layer, one above the other, and a third region that weaves
    // and meets nobody
    let strip = |name: &str, x: [f64; 2], y: [f64; 2], layers: &str, angle: f64| {
        format!(
            "[[region]]\nname = \"{name}\"\nshape = {{ polygon_mm = [[{0}, {2}], [{1}, {2}], [{1}, {3}], [{0}, {3}]] }}\nlayers = \"{layers}\"\nrule = \"unidirectional\"\nangle_deg = {angle}\nmeets = \"weave\"\n\n",
            x[0], x[1], y[0], y[1]
        )
    };
    for (alone, alone_y) in [("", [0.0; 2]), ("1", [-1.0, 10.0])] {
        let y = [if alone.is_empty() { -1.0 } else { 12.0 }, 45.0];
        let mut map = String::new();
        for (layers, first) in [("1-4/2", "odd"), ("2-4/2", "even")] {
            map += &strip(&format!("{first} left"), [-1.0, SPAN.1], y, layers, 0.0);
            map += &strip(&format!("{first} right"), [SPAN.0, 111.0], y, layers, 90.0);
        }
        if !alone.is_empty() {
            map += &strip("alone", [-1.0, 111.0], alone_y, alone, 0.0);
        }
        let (layers, width) = laid_by(&format!("pairs{alone}"), "", &map);
        for (number, pair, left_has_it) in
            [(1, "odd", true), (2, "even", true), (3, "odd", false), (4, "even", false)]
        {
            let tow = strips(&layers[number - 1], &format!("{pair} left"), width);
            let reach = tow.bounds().expect("tow at the left").hi.x;
            let has = reach > SPAN.1 - 1.5 * width;
            assert_eq!(has, left_has_it, "layer {number}: the left one reaches {reach}");
        }
    }
}

#[test]
fn hoops_round_two_holes_part_half_way() {
    // two holes of 12 mm, 26 mm apart
    let hole = |x: f64| format!("M{} 22 a6 6 0 1 0 12 0 a6 6 0 1 0 -12 0 Z ", x - 6.0);
    let region = |name: &str, x: f64, meets: &str, priority: i64, courses: &str| {
        format!(
            "[[region]]\nname = \"{name}\"\nshape = {{ hole_at_mm = [{x}, 22] }}\nlayers = \"all\"\nrule = \"hoop\"\n{courses}\nmeets = \"{meets}\"\npriority = {priority}\n\n"
        )
    };
    for (meets, courses, of) in
        [("butt", "courses = 11", "some"), ("butt", "", "all"), ("priority", "courses = 11", "first")]
    {
        let map = region("left", 42.0, meets, 2, courses) + &region("right", 68.0, meets, 1, courses);
        let (layers, width) = laid_by(&format!("hoops-{meets}-{of}"), &(hole(42.0) + &hole(68.0)), &map);
        for layer in &layers {
            let (left, right) = reaches(layer, width);
            let on_plate = |[x, y]: [f64; 2]| (0.0..=110.0).contains(&x) && (0.0..=44.0).contains(&y);
            if of == "all" {
                let left_out: Vec<_> = layer.left_out.iter().filter_map(|l| l.at_mm).collect();
                assert!(left_out.iter().all(|p| on_plate(*p)), "left out in the part: {left_out:?}");
                let told: f64 = layer.left_out.iter().map(|l| l.length_mm).sum();
                let bare: f64 = layer.quality.iter().map(|q| q.layable_mm2 - q.covered_mm2).sum();
                assert!(told < 1.2 * bare / width, "{told} mm for {bare} mm2 that stay bare");
            }
            if meets == "butt" {
                let off = 0.5 * width;
                assert!((54.0..55.0 + off).contains(&left), "{of}: the left ones reach {left}");
                assert!((55.0 - off..56.0).contains(&right), "{of}: the right ones begin at {right}");
            } else {
                assert!(left > 56.0, "the left ones have the place: {left}");
            }
        }
    }
}

#[test]
fn three_hoops_in_a_row_part_half_way_in_any_order() {
    let hole = |x: f64| format!("M{} 22 a5 5 0 1 0 10 0 a5 5 0 1 0 -10 0 Z", x - 5.0);
    let drawn = [21.0, 55.0, 89.0].map(hole).join(" ");
    let names = ["left", "middle", "right"];
    let mut found: Vec<[(usize, f64); 3]> = Vec::new();
    for order in [[0, 1, 2], [1, 0, 2], [0, 2, 1], [2, 1, 0]] {
        let region = |k: &usize| {
            format!(
                "[[region]]\nname = \"{}\"\nshape = {{ hole_at_mm = [{}, 22] }}\nlayers = \"all\"\nrule = \"hoop\"\nmeets = \"butt\"\n\n",
                names[*k],
                [21, 55, 89][*k]
            )
        };
        let of = format!("three-{}{}{}", order[0], order[1], order[2]);
        let (layers, width) = laid_by(&of, &drawn, &order.iter().map(region).collect::<String>());
        let layer = layers.first().expect("a layer");
        found.push(names.map(|name| {
            let closed = layer.courses.iter().filter(|c| c.region == name && c.path().closed).count();
            (closed, strips(layer, name, width).area())
        }));
        // each keeps to the half that is nearer
        for (name, from, to) in [("left", 0.0, 38.0), ("middle", 38.0, 72.0), ("right", 72.0, 110.0)] {
            let b = strips(layer, name, width).bounds().expect("each has tow");
            assert!(b.lo.x > from - 0.5 && b.hi.x < to + 0.5, "{name}, {of}: x {} to {}", b.lo.x, b.hi.x);
        }
    }
    for one in &found {
        for (a, b) in one.iter().zip(&found[0]) {
            assert_eq!(a.0, b.0, "as many closed in any order");
            assert!((a.1 - b.1).abs() < 0.01 * b.1, "{} and {} mm2", a.1, b.1);
        }
        assert!((one[0].1 - one[2].1).abs() < 0.01 * one[0].1, "{} left, {} right", one[0].1, one[2].1);
    }
}

#[test]
fn a_number_of_courses_says_nothing_of_rows_that_butt() {
    let region = |name: &str, x0: f64, x1: f64, courses: &str| {
        format!(
            "[[region]]\nname = \"{name}\"\nshape = {{ polygon_mm = [[{x0}, -1], [{x1}, -1], [{x1}, 45], [{x0}, 45]] }}\nlayers = \"all\"\nrule = \"unidirectional\"\nangle_deg = 0\n{courses}\nmeets = \"butt\"\n\n"
        )
    };
    let tow = |of: &str, courses: &str| {
        let map = region("left", -1.0, SPAN.1, courses) + &region("right", SPAN.0, 111.0, courses);
        let (layers, _) = laid_by(of, "", &map);
        layers.iter().flat_map(|l| &l.courses).map(fibre::Course::length_mm).sum::<f64>()
    };
    let (all, some) = (tow("rows", ""), tow("rows-some", "courses = 8"));
    assert!((all - some).abs() < 1e-9, "the key is of no use and does nothing: {all} and {some} mm");
}

#[test]
fn a_rim_and_the_field_within_it_part_half_way() {
    // a rim 8 mm deep over a field that begins 3 mm inside the outline: half way is 5.5 mm
    let region = |name: &str, shape: &str, rule: &str, priority: i64| {
        format!(
            "[[region]]\nname = \"{name}\"\nshape = {{ {shape} }}\nlayers = \"all\"\n{rule}\nmeets = \"butt\"\npriority = {priority}\n\n"
        )
    };
    let inner = "polygon_mm = [[3, 3], [107, 3], [107, 41], [3, 41]]";
    let map = region("left", "outline = true", "rule = \"contour\"\ncourses = 8\nspacing_mm = 1.0", 2)
        + &region("right", inner, "rule = \"unidirectional\"\nangle_deg = 0", 1);
    let (layers, width) = laid_by("rim", "", &map);
    for layer in &layers {
        let (rim, field) = (strips(layer, "left", width), strips(layer, "right", width));
        assert!(combine::intersection(&rim, &field).area() < 0.05, "tow over tow");
        let within = |d: f64| {
            combine::ring_area(&[pt(d, d), pt(110.0 - d, d), pt(110.0 - d, 44.0 - d), pt(d, 44.0 - d)])
        };
        let beyond = |a: &Area, d: f64| combine::difference(a, &within(d)).area();
        let deep = rim.area() - beyond(&rim, 5.5 + width);
        assert!(deep < 1.0, "{deep} mm2 of the rim lie in the field's half");
        let out = beyond(&field, 5.5 - width);
        assert!(out < 1.0, "{out} mm2 of the field lie in the rim's half");
        // from the perimeters at about 1 mm to 5.5 mm, one a millimetre
        let rings = layer.courses.iter().filter(|c| c.region == "left" && c.path().closed).count();
        assert_eq!(rings, 4, "the rim has its half");
    }
}

#[test]
fn a_region_within_another_keeps_to_the_priority_though_both_butt() {
    // hoops with a number of courses lie wholly in the plate that is to be filled round them
    let region = |name: &str, shape: &str, rule: &str, priority: i64| {
        format!(
            "[[region]]\nname = \"{name}\"\nshape = {{ {shape} }}\nlayers = \"all\"\n{rule}\nmeets = \"butt\"\npriority = {priority}\n\n"
        )
    };
    let hole = "M62 22 A8 8 0 1 1 46 22 A8 8 0 1 1 62 22 Z";
    let map = region("left", "hole_at_mm = [54, 22]", "rule = \"hoop\"\ncourses = 4", 3)
        + &region("right", "outline = true", "rule = \"unidirectional\"\nangle_deg = 0", 1);
    let (layers, width) = laid_by("within", hole, &map);
    for layer in &layers {
        let closed = layer.courses.iter().filter(|c| c.region == "left" && c.path().closed).count();
        assert_eq!(closed, 4, "hoops of layer {}", layer.courses.len());
        let (left, right) = (strips(layer, "left", width), strips(layer, "right", width));
        assert!(combine::intersection(&left, &right).area() < 0.05 && right.area() > 1000.0);
    }
}
