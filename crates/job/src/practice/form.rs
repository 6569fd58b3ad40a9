//! The stored form of criteria and damage limits, and the way from it to checked ones.

use super::PracticeFault;
use floorwright_engine::source::SourceStatus;
use floorwright_engine::units::Length;
use floorwright_engine::verdict::{
    Criterion, CriterionFault, CriterionKind, CriterionText, Measure, MinApart, Scope,
};
use serde::Deserialize;

/// A criterion on its way from the stored form to a checked one.
pub(super) struct Draft {
    pub(super) text: CriterionText,
    kind: CriterionKind,
    measure: Measure,
    scope: Option<Scope>,
    not_measured: Option<String>,
    enabled: bool,
}

impl Draft {
    pub(super) fn check(self) -> Result<Criterion, Vec<CriterionFault>> {
        Criterion::new(
            self.text,
            self.kind,
            self.measure,
            self.scope,
            self.not_measured,
            self.enabled,
        )
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct CriteriaFile {
    pub(super) schema: String,
    #[serde(default)]
    pub(super) rule: Vec<RuleForm>,
    pub(super) din18202_table3: Option<GapTableForm>,
    pub(super) din18202_table2: Option<StepTableForm>,
    #[serde(rename = "ff_gap_10ft")]
    _ff_gap_10ft: Option<FlatnessGapForm>,
}

#[derive(Clone, Copy, Deserialize)]
#[serde(rename_all = "snake_case")]
pub(super) enum KindForm {
    Indicator,
    NewBuild,
    Covering,
    Flatness,
    DamageScreen,
    Agreed,
}

#[derive(Clone, Copy, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub(super) enum StatusForm {
    Confirmed,
    SecondHand,
    Memory,
    Derived,
    Trade,
    Agreed,
}

#[derive(Clone, Copy, Deserialize)]
#[serde(rename_all = "snake_case")]
pub(super) enum ScopeForm {
    Room,
    Floor,
    Footprint,
}

#[derive(Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
pub(super) enum MeasureForm {
    SlopePairs,
    Spread,
    DiffInBase,
    DiffBySpan,
    StraightedgeGap,
    FNumbers,
    Plumb,
    Line,
    SpanRatio,
    OffDatum,
    LevelByNominalLength,
}

/// One rule as stored. Which of the numbers it needs depends on its measure.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct RuleForm {
    id: String,
    title: String,
    body: Option<String>,
    document: Option<String>,
    year: Option<u16>,
    clause: Option<String>,
    jurisdiction: Option<String>,
    kind: KindForm,
    measure: MeasureForm,
    via: Option<String>,
    method: Option<String>,
    note: Option<String>,
    as_printed: Option<String>,
    limit_text: Option<String>,
    disagrees_with: Option<String>,
    status: StatusForm,
    source: String,
    enabled: bool,
    #[serde(rename = "label")]
    _label: Option<String>,
    scope: Option<ScopeForm>,
    limit: Option<f64>,
    limit_mm: Option<f64>,
    min_apart_mm: Option<f64>,
    over_mm: Option<f64>,
    up_to_mm: Option<f64>,
    stretch_over_mm: Option<f64>,
    base_mm: Option<f64>,
    per_m_mm: Option<f64>,
    span_max_mm: Option<f64>,
    cap_mm: Option<f64>,
    limit_mm_per_m: Option<f64>,
    first_metre_mm: Option<f64>,
    overall_mm: Option<f64>,
    limit_span_over: Option<f64>,
    ff: Option<Vec<f64>>,
    fl: Option<Vec<f64>>,
    local_fraction: Option<f64>,
}

impl RuleForm {
    /// One draft, or one for each class of F-numbers.
    pub(super) fn into_drafts(self) -> Vec<Result<Draft, PracticeFault>> {
        if self.measure == MeasureForm::FNumbers {
            return match self.f_number_classes() {
                Ok(drafts) => drafts.into_iter().map(Ok).collect(),
                Err(fault) => vec![Err(fault)],
            };
        }
        vec![self.measure().map(|measure| self.draft(measure))]
    }

