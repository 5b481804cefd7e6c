//! Where closed courses begin and end.

use super::LayerCourses;
use crate::geom::Point;

/// Places tried along a closed course.
const PLACES: u32 = 48;

/// Moves the ends of closed courses so that none lies within `distance` mm of an
/// end in the layer below. Gives the numbers of layers where the part is too
/// small for that, with the distance that was reached.
pub(super) fn stagger(layers: &mut [LayerCourses], distance: f64) -> Vec<(usize, f64)> {
    let mut short = Vec::new();
    let mut below: Vec<Point> = Vec::new();
    for (i, layer) in layers.iter_mut().enumerate() {
        let mut here: Vec<(String, Point)> = Vec::new();
        let mut worst = f64::INFINITY;
        for course in &mut layer.courses {
            if !course.path().closed {
                continue;
            }
            let length = course.length_mm();
            let clear = |p: Point| below.iter().map(|q| q.dist(p)).fold(f64::INFINITY, f64::min);
            // ends of one region stay together: the layer above then finds room
            let beside = |p: Point| {
                here.iter()
                    .filter(|(r, _)| *r == course.region)
                    .map(|(_, q)| q.dist(p))
                    .fold(f64::INFINITY, f64::min)
            };
            let mut best: Option<(f64, f64, f64, Point)> = None;
            for k in 0..PLACES {
                let s = length * f64::from(k) / f64::from(PLACES);
                let Some(p) = course.path().point_at(s) else { continue };
                let gap = clear(p).min(distance);
                let company = beside(p);
                let better = best.as_ref().is_none_or(|(g, c, ..)| gap > *g || (gap >= *g && company < *c));
                if better {
                    best = Some((gap, company, s, p));
                }
            }
            if let Some((gap, _, s, p)) = best {
                if s > 0.0 {
                    *course = course.restarted(s);
                }
                worst = worst.min(gap);
                here.push((course.region.clone(), p));
            }
        }
        if worst < distance {
            short.push((i, worst));
        }
        below = here.into_iter().map(|(_, p)| p).collect();
    }
    short
}
