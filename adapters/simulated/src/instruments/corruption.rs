//! What a bad line does to a frame.

use trisect_machine::Random;

/// A way in which a frame arrives wrong.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Corruption {
    /// Its end is missing.
    Cut,
    /// It arrives twice without a gap.
    Doubled,
    /// It starts in its middle and ends with its beginning.
    Shifted,
    /// One bit of it is wrong.
    Flipped,
}

impl Corruption {
    /// Every way.
    pub const ALL: [Corruption; 4] = [
        Corruption::Cut,
        Corruption::Doubled,
        Corruption::Shifted,
        Corruption::Flipped,
    ];

    /// The frame as it arrives.
    pub(crate) fn apply(self, mut frame: Vec<u8>, random: &mut Random) -> Vec<u8> {
        let mut below = |end: usize| (random.uniform() * end as f64) as usize;
        match self {
            Corruption::Cut => {
                let keep = 1 + below(frame.len().saturating_sub(1));
                frame.truncate(keep);
            }
            Corruption::Doubled => frame.extend_from_within(..),
            Corruption::Shifted if frame.len() > 1 => {
                let by = 1 + below(frame.len() - 1);
                frame.rotate_left(by);
            }
            Corruption::Shifted => {}
            Corruption::Flipped => {
                let (at, bit) = (below(frame.len()), below(7));
                if let Some(byte) = frame.get_mut(at) {
                    *byte ^= 1 << bit;
                }
            }
        }
        frame
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_way_changes_every_frame() {
        let mut random = Random::new(1, 9);
        let frame = b"\x2B1234 2\x31\0\0\x80\x0C\r\n".to_vec();
        for way in Corruption::ALL {
            for _ in 0..200 {
                assert_ne!(way.apply(frame.clone(), &mut random), frame, "{way:?}");
            }
            let short = way.apply(vec![1], &mut random);
            assert!(!short.is_empty() && short.len() <= 2);
            assert!(way.apply(Vec::new(), &mut random).is_empty());
        }
    }
}
