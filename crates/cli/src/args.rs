//! What can be typed after `floorwright`.

use clap::{Args, Parser, Subcommand, ValueEnum};
use std::path::PathBuf;

/// Readings in, lifts and packers out: bring an old timber floor to one height.
#[derive(Debug, Parser)]
#[command(
    name = "floorwright",
    version,
    before_help = "Try it first:\n  floorwright demo\nthen with your own readings (a CSV of point,x,y,reading):\n  floorwright lift my-readings.csv",
    after_help = "Exit codes:\n  0 ok\n  1 failed\n  2 usage\n  3 the answer is no: faults in the job, a goal that cannot be met,\n    passes that would overload something, a frame that rocks,\n    with --strict a suspect reading or a criterion that is not met\n  4 not found\n  5 something is in the way\n  6 disk\n\nA planning aid. It does not replace local codes, an engineer or licensed trades.",
    max_term_width = 80
)]
pub struct Cli {
    /// What to do.
    #[command(subcommand)]
    pub command: Command,

    /// Print JSON with a versioned schema instead of text.
    #[arg(long, global = true)]
    pub json: bool,

    /// When to use colour.
    #[arg(long, global = true, value_enum, default_value_t = Colour::Auto)]
    pub colour: Colour,
}

/// When to use colour.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Colour {
    /// On a terminal, unless NO_COLOR is set or TERM is dumb.
    Auto,
    /// Always.
    Always,
    /// Never.
    Never,
}

/// The commands.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// Run the whole chain on an invented house and say which picture to open.
    #[command(before_help = "Example:\n  floorwright demo --into demo")]
    Demo {
        /// Folder for the job, its results and its pictures; made if it is not there.
        #[arg(long, default_value = "demo")]
        into: PathBuf,
    },
    /// Make a job to fill in: a grid of supports with a point over each.
    #[command(
        before_help = "Examples:\n  floorwright new house.toml --rows 5 --columns 7 --spacing 1800\n  floorwright new house.toml            (asks)\n  floorwright new --schema              (prints the JSON Schema of a job)"
    )]
    New(New),
    /// Check a job and report every fault at once.
    #[command(before_help = "Example:\n  floorwright check house.toml")]
    Check(Job),
    /// Reduce the readings: levels with their uncertainty, and what to read again.
    #[command(
        before_help = "Examples:\n  floorwright levels house.toml\n  floorwright levels house.toml --pair A1,EXT --readings\n  floorwright levels book.toml --book"
    )]
    Levels(Levels),
    /// Show the shape of the floor and hold it against criteria.
    #[command(
        before_help = "Examples:\n  floorwright floor house.toml\n  floorwright floor house.toml --profile 0,0:10800,0 --picture floor.svg"
    )]
    Floor(Floor),
    /// Work out what each support carries today, and what a jack there has to push.
    #[command(
        before_help = "Examples:\n  floorwright frame house.toml\n  floorwright frame house.toml --support B3 --beside 300\n  floorwright frame house.toml --in-use --set-share 0.5..1"
    )]
    Frame(Frame),
    /// Work out the lift and the packers at each support.
    #[command(
        before_help = "Examples:\n  floorwright lift my-readings.csv\n  floorwright lift house.toml --height EXT-10 --tolerance 4\n  floorwright lift house.toml --set B3=12 --picture after.svg"
    )]
    Lift(Lift),
    /// Know your home-made hose level: how long to wait, how far to trust it, what to check.
    #[command(
        before_help = "Examples:\n  floorwright hose\n  floorwright hose --bore 8 --length \"25 m\" --reservoir 200\n  floorwright hose house.toml --care careful\n  floorwright hose house.toml --swing 9"
    )]
    Hose(Box<Hose>),
    /// Plan the survey: where to stand the reservoir, in which order to read, what to read twice.
    #[command(
        before_help = "Examples:\n  floorwright stands house.toml\n  floorwright stands house.toml --length \"15 m\" --picture stands.svg"
    )]
    Stands(Box<Stands>),
    /// Lay out the passes: which jacks move what, and the packers after each.
    #[command(
        before_help = "Examples:\n  floorwright passes house.toml --jacks 4 --per-pass 5\n  floorwright passes house.toml --jack-rating \"5 t\""
    )]
    Passes(Passes),
    /// List what to buy, hire and do, each line with its cause, and what it costs.
    #[command(
        before_help = "Examples:\n  floorwright order house.toml\n  floorwright order house.toml --causes\n  floorwright order house.toml --jacks 4\nPrices come from [stock] and [rates] in the job; without them the order says which are missing."
    )]
    Order(Order),
    /// Hold what was done against what came of it, and plan what is left.
    #[command(
        before_help = "Example:\n  floorwright record house.toml\nWrite each pass as a [[pass]] with what was lifted, and the readings after it as a [[setup]]\nwith after_pass."
    )]
    Record(Record),
    /// Make the paper to hand over: floor report, lifting plan, run sheet, order, record.
    #[command(
        before_help = "Examples:\n  floorwright report house.toml\n  floorwright report house.toml --kind run-sheet --to run-sheet.pdf\n  floorwright report house.toml --business firm.toml --date 2026-04-01"
    )]
    Report(Report),
    /// Write the results for other programs: tables, workbook, drawing, pictures, JSON.
    #[command(
        before_help = "Examples:\n  floorwright export house.toml\n  floorwright export house.toml --format xlsx,dxf --to handover\n  floorwright export --schema             (prints the JSON Schema of the tables)"
    )]
    Export(Export),
    /// Serve the app for phones and laptops from this machine.
    #[command(
        before_help = "Examples:\n  floorwright serve                      (this machine only)\n  floorwright serve --lan 192.168.1.20   (phones on that network, each let in by a code)"
    )]
    Serve(Serve),
}

