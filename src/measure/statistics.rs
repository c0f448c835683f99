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

/// The least value on the worst area, for each of some areas: sorted from the highest, the value at which that area is
/// full. Only the worst part of the pairs is sorted; the pairs change places.
///
/// Fabric that was not measured counts as `neutral`, so a little measured fabric cannot be the worst share of a large
/// garment by itself. `None` where nothing was measured: pairs of (value, area), all finite.
pub fn least_of_worst<const N: usize>(
    pairs: &mut [(f64, f64)],
    areas: [f64; N],
    neutral: f64,
) -> [Option<f64>; N] {
    if pairs.is_empty() {
        return [None; N];
    }
    let largest = areas.iter().fold(0.0, |most: f64, area| most.max(*area));
    let sorted = sort_worst(pairs, largest);
    areas.map(|area| {
        let mut full = 0.0;
        for (value, weight) in sorted.iter() {
            full += weight;
            if full >= area {
                return Some(*value);
            }
        }
        // Only where all pairs together are less than the area.
        sorted.last().map(|pair| pair.0.min(neutral))
    })
}

/// Sorts the highest values to the front, enough of them for `area`, and returns these.
fn sort_worst(pairs: &mut [(f64, f64)], area: f64) -> &[(f64, f64)] {
    let highest = |a: &(f64, f64), b: &(f64, f64)| b.0.total_cmp(&a.0);
    let mut taken = (pairs.len() / 8).max(64);
    while taken < pairs.len() {
        pairs.select_nth_unstable_by(taken, highest);
        // A little more than the area, so that the order in which it is summed cannot matter.
        if pairs[..taken].iter().map(|pair| pair.1).sum::<f64>() > 1.001 * area {
            break;
        }
        taken *= 4;
    }
    let taken = taken.min(pairs.len());
    let worst = &mut pairs[..taken];
    worst.sort_unstable_by(highest);
    worst
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
        let found = least_of_worst(&mut [(1.2, 4.0), (5.0, 0.5)], [0.4, 2.0, 100.0], 1.0);
        assert_eq!(found, [Some(5.0), Some(1.2), Some(1.0)]);
        assert_eq!(least_of_worst(&mut [], [1.0], 1.0), [None]);
    }

    /// Against a full sort, with many pairs, equal values and areas up to all of them.
    #[test]
    fn sorting_only_the_worst_changes_nothing() {
        let pairs: Vec<(f64, f64)> = (0..2000u32)
            .map(|at| {
                (
                    f64::from(at * 7919 % 53),
                    0.5 + f64::from(at * 104_729 % 997) / 997.0,
                )
            })
            .collect();
        let mut sorted = pairs.clone();
        sorted.sort_by(|a, b| b.0.total_cmp(&a.0));
        let total: f64 = pairs.iter().map(|pair| pair.1).sum();
        for share in [0.001, 0.01, 0.05, 0.3, 0.999] {
            let mut full = 0.0;
            let wanted = sorted.iter().find(|pair| {
                full += pair.1;
                full >= share * total
            });
            let [found] = least_of_worst(&mut pairs.clone(), [share * total], 0.0);
            assert_eq!(found, wanted.map(|pair| pair.0), "{share}");
        }
    }
}
