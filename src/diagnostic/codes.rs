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
        name: "angle-off",
        text: "Tow of a region lies far off the direction that the map asks for, in the mean over its length. Turns that join rows too short to be laid alone do so, and fields that turn more tightly than tow can bend. Stiffness along the direction falls with the fourth power of the angle's cosine: 10 degrees cost 6 %, 20 degrees 22 %. The plan file tells mean, worst and place for each layer.",
    },
    Code {
        name: "bead-section",
        text: "A bead would be narrower than its layer is high. A bead is laid flat under the nozzle: its width is at least the layer height. Make `bead_width_mm` larger or `layer_height_mm` smaller.",
    },
    Code {
        name: "bed-full",
        text: "The part, or the number of copies asked for, does not fit on the part of the bed that both heads reach, with the printer's gap between copies.",
    },
    Code {
        name: "bend-radius-too-small",
        text: "A region asks for a smaller bend radius than the tow keeps. `min_bend_radius_mm` may only be larger than the tow's own. Leave it out, or choose a narrower tow.",
    },
    Code {
        name: "bend-too-tight",
        text: "A course would have to bend tighter than the tow allows. The course is eased, cut or left out there; hold it further from the corner or choose a narrower tow.",
    },
    Code {
        name: "block-lacks",
        text: "The block `start` of the printer profile does not do what most printers have to be told before a part: home, heat the bed and the chamber and wait for the bed, say whether E counts from its last restart (M82) or move by move (M83). A controller may do some of it by itself or by other words, so this is a warning; where it does not, the program runs into the bed, on a cold bed or with every feed wrong. The program sets mm (G21) and G90 itself.",
    },
    Code {
        name: "block-template",
        text: "A block of the printer profile cannot be worked out: the template is broken, or it uses a name that there is not. `towpath schema printer` lists the blocks and the names that they know. `towpath printer check FILE` finds all such faults.",
    },
    Code {
        name: "block-words",
        text: "A block of the printer profile writes something that a program must not hold: a word outside RS-274 and `E`, a comment in another style than the profile's, a `T` that would select a head, a move where the planner counts on none, an arc for a controller without arcs, a temperature above what the machine gets, what E counts from to the contrary of `extrusion`, or a cut that dwells for longer than `times.cut_s` or for next to no time, by the unit that `dwell_unit` says.",
    },
    Code {
        name: "cli-unreadable",
        text: "The layer file (Common Layer Interface) cannot be read: its header lacks something, a command is damaged or not of the format, or the file is cut off. The message has the line, in a binary file the byte. Export it again.",
    },
    Code {
        name: "command-line",
        text: "The command line has a word that towpath does not know, lacks one that it needs, or has a value that is none. `towpath help` tells the commands, `--help` behind one of them what belongs to it.",
    },
    Code {
        name: "contour-turned",
        text: "A layer file says of each contour whether it is outer or inner, and turns outer ones counter-clockwise. Some turn the other way than is said of them. What is said holds: look at the layers.",
    },
    Code {
        name: "drawing-overlap",
        text: "Two elements of a drawing overlap in part, or the same element is drawn twice: what encloses the same within 0.01 mm is the same, however it is drawn. Elements are combined even-odd: what lies in both is a hole. Unite the elements in the drawing program if both are material; an element drawn twice counts once.",
    },
    Code {
        name: "drawing-without-size",
        text: "The drawing gives no page height, neither by `height` nor by `viewBox`. Coordinates count from the page's lower left corner, so it must be known. Write `width`, `height` and `viewBox` in the drawing's first element.",
    },
    Code {
        name: "drawing-without-unit",
        text: "Neither `width` nor `height` of the drawing's first element has a unit. By the standard its lengths are then px, 96 to the inch, so that a drawing meant in mm comes out at about a quarter of its size. Write the unit, for example `width=\"110mm\" height=\"34mm\" viewBox=\"0 0 110 34\"`, or `px` where px are meant.",
    },
    Code {
        name: "duplicate-name",
        text: "Two regions of a map have the same name, or two elements of a drawing the same id. The plan and the messages tell regions apart by their names, and a map finds shapes by their ids, the first of them: give each its own.",
    },
    Code {
        name: "dxf-unreadable",
        text: "The DXF drawing cannot be read: it is binary, a group code or number is damaged, an entity lacks something or does not lie in the xy plane, or its unit is none that is read. The message has the line. Export it again as ASCII DXF.",
    },
    Code {
        name: "element-not-read",
        text: "Something in the drawing or part file is passed over because it is no outline or is not supported: text, images, single lines, clipping, style sheets, widths of DXF polylines, drawings in other files, scraps of lines, support objects, groups that lie between the middles of two layers. Check that nothing of the part is missing.",
    },
    Code {
        name: "element-unreadable",
        text: "An element of the drawing or part file cannot be understood: a number, a path, a transform or a reference is wrong. Nothing is guessed: correct the place shown, or export the file again.",
    },
    Code {
        name: "ends-close",
        text: "Closed courses begin and end at the same place in every layer unless they are staggered; ends above one another weaken the part (staggering ply ends is common practice). A loop that is too short leaves no room for the distance asked for.",
    },
    Code {
        name: "field-clash",
        text: "Two points of a direction field lie at the same place and ask for directions that differ by more than a degree. A direction between them is taken, by weight. Keep the point that is meant; where directions jump, as between two cells of a mesh, set the points a little apart.",
    },
    Code {
        name: "field-elsewhere",
        text: "No point of a direction field lies within the bounds of the region that it steers, so its directions are those of points outside. Fields count in mm, in the outline's coordinates: look at the unit, and at where the origin of each file is.",
    },
    Code {
        name: "field-syntax",
        text: "A line of a direction field cannot be read. A field is a table of comma-separated values, one point a line: x_mm, y_mm, angle_deg and, if wanted, a weight above 0. Its first line may name the columns; lines that begin with # are passed over. Angles are degrees from +x and have no sense.",
    },
    Code {
        name: "file-missing",
        text: "A file that the job, a profile or the command line names is not there. Relative paths start at the folder of the file that names them; the message says which folder that is.",
    },
    Code {
        name: "file-of-another-kind",
        text: "A file plainly is another one than is expected in its place: a map where a printer profile is named, a drawing where a map is. Look at the names in the job and in the map, and at the order on the command line.",
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
        name: "fit-off",
        text: "No values of the profile make a program take the time that was read off: the best fit is still off by more than 3 % and more than 3 s. Nothing was written. Look for the wrong program or a time misread, for a profile of another machine, and for a bed that was hot (`--hot`) or cold. Values that the times given cannot tell apart stay as the profile has them; where these are what is wrong, time another program that tells them apart, as those of `towpath printer trial`.",
    },
    Code {
        name: "fit-pairs",
        text: "`towpath printer fit` needs one `--took` for each `--program`, in the same order; the exit status is 2.",
    },
    Code {
        name: "fit-profile",
        text: "A fitted value could not be put into the profile's text, because its table is written in a way that leaves no line for a new key. The value is told: write it yourself.",
    },
    Code {
        name: "format-unknown",
        text: "The outline's file name does not end in a format that is read: .svg, .dxf, .3mf, .stl or .cli.",
    },
    Code {
        name: "hole-missing",
        text: "A region asks for a hole, and none of its layers has one there: `hole_at_mm` takes the hole that holds the point, or whose edge is nearest and within 5 mm. A hoop needs a hole; other shapes take `contour`.",
    },
    Code {
        name: "hoop-open",
        text: "None of the courses that a region of hoops or contours asks for by number closes in any layer. Tow round a hole carries load as a loop: in open pieces it goes round nothing, and holds little. Mostly another region is laid before it across its way, or there is no room for a loop between the hole, the boundary and what perimeters leave. Spirals count as closed.",
    },
    Code {
        name: "id-missing",
        text: "A region's shape names an element of the drawing by its id, and the drawing has no closed element with that id.",
    },
    Code {
        name: "idle-reach",
        text: "Both heads hang on one carriage, and while one of them works at the edge of the bed the other one would be beyond its reach. Mostly the head's offset was not counted in `reach_mm`: on one carriage it is the other head's reach, moved by the offset. Parts that lie where both get to can be made; others end in a fault of the check `reach`.",
    },
    Code {
        name: "input-missing",
        text: "The file named on the command line is not there. Nothing was done; the exit status is 2.",
    },
    Code {
        name: "input-unreadable",
        text: "The file named on the command line cannot be read: it is a folder, too large, or its permissions forbid it. Nothing was done; the exit status is 2.",
    },
    Code {
        name: "key-unused",
        text: "A key is right but has no effect here, because of what else is said. Take it out if that is what you mean.",
    },
    Code {
        name: "lapping",
        text: "Beads as drawn lie on tow by more than a hundredth of its area in some layer: slots between courses change their width faster than beads can follow. There the layer stands a little high and is short of matrix elsewhere; pressing evens it out.",
    },
    Code {
        name: "layer-empty",
        text: "A layer below others has no outline: nothing is laid in it, and what is laid over it hangs in the air. In a layered drawing the heights of the groups have to follow each other without gaps; a mesh may have a cavity across its whole section.",
    },
    Code {
        name: "layer-missing",
        text: "A region asks for a layer that the part does not have. Layers are numbered from 1 at the bed.",
    },
    Code {
        name: "layer-too-thin",
        text: "A layer is thinner than the tow. There are two limits: the tow's section spread over its width, `area_mm2` / `width_mm`, below which the course cannot be laid, an error; and above it the height that the profile states, `height_mm`, below which tow is pressed flatter than stated, a warning.",
    },
    Code {
        name: "layers-differ",
        text: "Objects of one build have different layer heights, or only some of them are sliced, so they make no common layers. Slice all of them alike, or export them as meshes.",
    },
    Code {
        name: "layers-empty",
        text: "A region gives a range of heights, and no layer of the part has its middle in it.",
    },
    Code {
        name: "layers-rounded",
        text: "The part's height is not a whole number of layers. All layers keep the height that the process is set for, so the printed height is the nearest whole number of them. Change the layer height or the thickness if the difference matters.",
    },
    Code {
        name: "layers-syntax",
        text: "The layers of a region are written \"all\", \"4\", \"3-17\", \"3-17/2\" (every second), or as heights \"z 0.6-3.4\" in mm: layers whose middle lies there. Layers count from 1.",
    },
    Code {
        name: "left-out",
        text: "Part of what the map asks for cannot be laid: the shape is too small, too narrow or bends too tightly for the tow, or a piece would be shorter than the printer can cut and lay. Its reasons: no room beside the boundary or other courses, or no room for so many of the hoops or straps asked for (fewer `courses`, a smaller `spacing_mm` or one perimeter less make room); would come nearer than a tow's width to itself (a narrow neck or an end that meets its own start: fewer courses there); bends tighter than the tow allows (round the corner, or a tow that bends tighter); shorter than can be cut and laid (a printer whose cutter is nearer the nozzle; straps or joined rows instead of short ones) or rows too short for the turns that would join them; no course of the shortest length follows the field there (a wider region, or a field that turns less); tow that trails the nozzle would lie off its line (a larger `min_bend_radius_mm` brings it nearer); no course fits beside the others (a shape too narrow in the middle). The warning names the largest sums by region and reason. The plan's `left_out` list tells each place, length and reason, for one part; what is shorter than 1 mm is summed there by region, layer and reason.",
    },
    Code {
        name: "material-temperature",
        text: "A matrix file contradicts itself: its process temperature lies outside its own range, or the range is upside down.",
    },
    Code {
        name: "meets-alone",
        text: "A region says that it meets others half and half (`butt`) or turn about (`weave`), and overlaps none that says the same, only such as say otherwise or nothing. It takes both: as it stands they meet by priority. Write the word in both regions, or take it out.",
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
        name: "missing-key",
        text: "A key or a table that is needed is not there. The message names it; `towpath schema` prints every key of every file.",
    },
    Code {
        name: "not-utf8",
        text: "The file is not UTF-8 text. TOML is UTF-8 by definition; save the file in that encoding.",
    },
    Code {
        name: "not-yet",
        text: "The word is known, but this version makes no use of it. It is refused rather than passed over, so that no part is made without it unnoticed.",
    },
    Code {
        name: "nothing-laid",
        text: "No layer has room for a course or a bead: the part is far smaller than a bead is wide, or nothing is asked for. Most often the outline file's unit is not the one that the job says.",
    },
    Code {
        name: "one-of",
        text: "Exactly one of several keys is needed here, and there is none or more than one.",
    },
    Code {
        name: "out-of-range",
        text: "A value lies outside what makes sense for its key. The message tells the range; units are the key's suffix.",
    },
    Code {
        name: "out-of-reach",
        text: "A head would have to go where it cannot: the part or a lift above it lies outside the reach that the printer profile gives for that head.",
    },
    Code {
        name: "outline-apart",
        text: "The outline is several bodies: pieces of layers that no layer above or below joins. They are planned as one part, in one order of layers, and regions that take the outline cover all of them. Mostly a drawing holds more than the part: a frame, a second view, another part. Several equal parts on a bed are `[build] copies`; different ones are jobs of their own.",
    },
    Code {
        name: "outline-crossed",
        text: "A line of the drawing crosses itself. What it goes round twice is filled by the fill rule `nonzero` and left out by `evenodd`, which may not be what was meant; the message says which.",
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
        name: "outline-thin",
        text: "The part is less than half a layer high: no number of layers comes near its height. Check the unit, the thickness and the layer height.",
    },
    Code {
        name: "outline-too-large",
        text: "The outline exceeds what is read: coordinates of 100 m, 20000 layers, an unpacked part of 256 MiB, 24 million tags and attributes of XML, 4 million points of a DXF drawing or 10 million of another one. Mostly the unit is wrong.",
    },
    Code {
        name: "output-exists",
        text: "A file that is somebody's work would be written over: a new job or profile where one is there already, a picture where a drawing or another file of the job has its name, a sheet of trials that has been filled in. Nothing is overwritten and nothing was written: choose another name or another folder.",
    },
    Code {
        name: "output-of-another-job",
        text: "The folder holds a program, a plan and a report of the same name that were made by a job or from an outline of another name. They are replaced. Where that is not meant, give the part another `name`, or plan into a folder of its own.",
    },
    Code {
        name: "output-unwritable",
        text: "The output could not be written: the folder cannot be made, the disk is full, or permissions forbid it. No output file was left half written; the exit status is 2.",
    },
    Code {
        name: "picture-name",
        text: "The name given for a picture does not say what to write. The ending decides: .svg for lines and lettering at the scale in the title block, .png for pixels, 8 a millimetre of the sheet.",
    },
    Code {
        name: "pin-in-no-hole",
        text: "A pin of a strap stands in none of the holes that the part has in that layer. Straps are laid round the pin as given, all the same. Mostly a coordinate is mistyped: the strap would then lie beside the hole that takes the load. Where the hole is only drilled later this is as it should be.",
    },
    Code {
        name: "pin-off-hole",
        text: "A pin of a strap stands in a round hole of the part, but its centre or its radius is more than 0.5 mm off those of the hole. Straps go round the pin as given and the hole, whichever stands out, so they lie away from one of them. Mostly the radius is a diameter, or a coordinate is mistyped.",
    },
    Code {
        name: "pin-twice",
        text: "Two pins of a strap are the same, in place and radius. A strap goes round it once. Mostly one of them was meant to stand elsewhere.",
    },
    Code {
        name: "plan-unreadable",
        text: "The plan given to `towpath verify` is not a plan in the format `towpath-plan/1`, or it is cut off. Give the NAME.plan.json that was written together with the program.",
    },
    Code {
        name: "planner-fault",
        text: "The program that was just planned does not pass its own check. This is a fault of towpath, or of a printer profile whose blocks contradict its figures, not of your part; nothing was written. Report it with the job. `--no-verify` writes the program all the same, for looking at: do not run it.",
    },
    Code {
        name: "polymer-mismatch",
        text: "The tow is impregnated with another polymer than the matrix. Different polymers mostly do not weld, and their melting temperatures differ: choose a tow and a matrix of the same polymer. Among PEEK, PEKK, PAEK and PEI it is only a warning: they weld to each other.",
    },
    Code {
        name: "profile-geometry",
        text: "The rectangles and lines of the printer profile do not fit each other: the bed must lie within the reach of both heads, the purge line within that of the matrix head and off the bed, parking places and docks within that of their head and off the bed, both heads have to reach enough in common for a course, where both hang on one carriage the idle nozzle is above the other one, and only heads that park or dock have places for it.",
    },
    Code {
        name: "profile-limits",
        text: "The limits of the printer profile contradict each other: a speed above that of its axis or feed, one tool number for both heads, or a heater whose time constant keeps it from getting as hot as it is to get.",
    },
    Code {
        name: "profile-not-measured",
        text: "Half or more of the values of a printer profile that are to be measured on the machine (cutter to nozzle, offsets, reach, heating, times) are still those of a built-in printer, with which `printer new` begins too. They are invented, for a machine that does not exist: a program made with them can cut the tow at the wrong place or drive a head into something. The profile that `towpath printer new` writes says above each key how its value is found.",
    },
    Code {
        name: "program-unread",
        text: "A program was given to be timed, and nothing in it could be: it selects none of the printer's heads. Heads are selected by `T` on a line of its own; the numbers stand under `[tools]` in the printer profile.",
    },
    Code {
        name: "rate-missing",
        text: "A quote needs a rate that the job does not give. Rates are the user's and none is made up: the figures that need it stay unknown, the others hold. Type the rates into the job's tables `[cost]`, `[press]`, `[machined]` and `[[insert]]`; `towpath schema job` tells what each means.",
    },
    Code {
        name: "region-empty",
        text: "A region of the map gets no tow at all: in every layer that it names its shape is too small, within what perimeters take, too narrow, taken by regions of higher priority, or not there; or its bends are too narrow for how far the tow trails the nozzle. The rest of the map is laid as it stands.",
    },
    Code {
        name: "rule-shape",
        text: "The rule of a region and its shape do not go together: unidirectional courses fill an area, and a hole is none.",
    },
    Code {
        name: "shape-empty",
        text: "A region's shape encloses nothing: a polygon whose corners lie on a line, a circle without radius, or `outline = false`.",
    },
    Code {
        name: "shape-outside",
        text: "A region's shape, or the hole that it names, lies outside the part in every layer that the region asks for. Coordinates are the outline file's own, in mm.",
    },
    Code {
        name: "slices-clockwise",
        text: "All contours of a slice run clockwise. The slice extension counts clockwise contours as holes, so they enclose nothing and the layer is empty. Export the file with outer contours counter-clockwise.",
    },
    Code {
        name: "spacing-too-small",
        text: "Courses would lie on one another: `spacing_mm` is centre to centre and at least the tow's width. Leave it out to lay tow beside tow.",
    },
    Code {
        name: "spiral-not-wound",
        text: "A region with `spiral = true` is laid in closed courses all the same: between two of them there is no way over that keeps the bend radius and a tow's width from both. No cut is saved then, and the courses keep the little more room that a spiral's bends would have needed. Leave the key out, or give the region more or longer courses.",
    },
    Code {
        name: "strap-bent",
        text: "A strap is led round a hole in which none of its pins stands, because more straps close that way: the hole lies in the way of a side, or in the middle of a narrow arm. A strap in tension pulls straight, so it presses on that hole's edge, and what it carries is less than straight sides would. Fewer courses may pass beside the hole. Where the hole is to guide the strap, name it as a pin of the region.",
    },
    Code {
        name: "strap-open",
        text: "None of a region's straps closes round all of its pins in some layer. What turns about a single pin is laid as far as there is room, but a strap carries load as a loop: open, it ties no pin to another. Mostly a pin does not stand in its hole, two stand in different bodies, or another region is laid before it across its way; else there is no way round all of them within the bend radius and the room that perimeters leave.",
    },
    Code {
        name: "strips-porous",
        text: "A strip of tow is more pore than tow before pressing: a course takes its whole width times the layer's height, and the tow's own section, `area_mm2`, is less than half of it. Pressing has to close that, so the layer loses more than half of its height there, and where less tow lies beside it the press finds uneven ground. Lower layers leave less: `[build] layer_height_mm` from the height that the tow states, `height_mm`, up to twice `area_mm2` / `width_mm`. Bead widths may stay.",
    },
    Code {
        name: "system",
        text: "The system refused what the program needs to work at all, such as threads. The message has its words; end other programs, or ask for fewer threads with `-j`. The exit status is 2.",
    },
    Code {
        name: "temperature-limit",
        text: "A material needs more heat than the printer gives. For a head that is an error; for the bed or the chamber it is a warning, and what they reach is used. For the small program of `towpath printer check` it is a warning: where a head gets hot enough for no built-in material, the program is written as hot as the head gets, shows the moves, and would not melt what it names.",
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
        name: "toml-syntax",
        text: "The file is not TOML. The marked place is where reading failed; the cause may stand just before it. Text is in quotes, a table starts with its name in brackets, each key stands on its own line.",
    },
    Code {
        name: "tow-bend",
        text: "The smallest bend radius of a tow is no more than half its width: the inner edge of such a bend would have no radius at all, and its edges would be strained by 100 % or more, width / (2 radius). `min_bend_radius_mm` is of the centre line of the tow laid flat; most tows take a strain of 5 to 15 %.",
    },
    Code {
        name: "tow-density",
        text: "The density of a tow does not go together with its fibre: by the rule of mixtures the rest would be lighter or heavier than any polymer. Check areas and densities.",
    },
    Code {
        name: "tow-section",
        text: "The cross-sections of a tow contradict each other: the fibre does not fit the tow, the tow does not fit its width and height, or the fibre area is not that of its filaments.",
    },
    Code {
        name: "tow-wrinkles",
        text: "Steered flat, the inner edge of a tow is compressed and the outer stretched by width / (2 radius). Beyond the strain that the tow's profile gives as `wrinkle_strain` it buckles, twists or lifts. Ask for a larger `min_bend_radius_mm` in the regions named, or use a narrower tow.",
    },
    Code {
        name: "trail-bends",
        text: "Tow that trails the nozzle (`trail_mm`) does not bend as the nozzle's way does: where one bend goes over into another it may for a little way bend tighter than the radius that the nozzle keeps. The nozzle is led so that it does not, within 2 %; these are the places where no such way was found that has room and leaves the tow near its line. Ask for a somewhat larger `min_bend_radius_mm` there. The plan gives the tightest bend of each course as laid (`laid.min_bend_radius_mm`), and edge strain is reckoned with it.",
    },
    Code {
        name: "trail-off",
        text: "The tow's profile says that it comes to lie behind the nozzle (`trail_mm`). Courses are led so that the tow lands on the line wanted; where a bend follows a straight too suddenly for that, it lands beside it, and so do the ends of a course in a bend, whose last stretch lies straight. The plan gives the line as laid, and cover is counted there.",
    },
    Code {
        name: "trial-impossible",
        text: "A machine trial has no room on the bed that both heads reach, or a course of it is shorter than the printer can cut and lay. `bed_mm`, `reach_mm`, `cutter_to_nozzle_mm` and `anchor_mm` decide.",
    },
    Code {
        name: "unfilled",
        text: "Between perimeters, beads and courses more than a hundredth of some layer stays bare: too narrow for a bead, or between beads whose widths change. Pressing closes such gaps when matrix flows into them; much of it shows as porosity.",
    },
    Code {
        name: "unit-doubtful",
        text: "The outline file has no unit and the job gives none, so its numbers are taken as mm, and the part is smaller across than any that tow is laid in. Mostly the file is in inches or metres: write `unit = \"in\"` or what it is under `[part]`; `unit = \"mm\"` if it is right.",
    },
    Code {
        name: "unknown-code",
        text: "There is no diagnostic of this name. `towpath explain` takes the word in brackets of a message, as `unknown-key`.",
    },
    Code {
        name: "unknown-key",
        text: "A key is not known where it stands. Unknown keys are refused so that a misspelt one does not go unnoticed. `towpath schema` prints every key of every file.",
    },
    Code {
        name: "unknown-name",
        text: "A name is not one of those possible here: a built-in printer or material, or a word from a fixed list. `towpath printer list` and `towpath material list` show what is built in.",
    },
    Code {
        name: "unsupported",
        text: "A layer reaches further over the one below it than a bead is wide, or over ground that `fill = \"none\"` leaves open: beads and tow there are laid on nothing. They sag, beads come off, and tow that is drawn over the place leaves its line. The warning names the layer with most tow so, the area beyond what is laid below, a place in the largest, the length of tow more than half its width beyond, all of one part, and the other layers. Slopes whose layers step by up to a bead's width, and tow that spans up to 10 mm between strips where nothing is filled, are not told. Turn the part over so that it grows narrower upwards, divide it and join the pieces, or stand a block under the place that is taken out afterwards. What a mould holds later is no help while it is printed.",
    },
    Code {
        name: "wrong-type",
        text: "A value is not of the kind that its key takes, as text where a number belongs. Numbers stand without quotes, text with.",
    },
    Code {
        name: "xml-unreadable",
        text: "The file is not well-formed XML in UTF-8. Correct the place shown, or export the file again.",
    },
];

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_table_is_in_order_and_explains() {
        assert!(ALL.is_sorted_by(|a, b| a.name < b.name), "not alphabetical, or a name twice");
        for code in ALL {
            let plain = code.name.bytes().all(|b| b.is_ascii_lowercase() || b.is_ascii_digit() || b == b'-');
            assert!(plain && code.text.len() > 40 && code.text.ends_with('.'), "{}", code.name);
        }
    }
}
