//! Pictures of the frame, held against the engine's numbers and read back from the SVG.

use crate::l_house;

use floorwright_draw::{
    CarriedPicture, Holding, JackLine, Medium, Orientation, Paper, PassForces, PlanPictures, Print,
    TitleBlock, carried_map, jack_chart, pass_map, way_chart,
};
use floorwright_engine::frame::{
    Carrying, FloorLoad, ForceRange, FrameRules, FrameState, GivenFrame, JackPoint, Loads, Section,
    SetShape, Strength, Timber, assumptions, jack_curve,
};
use floorwright_engine::ids::{PointId, RoomId, SetupId, SupportId};
use floorwright_engine::plan::{FrameChoice, Job, Plan, plan};
use floorwright_engine::settings::{Goal, Limit, Limits, Stock};
use floorwright_engine::site::{Finish, Outline, Point, PointKind, Position, Room, Site, Support};
use floorwright_engine::source::SourceStatus;
use floorwright_engine::survey::{Datum, Drift, Reading, ReadingSd, Setup, Survey, TestSettings};
use floorwright_engine::units::{AreaLoad, Density, ExactLength, Force, Length, LineLoad, Stress};
use roxmltree::{Document, Node};
use std::collections::BTreeMap;

const A4: Medium = Medium::Sheet(Paper::A4);
const BAY: f64 = 1500.0;

/// Six by four supports; a dip of 18 mm about one of them.
fn places() -> Vec<(String, Position, f64)> {
    let all = (0..6).flat_map(|column| (0..4).map(move |row| (column, row)));
    all.map(|(column, row)| {
        let (x, y) = (f64::from(column), f64::from(row));
        let level = -18.0 * (-((x - 4.0).powi(2) + (y - 1.0).powi(2)) / 1.2).exp();
        let name = format!("{}{}", char::from(b'A' + column as u8), row + 1);
        (name, Position::mm(x * BAY, y * BAY), level)
    })
    .collect()
}

fn timber() -> Timber {
    Timber {
        name: "invented timber".to_owned(),
        stiffness: Stress::n_per_mm2(8000.0),
        density: Density::kg_per_m3(600.0),
        strength: Some(Strength {
            bending: Stress::n_per_mm2(14.0),
            shear: Stress::n_per_mm2(1.5),
            across_grain: None,
        }),
        source: "invented for this test".to_owned(),
        status: SourceStatus::Trade,
    }
}

fn rules() -> FrameRules {
    let section =
        |breadth, depth| Section { breadth: Length::mm(breadth), depth: Length::mm(depth) };
    FrameRules {
        bearers_run: None,
        row_width: Length::mm(150.0),
        longest_span: Length::mm(2400.0),
        longest_overhang: Length::mm(600.0),
        bearer: section(100.0, 100.0),
        joist: section(50.0, 100.0),
        joist_spacing: Length::mm(450.0),
        bearer_timber: timber(),
        joist_timber: timber(),
        outer_wall: LineLoad::kn_per_m(4.0),
        inner_wall: LineLoad::kn_per_m(1.5),
        floor_load: FloorLoad {
            dead: AreaLoad::kpa(0.4),
            live: AreaLoad::kpa(1.5),
            source: "invented for this test".to_owned(),
        },
        seat_length: Length::mm(100.0),
        load_doubt: 0.25,
        set_share: (0.0, 1.0),
        source: "invented for this test".to_owned(),
    }
}

fn job() -> Job {
    let places = places();
    let corners = [(0.0, 0.0), (5.0, 0.0), (5.0, 3.0), (0.0, 3.0)];
    let corners = corners.map(|(x, y)| Position::mm(x * BAY, y * BAY));
    let room = Room {
        id: RoomId::new("hall"),
        outline: Outline::new(corners.to_vec()).unwrap(),
        finish: Finish::default(),
        deck: "hall".to_owned(),
    };
    let points = places.iter().map(|(name, at, _)| Point {
        id: PointId::new(name),
        at: Some(*at),
        kind: PointKind::Floor,
        room: None,
    });
    let supports = places.iter().map(|(name, at, _)| Support {
        id: SupportId::new(name),
        at: *at,
        gap: if name == "B2" { Length::mm(9.0) } else { Length::ZERO },
        max_lift: None,
        fixed: None,
        may_lower: Length::ZERO,
    });
    let readings = places.iter().map(|(name, _, level)| Reading {
        point: PointId::new(name),
        value: ExactLength::from_mm(1500.0 - level).unwrap(),
        inverted: false,
        time: None,
        sd: None,
        distance: None,
        place: None,
    });
    let setup = Setup {
        id: SetupId::new("1"),
        reading_sd: ReadingSd::Each(Length::mm(0.3)),
        scale: 1.0,
        drift: Drift::None,
        readings: readings.collect(),
    };
    Job {
        site: Site::new(vec![room], points.collect(), supports.collect()).unwrap(),
        survey: Survey {
            datum: Datum::PointIsZero(PointId::new("A1")),
            benchmarks: Vec::new(),
            setups: vec![setup],
            legs: Vec::new(),
            tests: TestSettings::default(),
        },
        goal: Goal::default(),
        limits: Limits {
            jack_rating: Some(Limit::given(Force::kn(30.0), "a test")),
            ..Limits::default()
        },
        stock: Stock::default(),
        criteria: Vec::new(),
        by_hand: Vec::new(),
        frame: FrameChoice::Asked {
            given: Box::new(GivenFrame::default()),
            rules: Box::new(rules()),
        },
    }
}

