//! Goal, limits, stock and criteria.

use super::{Checker, Named, Spot, called};
use crate::form_v1::{
    CriterionForm, HeightForm, HeightPointForm, LimitForm, MeasureForm, PreferForm, Quantity, Terms,
};
use crate::input::{CriteriaSelection, HeightTie, OwnCriterion, OwnFigure};
use crate::limits::{self, Range};
use crate::measure::Unit;
use crate::practice::finish_limits;
use crate::quantities::{FORCE, RATIO};
use floorwright_engine::ids::{PointId, RoomId};
use floorwright_engine::settings::{Goal, Limit, Limits, Packer, Preference, Stock, TargetHeight};
use floorwright_engine::site::Finish;
use floorwright_engine::units::{Force, Length};

impl Checker<'_> {
    pub(super) fn goal(&mut self) -> (Goal, Option<HeightTie>) {
        let Some(form) = &self.form.goal else {
            self.assume("the floor is brought to its highest point (no goal is given)");
            return (Goal::default(), None);
        };
        let spot = self.spot("goal", "[goal]");
        let mut tie = None;
        let height = match &form.height {
            None => {
                self.assume("the floor is brought to its highest point (no height is given)");
                None
            }
            Some(HeightForm::Point(hung)) => {
                tie = self.tie(&spot, hung);
                tie.as_ref().map(|tie| TargetHeight::Point {
                    point: tie.point.clone(),
                    offset: tie.above_point(),
                })
            }
            Some(HeightForm::Height(height)) => self.height(&spot, height),
        };
        let prefer = match form.prefer {
            Some(PreferForm::SmallestLargest) => Preference::SmallestLargest,
            Some(PreferForm::LeastLift) => Preference::LeastLift,
            Some(PreferForm::FewestSupports) => Preference::FewestSupports,
            Some(PreferForm::LeastSquares) | None => Preference::LeastSquares,
        };
        let level_tolerance = self.length(
            &spot,
            "level_tolerance",
            form.level_tolerance.as_ref(),
            &limits::LEVEL_TOLERANCE,
        );
        let slope_tolerance =
            self.slope(&spot, "slope_tolerance", form.slope_tolerance.as_ref(), &limits::SLOPE);
        let tilt_allowed =
            self.slope(&spot, "tilt_allowed", form.tilt_allowed.as_ref(), &limits::SLOPE);
        let nothing_required = form.level_tolerance.is_none() && form.slope_tolerance.is_none();
        if nothing_required && matches!(prefer, Preference::LeastLift | Preference::FewestSupports)
        {
            let fault = self
                .warning(&spot, "prefer", "no tolerance is required, so lifting nothing does best")
                .hint("add level_tolerance or slope_tolerance, or prefer least-squares");
            self.faults.push(fault);
        }
        let known = self.site.room_names();
        for (idx, room) in form.rooms.iter().enumerate() {
            if !known.contains(room) {
                self.unknown(&spot, &format!("rooms.{idx}"), Named::Room, room);
            }
        }
        let goal = Goal {
            height: height.unwrap_or_default(),
            prefer,
            level_tolerance,
            slope_tolerance,
            tilt_allowed,
            every_support_carries: form.every_support_carries,
            rooms: form.rooms.iter().map(RoomId::new).collect(),
        };
        (goal, tie)
    }

    fn height(&mut self, spot: &Spot, height: &Quantity) -> Option<TargetHeight> {
        match height {
            Quantity::Text(word) if word == "highest" => Some(TargetHeight::Highest),
            Quantity::Text(word) if word == "free" => Some(TargetHeight::Free),
            Quantity::Text(word) if word.chars().all(char::is_alphabetic) => {
                let fault = self
                    .error(spot, "height", "there is no such height")
                    .value(word.as_str())
                    .hint(
                        "write a number, \"highest\", \"free\" or { point = \"A1\", offset = 0 }",
                    );
                self.faults.push(fault);
                None
            }
            height => {
                self.level(spot, "height", Some(height), &limits::LEVEL).map(TargetHeight::Number)
            }
        }
    }

    /// How the height hangs on a point, with what is still to be laid on either side.
    fn tie(&mut self, spot: &Spot, form: &HeightPointForm) -> Option<HeightTie> {
        let known = self.know_point(spot, "height.point", &form.point);
        let mut part = |key: &str, typed: &Option<Quantity>, range| match typed {
            Some(_) => self.length(spot, &format!("height.{key}"), typed.as_ref(), range),
            None => Some(Length::ZERO),
        };
        let offset = part("offset", &form.offset, &limits::OFFSET);
        let old_build_up = part("old_build_up", &form.old_build_up, &limits::BUILD_UP);
        let new_build_up = part("new_build_up", &form.new_build_up, &limits::BUILD_UP);
        let point = PointId::new(form.point.as_str());
        known.then_some(HeightTie {
            point,
            offset: offset?,
            old_build_up: old_build_up?,
            new_build_up: new_build_up?,
        })
    }

    pub(super) fn limits(&mut self) -> Limits {
        let mut assumed = Limits { distortion: self.usual_distortion(), ..Limits::default() };
        if self.units == Unit::FeetInches {
            // In sixteenths, as packers are, so that no move comes to less than can be measured.
            assumed.lift_per_pass.value = Length::mm(3.0 * 25.4 / 16.0);
        }
        let form = self.form.limits.clone().unwrap_or_default();
        let spot = self.spot("limits", "[limits]");
        let limits = Limits {
            lift_per_pass: self.limit(
                form.lift_per_pass.as_ref(),
                assumed.lift_per_pass,
                |checker, typed| {
                    checker.length(&spot, "lift_per_pass", Some(typed), &limits::LIFT_PER_PASS)
                },
            ),
            jacks: self.limit(form.jacks.as_ref(), assumed.jacks, |checker, typed| {
                checker.count(&spot, "jacks", typed, &limits::JACKS)
            }),
            distortion: self.limit(
                form.distortion.as_ref(),
                assumed.distortion,
                |checker, typed| {
                    checker.slope(&spot, "distortion", Some(typed), &limits::DISTORTION)
                },
            ),
            neighbour_distance: self.limit(
                form.neighbour_distance.as_ref(),
                assumed.neighbour_distance,
                |checker, typed| {
                    checker.length(
                        &spot,
                        "neighbour_distance",
                        Some(typed),
                        &limits::NEIGHBOUR_DISTANCE,
                    )
                },
            ),
            max_lift: self.limit(form.max_lift.as_ref(), assumed.max_lift, |checker, typed| {
                checker.length(&spot, "max_lift", Some(typed), &limits::MAX_LIFT)
            }),
            packing_warn: self.limit(
                form.packing_warn.as_ref(),
                assumed.packing_warn,
                |checker, typed| {
                    checker.length(&spot, "packing_warn", Some(typed), &limits::PACKING)
                },
            ),
            packing_stop: self.limit(
                form.packing_stop.as_ref(),
                assumed.packing_stop,
                |checker, typed| {
                    checker.length(&spot, "packing_stop", Some(typed), &limits::PACKING)
                },
            ),
            jack_rating: self.jack_rating(&spot, form.jack_rating.as_ref()),
            jack_derating: self.share(
                &spot,
                "jack_derating",
                form.jack_derating.as_ref(),
                assumed.jack_derating,
            ),
            bending_share: self.share(
                &spot,
                "bending_share",
                form.bending_share.as_ref(),
                assumed.bending_share,
            ),
            carry_least: self.limit(
                form.carry_least.as_ref(),
                assumed.carry_least,
                |checker, typed| checker.force(&spot, "carry_least", typed, &limits::CARRY_LEAST),
            ),
            beam_allowance: assumed.beam_allowance,
        };
        let pairs = [
            ("packing_stop", "packing_warn", limits.packing_warn.value, limits.packing_stop.value),
            ("lift_per_pass", "max_lift", limits.lift_per_pass.value, limits.max_lift.value),
        ];
        for (key, other, low, high) in pairs {
            if low > high {
                let (value, limit) = match key {
                    "packing_stop" => (high, format!("at least {low} ({other})")),
                    _ => (low, format!("at most {high} ({other})")),
                };
                let fault = self
                    .error(&spot, key, format!("{key} and {other} contradict one another"))
                    .value(value.to_string())
                    .limit(limit)
                    .hint("change one of the two; one that is not written has its assumed value");
                self.faults.push(fault);
            }
        }
        limits
    }

    /// The limit of distortion by what the rooms of the goal are finished with: the strictest
    /// counts.
    fn usual_distortion(&self) -> Limit<f64> {
        let asked = self.form.goal.as_ref().map_or(&[][..], |goal| &goal.rooms);
        let mut finishes = self.site.room_finishes();
        finishes.retain(|(room, _)| asked.is_empty() || asked.iter().any(|name| name == room));
        for of_finish in finish_limits() {
            let room = finishes.iter().find(|(_, finish)| *finish == of_finish.finish);
            if let (Some((room, _)), Finish::Tiles | Finish::Plaster) = (room, of_finish.finish) {
                let what = if of_finish.finish == Finish::Tiles { "tiles" } else { "plaster" };
                let reason = format!("{what} in room {room}: {}", of_finish.reason());
                return Limit::assumed(of_finish.limit.distortion, &reason);
            }
        }
        Limits::default().distortion
    }

    fn force(&mut self, spot: &Spot, key: &str, typed: &Quantity, range: &Range) -> Option<Force> {
        self.measured(spot, key, Some(typed), &FORCE, range).map(Force::kn)
    }

    fn jack_rating(&mut self, spot: &Spot, given: Option<&LimitForm>) -> Option<Limit<Force>> {
        let rating = self.limit(given, Limit::assumed(None, ""), |checker, typed| {
            checker.force(spot, "jack_rating", typed, &limits::JACK_RATING).map(Some)
        });
        rating.value.map(|value| Limit::given(value, &rating.reason))
    }

    fn share(
        &mut self,
        spot: &Spot,
        key: &str,
        given: Option<&LimitForm>,
        assumed: Limit<f64>,
    ) -> Limit<f64> {
        self.limit(given, assumed, |checker, typed| {
            checker.measured(spot, key, Some(typed), &RATIO, &limits::SHARE)
        })
    }

    pub(super) fn stock(&mut self) -> Stock {
        let (assumed, packers_in_words) = assumed_stock(self.units);
        let Some(form) = &self.form.stock else {
            self.assume(format!("{packers_in_words} can be had singly (no stock is given)"));
            return assumed;
        };
        let spot = self.spot("stock", "[stock]");
        let mut packers: Vec<Packer> = Vec::new();
        for (idx, packer) in form.packers.iter().enumerate() {
            let spot = self.spot(format!("stock.packers.{idx}"), format!("packer {}", idx + 1));
            if packer.thickness.is_none() {
                self.missing(&spot, "", "its thickness is not given", "write { thickness = 5 }");
            }
            let thickness =
                self.length(&spot, "thickness", packer.thickness.as_ref(), &limits::THICKNESS);
            if let Some(pack) = packer.pack {
                self.number(&spot, "pack", f64::from(pack), &limits::PACK);
            }
            let pack_price_cents = packer.price.and_then(|price| self.cents(&spot, price));
            let Some(thickness) = thickness else { continue };
            if packers.iter().any(|known| known.thickness == thickness) {
                self.given_twice(&spot, "thickness", "thickness", &thickness.to_string(), None);
                continue;
            }
            packers.push(Packer { thickness, pack: packer.pack.unwrap_or(1), pack_price_cents });
        }
        if form.packers.is_empty() {
            self.assume(format!("{packers_in_words} can be had singly (no packers are given)"));
            packers = assumed.packers;
        }
        Stock {
            packers,
            max_pieces: self.limit(
                form.max_pieces.as_ref(),
                assumed.max_pieces,
                |checker, typed| checker.count(&spot, "max_pieces", typed, &limits::MAX_PIECES),
            ),
            tolerance: self.limit(form.tolerance.as_ref(), assumed.tolerance, |checker, typed| {
                checker.length(&spot, "tolerance", Some(typed), &limits::STACK_TOLERANCE)
            }),
        }
    }

    fn cents(&mut self, spot: &Spot, price: f64) -> Option<u64> {
        let price = self.number(spot, "price", price, &limits::PRICE)?;
        let cents = (price * 100.0).round();
        if (price * 100.0 - cents).abs() > 1e-4 {
            let fault = self
                .error(spot, "price", "the price has more than whole cents")
                .value(limits::PRICE.show(price))
                .hint("write the price of a pack with two decimals");
            self.faults.push(fault);
        }
        Some(cents as u64)
    }

    pub(super) fn criteria(&mut self, terms: Terms) -> CriteriaSelection {
        let form = self.form.criteria.clone().unwrap_or_default();
        let spot = self.spot("criteria", "[criteria]");
        for id in form.on.iter().filter(|id| form.off.contains(id)) {
            let fault = self.error(&spot, "on", format!("criterion {id} is both on and off"));
            self.faults.push(fault.hint("keep one of the two"));
        }
        let mut own: Vec<OwnCriterion> = Vec::new();
        let all = self.form;
        for (idx, criterion) in all.criterion.iter().enumerate() {
            let spot =
                self.spot(format!("criterion.{idx}"), called("criterion", &criterion.id, idx));
            self.check_name(&spot, "id", &criterion.id);
            if own.iter().any(|known| known.id == criterion.id) {
                self.given_twice(&spot, "id", "criterion", &criterion.id, None);
                continue;
            }
            let figure = self.figure(&spot, criterion);
            let Some(figure) = figure else { continue };
            own.push(OwnCriterion {
                id: criterion.id.clone(),
                title: criterion.title.clone().unwrap_or_else(|| criterion.id.clone()),
                figure,
                reason: criterion.reason.clone(),
            });
        }
        CriteriaSelection { region: form.region.unwrap_or(terms), on: form.on, off: form.off, own }
    }

    fn figure(&mut self, spot: &Spot, form: &CriterionForm) -> Option<OwnFigure> {
        let (Some(measure), Some(limit)) = (form.measure, &form.limit) else {
            self.missing(
                spot,
                "",
                "it needs a measure and a limit",
                "write measure = \"range\", \"slope\" or \"straightedge\", and limit",
            );
            return None;
        };
        let over = self.length(
            spot,
            "over",
            form.over.as_ref(),
            &limits::Range {
                low: 1.0,
                high: 1_000_000.0,
                name: "over",
                unit: "mm",
                why: "the distance that the figure is taken over",
            },
        );
        match measure {
            MeasureForm::Slope => {
                let limit = self.slope(spot, "limit", Some(limit), &limits::SLOPE)?;
                Some(OwnFigure::Slope { limit, over })
            }
            MeasureForm::Straightedge => {
                if form.over.is_none() {
                    self.missing(
                        spot,
                        "",
                        "the length of the straightedge is not given",
                        "write over = 3000, the length of the straightedge",
                    );
                }
                let limit = self.length(spot, "limit", Some(limit), &limits::CRITERION)?;
                Some(OwnFigure::Straightedge { limit, over: over? })
            }
            MeasureForm::Range => {
                if form.over.is_some() {
                    let fault = self.error(spot, "over", "a range is not taken over a distance");
                    self.faults.push(fault.hint("take over out"));
                }
                let limit = self.length(spot, "limit", Some(limit), &limits::CRITERION)?;
                Some(OwnFigure::Range(limit))
            }
        }
    }
}

/// The packers of a job that names none, with words for them.
///
/// In feet and inches the thicknesses and the tolerance are common practice.
fn assumed_stock(units: Unit) -> (Stock, &'static str) {
    match units {
        Unit::Millimetres | Unit::Metres => {
            (Stock::default(), "packers of 1.5, 3, 5, 10 and 20 mm")
        }
        Unit::FeetInches => {
            let sixteenths = |count: f64| Length::mm(count * 25.4 / 16.0);
            let piece = |thickness| Packer { thickness, pack: 1, pack_price_cents: None };
            let stock = Stock {
                packers: [1.0, 2.0, 4.0, 8.0, 12.0].map(|count| piece(sixteenths(count))).to_vec(),
                tolerance: Limit::assumed(
                    sixteenths(0.5),
                    "1/32 in, half of the thinnest packer of the assumed stock (common practice)",
                ),
                ..Stock::default()
            };
            (stock, "packers of 1/16, 1/8, 1/4, 1/2 and 3/4 in (common practice)")
        }
    }
}
