//! Sizes of tubes and hoses: what a dash number says, and what it does not.

use crate::quantity::{Length, m};

/// Nominal size of a dash number.
///
/// # Formula
/// `d = n/16` inch
///
/// # Symbols
/// `n` dash number: −6 is 6.
///
/// # Valid range
/// A *nominal* size. The hole in a −6 hose is often 8.7 to 9.5 mm, and friction goes with its fifth power:
/// measure the bore.
///
/// # Source
/// Dash convention (sixteenths of an inch): common practice, no source.
#[must_use]
pub fn dash_nominal(dash: u32) -> Length {
    m(f64::from(dash) / 16.0 * 0.0254)
}

/// Roughness of drawn tube (steel, aluminium, brass), 1.5 µm. Source: Moody's chart (from memory).
pub const ROUGHNESS_DRAWN: f64 = 1.5e-6;

/// Roughness of commercial steel pipe, 0.0457 mm (0.00015 ft). Source: Moody's chart (from memory).
pub const ROUGHNESS_COMMERCIAL_STEEL: f64 = 4.572e-5;
