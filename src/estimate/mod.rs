//! What the whole program comes to: length, mass, fibre fraction, time.

mod clock;
mod quick;
pub mod series;
mod table;
mod time;

use crate::count::f64_of;
pub use quick::{ROUGH_MM, WITHIN, Within, quick};
pub use table::table;
pub use time::{heated, time};

use crate::job::Job;
use crate::matrix::LayerBeads;
use crate::outline::Outline;
use crate::sequence::{Move, Program};
use serde::Serialize;

/// Figures of the whole program, all copies. Keys as in the plan.
#[derive(Clone, Debug, PartialEq, Serialize, schemars::JsonSchema)]
pub struct Estimate {
    /// Tow laid, mm.
    pub fibre_length_mm: f64,
    /// Courses laid.
    pub courses: usize,
    /// Cuts made: one a course.
    pub cuts: usize,
    /// Cuts that joining rows by turns and winding loops to spirals saved; not known to the quick estimate.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub cuts_saved: Option<usize>,
    /// Head changes after the first choice of a head.
    pub head_changes: usize,
    /// Matrix laid as beads, without purge, mm3.
    pub matrix_volume_mm3: f64,
    /// Matrix laid to clear the head, mm3.
    pub purge_volume_mm3: f64,
    /// Mass of the beads, without purge, g.
    pub matrix_mass_g: f64,
    /// Mass of the tow, g.
    pub tow_mass_g: f64,
    /// Mass of one part, g.
    pub part_mass_g: f64,
    /// Fibre over tow and matrix, without pores.
    pub fibre_volume_fraction: f64,
    /// Fibre over tow where tow lies, without pores: the highest that pressing
    /// reaches where no matrix flows in.
    pub local_fibre_volume_fraction: f64,
    /// Fibre over the space of the tow's strips (length x width x layer height,
    /// pores and all): what is there as printed. 0 without tow.
    pub strip_fibre_volume_fraction: f64,
    /// Share of the outline's volume, less what is left open on purpose, that
    /// neither tow nor matrix fills.
    pub printed_porosity: f64,
    /// Share of the outline's volume that is left open on purpose: by `fill_fraction`, or by
    /// `fill = "none"`.
    pub open_fraction: f64,
    /// What pressing leaves of the part's height, a mean, mm: the height as printed times
    /// (1 - `printed_porosity`). That assumes that every pore closes, that nothing flows
    /// out sideways or into what is left open on purpose, and that all of the part yields alike.
    pub pressed_thickness_mm: f64,
    /// Where the time goes, s.
    pub time_s: TimeSplit,
}

/// Seconds by what the machine does.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, schemars::JsonSchema)]
pub struct TimeSplit {
    /// Sum of the others.
    pub total: f64,
    /// Laying tow.
    pub fibre: f64,
    /// Laying matrix.
    pub matrix: f64,
    /// Moving without laying.
    pub travel: f64,
    /// Changing heads.
    pub head_change: f64,
    /// Waiting for heat.
    pub heating: f64,
    /// Cutting.
    pub cutting: f64,
    /// Purging, starting, ending.
    pub other: f64,
}

/// Adds up a program.
pub fn of(
    job: &Job,
    outline: &Outline,
    program: &Program,
    beads: &[LayerBeads],
    cuts_saved: usize,
    time_s: TimeSplit,
) -> Estimate {
    let copies = f64_of(job.copies);
    let laid = || program.courses.iter().flatten();
    // an empty sum is -0, which would be written so
    let fibre_length_mm = laid().map(|l| l.course.length_mm()).sum::<f64>() * copies + 0.0;
    let courses = laid().count() * job.copies;
    let mut purging = false;
    let (mut purge_volume_mm3, mut matrix_volume_mm3) = (0.0, 0.0);
    let mut selections = 0_usize;
    for m in &program.moves {
        match m {
            Move::PurgeStart => purging = true,
            Move::PurgeEnd => purging = false,
            Move::Extrude { volume_mm3, .. } if purging => purge_volume_mm3 += volume_mm3,
            Move::Extrude { volume_mm3, .. } => matrix_volume_mm3 += volume_mm3,
            Move::Select(_) => selections += 1,
            _ => {}
        }
    }
    let mut outline_volume = 0.0;
    let mut open_volume = 0.0;
    let mut strip_volume = 0.0;
    for (layer, courses) in outline.layers.iter().zip(&program.courses) {
        let length: f64 = courses.iter().map(|l| l.course.length_mm()).sum();
        strip_volume += length * job.tow.width_mm * layer.height_mm * copies;
    }
    for (layer, b) in outline.layers.iter().zip(beads) {
        outline_volume += b.areas.outline * layer.height_mm;
        open_volume += b.areas.open * layer.height_mm;
    }
    Sums {
        fibre_length_mm,
        courses,
        cuts_saved: Some(cuts_saved),
        head_changes: selections.saturating_sub(1),
        matrix_volume_mm3,
        purge_volume_mm3,
        strip_volume_mm3: strip_volume,
        room_mm3: (outline_volume - open_volume) * copies,
        open_mm3: open_volume * copies,
        height_mm: height_of(outline),
        time_s,
    }
    .figures(job)
}

