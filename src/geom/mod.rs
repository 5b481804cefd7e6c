//! Plane geometry: points, paths of lines and arcs, polygons and what is done to
//! them; a point that trails behind another one. Knows nothing of tow, matrix or
//! printers.

pub mod arc;
pub mod bend;
mod biarc;
pub mod combine;
pub mod followable;
pub mod grid;
pub mod hatch;
mod leadable;
pub mod leading;
pub mod nearest;
pub mod offset;
pub mod path;
pub mod point;
pub mod polygon;
pub mod polyline;
pub(crate) mod shortest;
pub mod smooth;
pub mod swing;
pub mod tractrix;
pub mod trig;

pub use arc::Arc;
pub use path::{Path, Segment};
pub use point::{Point, pt};
pub use polygon::{Area, Bounds, Polygon, Ring};
