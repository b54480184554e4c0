//! Numbers from a bench's command line.

/// The number after a flag, or the usual one.
pub fn number(flag: &str, usual: u64) -> u64 {
    let given = std::env::args().skip_while(|word| word != flag).nth(1);
    given.map_or(usual, |text| {
        text.parse().unwrap_or_else(|_| panic!("{flag} takes a whole number, not {text:?}"))
    })
}
