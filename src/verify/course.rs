//! One course: fed to the nozzle, laid, cut, its tail laid; and its shape.

use super::findings::{Check, Ledger, Place};
use super::geometry::{Curve, distance};
use libm::{acos, atan2};

/// Last digit of E and of coordinates over a course: tow fed against a length, mm,
/// beside a thousandth of that length for chords.
const FED_MM: f64 = 0.01;

/// A tail shorter than this may be what chords are short of their course, mm.
const LEFT_MM: f64 = 0.05;

/// Ends of a piece as written are off by this much, mm.
const WRITTEN_MM: f64 = 0.0015;

/// Lengths over which the mean bend of a chorded course is looked at, mm: the
/// shorter, the more the last digit tells.
const WINDOW_MM: f64 = 2.0;

/// Mean bends may be this share tighter: rounded ends of chords.
const MEAN_SHARE: f64 = 0.03;

/// How far arcs are written as straight pieces, mm.
const FLAT_MM: f64 = 0.001;

/// A joint may turn by this beside what rounding and chords explain, degrees.
const TANGENT_DEG: f64 = 0.5;

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Stage {
    /// No tow at the nozzle.
    Before,
    /// Tow at the nozzle, whole.
    Fed,
    /// Cut: the tail is still to be laid.
    Cut,
}

/// A piece of a course as it was laid.
#[derive(Clone, Copy, Debug)]
pub(super) struct Piece {
    pub(super) curve: Curve,
    pub(super) line: u64,
}

pub(super) struct Course {
    pub(super) id: String,
    pub(super) stage: Stage,
    pub(super) pieces: Vec<Piece>,
    /// mm.
    pub(super) threaded: f64,
    pub(super) fed: f64,
    pub(super) laid: f64,
    pub(super) cut_at: Option<f64>,
    pub(super) start: Place,
}

/// What a course is held against.
#[derive(Clone, Copy, Debug)]
pub(super) struct Limits {
    pub(super) cutter_mm: f64,
    pub(super) shortest_mm: f64,
    /// The tow's; not known without plan or built-in tow.
    pub(super) bend_mm: Option<f64>,
    pub(super) chord_mm: f64,
    pub(super) arcs: bool,
}

impl Limits {
    fn chord_share(&self) -> f64 {
        chord_share((!self.arcs).then_some(self.chord_mm), self.bend_mm)
    }
}

/// Share of a course's length by which its program may fall short: three decimals,
/// and chords. Of an arc of radius R a chord with sagitta s is short by s / (3 R).
pub(super) fn chord_share(chord_mm: Option<f64>, bend_mm: Option<f64>) -> f64 {
    const ROUNDED: f64 = 1e-3;
    let chords = chord_mm.zip(bend_mm).map_or(0.0, |(s, r)| 1.1 * s / (3.0 * r));
    ROUNDED.max(chords)
}

impl Course {
    pub(super) fn new(id: &str, start: Place) -> Self {
        Self {
            id: id.to_owned(),
            stage: Stage::Before,
            pieces: Vec::new(),
            threaded: 0.0,
            fed: 0.0,
            laid: 0.0,
            cut_at: None,
            start,
        }
    }

    /// A piece laid, with what was fed along it.
    pub(super) fn lay(&mut self, ledger: &mut Ledger, curve: Curve, feed: f64, place: Place) {
        let length = curve.length();
        match self.stage {
            Stage::Fed => {
                let within = 0.003 + 2e-3 * length;
                ledger.most(Check::Feed, (feed - length).abs(), within, place, || {
                    format!("course {}: {feed:.4} mm fed along {length:.4} mm", self.id)
                });
            }
            Stage::Cut if feed.abs() > 1e-9 => {
                ledger.most(Check::Feed, feed.abs(), 0.0, place, || {
                    format!("course {}: fed after the cut", self.id)
                });
            }
            _ => {}
        }
        self.fed += feed;
        self.laid += length;
        self.pieces.push(Piece { curve, line: place.line });
    }

    /// The tail that is still to be laid, mm.
    pub(super) fn tail(&self, cutter_mm: f64) -> f64 {
        self.cut_at.map_or(0.0, |at| cutter_mm - (self.laid - at))
    }

    /// A move without feed after the cut lays the tail, or the last bit of it.
    pub(super) fn is_tail(&self, cutter_mm: f64, curve: &Curve, rapid: bool) -> bool {
        let left = self.tail(cutter_mm);
        left > LEFT_MM || (!rapid && left > 0.0 && curve.length() <= left + LEFT_MM)
    }

