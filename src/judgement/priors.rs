//! What is taken to be likely before anything was heard or measured. Every value can be set in a sheet under `[prior]`.
//!
//! No statistic of real amplifiers stands behind any of them \[assumption\]. The ranges of the film laws (barrier, area, hopping,
//! ideality, leak, breakdown, pinned voltage) are this project's choice within what the sources named in
//! [`physics`](crate::physics) report \[memory\]; shares of laws, of wear and of listeners are judgement alone.

use crate::error::InputError;

/// One value of the table.
#[derive(Debug, Clone, Copy)]
pub struct Row {
    /// its name in a sheet
    pub name: &'static str,
    /// what is taken where the sheet says nothing
    pub default: f64,
    /// smallest allowed
    pub low: f64,
    /// largest allowed
    pub high: f64,
    /// the default as a sheet writes it
    pub example: &'static str,
    /// what it is
    pub meaning: &'static str,
}

macro_rules! priors {
    ($($name:ident = $default:literal in $low:literal .. $high:literal, $meaning:literal;)+) => {
        /// The values in force.
        #[derive(Debug, Clone, PartialEq)]
        #[allow(missing_docs)]
        pub struct Priors { $(pub $name: f64),+ }

        /// Every value with its default and what is allowed.
        pub const TABLE: &[Row] = &[$(Row {
            name: stringify!($name), default: $default, low: $low, high: $high, example: concat!("# ", stringify!($default)),
            meaning: $meaning,
        }),+];

        impl Default for Priors {
            fn default() -> Self { Self { $($name: $default),+ } }
        }

        impl Priors {
            /// A value by its name.
            #[must_use]
            pub fn get(&self, name: &str) -> Option<f64> {
                match name { $(stringify!($name) => Some(self.$name),)+ _ => None }
            }

            /// Sets a value by its name; nothing for a name that there is not.
            pub fn set(&mut self, name: &str, value: f64) -> Option<()> {
                match name { $(stringify!($name) => self.$name = value,)+ _ => return None }
                Some(())
            }
        }
    };
}

priors! {
    ohmic = 0.35 in 0.0 .. 1.0, "share of steady bad contacts that are ohmic";
    tunnelling = 0.45 in 0.0 .. 1.0, "share that tunnel or hop";
    rectifying = 0.20 in 0.0 .. 1.0, "share that rectify; the three sum to 1";
    chatter = 0.30 in 0.0 .. 1.0, "share of bad contacts that chatter";
    bridged = 0.10 in 0.0 .. 1.0, "share whose film the signal has broken";
    no_contact = 0.30 in 0.0 .. 1.0, "that it is a stage, source or loudspeaker on the route";
    under_biased = 0.60 in 0.0 .. 1.0, "share of faults of an output stage that are too little bias";
    noisy = 0.35 in 0.0 .. 1.0, "share of faults of another stage that are noise of its own";
    direct_voltage = 0.20 in 0.0 .. 1.0, "share of faults before a control that are direct voltage on it";
    something_else = 0.05 in 0.0 .. 1.0, "that it is nothing in this sheet";
    two_faults = 0.10 in 0.0 .. 1.0, "that a channel has two faults";
    shared = 0.60 in 0.0 .. 1.0, "that one cause is behind both channels where both are bad";
    worn_part = 0.15 in 0.0 .. 1.0, "share of innocent contacts with more ohms than is usual for them";
    worn_to = 0.02 in 1e-6 .. 1.0, "largest resistance of an innocent contact over its loop's";
    bad_from = 1e-3 in 1e-6 .. 1.0, "least resistance of a bad contact over its loop's";
    bad_to = 100.0 in 1.0 .. 1e6, "largest resistance of a bad contact over its loop's";
    hopping = 0.35 in 0.0 .. 1.0, "share of tunnelling films that hop";
    hopping_v = 0.08 in 0.02 .. 10.0, "median scale of hopping, V";
    hopping_spread = 1.7 in 1.0 .. 10.0, "its geometric standard deviation";
    barrier_from = 0.8 in 0.1 .. 10.0, "lowest barrier, eV";
    barrier_to = 2.5 in 0.1 .. 10.0, "highest barrier, eV";
    area_from = 1e-14 in 1e-20 .. 1e-4, "smallest conducting area, m2";
    area_to = 3e-10 in 1e-20 .. 1e-4, "largest conducting area, m2";
    ideality_from = 1.0 in 1.0 .. 10.0, "lowest ideality of a rectifying film";
    ideality_to = 2.5 in 1.0 .. 10.0, "highest ideality";
    leak_from = 0.01 in 1e-4 .. 1.0, "smallest leak of a rectifying film";
    leak_to = 1.0 in 1e-4 .. 1.0, "largest leak";
    frit_from = 0.07 in 1e-3 .. 1e3, "lowest voltage that breaks a film, V";
    frit_to = 5.0 in 1e-3 .. 1e3, "highest voltage that a film stands, V";
    pinned_from = 0.10 in 1e-3 .. 10.0, "lowest voltage at which a bridge is pinned, V";
    pinned_to = 0.45 in 1e-3 .. 10.0, "highest such voltage, V";
    noticed = 10.0 in 1.0 .. 1e4, "residue that half the listeners notice over the least audible";
    hearing_spread = 3.16 in 1.0 .. 100.0, "geometric standard deviation of that among listeners";
    unwritten = 0.2 in 0.0 .. 1.0, "share of lesser symptoms that are heard and not written down";
    tried = 0.3 in 0.0 .. 1.0, "share of cures (tapped, worked, turned up) that were tried";
}

