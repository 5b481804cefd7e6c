//! Elements that enclose something: their closed paths and what these enclose.

use super::flatten::CHORD_MM;
use super::shapes::{self, Subpath};
use super::{Drawn, Inherited, Reader};
use crate::diagnostic::Diagnostic;
use crate::geom::combine::{self, FillRule};
use crate::geom::{Area, Point, polyline, pt};
use crate::outline::{reach, xml::tag};
use roxmltree::Node;

/// An open path whose ends are this close is closed, mm: what drawing programs
/// lose by writing two decimals; less than any gap that is meant.
const CLOSES_WITHIN_MM: f64 = 0.01;

/// Most points of a drawing, curves as chords and uses counted each time: with what they enclose
/// they take some 2 GB. A curve of the largest reach has 50,000.
const MOST_POINTS: usize = 10_000_000;

/// Share of an area by which two measures of it may differ before its line must
/// cross itself: far above what rounding to the grid does.
const CROSSED: f64 = 1e-3;

impl<'a> Reader<'a> {
    pub(super) fn shape(&mut self, node: Node<'a, 'a>, inner: Inherited) {
        if self.points > MOST_POINTS {
            // told once
            return;
        }
        let subpaths = self.subpaths(node, inner);
        let tag = tag(node);
        self.points += subpaths.iter().map(|s| s.points.len()).sum::<usize>();
        if self.points > MOST_POINTS {
            let d = Diagnostic::error(
                "outline-too-large",
                format!("the drawing has more than {MOST_POINTS} points, curves as chords within {CHORD_MM} mm of them"),
            )
            .at(&self.source, tag, "the first beyond")
            .help("check its scale (`viewBox`, transforms), or draw it with fewer and smaller curves");
            self.faults.push(d);
            return;
        }
        if !inner.visible {
            // an open line would be no outline either
            if subpaths.iter().any(|s| s.closed) {
                self.pass("an element that is hidden".to_owned(), node);
            }
            return;
        }
        if !inner.filled && !inner.stroked && !inner.region && !self.styled {
            self.pass("an element that is neither filled nor stroked".to_owned(), node);
            return;
        }
        let mut rings: Vec<Vec<Point>> = Vec::new();
        let total = subpaths.len();
        for (k, sub) in subpaths.into_iter().enumerate() {
            let Subpath { points: mut ring, closed } = sub;
            if let Some(p) = reach::beyond(&ring) {
                let d = Diagnostic::error(
                    "outline-too-large",
                    format!("a point lies at {}", reach::told([p.x, p.y])),
                )
                .at(&self.source, tag.clone(), "in this element")
                .help(
                    "check the drawing's units, `viewBox` and transforms, or move the drawing to the origin",
                );
                self.fault(d);
                return;
            }
            let (Some(a), Some(b)) = (ring.first().copied(), ring.last().copied()) else { continue };
            let gap = a.dist(b);
            if !closed && gap > CLOSES_WITHIN_MM {
                let which = if total > 1 {
                    format!("subpath {} of {total} of the `{}`", k + 1, node.tag_name().name())
                } else {
                    format!("the `{}`", node.tag_name().name())
                };
                let d = Diagnostic::error(
                    "outline-open",
                    format!(
                        "{which} is open: it ends {gap:.3} mm from where it began, at most {CLOSES_WITHIN_MM} mm is closed here"
                    ),
                )
                .at(&self.source, tag.clone(), format!("ends at x {:.3} mm, y {:.3} mm", b.x, b.y))
                .help("close it in the drawing (`Z` at its end), or join it with the pieces that go on from it");
                self.fault(d);
                continue;
            }
            if gap <= CLOSES_WITHIN_MM && ring.len() > 3 {
                ring.pop();
            }
            if ring.len() > 2 {
                rings.push(ring);
            }
        }
        let rule = if inner.even_odd || !inner.filled { FillRule::EvenOdd } else { FillRule::NonZero };
        let area = combine::enclosed(rings.iter().map(Vec::as_slice), rule);
        if area.is_empty() {
            if total > 0 {
                self.pass("an element that encloses nothing".to_owned(), node);
            }
            return;
        }
        if let [ring] = &rings[..] {
            // where a line crosses itself the two ways of measuring part company
            let apart = (polyline::signed_area(ring).abs() - area.area()).abs();
            if apart > CROSSED * area.area() {
                let d = Diagnostic::warning(
                    "outline-crossed",
                    format!("`{}` crosses itself: {}", node.tag_name().name(), ruled(ring, rule, &area)),
                )
                .at(&self.source, tag.clone(), "crosses itself")
                .help("draw the outline so that its line never crosses itself");
                self.warnings.push(d);
            }
        }
        if inner.region && !node.ancestors().any(|a| a.has_attribute("id")) {
            self.pass("an element with data-role=\"region\" and no `id`".to_owned(), node);
        }
        self.drawn.push(Drawn { area, group: inner.group, region: inner.region, place: tag });
    }