    /// Everything about a whole course.
    pub(super) fn finish(&self, ledger: &mut Ledger, limits: &Limits, place: Place) {
        let id = &self.id;
        let start = self.start;
        let share = limits.chord_share() * self.laid;
        ledger.most(Check::Threading, (self.threaded - limits.cutter_mm).abs(), 0.002, start, || {
            format!("course {id}: {:.4} mm fed to the nozzle before it", self.threaded)
        });
        ledger.least(Check::Piece, self.laid, limits.shortest_mm - FED_MM, start, || format!("course {id}"));
        match self.cut_at {
            Some(at) => {
                let tail = self.laid - at;
                ledger.most(
                    Check::CutPlace,
                    (tail - limits.cutter_mm).abs(),
                    FED_MM + limits.chord_share() * limits.cutter_mm,
                    place,
                    || format!("course {id}: cut {tail:.4} mm before its end"),
                );
            }
            None => ledger.say(Check::CutBlock, place, format!("course {id} is never cut")),
        }
        let fed = self.threaded + self.fed;
        ledger.most(Check::Balance, (fed - self.laid).abs(), FED_MM + share, place, || {
            format!("course {id}: {fed:.3} mm fed, {:.3} mm laid", self.laid)
        });
        self.bends(ledger, limits);
        self.means(ledger, limits);
    }

    fn place(&self, k: usize, at: [f64; 2]) -> Place {
        Place { line: self.pieces[k].line, at_mm: Some(at), ..self.start }
    }

    /// Arcs one by one, and the joints between pieces.
    fn bends(&self, ledger: &mut Ledger, limits: &Limits) {
        let id = &self.id;
        let least = limits.bend_mm.unwrap_or(0.0);
        for (k, p) in self.pieces.iter().enumerate() {
            if p.curve.arc.is_some() {
                let place = self.place(k, p.curve.from);
                ledger.least(
                    Check::Bend,
                    p.curve.radius(),
                    (least - 2.0 * WRITTEN_MM).max(0.0),
                    place,
                    || format!("course {id}: radius of an arc"),
                );
            }
        }
        // what a chord of the tightest bend turns by
        let flat = if limits.arcs { FLAT_MM } else { limits.chord_mm };
        let r = limits.bend_mm.unwrap_or(1.0).max(0.1);
        let most = 2.0 * acos((1.0 - flat / r).clamp(-1.0, 1.0));
        for (k, pair) in self.pieces.windows(2).enumerate() {
            let (a, b) = (&pair[0].curve, &pair[1].curve);
            let (Some(d), Some(e)) = (a.direction(1.0), b.direction(0.0)) else { continue };
            let turn = atan2(d[0] * e[1] - d[1] * e[0], d[0] * e[0] + d[1] * e[1]).abs();
            let short = a.length().min(b.length()).max(1e-3);
            // chords this long that stay so near their arc turn by no more, whatever its radius
            let chords = most.min(8.0 * flat / short);
            let chorded = if a.arc.is_none() || b.arc.is_none() { chords } else { 0.0 };
            let rounding = WRITTEN_MM / short;
            let over = (turn - chorded - rounding).to_degrees();
            ledger.most(Check::Joint, over, TANGENT_DEG, self.place(k + 1, b.from), || {
                format!("course {id}: a kink of {:.2} degrees, beyond its chords", turn.to_degrees())
            });
        }
    }

    /// The mean bend over short lengths: finds bends that are made of chords.
    fn means(&self, ledger: &mut Ledger, limits: &Limits) {
        let id = &self.id;
        let least = limits.bend_mm.unwrap_or(0.0) * (1.0 - MEAN_SHARE);
        // length and heading, unwrapped, at the middle of each piece
        let mut middles: Vec<(f64, f64, f64, usize)> = Vec::with_capacity(self.pieces.len());
        let (mut s, mut heading) = (0.0, 0.0);
        let mut last: Option<[f64; 2]> = None;
        for (index, p) in self.pieces.iter().enumerate() {
            let length = p.curve.length();
            let Some(d) = p.curve.direction(0.0) else {
                s += length;
                continue;
            };
            if let Some(l) = last {
                heading += atan2(l[0] * d[1] - l[1] * d[0], l[0] * d[0] + l[1] * d[1]);
            }
            let turn = p.curve.turn();
            middles.push((s + 0.5 * length, heading + 0.5 * turn, length, index));
            heading += turn;
            s += length;
            last = p.curve.direction(1.0);
        }
        let mut first = 0;
        for k in 0..middles.len() {
            while middles[k].0 - middles[first].0 > WINDOW_MM
                && first + 1 < k
                && middles[k].0 - middles[first + 1].0 >= WINDOW_MM
            {
                first += 1;
            }
            let (way, turn) = (middles[k].0 - middles[first].0, (middles[k].1 - middles[first].1).abs());
            // a window that long legs make up is the business of its joints
            if !(WINDOW_MM..=2.0 * WINDOW_MM).contains(&way) || turn < 1e-6 {
                continue;
            }
            let rounding = WRITTEN_MM / middles[k].2.max(1e-3) + WRITTEN_MM / middles[first].2.max(1e-3);
            let radius = way / (turn - rounding).max(1e-9);
            if radius < 1e3 {
                let index = middles[k].3;
                let place = self.place(index, self.pieces[index].curve.from);
                ledger.least(Check::Bend, radius, least, place, || {
                    format!("course {id}: mean radius over {way:.1} mm")
                });
            }
        }
    }

    /// Whether it ends where it began.
    pub(super) fn closed(&self) -> bool {
        match (self.pieces.first(), self.pieces.last()) {
            (Some(a), Some(b)) => distance(a.curve.from, b.curve.to) < 0.01,
            _ => false,
        }
    }
}
