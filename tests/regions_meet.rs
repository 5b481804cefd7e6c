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
    let folder =
        Path::new(env!("CARGO_TARGET_TMPDIR")).join(format!("meet-{meets}-{}-{}", angles[0], angles[1]));
    std::fs::create_dir_all(&folder).expect("a folder");
    let svg = "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"110mm\" height=\"44mm\" viewBox=\"0 0 110 44\"><path d=\"M0 0 L110 0 L110 44 L0 44 Z\"/></svg>";
    std::fs::write(folder.join("part.svg"), svg).expect("a drawing");
    let region = |name: &str, x0: f64, x1: f64, angle: f64, priority: i64| {
        format!(
            "[[region]]\nname = \"{name}\"\nshape = {{ polygon_mm = [[{x0}, -1], [{x1}, -1], [{x1}, 45], [{x0}, 45]] }}\nlayers = \"all\"\nrule = \"unidirectional\"\nangle_deg = {angle}\nmeets = \"{meets}\"\npriority = {priority}\n\n"
        )
    };
    let map = region("left", -1.0, SPAN.1, angles[0], 2) + &region("right", SPAN.0, 111.0, angles[1], 1);
    std::fs::write(folder.join("map.toml"), map).expect("a map");
    let text = "[part]\nname = \"meet\"\noutline = \"part.svg\"\nthickness_mm = 0.4\n\n[build]\nprinter = \"shuttle-15\"\nmatrix = \"peek\"\ntow = \"carbon-1k5-peek\"\nlayer_height_mm = 0.2\n\n[reinforcement]\nmap = \"map.toml\"\n";
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
    let (layers, width) = laid("weave", [0.0, 90.0]);
    let (left, _) = reaches(&layers[0], width);
    let (_, right) = reaches(&layers[1], width);
    assert!(left > SPAN.1 - 1.5 * width, "the left one in the first layer: {left}");
    assert!(right < SPAN.0 + 1.5 * width, "the right one in the second: {right}");
}
