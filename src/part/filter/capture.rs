//! What a filter catches: filtration ratio and efficiency.

/// Rated flows that the multi-pass test of fuel filters covers, m³/s: 50 to 800 L/h.
///
/// Source: ISO 19438:2023, scope (abstract).
pub const ISO_19438_FLOWS: (f64, f64) = (0.05 / 3600.0, 0.8 / 3600.0);

/// Filtration ratio from particle counts.
///
/// # Formula
/// `β_x = N_up/N_down`
///
/// # Symbols
/// `N_up`, `N_down` particles larger than `x` per volume, 1/m³, before and after the filter.
///
/// # Valid range
/// `N_down > 0`; with none counted it is infinite.
///
/// # Source
/// ISO 16889.
#[must_use]
pub fn filtration_ratio(upstream: f64, downstream: f64) -> f64 {
    upstream / downstream
}

/// Share of particles that a filter catches.
///
/// # Formula
/// `E = 1 − 1/β`
///
/// # Symbols
/// `β` filtration ratio at the particle size, 1.
///
/// # Valid range
/// `β ≥ 1`. Below 1 the filter sheds and the efficiency is negative.
///
/// # Source
/// ISO 16889.
#[must_use]
pub fn filtration_efficiency(beta: f64) -> f64 {
    1.0 - 1.0 / beta
}

/// Filtration ratio of filters in series.
///
/// # Formula
/// `β = Π βᵢ`
///
/// # Symbols
/// `βᵢ` filtration ratio of each at the same particle size, 1.
///
/// # Valid range
/// Each catches independently of what the others let through: optimistic, since what passed the first is
/// what such media miss.
///
/// # Source
/// Independence assumed.
#[must_use]
pub fn filtration_ratio_in_series(betas: &[f64]) -> f64 {
    betas.iter().product()
}
