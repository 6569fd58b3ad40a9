//! The kinds of change that an event can make, and what each does to the form of a job.

use super::{BackdropNote, EventId, Note};
use crate::form_v1::{
    BearerForm, BenchmarkForm, BookForm, BusinessForm, CriteriaForm, CriterionForm, DatumForm,
    DoorForm, Form, FrameForm, GoalForm, JobForm, JoistForm, JoistSetForm, LegForm, LimitsForm,
    LoadForm, LoadsForm, ObstacleForm, PassForm, PointForm, RatesForm, ReadingForm, RoomForm,
    SetupForm, StockForm, SupportForm, TestsForm, WallForm, YourHoseForm,
};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// What was done to a job.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "did", rename_all = "kebab-case")]
pub enum Change {
    /// The job was begun, or brought in from a file, as a whole.
    Begin {
        /// The job.
        form: Box<Form>,
        /// The texts of the files that it names, by their names.
        #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
        files: BTreeMap<String, String>,
    },
    /// A block of which a job has one was written anew.
    Set {
        /// The block.
        block: Box<Block>,
    },
    /// Something that has a name was added, or put in the place of its namesake. A setup keeps the
    /// readings that were taken from it.
    Put {
        /// The thing.
        thing: Box<Thing>,
    },
    /// Several things were added at once, each as by [`Change::Put`]: a grid of supports. They are taken back
    /// together.
    PutAll {
        /// The things.
        things: Vec<Thing>,
    },
    /// Something was taken out. Readings stay: they were taken.
    Remove {
        /// What it was.
        kind: Kind,
        /// Its name.
        name: String,
    },
    /// A reading was taken.
    Read {
        /// The setup it was taken from.
        setup: String,
        /// The reading.
        reading: ReadingForm,
    },
    /// A reading was put right, or struck out.
    Amend {
        /// The event that took it.
        event: EventId,
        /// What it is now.
        reading: ReadingForm,
    },
    /// A pass was done, or noted anew: the last note of a number counts.
    Pass {
        /// What was done.
        pass: PassForm,
    },
    /// Something was noticed: a remark, a photo, or both.
    Note {
        /// What was noted.
        note: Note,
    },
    /// A picture was put behind the map of the site, or taken away.
    Backdrop {
        /// The picture; nothing takes it away.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        backdrop: Option<BackdropNote>,
    },
    /// An event was taken back; taking back that event brings it back.
    Undo {
        /// The event.
        event: EventId,
    },
}

/// A block of which a job has one.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Block {
    /// What the job is called and how it is written.
    Job(JobForm),
    /// What holds for all timbers of the frame.
    Frame(FrameForm),
    /// Joists by direction and spacing.
    Joists(Vec<JoistSetForm>),
    /// What the floor carries over its whole area.
    Loads(LoadsForm),
    /// What the levels are counted from.
    Datum(DatumForm),
    /// Height differences measured elsewhere.
    Legs(Vec<LegForm>),
    /// Where the floor is to end.
    Goal(GoalForm),
    /// What a pass may do.
    Limits(LimitsForm),
    /// The packers that can be had.
    Stock(StockForm),
    /// How sure a test of the readings has to be.
    Tests(TestsForm),
    /// Which criteria the floor is held against.
    Criteria(CriteriaForm),
    /// What things cost and how long they take.
    Rates(Box<RatesForm>),
    /// Whose paper it is.
    Business(BusinessForm),
    /// Your own hose level.
    Hose(Box<YourHoseForm>),
    /// Doorways that a hose can be laid through: all of them, for they have no names.
    Doors(Vec<DoorForm>),
}

impl Block {
    pub(super) fn set(self, form: &mut Form) {
        match self {
            Self::Job(block) => form.job = Some(block),
            Self::Frame(block) => form.frame = Some(block),
            Self::Joists(sets) => form.joists = sets,
            Self::Loads(block) => form.loads = Some(block),
            Self::Datum(block) => form.datum = Some(block),
            Self::Legs(legs) => form.leg = legs,
            Self::Goal(block) => form.goal = Some(block),
            Self::Limits(block) => form.limits = Some(block),
            Self::Stock(block) => form.stock = Some(block),
            Self::Tests(block) => form.tests = Some(block),
            Self::Criteria(block) => form.criteria = Some(block),
            Self::Rates(block) => form.rates = Some(*block),
            Self::Business(block) => form.business = Some(block),
            Self::Hose(block) => form.hose = Some(*block),
            Self::Doors(doors) => form.door = doors,
        }
    }
}

macro_rules! things {
    ($( $(#[$meta:meta])* $variant:ident ( $form_type:ident ) in $list:ident by $name:ident ; )*) => {
        /// Something that has a name and of which a job may have many.
        #[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
        #[serde(rename_all = "kebab-case")]
        pub enum Thing {
            $( $(#[$meta])* $variant($form_type), )*
        }

        /// What something is.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
        #[serde(rename_all = "kebab-case")]
        pub enum Kind {
            $( $(#[$meta])* $variant, )*
        }

        impl Thing {
            /// Its name, if there is one of its kind and name already.
            pub fn namesake_in(&self, form: &Form) -> Option<&str> {
                match self {
                    $( Self::$variant(thing) => form.$list.iter()
                        .any(|known| known.$name == thing.$name).then_some(thing.$name.as_str()), )*
                }
            }

            /// Puts it in the place of its namesake, or at the end.
            pub(super) fn put(self, form: &mut Form) {
                match self {
                    $( Self::$variant(thing) => {
                        match form.$list.iter_mut().find(|known| known.$name == thing.$name) {
                            Some(known) => *known = thing,
                            None => form.$list.push(thing),
                        }
                    } )*
                }
            }
        }

        impl Kind {
            /// Whether there is a thing of this name.
            pub(super) fn holds(self, name: &str, form: &Form) -> bool {
                match self {
                    $( Self::$variant => form.$list.iter().any(|known| known.$name == name), )*
                }
            }

            /// Takes the thing of this name out; whether there was one.
            pub(super) fn remove(self, name: &str, form: &mut Form) -> bool {
                match self {
                    $( Self::$variant => {
                        let n_before = form.$list.len();
                        form.$list.retain(|known| known.$name != name);
                        form.$list.len() < n_before
                    } )*
                }
            }
        }
    };
}

things! {
    /// A room.
    Room(RoomForm) in room by name;
    /// A place where the staff is held.
    Point(PointForm) in point by id;
    /// A support under a bearer.
    Support(SupportForm) in support by id;
    /// A bearer.
    Bearer(BearerForm) in bearer by id;
    /// A joist.
    Joist(JoistForm) in joist by id;
    /// A wall on the floor.
    Wall(WallForm) in wall by name;
    /// A load at one place.
    Load(LoadForm) in load by name;
    /// What no hose goes through.
    Obstacle(ObstacleForm) in obstacle by name;
    /// A mark of known height.
    Benchmark(BenchmarkForm) in benchmark by point;
    /// A standing of the instrument.
    Setup(SetupForm) in setup by id;
    /// A level book.
    Book(BookForm) in book by id;
    /// A figure that was agreed for this job.
    Criterion(CriterionForm) in criterion by id;
}
