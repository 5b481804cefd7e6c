//! The table of codes: `towpath explain CODE` prints from here.

/// A code and its explanation.
#[derive(Debug)]
pub struct Code {
    /// The stable name, as in `error[unknown-key]`.
    pub name: &'static str,
    /// A few sentences: what it means, why it is refused, what to do.
    pub text: &'static str,
}

/// The code with a name.
pub fn find(name: &str) -> Option<&'static Code> {
    ALL.iter().find(|c| c.name == name)
}

/// Every code, in alphabetical order. A new code is one more row.
pub static ALL: &[Code] = &[
    Code {
        name: "bed-full",
        text: "The part, or the number of copies asked for, does not fit on the part of the bed that both heads reach, with the printer's gap between copies.",
    },
    Code {
        name: "bend-too-tight",
        text: "A course would have to bend tighter than the tow allows. The course is eased, cut or left out there; hold it further from the corner or choose a narrower tow.",
    },
    Code {
        name: "block-fails",
        text: "A program text of the printer profile cannot be rendered: it uses a name that does not exist, or its template syntax is wrong. `towpath printer check FILE` lists the names.",
    },
    Code {
        name: "ends-close",
        text: "Closed courses begin and end at the same place in every layer unless they are staggered; ends above one another weaken the part (staggering ply ends is common practice). A loop that is too short leaves no room for the distance asked for.",
    },
    Code {
        name: "file-missing",
        text: "A file that the job, a profile or the command line names is not there. Relative paths start at the folder of the file that names them.",
    },
    Code {
        name: "file-too-large",
        text: "The file is larger than towpath reads, 1 GiB. Split the part, or write the outline with fewer points.",
    },
    Code {
        name: "file-unreadable",
        text: "The file is there but cannot be read: it is a folder, or its permissions forbid it.",
    },
    Code {
        name: "id-missing",
        text: "A region's shape names an element of the drawing by its id, and the drawing has no closed element with that id.",
    },
    Code {
        name: "layer-missing",
        text: "A region asks for a layer that the part does not have. Layers are numbered from 1 at the bed.",
    },
    Code {
        name: "layers-empty",
        text: "A region gives a range of heights, and no layer of the part has its middle in it.",
    },
    Code {
        name: "left-out",
        text: "Part of what the map asks for cannot be laid: the shape is too small, too narrow or bends too tightly for the tow, or a piece would be shorter than the printer can cut and lay. The plan's `left_out` list tells each place.",
    },
    Code {
        name: "out-of-reach",
        text: "A head would have to go where it cannot: the part or a lift above it lies outside the reach that the printer profile gives for that head.",
    },
    Code {
        name: "rule-shape",
        text: "The rule of a region and its shape do not go together: unidirectional courses fill an area, and a hole is none.",
    },
    Code {
        name: "shape-outside",
        text: "A region's shape, or the hole that it names, lies outside the part in every layer that the region asks for. Coordinates are the outline file's own, in mm.",
    },
];
