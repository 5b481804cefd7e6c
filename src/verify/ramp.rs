//! One piece of motion between two speeds.
//!
//! The acceleration rises by the jerk j to at most a, stays, and falls to nothing
//! again before a limit is reached. A change of speed by w then takes w / a + a / j
//! where w >= a^2 / j, else 2 sqrt(w / j), at the mean of both speeds: the change is
//! symmetric in time. Setting its way equal to a given one is a quadratic equation
//! in w where a is reached, else j y^3 + 2 v y = d with y = sqrt(w / j). Without a
//! limit of jerk, 1 / j = 0, the same formulas are those of constant acceleration.

/// Newton steps and halvings; both settle to the last digit in fewer.
const STEPS: usize = 60;

/// How speeds change.
#[derive(Clone, Copy, Debug)]
pub(super) struct Ramp {
    /// Highest acceleration, mm/s2.
    pub(super) a: f64,
    /// Highest jerk, mm/s3; infinite for none.
    pub(super) j: f64,
}

impl Ramp {
    /// Seconds and mm of a change of speed.
    fn change(&self, v0: f64, v1: f64) -> (f64, f64) {
        let w = (v1 - v0).abs();
        let s = if w * self.j >= self.a * self.a {
            w / self.a + self.a / self.j
        } else {
            2.0 * (w / self.j).sqrt()
        };
        (s, 0.5 * (v0 + v1) * s)
    }

    /// Fastest that a speed can grow to over a way, mm/s.
    pub(super) fn reach(&self, v: f64, d: f64) -> f64 {
        let (rise, knee) = (self.a / self.j, self.a * self.a / self.j);
        // w^2 / 2a + w (v / a + rise / 2) + v rise = d
        let b = v + 0.5 * knee;
        let w = (b * b - 2.0 * self.a * (v * rise - d)).max(0.0).sqrt() - b;
        if w >= knee {
            return v + w;
        }
        // j y^3 + 2 v y = d: convex, so Newton comes down to it from above
        let mut y = libm::cbrt(d / self.j);
        for _ in 0..STEPS {
            let step = (self.j * y * y * y + 2.0 * v * y - d) / (3.0 * self.j * y * y + 2.0 * v);
            if step.is_nan() || step <= 1e-12 * y {
                break;
            }
            y -= step;
        }
        v + self.j * y * y
    }

    /// Seconds for a way between two speeds, at most at `v`. The speeds must be
    /// within reach of each other.
    pub(super) fn seconds(&self, d: f64, v: f64, v0: f64, v1: f64) -> f64 {
        if d <= 0.0 {
            return 0.0;
        }
        let top = self.top(d, v, v0, v1);
        let (up, down) = (self.change(v0, top), self.change(top, v1));
        up.0 + down.0 + (d - up.1 - down.1).max(0.0) / top
    }

