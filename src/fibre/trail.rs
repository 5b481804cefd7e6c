//! Tow that trails the nozzle: where it lies, and how to lead it to where it should.

use super::Course;
use super::course::Trail;
use crate::geom::tractrix::{self, Led};

/// A course led so that its tow comes to lie on the course's own line, as nearly
/// as a way of legal radius and length allows; what is left is in its trail.
pub(super) fn led(course: &Course, trail_mm: f64, radius: f64, shortest: f64) -> Course {
    let wanted = course.path().clone();
    let with = |led: Led, mut course: Course| {
        course.trail = Some(Trail {
            wanted: wanted.clone(),
            laid: led.laid,
            off_mm: led.off_mm,
            at_mm: [led.worst.x, led.worst.y],
            end_off_mm: led.end_off_mm,
        });
        course
    };
    let led = tractrix::led(&wanted, trail_mm, radius);
    if let Ok(made) =
        Course::new(course.region.clone(), course.rule, course.rank, led.path.clone(), radius, shortest)
    {
        return with(led, made);
    }
    let plain = tractrix::judged(&wanted, wanted.clone(), trail_mm);
    with(plain, course.clone())
}
