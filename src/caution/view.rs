//! Cautions about lens and sensor: through which angle the camera looked.

use crate::profile::Grade;
use crate::quantity::Millimetres;

/// What may be doubtful about lens and sensor.
#[derive(Clone, Debug, PartialEq)]
pub enum ViewDoubt {
    /// No focal length known, so no pair fit.
    NoFocalLength,
    /// Another focal length was said than the files tell.
    FocalLengthSaid {
        /// As said.
        said: Millimetres,
        /// As the files tell.
        files: Millimetres,
    },
    /// The cross of a ring is that of another lens.
    LensDisagrees {
        /// Focal length as said or as the files tell.
        known: Millimetres,
        /// As the pair of polarisers was fitted.
        fitted: Millimetres,
    },
    /// No sensor size known, so no pair fit.
    NoSensorSize,
    /// The sensor size rests on a tag that some bodies write wrongly.
    SensorFromFocalPlane {
        /// Width.
        width: Millimetres,
        /// Height.
        height: Millimetres,
    },
}

impl ViewDoubt {
    pub(super) fn entry(&self) -> (&'static str, Grade, String) {
        use Grade::{Note, Number};
        match self {
            Self::NoFocalLength => ("no_focal_length", Note,
                "The focal length is not known, so the polariser pair could not be fitted. Give it \
                 with --focal.".into()),
            Self::FocalLengthSaid { said, files } => ("focal_length_said", Note, format!(
                "The files tell a focal length of {:.0} mm; {:.0} mm was said with --focal or in \
                 shoot.json, and that was taken. If the files are right, say {:.0}.", files.get(), said.get(), files.get())),
            Self::LensDisagrees { known, fitted } => ("lens_disagrees", Number, format!(
                "The light falls off as through a lens of about {:.0} mm, not of {:.0} mm, so which \
                 lens each mark allows is in doubt. Check the focal length (--focal) and the size of \
                 the sensor (--sensor).", fitted.get(), known.get())),
            Self::NoSensorSize => ("no_sensor_size", Note,
                "The sensor size is not known, so the polariser pair could not be fitted. Give it \
                 with --sensor, e.g. --sensor 36x24.".into()),
            Self::SensorFromFocalPlane { width, height } => ("sensor_from_focal_plane", Note, format!(
                "The sensor size, {:.1} x {:.1} mm, comes from the resolution of the focal plane in \
                 the files, which some cameras write wrongly. If it is not your camera's, give it \
                 with --sensor, e.g. --sensor 36x24.", width.get(), height.get())),
        }
    }
}
