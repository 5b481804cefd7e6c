//! Pictures and the report, as a user gets them: what `picture` writes, that the
//! README's picture is a real one, and that the page asks nobody for anything.
#![allow(clippy::expect_used, reason = "a test that cannot go on says why and stops")]

use std::path::{Path, PathBuf};
use std::process::{Command, Output};

/// sha256 in base64, bit by bit, unlike the program's own.
fn sha256_base64(text: &str) -> String {
    use sha2::{Digest as _, Sha256};
    const SIGNS: &[u8] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let bits: String = Sha256::digest(text.as_bytes()).iter().map(|b| format!("{b:08b}")).collect();
    let mut out: String = bits
        .as_bytes()
        .chunks(6)
        .map(|c| {
            let six = format!("{:0<6}", String::from_utf8_lossy(c));
            char::from(SIGNS[usize::from_str_radix(&six, 2).expect("bits")])
        })
        .collect();
    while !out.len().is_multiple_of(4) {
        out.push('=');
    }
    out
}

fn example(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("examples").join(name).join("job.toml")
}

fn scratch(name: &str) -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("pictures").join(name);
    let _ = std::fs::remove_dir_all(&folder);
    folder
}

fn picture(job: &Path, layer: &str, out: &Path) -> Output {
    Command::new(env!("CARGO_BIN_EXE_towpath"))
        .arg("picture")
        .arg(job)
        .args(["--layer", layer, "--quiet", "--out"])
        .arg(out)
        .output()
        .expect("the built program starts")
}

/// Names of a folder's files, in order.
fn names(folder: &Path) -> Vec<String> {
    let mut names: Vec<String> = std::fs::read_dir(folder)
        .expect("a folder")
        .map(|e| e.expect("an entry").file_name().to_string_lossy().into_owned())
        .collect();
    names.sort();
    names
}

#[test]
fn the_readme_shows_what_the_command_makes() {
    let shown = Path::new(env!("CARGO_MANIFEST_DIR")).join("examples/pictures");
    for (job, layer) in [("link", "8"), ("bracket", "3"), ("guide", "8")] {
        let name = format!("{job}-layer-{layer}.svg");
        let made = scratch("readme").join(&name);
        let ran = picture(&example(job), layer, &made);
        assert_eq!(ran.status.code(), Some(0), "{}", String::from_utf8_lossy(&ran.stderr));
        let (made, kept) = (std::fs::read(&made).expect("made"), std::fs::read(shown.join(&name)));
        let same = kept.is_ok_and(|kept| kept == made);
        assert!(
            same,
            "examples/pictures/{name} is another one: towpath picture examples/{job}/job.toml --layer {layer} --out examples/pictures/{name}"
        );
    }
}

#[test]
fn the_legend_tells_of_what_is_drawn() {
    let drawn = |job: &Path, layer: &str| {
        let file = scratch("legend").join("layer.svg");
        let ran = picture(job, layer, &file);
        assert_eq!(ran.status.code(), Some(0), "{}", String::from_utf8_lossy(&ran.stderr));
        std::fs::read_to_string(&file).expect("the picture")
    };
    const DASHED: &str = "stroke-dasharray=\"2 .8\"";
    // the walls of the guide are upright: its layers differ in their points alone
    let guide = drawn(&example("guide"), "8");
    assert!(!guide.contains("edge of the layer below") && !guide.contains(DASHED), "the line below hides it");
    // the tow is whole where the blade has cut
    assert!(guide.contains("blade cuts here: the end lies 35 mm on"), "what the bars are");
    let steps = |step: f64| {
        let folder = scratch("steps");
        std::fs::create_dir_all(&folder).expect("a scratch folder");
        let rect = |z: &str, x: f64| {
            let w = 60.0 - 2.0 * x;
            format!("<g data-z-mm=\"{z}\"><rect x=\"{x}\" y=\"{x}\" width=\"{w}\" height=\"{w}\"/></g>")
        };
        let (below, above) = (rect("0-0.2", 1.0), rect("0.2-0.4", 1.0 + step));
        let svg = format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"60mm\" height=\"60mm\" viewBox=\"0 0 60 60\">{below}{above}</svg>"
        );
        std::fs::write(folder.join("step.svg"), svg).expect("the drawing");
        let job = "[part]\nname = \"step\"\noutline = \"step.svg\"\n[build]\nprinter = \"shuttle-15\"\nmatrix = \"pa12\"\ntow = \"carbon-1k-pa12\"\n";
        std::fs::write(folder.join("job.toml"), job).expect("the job");
        drawn(&folder.join("job.toml"), "2")
    };
    let (seen, hidden) = (steps(2.0), steps(0.001));
    assert!(seen.contains("edge of the layer below") && seen.contains(DASHED), "{seen}");
    assert!(!hidden.contains("edge of the layer below") && !hidden.contains(DASHED), "{hidden}");
    assert!(!seen.contains("blade cuts here"), "nothing is cut in matrix alone");
}