impl Priors {
    /// Pairs of lower and upper ends.
    const RANGES: [(&'static str, &'static str); 6] = [
        ("bad_from", "bad_to"),
        ("barrier_from", "barrier_to"),
        ("area_from", "area_to"),
        ("ideality_from", "ideality_to"),
        ("leak_from", "leak_to"),
        ("frit_from", "frit_to"),
    ];

    /// Checks that the shares sum and that something is left.
    ///
    /// # Errors
    /// A value out of its range, laws that do not sum to 1, shares that leave no contact or exclude everything, ends upside down.
    pub fn check(&self) -> Result<(), InputError> {
        for row in TABLE {
            let value = self.get(row.name).unwrap_or(f64::NAN);
            if !(value >= row.low && value <= row.high) {
                let allowed = format!("allowed: {} to {}", row.low, row.high);
                return Err(InputError::new(format!("[prior]: {}", row.name), value, allowed));
            }
        }
        let refuse =
            |what: &str, sum: f64, allowed: &str| Err(InputError::new(format!("[prior]: {what}"), sum, allowed));
        let laws = self.ohmic + self.tunnelling + self.rectifying;
        if (laws - 1.0).abs() > 1e-6 {
            return refuse("ohmic + tunnelling + rectifying", laws, "allowed: three shares that sum to 1");
        }
        if self.chatter + self.bridged > 1.0 {
            return refuse("chatter + bridged", self.chatter + self.bridged, "allowed: at most 1 together");
        }
        if self.noisy + self.direct_voltage > 1.0 {
            let sum = self.noisy + self.direct_voltage;
            return refuse("noisy + direct_voltage", sum, "allowed: at most 1 together; the rest is other faults");
        }
        let outside = self.no_contact + self.something_else;
        if outside > 1.0 {
            return refuse("no_contact + something_else", outside, "allowed: at most 1 together; the rest is contacts");
        }
        for (low, high) in Self::RANGES.into_iter().chain([("pinned_from", "pinned_to")]) {
            let (from, to) = (self.get(low).unwrap_or(f64::NAN), self.get(high).unwrap_or(f64::NAN));
            if from > to {
                let allowed = format!("allowed: at most {high}, {to}");
                return Err(InputError::new(format!("[prior]: {low}"), from, allowed));
            }
        }
        Ok(())
    }

    /// Shares of the laws for a contact metal as a sheet writes it: copper and brass rectify more often, gold and tin less.
    ///
    /// A sheet that sets the laws itself is followed for every metal.
    #[must_use]
    pub fn laws(&self, metal: Option<&str>) -> [f64; 3] {
        let own = [self.ohmic, self.tunnelling, self.rectifying];
        let given = Self::default();
        if own != [given.ohmic, given.tunnelling, given.rectifying] {
            return own;
        }
        let metal = metal.map(str::to_lowercase).unwrap_or_default();
        let has = |names: &[&str]| names.iter().any(|name| metal.contains(name));
        let rectifying = if has(&["copper", "brass"]) {
            0.30
        } else if has(&["gold", "tin"]) {
            0.10
        } else {
            return own;
        };
        let rest = (1.0 - rectifying) / (own[0] + own[1]);
        [own[0] * rest, own[1] * rest, rectifying]
    }

    /// What the sheet set otherwise, for the page: `chatter 0.5`.
    #[must_use]
    pub fn changed(&self) -> Vec<String> {
        let set = |row: &&Row| self.get(row.name) != Some(row.default);
        TABLE.iter().filter(set).map(|row| format!("{} {}", row.name, self.get(row.name).unwrap_or(f64::NAN))).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn defaults_hold_and_every_name_works() {
        let mut priors = Priors::default();
        priors.check().unwrap();
        assert!(priors.changed().is_empty());
        for row in TABLE {
            assert_eq!(priors.get(row.name), Some(row.default));
            assert!(row.example.trim_start_matches("# ").parse::<f64>() == Ok(row.default), "{}", row.name);
            priors.set(row.name, row.default).unwrap();
        }
        assert_eq!(priors.set("nobody", 1.0), None);
    }

    #[test]
    fn what_does_not_sum_is_refused() {
        let set = |name: &str, value: f64| {
            let mut priors = Priors::default();
            priors.set(name, value).unwrap();
            priors.check().unwrap_err()
        };
        assert!(set("ohmic", 0.5).to_string().contains("sum to 1"));
        assert!(set("chatter", -0.1).place.ends_with("chatter"));
        assert!(set("chatter", 0.95).place.contains("chatter + bridged"));
        assert!(set("noisy", 0.9).place.ends_with("noisy + direct_voltage"));
        assert!(set("no_contact", 0.99).place.contains("something_else"));
        assert!(set("frit_to", 0.01).place.ends_with("frit_from"));
        assert!(set("unwritten", f64::NAN).place.ends_with("unwritten"));
    }

    #[test]
    fn metals_change_the_law() {
        let priors = Priors::default();
        assert_eq!(priors.laws(Some("silver"))[2], 0.20);
        let brass = priors.laws(Some("Brass, tarnished"));
        assert!(brass[2] == 0.30 && (brass.iter().sum::<f64>() - 1.0).abs() < 1e-12);
        assert_eq!(priors.laws(Some("gold flash"))[2], 0.10);
    }
}
