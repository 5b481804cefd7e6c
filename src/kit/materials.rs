//! Materials with which a machine can be tried.

use crate::diagnostic::{Diagnostic, Place, Source};
use crate::job::builtin;
use crate::job::{
    self, BeadPlan, CoursePlan, Fill, Job, Matrix, OutlineFile, Printer, Series, Tow, material,
};
use std::path::PathBuf;
use std::sync::Arc;

/// Width of beads in trials, mm: what a nozzle of 0.4 to 0.6 mm lays.
pub(super) const BEAD_MM: f64 = 0.5;

/// Lowest layer in trials, mm.
const LAYER_MM: f64 = 0.2;

/// A matrix and a tow of one polymer that the printer's heads get hot enough for:
/// the first of those built in. Where there is none, the first pair, laid as hot
/// as the heads get; it shows the machine's moves, and would not melt.
pub fn that_fit(printer: &Printer) -> (Matrix, Tow) {
    let (mut matrix, mut tow) = nearest(printer);
    matrix.process_temperature_c = matrix.process_temperature_c.min(printer.matrix.max_temperature_c);
    tow.process_temperature_c = tow.process_temperature_c.min(printer.fibre.max_temperature_c);
    (matrix, tow)
}

/// Warns, by head, where the pair that [`that_fit`] gives is laid cooler than it is meant to be.
pub fn laid_cold(printer: &Printer) -> Vec<Diagnostic> {
    let (matrix, tow) = nearest(printer);
    let heads = [
        ("matrix", &matrix.name, matrix.process_temperature_c, printer.matrix.max_temperature_c),
        ("fibre", &tow.name, tow.process_temperature_c, printer.fibre.max_temperature_c),
    ];
    let cold = heads.into_iter().filter(|(_, _, wanted, most)| wanted > most);
    cold.map(|(head, name, wanted, most)| {
        let message = format!(
            "the {head} head gets at most {most} degC hot, too cool for every built-in pair of materials: the small program in `{name}`, which is laid at {wanted} degC, says {most} degC and would not melt it"
        );
        Diagnostic::warning("temperature-limit", message).help(format!(
            "look at its moves alone; if the head gets hotter, `heads.{head}.max_temperature_c` is wrong, else plan with a material of your own"
        ))
    })
    .collect()
}

/// The first built-in pair that the heads get hot enough for, or else the first.
fn nearest(printer: &Printer) -> (Matrix, Tow) {
    let matrices: Vec<Matrix> =
        builtin::MATRICES.iter().filter_map(|b| material::read_matrix(&job::built_in_text(b)).ok()).collect();
    let tows: Vec<Tow> =
        builtin::TOWS.iter().filter_map(|b| material::read_tow(&job::built_in_text(b)).ok()).collect();
    let pairs: Vec<(&Matrix, &Tow)> = matrices
        .iter()
        .flat_map(|m| tows.iter().filter(|t| t.polymer == m.polymer).map(move |t| (m, t)))
        .collect();
    let fits = |(m, t): &&(&Matrix, &Tow)| {
        m.process_temperature_c <= printer.matrix.max_temperature_c
            && t.process_temperature_c <= printer.fibre.max_temperature_c
    };
    let (matrix, tow) = pairs.iter().find(fits).or(pairs.first()).expect("built-in files are read in tests");
    ((*matrix).clone(), (*tow).clone())
}

/// A job with nothing but a machine and materials: what the writer needs to know.
pub(super) fn job(name: &str, printer: &Printer, matrix: &Matrix, tow: &Tow) -> Job {
    let mut printer = printer.clone();
    printer.suit(Some(matrix), Some(tow));
    let source = Arc::new(Source { name: name.to_owned(), text: String::new() });
    let nowhere = Place { source, span: 0..0, label: String::new() };
    Job {
        name: name.to_owned(),
        outline: OutlineFile {
            path: PathBuf::new(),
            typed: String::new(),
            thickness_mm: None,
            unit_mm: None,
            place: nowhere.clone(),
            thickness_place: nowhere,
        },
        layer_height_mm: tow.height_mm.max(LAYER_MM),
        copies: 1,
        printer,
        matrix: matrix.clone(),
        tow: tow.clone(),
        beads: BeadPlan {
            perimeters: 1,
            bead_width_mm: BEAD_MM.max(tow.height_mm),
            fill: Fill::Parallel,
            fill_angles_deg: vec![45.0, -45.0],
            fill_fraction: 1.0,
        },
        courses: CoursePlan { deviation_mm: 0.02, end_stagger_mm: 0.0 },
        map: None,
        series: Series::default(),
        lots: [None, None],
        inputs: Vec::new(),
    }
}