fn pictures<'a>(job: &'a Job, plan: &'a Plan) -> PlanPictures<'a> {
    PlanPictures {
        job,
        plan,
        done: 0,
        flags: std::collections::BTreeMap::new(),
        title_block: TitleBlock::default(),
        orientation: Orientation::NotDeclared,
        datum_note: "A1 is called zero".to_owned(),
        print: Print::default(),
    }
}

fn of_class<'a>(document: &'a Document<'a>, class: &str) -> Vec<Node<'a, 'a>> {
    let has = |node: &Node<'_, '_>| {
        node.attribute("class").is_some_and(|c| c.split(' ').any(|word| word == class))
    };
    document.descendants().filter(has).collect()
}

/// Everything that is written, in order: notes are broken into lines.
fn said(svg: &str) -> String {
    let document = Document::parse(svg).unwrap();
    let texts = document.descendants().filter(|node| node.has_tag_name("text"));
    texts.filter_map(|node| node.text().map(str::to_owned)).collect::<Vec<_>>().join(" ")
}

/// Lines of each plate, by the name that it begins with.
fn plates(document: &Document<'_>) -> BTreeMap<String, Vec<String>> {
    let mut plates: BTreeMap<String, Vec<String>> = BTreeMap::new();
    let mut open = None;
    for node in document.descendants() {
        match node.attribute("class") {
            Some("plate") => open = None,
            Some("label") => {
                let text = node.text().unwrap_or_default().to_owned();
                match &open {
                    None => {
                        plates.entry(text.clone()).or_default();
                        open = Some(text);
                    }
                    Some(name) => plates.get_mut(name).unwrap().push(text),
                }
            }
            _ => {}
        }
    }
    plates
}

/// A range as a label says it, in whole tenths of a kilonewton: the largest of them that is not above
/// the least, and the smallest that is not below the most.
fn words(range: ForceRange) -> String {
    let tenths = |force: Force, is_end: &dyn Fn(f64) -> bool| {
        let near = (force.to_n() / 100.0).round() as i32;
        let end = (near - 1..=near + 1).find(|&tenths| is_end(f64::from(tenths) * 100.0)).unwrap();
        if force == Force::ZERO { "0".to_owned() } else { format!("{}.{}", end / 10, end % 10) }
    };
    let least = tenths(range.least, &|newtons| newtons + 100.0 > range.least.to_n() + 1e-4);
    let most = tenths(range.most, &|newtons| newtons >= range.most.to_n() - 1e-4);
    if least == most { most } else { format!("{least}–{most}") }
}

fn assert_shows(state: &FrameState, picture: &CarriedPicture) {
    let svg = carried_map(picture);
    let document = Document::parse(&svg).unwrap();
    let plates = plates(&document);
    for load in &state.supports {
        let lines = &plates[load.support.as_str()];
        match load.carrying {
            Carrying::Carries | Carrying::MayHang => assert_eq!(*lines, [words(load.range)]),
            Carrying::Hangs => assert!(lines[0].starts_with("air "), "{lines:?}"),
        }
    }
    let n_drawn: usize = ["carries", "may-hang", "hangs"]
        .iter()
        .map(|class| {
            let drawn = of_class(&document, class).len();
            drawn.saturating_sub(1) // one more in the legend, if there is any
        })
        .sum();
    assert_eq!(n_drawn, state.supports.len());
}

