//! Timber, weights and what is taken for a frame that the job does not describe.

use super::Region;
use super::form::StatusForm;
use floorwright_engine::frame::{FloorLoad, FrameRules, Section, Strength, Timber};
use floorwright_engine::source::SourceStatus;
use floorwright_engine::units::{AreaLoad, Density, Length, LineLoad, Stress};
use serde::Deserialize;
use std::sync::LazyLock;

const TIMBER: &str = include_str!("../../data/practice/timber.toml");
const LOADS: &str = include_str!("../../data/practice/loads.toml");
const FRAME: &str = include_str!("../../data/practice/frame.toml");

static GRADES: LazyLock<Vec<Grade>> = LazyLock::new(read_grades);
static WEIGHTS: LazyLock<LoadsFile> = LazyLock::new(|| {
    let file: LoadsFile = toml::from_str(LOADS).expect("the embedded loads are well formed");
    assert_eq!(file.schema, "floorwright-loads/1");
    file
});
static BUILD_UPS: LazyLock<Vec<BuildUp>> =
    LazyLock::new(|| WEIGHTS.build_up.iter().map(BuildUpForm::build_up).collect());
static RULES: LazyLock<Vec<(Region, FrameRules)>> = LazyLock::new(read_rules);

/// A grade of timber on file, with the names that it goes by.
#[derive(Clone, Debug, PartialEq)]
pub struct Grade {
    /// The timber; its name is the one to show, its source says where each figure comes from.
    pub timber: Timber,
    /// Other ways to write its name.
    pub also: Vec<String>,
    /// Where the density comes from, which is not always where the strength does.
    pub density_status: SourceStatus,
}

impl Grade {
    /// Whether a written name means this grade: capitals, commas and spaces do not count.
    pub fn is_called(&self, written: &str) -> bool {
        let written = letters_and_digits(written);
        self.names().any(|name| letters_and_digits(name) == written)
    }

    /// Whether a written name is the beginning of one of this grade's.
    pub(crate) fn begins_with(&self, written: &str) -> bool {
        let written = letters_and_digits(written);
        !written.is_empty()
            && self.names().any(|name| letters_and_digits(name).starts_with(&written))
    }

    fn names(&self) -> impl Iterator<Item = &str> {
        std::iter::once(self.timber.name.as_str()).chain(self.also.iter().map(String::as_str))
    }
}

fn letters_and_digits(name: &str) -> String {
    name.chars().filter(|letter| letter.is_alphanumeric()).flat_map(char::to_lowercase).collect()
}

/// Every grade of timber that comes with the program, in the order on file.
///
/// # Panics
/// If the embedded data is broken: a bug of this program, which its tests would show.
pub fn grades() -> &'static [Grade] {
    &GRADES
}

/// The grade of a written name, if there is one.
///
/// # Examples
/// ```
/// use floorwright_job::practice::grade;
/// assert_eq!(grade("f5 Seasoned").unwrap().timber.name, "F5, seasoned");
/// assert!(grade("oak").is_none());
/// ```
pub fn grade(written: &str) -> Option<&'static Grade> {
    grades().iter().find(|grade| grade.is_called(written))
}

/// What a build-up is counted over.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Over {
    /// The height of a wall.
    Height,
    /// The width of roof, on plan, that rests on a wall.
    RoofWidth,
}

/// What a wall, a roof or a ceiling weighs.
#[derive(Clone, Debug, PartialEq)]
pub struct BuildUp {
    /// What a job calls it.
    pub id: String,
    /// What it is made of.
    pub title: String,
    /// What it is counted over.
    pub over: Over,
    /// Its weight.
    pub load: AreaLoad,
    /// That of its least certain part.
    pub status: SourceStatus,
    /// Where each part's weight comes from.
    pub source: String,
}

/// Every build-up that comes with the program, in the order on file.
///
/// # Panics
/// If the embedded data is broken: a bug of this program, which its tests would show.
pub fn build_ups() -> &'static [BuildUp] {
    &BUILD_UPS
}

