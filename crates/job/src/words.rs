//! The region's words and the job's units.

use crate::JobInput;
use crate::form_v1::Terms;
use crate::measure::{Unit, exact, rounded};
use floorwright_engine::frame::ForceRange;
use floorwright_engine::units::{ExactLength, Force, Length, Level, round_to};

/// How many standard deviations the printed uncertainty stands for: about 95 %.
pub const COVERAGE: f64 = floorwright_engine::verdict::COVERAGE;

/// How this job is spoken of.
#[derive(Clone, Copy, Debug)]
pub struct Words {
    terms: Terms,
    unit: Unit,
}

impl Words {
    /// Those of a job.
    pub fn of(input: &JobInput) -> Self {
        Self { terms: input.terms, unit: input.units }
    }

    /// Those of a region and a unit.
    pub fn new(terms: Terms, unit: Unit) -> Self {
        Self { terms, unit }
    }

    /// One support, capital first.
    pub fn support(self) -> &'static str {
        match self.terms {
            Terms::Au => "Stump",
            Terms::Nz => "Pile",
            Terms::Us | Terms::Uk => "Pier",
        }
    }

    /// One support and several, in running text.
    pub fn supports(self) -> (&'static str, &'static str) {
        match self.terms {
            Terms::Au => ("stump", "stumps"),
            Terms::Nz => ("pile", "piles"),
            Terms::Us | Terms::Uk => ("pier", "piers"),
        }
    }

    /// One packer and several.
    pub fn packers(self) -> (&'static str, &'static str) {
        match self.terms {
            Terms::Us => ("shim", "shims"),
            Terms::Au | Terms::Nz | Terms::Uk => ("packer", "packers"),
        }
    }

    /// The unit as a heading says it.
    pub fn unit(self) -> &'static str {
        match self.unit {
            Unit::Millimetres | Unit::Metres => "mm",
            Unit::FeetInches => "ft-in",
        }
    }

    /// A length without its unit, as it stands in a column: tenths of a millimetre, or sixteenths.
    pub fn number(self, length: Length) -> String {
        match self.unit {
            Unit::Millimetres | Unit::Metres => format!("{:.1}", round_to(length.to_mm(), 0.1)),
            Unit::FeetInches => sixteenths(length),
        }
    }

    /// The length on a step that [`Words::number`] prints, but never less than it is: for a limit that is to
    /// be typed in again.
    pub fn rounded_up(self, length: Length) -> Length {
        let step = match self.unit {
            Unit::Millimetres | Unit::Metres => 0.1,
            Unit::FeetInches => 25.4 / 16.0,
        };
        // A limit that is exactly on a step stays there.
        Length::mm((length.to_mm() / step - 1e-6).ceil() * step)
    }

    /// The same as far as a jack is worked: tenths of a millimetre, or sixty-fourths.
    pub fn fine(self, length: Length) -> String {
        match self.unit {
            Unit::Millimetres | Unit::Metres => self.number(length),
            Unit::FeetInches => self.exact(length),
        }
    }

    /// The same with its sign.
    pub fn signed(self, length: Length) -> String {
        with_sign(self.number(length))
    }

    /// [`Words::fine`] with its sign.
    pub fn signed_fine(self, length: Length) -> String {
        with_sign(self.fine(length))
    }

    /// A length in running text, with its unit.
    pub fn length(self, length: Length) -> String {
        match self.unit {
            Unit::Millimetres | Unit::Metres => format!("{} mm", self.number(length)),
            Unit::FeetInches => self.number(length),
        }
    }

    /// A level, a reading or a rise as it stands in a column: as the job writes it, which is in
    /// metres to the millimetre for a job in metres.
    pub fn staff_number(self, length: Length) -> String {
        match self.unit {
            Unit::Metres => format!("{:.3}", round_to(length.to_mm(), 1.0) / 1e3),
            Unit::Millimetres | Unit::FeetInches => self.number(length),
        }
    }

    /// A reading as it was written down.
    pub fn typed(self, reading: ExactLength) -> String {
        let text = exact(reading, self.unit);
        text.trim_end_matches(" mm").trim_end_matches(" m").to_owned()
    }

    /// A level as it stands in a column.
    pub fn level_number(self, level: Level) -> String {
        self.staff_number(level - Level::DATUM)
    }

    /// A level in running text, with its unit.
    pub fn level(self, level: Level) -> String {
        let number = self.level_number(level);
        match self.unit {
            Unit::Millimetres => format!("{number} mm"),
            Unit::Metres => format!("{number} m"),
            Unit::FeetInches => number,
        }
    }

    /// The unit of levels and readings as a heading says it.
    pub fn level_unit(self) -> &'static str {
        match self.unit {
            Unit::Millimetres => "mm",
            Unit::Metres => "m",
            Unit::FeetInches => "ft-in",
        }
    }

    /// A length as it is, to a sixty-fourth where the job is in inches: for a tolerance, which
    /// rounding could double.
    pub fn exact(self, length: Length) -> String {
        let sixty_fourths = |length: Length| (length.to_inches() * 64.0).round() as i64;
        match (self.unit, ExactLength::from_mm(length.to_mm())) {
            (Unit::FeetInches, Some(_)) => {
                exact(ExactLength::nm(sixty_fourths(length) * 396_875), Unit::FeetInches)
            }
            (_, Some(length)) => exact(length, Unit::Millimetres),
            (_, None) => self.length(length),
        }
    }

    /// A sentence of the engine, which writes lengths as `17.3 mm`, in the unit of the job: to a
    /// sixty-fourth where it is in inches. What is per something else, such as `0.9 mm per m`, stays.
    pub fn sentence(self, text: impl AsRef<str>) -> String {
        let text = text.as_ref();
        if self.unit != Unit::FeetInches {
            return text.to_owned();
        }
        let text = self.places(text);
        let mut said = String::with_capacity(text.len());
        let mut rest = text.as_str();
        while let Some(found) = rest.find(" mm") {
            let (before, after) = (&rest[..found], &rest[found + 3..]);
            let is_number = |letter: char| letter.is_ascii_digit() || letter == '.';
            let digits = before.trim_end_matches(is_number).len();
            let start = if before[..digits].ends_with('-') { digits - 1 } else { digits };
            let ends = !after.starts_with(|next: char| next.is_alphanumeric() || next == '/');
            let is_rate = ["per ", "an ", "a "].iter().any(|of| after.trim_start().starts_with(of));
            match before[start..].parse::<f64>() {
                Ok(mm) if ends && !is_rate => {
                    said.push_str(&before[..start]);
                    said.push_str(&self.exact(Length::mm(mm)));
                }
                _ => said.push_str(&rest[..found + 3]),
            }
            rest = after;
        }
        said + rest
    }

    /// Places on the plan, which the engine gives in metres, in feet and inches.
    fn places(self, text: &str) -> String {
        const METRES: &str = " m on the plan";
        let Some((before, after)) = text.split_once(METRES) else { return text.to_owned() };
        let start = before.rfind(' ').map_or(0, |space| space + 1);
        let place = before[start..].parse().map_or_else(
            |_| format!("{}{METRES}", &before[start..]),
            |metres| format!("{} on the plan", self.plan_length(Length::m(metres))),
        );
        format!("{}{place}{}", &before[..start], self.places(after))
    }

    /// How much a plane falls, as a builder says it.
    pub fn fall(self, per_m: Length, slope: f64) -> String {
        match self.unit {
            Unit::Millimetres | Unit::Metres => {
                format!("{:.1} mm per m ({})", per_m.to_mm(), one_in(slope))
            }
            Unit::FeetInches => one_in(slope),
        }
    }

    /// Twice a standard deviation, as a column has it: rounded up, never to less than it is.
    pub fn plus_minus(self, sd: Length) -> String {
        let step = match self.unit {
            Unit::Millimetres | Unit::Metres => Length::mm(0.1),
            Unit::FeetInches => Length::inches(1.0 / 16.0),
        };
        let steps = (sd * COVERAGE / step - 1e-6).ceil().max(0.0);
        self.number(step * steps)
    }

    /// The same in running text, with its unit.
    pub fn plus_minus_words(self, sd: Length) -> String {
        let number = self.plus_minus(sd);
        if number.ends_with('"') { number } else { format!("{number} {}", self.unit()) }
    }

    /// A thickness of packer as it is sold.
    pub fn thickness(self, thickness: Length) -> String {
        match self.unit {
            Unit::Millimetres | Unit::Metres => {
                let tenths = round_to(thickness.to_mm(), 0.1);
                if tenths.fract() == 0.0 { format!("{tenths:.0}") } else { format!("{tenths:.1}") }
            }
            // A metric packer in a job in feet and inches is sold by its millimetres.
            Unit::FeetInches if !is_in_sixteenths(thickness) => {
                format!("{} mm", round_to(thickness.to_mm(), 0.1))
            }
            Unit::FeetInches => sixteenths(thickness),
        }
    }

    /// A force as it stands in a column: kilonewtons with one decimal.
    pub fn force_number(self, force: Force) -> String {
        or_nothing(force, round_to(force.to_kn(), 0.1))
    }

    /// A force in running text, with what it weighs in the region's way.
    pub fn force(self, force: Force) -> String {
        self.with_weight(round_to(force.to_kn(), 0.1), force)
    }

    /// A force that something has to bear: never printed as less than it is.
    pub fn force_up(self, force: Force) -> String {
        self.with_weight(up_to_tenths(force.to_kn()), force)
    }

    fn with_weight(self, kn: f64, force: Force) -> String {
        let weight = match self.terms {
            Terms::Us => {
                format!("{:.0} lb", up_to_tens(force.to_n() / N_PER_LB))
            }
            Terms::Au | Terms::Nz | Terms::Uk if force.to_kg() >= 1000.0 => {
                format!("{:.1} t", up_to_tenths(force.to_kg() / 1000.0))
            }
            Terms::Au | Terms::Nz | Terms::Uk => format!("{:.0} kg", up_to_tens(force.to_kg())),
        };
        format!("{} kN ({weight})", or_nothing(force, kn))
    }

    /// A force known between two ends, as it stands in a column: kilonewtons, rounded apart. Only
    /// what is nothing at all is plain 0.
    pub fn force_range(self, range: ForceRange) -> String {
        let (least, most) = (down_to_tenths(range.least.to_kn()), up_to_tenths(range.most.to_kn()));
        let (least, most) = (or_nothing(range.least, least), or_nothing(range.most, most));
        if least == most { least } else { format!("{least} to {most}") }
    }

    /// The two ends of a force, for a column each: kilonewtons, rounded apart.
    pub fn force_ends(self, range: ForceRange) -> [String; 2] {
        let least = or_nothing(range.least, down_to_tenths(range.least.to_kn()));
        [least, or_nothing(range.most, up_to_tenths(range.most.to_kn()))]
    }

    /// What a kilonewton weighs, to stand under a table of forces.
    pub fn kilonewton(self) -> &'static str {
        match self.terms {
            Terms::Us => "1 kN is the weight of 225 lb.",
            Terms::Au | Terms::Nz | Terms::Uk => "1 kN is the weight of 102 kg.",
        }
    }

    /// A length on the plan.
    pub fn plan_length(self, length: Length) -> String {
        match self.unit {
            Unit::Millimetres | Unit::Metres => format!("{:.2} m", round_to(length.to_m(), 0.01)),
            Unit::FeetInches => sixteenths(length),
        }
    }

    /// What long lengths, such as those of a hose, are counted in.
    pub fn long_unit(self) -> &'static str {
        match self.unit {
            Unit::Millimetres | Unit::Metres => "m",
            Unit::FeetInches => "ft",
        }
    }

    /// A long length as it stands in a column: metres or feet, with one decimal.
    pub fn long_number(self, length: Length) -> String {
        match self.unit {
            Unit::Millimetres | Unit::Metres => format!("{:.1}", length.to_m()),
            Unit::FeetInches => format!("{:.1}", length.to_inches() / 12.0),
        }
    }

    /// A long length that has to do, in running text: whole metres or feet, rounded up.
    pub fn long_up(self, length: Length) -> String {
        let number = match self.unit {
            Unit::Millimetres | Unit::Metres => length.to_m(),
            Unit::FeetInches => length.to_inches() / 12.0,
        };
        format!("{:.0} {}", number.ceil(), self.long_unit())
    }

    /// A long length in running text.
    pub fn long(self, length: Length) -> String {
        format!("{} {}", self.long_number(length), self.long_unit())
    }

    /// A long length as it was given: metres to the millimetre, or feet to a hundredth.
    pub fn long_exact(self, length: Length) -> String {
        let number = match self.unit {
            Unit::Millimetres | Unit::Metres => format!("{:.3}", length.to_m()),
            Unit::FeetInches => format!("{:.2}", length.to_inches() / 12.0),
        };
        let short = number.trim_end_matches('0').trim_end_matches('.');
        format!("{short} {}", self.long_unit())
    }

    /// A place on the plan.
    pub fn place(self, place: floorwright_engine::site::Position) -> String {
        let whole = |length: Length| match self.unit {
            Unit::Millimetres | Unit::Metres => format!("{:.0}", round_to(length.to_mm(), 1.0)),
            Unit::FeetInches => sixteenths(length),
        };
        format!("({}, {})", whole(place.x), whole(place.y))
    }
}