#[test]
fn every_support_is_drawn_once_with_the_load_that_the_engine_gives() {
    let job = job();
    let plan = plan(&job);
    let picture = pictures(&job, &plan).who_carries(A4).unwrap();
    assert_eq!(picture.states.len(), 3);
    let today = &plan.frame.done().unwrap().today;
    let kinds: Vec<Carrying> = today.supports.iter().map(|load| load.carrying).collect();
    assert!(kinds.contains(&Carrying::Carries) && kinds.contains(&Carrying::MayHang), "{kinds:?}");
    assert!(kinds.contains(&Carrying::Hangs), "B2 has 9 mm of air: {kinds:?}");
    assert_shows(today, &picture.alone(0).unwrap());
    let after = plan.packing.done().unwrap().carried.as_ref().unwrap();
    assert_shows(after, &picture.alone(2).unwrap());
}

#[test]
fn the_moment_on_the_way_is_that_of_the_largest_jack_force() {
    let job = job();
    let plan = plan(&job);
    let check = &plan.passes.done().unwrap().on_frame.as_ref().unwrap().check;
    let largest = check.peaks.jack.as_ref().unwrap();
    let picture = pictures(&job, &plan).who_carries(A4).unwrap();
    let jacks: Vec<ForceRange> = picture.states[1]
        .supports
        .iter()
        .filter_map(|support| match support.holding {
            Holding::Jack(range) => Some(range),
            _ => None,
        })
        .collect();
    assert!(!jacks.is_empty() && jacks.len() <= job.limits.jacks.value);
    let most = jacks.iter().map(|range| range.most.to_n()).fold(0.0, f64::max);
    assert_eq!(most, largest.most.to_n());
    let svg = carried_map(&picture.alone(1).unwrap());
    let document = Document::parse(&svg).unwrap();
    let range = ForceRange { least: largest.least, most: largest.most };
    assert_eq!(plates(&document)[largest.support.as_str()], [words(range)]);
    assert_eq!(of_class(&document, "up").len(), jacks.len() + 1);
}

#[test]
fn discs_are_drawn_by_area() {
    let svg = carried_map(&l_house::carried(A4).alone(0).unwrap());
    let document = Document::parse(&svg).unwrap();
    let radius = |node: &Node<'_, '_>| node.attribute("r").unwrap().parse::<f64>().unwrap();
    let discs = of_class(&document, "carries");
    // A1 carries 3 kN at most and A9, eight bays of 1250 mm further, 7 kN.
    let (first, ninth) = (radius(&discs[0]), radius(&discs[6]));
    assert!((ninth / first).powi(2) > 2.2 && (ninth / first).powi(2) < 2.5, "{first} {ninth}");
}

#[test]
fn a_pass_gives_the_largest_force_of_each_jack() {
    let job = job();
    let plan = plan(&job);
    let passes = plan.passes.done().unwrap();
    let check = &passes.on_frame.as_ref().unwrap().check;
    let picture = pictures(&job, &plan).passes(A4).unwrap();
    for (idx, pass) in check.passes.iter().enumerate() {
        let svg = pass_map(&picture.alone(idx).unwrap());
        let document = Document::parse(&svg).unwrap();
        let plates = plates(&document);
        let moved: Vec<&SupportId> =
            pass.moves.iter().flat_map(|check| &check.jacks).map(|jack| &jack.support).collect();
        assert!(!moved.is_empty());
        for support in moved {
            let all = || pass.moves.iter().flat_map(|m| &m.jacks).filter(|j| j.support == *support);
            let least = all().map(|jack| jack.least.to_n()).fold(0.0, f64::max);
            let most = all().map(|jack| jack.most.to_n()).fold(0.0, f64::max);
            let range = ForceRange { least: Force::n(least), most: Force::n(most) };
            assert_eq!(plates[support.as_str()][1], words(range), "{support}");
        }
    }
}

