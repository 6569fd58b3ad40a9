//! A criterion: what is measured, over what, against which limit, and who says so.

use crate::source::SourceStatus;
use crate::units::Length;
use serde::Serialize;
use std::fmt;

/// A limit on the floor with everything that has to be said beside it.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Criterion {
    text: CriterionText,
    kind: CriterionKind,
    measure: Measure,
    scope: Scope,
    not_measured: Option<String>,
    switch: Switch,
}

/// Who says it and where, as shown wherever the criterion is used.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct CriterionText {
    /// Name within the job.
    pub id: String,
    /// What it limits, in a few words.
    pub title: String,
    /// The body that issued it.
    pub body: String,
    /// The document.
    pub document: Option<String>,
    /// Year of the edition.
    pub year: Option<u16>,
    /// Clause or table.
    pub clause: Option<String>,
    /// Where it holds.
    pub jurisdiction: Option<String>,
    /// The restatement that was read in place of the document.
    pub via: Option<String>,
    /// What else has to be known to use it.
    pub note: Option<String>,
    /// The limit as printed, where that was not in millimetres.
    pub as_printed: Option<String>,
    /// Another criterion that says something else.
    pub disagrees_with: Option<String>,
    /// How the figure was obtained.
    pub status: SourceStatus,
    /// Where it was read.
    pub source: String,
}

/// What sort of rule a criterion is; none of them is implied to bind an existing floor.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum CriterionKind {
    /// Suggests what to do; no code limit and no acceptance tolerance.
    Indicator,
    /// Made for new work.
    NewBuildRule,
    /// What a floor covering asks of the floor under it.
    CoveringRule,
    /// A test of flatness.
    FlatnessTest,
    /// Suggests where damage begins.
    DamageScreen,
    /// What the people of this job agreed on.
    AgreedForThisJob,
}

/// What is measured and the most it may be.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Measure {
    /// Slope between every two points further apart than a stated length.
    SlopePairs {
        /// The steepest slope allowed (a ratio).
        limit: f64,
        /// How far apart two points have to be.
        min_apart: MinApart,
    },
    /// Highest less lowest.
    Spread {
        /// The most allowed.
        limit: Length,
        /// Where the band that this limit opens ends, if the rule has bands.
        up_to: Option<Length>,
    },
    /// Difference between any two points no further apart than the base.
    DiffInBase {
        /// The most allowed.
        limit: Length,
        /// The base.
        base: Length,
    },
    /// Difference that grows with the span between two points, up to a cap.
    DiffBySpan {
        /// Per length of span (a ratio): 0.003 is 3 mm per metre.
        per_length: f64,
        /// Up to this span.
        span_max: Length,
        /// The most allowed beyond it.
        cap: Length,
    },
    /// Gap under a straightedge of a given length, equal offsets at both ends.
    StraightedgeGap {
        /// The most allowed.
        limit: Length,
        /// Length of the straightedge.
        base: Length,
    },
    /// Gap midway between two points, limit by their distance, straight between the entries.
    GapByDistance {
        /// Distance and limit, in order of distance.
        table: Vec<(Length, Length)>,
    },
    /// Level difference between two points, limit by the step their distance falls in.
    LevelByNominalLength {
        /// Up to this distance, this limit; in order of distance.
        steps: Vec<(Length, Length)>,
        /// The limit beyond the last step.
        beyond: Length,
    },
    /// Flatness and levelness numbers of lines read every foot.
    FNumbers {
        /// The least flatness number FF (a ratio).
        flatness: f64,
        /// The least levelness number FL (a ratio), where it applies.
        levelness: Option<f64>,
        /// The share of both that each single line has to reach (a ratio).
        local_fraction: f64,
    },
    /// Something that no floor level can tell.
    NotFromLevels {
        /// The limit in words.
        limit: String,
        /// What would have to be measured.
        needs: String,
    },
}

/// How far apart two points have to be for their slope to count.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct MinApart {
    /// The length.
    pub length: Length,
    /// Whether the source states it; otherwise it is this program's choice, and said to be.
    pub stated: bool,
}

impl MinApart {
    /// As the source has it.
    pub const fn stated(length: Length) -> Self {
        Self { length, stated: true }
    }

    /// The source is silent: 2 m, as in the slope indicator of the same country.
    pub const fn own_choice() -> Self {
        Self { length: Length::mm(2000.0), stated: false }
    }
}

