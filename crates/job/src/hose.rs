//! The builder's own hose as the job has it.

use floorwright_engine::hose::{
    Budget, Hose, HoseTest, OutsideValidity, ReadingWorth, Repeats, budget_of, sd_from_repeats,
};
use floorwright_engine::ids::SetupId;
use serde::Serialize;

/// The builder's own hose, and what a reading of it is taken to be worth.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct HoseInput {
    /// The job has a `[hose]`.
    pub given: bool,
    /// The hose, defaults filled in.
    pub hose: Hose,
    /// What was filled in, in words.
    pub assumed: Vec<String>,
    /// The field test, if the job has one.
    pub test: Option<HoseTest>,
    /// What the readings of each setup that was read with it are taken to be worth.
    pub worth: Vec<SetupWorth>,
}

/// What a reading of one setup is taken to be worth.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct SetupWorth {
    /// The setup.
    pub setup: SetupId,
    /// What its readings are multiplied by (a ratio).
    pub scale: f64,
    /// What a reading is worth, and why; `None` where the job states it.
    pub worth: Option<ReadingWorth>,
}

impl HoseInput {
    /// The error budget.
    ///
    /// # Errors
    /// Where the physics of a part is not known for this hose.
    pub fn budget(&self) -> Result<Budget, OutsideValidity> {
        budget_of(&self.hose)
    }

    /// What a reading is worth by the budget, the field test, and these repeats besides.
    ///
    /// # Errors
    /// As [`HoseInput::budget`].
    pub fn worth_with(&self, repeats: Option<Repeats>) -> Result<ReadingWorth, OutsideValidity> {
        let both = [self.test.as_ref().map(|test| test.repeats), repeats];
        let both: Vec<Repeats> = both.into_iter().flatten().collect();
        Ok(sd_from_repeats(&self.budget()?, Repeats::joined(&both)))
    }

    /// What a reading is worth by the repeats of all setups that were read with it.
    ///
    /// # Errors
    /// As [`HoseInput::budget`].
    pub fn worth_of_job(&self) -> Result<ReadingWorth, OutsideValidity> {
        // Those of a setup hold the field test already.
        let spare = |worth: &ReadingWorth| worth.repeats.map_or(0, |repeats| repeats.spare);
        let best = self.worth.iter().filter_map(|setup| setup.worth).max_by_key(spare);
        match best {
            Some(worth) => Ok(worth),
            None => self.worth_with(None),
        }
    }
}
