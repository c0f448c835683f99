//! Letters of a file that must not steer the sentence which quotes them.

/// A blank in place of what ends a line, steers a terminal, or turns the direction of a text.
fn steady(letter: char) -> char {
    let turns = matches!(letter, '\u{200e}' | '\u{200f}' | '\u{2028}'..='\u{202e}' | '\u{2066}'..='\u{2069}');
    if letter.is_control() || turns { ' ' } else { letter }
}

/// A text on one line, whatever stood in it.
pub fn one_line(text: &str) -> String {
    text.chars().map(steady).collect()
}

/// A text on one line of at most `most` letters.
pub fn shortened(text: &str, most: usize) -> String {
    let mut shown: String = text.chars().take(most).map(steady).collect();
    if text.chars().nth(most).is_some() {
        shown.push('…');
    }
    shown
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_steers_becomes_a_blank_and_the_rest_stays() {
        assert_eq!(one_line("a\nb\r\tc\u{202e}d\u{1b}[0m é 裤"), "a b  c d [0m é 裤");
        assert_eq!(shortened("twelve\nletters", 8), "twelve l…");
        assert_eq!(shortened("twelve", 6), "twelve");
    }
}
