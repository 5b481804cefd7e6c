//! Parts on which the laying rules are measured: links, brackets, lugs, hooks,
//! forks, plates with many holes, outlines with necks.

use super::parts::{circle, rounded, slot};
use std::f64::consts::{PI, TAU};
use std::fmt::Write as _;
use std::path::{Path, PathBuf};

type Ring = Vec<[f64; 2]>;

/// A part with its tow and its map.
#[derive(Clone, Debug)]
pub(crate) struct BenchPart {
    pub(crate) name: &'static str,
    /// Width and least bend radius of the tow, mm.
    pub(crate) tow: (f64, f64),
    rings: Vec<Ring>,
    map: String,
    /// Further files: name and text.
    files: Vec<(&'static str, String)>,
}

fn rect(x0: f64, y0: f64, x1: f64, y1: f64) -> Ring {
    vec![[x0, y0], [x1, y0], [x1, y1], [x0, y1]]
}

fn disc(x: f64, y: f64, r: f64) -> Ring {
    circle([x, y], r, 180)
}

fn region(name: &str, shape: &str, rest: &str) -> String {
    format!("[[region]]\nname = \"{name}\"\nshape = {{ {shape} }}\nlayers = \"1\"\n{rest}\n\n")
}

const OUTLINE: &str = "outline = true";

/// Two discs joined by their common tangents.
fn link(a: [f64; 2], ra: f64, b: [f64; 2], rb: f64) -> Ring {
    let (dx, dy) = (b[0] - a[0], b[1] - a[1]);
    let d = libm::hypot(dx, dy);
    let (base, open) = (libm::atan2(dy, dx), libm::acos((ra - rb) / d));
    let mut out = Vec::new();
    for (c, r, from, to) in [(a, ra, base + open, base + TAU - open), (b, rb, base - open, base + open)] {
        for k in 0..=90 {
            let t = from + (to - from) * f64::from(k) / 90.0;
            let (s, k) = libm::sincos(t);
            out.push([c[0] + r * k, c[1] + r * s]);
        }
    }
    out
}

/// A hook: a thick arc with a straight shank.
fn hook() -> Ring {
    let mut out = vec![[86.0, 118.0], [62.0, 118.0]];
    let c = [50.0, 46.0];
    // inside of the bend, clockwise from the shank to the tip, then back outside
    for k in 0..=100 {
        let t = 0.0 - 1.15 * PI * f64::from(k) / 100.0;
        out.push([c[0] + 12.0 * libm::cos(t), c[1] + 12.0 * libm::sin(t)]);
    }
    for k in 0..=100 {
        let t = -1.15 * PI + 1.15 * PI * f64::from(k) / 100.0;
        out.push([c[0] + 36.0 * libm::cos(t), c[1] + 36.0 * libm::sin(t)]);
    }
    rounded(&out, 3.0)
}

/// The set.
#[allow(clippy::too_many_lines, reason = "a list")]
pub(crate) fn parts() -> Vec<BenchPart> {
    let mut out = Vec::new();
    let mut add = |name, tow, rings: Vec<Ring>, map: String, files: Vec<(&'static str, String)>| {
        out.push(BenchPart { name, tow, rings, map, files });
    };
    add(
        "tie link",
        (0.9, 4.0),
        vec![link([25.0, 25.0], 20.0, [125.0, 25.0], 16.0), disc(25.0, 25.0, 8.0), disc(125.0, 25.0, 6.0)],
        region("eye", "hole_at_mm = [25.0, 25.0]", "rule = \"hoop\"\ncourses = 6\npriority = 3")
            + &region("end", "hole_at_mm = [125.0, 25.0]", "rule = \"hoop\"\ncourses = 5\npriority = 3")
            + &region("rim", OUTLINE, "rule = \"contour\"\ncourses = 4\npriority = 2")
            + &region("body", OUTLINE, "rule = \"unidirectional\"\nangle_deg = 0"),
        vec![],
    );
    add(
        "plate with nine holes",
        (0.9, 5.0),
        std::iter::once(rounded(&rect(5.0, 5.0, 205.0, 105.0), 6.0))
            .chain((0..9).map(|k| disc(30.0 + 75.0 * f64::from(k % 3), 25.0 + 30.0 * f64::from(k / 3), 4.0)))
            .collect(),
        region("field", OUTLINE, "rule = \"unidirectional\"\nangle_deg = 0"),
        vec![],
    );
    let corner = [[5.0, 5.0], [95.0, 5.0], [95.0, 37.0], [37.0, 37.0], [37.0, 95.0], [5.0, 95.0]];
    add(
        "corner bracket",
        (1.0, 5.0),
        vec![rounded(&corner, 4.0), disc(21.0, 78.0, 4.0), disc(78.0, 21.0, 4.0)],
        region("rings", OUTLINE, "rule = \"contour\""),
        vec![],
    );
    let lug: Ring = {
        let mut ring = vec![[5.0, 5.0], [55.0, 5.0], [55.0, 60.0]];
        ring.extend((1..90).map(|k| {
            let t = PI * f64::from(k) / 90.0;
            [30.0 + 25.0 * libm::cos(t), 60.0 + 25.0 * libm::sin(t)]
        }));
        ring.push([5.0, 60.0]);
        rounded(&ring, 2.0)
    };
    add(
        "lug",
        (1.1, 6.0),
        vec![lug, disc(30.0, 60.0, 9.0)],
        region("pin", "hole_at_mm = [30.0, 60.0]", "rule = \"hoop\"\ncourses = 6\npriority = 2")
            + &region("rim", OUTLINE, "rule = \"contour\"\ncourses = 3\npriority = 1")
            + &region("shank", OUTLINE, "rule = \"unidirectional\"\nangle_deg = 90"),
        vec![],
    );
    add("hook", (1.0, 5.0), vec![hook()], region("rings", OUTLINE, "rule = \"contour\""), vec![]);
    let fork = [
        [5.0, 5.0],
        [95.0, 5.0],
        [95.0, 105.0],
        [65.0, 105.0],
        [65.0, 40.0],
        [35.0, 40.0],
        [35.0, 105.0],
        [5.0, 105.0],
    ];
    add(
        "fork",
        (1.5, 8.0),
        vec![rounded(&fork, 6.0), disc(20.0, 90.0, 5.0), disc(80.0, 90.0, 5.0)],
        region("prongs", OUTLINE, "rule = \"unidirectional\"\nangle_deg = 90"),
        vec![],
    );
    let neck = [
        [5.0, 5.0],
        [50.0, 5.0],
        [50.0, 24.0],
        [90.0, 24.0],
        [90.0, 5.0],
        [135.0, 5.0],
        [135.0, 65.0],
        [90.0, 65.0],
        [90.0, 46.0],
        [50.0, 46.0],
        [50.0, 65.0],
        [5.0, 65.0],
    ];
    add(
        "plate with a neck",
        (1.0, 6.0),
        vec![rounded(&neck, 6.0)],
        region("rings", OUTLINE, "rule = \"contour\""),
        vec![],
    );
    add(
        "broad plate, wide tow",
        (3.0, 15.0),
        vec![rounded(&rect(5.0, 5.0, 165.0, 125.0), 12.0)],
        region("field", OUTLINE, "rule = \"unidirectional\"\nangle_deg = 0"),
        vec![],
    );
    add(
        "flange",
        (1.0, 6.0),
        std::iter::once(disc(60.0, 60.0, 55.0))
            .chain(std::iter::once(disc(60.0, 60.0, 20.0)))
            .chain((0..6).map(|k| {
                let (s, c) = libm::sincos(TAU * f64::from(k) / 6.0);
                disc(60.0 + 40.0 * c, 60.0 + 40.0 * s, 3.5)
            }))
            .collect(),
        region("rings", OUTLINE, "rule = \"contour\""),
        vec![],
    );
    let tee = [
        [55.0, 5.0],
        [107.0, 5.0],
        [107.0, 75.0],
        [157.0, 75.0],
        [157.0, 127.0],
        [5.0, 127.0],
        [5.0, 75.0],
        [55.0, 75.0],
    ];
    add(
        "tee bracket",
        (2.0, 8.0),
        vec![rounded(&tee, 8.0)],
        region("arms", OUTLINE, "rule = \"unidirectional\"\nangle_deg = 90"),
        vec![],
    );
    let gusset = [[5.0, 5.0], [115.0, 5.0], [115.0, 30.0], [30.0, 95.0], [5.0, 95.0]];
    add(
        "gusset with a window",
        (1.2, 7.0),
        vec![rounded(&gusset, 5.0), rounded(&[[25.0, 22.0], [62.0, 22.0], [25.0, 52.0]], 4.0)],
        region("rings", OUTLINE, "rule = \"contour\""),
        vec![],
    );
    add(
        "slotted plate",
        (1.0, 3.0),
        vec![
            rounded(&rect(5.0, 5.0, 125.0, 65.0), 5.0),
            slot([35.0, 35.0], 4.0, 20.0, 0.0),
            slot([95.0, 35.0], 4.0, 20.0, 0.5 * PI),
        ],
        region("field", OUTLINE, "rule = \"unidirectional\"\nangle_deg = 30"),
        vec![],
    );
    let rocker: Ring = {
        let pins = [[25.0, 25.0], [125.0, 25.0], [60.0, 95.0]];
        let mut ring = Vec::new();
        for k in 0..3 {
            let (a, b, c) = (pins[(k + 2) % 3], pins[k], pins[(k + 1) % 3]);
            let before = libm::atan2(b[1] - a[1], b[0] - a[0]) - 0.5 * PI;
            let mut turn = libm::atan2(c[1] - b[1], c[0] - b[0]) - 0.5 * PI - before;
            if turn < 0.0 {
                turn += TAU;
            }
            for i in 0..=60 {
                let (sin, cos) = libm::sincos(before + turn * f64::from(i) / 60.0);
                ring.push([b[0] + 20.0 * cos, b[1] + 20.0 * sin]);
            }
        }
        ring
    };
    add(
        "rocker",
        (0.9, 5.0),
        vec![rocker, disc(25.0, 25.0, 7.0), disc(125.0, 25.0, 7.0), disc(60.0, 95.0, 7.0)],
        region(
            "strap",
            "pins_mm = [[25.0, 25.0, 7.0], [125.0, 25.0, 7.0], [60.0, 95.0, 7.0]]",
            "rule = \"strap\"\ncourses = 10\npriority = 2",
        ) + &region("web", OUTLINE, "rule = \"unidirectional\"\nangle_deg = 0"),
        vec![],
    );
    let waisted: Ring = {
        let mut ring = Vec::new();
        for k in 0..=240 {
            let x = 5.0 + 140.0 * f64::from(k) / 240.0;
            ring.push([x, 35.0 - waist(x)]);
        }
        for k in 0..=240 {
            let x = 145.0 - 140.0 * f64::from(k) / 240.0;
            ring.push([x, 35.0 + waist(x)]);
        }
        ring
    };
    add(
        "waisted link",
        (1.0, 6.0),
        vec![waisted, disc(27.0, 35.0, 8.0), disc(123.0, 35.0, 8.0)],
        region(
            "strap",
            "pins_mm = [[27.0, 35.0, 8.0], [123.0, 35.0, 8.0]]",
            "rule = \"strap\"\ncourses = 9\npriority = 2",
        ) + &region("rest", OUTLINE, "rule = \"contour\""),
        vec![],
    );
    let arch: Ring = {
        let at = |r: f64, k: u32| {
            let t = PI * (30.0 + 120.0 * f64::from(k) / 120.0) / 180.0;
            [100.0 + r * libm::cos(t), r * libm::sin(t) - 20.0]
        };
        let mut ring: Ring = (0..=120).map(|k| at(100.0, k)).collect();
        ring.extend((0..=120).rev().map(|k| at(62.0, k)));
        rounded(&ring, 4.0)
    };
    let grid = |angle: &dyn Fn(f64, f64) -> f64| {
        let mut text = String::from("x_mm,y_mm,angle_deg\n");
        for i in 0..30 {
            for k in 0..20 {
                let (x, y) = (8.0 * f64::from(i), 6.0 * f64::from(k));
                let _ = writeln!(text, "{x},{y},{:.2}", angle(x, y));
            }
        }
        text
    };
    add(
        "arch",
        (1.1, 8.0),
        vec![arch],
        region("flow", OUTLINE, "rule = \"steered\"\nfield = \"field.csv\""),
        vec![("field.csv", grid(&|x, y| libm::atan2(y + 20.0, x - 100.0).to_degrees() + 90.0))],
    );
    add(
        "steered plate with a hole",
        (1.1, 6.0),
        vec![rounded(&rect(5.0, 5.0, 145.0, 85.0), 8.0), disc(75.0, 45.0, 12.0)],
        region("flow", OUTLINE, "rule = \"steered\"\nfield = \"field.csv\""),
        // potential flow past the hole
        vec![(
            "field.csv",
            grid(&|x, y| {
                let (x, y) = (x - 75.0, y - 45.0);
                let r2 = x * x + y * y;
                let r4 = (r2 * r2).max(1.0);
                let a2 = 14.0 * 14.0;
                let (u, v) = (1.0 - a2 * (x * x - y * y) / r4, -2.0 * a2 * x * y / r4);
                libm::atan2(v, u).to_degrees()
            }),
        )],
    );
    out
}

/// Half the height of the waisted link.
fn waist(x: f64) -> f64 {
    let end = |c: f64| {
        let d = (x - c).abs();
        if d < 22.0 { (22.0 * 22.0 - d * d).sqrt() } else { 0.0 }
    };
    let middle =
        if (27.0..=123.0).contains(&x) { 16.0 + 6.0 * libm::cos(TAU * (x - 27.0) / 96.0) } else { 0.0 };
    end(27.0).max(end(123.0)).max(middle)
}

impl BenchPart {
    /// Writes the job for a printer into a folder, few cuts asked for in every region
    /// whose rule knows it, or in none; the job's path.
    pub(crate) fn write(&self, folder: &Path, printer: &str, few_cuts: bool) -> std::io::Result<PathBuf> {
        std::fs::create_dir_all(folder)?;
        let hi = self.rings.iter().flatten().fold([0.0_f64; 2], |m, p| [m[0].max(p[0]), m[1].max(p[1])]);
        let (w, h) = (hi[0] + 5.0, hi[1] + 5.0);
        let mut d = String::new();
        for ring in &self.rings {
            for (i, p) in ring.iter().enumerate() {
                let _ = write!(d, "{}{:.4} {:.4} ", if i == 0 { 'M' } else { 'L' }, p[0], h - p[1]);
            }
            d.push_str("Z ");
        }
        std::fs::write(
            folder.join("part.svg"),
            format!(
                "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{w}mm\" height=\"{h}mm\" viewBox=\"0 0 {w} {h}\"><path fill-rule=\"evenodd\" d=\"{d}\"/></svg>\n"
            ),
        )?;
        let mut map = self.map.clone();
        if few_cuts {
            for rule in ["hoop", "contour", "unidirectional", "strap", "steered"] {
                let key = format!("rule = \"{rule}\"");
                map = map.replace(&key, &format!("{key}\nfew_cuts = true"));
            }
        }
        std::fs::write(folder.join("map.toml"), map)?;
        for (name, text) in &self.files {
            std::fs::write(folder.join(name), text)?;
        }
        let (width, radius) = self.tow;
        // 0.2 mm high, filled to 90 %, half of it fibre of 7 um
        let area = width * 0.2 * 0.9;
        let filaments = (0.5 * area / (PI * 0.007 * 0.007 / 4.0)).round();
        std::fs::write(
            folder.join("tow.toml"),
            format!(
                "kind = \"tow\"\nname = \"bench\"\ndescription = \"bench\"\npolymer = \"PA12\"\nfilaments = {filaments}\nfilament_um = 7.0\nfibre_density_g_cm3 = 1.78\nwidth_mm = {width}\nheight_mm = 0.2\narea_mm2 = {area:.4}\ndensity_g_cm3 = 1.395\nmin_bend_radius_mm = {radius}\nprocess_temperature_c = 245\n"
            ),
        )?;
        let job = folder.join("job.toml");
        std::fs::write(
            &job,
            format!(
                "[part]\nname = \"{}\"\noutline = \"part.svg\"\nthickness_mm = 0.2\n\n[build]\nprinter = \"{printer}\"\nmatrix = \"pa12\"\ntow = \"tow.toml\"\nlayer_height_mm = 0.2\n\n[reinforcement]\nmap = \"map.toml\"\n",
                self.name
            ),
        )?;
        Ok(job)
    }
}
