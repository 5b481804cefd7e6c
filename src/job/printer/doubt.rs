//! What is no fault of a profile, and mostly a mistake all the same.

use super::{HeadChange, Printer, ROOM_C};
use crate::diagnostic::Diagnostic;
use crate::job::Head;
use crate::job::block::{BlockValues, words_of};

/// Reaches are measured no more exactly than this, mm.
const SLACK_MM: f64 = 0.5;

impl Printer {
    /// Where both heads hang on one carriage: that one of them is taken beyond its reach while
    /// the other one works somewhere on the bed. A part that lies elsewhere can be made.
    pub fn idle_out_of_reach(&self) -> Option<Diagnostic> {
        if self.head_change != HeadChange::Lift {
            return None;
        }
        let [matrix, fibre] = [self.head(Head::Matrix), self.head(Head::Fibre)];
        (0..2).find_map(|i| {
            let aside = fibre.offset_mm[i] - matrix.offset_mm[i];
            let ways = [("matrix", "fibre", aside, fibre.reach_mm), ("fibre", "matrix", -aside, matrix.reach_mm)];
            let (works, idle, by, [low, high], at) = ways.into_iter().find_map(|(works, idle, by, reach)| {
                let [low, high] = reach[i];
                let beyond = |at: &f64| at + by < low - SLACK_MM || at + by > high + SLACK_MM;
                let at = [self.bed_mm[i], self.bed_mm[i + 2]].into_iter().find(beyond)?;
                Some((works, idle, by, reach[i], at))
            })?;
            let axis = ["x", "y"][i];
            let message = format!(
                "while the {works} nozzle works at {axis} {at} mm, which is on `bed_mm`, the {idle} nozzle on the same carriage is at {axis} {:.3} mm: it reaches {low} to {high} mm",
                at + by
            );
            let [from, to] = matrix.reach_mm[i].map(|end| end + aside);
            Some(
                Diagnostic::warning("idle-reach", message)
                    .in_file(&self.blocks.start.source.name)
                    .help(format!(
                        "`reach_mm.fibre.{axis}` is `reach_mm.matrix.{axis}` and {aside:.3} mm more, by `offsets_mm`: {from:.3} to {to:.3} mm; if both are measured, make `bed_mm` smaller"
                    )),
            )
        })
    }

    /// What the start block does not do that printers commonly have to be told: warnings.
    /// Units and G90 are not among them, the program sets both itself.
    ///
    /// Words: G28 homes (NISTIR 6556, Table 5, has it return to home); M140, M190, M141,
    /// M191 and M116 heat and wait, M82 and M83 say what E counts from (common practice on
    /// printers).
    pub fn doubts(&self) -> Vec<Diagnostic> {
        let block = &self.blocks.start;
        // a block that cannot be filled in is told as a fault
        let Ok(text) = block.render(&BlockValues::samples()) else { return Vec::new() };
        let parentheses = self.controller.parenthesis_comments;
        let words: Vec<(char, f64)> =
            text.lines().filter_map(|l| words_of(l, parentheses).ok()).flatten().collect();
        // of G28, also G28.2 and the like
        let has = |letter: char, codes: &[f64]| {
            words.iter().any(|(l, n)| *l == letter && codes.iter().any(|c| n.floor().total_cmp(c).is_eq()))
        };
        let mut missing: Vec<&str> = Vec::new();
        let mut lacks = |there: bool, what: &'static str| {
            if !there {
                missing.push(what);
            }
        };
        lacks(has('G', &[28.0]), "no homing (G28)");
        if self.max_bed_temperature_c > ROOM_C {
            let (heats, waits) = (has('M', &[140.0, 190.0]), has('M', &[190.0, 116.0]));
            lacks(heats, "no heating of the bed (M140 and M190)");
            lacks(waits || !heats, "no wait for the bed (M190)");
        }
        if self.max_chamber_temperature_c > ROOM_C {
            lacks(has('M', &[141.0, 191.0]), "no heating of the chamber (M141 or M191)");
        }
        if self.controller.absolute_extrusion {
            lacks(has('M', &[82.0, 83.0]), "no M82 for the profile's `extrusion = \"absolute\"`");
        } else {
            lacks(has('M', &[82.0, 83.0]), "no M83 for the profile's `extrusion = \"relative\"`");
        }
        if missing.is_empty() {
            return Vec::new();
        }
        let message = format!("the block `start` has {}", missing.join(", "));
        let d = Diagnostic::warning("block-lacks", message)
            .at(&block.source, block.span.clone(), "")
            .help("write it into the block, unless the controller does it by itself or by other words");
        vec![d]
    }
}
