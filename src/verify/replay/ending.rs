//! The end of the text, and what the header told.

use super::warmth::SURROUNDINGS;
use super::{Frame, Replay, name};
use crate::job::Head;
use crate::verify::dialect::{Expected, alike, shown};
use crate::verify::findings::{Check, Ledger, Place};
use crate::verify::{Figures, TIME_PERCENT, course, time_off};

impl Replay<'_> {
    /// The end of the text.
    pub(in crate::verify) fn finish(mut self, whole: bool) -> (Ledger, Figures) {
        if !whole {
            self.say(Check::Ending, "the last line has no line end: the program may be cut off");
        }
        if !matches!(self.frame, Frame::None) {
            self.say(Check::Frames, "the program ends inside a frame");
            self.leave();
        }
        self.close_layer();
        let last = |end: &Vec<Expected>| self.last.back().is_some_and(|l| alike(end, l));
        if self.line > 0 && !self.machine.dialect().end.last().is_none_or(last) {
            self.say(
                Check::Ending,
                "the last words are not those of the profile's end block: the program may be cut off",
            );
        } else {
            self.ended_whole();
        }
        self.ledger.look(Check::Ending);
        if let Some(head) = self.head {
            self.lifted(head);
        }
        let now = self.clock.now();
        for head in [Head::Matrix, Head::Fibre] {
            self.back(head, now);
            let target = self.warmth[head.index()].target;
            if target > 0.0 {
                self.say(Check::Ending, format!("{} is left heated to {target} degC", name(head)));
            }
        }
        for (what, target) in SURROUNDINGS.into_iter().zip(self.rest) {
            if target > 0.0 {
                self.say(Check::Ending, format!("the {what} is left heated to {target} degC"));
            }
        }
        if self.head.is_none() {
            self.say(
                Check::Head,
                format!(
                    "no head of `{}` is ever selected, T{} or T{}: is it a program for this printer?",
                    self.printer.name, self.printer.matrix.tool, self.printer.fibre.tool
                ),
            );
        }
        self.figures.seconds = self.clock.finish();
        self.told();
        if let Some(a) = self.against.take() {
            a.finish(&mut self.ledger, &self.figures, &self.clock.seconds, &self.header, self.printer);
        }
        (self.ledger, self.figures)
    }

    /// The lines of the end block that every program has stand at the end, in their order.
    fn ended_whole(&mut self) {
        let mut rest = self.last.iter();
        let missing = self.machine.dialect().end_always.iter().find(|l| !rest.any(|words| alike(l, words)));
        if let Some(line) = missing {
            let text = format!("the end block is not whole: a line like `{}` is missing", shown(line));
            self.lacks(text);
        }
    }

    /// The header's figures against the program's.
    pub(super) fn told(&mut self) {
        if let Some((told, line)) = &self.header.printer
            && *told != self.printer.name
        {
            let place = Place { line: *line, ..Place::default() };
            let text = format!("it was written for `{told}` and is checked against `{}`", self.printer.name);
            self.ledger.say(Check::Header, place, text);
        }
        if self.header.inputs {
            let h = &self.header;
            for (what, told) in [
                ("fibre length in mm", h.fibre_mm.is_some()),
                ("build time as h:mm:ss", h.seconds.is_some()),
                ("number of layers", h.layers.is_some()),
                ("number of copies", h.copies.is_some()),
            ] {
                if !told {
                    self.ledger.say(Check::Header, Place::default(), format!("the header tells no {what}"));
                }
            }
        }
        let f = &self.figures;
        if let Some((mm, line)) = self.header.fibre_mm {
            let place = Place { line, ..Place::default() };
            let c = &self.printer.controller;
            let share = course::chord_share((!c.arcs).then_some(c.chord_mm), self.facts.bend_mm);
            let within = 1.0 + share * f.fibre_mm;
            self.ledger.most(Check::HeaderFibre, (mm - f.fibre_mm).abs(), within, place, || {
                format!("{mm} mm of fibre told, {:.1} mm laid", f.fibre_mm)
            });
        }
        if let Some((s, line)) = self.header.seconds {
            let place = Place { line, ..Place::default() };
            let off = time_off(s, f.seconds) * 100.0;
            self.ledger.most(Check::HeaderTime, off, TIME_PERCENT, place, || {
                format!("{s:.0} s told, the program takes {:.0} s", f.seconds)
            });
        }
        // courses of the second copy and on carry its number
        if let Some((told, line)) = self.header.copies
            && f.courses > 0
        {
            self.ledger.look(Check::Header);
            if told != self.copies {
                let place = Place { line, ..Place::default() };
                let text = format!("{told} copies told, courses for {}", self.copies);
                self.ledger.say(Check::Header, place, text);
            }
        }
        if let Some((n, line)) = self.header.layers {
            self.ledger.look(Check::Header);
            if n != f.layers {
                let place = Place { line, ..Place::default() };
                self.ledger.say(Check::Header, place, format!("{n} layers told, {} opened", f.layers));
            }
        }
    }
}
