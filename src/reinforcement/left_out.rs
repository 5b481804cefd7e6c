//! Tow that a map asks for and that is not laid: how much, where and why.

use std::collections::BTreeMap;
use std::fmt;

/// Tow that was asked for and is not laid.
#[derive(Clone, Debug, PartialEq)]
pub struct LeftOut {
    /// Name of the region.
    pub region: String,
    /// Layer number.
    pub layer: usize,
    /// Why.
    pub reason: Reason,
    /// Tow given up, mm.
    pub length_mm: f64,
    /// Where, mm; `None` where the shape gives no place.
    pub at_mm: Option<[f64; 2]>,
}

/// Why tow is not laid. Shown in a few words, which stand in plan files and reports.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Reason {
    /// The layer has no such hole.
    NoHole,
    /// The shape lies beside the part in the layer.
    OutsideThePart,
    /// A pin does.
    PinOutside,
    /// No course fits into the region at all.
    TooSmall {
        /// Least bend radius, mm.
        radius_mm: f64,
        /// The shortest piece that can be cut and laid, mm.
        shortest_mm: f64,
    },
    /// Nor into what others leave of it.
    NothingFits {
        /// Least bend radius, mm.
        radius_mm: f64,
        /// The shortest piece that can be cut and laid, mm.
        shortest_mm: f64,
    },
    /// No piece long enough follows a direction field there.
    NothingFollows {
        /// The shortest piece that can be cut and laid, mm.
        shortest_mm: f64,
    },
    /// Something else is there.
    NoRoom,
    /// The course itself is there already.
    NearItself,
    /// It would bend more tightly than the tow may.
    TooTight,
    /// It would be too short.
    TooShort {
        /// The shortest piece that can be cut and laid, mm.
        shortest_mm: f64,
    },
    /// Rows that turns would join are hardly longer than these.
    RowsTooShort,
    /// Of hoops so many found no room.
    Hoops {
        /// Not laid.
        missing: usize,
        /// Asked for.
        asked: usize,
    },
    /// Of straps so many found no way to close.
    Straps {
        /// Not laid, or not closed.
        missing: usize,
        /// Asked for.
        asked: usize,
    },
    /// It weaves, and it is another's turn.
    NotItsTurn,
    /// Tow that trails its nozzle would lie elsewhere.
    Astray {
        /// How far off, mm.
        off_mm: f64,
    },
}

impl fmt::Display for Reason {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::NoHole => "no such hole in this layer",
            Self::OutsideThePart => "the shape lies outside the part in this layer",
            Self::PinOutside => "a pin lies outside the part in this layer",
            Self::TooSmall { radius_mm, shortest_mm } => {
                return write!(
                    f,
                    "too small for a course of {radius_mm} mm bend radius and at least {shortest_mm:.1} mm"
                );
            }
            Self::NothingFits { radius_mm, shortest_mm } => {
                return write!(
                    f,
                    "no course of {radius_mm} mm bend radius and at least {shortest_mm:.1} mm fits beside the others"
                );
            }
            Self::NothingFollows { shortest_mm } => {
                return write!(f, "no course of at least {shortest_mm:.1} mm follows the field here");
            }
            Self::NoRoom => "no room beside the boundary or other courses",
            Self::NearItself => "would come nearer than a tow's width to itself",
            Self::TooTight => "bends tighter than the tow allows",
            Self::TooShort { shortest_mm } => {
                return write!(f, "shorter than the {shortest_mm:.1} mm that can be cut and laid");
            }
            Self::RowsTooShort => "rows too short for the turns that would join them",
            Self::Hoops { missing, asked } => return write!(f, "no room for {missing} of {asked} hoops"),
            Self::Straps { missing, asked } => {
                if missing == asked {
                    f.write_str("no strap closes: ")?;
                }
                return write!(f, "no room for {missing} of {asked} straps");
            }
            Self::NotItsTurn => "woven: in this layer the ground is another region's, in the next its own",
            Self::Astray { off_mm } => {
                return write!(f, "tow that trails the nozzle would lie {off_mm:.2} mm off its line");
            }
        })
    }
}

