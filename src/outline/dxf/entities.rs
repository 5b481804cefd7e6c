//! Entities of the model space as curves.

use super::curves::{self, MOST_POINTS, Map, Spline};
use super::pairs::{Pair, Pairs};
use crate::count::f64_of;
use crate::diagnostic::{Diagnostic, Outcome};
use crate::geom::{Point, pt, trig};
use crate::outline::reach;
use std::collections::{BTreeMap, BTreeSet};
use std::f64::consts::TAU;

/// A curve as chords; closed where its last point is its first.
#[derive(Clone, Debug)]
pub(super) struct Piece {
    /// mm.
    pub(super) points: Vec<Point>,
    /// Index of its layer's name.
    pub(super) layer: usize,
    /// Line of the file where it begins.
    pub(super) line: usize,
}

/// Something that is not read.
pub(super) struct Passed {
    pub(super) count: usize,
    /// Of the first, the line.
    pub(super) line: usize,
    pub(super) help: Option<&'static str>,
}

/// What a file draws.
pub(super) struct Entities {
    pub(super) pieces: Vec<Piece>,
    /// Names of layers.
    pub(super) layers: Vec<String>,
    /// Kinds and properties that are not read.
    pub(super) passed: BTreeMap<String, Passed>,
    /// Millimetres of the drawing's own unit, and the line that says it.
    pub(super) own_unit: Option<(f64, usize)>,
}

/// Blocks within blocks at most.
const DEEPEST: usize = 16;

/// Curves of a drawing at most: inserted arrays could be endless.
const MOST_PIECES: usize = 1_000_000;

/// Entities that insertions of blocks may come to, blocks in blocks counted: bounds time.
const MOST_INSERTED: usize = 10_000_000;

/// The pairs of one entity, from its kind on.
#[derive(Clone, Copy)]
struct Entity<'a> {
    kind: &'a str,
    line: usize,
    pairs: &'a [Pair],
}

impl<'a> Entity<'a> {
    fn first(&self, code: i32) -> Option<&'a Pair> {
        self.pairs.iter().find(|p| p.code == code)
    }

    fn whole(&self, code: i32) -> i64 {
        self.first(code).and_then(|p| p.value.parse().ok()).unwrap_or(0)
    }
}

/// A block's base and its entities.
struct Block<'a> {
    base: Point,
    /// What it draws is in another file, unless that is told here as well.
    elsewhere: bool,
    entities: Vec<Entity<'a>>,
}

struct Reader<'a> {
    pairs: &'a Pairs,
    /// By their names in capitals: the format's names have no case.
    blocks: BTreeMap<String, Block<'a>>,
    /// Layers that are switched off, the same way.
    off: BTreeSet<String>,
    /// Layers that are frozen: these hide what is inserted on them as well.
    frozen: BTreeSet<String>,
    /// Insertions of blocks and entities of these, over the whole drawing.
    inserted: usize,
    /// Points of all pieces.
    points: usize,
    out: Entities,
}

