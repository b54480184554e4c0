//! `kit` and what it can be asked for.

use clap::{Args, Subcommand};
use std::path::PathBuf;

/// `kit`.
#[derive(Debug, Args)]
pub struct KitArgs {
    /// What to do; the list otherwise
    #[command(subcommand)]
    pub what: Option<KitCommand>,
}

/// What can be done with the kit.
#[derive(Debug, Subcommand)]
pub enum KitCommand {
    /// List the filters: what they take, cast, how far to turn, age, change (as without a word)
    #[command(after_help = "Example: lightloss kit list --retired")]
    List(ListArgs),
    /// Keep profiles; the same name measured again is the same filter
    #[command(after_help = "Example: lightloss kit add harbour-ten-profile weir-three-profile")]
    Add(AddArgs),
    /// One filter over the years: strength, cast, unevenness, and whether it has changed
    #[command(after_help = "Example: lightloss kit history \"Harbour Ten\" --out history")]
    History(HistoryArgs),
    /// One filter on one side of paper: claim, measurement, cast, map; or what to set when editing
    #[command(after_help = "Example: lightloss kit sheet \"Harbour Ten\" --editing")]
    Sheet(SheetArgs),
    /// Give a filter another name
    #[command(after_help = "Example: lightloss kit rename \"Harbour Ten\" \"Old Ten\"")]
    Rename(RenameArgs),
    /// Two names turned out to be one filter: the first one's measurements become the second's
    #[command(after_help = "Example: lightloss kit merge \"ten\" \"Harbour Ten\"")]
    Merge(MergeArgs),
    /// Take a filter out of the bag; its measurements stay
    #[command(after_help = "Example: lightloss kit retire \"Old Ten\"")]
    Retire(RetireArgs),
}

/// `kit list`.
#[derive(Debug, Default, Args)]
pub struct ListArgs {
    /// The retired ones, too
    #[arg(long)]
    pub retired: bool,
}

/// `kit add`.
#[derive(Debug, Args)]
pub struct AddArgs {
    /// Profiles, or folders that hold them
    #[arg(required = true, value_name = "PROFILE")]
    pub profiles: Vec<PathBuf>,
    /// Keep it under this name
    #[arg(long)]
    pub name: Option<String>,
    /// Put it in the place of an earlier measurement of the same frames
    #[arg(long)]
    pub replace: bool,
}

/// `kit history`.
#[derive(Debug, Args)]
pub struct HistoryArgs {
    /// The filter's name
    pub name: String,
    /// Write the page there too
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
    /// Write over what is there
    #[arg(long)]
    pub replace: bool,
}

/// `kit sheet`.
#[derive(Debug, Args)]
pub struct SheetArgs {
    /// The filter's name, or a profile
    #[arg(value_name = "NAME|PROFILE")]
    pub name: PathBuf,
    /// The sheet for editing: kelvin and tint for sun, overcast and shade, multipliers per channel
    #[arg(long)]
    pub editing: bool,
    /// Where to write; here otherwise
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
    /// Write over what is there
    #[arg(long)]
    pub replace: bool,
}

/// `kit rename`.
#[derive(Debug, Args)]
pub struct RenameArgs {
    /// The filter's name
    pub name: String,
    /// Its new name
    pub to: String,
}

/// `kit merge`.
#[derive(Debug, Args)]
pub struct MergeArgs {
    /// The name that goes
    pub name: String,
    /// The filter that stays
    pub into: String,
}

/// `kit retire`.
#[derive(Debug, Args)]
pub struct RetireArgs {
    /// The filter's name
    pub name: String,
    /// Put it back into the bag
    #[arg(long)]
    pub back: bool,
}
