//! What no single key of a profile shows.

use super::heater::{Heater, ROOM_C};
use crate::diagnostic::{Diagnostic, Source};
use crate::job::block::{Block, BlockKind, Limits};
use crate::job::document::{Reader, Values};
use std::sync::Arc;

/// What no single key shows.
pub(super) fn check(values: &Values, reader: &mut Reader<'_>, source: &Arc<Source>) {
    check_tools(values, reader);
    check_geometry(values, reader);
    check_limits(values, reader);
    check_head_change(values, reader);
    check_heaters(values, reader);
    if let (Some(blocks), Some(limits)) = (values.table("blocks"), block_limits(values)) {
        for kind in BlockKind::ALL {
            if let Some(block) = Block::of(kind, blocks, source) {
                reader.faults.extend(block.check(&limits));
            }
        }
        let of = |kind| Block::of(kind, blocks, source);
        if let (Some(heat), Some(wait)) = (of(BlockKind::Heat), of(BlockKind::HeatWait)) {
            reader.faults.extend(wait.waits(&heat, &limits));
        }
    }
}

/// What the blocks' words are held against; `None` where the profile does not
/// say what a comment is.
fn block_limits(values: &Values) -> Option<Limits> {
    let controller = values.table("controller")?;
    let head = |name: &str| {
        let tool = values.table("tools").and_then(|t| t.integer(name));
        let most =
            values.table("heads").and_then(|h| h.table(name)).and_then(|h| h.number("max_temperature_c"));
        (tool, most)
    };
    Some(Limits {
        parenthesis_comments: controller.text("comment")? == "parentheses",
        arcs: controller.flag("arcs").unwrap_or(true),
        absolute_extrusion: controller.text("extrusion").map(|e| e == "absolute"),
        dwell_milliseconds: controller.text("dwell_unit") == Some("ms"),
        times_s: ["cut_s", "head_change_s", "start_s", "end_s"]
            .map(|key| values.table("times").and_then(|t| t.number(key))),
        heads: [head("matrix"), head("fibre")],
        bed_c: values.number("max_bed_temperature_c"),
        chamber_c: values.number("max_chamber_temperature_c"),
    })
}

fn check_tools(values: &Values, reader: &mut Reader<'_>) {
    if let Some(tools) = values.table("tools")
        && let (Some(m), Some(f)) = (tools.integer("matrix"), tools.integer("fibre"))
        && m == f
    {
        let d = Diagnostic::error("profile-limits", format!("both heads have the number T{m}"));
        reader.fault(d, tools.place("fibre"), "");
    }
}

fn wrong(message: String) -> Diagnostic {
    Diagnostic::error("profile-geometry", message)
}

fn check_geometry(values: &Values, reader: &mut Reader<'_>) {
    let mut reaches = Vec::new();
    if let Some(reach) = values.table("reach_mm") {
        for head in ["matrix", "fibre"] {
            let Some(axes) = reach.table(head) else { continue };
            let mut complete = Some([[0.0; 2]; 3]);
            for (i, axis) in ["x", "y", "z"].into_iter().enumerate() {
                let Some([low, high]) = axes.array(axis) else {
                    complete = None;
                    continue;
                };
                if low >= high {
                    let message = format!(
                        "`reach_mm.{head}.{axis}` goes from {low} mm to {high} mm, the lower end comes first"
                    );
                    reader.fault(wrong(message), axes.place(axis), "");
                    complete = None;
                } else if let Some(c) = &mut complete {
                    c[i] = [low, high];
                }
            }
            if let Some(c) = complete {
                if c[2][0] > 0.0 || c[2][1] <= 0.0 {
                    let message = format!(
                        "the {head} nozzle's z goes from {} mm to {} mm: the bed is z 0",
                        c[2][0], c[2][1]
                    );
                    reader.fault(wrong(message), axes.place("z"), "");
                }
                reaches.push((head, c));
            }
        }
    }
    if let [(_, matrix), (_, fibre)] = reaches[..] {
        check_overlap(values, reader, &matrix, &fibre);
    }
    let bed = values.array::<4>("bed_mm");
    let bed = bed.filter(|[x0, y0, x1, y1]| {
        let right = x0 < x1 && y0 < y1;
        if !right {
            let message = format!("`bed_mm` [{x0}, {y0}, {x1}, {y1}] encloses nothing");
            let d = wrong(message).help("[x_lo, y_lo, x_hi, y_hi], machine coordinates");
            reader.fault(d, values.place("bed_mm"), "");
        }
        right
    });
    if let Some([x0, y0, x1, y1]) = bed {
        for (head, [x, y, _]) in &reaches {
            if x0 < x[0] || x1 > x[1] || y0 < y[0] || y1 > y[1] {
                let message = format!(
                    "`bed_mm` goes from x {x0} to {x1}, y {y0} to {y1} mm, the {head} nozzle reaches x {} to {}, y {} to {} mm",
                    x[0], x[1], y[0], y[1]
                );
                let d = wrong(message).help("parts lie only where both heads reach");
                reader.fault(d, values.place("bed_mm"), "");
            }
        }
    }
    check_one_carriage(values, reader);
    let Some(purge) = values.table("purge") else { return };
    let (Some([px, py]), Some(line)) = (purge.array::<2>("matrix_at_mm"), purge.number("matrix_line_mm"))
    else {
        return;
    };
    if let Some((_, [x, y, _])) = reaches.iter().find(|(head, _)| *head == "matrix")
        && (px < x[0] || px + line > x[1] || py < y[0] || py > y[1])
    {
        let message = format!(
            "the purge line goes from x {px} to {}, y {py} mm, the matrix nozzle reaches x {} to {}, y {} to {} mm",
            px + line,
            x[0],
            x[1],
            y[0],
            y[1]
        );
        reader.fault(wrong(message), purge.place("matrix_at_mm"), "");
    }
    if let Some([x0, y0, x1, y1]) = bed
        && px < x1 + CLEAR_MM
        && px + line > x0 - CLEAR_MM
        && py + CLEAR_MM > y0
        && py - CLEAR_MM < y1
    {
        let message = format!(
            "the purge line from x {px} to {}, y {py} mm lies on the bed where parts go, x {x0} to {x1}, y {y0} to {y1} mm, or less than {CLEAR_MM} mm beside it",
            px + line
        );
        let d = wrong(message).help(format!("keep it {CLEAR_MM} mm away from `bed_mm`"));
        reader.fault(d, purge.place("matrix_at_mm"), "");
    }
}

