//! Numbers for sums over partitions. The same recursion runs over three of them: plain `f64`
//! while its range suffices, [`Wide`] when hundreds of contradictory touches would underflow it,
//! and [`Best`] of either, whose sum is the larger one, for the most probable partition.

/// A quantity that can be added up over alternatives and multiplied over parts.
pub(super) trait Amount: Copy {
    /// Neutral for [`Amount::plus`].
    const ZERO: Self;
    /// Neutral for [`Amount::times`].
    const ONE: Self;
    /// The amount whose natural logarithm this is.
    fn from_ln(ln: f64) -> Self;
    /// The amount that a plain number is.
    fn of(number: f64) -> Self;
    /// Its natural logarithm.
    fn ln(self) -> f64;
    /// This or that.
    fn plus(self, other: Self) -> Self;
    /// This and that.
    fn times(self, other: Self) -> Self;
    /// The share of `whole` that this is.
    fn share_of(self, whole: Self) -> f64;
    /// This divided by that.
    fn over(self, other: Self) -> Self;
    /// As a plain number; beyond the range of one, nothing or infinity.
    fn plain(self) -> f64;
    /// A number that is larger for the larger of two.
    fn rank(self) -> f64;
    /// The larger of two.
    #[inline]
    fn larger(self, other: Self) -> Self {
        if other.rank() > self.rank() { other } else { self }
    }
}

impl Amount for f64 {
    const ZERO: Self = 0.0;
    const ONE: Self = 1.0;

    fn from_ln(ln: f64) -> Self {
        ln.exp()
    }

    fn of(number: f64) -> Self {
        number
    }

    fn ln(self) -> f64 {
        self.ln()
    }

    #[inline]
    fn plus(self, other: Self) -> Self {
        self + other
    }

    #[inline]
    fn times(self, other: Self) -> Self {
        self * other
    }

    fn share_of(self, whole: Self) -> f64 {
        self / whole
    }

    #[inline]
    fn over(self, other: Self) -> Self {
        self / other
    }

    #[inline]
    fn plain(self) -> f64 {
        self
    }

    #[inline]
    fn rank(self) -> f64 {
        self
    }
}

/// A float with an exponent of its own: `fraction` times 2 to the power of `exponent`. The
/// fraction is 0 or within 2^-256 to 2^256, so that one sum or product of two never leaves `f64`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Wide {
    fraction: f64,
    exponent: i64,
}

/// 2^256 and 2^-256, exactly.
const UP: f64 = f64::from_bits((1023 + 256) << 52);
const DOWN: f64 = f64::from_bits((1023 - 256) << 52);

impl Wide {
    fn settled(mut self) -> Self {
        if self.fraction == 0.0 {
            return Self::ZERO;
        }
        while self.fraction > UP {
            self.fraction *= DOWN;
            self.exponent += 256;
        }
        while self.fraction < DOWN {
            self.fraction *= UP;
            self.exponent -= 256;
        }
        self
    }
}

impl Amount for Wide {
    const ZERO: Self = Self { fraction: 0.0, exponent: 0 };
    const ONE: Self = Self { fraction: 1.0, exponent: 0 };

    fn from_ln(ln: f64) -> Self {
        let steps = (ln / (256.0 * std::f64::consts::LN_2)).trunc().clamp(-1e12, 1e12);
        let fraction = (ln - steps * 256.0 * std::f64::consts::LN_2).exp();
        Self { fraction, exponent: steps as i64 * 256 }.settled()
    }

    fn of(number: f64) -> Self {
        Self { fraction: number, exponent: 0 }.settled()
    }

    fn ln(self) -> f64 {
        self.fraction.ln() + self.exponent as f64 * std::f64::consts::LN_2
    }

    fn plus(self, other: Self) -> Self {
        if self.fraction == 0.0 {
            return other;
        }
        if other.fraction == 0.0 {
            return self;
        }
        let (high, low) =
            if self.exponent >= other.exponent { (self, other) } else { (other, self) };
        // Exponents are multiples of 256: three steps apart the lower one is beyond rounding.
        let fraction = match high.exponent - low.exponent {
            0 => high.fraction + low.fraction,
            256 => high.fraction + low.fraction * DOWN,
            512 => high.fraction + low.fraction * DOWN * DOWN,
            _ => high.fraction,
        };
        Self { fraction, exponent: high.exponent }.settled()
    }

    fn times(self, other: Self) -> Self {
        Self { fraction: self.fraction * other.fraction, exponent: self.exponent + other.exponent }
            .settled()
    }

    fn share_of(self, whole: Self) -> f64 {
        if self.fraction == 0.0 { 0.0 } else { (self.ln() - whole.ln()).exp() }
    }

    fn over(self, other: Self) -> Self {
        let exponent = self.exponent - other.exponent;
        Self { fraction: self.fraction / other.fraction, exponent }.settled()
    }

    fn plain(self) -> f64 {
        self.share_of(Self::ONE)
    }

    fn rank(self) -> f64 {
        self.ln()
    }
}

/// An amount of which, over alternatives, the largest counts instead of the sum.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Best<A>(pub A);

