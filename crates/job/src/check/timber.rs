//! Sections and timbers.

use super::{Checker, Spot};
use crate::fault::nearest_name;
use crate::form_v1::{OwnTimberForm, Quantity, SectionForm, TimberForm};
use crate::limits::{self, Range};
use crate::measure::rounded;
use crate::practice::{Grade, grade, grades};
use crate::quantities::{DENSITY, STRESS};
use floorwright_engine::frame::{Section, Strength, Timber};
use floorwright_engine::source::SourceStatus;
use floorwright_engine::units::{Density, ExactLength, Length, Stress};

/// Taken for a timber whose figures the job gives without a density: the heavier of two figures for
/// softwood in BS 648-type lists.
const SOFTWOOD: Density = Density::kg_per_m3(590.0);

const LIES_FLAT: &str = "its section is broader than deep: it lies flat";

/// What is taken for timbers of one kind that do not say it themselves.
pub(super) struct Usual {
    /// What they are called: bearers or joists.
    pub(super) kind: &'static str,
    pub(super) section: Section,
    pub(super) timber: Timber,
    /// Whether the job says that they are of this timber.
    pub(super) timber_is_given: bool,
}

impl Checker<'_> {
    /// The section of a timber, or the usual one, which is then said.
    pub(super) fn section_or_usual(
        &mut self,
        spot: &Spot,
        form: Option<&SectionForm>,
        usual: &Usual,
    ) -> Section {
        match form {
            Some(form) => self.section(spot, form).unwrap_or(usual.section),
            None => {
                let Section { breadth, depth } = usual.section;
                let [breadth, depth] = [breadth, depth].map(|side| self.show(side));
                self.assume(format!(
                    "{} without a section are {breadth} broad and {depth} deep (common practice, assumed)",
                    usual.kind
                ));
                usual.section
            }
        }
    }

    /// The timber, or the usual one, which is then said unless the job gives it.
    pub(super) fn timber_or_usual(
        &mut self,
        spot: &Spot,
        form: Option<&TimberForm>,
        usual: &Usual,
    ) -> Timber {
        match form {
            Some(form) => self.timber(spot, "timber", form).unwrap_or_else(|| usual.timber.clone()),
            None => {
                if !usual.timber_is_given {
                    self.assume(format!(
                        "{} whose timber is not given are of {} (the lowest plausible grade, assumed)",
                        usual.kind, usual.timber.name
                    ));
                }
                usual.timber.clone()
            }
        }
    }

    fn section(&mut self, spot: &Spot, form: &SectionForm) -> Option<Section> {
        let [breadth, depth] = match form {
            SectionForm::Pair(sides) => sides.clone(),
            SectionForm::Text(text) => match sides_of(text) {
                Some(sides) => sides,
                None => {
                    let fault = self
                        .error(spot, "section", "section is not breadth x depth")
                        .value(text.as_str())
                        .hint("write \"75x100\" for a timber that is 75 broad and stands 100 high");
                    self.faults.push(fault);
                    return None;
                }
            },
        };
        let breadth = self.length(spot, "section", Some(&breadth), &limits::SECTION);
        let depth = self.length(spot, "section", Some(&depth), &limits::SECTION);
        let section = Section { breadth: breadth?, depth: depth? };
        if section.breadth > section.depth && !self.faults.iter().any(|one| one.what == LIES_FLAT) {
            let Section { breadth, depth } = section;
            let warning = self
                .warning(spot, "section", LIES_FLAT)
                .value(format!("{} broad and {} deep", self.show(breadth), self.show(depth)))
                .hint("a section is breadth x depth: \"75x100\" stands on edge; leave it if this timber and others like it do lie flat");
            self.faults.push(warning);
        }
        Some(section)
    }

    pub(super) fn show(&self, length: Length) -> String {
        ExactLength::from_mm(length.to_mm())
            .map_or_else(|| length.to_string(), |exact| rounded(exact, self.units))
    }

    pub(super) fn timber(&mut self, spot: &Spot, key: &str, form: &TimberForm) -> Option<Timber> {
        match form {
            TimberForm::Own(own) => {
                let spot = Spot {
                    path: format!("{}.{key}", spot.path),
                    place: format!("{}, {key}", spot.place),
                    ..spot.clone()
                };
                self.own_timber(&spot, own)
            }
            TimberForm::Grade(name) => match grade(name) {
                Some(known) => {
                    self.say_density(known);
                    Some(known.timber.clone())
                }
                None => {
                    self.unknown_grade(spot, key, name);
                    None
                }
            },
        }
    }

    /// A density that is remembered only is said to be.
    fn say_density(&mut self, grade: &Grade) {
        if grade.density_status == SourceStatus::Memory {
            self.assume(format!(
                "{} weighs {} kg/m3 (from memory, verify)",
                grade.timber.name,
                grade.timber.density.to_kg_per_m3()
            ));
        }
    }

    fn unknown_grade(&mut self, spot: &Spot, key: &str, name: &str) {
        let names: Vec<&str> = grades().iter().map(|known| known.timber.name.as_str()).collect();
        let begun: Vec<String> = (grades().iter())
            .filter(|known| known.begins_with(name))
            .map(|known| format!("\"{}\"", known.timber.name))
            .collect();
        let all = || {
            grades().iter().flat_map(|known| std::iter::once(&known.timber.name).chain(&known.also))
        };
        let hint = if !begun.is_empty() {
            format!("say which: {}", begun.join(" or "))
        } else if let Some(nearest) = nearest_name(name, all().map(String::as_str)) {
            format!("did you mean \"{nearest}\"?")
        } else {
            format!("known: {}; or give its figures: {{ name = \"…\", e = … }}", names.join("; "))
        };
        let fault = self
            .error(spot, key, "there is no such grade of timber")
            .value(format!("\"{name}\""))
            .hint(hint);
        self.faults.push(fault);
    }

    fn own_timber(&mut self, spot: &Spot, form: &OwnTimberForm) -> Option<Timber> {
        self.check_name(spot, "name", &form.name);
        if form.e.is_none() {
            let hint = "write e = 6900, in N/mm2 (MPa)";
            self.missing(spot, "", "its modulus of elasticity e is not given", hint);
        }
        let stiffness = self.stress(spot, "e", form.e.as_ref(), &limits::STIFFNESS);
        let strength = self.own_strength(spot, form);
        let given = form.density.as_ref();
        let density = self.measured(spot, "density", given, &DENSITY, &limits::DENSITY);
        if given.is_none() {
            self.assume("timber without a density weighs 590 kg/m3 (the heavier of two figures for softwood in BS 648-type lists)");
        }
        Some(Timber {
            name: form.name.clone(),
            stiffness: stiffness?,
            density: density.map_or(SOFTWOOD, Density::kg_per_m3),
            strength,
            source: form
                .source
                .clone()
                .unwrap_or_else(|| "given by the job without a source".to_owned()),
            status: SourceStatus::Agreed,
        })
    }

    fn own_strength(&mut self, spot: &Spot, form: &OwnTimberForm) -> Option<Strength> {
        let bending = self.stress(spot, "bending", form.bending.as_ref(), &limits::BENDING);
        let shear = self.stress(spot, "shear", form.shear.as_ref(), &limits::SHEAR);
        let across =
            self.stress(spot, "across_grain", form.across_grain.as_ref(), &limits::ACROSS_GRAIN);
        let given = [&form.bending, &form.shear, &form.across_grain].map(Option::is_some);
        if given.contains(&true) && !(given[0] && given[1]) {
            let missing = if given[0] { "shear" } else { "bending" };
            let what = format!("its strength in {missing} is not given");
            self.missing(spot, "", what, "give bending and shear both, or no strength at all");
        }
        Some(Strength { bending: bending?, shear: shear?, across_grain: across })
    }

    fn stress(
        &mut self,
        spot: &Spot,
        key: &str,
        quantity: Option<&Quantity>,
        range: &Range,
    ) -> Option<Stress> {
        self.measured(spot, key, quantity, &STRESS, range).map(Stress::n_per_mm2)
    }
}

