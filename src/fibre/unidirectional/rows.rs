//! Rows of parallel courses and the fronts that their ends form.

use crate::geom::{Area, hatch};

/// One straight row of tow in the turned frame.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Row {
    /// Distance along the normal, mm.
    pub(super) y: f64,
    /// Left end, mm.
    pub(super) a: f64,
    /// Right end, mm.
    pub(super) b: f64,
}

impl Row {
    pub(super) fn length(&self) -> f64 {
        self.b - self.a
    }
}

/// The rows of one connected area. A front is rows whose ends at one side lie one above the
/// other, each one spacing from the one before: what turns can join.
#[derive(Clone, Debug, Default)]
pub(super) struct Field {
    pub(super) rows: Vec<Row>,
    /// Fronts of left ends, as numbers of rows: every row is in one.
    pub(super) left: Vec<Vec<usize>>,
    /// Fronts of right ends, as numbers of rows: every row is in one.
    pub(super) right: Vec<Vec<usize>>,
    /// Rows that are in no front: see [`Field::past_stubs`].
    pub(super) stubs: Vec<Row>,
}

impl Field {
    /// The field without stubs: rows beside others of the same line that are shorter than
    /// `least`, as between a hole and a wall near it. The rows above and below them then
    /// are neighbours of those at the hole's far side, where turns have room to join them.
    /// `None` where there are none.
    pub(super) fn past_stubs(&self, pitch: f64, least: f64) -> Option<Self> {
        let mut stubs: Vec<Row> = Vec::new();
        let lines: Vec<hatch::HatchLine> = self
            .rows
            .chunk_by(|r, t| r.y.total_cmp(&t.y).is_eq())
            .map(|line| {
                let short = |r: &Row| line.len() > 1 && r.length() < least;
                stubs.extend(line.iter().filter(|r| short(r)));
                #[expect(clippy::cast_possible_truncation, reason = "rows of one part")]
                let index = ((line[0].y - self.rows[0].y) / pitch).round() as i64;
                let spans = line.iter().filter(|r| !short(r)).map(|r| (r.a, r.b)).collect();
                hatch::HatchLine { index, offset: line[0].y, spans }
            })
            .collect();
        (!stubs.is_empty()).then(|| Self { stubs, ..linked(&lines) })
    }
}

/// Positions of the first row that are tried, per pitch: the rows that follow it
/// are fixed, and edges within the area then fall well or badly.
const PHASES: u32 = 8;

/// Rows at `pitch` along `angle` (radians), for each connected part of the area,
/// placed so that most tow is laid in rows of at least half of `long`.
pub(super) fn fields(area: &Area, angle: f64, pitch: f64, long: f64) -> Vec<Field> {
    area.split().map(|part| field_of(&part, angle, pitch, long)).filter(|f| !f.rows.is_empty()).collect()
}

fn field_of(part: &Area, angle: f64, pitch: f64, long: f64) -> Field {
    let turned = hatch::Turned::new(part, angle);
    let (lo, hi) = turned.extent;
    if hi < lo {
        return Field::default();
    }
    // the rows that fit, in the middle of the extent; a hair inside so that the
    // outermost rows still meet the boundary
    let spare = (hi - lo) % pitch;
    let middle = lo + (0.5 * spare).max(1e-4);
    let tried = (0..PHASES).map(|k| middle + pitch * f64::from(k) / f64::from(PHASES));
    let flush = [lo + 1e-4, hi - 1e-4 - pitch * ((hi - lo - 2e-4) / pitch).floor()];
    let mut best: Option<(f64, Vec<hatch::HatchLine>)> = None;
    for phase in tried.chain(flush) {
        let rows = turned.rows(pitch, phase);
        let worth: f64 = rows
            .iter()
            .flat_map(|r| &r.spans)
            .map(|(a, b)| if b - a >= 0.5 * long { b - a } else { SHORT_ROW * (b - a) })
            .sum();
        // a hundredth of a row more is no reason to leave the middle
        if best.as_ref().is_none_or(|(w, _)| worth > w + 0.01 * pitch + 1e-9) {
            best = Some((worth, rows));
        }
    }
    best.map(|(_, rows)| linked(&rows)).unwrap_or_default()
}