/// A plus before what is more than nothing.
fn with_sign(text: String) -> String {
    let is_zero = !text.bytes().any(|byte| byte.is_ascii_digit() && byte != b'0');
    if is_zero || text.starts_with('-') { text } else { format!("+{text}") }
}

/// Newtons in the weight of a pound.
const N_PER_LB: f64 = 4.448_221_615_260_5;

/// What is a hair beyond a step by rounding alone is taken for the step.
const HAIR: f64 = 1e-6;

fn or_nothing(force: Force, kn: f64) -> String {
    if force == Force::ZERO { "0".to_owned() } else { format!("{kn:.1}") }
}

fn up_to_tenths(number: f64) -> f64 {
    (number * 10.0 - HAIR).ceil().max(0.0) / 10.0
}

fn down_to_tenths(number: f64) -> f64 {
    (number * 10.0 + HAIR).floor().max(0.0) / 10.0
}

fn up_to_tens(number: f64) -> f64 {
    (number / 10.0 - HAIR).ceil().max(0.0) * 10.0
}

fn is_in_sixteenths(length: Length) -> bool {
    let sixteenths = length.to_inches() * 16.0;
    (sixteenths - sixteenths.round()).abs() < 0.02
}

fn sixteenths(length: Length) -> String {
    ExactLength::from_mm(length.to_mm())
        .map_or_else(|| "?".to_owned(), |exact| rounded(exact, Unit::FeetInches))
}

