//! A program held against its plan while it runs.

use super::Figures;
use super::bare;
use super::clock::SPENT;
use super::course::{Course, Piece};
use super::findings::{Check, Ledger, Place};
use super::geometry::{Curve, distance, steps, to_stretch};
use super::ground::Near;
use super::header::{self, Header};
use super::plan::{Beads, FAR_MM, Follow, Limits, NEAR_MM, Plan, PlanCourse, Reach, Rings};
use crate::job::printer::HeadProfile;
use crate::job::{Printer, built_in_tow};
use std::collections::{BTreeMap, BTreeSet};

/// Figures of a course that differ by no more are the same, mm: they are rounded, and made of
/// rounded places.
const FIGURE_MM: f64 = 0.01;

/// Ends of a piece as written, mm.
const WRITTEN_MM: f64 = 0.003;

/// Beads longer than this are looked at one by one, mm: of shorter ones, whose ends meet
/// others', it cannot always be told which of them a piece belongs to.
const LOOKED_AT_MM: f64 = 2.0;

/// Steps along and across a strip in which it is looked at, mm: a smaller hole in the part
/// may lie in it unseen.
const STRIP_MM: f64 = 0.25;

/// A strip may reach this far out of the outline, mm.
const ROOM_MM: f64 = 0.05;

/// Tow that trails lies off the line wanted by no more than this, in widths, whatever a plan
/// tells.
const MOST_OFF: f64 = 0.25;

/// Tow may come to lie this far from where the plan tells that it does, mm: both are reckoned
/// in steps, along chords.
const LAID_MM: f64 = 0.03;

/// Flow of a bead may differ by this, %.
const FLOW_PERCENT: f64 = 3.0;

/// Bare area beyond what is told, % of the outline, that is a fault: a hundredth.
const BARE_PERCENT: f64 = 1.0;

/// Bare area as drawn is told by the plan only as far as this, %: more is a fault
/// even of a planner that tells it.
const MOST_BARE_PERCENT: f64 = 10.0;

/// What counting along lines, with square ends of beads, is good for, % of the outline.
const LINES_PERCENT: f64 = 0.5;

/// Bare area that is a fault in no layer, however small, mm2: some corners of beads.
const BARE_MM2: f64 = 1.0;

/// A head reaches what the plan tells.
fn reach(told: &Reach, head: &HeadProfile) -> bool {
    let alike = |a: [f64; 2], b: [f64; 2]| a.iter().zip(&b).all(|(a, b)| near(*a, *b));
    [told.x, told.y, told.z].into_iter().zip(head.reach_mm).all(|(a, b)| alike(a, b))
}

/// The machine is as fast as the plan tells.
fn limits(told: &Limits, p: &Printer) -> bool {
    let (v, a, is) = (&told.speed_mm_s, &told.acceleration_mm_s2, &p.limits);
    [
        (v.x, is.axis_speed_mm_s[0]),
        (v.y, is.axis_speed_mm_s[1]),
        (v.z, is.axis_speed_mm_s[2]),
        (v.matrix, p.matrix.speed_mm_s),
        (v.fibre, p.fibre.speed_mm_s),
        (v.travel, is.travel_mm_s),
        (a.work, is.work_mm_s2),
        (a.travel, is.travel_mm_s2),
        (a.z, is.z_mm_s2),
        (told.corner_deviation_mm, is.corner_deviation_mm),
    ]
    .into_iter()
    .all(|(told, is)| near(told, is))
}

/// Figures of a profile that are the same.
fn near(a: f64, b: f64) -> bool {
    (a - b).abs() < 1e-6
}

struct Open {
    index: usize,
    rings: Rings,
    beads: Beads,
    bead_mm: f64,
    /// Length laid along each bead, all copies.
    laid: Vec<f64>,
}

pub(super) struct Against<'a> {
    plan: &'a Plan,
    /// Name as in the program: layer, course, copy.
    index: BTreeMap<String, (usize, usize, usize)>,
    laid: BTreeSet<(usize, usize, usize)>,
    opened: usize,
    layer: Option<Open>,
    course: Option<Follow>,
    /// The part's bounds over all layers.
    bounds: ([f64; 2], [f64; 2]),
}

