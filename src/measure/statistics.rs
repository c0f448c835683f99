//! Quantiles over area: how much of the garment is at least this bad.

/// The value below which `share` of the weight lies; pairs of (value, weight). `None` without weight.
pub fn weighted_quantile(pairs: &[(f64, f64)], share: f64) -> Option<f64> {
    let mut sorted: Vec<(f64, f64)> = pairs
        .iter()
        .copied()
        .filter(|(value, weight)| value.is_finite() && *weight > 0.0)
        .collect();
    sorted.sort_by(|a, b| a.0.total_cmp(&b.0));
    let total: f64 = sorted.iter().map(|pair| pair.1).sum();
    let mut below = 0.0;
    for (value, weight) in &sorted {
        below += weight;
        if below >= share * total {
            return Some(*value);
        }
    }
    sorted.last().map(|pair| pair.0)
}

/// The least value on the worst `area`: sorted from the highest, the value at which that area is full.
///
/// Fabric that was not measured counts as `neutral`, so a little measured fabric cannot be the worst share of a large
/// garment by itself. `None` where nothing was measured.
pub fn least_of_worst(pairs: &[(f64, f64)], area: f64, neutral: f64) -> Option<f64> {
    let mut sorted: Vec<(f64, f64)> = pairs
        .iter()
        .copied()
        .filter(|(value, _)| value.is_finite())
        .collect();
    if sorted.is_empty() {
        return None;
    }
    sorted.sort_by(|a, b| b.0.total_cmp(&a.0));
    let mut full = 0.0;
    for (value, weight) in &sorted {
        full += weight;
        if full >= area {
            return Some(*value);
        }
    }
    let last = sorted.last().map_or(neutral, |pair| pair.0);
    Some(last.min(neutral))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn quantiles_follow_the_weight() {
        let pairs = [(1.0, 1.0), (2.0, 98.0), (3.0, 1.0)];
        assert_eq!(weighted_quantile(&pairs, 0.5), Some(2.0));
        assert_eq!(weighted_quantile(&pairs, 0.995), Some(3.0));
        assert_eq!(weighted_quantile(&[], 0.5), None);
    }

    #[test]
    fn a_little_fabric_is_not_the_worst_of_a_large_garment() {
        let pairs = [(5.0, 0.5), (1.2, 4.0)];
        assert_eq!(least_of_worst(&pairs, 0.4, 1.0), Some(5.0));
        assert_eq!(least_of_worst(&pairs, 2.0, 1.0), Some(1.2));
        assert_eq!(least_of_worst(&pairs, 100.0, 1.0), Some(1.0));
    }
}
