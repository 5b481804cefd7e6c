//! How something hot heats and cools.
//!
//! A body with one heat capacity that loses heat in proportion to how much
//! hotter it is than the room (Newton's law of cooling):
//! dT/dt = r - (T - room) / tau at full power, so that it nears room + r tau, and
//! dT/dt = -(T - room) / tau without power. From T0 to T it takes
//! tau ln((Tend - T0) / (Tend - T)). Without a time constant the rates are
//! constant. Textbook: Incropera & DeWitt, *Fundamentals of Heat and Mass
//! Transfer*, lumped capacitance (from memory).

use crate::geom::trig;

/// Room temperature, degC, from which everything starts.
pub const ROOM_C: f64 = 20.0;

/// Halvings of a range of a few hundred kelvin: down to what no thermometer sees.
const HALVINGS: usize = 40;

/// Rates of one heater.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Heater {
    /// How fast it heats when it is cold, K/s.
    pub heating_k_s: f64,
    /// Time constant of heating, s; infinite where the rate is constant.
    pub heating_time_constant_s: f64,
    /// How fast it cools when it is hottest, K/s.
    pub cooling_k_s: f64,
    /// Time constant of cooling, s; infinite where the rate is constant.
    pub cooling_time_constant_s: f64,
}

impl Heater {
    /// A head: `cooling_k_s` is its rate at `max_temperature_c`, which gives the
    /// time constant of cooling, because a fan cools it that does not heat it.
    pub fn of_a_head(
        heating_k_s: f64,
        cooling_k_s: f64,
        time_constant_s: Option<f64>,
        max_temperature_c: f64,
    ) -> Self {
        let hottest = (max_temperature_c - ROOM_C).max(0.0);
        Self {
            heating_k_s,
            heating_time_constant_s: time_constant_s.unwrap_or(f64::INFINITY),
            cooling_k_s,
            cooling_time_constant_s: if time_constant_s.is_some() && hottest > 0.0 {
                hottest / cooling_k_s
            } else {
                f64::INFINITY
            },
        }
    }

    /// A bed or a chamber, which is never cooled on purpose.
    pub fn that_only_heats(heating_k_s: f64, time_constant_s: Option<f64>) -> Self {
        let heating_time_constant_s = time_constant_s.unwrap_or(f64::INFINITY);
        Self {
            heating_k_s,
            heating_time_constant_s,
            cooling_k_s: heating_k_s,
            cooling_time_constant_s: heating_time_constant_s,
        }
    }

    /// Temperature that it nears at full power, degC.
    pub fn hottest_c(&self) -> f64 {
        ROOM_C + self.heating_k_s * self.heating_time_constant_s
    }

    /// Seconds from one temperature to another, degC. Infinite where it never
    /// gets there: hotter than full power reaches, or as cold as the room.
    pub fn seconds(&self, from_c: f64, to_c: f64) -> f64 {
        let (rate, constant, end) = self.towards(from_c, to_c);
        if constant.is_infinite() {
            return (to_c - from_c).abs() / rate;
        }
        let (whole, left) = (end - from_c, end - to_c);
        if (whole - left).abs() <= 0.0 {
            0.0
        } else if left / whole > 0.0 {
            constant * trig::ln(whole / left)
        } else {
            f64::INFINITY
        }
    }

    /// Temperature after some seconds on the way to a target, degC.
    pub fn after(&self, from_c: f64, target_c: f64, seconds: f64) -> f64 {
        let way = target_c - from_c;
        let (rate, constant, end) = self.towards(from_c, target_c);
        let now = if constant.is_infinite() {
            from_c + rate * seconds * way.signum()
        } else {
            end + (from_c - end) * trig::exp(-seconds / constant)
        };
        if way >= 0.0 { now.min(target_c) } else { now.max(target_c) }
    }

