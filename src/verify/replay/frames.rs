//! What comments open and close: layers, courses, purges; the header.

use super::{Frame, Replay};
use crate::job::{Head, built_in_matrix};
use crate::verify::course::{Course, Limits};
use crate::verify::findings::{Check, Place};

impl Replay<'_> {
    pub(super) fn comment(&mut self, text: &str, alone: bool) {
        let mut words = text.split_whitespace();
        match (words.next(), words.next()) {
            (Some("layer"), Some(_)) => self.open_layer(text),
            (Some("course"), Some(id)) => self.open_course(id),
            (Some("end"), Some("course")) => self.end_course(words.next().unwrap_or_default()),
            (Some("purge"), None) => {
                if !matches!(self.frame, Frame::None) {
                    self.say(Check::Frames, "a purge opens inside another frame");
                }
                self.frame = Frame::Purge;
            }
            (Some("end"), Some("purge")) => {
                if !matches!(self.frame, Frame::Purge) {
                    self.say(Check::Frames, "a purge ends and is not open");
                }
                self.frame = Frame::None;
            }
            (Some("cut"), None) => {
                if !alone {
                    self.say(Check::CutBlock, "`cut` does not stand on a line of its own");
                }
                if self.cut_said.is_some() {
                    self.say(Check::CutBlock, "no cut block follows `cut`");
                }
                self.cut_said = Some(self.line);
            }
            _ if self.layer == 0 => self.tell(text),
            _ => {}
        }
    }

    /// A comment of the header. Names of built-in materials tell limits.
    pub(super) fn tell(&mut self, text: &str) {
        self.header.comment(text, self.line);
        if self.against.is_none() {
            let [matrix, tow] = self.header.materials();
            self.facts.of_materials(matrix, tow);
        }
        if self.facts.rest_c[0].is_none()
            && let Some(m) = self.header.built_in_matrix.as_deref().and_then(built_in_matrix)
        {
            self.facts.rest_c = [Some(m.bed_temperature_c), Some(m.chamber_temperature_c)];
        }
    }

    pub(super) fn open_layer(&mut self, text: &str) {
        let words: Vec<&str> = text.split_whitespace().collect();
        let number = words.get(1).and_then(|w| w.parse::<u64>().ok());
        let z = words.get(3).and_then(|w| w.parse::<f64>().ok()).filter(|z| z.is_finite());
        let (Some(number), Some(z), Some(&"z")) = (number, z, words.get(2)) else {
            self.say(Check::Frames, format!("`{text}` where `layer N z Z` is due"));
            return;
        };
        self.ledger.look(Check::Frames);
        if self.layer == 0 {
            self.started();
        }
        self.surroundings();
        if !matches!(self.frame, Frame::None) {
            self.say(Check::Frames, format!("layer {number} opens inside another frame"));
        }
        self.close_layer();
        if number != self.layer + 1 {
            self.say(Check::Frames, format!("layer {number} follows layer {}", self.layer));
        }
        if z <= self.top {
            self.say(
                Check::Frames,
                format!("layer {number} has its top at {z} mm, that below at {} mm", self.top),
            );
        }
        (self.layer, self.below, self.top) = (number, self.top, z);
        self.figures.layers += 1;
        let place = self.place();
        if let Some(a) = &mut self.against {
            a.open_layer(&mut self.ledger, number, z, place);
        }
    }

    pub(super) fn close_layer(&mut self) {
        if self.layer == 0 {
            return;
        }
        self.over_tow();
        let place = Place { layer: self.layer, ..Place::default() };
        if let Some(a) = &mut self.against {
            a.close_layer(&mut self.ledger, &self.tows, &self.beads, self.layer_matrix_mm3, place);
        }
        self.tows.clear();
        self.beads.clear();
        (self.layer_tow_mm, self.layer_matrix_mm3) = (0.0, 0.0);
    }

    pub(super) fn open_course(&mut self, id: &str) {
        if !matches!(self.frame, Frame::None) {
            self.say(Check::Frames, format!("course {id} opens inside another frame"));
            self.leave();
        }
        if self.head != Some(Head::Fibre) {
            self.say(Check::Head, format!("course {id} without the fibre head"));
        }
        if self.layer == 0 {
            self.say(Check::Frames, format!("course {id} before the first layer"));
        }
        let copy = id.rsplit_once('@').and_then(|(_, n)| n.parse().ok()).unwrap_or(1);
        self.copies = self.copies.max(copy);
        if !self.opened.insert(id.to_owned()) {
            self.say(Check::Frames, format!("course {id} is laid twice"));
        }
        let place = self.place();
        self.frame = Frame::Course(Box::new(Course::new(id, place)));
        if let Some(a) = &mut self.against {
            a.open_course(&mut self.ledger, id, place);
        }
    }

    pub(super) fn end_course(&mut self, id: &str) {
        match &self.frame {
            Frame::Course(c) if c.id == id => self.leave(),
            _ => self.say(Check::Frames, format!("course {id} ends and is not open")),
        }
    }

    /// Leaves whatever frame is open; a course is judged as a whole.
    pub(super) fn leave(&mut self) {
        let Frame::Course(c) = std::mem::replace(&mut self.frame, Frame::None) else { return };
        let place = self.place();
        let limits = Limits {
            cutter_mm: self.printer.cutter_to_nozzle_mm,
            shortest_mm: self.printer.shortest_course_mm(),
            bend_mm: self.facts.bend_mm,
            chord_mm: self.printer.controller.chord_mm,
            arcs: self.printer.controller.arcs,
        };
        c.finish(&mut self.ledger, &limits, place);
        self.ledger.look(Check::UncutTravel);
        self.figures.courses += 1;
        self.figures.fibre_mm += c.laid;
        self.layer_tow_mm += c.laid;
        self.apart(&c);
        if let Some(a) = &mut self.against {
            a.end_course(&mut self.ledger, &c, place);
        }
    }
}
