//! Drawings to scale on sheets of their own, each with what it shows in words.

use crate::paper::{Paper, Sheet};
use floorwright_draw::{
    FloorPicture, Medium, Paper as Size, PlanPictures, carried_map, floor_map, lift_map, pass_map,
    profile, way_chart,
};
use floorwright_engine::units::Length;
use floorwright_job::not_yet::flags;
use floorwright_job::words::Words;

const A4: Medium = Medium::Sheet(Size::A4);

/// With more supports than this a sheet of A4 has no room for their labels.
const ON_A4: usize = 40;
/// With more passes than this only the sheet of all of them is drawn.
const MOST_PASS_SHEETS: usize = 12;

pub(crate) struct Drawings<'a> {
    pictures: PlanPictures<'a>,
    words: Words,
    /// What the packers are drawn on; everything else has room on A4.
    size: Size,
}

/// Stands for the number of a sheet until all are drawn.
pub(crate) const SHEET_NUMBER: &str = "SHEET-NO";

impl<'a> Drawings<'a> {
    pub(crate) fn of(paper: &Paper<'a>) -> Self {
        let number = paper.hash().unwrap_or_default().chars().take(8).collect();
        let mut pictures = PlanPictures::of(paper.input, paper.job, paper.plan);
        if let Some(date) = paper.date {
            pictures.title_block.date = date.to_owned();
        }
        pictures.title_block.revision.mark = paper.revision.to_owned();
        pictures.title_block.number = number;
        pictures.title_block.sheet = SHEET_NUMBER.to_owned();
        pictures.flags = flags(paper.plan, paper.record);
        let size = if paper.job.site.supports().len() > ON_A4 { Size::A3 } else { Size::A4 };
        Self { pictures, words: paper.words(), size }
    }

    /// The same after so many passes: those of the plan are counted on from them.
    pub(crate) fn after(mut self, n_done: usize) -> Self {
        self.pictures.done = n_done;
        self
    }

    fn sheet(svg: String, alt: String, size: Size) -> Sheet {
        let size = if size == Size::A3 { (420.0, 297.0) } else { (297.0, 210.0) };
        Sheet { svg, alt, size, stop: String::new() }
    }

    /// The map of the floor as read, small, for the side of a page.
    pub(crate) fn small_floor(&self) -> Option<(String, String)> {
        let picture = self.pictures.floor_now(Medium::Screen, None).ok().flatten()?;
        Some((floor_map(&picture), self.floor_in_words("as read", &picture)))
    }

    pub(crate) fn floor_now(&self) -> Option<Sheet> {
        let picture = self.pictures.floor_now(A4, None).ok().flatten()?;
        Some(Self::sheet(floor_map(&picture), self.floor_in_words("as read", &picture), Size::A4))
    }

    pub(crate) fn floor_after(&self) -> Option<Sheet> {
        let picture = self.pictures.floor_after(A4, None).ok().flatten()?;
        let words = self.floor_in_words("after the lifts, as predicted", &picture);
        Some(Self::sheet(floor_map(&picture), words, Size::A4))
    }

    fn floor_in_words(&self, when: &str, picture: &FloorPicture) -> String {
        let read = || picture.points.iter().filter_map(|p| Some((&p.point, p.departure?)));
        let highest = read().max_by(|a, b| a.1.total_cmp(&b.1));
        let lowest = read().min_by(|a, b| a.1.total_cmp(&b.1));
        match highest.zip(lowest) {
            Some((highest, lowest)) => format!(
                "Map of the floor {when}: {} points with how far each is above or below the target. \
                 Highest is {} by {}, lowest {} by {}. The same numbers are in the tables.",
                picture.points.len(),
                highest.0,
                self.words.signed(highest.1),
                lowest.0,
                self.words.signed(lowest.1),
            ),
            None => format!("Map of the floor {when}, without levels."),
        }
    }

    /// The section from the lowest to the highest point of the largest floor.
    pub(crate) fn section(&self) -> Option<Sheet> {
        let shape = self.pictures.plan.floor.done()?;
        let spread = &shape.decks.iter().max_by_key(|deck| deck.n_points)?.spread;
        let (from, to) = (spread.lowest.at, spread.highest.at);
        if from.distance(to) < Length::mm(500.0) {
            return None;
        }
        let picture = self.pictures.section(A4, from, to)?;
        let alt = format!(
            "Section through the floor from its lowest point {} to its highest point {}, with the \
             uncertainty of the readings, and the floor after the lifts where there are any.",
            spread.lowest.point, spread.highest.point
        );
        Some(Self::sheet(profile(&picture), alt, Size::A4))
    }

    pub(crate) fn lifts(&self) -> Option<Sheet> {
        let picture = self.pictures.lifts(Medium::Sheet(self.size))?;
        let (_, several) = self.words.supports();
        let alt = format!(
            "Plan of {} {several} with the lift and the packers at each. The same numbers are in \
             the table of lifts.",
            picture.supports.len()
        );
        Some(Self::sheet(lift_map(&picture), alt, self.size))
    }

    pub(crate) fn who_carries(&self) -> Option<Sheet> {
        let picture = self.pictures.who_carries(A4)?;
        let (one, _) = self.words.supports();
        let alt = format!(
            "Plans of what each {one} carries today, at the worst moment of the passes and when all \
             is packed. The same numbers are in the table of lifts."
        );
        Some(Self::sheet(carried_map(&picture), alt, Size::A4))
    }

    pub(crate) fn all_passes(&self) -> Option<Sheet> {
        let picture = self.pictures.passes(A4)?;
        let alt = format!(
            "Plans of all {} passes side by side: what moves in each. The run sheet has the same \
             in words.",
            picture.passes.len()
        );
        Some(Self::sheet(pass_map(&picture), alt, Size::A4))
    }

    /// Each pass by itself, unless there are very many. `stop` says what stands across the drawing of a
    /// pass of the plan, from 1.
    pub(crate) fn each_pass(&self, stop: impl Fn(usize) -> String) -> Vec<Sheet> {
        let Some(picture) = self.pictures.passes(A4) else { return Vec::new() };
        if picture.passes.len() > MOST_PASS_SHEETS {
            let stop = (1..=picture.passes.len()).map(stop).find(|stop| !stop.is_empty());
            let all = self.all_passes().into_iter();
            return all
                .map(|sheet| Sheet { stop: stop.clone().unwrap_or_default(), ..sheet })
                .collect();
        }
        (0..picture.passes.len())
            .filter_map(|idx| Some((idx, picture.alone(idx)?)))
            .map(|(idx, alone)| {
                let alt = format!(
                    "Plan of one pass, {}: which supports move, how far, and the force at each \
                     jack. The run sheet has the same in words.",
                    alone.title_block.title
                );
                Sheet { stop: stop(idx + 1), ..Self::sheet(pass_map(&alone), alt, Size::A4) }
            })
            .collect()
    }

    pub(crate) fn way(&self) -> Option<Sheet> {
        let picture = self.pictures.along_the_way(A4)?;
        let alt = "Chart of how near each move of the passes comes to its limits.".to_owned();
        Some(Self::sheet(way_chart(&picture), alt, Size::A4))
    }
}