/// Arguments of `serve`.
#[derive(Debug, Args)]
pub struct Serve {
    /// Port to listen at; if it is taken, one of the next ten.
    #[arg(long, default_value_t = 7340)]
    pub port: u16,
    /// Also let phones in, at this address of this machine on the local network.
    #[arg(long, value_name = "ADDRESS")]
    pub lan: Option<std::net::IpAddr>,
    /// Speak to phones in encrypted form; each has to be given this computer's certificate once. Needs a
    /// program built with `cargo build --release --features tls`.
    #[arg(long, requires = "lan")]
    pub tls: bool,
    /// The file that keeps the jobs; floorwright/jobs.floorwright in your data folder if left out.
    #[arg(long, value_name = "FILE")]
    pub jobs: Option<PathBuf>,
}

/// The job to work on.
#[derive(Clone, Debug, Args)]
pub struct Job {
    /// A job (.toml) or a bare list of readings (.csv); `-` reads a CSV from standard input.
    pub job: PathBuf,
}

/// Arguments of `new`.
#[derive(Debug, Args)]
pub struct New {
    /// Where to write the job; the readings go beside it.
    #[arg(required_unless_present = "schema")]
    pub job: Option<PathBuf>,
    /// Print the JSON Schema of a job and stop.
    #[arg(long)]
    pub schema: bool,
    /// Rows of supports (bearers).
    #[arg(long)]
    pub rows: Option<usize>,
    /// Supports in each row.
    #[arg(long)]
    pub columns: Option<usize>,
    /// Distance between supports along a row, and between rows unless --row-spacing is given.
    #[arg(long, allow_hyphen_values = true)]
    pub spacing: Option<String>,
    /// Distance between rows.
    #[arg(long, allow_hyphen_values = true)]
    pub row_spacing: Option<String>,
    /// Whose words: au, nz, us or uk.
    #[arg(long)]
    pub terms: Option<String>,
    /// Lengths in mm or ft-in.
    #[arg(long)]
    pub units: Option<String>,
    /// Never ask; what is missing takes its default.
    #[arg(long)]
    pub no_input: bool,
    /// Replace what is there.
    #[arg(long)]
    pub force: bool,
}

/// Arguments of `levels`.
#[derive(Debug, Args)]
pub struct Levels {
    #[command(flatten)]
    pub job: Job,
    /// Also the height of one point above another with its uncertainty: FROM,TO. May be repeated.
    #[arg(long, value_name = "FROM,TO")]
    pub pair: Vec<String>,
    /// Also every reading with its residual and tests.
    #[arg(long)]
    pub readings: bool,
    /// Also the level book: rise and fall, height of instrument, checks and misclosure.
    #[arg(long)]
    pub book: bool,
    /// The allowance that misclosures are held against, by name ("5 sqrt n"); without one it is
    /// that for a house. An unknown name lists them all with their sources.
    #[arg(long, value_name = "NAME")]
    pub allowance: Option<String>,
    /// Show the misclosure shared out even though it is beyond the allowance.
    #[arg(long)]
    pub accept_misclosure: bool,
    /// End with exit code 3 if a reading is suspect or a closure fails.
    #[arg(long)]
    pub strict: bool,
}

