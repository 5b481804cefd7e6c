//! How long a heater takes, and how hot it is meanwhile.
//!
//! At full power, and without any, the distance to where it would end falls to half in equal
//! times: tau ln 2 each, where tau is the profile's time constant. A profile without one has
//! the same rate at every temperature.

use crate::job::printer::{Heater, ROOM_C};
use std::f64::consts::LN_2;

/// Seconds from one temperature to another, degC; infinite where it never gets there.
pub(super) fn seconds(h: &Heater, from_c: f64, to_c: f64) -> f64 {
    match ends(h, from_c, to_c) {
        Way::Even { rate } => (to_c - from_c).abs() / rate,
        Way::Nearing { end_c, half_s } => {
            let (begins, stays) = ((end_c - from_c).abs(), (end_c - to_c).abs());
            let short_of_it = (end_c - to_c) * (to_c - from_c) >= 0.0;
            if (to_c - from_c).abs() <= 0.0 {
                0.0
            } else if short_of_it && stays > 0.0 {
                half_s * libm::log2(begins / stays)
            } else {
                f64::INFINITY
            }
        }
    }
}

/// Temperature, degC, some seconds after it was set to another: it stays where it comes to that.
pub(super) fn after(h: &Heater, from_c: f64, set_c: f64, seconds: f64) -> f64 {
    let now = match ends(h, from_c, set_c) {
        Way::Even { rate } => from_c + libm::copysign(rate * seconds, set_c - from_c),
        Way::Nearing { end_c, half_s } => end_c + (from_c - end_c) * libm::exp2(-seconds / half_s),
    };
    if set_c >= from_c { now.min(set_c) } else { now.max(set_c) }
}

/// How a temperature goes on.
enum Way {
    /// By as many K/s all the way.
    Even { rate: f64 },
    /// Half of what is left to an end, and half of that again, each in so many seconds.
    Nearing { end_c: f64, half_s: f64 },
}

fn ends(h: &Heater, from_c: f64, to_c: f64) -> Way {
    let heats = to_c >= from_c;
    let (rate, tau) = if heats {
        (h.heating_k_s, h.heating_time_constant_s)
    } else {
        (h.cooling_k_s, h.cooling_time_constant_s)
    };
    if tau.is_finite() {
        Way::Nearing { end_c: if heats { ROOM_C + rate * tau } else { ROOM_C }, half_s: tau * LN_2 }
    } else {
        Way::Even { rate }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn heating_stepped_through_in_short_times_takes_as_long() {
        // dT/dt = r - (T - room) / tau, in steps of a millisecond
        let h = Heater::of_a_head(3.0, 1.9, Some(200.0), 400.0);
        let (mut t, mut c) = (0.0, 20.0);
        while c < 380.0 {
            c += 1e-3 * (3.0 - (c - ROOM_C) / 200.0);
            t += 1e-3;
        }
        assert!((seconds(&h, 20.0, 380.0) - t).abs() < 0.01, "{t} s");
        assert!((after(&h, 20.0, 400.0, t) - 380.0).abs() < 0.01, "on the way");
        // cooling: 1.9 K/s at 400 degC, in proportion below
        let (mut t, mut c) = (0.0, 400.0);
        while c > 150.0 {
            c -= 1e-3 * 1.9 * (c - ROOM_C) / (400.0 - ROOM_C);
            t += 1e-3;
        }
        assert!((seconds(&h, 400.0, 150.0) - t).abs() < 0.01, "{t} s");
        assert!((after(&h, 400.0, 100.0, t) - 150.0).abs() < 0.01, "on the way down");
        assert!(seconds(&h, 20.0, 620.0).is_infinite() && seconds(&h, 100.0, 20.0).is_infinite(), "never");
        assert!((after(&h, 20.0, 240.0, 1e6) - 240.0).abs() < 1e-9, "it stays at what it is set to");
    }

    #[test]
    fn without_a_time_constant_rates_are_constant() {
        let h = Heater::of_a_head(2.0, 1.0, None, 400.0);
        assert!((seconds(&h, 20.0, 220.0) - 100.0).abs() < 1e-12);
        assert!((seconds(&h, 220.0, 20.0) - 200.0).abs() < 1e-12);
        assert!((after(&h, 220.0, 20.0, 50.0) - 170.0).abs() < 1e-12);
        assert!((after(&h, 220.0, 220.0, 50.0) - 220.0).abs() < 1e-12);
    }
}
