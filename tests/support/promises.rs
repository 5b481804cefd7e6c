//! The promises that the plan alone can break: courses, beads, areas, estimate.

use super::cover::{self, Strip};
use super::curve::{Line, distance};
use super::near::{Near, Rings, stretches};
use super::plan_file::{Areas, Bead, Course, Layer, Plan};
use super::{Findings, NOWHERE, Place};

/// How far a strip may reach out of its room, and two courses into one another, mm.
pub(crate) const ROOM_MM: f64 = 0.05;

/// Gap between two segments that still counts as joined, mm.
const JOIN_MM: f64 = 1e-3;

/// Turn between two segments that still counts as tangential, degrees.
const TANGENT_DEG: f64 = 0.5;

/// Step along courses and beads at which room is looked at, mm.
const STEP_MM: f64 = 0.2;

/// Chord error of the polylines that stand for courses, mm.
const CHORD_MM: f64 = 0.002;

pub(crate) fn check(findings: &mut Findings, plan: &Plan, told: &str) {
    for layer in &plan.layers {
        let rings = Rings::new(&layer.outline);
        for course in &layer.courses {
            shape(findings, plan, layer, course);
        }
        room(findings, plan, layer, &rings);
        apart(findings, plan, layer);
        bead_room(findings, layer, &rings);
        closure(findings, plan, layer, &rings, told);
    }
    estimate(findings, plan);
}

/// Joints, bends, length, cut point of one course.
fn shape(findings: &mut Findings, plan: &Plan, layer: &Layer, course: &Course) {
    let n = Some(layer.number);
    let name = course.name();
    let (Some(first), Some(last)) = (course.segments.first(), course.segments.last()) else {
        return;
    };
    for segment in &course.segments {
        let at: Place = (n, Some(segment.start()));
        if let Some([r0, r1]) = segment.radii() {
            findings.same("arc", at, r1, r0, JOIN_MM, &format!("course {name}: an arc's radii at its ends"));
            let limit = plan.tow.min_bend_radius_mm * (1.0 - 1e-6) - 1e-4;
            findings.least("bend", at, r0.min(r1), limit, &format!("course {name}: radius"));
        }
        let length = segment.length();
        findings.least("joint", at, length, 1e-6, &format!("course {name}: length of a segment"));
    }
    let mut pairs: Vec<_> = course.segments.windows(2).map(|w| (w[0], w[1])).collect();
    if course.closed {
        pairs.push((*last, *first));
    }
    for (a, b) in pairs {
        let at: Place = (n, Some(a.end()));
        findings.most("joint", at, distance(a.end(), b.start()), JOIN_MM, &format!("course {name}: gap"));
        let (d0, d1) = (a.at(1.0).1, b.at(0.0).1);
        let turn = libm::atan2(d0[0] * d1[1] - d0[1] * d1[0], d0[0] * d1[0] + d0[1] * d1[1]);
        let turn = turn.to_degrees().abs();
        findings.most("tangent", at, turn, TANGENT_DEG, &format!("course {name}: kink, degrees"));
    }
    let line = Line::new(&course.segments);
    let length = line.length();
    let at: Place = (n, Some(first.start()));
    findings.same(
        "length",
        at,
        course.length_mm,
        length,
        2e-3 + 1e-5 * length,
        &format!("course {name}: length_mm"),
    );
    if !course.closed && course.segments.len() > 1 {
        // what ends where it began, in the same direction, is a closed course
        let gap = distance(first.start(), last.end());
        let along = first.at(0.0).1[0] * last.at(1.0).1[0] + first.at(0.0).1[1] * last.at(1.0).1[1];
        if gap < JOIN_MM && along > 0.999 {
            findings.say("closed", n, format!("course {name} ends where it began and is not told as closed"));
        }
    }
    let printer = &plan.printer;
    let cut = course.length_mm - printer.cutter_to_nozzle_mm;
    findings.same("cut point", at, course.cut_at_mm, cut, 2e-3, &format!("course {name}: cut_at_mm"));
    let shortest = printer.cutter_to_nozzle_mm + printer.anchor_mm - 1e-3;
    findings.least("piece", at, length, shortest, &format!("course {name}: length"));
    let tightest = course
        .segments
        .iter()
        .filter_map(super::plan_file::Segment::radii)
        .map(|r| r[0].min(r[1]))
        .fold(f64::INFINITY, f64::min);
    match course.min_bend_radius_mm {
        Some(told) if tightest.is_finite() => {
            findings.same(
                "bend told",
                at,
                told,
                tightest,
                0.01,
                &format!("course {name}: min_bend_radius_mm"),
            );
        }
        None if tightest.is_finite() => {
            findings.say(
                "bend told",
                n,
                format!("course {name} bends at {tightest:.3} mm and does not say so"),
            );
        }
        _ => {}
    }
}