impl Entities {
    /// Reads what the model space holds, with `unit_mm` per unit unless the file says else.
    ///
    /// Errors: `dxf-unreadable`, `outline-too-large`.
    pub(super) fn read(pairs: &Pairs, unit_mm: f64) -> Outcome<Self> {
        let all = entities(&pairs.all);
        let mut reader = Reader {
            pairs,
            blocks: BTreeMap::new(),
            off: BTreeSet::new(),
            frozen: BTreeSet::new(),
            inserted: 0,
            points: 0,
            out: Self { pieces: Vec::new(), layers: Vec::new(), passed: BTreeMap::new(), own_unit: None },
        };
        reader.out.own_unit = reader.unit()?;
        let unit_mm = reader.out.own_unit.map_or(unit_mm, |own| own.0);
        let (mut section, mut opened) = ("", 0);
        let mut drawn: Vec<Entity<'_>> = Vec::new();
        let mut block: Option<(String, Block<'_>)> = None;
        for e in all {
            match (e.kind, section) {
                ("SECTION", _) => {
                    (section, opened) = (e.first(2).map_or("", |p| p.value.as_str()), e.line);
                }
                ("ENDSEC", _) => (section, opened) = ("", 0),
                ("LAYER", "TABLES") => {
                    let name = e.first(2).map_or_else(String::new, |p| p.value.to_uppercase());
                    if e.whole(70) & 1 == 1 {
                        reader.frozen.insert(name);
                    } else if e.whole(62) < 0 {
                        reader.off.insert(name);
                    }
                }
                ("BLOCK", "BLOCKS") => {
                    let base = reader.point(e, 10)?.unwrap_or_default();
                    let name = e.first(2).map_or_else(String::new, |p| p.value.to_uppercase());
                    // a reference to another file, or one laid over this one
                    let elsewhere = e.whole(70) & (4 | 8) != 0;
                    block = Some((name, Block { base, elsewhere, entities: Vec::new() }));
                }
                ("ENDBLK", "BLOCKS") => reader.blocks.extend(block.take()),
                (_, "BLOCKS") => {
                    if let Some((_, block)) = &mut block {
                        block.entities.push(e);
                    }
                }
                (_, "ENTITIES") => drawn.push(e),
                _ => {}
            }
        }
        let whole = pairs.all.last().is_some_and(|p| p.code == 0 && p.value == "EOF");
        if opened > 0 && !whole {
            // what is missing would be missing from the part
            let message = format!("the section `{section}` has no end: the file is cut off");
            return Err(reader.fault(opened, message).help("export the drawing again").into());
        }
        let blocks = std::mem::take(&mut reader.blocks);
        reader.draw(&blocks, &drawn, &Map::scaled(unit_mm), None, 0)?;
        Ok(reader.out)
    }
}

/// Pairs grouped by the entity that they belong to.
fn entities(pairs: &[Pair]) -> Vec<Entity<'_>> {
    let starts: Vec<usize> = (0..pairs.len()).filter(|i| pairs[*i].code == 0).collect();
    let ends = starts.iter().skip(1).copied().chain([pairs.len()]);
    starts
        .iter()
        .zip(ends)
        .map(|(&from, to)| Entity {
            kind: &pairs[from].value,
            line: pairs[from].line,
            pairs: &pairs[from + 1..to],
        })
        .collect()
}

impl<'a> Reader<'a> {
    fn fault(&self, line: usize, message: String) -> Diagnostic {
        self.pairs.at(Diagnostic::error("dxf-unreadable", message), line)
    }

    /// Millimetres of a unit by the header, and the line that says it; `None` where none does.
    fn unit(&self) -> Outcome<Option<(f64, usize)>> {
        let Some(at) = self.pairs.all.iter().position(|p| p.code == 9 && p.value == "$INSUNITS") else {
            return Ok(None);
        };
        let Some(pair) = self.pairs.all.get(at + 1).filter(|p| p.code == 70) else { return Ok(None) };
        let mm = match pair.value.parse::<i64>() {
            Ok(0) => return Ok(None),
            Ok(1) => 25.4,
            Ok(2) => 304.8,
            Ok(4) => 1.0,
            Ok(5) => 10.0,
            Ok(6) => 1000.0,
            Ok(9) => 0.0254,
            Ok(13) => 0.001,
            Ok(14) => 100.0,
            _ => {
                let d = self.fault(pair.line, format!("`$INSUNITS` is {}: no unit that is read", pair.value));
                return Err(d.help("export the drawing in mm, cm, m or inches").into());
            }
        };
        Ok(Some((mm, pair.line)))
    }

    fn number(&self, e: Entity<'a>, code: i32, missing: f64) -> Outcome<f64> {
        e.first(code).map_or(Ok(missing), |p| self.pairs.number(p))
    }

    fn needed(&self, e: Entity<'a>, code: i32) -> Outcome<f64> {
        match e.first(code) {
            Some(p) => self.pairs.number(p),
            None => Err(self.fault(e.line, format!("`{}` has no group code {code}", e.kind)).into()),
        }
    }

