//! The order in which people expect names with numbers in them: `cup 2` before `cup 10`.

/// A run of digits or of anything else. Digits come first, by value; equal values
/// by their zeros, so that no two names share a key.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Run {
    /// A number.
    Number {
        /// Digits without leading zeros.
        digits: usize,
        /// Those digits.
        value: String,
        /// Digits with them.
        length: usize,
    },
    /// Anything else.
    Text(String),
}

/// A key that puts `cup 2` before `cup 10`.
pub fn natural_order(name: &str) -> Vec<Run> {
    let mut runs = Vec::new();
    let mut rest = name;
    while let Some(first) = rest.chars().next() {
        let is_digit = first.is_ascii_digit();
        let end = rest
            .find(|c: char| c.is_ascii_digit() != is_digit)
            .unwrap_or(rest.len());
        let (run, after) = rest.split_at(end);
        rest = after;
        runs.push(if is_digit {
            let value = run.trim_start_matches('0').to_owned();
            Run::Number {
                digits: value.len(),
                value,
                length: run.len(),
            }
        } else {
            Run::Text(run.to_owned())
        });
    }
    runs
}

#[cfg(test)]
mod tests {
    use super::natural_order;

    #[test]
    fn numbers_in_names_sort_by_value() {
        let mut names = vec![
            "cup 10", "cup 2", "cup 02", "cup", "2 cups", "cup 2a", "Cup 1",
        ];
        names.sort_by_key(|name| natural_order(name));
        assert_eq!(
            names,
            [
                "2 cups", "Cup 1", "cup", "cup 2", "cup 2a", "cup 02", "cup 10"
            ]
        );
    }
}