#[test]
fn a_picture_for_each_layer_svg_and_png() {
    let folder = scratch("all");
    for ending in ["svg", "png"] {
        let ran = picture(&example("guide"), "all", &folder.join(ending).join(format!("guide.{ending}")));
        assert_eq!(ran.status.code(), Some(0), "{}", String::from_utf8_lossy(&ran.stderr));
        let names = names(&folder.join(ending));
        assert_eq!(names.len(), 20, "{names:?}");
        assert_eq!(
            (names[0].as_str(), names[19].as_str()),
            (&*format!("guide-01.{ending}"), &*format!("guide-20.{ending}"))
        );
    }
    for n in 1..=20 {
        let text = std::fs::read_to_string(folder.join(format!("svg/guide-{n:02}.svg"))).expect("a picture");
        let document = roxmltree::Document::parse(&text).expect("XML");
        let root = document.root_element();
        assert_eq!(root.attribute("width"), Some("297mm"), "A4, at the scale in the title block");
        let texts: Vec<&str> =
            root.descendants().filter(|n| n.has_tag_name("text")).filter_map(|n| n.text()).collect();
        for word in ["yarn guide", &format!("{n} of 20"), "2:1 at A4", "mm", "scale"] {
            assert!(texts.contains(&word), "layer {n}: `{word}` is not among {texts:?}");
        }
        assert!(!text.contains("-0.00") && !text.contains("NaN"), "layer {n}");
        let bytes = std::fs::read(folder.join(format!("png/guide-{n:02}.png"))).expect("a picture");
        // the PNG specification: signature, then IHDR with width and height
        assert_eq!(bytes[..8], [137, 80, 78, 71, 13, 10, 26, 10], "layer {n}");
        let number = |at: usize| u32::from_be_bytes(bytes[at..at + 4].try_into().expect("four bytes"));
        assert_eq!((number(16), number(20)), (297 * 8, 210 * 8), "8 pixels a mm");
    }
}

/// The bands of tow are drawn where the plan has them, at their width and scale.
#[test]
fn tow_on_the_sheet_is_tow_in_the_plan() {
    let folder = scratch("plan");
    let ran = Command::new(env!("CARGO_BIN_EXE_towpath"))
        .arg("plan")
        .arg(example("link"))
        .args(["--quiet", "--out"])
        .arg(&folder)
        .output()
        .expect("the built program starts");
    assert_eq!(ran.status.code(), Some(0));
    let plan: serde_json::Value = serde_json::from_str(
        &std::fs::read_to_string(folder.join("treadle-link.plan.json")).expect("a plan"),
    )
    .expect("JSON");
    let drawn = folder.join("layer.svg");
    assert_eq!(picture(&example("link"), "8", &drawn).status.code(), Some(0));
    let text = std::fs::read_to_string(&drawn).expect("a picture");
    let document = roxmltree::Document::parse(&text).expect("XML");
    let width = plan["tow"]["width_mm"].as_f64().expect("a width");
    // 2:1, less the line of paper between neighbours
    let band = document
        .descendants()
        .filter(|n| n.attribute("stroke") == Some("#2b333f"))
        .find(|n| n.attribute("d").is_some_and(|d| d.matches('M').count() > 1))
        .expect("the bands");
    let drawn_width: f64 = band.attribute("stroke-width").and_then(|w| w.parse().ok()).expect("a width");
    assert!((drawn_width + 0.12 - 2.0 * width).abs() < 0.011, "{drawn_width}");
    let courses = plan["layers"][7]["courses"].as_array().expect("courses");
    let starts: Vec<[f64; 2]> = band
        .attribute("d")
        .expect("data")
        .split('M')
        .filter(|p| !p.is_empty())
        .map(|p| {
            let xy = p.split('l').next().expect("a start");
            let mut numbers = xy.split_whitespace().map(|n| n.parse::<f64>().expect("a number"));
            [numbers.next().expect("x"), numbers.next().expect("y")]
        })
        .collect();
    assert_eq!(starts.len(), courses.len(), "one band a course");
    let start = |c: &serde_json::Value| {
        let s = &c["segments"][0];
        let at = if s["line"].is_array() { &s["line"] } else { &s["arc"]["from"] };
        [at[0].as_f64().expect("x"), at[1].as_f64().expect("y")]
    };
    let (a, b) = (start(&courses[0]), starts[0]);
    for (c, s) in courses.iter().zip(&starts) {
        let p = start(c);
        let (dx, dy) = (2.0 * (p[0] - a[0]) - (s[0] - b[0]), 2.0 * (p[1] - a[1]) + (s[1] - b[1]));
        assert!(
            dx.abs() < 0.021 && dy.abs() < 0.021,
            "course {}: off by {dx}, {dy} mm on the sheet",
            c["id"]
        );
    }
}

