//! A small program that shows what a profile makes of a machine: both heads, a
//! head change each way, a straight course and one with a bend, purge and heat.

use super::materials;
use super::piece::{Piece, hairpin, plate, room, straight};
use crate::diagnostic::{Diagnostic, Outcome};
use crate::estimate::TimeSplit;
use crate::geom::pt;
use crate::job::{Fill, Job, Printer};
use crate::verify::{self, Verdict};

/// The program, and what goes with it.
#[derive(Clone, Debug)]
pub struct Sample {
    /// The whole program.
    pub program: String,
    /// Its plan, for a check against it.
    pub plan: String,
    /// The machine, set for the materials that the sample is of.
    pub printer: Printer,
    /// Matrix and tow, by name.
    pub materials: [String; 2],
    /// Tow laid, mm.
    pub fibre_length_mm: f64,
    /// Where its time goes, s.
    pub time_s: TimeSplit,
}

impl Sample {
    /// What the independent check of programs finds in it, its plan in hand.
    ///
    /// Errors: as of [`verify::verify`].
    pub fn replayed(&self) -> Outcome<Verdict> {
        let plan = ("the small program's plan", self.plan.as_bytes());
        verify::verify("the small program", self.program.as_bytes(), &self.printer, Some(plan))
    }
}

/// Room between the sample's courses and its edge besides the perimeter, mm.
const EDGE_MM: f64 = 2.0;

/// Renders the sample of a printer: two layers of a plate, each with a straight
/// course and a hairpin, in the middle of the bed.
///
/// Errors: `trial-impossible` where the machine has no room for it; `out-of-reach`; faults of
/// the profile's blocks.
pub fn render(printer: &Printer) -> Outcome<Sample> {
    let (matrix, tow) = materials::that_fit(printer);
    let mut job = materials::job("sample", printer, &matrix, &tow);
    // perimeters only: it is to be read, not to be filled
    job.beads.fill = Fill::None;
    let written = piece(&job)?.write()?;
    Ok(Sample {
        program: written.program,
        plan: written.plan,
        printer: job.printer,
        materials: [matrix.name, tow.name],
        fibre_length_mm: written.fibre_length_mm,
        time_s: written.time_s,
    })
}

fn piece(job: &Job) -> Outcome<Piece<'_>> {
    let width = job.tow.width_mm;
    let radius = 1.25 * job.tow.min_bend_radius_mm.max(width);
    let edge = job.beads.bead_width_mm + EDGE_MM + 0.5 * width;
    // long enough to be cut, the straight course with some to spare
    let leg = (job.printer.shortest_course_mm() + 5.0).max(3.0 * radius).ceil();
    let row = edge + 2.0 * radius + 2.0 * width;
    let size = pt(leg + radius + 2.0 * edge, row + edge);
    let bed = room(job);
    if size.x > bed.x || size.y > bed.y {
        let message = format!(
            "the small program that is made of a profile to check it needs {:.1} x {:.1} mm, both heads of `{}` reach {:.1} x {:.1} mm of the bed",
            size.x, size.y, job.printer.name, bed.x, bed.y
        );
        return Err(Diagnostic::error("trial-impossible", message)
            .help("the profile itself has no fault that is seen without it; smaller parts may be planned with it")
            .into());
    }
    let outline = plate(size);
    let mut piece = Piece::new(job);
    for _ in 0..2 {
        let bent = hairpin(job, "hairpin", pt(edge, edge), leg, radius)?;
        let bar = straight(job, "bar", pt(edge, row), pt(edge + leg, row))?;
        piece.filled(&outline, vec![bent, bar]);
    }
    Ok(piece)
}
