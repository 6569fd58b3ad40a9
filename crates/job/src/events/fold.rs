//! From the events of a job to its form.

use super::{BackdropNote, Change, Event, EventId, Kind, NoteAt, Thing};
use crate::form_v1::{FORMAT, Form, PassForm, Quantity, ReadingForm, RowsForm, SetupForm};
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, BTreeSet};

/// A job as its events make it.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct FoldedJob {
    /// The job, as a file would hold it.
    pub form: Form,
    /// The texts of the files that it names, by their names.
    pub files: BTreeMap<String, String>,
    /// The readings that were taken by events, in order.
    pub readings: Vec<ReadingAt>,
    /// Every note of a pass, in order: of those of one number the last counts.
    pub passes: Vec<PassAt>,
    /// Remarks and photos, in order.
    pub notes: Vec<NoteAt>,
    /// What was taken out and is not there again, in order: taking that event back brings it back.
    pub taken_out: Vec<TakenOut>,
    /// The picture behind the map of the site.
    pub backdrop: Option<BackdropNote>,
    /// The largest tick among the events; the next event's is larger.
    pub tick: u64,
    /// Events that did nothing, or not all that they were to do.
    pub faults: Vec<EventFault>,
}

/// A reading that an event took, and where it stands in the form.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct ReadingAt {
    /// The event that took it.
    pub event: EventId,
    /// The setup that it belongs to.
    pub setup: String,
    /// The reading as it is now.
    pub reading: ReadingForm,
}

/// A note of a pass, and the event that made it.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct PassAt {
    /// The event.
    pub event: EventId,
    /// What was noted.
    pub pass: PassForm,
}

/// Something that was taken out, and the event that did it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct TakenOut {
    /// The event.
    pub event: EventId,
    /// What it was.
    pub kind: Kind,
    /// Its name.
    pub name: String,
}

impl FoldedJob {
    /// The form as further changes would make it; the job stays as it is. Readings are not looked at.
    pub fn form_after(&self, changes: &[Change]) -> Form {
        let mut folding = Folding { form: self.form.clone(), ..Folding::default() };
        for change in changes {
            folding.apply(EventId::from_bytes([0; 16]), change.clone());
        }
        folding.form
    }
}

/// What kept an event from doing what it was to do.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, thiserror::Error)]
#[serde(tag = "what", rename_all = "kebab-case")]
pub enum EventFault {
    /// A newer version made it.
    #[error(
        "event {event} is of a kind that this version does not know; it is kept: use the newer version"
    )]
    NotKnown {
        /// The event.
        event: EventId,
    },
    /// Two events carry one id and are not the same.
    #[error(
        "two different events carry the id {event}; both are kept, one of them counts: look at both"
    )]
    TwoOfOneId {
        /// Their id.
        event: EventId,
    },
    /// It speaks of an event that is not there, or that is no reading.
    #[error("event {event} speaks of event {about}, which is not there yet or cannot be meant")]
    NothingThere {
        /// The event.
        event: EventId,
        /// The one that it speaks of.
        about: EventId,
    },
    /// It took out something that was not there.
    #[error("event {event} takes out {name}, which was not there")]
    AlreadyGone {
        /// The event.
        event: EventId,
        /// The name of the thing.
        name: String,
    },
    /// A reading equals one before it in everything, its time to the second included.
    #[error("{point} was saved twice at {time} with the same reading: it counts once")]
    SavedTwice {
        /// The later event; it stays in the log.
        event: EventId,
        /// The point.
        point: String,
        /// The time of both.
        time: String,
    },
    /// A reading was taken from a setup whose readings are in a file.
    #[error(
        "setup {setup} names a file of readings, {file}; bring the job in again with that file"
    )]
    ReadingsElsewhere {
        /// The setup.
        setup: String,
        /// The file.
        file: String,
    },
}

/// Makes the job that a set of events comes to.
///
/// The order in which the events are given, and how often each is given, makes no difference.
/// Nothing is lost: a reading from a setup that nobody described makes that setup, a reading
/// outlives the removal of its point, and what could not be done is among the faults.
pub fn fold(events: &[Event]) -> FoldedJob {
    let mut history = History::default();
    events.iter().for_each(|event| history.add(event.clone()));
    history.fold()
}

