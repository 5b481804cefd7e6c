//! The sheet that goes with the trials: what to run, what to measure, and where
//! each reading goes.

use super::trial::{Facts, Trial};
use crate::files::Input;
use crate::gcode::clock;
use crate::geom::Point;
use crate::job::Job;
use std::fmt::Write as _;

/// The sheet's name.
pub const FILE: &str = "sheet.md";

/// The sheet of a printer's trials, Markdown.
pub(super) fn text(job: &Job, trials: &[Trial]) -> String {
    let p = &job.printer;
    let mut out = format!("# Trials of {}\n\n", p.name);
    let mut add = |text: &str| {
        out.push_str(text);
        out.push_str("\n\n");
    };
    add(&format!(
        "Matrix `{}` at {} degC, tow `{}` at {} degC. Lengths in mm. Fill in the blanks, then change the profile and run `towpath printer check` again.",
        job.matrix.name, job.matrix.process_temperature_c, job.tow.name, job.tow.process_temperature_c
    ));
    add("## Before anything runs");
    add(
        "- Heads and bed burn: up to the temperatures above, and long after the end. Let them cool before you touch or measure.\n\
         - Axes move without warning and crush; blades cut. Keep guards and interlocks in place and the emergency stop in reach; never reach in while a program runs.\n\
         - Molten polymers give off fumes, and carbon dust irritates and conducts: extract, wear gloves and eye protection, keep dust away from electronics.\n\
         - Run each program first without tow and matrix, the nozzles well above the bed, and watch it to its end. Stay with the machine.\n\
         - The maker's instructions and your local rules come first. These programs know the machine no better than its profile does.",
    );
    for trial in trials {
        let (title, body) = section(job, trial);
        let w = &trial.written;
        let mut head = format!("`{}.gcode`, about {}", trial.name, clock(w.time_s.total));
        if w.fibre_length_mm > 0.0 {
            let _ = write!(head, ", {:.2} m of tow", w.fibre_length_mm / 1000.0);
        }
        add(&format!("## {title}\n\n{head}\n\n{body}"));
    }
    add("## Head change, block time, acceleration");
    add(&format!(
        "Run `time-changes`, `time-lines`, `time-work` and `time-travel` (they move in the air and lay nothing) twice each, so that the bed is hot, and time the second run from its first line to its last:\n\n\
         | program | first line | last line | took h:mm:ss |\n|---|---|---|---|\n\
         | time-changes | | | |\n| time-lines | | | |\n| time-work | | | |\n| time-travel | | | |\n\n\
         Then\n\n```sh\ntowpath printer fit PROFILE --hot --out PROFILE \\\n    --program time-changes.gcode --took 0:00:00 \\\n    --program time-lines.gcode --took 0:00:00 \\\n    --program time-work.gcode --took 0:00:00 \\\n    --program time-travel.gcode --took 0:00:00\n```\n\n\
         with your times writes `times.head_change_s` (now {} s), `controller.block_time_s` (now {} s) and `limits.acceleration_mm_s2` (now work {}, travel {} mm/s2), and says what the times cannot tell apart. Prints of parts that you timed may be added; leave `--hot` out where bed and chamber were cold.",
        p.times.head_change_s, p.controller.block_time_s, p.limits.work_mm_s2, p.limits.travel_mm_s2
    ));
    sealed(&(out.trim_end().to_owned() + "\n"))
}

/// Before the first digits of the hash of what stands above it, in a comment.
const SEAL: &str = "\n<!-- as written: ";

/// A sheet with what tells later on whether somebody has written into it.
fn sealed(text: &str) -> String {
    let hash = Input::of("sheet", "", text.as_bytes()).sha256;
    format!("{text}{SEAL}{} -->\n", &hash[..12])
}

/// A sheet holds readings, or whatever else it did not have when it was written.
pub fn filled_in(text: &str) -> bool {
    let text = text.replace("\r\n", "\n");
    text.rsplit_once(SEAL).is_none_or(|(above, _)| sealed(above) != text)
}

fn list(values: &[f64]) -> String {
    values.iter().map(f64::to_string).collect::<Vec<_>>().join(", ")
}

/// A row for each straight course along x, from the one nearest to y 0, with the
/// side on which it begins: they are laid to and fro.
fn rows(trial: &Trial, length_mm: f64) -> String {
    let mut courses = trial.written.begins.clone();
    courses.sort_by(|a, b| a.1.y.total_cmp(&b.1.y));
    let side = |x: f64| if x < 0.5 * length_mm { "left" } else { "right" };
    let row = |(name, at): &(String, Point)| format!("| {name}, begins {} | | |", side(at.x));
    courses.iter().map(row).collect::<Vec<_>>().join("\n")
}