/// Finds the fronts. Two rows one above the other are neighbours at a side when
/// they overlap and no other row beyond them at that side does: a hole beside
/// them begins fronts of its own.
fn linked(hatched: &[hatch::HatchLine]) -> Field {
    let mut field = Field::default();
    let mut before: Option<(i64, Vec<usize>)> = None;
    for line in hatched {
        let here: Vec<usize> = line
            .spans
            .iter()
            .map(|(a, b)| {
                field.rows.push(Row { y: line.offset, a: *a, b: *b });
                field.rows.len() - 1
            })
            .collect();
        let below: &[usize] = match &before {
            Some((index, rows)) if index + 1 == line.index => rows,
            _ => &[],
        };
        let beside = |i: usize, j: usize| {
            let (r, t) = (field.rows[i], field.rows[j]);
            r.a.max(t.a) < r.b.min(t.b)
        };
        for (right, fronts) in [(false, &mut field.left), (true, &mut field.right)] {
            let farthest = |i: usize, among: &[usize]| {
                let mut near = among.iter().copied().filter(|&j| beside(i, j));
                if right { near.next_back() } else { near.next() }
            };
            for &i in &here {
                let joined = farthest(i, below).filter(|&j| farthest(j, &here) == Some(i));
                let front =
                    joined.and_then(|j| fronts.iter().position(|f: &Vec<usize>| f.last() == Some(&j)));
                match front {
                    Some(k) => fronts[k].push(i),
                    None => fronts.push(vec![i]),
                }
            }
        }
        before = Some((line.index, here));
    }
    field
}

/// What a stretch that is too short for a row alone is worth, as a share of its length: a
/// turn may yet join it.
const SHORT_ROW: f64 = 0.3;

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geom::{combine, pt};

    #[test]
    fn a_hole_begins_fronts_of_its_own() {
        let plate = [pt(0.0, 0.0), pt(40.0, 0.0), pt(40.0, 20.0), pt(0.0, 20.0)];
        let hole = [pt(15.0, 5.0), pt(25.0, 5.0), pt(25.0, 15.0), pt(15.0, 15.0)];
        let area = combine::enclosed([&plate[..], &hole[..]], combine::FillRule::EvenOdd);
        let fields = fields(&area, 0.0, 1.0, 10.0);
        assert_eq!(fields.len(), 1, "one area");
        let field = &fields[0];
        assert!((28..=32).contains(&field.rows.len()), "{} rows", field.rows.len());
        for fronts in [&field.left, &field.right] {
            assert_eq!(fronts.len(), 2, "the plate's side and the hole's");
            assert!(fronts[0].len() >= 19, "the plate's side runs past the hole: {}", fronts[0].len());
            let all: usize = fronts.iter().map(Vec::len).sum();
            assert_eq!(all, field.rows.len(), "every row is in one front");
            for w in fronts.iter().flat_map(|f| f.windows(2)) {
                let gap = field.rows[w[1]].y - field.rows[w[0]].y;
                assert!((gap - 1.0).abs() < 1e-9, "one pitch apart");
            }
        }
    }

    #[test]
    fn rows_are_placed_where_most_tow_fits() {
        // an arm of 2.2 pitches beside a body: in the middle of the whole only
        // one row would fit the arm
        let ring = [
            pt(0.0, 0.0),
            pt(20.0, 0.0),
            pt(20.0, 4.9),
            pt(60.0, 4.9),
            pt(60.0, 7.1),
            pt(20.0, 7.1),
            pt(20.0, 12.5),
            pt(0.0, 12.5),
        ];
        let area = combine::ring_area(&ring);
        let field = &fields(&area, 0.0, 1.0, 10.0)[0];
        let in_arm = field.rows.iter().filter(|r| r.b > 50.0).count();
        assert_eq!(in_arm, 3, "{:?}", field.rows);
    }

    #[test]
    fn past_stubs_rows_above_and_below_a_hole_meet_those_at_its_far_side() {
        // a hole 2 mm from the left wall: stubs of 2 mm between them
        let plate = [pt(0.0, 0.0), pt(40.0, 0.0), pt(40.0, 20.0), pt(0.0, 20.0)];
        let hole = [pt(2.0, 5.0), pt(12.0, 5.0), pt(12.0, 15.0), pt(2.0, 15.0)];
        let area = combine::enclosed([&plate[..], &hole[..]], combine::FillRule::EvenOdd);
        let field = &fields(&area, 0.0, 1.0, 20.0)[0];
        assert_eq!((field.left.len(), field.right.len()), (2, 2), "the stubs have fronts of their own");
        let past = field.past_stubs(1.0, 5.0).expect("stubs");
        assert!(past.stubs.iter().all(|r| (r.length() - 2.0).abs() < 1e-6), "{:?}", past.stubs);
        assert_eq!(past.rows.len() + past.stubs.len(), field.rows.len(), "no row is lost");
        assert_eq!((past.left.len(), past.right.len()), (1, 1), "from wall to wall past the hole");
        assert_eq!(past.left[0].len(), past.rows.len());
        assert!(field.past_stubs(1.0, 1.0).is_none(), "none so short");
    }
}
