//! Layers as few bytes as will do: what the viewer draws, in base64.
//!
//! Numbers are unsigned base-128, lowest seven bits first; signed ones are folded
//! (0, -1, 1, -2, … as 0, 1, 2, 3, …). Places are in steps of [`STEP_MM`] from the
//! place before. Blocks that are alike are stored once. `page/unpack.js` is the
//! other side.

use super::Work;
use crate::geom::{Point, Segment, polyline};
use crate::job::Head;
use crate::matrix::{BeadKind, LayerBeads};
use crate::outline::Layer;
use crate::sequence::{Laid, Move};
use std::collections::BTreeMap;

/// Places in the viewer are multiples of this, mm: two pixels at the largest zoom.
/// Steps up to 0.3 mm take a byte, up to 40 mm two. Figures are not taken from
/// them: lengths and radii are told in thousandths.
pub(super) const STEP_MM: f64 = 0.005;

/// Blocks of bytes, each stored once.
#[derive(Debug, Default)]
pub(super) struct Blocks {
    known: BTreeMap<Vec<u8>, usize>,
    /// base64 of each block, in order of first use.
    pub(super) texts: Vec<String>,
}

impl Blocks {
    /// The number of a block with these bytes.
    fn add(&mut self, bytes: Vec<u8>) -> usize {
        if let Some(&at) = self.known.get(&bytes) {
            return at;
        }
        let at = self.texts.len();
        self.texts.push(base64(&bytes));
        self.known.insert(bytes, at);
        at
    }
}

/// Where a layer's data are.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Packed {
    /// Numbers of its blocks: outline, beads, courses, events.
    pub(super) blocks: [usize; 4],
    /// When it begins and ends, s.
    pub(super) time_s: [f64; 2],
}

/// Packs every layer. `start_s` is when the first one begins.
pub(super) fn pack(work: &Work, start_s: f64) -> (Blocks, Vec<Packed>) {
    let mut blocks = Blocks::default();
    let mut clock = Clock { moves: &work.program.moves, seconds: &work.seconds, at: 0, now: start_s };
    let origin = work.program.placements.first().copied().unwrap_or_default();
    let packed = work
        .outline
        .layers
        .iter()
        .enumerate()
        .map(|(i, layer)| {
            let courses = work.program.courses.get(i).map_or(&[][..], Vec::as_slice);
            let begin = clock.now;
            let events = events(&mut clock, origin);
            Packed {
                blocks: [
                    blocks.add(outline(layer)),
                    blocks.add(work.beads.get(i).map(beads).unwrap_or_default()),
                    blocks.add(self::courses(courses)),
                    blocks.add(events),
                ],
                time_s: [begin, clock.now],
            }
        })
        .collect();
    (blocks, packed)
}

/// A row of numbers.
#[derive(Default)]
struct Bytes {
    bytes: Vec<u8>,
    at: [i64; 2],
}

impl Bytes {
    fn whole(&mut self, mut v: u64) {
        loop {
            let low = u8::try_from(v & 0x7f).unwrap_or(0);
            v >>= 7;
            if v == 0 {
                self.bytes.push(low);
                return;
            }
            self.bytes.push(low | 0x80);
        }
    }

    fn count(&mut self, n: usize) {
        self.whole(u64::try_from(n).unwrap_or(u64::MAX));
    }

    fn signed(&mut self, v: i64) {
        self.whole(((v << 1) ^ (v >> 63)).cast_unsigned());
    }

    /// A length or area in thousandths of its unit.
    fn thousandths(&mut self, v: f64) {
        self.whole(rounded(v * 1e3).max(0).cast_unsigned());
    }

    /// A place, as the step from the one before.
    fn place(&mut self, p: Point) {
        let to = steps(p);
        self.signed(to[0] - self.at[0]);
        self.signed(to[1] - self.at[1]);
        self.at = to;
    }

    /// A place aside: the next one counts from where it did.
    fn aside(&mut self, p: Point) {
        let at = self.at;
        self.place(p);
        self.at = at;
    }
}

fn steps(p: Point) -> [i64; 2] {
    [rounded(p.x / STEP_MM), rounded(p.y / STEP_MM)]
}

