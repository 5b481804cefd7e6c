//! What a move lays: beads, purges, tow from threading to tail.

use super::limits::HEIGHT_MM;
use super::{Frame, Replay};
use crate::job::Head;
use crate::verify::clock::Spent;
use crate::verify::course::{Course, Stage};
use crate::verify::findings::Check;
use crate::verify::geometry::{Curve, to_stretch};
use crate::verify::ground::Stretch;
use crate::verify::machine::Move;
use std::f64::consts::PI;

/// Matrix at rest that no lump is made of, mm3: the last digit of E.
const REST_MM3: f64 = 0.02;

/// How far from its line a purge may lie, mm: about a bead's width.
const PURGE_MM: f64 = 0.5;

impl Replay<'_> {
    /// What a move does in its frame.
    pub(super) fn room(&mut self, head: Head, m: &Move, curve: Curve, z: [f64; 2], feed: f64) -> Spent {
        let flat = curve.length() > 1e-9;
        let feeds = feed.abs() > 1e-9;
        match (&self.frame, head) {
            (Frame::Purge, _) if feeds => self.purge(head, &curve, z[1], feed),
            (_, Head::Fibre) if matches!(self.frame, Frame::Course(_)) || feeds => {
                self.fibre(m, curve, z, feed)
            }
            (_, Head::Matrix) if feeds => {
                self.bead(&curve, z, feed, flat);
                Spent::Matrix
            }
            _ => {
                self.drag(&curve, z[0].min(z[1]));
                Spent::Travel
            }
        }
    }

    pub(super) fn purge(&mut self, head: Head, curve: &Curve, z: f64, feed: f64) -> Spent {
        if head == Head::Fibre {
            self.say(Check::Frames, "tow is fed within a purge, which clears the matrix head");
        } else {
            self.figures.purge_mm3 += feed * self.section();
            if curve.length() > 1e-9 {
                if feed < 0.0 {
                    self.say(
                        Check::MeltRate,
                        "the matrix head draws back within a purge: is a G92 E0 missing?",
                    );
                }
                self.drawn_mm = 0.0;
            } else {
                self.drawn_mm = (self.drawn_mm - feed).max(0.0);
            }
            let p = &self.printer.purge;
            let [x, y] = p.matrix_at_mm;
            let off = [curve.from, curve.to]
                .map(|q| to_stretch(q, [x, y], [x + p.matrix_line_mm, y]).0)
                .into_iter()
                .fold(0.0, f64::max);
            let place = self.at(curve.to);
            self.ledger.most(Check::PurgePlace, off, PURGE_MM, place, || {
                format!("{off:.1} mm from the line at x {x} y {y}")
            });
        }
        if let Some(a) = &self.against {
            let place = self.at(curve.to);
            a.purge(&mut self.ledger, curve, place);
        }
        self.heights.lay(curve, z, 0.0);
        Spent::Other
    }

    pub(super) fn section(&self) -> f64 {
        let d = self.printer.feedstock_diameter_mm;
        0.25 * PI * d * d
    }

    pub(super) fn lies_at(&mut self, curve: &Curve, z: [f64; 2]) {
        let off = (z[0] - self.top).abs().max((z[1] - self.top).abs());
        let place = self.at(curve.to);
        self.ledger.most(Check::LayerHeight, off, HEIGHT_MM, place, || format!("laid at z {:.3}", z[1]));
    }

    pub(super) fn bead(&mut self, curve: &Curve, z: [f64; 2], feed: f64, flat: bool) {
        let volume = feed * self.section();
        self.figures.matrix_mm3 += volume;
        self.layer_matrix_mm3 += volume;
        if self.layer == 0 {
            self.say(Check::Frames, "matrix is laid before the first layer and outside a purge");
        }
        let place = self.at(curve.to);
        if !flat {
            self.drawn_mm -= feed;
            let lump = (-self.drawn_mm).max(0.0) * self.section();
            self.ledger.most(Check::AtRest, lump, REST_MM3, place, || {
                "matrix fed on one spot, outside a purge".to_owned()
            });
            self.drawn_mm = self.drawn_mm.max(0.0);
            return;
        }
        let missing = std::mem::take(&mut self.drawn_mm) * self.section();
        self.ledger.most(Check::AtRest, missing, REST_MM3, place, || {
            "matrix that was drawn back is not given again".to_owned()
        });
        self.lies_at(curve, z);
        if feed < 0.0 {
            self.say(Check::MeltRate, "the matrix head draws back while it lays");
        }
        let flow = volume / curve.length();
        let place = self.at(curve.at(0.5));
        let section = self.section();
        let height = (self.top - self.below).max(1e-3);
        let width = match &mut self.against {
            Some(a) => a.bead(&mut self.ledger, curve, flow, section, place),
            None => None,
        };
        let width = width.unwrap_or(flow / height);
        self.heights.lay(curve, z[1], width);
        let owner = u32::MAX;
        let mut from = curve.from;
        let (beads, line) = (&mut self.beads, self.line);
        curve.chords(0.005, |to| {
            beads.add(Stretch { a: from, b: to, owner, from: 0.0, width, line });
            from = to;
        });
    }

    pub(super) fn fibre(&mut self, m: &Move, curve: Curve, z: [f64; 2], feed: f64) -> Spent {
        let flat = curve.length() > 1e-9;
        let feeds = feed.abs() > 1e-9;
        if !matches!(self.frame, Frame::Course(_)) {
            self.say(Check::Frames, "the fibre head feeds outside every course");
            let place = self.place();
            let id = format!("at line {}", self.line);
            self.frame = Frame::Course(Box::new(Course::new(&id, place)));
        }
        let place = self.at(curve.to);
        let cutter = self.printer.cutter_to_nozzle_mm;
        let Frame::Course(c) = &mut self.frame else { return Spent::Fibre };
        match (c.stage, feeds, flat) {
            (Stage::Before, false, _) => {
                self.drag(&curve, z[0].min(z[1]));
                if m.rapid { Spent::Travel } else { Spent::Fibre }
            }
            (Stage::Before | Stage::Fed, true, false) => {
                if c.stage == Stage::Fed {
                    let text = format!("course {}: tow is fed on the spot once more", c.id);
                    self.ledger.say(Check::Threading, place, text);
                }
                c.threaded += feed;
                c.stage = Stage::Fed;
                Spent::Fibre
            }
            (Stage::Before, true, true) => {
                let text = format!("course {}: laid before its tow is fed to the nozzle", c.id);
                self.ledger.say(Check::Threading, place, text);
                c.stage = Stage::Fed;
                self.lay(curve, z, feed);
                Spent::Fibre
            }
            (Stage::Fed, false, _) => {
                let way = curve.length() + (z[1] - z[0]).abs();
                let text = format!("course {}: the head moves without feeding before the cut", c.id);
                // shorter lines than the last digit of E have none
                self.ledger.most(Check::UncutTravel, way, 0.01, place, || text);
                if flat {
                    self.lay(curve, z, feed);
                }
                Spent::Fibre
            }
            (Stage::Cut, false, true) if c.is_tail(cutter, &curve, m.rapid) => {
                self.lay(curve, z, feed);
                Spent::Fibre
            }
            (Stage::Cut, false, _) => {
                let left = c.tail(cutter);
                if left > 0.05 && (z[1] - z[0]).abs() > 0.0 {
                    let text = format!("course {}: the head lifts with its tail not laid", c.id);
                    self.ledger.most(Check::UncutTravel, left, 0.05, place, || text);
                }
                let low = z[0].min(z[1]);
                if !m.rapid && flat && low < self.top + HEIGHT_MM {
                    let text =
                        format!("course {}: the nozzle goes on behind its tail, on tow that is laid", c.id);
                    self.ledger.most(Check::CutPlace, curve.length() - left.max(0.0), 0.05, place, || text);
                }
                self.drag(&curve, low);
                if m.rapid { Spent::Travel } else { Spent::Fibre }
            }
            (_, true, true) => {
                self.lay(curve, z, feed);
                Spent::Fibre
            }
            (Stage::Cut, true, false) => {
                let text = format!("course {}: tow is fed after the cut", c.id);
                self.ledger.most(Check::Feed, feed.abs(), 0.0, place, || text);
                c.fed += feed;
                Spent::Fibre
            }
        }
    }

    pub(super) fn lay(&mut self, curve: Curve, z: [f64; 2], feed: f64) {
        let place = self.at(curve.to);
        self.lies_at(&curve, z);
        if let Some(a) = &mut self.against {
            a.lay(&mut self.ledger, &curve, place);
        }
        if let Frame::Course(c) = &mut self.frame {
            c.lay(&mut self.ledger, curve, feed, place);
        }
        self.heights.lay(&curve, z[1], self.facts.tow_width_mm.unwrap_or(0.0));
    }
}