/// Course strips inside the outline, off the perimeters.
fn room(findings: &mut Findings, plan: &Plan, layer: &Layer, rings: &Rings) {
    let n = Some(layer.number);
    let half = 0.5 * plan.tow.width_mm;
    let mut lines = Vec::new();
    let perimeters: Vec<&Bead> = layer.beads.iter().filter(|b| b.kind == "perimeter").collect();
    for (owner, bead) in perimeters.iter().enumerate() {
        lines.extend(stretches(&bead.line(), owner));
    }
    let perimeter_lines = Near::new(lines, 1.0);
    let corners = Near::new(
        rings.corners.iter().map(|&p| super::near::Stretch { a: p, b: p, owner: 0, from: 0.0 }).collect(),
        1.0,
    );
    for course in &layer.courses {
        let line = Line::new(&course.segments);
        let (mut worst_out, mut worst_bead) = ((0.0, [0.0; 2]), (0.0, [0.0; 2]));
        let mut worst_corner = (0.0, [0.0; 2]);
        for (_, p, d) in line.samples(STEP_MM) {
            for side in [-half, 0.0, half] {
                let q = [p[0] - d[1] * side, p[1] + d[0] * side];
                let out = rings.outside(q, 5.0);
                if out > worst_out.0 {
                    worst_out = (out, q);
                }
                let reach = 2.0;
                if let Some((gap, s, _)) = perimeter_lines.nearest(q, reach, |_, _| true) {
                    let over = 0.5 * perimeters[s.owner].width_mm - gap;
                    if over > worst_bead.0 {
                        worst_bead = (over, q);
                    }
                }
            }
            // a spike of the outline between two of the places looked at
            if let Some((_, s, _)) = corners.nearest(p, half, |s, _| {
                let v = [s.a[0] - p[0], s.a[1] - p[1]];
                (v[0] * d[0] + v[1] * d[1]).abs() <= 0.5 * STEP_MM
            }) {
                let v = [s.a[0] - p[0], s.a[1] - p[1]];
                let depth = half - (v[1] * d[0] - v[0] * d[1]).abs();
                if depth > worst_corner.0 {
                    worst_corner = (depth, s.a);
                }
            }
        }
        let name = course.name();
        let text = format!("course {name}: strip outside the outline by, mm");
        findings.most("room outline", (n, Some(worst_out.1)), worst_out.0, ROOM_MM, &text);
        let text = format!("course {name}: strip over a corner of the outline by, mm");
        findings.most("room outline", (n, Some(worst_corner.1)), worst_corner.0, ROOM_MM, &text);
        let text = format!("course {name}: strip over a perimeter by, mm");
        findings.most("room perimeter", (n, Some(worst_bead.1)), worst_bead.0, ROOM_MM, &text);
    }
}

