//! Why a bound holds, or why there is none.

/// Why there is a ceiling or none.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[repr(u8)]
pub enum Status {
    /// the ceiling holds
    Holds = 0,
    /// the contact can open: no ceiling
    CanOpen = 1,
    /// contacts that can move stand in more than one loop
    SeveralLoops = 2,
    /// the output passes nothing at the driven frequency
    NoFundamental = 3,
    /// the contact stands across the signal and can short it: no ceiling
    CanShort = 4,
    /// a contact in a shared return: the other channel is a drive too
    SharedReturn = 5,
    /// the contacts can do too much for the bound
    NoBound = 6,
    /// a direct current through the contact of which it can make as much as the tone
    DirectCurrent = 7,
    /// the bound is for resistive chains with flat stages, and this one is not
    NotResistive = 8,
    /// contacts read in millivolts where a bound of the sum needs them in ohms, or the other way round
    ReadDifferently = 9,
    /// a contact in a shared return while the other channel plays another programme
    OtherProgramme = 10,
}

impl Status {
    /// Every status, by its number.
    pub const ALL: [Self; 11] = [
        Self::Holds,
        Self::CanOpen,
        Self::SeveralLoops,
        Self::NoFundamental,
        Self::CanShort,
        Self::SharedReturn,
        Self::NoBound,
        Self::DirectCurrent,
        Self::NotResistive,
        Self::ReadDifferently,
        Self::OtherProgramme,
    ];

    /// One word for each, by number.
    pub const WORDS: [&'static str; 11] = [
        "holds",
        "can open",
        "several loops",
        "no fundamental",
        "can short",
        "shared return",
        "no bound",
        "direct current",
        "not resistive",
        "read differently",
        "other programme",
    ];

    /// The reason of each in a sentence, by number.
    pub const REASONS: [&'static str; 11] = [
        "the ceiling holds for any contact whose chord stays in the range",
        "no ceiling: a contact that can open can do anything; give a finite largest resistance",
        "no ceiling from this bound: contacts that move stand in more than one loop, across the signal or in several sections; ask for one at a time with ranges={name: (low, high)}",
        "no ceiling: the output passes nothing at the driven frequency, or direct current runs through a contact without a signal",
        "no ceiling: a contact across the signal that can short it can do anything; give a smallest resistance above zero",
        "no ceiling from this bound: a contact in a shared return carries the other channel's current too",
        "no ceiling: so many ohms are more than the bound can hold",
        "no bound: out of the direct current through it a contact that jumps makes some of the tone, and may cancel it",
        "no ceiling of this kind: it is for resistive chains with flat stages, and this one has reactances or an equaliser",
        "no bound of the sum: one read in millivolts stands before one read in ohms, or beside it behind others; read the later ones in millivolts too",
        "no ceiling: the other channel plays another programme through the shared return, and what it leaves here is crosstalk, not residue of this tone; play the same on both or silence the other",
    ];

    /// One word for it.
    #[must_use]
    pub fn word(self) -> &'static str {
        Self::WORDS[self as usize]
    }

    /// The reason in a sentence.
    #[must_use]
    pub fn reason(self) -> &'static str {
        Self::REASONS[self as usize]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_status_has_a_word_and_a_reason_of_its_own() {
        for (k, status) in Status::ALL.into_iter().enumerate() {
            assert_eq!(status as usize, k);
            let others = || Status::ALL.into_iter().filter(|other| *other != status);
            assert!(others().all(|other| other.word() != status.word() && other.reason() != status.reason()));
        }
        assert!(Status::CanOpen.reason().contains("can open") && Status::NotResistive.reason().contains("reactances"));
        assert_eq!(Status::Holds.word(), "holds");
    }
}
