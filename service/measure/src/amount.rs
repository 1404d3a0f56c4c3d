//! A measured amount, two-sided or one-sided.

/// An amount in SI. An overload is one-sided: the true value lies beyond the
/// end of the range, and nothing more is known.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Amount {
    /// The value that was read.
    Exactly(f64),
    /// Beyond the upper end of the range, which is given.
    Above(f64),
    /// Beyond the lower end of the range, which is given.
    Below(f64),
}

impl Amount {
    /// The value read, or the end of the range that it lies beyond.
    pub const fn edge(self) -> f64 {
        match self {
            Amount::Exactly(x) | Amount::Above(x) | Amount::Below(x) => x,
        }
    }

    /// The value, if it was read and not beyond the range.
    pub const fn exact(self) -> Option<f64> {
        match self {
            Amount::Exactly(x) => Some(x),
            Amount::Above(_) | Amount::Below(_) => None,
        }
    }

    /// Whether this is an overload, on either end.
    pub const fn is_overload(self) -> bool {
        !matches!(self, Amount::Exactly(_))
    }
}