#[test]
fn the_way_is_the_engines_move_by_move() {
    let job = job();
    let plan = plan(&job);
    let stage = plan.passes.done().unwrap();
    let check = &stage.on_frame.as_ref().unwrap().check;
    let way = pictures(&job, &plan).along_the_way(A4).unwrap();
    let checks: Vec<_> = check.passes.iter().flat_map(|pass| &pass.moves).collect();
    assert_eq!(way.moves.len(), checks.len());
    for (step, check) in way.moves.iter().zip(&checks) {
        let most = check.jacks.iter().map(|jack| jack.most.to_n()).fold(0.0, f64::max);
        assert_eq!(step.jack.as_ref().unwrap().force.most.to_n(), most);
        let bent = check.most_bent.as_ref().and_then(|most| most.bent.share);
        assert_eq!(step.bent.as_ref().map(|bent| bent.share), bent);
    }
    // Every slope again, from the heights of the seats themselves.
    let mut lifts: BTreeMap<&SupportId, Length> = BTreeMap::new();
    let sites = job.site.supports();
    let heights = &plan.frame.done().unwrap().heights;
    let moves = stage.passes.passes.iter().flat_map(|pass| &pass.moves);
    for (step, together) in way.moves.iter().zip(moves) {
        for part in &together.supports {
            lifts.insert(&part.support, part.to);
        }
        let seat =
            |idx: usize| heights[idx] + lifts.get(&sites[idx].id).copied().unwrap_or_default();
        let moved = |idx: usize| together.supports.iter().any(|part| part.support == sites[idx].id);
        let share = stage
            .passes
            .neighbours
            .iter()
            .filter(|pair| moved(pair.supports.0) || moved(pair.supports.1))
            .map(|pair| {
                let (a, b) = pair.supports;
                let distance = sites[a].at.distance(sites[b].at);
                ((seat(b) - seat(a)) / distance).abs() / pair.limit
            })
            .fold(0.0, f64::max);
        let found = step.slope.as_ref().unwrap().share;
        assert!((found - share).abs() < 1e-9, "{step:?}: {share}");
    }
    let svg = way_chart(&way);
    let peak = check.peaks.jack.as_ref().unwrap();
    let words = format!(
        "{} kN, {}, pass",
        words(ForceRange { least: peak.least, most: peak.most }),
        peak.support
    );
    assert!(svg.contains(&words), "{words}");
}

#[test]
fn a_curve_runs_between_its_least_and_its_most() {
    let job = job();
    let plan = plan(&job);
    let stage = plan.frame.done().unwrap();
    let rises: Vec<Length> = (0..=20).map(|step| Length::mm(f64::from(step))).collect();
    let jack = 17;
    let seats = stage.seats(&job);
    let curves: Vec<Vec<JackPoint>> = assumptions(&stage.frame)
        .iter()
        .map(|assumed| {
            let set = SetShape { heights: &stage.heights, share: assumed.set_share };
            let loads = Loads::DEAD.times(assumed.load_ratio);
            jack_curve(&stage.frame, &seats, loads, Some(set), &[jack], &rises).unwrap()
        })
        .collect();
    let line = JackLine::over(&curves, 0);
    let n_points = line.points.len();
    assert!(n_points > 5);
    for (idx, point) in line.points.iter().enumerate() {
        let forces = || curves.iter().map(|curve| curve[idx].forces[0].to_n());
        assert_eq!(point.force.least.to_n(), forces().fold(f64::INFINITY, f64::min));
        assert_eq!(point.force.most.to_n(), forces().fold(0.0, f64::max));
    }
    assert!(!line.let_go.is_empty(), "20 mm takes the load off a neighbour");
    let picture = pictures(&job, &plan).jack(A4, "E2", line.clone(), JackLine::default(), "");
    let svg = jack_chart(&picture);
    let last = line.points.last().unwrap();
    let expected = format!("raised alone: {} at {:.0} mm", words(last.force), last.rise.to_mm());
    let document = Document::parse(&svg).unwrap();
    let legend: Vec<&str> =
        of_class(&document, "legend-symbol").iter().filter_map(Node::text).collect();
    assert!(legend.join(" ").contains(&expected), "{expected}: {legend:?}");
    // 30 kN at half the rating.
    assert!(svg.contains("limit 15.0 kN"), "{svg}");
}

fn point(rise: f64, force: f64, carrying: usize, rocks: bool) -> JackPoint {
    let forces = vec![Force::kn(force)];
    JackPoint { rise: Length::mm(rise), forces, off: Force::ZERO, carrying, rocks }
}

