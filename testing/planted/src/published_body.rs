//! Seconds behind the dial of one professional reflex body, measured by its owner and published in a
//! photography forum (dpreview, post 31437081, "Exposure time - Rationale and Numbers").

/// Dial time and true time, longest first: powers of two 3 % long, but 30 s is 32.0 s.
pub const BODY_SECONDS: [(f64, f64); 20] = [
    (30.0, 32.0),
    (25.0, 26.1),
    (20.0, 20.8),
    (15.0, 16.5),
    (13.0, 13.1),
    (10.0, 10.4),
    (8.0, 8.24),
    (6.0, 6.54),
    (5.0, 5.19),
    (4.0, 4.12),
    (3.2, 3.27),
    (2.5, 2.59),
    (2.0, 2.06),
    (1.6, 1.63),
    (1.3, 1.297),
    (1.0, 1.03),
    (0.8, 0.816_99),
    (0.6, 0.648_51),
    (0.5, 0.515_46),
    (0.4, 0.408_16),
];
