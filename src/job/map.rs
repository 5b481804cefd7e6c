//! The reinforcement map: what to lay where. Its format, its checks, and what it
//! resolves to.

use super::document::{Reader, Values};
use super::field::Field;
use super::layers;
use super::material::Tow;
use super::table::{COORDINATE, DIRECTION, Key, Kind, LARGEST_MM, Need, Table, Words, above_zero};
use crate::diagnostic::{Diagnostic, Notes, Outcome, Source};
use crate::geom::Point;
use std::ops::Range;
use std::sync::Arc;

/// A whole map.
#[derive(Clone, Debug)]
pub struct Map {
    /// The regions in the file's order.
    pub regions: Vec<Region>,
}

/// One `[[region]]`.
#[derive(Clone, Debug)]
pub struct Region {
    /// Its name, or `region N` where none was given.
    pub name: String,
    /// Where it lies.
    pub shape: Shape,
    /// In which layers.
    pub layers: Layers,
    /// How courses are laid in it.
    pub rule: Rule,
    /// Courses side by side; `None` fills the shape.
    pub courses: Option<usize>,
    /// Directions, degrees, taken in turn from the region's first layer on; not
    /// empty where the rule needs one.
    pub angle_deg: Vec<f64>,
    /// Centre to centre, mm; at least the tow's width.
    pub spacing_mm: f64,
    /// No course bends tighter, mm; at least the tow's own.
    pub min_bend_radius_mm: f64,
    /// Where regions overlap the higher wins; equal: the earlier in the file.
    pub priority: i64,
    /// How it meets the regions that it overlaps.
    pub meets: Meets,
    /// Nested closed courses are joined to one spiral.
    pub spiral: bool,
    /// Cover is given up where that saves cuts: see the key.
    pub few_cuts: bool,
    /// Rows may be joined by turns.
    pub turns: bool,
    /// The direction field of the rule `steered`.
    pub field: Option<Arc<Field>>,
    /// Where the user wrote what, for messages.
    pub written: Written,
}

impl Region {
    /// Nested closed courses of it may become a spiral.
    pub(crate) fn may_wind(&self) -> bool {
        self.spiral || (self.few_cuts && !matches!(self.rule, Rule::Unidirectional | Rule::Steered))
    }
}

/// Places in the map's text.
#[derive(Clone, Debug)]
pub struct Written {
    /// The map's text.
    pub source: Arc<Source>,
    /// The whole `[[region]]` header.
    pub region: Range<usize>,
    /// The value of `shape`.
    pub shape: Range<usize>,
    /// The value of `layers`.
    pub layers: Range<usize>,
    /// The value of `rule`.
    pub rule: Range<usize>,
    /// The value of `meets`.
    pub meets: Range<usize>,
    /// The file of the direction field, as typed, and where.
    pub field: Option<(String, Range<usize>)>,
}

/// Where a region lies, in the outline's coordinates, mm.
#[derive(Clone, Debug, PartialEq)]
pub enum Shape {
    /// The hole that holds this point, or whose edge is nearest and within 5 mm.
    HoleAt([f64; 2]),
    /// The whole outline.
    Outline,
    /// A polygon.
    Polygon(Vec<[f64; 2]>),
    /// A disc: x, y, radius.
    Circle([f64; 3]),
    /// An element of the drawing.
    Id(String),
    /// Pins: x, y, radius of each; at least two.
    Pins(Vec<[f64; 3]>),
}

/// How a region meets those that it overlaps.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum Meets {
    /// The one of higher priority has the place.
    #[default]
    Priority,
    /// Each has the half of the place that is nearer to it.
    Butt,
    /// By priority in one layer, the other way round in the next.
    Weave,
}

/// Which layers a region is in.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Layers {
    /// Every layer.
    All,
    /// Numbers from 1, both ends in, every `step`-th.
    Numbers {
        /// First.
        first: usize,
        /// Last.
        last: usize,
        /// 1 for every layer.
        step: usize,
    },
    /// Layers whose middle lies between two heights, mm above the bed.
    Heights {
        /// Lowest, mm.
        from_mm: f64,
        /// Highest, mm.
        to_mm: f64,
    },
}

