//! Days as spreadsheets write them.

/// A day before its order of day and month is settled.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Written {
    /// year, month, day
    Sure(i32, u32, u32),
    /// two numbers and a year, with slashes: either may be the month
    Slashed(u32, u32, i32),
}

/// Which number of a slashed date is the day.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Order {
    DayFirst,
    MonthFirst,
}

fn parts(text: &str, by: char) -> Option<(u32, u32, u32)> {
    let mut numbers = text.split(by).map(|p| p.trim().parse::<u32>().ok());
    let found = (numbers.next()??, numbers.next()??, numbers.next()??);
    numbers.next().is_none().then_some(found)
}

/// Reads "2024-03-05", "2024-03-05T10:00", "5.3.2024", "5/3/2024".
pub(super) fn written(text: &str) -> Option<Written> {
    let day = text.split(['T', ' ']).next()?;
    let year = |y: u32| (1900..2200).contains(&y).then_some(y as i32);
    for by in ['-', '/', '.'] {
        let Some((a, b, c)) = parts(day, by) else { continue };
        if let Some(y) = year(a) {
            return Some(Written::Sure(y, b, c));
        }
        let y = year(c)?;
        return Some(if by == '/' { Written::Slashed(a, b, y) } else { Written::Sure(y, b, a) });
    }
    None
}

/// What a slashed date gives away about the order.
pub(super) fn order(written: Written) -> Option<Order> {
    match written {
        Written::Slashed(a, b, _) if a > 12 && b <= 12 => Some(Order::DayFirst),
        Written::Slashed(a, b, _) if b > 12 && a <= 12 => Some(Order::MonthFirst),
        _ => None,
    }
}

/// Days since 1970-01-01 of the Gregorian calendar; `None` for a day that does not exist.
pub(super) fn days(written: Written, ordered: Option<Order>) -> Option<i32> {
    let (y, m, d) = match (written, ordered) {
        (Written::Sure(y, m, d), _) => (y, m, d),
        (Written::Slashed(a, b, y), Some(Order::DayFirst)) => (y, b, a),
        (Written::Slashed(a, b, y), Some(Order::MonthFirst)) => (y, a, b),
        // the same either way
        (Written::Slashed(a, b, y), None) if a == b => (y, a, b),
        (Written::Slashed(..), None) => return None,
    };
    let leap = y % 4 == 0 && (y % 100 != 0 || y % 400 == 0);
    let lengths = [31, if leap { 29 } else { 28 }, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31];
    let length = *lengths.get((m as usize).checked_sub(1)?)?;
    if d == 0 || d > length {
        return None;
    }
    let before: u32 = lengths[..m as usize - 1].iter().sum();
    let y = y - 1;
    // 719 162 days lie before 1970-01-01
    Some(365 * y + y / 4 - y / 100 + y / 400 + (before + d - 1) as i32 - 719_162)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(text: &str, order: Option<Order>) -> Option<i32> {
        days(written(text)?, order)
    }

    #[test]
    fn known_days() {
        // numpy: datetime64("2024-03-05").astype(int) and so on [calc]
        for (text, day) in [
            ("1970-01-01", 0),
            ("2000-02-29", 11_016),
            ("2024-03-05", 19_787),
            ("2024-03-05T10:11:12", 19_787),
            ("2024-03-05 00:00:00", 19_787),
            ("5.3.2024", 19_787),
            ("05-03-2024", 19_787),
            ("2024/3/5", 19_787),
        ] {
            assert_eq!(at(text, None), Some(day), "{text}");
        }
        assert_eq!(at("5/3/2024", Some(Order::DayFirst)), Some(19_787));
        assert_eq!(at("3/5/2024", Some(Order::MonthFirst)), Some(19_787));
        assert_eq!(at("3/5/2024", None), None);
        for wrong in ["2023-02-29", "2024-13-01", "yesterday", "", "2024-03", "1-2-3-4", "2024-00-10", "31.4.2024"] {
            assert_eq!(at(wrong, None), None, "{wrong}");
        }
        assert_eq!(order(Written::Slashed(13, 5, 2024)), Some(Order::DayFirst));
        assert_eq!(order(Written::Slashed(5, 13, 2024)), Some(Order::MonthFirst));
    }
}
