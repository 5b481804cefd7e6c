//! Files of every kind that is read, spoilt at random out of a seed: a reader
//! gives a result or says what is wrong, and never panics.
#![allow(clippy::expect_used, reason = "a test that cannot go on says why and stops")]

mod support;

use std::io::Write as _;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use support::parts::Dice;
use towpath::diagnostic::{Diagnostic, Faults, Notes, Source};
use towpath::job::{self, OutlineFile, builtin, printer};
use towpath::verify::findings::Check;
use towpath::verify::verify;
use towpath::{outline, plan};

/// Files of each kind that are spoilt in one run.
const ROUNDS: u64 = 400;

fn scratch(name: &str) -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("spoilt").join(name);
    let _ = std::fs::remove_dir_all(&folder);
    std::fs::create_dir_all(&folder).expect("a scratch folder");
    folder
}

/// What people and programs get wrong, and what upsets readers.
const PIECES: &[&str] = &[
    "",
    "0",
    "-",
    "1e308",
    "-1e308",
    "nan",
    "inf",
    "1e-320",
    "99999999999",
    "\"",
    "<",
    ">",
    "/>",
    "</",
    "&",
    "&#0;",
    "é",
    "\u{0}",
    " ",
    "\n",
    "[",
    "]",
    "{",
    "}",
    "=",
    "[[region]]",
    "M 0 0 Z",
    "A 1 1 0 0 1 0 0",
    "NaN",
    "<g><g><g>",
    "transform=\"scale(0)\"",
    "<!--",
    "]]>",
    "0,0 0,0",
    "%",
];

/// A few edits of a text or of bytes.
fn spoilt(bytes: &[u8], dice: &mut Dice) -> Vec<u8> {
    let mut out = bytes.to_vec();
    for _ in 0..dice.whole(1, 5) {
        let at = index(dice, out.len());
        match dice.whole(0, 5) {
            // cut out
            0 => drop(out.drain(at..(at + index(dice, 40)).min(out.len()))),
            // put in
            1 | 2 => {
                let piece = PIECES[index(dice, PIECES.len() - 1)];
                out.splice(at..at, piece.bytes());
            }
            // change a byte
            3 => {
                if let Some(b) = out.get_mut(at) {
                    *b = u8::try_from(dice.whole(0, 255)).expect("a byte");
                }
            }
            // say something twice
            4 => {
                let again = out[at..(at + index(dice, 60)).min(out.len())].to_vec();
                out.splice(at..at, again);
            }
            // stop early
            _ => out.truncate(at.max(out.len() / 2)),
        }
    }
    out
}

/// In 0..=most.
fn index(dice: &mut Dice, most: usize) -> usize {
    usize::try_from(dice.whole(0, most as u64)).expect("an index")
}

/// Spoils a file again and again, and reads it each time.
fn never_panics(name: &str, good: &[u8], read: impl Fn(&[u8]) -> Result<(), Faults>) {
    assert!(read(good).is_ok(), "{name}: the good file is refused: {:?}", read(good));
    let mut refused = 0;
    for seed in 0..ROUNDS {
        let bytes = spoilt(good, &mut Dice::new(seed));
        match catch_unwind(AssertUnwindSafe(|| read(&bytes))) {
            Ok(Ok(())) => {}
            Ok(Err(Faults(faults))) => {
                refused += 1;
                assert!(!faults.is_empty(), "{name}, seed {seed}: refused without a word");
            }
            Err(_) => {
                let kept = scratch(name).join(format!("seed-{seed}"));
                std::fs::write(&kept, &bytes).expect("a scratch file");
                panic!("{name}, seed {seed}: the reader panics; the file is kept in {}", kept.display());
            }
        }
    }
    assert!(refused > 0, "{name}: nothing was ever refused, so nothing was spoilt");
}

/// Reads an outline from bytes through a file.
fn outline_reader(name: &'static str, ending: &str) -> impl Fn(&[u8]) -> Result<(), Faults> {
    let path = scratch(name).join(format!("part.{ending}"));
    let source = Arc::new(Source { name: "job.toml".to_owned(), text: "outline".to_owned() });
    let place = towpath::diagnostic::Place { source, span: 0..7, label: String::new() };
    move |bytes| {
        std::fs::write(&path, bytes).expect("a scratch file");
        let file = OutlineFile {
            path: path.clone(),
            typed: "part".to_owned(),
            thickness_mm: Some(0.4),
            unit_mm: Some(1.0),
            place: place.clone(),
            thickness_place: place.clone(),
        };
        outline::read(&mut Notes::default(), &file, 0.2).map(drop)
    }
}

