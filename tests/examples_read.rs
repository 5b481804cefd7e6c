//! The jobs of the examples and their outlines.

use std::f64::consts::PI;
use towpath::diagnostic::Notes;
use towpath::job;
use towpath::outline::{self, Outline};

/// Reads an example's job and outline; neither warns.
fn example(name: &str) -> Outline {
    let path = format!("{}/examples/{name}/job.toml", env!("CARGO_MANIFEST_DIR"));
    let mut notes = Notes::default();
    let job = job::read(&mut notes, path.as_ref()).expect("the example's job");
    let (outline, _) =
        outline::read(&mut notes, &job.outline, job.layer_height_mm).expect("the example's outline");
    assert_eq!(notes.warnings, [], "an example that warns");
    outline
}

#[test]
fn the_link_has_three_holes_in_twenty_layers() {
    let o = example("link");
    assert_eq!(o.layers.len(), 20);
    assert!(o.shapes.contains_key("flanges"));
    for l in &o.layers {
        assert_eq!(l.outline.polygons()[0].holes().len(), 3);
        let b = l.outline.bounds().unwrap();
        assert!((b.size().x - 110.0).abs() < 0.01 && (b.size().y - 34.0).abs() < 0.01);
    }
    // two half discs and the trapezium between them, roughly; less the holes
    let holes = PI * (36.0 + 25.0) + 42.0 * 13.0 - (4.0 - PI) * 36.0;
    let whole = PI * (17.0 * 17.0 + 14.0 * 14.0) / 2.0 + 79.0 * 31.0;
    assert!((o.layers[0].outline.area() - (whole - holes)).abs() < 5.0);
}

#[test]
fn the_bracket_changes_with_height() {
    let o = example("bracket");
    assert_eq!(o.layers.len(), 40);
    for l in &o.layers {
        let z = l.z_middle_mm();
        let bore = PI * 64.0;
        let expected = if z < 4.0 {
            70.0 * 50.0 - (4.0 - PI) * 81.0 - 4.0 * PI * 2.75 * 2.75 - bore
        } else if z < 6.4 {
            // an ellipse of 4 by 2.4 is what the fillet leaves out
            let t = (z - 6.4) / 2.4 + 1.0;
            let r = 18.0 - 4.0 * (1.0 - (1.0 - t) * (1.0 - t)).sqrt();
            PI * r * r - bore
        } else {
            PI * 14.0 * 14.0 - bore
        };
        assert!(
            (l.outline.area() - expected).abs() < 0.006 * expected,
            "layer {}: {} {expected}",
            l.number,
            l.outline.area()
        );
    }
}

#[test]
fn the_guide_keeps_its_own_layers() {
    let o = example("guide");
    assert_eq!(o.layers.len(), 20);
    assert!((o.layers[0].height_mm - 0.3).abs() < 1e-9);
    assert!((o.layers[19].z_top_mm() - 4.1).abs() < 1e-9);
    for l in &o.layers {
        assert_eq!(l.outline.polygons().len(), if l.number <= 14 { 1 } else { 2 });
        let holes: usize = l.outline.polygons().iter().map(|p| p.holes().len()).sum();
        assert_eq!(holes, if l.number <= 14 { 3 } else { 2 });
    }
    assert!((o.layers[0].outline.bounds().unwrap().lo.x - 10.0).abs() < 1e-3);
}