    /// A point from the group code of its x on; `None` where it is not given.
    fn point(&self, e: Entity<'a>, code: i32) -> Outcome<Option<Point>> {
        if e.first(code).is_none() {
            return Ok(None);
        }
        Ok(Some(pt(self.needed(e, code)?, self.needed(e, code + 10)?)))
    }

    fn at(&self, e: Entity<'a>, code: i32) -> Outcome<Point> {
        let missing = || self.fault(e.line, format!("`{}` has no group code {code}", e.kind));
        Ok(self.point(e, code)?.ok_or_else(missing)?)
    }

    /// The plane that an entity is drawn in: seen from above, or mirrored from below.
    fn plane(&self, e: Entity<'a>) -> Outcome<Map> {
        let (x, y, z) = (self.number(e, 210, 0.0)?, self.number(e, 220, 0.0)?, self.number(e, 230, 1.0)?);
        if x.abs() + y.abs() > 1e-6 * z.abs() {
            let d = self.fault(e.line, format!("`{}` does not lie in the xy plane", e.kind));
            return Err(d.help("draw the outline in the xy plane").into());
        }
        Ok(Map { u: pt(z.signum(), 0.0), v: pt(0.0, 1.0), shift: Point::default() })
    }

    fn layer(&mut self, name: &str) -> usize {
        if let Some(k) = self.out.layers.iter().position(|l| l == name) {
            return k;
        }
        self.out.layers.push(name.to_owned());
        self.out.layers.len() - 1
    }

    /// Draws entities; those of a block on layer `0` are on the layer of what inserts it.
    fn draw(
        &mut self,
        blocks: &BTreeMap<String, Block<'a>>,
        list: &[Entity<'a>],
        map: &Map,
        inserted_on: Option<&'a str>,
        depth: usize,
    ) -> Outcome<()> {
        let mut k = 0;
        while let Some(&e) = list.get(k) {
            k += 1;
            // a polyline of old has its places as entities behind it
            let from = k;
            if e.kind == "POLYLINE" {
                while list.get(k).is_some_and(|v| v.kind == "VERTEX") {
                    k += 1;
                }
            }
            let places = &list[from..k];
            let own = e.first(8).map_or("0", |p| p.value.as_str());
            let layer = inserted_on.filter(|_| own == "0").unwrap_or(own);
            let named = layer.to_uppercase();
            // what is inserted is on layers of its own: only frozen ones hide it
            let hidden = self.frozen.contains(&named) || (e.kind != "INSERT" && self.off.contains(&named));
            if hidden
                || e.whole(67) == 1
                || e.whole(60) == 1
                || matches!(e.kind, "SEQEND" | "VIEWPORT" | "ATTRIB")
            {
                continue;
            }
            if e.kind == "INSERT" {
                self.insert(blocks, e, map, layer, depth)?;
            } else if let Some(points) = self.curve(e, places, map)? {
                self.add(e, points, layer)?;
                self.doubt_width(e, places)?;
            } else {
                self.pass(format!("`{}`", e.kind), e.line, None);
            }
        }
        Ok(())
    }

    fn pass(&mut self, what: String, line: usize, help: Option<&'static str>) {
        self.out.passed.entry(what).or_insert(Passed { count: 0, line, help }).count += 1;
    }

    /// Tells of a polyline that is drawn with a width: a ring of two half circles may be a disc
    /// to the one who drew it.
    fn doubt_width(&mut self, e: Entity<'a>, places: &[Entity<'a>]) -> Outcome<()> {
        if !matches!(e.kind, "LWPOLYLINE" | "POLYLINE") {
            return Ok(());
        }
        let all = e.pairs.iter().chain(places.iter().flat_map(|v| v.pairs));
        for pair in all.filter(|p| matches!(p.code, 40 | 41) || p.code == 43 && e.kind == "LWPOLYLINE") {
            if self.pairs.number(pair)? > 0.0 {
                let help = "its middle line counts; draw both edges of it if it is material or a hole";
                self.pass(format!("the width of `{}`", e.kind), pair.line, Some(help));
                break;
            }
        }
        Ok(())
    }