/// How far pieces lead off a way at most, mm, where, and the line; the way starts where they
/// do and is moved by `o`.
fn off_the_way(way: &[[f64; 2]], pieces: &[Piece], o: [f64; 2]) -> (f64, [f64; 2], u64) {
    let mut worst = (0.0, o, 0);
    let mut at = 0;
    let stretches = way.len().saturating_sub(1);
    for piece in pieces {
        let n = steps(piece.curve.length(), 0.25);
        for k in 0..=n {
            let p = piece.curve.at(f64::from(k) / f64::from(n));
            let q = [p[0] - o[0], p[1] - o[1]];
            let off = |s: usize| to_stretch(q, way[s], way[s + 1]).0;
            while at + 1 < stretches && off(at + 1) <= off(at) {
                at += 1;
            }
            let d = if stretches == 0 { f64::INFINITY } else { off(at) };
            if d > worst.0 {
                worst = (d, p, piece.line);
            }
        }
    }
    worst
}

impl<'a> Against<'a> {
    pub(super) fn new(plan: &'a Plan) -> Self {
        let mut index = BTreeMap::new();
        let (mut lo, mut hi) = ([f64::INFINITY; 2], [f64::NEG_INFINITY; 2]);
        for (i, layer) in plan.layers.iter().enumerate() {
            for (k, course) in layer.courses.iter().enumerate() {
                for copy in 0..plan.placement_mm.len() {
                    let id =
                        if copy == 0 { course.id.clone() } else { format!("{}@{}", course.id, copy + 1) };
                    index.insert(id, (i, k, copy));
                }
            }
            for p in layer.outline.iter().flatten() {
                for k in 0..2 {
                    lo[k] = lo[k].min(p[k]);
                    hi[k] = hi[k].max(p[k]);
                }
            }
        }
        Self { plan, index, laid: BTreeSet::new(), opened: 0, layer: None, course: None, bounds: (lo, hi) }
    }

    pub(super) fn open_layer(&mut self, ledger: &mut Ledger, number: u64, z: f64, place: Place) {
        ledger.look(Check::PlanComplete);
        let index = self.opened;
        self.opened += 1;
        self.layer = None;
        let Some(layer) = self.plan.layers.get(index) else {
            ledger.say(Check::PlanComplete, place, format!("layer {number} is not in the plan"));
            return;
        };
        let top = layer.z_bottom_mm + layer.height_mm;
        if layer.number != number || (z - top).abs() > 0.0015 {
            let text =
                format!("layer {number} z {z} in the program, layer {} z {top:.4} in the plan", layer.number);
            ledger.say(Check::PlanComplete, place, text);
        }
        let rings = Rings::new(&layer.outline);
        let beads = Beads::new(layer, rings.bounds());
        let laid = vec![0.0; layer.beads.len()];
        self.layer = Some(Open { index, rings, beads, bead_mm: 0.0, laid });
    }

    pub(super) fn open_course(&mut self, ledger: &mut Ledger, id: &str, place: Place) {
        self.course = None;
        let Some(&at) = self.index.get(id) else {
            ledger.say(Check::PlanComplete, place, format!("course {id} is not in the plan"));
            return;
        };
        if self.layer.as_ref().is_none_or(|l| l.index != at.0) {
            ledger.say(Check::PlanComplete, place, format!("course {id} belongs to another layer"));
        }
        self.course = Some(Follow::new(at, &self.plan.layers[at.0].courses[at.1]));
    }

    pub(super) fn lay(&mut self, ledger: &mut Ledger, curve: &Curve, place: Place) {
        let Some(follow) = &mut self.course else { return };
        let o = self.plan.placement_mm[follow.place.2];
        let part = curve.moved([-o[0], -o[1]]);
        let (off, p) = follow.follow(&part);
        let here = |p: [f64; 2]| Place { at_mm: Some([p[0] + o[0], p[1] + o[1]]), ..place };
        let limit = self.plan.printer.chord_mm + WRITTEN_MM;
        ledger.most(Check::PlanCourse, off, limit, here(p), || "a nozzle off its course".to_owned());
    }

