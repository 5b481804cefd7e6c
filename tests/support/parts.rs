//! Parts to plan, out of a seed: outlines with holes, slots, necks and thin
//! walls, and maps that ask for whatever the rules know.

use super::curve::{distance, to_stretch};
use super::near::Rings;
use std::f64::consts::{PI, TAU};
use std::fmt::Write as _;
use std::path::{Path, PathBuf};

/// Vigna's splitmix64: the same parts on every machine.
#[derive(Clone, Debug)]
pub(crate) struct Dice(u64);

impl Dice {
    pub(crate) fn new(seed: u64) -> Self {
        Self(seed.wrapping_mul(0x9e37_79b9_7f4a_7c15) ^ 0x746f_7770_6174_6821)
    }

    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// In [lo, hi).
    pub(crate) fn real(&mut self, lo: f64, hi: f64) -> f64 {
        lo + (hi - lo) * ((self.next() >> 32) as f64 / 4_294_967_296.0)
    }

    /// In [lo, hi].
    pub(crate) fn whole(&mut self, lo: u64, hi: u64) -> u64 {
        lo + self.next() % (hi - lo + 1)
    }

    pub(crate) fn chance(&mut self, share: f64) -> bool {
        self.real(0.0, 1.0) < share
    }

    fn pick<'a, T>(&mut self, of: &'a [T]) -> &'a T {
        let i = usize::try_from(self.whole(0, of.len() as u64 - 1)).expect("an index");
        &of[i]
    }
}

/// A hole and a point in it.
#[derive(Clone, Debug)]
struct Hole {
    ring: Vec<[f64; 2]>,
    middle: [f64; 2],
    /// A true circle's radius: written as arcs.
    round: Option<f64>,
}

/// What a region of the map asks for, as far as the checks need it.
#[derive(Clone, Debug)]
pub(crate) struct Asked {
    pub(crate) region: String,
    /// Strips stay inside this ring.
    pub(crate) ring: Option<Vec<[f64; 2]>>,
    /// Degrees, the first layer, and every which layer, for unidirectional.
    pub(crate) angles: Option<(Vec<f64>, u64, u64)>,
    pub(crate) min_bend_radius_mm: Option<f64>,
}

/// A part with its job.
#[derive(Clone, Debug)]
pub(crate) struct Part {
    pub(crate) kind: &'static str,
    pub(crate) svg: String,
    pub(crate) map: Option<String>,
    pub(crate) job: String,
    /// A direction field, where a region asks for one.
    pub(crate) field: Option<String>,
    pub(crate) asked: Vec<Asked>,
}

impl Part {
    /// Writes the files into a folder; the job's path.
    pub(crate) fn write(&self, folder: &Path) -> std::io::Result<PathBuf> {
        std::fs::create_dir_all(folder)?;
        std::fs::write(folder.join("part.svg"), &self.svg)?;
        if let Some(map) = &self.map {
            std::fs::write(folder.join("part.map.toml"), map)?;
        }
        if let Some(field) = &self.field {
            std::fs::write(folder.join("field.csv"), field)?;
        }
        let job = folder.join("job.toml");
        std::fs::write(&job, &self.job)?;
        Ok(job)
    }
}