/// How courses are laid in a region.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Rule {
    /// Closed courses round a hole.
    Hoop,
    /// Closed courses parallel to the shape's boundaries.
    Contour,
    /// Parallel courses.
    Unidirectional,
    /// Courses along a direction field.
    Steered,
    /// Closed courses round pins.
    Strap,
}

impl Rule {
    /// Every rule.
    pub const ALL: [Self; 5] = [Self::Hoop, Self::Contour, Self::Unidirectional, Self::Steered, Self::Strap];

    /// The word in files.
    pub fn word(self) -> &'static str {
        match self {
            Self::Hoop => "hoop",
            Self::Contour => "contour",
            Self::Unidirectional => "unidirectional",
            Self::Steered => "steered",
            Self::Strap => "strap",
        }
    }

    /// Closed courses are what it asks for, so that their number says how deep they go.
    pub fn closes(self) -> bool {
        matches!(self, Self::Hoop | Self::Contour | Self::Strap)
    }
}

/// The map's format.
pub(crate) static MAP: Table = Table {
    text: "A reinforcement map: what to lay where.",
    keys: &[Key {
        name: "region",
        kind: Kind::Tables(&REGION),
        need: Need::Required,
        text: "one place, one rule; `[[region]]` once for each",
    }],
};

static REGION: Table = Table {
    text: "One place and the rule that lays tow in it.",
    keys: &[
        Key {
            name: "name",
            kind: Kind::Text,
            need: Need::Optional,
            text: "name in messages and in the plan; left out = `region N`",
        },
        Key { name: "shape", kind: Kind::OneOf(&SHAPE), need: Need::Required, text: "where it lies" },
        Key {
            name: "layers",
            kind: Kind::Text,
            need: Need::Word("all"),
            text: r#"in which layers: "all", "4", "3-17", "3-17/2" (every second), or heights "z 0.6-3.4" (layers whose middle lies there)"#,
        },
        Key {
            name: "rule",
            kind: Kind::Word(Words {
                now: &["hoop", "contour", "unidirectional", "steered", "strap"],
                later: &[],
            }),
            need: Need::Required,
            text: "how: closed courses round a hole, closed courses parallel to the shape's boundaries, parallel courses, courses along a direction field, or closed courses round pins",
        },
        Key {
            name: "courses",
            kind: Kind::Integer(1, 10_000),
            need: Need::Optional,
            text: "courses side by side, for hoop, contour and strap; left out = fill the shape",
        },
        Key {
            name: "angle_deg",
            kind: Kind::NumberOrList(DIRECTION),
            need: Need::Optional,
            text: "for unidirectional: one value, or a list taken in turn from the region's first layer on",
        },
        Key {
            name: "spacing_mm",
            kind: Kind::Number(above_zero(1000.0)),
            need: Need::Optional,
            text: "centre to centre, at least the tow's width; left out = the tow's width",
        },
        Key {
            name: "min_bend_radius_mm",
            kind: Kind::Number(above_zero(LARGEST_MM)),
            need: Need::Optional,
            text: "no course bends tighter; left out = the tow's own, never below it",
        },
        Key {
            name: "field",
            kind: Kind::Text,
            need: Need::Optional,
            text: "for steered: a .csv of x_mm,y_mm,angle_deg[,weight], scattered points, relative to this file",
        },
        Key {
            name: "spiral",
            kind: Kind::Flag,
            need: Need::Optional,
            text: "for hoop, contour and strap: true joins nested closed courses to one spiral, which is cut once",
        },
        Key {
            name: "few_cuts",
            kind: Kind::Flag,
            need: Need::Optional,
            text: "true gives up some cover for fewer cuts: courses that end side by side are joined by turns, nested closed ones to spirals, where the bend radius and the shape allow and a cut saved costs little tow",
        },
        Key {
            name: "turns",
            kind: Kind::Flag,
            need: Need::Optional,
            text: "for unidirectional: false keeps all tow straight along its rows; rows too short to be cut and laid alone are left out",
        },
        Key {
            name: "meets",
            kind: Kind::Word(Words { now: &["priority", "butt", "weave"], later: &[] }),
            need: Need::Word("priority"),
            text: "where regions overlap: the higher priority has the place, each the half nearer to it, or by priority in one layer and the other way round in the next",
        },
        Key {
            name: "priority",
            kind: Kind::Integer(-1_000_000, 1_000_000),
            need: Need::Integer(0),
            text: "where regions overlap the higher wins; equal: the earlier in the file",
        },
    ],
};

