//! The command line: clap types only, no work.

mod camera;
mod editing;
pub mod kit;
mod shell;

pub use camera::{CameraArgs, STEPS};
pub use editing::{CorrectArgs, WhichArgs};
pub use shell::{CompletionsArgs, ManualArgs};

use crate::profile::Kind;
use clap::builder::{OsStringValueParser, PossibleValue, TypedValueParser};
use clap::{Args, Parser, Subcommand, ValueEnum};
use std::path::PathBuf;

/// What a photographic filter really takes from the light.
#[derive(Debug, Parser)]
#[command(
    name = "lightloss",
    version = env!("CARGO_PKG_VERSION"), // `commands::run` adds the commit
    about = "Measures what a photographic filter really takes from the light",
    long_about = "Measures what a photographic filter really takes from the light, from raw frames \
                  shot with and without it: strength in stops, colour cast, evenness, dark cross.\n\n\
                  lightloss FOLDER is lightloss measure FOLDER; a folder that is dropped on the \
                  program's icon is opened in the window, as by lightloss open FOLDER.",
    after_help = "Completions for a shell: lightloss completions SHELL; a manual page: lightloss manual",
    after_long_help = long_end(),
    arg_required_else_help = true
)]
pub struct Cli {
    /// What to do.
    #[command(subcommand)]
    pub command: Command,
}

fn long_end() -> String {
    format!(
        "{}\n\nCompletions for a shell: lightloss completions SHELL; a manual page: lightloss manual",
        crate::safety::SUN_FULL
    )
}

/// The commands.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// Measure a filter from a folder of frames
    #[command(
        after_help = "Example: lightloss measure harbour-ten --rated 10 --name \"Harbour Ten\""
    )]
    Measure(Box<MeasureArgs>),
    /// See the frames and say what they are, in your own browser
    #[command(after_help = "Example: lightloss open harbour-ten")]
    Open(OpenArgs),
    /// List every frame: exposure, levels, clipped share, run, verdict
    #[command(after_help = "Example: lightloss frames harbour-ten")]
    Frames(Box<FramesArgs>),
    /// Which frames to shoot, at which times, in which order, and what spoils them
    #[command(after_help = "Example: lightloss plan --kind solid --rated 10 --metered 1/60")]
    Plan(PlanArgs),
    /// Measure a camera body before a bare wall (--help tells how to shoot it): true shutter times,
    /// linearity, black, noise
    #[command(
        after_help = "Example: lightloss camera wall",
        after_long_help = STEPS
    )]
    Camera(CameraArgs),
    /// Write a profile's page again
    #[command(after_help = "Example: lightloss report harbour-ten-profile/profile.json")]
    Report(ReportArgs),
    /// Hold two profiles side by side
    #[command(after_help = "Example: lightloss compare new/profile.json old/profile.json")]
    Compare(CompareArgs),
    /// Exposure card to print, and the same table as a static page
    #[command(after_help = "Example: lightloss card harbour-ten-profile weir-three-profile")]
    Card(CardArgs),
    /// Which filter gives the time you want
    #[command(after_help = "Example: lightloss choose --metered 1/15 --want 30s..2m")]
    Choose(ChooseArgs),
    /// The filters that you keep: list, add, history, sheet, rename, merge, retire
    #[command(after_help = "Example: lightloss kit")]
    Kit(kit::KitArgs),
    /// Which photograph had which filter
    #[command(after_help = "Example: lightloss which evening/*.dng --profile harbour-ten-profile")]
    Which(WhichArgs),
    /// Take a filter's cast, and its unevenness where possible, out of photographs
    #[command(
        override_usage = "lightloss correct [OPTIONS] <PHOTO>... <--profile <PROFILE>...|--used <FILE>>",
        after_help = "Example: lightloss correct evening/*.dng --used used.csv --white nearest-bare"
    )]
    Correct(CorrectArgs),
    /// Render the demo shoots and run the whole job on them
    #[command(after_help = "Example: lightloss demo --out demo")]
    Demo(DemoArgs),
    /// Write completions for a shell to standard output
    #[command(
        hide = true,
        after_help = "Example: lightloss completions bash > ~/.local/share/bash-completion/completions/lightloss"
    )]
    Completions(CompletionsArgs),
    /// Write a manual page to standard output
    #[command(hide = true, after_help = "Example: lightloss manual measure > lightloss-measure.1")]
    Manual(ManualArgs),
    /// Print what the program is linked from, and under which licences
    #[command(hide = true, after_help = "Example: lightloss licences > licences.txt")]
    Licences,
}

/// Whether it is possible is judged where it is used.
fn millimetres(text: &str) -> Result<f64, String> {
    let number = text.trim().parse::<f64>();
    number.map_err(|_| "write a number of millimetres, like 24".to_owned())
}

/// Text for people or JSON for programs.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Format {
    /// For people.
    Text,
    /// For programs.
    Json,
}