const SVG: &str = r##"<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" width="80mm" height="40mm" viewBox="0 0 80 40" preserveAspectRatio="xMidYMid meet">
<defs><circle id="pin" r="4"/></defs>
<g transform="translate(1,1) rotate(3) matrix(1 0 0 1 0 0)" data-z-mm="0-0.4"><rect x="0" y="0" width="70" height="34" rx="10" ry="8"/>
<path d="M20 12 C 24 12 28 14 28 18 S 24 24 20 24 Q 12 24 12 18 T 20 12 Z m 20 0 h 6 v 6 l -6 0 z" fill-rule="evenodd"/></g>
<ellipse cx="60" cy="20" rx="3" ry="10%" style="fill:none;stroke:black"/>
<use xlink:href="#pin" x="9" y="18" id="hole"/><polygon points="30,5 34,5 32,9" data-role="region" id="spot"/>
<path d="M 50 10 a 2 2 0 1 0 4 0 a 2 2 0 10-4 0"/>
</svg>"##;

#[test]
fn drawings() {
    never_panics("svg", SVG.as_bytes(), outline_reader("svg", "svg"));
}

#[test]
fn dxf_drawings() {
    let words = "0 SECTION 2 HEADER 9 $INSUNITS 70 4 0 ENDSEC 0 SECTION 2 TABLES 0 TABLE 2 LAYER 0 LAYER 2 notes 70 1 62 7 0 ENDTAB 0 ENDSEC 0 SECTION 2 BLOCKS 0 BLOCK 8 0 2 eye 10 0 20 0 0 CIRCLE 8 0 10 0 20 0 40 2 0 ENDBLK 0 ENDSEC 0 SECTION 2 ENTITIES 0 LINE 8 0 10 20 20 10 11 0 21 10 0 ARC 8 0 10 20 20 5 40 5 50 270 51 90 0 LINE 8 0 10 20 20 0 11 0 21 0 0 ARC 8 0 10 0 20 5 40 5 50 90 51 270 0 INSERT 8 0 2 eye 10 5 20 5 41 0.5 42 0.5 50 30 70 2 71 1 44 9 45 0 0 LWPOLYLINE 8 region-web 90 3 70 1 10 5 20 5 42 0.5 10 9 20 5 10 5 20 9 0 SPLINE 8 notes 71 1 40 0 40 0 40 1 40 1 10 1 20 1 10 2 20 2 0 ENDSEC 0 EOF";
    let text: String = words.split_whitespace().map(|w| format!("{w}\n")).collect();
    never_panics("dxf", text.as_bytes(), outline_reader("dxf", "dxf"));
}

#[test]
fn layer_files() {
    let ring = [[1.0_f32, 1.0], [21.0, 1.0], [21.0, 11.0], [1.0, 11.0], [1.0, 1.0]];
    let head = |form: &str| format!("$$HEADERSTART\n$${form}\n$$UNITS/1\n$$LAYERS/2\n$$HEADEREND");
    let mut text = head("ASCII") + "\n$$GEOMETRYSTART\n$$LAYER/0.0\n";
    let mut binary = head("BINARY").into_bytes();
    for z in [0.2_f32, 0.4] {
        text += &format!("$$LAYER/{z}\n$$POLYLINE/1,1,{}", ring.len());
        binary.extend(127_u16.to_le_bytes());
        binary.extend(z.to_le_bytes());
        binary.extend(130_u16.to_le_bytes());
        binary.extend([1_i32, 1, 5].into_iter().flat_map(i32::to_le_bytes));
        for v in ring.iter().flatten() {
            text += &format!(",{v}");
            binary.extend(v.to_le_bytes());
        }
        text += "\n$$HATCHES/1,1,0,0,5,5\n";
    }
    text += "$$GEOMETRYEND\n";
    never_panics("cli text", text.as_bytes(), outline_reader("cli text", "cli"));
    never_panics("cli binary", &binary, outline_reader("cli binary", "cli"));
}

/// A box as triangles, corners 0 and (20, 10, 0.4).
fn triangles() -> Vec<[[f32; 3]; 3]> {
    let p = |i: usize| [[0.0, 20.0][i & 1], [0.0, 10.0][(i >> 1) & 1], [0.0, 0.4][i >> 2]];
    [
        [0, 2, 1],
        [1, 2, 3],
        [4, 5, 6],
        [5, 7, 6],
        [0, 1, 4],
        [1, 5, 4],
        [2, 6, 3],
        [3, 6, 7],
        [0, 4, 2],
        [2, 4, 6],
        [1, 3, 5],
        [3, 7, 5],
    ]
    .map(|t| t.map(p))
    .to_vec()
}