static SHAPE: Table = Table {
    text: "Where a region lies, in the outline file's coordinates.",
    keys: &[
        Key {
            name: "hole_at_mm",
            kind: Kind::Numbers(COORDINATE, 2, 2),
            need: Need::Optional,
            text: "[x, y]: the hole (any inner boundary) that holds this point, or whose edge is nearest and within 5 mm",
        },
        Key { name: "outline", kind: Kind::Flag, need: Need::Optional, text: "true: the whole outline" },
        Key {
            name: "polygon_mm",
            kind: Kind::Points(COORDINATE, 3),
            need: Need::Optional,
            text: "[[x, y], …]: a polygon, at least three corners",
        },
        Key {
            name: "circle_mm",
            kind: Kind::Numbers(COORDINATE, 3, 3),
            need: Need::Optional,
            text: "[x, y, r]: a disc",
        },
        Key {
            name: "id",
            kind: Kind::Text,
            need: Need::Optional,
            text: "an element of the drawing, by its id",
        },
        Key {
            name: "pins_mm",
            kind: Kind::Discs(COORDINATE, 2),
            need: Need::Optional,
            text: "[[x, y, r], …]: pins of the rule `strap`",
        },
    ],
};

/// Reads a map's text. Without a tow, what depends on it is not checked.
///
/// Errors: those of the format; `layers-syntax`, `shape-empty`, `duplicate-name`,
/// `missing-key`, `spacing-too-small`, `bend-radius-too-small`; all of them at
/// once. Warns of `key-unused`.
pub fn read(notes: &mut Notes, source: &Arc<Source>, tow: Option<&Tow>) -> Outcome<Map> {
    let (values, mut reader) = Reader::read(source, &MAP);
    let mut regions = Vec::new();
    let mut names: Vec<String> = Vec::new();
    for (i, region) in values.tables("region").unwrap_or_default().iter().enumerate() {
        let name = region.text("name").map_or_else(|| format!("region {}", i + 1), str::to_owned);
        if names.contains(&name) {
            let d = Diagnostic::error("duplicate-name", format!("two regions have the name `{name}`"))
                .help("the plan tells courses apart by their region's name");
            reader.fault(d, region.place("name"), "");
        }
        names.push(name.clone());
        regions.extend(resolve(notes, &mut reader, source, region, name, tow));
    }
    reader.finish()?;
    Ok(Map { regions })
}