/// What a floor is asked to carry by a code.
#[derive(Clone, Debug, PartialEq)]
pub struct LiveLoad {
    /// Name.
    pub id: String,
    /// What it is for.
    pub title: String,
    /// The load.
    pub load: AreaLoad,
    /// The code.
    pub body: String,
    /// How the figure was obtained.
    pub status: SourceStatus,
    /// Where it was read.
    pub source: String,
}

/// Every live load that comes with the program, in the order on file.
///
/// # Panics
/// If the embedded data is broken: a bug of this program, which its tests would show.
pub fn live_loads() -> Vec<LiveLoad> {
    let load = |form: &LiveForm| LiveLoad {
        id: form.id.clone(),
        title: form.title.clone(),
        load: AreaLoad::kpa(form.kpa),
        body: form.body.clone(),
        status: form.status.into(),
        source: form.source.clone(),
    };
    WEIGHTS.live.iter().map(load).collect()
}

/// What is taken for a frame in a region where the job is silent.
///
/// # Panics
/// If the embedded data is broken: a bug of this program, which its tests would show.
pub fn frame_rules(region: Region) -> FrameRules {
    let (_, rules) = RULES
        .iter()
        .find(|(known, _)| *known == region)
        .expect("the embedded rules have every region");
    rules.clone()
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct TimberFile {
    schema: String,
    timber: Vec<TimberRow>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct TimberRow {
    name: String,
    also: Vec<String>,
    e: f64,
    bending: f64,
    shear: f64,
    across_grain: Option<f64>,
    body: String,
    status: StatusForm,
    source: String,
    density: f64,
    density_status: StatusForm,
    density_source: String,
    note: Option<String>,
}

fn read_grades() -> Vec<Grade> {
    let file: TimberFile = toml::from_str(TIMBER).expect("the embedded timber is well formed");
    assert_eq!(file.schema, "floorwright-timber/1");
    file.timber.into_iter().map(TimberRow::grade).collect()
}

impl TimberRow {
    fn grade(self) -> Grade {
        let density_status = SourceStatus::from(self.density_status);
        let status = SourceStatus::from(self.status);
        let mut source = format!(
            "{}, {} ({status}); density {} kg/m3: {} ({density_status})",
            self.body, self.source, self.density, self.density_source
        );
        if let Some(note) = self.note {
            source += &format!("; {note}");
        }
        Grade {
            timber: Timber {
                name: self.name,
                stiffness: Stress::n_per_mm2(self.e),
                density: Density::kg_per_m3(self.density),
                strength: Some(Strength {
                    bending: Stress::n_per_mm2(self.bending),
                    shear: Stress::n_per_mm2(self.shear),
                    across_grain: self.across_grain.map(Stress::n_per_mm2),
                }),
                source,
                status,
            },
            also: self.also,
            density_status,
        }
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct LoadsFile {
    schema: String,
    live: Vec<LiveForm>,
    floor: Vec<WeightForm>,
    weight: Vec<WeightForm>,
    build_up: Vec<BuildUpForm>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct LiveForm {
    id: String,
    title: String,
    kpa: f64,
    body: String,
    status: StatusForm,
    source: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct WeightForm {
    id: String,
    title: String,
    kpa: f64,
    status: StatusForm,
    source: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct BuildUpForm {
    id: String,
    title: String,
    over: Over,
    parts: Vec<String>,
}

impl BuildUpForm {
    fn build_up(&self) -> BuildUp {
        let parts: Vec<&WeightForm> = self
            .parts
            .iter()
            .map(|part| {
                let weight = WEIGHTS.weight.iter().find(|weight| weight.id == *part);
                weight.expect("the embedded build-ups name their parts")
            })
            .collect();
        let sources: Vec<String> = parts
            .iter()
            .map(|part| format!("{} {:.2} kPa ({})", part.title, part.kpa, part.source))
            .collect();
        BuildUp {
            id: self.id.clone(),
            title: self.title.clone(),
            over: self.over,
            load: parts.iter().map(|part| AreaLoad::kpa(part.kpa)).sum(),
            status: least_certain(parts.iter().map(|part| part.status.into())),
            source: sources.join(", "),
        }
    }
}

/// The status that may be trusted least.
fn least_certain(all: impl Iterator<Item = SourceStatus>) -> SourceStatus {
    let doubt = |status: &SourceStatus| match status {
        SourceStatus::Confirmed => 0,
        SourceStatus::Derived => 1,
        SourceStatus::SecondHand => 2,
        SourceStatus::Agreed => 3,
        SourceStatus::Trade => 4,
        SourceStatus::Memory => 5,
    };
    all.max_by_key(doubt).unwrap_or(SourceStatus::Memory)
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct FrameFile {
    schema: String,
    region: Vec<RegionForm>,
}

#[derive(Clone, Copy, Deserialize)]
#[serde(rename_all = "lowercase")]
enum RegionName {
    Au,
    Nz,
    Us,
    Uk,
}

impl From<RegionName> for Region {
    fn from(name: RegionName) -> Self {
        match name {
            RegionName::Au => Self::Au,
            RegionName::Nz => Self::Nz,
            RegionName::Us => Self::Us,
            RegionName::Uk => Self::Uk,
        }
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RegionForm {
    region: RegionName,
    bearer_mm: [f64; 2],
    joist_mm: [f64; 2],
    joist_spacing_mm: f64,
    timber: String,
    outer_wall: UsualWall,
    inner_wall: UsualWall,
    floor: String,
    live: String,
    row_width_mm: f64,
    longest_span_mm: f64,
    longest_overhang_mm: f64,
    seat_length_mm: f64,
    load_doubt: f64,
    set_share: (f64, f64),
    status: StatusForm,
    source: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct UsualWall {
    build_up: Vec<String>,
    height_mm: f64,
    #[serde(default)]
    roof_width_mm: f64,
}

impl UsualWall {
    fn load(&self) -> LineLoad {
        let of = |id: &String| {
            let build_up = build_ups().iter().find(|known| known.id == *id);
            build_up.expect("the embedded rules name their build-ups")
        };
        let (height, roof) = (Length::mm(self.height_mm), Length::mm(self.roof_width_mm));
        self.build_up
            .iter()
            .map(of)
            .map(|build_up| {
                build_up.load * if build_up.over == Over::Height { height } else { roof }
            })
            .sum()
    }
}

fn read_rules() -> Vec<(Region, FrameRules)> {
    let file: FrameFile = toml::from_str(FRAME).expect("the embedded frame is well formed");
    assert_eq!(file.schema, "floorwright-frame/1");
    file.region.iter().map(|form| (form.region.into(), form.rules())).collect()
}

impl RegionForm {
    fn rules(&self) -> FrameRules {
        let section = |[breadth, depth]: [f64; 2]| Section {
            breadth: Length::mm(breadth),
            depth: Length::mm(depth),
        };
        let status = SourceStatus::from(self.status);
        let timber = &grade(&self.timber).expect("the embedded rules name a grade").timber;
        FrameRules {
            bearers_run: None,
            row_width: Length::mm(self.row_width_mm),
            longest_span: Length::mm(self.longest_span_mm),
            longest_overhang: Length::mm(self.longest_overhang_mm),
            bearer: section(self.bearer_mm),
            joist: section(self.joist_mm),
            joist_spacing: Length::mm(self.joist_spacing_mm),
            bearer_timber: timber.clone(),
            joist_timber: timber.clone(),
            outer_wall: self.outer_wall.load(),
            inner_wall: self.inner_wall.load(),
            floor_load: self.floor_load(),
            seat_length: Length::mm(self.seat_length_mm),
            load_doubt: self.load_doubt,
            set_share: self.set_share,
            source: format!("{} ({status})", self.source),
        }
    }

    fn floor_load(&self) -> FloorLoad {
        let dead = WEIGHTS.floor.iter().find(|floor| floor.id == self.floor);
        let dead = dead.expect("the embedded rules name a floor");
        let live = WEIGHTS.live.iter().find(|live| live.id == self.live);
        let live = live.expect("the embedded rules name a live load");
        let status = |status: StatusForm| SourceStatus::from(status);
        FloorLoad {
            dead: AreaLoad::kpa(dead.kpa),
            live: AreaLoad::kpa(live.kpa),
            source: format!(
                "dead: {}, {} ({}); live: {}, {} ({})",
                dead.title,
                dead.source,
                status(dead.status),
                live.body,
                live.source,
                status(live.status)
            ),
        }
    }
}