fn rounded(v: f64) -> i64 {
    #[expect(clippy::cast_possible_truncation, reason = "a cast saturates; parts are metres at most")]
    let v = v.round() as i64;
    v
}

fn outline(layer: &Layer) -> Vec<u8> {
    let mut out = Bytes::default();
    out.count(layer.outline.rings().count());
    for ring in layer.outline.rings() {
        out.count(ring.len());
        ring.iter().for_each(|p| out.place(*p));
    }
    out.bytes
}

fn beads(beads: &LayerBeads) -> Vec<u8> {
    let mut out = Bytes::default();
    out.count(beads.beads.len());
    let mut before = (0, 0);
    for b in &beads.beads {
        let section = (rounded(b.width_mm * 1e3), rounded(b.area_mm2 * 1e5));
        let like = section == before;
        before = section;
        let perimeter = u64::from(b.kind == BeadKind::Perimeter);
        out.whole(perimeter | u64::from(b.closed) << 1 | u64::from(like) << 2);
        if !like {
            out.whole(section.0.max(0).cast_unsigned());
            out.whole(section.1.max(0).cast_unsigned());
        }
        out.count(b.points.len());
        b.points.iter().for_each(|p| out.place(*p));
    }
    out.bytes
}

fn courses(laid: &[Laid]) -> Vec<u8> {
    let mut out = Bytes::default();
    out.count(laid.len());
    for l in laid {
        let path = l.course.path();
        // a tow that trails lies elsewhere than the nozzle goes
        let trail = l.course.trail.as_ref();
        out.count(usize::from(l.course.wanted().closed) + 2 * usize::from(trail.is_some()));
        out.count(l.course.rank);
        out.thousandths(path.length());
        out.thousandths(l.cut_at_mm);
        let radius = path.min_radius();
        out.thousandths(if radius.is_finite() { radius } else { 0.0 });
        out.count(path.segments.len());
        out.place(path.start().unwrap_or_default());
        for s in &path.segments {
            match s {
                Segment::Line { to, .. } => {
                    out.count(0);
                    out.place(*to);
                }
                Segment::Arc(a) => {
                    out.count(if a.ccw { 1 } else { 2 });
                    out.aside(a.centre);
                    out.place(a.to);
                }
            }
        }
        if let Some(trail) = trail {
            out.thousandths(trail.off_anywhere_mm());
            out.aside(Point::new(trail.at_mm[0], trail.at_mm[1]));
            let laid = polyline::simplified(&trail.laid, STEP_MM);
            out.count(laid.len());
            laid.iter().for_each(|p| out.place(*p));
        }
    }
    out.bytes
}

/// Kinds of events, as `page/unpack.js` knows them.
mod kind {
    pub(super) const END: u64 = 0;
    pub(super) const HOP: u64 = 1;
    pub(super) const TRAVEL: u64 = 2;
    pub(super) const BEAD: u64 = 3;
    pub(super) const COURSE: u64 = 4;
    pub(super) const HEAD: u64 = 5;
    pub(super) const HEAT: u64 = 6;
    pub(super) const PURGE: u64 = 7;
    pub(super) const COPY: u64 = 8;
    pub(super) const PAUSE: u64 = 9;
    /// A bead after a hop or a travel to its start.
    pub(super) const HOP_BEAD: u64 = 10;
    pub(super) const TRAVEL_BEAD: u64 = 11;
    /// Added to a bead's kind: its number follows, for it is not the next one.
    pub(super) const NUMBERED: u64 = 16;
    /// Added to a bead's kind: how it is walked follows.
    pub(super) const WALKED: u64 = 32;
}

/// The moves, with the time at which each ends.
struct Clock<'a> {
    moves: &'a [Move],
    seconds: &'a [f64],
    at: usize,
    now: f64,
}

impl<'a> Clock<'a> {
    fn peek(&self) -> Option<&'a Move> {
        self.moves.get(self.at)
    }

    fn next(&mut self) -> Option<&'a Move> {
        let m = self.moves.get(self.at)?;
        self.now += self.seconds.get(self.at).copied().unwrap_or(0.0);
        self.at += 1;
        Some(m)
    }
}