/// What a whole program adds up to, all copies.
struct Sums {
    fibre_length_mm: f64,
    courses: usize,
    cuts_saved: Option<usize>,
    head_changes: usize,
    matrix_volume_mm3: f64,
    purge_volume_mm3: f64,
    /// Length x width x layer height of the courses.
    strip_volume_mm3: f64,
    /// Volume of the outlines, less what is left open on purpose.
    room_mm3: f64,
    /// Volume that is left open on purpose.
    open_mm3: f64,
    /// Of the part as printed.
    height_mm: f64,
    time_s: TimeSplit,
}

impl Sums {
    /// Masses and shares from lengths and volumes.
    fn figures(self, job: &Job) -> Estimate {
        let tow_volume = self.fibre_length_mm * job.tow.area_mm2;
        let solid = tow_volume + self.matrix_volume_mm3;
        let matrix_mass_g = self.matrix_volume_mm3 * job.matrix.density_g_cm3 * 1e-3;
        let tow_mass_g = tow_volume * job.tow.density_g_cm3 * 1e-3;
        let fibre_volume = self.fibre_length_mm * job.tow.fibre_area_mm2;
        let pores = if self.room_mm3 > 0.0 { 1.0 - solid / self.room_mm3 } else { 0.0 };
        let printed_porosity = if pores.abs() < NO_PORES { 0.0 } else { to(5, pores) };
        Estimate {
            fibre_length_mm: to(3, self.fibre_length_mm),
            courses: self.courses,
            cuts: self.courses,
            cuts_saved: self.cuts_saved,
            head_changes: self.head_changes,
            matrix_volume_mm3: to(3, self.matrix_volume_mm3),
            purge_volume_mm3: to(3, self.purge_volume_mm3),
            matrix_mass_g: to(5, matrix_mass_g),
            tow_mass_g: to(5, tow_mass_g),
            part_mass_g: to(5, (matrix_mass_g + tow_mass_g) / f64_of(job.copies)),
            fibre_volume_fraction: share_of(fibre_volume, solid),
            local_fibre_volume_fraction: to(5, job.tow.fibre_area_mm2 / job.tow.area_mm2),
            strip_fibre_volume_fraction: share_of(fibre_volume, self.strip_volume_mm3),
            printed_porosity,
            open_fraction: share_of(self.open_mm3, self.room_mm3 + self.open_mm3),
            pressed_thickness_mm: to(3, self.height_mm * (1.0 - printed_porosity)),
            time_s: self.time_s.in_hundredths(),
        }
    }
}

impl TimeSplit {
    /// Each part rounded to 0.01 s, and the sum of those.
    fn in_hundredths(self) -> Self {
        let [fibre, matrix, travel, head_change, heating, cutting, other] =
            [self.fibre, self.matrix, self.travel, self.head_change, self.heating, self.cutting, self.other]
                .map(hundredths);
        let total = hundredths(fibre + matrix + travel + head_change + heating + cutting + other);
        Self { total, fibre, matrix, travel, head_change, heating, cutting, other }
    }
}

/// Share of pores that is nothing but the rounding of volumes that are added up.
const NO_PORES: f64 = 1e-9;

/// Height of a part as printed, mm.
fn height_of(outline: &Outline) -> f64 {
    outline.layers.last().map_or(0.0, crate::outline::Layer::z_top_mm)
}

/// A share of a whole; 0 of nothing.
fn share_of(part: f64, whole: f64) -> f64 {
    if whole > 0.0 { to(5, part / whole) } else { 0.0 }
}

/// Rounded to some decimals: digits that a figure does not have are left out. Of a small figure
/// as many are kept as make it good for 0.01 %.
fn to(decimals: usize, v: f64) -> f64 {
    let mut scale = [1.0, 10.0, 1e2, 1e3, 1e4, 1e5][decimals.min(5)];
    while v.abs() * scale < 5e3 && scale < 1e12 {
        scale *= 10.0;
    }
    (v * scale).round() / scale
}

