//! Lengths in feet, inches and fractions of an inch.

use super::ExactLength;

const NM_PER_INCH: i128 = 25_400_000;

impl ExactLength {
    /// Writes the length in feet, inches and a fraction in its lowest terms, to the nearest such
    /// part of an inch. Halves go away from zero; a length that rounds to nothing has no sign.
    ///
    /// # Units and sign
    /// Inches are of 25.4 mm. `parts_per_inch` is how finely is rounded: 16 for sixteenths; 0
    /// counts as 1.
    ///
    /// # Examples
    /// ```
    /// use floorwright_engine::units::ExactLength;
    /// assert_eq!(ExactLength::nm(1_611_450_000).feet_and_inches(16), "5' 3 7/16\"");
    /// assert_eq!(ExactLength::nm(-3_175_000).feet_and_inches(16), "-1/8\"");
    /// ```
    pub fn feet_and_inches(self, parts_per_inch: u32) -> String {
        let per_inch = u128::from(parts_per_inch.max(1));
        let inch = NM_PER_INCH.unsigned_abs();
        let size = (u128::from(self.to_nm().unsigned_abs()) * per_inch + inch / 2) / inch;
        let (all_inches, mut above) = (size / per_inch, size % per_inch);
        let (feet, inches) = (all_inches / 12, all_inches % 12);
        let mut below = per_inch;
        while above != 0 && above % 2 == 0 && below % 2 == 0 {
            above /= 2;
            below /= 2;
        }
        let mut text = if self.to_nm() < 0 && size > 0 { "-" } else { "" }.to_owned();
        if feet > 0 {
            text += &format!("{feet}' ");
        }
        text += &match (inches, above) {
            (0, above) if above > 0 && feet == 0 => format!("{above}/{below}\""),
            (inches, 0) => format!("{inches}\""),
            (inches, above) => format!("{inches} {above}/{below}\""),
        };
        text
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn fractions_are_in_lowest_terms_and_halves_go_away_from_zero() {
        let check = |nm, per_inch, expected: &str| {
            assert_eq!(ExactLength::nm(nm).feet_and_inches(per_inch), expected, "{nm}");
        };
        check(793_750, 16, "1/16\""); // half of a sixteenth
        check(793_749, 16, "0\"");
        check(-793_749, 16, "0\"");
        check(-793_750, 16, "-1/16\"");
        check(304_800_000, 16, "1' 0\"");
        check(-311_150_000, 16, "-1' 0 1/4\"");
        check(1_611_312_500, 64, "5' 3 7/16\"");
        check(25_400_000, 0, "1\"");
    }
}