fn resolve(
    notes: &mut Notes,
    reader: &mut Reader<'_>,
    source: &Arc<Source>,
    v: &Values,
    name: String,
    tow: Option<&Tow>,
) -> Option<Region> {
    let shape = v.table("shape").and_then(|s| shape(reader, v, s));
    if let Some(Shape::Pins(pins)) = &shape
        && let Some([i, j]) = alike(pins)
    {
        let message = format!("region `{name}`: pins {} and {} are the same", i + 1, j + 1);
        let place = v.table("shape").map_or_else(|| v.place("shape"), |s| s.place("pins_mm"));
        notes.push(
            Diagnostic::warning("pin-twice", message)
                .at(source, place, "")
                .help("correct one of them, or take it out: the strap goes round it once"),
        );
    }
    let layers = v.text("layers").and_then(|typed| match layers::parse(typed) {
        Ok(layers) => Some(layers),
        Err(why) => {
            let d = Diagnostic::error("layers-syntax", format!("`layers` is `{typed}`: {why}"));
            reader.fault(d.help(format!("one of {}", layers::SYNTAX)), v.place("layers"), "");
            None
        }
    });
    let rule = v.text("rule").and_then(|typed| Rule::ALL.into_iter().find(|r| r.word() == typed));
    let angle_deg = v.numbers("angle_deg").map(<[f64]>::to_vec).unwrap_or_default();
    if let Some(rule) = rule {
        let unidirectional = rule == Rule::Unidirectional;
        if unidirectional && !v.has("angle_deg") {
            let d = Diagnostic::error(
                "missing-key",
                format!("region `{name}`: the rule `unidirectional` needs the key `angle_deg`"),
            )
            .help("angle_deg = 0, or a list taken in turn: angle_deg = [0, 45, -45]");
            reader.fault(d, v.place("rule"), "asked for here");
        }
        if rule == Rule::Steered && !v.has("field") {
            let d = Diagnostic::error(
                "missing-key",
                format!("region `{name}`: the rule `steered` needs the key `field`"),
            )
            .help("field = \"field.csv\", a table of x_mm,y_mm,angle_deg");
            reader.fault(d, v.place("rule"), "asked for here");
        }
        let pins = matches!(shape, Some(Shape::Pins(_)));
        if shape.is_some() && pins != (rule == Rule::Strap) {
            let (message, help) = if pins {
                (
                    format!(
                        "region `{name}`: pins are the shape of the rule `strap`, not of `{}`",
                        rule.word()
                    ),
                    "write rule = \"strap\", or give another shape",
                )
            } else {
                (
                    format!("region `{name}`: the rule `strap` needs pins as its shape"),
                    "shape = { pins_mm = [[x, y, r], [x, y, r]] }",
                )
            };
            reader.fault(Diagnostic::error("rule-shape", message).help(help), v.place("shape"), "");
        }
        let unused = [
            ("courses", !rule.closes()),
            ("spiral", !rule.closes()),
            ("angle_deg", !unidirectional),
            ("turns", !unidirectional),
            ("field", rule != Rule::Steered),
        ];
        for (unused, _) in unused.into_iter().filter(|(_, u)| *u) {
            let Some(span) = v.typed(unused) else { continue };
            let message = format!("region `{name}`: the rule `{}` makes no use of `{unused}`", rule.word());
            notes.push(Diagnostic::warning("key-unused", message).at(source, span, ""));
        }
    }
    let spacing_mm = limit(reader, v, "spacing_mm", tow.map(|t| t.width_mm), |typed, least| {
        let message = format!("courses stand {typed} mm apart, this tow is {least} mm wide");
        Diagnostic::error("spacing-too-small", message).help("leave `spacing_mm` out to lay tow beside tow")
    });
    let min_bend_radius_mm =
        limit(reader, v, "min_bend_radius_mm", tow.map(|t| t.min_bend_radius_mm), |typed, least| {
            let message = format!("bends of {typed} mm are asked for, this tow needs {least} mm");
            Diagnostic::error("bend-radius-too-small", message)
                .help("leave `min_bend_radius_mm` out to use the tow's own, or choose a narrower tow")
        });
    Some(Region {
        name,
        shape: shape?,
        layers: layers?,
        rule: rule?,
        courses: v.count("courses").filter(|_| rule.is_some_and(Rule::closes)),
        angle_deg,
        spacing_mm: spacing_mm?,
        min_bend_radius_mm: min_bend_radius_mm?,
        priority: v.integer("priority")?,
        meets: match v.text("meets") {
            Some("butt") => Meets::Butt,
            Some("weave") => Meets::Weave,
            _ => Meets::Priority,
        },
        spiral: v.flag("spiral").unwrap_or(false) && rule.is_some_and(Rule::closes),
        few_cuts: v.flag("few_cuts").unwrap_or(false),
        turns: v.flag("turns").unwrap_or(true) || rule != Some(Rule::Unidirectional),
        field: None,
        written: Written {
            source: Arc::clone(source),
            region: v.span.clone(),
            shape: v.place("shape"),
            layers: v.place("layers"),
            rule: v.place("rule"),
            meets: v.place("meets"),
            field: v.text("field").map(|typed| (typed.to_owned(), v.place("field"))),
        },
    })
}