/// The events of a job, each read once however often the job is folded.
#[derive(Clone, Debug, Default)]
pub struct History {
    events: BTreeMap<EventId, (Event, Option<Change>)>,
    /// Ids that two different events carry.
    doubled: BTreeSet<EventId>,
}

impl History {
    /// Adds an event; one that is there already changes nothing.
    pub fn add(&mut self, event: Event) {
        match self.events.get(&event.id) {
            Some((known, _)) if *known == event => return,
            Some((known, _)) => {
                self.doubled.insert(event.id);
                // Which of the two counts must not depend on which came first.
                if known.canonical() <= event.canonical() {
                    return;
                }
            }
            None => {}
        }
        let change = Change::deserialize(&event.change).ok();
        self.events.insert(event.id, (event, change));
    }

    /// The job that its events come to, as [`fold`] makes it.
    pub fn fold(&self) -> FoldedJob {
        let doubled = self.doubled.iter().map(|&event| EventFault::TwoOfOneId { event });
        let mut faults: Vec<EventFault> = doubled.collect();
        // The order that every device agrees on.
        let mut ordered: Vec<&(Event, Option<Change>)> = self.events.values().collect();
        ordered.sort_by_key(|(event, _)| event.rank());
        let mut changes = Vec::with_capacity(ordered.len());
        for (event, change) in &ordered {
            match change {
                Some(change) => changes.push((event.id, change)),
                None => faults.push(EventFault::NotKnown { event: event.id }),
            }
        }
        let taken_back = taken_back(&changes, &mut faults);
        let mut folding = Folding { taken_back, faults, ..Folding::default() };
        for (event, change) in changes {
            if !folding.taken_back.contains(&event) {
                folding.apply(event, change.clone());
            }
        }
        let tick = ordered.last().map_or(0, |(event, _)| event.tick);
        folding.finish(tick)
    }
}

/// The events that were taken back and not brought back.
///
/// Read from the last to the first: whether an undo counts is settled before what it takes back.
fn taken_back(changes: &[(EventId, &Change)], faults: &mut Vec<EventFault>) -> BTreeSet<EventId> {
    let place: BTreeMap<EventId, usize> =
        changes.iter().enumerate().map(|(idx, (event, _))| (*event, idx)).collect();
    let mut taken_back = BTreeSet::new();
    for (idx, (event, change)) in changes.iter().enumerate().rev() {
        let Change::Undo { event: about } = change else { continue };
        if place.get(about).is_none_or(|&at| at >= idx) {
            faults.push(EventFault::NothingThere { event: *event, about: *about });
        } else if !taken_back.contains(event) {
            taken_back.insert(*about);
        }
    }
    taken_back
}

#[derive(Default)]
struct Folding {
    form: Form,
    files: BTreeMap<String, String>,
    readings: Vec<ReadingAt>,
    noted_passes: Vec<PassAt>,
    notes: Vec<NoteAt>,
    taken_out: Vec<TakenOut>,
    backdrop: Option<BackdropNote>,
    /// Where the reading of an event stands in `readings`.
    place: BTreeMap<EventId, usize>,
    taken_back: BTreeSet<EventId>,
    faults: Vec<EventFault>,
}

