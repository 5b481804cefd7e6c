//! Heads as the program heats them: hot before they feed, at standby when parked.

use super::{Replay, name};
use crate::job::Head;
use crate::job::printer::ROOM_C;
use crate::verify::controller::{Heated, heated};
use crate::verify::findings::Check;
use crate::verify::heat;
use crate::verify::words::Line;

/// What is heated beside the heads.
pub(super) const SURROUNDINGS: [&str; 2] = ["bed", "chamber"];

/// A head is at its temperature within this, K.
const WARM_K: f64 = 0.5;

/// Time beside cooling and heating that a parked head may stay hot, s: it is not
/// set within a course.
const PARKED_S: f64 = 60.0;

#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Warmth {
    pub(super) target: f64,
    pub(super) waited: bool,
    /// What it was set to when it last fed, degC.
    pub(super) fed_c: Option<f64>,
    pub(super) parked: Option<Parked>,
}

/// A head that was put aside, or whose first turn is still to come.
#[derive(Clone, Copy, Debug)]
pub(super) struct Parked {
    /// Temperature at work, degC.
    pub(super) work_c: f64,
    /// It has to be heated from room temperature.
    pub(super) cold: bool,
    /// Seconds that it was set to more than standby, and since when it is.
    pub(super) hot_s: f64,
    pub(super) hot_since: Option<f64>,
}

impl Parked {
    /// What it stands by at, degC: a heater that is off is as cool as it gets.
    fn standby_c(&self, drop_k: f64) -> f64 {
        (self.work_c - drop_k).max(ROOM_C)
    }

    fn hot(&self, now: f64) -> f64 {
        self.hot_s + self.hot_since.map_or(0.0, |since| now - since)
    }
}

impl Replay<'_> {
    pub(super) fn heaters(&mut self, line: &Line) {
        let p = self.printer;
        let (heater, most, place, c) = match heated(p, self.machine.dialect(), self.head, line) {
            None => return,
            Some(Heated::Unknown(why)) => return self.say(Check::Temperature, why),
            Some(Heated::Head(head, waits, c)) => return self.heat(head, waits, c),
            Some(Heated::Waited(head)) => return self.heat(head, true, self.warmth[head.index()].target),
            Some(Heated::Bed(c)) => (p.bed_heating, p.max_bed_temperature_c, 0, c),
            Some(Heated::Chamber(c)) => (p.chamber_heating, p.max_chamber_temperature_c, 1, c),
        };
        self.clock.start_heater(heater, c);
        // heated again: what it was set to meanwhile counts, whatever was laid then
        if !self.rest_seen && self.layer > 0 && c > self.rest[place] {
            self.surroundings();
        }
        self.rest[place] = c;
        self.rest_seen = false;
        let (what, place) = (SURROUNDINGS[place], self.place());
        self.ledger.most(Check::Hottest, c - most, 0.0, place, || format!("the {what} is set to {c} degC"));
    }

    /// Bed and chamber that the start block leaves to the controller are waited for, too.
    pub(super) fn heated_by_controller(&mut self) {
        let p = self.printer;
        let heaters =
            [(p.bed_heating, p.max_bed_temperature_c), (p.chamber_heating, p.max_chamber_temperature_c)];
        for (k, (heater, most)) in heaters.into_iter().enumerate() {
            if let (false, Some(wanted)) = (self.machine.dialect().heats[k], self.facts.rest_c[k]) {
                self.clock.start_heater(heater, wanted.min(most));
            }
        }
    }

    /// Bed and chamber are as hot as the matrix wants them.
    pub(super) fn surroundings(&mut self) {
        self.rest_seen = true;
        let place = self.place();
        let most = [self.printer.max_bed_temperature_c, self.printer.max_chamber_temperature_c];
        for (k, what) in SURROUNDINGS.into_iter().enumerate() {
            let (Some(wanted), set) = (self.facts.rest_c[k], self.rest[k]) else { continue };
            if !self.machine.dialect().heats[k] {
                continue;
            }
            // a machine that gets less hot does what it can
            let wanted = wanted.min(most[k]);
            self.ledger.most(Check::Temperature, (set - wanted).abs(), WARM_K, place, || {
                format!("the {what} is set to {set} degC, the matrix wants {wanted} degC")
            });
        }
    }

    pub(super) fn heat(&mut self, head: Head, waits: bool, c: f64) {
        let most = self.printer.head(head).max_temperature_c;
        let place = self.place();
        self.ledger
            .most(Check::Hottest, c - most, 0.0, place, || format!("{} is set to {c} degC", name(head)));
        if let Some(work) = self.facts.work_c[head.index()]
            && c > work + WARM_K
        {
            self.ledger.most(Check::Temperature, c - work, WARM_K, place, || {
                format!("{} is set to {c} degC, its material wants {work} degC", name(head))
            });
        }
        self.clock.heat(head, c, waits);
        let w = &mut self.warmth[head.index()];
        // a lower target leaves a hot head hot enough
        w.waited = waits || (w.waited && c <= w.target);
        w.target = c;
        if let Some(parked) = &mut w.parked {
            let now = self.clock.now();
            let down = parked.standby_c(self.printer.head(head).standby_drop_k);
            parked.hot_s = parked.hot(now);
            // set to a degree above it, it stands by
            parked.hot_since = (c > down + 1.0).then_some(now);
        }
    }

    /// A head waits for its turn from now on, where it is known how hot it is at work.
    pub(super) fn put_aside(&mut self, head: Head, now: f64, cold: bool) {
        let w = &mut self.warmth[head.index()];
        let Some(work_c) = self.facts.work_c[head.index()].or(w.fed_c) else { return };
        let parked = Parked { work_c, cold, hot_s: 0.0, hot_since: None };
        let hot = w.target > parked.standby_c(self.printer.head(head).standby_drop_k) + 1.0;
        w.parked = Some(Parked { hot_since: hot.then_some(now), ..parked });
    }

    pub(super) fn warm(&mut self, head: Head) {
        let w = self.warmth[head.index()];
        self.warmth[head.index()].fed_c = Some(w.target);
        if !self.rest_seen && self.layer > 0 {
            self.surroundings();
        }
        let place = self.place();
        if !w.waited {
            self.ledger.say(
                Check::Temperature,
                place,
                format!("{} feeds, and nothing waited for its {} degC", name(head), w.target),
            );
            // once is enough
            self.warmth[head.index()].waited = true;
            return;
        }
        let work = self.facts.work_c[head.index()].unwrap_or(w.target);
        self.ledger.most(Check::Temperature, (w.target - work).abs(), WARM_K, place, || {
            format!("{} feeds at {} degC, its material wants {work} degC", name(head), w.target)
        });
    }

    /// A head's turn comes, or the end: had it been left hot?
    pub(super) fn back(&mut self, head: Head, now: f64) {
        let Some(parked) = self.warmth[head.index()].parked.take() else { return };
        let p = self.printer.head(head);
        let down = parked.standby_c(p.standby_drop_k);
        // a turn that is too short to cool and be heated again may leave it hot
        let heating = if parked.cold {
            heat::seconds(&p.heater, ROOM_C, parked.work_c)
        } else {
            heat::seconds(&p.heater, parked.work_c, down) + heat::seconds(&p.heater, down, parked.work_c)
        };
        let allowed = heating + PARKED_S;
        if !allowed.is_finite() {
            return;
        }
        let place = self.place();
        self.ledger.most(Check::Standby, parked.hot(now), allowed, place, || {
            format!("{} parked above its standby of {down:.0} degC", name(head))
        });
    }
}
