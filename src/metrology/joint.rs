//! Several quantities read together, time after time: their means, the standard uncertainty of
//! each mean, and how the means correlate (JCGM 100:2008, 5.2.3; example H.2). Rows are
//! observations, columns quantities; every row is complete.

use super::budget::Budget;
use super::component::{Component, Shape, mean_and_deviation};

/// What simultaneous observations say.
#[derive(Clone, Debug, PartialEq)]
pub struct Joint {
    names: Vec<String>,
    columns: Vec<Vec<f64>>,
    means: Vec<f64>,
    us: Vec<f64>,
}

impl Joint {
    /// From columns of equal length, at least two observations each; `None` otherwise.
    #[must_use]
    pub fn observed(columns: &[(&str, &[f64])]) -> Option<Self> {
        let count = columns.first()?.1.len();
        if columns.iter().any(|(_, column)| column.len() != count) {
            return None;
        }
        let mut joint = Self { names: vec![], columns: vec![], means: vec![], us: vec![] };
        for (name, column) in columns {
            let (mean, deviation) = mean_and_deviation(column)?;
            joint.names.push((*name).to_owned());
            joint.columns.push(column.to_vec());
            joint.means.push(mean);
            joint.us.push(deviation / (count as f64).sqrt());
        }
        Some(joint)
    }

    /// The means.
    #[must_use]
    pub fn means(&self) -> &[f64] {
        &self.means
    }

    /// Standard uncertainties of the means.
    #[must_use]
    pub fn us(&self) -> &[f64] {
        &self.us
    }

    /// Correlation coefficient of the means of two columns; 0 where one of them never moves or
    /// is not there.
    #[must_use]
    pub fn correlation(&self, one: usize, other: usize) -> f64 {
        let (Some(a), Some(b)) = (self.columns.get(one), self.columns.get(other)) else {
            return 0.0;
        };
        let n = a.len() as f64;
        let (mean_a, mean_b) = (self.means[one], self.means[other]);
        let products: f64 = a.iter().zip(b).map(|(x, y)| (x - mean_a) * (y - mean_b)).sum();
        let r = products / (n * (n - 1.0)) / (self.us[one] * self.us[other]);
        if r.is_finite() { r.clamp(-1.0, 1.0) } else { 0.0 }
    }

    /// The budget of a result that moves by these sensitivities per unit of each column.
    #[must_use]
    pub fn budget(&self, sensitivities: &[f64]) -> Budget {
        let mut budget = Budget::new();
        let freedom = self.columns.first().map_or(0.0, |c| c.len() as f64 - 1.0);
        for ((name, u), c) in self.names.iter().zip(&self.us).zip(sensitivities) {
            let component = Component::standard(name.clone(), *u, freedom).times(*c);
            budget.add(Component { shape: Shape::Repeated, ..component });
        }
        for i in 0..self.columns.len() {
            (0..i).for_each(|j| budget.correlate(i, j, self.correlation(i, j)));
        }
        budget
    }

    /// Correlation coefficient of two results of the same inputs (H.2, Table H.3).
    #[must_use]
    pub fn correlation_of_results(&self, one: &[f64], other: &[f64]) -> f64 {
        let mut covariance = 0.0;
        for (i, a) in one.iter().enumerate().take(self.us.len()) {
            for (j, b) in other.iter().enumerate().take(self.us.len()) {
                let r = if i == j { 1.0 } else { self.correlation(i, j) };
                covariance += a * b * self.us[i] * self.us[j] * r;
            }
        }
        covariance / (self.budget(one).combined() * self.budget(other).combined())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn columns_of_unequal_length_are_not_observations() {
        assert_eq!(Joint::observed(&[("a", &[1.0, 2.0]), ("b", &[1.0])]), None);
        assert_eq!(Joint::observed(&[]), None);
    }

    #[test]
    fn the_budget_of_readings_says_that_they_were_repeated_and_how_often() {
        // JCGM 100:2008, 4.2.6: n - 1 degrees of freedom.
        let joint = Joint::observed(&[("a", &[1.0, 2.0, 4.0, 4.5])]).unwrap();
        let budget = joint.budget(&[2.0]);
        let component = &budget.components()[0];
        assert_eq!((component.shape, component.freedom), (Shape::Repeated, 3.0));
        assert!((budget.freedom() - 3.0).abs() < 1e-12);
    }

    #[test]
    fn a_column_that_never_moves_correlates_with_nothing() {
        let joint = Joint::observed(&[("a", &[1.0, 2.0, 4.0]), ("b", &[5.0; 3])]).unwrap();
        assert_eq!(joint.correlation(0, 1), 0.0);
        assert_eq!(joint.correlation(0, 7), 0.0);
    }
}