/// Arguments of `floor`.
#[derive(Debug, Args)]
pub struct Floor {
    #[command(flatten)]
    pub job: Job,
    /// Write the map of the floor as SVG.
    #[arg(long, value_name = "SVG")]
    pub picture: Option<PathBuf>,
    /// Draw the picture for a phone instead of for paper.
    #[arg(long)]
    pub phone: bool,
    /// Heights along a line on the plan: X1,Y1:X2,Y2. May be repeated.
    #[arg(long, value_name = "X,Y:X,Y")]
    pub profile: Vec<String>,
    /// Step between contours; chosen by itself if left out.
    #[arg(long, allow_hyphen_values = true)]
    pub interval: Option<String>,
    /// Also list criteria that are loaded but switched off.
    #[arg(long)]
    pub all_criteria: bool,
    /// End with exit code 3 if a criterion is not met.
    #[arg(long)]
    pub strict: bool,
}

/// What the floor is to become; each overrides the job's own goal.
#[derive(Debug, Default, Args)]
pub struct Goal {
    /// Height to reach: a point with an offset (EXT, EXT-10), a level (1500), highest or free.
    #[arg(long, allow_hyphen_values = true)]
    pub height: Option<String>,
    /// Every point within this of the target.
    #[arg(long, allow_hyphen_values = true)]
    pub tolerance: Option<String>,
    /// What to prefer: least-squares, smallest-largest, least-lift or fewest-supports.
    #[arg(long)]
    pub prefer: Option<String>,
    /// Fix the lift of a support by hand: B3=12. May be repeated.
    #[arg(long = "set", value_name = "SUPPORT=LIFT")]
    pub set: Vec<String>,
}

/// What is taken of the timber and the jacks; each overrides what the job says.
#[derive(Debug, Default, Args)]
pub struct Timber {
    /// The share of its sag that the timber has kept for good: 0.3, or 0..1 for both ends.
    #[arg(long, value_name = "SHARE")]
    pub set_share: Option<String>,
    /// What is written on the jacks as the most they lift: "5 t", "4000 lb", 50 (kN).
    #[arg(long, value_name = "RATING")]
    pub jack_rating: Option<String>,
}

/// Arguments of `frame`.
#[derive(Debug, Args)]
pub struct Frame {
    #[command(flatten)]
    pub job: Job,
    #[command(flatten)]
    pub timber: Timber,
    /// Also what a jack at this support has to push as it rises. May be repeated.
    #[arg(long, value_name = "ID")]
    pub support: Vec<String>,
    /// How far beside the support a jack stands, along the bearer: to the right or up the plan, or
    /// below zero for the other way. Without it, 300 mm.
    #[arg(long, value_name = "DISTANCE", allow_hyphen_values = true)]
    pub beside: Option<String>,
    /// With people and furniture in, not the empty house.
    #[arg(long)]
    pub in_use: bool,
    /// Write who carries what as SVG, and the force at each jack beside it.
    #[arg(long, value_name = "SVG")]
    pub picture: Option<PathBuf>,
    /// Draw the picture for a phone instead of for paper.
    #[arg(long)]
    pub phone: bool,
}

/// Arguments of `lift`.
#[derive(Debug, Args)]
pub struct Lift {
    #[command(flatten)]
    pub job: Job,
    #[command(flatten)]
    pub goal: Goal,
    /// Write the map of the lifts and of the floor afterwards as SVG.
    #[arg(long, value_name = "SVG")]
    pub picture: Option<PathBuf>,
    /// Draw the picture for a phone instead of for paper.
    #[arg(long)]
    pub phone: bool,
    /// Also every point before and after.
    #[arg(long)]
    pub points: bool,
    #[command(flatten)]
    pub timber: Timber,
    /// Leave the frame out: straight lines between the supports, and no loads.
    #[arg(long)]
    pub no_frame: bool,
}

/// Arguments of `passes`.
#[derive(Debug, Args)]
pub struct Passes {
    #[command(flatten)]
    pub job: Job,
    #[command(flatten)]
    pub goal: Goal,
    /// How many jacks lift together.
    #[arg(long)]
    pub jacks: Option<usize>,
    /// The most any support is raised in one pass.
    #[arg(long, allow_hyphen_values = true)]
    pub per_pass: Option<String>,
    /// Write a sheet of all passes as SVG.
    #[arg(long, value_name = "SVG")]
    pub picture: Option<PathBuf>,
    /// Draw the picture for a phone instead of for paper.
    #[arg(long)]
    pub phone: bool,
    #[command(flatten)]
    pub timber: Timber,
    /// Leave the frame out: no move is checked for loads.
    #[arg(long)]
    pub no_frame: bool,
}