/// Rounds the corners of a polygon by a radius where its edges allow it.
pub(crate) fn rounded(corners: &[[f64; 2]], radius: f64) -> Vec<[f64; 2]> {
    let n = corners.len();
    let mut out = Vec::new();
    for i in 0..n {
        let (a, v, b) = (corners[(i + n - 1) % n], corners[i], corners[(i + 1) % n]);
        let (la, lb) = (distance(a, v), distance(v, b));
        let u = [(a[0] - v[0]) / la, (a[1] - v[1]) / la];
        let w = [(b[0] - v[0]) / lb, (b[1] - v[1]) / lb];
        let angle = libm::acos((u[0] * w[0] + u[1] * w[1]).clamp(-1.0, 1.0));
        let tan = libm::tan(0.5 * angle);
        let r = radius.min(0.45 * la.min(lb) * tan);
        if r < 0.2 || (PI - angle).abs() < 0.02 {
            out.push(v);
            continue;
        }
        let back = r / tan;
        let (p, q) = ([v[0] + u[0] * back, v[1] + u[1] * back], [v[0] + w[0] * back, v[1] + w[1] * back]);
        let bisector = [u[0] + w[0], u[1] + w[1]];
        let size = libm::hypot(bisector[0], bisector[1]);
        let far = r / libm::sin(0.5 * angle);
        let c = [v[0] + bisector[0] / size * far, v[1] + bisector[1] / size * far];
        let start = libm::atan2(p[1] - c[1], p[0] - c[0]);
        let mut turn = libm::atan2(q[1] - c[1], q[0] - c[0]) - start;
        if turn > PI {
            turn -= TAU;
        } else if turn < -PI {
            turn += TAU;
        }
        let steps = 12;
        for k in 0..=steps {
            let (sin, cos) = libm::sincos(start + turn * f64::from(k) / f64::from(steps));
            out.push([c[0] + r * cos, c[1] + r * sin]);
        }
    }
    out
}

pub(crate) fn circle(c: [f64; 2], r: f64, n: u32) -> Vec<[f64; 2]> {
    (0..n)
        .map(|k| {
            let (sin, cos) = libm::sincos(TAU * f64::from(k) / f64::from(n));
            [c[0] + r * cos, c[1] + r * sin]
        })
        .collect()
}

/// A slot: two half circles of radius `r` whose middles lie `long` apart.
pub(crate) fn slot(c: [f64; 2], r: f64, long: f64, angle: f64) -> Vec<[f64; 2]> {
    let (sin, cos) = libm::sincos(angle);
    let n = 16;
    let mut out = Vec::new();
    for (end, from) in [(1.0, -0.5 * PI), (-1.0, 0.5 * PI)] {
        for k in 0..=n {
            let t = from + PI * f64::from(k) / f64::from(n);
            let (s, k) = libm::sincos(t);
            let (x, y) = (end * 0.5 * long + r * k, r * s);
            out.push([c[0] + x * cos - y * sin, c[1] + x * sin + y * cos]);
        }
    }
    out
}