/// What the times in the files mean.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Times {
    /// As the dial shows them; the true ones are powers of two.
    Dial,
    /// The numbers as they are.
    Exact,
}

/// Which frames make the shoot and how to understand them.
#[derive(Clone, Debug, Args)]
pub struct ShootArgs {
    /// Folder with the frames of one filter; not needed where --bare and --filtered name them
    #[arg(
        required_unless_present_any = ["bare", "filtered"],
        default_value = "",
        hide_default_value = true,
        value_parser = OsStringValueParser::new().map(PathBuf::from)
    )]
    pub shoot: PathBuf,
    /// What sort of filter it is
    #[arg(long, value_enum)]
    pub kind: Option<Kind>,
    /// Labels of a variable filter's marks, in the order they were shot
    #[arg(long, value_delimiter = ',', value_name = "M1,M2,...")]
    pub marks: Vec<String>,
    /// Frames without the filter, named one by one
    #[arg(long, num_args = 1.., value_name = "FILE")]
    pub bare: Vec<PathBuf>,
    /// Frames through the filter, named one by one
    #[arg(long, num_args = 1.., value_name = "FILE")]
    pub filtered: Vec<PathBuf>,
    /// First frame of the shoot, in capture order
    #[arg(long, value_name = "FILE")]
    pub from: Option<PathBuf>,
    /// Last frame of the shoot, in capture order
    #[arg(long, value_name = "FILE")]
    pub to: Option<PathBuf>,
    /// Whether times are dial times or exact
    #[arg(long, value_enum, default_value = "dial")]
    pub times: Times,
    /// Time of one frame, where its file does not tell
    #[arg(long, value_name = "FILE=SECONDS")]
    pub time: Vec<String>,
    /// Focal length in millimetres, where the files do not tell
    #[arg(long, value_name = "MM", value_parser = millimetres)]
    pub focal: Option<f64>,
    /// Sensor size in millimetres
    #[arg(long, value_name = "WxH")]
    pub sensor: Option<String>,
    /// Aperture, for a lens without contacts
    #[arg(long, value_name = "N")]
    pub f: Option<f64>,
    /// The pictures hold linear light
    #[arg(long)]
    pub linear: bool,
    /// Frames without exposure data were all exposed alike
    #[arg(long)]
    pub same_exposure: bool,
    /// Take shutter times as without a camera record, where the kit holds one of this body
    #[arg(long)]
    pub without_record: bool,
    /// Text for people, or JSON
    #[arg(long, value_enum, default_value = "text")]
    pub format: Format,
}

/// `measure`.
#[derive(Clone, Debug, Args)]
pub struct MeasureArgs {
    /// Frames.
    #[command(flatten)]
    pub shoot: ShootArgs,
    /// What it is rated: 10, 3.0D, 1000x, 10+3 for a stack; a range for variable filters, 2-5
    #[arg(long, value_name = "R", allow_hyphen_values = true)]
    pub rated: Option<String>,
    /// Name of the filter
    #[arg(long)]
    pub name: Option<String>,
    /// A note to keep with the profile
    #[arg(long)]
    pub note: Option<String>,
    /// Profiles of the single filters of a stack
    #[arg(long, value_delimiter = ',', value_name = "PROFILE,PROFILE")]
    pub parts: Vec<PathBuf>,
    /// Unevenness that still passes, in stops
    #[arg(long, value_name = "STOPS", allow_hyphen_values = true)]
    pub tolerance: Option<String>,
    /// Where to write; a folder named after the filter beside the shoot otherwise
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
    /// Open the page in your browser when it is written
    #[arg(long)]
    pub open: bool,
    /// Write over what is there
    #[arg(long)]
    pub replace: bool,
    /// Keep the profile in the kit, too
    #[arg(long)]
    pub keep: bool,
}

/// `open`.
#[derive(Clone, Debug, Args)]
pub struct OpenArgs {
    /// Folder with the frames of one filter; chosen in the window otherwise
    pub folder: Option<PathBuf>,
    /// Print the window's address and open no browser
    #[arg(long)]
    pub no_browser: bool,
}

/// `frames`.
#[derive(Clone, Debug, Args)]
pub struct FramesArgs {
    /// Frames.
    #[command(flatten)]
    pub shoot: ShootArgs,
    /// Write what was understood as shoot.json into the folder, to be edited
    #[arg(long)]
    pub write: bool,
    /// Write a page that shows the frames, to look at or to print
    #[arg(long)]
    pub page: bool,
    /// Where to write the page; beside the shoot otherwise
    #[arg(long, value_name = "DIR", requires = "page")]
    pub out: Option<PathBuf>,
    /// Write over a shoot.json or a page that is there
    #[arg(long)]
    pub replace: bool,
}