/// Narrowest place that both heads reach on which anything can be tried, mm: a
/// strip of a few beads and courses side by side.
const NARROWEST_MM: f64 = 20.0;

/// Lowest height that both heads reach with which a preform can be built, mm.
const LOWEST_MM: f64 = 5.0;

/// Both heads have to reach the place where a part lies.
fn check_overlap(values: &Values, reader: &mut Reader<'_>, matrix: &[[f64; 2]; 3], fibre: &[[f64; 2]; 3]) {
    let Some(place) = values.table("reach_mm").map(|r| r.place("fibre")) else { return };
    let shared: Vec<f64> = matrix.iter().zip(fibre).map(|(m, f)| m[1].min(f[1]) - m[0].max(f[0])).collect();
    let (x, y, z) = (shared[0].max(0.0), shared[1].max(0.0), shared[2].max(0.0));
    let course =
        values.number("cutter_to_nozzle_mm").unwrap_or(0.0) + values.number("anchor_mm").unwrap_or(0.0);
    let wrong = if x.min(y) < NARROWEST_MM {
        format!("both nozzles reach only {x:.1} x {y:.1} mm, less than {NARROWEST_MM} mm one way")
    } else if x.max(y) < course {
        format!("both nozzles reach only {x:.1} x {y:.1} mm, the shortest course is {course:.1} mm long")
    } else if z < LOWEST_MM {
        format!("both nozzles reach only {z:.1} mm of height, at least {LOWEST_MM} mm are needed")
    } else {
        return;
    };
    let d = Diagnostic::error("profile-geometry", wrong)
        .help("`reach_mm` is where each nozzle gets to, its head's offset counted");
    reader.fault(d, place, "");
}

/// Where both nozzles hang on one carriage the idle one is above the other.
fn check_one_carriage(values: &Values, reader: &mut Reader<'_>) {
    let change = values.table("head_change");
    // a way that is no word for one is told already
    if change.is_some_and(|c| c.has("way") && c.text("way") != Some("lift")) {
        return;
    }
    let offset = |head: &str| values.table("offsets_mm").and_then(|o| o.array::<3>(head));
    let (Some(matrix), Some(fibre)) = (offset("matrix"), offset("fibre")) else { return };
    if let Some(clearance) = values.table("clearance")
        && let Some(lift) = clearance.number("idle_lift_mm")
    {
        for (works, idle, above) in
            [("matrix", "fibre", fibre[2] - matrix[2]), ("fibre", "matrix", matrix[2] - fibre[2])]
        {
            if above + lift <= 0.0 {
                let message = format!(
                    "the idle {idle} nozzle hangs {:.3} mm below the working {works} nozzle: by `offsets_mm` it works {:.3} mm lower, and `idle_lift_mm` raises it by {lift} mm",
                    -above - lift,
                    -above
                );
                let d = wrong(message).help("`idle_lift_mm` counts from the head's own place at work: measure it there, or the z offsets again");
                let place = values
                    .table("offsets_mm")
                    .map_or_else(|| clearance.place("idle_lift_mm"), |o| o.place(idle));
                reader.fault(d, place, "");
            }
        }
    }
}

