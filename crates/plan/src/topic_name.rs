//! Topic names and filters as OASIS MQTT 5.0 section 4.7 defines them: the part that a file's reader must check.
//!
//! `network` has the same rules for messages under way. The reader may use no discipline, and a filter is no quantity, so the rules stand
//! twice; `crates/assess/tests/integration/topics.rs` holds the two to each other.

/// Longest name or filter, bytes of UTF-8 (OASIS MQTT 5.0 section 4.7.3).
const LONGEST: usize = 65_535;

fn check_common(text: &str) -> Result<(), &'static str> {
    if text.is_empty() {
        return Err("it is empty");
    }
    if text.len() > LONGEST {
        return Err("it is longer than 65535 bytes");
    }
    if text.contains('\0') {
        return Err("it holds a null character");
    }
    Ok(())
}

/// Whether a text may be a topic name.
pub(crate) fn check_name(text: &str) -> Result<(), &'static str> {
    check_common(text)?;
    if text.contains(['+', '#']) {
        return Err("`+` and `#` may stand in filters only");
    }
    Ok(())
}

/// Whether a text may be a topic filter.
pub(crate) fn check_filter(text: &str) -> Result<(), &'static str> {
    check_common(text)?;
    if text == "$share" || text.starts_with("$share/") {
        return Err("shared subscriptions (`$share/...`, section 4.8.2) are not modelled");
    }
    let levels: Vec<&str> = text.split('/').collect();
    for (i, level) in levels.iter().enumerate() {
        if level.contains('#') && (*level != "#" || i + 1 != levels.len()) {
            return Err("`#` must be the whole last level");
        }
        if level.contains('+') && *level != "+" {
            return Err("`+` must be a whole level");
        }
    }
    Ok(())
}

/// Whether a valid filter matches a valid name.
pub(crate) fn matches(filter: &str, name: &str) -> bool {
    if name.starts_with('$') && filter.starts_with(['+', '#']) {
        return false;
    }
    let mut names = name.split('/');
    for level in filter.split('/') {
        if level == "#" {
            return true;
        }
        match names.next() {
            Some(n) if level == "+" || level == n => {}
            _ => return false,
        }
    }
    names.next().is_none()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// OASIS MQTT 5.0 section 4.7.1: valid and invalid filters.
    #[test]
    fn val_filters_of_the_standard() {
        for good in [
            "#",
            "+",
            "+/+",
            "/+",
            "sport/#",
            "sport/+/player1",
            "+/tennis/#",
            "/",
        ] {
            assert_eq!(check_filter(good), Ok(()), "{good}");
        }
        for bad in [
            "",
            "sport/tennis#",
            "sport/tennis/#/ranking",
            "sport+",
            "a/#b",
            "#/",
            "$share/group/sport",
        ] {
            assert!(check_filter(bad).is_err(), "{bad}");
        }
        assert!(check_name("sport/+").is_err());
    }

    /// OASIS MQTT 5.0 sections 4.7.1 to 4.7.3: matches of its examples.
    #[test]
    fn val_matches_of_the_standard() {
        for (filter, name) in [
            ("sport/tennis/player1/#", "sport/tennis/player1"),
            ("sport/#", "sport"),
            ("sport/tennis/+", "sport/tennis/player2"),
            ("sport/+", "sport/"),
            ("+/+", "/finance"),
            ("$SYS/monitor/+", "$SYS/monitor/Clients"),
        ] {
            assert!(matches(filter, name), "{filter} {name}");
        }
        for (filter, name) in [
            ("sport/tennis/+", "sport/tennis/player1/ranking"),
            ("sport/+", "sport"),
            ("+", "/finance"),
            ("#", "$SYS/x"),
            ("+/monitor/Clients", "$SYS/monitor/Clients"),
            ("a/b", "a/bc"),
        ] {
            assert!(!matches(filter, name), "{filter} {name}");
        }
    }
}