/// Arguments of `order`.
#[derive(Debug, Args)]
pub struct Order {
    #[command(flatten)]
    pub job: Job,
    #[command(flatten)]
    pub goal: Goal,
    /// How many jacks lift together.
    #[arg(long)]
    pub jacks: Option<usize>,
    /// The most any support is raised in one pass.
    #[arg(long, allow_hyphen_values = true)]
    pub per_pass: Option<String>,
    /// Also where each line and each rate comes from.
    #[arg(long)]
    pub causes: bool,
    /// The order for the whole plan, also once passes were done.
    #[arg(long)]
    pub whole: bool,
    #[command(flatten)]
    pub timber: Timber,
    /// Leave the frame out: no move is checked for loads.
    #[arg(long)]
    pub no_frame: bool,
}

/// Arguments of `report`.
#[derive(Debug, Args)]
pub struct Report {
    #[command(flatten)]
    pub job: Job,
    /// Which document: floor-report, lifting-plan, run-sheet, quote, order or completion-record. May be
    /// repeated; without it, all that the job gives.
    #[arg(long, value_name = "KIND")]
    pub kind: Vec<String>,
    /// Where to write: a PDF for one document, or a folder. Without it, a folder beside the job.
    #[arg(long, value_name = "FILE")]
    pub to: Option<PathBuf>,
    /// Date of issue, year-month-day; without it the date of the job.
    #[arg(long)]
    pub date: Option<String>,
    /// Which issue this is, such as A.
    #[arg(long, value_name = "MARK")]
    pub revision: Option<String>,
    /// A file with a business table, in place of the job's own.
    #[arg(long, value_name = "TOML")]
    pub business: Option<PathBuf>,
    /// A folder with a firm's own template, in place of ours.
    #[arg(long, value_name = "FOLDER")]
    pub template: Option<PathBuf>,
    #[command(flatten)]
    pub goal: Goal,
    #[command(flatten)]
    pub timber: Timber,
    /// Leave the frame out: no loads are worked out.
    #[arg(long)]
    pub no_frame: bool,
}

/// Arguments of `export`.
#[derive(Debug, Default, Args)]
pub struct Export {
    /// The job (.toml), or a bare CSV of readings.
    #[arg(required_unless_present = "schema")]
    pub job: Option<PathBuf>,
    /// Which files: csv, xlsx, dxf, svg, json. Without it, all of them.
    #[arg(long, value_name = "FORMAT", value_delimiter = ',')]
    pub format: Vec<String>,
    /// The folder to write to; made if it is not there. Without it, a folder beside the job.
    #[arg(long, value_name = "FOLDER")]
    pub to: Option<PathBuf>,
    /// Print the JSON Schema of the tables as JSON, and do nothing else.
    #[arg(long)]
    pub schema: bool,
    #[command(flatten)]
    pub goal: Goal,
    /// Jacks at hand, in place of what the job says.
    #[arg(long)]
    pub jacks: Option<usize>,
    /// Most that is lifted in a pass at any one place, in place of what the job says.
    #[arg(long, value_name = "LIFT", allow_hyphen_values = true)]
    pub per_pass: Option<String>,
    #[command(flatten)]
    pub timber: Timber,
    /// Leave the frame out: no loads are worked out.
    #[arg(long)]
    pub no_frame: bool,
}

/// Arguments of `record`.
#[derive(Debug, Args)]
pub struct Record {
    #[command(flatten)]
    pub job: Job,
    #[command(flatten)]
    pub goal: Goal,
    /// Also every point: predicted and measured movement.
    #[arg(long)]
    pub points: bool,
    /// Also every move of the passes that are left.
    #[arg(long)]
    pub moves: bool,
}

impl Report {
    /// The command on a job: all documents, into a folder.
    pub fn of(job: Job, into: PathBuf) -> Self {
        Self {
            job,
            kind: Vec::new(),
            to: Some(into),
            date: None,
            revision: None,
            business: None,
            template: None,
            goal: Goal::default(),
            timber: Timber::default(),
            no_frame: false,
        }
    }
}