/// A length that is the tow's own where left out, and never below it.
fn limit(
    reader: &mut Reader<'_>,
    v: &Values,
    key: &str,
    own: Option<f64>,
    wrong: impl FnOnce(f64, f64) -> Diagnostic,
) -> Option<f64> {
    match (v.number(key), own) {
        (Some(typed), Some(least)) if typed < least => {
            reader.fault(wrong(typed, least), v.place(key), "");
            None
        }
        (typed, own) => typed.or(own),
    }
}

fn shape(reader: &mut Reader<'_>, region: &Values, v: &Values) -> Option<Shape> {
    let empty = |message: String| Diagnostic::error("shape-empty", message);
    if let Some(at) = v.array("hole_at_mm") {
        return Some(Shape::HoleAt(at));
    }
    if let Some(flag) = v.flag("outline") {
        if flag {
            return Some(Shape::Outline);
        }
        let d = empty("`outline = false` leaves no shape".to_owned());
        reader.fault(d.help("write `outline = true`, or another shape"), region.place("shape"), "");
        return None;
    }
    if let Some(corners) = v.points("polygon_mm") {
        let twice: f64 =
            corners.iter().zip(corners.iter().cycle().skip(1)).map(|(a, b)| a[0] * b[1] - b[0] * a[1]).sum();
        if twice.abs() * 0.5 < SMALLEST_MM2 {
            let message = format!(
                "the polygon encloses {:.6} mm2: its corners lie on a line, or its sides cross",
                twice.abs() * 0.5
            );
            let d = empty(message).help("list the corners in the order in which they are met going round");
            reader.fault(d, v.place("polygon_mm"), "");
            return None;
        }
        if let Some([i, j]) = crossing(corners) {
            let message =
                format!("the sides of the polygon that begin at corners {} and {} cross", i + 1, j + 1);
            reader.fault(
                empty(message).help("list the corners in the order in which they are met going round"),
                v.place("polygon_mm"),
                "",
            );
            return None;
        }
        return Some(Shape::Polygon(corners.to_vec()));
    }
    if let Some([x, y, r]) = v.array("circle_mm") {
        if r <= 0.0 {
            reader.fault(
                empty(format!("the circle's radius is {r} mm, it must be above 0")).help("[x, y, r]"),
                v.place("circle_mm"),
                "",
            );
            return None;
        }
        if std::f64::consts::PI * r * r < SMALLEST_MM2 {
            let message = format!("the circle's radius is {r} mm: no tow fits into it");
            reader.fault(empty(message).help("[x, y, r]"), v.place("circle_mm"), "");
            return None;
        }
        return Some(Shape::Circle([x, y, r]));
    }
    if let Some(pins) = v.discs("pins_mm") {
        if let Some(i) = pins.iter().position(|p| p[2] <= 0.0) {
            let message = format!("pin {} has a radius of {} mm, it must be above 0", i + 1, pins[i][2]);
            reader.fault(empty(message).help("[x, y, r]"), v.place("pins_mm"), "");
            return None;
        }
        if pins.len() > 1 && pins.iter().all(|p| same_pin(p, &pins[0])) {
            let d = empty("the pins are all the same one, a strap needs two of them".to_owned());
            reader.fault(d.help("pins_mm = [[x, y, r], [x, y, r]]"), v.place("pins_mm"), "");
            return None;
        }
        return Some(Shape::Pins(pins.to_vec()));
    }
    v.text("id").map(|id| Shape::Id(id.to_owned()))
}

/// Two pins that are the same.
fn alike(pins: &[[f64; 3]]) -> Option<[usize; 2]> {
    let pairs = (0..pins.len()).flat_map(|i| (i + 1..pins.len()).map(move |j| [i, j]));
    pairs.into_iter().find(|&[i, j]| same_pin(&pins[i], &pins[j]))
}