#[test]
fn a_line_ends_before_the_frame_rocks_and_marks_what_lets_go() {
    let one = vec![point(0.0, 1.0, 9, false), point(1.0, 2.0, 8, false), point(2.0, 3.0, 8, false)];
    let other =
        vec![point(0.0, 2.0, 9, false), point(1.0, 4.0, 9, false), point(2.0, 9.0, 7, true)];
    let line = JackLine::over(&[one, other], 0);
    assert_eq!(line.points.len(), 2);
    assert_eq!(line.points[1].force, l_house::kn(2.0, 4.0));
    assert_eq!(line.rocks_from, Some(Length::mm(2.0)));
    let let_go: Vec<(f64, f64, usize)> = line
        .let_go
        .iter()
        .map(|mark| (mark.rise.to_mm(), mark.force.to_kn(), mark.n_gone))
        .collect();
    assert_eq!(let_go, [(1.0, 2.0, 1)]);
    assert_eq!(JackLine::over(&[], 0), JackLine::default());
    let mut picture = l_house::jack(A4);
    picture.alone = line;
    let svg = jack_chart(&picture);
    let said = said(&svg);
    assert!(said.contains("raised alone, from 2 mm on the frame rocks"), "{said}");
    assert!(said.contains("raised alone: 2.0–4.0 at 1 mm"), "nothing is said of where it rocks");
}

#[test]
fn a_force_curve_is_true_to_its_axes() {
    let svg = jack_chart(&l_house::jack(A4));
    let document = Document::parse(&svg).unwrap();
    let attribute =
        |node: &Node<'_, '_>, name: &str| node.attribute(name).unwrap().parse::<f64>().unwrap();
    let frame = of_class(&document, "frame")[0];
    let (top, height) = (attribute(&frame, "y"), attribute(&frame, "height"));
    let axis = of_class(&document, "axis");
    let highest = axis
        .iter()
        .filter(|text| text.attribute("text-anchor") == Some("end"))
        .map(|text| text.text().unwrap().parse::<f64>().unwrap())
        .fold(0.0, f64::max);
    let limit = of_class(&document, "limit")[0].attribute("d").unwrap();
    let y: f64 = limit.split(['M', 'L', ' ']).nth(2).unwrap().parse().unwrap();
    // Half of 16 kN.
    assert!(((top + height - y) / height * highest - 8.0).abs() < 0.02, "{y}");
    let mark = of_class(&document, "let-go")[0];
    let force = (top + height - attribute(&mark, "cy")) / height * highest;
    assert!((force - 5.0).abs() < 0.02, "{force}");
}

fn digits_in(document: &Document<'_>, class: &str) -> usize {
    let texts = of_class(document, class);
    texts
        .iter()
        .filter(|t| t.text().is_some_and(|t| t.contains(|c: char| c.is_ascii_digit())))
        .count()
}

#[test]
fn where_the_frame_rocks_no_force_is_drawn() {
    for medium in [A4, Medium::Screen] {
        let mut carried = l_house::carried(medium);
        carried.states.iter_mut().for_each(|state| state.rocks = true);
        for svg in [carried_map(&carried), carried_map(&carried.alone(0).unwrap())] {
            let document = Document::parse(&svg).unwrap();
            assert!(svg.contains("rocks"));
            assert!(of_class(&document, "label").is_empty() && !svg.contains(" kN"), "{svg}");
            assert_eq!(of_class(&document, "not-listed").len() % 54, 1, "one is in the legend");
        }
        let mut passes = l_house::passes_on_frame(medium, &[4]);
        passes.passes[0].forces.as_mut().unwrap().rocks = true;
        let svg = pass_map(&passes);
        assert!(said(&svg).contains("the frame rocks, and no force is given, in: pass 4"));
        let document = Document::parse(&svg).unwrap();
        let labels = of_class(&document, "label");
        let is_range = |node: &Node<'_, '_>| node.text().is_some_and(|text| text.contains('–'));
        assert!(!svg.contains("kN") && !labels.is_empty() && !labels.iter().any(is_range));
        let mut way = l_house::way(medium);
        way.moves.iter_mut().for_each(|step| step.rocks = true);
        let svg = way_chart(&way);
        let document = Document::parse(&svg).unwrap();
        assert!(said(&svg).contains("the frame rocks: no force is known"));
        assert_eq!(digits_in(&document, "largest"), 1, "only slopes are known");
    }
}

#[test]
fn without_a_frame_or_passes_the_pictures_say_so() {
    let mut job = job();
    job.frame = FrameChoice::Off { why: "not looked at".to_owned() };
    let without = plan(&job);
    let pictures = pictures(&job, &without);
    assert_eq!(pictures.who_carries(A4), None);
    let way = way_chart(&pictures.along_the_way(A4).unwrap());
    assert!(way.contains("no frame was looked at: not known"));
    assert!(!way.contains("no limit is passed"), "nothing was looked at");
    let passes = pictures.passes(A4).unwrap();
    assert!(passes.passes.iter().all(|pass| pass.forces.is_none()));
    assert!(!pass_map(&passes).contains("kN"));
    for medium in [A4, Medium::Screen] {
        let (mut way, mut jack) = (l_house::way(medium), l_house::jack(medium));
        let mut carried = l_house::carried(medium);
        way.moves.clear();
        (jack.alone, jack.together) = Default::default();
        (carried.states, carried.rooms, carried.lines) = Default::default();
        assert!(said(&way_chart(&way)).contains("there are no passes"));
        assert!(said(&jack_chart(&jack)).contains("no force is known"));
        assert!(said(&carried_map(&carried)).contains("nothing is known of the frame"));
    }
}

