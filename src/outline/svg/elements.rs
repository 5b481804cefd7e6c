//! Elements that hold others, and which elements are drawn.

use super::beyond::Frame;
use super::gather::joined;
use super::style::property;
use super::transform::Affine;
use super::{Inherited, Reader, drawing_namespace};
use crate::diagnostic::Diagnostic;
use crate::outline::xml::tag;
use roxmltree::Node;

const XLINK: &str = "http://www.w3.org/1999/xlink";

/// Elements drawn, uses counted each time: bounds what nested uses can blow up.
const MOST_ELEMENTS: usize = 200_000;

impl<'a> Reader<'a> {
    /// Draws an element and all in it.
    pub(super) fn element(&mut self, node: Node<'a, 'a>, outer: Inherited) {
        if !drawing_namespace(node) {
            return;
        }
        let name = node.tag_name().name();
        match name {
            "svg" | "g" | "a" | "switch" | "use" | "path" | "rect" | "circle" | "ellipse" | "polygon"
            | "polyline" => {}
            "line" | "text" | "image" | "foreignObject" => {
                if property(node, "display").as_deref() != Some("none") && outer.visible {
                    self.pass(format!("`{name}`"), node);
                }
                return;
            }
            "defs" | "symbol" | "clipPath" | "mask" | "marker" | "pattern" | "linearGradient"
            | "radialGradient" | "filter" | "metadata" | "title" | "desc" | "script" | "style"
            | "animate" | "animateTransform" | "animateMotion" | "set" | "view" | "cursor" | "font"
            | "font-face" | "color-profile" | "hatch" | "solidcolor" | "meshgradient" => return,
            _ => {
                self.pass(format!("`{name}`"), node);
                return;
            }
        }
        self.count += 1;
        if self.count > MOST_ELEMENTS {
            if self.count == MOST_ELEMENTS + 1 {
                let tag = tag(node);
                let d = Diagnostic::error(
                    "outline-too-large",
                    format!("the drawing has more than {MOST_ELEMENTS} elements, uses counted each time"),
                )
                .at(&self.source, tag, "the first beyond");
                self.faults.push(d);
            }
            return;
        }
        let Some(inner) = self.enter(node, outer) else {
            if property(node, "display").as_deref() == Some("none") {
                self.pass(format!("`{name}` that is not displayed"), node);
            }
            return;
        };
        let first = self.drawn.len();
        match name {
            "g" | "a" => {
                for child in node.children().filter(Node::is_element) {
                    self.element(child, inner);
                }
            }
            "switch" => {
                // the first that asks for nothing special
                let child = node.children().filter(Node::is_element).find(|c| {
                    !c.has_attribute("requiredExtensions") && c.tag_name().name() != "foreignObject"
                });
                if let Some(child) = child {
                    self.element(child, inner);
                }
            }
            "svg" => self.viewport(node, node, inner),
            "use" => self.used(node, inner),
            _ => self.shape(node, inner),
        }
        if let Some(id) = node.attribute("id")
            && self.drawn.len() > first
            && !self.shapes.contains_key(id)
        {
            let (area, again) = joined(&self.drawn[first..]);
            for d in again.into_iter().map(|k| &self.drawn[first + k]).filter(|d| d.region) {
                self.regions_again.insert(d.place.start, d.place.end);
            }
            self.shapes.insert(id.to_owned(), area);
        }
    }

    /// A nested `svg`, or a `symbol` drawn by a `use`, which then gives the size.
    pub(super) fn viewport(&mut self, node: Node<'a, 'a>, sized_by: Node<'a, 'a>, inner: Inherited) {
        let [vw, vh] = inner.viewport;
        let own = node.tag_name().name() == "svg";
        // a use places itself; a nested svg has a corner of its own
        let (x, y) = if own {
            match (self.length(node, "x", vw, 0.0), self.length(node, "y", vh, 0.0)) {
                (Some(x), Some(y)) => (x, y),
                _ => return,
            }
        } else {
            (0.0, 0.0)
        };
        let side = |reader: &mut Self, name: &str, whole: f64| {
            let from = if sized_by.has_attribute(name) { sized_by } else { node };
            reader.length(from, name, whole, whole)
        };
        let (Some(w), Some(h)) = (side(self, "width", vw), side(self, "height", vh)) else { return };
        if w <= 0.0 || h <= 0.0 {
            // by the standard nothing is drawn
            self.pass(format!("`{}` without size", node.tag_name().name()), node);
            return;
        }
        let Some((fit, viewport)) = self.view(node, [w, h]) else { return };
        let corner = inner.to_mm.of(Affine::shift(x, y));
        let inside = Inherited { to_mm: corner.of(fit), viewport, ..inner };
        let first = self.drawn.len();
        for child in node.children().filter(Node::is_element) {
            self.element(child, inside);
        }
        if property(node, "overflow").as_deref() != Some("visible") {
            self.look_beyond(&Frame::new(corner, w, h), first, node);
        }
    }

    pub(super) fn used(&mut self, node: Node<'a, 'a>, inner: Inherited) {
        let tag = tag(node);
        let Some(href) = node.attribute("href").or_else(|| node.attribute((XLINK, "href"))) else {
            self.unreadable("`use` names nothing".to_owned(), tag, "no `href`");
            return;
        };
        let Some(target) = href.trim().strip_prefix('#').and_then(|id| self.ids.get(id)).copied() else {
            self.unreadable(format!("there is no element `{href}` in this drawing"), tag, "used here");
            return;
        };
        if self.uses.contains(&target.id()) || node.ancestors().any(|a| a == target) {
            self.unreadable(format!("`{href}` draws itself"), tag, "used here");
            return;
        }
        let [vw, vh] = inner.viewport;
        let (Some(x), Some(y)) = (self.length(node, "x", vw, 0.0), self.length(node, "y", vh, 0.0)) else {
            return;
        };
        let inside = Inherited { to_mm: inner.to_mm.of(Affine::shift(x, y)), ..inner };
        self.uses.push(target.id());
        match target.tag_name().name() {
            "symbol" | "svg" => {
                if let Some(inside) = self.enter(target, inside) {
                    self.viewport(target, node, inside);
                }
            }
            _ => self.element(target, inside),
        }
        self.uses.pop();
    }
}
