//! A small network of resistors, junctions and current sources -> the volts of its nodes, by
//! nodal analysis (dense elimination; Newton's method where there are junctions). Ohms, volts
//! and amps throughout. Nodes that nothing connects are apart: [`Solution::between`] says `None`
//! there rather than inventing a voltage. What the nodes stand for is the circuit's matter.

/// Leakage across a junction, in siemens, so that a blocked one still ties its nodes together.
const LEAKAGE_SIEMENS: f64 = 1e-12;
/// Thermal voltage kT/q at 27 degrees Celsius, in volts (k/q = 8.617333262e-5 V/K, CODATA 2018).
const THERMAL_VOLTS: f64 = 8.617_333_262e-5 * 300.15;
/// Most rounds of Newton's method; it needs about ten.
const ROUNDS_MAX: usize = 300;

/// A junction after Shockley: amps = saturation (exp(volts / emission) - 1).
#[derive(Clone, Copy, Debug)]
pub(crate) struct Junction {
    /// Saturation current, in amps.
    pub(crate) saturation_amps: f64,
    /// Emission coefficient times thermal voltage, in volts.
    pub(crate) emission_volts: f64,
}

impl Junction {
    /// A silicon diode: 0.655 V at 1 mA.
    pub(crate) const SILICON: Self = Self { saturation_amps: 1e-14, emission_volts: THERMAL_VOLTS };

    /// A lamp that drops `forward_volts` at 10 mA.
    pub(crate) fn lamp(forward_volts: f64) -> Self {
        let emission_volts = 2.0 * THERMAL_VOLTS;
        Self { saturation_amps: 0.010 * (-forward_volts / emission_volts).exp(), emission_volts }
    }

    /// The largest step that Newton's method may take from `old` towards `new`.
    fn limited(&self, new: f64, old: f64) -> f64 {
        let e = self.emission_volts;
        let critical = e * (e / (self.saturation_amps * std::f64::consts::SQRT_2)).ln();
        if new <= critical || (new - old).abs() <= 2.0 * e {
            new
        } else if old > 0.0 {
            let step = 1.0 + (new - old) / e;
            if step > 0.0 { old + e * step.ln() } else { critical }
        } else {
            e * (new / e).ln()
        }
    }
}

/// The network, as it is being put together.
#[derive(Clone, Debug, Default)]
pub(crate) struct Network {
    nodes: usize,
    conductances: Vec<(usize, usize, f64)>,
    junctions: Vec<(usize, usize, Junction)>,
    sources: Vec<(usize, usize, f64)>,
}

/// The volts of every node, each against the first node of its connected part.
#[derive(Clone, Debug)]
pub(crate) struct Solution {
    volts: Vec<f64>,
    part: Vec<usize>,
}

impl Solution {
    /// Volts of `a` against `b`; `None` where nothing connects the two.
    pub(crate) fn between(&self, a: usize, b: usize) -> Option<f64> {
        (self.part[a] == self.part[b]).then(|| self.volts[a] - self.volts[b])
    }
}

impl Network {
    /// A network of this many nodes, with nothing between them.
    pub(crate) fn new(nodes: usize) -> Self {
        Self { nodes, ..Self::default() }
    }

    /// One more node.
    pub(crate) fn node(&mut self) -> usize {
        self.nodes += 1;
        self.nodes - 1
    }

    /// A resistor of `ohms` (above 0) between two nodes.
    pub(crate) fn resistor(&mut self, a: usize, b: usize, ohms: f64) {
        if a != b {
            self.conductances.push((a, b, 1.0 / ohms));
        }
    }

    /// A junction.
    pub(crate) fn junction(&mut self, anode: usize, cathode: usize, junction: Junction) {
        self.conductances.push((anode, cathode, LEAKAGE_SIEMENS));
        self.junctions.push((anode, cathode, junction));
    }

    /// A source that drives `amps` into one node and out of the other, if a path leads back.
    pub(crate) fn source(&mut self, into: usize, out_of: usize, amps: f64) {
        self.sources.push((into, out_of, amps));
    }

    /// The volts of every node.
    pub(crate) fn solve(&self) -> Solution {
        let part = self.connected_parts();
        let mut across = vec![0.0; self.junctions.len()];
        let mut volts = self.linear(&part, &across);
        for _ in 0..ROUNDS_MAX {
            let mut moved = false;
            for (old, (anode, cathode, junction)) in across.iter_mut().zip(&self.junctions) {
                let new = junction.limited(volts[*anode] - volts[*cathode], *old);
                moved |= (new - *old).abs() > 1e-11 + 1e-11 * new.abs();
                *old = new;
            }
            if !moved {
                break;
            }
            volts = self.linear(&part, &across);
        }
        Solution { volts, part }
    }

    /// For each node the smallest node that it is connected with.
    fn connected_parts(&self) -> Vec<usize> {
        let mut part: Vec<usize> = (0..self.nodes).collect();
        loop {
            let mut changed = false;
            for &(a, b, _) in &self.conductances {
                let least = part[a].min(part[b]);
                changed |= part[a] != least || part[b] != least;
                part[a] = least;
                part[b] = least;
            }
            if !changed {
                return part;
            }
        }
    }