impl<A: Amount> Amount for Best<A> {
    const ZERO: Self = Self(A::ZERO);
    const ONE: Self = Self(A::ONE);

    fn from_ln(ln: f64) -> Self {
        Self(A::from_ln(ln))
    }

    fn of(number: f64) -> Self {
        Self(A::of(number))
    }

    fn ln(self) -> f64 {
        self.0.ln()
    }

    #[inline]
    fn plus(self, other: Self) -> Self {
        self.larger(other)
    }

    #[inline]
    fn times(self, other: Self) -> Self {
        Self(self.0.times(other.0))
    }

    fn share_of(self, whole: Self) -> f64 {
        self.0.share_of(whole.0)
    }

    fn over(self, other: Self) -> Self {
        Self(self.0.over(other.0))
    }

    fn plain(self) -> f64 {
        self.0.plain()
    }

    #[inline]
    fn rank(self) -> f64 {
        self.0.rank()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn wide_agrees_with_plain_where_plain_can(a in -300.0..300.0_f64, b in -300.0..300.0_f64) {
            let (x, y) = (Wide::from_ln(a), Wide::from_ln(b));
            prop_assert!((x.times(y).ln() - (a + b)).abs() < 1e-10);
            let sum = (a.exp() + b.exp()).ln();
            prop_assert!((x.plus(y).ln() - sum).abs() < 1e-10);
            prop_assert!((x.share_of(y).ln() - (a - b)).abs() < 1e-10);
            prop_assert!((x.over(y).plain().ln() - (a - b)).abs() < 1e-10);
        }

        #[test]
        fn wide_goes_where_plain_cannot(a in -1e6..1e6_f64, b in -1e6..1e6_f64) {
            let (x, y) = (Wide::from_ln(a), Wide::from_ln(b));
            prop_assert!((x.times(y).ln() - (a + b)).abs() < 1e-8);
            prop_assert!((x.plus(y).ln() - a.max(b)).abs() < 0.7);
        }
    }

    /// 2 to the power of `power`, kept beside this exponent.
    fn two_to(power: i32, exponent: i64) -> Wide {
        let fraction = f64::from(power - i32::try_from(exponent).unwrap()).exp2();
        Wide { fraction, exponent }
    }

    /// The same value may stand beside several exponents. Sums of powers of two, by hand: the
    /// fractions are at the ends of their range, one, two and three steps apart.
    #[test]
    fn what_a_sum_is_does_not_depend_on_how_its_parts_are_kept() {
        for shift in [-1024, 0, 512] {
            let at = |power, exponent: i64| two_to(power + shift, exponent + i64::from(shift));
            for (a, b, power) in [
                (at(-250, 0), at(-250, -256), -249),
                (at(255, 0), at(255, 256), 256),
                (at(-256, 0), at(-256, -512), -255),
                (at(-256, 0), at(-512, -768), -256),
            ] {
                for sum in [a.plus(b), b.plus(a)] {
                    let found = sum.ln() / std::f64::consts::LN_2;
                    assert!((found - f64::from(power + shift)).abs() < 1e-9, "{a:?} {b:?} {sum:?}");
                }
            }
        }
    }

    #[test]
    fn products_go_on_where_fractions_end() {
        for step in [-170.0, 170.0] {
            let product = (0..40).fold(Wide::ONE, |all, _| all.times(Wide::from_ln(step)));
            assert!((product.ln() - 40.0 * step).abs() < 1e-9, "{product:?}");
            let back = (0..40).fold(product, |all, _| all.over(Wide::from_ln(step)));
            assert!((back.plain() - 1.0).abs() < 1e-9, "{back:?}");
        }
    }

    fn keeps_the_laws_of_a_number<A: Amount + std::fmt::Debug>(two_and_three: f64) {
        let near = |found: f64, expected: f64| {
            assert!((found - expected).abs() < 1e-12, "{found}, not {expected}");
        };
        let (two, three) = (A::of(2.0), A::from_ln(3_f64.ln()));
        near(three.plain(), 3.0);
        near(three.ln(), 3_f64.ln());
        near(three.times(two).plain(), 6.0);
        near(three.over(two).plain(), 1.5);
        near(two.share_of(three), 2.0 / 3.0);
        near(two.plus(three).plain(), two_and_three);
        near(A::ZERO.plus(two).plain(), 2.0);
        near(A::ONE.times(two).plain(), 2.0);
        near(A::ZERO.plain(), 0.0);
        for (less, more) in [(A::ZERO, two), (two, three), (three, A::from_ln(600.0))] {
            assert!(less.rank() < more.rank(), "{less:?} {more:?}");
            near(less.larger(more).share_of(more), 1.0);
            near(more.larger(less).share_of(more), 1.0);
        }
    }

    #[test]
    fn every_amount_keeps_the_laws_of_a_number() {
        keeps_the_laws_of_a_number::<f64>(5.0);
        keeps_the_laws_of_a_number::<Wide>(5.0);
        keeps_the_laws_of_a_number::<Best<f64>>(3.0);
        keeps_the_laws_of_a_number::<Best<Wide>>(3.0);
    }
}