    /// The strip of a whole course, where its tow lies: inside the outline and off the
    /// perimeters.
    pub(super) fn strip(&self, ledger: &mut Ledger, pieces: &[Piece], width: f64, layer: u64) {
        let (Some(follow), Some(open)) = (&self.course, &self.layer) else { return };
        let o = self.plan.placement_mm[follow.place.2];
        let planned = &self.plan.layers[follow.place.0].courses[follow.place.1];
        let room = ROOM_MM + self.off_mm(planned);
        if let Some(laid) = &planned.laid {
            let (off, p, line) = off_the_way(&laid.points, pieces, o);
            let place = Place { line, layer, at_mm: Some(p) };
            ledger.most(Check::PlanCourse, off, LAID_MM, place, || {
                "tow off where it is told to lie".to_owned()
            });
        }
        let across = steps(width, STRIP_MM).max(4);
        for piece in pieces {
            let part = piece.curve.moved([-o[0], -o[1]]);
            let (mut worst, mut rim, n) =
                ((0.0, part.from), (0.0, part.from), steps(part.length(), STRIP_MM));
            for k in 0..=n {
                let share = f64::from(k) / f64::from(n);
                let (p, Some(d)) = (part.at(share), part.direction(share)) else { continue };
                for side in 0..=across {
                    let side = f64::from(side) / f64::from(across) - 0.5;
                    let q = [p[0] - d[1] * side * width, p[1] + d[0] * side * width];
                    let deep = open.beads.within_perimeter(q);
                    if deep > rim.0 {
                        rim = (deep, q);
                    }
                    let out = open.rings.outside(q, 2.0);
                    if out > worst.0 {
                        worst = (out, q);
                    }
                }
            }
            let at = |p: [f64; 2]| Place { line: piece.line, layer, at_mm: Some([p[0] + o[0], p[1] + o[1]]) };
            ledger.most(Check::Outline, worst.0, room, at(worst.1), || "a strip".to_owned());
            ledger.most(Check::Perimeters, rim.0, room, at(rim.1), || "a strip".to_owned());
        }
    }

    /// By what share courses of chords may be short of those planned.
    fn chord_share(&self) -> f64 {
        super::course::chord_share(Some(self.plan.printer.chord_mm), Some(self.plan.tow.min_bend_radius_mm))
    }

    pub(super) fn end_course(&mut self, ledger: &mut Ledger, course: &Course, place: Place) {
        let Some(follow) = self.course.take() else { return };
        let (want, id) = (follow.length(), &course.id);
        let within = 0.01 + self.chord_share() * want;
        ledger.most(Check::PlanCourse, (course.laid - want).abs(), within, place, || {
            format!("course {id}: {:.3} mm laid, {want:.3} mm planned", course.laid)
        });
        if !self.laid.insert(follow.place) {
            ledger.say(Check::PlanComplete, place, format!("course {id} is laid once more"));
        }
    }

    /// A bead against the plan's; the width that the plan draws it with.
    pub(super) fn bead(
        &mut self,
        ledger: &mut Ledger,
        curve: &Curve,
        flow: f64,
        section: f64,
        place: Place,
    ) -> Option<f64> {
        let open = self.layer.as_mut()?;
        let layer = &self.plan.layers[open.index];
        let length = curve.length();
        open.bead_mm += length;
        let piece = [curve.from, curve.at(0.5), curve.to];
        let (lo, hi) = open.rings.bounds();
        let mut best: Option<(f64, usize)> = None;
        for o in &self.plan.placement_mm {
            let part = piece.map(|p| [p[0] - o[0], p[1] - o[1]]);
            if (0..2).any(|k| part[1][k] < lo[k] - 1.0 || part[1][k] > hi[k] + 1.0) {
                continue;
            }
            if let Some(found) = open.beads.along(layer, part, flow)
                && best.is_none_or(|b| found.0 < b.0)
            {
                best = Some(found);
            }
        }
        let off = best.map_or(FAR_MM, |b| b.0);
        ledger
            .most(Check::PlanBead, off, NEAR_MM, place, || "matrix laid beside the plan's beads".to_owned());
        let bead = &layer.beads[best?.1];
        open.laid[best?.1] += length;
        let percent = 100.0 * (flow - bead.area_mm2).abs() / bead.area_mm2.max(1e-9);
        // the last digit of a short line's ends
        let within = FLOW_PERCENT + 100.0 * 0.003 * (section + flow) / (length * bead.area_mm2).max(1e-9);
        ledger.most(Check::PlanFlow, percent, within, place, || {
            format!("{flow:.4} mm2 laid, {:.4} mm2 planned", bead.area_mm2)
        });
        Some(bead.width_mm)
    }

