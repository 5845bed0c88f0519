//! What a year of good service costs.

use crate::error::{InputError, not_negative};

/// One visit to the bench.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Visit {
    /// working time, min
    pub minutes: f64,
    /// price of an hour of work
    pub per_hour: f64,
    /// price of the new part
    pub part_cost: f64,
    /// share of visits that damage something
    pub damage_share: f64,
    /// what a damage costs
    pub damage_cost: f64,
}

impl Visit {
    /// What the visit costs on average.
    ///
    /// # Errors
    /// A value that is negative or not finite; a share above one.
    pub fn cost(&self) -> Result<f64, InputError> {
        let share = not_negative("damage_share", self.damage_share)?;
        if share > 1.0 {
            return Err(InputError::new("damage_share", share, "allowed: 0 to 1"));
        }
        Ok(not_negative("minutes", self.minutes)? / 60.0 * not_negative("per_hour", self.per_hour)?
            + not_negative("part_cost", self.part_cost)?
            + share * not_negative("damage_cost", self.damage_cost)?)
    }
}

/// Cost of a visit over the years of good service it buys: `cost / (in_order_share * good_years)`.
///
/// `good_years` is the mean time to the comeback, cut off at the horizon: the area under the survival curve. A contact
/// that is not back in order gives no good year; infinite where none is bought.
///
/// # Errors
/// As [`Visit::cost`]; a share that is not 0 to 1; negative years.
pub fn cost_per_good_year(visit: &Visit, in_order_share: f64, good_years: f64) -> Result<f64, InputError> {
    if !(0.0..=1.0).contains(&in_order_share) {
        return Err(InputError::new("in_order_share", in_order_share, "allowed: 0 to 1"));
    }
    let years = in_order_share * not_negative("good_years", good_years)?;
    let cost = visit.cost()?;
    Ok(if years > 0.0 { cost / years } else { f64::INFINITY })
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    #[test]
    fn by_hand() {
        let visit = Visit { minutes: 30.0, per_hour: 60.0, part_cost: 8.0, damage_share: 0.05, damage_cost: 40.0 };
        // 30 + 8 + 2 = 40 over 0.8 * 2.5 = 2 years [calc]
        assert_relative_eq!(cost_per_good_year(&visit, 0.8, 2.5).unwrap(), 20.0, epsilon = 0.0, max_relative = 1e-15);
        assert_eq!(cost_per_good_year(&visit, 0.0, 2.5).unwrap(), f64::INFINITY);
        assert!(cost_per_good_year(&visit, 1.2, 2.5).is_err());
        assert!(cost_per_good_year(&Visit { minutes: -1.0, ..visit }, 0.8, 2.5).is_err());
    }
}