    fn add(&mut self, e: Entity<'a>, points: Vec<Point>, layer: &str) -> Outcome<()> {
        self.points += points.len();
        if self.points > MOST_POINTS {
            let message = format!(
                "the curves of the drawing come to more than {MOST_POINTS} points, blocks counted as often as they are inserted"
            );
            let d = Diagnostic::error("outline-too-large", message)
                .help("check the numbers of rows and columns of what is inserted, and the drawing's unit");
            return Err(self.pairs.at(d, e.line).into());
        }
        if let Some(p) = reach::beyond(&points) {
            let message = format!("a point lies at {}", reach::told([p.x, p.y]));
            let d = Diagnostic::error("outline-too-large", message)
                .help("check the drawing's unit, or move the drawing to the origin");
            return Err(self.pairs.at(d, e.line).into());
        }
        if self.out.pieces.len() >= MOST_PIECES {
            let message = format!("the drawing has more than {MOST_PIECES} curves");
            return Err(self.pairs.at(Diagnostic::error("outline-too-large", message), e.line).into());
        }
        let layer = self.layer(layer);
        self.out.pieces.push(Piece { points, layer, line: e.line });
        Ok(())
    }

    fn insert(
        &mut self,
        blocks: &BTreeMap<String, Block<'a>>,
        e: Entity<'a>,
        map: &Map,
        layer: &'a str,
        depth: usize,
    ) -> Outcome<()> {
        let name = e.first(2).map_or("", |p| p.value.as_str());
        let Some(block) = blocks.get(&name.to_uppercase()) else {
            return Err(self.fault(e.line, format!("there is no block `{name}` in this drawing")).into());
        };
        if block.elsewhere && block.entities.is_empty() {
            let help = "bind it in the drawing program, so that the drawing holds it itself";
            self.pass(format!("the drawing in another file that `{name}` refers to"), e.line, Some(help));
            return Ok(());
        }
        if depth >= DEEPEST {
            let message =
                format!("blocks are inserted in one another more than {DEEPEST} deep, or in a circle");
            return Err(self.fault(e.line, message).into());
        }
        let at = self.at(e, 10)?;
        let (sx, sy) = (self.number(e, 41, 1.0)?, self.number(e, 42, 1.0)?);
        let (sin, cos) = trig::sin_cos(self.number(e, 50, 0.0)?.to_radians());
        let (u, v) = (pt(cos, sin), pt(-sin, cos));
        let plane = map.of(&self.plane(e)?);
        let (columns, rows) = (e.whole(70).max(1), e.whole(71).max(1));
        let apart = (self.number(e, 44, 0.0)?, self.number(e, 45, 0.0)?);
        for row in 0..rows {
            for column in 0..columns {
                #[expect(clippy::cast_precision_loss, reason = "a place in an array")]
                let off = u * (column as f64 * apart.0) + v * (row as f64 * apart.1);
                let turned = Map { u: u * sx, v: v * sy, shift: at + off };
                let shift = turned.point(pt(-block.base.x, -block.base.y));
                let inner = plane.of(&Map { shift, ..turned });
                self.draw(blocks, &block.entities, &inner, Some(layer), depth + 1)?;
                self.inserted += 1 + block.entities.len();
                if self.inserted > MOST_INSERTED {
                    let message = format!("insertions of blocks come to more than {MOST_INSERTED} entities");
                    return Err(self
                        .pairs
                        .at(Diagnostic::error("outline-too-large", message), e.line)
                        .into());
                }
            }
        }
        Ok(())
    }