    fn draft(&self, measure: Measure) -> Draft {
        let printed = self.as_printed.clone().or_else(|| self.limit_text.clone());
        let notes: Vec<&str> =
            [&self.method, &self.note].into_iter().flatten().map(String::as_str).collect();
        Draft {
            text: CriterionText {
                id: self.id.clone(),
                title: self.title.clone(),
                body: self.body.clone().unwrap_or_else(|| "no body".to_owned()),
                document: self.document.clone(),
                year: self.year,
                clause: self.clause.clone(),
                jurisdiction: self.jurisdiction.clone(),
                via: self.via.clone(),
                note: (!notes.is_empty()).then(|| notes.join("; ")),
                as_printed: printed,
                disagrees_with: self.disagrees_with.clone(),
                status: self.status.into(),
                source: self.source.clone(),
            },
            kind: self.kind.into(),
            measure,
            scope: self.scope.map(Scope::from),
            not_measured: self
                .stretch_over_mm
                .map(|stretch| format!("a stretch of the floor by more than {stretch} mm")),
            enabled: self.enabled,
        }
    }

    fn measure(&self) -> Result<Measure, PracticeFault> {
        let need = |measure, key, value: Option<f64>| {
            value.ok_or_else(|| PracticeFault::Missing { id: self.id.clone(), measure, key })
        };
        let need_mm = |measure, key, value| need(measure, key, value).map(Length::mm);
        match self.measure {
            MeasureForm::SlopePairs => Ok(Measure::SlopePairs {
                limit: need("slope_pairs", "limit", self.limit)?,
                min_apart: self
                    .min_apart_mm
                    .map_or(MinApart::own_choice(), |mm| MinApart::stated(Length::mm(mm))),
            }),
            MeasureForm::Spread => Ok(Measure::Spread {
                limit: need_mm("spread", "limit_mm", self.limit_mm.or(self.over_mm))?,
                up_to: self.up_to_mm.map(Length::mm),
            }),
            MeasureForm::DiffInBase => Ok(Measure::DiffInBase {
                limit: need_mm("diff_in_base", "limit_mm", self.limit_mm)?,
                base: need_mm("diff_in_base", "base_mm", self.base_mm)?,
            }),
            MeasureForm::StraightedgeGap => Ok(Measure::StraightedgeGap {
                limit: need_mm("straightedge_gap", "limit_mm", self.limit_mm)?,
                base: need_mm("straightedge_gap", "base_mm", self.base_mm)?,
            }),
            MeasureForm::DiffBySpan => Ok(Measure::DiffBySpan {
                per_length: need("diff_by_span", "per_m_mm", self.per_m_mm)? / 1000.0,
                span_max: need_mm("diff_by_span", "span_max_mm", self.span_max_mm)?,
                cap: need_mm("diff_by_span", "cap_mm", self.cap_mm)?,
            }),
            MeasureForm::LevelByNominalLength => Err(PracticeFault::Missing {
                id: self.id.clone(),
                measure: "level_by_nominal_length",
                key: "table",
            }),
            MeasureForm::FNumbers => {
                Err(PracticeFault::Missing { id: self.id.clone(), measure: "f_numbers", key: "ff" })
            }
            MeasureForm::Plumb => {
                Ok(self.not_from_levels("the lean of each pile against a plumb line"))
            }
            MeasureForm::Line => Ok(self.not_from_levels("readings along each bearer and joist")),
            MeasureForm::SpanRatio => {
                Ok(self.not_from_levels("the deflection of each member between its supports"))
            }
            MeasureForm::OffDatum => {
                Ok(self.not_from_levels("the level the floor was designed for"))
            }
        }
    }

