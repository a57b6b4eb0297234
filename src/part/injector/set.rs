//! A set of injectors: how its members differ, and what that does to the leanest cylinder.

/// Flows of a set, wide open at one difference, as a bench prints them.
#[derive(Clone, Debug, PartialEq)]
pub struct SetSpread {
    /// Mean of the set, in the unit of the flows.
    pub mean: f64,
    /// Sample standard deviation over mean; `None` for one injector.
    pub relative_deviation: Option<f64>,
    /// (largest − smallest) over mean.
    pub range: f64,
    /// Each injector's flow over the mean.
    pub ratios: Vec<f64>,
    /// Position of the one that passes least.
    pub leanest: usize,
}

/// Spread of a set of injectors.
///
/// # Formula
/// `rᵢ = Qᵢ/Q̄`, `s = √(Σ(rᵢ−1)²/(n−1))`
///
/// # Symbols
/// `Qᵢ` flow of each, one unit for all.
///
/// # Valid range
/// All positive and finite; `None` for an empty or other list. A set within 2 % is good (common practice, no source).
///
/// # Source
/// Sample statistics.
#[must_use]
pub fn set_spread(flows: &[f64]) -> Option<SetSpread> {
    if flows.is_empty() || flows.iter().any(|q| !q.is_finite() || *q <= 0.0) {
        return None;
    }
    let n = flows.len() as f64;
    let mean = flows.iter().sum::<f64>() / n;
    let ratios: Vec<f64> = flows.iter().map(|q| q / mean).collect();
    let square = ratios.iter().map(|r| (r - 1.0).powi(2)).sum::<f64>();
    let largest = ratios.iter().copied().fold(f64::MIN, f64::max);
    let leanest = (0..ratios.len()).min_by(|a, b| ratios[*a].total_cmp(&ratios[*b]))?;
    Some(SetSpread {
        mean,
        relative_deviation: (flows.len() > 1).then(|| (square / (n - 1.0)).sqrt()),
        range: largest - ratios[leanest],
        leanest,
        ratios,
    })
}

/// Lambda of a cylinder whose injector passes another share than the mean.
///
/// # Formula
/// `λᵢ = λ̄/rᵢ`
///
/// # Symbols
/// `λ̄` lambda of the mixture that the mean injector makes, 1; `rᵢ` flow over mean, 1.
///
/// # Valid range
/// `rᵢ > 0`, equal air to all cylinders. One sensor in the collector reads near `λ̄` and cannot see it. **Caution:** the
/// leanest cylinder burns first; judge the set by it.
///
/// # Source
/// Definition of lambda.
#[must_use]
pub fn cylinder_lambda(mean_lambda: f64, flow_over_mean: f64) -> f64 {
    mean_lambda / flow_over_mean
}