#[test]
fn meshes() {
    let mut text = "solid box\n".to_owned();
    let mut binary = vec![b' '; 80];
    binary.extend(12_u32.to_le_bytes());
    for t in triangles() {
        text.push_str("facet normal 0 0 0\nouter loop\n");
        binary.extend([0; 12]);
        for [x, y, z] in t {
            text.push_str(&format!("vertex {x} {y} {z}\n"));
            binary.extend([x, y, z].into_iter().flat_map(f32::to_le_bytes));
        }
        text.push_str("endloop\nendfacet\n");
        binary.extend([0; 2]);
    }
    text.push_str("endsolid box\n");
    never_panics("stl text", text.as_bytes(), outline_reader("stl text", "stl"));
    never_panics("stl binary", &binary, outline_reader("stl binary", "stl"));
}

const RELATIONSHIPS: &str = r#"<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"><Relationship Target="/3D/part.model" Id="r" Type="http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"/></Relationships>"#;

const SLICED: &str = r#"<model unit="millimeter" xmlns="http://schemas.microsoft.com/3dmanufacturing/core/2015/02" xmlns:s="http://schemas.microsoft.com/3dmanufacturing/slice/2015/07" requiredextensions="s">
<resources><s:slicestack id="1" zbottom="0">
<s:slice ztop="0.2"><s:vertices><s:vertex x="0" y="0"/><s:vertex x="9" y="0"/><s:vertex x="9" y="9"/></s:vertices><s:polygon startv="0"><s:segment v2="1"/><s:segment v2="2"/><s:segment v2="0"/></s:polygon></s:slice>
<s:slice ztop="0.4"><s:vertices><s:vertex x="0" y="0"/><s:vertex x="8" y="0"/><s:vertex x="8" y="8"/></s:vertices><s:polygon startv="0"><s:segment v2="1"/><s:segment v2="2"/><s:segment v2="0"/></s:polygon></s:slice>
</s:slicestack><object id="2" type="model" s:slicestackid="1" s:meshresolution="lowres"><mesh><vertices/><triangles/></mesh></object></resources>
<build><item objectid="2" transform="1 0 0 0 1 0 0 0 1 5 5 0"/></build></model>"#;

fn meshed() -> String {
    let mut vertices = String::new();
    let mut list = String::new();
    for (k, t) in triangles().iter().enumerate() {
        for [x, y, z] in t {
            vertices.push_str(&format!("<vertex x=\"{x}\" y=\"{y}\" z=\"{z}\"/>"));
        }
        let v = 3 * k;
        list.push_str(&format!("<triangle v1=\"{v}\" v2=\"{}\" v3=\"{}\"/>", v + 1, v + 2));
    }
    format!(
        "<model unit=\"millimeter\" xmlns=\"http://schemas.microsoft.com/3dmanufacturing/core/2015/02\"><resources>\
         <object id=\"1\"><mesh><vertices>{vertices}</vertices><triangles>{list}</triangles></mesh></object>\
         <object id=\"2\"><components><component objectid=\"1\" transform=\"1 0 0 0 1 0 0 0 1 0 0 0\"/></components></object>\
         </resources><build><item objectid=\"2\"/></build></model>"
    )
}

/// A package round a model's text, stored as it is.
fn package(model: &[u8]) -> Vec<u8> {
    let mut zip = zip::ZipWriter::new(std::io::Cursor::new(Vec::new()));
    let stored = zip::write::SimpleFileOptions::default().compression_method(zip::CompressionMethod::Stored);
    for (name, bytes) in [("_rels/.rels", RELATIONSHIPS.as_bytes()), ("3D/part.model", model)] {
        zip.start_file(name, stored).expect("a part");
        zip.write_all(bytes).expect("a part");
    }
    zip.finish().expect("a package").into_inner()
}

#[test]
fn packages() {
    for (name, model) in [("sliced", SLICED.to_owned()), ("meshed", meshed())] {
        let read = outline_reader(if name == "sliced" { "3mf sliced" } else { "3mf meshed" }, "3mf");
        never_panics(name, model.as_bytes(), |bytes| read(&package(bytes)));
    }
    never_panics("3mf package", &package(SLICED.as_bytes()), outline_reader("3mf package", "3mf"));
}

/// A mesh has the job's layers, a sliced object its own: only the job's are the job's fault.
#[test]
fn beads_have_the_section_that_layers_of_a_package_need() {
    let folder = scratch("3mf sections");
    let job = folder.join("job.toml");
    let text = "[part]\nname = \"cam\"\noutline = \"part.3mf\"\n\n[build]\nprinter = \"shuttle-15\"\nmatrix = \"pa12\"\ntow = \"carbon-1k-pa12\"\nlayer_height_mm = 0.6\n\n[matrix]\nbead_width_mm = 0.5\n";
    std::fs::write(&job, text).expect("a job");
    let placed = |model: &str| {
        std::fs::write(folder.join("part.3mf"), package(model.as_bytes())).expect("a package");
        let mut notes = Notes::default();
        let codes = towpath::plan::placed(&mut notes, &job).map(drop).map_err(|f| f.0);
        (codes, notes.warnings)
    };
    let Err(faults) = placed(&meshed()).0 else { panic!("a bead of 0.5 mm in layers of 0.6 mm") };
    assert_eq!((faults.len(), faults[0].code), (1, "bead-section"), "{faults:?}");
    let tops = SLICED.replace("ztop=\"0.2\"", "ztop=\"0.7\"").replace("ztop=\"0.4\"", "ztop=\"1.4\"");
    assert_ne!(tops, SLICED, "layers of 0.7 mm");
    let (read, warnings) = placed(&tops);
    assert!(read.is_ok(), "{read:?}");
    assert!(warnings.iter().any(|d| d.code == "bead-section"), "{warnings:?}");
}