/// The hose; each overrides the `[hose]` of the job, and has a stated default without one.
#[derive(Clone, Debug, Default, Args)]
pub struct YourHose {
    /// What stands at the other end: pail or twin.
    #[arg(long)]
    pub kind: Option<String>,
    /// Inside diameter of the tube.
    #[arg(long, allow_hyphen_values = true)]
    pub bore: Option<String>,
    /// Length from end to end, such as "20 m".
    #[arg(long, allow_hyphen_values = true)]
    pub length: Option<String>,
    /// Inside diameter of the pail at its water line.
    #[arg(long, allow_hyphen_values = true)]
    pub reservoir: Option<String>,
    /// water, dyed-water, propylene-glycol or ethylene-glycol.
    #[arg(long)]
    pub fluid: Option<String>,
    /// Share of glycol by mass, such as "30 %".
    #[arg(long, allow_hyphen_values = true)]
    pub glycol: Option<String>,
    /// How warm the water is, in degrees Celsius.
    #[arg(long, value_name = "CELSIUS", allow_hyphen_values = true)]
    pub temperature: Option<f64>,
    /// How warm the water is in each leg, in degrees Celsius, where one stands in the sun.
    #[arg(
        long, value_names = ["NEAR", "FAR"], num_args = 2, allow_hyphen_values = true
    )]
    pub leg_temperatures: Option<Vec<f64>>,
    /// From the water line down to the floor.
    #[arg(long, allow_hyphen_values = true)]
    pub leg: Option<String>,
    /// To what a reading is rounded.
    #[arg(long, allow_hyphen_values = true)]
    pub read_to: Option<String>,
    /// How it is read: casual or careful.
    #[arg(long)]
    pub care: Option<String>,
    /// How far up or down the end goes from point to point, at most.
    #[arg(long = "move", value_name = "HEIGHT", allow_hyphen_values = true)]
    pub largest_move: Option<String>,
    /// How near to its rest the water has to be when it is read.
    #[arg(long, value_name = "WITHIN", allow_hyphen_values = true)]
    pub settle_to: Option<String>,
}

/// Arguments of `hose`.
#[derive(Debug, Default, Args)]
pub struct Hose {
    /// A job (.toml) that describes its hose; without one the flags and the stated defaults count.
    pub job: Option<PathBuf>,
    #[command(flatten)]
    pub hose: YourHose,
    /// Judge a swing that you timed: seconds from one top to the next, or none.
    #[arg(long, value_name = "SECONDS", allow_hyphen_values = true)]
    pub swing: Option<String>,
}

/// Arguments of `stands`.
#[derive(Debug, Args)]
pub struct Stands {
    #[command(flatten)]
    pub job: Job,
    #[command(flatten)]
    pub hose: YourHose,
    /// Write the plan of stands as SVG.
    #[arg(long, value_name = "SVG")]
    pub picture: Option<PathBuf>,
    /// Draw the picture for a phone instead of for paper.
    #[arg(long)]
    pub phone: bool,
    /// Leave the sheets with the blanks out: only where to stand, and how good it will be.
    #[arg(long)]
    pub short: bool,
}

impl Stands {
    /// The command on a job, with a picture.
    pub fn of(job: Job, picture: Option<PathBuf>) -> Self {
        Self { job, hose: YourHose::default(), picture, phone: false, short: false }
    }
}

impl Export {
    /// The command on a job, in every format, into a folder.
    pub fn of(job: PathBuf, to: PathBuf) -> Self {
        Self { job: Some(job), to: Some(to), ..Self::default() }
    }
}

impl Levels {
    /// The command on a job, with nothing more asked.
    pub fn of(job: Job) -> Self {
        Self {
            job,
            pair: Vec::new(),
            readings: true,
            book: false,
            allowance: None,
            accept_misclosure: false,
            strict: false,
        }
    }
}

impl Floor {
    /// The command on a job, with a picture.
    pub fn of(job: Job, picture: Option<PathBuf>) -> Self {
        Self {
            job,
            picture,
            phone: false,
            profile: Vec::new(),
            interval: None,
            all_criteria: false,
            strict: false,
        }
    }
}

impl Frame {
    /// The command on a job, with the force at one jack and pictures.
    pub fn of(job: Job, support: &str, picture: Option<PathBuf>) -> Self {
        Self {
            job,
            timber: Timber::default(),
            support: vec![support.to_owned()],
            beside: None,
            in_use: false,
            picture,
            phone: false,
        }
    }
}

impl Lift {
    /// The command on a job, with pictures.
    pub fn of(job: Job, picture: Option<PathBuf>) -> Self {
        Self {
            job,
            goal: Goal::default(),
            picture,
            phone: false,
            points: true,
            timber: Timber::default(),
            no_frame: false,
        }
    }
}

impl Order {
    /// The command on a job, with every cause.
    pub fn of(job: Job) -> Self {
        Self {
            job,
            goal: Goal::default(),
            jacks: None,
            per_pass: None,
            causes: true,
            whole: false,
            timber: Timber::default(),
            no_frame: false,
        }
    }
}

impl Passes {
    /// The command on a job, with a picture.
    pub fn of(job: Job, picture: Option<PathBuf>) -> Self {
        Self {
            job,
            goal: Goal::default(),
            jacks: None,
            per_pass: None,
            picture,
            phone: false,
            timber: Timber::default(),
            no_frame: false,
        }
    }
}