/// Courses of a layer, and parts of one course, not closer than the tow's width.
fn apart(findings: &mut Findings, plan: &Plan, layer: &Layer) {
    let width = plan.tow.width_mm;
    let lines: Vec<Line> = layer.courses.iter().map(|c| Line::new(&c.segments)).collect();
    let mut all = Vec::new();
    for (owner, line) in lines.iter().enumerate() {
        all.extend(stretches(&line.chords(CHORD_MM), owner));
    }
    let near = Near::new(all, width.max(0.5));
    // a bend no tighter than the width returns to within the width only after
    // more than pi/2 widths of path
    let own = 1.6 * width;
    for (i, line) in lines.iter().enumerate() {
        let (length, closed) = (line.length(), layer.courses[i].closed);
        let mut worst: Option<(f64, [f64; 2], usize)> = None;
        for (s, p, _) in line.samples(STEP_MM) {
            let found = near.nearest(p, width - ROOM_MM, |other, along| {
                if other.owner != i {
                    return other.owner > i;
                }
                let gap = (along - s).abs();
                gap > own && (!closed || length - gap > own)
            });
            if let Some((d, other, _)) = found
                && worst.is_none_or(|w| d < w.0)
            {
                worst = Some((d, p, other.owner));
            }
        }
        if let Some((d, p, j)) = worst {
            let (a, b) = (layer.courses[i].name(), layer.courses[j].name());
            let (what, text) = if i == j {
                ("apart self", format!("course {a} to itself, centre to centre"))
            } else {
                ("apart", format!("courses {a} and {b}, centre to centre"))
            };
            findings.least(what, (Some(layer.number), Some(p)), d, width - ROOM_MM, &text);
        }
    }
}

/// Beads inside the outline.
fn bead_room(findings: &mut Findings, layer: &Layer, rings: &Rings) {
    for bead in &layer.beads {
        let mut worst = (0.0, [0.0; 2]);
        for w in bead.line().windows(2) {
            let length = distance(w[0], w[1]);
            if length < 1e-9 {
                continue;
            }
            let d = [(w[1][0] - w[0][0]) / length, (w[1][1] - w[0][1]) / length];
            let n = super::curve::steps(length / STEP_MM);
            for k in 0..=n {
                let t = length * k as f64 / n as f64;
                for side in [-0.5 * bead.width_mm, 0.5 * bead.width_mm] {
                    let q = [w[0][0] + d[0] * t - d[1] * side, w[0][1] + d[1] * t + d[0] * side];
                    let out = rings.outside(q, 5.0);
                    if out > worst.0 {
                        worst = (out, q);
                    }
                }
            }
        }
        let text = format!("a {} bead reaches out of the outline by, mm", bead.kind);
        findings.most("bead outside", (Some(layer.number), Some(worst.1)), worst.0, ROOM_MM, &text);
    }
}