/// The outer boundary, with its lower left corner near (5, 5).
fn outline(dice: &mut Dice) -> (&'static str, Vec<[f64; 2]>) {
    let (w, h) = (dice.real(45.0, 110.0), dice.real(30.0, 75.0));
    let arm = dice.real(8.0, 0.45 * w.min(h));
    let corner = if dice.chance(0.3) { 0.0 } else { dice.real(0.5, 9.0) };
    let (kind, ring): (&'static str, Vec<[f64; 2]>) = match dice.whole(0, 8) {
        0 => {
            let n = dice.whole(3, 7);
            let turn = dice.real(0.0, TAU);
            let mut corners = Vec::new();
            for k in 0..n {
                let jitter = dice.real(-0.25, 0.25);
                let t = turn + TAU * (k as f64 + jitter) / n as f64;
                let r = dice.real(0.75, 1.0);
                let (sin, cos) = libm::sincos(t);
                corners.push([0.5 * w * r * cos, 0.5 * h * r * sin]);
            }
            ("polygon", rounded(&corners, corner))
        }
        1 | 2 => {
            let waves = [
                (2.0, dice.real(0.0, 0.16), dice.real(0.0, TAU)),
                (3.0, dice.real(0.0, 0.14), dice.real(0.0, TAU)),
                (5.0, dice.real(0.0, 0.08), dice.real(0.0, TAU)),
                (9.0, dice.real(0.0, 0.04), dice.real(0.0, TAU)),
            ];
            let n = 240;
            let ring = (0..n)
                .map(|k| {
                    let t = TAU * f64::from(k) / f64::from(n);
                    let mut r = 1.0;
                    for (m, a, p) in waves {
                        r += a * libm::cos(m * t + p);
                    }
                    let (sin, cos) = libm::sincos(t);
                    [0.42 * w * r * cos, 0.42 * h * r * sin]
                })
                .collect();
            ("wavy", ring)
        }
        3 => {
            let l = [[0.0, 0.0], [w, 0.0], [w, arm], [arm, arm], [arm, h], [0.0, h]];
            ("L", rounded(&l, corner))
        }
        4 => {
            let (a, b) = (0.5 * (w - arm), 0.5 * (w + arm));
            let t = [
                [a, 0.0],
                [b, 0.0],
                [b, h - arm],
                [w, h - arm],
                [w, h],
                [0.0, h],
                [0.0, h - arm],
                [a, h - arm],
            ];
            ("T", rounded(&t, corner))
        }
        5 => {
            let arm = arm.min(0.35 * w);
            let u =
                [[0.0, 0.0], [w, 0.0], [w, h], [w - arm, h], [w - arm, arm], [arm, arm], [arm, h], [0.0, h]];
            ("U", rounded(&u, corner))
        }
        6 => ("ring", circle([0.0, 0.0], 0.5 * h.max(40.0), 180)),
        7 => {
            // two heads joined by a neck that is narrow at times
            let neck = dice.real(2.0, 14.0).min(0.6 * h);
            let head = 0.3 * w;
            let (lo, hi) = (0.5 * (h - neck), 0.5 * (h + neck));
            let d = [
                [0.0, 0.0],
                [head, 0.0],
                [head, lo],
                [w - head, lo],
                [w - head, 0.0],
                [w, 0.0],
                [w, h],
                [w - head, h],
                [w - head, hi],
                [head, hi],
                [head, h],
                [0.0, h],
            ];
            ("neck", rounded(&d, corner))
        }
        _ => {
            let r = [[0.0, 0.0], [w, 0.0], [w, h], [0.0, h]];
            ("plate", rounded(&r, corner))
        }
    };
    let lo = ring.iter().fold([f64::INFINITY; 2], |m, p| [m[0].min(p[0]), m[1].min(p[1])]);
    let away = [5.0 + dice.real(0.0, 3.0), 5.0 + dice.real(0.0, 3.0)];
    (kind, ring.iter().map(|p| [p[0] - lo[0] + away[0], p[1] - lo[1] + away[1]]).collect())
}

/// Least distance between two closed rings, sampled at corners of both.
fn gap(a: &[[f64; 2]], b: &[[f64; 2]]) -> f64 {
    let mut least = f64::INFINITY;
    for (p, q) in [(a, b), (b, a)] {
        for &x in p {
            for i in 0..q.len() {
                least = least.min(to_stretch(x, q[i], q[(i + 1) % q.len()]).0);
            }
        }
    }
    least
}

fn holes(dice: &mut Dice, kind: &str, outer: &[[f64; 2]]) -> Vec<Hole> {
    let rings = Rings::new(&[outer.to_vec()]);
    let mut out: Vec<Hole> = Vec::new();
    if kind == "ring" {
        let c = [0.5 * (rings.lo[0] + rings.hi[0]), 0.5 * (rings.lo[1] + rings.hi[1])];
        let r = 0.5 * (rings.hi[0] - rings.lo[0]) - dice.real(4.0, 14.0);
        out.push(Hole { ring: circle(c, r, 160), middle: c, round: Some(r) });
    }
    let wanted = dice.whole(0, 4);
    // walls between holes are thin at times
    let wall = if dice.chance(0.25) { dice.real(1.2, 3.0) } else { dice.real(3.0, 9.0) };
    for _ in 0..wanted * 12 {
        if out.len() as u64 >= wanted {
            break;
        }
        let c = [dice.real(rings.lo[0], rings.hi[0]), dice.real(rings.lo[1], rings.hi[1])];
        let r = dice.real(1.5, 9.0);
        let (ring, round) = match dice.whole(0, 3) {
            0 => (slot(c, 0.5 * r, dice.real(4.0, 20.0), dice.real(0.0, PI)), None),
            1 => {
                let side = 1.3 * r;
                let corners = [
                    [c[0] - side, c[1] - r],
                    [c[0] + side, c[1] - r],
                    [c[0] + side, c[1] + r],
                    [c[0] - side, c[1] + r],
                ];
                (rounded(&corners, dice.real(0.0, 3.0)), None)
            }
            _ => (circle(c, r, 96), Some(r)),
        };
        let inside = ring.iter().all(|&p| rings.contains(p));
        let clear = gap(&ring, outer) >= wall
            && out.iter().all(|h| gap(&ring, &h.ring) >= wall && !within(c, &h.ring));
        if inside && clear && out.iter().all(|h| !within(h.middle, &ring)) {
            out.push(Hole { ring, middle: c, round });
        }
    }
    out
}