    /// Solves with each junction replaced by its tangent at the volts `across` it.
    fn linear(&self, part: &[usize], across: &[f64]) -> Vec<f64> {
        let n = self.nodes;
        let mut rows = vec![0.0; n * n];
        let mut right = vec![0.0; n];
        let mut stamp = |a: usize, b: usize, siemens: f64| {
            rows[a * n + a] += siemens;
            rows[b * n + b] += siemens;
            rows[a * n + b] -= siemens;
            rows[b * n + a] -= siemens;
        };
        for &(a, b, siemens) in &self.conductances {
            stamp(a, b, siemens);
        }
        for (volts, (anode, cathode, junction)) in across.iter().zip(&self.junctions) {
            let e = junction.emission_volts;
            let grown = junction.saturation_amps * (volts / e).exp();
            stamp(*anode, *cathode, grown / e);
            let amps = grown - junction.saturation_amps - grown / e * volts;
            right[*anode] -= amps;
            right[*cathode] += amps;
        }
        for &(into, out_of, amps) in &self.sources {
            if part[into] == part[out_of] {
                right[into] += amps;
                right[out_of] -= amps;
            }
        }
        for node in (0..n).filter(|&node| part[node] == node) {
            rows[node * n..(node + 1) * n].fill(0.0);
            rows[node * n + node] = 1.0;
            right[node] = 0.0;
        }
        eliminate(&mut rows, &mut right);
        right
    }
}

/// Gauss's elimination with row pivoting; the solution stands in `right` afterwards.
fn eliminate(rows: &mut [f64], right: &mut [f64]) {
    let n = right.len();
    for column in 0..n {
        let pivot = (column..n)
            .max_by(|&a, &b| rows[a * n + column].abs().total_cmp(&rows[b * n + column].abs()))
            .unwrap_or(column);
        if pivot != column {
            for k in 0..n {
                rows.swap(pivot * n + k, column * n + k);
            }
            right.swap(pivot, column);
        }
        for row in column + 1..n {
            let factor = rows[row * n + column] / rows[column * n + column];
            if factor != 0.0 {
                for k in column..n {
                    rows[row * n + k] -= factor * rows[column * n + k];
                }
                right[row] -= factor * right[column];
            }
        }
    }
    for row in (0..n).rev() {
        let known: f64 = (row + 1..n).map(|k| rows[row * n + k] * right[k]).sum();
        right[row] = (right[row] - known) / rows[row * n + row];
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn near(found: f64, expected: f64, relative: f64) {
        let off = (found - expected).abs() / expected.abs();
        assert!(off < relative, "found {found}, expected {expected}, off by {off:e}");
    }

    /// Apparent ohms of a coil with a diode across it, at a test current into the anode's side.
    fn ohmmeter(coil_ohms: f64, amps: f64) -> f64 {
        let mut network = Network::new(2);
        network.resistor(0, 1, coil_ohms);
        network.junction(0, 1, Junction::SILICON);
        network.source(0, 1, amps);
        network.solve().between(0, 1).unwrap() / amps
    }

    #[test]
    fn an_ohmmeter_sees_a_diode_across_a_coil_one_way_round() {
        // ngspice 39, and the closed form v/R + Is (exp(v/Vt) - 1) = I at 27 degrees Celsius.
        near(ohmmeter(1600.0, 1e-3), 641.85561, 1e-7);
        near(ohmmeter(1600.0, -1e-3), 1600.0, 1e-7);
        near(ohmmeter(1600.0, 1e-4), 1599.9999224, 1e-7);
        near(ohmmeter(400.0, 1e-3), 399.97920, 1e-7);
        near(ohmmeter(1e12, 1e-3) * 1e-3, 0.65511812, 1e-6);
    }

    #[test]
    fn a_mesh_has_the_resistance_between_any_two_nodes() {
        // networkx 3.6.1 resistance_distance on the same five edges.
        let edges = [(0, 1, 1e3), (1, 2, 2.2e3), (0, 2, 4.7e3), (2, 3, 3.3e3), (1, 3, 10e3)];
        for (a, b, expected) in
            [(0, 3, 3776.974747), (0, 2, 1788.725449), (1, 3, 3282.884108), (0, 1, 868.208486)]
        {
            let mut network = Network::new(4);
            for (from, to, ohms) in edges {
                network.resistor(from, to, ohms);
            }
            network.source(a, b, 1.0);
            near(network.solve().between(a, b).unwrap(), expected, 1e-9);
        }
    }

    #[test]
    fn a_sagging_source_feeds_a_coil_through_cable() {
        // ngspice 39 and the ladder formula: 12 V, 1.5 ohm source, 4.21 ohm each way, 400 ohm
        // coil, a 24 ohm siren on the same output.
        let mut network = Network::new(4);
        network.resistor(0, 1, 1.5);
        network.source(0, 1, 12.0 / 1.5);
        network.resistor(0, 1, 24.0);
        network.resistor(0, 2, 4.21);
        network.resistor(2, 3, 400.0);
        network.resistor(3, 1, 4.21);
        near(network.solve().between(2, 3).unwrap(), 11.023174502, 1e-9);
        near(network.solve().between(0, 1).unwrap(), 11.255212325, 1e-9);
    }

    #[test]
    fn nodes_apart_have_no_voltage_between_them() {
        let mut network = Network::new(4);
        network.resistor(0, 1, 100.0);
        network.source(0, 1, 1.0);
        network.source(2, 3, 1.0);
        let solution = network.solve();
        assert_eq!(solution.between(0, 2), None);
        near(solution.between(0, 1).unwrap(), 100.0, 1e-12);
    }

    #[test]
    fn a_hard_driven_junction_still_settles() {
        let mut network = Network::new(2);
        network.resistor(0, 1, 0.05);
        network.source(0, 1, 24.0 / 0.05);
        network.junction(0, 1, Junction::SILICON);
        let volts = network.solve().between(0, 1).unwrap();
        let amps = 1e-14 * (volts / THERMAL_VOLTS).exp();
        near(volts + 0.05 * amps, 24.0, 1e-6);
    }
}
