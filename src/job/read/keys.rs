//! The job's keys.

use crate::job::series;
use crate::job::table::{DIRECTION, Key, Kind, LARGEST_MM, Need, Table, Words, above_zero, between};

/// The job's format.
pub(crate) static JOB: Table = Table {
    text: "A job: one part, the machine and materials that it is made with, and how.",
    keys: &[
        Key { name: "part", kind: Kind::Table(&PART), need: Need::Required, text: "the part" },
        Key {
            name: "build",
            kind: Kind::Table(&BUILD),
            need: Need::Required,
            text: "the machine, the materials, the layers",
        },
        Key {
            name: "matrix",
            kind: Kind::Table(&BEADS),
            need: Need::Empty,
            text: "how matrix beads are laid",
        },
        Key {
            name: "reinforcement",
            kind: Kind::Table(&REINFORCEMENT),
            need: Need::Empty,
            text: "what tow is laid where; left out: matrix alone",
        },
        Key {
            name: "cost",
            kind: Kind::Table(&series::COST),
            need: Need::Optional,
            text: "rates of your shop, for `towpath estimate`",
        },
        Key {
            name: "press",
            kind: Kind::Table(&series::PRESS),
            need: Need::Optional,
            text: "how the preform is pressed",
        },
        Key {
            name: "machined",
            kind: Kind::Table(&series::MACHINED),
            need: Need::Optional,
            text: "the machined part that this one replaces",
        },
        Key {
            name: "insert",
            kind: Kind::Tables(&series::INSERT),
            need: Need::Optional,
            text: "pieces that go into each part",
        },
        Key {
            name: "lots",
            kind: Kind::Table(&LOTS),
            need: Need::Optional,
            text: "what the materials' labels say, for the header of the program",
        },
        later("load"),
        later("piece"),
    ],
};

const fn later(name: &'static str) -> Key {
    Key {
        name,
        kind: Kind::Later("take the table out, or use a version that knows it"),
        need: Need::Optional,
        text: "",
    }
}

static PART: Table = Table {
    text: "The part.",
    keys: &[
        Key {
            name: "name",
            kind: Kind::Text,
            need: Need::Required,
            text: "name of the part; output files are called after it",
        },
        Key {
            name: "outline",
            kind: Kind::Text,
            need: Need::Required,
            text: "the part's cross-sections: .svg, .dxf, .3mf, .stl or .cli, relative to this file",
        },
        Key {
            name: "thickness_mm",
            kind: Kind::Number(above_zero(LARGEST_MM)),
            need: Need::Optional,
            text: "only for an outline that has no layers or height of its own",
        },
        Key {
            name: "unit",
            kind: Kind::Word(Words { now: &["mm", "cm", "m", "in"], later: &[] }),
            need: Need::Optional,
            text: "only for outline files that carry none, as .stl or .dxf without $INSUNITS; left out = mm",
        },
    ],
};

static BUILD: Table = Table {
    text: "The machine, the materials, the layers.",
    keys: &[
        Key {
            name: "printer",
            kind: Kind::Text,
            need: Need::Required,
            text: "a built-in profile's name (`towpath printer list`), or a path to a .toml",
        },
        Key {
            name: "matrix",
            kind: Kind::Text,
            need: Need::Required,
            text: "a built-in matrix's name (`towpath material list`), or a path to a .toml",
        },
        Key {
            name: "tow",
            kind: Kind::Text,
            need: Need::Required,
            text: "a built-in tow's name (`towpath material list`), or a path to a .toml",
        },
        Key {
            name: "layer_height_mm",
            kind: Kind::Number(between(0.02, 2.0)),
            need: Need::Number(0.2),
            text: "height of a layer; outlines that come already layered keep their own",
        },
        Key {
            name: "copies",
            kind: Kind::Integer(1, 1000),
            need: Need::Integer(1),
            text: "parts on one bed",
        },
        Key {
            name: "course_deviation_mm",
            kind: Kind::Number(between(0.01, 0.1)),
            need: Need::Number(0.02),
            text: "largest distance between a course and the line that its rule asks for: further off it takes the room of its neighbours, nearer than the chords of drawings allow rings break up",
        },
        Key {
            name: "end_stagger_mm",
            kind: Kind::Number(between(0.0, 1000.0)),
            need: Need::Number(10.0),
            text: "least distance between the ends of closed courses in neighbouring layers",
        },
    ],
};

static LOTS: Table = Table {
    text: "Material lots, so that a part can be traced back to them.",
    keys: &[
        Key { name: "matrix", kind: Kind::Text, need: Need::Optional, text: "lot of the matrix" },
        Key { name: "tow", kind: Kind::Text, need: Need::Optional, text: "lot of the tow" },
    ],
};

static BEADS: Table = Table {
    text: "How matrix beads are laid.",
    keys: &[
        Key {
            name: "perimeters",
            kind: Kind::Integer(0, 100),
            need: Need::Integer(2),
            text: "closed beads along every boundary, fibre stays inside them",
        },
        Key {
            name: "bead_width_mm",
            kind: Kind::Number(between(0.1, 2.0)),
            need: Need::Number(0.5),
            text: "width of a bead, at least the layer height; nozzles of 0.2 to 1.5 mm lay 0.2 to 2 mm, and nothing wider fits between tows",
        },
        Key {
            name: "fill",
            kind: Kind::Word(Words { now: &["parallel", "contour", "none"], later: &[] }),
            need: Need::Word("parallel"),
            text: "how the inside is filled: parallel beads, beads along the boundary, or not at all",
        },
        Key {
            name: "fill_angles_deg",
            kind: Kind::Numbers(DIRECTION, 1, 1000),
            need: Need::Numbers(&[45.0, -45.0]),
            text: "directions of parallel fill, one per layer, in turn",
        },
        Key {
            name: "fill_fraction",
            kind: Kind::Number(between(0.0, 1.0)),
            need: Need::Number(1.0),
            text: "share of what fibre and perimeters leave that is filled",
        },
    ],
};

static REINFORCEMENT: Table = Table {
    text: "What tow is laid where.",
    keys: &[Key {
        name: "map",
        kind: Kind::Text,
        need: Need::Optional,
        text: "the reinforcement map, relative to this file; left out: matrix alone",
    }],
};
