//! Numbers on the command line: those below zero, and whole ones within limits.

use std::ffi::OsString;

/// The arguments, with a value that begins like a number below zero bound to its option, so that what the option says of its range
/// is told. No command has an option of a digit, so nothing else can be meant.
pub(crate) fn with_values_below_zero(arguments: impl Iterator<Item = OsString>) -> Vec<OsString> {
    let mut out: Vec<OsString> = Vec::new();
    let mut options = true;
    for argument in arguments {
        options &= argument != "--";
        let option = out.last().and_then(|last| last.to_str()).filter(|last| {
            options && last.len() > 2 && last.starts_with("--") && !last.contains('=')
        });
        match (option, argument.to_str()) {
            (Some(option), Some(value)) if below_zero(value) => {
                let bound = format!("{option}={value}");
                out.pop();
                out.push(bound.into());
            }
            _ => out.push(argument),
        }
    }
    out
}

fn below_zero(value: &str) -> bool {
    let Some(rest) = value.strip_prefix('-') else {
        return false;
    };
    let digits = rest.strip_prefix('.').unwrap_or(rest);
    digits.starts_with(|c: char| c.is_ascii_digit())
}

/// Reads a whole number from `least` to `most`.
pub(crate) fn whole<T: TryFrom<u64>>(
    least: u64,
    most: u64,
) -> impl Fn(&str) -> Result<T, String> + Clone {
    move |text| {
        let number = text.trim().parse::<u64>().ok();
        number
            .filter(|n| (least..=most).contains(n))
            .and_then(|n| T::try_from(n).ok())
            .ok_or_else(|| format!("a whole number from {least} to {most}"))
    }
}

#[cfg(test)]
mod tests {
    use super::{whole, with_values_below_zero};

    fn bound(arguments: &[&str]) -> Vec<String> {
        with_values_below_zero(arguments.iter().map(Into::into))
            .into_iter()
            .map(|a| a.into_string().unwrap())
            .collect()
    }

    #[test]
    fn verif_only_numbers_below_zero_are_bound() {
        assert_eq!(
            bound(&["p", "--from", "-900 m, 10 m", "--seed", "-.5"]),
            ["p", "--from=-900 m, 10 m", "--seed=-.5"]
        );
        for left in [
            &["p", "--picture", "--force"][..],
            &["p", "--a=1", "-9"],
            &["p", "-h"],
            &["p", "--a", "x", "-9"],
            &["p", "--", "--a", "-9"],
        ] {
            assert_eq!(bound(left), left);
        }
    }

    #[test]
    fn verif_whole_numbers_keep_their_limits() {
        let month = whole::<u8>(1, 12);
        assert_eq!((month("1"), month(" 12 ")), (Ok(1), Ok(12)));
        for wrong in [
            "0",
            "13",
            "-1",
            "nan",
            "1.5",
            "1e12",
            "99999999999999999999",
        ] {
            assert_eq!(month(wrong), Err("a whole number from 1 to 12".to_owned()));
        }
        assert_eq!(
            whole::<u64>(0, u64::MAX)("18446744073709551615"),
            Ok(u64::MAX)
        );
    }
}