/// Title and text of a trial.
fn section(job: &Job, trial: &Trial) -> (&'static str, String) {
    let p = &job.printer;
    match &trial.facts {
        Facts::CutDistance { length_mm } => (
            "Cutter to nozzle",
            format!(
                "Five courses of {length_mm} mm; short lines of matrix beside each mark where it should begin and end. \
                 Where the tow really has another way from cutter to nozzle, it begins late and is left over at the end by the same length, or begins early and ends short.\n\n\
                 | course | tow begins behind its line (-: before it) | tow reaches past its end line (-: short of it) |\n|---|---|---|\n\
                 {}\n\n\
                 - d = mean of all ten readings: ______ mm\n\
                 - `cutter_to_nozzle_mm` = {} + d = ______\n\
                 - If the start of a course comes off the bed when the tow is cut: `anchor_mm` (now {}) is too short; raise it by 2 mm and run again.\n\
                 - Both readings of a course disagree by more than 1 mm: the feed slips or its scale is off; do `feed-tow` first.",
                rows(trial, *length_mm),
                p.cutter_to_nozzle_mm,
                p.anchor_mm
            ),
        ),
        Facts::BendComb { radii_mm } => (
            "Smallest bend",
            format!(
                "Hairpins of radius {} mm, the tightest nearest to the first edge. Look at each bend under a glass. \
                 The tighter ones are on purpose: `towpath verify` tells them as `bend`{}.\n\n\
                 | radius mm | lies flat | edge lifts or folds | cuts the corner by mm |\n|---|---|---|---|\n{}\n\n\
                 - Smallest radius that lies flat in three runs: ______ mm\n\
                 - It goes into the tow file, `min_bend_radius_mm` (now {}), not into the printer's profile; it belongs to this tow on this machine.\n\
                 - The edges of a tow of width w are strained by w / (2 radius): {:.1} % at its present radius.",
                list(radii_mm),
                if p.controller.arcs { "" } else { " and `joint`" },
                radii_mm.iter().map(|r| format!("| {r} | | | |")).collect::<Vec<_>>().join("\n"),
                job.tow.min_bend_radius_mm,
                50.0 * job.tow.width_mm / job.tow.min_bend_radius_mm
            ),
        ),
        Facts::Spacing { spacings_mm } => (
            "Tow width and spacing",
            format!(
                "One course by itself, then groups of five at {} mm from centre to centre. \
                 The closest are on purpose: `towpath verify` tells them as `apart`.\n\n\
                 - Width of the single course at five places: ____ ____ ____ ____ ____, mean ______ mm -> tow file, `width_mm` (now {})\n\
                 - Its height, by a micrometer over raft and course less the raft: ______ mm -> tow file, `height_mm` (now {})\n\
                 - First group, from the narrow side, whose courses lie side by side without climbing: ______ mm -> `spacing_mm` in maps, where it is more than the width",
                list(spacings_mm),
                job.tow.width_mm,
                job.tow.height_mm
            ),
        ),
        Facts::HeadOffset { beads_mm, courses_mm } => {
            let [x, y, z] = p.fibre.offset_mm;
            let who = if p.controller.program_applies_offsets {
                "The program takes the offset off its coordinates, so the profile's value is all there is to change."
            } else {
                "The controller applies the offset: change it there by the same d, and in the profile too, with `reach_mm.fibre`."
            };
            (
                "Head offset",
                format!(
                    "Lines of matrix {beads_mm} mm apart and courses {courses_mm:.1} mm apart, end to end, 13 of each; the middle ones, number 0, should meet. \
                     Count from the middle, to +x and +y positive, to the pair that meets best.\n\n\
                     | direction | number of the pair that meets | d = -{:.1} x number |\n|---|---|---|\n| x (lines along y, nearer to you) | | |\n| y (lines along x, further away) | | |\n\n\
                     - `offsets_mm.fibre` = [{x} + d of x, {y} + d of y, {z}] = [______, ______, {z}]\n\
                     - {who}\n\
                     - Height: lower each nozzle onto a feeler gauge at the same place; the difference goes into z. Number 6 or beyond: correct by a ruler first.",
                    courses_mm - beads_mm
                ),
            )
        }
        Facts::FeedTow { length_mm } => (
            "Tow feed",
            format!(
                "Three courses of {length_mm} mm. Peel them off (or measure along them): what was fed is what lies there, wherever it begins.\n\n\
                 - Lengths: ____ ____ ____, mean m = ______ mm\n\
                 - `heads.fibre.feed_scale` = {} x {length_mm} / m = ______\n\
                 - More than 2 % from 1: look for slip, worn rollers or a wrong setting in the controller first.",
                p.fibre.feed_scale
            ),
        ),
        Facts::FeedMatrix { length_mm } => (
            "Matrix feed",
            format!(
                "A solid plate. Before it starts mark the filament {:.0} mm above the inlet; afterwards measure what is left to the mark.\n\n\
                 - Went in: m = {:.0} - rest = ______ mm, asked for {length_mm:.1} mm\n\
                 - `heads.matrix.feed_scale` = {} x {length_mm:.1} / m = ______",
                length_mm + 50.0,
                length_mm + 50.0,
                p.matrix.feed_scale
            ),
        ),
        Facts::Timed => (
            match trial.name {
                "time-changes" => "Time of head changes",
                "time-lines" => "Time of short lines",
                "time-work" => "Time of strokes of work",
                _ => "Time of strokes of travel",
            },
            "Only timed, see below.".to_owned(),
        ),
    }
}
