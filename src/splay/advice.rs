//! From the curves to a sentence: the band to build in, why, and what it costs beside it.

use super::Row;
use serde::Serialize;

/// Splays within this much of the least price are as good as the best.
const AS_GOOD: f64 = 0.10;
/// Where the dearest splay up to here costs no more than this over the least, it makes no difference, square
/// centimetres at the scale of 1.
const NO_DIFFERENCE_CM2: f64 = 5.0;
/// Nobody builds wider than this, degrees: the price beyond does not say whether it matters.
const USUAL_DEG: f64 = 12.0;

/// What to build at.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Advice {
    /// Where the price is least, between the splays tried by a parabola.
    pub least_at_deg: f64,
    /// The least price.
    pub least_cm2: f64,
    /// Splays within 10 % of the least.
    pub band: Band,
    /// True where no usual splay costs much more than the best.
    pub no_difference: bool,
}

/// A stretch of splays.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Band {
    /// Its lower end.
    pub from_deg: f64,
    /// Its upper end.
    pub to_deg: f64,
}

pub(super) fn advice(rows: &[Row], scale: f64) -> Advice {
    let price = |at: usize| rows[at].price_cm2;
    let best = (0..rows.len())
        .min_by(|a, b| price(*a).total_cmp(&price(*b)))
        .unwrap_or(0);
    let least = price(best);
    let most = least * (1.0 + AS_GOOD);
    let dearest = rows
        .iter()
        .filter(|row| row.splay_deg <= USUAL_DEG)
        .map(|row| row.price_cm2)
        .fold(0.0, f64::max);
    Advice {
        least_at_deg: least_at(rows, best),
        least_cm2: least,
        band: Band {
            from_deg: edge(rows, best, most, -1),
            to_deg: edge(rows, best, most, 1),
        },
        no_difference: dearest - least <= NO_DIFFERENCE_CM2 * scale * scale,
    }
}

/// The vertex of the parabola through the least row and its two neighbours.
fn least_at(rows: &[Row], best: usize) -> f64 {
    let here = rows[best].splay_deg;
    if best == 0 || best + 1 == rows.len() {
        return here;
    }
    let [before, least, after] = [best - 1, best, best + 1].map(|at| rows[at].price_cm2);
    let bend = before - 2.0 * least + after;
    if bend <= 0.0 {
        return here;
    }
    let step = rows[best + 1].splay_deg - here;
    here + step * 0.5 * (before - after) / bend
}

/// Where the price passes `most`, going away from the best; the last splay where it never does.
fn edge(rows: &[Row], best: usize, most: f64, way: isize) -> f64 {
    let mut at = best;
    while let Some(next) = at.checked_add_signed(way).filter(|next| *next < rows.len()) {
        if rows[next].price_cm2 > most {
            let (inside, outside) = (&rows[at], &rows[next]);
            let share = (most - inside.price_cm2) / (outside.price_cm2 - inside.price_cm2);
            return inside.splay_deg + (outside.splay_deg - inside.splay_deg) * share;
        }
        at = next;
    }
    rows[at].splay_deg
}

/// The least splay from which on the overlap stays at or under `most` (straight between the rows).
pub(super) fn falls_to(rows: &[Row], most: f64) -> Option<f64> {
    let last_over = rows.iter().rposition(|row| row.overlap_cm2 > most);
    let Some(at) = last_over else {
        return rows.first().map(|row| row.splay_deg);
    };
    let (over, under) = (&rows[at], rows.get(at + 1)?);
    let share = (over.overlap_cm2 - most) / (over.overlap_cm2 - under.overlap_cm2);
    Some(over.splay_deg + (under.splay_deg - over.splay_deg) * share)
}

impl Band {
    /// Whether a splay lies in it.
    pub fn holds(&self, splay_deg: f64) -> bool {
        (self.from_deg..=self.to_deg).contains(&splay_deg)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rows(price: impl Fn(f64) -> f64) -> Vec<Row> {
        (0..=20)
            .map(|n| Row {
                splay_deg: f64::from(n),
                overlap_cm2: 30.0 - 4.0 * f64::from(n),
                lost_cm2: Vec::new(),
                through_cm2: 0.0,
                price_cm2: price(f64::from(n)),
            })
            .collect()
    }

    #[test]
    fn the_band_of_a_parabola_is_the_one_it_must_be() {
        let found = advice(&rows(|a| 40.0 + (a - 7.3).powi(2)), 1.0);
        assert!((found.least_at_deg - 7.3).abs() < 1e-9);
        // 10 % over the least row (7 degrees: 40.09) is 44.099, met straight between the rows: 6 (41.69) and 5 (45.29),
        // 9 (42.89) and 10 (47.29).
        assert!(
            (found.band.from_deg - (6.0 - 2.409 / 3.6)).abs() < 1e-6
                && (found.band.to_deg - (9.0 + 1.209 / 4.4)).abs() < 1e-6,
            "{found:?}"
        );
        assert!(!found.no_difference);
        assert!(advice(&rows(|_| 40.0), 1.0).no_difference);
        assert!((falls_to(&rows(|_| 1.0), 1.0).unwrap() - 7.25).abs() < 1e-9);
    }
}