fn within(p: [f64; 2], ring: &[[f64; 2]]) -> bool {
    Rings::new(&[ring.to_vec()]).contains(p)
}

/// The drawing: one filled path, or the outline and its holes in one path with arcs.
fn drawing(dice: &mut Dice, outer: &[[f64; 2]], holes: &[Hole]) -> String {
    let hi = outer.iter().fold([0.0_f64; 2], |m, p| [m[0].max(p[0]), m[1].max(p[1])]);
    let (w, h) = ((hi[0] + 5.0).ceil(), (hi[1] + 5.0).ceil());
    let mut d = String::new();
    let ring = |d: &mut String, ring: &[[f64; 2]]| {
        for (i, p) in ring.iter().enumerate() {
            let _ = write!(d, "{}{:.4} {:.4} ", if i == 0 { 'M' } else { 'L' }, p[0], h - p[1]);
        }
        d.push('Z');
    };
    ring(&mut d, outer);
    for hole in holes {
        d.push(' ');
        match hole.round {
            Some(r) => {
                let [x, y] = [hole.middle[0], h - hole.middle[1]];
                let _ = write!(
                    d,
                    "M{:.4} {y:.4} A{r:.4} {r:.4} 0 1 0 {:.4} {y:.4} A{r:.4} {r:.4} 0 1 0 {:.4} {y:.4} Z",
                    x - r,
                    x + r,
                    x - r
                );
            }
            None => ring(&mut d, &hole.ring),
        }
    }
    // some drawings count in other units than their page
    let scale = if dice.chance(0.2) { 10.0 } else { 1.0 };
    let path = format!("<path fill-rule=\"evenodd\" d=\"{d}\"/>");
    let path = if scale > 1.0 { format!("<g transform=\"scale({scale})\">{path}</g>") } else { path };
    format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{w}mm\" height=\"{h}mm\" viewBox=\"0 0 {} {}\">\n{path}\n</svg>\n",
        w * scale,
        h * scale
    )
}

/// A point well inside the part.
fn inside(dice: &mut Dice, part: &Rings) -> [f64; 2] {
    for _ in 0..500 {
        let p = [dice.real(part.lo[0], part.hi[0]), dice.real(part.lo[1], part.hi[1])];
        if part.contains(p) && part.edges.nearest(p, 3.0, |_, _| true).is_none() {
            return p;
        }
    }
    for _ in 0..5000 {
        let p = [dice.real(part.lo[0], part.hi[0]), dice.real(part.lo[1], part.hi[1])];
        if part.contains(p) {
            return p;
        }
    }
    part.corners[0]
}

const LAYERS: u64 = 3;

