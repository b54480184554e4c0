//! What `which` and `correct` are asked.

use clap::Args;
use std::path::PathBuf;

/// `which`.
#[derive(Debug, Args)]
pub struct WhichArgs {
    /// Photographs
    #[arg(required = true, value_name = "PHOTO")]
    pub photos: Vec<PathBuf>,
    /// Profiles that may have been used, or names of filters in the kit; the whole kit otherwise
    #[arg(long, num_args = 1.., value_name = "PROFILE")]
    pub profile: Vec<PathBuf>,
    /// Photographs made without a filter, named one by one
    #[arg(long, num_args = 1.., value_name = "PHOTO")]
    pub bare: Vec<PathBuf>,
    /// The first photograph of every scene was metered without a filter
    #[arg(long)]
    pub metered_first: bool,
    /// A table of an earlier run, corrected where you know better; rows of other photographs and columns
    /// of your own stay in it
    #[arg(long, value_name = "FILE")]
    pub used: Option<PathBuf>,
    /// Where to write the table; used.csv beside the first photograph otherwise
    #[arg(long, value_name = "FILE")]
    pub out: Option<PathBuf>,
    /// Write over what is there
    #[arg(long)]
    pub replace: bool,
}

/// `correct`.
#[derive(Debug, Args)]
pub struct CorrectArgs {
    /// Photographs
    #[arg(required = true, value_name = "PHOTO")]
    pub photos: Vec<PathBuf>,
    /// Profile of the filter; several mean a stack
    #[arg(long, num_args = 1.., value_name = "PROFILE", required_unless_present = "used")]
    pub profile: Vec<PathBuf>,
    /// Mark of a variable filter
    #[arg(long, value_name = "M")]
    pub mark: Option<String>,
    /// Table that says which photograph had which filter, as `which` writes it
    #[arg(long, value_name = "FILE")]
    pub used: Option<PathBuf>,
    /// Light without the filter: as-shot, nearest-bare, a temperature in kelvin (daylight from 4000 to
    /// 25000 K, a lamp otherwise), or a raw frame of the same camera made without it
    #[arg(long, value_name = "as-shot|nearest-bare|KELVIN|FRAME")]
    pub white: Option<String>,
    /// Take the circular part of the unevenness out too, where the picture surely gets more even
    #[arg(long)]
    pub evenness: bool,
    /// The filter sat exactly as it was measured
    #[arg(long, requires = "evenness")]
    pub mounted_alike: bool,
    /// Where to write; a folder "corrected" beside the photographs otherwise
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
    /// Write the numbers only, no pictures
    #[arg(long)]
    pub gains_only: bool,
    /// Leave out white balance settings that another program keeps in the file or its sidecar and that
    /// would hide the new balance
    #[arg(long)]
    pub drop_settings: bool,
    /// Cut off the masked border, for programs that ignore maps of gains where there is one
    #[arg(long)]
    pub crop_active: bool,
    /// Write a flat-field frame for every filter, mark and lens too, for programs that read no maps
    #[arg(long, requires = "evenness")]
    pub flat_field: bool,
    /// Do not compress
    #[arg(long)]
    pub uncompressed: bool,
    /// Write over what is there
    #[arg(long)]
    pub replace: bool,
}
