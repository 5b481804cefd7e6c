//! What no single key of a profile shows.

use crate::diagnostic::{Diagnostic, Source};
use crate::job::block::{Block, BlockKind};
use crate::job::document::{Reader, Values};
use std::sync::Arc;

/// What no single key shows.
pub(super) fn check(values: &Values, reader: &mut Reader<'_>, source: &Arc<Source>) {
    check_tools(values, reader);
    check_geometry(values, reader);
    check_limits(values, reader);
    let parentheses = values.table("controller").and_then(|c| c.text("comment")).map(|c| c == "parentheses");
    if let (Some(blocks), Some(parentheses)) = (values.table("blocks"), parentheses) {
        for kind in BlockKind::ALL {
            if let Some(block) = Block::of(kind, blocks, source) {
                reader.faults.extend(block.check(parentheses));
            }
        }
    }
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

fn check_geometry(values: &Values, reader: &mut Reader<'_>) {
    let wrong = |message: String| Diagnostic::error("profile-geometry", message);
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
        && px <= x1
        && px + line >= x0
        && py + PURGE_CLEAR_MM > y0
        && py - PURGE_CLEAR_MM < y1
    {
        let message =
            format!("the purge line at y {py} mm lies on the bed where parts go, y {y0} to {y1} mm");
        let d = wrong(message).help(format!("keep it {PURGE_CLEAR_MM} mm away from `bed_mm`"));
        reader.fault(d, purge.place("matrix_at_mm"), "");
    }
}

/// How far the purge line keeps from parts, mm: wider than any purge bead, so
/// that a head can be wiped without touching a part.
const PURGE_CLEAR_MM: f64 = 3.0;

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