    /// A purge stays off the parts.
    pub(super) fn purge(&self, ledger: &mut Ledger, curve: &Curve, place: Place) {
        let (lo, hi) = self.bounds;
        for o in &self.plan.placement_mm {
            let n = steps(curve.length(), 0.5);
            let near = |k: u32| {
                let p = curve.at(f64::from(k) / f64::from(n));
                (0..2).all(|k| p[k] - o[k] > lo[k] - 1.0 && p[k] - o[k] < hi[k] + 1.0)
            };
            if (0..=n).any(near) {
                ledger.say(Check::PlanComplete, place, "a purge at the part");
                return;
            }
        }
    }

    pub(super) fn close_layer(
        &mut self,
        ledger: &mut Ledger,
        tows: &Near,
        beads: &Near,
        volume: f64,
        place: Place,
    ) {
        let Some(open) = self.layer.take() else { return };
        let layer = &self.plan.layers[open.index];
        let copies = float(self.plan.placement_mm.len());
        let areas = layer.areas_mm2;
        let whole = open.rings.area.max(1e-9);
        let want = areas.matrix * layer.height_mm * copies;
        if want > 0.0 || volume > 0.0 {
            let percent = 100.0 * (volume - want).abs() / want.max(1e-9);
            ledger.most(Check::Volume, percent, 1.0 + 2.0 / want.max(1e-9), place, || {
                format!("{volume:.3} mm3 of matrix laid, {want:.3} mm3 planned")
            });
        }
        let planned = open.beads.length * copies;
        if (open.bead_mm - planned).abs() > 0.005 * planned + 0.05 {
            let text = format!("{:.2} mm of beads laid, {planned:.2} mm planned", open.bead_mm);
            ledger.say(Check::PlanComplete, place, text);
        }
        for (bead, laid) in layer.beads.iter().zip(&open.laid) {
            let planned = bead.length() * copies;
            if planned > LOOKED_AT_MM * copies && (laid - planned).abs() > 0.5 * planned / copies {
                let at_mm = bead.points.first().zip(self.plan.placement_mm.first());
                let at_mm = at_mm.map(|(p, o)| [p[0] + o[0], p[1] + o[1]]);
                let text = format!("of a bead of {planned:.1} mm, all copies, {laid:.1} mm are laid");
                ledger.say(Check::PlanComplete, Place { at_mm, ..place }, text);
            }
        }
        // trailing tow that lies off its line laps its neighbours
        let off = layer.courses.iter().map(|c| self.off_mm(c)).fold(0.0, f64::max);
        let laps = 0.01 + 2.0 * off / self.plan.tow.width_mm.max(1e-6);
        let tow: f64 = tows.stretches.iter().map(|s| distance(s.a, s.b) * s.width).sum::<f64>() / copies;
        for (what, off) in [
            ("the outline's area told against its rings", areas.outline - open.rings.area),
            (
                "tow, matrix, open and unfilled against the outline",
                areas.tow + areas.matrix + areas.open + areas.unfilled - areas.outline,
            ),
            ("tow told against laid, less a hundredth", ((areas.tow - tow).abs() - laps * tow).max(0.0)),
        ] {
            ledger.most(Check::Areas, 100.0 * off.abs() / whole, 0.1, place, || what.to_owned());
        }
        if open.rings.area > 0.0 {
            for &o in &self.plan.placement_mm {
                self.bare(ledger, &open, o, [tows, beads], place);
            }
        }
    }

    /// Bare ground of one copy against what is told of the layer.
    fn bare(&self, ledger: &mut Ledger, open: &Open, o: [f64; 2], laid: [&Near; 2], place: Place) {
        let layer = &self.plan.layers[open.index];
        let whole = open.rings.area;
        let bare = bare::count(&open.rings, o, laid);
        let left = layer.areas_mm2.open + layer.areas_mm2.unfilled;
        let at = Place { at_mm: bare.1.map(|p| [p[0] + o[0], p[1] + o[1]]), ..place };
        let told = format!("{:.2} mm2 bare, {left:.2} mm2 left on purpose or for want of room", bare.0);
        let percent = 100.0 * (bare.0 - left) / whole;
        // beads as drawn may leave more, which the planner warns of
        let drawn = layer.drawn_mm2.map_or(0.0, |d| 100.0 * (d.bare - left) / whole);
        let most = (drawn + LINES_PERCENT)
            .clamp(BARE_PERCENT + LINES_PERCENT, MOST_BARE_PERCENT)
            .max(100.0 * BARE_MM2 / whole);
        if percent > BARE_PERCENT + LINES_PERCENT && percent <= most {
            ledger.warn(Check::Bare, at, format!("{told}: {percent:.2} % of the layer"));
        }
        ledger.most(Check::Bare, percent, most, at, || told);
    }