fn same_pin(a: &[f64; 3], b: &[f64; 3]) -> bool {
    a.iter().zip(b).all(|(a, b)| a.total_cmp(b).is_eq())
}

/// Two sides of a polygon that cross, by the corners they begin at: the first such pair.
fn crossing(corners: &[[f64; 2]]) -> Option<[usize; 2]> {
    let n = corners.len();
    let point = |k: usize| Point::new(corners[k % n][0], corners[k % n][1]);
    let side = |i: usize, p: Point| (point(i + 1) - point(i)).cross(p - point(i));
    let split = |i: usize, j: usize| side(i, point(j)) * side(i, point(j + 1)) < 0.0;
    let from = |i: usize| point(i).x.min(point(i + 1).x);
    let to = |i: usize| point(i).x.max(point(i + 1).x);
    let mut in_turn: Vec<usize> = (0..n).collect();
    in_turn.sort_by(|&i, &j| from(i).total_cmp(&from(j)));
    // sides that reach as far in x as the one looked at: few of many corners
    let mut beside: Vec<usize> = Vec::new();
    let mut first: Option<[usize; 2]> = None;
    for i in in_turn {
        beside.retain(|&j| to(j) >= from(i));
        for &j in &beside {
            let pair = [i.min(j), i.max(j)];
            let neighbours = pair[0] + 1 == pair[1] || (pair[1] + 1) % n == pair[0];
            if !neighbours && first.is_none_or(|f| pair < f) && split(i, j) && split(j, i) {
                first = Some(pair);
            }
        }
        beside.push(i);
    }
    first
}

/// A polygon or circle smaller than this is a slip, mm2: no tow is as narrow as 0.1 mm.
const SMALLEST_MM2: f64 = 0.01;

#[cfg(test)]
mod tests {
    use super::*;

    /// Corners of a star whose spokes are as long as the numbers say, thousandths of 10 mm.
    fn star(spokes: &[u32]) -> Vec<[f64; 2]> {
        let turn = std::f64::consts::TAU / f64::from(u32::try_from(spokes.len()).unwrap());
        let at = |(k, r): (u32, &u32)| {
            let (sin, cos) = crate::geom::trig::sin_cos(turn * f64::from(k));
            [0.01 * f64::from(*r) * cos, 0.01 * f64::from(*r) * sin]
        };
        (0..).zip(spokes).map(at).collect()
    }

    #[test]
    fn sides_that_cross_are_found_as_by_looking_at_every_pair() {
        let mut state = 1_u32;
        let mut random = |below: u32| {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            (state >> 8) % below
        };
        let mut crossed = 0;
        for _ in 0..400 {
            let spokes: Vec<u32> = (0..4 + random(12)).map(|_| 200 + random(800)).collect();
            let mut corners = star(&spokes);
            assert_eq!(crossing(&corners), None, "a star: {corners:?}");
            let n = corners.len();
            for _ in 0..random(3) {
                let (i, j) = (random(16) as usize % n, random(16) as usize % n);
                corners.swap(i, j);
            }
            let p = |k: usize| Point::new(corners[k % n][0], corners[k % n][1]);
            let left = |a: Point, b: Point, c: Point| (b - a).cross(c - a) > 0.0;
            let apart = |a, b, c, d| left(a, b, c) == left(a, b, d);
            let cross = |i: usize, j: usize| {
                let (a, b, c, d) = (p(i), p(i + 1), p(j), p(j + 1));
                !apart(a, b, c, d) && !apart(c, d, a, b)
            };
            let pairs = (0..n).flat_map(|i| (i + 2..n).map(move |j| [i, j]));
            let known = pairs.filter(|&[i, j]| (j + 1) % n != i).find(|&[i, j]| cross(i, j));
            assert_eq!(crossing(&corners), known, "{corners:?}");
            crossed += usize::from(known.is_some());
        }
        assert!((100..300).contains(&crossed), "{crossed} of 400 cross");
    }
}