#[test]
fn what_cannot_be_drawn_is_told() {
    let folder = scratch("wrong");
    let told = |layer: &str, out: &str| {
        let ran = picture(&example("link"), layer, &folder.join(out));
        (ran.status.code(), String::from_utf8_lossy(&ran.stderr).into_owned())
    };
    let (status, text) = told("21", "a.svg");
    assert!(status == Some(1) && text.contains("has no layer 21, its last one is 20"), "{text}");
    let (status, text) = told("3", "a.gif");
    assert!(status == Some(2) && text.contains("end the name in .svg or .png"), "{text}");
    let (status, text) = told("zero", "a.svg");
    assert!(status == Some(2) && text.contains("a layer's number from 1, or `all`"), "{text}");
    assert!(!folder.exists(), "nothing is written");
}

#[test]
fn a_picture_takes_the_place_of_pictures_only() {
    let folder = scratch("drawings");
    std::fs::create_dir_all(&folder).expect("a folder");
    for file in ["job.toml", "map.toml", "link.svg"] {
        std::fs::copy(example("link").with_file_name(file), folder.join(file)).expect("a copy");
    }
    std::fs::write(folder.join("other.svg"), "<svg xmlns=\"http://www.w3.org/2000/svg\"/>")
        .expect("a drawing");
    let bytes = |file: &str| std::fs::read(folder.join(file)).expect("a file");
    for (file, why) in [("link.svg", "goes into the job"), ("other.svg", "it is a drawing")] {
        let before = bytes(file);
        let ran = picture(&folder.join("job.toml"), "8", &folder.join(file));
        let told = String::from_utf8_lossy(&ran.stderr);
        assert!(ran.status.code() == Some(2) && told.contains("error[output-exists]"), "{told}");
        assert!(told.contains(why), "{told}");
        assert_eq!(bytes(file), before, "{file}");
    }
    for layer in ["3", "8"] {
        let ran = picture(&folder.join("job.toml"), layer, &folder.join("layer.svg"));
        assert_eq!(ran.status.code(), Some(0), "{}", String::from_utf8_lossy(&ran.stderr));
    }
}

#[test]
fn the_page_holds_all_that_it_needs() {
    let folder = scratch("page");
    for (name, stem) in [("link", "treadle-link"), ("guide", "yarn-guide")] {
        let out = folder.join(name);
        let ran = Command::new(env!("CARGO_BIN_EXE_towpath"))
            .arg("plan")
            .arg(example(name))
            .args(["--quiet", "--out"])
            .arg(&out)
            .output()
            .expect("the built program starts");
        assert_eq!(ran.status.code(), Some(0));
        let page = std::fs::read_to_string(out.join(format!("{stem}.report.html"))).expect("a page");
        let between = |from: &str, to: &str| {
            let start = page.find(from).expect("the start") + from.len();
            &page[start..start + page[start..].find(to).expect("the end")]
        };
        let policy = between("http-equiv=\"Content-Security-Policy\" content=\"", "\"")
            .replace("&#x27;", "'")
            .replace("&#39;", "'")
            .replace("&#x2f;", "/")
            .replace("&#x2F;", "/");
        assert!(policy.starts_with("default-src 'none';"), "{policy}");
        let script = between("<script>", "</script>");
        for (what, text) in [("script-src", script), ("style-src", between("<style>", "</style>"))] {
            let want = format!("{what} 'sha256-{}'", sha256_base64(text));
            assert!(policy.contains(&want), "{want} is not in {policy}");
        }
        assert!(!policy.contains("unsafe"), "{policy}");
        // the only address is the name of a vocabulary, which nobody looks up
        let addresses: Vec<&str> =
            page.split("http").skip(1).filter(|p| p.starts_with("://") || p.starts_with("s://")).collect();
        assert!(addresses.iter().all(|a| a.starts_with("://www.w3.org/2000/svg\"")), "{:.80?}", addresses);
        for outside in ["src=", "url(", "@import", "fetch(", "XMLHttpRequest", "WebSocket", "import("] {
            assert!(!page.contains(outside), "{outside}");
        }
        assert!(!page.contains(" style=\""), "a style attribute is against the policy");
        let here = env!("CARGO_MANIFEST_DIR");
        assert!(!page.contains(here) && !page.contains("/tmp/"), "no path in it");
        let plan: serde_json::Value = serde_json::from_str(
            &std::fs::read_to_string(out.join(format!("{stem}.plan.json"))).expect("a plan"),
        )
        .expect("JSON");
        for input in plan["inputs"].as_array().expect("inputs") {
            assert!(page.contains(input["sha256"].as_str().expect("a hash")), "{input}");
        }
        for section in [
            "summary",
            "time-split",
            "warnings",
            "fibre",
            "left-out",
            "layers",
            "pictures",
            "inputs",
            "cautions",
        ] {
            assert!(page.contains(&format!("<section id=\"{section}\"")), "{section}");
        }
    }
}