    /// How far off the line wanted the present course's trailing tow is told to lie, mm: no more
    /// than a course may.
    pub(super) fn trails_off(&self) -> f64 {
        let Some(follow) = &self.course else { return 0.0 };
        self.off_mm(&self.plan.layers[follow.place.0].courses[follow.place.1])
    }

    fn off_mm(&self, course: &PlanCourse) -> f64 {
        course.off_mm().min(MOST_OFF * self.plan.tow.width_mm)
    }

    /// Share of a layer's tow that the plan tells to lie under beads.
    pub(super) fn over_tow(&self) -> Option<f64> {
        let layer = &self.plan.layers[self.layer.as_ref()?.index];
        layer.drawn_mm2.map(|d| d.over_tow / layer.areas_mm2.tow.max(1e-9))
    }

    pub(super) fn finish(
        self,
        ledger: &mut Ledger,
        figures: &Figures,
        seconds: &[f64; 7],
        header: &Header,
        printer: &Printer,
    ) {
        let nowhere = Place::default();
        for (id, place) in &self.index {
            if !self.laid.contains(place) {
                let at = Place { layer: self.plan.layers[place.0].number, ..nowhere };
                ledger.say(Check::PlanComplete, at, format!("course {id} is planned and not laid"));
            }
        }
        if self.opened < self.plan.layers.len() {
            let text = format!("{} layers opened, {} planned", self.opened, self.plan.layers.len());
            ledger.say(Check::PlanComplete, nowhere, text);
        }
        self.header(ledger, header);
        self.printer(ledger, printer);
        self.courses(ledger, printer);
        self.estimate(ledger, figures, seconds);
    }

    fn header(&self, ledger: &mut Ledger, header: &Header) {
        ledger.look(Check::Header);
        let planned = self.plan.placement_mm.len();
        if let Some((told, line)) = header.copies
            && usize::try_from(told) != Ok(planned)
        {
            let place = Place { line, ..Place::default() };
            ledger.say(Check::Header, place, format!("{told} copies told, {planned} planned"));
        }
        let (matrix, tow) = (&self.plan.matrix.name, &self.plan.tow.name);
        let tells =
            |told: &Option<String>, name| told.as_deref().is_none_or(|told| header::tells(told, name));
        let is = |told: &Option<String>, name| told.as_deref().is_none_or(|told| told == name);
        for (what, told, built_in, planned) in [
            ("matrix", &header.matrix, &header.built_in_matrix, matrix),
            ("tow", &header.tow, &header.built_in_tow, tow),
        ] {
            if let Some(planned) = planned
                && !(tells(told, planned) && is(built_in, planned))
            {
                let told = if is(built_in, planned) { told } else { built_in };
                let told = told.as_deref().unwrap_or_default();
                let text = format!("the {what} `{told}` is told, `{planned}` planned");
                ledger.say(Check::Header, Place::default(), text);
            }
        }
        // what a built-in tow stands is known; a plan cannot ask less of it
        if let Some(tow) = header.built_in_tow.as_deref().and_then(built_in_tow) {
            let plan = &self.plan.tow;
            for (what, known, told) in [
                ("width", tow.width_mm, plan.width_mm),
                ("least bend radius", tow.min_bend_radius_mm, plan.min_bend_radius_mm),
                ("trail", tow.trail_mm, plan.trail_mm),
            ] {
                if (known - told).abs() > 1e-3 {
                    let text = format!(
                        "the {what} of the built-in tow `{}` is {known} mm, {told} planned",
                        tow.name
                    );
                    ledger.say(Check::Header, Place::default(), text);
                }
            }
        }
        let header = header.text.as_str();
        for i in &self.plan.inputs {
            if !i.sha256.get(..12).is_some_and(|hash| header.contains(hash)) {
                ledger.say(
                    Check::Header,
                    Place::default(),
                    format!("the hash of the {} is not told, or that of another one is", i.role),
                );
            }
        }
        if !header.contains(&self.plan.tool.version) {
            ledger.say(
                Check::Header,
                Place::default(),
                format!("the version {} is not told", self.plan.tool.version),
            );
        }
    }