/// Areas: as told, as counted, as laid.
fn closure(findings: &mut Findings, plan: &Plan, layer: &Layer, rings: &Rings, told: &str) {
    let at: Place = (Some(layer.number), None);
    let Areas { outline, tow, matrix, open, unfilled } = layer.areas_mm2;
    let scale = rings.area;
    findings.same(
        "areas outline",
        at,
        outline,
        scale,
        1e-3 * scale + 1e-3,
        "outline area told against its rings",
    );
    findings.same(
        "areas sum",
        at,
        tow + matrix + open + unfilled,
        outline,
        1e-3 * outline + 1e-3,
        "tow + matrix + open + unfilled against outline",
    );
    let strips: f64 = layer.courses.iter().map(|c| Line::new(&c.segments).length() * plan.tow.width_mm).sum();
    findings.same("areas tow", at, tow, strips, 0.01 * strips + 1e-3, "tow area told against length x width");
    let laid: f64 = layer.beads.iter().map(|b| b.area_mm2 * b.length()).sum::<f64>() / layer.height_mm;
    findings.same(
        "areas matrix",
        at,
        matrix,
        laid,
        0.01 * laid.max(matrix) + 1e-3,
        "matrix area told against laid",
    );
    if scale <= 0.0 {
        return;
    }

    let tows: Vec<Strip> = layer
        .courses
        .iter()
        .map(|c| Strip {
            line: Line::new(&c.segments).chords(CHORD_MM),
            half: 0.5 * plan.tow.width_mm,
            closed: c.closed,
        })
        .collect();
    let beads: Vec<Strip> = layer
        .beads
        .iter()
        .map(|b| Strip { line: b.line(), half: 0.5 * b.width_mm, closed: b.closed })
        .collect();
    let c = cover::count(rings, &tows, &beads);
    let noise = 4.0 * c.sigma;
    findings.same("areas tow", at, tow, c.tow, 0.01 * c.tow + noise, "tow area told against counted");
    let text = "matrix laid against the outline less tow, open and unfilled";
    let space = scale - c.tow - open - unfilled;
    findings.same("closure", at, laid, space, 0.01 * space.max(0.0) + noise + 0.001 * scale, text);
    let over: Place = (at.0, Some(c.worst_both.0));
    let warned = |words: &[&str]| {
        let told = told.to_lowercase();
        words.iter().any(|w| told.contains(w))
    };
    if !warned(&["over tow", "lapping", "overlap"]) {
        findings.most("lapping", over, c.both, 0.01 * c.tow + noise, "beads over tow, mm2");
    }
    findings.most("overlap", at, c.tow_each - c.tow, 0.01 * c.tow + noise, "tow laid twice, mm2");
    findings.most(
        "overlap",
        at,
        laid - c.beads,
        0.04 * c.beads + noise, // the lap that the README states
        "matrix laid beyond what beads cover, mm2",
    );
    findings.most("overlap", at, c.beads_each - c.beads, 0.05 * c.beads + noise, "beads over beads, mm2");
    findings.most(
        "bead outside",
        at,
        c.beads_outside,
        0.005 * scale + noise,
        "beads outside the outline, mm2",
    );
    findings.most("room outline", at, c.tow_outside, 0.005 * scale + noise, "tow outside the outline, mm2");
    let bare: Place = (at.0, Some(c.worst_bare.0));
    let text = format!(
        "bare area counted beyond open + unfilled as told (most of it, {:.3} mm2, in one block), mm2",
        c.worst_bare.1
    );
    // flow and picture differ where widths change; what stays bare is judged below
    findings.most("bare", bare, c.bare, open + unfilled + 0.015 * scale + noise, &text);
    if !warned(&["unfilled", "not filled", "no bead fits"]) {
        findings.most("unfilled", bare, unfilled, 0.01 * scale + 1e-3, "unfilled as told, mm2");
        findings.most("unfilled", bare, c.bare - open, 0.01 * scale + noise, "bare less open, counted, mm2");
    }
}

/// The estimate's sums.
fn estimate(findings: &mut Findings, plan: &Plan) {
    const WHAT: &str = "estimate";
    let e = &plan.estimate;
    let copies = plan.placement_mm.len() as f64;
    let mut fibre = 0.0;
    let mut courses = 0_u64;
    let (mut volume, mut space) = (0.0, 0.0);
    for layer in &plan.layers {
        fibre += layer.courses.iter().map(|c| Line::new(&c.segments).length()).sum::<f64>();
        courses += layer.courses.len() as u64;
        volume += layer.beads.iter().map(|b| b.area_mm2 * b.length()).sum::<f64>();
        space += (layer.areas_mm2.outline - layer.areas_mm2.open) * layer.height_mm;
    }
    fibre *= copies;
    volume *= copies;
    space *= copies;
    let courses = courses * plan.placement_mm.len() as u64;
    let near = |x: f64| 1e-3 * x.abs() + 2e-3;
    findings.same(WHAT, NOWHERE, e.fibre_length_mm, fibre, 1e-4 * fibre + 0.01, "fibre_length_mm");
    if e.courses != courses {
        findings.say(WHAT, None, format!("{} courses told, {courses} in the plan", e.courses));
    }
    if e.cuts != courses {
        findings.say(WHAT, None, format!("{} cuts told, {courses} courses", e.cuts));
    }
    findings.same(WHAT, NOWHERE, e.matrix_volume_mm3, volume, near(volume), "matrix_volume_mm3");
    let mass = volume * plan.matrix.density_g_cm3 * 1e-3;
    findings.same(WHAT, NOWHERE, e.matrix_mass_g, mass, near(mass), "matrix_mass_g");
    let tow_volume = fibre * plan.tow.area_mm2;
    let tow_mass = tow_volume * plan.tow.density_g_cm3 * 1e-3;
    findings.same(WHAT, NOWHERE, e.tow_mass_g, tow_mass, near(tow_mass), "tow_mass_g");
    let part = (mass + tow_mass) / copies;
    findings.same(WHAT, NOWHERE, e.part_mass_g, part, near(part), "part_mass_g");
    if tow_volume + volume > 0.0 {
        let share = fibre * plan.tow.fibre_area_mm2 / (tow_volume + volume);
        findings.same(WHAT, NOWHERE, e.fibre_volume_fraction, share, 1e-3, "fibre_volume_fraction");
    }
    if space > 0.0 {
        let pores = 1.0 - (tow_volume + volume) / space;
        findings.same(WHAT, NOWHERE, e.printed_porosity, pores, 1e-3, "printed_porosity");
    }
    let t = &e.time_s;
    let parts = [t.fibre, t.matrix, t.travel, t.head_change, t.heating, t.cutting, t.other];
    for part in parts {
        findings.least(WHAT, NOWHERE, part, 0.0, "a part of time_s");
    }
    let sum: f64 = parts.iter().sum();
    findings.same(
        "estimate time",
        NOWHERE,
        t.total,
        sum,
        0.02 + 1e-4 * sum,
        "time_s total against its parts",
    );
    let speeds = &plan.printer.limits.speed_mm_s;
    findings.least("estimate time", NOWHERE, t.fibre, 0.999 * fibre / speeds.fibre - 0.01, "time_s fibre");
}

