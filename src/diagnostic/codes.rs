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
        name: "bend-too-tight",
        text: "A course would have to bend tighter than the tow allows. The course is eased, cut or left out there; hold it further from the corner or choose a narrower tow.",
    },
    Code {
        name: "drawing-overlap",
        text: "Two elements of a drawing overlap in part, or the same element is drawn twice. Elements are combined even-odd: what lies in both is a hole. Unite the elements in the drawing program if both are material; an element drawn twice counts once.",
    },
    Code {
        name: "drawing-without-size",
        text: "The drawing gives no page height, neither by `height` nor by `viewBox`. Coordinates count from the page's lower left corner, so it must be known. Write `width`, `height` and `viewBox` in the drawing's first element.",
    },
    Code {
        name: "element-not-read",
        text: "Something in the drawing or part file is passed over because it is no outline or is not supported: text, images, single lines, clipping, style sheets, support objects. Check that nothing of the part is missing.",
    },
    Code {
        name: "element-unreadable",
        text: "An element of the drawing or part file cannot be understood: a number, a path, a transform or a reference is wrong. Nothing is guessed: correct the place shown, or export the file again.",
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
        name: "format-not-yet",
        text: "The outline's format is known but not read by this version. Export the part as .svg, .3mf or .stl.",
    },
    Code {
        name: "format-unknown",
        text: "The outline's file name does not end in a format that is read: .svg, .3mf or .stl.",
    },
    Code {
        name: "layers-differ",
        text: "Objects of one build have different layer heights, or only some of them are sliced, so they make no common layers. Slice all of them alike, or export them as meshes.",
    },
    Code {
        name: "layers-rounded",
        text: "The part's height is not a whole number of layers. All layers keep the height that the process is set for, so the printed height is the nearest whole number of them. Change the layer height or the thickness if the difference matters.",
    },
    Code {
        name: "left-out",
        text: "Part of what the map asks for cannot be laid: the shape is too small, too narrow or bends too tightly for the tow, or a piece would be shorter than the printer can cut and lay. The plan's `left_out` list tells each place.",
    },
    Code {
        name: "mesh-gaps",
        text: "The mesh has cracks between its facets. Gaps up to 0.05 mm are closed in each cross-section with straight pieces; repair the mesh if the place matters.",
    },
    Code {
        name: "mesh-inverted",
        text: "Facets of the mesh face inwards or disagree about which side is inside. Cross-sections are then combined even-odd, which is right unless bodies overlap. Repair the mesh to be sure.",
    },
    Code {
        name: "mesh-non-manifold",
        text: "Edges of the mesh belong to one facet only, or to more than two: it is not one closed surface. Every cross-section could be closed, so the layers stand; look at them, or repair the mesh.",
    },
    Code {
        name: "mesh-open",
        text: "The mesh does not close: a cross-section has a gap too wide to be healed, so inside and outside cannot be told apart. Repair the mesh in the program that made it.",
    },
    Code {
        name: "mesh-unreadable",
        text: "The STL file cannot be read: wrong size, a wrong word or number, no facets, or coordinates that are no numbers. Export it again.",
    },
    Code {
        name: "outline-empty",
        text: "The outline file encloses no area: it is empty, or everything in it was passed over. See the warnings for what was passed over.",
    },
    Code {
        name: "outline-open",
        text: "A contour does not close. An outline must enclose an area: close the path, or join the pieces that make it.",
    },
    Code {
        name: "outline-too-large",
        text: "The outline exceeds what is read: coordinates of 100 m, 20000 layers, or an unpacked part of 256 MiB. Mostly the unit is wrong.",
    },
    Code {
        name: "slices-clockwise",
        text: "All contours of a slice run clockwise. The slice extension counts clockwise contours as holes, so they enclose nothing and the layer is empty. Export the file with outer contours counter-clockwise.",
    },
    Code {
        name: "thickness-missing",
        text: "The outline is a flat drawing and nothing says how thick the part is. Write `thickness_mm` under `[part]`, or give groups of the drawing a range of heights with `data-z-mm`.",
    },
    Code {
        name: "thickness-unused",
        text: "The job gives `thickness_mm` for an outline that has layers or a height of its own; the file's heights hold.",
    },
    Code {
        name: "threemf-extension",
        text: "The 3MF file requires an extension that is not read, so its shape cannot be known. Export it as core mesh or with the slice extension.",
    },
    Code {
        name: "threemf-unreadable",
        text: "The 3MF file cannot be read: the package is damaged, a part is missing, or its content breaks the format. Export it again.",
    },
    Code {
        name: "xml-unreadable",
        text: "The file is not well-formed XML in UTF-8. Correct the place shown, or export the file again.",
    },
];