/// What part of the house is judged as one.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Scope {
    /// Each room by itself.
    Room,
    /// Each continuous floor: rooms on the same deck.
    Floor,
    /// The whole house, deck by deck where there are steps.
    Footprint,
}

/// Whether a criterion is used.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Switch {
    /// Not used.
    Off,
    /// Used.
    On,
    /// Unverified, and used because somebody gave this source.
    OnBySource(String),
}

/// Why a criterion is refused.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum CriterionFault {
    /// A limit on a spread means nothing without what it is spread over.
    #[error("criterion {0} limits a spread but does not say over what")]
    NoScope(String),
    /// A limit has to be a positive number.
    #[error("criterion {0} has a limit that is not a positive number")]
    Limit(String),
    /// A base length, span or distance has to be a positive number.
    #[error("criterion {0} has a base length, span or distance that is not a positive number")]
    Base(String),
    /// A table has to be in order.
    #[error("criterion {0} has an empty table, or one that is not in order of distance")]
    Table(String),
    /// Nobody may set a limit without saying where it comes from.
    #[error("criterion {0} has no source")]
    NoSource(String),
}

/// An unverified criterion cannot be turned on without a source in words.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("criterion {0} is unverified; turning it on needs a source in words")]
pub struct NeedsSource(pub String);

impl Criterion {
    /// Checks a criterion. An unverified one starts off whatever `on` says.
    ///
    /// Without a scope, flatness and level across a room are judged room by room and all else
    /// floor by floor; a spread has to name its scope. `not_measured` is a part of the rule that
    /// levels do not show, so that meeting the rest does not meet the rule.
    ///
    /// # Errors
    /// Every fault found.
    pub fn new(
        text: CriterionText,
        kind: CriterionKind,
        measure: Measure,
        scope: Option<Scope>,
        not_measured: Option<String>,
        on: bool,
    ) -> Result<Self, Vec<CriterionFault>> {
        let mut faults = measure.faults(&text.id);
        if text.source.trim().is_empty() {
            faults.push(CriterionFault::NoSource(text.id.clone()));
        }
        let Some(scope) = scope.or_else(|| measure.usual_scope()) else {
            faults.push(CriterionFault::NoScope(text.id));
            return Err(faults);
        };
        if !faults.is_empty() {
            return Err(faults);
        }
        let switch = if on && !text.status.is_unverified() { Switch::On } else { Switch::Off };
        Ok(Self { text, kind, measure, scope, not_measured, switch })
    }

    /// A figure that the people of this job agreed on; it claims nobody else's name.
    ///
    /// # Errors
    /// As [`Criterion::new`]; `reason` is the source and may not be empty.
    pub fn agreed(
        id: &str,
        title: &str,
        measure: Measure,
        scope: Scope,
        reason: &str,
    ) -> Result<Self, Vec<CriterionFault>> {
        let text = CriterionText {
            id: id.to_owned(),
            title: title.to_owned(),
            body: "agreed for this job".to_owned(),
            document: None,
            year: None,
            clause: None,
            jurisdiction: None,
            via: None,
            note: None,
            as_printed: None,
            disagrees_with: None,
            status: SourceStatus::Agreed,
            source: reason.to_owned(),
        };
        Self::new(text, CriterionKind::AgreedForThisJob, measure, Some(scope), None, true)
    }

    /// Turns it on. `source` is kept with it; an unverified criterion needs one.
    ///
    /// # Errors
    /// [`NeedsSource`] if it is unverified and `source` is empty.
    pub fn turn_on(&mut self, source: &str) -> Result<(), NeedsSource> {
        self.switch = match (source.trim(), self.text.status.is_unverified()) {
            ("", true) => return Err(NeedsSource(self.text.id.clone())),
            ("", false) => Switch::On,
            (source, _) => Switch::OnBySource(source.to_owned()),
        };
        Ok(())
    }

    /// Turns it off.
    pub fn turn_off(&mut self) {
        self.switch = Switch::Off;
    }

    /// Whether it is used.
    pub fn is_on(&self) -> bool {
        self.switch != Switch::Off
    }

    /// Whether it is used, and on whose word.
    pub fn switch(&self) -> &Switch {
        &self.switch
    }

    /// Who says it and where.
    pub fn text(&self) -> &CriterionText {
        &self.text
    }

    /// What sort of rule it is.
    pub fn kind(&self) -> CriterionKind {
        self.kind
    }

    /// What is measured and the limit.
    pub fn measure(&self) -> &Measure {
        &self.measure
    }

