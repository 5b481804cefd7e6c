//! The short table that a planner reads.

use super::Estimate;
use crate::diagnostic::counted;
use crate::gcode::clock;
use crate::job::Job;
use std::fmt::Write as _;

/// The figures as aligned plain text.
pub fn table(e: &Estimate, job: &Job) -> String {
    let mut out = String::new();
    let mut row = |name: &str, value: String| {
        // a String takes whatever is written
        let _ = writeln!(out, "{name:<26}{value}");
    };
    let copies = if job.copies == 1 { "1 part".to_string() } else { format!("{} parts", job.copies) };
    row("program", format!("{}, {copies}, printer {}", job.name, job.printer.name));
    row("fibre length", format!("{:.2} m in {}", e.fibre_length_mm / 1000.0, counted(e.courses, "course")));
    let saved = e.cuts_saved.map_or_else(String::new, |n| format!(" ({n} saved by turns and spirals)"));
    row("cuts", format!("{}{saved}", e.cuts));
    row("head changes", e.head_changes.to_string());
    row(
        "matrix",
        format!(
            "{:.2} cm3, {:.2} g, and {:.2} cm3 purged",
            e.matrix_volume_mm3 / 1000.0,
            e.matrix_mass_g,
            e.purge_volume_mm3 / 1000.0
        ),
    );
    row("tow", format!("{:.2} g", e.tow_mass_g));
    row("mass of one part", format!("{:.2} g", e.part_mass_g));
    let mut fibre = format!("{:.1} % of the part, pores left out", e.fibre_volume_fraction * 100.0);
    if e.courses > 0 {
        let _ = write!(
            fibre,
            "; where tow lies {:.1} % as printed, {:.1} % when pressed",
            e.strip_fibre_volume_fraction * 100.0,
            e.local_fibre_volume_fraction * 100.0
        );
    }
    row("fibre by volume", fibre);
    if e.open_fraction > 0.0 {
        row("left open on purpose", format!("{:.1} % of the part", e.open_fraction * 100.0));
    }
    let pores = e.printed_porosity * 100.0;
    // layers thinner than the tow hold less than is laid: a warning says so too
    let pores = if pores < 0.0 {
        format!("none: tow and matrix are {:.1} % more than the layers hold", -pores)
    } else {
        format!(
            "{pores:.1} %; with all of it closed by pressing, {:.2} mm of height are left in the mean",
            e.pressed_thickness_mm
        )
    };
    row("porosity as printed", pores);
    let t = &e.time_s;
    row("build time", format!("{} h:mm:ss", clock(t.total)));
    for (name, s) in [
        ("laying tow", t.fibre),
        ("laying matrix", t.matrix),
        ("travel", t.travel),
        ("head changes", t.head_change),
        ("heating", t.heating),
        ("cutting", t.cutting),
        ("start, purge, end", t.other),
    ] {
        row(&format!("  {name}"), format!("{} ({:.0} %)", clock(s), 100.0 * s / t.total.max(1e-9)));
    }
    out
}
