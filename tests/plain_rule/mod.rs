//! The plain rule that cuts are compared with: what a polygon library alone lays on
//! the same ground. Rows a spacing apart, each cut where it ends; rings a spacing
//! inside one another, each cut where it would bend tighter than the tow allows;
//! pieces shorter than the shortest dropped. No turns, no easing, no spirals. Hoops,
//! straps and steered courses count as they are laid without spirals.

use towpath::diagnostic::Notes;
use towpath::fibre::{self, LayerCourses};
use towpath::geom::{Area, bend, combine, hatch, offset};
use towpath::job::{Job, Rule};
use towpath::outline::Outline;
use towpath::reinforcement::{LayerTasks, Target};

/// Pieces and tow.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Count {
    pub(crate) pieces: usize,
    pub(crate) length_mm: f64,
}

impl Count {
    pub(crate) fn add(&mut self, length_mm: f64) {
        self.pieces += 1;
        self.length_mm += length_mm;
    }

    pub(crate) fn put(&mut self, more: Self) {
        self.pieces += more.pieces;
        self.length_mm += more.length_mm;
    }

    pub(crate) fn per_metre(self) -> f64 {
        1e3 * self.pieces as f64 / self.length_mm.max(1e-9)
    }
}

/// What the plain rule lays, each region on the ground that those before it leave.
pub(crate) fn lay(job: &Job, outline: &Outline, tasks: &[LayerTasks]) -> Count {
    let mut job = job.clone();
    for region in job.map.iter_mut().flat_map(|m| &mut m.regions) {
        region.spiral = false;
        region.few_cuts = false;
    }
    let layers = fibre::lay(&mut Notes::default(), &job, outline, tasks);
    let mut count = Count::default();
    layers.iter().zip(tasks).for_each(|(laid, tasks)| count.put(lay_layer(&job, tasks, laid)));
    count
}

fn lay_layer(job: &Job, tasks: &LayerTasks, laid: &LayerCourses) -> Count {
    let mut count = Count::default();
    let Some(map) = &job.map else { return count };
    let (width, shortest) = (job.tow.width_mm, job.printer.shortest_course_mm());
    let mut strips: Vec<Area> = Vec::new();
    for task in &tasks.tasks {
        let region = &map.regions[task.region];
        let mine = || laid.courses.iter().filter(|c| c.region == region.name);
        if let Target::Area(within) = &task.target
            && matches!(region.rule, Rule::Unidirectional | Rule::Contour)
        {
            let free = combine::difference(within, &combine::union_all(&strips));
            if region.rule == Rule::Unidirectional {
                let core = offset::shrunk(&free, 0.5 * width, 0.01);
                let rows = hatch::rows(&core, task.angle_deg.to_radians(), region.spacing_mm, 0.5 * width);
                let spans = rows.iter().flat_map(|r| &r.spans).map(|(a, b)| b - a);
                spans.filter(|l| *l >= shortest).for_each(|l| count.add(l));
            } else {
                rings(
                    &free,
                    region.courses,
                    region.spacing_mm,
                    width,
                    region.min_bend_radius_mm,
                    shortest,
                    &mut count,
                );
            }
        } else {
            mine().for_each(|c| count.add(c.length_mm()));
        }
        strips
            .extend(mine().map(|c| offset::strip(&c.wanted().flatten(0.01), width, c.wanted().closed, 0.01)));
    }
    count
}

fn rings(
    free: &Area,
    courses: Option<usize>,
    spacing: f64,
    width: f64,
    radius: f64,
    shortest: f64,
    count: &mut Count,
) {
    let mut core = offset::shrunk(free, 0.5 * width, 0.01);
    for _ in 0..courses.unwrap_or(1_000) {
        if core.is_empty() {
            break;
        }
        for ring in core.rings() {
            let fit = bend::fit(ring, true, radius, 0.02);
            let long = fit.pieces.iter().map(towpath::geom::Path::length).filter(|l| *l >= shortest);
            long.for_each(|l| count.add(l));
        }
        core = combine::simplified(&offset::shrunk(&core, spacing, 0.01), 1e-3);
    }
}