    /// By how much it may cool from a temperature if it is to be there again
    /// after so many seconds, K. Negative where there is no time at all.
    pub fn drop_within(&self, from_c: f64, seconds: f64) -> f64 {
        let (up, down) = (self.heating_k_s, self.cooling_k_s);
        if seconds <= 0.0
            || (self.heating_time_constant_s.is_infinite() && self.cooling_time_constant_s.is_infinite())
        {
            return seconds * up * down / (up + down);
        }
        // the way down and up again takes longer the deeper it goes
        let (mut low, mut high) = (0.0, (from_c - ROOM_C).max(0.0));
        for _ in 0..HALVINGS {
            let drop = 0.5 * (low + high);
            let way = self.seconds(from_c, from_c - drop) + self.seconds(from_c - drop, from_c);
            if way <= seconds { low = drop } else { high = drop }
        }
        low
    }

    /// Rate, time constant and end of the way up or down.
    fn towards(&self, from_c: f64, to_c: f64) -> (f64, f64, f64) {
        if to_c >= from_c {
            (self.heating_k_s, self.heating_time_constant_s, self.hottest_c())
        } else {
            (self.cooling_k_s, self.cooling_time_constant_s, ROOM_C)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A head at its target once went on heating in the model, and was then waited for.
    #[test]
    fn a_heater_at_its_target_stays_there() {
        for constant in [None, Some(150.0)] {
            let heater = Heater::of_a_head(3.0, 1.5, constant, 450.0);
            for passed in [0.0, 1.0, 1000.0] {
                assert!((heater.after(240.0, 240.0, passed) - 240.0).abs() < 1e-9, "{passed} s");
            }
        }
    }

    #[test]
    fn without_a_time_constant_rates_are_constant() {
        let h = Heater::of_a_head(2.0, 1.0, None, 400.0);
        assert!((h.seconds(20.0, 220.0) - 100.0).abs() < 1e-12, "200 K at 2 K/s");
        assert!((h.seconds(220.0, 20.0) - 200.0).abs() < 1e-12, "200 K at 1 K/s");
        assert!((h.after(20.0, 220.0, 30.0) - 80.0).abs() < 1e-12, "on the way");
        assert!((h.after(20.0, 220.0, 300.0) - 220.0).abs() < 1e-12, "there");
        assert!((h.after(220.0, 220.0, 300.0) - 220.0).abs() < 1e-12, "and stays there");
    }

    #[test]
    fn with_one_it_takes_the_time_of_the_closed_form() {
        // 3 K/s and 200 s: full power nears 620 degC; half of the 600 K take 200 ln 2
        let h = Heater::of_a_head(3.0, 1.9, Some(200.0), 400.0);
        assert!((h.seconds(20.0, 320.0) - 200.0 * std::f64::consts::LN_2).abs() < 1e-9, "half way");
        // 380 K above the room at 1.9 K/s: a time constant of 200 s too
        assert!((h.seconds(420.0, 220.0) - 200.0 * std::f64::consts::LN_2).abs() < 1e-9, "cooling by half");
        assert!(h.seconds(20.0, 620.0).is_infinite(), "never quite there");
        for s in [0.0, 1.0, 60.0] {
            let t = h.after(150.0, 390.0, s);
            assert!((h.seconds(150.0, t) - s).abs() < 1e-9, "there and back: {s} s");
            assert!((h.after(390.0, 390.0, s) - 390.0).abs() < 1e-12, "it stays where it is to be");
        }
    }

    #[test]
    fn it_cools_only_as_far_as_it_can_be_heated_again() {
        for h in [Heater::of_a_head(3.0, 1.9, Some(200.0), 400.0), Heater::of_a_head(3.0, 1.9, None, 400.0)] {
            let drop = h.drop_within(380.0, 60.0);
            let way = h.seconds(380.0, 380.0 - drop) + h.seconds(380.0 - drop, 380.0);
            assert!((way - 60.0).abs() < 1e-6, "down by {drop} K and up again in {way} s");
        }
    }

    #[test]
    fn small_steps_of_the_law_come_to_the_same() {
        let h = Heater::of_a_head(2.5, 1.2, Some(260.0), 420.0);
        let (mut t, mut s, step) = (20.0, 0.0, 1e-3);
        while t < 390.0 {
            t += step * (2.5 - (t - ROOM_C) / 260.0);
            s += step;
        }
        assert!((h.seconds(20.0, 390.0) / s - 1.0).abs() < 1e-4, "{} against {s} s", h.seconds(20.0, 390.0));
    }
}