    /// An entity's chords in mm; `None` for a kind that is no curve.
    fn curve(&self, e: Entity<'a>, places: &[Entity<'a>], map: &Map) -> Outcome<Option<Vec<Point>>> {
        let plane = || Ok::<Map, crate::diagnostic::Faults>(map.of(&self.plane(e)?));
        Ok(Some(match e.kind {
            "LINE" => vec![map.point(self.at(e, 10)?), map.point(self.at(e, 11)?)],
            "CIRCLE" | "ARC" => {
                let radius = self.needed(e, 40)?;
                if radius <= 0.0 {
                    return Err(self.fault(e.line, format!("`{}` has radius {radius}", e.kind)).into());
                }
                let (from, sweep) = if e.kind == "CIRCLE" {
                    (0.0, TAU)
                } else {
                    let from = self.needed(e, 50)?.to_radians();
                    (from, curves::sweep(from, self.needed(e, 51)?.to_radians()))
                };
                let axes = [pt(radius, 0.0), pt(0.0, radius)];
                curves::ellipse(&plane()?, self.at(e, 10)?, axes, from, sweep)
            }
            "ELLIPSE" => {
                let (major, ratio) = (self.at(e, 11)?, self.needed(e, 40)?);
                let (from, to) = (self.number(e, 41, 0.0)?, self.number(e, 42, TAU)?);
                // the minor axis lies to the left as seen from where it is drawn from
                let minor = major.left() * (ratio * self.plane(e)?.u.x);
                curves::ellipse(map, self.at(e, 10)?, [major, minor], from, curves::sweep(from, to))
            }
            "LWPOLYLINE" => {
                let mut found: Vec<(Point, f64)> = Vec::new();
                for pair in e.pairs {
                    match (pair.code, found.last_mut()) {
                        (10, _) => found.push((pt(self.pairs.number(pair)?, 0.0), 0.0)),
                        (20, Some(last)) => last.0.y = self.pairs.number(pair)?,
                        (42, Some(last)) => last.1 = self.pairs.number(pair)?,
                        _ => {}
                    }
                }
                if let Some(count) = e.first(90)
                    && self.pairs.number(count)? > f64_of(found.len())
                {
                    let message = format!(
                        "an LWPOLYLINE has {} corners and says that it has {}: some are lost",
                        found.len(),
                        count.value
                    );
                    return Err(self.fault(count.line, message).help("export the drawing again").into());
                }
                curves::bulged(&plane()?, &found, e.whole(70) & 1 == 1)
            }
            "POLYLINE" if e.whole(70) & (16 | 64) == 0 => {
                let mut found: Vec<(Point, f64)> = Vec::new();
                // control points of a curve that was fitted are no places of it
                for v in places.iter().filter(|v| v.whole(70) & 16 == 0) {
                    found.push((self.at(*v, 10)?, self.number(*v, 42, 0.0)?));
                }
                curves::bulged(&plane()?, &found, e.whole(70) & 1 == 1)
            }
            "SPLINE" => self.spline(e, map)?,
            _ => return Ok(None),
        }))
    }

    fn spline(&self, e: Entity<'a>, map: &Map) -> Outcome<Vec<Point>> {
        let mut control: Vec<(Point, f64)> = Vec::new();
        let (mut knots, mut weights) = (Vec::new(), Vec::new());
        for pair in e.pairs {
            match (pair.code, control.last_mut()) {
                (40, _) => knots.push(self.pairs.number(pair)?),
                (41, _) => weights.push(self.pairs.number(pair)?),
                (10, _) => control.push((pt(self.pairs.number(pair)?, 0.0), 1.0)),
                (20, Some(last)) => last.0.y = self.pairs.number(pair)?,
                _ => {}
            }
        }
        if weights.len() == control.len() {
            for (c, w) in control.iter_mut().zip(weights) {
                c.1 = w;
            }
        }
        for c in &mut control {
            c.0 = map.point(c.0);
        }
        let degree = usize::try_from(e.whole(71)).unwrap_or(0);
        let points = control.len();
        Spline { degree, knots, control }.flattened().ok_or_else(|| {
            let message = format!("a spline of degree {degree} with {points} control points cannot be drawn");
            let d = self.fault(e.line, message);
            d.help("export splines with their control points and knots, or as polylines").into()
        })
    }
}
