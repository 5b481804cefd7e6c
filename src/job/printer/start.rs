//! What the start block sets the heads to.

use super::{Printer, ROOM_C};
use crate::job::Head;
use crate::job::block::{BlockValues, words_of};

/// A temperature that no profile writes by itself, degC: where it turns up in a filled block
/// stands the temperature.
const MARK_C: f64 = 133.625;

/// What the start block sets the matrix and the fibre head to, degC, where they work at such
/// temperatures: by the words that the profile's own blocks heat with, or by M104 and M109
/// (common practice on printers). A head that it leaves alone is as cold as the room.
pub(super) fn heads_c(printer: &Printer, at_work: [f64; 2]) -> [f64; 2] {
    let values = BlockValues::samples()
        .number("matrix_tool", f64::from(printer.matrix.tool))
        .number("fibre_tool", f64::from(printer.fibre.tool))
        .number("bed_temperature_c", printer.bed_temperature_c)
        .number("chamber_temperature_c", printer.chamber_temperature_c)
        .number("matrix_temperature_c", at_work[0])
        .number("fibre_temperature_c", at_work[1])
        .number("matrix_standby_c", printer.matrix.standby_temperature_c)
        .number("fibre_standby_c", printer.fibre.standby_temperature_c);
    let lines = |text: String| -> Vec<Vec<(char, f64)>> {
        let style = printer.controller.parenthesis_comments;
        text.lines().filter_map(|l| words_of(l, style).ok()).filter(|words| !words.is_empty()).collect()
    };
    let own: Vec<(Head, Vec<(char, f64)>)> = [Head::Matrix, Head::Fibre]
        .into_iter()
        .flat_map(|head| [&printer.blocks.heat, &printer.blocks.heat_wait].map(|block| (head, block)))
        .filter_map(|(head, block)| {
            let tool = f64::from(printer.head(head).tool);
            let values = values.clone().number("tool", tool).number("temperature_c", MARK_C);
            let marked = |l: &Vec<(char, f64)>| l.iter().any(|w| same(w.1, MARK_C));
            Some((head, lines(block.render(&values).ok()?).into_iter().find(marked)?))
        })
        .collect();
    let mut set = [ROOM_C; 2];
    for words in lines(printer.blocks.start.render(&values).unwrap_or_default()) {
        let by_own = own.iter().filter_map(|(head, line)| Some((*head, filled(line, &words)?)));
        for (head, c) in by_own.chain(common(printer, &words)).take(1) {
            set[head.index()] = c.max(ROOM_C);
        }
    }
    set
}

/// The temperature that a line has where another has the mark, if they are alike beside it.
fn filled(line: &[(char, f64)], words: &[(char, f64)]) -> Option<f64> {
    let alike = |(a, b): (&(char, f64), &(char, f64))| a.0 == b.0 && (same(a.1, MARK_C) || same(a.1, b.1));
    let place = line.iter().position(|w| same(w.1, MARK_C))?;
    (line.len() == words.len() && line.iter().zip(words).all(alike)).then(|| words[place].1)
}

/// M104 and M109 with a head's number.
fn common(printer: &Printer, words: &[(char, f64)]) -> Option<(Head, f64)> {
    let word = |letter: char| words.iter().find(|w| w.0 == letter).map(|w| w.1);
    let tool = word('T').filter(|_| word('M').is_some_and(|m| same(m, 104.0) || same(m, 109.0)))?;
    let head =
        [Head::Matrix, Head::Fibre].into_iter().find(|h| same(f64::from(printer.head(*h).tool), tool))?;
    Some((head, word('S').or(word('R'))?))
}

fn same(a: f64, b: f64) -> bool {
    (a - b).abs() < 1e-6
}
