//! Direct currents that nothing opposes but films that may saturate.
//!
//! Two loops with nothing but a capacitance between them carry the same direct current, and two bridges in them, whose voltage may rise without
//! end, do not say how it is divided: what the node's row leaves over on the mean has no bound. So it must leave nothing, and can: the
//! currents of the loops are moved by constants that make the mean vanish, and what that leaves over in the loops' own rows is counted
//! with the slope of their films where they stand and a little beside it; a constant that would move them further proves nothing. In the mean such loops are one, their films in series. A node for a loop and an inductance for a capacitance are the same.

use super::gains::Chain;
use super::loops::{Loops, Part};
use super::ways::Ways;

/// Groups of parts that the mean joins.
#[derive(Debug, Clone, Default)]
pub struct Balance {
    groups: Vec<Group>,
}

#[derive(Debug, Clone)]
struct Group {
    /// the parts, each two after the one before
    parts: Vec<usize>,
    /// the one that must stay where it is, if there is one
    stays: Option<usize>,
}

impl Balance {
    /// Of a chain; `None` where constants cannot do it: two films of a group, or beside it, that leave nothing over already.
    #[must_use]
    pub fn new(loops: &Loops, ways: &Ways) -> Option<Self> {
        let count = loops.parts.len();
        let joins = |n: usize| {
            let plain = |part: &Part| part.lost == 0.0 && part.stored > 0.0 && !part.element.has_films();
            n > 0 && n + 1 < count && plain(&loops.parts[n])
        };
        let mut groups = Vec::new();
        for first in 0..count {
            if first >= 2 && joins(first - 1) {
                continue;
            }
            let mut parts = vec![first];
            while joins(parts[parts.len() - 1] + 1) {
                parts.push(parts[parts.len() - 1] + 2);
            }
            let endless = |&&i: &&usize| loops.parts[i].element.slopes().1.is_infinite();
            if parts.len() < 2 || parts.iter().filter(endless).count() < 2 {
                continue;
            }
            let holds = |i: usize| ways.of.get(i).is_some_and(Option::is_some);
            let fixed = |&i: &usize| holds(i) || i > 0 && holds(i - 1) || holds(i + 1);
            let mut fixed = parts.iter().copied().filter(fixed);
            let stays = fixed.next();
            if fixed.next().is_some() {
                return None;
            }
            groups.push(Group { parts, stays });
        }
        let balance = Self { groups };
        (!balance.overlaps()).then_some(balance)
    }

    /// Whether a part of one group is a row between two of another: it would have to move and to vanish.
    fn overlaps(&self) -> bool {
        self.rows().any(|row| self.groups.iter().any(|group| group.parts.contains(&row)))
    }