/// What happens in a layer, in order, with durations in ms. Sums of them are
/// rounded, not they themselves, so that a long layer keeps its time.
struct Events {
    out: Bytes,
    begin: f64,
    told_ms: i64,
    copy: usize,
    bead: i64,
    origin: Point,
    /// A travel to the start of the bead that follows: lifted or not, ms.
    before: Option<(bool, u64)>,
}

impl Events {
    /// The time since the last event, up to now, ms.
    fn passed(&mut self, now: f64) -> u64 {
        let ms = rounded((now - self.begin) * 1e3);
        let passed = (ms - self.told_ms).max(0).cast_unsigned();
        self.told_ms = ms.max(self.told_ms);
        passed
    }

    /// Tells the time since the last event.
    fn until(&mut self, now: f64) {
        let ms = self.passed(now);
        self.out.whole(ms);
    }

    /// A bead that has just been laid; `walk` is 1 backwards, else twice the point
    /// that a closed one begins at.
    fn bead(&mut self, index: usize, walk: usize, now: f64) {
        let index = i64::try_from(index).unwrap_or(0);
        let step = index - self.bead - 1;
        self.bead = index;
        let before = self.before.take();
        let kind = match before {
            None => kind::BEAD,
            Some((false, _)) => kind::HOP_BEAD,
            Some((true, _)) => kind::TRAVEL_BEAD,
        };
        let numbered = if step == 0 { 0 } else { kind::NUMBERED };
        let walked = if walk == 0 { 0 } else { kind::WALKED };
        self.out.whole(kind + numbered + walked);
        if step != 0 {
            self.out.signed(step);
        }
        if walk != 0 {
            self.out.count(walk);
        }
        if let Some((_, ms)) = before {
            self.out.whole(ms);
        }
        self.until(now);
    }

    fn of_copy(&mut self, copy: usize) {
        if copy != self.copy {
            self.out.whole(kind::COPY);
            self.out.count(copy);
            self.copy = copy;
        }
    }
}

/// Events from the clock's place to the next layer. Places are in the plane of
/// the first copy.
fn events(clock: &mut Clock<'_>, origin: Point) -> Vec<u8> {
    let mut e = Events {
        out: Bytes::default(),
        begin: clock.now,
        told_ms: 0,
        copy: 0,
        bead: -1,
        origin,
        before: None,
    };
    if matches!(clock.peek(), Some(Move::Layer { .. })) {
        clock.next();
    }
    let mut course = (0, 0);
    while let Some(m) = clock.peek() {
        match m {
            Move::Layer { .. } => break,
            Move::Z(_) | Move::Travel(_) => travel(&mut e, clock),
            Move::Bead { index, copy, reversed, start } => {
                clock.next();
                let mut end = None;
                while let Some(Move::Extrude { to, .. }) = clock.peek() {
                    end = Some(*to);
                    clock.next();
                }
                e.of_copy(*copy);
                e.bead(*index, if *reversed { 1 } else { *start * 2 }, clock.now);
                if let Some(p) = end {
                    e.out.at = steps(p - origin);
                }
            }
            Move::CourseStart(id) => {
                course = parts(id);
                clock.next();
            }
            Move::Thread(_) => {
                clock.next();
                e.of_copy(course.1);
                e.out.whole(kind::COURSE);
                e.out.count(course.0);
                e.until(clock.now);
                let mut end = None;
                // laid with feed, cut, laid without
                for fed in [true, false] {
                    while let Some(Move::Lay { segment, fed: f }) = clock.peek() {
                        if *f != fed {
                            break;
                        }
                        end = Some(segment.to());
                        clock.next();
                    }
                    e.until(clock.now);
                    if fed {
                        if matches!(clock.peek(), Some(Move::Cut)) {
                            clock.next();
                        }
                        e.until(clock.now);
                    }
                }
                if let Some(p) = end {
                    e.out.at = steps(p - origin);
                }
            }
            Move::Select(head) => {
                clock.next();
                e.out.whole(kind::HEAD);
                e.out.count(usize::from(*head == Head::Fibre));
                e.until(clock.now);
            }
            Move::PurgeStart => {
                clock.next();
                purge(&mut e, clock);
            }
            Move::HeatWait { .. } | Move::Dwell(_) => {
                e.out.whole(if matches!(m, Move::Dwell(_)) { kind::PAUSE } else { kind::HEAT });
                clock.next();
                e.until(clock.now);
            }
            // a course is framed by its start and end; heat is set in passing
            Move::Heat { .. }
            | Move::CourseEnd(_)
            | Move::PurgeEnd
            | Move::Cut
            | Move::Lay { .. }
            | Move::Extrude { .. } => {
                clock.next();
            }
        }
    }
    e.out.whole(kind::END);
    e.out.bytes
}