    fn not_from_levels(&self, needs: &str) -> Measure {
        let parts = [
            self.limit_mm.map(|mm| format!("{mm} mm")),
            self.base_mm.map(|mm| format!("in {mm} mm")),
            self.limit_mm_per_m.map(|mm| format!("{mm} mm per m")),
            self.first_metre_mm.map(|mm| format!("{mm} mm in the first metre")),
            self.overall_mm.map(|mm| format!("{mm} mm in all")),
            self.limit_span_over.map(|ratio| format!("span over {ratio}")),
        ];
        let parts: Vec<String> = parts.into_iter().flatten().collect();
        Measure::NotFromLevels { limit: parts.join(", "), needs: needs.to_owned() }
    }

    /// Each class is a criterion of its own. A house stands on supports, where the levelness
    /// number does not apply, so only the flatness number is judged.
    fn f_number_classes(&self) -> Result<Vec<Draft>, PracticeFault> {
        let missing =
            |key| PracticeFault::Missing { id: self.id.clone(), measure: "f_numbers", key };
        let flatness = self.ff.as_ref().ok_or_else(|| missing("ff"))?;
        let levelness = self.fl.as_ref().ok_or_else(|| missing("fl"))?;
        let local_fraction = self.local_fraction.ok_or_else(|| missing("local_fraction"))?;
        if flatness.len() != levelness.len() {
            return Err(PracticeFault::Lists(self.id.clone()));
        }
        let classes = flatness.iter().zip(levelness);
        Ok(classes
            .map(|(&flatness, levelness)| {
                let measure = Measure::FNumbers { flatness, levelness: None, local_fraction };
                let mut draft = self.draft(measure);
                draft.text.id = format!("{}-{flatness}-{levelness}", self.id);
                draft.text.title = format!("FF {flatness}, FL {levelness} (FF is judged)");
                draft
            })
            .collect())
    }
}

/// Gap limits by distance, one row of limits for each class of work.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct GapTableForm {
    body: String,
    document: String,
    year: u16,
    clause: String,
    kind: KindForm,
    #[serde(rename = "measure")]
    _measure: MeasureForm,
    distance_m: Vec<f64>,
    agreed_distance_m: Vec<f64>,
    row1_unfinished: Vec<f64>,
    row2_unfinished_higher: Vec<f64>,
    row3_finished: Vec<f64>,
    row4_finished_higher: Vec<f64>,
    row4_at_1m_other_source: f64,
    status: StatusForm,
    source: String,
    enabled: bool,
}

impl GapTableForm {
    pub(super) fn into_drafts(self) -> Vec<Result<Draft, PracticeFault>> {
        let other = format!("another source has {} mm at 1 m", self.row4_at_1m_other_source);
        let rows = [
            (1, "unfinished", &self.row1_unfinished, None),
            (2, "unfinished, higher demands", &self.row2_unfinished_higher, None),
            (3, "finished", &self.row3_finished, None),
            (4, "finished, higher demands", &self.row4_finished_higher, Some(other)),
        ];
        rows.into_iter()
            .map(|(row, title, limits, other)| {
                let id = format!("din18202-table3-row{row}");
                if limits.len() != self.distance_m.len() {
                    return Err(PracticeFault::Lists(id));
                }
                let distances: Vec<String> =
                    self.agreed_distance_m.iter().map(f64::to_string).collect();
                let agreed = format!("two sources agree at {} m", distances.join(", "));
                Ok(Draft {
                    text: CriterionText {
                        id,
                        title: format!("Flatness, {title} floor"),
                        body: self.body.clone(),
                        document: Some(self.document.clone()),
                        year: Some(self.year),
                        clause: Some(format!("{} row {row}", self.clause)),
                        jurisdiction: Some("DE".to_owned()),
                        via: None,
                        note: Some(
                            other.map_or(agreed.clone(), |other| format!("{agreed}; {other}")),
                        ),
                        as_printed: None,
                        disagrees_with: None,
                        status: self.status.into(),
                        source: self.source.clone(),
                    },
                    kind: self.kind.into(),
                    measure: Measure::GapByDistance { table: table(&self.distance_m, limits) },
                    scope: None,
                    not_measured: None,
                    enabled: self.enabled,
                })
            })
            .collect()
    }
}