#[test]
fn a_forbidden_order_is_named_on_every_sheet_of_it() {
    let mut passes = l_house::passes_on_frame(A4, &[]);
    passes.stop = Some("pass 2, move 1: a jack pushes too much".to_owned());
    for svg in [pass_map(&passes), pass_map(&passes.alone(1).unwrap())] {
        assert!(svg.contains("do not work by this"), "{svg}");
    }
    assert!(way_chart(&l_house::way(A4)).contains("do not work by this"));
}

#[test]
fn what_lets_go_is_marked_in_the_pass() {
    let mut picture = l_house::passes_on_frame(A4, &[4]);
    let step = &mut picture.passes[0];
    let moves = |id: &SupportId| step.moves.iter().any(|step| step.support == *id);
    let still = picture.supports.iter().map(|(id, _)| id).find(|id| !moves(id)).unwrap().clone();
    let moving = step.moves[0].support.clone();
    step.forces.as_mut().unwrap().lets_go = vec![still, moving];
    let svg = pass_map(&picture);
    let document = Document::parse(&svg).unwrap();
    let legend = 1;
    assert_eq!(of_class(&document, "lets-go").len(), 1 + legend);
    assert_eq!(of_class(&document, "lets-go-ring").len(), 1);
}

#[test]
fn hostile_names_and_numbers_stay_text() {
    let evil = "</text><script>\u{1b}&\"";
    for medium in [A4, Medium::Screen] {
        let mut carried = l_house::carried(medium);
        let mut way = l_house::way(medium);
        let mut jack = l_house::jack(medium);
        let mut passes = l_house::passes_on_frame(medium, &[4]);
        for state in &mut carried.states {
            (state.title, state.note) = (evil.to_owned(), evil.repeat(30));
            state.supports[0].support = SupportId::new(evil);
            for (support, force) in
                state.supports.iter_mut().zip([f64::NAN, f64::INFINITY, -1e300, 1e300])
            {
                support.holding = Holding::Carries(l_house::kn(force, force));
            }
            state.supports[9].at = Position::mm(f64::NAN, 1e300);
            state.supports[10].holding = Holding::Hangs(Length::mm(f64::NAN), Length::mm(1e300));
        }
        carried.lines[0].to = Position::mm(f64::INFINITY, 0.0);
        carried.point_loads.push(Position::mm(f64::NAN, 0.0));
        (jack.place, jack.neighbours, jack.note) = (evil.into(), evil.into(), evil.into());
        for (point, number) in jack.alone.points.iter_mut().zip([f64::NAN, f64::INFINITY, 1e300]) {
            (point.rise, point.force) = (Length::mm(number), l_house::kn(number, number));
        }
        jack.alone.let_go[0].force = Force::kn(f64::NAN);
        jack.alone.rocks_from = Some(Length::mm(f64::NAN));
        way.stop = Some(evil.into());
        for (step, number) in way.moves.iter_mut().zip([f64::NAN, f64::INFINITY, 1e300]) {
            step.slope.as_mut().unwrap().share = number;
            step.jack.as_mut().unwrap().force = l_house::kn(number, number);
            step.bent.as_mut().unwrap().place = evil.into();
        }
        way.bending_limit = f64::NAN;
        passes.stop = Some(evil.into());
        passes.passes[0].forces = Some(PassForces {
            jacks: vec![(passes.passes[0].moves[0].support.clone(), l_house::kn(f64::NAN, 1e300))],
            ..PassForces::default()
        });
        let all = [
            carried_map(&carried),
            carried_map(&carried.alone(0).unwrap()),
            jack_chart(&jack),
            way_chart(&way),
            pass_map(&passes),
        ];
        for svg in all {
            assert!(!svg.contains("<script>"));
            let document = Document::parse(&svg).unwrap();
            for attribute in document.descendants().flat_map(|node| node.attributes()) {
                let value = attribute.value();
                assert!(!value.contains("NaN") && !value.contains("inf"), "{attribute:?}");
            }
        }
    }
}
