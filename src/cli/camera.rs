//! `camera`.

use super::Format;
use clap::Args;
use std::path::PathBuf;

/// `camera`.
#[derive(Clone, Debug, Args)]
pub struct CameraArgs {
    /// Folder with the frames of a bare wall
    #[arg(value_name = "SHOOT")]
    pub shoot: PathBuf,
    /// Put it in the place of an earlier record of the same body
    #[arg(long)]
    pub replace: bool,
    /// Text for people, or JSON
    #[arg(long, value_enum, default_value = "text")]
    pub format: Format,
}

/// How to shoot the wall, step by step.
pub const STEPS: &str = "\
How to shoot it (35 to 45 minutes, once; a new shutter needs a new one).
All times for your light, to print and tick off:
lightloss plan --camera --metered T --out DIR

  1. A plain wall or a sheet of paper under a lamp, or two, in a dark room,
     long enough lit to be warm. Lamps on direct current (a battery): on the
     mains they flicker, and a short frame catches a part of one period. No
     filter. Tripod, lens out of focus, raw, lowest ISO; autofocus, stabiliser
     and long-exposure noise reduction off; the shutter (mechanical or
     electronic) that you use with filters. First of all, lens capped,
     viewfinder covered: two frames each at 1 s, at 8 s and at the longest time
     that you use.
  2. First light level: lamp close, aperture wide. Find the longest time at
     which nothing is clipped, a hump well inside the right edge of the
     histogram (70 % of full scale). Two frames there, two at each time a third
     of a stop shorter, for five stops; then back up the dial the same way.
     What drifts cancels.
  3. Second light level: close the aperture by three stops, or dim the lamp,
     and touch nothing else. Again from the longest time that is not clipped,
     five stops down and up. The times of both levels overlap by two stops:
     that ties them together.
  4. Further levels in the same way, until the times that you use with filters
     are covered, 30 s for most.
  5. With a second lamp: one left and one right beside what the camera sees, no
     further from the wall than the picture is wide, so that each lights mostly
     its own side; the middle as bright as at the first light level, and
     nothing else that lights the wall. Cover one lamp with black card: two
     frames each at four times, a stop apart, the first a stop below the
     longest of that level. The same with both free, with the other lamp
     covered, and with both covered. What both give is what each gives,
     whatever the shutter does: that tells the sensor's curve from times that
     are too long, and times that lie far apart are known better by a third.
     Stand in one place for all of these, with nothing pale beside the lamps:
     light that is sent back onto the wall otherwise looks like such a curve.
  6. The dark frames of step 1 once more. They tell black, its creep and glow,
     and with those before how black drifts as the sensor warms.
  7. lightloss camera FOLDER

Only ratios of times can be measured so, and only they matter for filters. Times
on bulb or by a timer need no record. Later lightloss measure takes the record
up by itself for frames of the same make, model and serial number, and says so;
--without-record measures without it.

Example: lightloss camera wall";