    pub(super) fn subpaths(&mut self, node: Node<'a, 'a>, inner: Inherited) -> Vec<Subpath> {
        let [vw, vh] = inner.viewport;
        let vd = ((vw * vw + vh * vh) * 0.5).sqrt();
        let map = inner.to_mm;
        let name = node.tag_name().name();
        // every length is read, so that all faults of an element are told
        macro_rules! lengths {
            ($($attribute:literal of $whole:expr),*) => {
                ($(self.length(node, $attribute, $whole, 0.0)),*)
            };
        }
        match name {
            "rect" => {
                let (x, y, w, h) = lengths!("x" of vw, "y" of vh, "width" of vw, "height" of vh);
                let (rx, ry) = lengths!("rx" of vw, "ry" of vh);
                let given = |n: &str| node.attribute(n).is_some_and(|t| t.trim() != "auto");
                let (Some(x), Some(y), Some(w), Some(h), Some(mut rx), Some(mut ry)) = (x, y, w, h, rx, ry)
                else {
                    return Vec::new();
                };
                // one of the two stands for both
                match (given("rx"), given("ry")) {
                    (true, false) => ry = rx,
                    (false, true) => rx = ry,
                    _ => {}
                }
                if !self.positive(node, &[("width", w), ("height", h), ("rx", rx), ("ry", ry)]) {
                    return Vec::new();
                }
                vec![shapes::rect(map, x, y, w, h, rx, ry)]
            }
            "circle" => {
                let (x, y, r) = lengths!("cx" of vw, "cy" of vh, "r" of vd);
                let (Some(x), Some(y), Some(r)) = (x, y, r) else { return Vec::new() };
                if !self.positive(node, &[("r", r)]) {
                    return Vec::new();
                }
                vec![shapes::ellipse(map, pt(x, y), r, r)]
            }
            "ellipse" => {
                let (x, y, rx, ry) = lengths!("cx" of vw, "cy" of vh, "rx" of vw, "ry" of vh);
                let (Some(x), Some(y), Some(rx), Some(ry)) = (x, y, rx, ry) else { return Vec::new() };
                if !self.positive(node, &[("rx", rx), ("ry", ry)]) {
                    return Vec::new();
                }
                vec![shapes::ellipse(map, pt(x, y), rx, ry)]
            }
            "polygon" | "polyline" => {
                let text = node.attribute("points").unwrap_or("");
                match shapes::points(map, text, name == "polygon") {
                    Ok(s) => vec![s],
                    Err(e) => {
                        let value = self.value_span(node, "points");
                        let (span, what) = match e {
                            svgtypes::Error::UnexpectedEndOfStream => {
                                (value, "an x without its y".to_owned())
                            }
                            e => self.located(value, text, &e),
                        };
                        self.unreadable(format!("`points` cannot be read: {what}"), span, "");
                        Vec::new()
                    }
                }
            }
            _ => {
                let text = node.attribute("d").unwrap_or("").trim_end();
                if text.trim() == "none" {
                    return Vec::new();
                }
                match shapes::path(map, text, MOST_POINTS.saturating_sub(self.points)) {
                    Ok(s) => s,
                    Err(e) => {
                        let mut value = self.value_span(node, "d");
                        value.end = value.end.min(value.start + text.len());
                        let (span, what) = self.located(value, text, &e);
                        let d = Diagnostic::error("element-unreadable", format!("the path cannot be read: {what}"))
                            .at(&self.source, span, "")
                            .help("paths start with M and use the commands M L H V C S Q T A Z with all their numbers");
                        self.fault(d);
                        Vec::new()
                    }
                }
            }
        }
    }

    /// No size is negative; one that is zero draws nothing and is told with the
    /// elements that enclose nothing.
    pub(super) fn positive(&mut self, node: Node<'a, 'a>, sizes: &[(&str, f64)]) -> bool {
        for (name, v) in sizes {
            if *v < 0.0 {
                let span = self.value_span(node, name);
                self.unreadable(format!("`{name}` is negative"), span, "");
                return false;
            }
        }
        true
    }
}

/// What the fill rule makes of a line that crosses itself.
fn ruled(ring: &[Point], rule: FillRule, area: &Area) -> String {
    let (other, done, name) = if rule == FillRule::EvenOdd {
        (FillRule::NonZero, "left out, as a hole is,", "evenodd")
    } else {
        (FillRule::EvenOdd, "filled", "nonzero")
    };
    // what the line goes round twice
    let twice = (combine::enclosed([ring], other).area() - area.area()).abs();
    if twice > CROSSED * area.area() {
        format!("{twice:.3} mm2 that it goes round twice are {done} by its fill rule, {name}")
    } else {
        format!("its loops, {:.3} mm2 in all, are filled whichever way they turn", area.area())
    }
}