    fn printer(&self, ledger: &mut Ledger, p: &Printer) {
        ledger.look(Check::PlanPrinter);
        let (q, c) = (&self.plan.printer, &p.controller);
        let says = |told: &str, is: bool, yes: &str, no: &str| told == if is { yes } else { no };
        let offsets = |a: [f64; 3], b: [f64; 3]| a.iter().zip(&b).all(|(a, b)| near(*a, *b));
        for (what, alike) in [
            ("name", q.name == p.name),
            ("tools", q.tools.matrix == p.matrix.tool && q.tools.fibre == p.fibre.tool),
            (
                "offsets_mm",
                offsets(q.offsets_mm.matrix, p.matrix.offset_mm)
                    && offsets(q.offsets_mm.fibre, p.fibre.offset_mm),
            ),
            ("cutter_to_nozzle_mm", near(q.cutter_to_nozzle_mm, p.cutter_to_nozzle_mm)),
            ("feedstock_diameter_mm", near(q.feedstock_diameter_mm, p.feedstock_diameter_mm)),
            ("chord_mm", near(q.chord_mm, p.controller.chord_mm)),
            ("anchor_mm", near(q.anchor_mm, p.anchor_mm)),
            (
                "offsets_applied_by",
                says(&q.offsets_applied_by, c.program_applies_offsets, "program", "controller"),
            ),
            ("extrusion", says(&q.extrusion, c.absolute_extrusion, "absolute", "relative")),
            ("comment", says(&q.comment, c.parenthesis_comments, "parentheses", "semicolon")),
            ("dwell_unit", says(&q.dwell_unit, c.dwell_milliseconds, "ms", "s")),
            ("reach_mm", reach(&q.reach_mm.matrix, &p.matrix) && reach(&q.reach_mm.fibre, &p.fibre)),
            ("limits", limits(&q.limits, p)),
            (
                "feed_scale",
                near(q.feed_scale.as_ref().map_or(1.0, |s| s.matrix), p.matrix.feed_scale)
                    && near(q.feed_scale.as_ref().map_or(1.0, |s| s.fibre), p.fibre.feed_scale),
            ),
        ] {
            if !alike {
                let text = format!("the plan's `{what}` is not that of `{}`", p.name);
                ledger.say(Check::PlanPrinter, Place::default(), text);
            }
        }
    }

    /// What the plan tells of its courses, against their segments.
    fn courses(&self, ledger: &mut Ledger, printer: &Printer) {
        for (layer, course) in self.plan.layers.iter().flat_map(|l| l.courses.iter().map(move |c| (l, c))) {
            ledger.look(Check::PlanFigures);
            let curves: Vec<Curve> = course.segments.iter().map(|s| s.curve()).collect();
            let length: f64 = curves.iter().map(Curve::length).sum();
            let radii = curves.iter().filter_map(|c| c.arc.map(|(centre, _)| distance(c.from, centre)));
            let least = radii.fold(f64::INFINITY, f64::min);
            let ends = curves.first().zip(curves.last());
            let missed = ends.map_or(0.0, |(first, last)| distance(first.from, last.to));
            let mut say = |wrong: bool, what: String| {
                if wrong {
                    let text = format!("course {}: {what}", course.id);
                    let place = Place { layer: layer.number, ..Place::default() };
                    ledger.say(Check::PlanFigures, place, text);
                }
            };
            let told = course.length_mm;
            say((told - length).abs() > FIGURE_MM, format!("{told:.3} mm told, {length:.3} mm long"));
            let (cut, tail) = (course.cut_at_mm, printer.cutter_to_nozzle_mm);
            say(
                (cut + tail - length).abs() > FIGURE_MM,
                format!("cut at {cut:.3} mm of {length:.3} mm, with {tail} mm from cutter to nozzle"),
            );
            let radius = |r: f64| if r.is_finite() { format!("{r:.3} mm") } else { "none".to_owned() };
            let bend = course.min_bend_radius_mm.unwrap_or(f64::INFINITY);
            say(
                bend.is_finite() != least.is_finite() || (bend - least).abs() > FIGURE_MM,
                format!("a tightest bend of {} told, {} found", radius(bend), radius(least)),
            );
            say(course.closed && missed > FIGURE_MM, format!("closed, and its ends {missed:.3} mm apart"));
        }
    }

