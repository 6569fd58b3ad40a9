//! The builder's own hose as the job has it.

use floorwright_engine::hose::{
    Budget, Column, DriftWatch, Hose, HoseTest, OutsideValidity, ReadableRange, ReadingWorth,
    Repeats, SiteChecks, SwingVerdict, budget_of, drift_watch, judge_swing, range_of,
    sd_from_repeats, site_checks, unmixed_per_metre,
};
use floorwright_engine::ids::SetupId;
use floorwright_engine::units::{Length, Seconds};
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
    /// What the job states it to be worth.
    pub stated: Option<Length>,
}

/// Everything that is worked out of a hose.
#[derive(Clone, Debug)]
pub struct HoseFigures {
    /// What makes a reading wrong.
    pub budget: Budget,
    /// What a reading is worth, by the budget and by the job's own repeats.
    pub worth: ReadingWorth,
    /// How its water moves, or why that is not known.
    pub column: Result<Column, OutsideValidity>,
    /// The heights that it reads, or why they are not known.
    pub range: Result<ReadableRange, OutsideValidity>,
    /// What to check on site.
    pub checks: SiteChecks,
    /// When to go back to the benchmark.
    pub watch: DriftWatch,
    /// How far the two legs stand apart for each metre of leg if the mix was not mixed.
    pub unmixed: Option<Length>,
    /// What a swing that was timed says; `None` if none was, or its movement is not known.
    pub swing: Option<SwingVerdict>,
}

impl HoseInput {
    /// Everything that is worked out of it. `swing` is the time from one top of a swing to the next as it
    /// was seen, and nothing inside if it was looked for and not there.
    ///
    /// # Errors
    /// As [`HoseInput::budget`].
    pub fn figures(&self, swing: Option<Option<Seconds>>) -> Result<HoseFigures, OutsideValidity> {
        let budget = self.budget()?;
        let worth = self.worth_of_job()?;
        let column = self.hose.column();
        Ok(HoseFigures {
            worth,
            range: range_of(&self.hose),
            checks: site_checks(&self.hose, &budget, column.as_ref().ok().copied()),
            watch: drift_watch(&self.hose, &budget),
            unmixed: unmixed_per_metre(&self.hose).ok().flatten(),
            swing: column.as_ref().ok().zip(swing).map(|(column, seen)| judge_swing(*column, seen)),
            budget,
            column,
        })
    }

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
        // Levels want what a reading is worth also where no wait is known.
        let budget = self.budget().or_else(|_| budget_of(&self.hose.nearest_known()))?;
        Ok(sd_from_repeats(&budget, Repeats::joined(&both)))
    }

    /// What the job itself states a reading of it to be worth: the largest of its setups.
    pub fn stated(&self) -> Option<Length> {
        self.worth.iter().filter_map(|setup| setup.stated).max_by(Length::total_cmp)
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
