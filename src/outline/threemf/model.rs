//! A model part's XML, checked (3MF Core Specification 1.3; 3MF Slice Extension
//! 1.0.2, 3MF Consortium). All lengths come out in mm.

use super::faults::Gathered;
use super::package::Part;
use crate::diagnostic::{Faults, Outcome};
use crate::geom::{Point, pt};
use crate::outline::{reach, xml::tag};
use roxmltree::Node;
use std::collections::BTreeMap;
use std::ops::Range;

const CORE: &str = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02";
const SLICE: &str = "http://schemas.microsoft.com/3dmanufacturing/slice/2015/07";
const PRODUCTION: &str = "http://schemas.microsoft.com/3dmanufacturing/production/2015/06";

/// Extensions that may be required: those that are read, and those that leave
/// the shape alone (colours, names for sets of triangles).
const KNOWN: [&str; 5] = [
    CORE,
    SLICE,
    PRODUCTION,
    "http://schemas.microsoft.com/3dmanufacturing/material/2015/02",
    "http://schemas.microsoft.com/3dmanufacturing/trianglesets/2021/07",
];

/// One model part.
pub(super) struct Model {
    pub(super) objects: BTreeMap<u32, Object>,
    pub(super) stacks: BTreeMap<u32, Stack>,
    pub(super) items: Vec<Use>,
}

/// A resource that can be built.
pub(super) struct Object {
    /// `model`, `support`, `solidsupport`, `surface` or `other`.
    pub(super) kind: String,
    pub(super) stack: Option<u32>,
    pub(super) body: Body,
    pub(super) span: Range<usize>,
}

pub(super) enum Body {
    Mesh { vertices: Vec<[f64; 3]>, triangles: Vec<[u32; 3]> },
    Components(Vec<Use>),
}

/// A build item or a component: an object put somewhere.
#[derive(Clone)]
pub(super) struct Use {
    pub(super) object: u32,
    /// The part that holds the object, when it is another one.
    pub(super) path: Option<String>,
    pub(super) transform: Transform,
    pub(super) span: Range<usize>,
}

/// Slices, or references to stacks of other parts.
pub(super) struct Stack {
    pub(super) bottom_mm: f64,
    pub(super) slices: Vec<Slice>,
    pub(super) references: Vec<Reference>,
    pub(super) span: Range<usize>,
}

pub(super) struct Reference {
    pub(super) stack: u32,
    pub(super) path: String,
    pub(super) span: Range<usize>,
}

pub(super) struct Slice {
    pub(super) top_mm: f64,
    pub(super) polygons: Vec<SlicePolygon>,
    pub(super) span: Range<usize>,
}

pub(super) struct SlicePolygon {
    pub(super) points: Vec<Point>,
    /// The last segment ends at the start.
    pub(super) closed: bool,
    pub(super) span: Range<usize>,
}

/// Twelve numbers, row by row: x' = x m0 + y m3 + z m6 + m9 and so on; the shift
/// in mm.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Transform(pub(super) [f64; 12]);

impl Transform {
    pub(super) const IDENTITY: Self = Self([1.0, 0.0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0]);

    pub(super) fn apply(&self, p: [f64; 3]) -> [f64; 3] {
        let m = &self.0;
        std::array::from_fn(|i| p[0] * m[i] + p[1] * m[3 + i] + p[2] * m[6 + i] + m[9 + i])
    }

    /// This transform first, then `outer`.
    pub(super) fn then(&self, outer: &Self) -> Self {
        let mut out = [0.0; 12];
        for row in 0..4 {
            let v = [self.0[row * 3], self.0[row * 3 + 1], self.0[row * 3 + 2]];
            for col in 0..3 {
                let m = &outer.0;
                out[row * 3 + col] = v[0] * m[col]
                    + v[1] * m[3 + col]
                    + v[2] * m[6 + col]
                    + if row == 3 { m[9 + col] } else { 0.0 };
            }
        }
        Self(out)
    }