/// Rounded to 0.01.
fn hundredths(v: f64) -> f64 {
    (v * 1e2).round() / 1e2
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::diagnostic::Notes;
    use crate::fibre::Course;
    use crate::geom::{Path, Point, Segment, combine, pt};
    use crate::job::{Head, Rule};
    use crate::matrix::Areas;
    use crate::outline::Layer;
    use crate::sequence::Laid;

    /// One layer of 100 mm x 10 mm x 0.2 mm, 200 mm3, on two copies: a course of
    /// 80 mm and beads of 90 mm3 each.
    fn by_hand() -> (Job, Outline, Program, Vec<LayerBeads>) {
        let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("examples/link/job.toml");
        let mut job = crate::job::read(&mut Notes::default(), &path).expect("the example's job");
        job.copies = 2;
        (job.tow.width_mm, job.tow.area_mm2, job.tow.fibre_area_mm2) = (1.0, 0.1, 0.05);
        (job.tow.density_g_cm3, job.matrix.density_g_cm3) = (1.5, 1.0);
        let ring = [pt(0.0, 0.0), pt(100.0, 0.0), pt(100.0, 10.0), pt(0.0, 10.0)];
        let layer = Layer { number: 1, z_bottom_mm: 0.0, height_mm: 0.2, outline: combine::ring_area(&ring) };
        let line = Segment::Line { from: pt(10.0, 5.0), to: pt(90.0, 5.0) };
        let course =
            Course::new("bar".into(), Rule::Unidirectional, 0, Path::new(vec![line], false), 5.0, 20.0)
                .expect("a straight course");
        let mut moves = vec![
            Move::Select(Head::Matrix),
            Move::PurgeStart,
            Move::Extrude { to: pt(50.0, 0.0), volume_mm3: 7.0 },
            Move::PurgeEnd,
            Move::Extrude { to: pt(0.0, 10.0), volume_mm3: 90.0 },
            Move::Extrude { to: pt(0.0, 20.0), volume_mm3: 90.0 },
            Move::Select(Head::Fibre),
        ];
        moves.extend([Move::Cut, Move::Cut]);
        let program = Program {
            moves,
            placements: vec![Point::default(), pt(0.0, 20.0)],
            courses: vec![vec![Laid { id: "L1.1".into(), course, cut_at_mm: 65.0 }]],
        };
        let areas = Areas { outline: 1000.0, tow: 80.0, matrix: 450.0, open: 400.0, unfilled: 70.0 };
        let outline = Outline { layers: vec![layer], ..Outline::default() };
        (job, outline, program, vec![LayerBeads { areas, ..Default::default() }])
    }

    #[test]
    fn figures_add_up_by_hand() {
        let (job, outline, program, beads) = by_hand();
        let split = TimeSplit { fibre: 10.004, matrix: 20.004, travel: 3.004, ..TimeSplit::default() };
        let e = of(&job, &outline, &program, &beads, 3, split);
        let near = |what: &str, is: f64, want: f64| {
            assert!((is - want).abs() < 6e-6, "{what}: {is}, by hand {want}");
        };
        near("fibre length, both copies", e.fibre_length_mm, 160.0);
        assert_eq!((e.courses, e.cuts, e.cuts_saved, e.head_changes), (2, 2, Some(3), 1), "counts");
        let cuts = program.moves.iter().filter(|m| **m == Move::Cut).count();
        assert_eq!(e.cuts, cuts, "a cut for each that the program makes");
        near("matrix without purge", e.matrix_volume_mm3, 180.0);
        near("purge", e.purge_volume_mm3, 7.0);
        near("matrix mass", e.matrix_mass_g, 0.18);
        // 160 mm x 0.1 mm2 = 16 mm3
        near("tow mass", e.tow_mass_g, 0.024);
        near("one part", e.part_mass_g, 0.102);
        near("fibre fraction", e.fibre_volume_fraction, 8.0 / 196.0);
        near("where tow lies, pressed", e.local_fibre_volume_fraction, 0.5);
        near("where tow lies, as printed", e.strip_fibre_volume_fraction, 0.05 / 0.2);
        // two parts of 200 mm3 less the 80 mm3 left open
        near("porosity", e.printed_porosity, 1.0 - 196.0 / 240.0);
        near("left open", e.open_fraction, 80.0 / 200.0);
        near("what is left of 0.2 mm", e.pressed_thickness_mm, 0.2 * 196.0 / 240.0);
        near("total of what is told", e.time_s.total, 33.0);
    }

    #[test]
    fn no_pores_are_none_at_all() {
        let (job, outline, program, mut beads) = by_hand();
        // what is left of 400 mm3 is as much as tow and beads come to, but for rounding
        beads[0].areas.open = 510.0 - 5e-9;
        let e = of(&job, &outline, &program, &beads, 0, TimeSplit::default());
        assert!(e.printed_porosity == 0.0 && (e.pressed_thickness_mm - 0.2).abs() < 1e-12, "{e:?}");
    }

    #[test]
    fn small_figures_keep_as_many_digits_as_a_check_needs() {
        for v in [0.000_985_4, 0.000_012_344_9, 0.049_999, 0.73, 12_345.678_9, 0.0] {
            assert!((to(5, v) - v).abs() <= 1e-4 * v, "{v}: {}", to(5, v));
        }
        assert!((to(3, 37_251.234_56) - 37_251.235).abs() < 1e-9, "large ones as many as were asked for");
    }

    #[test]
    fn a_part_without_tow_or_anything_at_all_has_finite_figures() {
        let (job, outline, mut program, mut beads) = by_hand();
        program.courses = vec![Vec::new()];
        let e = of(&job, &outline, &program, &beads, 0, TimeSplit::default());
        assert!(e.fibre_length_mm == 0.0 && e.cuts == 0 && e.fibre_volume_fraction == 0.0, "no tow");
        program.moves.clear();
        beads[0].areas = Areas::default();
        let e = of(&job, &outline, &program, &beads, 0, TimeSplit::default());
        let text = serde_json::to_string(&e).expect("figures");
        // what is not a number is written as null
        assert!(!text.contains("null"), "{text}");
        assert!(!table(&e, &job).contains("NaN"), "the table too");
    }
}
