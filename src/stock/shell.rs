//! Words as a shell takes them, for commands that the program tells and a person pastes.

use std::path::Path;

/// A word that a shell hands on as it is: in quotes where it has more than plain letters.
pub fn quoted(word: &str) -> String {
    let is_plain =
        |c: char| c.is_alphanumeric() || "-_./:,@%+=~".contains(c) || (cfg!(windows) && c == '\\');
    // At its beginning `~` is the user's own folder, and `=` a command in some shells.
    let begins_oddly = word.starts_with(['~', '=']);
    if !word.is_empty() && !begins_oddly && word.chars().all(is_plain) {
        return word.to_owned();
    }
    // Inside double quotes these have a meaning; Windows' shells know double quotes alone, and no
    // file there has one in its name.
    let is_odd = |c: char| "$`\"\\!".contains(c);
    if cfg!(windows) || !word.contains(is_odd) {
        format!("\"{word}\"")
    } else {
        format!("'{}'", word.replace('\'', "'\\''"))
    }
}

/// A file or folder as a shell takes it.
pub fn quoted_path(path: &Path) -> String {
    quoted(&path.display().to_string())
}

#[cfg(all(test, unix))]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use std::process::Command;

    #[test]
    fn plain_words_stay_and_odd_ones_are_quoted() {
        assert_eq!(quoted("club"), "club");
        assert_eq!(quoted("/srv/club-2_b.c"), "/srv/club-2_b.c");
        assert_eq!(quoted("my club"), "\"my club\"");
        assert_eq!(quoted("a\"b"), "'a\"b'");
    }

    /// What a shell makes of it is the word again.
    #[test]
    fn a_shell_hands_every_word_on_as_it_is() {
        for word in [
            "", "~", "~mara", "a~", "my club", "it's", "a\"b", "$HOME", "`id`", "$(id)", "a;b",
            "a&b", "a|b", "a>b", "*", "?", "[ab]", "{a,b}", "#a", "!a", "a!b", "\\", "a\\b",
            "a'\"$b", "(a)", "a\nb", "\ta", "é ü", "'", "''", "=a", "%a", "^a",
        ] {
            let script = format!("printf %s {}", quoted(word));
            let out = Command::new("sh").args(["-c", &script]).output().unwrap();
            assert_eq!(String::from_utf8(out.stdout).unwrap(), word, "{script}");
        }
    }
}