    pub(super) fn determinant(&self) -> f64 {
        let m = &self.0;
        m[0] * (m[4] * m[8] - m[5] * m[7]) - m[1] * (m[3] * m[8] - m[5] * m[6])
            + m[2] * (m[3] * m[7] - m[4] * m[6])
    }

    /// Slices stay slices: no tilt, no scale in z.
    pub(super) fn planar(&self) -> bool {
        let m = &self.0;
        let zero = |v: f64| v.abs() <= 0.0;
        zero(m[2]) && zero(m[5]) && zero(m[6]) && zero(m[7]) && zero(m[8] - 1.0)
    }
}

/// Reads a part. `told` collects elements of other namespaces in meshes, which
/// are passed over.
pub(super) fn read(part: &Part, told: &mut BTreeMap<String, usize>) -> Outcome<Model> {
    let doc = part.parse()?;
    let root = doc.root_element();
    if !named(root, CORE, "model") {
        return Err(part.fault(
            "threemf-unreadable",
            format!("`{}` is no 3MF model", root.tag_name().name()),
            tag(root),
        ));
    }
    for prefix in root.attribute("requiredextensions").unwrap_or("").split_whitespace() {
        let uri = root.lookup_namespace_uri(Some(prefix)).unwrap_or(prefix);
        if !KNOWN.contains(&uri) {
            let mut faults = part.fault(
                "threemf-extension",
                format!("the part requires the extension `{prefix}` ({uri}), which is not read"),
                tag(root),
            );
            for d in &mut faults.0 {
                d.help.push("export it as a mesh, or with the slice extension".to_owned());
            }
            return Err(faults);
        }
    }
    let unit_mm = match root.attribute("unit").unwrap_or("millimeter") {
        "micron" => 0.001,
        "millimeter" => 1.0,
        "centimeter" => 10.0,
        "inch" => 25.4,
        "foot" => 304.8,
        "meter" => 1000.0,
        other => {
            return Err(part.fault(
                "threemf-unreadable",
                format!("`{other}` is no unit of 3MF: micron, millimeter, centimeter, inch, foot or meter"),
                tag(root),
            ));
        }
    };
    let reader = Reader { part, unit_mm };
    let mut model = Model { objects: BTreeMap::new(), stacks: BTreeMap::new(), items: Vec::new() };
    let mut faults = Gathered::default();
    for resources in children(root, CORE, "resources") {
        for node in resources.children().filter(Node::is_element) {
            if named(node, CORE, "object") {
                let object = faults.take(reader.object(node, told));
                if let (Some(id), Some(object)) = (faults.take(reader.id(node, "id")), object)
                    && model.objects.insert(id, object).is_some()
                {
                    faults.add(reader.fault(node, "two objects of this part have the same `id`"));
                }
            } else if named(node, SLICE, "slicestack") {
                let stack = faults.take(reader.stack(node));
                if let (Some(id), Some(stack)) = (faults.take(reader.id(node, "id")), stack)
                    && model.stacks.insert(id, stack).is_some()
                {
                    faults.add(reader.fault(node, "two slice stacks of this part have the same `id`"));
                }
            }
        }
    }
    for build in children(root, CORE, "build") {
        for item in children(build, CORE, "item") {
            model.items.extend(faults.take(reader.used(item)));
        }
    }
    faults.or(model)
}

fn named(node: Node<'_, '_>, namespace: &str, name: &str) -> bool {
    node.tag_name().name() == name && node.tag_name().namespace() == Some(namespace)
}

fn children<'a, 'i>(
    node: Node<'a, 'i>,
    namespace: &'static str,
    name: &'static str,
) -> impl Iterator<Item = Node<'a, 'i>> {
    node.children().filter(move |n| named(*n, namespace, name))
}

struct Reader<'p> {
    part: &'p Part,
    unit_mm: f64,
}

