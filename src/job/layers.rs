//! The words of `layers`: `"4"`, `"3-17"`, `"3-17/2"`, `"all"`, `"z 0.6-3.4"`.

use super::map::Layers;

/// What the syntax is, for help lines and schemas.
pub(crate) const SYNTAX: &str = r#""all", "4", "3-17", "3-17/2" (every second), or heights "z 0.6-3.4""#;

/// A pattern for schemas: every text that can be meant is in it.
pub(crate) const PATTERN: &str =
    r"^\s*(all|[0-9]+\s*(-\s*[0-9]+\s*(/\s*[0-9]+\s*)?)?|z\s*[0-9]+(\.[0-9]*)?\s*-\s*[0-9]+(\.[0-9]*)?)\s*$";

/// Highest layer number that anybody means: 100 m of the thinnest layers.
const MOST: usize = 1_000_000;

/// Reads the words. Errors: one line saying what is wrong.
pub(crate) fn parse(typed: &str) -> Result<Layers, String> {
    let words = typed.trim();
    if words == "all" {
        return Ok(Layers::All);
    }
    if let Some(heights) = words.strip_prefix('z') {
        return parse_heights(heights);
    }
    let (range, step) = match words.split_once('/') {
        Some((range, step)) => (range, Some(number(step, "step")?)),
        None => (words, None),
    };
    let (first, last) = match range.split_once('-') {
        Some((first, last)) => (number(first, "first layer")?, number(last, "last layer")?),
        None if step.is_some() => return Err("a step needs a range before it, as in `3-17/2`".to_owned()),
        None => {
            let n = number(range, "layer")?;
            (n, n)
        }
    };
    if first == 0 {
        return Err("layers count from 1".to_owned());
    }
    if last < first {
        return Err(format!("the range goes from {first} down to {last}, the lower layer comes first"));
    }
    if step == Some(0) {
        return Err("the step is 0, it must be at least 1".to_owned());
    }
    Ok(Layers::Numbers { first, last, step: step.unwrap_or(1) })
}

/// The words for layers that were given as a list; `None` where one range does not hold them.
pub(crate) fn of_list(numbers: &[usize]) -> Option<String> {
    let (&first, &last) = (numbers.first()?, numbers.last()?);
    let &[_, second, ..] = numbers else { return Some(first.to_string()) };
    let step = second.checked_sub(first).filter(|s| *s > 0)?;
    let even = numbers.windows(2).all(|w| w[1].checked_sub(w[0]) == Some(step));
    even.then(|| if step == 1 { format!("{first}-{last}") } else { format!("{first}-{last}/{step}") })
}

fn parse_heights(words: &str) -> Result<Layers, String> {
    let Some((from, to)) = words.split_once('-') else {
        return Err("heights are two numbers, as in `z 0.6-3.4`".to_owned());
    };
    let height = |text: &str| {
        let text = text.trim();
        let plain =
            text.bytes().all(|b| b.is_ascii_digit() || b == b'.') && text.as_bytes().first() != Some(&b'.');
        match text.parse::<f64>() {
            Ok(v) if plain && v <= super::table::LARGEST_MM => Ok(v),
            _ => Err(format!("`{text}` is no height in mm")),
        }
    };
    let (from_mm, to_mm) = (height(from)?, height(to)?);
    if to_mm <= from_mm {
        return Err(format!("the heights go from {from_mm} mm to {to_mm} mm, the lower comes first"));
    }
    Ok(Layers::Heights { from_mm, to_mm })
}

fn number(text: &str, what: &str) -> Result<usize, String> {
    let text = text.trim();
    let plain = !text.is_empty() && text.bytes().all(|b| b.is_ascii_digit());
    match text.parse::<usize>() {
        Ok(n) if plain && n <= MOST => Ok(n),
        _ if text.is_empty() => Err(format!("the {what} is missing")),
        _ => Err(format!("`{text}` is no {what} number")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn numbers(first: usize, last: usize, step: usize) -> Layers {
        Layers::Numbers { first, last, step }
    }

    #[test]
    fn every_form_is_read() {
        assert_eq!(parse("all"), Ok(Layers::All));
        assert_eq!(parse("4"), Ok(numbers(4, 4, 1)));
        assert_eq!(parse("3-17"), Ok(numbers(3, 17, 1)));
        assert_eq!(parse("3-17/2"), Ok(numbers(3, 17, 2)));
        assert_eq!(parse(" 3 - 17 / 2 "), Ok(numbers(3, 17, 2)));
        assert_eq!(parse("5-5"), Ok(numbers(5, 5, 1)));
        assert_eq!(parse("z 0.6-3.4"), Ok(Layers::Heights { from_mm: 0.6, to_mm: 3.4 }));
        assert_eq!(parse("z0-2"), Ok(Layers::Heights { from_mm: 0.0, to_mm: 2.0 }));
    }

    #[test]
    fn everything_else_is_told() {
        for bad in [
            "",
            " ",
            "All layers",
            "0",
            "0-4",
            "17-3",
            "3-",
            "-3",
            "3-17/0",
            "3-17/",
            "4/2",
            "3..17",
            "+4",
            "1e1",
            "z 3.4-0.6",
            "z 0.6",
            "z -1-2",
            "z 1-1",
            "z nan-2",
            "z 1-inf",
            "z .5-1",
            "99999999999999999999",
            "3-17/2/2",
            "٣",
        ] {
            assert!(parse(bad).is_err(), "{bad:?} was taken");
        }
    }

    #[test]
    fn messages_name_what_was_typed() {
        assert_eq!(parse("3-x"), Err("`x` is no last layer number".to_owned()));
        assert_eq!(
            parse("17-3"),
            Err("the range goes from 17 down to 3, the lower layer comes first".to_owned())
        );
    }
}