    /// Highest speed on a way.
    fn top(&self, d: f64, v: f64, v0: f64, v1: f64) -> f64 {
        let least = v0.max(v1);
        let left = |top: f64| d - self.change(v0, top).1 - self.change(top, v1).1;
        if v <= least || left(v) >= 0.0 {
            return v.max(least);
        }
        let (rise, knee) = (self.a / self.j, self.a * self.a / self.j);
        // both changes reach a: t^2 / a + t rise + (v0 + v1) rise / 2 - (v0^2 + v1^2) / 2a = d
        let c = 0.5 * self.a * (v0 + v1) * rise - 0.5 * (v0 * v0 + v1 * v1) - self.a * d;
        let both = 0.5 * ((knee * knee - 4.0 * c).max(0.0).sqrt() - knee);
        if both - v0.min(v1) >= knee && both - least >= knee {
            return both;
        }
        if (v0 - v1).abs() <= 0.0 {
            return self.reach(v0, 0.5 * d);
        }
        let (mut low, mut high) = (least, v);
        for _ in 0..STEPS {
            let middle = 0.5 * (low + high);
            if left(middle) >= 0.0 { low = middle } else { high = middle }
        }
        low
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn near(is: f64, want: f64) {
        assert!((is - want).abs() < 1e-9, "{is} against {want}");
    }

    const SOFT: Ramp = Ramp { a: 1000.0, j: 20_000.0 };

    /// Biagiotti & Melchiorri, *Trajectory Planning for Automatic Machines and
    /// Robots*, Springer 2008, 3.4.1: times of the four cases of a double-S from rest
    /// to rest (from memory): v and a reached, d / v + v / a + a / j; v reached and a
    /// not, d / v + 2 sqrt(v / j); a reached and v not, a / j + sqrt(a^2 / j^2 + 4 d / a);
    /// neither, 4 cbrt(d / 2 j).
    #[test]
    fn rest_to_rest_takes_the_times_of_the_book() {
        near(SOFT.seconds(100.0, 80.0, 0.0, 0.0), 100.0 / 80.0 + 80.0 / 1000.0 + 1000.0 / 20_000.0);
        near(SOFT.seconds(10.0, 30.0, 0.0, 0.0), 10.0 / 30.0 + 2.0 * (30.0_f64 / 20_000.0).sqrt());
        near(SOFT.seconds(20.0, 1e4, 0.0, 0.0), 0.05 + (0.05_f64 * 0.05 + 4.0 * 20.0 / 1000.0).sqrt());
        near(SOFT.seconds(0.5, 1e4, 0.0, 0.0), 4.0 * libm::cbrt(0.5 / 40_000.0));
    }

    #[test]
    fn what_can_be_reached_takes_the_whole_way() {
        for v in [0.0, 3.0, 40.0, 120.0] {
            for d in [0.01, 0.3, 2.0, 60.0] {
                let top = SOFT.reach(v, d);
                near(SOFT.change(v, top).1, d);
                let s = SOFT.change(v, top).0;
                near(SOFT.seconds(d, 1e4, v, top), s);
                near(SOFT.seconds(d, 1e4, top, v), s);
            }
        }
    }

    #[test]
    fn without_a_limit_of_jerk_acceleration_is_constant() {
        let hard = Ramp { a: 1000.0, j: f64::INFINITY };
        near(hard.reach(30.0, 2.0), (30.0_f64 * 30.0 + 4000.0).sqrt());
        near(hard.seconds(100.0, 50.0, 0.0, 0.0), 2.0 + 0.05);
        near(hard.seconds(1.0, 500.0, 0.0, 0.0), 2.0 * (1.0_f64 / 1000.0).sqrt());
        // 20 to 40 mm/s over 100 mm with 50 mm/s between
        let (up, down) = ((2500.0 - 400.0) / 2000.0, (2500.0 - 1600.0) / 2000.0);
        near(hard.seconds(100.0, 50.0, 20.0, 40.0), 0.03 + 0.01 + (100.0 - up - down) / 50.0);
    }

    /// Small steps of time: the jerk is followed as a controller would.
    #[test]
    fn a_change_of_speed_stepped_through_time_comes_to_the_same() {
        for (v0, v1) in [(0.0_f64, 30.0), (0.0, 120.0), (35.0, 50.0)] {
            let w = v1 - v0;
            let rise = (w / SOFT.j).sqrt().min(SOFT.a / SOFT.j);
            let (step, mut a, mut v, mut x, mut s) = (1e-6, 0.0_f64, v0, 0.0, 0.0);
            while v < v1 - 1e-4 {
                // brake the acceleration when what is left is what that takes
                let jerk = if v1 - v <= 0.5 * a * a / SOFT.j {
                    -SOFT.j
                } else if s < rise {
                    SOFT.j
                } else {
                    0.0
                };
                a = (a + jerk * step).clamp(0.0, SOFT.a);
                v += a * step;
                x += v * step;
                s += step;
                assert!(s < 1.0, "it gets there");
            }
            let (want, way) = SOFT.change(v0, v1);
            assert!(
                (s / want - 1.0).abs() < 0.02 && (x / way - 1.0).abs() < 0.03,
                "{s} s {x} mm, {want} s {way} mm"
            );
        }
    }
}