/// Pieces of a stack from thick to thin: `20+5+1.5`.
pub fn stack_words(pieces: &[Length], words: Words) -> String {
    let pieces: Vec<String> = pieces.iter().map(|&piece| words.thickness(piece)).collect();
    pieces.join("+")
}

/// A price of whole cents.
pub fn price(cents: u64) -> String {
    format!("{}.{:02}", cents / 100, cents % 100)
}

/// A slope as a builder says it: 1 in 300, or level where nobody could tell the difference.
pub fn one_in(slope: f64) -> String {
    if slope.abs() < 1.0 / 3000.0 {
        "level".to_owned()
    } else {
        format!("1 in {:.0}", 1.0 / slope.abs())
    }
}

/// A limit of slope as it was set: never taken for level, however small.
pub fn limit_one_in(slope: f64) -> String {
    if slope > 0.0 { format!("1 in {:.0}", 1.0 / slope) } else { "level".to_owned() }
}

/// A ratio as a share of a hundred.
pub fn percent(ratio: f64) -> String {
    format!("{:.0} %", round_to(ratio * 100.0, 1.0))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sentences_of_the_engine_are_told_in_the_unit_of_the_job() {
        let inches = Words::new(Terms::Us, Unit::FeetInches);
        let check = |sentence: &str, wanted: &str| assert_eq!(inches.sentence(sentence), wanted);
        check("A and B differ by 25.4 mm, limit 6.35 mm", "A and B differ by 1\", limit 1/4\"");
        check("it is -304.8 mm, or 12.7 mm.", "it is -1' 0\", or 1/2\".");
        check("falls 0.9 mm per m", "falls 0.9 mm per m");
        check("the mm mark; 3 mmol; 25 x 1 mm", "the mm mark; 3 mmol; 25 x 3/64\"");
        check("nothing", "nothing");
        check("bent at 3.048 m on the plan, by 25.4 mm", "bent at 10' 0\" on the plan, by 1\"");
        let metric = Words::new(Terms::Au, Unit::Millimetres);
        assert_eq!(metric.sentence("limit 6.35 mm"), "limit 6.35 mm");
    }
}
