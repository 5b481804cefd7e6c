//! Words of a block's lines, and what some of them make of those that follow.

/// Splits a line into words, comments left out.
pub(crate) fn words_of(
    line: &str,
    parenthesis_comments: bool,
) -> Result<Vec<(char, f64)>, (String, &'static str)> {
    const STYLE: &str = "the profile's `comment` says which style its controller reads";
    let mut code = String::new();
    let mut rest = line;
    while let Some(at) = rest.find(['(', ')', ';']) {
        code.push_str(&rest[..at]);
        let mark = &rest[at..=at];
        if mark == ";" && !parenthesis_comments {
            rest = "";
        } else if mark == "(" && parenthesis_comments {
            let inside = &rest[at + 1..];
            match inside.find(['(', ')']) {
                Some(end) if inside[end..].starts_with(')') => rest = &inside[end + 1..],
                _ => return Err(("the comment does not close, or holds another".to_owned(), STYLE)),
            }
        } else {
            return Err((format!("`{mark}` is not this profile's comment style"), STYLE));
        }
    }
    code.push_str(rest);
    if let Some(name) = named_command(&code) {
        return Err((
            format!("`{name}` is the name of a controller's own command, not a word"),
            "the program is read by others, too, who know words of RS-274 only: give the command an \
             M-code of its own at the controller and write that",
        ));
    }
    let code: String = code.chars().filter(|c| !c.is_whitespace()).collect();
    let mut words = Vec::new();
    let mut rest = code.as_str();
    while let Some(letter) = rest.chars().next() {
        let upper = letter.to_ascii_uppercase();
        if !"ABCDEFGHIJKLMNPQRSTXYZ".contains(upper) {
            return Err((
                format!("no word starts with `{letter}`"),
                "words are a letter A to Z (without O, U, V, W) and a number",
            ));
        }
        let after = &rest[letter.len_utf8()..];
        let end = after.find(|c: char| !(c.is_ascii_digit() || "+-.".contains(c))).unwrap_or(after.len());
        let Ok(number) = after[..end].parse::<f64>() else {
            return Err((
                format!("the word `{upper}` has no number"),
                "words are a letter A to Z (without O, U, V, W) and a number",
            ));
        };
        words.push((upper, number));
        rest = &after[end..];
    }
    Ok(words)
}

/// A name of several letters at the head of a line, as many controllers let people give to
/// commands of their own; words of RS-274 have one letter and then a number.
fn named_command(code: &str) -> Option<&str> {
    let name = code.split_whitespace().next()?;
    let named = name.chars().take_while(|c| c.is_ascii_alphabetic() || *c == '_').count() > 2;
    named.then_some(name)
}

/// What a G code makes of the coordinates, feeds or arcs that come behind it, if that is
/// other than what programs count on: plain coordinates, feeds in mm/min, centres of arcs
/// from their start (NISTIR 6556, 3.5; polar, scaled and turned coordinates are common
/// practice of controllers).
pub(crate) fn other_meaning(code: f64, axes: bool) -> Option<&'static str> {
    #[expect(clippy::cast_possible_truncation, reason = "bounded by clamp")]
    let tenths = (code * 10.0).round().clamp(-1.0, 1e5) as i64;
    match tenths {
        50..=69 if axes => Some("it moves along a curve that is not read here"),
        70 | 80 => Some("coordinates would count as on a lathe"),
        100 => Some("it sets values of the controller"),
        121 | 160 => Some("coordinates would be polar"),
        120 | 130 if axes => Some("it runs a cycle that is not read here"),
        180..=199 => Some("only the plane G17 is read"),
        300 => Some("it moves to a place that only the controller knows"),
        310 | 380..=389 => Some("it probes, and where it ends nobody knows"),
        410..=429 => Some("the path would be shifted by a tool's radius"),
        430..=489 => Some("z would be shifted by a tool's length"),
        510 => Some("coordinates would be scaled"),
        520 => Some("coordinates would be shifted"),
        530 => Some("it moves in the machine's own coordinates, which are not read here"),
        541..=599 => Some("only the first coordinate system is read"),
        680..=689 => Some("coordinates would be turned"),
        730..=769 | 810..=899 => Some("it runs a cycle that is not read here"),
        901 => Some("centres of arcs would count from the origin"),
        920 if axes => Some("it moves the coordinates of an axis"),
        923 => Some("it moves the coordinates"),
        930..=939 | 950..=969 => Some("only feeds in mm/min (G94) are read"),
        _ => None,
    }
}