/// The two sides of a section in one text. A unit after the second alone is that of both.
fn sides_of(text: &str) -> Option<[Quantity; 2]> {
    let plain = text.replace(['X', '\u{d7}'], "x");
    let (breadth, depth) = plain.split_once('x')?;
    let (breadth, depth) = (breadth.trim(), depth.trim());
    let is_unit = |letter: char| letter.is_alphabetic() || "'\"\u{2032}\u{2033}".contains(letter);
    if breadth.is_empty() || depth.is_empty() || depth.contains('x') {
        return None;
    }
    let unit_at = depth.rfind(|letter: char| letter.is_ascii_digit()).map_or(0, |at| at + 1);
    let unit = if breadth.contains(is_unit) { "" } else { &depth[unit_at..] };
    Some([Quantity::from(format!("{breadth}{unit}").as_str()), Quantity::from(depth)])
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_ways_to_write_a_section() {
        let check = |text: &str, expected: Option<[&str; 2]>| {
            assert_eq!(sides_of(text), expected.map(|sides| sides.map(Quantity::from)), "{text}");
        };
        check("75x100", Some(["75", "100"]));
        check("75 X 100 mm", Some(["75 mm", "100 mm"]));
        check("3 1/2 \u{d7} 5 1/2\"", Some(["3 1/2\"", "5 1/2\""]));
        check("90mm x 3.5\"", Some(["90mm", "3.5\""]));
        for text in ["", "75", "x100", "75x", "1x2x3", "xx"] {
            check(text, None);
        }
    }
}
