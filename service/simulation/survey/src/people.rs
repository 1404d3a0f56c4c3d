//! People: they misread, mishear and answer wrongly sometimes. All shares are
//! engineering judgement, from memory, but the one in twenty misread.

use trisect_machine::Random;
use trisect_measure::Amount;

use crate::instrument::Shown;

/// Of all that a person reads off a dial or display, so much is misread.
const MISREAD: f64 = 0.05;
/// Of the misread, so many are off by more than a division.
const GROSSLY: f64 = 0.2;

/// How an answer is come by, and how often it is wrong.
fn wrong(check: &str) -> f64 {
    match check {
        // That an engine starts, stalls or races is hard to miss.
        "bypass-start" | "bypass-high-idle" | "swap-back" | "bypass-runs-hot"
        | "heat-dependence" => 0.005,
        // Read off a code reader, a gauge or a dipstick, or seen on a test bench.
        "fuel-seen" | "controller-answers" | "engine-speed-seen" | "timing-follows"
        | "compression-good" | "injectors-spray" => 0.01,
        // Heard, felt or looked at.
        _ => 0.03,
    }
}

/// The answer that is given where `seen` would be right: mostly that.
pub(crate) fn answer(check: &str, seen: usize, answers: usize, random: &mut Random) -> usize {
    if answers > 1 && random.chance(wrong(check)) {
        let other = (random.uniform() * (answers - 1) as f64) as usize;
        return if other < seen { other } else { other + 1 };
    }
    seen
}

/// What a person writes down of what was shown; `division` is the smallest
/// difference on the scale, SI.
pub(crate) fn read(shown: Shown, division: f64, random: &mut Random) -> Shown {
    let (Amount::Exactly(value), u) = shown else {
        return shown;
    };
    if !random.chance(MISREAD) {
        return shown;
    }
    let by = if random.chance(GROSSLY) { 10.0 } else { 1.0 };
    let sign = if random.chance(0.5) { 1.0 } else { -1.0 };
    (Amount::Exactly(value + sign * by * division), u)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_in_twenty_is_misread_and_few_answers_are_wrong() {
        let mut random = Random::new(1, 1);
        let shown = (Amount::Exactly(5.0), 0.1);
        let misread = (0..20_000).filter(|_| read(shown, 1.0, &mut random) != shown);
        assert!((800..1200).contains(&misread.count()));
        let wrong = (0..20_000).filter(|_| answer("air-seen", 1, 2, &mut random) == 0);
        assert!((450..750).contains(&wrong.count()));
        assert!((0..2000).all(|_| answer("bypass-start", 1, 3, &mut random) < 3));
    }
}
