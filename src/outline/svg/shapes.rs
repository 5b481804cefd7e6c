//! Elements as rings of points.

use super::flatten::{self, EndpointArc};
use super::transform::Affine;
use crate::geom::{Point, pt};
use crate::outline::reach;
use svgtypes::{Error, NumberListParser, PathParser, PathSegment};

/// One subpath of an element, in mm.
#[derive(Clone, Debug, Default)]
pub(super) struct Subpath {
    pub(super) points: Vec<Point>,
    /// Ended by a close command, or of a shape that is closed by nature.
    pub(super) closed: bool,
}

/// `rect`, corners rounded where `rx` and `ry` are positive.
pub(super) fn rect(map: Affine, x: f64, y: f64, w: f64, h: f64, rx: f64, ry: f64) -> Subpath {
    let (rx, ry) = (rx.min(w * 0.5), ry.min(h * 0.5));
    let mut points = Vec::new();
    if rx > 0.0 && ry > 0.0 {
        let (u, v) = (map.vector(pt(rx, 0.0)), map.vector(pt(0.0, ry)));
        let quarter = std::f64::consts::FRAC_PI_2;
        let corners = [
            (pt(x + w - rx, y + ry), -quarter),
            (pt(x + w - rx, y + h - ry), 0.0),
            (pt(x + rx, y + h - ry), quarter),
            (pt(x + rx, y + ry), 2.0 * quarter),
        ];
        for (centre, start) in corners {
            let (s, c) = crate::geom::trig::sin_cos(start);
            points.push(map.point(centre) + u * c + v * s);
            flatten::ellipse(map.point(centre), u, v, start, quarter, &mut points);
        }
    } else {
        points.extend([pt(x, y), pt(x + w, y), pt(x + w, y + h), pt(x, y + h)].map(|p| map.point(p)));
    }
    Subpath { points, closed: true }
}

/// `ellipse` and `circle`.
pub(super) fn ellipse(map: Affine, centre: Point, rx: f64, ry: f64) -> Subpath {
    let mut points = Vec::new();
    flatten::ellipse(
        map.point(centre),
        map.vector(pt(rx, 0.0)),
        map.vector(pt(0.0, ry)),
        0.0,
        std::f64::consts::TAU,
        &mut points,
    );
    Subpath { points, closed: true }
}

/// The `points` of a polygon or polyline. Errors: a number that cannot be read,
/// or an odd count of them ([`Error::UnexpectedEndOfStream`]).
pub(super) fn points(map: Affine, text: &str, closed: bool) -> Result<Subpath, Error> {
    let mut points = Vec::new();
    let mut numbers = NumberListParser::from(text);
    while let Some(x) = numbers.next() {
        let x = x?;
        let y = numbers.next().ok_or(Error::UnexpectedEndOfStream)??;
        points.push(map.point(pt(x, y)));
    }
    Ok(Subpath { points, closed })
}

/// The subpaths of path data, all commands (W3C SVG 1.1 2nd ed. 2011, 8.3).
/// Subpaths that draw nothing are left out. It ends early where points lie too far out, or come to
/// more than `most`: a few curves of that kind would fill the memory. Errors: the first fault in
/// the data.
pub(super) fn path(map: Affine, text: &str, most: usize) -> Result<Vec<Subpath>, Error> {
    let mut done: Vec<Subpath> = Vec::new();
    let mut made = 0;
    let mut sub = Subpath::default();
    let (mut at, mut start) = (pt(0.0, 0.0), pt(0.0, 0.0));
    // last control point of a cubic and of a quadratic, for S and T
    let (mut cubic, mut quadratic): (Option<Point>, Option<Point>) = (None, None);
    let mut end = |sub: &mut Subpath| {
        let s = std::mem::take(sub);
        if s.points.len() > 1 {
            done.push(s);
        }
    };
    for segment in PathParser::from(text) {
        let segment = segment?;
        let o = if segment.is_abs() { pt(0.0, 0.0) } else { at };
        let xy = |x: f64, y: f64| o + pt(x, y);
        if !matches!(segment, PathSegment::MoveTo { .. } | PathSegment::ClosePath { .. })
            && sub.points.is_empty()
        {
            // drawing on after a close starts at that subpath's start
            sub.points.push(map.point(at));
        }
        let (mut next_cubic, mut next_quadratic) = (None, None);
        let before = sub.points.len();
        match segment {
            PathSegment::MoveTo { x, y, .. } => {
                end(&mut sub);
                at = xy(x, y);
                start = at;
                sub.points.push(map.point(at));
            }
            PathSegment::LineTo { x, y, .. } => {
                at = xy(x, y);
                sub.points.push(map.point(at));
            }
            PathSegment::HorizontalLineTo { x, .. } => {
                at = pt(o.x + x, at.y);
                sub.points.push(map.point(at));
            }
            PathSegment::VerticalLineTo { y, .. } => {
                at = pt(at.x, o.y + y);
                sub.points.push(map.point(at));
            }
            PathSegment::CurveTo { x1, y1, x2, y2, x, y, .. } => {
                let (c, d, to) = (xy(x1, y1), xy(x2, y2), xy(x, y));
                flatten::bezier(&[at, c, d, to].map(|p| map.point(p)), &mut sub.points);
                (at, next_cubic) = (to, Some(d));
            }
            PathSegment::SmoothCurveTo { x2, y2, x, y, .. } => {
                let c = cubic.map_or(at, |c| at + (at - c));
                let (d, to) = (xy(x2, y2), xy(x, y));
                flatten::bezier(&[at, c, d, to].map(|p| map.point(p)), &mut sub.points);
                (at, next_cubic) = (to, Some(d));
            }
            PathSegment::Quadratic { x1, y1, x, y, .. } => {
                let (c, to) = (xy(x1, y1), xy(x, y));
                flatten::bezier(&[at, c, to].map(|p| map.point(p)), &mut sub.points);
                (at, next_quadratic) = (to, Some(c));
            }
            PathSegment::SmoothQuadratic { x, y, .. } => {
                let c = quadratic.map_or(at, |c| at + (at - c));
                let to = xy(x, y);
                flatten::bezier(&[at, c, to].map(|p| map.point(p)), &mut sub.points);
                (at, next_quadratic) = (to, Some(c));
            }
            PathSegment::EllipticalArc { rx, ry, x_axis_rotation, large_arc, sweep, x, y, .. } => {
                let to = xy(x, y);
                let arc = EndpointArc {
                    from: at,
                    to,
                    rx,
                    ry,
                    turned_deg: x_axis_rotation,
                    large: large_arc,
                    sweep,
                };
                arc.flatten(map, &mut sub.points);
                at = to;
            }
            PathSegment::ClosePath { .. } => {
                sub.closed = true;
                end(&mut sub);
                at = start;
            }
        }
        let new = sub.points.get(before..).unwrap_or_default();
        made += new.len();
        if made > most || reach::beyond(new).is_some() {
            break;
        }
        (cubic, quadratic) = (next_cubic, next_quadratic);
    }
    end(&mut sub);
    Ok(done)
}