    /// Whether there is anything to balance.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.groups.is_empty()
    }

    /// Rows whose mean is made to vanish.
    pub fn rows(&self) -> impl Iterator<Item = usize> {
        self.groups.iter().flat_map(|group| group.parts[1..].iter().map(|i| i - 1))
    }

    /// The chain as the mean sees it, and which of its rows each row of the chain is in: none for those that vanish.
    #[must_use]
    pub fn joined(&self, chain: &Chain) -> (Chain, Vec<Option<usize>>) {
        let gone: Vec<usize> = self.rows().collect();
        let mut joined = Chain::default();
        let mut row: Vec<Option<usize>> = vec![None; chain.lost.len()];
        for i in 0..chain.lost.len() {
            if gone.contains(&i) {
                continue;
            }
            if i > 0 && gone.contains(&(i - 1)) {
                // what goes before is a row that vanishes: this part goes on with the one before it
                let into = row[i - 2].unwrap_or(0);
                joined.lost[into] += chain.lost[i];
                joined.steepest[into] += chain.steepest[i];
                joined.films[into] |= chain.films[i];
                row[i] = Some(into);
                continue;
            }
            row[i] = Some(joined.lost.len());
            joined.lost.push(chain.lost[i]);
            joined.stored.push(chain.stored[i]);
            joined.steepest.push(chain.steepest[i]);
            joined.films.push(chain.films[i]);
        }
        (joined, row)
    }

    /// Moves the parts of each group so that the means of the rows between vanish; `rest` are rms and mean of what each row leaves
    /// over, `firmness` the rms change of a row per change of its part and how far it may move for that to hold.
    pub fn apply(&self, rest: &mut [(f64, f64)], firmness: &[(f64, f64)]) {
        for group in &self.groups {
            let mut moved = vec![0.0];
            for &i in &group.parts[1..] {
                moved.push(moved[moved.len() - 1] - rest[i - 1].1);
                rest[i - 1].1 = 0.0;
            }
            let firmest = || group.parts.iter().copied().max_by(|&a, &b| firmness[a].0.total_cmp(&firmness[b].0));
            let stays = group.stays.or_else(firmest);
            let by = group.parts.iter().position(|&i| Some(i) == stays).map_or(0.0, |k| moved[k]);
            for (&i, moved) in group.parts.iter().zip(&moved) {
                let moved = (moved - by).abs();
                let (firm, within) = firmness[i];
                let more = if moved == 0.0 {
                    0.0
                } else if moved <= within {
                    firm * moved
                } else {
                    f64::INFINITY
                };
                rest[i].0 += more;
                rest[i].1 = rest[i].1.abs() + more;
            }
            // past the ends of the group stand rows that do not vanish
            let (first, last) = (group.parts[0], group.parts[group.parts.len() - 1]);
            if first > 0 {
                rest[first - 1].1 = rest[first - 1].1.abs() + (moved[0] - by).abs();
            }
            if let Some(next) = rest.get_mut(last + 1) {
                next.1 = next.1.abs() + (moved[moved.len() - 1] - by).abs();
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::Period;
    use super::super::tests::{hollow, ohm};
    use super::*;
    use crate::watch::Unwatched;

    #[test]
    fn currents_are_moved_until_the_mean_between_them_vanishes() {
        let balance = Balance { groups: vec![Group { parts: vec![1, 3, 5], stays: None }] };
        // node 2 lacks 3 A and node 4 has 2 A over: part 3 moves by -3 beside part 1, part 5 by 2 more beside that
        let mut rest = vec![(0.1, 0.5), (0.1, -0.5), (0.1, 3.0), (0.1, 0.0), (0.1, -2.0), (0.1, 0.0), (0.1, 0.25)];
        // the firmest, part 5, stays: so part 1 moves by 1 and part 3 by -2
        balance.apply(&mut rest, &[9.0, 10.0, 9.0, 20.0, 9.0, 30.0, 9.0].map(|firm| (firm, 5.0)));
        let expected = [(0.1, 1.5), (10.1, 10.5), (0.1, 0.0), (40.1, 40.0), (0.1, 0.0), (0.1, 0.0), (0.1, 0.25)];
        assert_eq!(rest, expected);
        let held = Balance { groups: vec![Group { parts: vec![1, 3], stays: Some(1) }] };
        let mut rest = vec![(0.0, 0.0), (0.0, 0.0), (0.0, 3.0), (0.0, 0.0), (0.0, 1.0)];
        let far = rest.clone();
        held.apply(&mut rest, &[(f64::INFINITY, 0.0), (f64::INFINITY, 0.0), (0.0, 0.0), (2.0, 3.0), (0.0, 0.0)]);
        assert_eq!(rest, [(0.0, 0.0), (0.0, 0.0), (0.0, 0.0), (6.0, 6.0), (0.0, 4.0)]);
        // further than the slope is known for nothing is known
        let mut rest = far;
        held.apply(&mut rest, &[(1.0, 1.0), (1.0, 1.0), (1.0, 1.0), (2.0, 2.9), (1.0, 1.0)]);
        assert_eq!(rest[3].0, f64::INFINITY);
    }

    #[test]
    fn loops_and_nodes_that_join_each_others_rows_are_refused() {
        let of = |groups: &[&[usize]]| Balance {
            groups: groups.iter().map(|parts| Group { parts: parts.to_vec(), stays: None }).collect(),
        };
        assert!(of(&[&[1, 3, 5], &[4, 6, 8]]).overlaps() && of(&[&[1, 3], &[2, 4]]).overlaps());
        assert!(!of(&[&[0, 2], &[4, 6]]).overlaps() && !of(&[&[0, 2], &[3, 5]]).overlaps());
    }

    #[test]
    fn what_the_mean_joins_is_one_row() {
        let chain = Chain {
            stored: vec![0.5, 0.1, 0.0, 0.2, 0.3],
            lost: vec![1.0, 0.0, 2.0, 4.0, 8.0],
            steepest: vec![16.0, 0.0, 32.0, 0.0, 64.0],
            films: vec![false, false, true, false, true],
            hollow: vec![false; 5],
        };
        let balance = Balance { groups: vec![Group { parts: vec![0, 2], stays: None }] };
        let (joined, row) = balance.joined(&chain);
        assert_eq!((joined.lost, joined.steepest), (vec![3.0, 4.0, 8.0], vec![48.0, 0.0, 64.0]));
        assert_eq!((joined.films, row), (vec![true, false, true], vec![Some(0), None, Some(0), Some(1), Some(2)]));
    }

    #[test]
    fn only_bridges_that_could_share_a_current_as_they_like_are_balanced() {
        for (k, network) in hollow().iter().enumerate() {
            let period = Period::new(network, (2e3, network.emf_v), &ohm(network), &Unwatched).unwrap();
            assert_eq!(period.balance.unwrap().is_empty(), k != 4);
        }
    }
}