/// Level limits by nominal length.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct StepTableForm {
    body: String,
    document: String,
    year: u16,
    clause: String,
    kind: KindForm,
    #[serde(rename = "measure")]
    _measure: MeasureForm,
    up_to_m: Vec<f64>,
    limit_mm: Vec<f64>,
    above_limit_mm: f64,
    status: StatusForm,
    source: String,
    enabled: bool,
}

impl StepTableForm {
    pub(super) fn into_draft(self) -> Result<Draft, PracticeFault> {
        let id = "din18202-table2".to_owned();
        if self.up_to_m.len() != self.limit_mm.len() {
            return Err(PracticeFault::Lists(id));
        }
        Ok(Draft {
            text: CriterionText {
                id,
                title: "Level by nominal length".to_owned(),
                body: self.body,
                document: Some(self.document),
                year: Some(self.year),
                clause: Some(self.clause),
                jurisdiction: Some("DE".to_owned()),
                via: None,
                note: None,
                as_printed: None,
                disagrees_with: None,
                status: self.status.into(),
                source: self.source,
            },
            kind: self.kind.into(),
            measure: Measure::LevelByNominalLength {
                steps: table(&self.up_to_m, &self.limit_mm),
                beyond: Length::mm(self.above_limit_mm),
            },
            scope: None,
            not_measured: None,
            enabled: self.enabled,
        })
    }
}

/// Distances in metres with limits in millimetres.
fn table(metres: &[f64], millimetres: &[f64]) -> Vec<(Length, Length)> {
    metres.iter().map(|&m| Length::m(m)).zip(millimetres.iter().map(|&mm| Length::mm(mm))).collect()
}

/// Gap under a ten-foot straightedge against FF: on file for information, never a pass or fail,
/// so only its form is checked.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
#[expect(dead_code, reason = "read to be checked, not to be used")]
pub(super) struct FlatnessGapForm {
    body: String,
    ff: Vec<f64>,
    gap_in: Vec<f64>,
    gap_mm: Vec<f64>,
    status: StatusForm,
    source: String,
    note: String,
    enabled: bool,
}

impl From<KindForm> for CriterionKind {
    fn from(kind: KindForm) -> Self {
        match kind {
            KindForm::Indicator => Self::Indicator,
            KindForm::NewBuild => Self::NewBuildRule,
            KindForm::Covering => Self::CoveringRule,
            KindForm::Flatness => Self::FlatnessTest,
            KindForm::DamageScreen => Self::DamageScreen,
            KindForm::Agreed => Self::AgreedForThisJob,
        }
    }
}

impl From<StatusForm> for SourceStatus {
    fn from(status: StatusForm) -> Self {
        match status {
            StatusForm::Confirmed => Self::Confirmed,
            StatusForm::SecondHand => Self::SecondHand,
            StatusForm::Memory => Self::Memory,
            StatusForm::Derived => Self::Derived,
            StatusForm::Trade => Self::Trade,
            StatusForm::Agreed => Self::Agreed,
        }
    }
}

impl From<ScopeForm> for Scope {
    fn from(scope: ScopeForm) -> Self {
        match scope {
            ScopeForm::Room => Self::Room,
            ScopeForm::Floor => Self::Floor,
            ScopeForm::Footprint => Self::Footprint,
        }
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct DamageFile {
    #[serde(rename = "schema")]
    _schema: String,
    pub(super) angular_distortion: Vec<DamageForm>,
    pub(super) finish: Vec<FinishRow>,
}

#[derive(Clone, Copy, Deserialize)]
#[serde(rename_all = "lowercase")]
pub(super) enum FinishWord {
    Boards,
    Plaster,
    Tiles,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct FinishRow {
    pub(super) finish: FinishWord,
    pub(super) limit: String,
    pub(super) why: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct DamageForm {
    pub(super) id: String,
    pub(super) limit_one_in: f64,
    pub(super) meaning: String,
    pub(super) body: String,
    #[serde(rename = "kind")]
    _kind: KindForm,
    pub(super) status: StatusForm,
    pub(super) source: String,
    pub(super) enabled: bool,
    #[serde(rename = "label")]
    _label: Option<String>,
}