impl Folding {
    fn apply(&mut self, event: EventId, change: Change) {
        match change {
            Change::Begin { form, files } => {
                self.form = *form;
                self.files = files;
            }
            Change::Set { block } => block.set(&mut self.form),
            Change::Put { thing } => self.put(*thing),
            Change::PutAll { things } => things.into_iter().for_each(|thing| self.put(thing)),
            Change::Remove { kind, name } => {
                if kind.remove(&name, &mut self.form) {
                    self.taken_out.push(TakenOut { event, kind, name });
                } else {
                    self.faults.push(EventFault::AlreadyGone { event, name });
                }
            }
            Change::Read { setup, reading } => {
                self.setup(&setup);
                self.place.insert(event, self.readings.len());
                self.readings.push(ReadingAt { event, setup, reading });
            }
            Change::Amend { event: about, reading } => match self.place.get(&about) {
                Some(&idx) => self.readings[idx].reading = reading,
                None if self.taken_back.contains(&about) => {}
                None => self.faults.push(EventFault::NothingThere { event, about }),
            },
            Change::Pass { pass } => {
                self.noted_passes.push(PassAt { event, pass: pass.clone() });
                let passes = &mut self.form.pass;
                match passes.iter_mut().find(|known| known.number == pass.number) {
                    Some(known) => *known = pass,
                    None => {
                        passes.push(pass);
                        passes.sort_by_key(|pass| pass.number);
                    }
                }
            }
            Change::Note { note } => self.notes.push(NoteAt { event, note }),
            Change::Backdrop { backdrop } => self.backdrop = backdrop,
            Change::Undo { .. } => {}
        }
    }

    /// A setup that is described anew keeps the rows that it came with.
    fn put(&mut self, thing: Thing) {
        let thing = match thing {
            Thing::Setup(mut setup) if setup.readings.is_none() => {
                let known = self.form.setup.iter().find(|known| known.id == setup.id);
                setup.readings = known.and_then(|known| known.readings.clone());
                Thing::Setup(setup)
            }
            other => other,
        };
        thing.put(&mut self.form);
    }

    /// The setup of this name, made now if nobody described it: setups stand in the order in which
    /// they were begun.
    fn setup(&mut self, id: &str) -> &mut SetupForm {
        let setups = &mut self.form.setup;
        let idx = setups.iter().position(|setup| setup.id == id).unwrap_or_else(|| {
            setups.push(SetupForm { id: id.to_owned(), ..SetupForm::default() });
            setups.len() - 1
        });
        &mut setups[idx]
    }

    fn finish(mut self, tick: u64) -> FoldedJob {
        self.form.format = Some(FORMAT);
        let is_gone = |out: &TakenOut| !out.kind.holds(&out.name, &self.form);
        let taken_out = self.taken_out.iter().filter(|out| is_gone(out)).cloned().collect();
        let mut moments: BTreeMap<Moment, Vec<ReadingForm>> = BTreeMap::new();
        for taken in std::mem::take(&mut self.readings) {
            // Nobody reads a point twice within a second: a key was pressed twice.
            if let Some(moment) = Moment::of(&taken) {
                let before = moments.entry(moment.clone()).or_default();
                if before.contains(&taken.reading) {
                    let Moment { point, time, .. } = moment;
                    self.faults.push(EventFault::SavedTwice { event: taken.event, point, time });
                    continue;
                }
                before.push(taken.reading.clone());
            }
            let setup = self.setup(&taken.setup);
            match &mut setup.readings {
                Some(RowsForm::Rows(rows)) => rows.push(taken.reading.clone()),
                Some(RowsForm::File(file)) => {
                    let fault = EventFault::ReadingsElsewhere {
                        setup: setup.id.clone(),
                        file: file.clone(),
                    };
                    if !self.faults.contains(&fault) {
                        self.faults.push(fault);
                    }
                }
                empty => *empty = Some(RowsForm::Rows(vec![taken.reading.clone()])),
            }
            self.readings.push(taken);
        }
        FoldedJob {
            form: self.form,
            files: self.files,
            readings: self.readings,
            passes: self.noted_passes,
            notes: self.notes,
            taken_out,
            backdrop: self.backdrop,
            tick,
            faults: self.faults,
        }
    }
}

/// Where and when a reading was saved, to the second.
#[derive(Clone, PartialEq, Eq, PartialOrd, Ord)]
struct Moment {
    setup: String,
    point: String,
    time: String,
}

impl Moment {
    /// That of a reading whose time was noted.
    fn of(taken: &ReadingAt) -> Option<Self> {
        let Some(Quantity::Text(time)) = &taken.reading.time else { return None };
        let point = taken.reading.point.clone();
        Some(Self { setup: taken.setup.clone(), point, time: time.clone() })
    }
}

#[cfg(test)]
mod tests;