/// What the map asked for, as far as a plan can tell: strips inside their
/// shape, the region's own bend radius, directions.
pub(crate) fn asked(findings: &mut Findings, plan: &str, asked: &[super::parts::Asked]) {
    let Ok(plan) = serde_json::from_str::<Plan>(plan) else {
        return;
    };
    let half = 0.5 * plan.tow.width_mm;
    for region in asked {
        let rings = region.ring.as_ref().map(|ring| Rings::new(std::slice::from_ref(ring)));
        for layer in &plan.layers {
            let n = Some(layer.number);
            let (mut along, mut all) = (0.0, 0.0);
            for course in layer.courses.iter().filter(|c| c.region == region.region) {
                let name = course.name();
                if let Some(rings) = &rings {
                    let mut worst = (0.0, [0.0; 2]);
                    for (_, p, d) in Line::new(&course.segments).samples(STEP_MM) {
                        for side in [-half, half] {
                            let q = [p[0] - d[1] * side, p[1] + d[0] * side];
                            let out = rings.outside(q, 5.0);
                            if out > worst.0 {
                                worst = (out, q);
                            }
                        }
                    }
                    let text = format!("course {name}: strip outside its shape by, mm");
                    findings.most("room shape", (n, Some(worst.1)), worst.0, ROOM_MM, &text);
                }
                for segment in &course.segments {
                    if let (Some(least), Some(r)) = (region.min_bend_radius_mm, segment.radii()) {
                        let text = format!("course {name}: radius in a region with its own limit");
                        findings.least(
                            "bend",
                            (n, Some(segment.start())),
                            r[0].min(r[1]),
                            least - 1e-3,
                            &text,
                        );
                    }
                    all += segment.length();
                    if let (Some((angles, first, every)), super::plan_file::Segment::Line(_)) =
                        (&region.angles, segment)
                    {
                        let turn = usize::try_from(layer.number.saturating_sub(*first) / every).unwrap_or(0);
                        let wanted = angles[turn % angles.len()];
                        let d = segment.at(0.5).1;
                        let off = (libm::atan2(d[1], d[0]).to_degrees() - wanted).rem_euclid(180.0);
                        if off.min(180.0 - off) < 1.0 {
                            along += segment.length();
                        }
                    }
                }
            }
            if region.angles.is_some() && all > 0.0 {
                let text = format!("share of {} that lies in its direction", region.region);
                findings.least("direction", (n, None), along / all, 0.5, &text);
            }
        }
    }
}