    /// What is judged as one.
    pub fn scope(&self) -> Scope {
        self.scope
    }

    /// What the rule also asks and levels do not show.
    pub fn not_measured(&self) -> Option<&str> {
        self.not_measured.as_deref()
    }
}

impl Measure {
    /// What it is judged over when its source does not say; a spread has no such default.
    fn usual_scope(&self) -> Option<Scope> {
        match self {
            Self::Spread { .. } => None,
            Self::DiffBySpan { .. }
            | Self::StraightedgeGap { .. }
            | Self::GapByDistance { .. }
            | Self::FNumbers { .. } => Some(Scope::Room),
            Self::SlopePairs { .. }
            | Self::DiffInBase { .. }
            | Self::LevelByNominalLength { .. }
            | Self::NotFromLevels { .. } => Some(Scope::Floor),
        }
    }

    fn faults(&self, id: &str) -> Vec<CriterionFault> {
        let (limits, bases): (Vec<f64>, Vec<f64>) = match self {
            Self::SlopePairs { limit, min_apart } => (vec![*limit], vec![min_apart.length.to_mm()]),
            Self::Spread { limit, up_to } => {
                (std::iter::once(*limit).chain(*up_to).map(Length::to_mm).collect(), vec![])
            }
            Self::DiffInBase { limit, base } | Self::StraightedgeGap { limit, base } => {
                (vec![limit.to_mm()], vec![base.to_mm()])
            }
            Self::DiffBySpan { per_length, span_max, cap } => {
                (vec![*per_length, cap.to_mm()], vec![span_max.to_mm()])
            }
            Self::GapByDistance { table } => columns(table),
            Self::LevelByNominalLength { steps, beyond } => {
                let (mut limits, bases) = columns(steps);
                limits.push(beyond.to_mm());
                (limits, bases)
            }
            Self::FNumbers { flatness, levelness, local_fraction } => {
                (vec![*flatness, levelness.unwrap_or(1.0), *local_fraction], vec![])
            }
            Self::NotFromLevels { .. } => (vec![], vec![]),
        };
        let positive = |number: &f64| number.is_finite() && *number > 0.0;
        let mut faults = Vec::new();
        if !limits.iter().all(positive) {
            faults.push(CriterionFault::Limit(id.to_owned()));
        }
        if !bases.iter().all(positive) {
            faults.push(CriterionFault::Base(id.to_owned()));
        }
        let is_table =
            matches!(self, Self::GapByDistance { .. } | Self::LevelByNominalLength { .. });
        let in_order = !bases.is_empty() && bases.windows(2).all(|pair| pair[0] < pair[1]);
        if is_table && !in_order {
            faults.push(CriterionFault::Table(id.to_owned()));
        }
        faults
    }
}

/// Limits and distances of a table.
fn columns(table: &[(Length, Length)]) -> (Vec<f64>, Vec<f64>) {
    table.iter().map(|(distance, limit)| (limit.to_mm(), distance.to_mm())).unzip()
}

impl fmt::Display for CriterionKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Indicator => "indicator",
            Self::NewBuildRule => "new-build rule, not implied to bind an existing floor",
            Self::CoveringRule => "covering rule",
            Self::FlatnessTest => "flatness test",
            Self::DamageScreen => "damage screen",
            Self::AgreedForThisJob => "this job's own agreed figure",
        })
    }
}

impl fmt::Display for CriterionText {
    /// The source in one line, as shown wherever the criterion is used. A figure agreed for the
    /// job has the reason given as its source.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.body)?;
        for part in [&self.document, &self.clause].into_iter().flatten() {
            write!(f, ", {part}")?;
        }
        if let Some(year) = self.year {
            write!(f, ", {year}")?;
        }
        if let Some(via) = &self.via {
            write!(f, ", via {via}")?;
        }
        if let Some(printed) = &self.as_printed {
            write!(f, ", printed as {printed}")?;
        }
        if self.status == SourceStatus::Agreed {
            write!(f, ": {}", self.source)?;
        } else {
            write!(f, " ({}: {})", self.status, self.source)?;
        }
        if let Some(note) = &self.note {
            write!(f, "; {note}")?;
        }
        if let Some(other) = &self.disagrees_with {
            write!(f, "; disagrees with {other}")?;
        }
        Ok(())
    }
}

impl fmt::Display for Scope {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Room => "room by room",
            Self::Floor => "over each continuous floor",
            Self::Footprint => "over the whole footprint",
        })
    }
}