impl Reason {
    /// The same but for how far tow would lie off its line.
    pub(crate) fn is_as(&self, other: &Self) -> bool {
        match (self, other) {
            (Self::Astray { .. }, Self::Astray { .. }) => true,
            _ => self == other,
        }
    }

    /// Of two that are so the one with the further.
    pub(crate) fn worse(self, other: Self) -> Self {
        match (self, other) {
            (Self::Astray { off_mm: a }, Self::Astray { off_mm: b }) => Self::Astray { off_mm: a.max(b) },
            _ => self,
        }
    }
}

impl LeftOut {
    /// Places where less than this is missing are not told one by one, mm: less than two
    /// tows are wide.
    const LEAST_MM: f64 = 1.0;

    /// Tow is missing there: ground that is another region's for the layer, in turn, is not.
    pub fn is_missing(&self) -> bool {
        self.reason != Reason::NotItsTurn
    }

    /// Where to look for it; `None` where too little is missing to be seen.
    pub fn mark(&self) -> Option<[f64; 2]> {
        self.at_mm.filter(|_| self.length_mm >= Self::LEAST_MM)
    }

    /// The same with what is too short to be told by itself as one entry for each region, layer
    /// and reason, which stands where the first of them stood. Their sum is without a place.
    pub fn summed(all: Vec<Self>) -> Vec<Self> {
        let mut out: Vec<Self> = Vec::with_capacity(all.len());
        // by region and layer: one for each reason, wherever among `out`
        let mut sums: BTreeMap<(String, usize), Vec<usize>> = BTreeMap::new();
        for one in all {
            if one.length_mm >= Self::LEAST_MM {
                out.push(one);
                continue;
            }
            let mine = sums.entry((one.region.clone(), one.layer)).or_default();
            if let Some(&k) = mine.iter().find(|k| out[**k].reason.is_as(&one.reason)) {
                out[k].length_mm += one.length_mm;
                out[k].reason = out[k].reason.worse(one.reason);
                out[k].at_mm = None;
            } else {
                mine.push(out.len());
                out.push(one);
            }
        }
        out
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn short_pieces_are_summed_and_nothing_is_lost() {
        let one = |region: &str, layer, length_mm, x| LeftOut {
            region: region.to_owned(),
            layer,
            reason: Reason::NoRoom,
            length_mm,
            at_mm: Some([x, 0.0]),
        };
        let all = vec![
            one("a", 1, 0.25, 1.0),
            one("a", 1, 12.0, 2.0),
            one("a", 1, 0.5, 3.0),
            one("b", 1, 0.125, 4.0),
            one("a", 2, 0.5, 5.0),
            one("a", 1, 0.75, 6.0),
        ];
        let before: f64 = all.iter().map(|l| l.length_mm).sum();
        let summed = LeftOut::summed(all);
        let after: f64 = summed.iter().map(|l| l.length_mm).sum();
        assert!((after - before).abs() < 1e-12, "{after} {before}");
        let lengths: Vec<f64> = summed.iter().map(|l| l.length_mm).collect();
        assert_eq!(lengths, [1.5, 12.0, 0.125, 0.5]);
        let marks: Vec<bool> = summed.iter().map(|l| l.mark().is_some()).collect();
        assert_eq!(marks, [false, true, false, false], "a sum lies nowhere, a speck is not seen");
        assert_eq!(summed[2].at_mm, Some([4.0, 0.0]), "one by itself keeps its place");
    }

    #[test]
    fn short_pieces_astray_are_summed_however_far_off() {
        let one = |off_mm| LeftOut {
            region: "a".to_owned(),
            layer: 1,
            reason: Reason::Astray { off_mm },
            length_mm: 0.5,
            at_mm: Some([1.0, 0.0]),
        };
        let [sum] = LeftOut::summed([0.21, 0.34, 0.2].map(one).to_vec()).try_into().expect("one entry");
        assert_eq!((sum.length_mm, sum.reason), (1.5, Reason::Astray { off_mm: 0.34 }));
    }
}