impl Reader<'_> {
    fn fault(&self, node: Node<'_, '_>, message: impl Into<String>) -> Faults {
        self.part.fault("threemf-unreadable", message, tag(node))
    }

    fn needed<'a>(&self, node: Node<'a, '_>, name: &str) -> Outcome<&'a str> {
        node.attribute(name)
            .ok_or_else(|| self.fault(node, format!("`{}` has no `{name}`", node.tag_name().name())))
    }

    fn id(&self, node: Node<'_, '_>, name: &str) -> Outcome<u32> {
        self.whole(node, name, self.needed(node, name)?)
    }

    fn whole(&self, node: Node<'_, '_>, name: &str, text: &str) -> Outcome<u32> {
        text.trim().parse().map_err(|_| self.fault(node, format!("`{name}` is no whole number: `{text}`")))
    }

    /// A length in mm.
    fn length(&self, node: Node<'_, '_>, name: &str) -> Outcome<f64> {
        let text = self.needed(node, name)?;
        let v = text.trim().parse::<f64>().ok().filter(|v| v.is_finite()).map(|v| v * self.unit_mm);
        let Some(v) = v else {
            return Err(self.fault(node, format!("`{name}` is no number: `{text}`")));
        };
        if !reach::within([v]) {
            let message = format!("`{name}` is {} mm; {}", reach::short(v), reach::most());
            return Err(self.part.fault("outline-too-large", message, tag(node)));
        }
        Ok(v)
    }

    /// An index into a list of `count`.
    fn index(&self, node: Node<'_, '_>, name: &str, count: usize) -> Outcome<u32> {
        let k = self.id(node, name)?;
        if (k as usize) < count {
            return Ok(k);
        }
        Err(self.fault(node, format!("`{name}` names vertex {k}, there are {count} (counted from 0)")))
    }

    fn object(&self, node: Node<'_, '_>, told: &mut BTreeMap<String, usize>) -> Outcome<Object> {
        let stack = node.attribute((SLICE, "slicestackid"));
        let stack = stack.map(|t| self.whole(node, "slicestackid", t)).transpose()?;
        if let Some(text) = node.attribute((SLICE, "meshresolution"))
            && !["fullres", "lowres"].contains(&text)
        {
            return Err(self.fault(node, format!("`meshresolution` is fullres or lowres, not `{text}`")));
        }
        let body = if let Some(mesh) = children(node, CORE, "mesh").next() {
            for other in mesh.children().filter(Node::is_element) {
                if other.tag_name().namespace() != Some(CORE) {
                    *told.entry(other.tag_name().name().to_owned()).or_default() += 1;
                }
            }
            self.mesh(mesh)?
        } else if let Some(list) = children(node, CORE, "components").next() {
            let mut faults = Gathered::default();
            let uses: Vec<Use> =
                children(list, CORE, "component").filter_map(|c| faults.take(self.used(c))).collect();
            Body::Components(faults.or(uses)?)
        } else if stack.is_some() {
            Body::Components(Vec::new())
        } else {
            return Err(self.fault(node, "the object has neither mesh nor components"));
        };
        let kind = node.attribute("type").unwrap_or("model").to_owned();
        Ok(Object { kind, stack, body, span: tag(node) })
    }

    fn mesh(&self, mesh: Node<'_, '_>) -> Outcome<Body> {
        let mut faults = Gathered::default();
        let (mut vertices, mut count) = (Vec::new(), 0);
        for list in children(mesh, CORE, "vertices") {
            for v in children(list, CORE, "vertex") {
                count += 1;
                vertices.extend(faults.all(["x", "y", "z"].map(|a| self.length(v, a))));
            }
        }
        let mut triangles = Vec::new();
        for list in children(mesh, CORE, "triangles") {
            for t in children(list, CORE, "triangle") {
                triangles.extend(faults.all(["v1", "v2", "v3"].map(|a| self.index(t, a, count))));
            }
        }
        faults.or(Body::Mesh { vertices, triangles })
    }

    fn used(&self, node: Node<'_, '_>) -> Outcome<Use> {
        let transform = match node.attribute("transform") {
            None => Transform::IDENTITY,
            Some(text) => {
                let numbers: Vec<f64> = text
                    .split_whitespace()
                    .map(|w| w.parse::<f64>().ok().filter(|v| v.is_finite()))
                    .collect::<Option<_>>()
                    .unwrap_or_default();
                let mut m: [f64; 12] = numbers
                    .try_into()
                    .map_err(|_| self.fault(node, format!("`transform` is not twelve numbers: `{text}`")))?;
                m[9..].iter_mut().for_each(|v| *v *= self.unit_mm);
                Transform(m)
            }
        };
        let determinant = transform.determinant();
        if !determinant.is_finite() || determinant.abs() <= 0.0 {
            return Err(self.fault(node, "`transform` flattens the object to nothing"));
        }
        Ok(Use {
            object: self.id(node, "objectid")?,
            path: node.attribute((PRODUCTION, "path")).map(str::to_owned),
            transform,
            span: tag(node),
        })
    }

    fn stack(&self, node: Node<'_, '_>) -> Outcome<Stack> {
        let mut faults = Gathered::default();
        let bottom = if node.has_attribute("zbottom") { self.length(node, "zbottom") } else { Ok(0.0) };
        let bottom_mm = faults.take(bottom).unwrap_or(f64::NEG_INFINITY);
        let mut stack = Stack { bottom_mm, slices: Vec::new(), references: Vec::new(), span: tag(node) };
        let mut number = 0;
        for child in node.children().filter(Node::is_element) {
            if named(child, SLICE, "slice") {
                number += 1;
                // the height of a slice at fault is not known: the next one is compared with those before
                let Some(slice) = faults.take(self.slice(child)) else { continue };
                let below = stack.slices.last().map_or(bottom_mm, |s| s.top_mm);
                if slice.top_mm <= below {
                    let message = format!(
                        "slice {number} ends at {} mm, not above the {below} mm where it begins",
                        slice.top_mm
                    );
                    faults.add(self.fault(child, message));
                }
                stack.slices.push(slice);
            } else if named(child, SLICE, "sliceref") {
                let id = faults.take(self.id(child, "slicestackid"));
                let path = faults.take(self.needed(child, "slicepath"));
                let known = id.zip(path).map(|(stack, path)| Reference {
                    stack,
                    path: path.to_owned(),
                    span: tag(child),
                });
                stack.references.extend(known);
            }
        }
        if !stack.slices.is_empty() && !stack.references.is_empty() {
            faults.add(self.fault(node, "a slice stack holds slices or references, not both"));
        }
        faults.or(stack)
    }

    fn slice(&self, node: Node<'_, '_>) -> Outcome<Slice> {
        let mut faults = Gathered::default();
        let mut vertices = Vec::new();
        for list in children(node, SLICE, "vertices") {
            for v in children(list, SLICE, "vertex") {
                // a vertex at fault keeps its place, so that the others keep their numbers
                let at = faults.all(["x", "y"].map(|a| self.length(v, a)));
                vertices.push(at.map_or(pt(0.0, 0.0), |[x, y]| pt(x, y)));
            }
        }
        let mut polygons = Vec::new();
        for polygon in children(node, SLICE, "polygon") {
            polygons.extend(faults.take(self.polygon(polygon, &vertices)));
        }
        let top_mm = faults.take(self.length(node, "ztop")).unwrap_or_default();
        faults.or(Slice { top_mm, polygons, span: tag(node) })
    }

    fn polygon(&self, polygon: Node<'_, '_>, vertices: &[Point]) -> Outcome<SlicePolygon> {
        let mut faults = Gathered::default();
        let start = faults.take(self.index(polygon, "startv", vertices.len()));
        let mut points: Vec<Point> = start.iter().map(|s| vertices[*s as usize]).collect();
        let mut last = start;
        for segment in children(polygon, SLICE, "segment") {
            last = faults.take(self.index(segment, "v2", vertices.len()));
            points.extend(last.map(|v| vertices[v as usize]));
        }
        let closed = last == start && points.len() > 1;
        if closed {
            points.pop();
        }
        faults.or(SlicePolygon { points, closed, span: tag(polygon) })
    }
}