/// Up, over and down again as one event.
fn travel(e: &mut Events, clock: &mut Clock<'_>) {
    let mut lifted = false;
    let mut to = None;
    while let Some(m) = clock.peek() {
        match m {
            Move::Z(_) => lifted = true,
            Move::Travel(p) if to.is_none() => to = Some(*p),
            Move::Heat { .. } | Move::CourseStart(_) if to.is_none() => break,
            Move::Heat { .. } => {}
            _ => break,
        }
        clock.next();
    }
    match to {
        Some(_) if matches!(clock.peek(), Some(Move::Bead { .. })) => {
            let ms = e.passed(clock.now);
            e.before = Some((lifted, ms));
            return;
        }
        Some(p) => {
            e.out.whole(if lifted { kind::TRAVEL } else { kind::HOP });
            e.out.place(p - e.origin);
        }
        None => e.out.whole(kind::PAUSE),
    }
    e.until(clock.now);
}

/// What is laid to clear the head, as one line.
fn purge(e: &mut Events, clock: &mut Clock<'_>) {
    while let Some(m) = clock.peek() {
        match m {
            Move::Z(_) | Move::Travel(_) => travel(e, clock),
            Move::Extrude { to, .. } => {
                clock.next();
                e.out.whole(kind::PURGE);
                e.out.place(*to - e.origin);
                e.until(clock.now);
            }
            _ => break,
        }
    }
}

/// Place in the layer and copy of a course, both from 0, from its name as
/// `L3.2` or `L3.2@4`.
fn parts(id: &str) -> (usize, usize) {
    let (name, copy) = id.split_once('@').unwrap_or((id, "1"));
    let number = name.rsplit('.').next().unwrap_or("1");
    let from_one = |text: &str| text.parse::<usize>().unwrap_or(1).saturating_sub(1);
    (from_one(number), from_one(copy))
}

/// base64, RFC 4648, with padding.
pub(super) fn base64(bytes: &[u8]) -> String {
    const SIGNS: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let mut out = String::with_capacity(bytes.len().div_ceil(3) * 4);
    for chunk in bytes.chunks(3) {
        let at = |i: usize| usize::from(chunk.get(i).copied().unwrap_or(0));
        let v = at(0) << 16 | at(1) << 8 | at(2);
        for k in 0..4 {
            if k <= chunk.len() {
                out.push(char::from(SIGNS[(v >> (18 - 6 * k)) & 63]));
            } else {
                out.push('=');
            }
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    /// RFC 4648, section 10.
    #[test]
    fn base64_as_its_standard_shows() {
        for (bytes, text) in [
            ("", ""),
            ("f", "Zg=="),
            ("fo", "Zm8="),
            ("foo", "Zm9v"),
            ("foob", "Zm9vYg=="),
            ("fooba", "Zm9vYmE="),
            ("foobar", "Zm9vYmFy"),
        ] {
            assert_eq!(base64(bytes.as_bytes()), text);
        }
    }

    #[test]
    fn numbers_take_the_bytes_that_they_need() {
        let mut b = Bytes::default();
        for v in [0, -1, 1, 63, -64, 64, 8191, 8192, i64::MAX, i64::MIN] {
            b.signed(v);
        }
        assert_eq!(b.bytes[..5], [0, 1, 2, 126, 127]);
        assert_eq!(b.bytes[5..7], [0x80, 0x01]);
        assert_eq!(b.bytes.len(), 5 + 2 + 2 + 3 + 10 + 10);
    }

    #[test]
    fn names_of_courses_are_understood() {
        assert_eq!(parts("L3.2"), (1, 0));
        assert_eq!(parts("L13.20@4"), (19, 3));
    }
}
