//! Checked values become a printer.

use super::{
    Blocks, Clearance, Controller, HeadChange, HeadProfile, Heater, Limits, Printer, Purge, ROOM_C, Times,
};
use crate::diagnostic::Source;
use crate::job::block::{Block, BlockKind};
use crate::job::document::Values;
use std::sync::Arc;

/// `None` where a required key is missing: the checks have told so.
pub(super) fn resolve(v: &Values, source: &Arc<Source>) -> Option<Printer> {
    let controller = v.table("controller")?;
    let limits = v.table("limits")?;
    let speed = limits.table("speed_mm_s")?;
    let acceleration = limits.table("acceleration_mm_s2")?;
    let clearance = v.table("clearance")?;
    let purge = v.table("purge")?;
    let times = v.table("times")?;
    let blocks = v.table("blocks")?;
    let head = |name: &str| {
        let head = v.table("heads")?.table(name)?;
        let reach = v.table("reach_mm")?.table(name)?;
        let max_temperature_c = head.number("max_temperature_c")?;
        let standby_drop_k = head.number("standby_drop_k")?;
        Some(HeadProfile {
            tool: u32::try_from(v.table("tools")?.integer(name)?).ok()?,
            offset_mm: v.table("offsets_mm")?.array(name)?,
            reach_mm: [reach.array("x")?, reach.array("y")?, reach.array("z")?],
            max_temperature_c,
            standby_temperature_c: (max_temperature_c - standby_drop_k).max(0.0),
            standby_drop_k,
            heater: Heater::of_a_head(
                head.number("heating_k_s")?,
                head.number("cooling_k_s")?,
                head.number("time_constant_s"),
                max_temperature_c,
            ),
            speed_mm_s: speed.number(name)?,
            max_feed_mm_s: head.number("max_feed_mm_s")?,
            feed_scale: head.number("feed_scale")?,
        })
    };
    let change = v.table("head_change")?;
    let heating = |name: &str| {
        let table = v.table(name)?;
        Some(Heater::that_only_heats(table.number("heating_k_s")?, table.number("time_constant_s")))
    };
    let block = |kind| Block::of(kind, blocks, source);
    Some(Printer {
        name: v.text("name")?.to_owned(),
        description: v.text("description")?.to_owned(),
        controller: Controller {
            arcs: controller.flag("arcs")?,
            chord_mm: controller.number("chord_mm")?,
            absolute_extrusion: controller.text("extrusion")? == "absolute",
            program_applies_offsets: controller.text("offsets_applied_by")? == "program",
            parenthesis_comments: controller.text("comment")? == "parentheses",
            tool_change_m6: controller.flag("tool_change_m6")?,
            dwell_milliseconds: controller.text("dwell_unit")? == "ms",
            block_time_s: controller.number("block_time_s")?,
        },
        matrix: head("matrix")?,
        fibre: head("fibre")?,
        feedstock_diameter_mm: v.number("feedstock_diameter_mm")?,
        cutter_to_nozzle_mm: v.number("cutter_to_nozzle_mm")?,
        anchor_mm: v.number("anchor_mm")?,
        limits: Limits {
            axis_speed_mm_s: [speed.number("x")?, speed.number("y")?, speed.number("z")?],
            travel_mm_s: speed.number("travel")?,
            work_mm_s2: acceleration.number("work")?,
            travel_mm_s2: acceleration.number("travel")?,
            z_mm_s2: acceleration.number("z")?,
            corner_deviation_mm: limits.number("corner_deviation_mm")?,
            jerk_mm_s3: limits.number("jerk_mm_s3").unwrap_or(f64::INFINITY),
        },
        clearance: Clearance {
            travel_lift_mm: clearance.number("travel_lift_mm")?,
            idle_lift_mm: clearance.number("idle_lift_mm")?,
        },
        purge: Purge {
            matrix_at_mm: purge.array("matrix_at_mm")?,
            matrix_line_mm: purge.number("matrix_line_mm")?,
            matrix_volume_mm3: purge.number("matrix_volume_mm3")?,
        },
        times: Times {
            head_change_s: times.number("head_change_s")?,
            cut_s: times.number("cut_s")?,
            start_s: times.number("start_s")?,
            end_s: times.number("end_s")?,
        },
        head_change: match (change.text("way")?, change.array("matrix_at_mm"), change.array("fibre_at_mm")) {
            ("park", Some(matrix), Some(fibre)) => HeadChange::Park([matrix, fibre]),
            ("dock", Some(matrix), Some(fibre)) => HeadChange::Dock([matrix, fibre]),
            _ => HeadChange::Lift,
        },
        bed_heating: heating("bed_heating"),
        chamber_heating: heating("chamber_heating"),
        bed_temperature_c: v.number("max_bed_temperature_c")?,
        chamber_temperature_c: v.number("max_chamber_temperature_c")?,
        max_bed_temperature_c: v.number("max_bed_temperature_c")?,
        max_chamber_temperature_c: v.number("max_chamber_temperature_c")?,
        bed_mm: v.array("bed_mm")?,
        copy_gap_mm: v.number("copy_gap_mm")?,
        start_heads_c: [ROOM_C; 2],
        blocks: Blocks {
            start: block(BlockKind::Start)?,
            end: block(BlockKind::End)?,
            to_matrix: block(BlockKind::ToMatrix)?,
            to_fibre: block(BlockKind::ToFibre)?,
            cut: block(BlockKind::Cut)?,
            heat: block(BlockKind::Heat)?,
            heat_wait: block(BlockKind::HeatWait)?,
        },
    })
}
