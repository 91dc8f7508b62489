//! A budget: components, with what correlates them, become a combined standard uncertainty
//! (JCGM 100:2008, 5.1.2 and 5.2.2), effective degrees of freedom by Welch and Satterthwaite
//! (G.4.1) and an expanded uncertainty at a stated coverage. Everything is in the result's unit.
//! Components without degrees of freedom of their own are taken as exactly known.

use super::component::Component;
use super::quantile::student_coverage;

/// The components of one result.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Budget {
    components: Vec<Component>,
    /// Which two, and their correlation coefficient.
    correlations: Vec<(usize, usize, f64)>,
}

/// An expanded uncertainty and what it stands on.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Expanded {
    /// Combined standard uncertainty.
    pub u: f64,
    /// Effective degrees of freedom; infinite where every component is taken as known.
    pub freedom: f64,
    /// The probability that is covered, 0 to 1.
    pub coverage: f64,
    /// Coverage factor: so many `u` either way.
    pub coverage_factor: f64,
    /// Expanded uncertainty: `coverage_factor` times `u`.
    pub expanded: f64,
}

/// One line of a budget.
#[derive(Clone, Debug, PartialEq)]
pub struct Share<'a> {
    /// The component.
    pub component: &'a Component,
    /// What it adds by itself, not negative.
    pub contribution: f64,
    /// Its part of the combined variance, 0 to 1, correlations shared out; they may make one
    /// negative.
    pub part: f64,
}

impl Budget {
    /// An empty one.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// Adds a component and says its place, for [`Budget::correlate`].
    pub fn add(&mut self, component: Component) -> usize {
        self.components.push(component);
        self.components.len() - 1
    }

    /// The same budget with this component.
    #[must_use]
    pub fn with(mut self, component: Component) -> Self {
        self.components.push(component);
        self
    }

    /// States that two components are correlated, -1 to 1; a place that is not there, or a
    /// component with itself, says nothing.
    pub fn correlate(&mut self, one: usize, other: usize, coefficient: f64) {
        let there = one.max(other) < self.components.len();
        if there && one != other {
            self.correlations.push((one, other, coefficient.clamp(-1.0, 1.0)));
        }
    }

    /// The components, in the order in which they were added.
    #[must_use]
    pub fn components(&self) -> &[Component] {
        &self.components
    }

    /// Combined standard uncertainty (5.2.2).
    #[must_use]
    pub fn combined(&self) -> f64 {
        self.variance().sqrt()
    }

    /// Effective degrees of freedom (G.4.1), not cut down to a whole number. The formula is for
    /// independent components; correlated ones are counted in the combined uncertainty only.
    #[must_use]
    pub fn freedom(&self) -> f64 {
        let weight = |c: &Component| c.contribution().powi(4) / c.freedom;
        let sum: f64 = self.components.iter().filter(|c| c.freedom.is_finite()).map(weight).sum();
        if sum > 0.0 { self.variance().powi(2) / sum } else { f64::INFINITY }
    }

    /// Expanded uncertainty that covers this probability (G.4.1): the degrees of freedom are cut
    /// down to a whole number first, and are at least one.
    #[must_use]
    pub fn expanded(&self, coverage: f64) -> Expanded {
        let u = self.combined();
        let freedom = self.freedom();
        let coverage_factor = student_coverage(coverage, freedom.floor().max(1.0));
        Expanded { u, freedom, coverage, coverage_factor, expanded: coverage_factor * u }
    }

    /// The lines, in order, each with its part of the combined variance.
    #[must_use]
    pub fn shares(&self) -> Vec<Share<'_>> {
        let variance = self.variance();
        let contributions: Vec<f64> = self.components.iter().map(Component::contribution).collect();
        let mut own: Vec<f64> = contributions.iter().map(|c| c * c).collect();
        for &(i, j, r) in &self.correlations {
            let shared = r * contributions[i] * contributions[j];
            own[i] += shared;
            own[j] += shared;
        }
        let part = |own: f64| if variance > 0.0 { own / variance } else { 0.0 };
        self.components
            .iter()
            .zip(own)
            .map(|(component, own)| Share {
                component,
                contribution: component.contribution().abs(),
                part: part(own),
            })
            .collect()
    }

    fn variance(&self) -> f64 {
        let contribution = |i: usize| self.components.get(i).map_or(0.0, Component::contribution);
        let own: f64 = self.components.iter().map(|c| c.contribution().powi(2)).sum();
        let pair = |&(i, j, r): &(usize, usize, f64)| 2.0 * r * contribution(i) * contribution(j);
        let whole = own + self.correlations.iter().map(pair).sum::<f64>();
        // Rounding may leave less than nothing, and no components leave a negative zero; what is no
        // number must stay none.
        if whole <= 0.0 { 0.0 } else { whole }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_empty_budget_is_exact() {
        let nothing = Budget::new();
        assert_eq!((nothing.combined(), nothing.freedom()), (0.0, f64::INFINITY));
        assert_eq!(nothing.expanded(0.95).expanded, 0.0);
    }

    #[test]
    fn shares_add_up_to_the_whole() {
        let mut budget = Budget::new();
        let a = budget.add(Component::standard("a", 3.0, 5.0));
        let b = budget.add(Component::rectangular("b", 2.0).times(-2.0));
        budget.correlate(a, b, 0.4);
        let parts: f64 = budget.shares().iter().map(|s| s.part).sum();
        assert!((parts - 1.0).abs() < 1e-12, "{parts}");
    }

    #[test]
    fn what_correlates_fully_the_other_way_round_cancels() {
        let mut budget = Budget::new();
        let a = budget.add(Component::standard("a", 3.0, 5.0));
        let b = budget.add(Component::standard("b", 3.0, 5.0).times(-1.0));
        budget.correlate(a, b, 1.0);
        budget.correlate(a, a, 1.0);
        for nowhere in [2, 9] {
            budget.correlate(a, nowhere, 1.0);
        }
        assert!(budget.combined() < 1e-9);
        assert_eq!(budget.shares().len(), 2);
    }

    #[test]
    fn what_rounding_leaves_below_nothing_is_nothing() {
        // In doubles, the squares and twice the products of 0.1, 0.6 and -0.7 add up to -1.1e-16.
        let mut budget = Budget::new();
        let places =
            [0.1, 0.6, -0.7].map(|c| budget.add(Component::standard("", 1.0, 9.0).times(c)));
        for (one, other) in [(0, 1), (0, 2), (1, 2)] {
            budget.correlate(places[one], places[other], 1.0);
        }
        assert_eq!(budget.combined().to_bits(), 0);
        assert_eq!(Budget::new().combined().to_bits(), 0);
    }

    #[test]
    fn exactly_known_components_have_no_part_in_a_variance_of_nothing() {
        let exact = Budget::new().with(Component::standard("a", 0.0, 9.0));
        assert_eq!(exact.shares()[0].part.to_bits(), 0);
    }
}