fn map(dice: &mut Dice, part: &Rings, holes: &[Hole], tow: (f64, f64)) -> (String, Vec<Asked>) {
    let (width, radius) = tow;
    let mut text = String::new();
    let mut asked = Vec::new();
    for k in 0..dice.whole(1, 4) {
        let region = format!("region {}", (b'a' + u8::try_from(k).expect("a few")) as char);
        let mut ring = None;
        let hoop = !holes.is_empty() && dice.chance(0.35);
        let shape = if hoop {
            let c = dice.pick(holes).middle;
            format!("{{ hole_at_mm = [{:.3}, {:.3}] }}", c[0], c[1])
        } else {
            match dice.whole(0, 4) {
                0 => {
                    let c = inside(dice, part);
                    let r = dice.real(8.0, 30.0);
                    ring = Some(circle(c, r, 256));
                    format!("{{ circle_mm = [{:.3}, {:.3}, {r:.3}] }}", c[0], c[1])
                }
                1 => {
                    let c = inside(dice, part);
                    let n = dice.whole(3, 6);
                    let turn = dice.real(0.0, TAU);
                    let corners: Vec<[f64; 2]> = (0..n)
                        .map(|k| {
                            let r = dice.real(10.0, 45.0);
                            let (sin, cos) = libm::sincos(turn + TAU * k as f64 / n as f64);
                            let round = |v: f64| (v * 1000.0).round() / 1000.0;
                            [round(c[0] + r * cos), round(c[1] + r * sin)]
                        })
                        .collect();
                    let list: Vec<String> =
                        corners.iter().map(|p| format!("[{:.3}, {:.3}]", p[0], p[1])).collect();
                    ring = Some(corners);
                    format!("{{ polygon_mm = [{}] }}", list.join(", "))
                }
                _ => "{ outline = true }".to_owned(),
            }
        };
        let rule = if hoop { "hoop" } else { *dice.pick(&["contour", "unidirectional", "unidirectional"]) };
        // the list of angles is taken in turn over the region's own layers
        let (layers, first, every) = *dice.pick(&[
            ("all", 1, 1),
            ("all", 1, 1),
            ("1", 1, 1),
            ("1-2", 1, 1),
            ("2-3", 2, 1),
            ("1-3/2", 1, 2),
        ]);
        let _ = write!(
            text,
            "[[region]]\nname = \"{region}\"\nshape = {shape}\nlayers = \"{layers}\"\nrule = \"{rule}\"\n"
        );
        let mut angles = None;
        if rule == "unidirectional" {
            let list: Vec<f64> = if dice.chance(0.5) {
                vec![0.0, 90.0, 45.0][..usize::try_from(dice.whole(1, 3)).expect("a few")].to_vec()
            } else {
                vec![dice.real(-90.0, 180.0).round(), dice.real(-90.0, 90.0).round()]
            };
            let words: Vec<String> = list.iter().map(|a| format!("{a:.1}")).collect();
            let _ = writeln!(text, "angle_deg = [{}]", words.join(", "));
            angles = Some((list, first, every));
        } else if hoop || dice.chance(0.7) {
            let _ = writeln!(text, "courses = {}", dice.whole(1, 4));
        }
        if dice.chance(0.35) {
            let _ = writeln!(text, "spacing_mm = {:.3}", width * dice.real(1.0, 2.5));
        }
        let mut min_bend_radius_mm = None;
        if dice.chance(0.25) {
            let r = (radius * dice.real(1.0, 1.8) * 100.0).ceil() / 100.0;
            let _ = writeln!(text, "min_bend_radius_mm = {r:.2}");
            min_bend_radius_mm = Some(r);
        }
        if dice.chance(0.6) {
            let _ = writeln!(text, "priority = {}", dice.whole(0, 3));
        }
        text.push('\n');
        asked.push(Asked { region, ring, angles, min_bend_radius_mm });
    }
    (text, asked)
}

