//! How well a region is served over all its layers.

use super::LayerCourses;

/// A region over all its layers.
#[derive(Clone, Debug, PartialEq)]
pub struct RegionCover {
    /// Its name.
    pub region: String,
    /// Where its strips may lie, mm2.
    pub layable_mm2: f64,
    /// Of that, under its strips, mm2.
    pub covered_mm2: f64,
    /// Of that, what a strip can reach, mm2.
    pub reachable_mm2: f64,
    /// Courses.
    pub courses: usize,
    /// Of these, closed ones.
    pub closed: usize,
    /// And such as were wound from closed ones.
    pub spirals: usize,
    /// Tow laid, mm.
    pub length_mm: f64,
    /// Tow asked for and not laid, mm.
    pub given_up_mm: f64,
    /// Mean angle off the direction asked for, weighted by length, degrees.
    pub angle_off_deg: Option<f64>,
    /// Tightest bend, mm.
    pub least_radius_mm: Option<f64>,
}

impl RegionCover {
    /// Sums the layers' figures, by region in the order in which they first appear.
    pub fn over_layers(layers: &[LayerCourses]) -> Vec<Self> {
        let mut out: Vec<Self> = Vec::new();
        for q in layers.iter().flat_map(|c| &c.quality) {
            let at = out.iter().position(|r| r.region == q.region).unwrap_or_else(|| {
                out.push(Self {
                    region: q.region.clone(),
                    layable_mm2: 0.0,
                    covered_mm2: 0.0,
                    reachable_mm2: 0.0,
                    courses: 0,
                    closed: 0,
                    spirals: 0,
                    length_mm: 0.0,
                    given_up_mm: 0.0,
                    angle_off_deg: None,
                    least_radius_mm: None,
                });
                out.len() - 1
            });
            let r = &mut out[at];
            if let Some(a) = q.angle {
                let sum = r.angle_off_deg.unwrap_or(0.0) * r.length_mm + a.mean_deg * q.length_mm;
                r.angle_off_deg = Some(sum / (r.length_mm + q.length_mm).max(1e-9));
            }
            r.layable_mm2 += q.layable_mm2;
            r.covered_mm2 += q.covered_mm2;
            r.reachable_mm2 += q.reachable_mm2;
            r.courses += q.courses;
            r.closed += q.closed;
            r.spirals += q.spirals;
            r.length_mm += q.length_mm;
            r.given_up_mm += q.given_up_mm;
            if let Some(b) = q.bends {
                r.least_radius_mm = Some(r.least_radius_mm.map_or(b.least_mm, |l| l.min(b.least_mm)));
            }
        }
        out
    }

    /// Share of its area under its strips, percent; 0 where nothing can be laid.
    pub fn covered_percent(&self) -> f64 {
        if self.layable_mm2 > 0.0 { 100.0 * self.covered_mm2 / self.layable_mm2 } else { 0.0 }
    }
}