    fn estimate(&self, ledger: &mut Ledger, f: &Figures, seconds: &[f64; 7]) {
        let e = &self.plan.estimate;
        let plan = self.plan;
        let copies = float(plan.placement_mm.len());
        let mut look = |what: &str, told: f64, found: f64, percent: f64| {
            // there is no share of nothing: all of it is missing
            let missing = found.abs() < 1e-9 && told.abs() > 1e-3;
            let off = if missing { 100.0 } else { 100.0 * (told - found).abs() / found.abs().max(1e-3) };
            ledger.most(Check::Estimate, off, percent, Place::default(), || {
                if missing {
                    format!("{what}: {told} told, none of it found")
                } else {
                    format!("{what}: {told} told, {found:.4} found")
                }
            });
        };
        #[expect(clippy::cast_precision_loss, reason = "counts")]
        let count = |n: u64| n as f64;
        look("fibre_length_mm", e.fibre_length_mm, f.fibre_mm, 100.0 * self.chord_share().max(2e-3));
        look("courses", count(e.courses), count(f.courses), 0.0);
        look("cuts", count(e.cuts), count(f.cuts), 0.0);
        look("head_changes", count(e.head_changes), count(f.head_changes), 0.0);
        look("matrix_volume_mm3", e.matrix_volume_mm3, f.matrix_mm3, 0.5);
        look("purge_volume_mm3", e.purge_volume_mm3, f.purge_mm3, 0.5);
        let matrix_g = f.matrix_mm3 * plan.matrix.density_g_cm3 * 1e-3;
        let tow_mm3 = f.fibre_mm * plan.tow.area_mm2;
        let tow_g = tow_mm3 * plan.tow.density_g_cm3 * 1e-3;
        look("matrix_mass_g", e.matrix_mass_g, matrix_g, 0.5);
        look("tow_mass_g", e.tow_mass_g, tow_g, 0.5);
        look("part_mass_g", e.part_mass_g, (matrix_g + tow_g) / copies, 0.5);
        let solid = tow_mm3 + f.matrix_mm3;
        if solid > 0.0 {
            look(
                "fibre_volume_fraction",
                e.fibre_volume_fraction,
                f.fibre_mm * plan.tow.fibre_area_mm2 / solid,
                0.5,
            );
        }
        let room: f64 =
            plan.layers.iter().map(|l| (l.areas_mm2.outline - l.areas_mm2.open) * l.height_mm).sum::<f64>()
                * copies;
        if room > 0.0 {
            // a share of the room, not of the pores
            look("1 - printed_porosity", 1.0 - e.printed_porosity, solid / room, 0.5);
        }
        let told = |key: &str| e.time_s.get(key).copied().unwrap_or(f64::NAN);
        let total = told("total");
        let sum: f64 = SPENT.iter().map(|k| told(k)).sum();
        let mut time = |what: &str, off: f64, percent: f64| {
            ledger.most(Check::EstimateTime, 100.0 * off, percent, Place::default(), || what.to_owned());
        };
        time("time_s: total against its parts", (total - sum).abs() / total.max(1.0), 0.1);
        if f.moves == 0 && total > 0.0 {
            // there is no share of nothing: all of it is missing
            time("time_s.total: told, and nothing moves", 1.0, super::TIME_PERCENT);
            return;
        }
        time("time_s.total", super::time_off(total, f.seconds), super::TIME_PERCENT);
        for (key, found) in SPENT.iter().zip(seconds) {
            let off = (told(key) - found).abs() / total.max(1.0);
            time(&format!("time_s.{key}"), off, super::TIME_PERCENT);
        }
    }
}

#[expect(clippy::cast_precision_loss, reason = "counts")]
fn float(n: usize) -> f64 {
    n as f64
}
