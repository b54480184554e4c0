//! Colours of drawings: roles that follow the page's theme, and exact ones.

use plotters::style::RGBColor;

/// What a colour stands for; each has a light and a dark value in the page's style sheet.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Role {
    /// Text and axes.
    Ink,
    /// Secondary text.
    Soft,
    /// Hairlines.
    Rule,
    /// What was measured.
    Measured,
    /// What was claimed.
    Claimed,
    /// The paper.
    Ground,
    /// A region of the plot.
    Zone,
}

impl Role {
    pub(super) const ALL: [(Self, &'static str, &'static str); 7] = [
        (Self::Ink, "var(--ink)", "#1c1b19"),
        (Self::Soft, "var(--soft)", "#5f5b53"),
        (Self::Rule, "var(--rule)", "#b9b4a8"),
        (Self::Measured, "var(--measured)", "#0b5c66"),
        (Self::Claimed, "var(--claimed)", "#6d675c"),
        (Self::Ground, "var(--ground)", "#fdfcf9"),
        (Self::Zone, "var(--zone)", "#e6ecea"),
    ];

    /// Painted with a stand-in that no exact colour of ours comes near, and replaced afterwards.
    pub(super) fn stand_in(self) -> RGBColor {
        let index = Self::ALL.iter().position(|(role, ..)| *role == self).unwrap_or(0);
        RGBColor(0, 0, 0xF0 + u8::try_from(index).unwrap_or(0))
    }
}

/// A colour.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Paint {
    /// Follows the theme.
    Theme(Role),
    /// sRGB, the same in both themes.
    Exact([u8; 3]),
}

impl Paint {
    pub(super) fn colour(self) -> RGBColor {
        match self {
            Self::Theme(role) => role.stand_in(),
            Self::Exact([r, g, b]) => RGBColor(r, g, b),
        }
    }
}

impl From<Role> for Paint {
    fn from(role: Role) -> Self {
        Self::Theme(role)
    }
}