/// `plan`.
#[derive(Debug, Args)]
pub struct PlanArgs {
    /// What sort of filter it is
    #[arg(long, value_enum, required_unless_present = "camera")]
    pub kind: Option<Kind>,
    /// Plan the bare wall of a camera record (lightloss camera) instead of a filter
    #[arg(
        long,
        conflicts_with_all = ["kind", "rated", "marks", "name", "slot", "focal", "sharpness"]
    )]
    pub camera: bool,
    /// Longest dial time of a camera record; 30 s where it is not given
    #[arg(long, value_name = "T", conflicts_with = "kind", allow_hyphen_values = true)]
    pub longest: Option<String>,
    /// What it is rated: 10, 3.0D, 1000x; a range for variable filters, 2-5; not needed
    /// for a polariser
    #[arg(long, value_name = "R", allow_hyphen_values = true)]
    pub rated: Option<String>,
    /// Exposure time metered without the filter
    #[arg(long, value_name = "T", allow_hyphen_values = true)]
    pub metered: Option<String>,
    /// Labels of a variable filter's marks, up the ring
    #[arg(long, value_delimiter = ',', value_name = "M1,M2,...")]
    pub marks: Vec<String>,
    /// Name of the filter
    #[arg(long)]
    pub name: Option<String>,
    /// The filter sits in a slot holder
    #[arg(long)]
    pub slot: bool,
    /// Focal lengths to repeat the shoot at, in millimetres
    #[arg(long, value_delimiter = ',', value_name = "MM,MM", value_parser = millimetres)]
    pub focal: Vec<f64>,
    /// Add a target to print, and the frames for sharpness, veil and ghosts
    #[arg(long)]
    pub sharpness: bool,
    /// Where to write the printable page and shoot.json
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
    /// Write over what is there
    #[arg(long)]
    pub replace: bool,
}

/// `report`.
#[derive(Debug, Args)]
pub struct ReportArgs {
    /// A profile.json, the folder that holds it, a filter in the kit, or a camera record; all of the
    /// kit otherwise
    pub profile: Option<PathBuf>,
}

/// `compare`.
#[derive(Debug, Args)]
pub struct CompareArgs {
    /// First profile, or a filter in the kit
    pub a: PathBuf,
    /// Second profile; otherwise the kit's newest of the same filter, held against its first where
    /// the filter is named
    pub b: Option<PathBuf>,
    /// Where to write the page; beside the second profile otherwise, here where that is the kit's
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
    /// Write over what is there
    #[arg(long)]
    pub replace: bool,
}

/// `card`.
#[derive(Debug, Args)]
pub struct CardArgs {
    /// Profiles, folders that hold them, or names of filters in the kit; the whole kit otherwise
    #[arg(value_name = "PROFILE")]
    pub profiles: Vec<PathBuf>,
    /// Where to write
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
    /// Write over what is there
    #[arg(long)]
    pub replace: bool,
}

/// `choose`.
#[derive(Debug, Args)]
pub struct ChooseArgs {
    /// Profiles, folders that hold them, or names of filters in the kit; the whole kit otherwise
    #[arg(value_name = "PROFILE")]
    pub profiles: Vec<PathBuf>,
    /// Exposure time metered without a filter
    #[arg(long, value_name = "T", allow_hyphen_values = true)]
    pub metered: String,
    /// Aperture of the metered exposure
    #[arg(long, value_name = "N", allow_negative_numbers = true)]
    pub f: Option<f64>,
    /// ISO of the metered exposure
    #[arg(long, value_name = "S", allow_negative_numbers = true)]
    pub iso: Option<f64>,
    /// Wanted time, or a range of times
    #[arg(long, value_name = "T1[..T2]", allow_hyphen_values = true)]
    pub want: String,
    /// Focal length to be used, in millimetres
    #[arg(long, value_name = "MM", value_parser = millimetres)]
    #[arg(allow_negative_numbers = true)]
    pub focal: Option<f64>,
    /// Most filters on top of each other
    #[arg(long, value_name = "COUNT", default_value_t = 2,
          value_parser = clap::value_parser!(u8).range(1..=3))]
    pub stack: u8,
}

/// `demo`.
#[derive(Debug, Args)]
pub struct DemoArgs {
    /// Where to write
    #[arg(long, value_name = "DIR", default_value = "lightloss-demo")]
    pub out: PathBuf,
    /// Write over what is there
    #[arg(long)]
    pub replace: bool,
}

impl ValueEnum for Kind {
    fn value_variants<'a>() -> &'a [Self] {
        &Self::ALL
    }
    fn to_possible_value(&self) -> Option<PossibleValue> {
        let help = match self {
            Self::Solid => "One even strength",
            Self::Variable => "Two polarisers in a ring",
            Self::Graduated => "Dark at one end",
            Self::Polariser => "One polariser",
            Self::Stack => "Several filters together",
        };
        Some(PossibleValue::new(self.word()).help(help))
    }
}