/// A strap round some holes and a steered region, for every other part; the text,
/// what it asks for, and the field. Out of dice of its own, so that the other
/// regions of a seed stay as they are.
fn further(seed: u64, part: &Rings, holes: &[Hole]) -> (String, Vec<Asked>, Option<String>) {
    let mut dice = Dice::new(seed ^ 0x5851_f42d_4c95_7f2d);
    let dice = &mut dice;
    let (mut text, mut asked, mut field) = (String::new(), Vec::new(), None);
    let plain = |region: &str| Asked {
        region: region.to_owned(),
        ring: None,
        angles: None,
        min_bend_radius_mm: None,
    };
    let round: Vec<&Hole> = holes.iter().filter(|h| h.round.is_some()).collect();
    if round.len() >= 2 && dice.chance(0.6) {
        let pins: Vec<String> = round
            .iter()
            .map(|h| format!("[{:.3}, {:.3}, {:.3}]", h.middle[0], h.middle[1], h.round.unwrap_or(1.0)))
            .collect();
        let _ = write!(
            text,
            "[[region]]\nname = \"strap\"\nshape = {{ pins_mm = [{}] }}\nlayers = \"all\"\nrule = \"strap\"\ncourses = {}\npriority = {}\nspiral = {}\nmeets = \"weave\"\n\n",
            pins.join(", "),
            dice.whole(1, 4),
            dice.whole(0, 3),
            dice.chance(0.3),
        );
        asked.push(plain("strap"));
    }
    if dice.chance(0.5) {
        let mut table = String::from("x_mm,y_mm,angle_deg,weight\n");
        let (base, swirl) = (dice.real(0.0, 180.0), dice.real(-1.5, 1.5));
        for _ in 0..dice.whole(1, 60) {
            let p = [dice.real(part.lo[0], part.hi[0]), dice.real(part.lo[1], part.hi[1])];
            let angle = base + swirl * (p[0] - part.lo[0]) + dice.real(-8.0, 8.0);
            let _ = writeln!(table, "{:.2},{:.2},{angle:.1},{:.2}", p[0], p[1], dice.real(0.2, 2.0));
        }
        field = Some(table);
        let _ = write!(
            text,
            "[[region]]\nname = \"steered\"\nshape = {{ outline = true }}\nlayers = \"1-3/2\"\nrule = \"steered\"\nfield = \"field.csv\"\npriority = {}\nmeets = \"weave\"\n\n",
            dice.whole(0, 3),
        );
        asked.push(plain("steered"));
    }
    (text, asked, field)
}

/// The part of a seed.
pub(crate) fn part(seed: u64) -> Part {
    let mut dice = Dice::new(seed);
    let dice = &mut dice;
    let (kind, outer) = outline(dice);
    let holes = holes(dice, kind, &outer);
    let svg = drawing(dice, &outer, &holes);
    let mut rings = vec![outer];
    rings.extend(holes.iter().map(|h| h.ring.clone()));
    let rings = Rings::new(&rings);

    let printer = *dice.pick(&["shuttle-15", "reed-35"]);
    let (matrix, tow, size) = *dice.pick(&[
        ("pa12", "carbon-1k-pa12", (0.6, 4.0)),
        ("peek", "carbon-1k5-peek", (0.7, 5.0)),
        ("pekk", "carbon-3k-pekk", (1.0, 6.0)),
    ]);
    let (map, asked, field) = if dice.chance(0.92) {
        let (text, mut asked) = map(dice, &rings, &holes, size);
        let (more, also, field) = further(seed, &rings, &holes);
        asked.extend(also);
        (Some(text + &more), asked, field)
    } else {
        (None, Vec::new(), None)
    };
    let height = *dice.pick(&[0.2, 0.2, 0.25]);
    let mut job = format!(
        "[part]\nname = \"part {seed}\"\noutline = \"part.svg\"\nthickness_mm = {:.3}\n\n[build]\nprinter = \"{printer}\"\nmatrix = \"{matrix}\"\ntow = \"{tow}\"\nlayer_height_mm = {height}\n",
        height * LAYERS as f64
    );
    let small = rings.hi[0] < 90.0;
    if small && dice.chance(0.15) {
        job.push_str("copies = 2\n");
    }
    let fill = if dice.chance(0.2) { "contour" } else { "parallel" };
    let fraction = if dice.chance(0.2) { dice.real(0.4, 0.95) } else { 1.0 };
    let _ = write!(
        job,
        "\n[matrix]\nperimeters = {}\nbead_width_mm = {}\nfill = \"{fill}\"\nfill_angles_deg = [{:.0}, {:.0}]\nfill_fraction = {fraction:.2}\n",
        dice.whole(1, 3),
        *dice.pick(&[0.4, 0.5, 0.5, 0.6]),
        dice.real(-90.0, 90.0),
        dice.real(-90.0, 90.0)
    );
    if map.is_some() {
        job.push_str("\n[reinforcement]\nmap = \"part.map.toml\"\n");
    }
    Part { kind, svg, map, job, field, asked }
}