/// Heads that park or dock have a place for it that they reach, off the bed.
fn check_head_change(values: &Values, reader: &mut Reader<'_>) {
    let Some(change) = values.table("head_change") else { return };
    let way = change.text("way").unwrap_or("lift");
    if way == "lift" {
        for head in ["matrix", "fibre"] {
            let key = format!("{head}_at_mm");
            if change.typed(&key).is_some() && !change.has("way") {
                let message = format!(
                    "`head_change.{key}` is where a head waits that parks or docks, and `way` is not there: heads lift"
                );
                let d =
                    wrong(message).help("write `way = \"park\"` or `way = \"dock\"`, or leave the place out");
                reader.fault(d, change.place(&key), "");
            }
        }
        return;
    }
    for head in ["matrix", "fibre"] {
        let key = format!("{head}_at_mm");
        let Some([px, py]) = change.array::<2>(&key) else {
            if change.typed(&key).is_none() {
                let message = format!("heads that {way} need their places: `head_change.{key}` is missing");
                let d = Diagnostic::error("missing-key", message).help(format!(
                    "{key} = [x, y], machine coordinates of the {head} nozzle when it is put aside"
                ));
                reader.fault(d, change.place("way"), "");
            }
            continue;
        };
        if let Some([x0, y0, x1, y1]) = values.array::<4>("bed_mm")
            && px > x0 - CLEAR_MM
            && px < x1 + CLEAR_MM
            && py > y0 - CLEAR_MM
            && py < y1 + CLEAR_MM
        {
            let message = format!(
                "the {head} head is put aside at x {px}, y {py} mm, on the bed where parts lie, x {x0} to {x1}, y {y0} to {y1} mm"
            );
            let d = Diagnostic::error("profile-geometry", message).help(format!(
                "a head that waits there, or on its way there, runs into parts: keep `head_change.{key}` {CLEAR_MM} mm away from `bed_mm`, or make the bed smaller"
            ));
            reader.fault(d, change.place(&key), "");
        }
        let reach = values.table("reach_mm").and_then(|r| r.table(head));
        let Some(([x0, x1], [y0, y1])) = reach.and_then(|r| r.array("x").zip(r.array("y"))) else { continue };
        if px < x0 || px > x1 || py < y0 || py > y1 {
            let message = format!(
                "the {head} head is put aside at x {px}, y {py} mm, its nozzle reaches x {x0} to {x1}, y {y0} to {y1} mm"
            );
            reader.fault(Diagnostic::error("profile-geometry", message), change.place(&key), "");
        }
    }
}

/// A heater with a time constant gets as hot as the profile says.
fn check_heaters(values: &Values, reader: &mut Reader<'_>) {
    let mut check = |what: &str, table: Option<&Values>, most: Option<f64>| {
        let (Some(table), Some(most)) = (table, most) else { return };
        let Some(rate) = table.number("heating_k_s") else { return };
        let end = Heater::that_only_heats(rate, table.number("time_constant_s")).hottest_c();
        if end <= most {
            let message = format!(
                "the {what} is to reach {most} degC, at {rate} K/s and its time constant it nears {end:.0} degC"
            );
            let d = Diagnostic::error("profile-limits", message).help(format!(
                "room {ROOM_C} degC + `heating_k_s` x `time_constant_s` has to lie above what it is to reach"
            ));
            reader.fault(d, table.place("time_constant_s"), "");
        }
    };
    for head in ["matrix", "fibre"] {
        let table = values.table("heads").and_then(|h| h.table(head));
        check(&format!("{head} head"), table, table.and_then(|t| t.number("max_temperature_c")));
    }
    check("bed", values.table("bed_heating"), values.number("max_bed_temperature_c"));
    check("chamber", values.table("chamber_heating"), values.number("max_chamber_temperature_c"));
}

/// How far the purge line and heads that are put aside keep from where parts lie, mm:
/// wider than any purge bead, so that a head can be wiped without touching a part.
const CLEAR_MM: f64 = 3.0;

fn check_limits(values: &Values, reader: &mut Reader<'_>) {
    let Some(limits) = values.table("limits") else { return };
    if let Some(speed) = limits.table("speed_mm_s") {
        for key in ["matrix", "fibre", "travel"] {
            for axis in ["x", "y"] {
                if let (Some(v), Some(most)) = (speed.number(key), speed.number(axis))
                    && v > most
                {
                    let message = format!(
                        "`limits.speed_mm_s.{key}` is {v} mm/s, axis {axis} runs at most {most} mm/s"
                    );
                    reader.fault(Diagnostic::error("profile-limits", message), speed.place(key), "");
                }
            }
        }
        if let Some(head) = values.table("heads").and_then(|h| h.table("fibre"))
            && let (Some(v), Some(most)) = (speed.number("fibre"), head.number("max_feed_mm_s"))
            && v > most
        {
            let message = format!("tow is laid at {v} mm/s, the fibre head feeds at most {most} mm/s");
            reader.fault(Diagnostic::error("profile-limits", message), speed.place("fibre"), "");
        }
    }
}
