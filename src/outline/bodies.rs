//! Bodies of a part: pieces of its layers that hold together.

use super::{Layer, Outline};
use crate::geom::{Area, Bounds, Point, combine};

/// What holds together.
#[derive(Clone, Debug)]
pub struct Body {
    /// Number of its lowest layer.
    pub first_layer: usize,
    /// Number of its highest layer.
    pub last_layer: usize,
    /// The largest of its pieces, mm2.
    pub area_mm2: f64,
    /// Middle of the box round that piece, mm.
    pub at: Point,
}

impl Body {
    fn of(layer: &Layer, piece: &Area) -> Self {
        let at = piece.bounds().map_or_else(Point::default, |b| b.centre());
        Self { first_layer: layer.number, last_layer: layer.number, area_mm2: piece.area(), at }
    }

    fn with(&self, other: &Self) -> Self {
        let larger = if other.area_mm2 > self.area_mm2 { other } else { self };
        Self {
            first_layer: self.first_layer.min(other.first_layer),
            last_layer: self.last_layer.max(other.last_layer),
            ..larger.clone()
        }
    }
}

impl Outline {
    /// The bodies, the largest first: pieces of one layer are one body where a layer above or
    /// below lies on both. A part is one; empty without outline.
    pub fn bodies(&self) -> Vec<Body> {
        let mut bodies: Vec<Body> = Vec::new();
        // those that have grown into another one, and into which
        let mut joined: Vec<usize> = Vec::new();
        let mut below: Vec<Piece> = Vec::new();
        let mut beneath: Option<&Layer> = None;
        for layer in &self.layers {
            if beneath.is_some_and(|b| b.outline == layer.outline) {
                for piece in &below {
                    bodies[root(&joined, piece.body)].last_layer = layer.number;
                }
                beneath = Some(layer);
                continue;
            }
            let mut pieces: Vec<Piece> = Vec::new();
            for area in layer.outline.split() {
                bodies.push(Body::of(layer, &area));
                let own = joined.len();
                joined.push(own);
                let piece = Piece { around: area.bounds(), area, body: own };
                for other in &below {
                    if piece.lies_on(other) {
                        let (a, b) = (root(&joined, own), root(&joined, other.body));
                        if a != b {
                            bodies[a] = bodies[a].with(&bodies[b]);
                            joined[b] = a;
                        }
                    }
                }
                pieces.push(piece);
            }
            below = pieces;
            beneath = Some(layer);
        }
        let roots = (0..bodies.len()).filter(|i| joined[*i] == *i);
        let mut apart: Vec<Body> = roots.map(|i| bodies[i].clone()).collect();
        apart.sort_by(|a, b| b.area_mm2.total_cmp(&a.area_mm2));
        apart
    }
}

fn root(joined: &[usize], mut of: usize) -> usize {
    while joined[of] != of {
        of = joined[of];
    }
    of
}

/// A piece of a layer.
struct Piece {
    area: Area,
    /// The box round it: pieces of neighbouring layers are held against each other, all of them.
    around: Option<Bounds>,
    /// The body that it began as.
    body: usize,
}

impl Piece {
    fn lies_on(&self, other: &Self) -> bool {
        let meet = |(a, b): (Bounds, Bounds)| {
            a.lo.x < b.hi.x && b.lo.x < a.hi.x && a.lo.y < b.hi.y && b.lo.y < a.hi.y
        };
        self.around.zip(other.around).is_some_and(meet)
            && !combine::intersection(&self.area, &other.area).is_empty()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geom::pt;

    fn plate(x: f64, width: f64) -> Area {
        combine::ring_area(&[pt(x, 0.0), pt(x + width, 0.0), pt(x + width, 10.0), pt(x, 10.0)])
    }

    fn part(layers: Vec<Vec<Area>>) -> Vec<Body> {
        let layer = |(i, pieces): (usize, Vec<Area>)| {
            let (number, z_bottom_mm) = (i + 1, 0.0);
            Layer { number, z_bottom_mm, height_mm: 0.2, outline: combine::union_all(&pieces) }
        };
        let layers = layers.into_iter().enumerate().map(layer).collect();
        Outline { layers, ..Outline::default() }.bodies()
    }

    #[test]
    fn legs_that_a_layer_lies_on_are_one_body() {
        let legs = || vec![plate(0.0, 10.0), plate(30.0, 10.0)];
        assert_eq!(part(vec![legs(), legs(), vec![plate(0.0, 40.0)], legs()]).len(), 1);
        assert_eq!(part(vec![vec![plate(0.0, 40.0)], legs(), legs()]).len(), 1);
        assert!(part(vec![Vec::new()]).is_empty());
    }

    #[test]
    fn what_no_layer_joins_is_told_with_its_layers_the_largest_first() {
        let both = || vec![plate(0.0, 20.0), plate(30.0, 10.0)];
        let bodies = part(vec![both(), both(), vec![plate(0.0, 20.0)]]);
        let told: Vec<_> = bodies.iter().map(|b| (b.first_layer, b.last_layer, b.area_mm2, b.at)).collect();
        assert_eq!(told, [(1, 3, 200.0, pt(10.0, 5.0)), (1, 2, 100.0, pt(35.0, 5.0))]);
        // side by side along an edge nothing holds them
        assert_eq!(part(vec![vec![plate(0.0, 10.0)], vec![plate(10.0, 10.0)]]).len(), 2);
        // and a layer without outline between
        assert_eq!(part(vec![vec![plate(0.0, 10.0)], vec![], vec![plate(0.0, 10.0)]]).len(), 2);
    }
}