/// Faults that do not follow from one another are told together.
#[test]
fn all_faults_of_a_package_at_once() {
    let model = SLICED
        .replace("x=\"9\" y=\"9\"", "x=\"nine\" y=\"9\"")
        .replace("x=\"8\" y=\"8\"", "x=\"8\"")
        .replacen("<s:segment v2=\"1\"/>", "<s:segment v2=\"7\"/>", 1)
        .replace("objectid=\"2\"", "objectid=\"two\"");
    let read = outline_reader("3mf faults", "3mf");
    let Err(Faults(faults)) = read(&package(model.as_bytes())) else { panic!("it is refused") };
    let told: Vec<String> = faults.iter().map(ToString::to_string).collect();
    for says in ["`nine`", "has no `y`", "vertex 7", "`two`"] {
        assert!(told.iter().any(|t| t.contains(says)), "{says}: {told:#?}");
    }
    assert_eq!(told.len(), 4, "{told:#?}");
    // open polygons: one in each slice
    let model = SLICED.replace("<s:segment v2=\"2\"/><s:segment v2=\"0\"/>", "<s:segment v2=\"2\"/>");
    let Err(Faults(faults)) = read(&package(model.as_bytes())) else { panic!("it is refused") };
    assert_eq!(faults.len(), 2, "{faults:?}");
    assert!(faults.iter().all(|d| d.code == "outline-open"), "{faults:?}");
}

#[test]
fn jobs_and_maps() {
    let link = Path::new(env!("CARGO_MANIFEST_DIR")).join("examples/link");
    let folder = scratch("job");
    for file in ["link.svg", "map.toml"] {
        std::fs::copy(link.join(file), folder.join(file)).expect("a copy");
    }
    let job = std::fs::read(link.join("job.toml")).expect("the example's job");
    let path = folder.join("job.toml");
    never_panics("job", &job, |bytes| {
        std::fs::write(&path, bytes).expect("a scratch file");
        let _ = job::named_files(&path);
        job::read(&mut Notes::default(), &path).map(drop)
    });
    // maps reach the placing of their regions
    std::fs::write(&path, &job).expect("a scratch file");
    let map = std::fs::read(link.join("map.toml")).expect("the example's map");
    never_panics("map", &map, |bytes| {
        std::fs::write(folder.join("map.toml"), bytes).expect("a scratch file");
        plan::placed(&mut Notes::default(), &path).map(drop)
    });
}

/// The check of a program, and of a plan that does not belong to it.
#[test]
fn programs_and_plans() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/verify/arcs.toml");
    let planned = plan::plan(&mut Notes::default(), &path).expect("the good part is planned");
    let (_, printer) = job::printer_named(&planned.job.printer.name).expect("it is built in");
    let plan = planned.plan.as_bytes();
    // the head of the program, its first courses and its end: a round takes as long as its lines
    let lines: Vec<&str> = planned.program.lines().collect();
    let course = lines.iter().position(|l| l.starts_with("(course ")).expect("a course");
    let short = [&lines[..60], &lines[course - 40..course + 60], &lines[lines.len() - 10..]].concat();
    let checked = |program: &[u8], plan: &[u8]| {
        let verdict = verify("p.gcode", program, &printer, Some(("p.plan.json", plan)))?;
        assert!(!verdict.ledger.table().is_empty(), "it can be shown");
        Ok(verdict)
    };
    let program = short.join("\n");
    never_panics("program", program.as_bytes(), |bytes| {
        let verdict = checked(bytes, plan)?;
        // the short program does not lay the whole plan; a line that cannot be read is refused
        match verdict.ledger.first_of(Check::Text) {
            Some(f) => Err(Diagnostic::error("file-unreadable", f.text.clone()).into()),
            None => Ok(()),
        }
    });
    never_panics("plan", plan, |bytes| checked(program.as_bytes(), bytes).map(drop));
}

#[test]
fn printer_profiles() {
    for p in builtin::PRINTERS {
        never_panics(p.name, p.text.as_bytes(), |bytes| {
            let text = String::from_utf8_lossy(bytes).into_owned();
            printer::read(&Arc::new(Source { name: "p.toml".to_owned(), text })).map(drop)
        });
    }
}
