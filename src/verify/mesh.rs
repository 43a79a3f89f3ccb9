//! A network of resistances and current sources, folded down to the points that are asked about.
//!
//! Comes in: conductances between named nodes, and currents into nodes. Goes out: the same network as seen
//! from fewer nodes, the resistance between two of them, or the voltage of each. Why: a claim of a plan
//! concerns a handful of points, and what lies behind them need be worked out once for many claims.
//!
//! A node goes by the star-mesh transformation (A. Rosen, 1924; textbooks of network theory): its
//! neighbours are joined pairwise by `g_i g_j / sum g`, and its current is shared out by `g_i / sum g`. Only sums,
//! products and quotients of positive numbers come up, so nothing is lost by cancellation, and a part that is
//! cut off simply falls away: no pivot can be nothing.
//!
//! Cost: nodes with few neighbours go first, and wiring is tree-like: near-linear.

/// A network. Its nodes have names from outside, in rising order.
#[derive(Debug, Clone, Default)]
pub(super) struct Mesh {
    names: Vec<u32>,
    near: Vec<Vec<(u32, f64)>>,
    into: Vec<f64>,
}

/// A node that has gone: where, its neighbours then with their shares, and what its own current adds.
struct Gone {
    node: u32,
    shares: Vec<(u32, f64)>,
    volts: f64,
}

impl Mesh {
    /// Nodes with the names 0 to `count`, joined by nothing.
    pub(super) fn new(count: usize) -> Self {
        Self { names: (0..count as u32).collect(), near: vec![Vec::new(); count], into: vec![0.0; count] }
    }

    /// How many nodes there are.
    pub(super) fn len(&self) -> usize {
        self.names.len()
    }

    fn at(&self, name: usize) -> Option<u32> {
        self.names.binary_search(&(name as u32)).ok().map(|at| at as u32)
    }

    /// Joins two nodes by a conductance whose source lifts the first above the second by `emf`.
    pub(super) fn join(&mut self, [a, b]: [usize; 2], siemens: f64, emf: f64) {
        let (Some(a), Some(b)) = (self.at(a), self.at(b)) else { return };
        if a != b {
            self.add(a, b, siemens);
            self.into[a as usize] += siemens * emf;
            self.into[b as usize] -= siemens * emf;
        }
    }

    fn add(&mut self, a: u32, b: u32, siemens: f64) {
        // The shorter of the two lists says whether they are joined yet.
        let [few, many] =
            if self.near[a as usize].len() <= self.near[b as usize].len() { [a, b] } else { [b, a] };
        let known = self.near[few as usize].iter_mut().find(|(other, _)| *other == many);
        if let Some((_, sum)) = known {
            *sum += siemens;
            if let Some((_, sum)) = self.near[many as usize].iter_mut().find(|(other, _)| *other == few) {
                *sum += siemens;
            }
        } else {
            self.near[few as usize].push((many, siemens));
            self.near[many as usize].push((few, siemens));
        }
    }

    /// The same network without the nodes that need not be kept; those with more than `most` neighbours
    /// stay too, because a star of many points makes a mesh of many more ways.
    pub(super) fn fold(mut self, keep: &[usize], most: usize) -> Self {
        let mut kept = vec![false; self.len()];
        for node in keep.iter().filter_map(|name| self.at(*name)) {
            kept[node as usize] = true;
        }
        self.eliminate(&kept, most, false);
        self.compact(&kept)
    }

    /// Takes nodes out, those with the fewest neighbours first; with `log` says how to find their voltages.
    fn eliminate(&mut self, kept: &[bool], most: usize, log: bool) -> Vec<Gone> {
        let mut queue: Vec<Vec<u32>> = Vec::new();
        let put = |queue: &mut Vec<Vec<u32>>, degree: usize, node: u32| {
            if degree <= most {
                queue.resize_with(queue.len().max(degree + 1), Vec::new);
                queue[degree].push(node);
            }
        };
        let mut out: Vec<bool> = kept.to_vec();
        for node in (0..self.len() as u32).rev().filter(|node| !kept[*node as usize]) {
            put(&mut queue, self.near[node as usize].len(), node);
        }
        let mut gone = Vec::new();
        let mut degree = 0;
        while degree < queue.len() {
            let Some(node) = queue[degree].pop() else {
                degree += 1;
                continue;
            };
            if out[node as usize] || self.near[node as usize].len() != degree {
                continue;
            }
            out[node as usize] = true;
            let taken = self.take(node);
            for (other, _) in taken.shares.iter().filter(|(other, _)| !out[*other as usize]) {
                let now = self.near[*other as usize].len();
                put(&mut queue, now, *other);
                degree = degree.min(now);
            }
            if log {
                gone.push(taken);
            }
        }
        gone
    }

    /// Star to mesh.
    fn take(&mut self, node: u32) -> Gone {
        let mut shares = std::mem::take(&mut self.near[node as usize]);
        let sum: f64 = shares.iter().map(|(_, siemens)| siemens).sum();
        let amps = std::mem::take(&mut self.into[node as usize]);
        for (other, _) in &shares {
            let list = &mut self.near[*other as usize];
            if let Some(at) = list.iter().position(|(back, _)| *back == node) {
                list.swap_remove(at);
            }
        }
        for (at, (a, siemens)) in shares.iter().enumerate() {
            for (b, other) in &shares[at + 1..] {
                self.add(*a, *b, siemens * other / sum);
            }
            self.into[*a as usize] += amps * siemens / sum;
        }
        for (_, share) in &mut shares {
            *share /= sum;
        }
        // A node that nothing joins any more is the reference of what hung on it.
        Gone { node, volts: if shares.is_empty() { 0.0 } else { amps / sum }, shares }
    }

    /// Drops the nodes that have gone.
    fn compact(self, kept: &[bool]) -> Self {
        let stays = |at: usize| kept[at] || !self.near[at].is_empty();
        let mut new = vec![u32::MAX; self.len()];
        let mut mesh = Self::default();
        for at in (0..self.len()).filter(|at| stays(*at)) {
            new[at] = mesh.names.len() as u32;
            mesh.names.push(self.names[at]);
            mesh.into.push(self.into[at]);
        }
        for (at, near) in self.near.into_iter().enumerate().filter(|(at, _)| new[*at] != u32::MAX) {
            debug_assert_eq!(new[at] as usize, mesh.near.len());
            mesh.near.push(near.into_iter().map(|(b, siemens)| (new[b as usize], siemens)).collect());
        }
        mesh
    }

    /// The resistance between two nodes; `None` where nothing joins them.
    pub(super) fn resistance(&self, [a, b]: [usize; 2]) -> Option<f64> {
        let (Some(from), Some(to)) = (self.at(a), self.at(b)) else { return None };
        if from == to {
            return Some(0.0);
        }
        let mut mesh = self.clone();
        let mut kept = vec![false; self.len()];
        kept[from as usize] = true;
        kept[to as usize] = true;
        mesh.eliminate(&kept, usize::MAX, false);
        mesh.near[from as usize].first().map(|(_, siemens)| 1.0 / siemens)
    }

    /// The voltage of every node against a reference in its own part of the network.
    pub(super) fn volts(mut self) -> Volts {
        let kept = vec![false; self.len()];
        let gone = self.eliminate(&kept, usize::MAX, true);
        let mut volts = vec![0.0; self.len()];
        let mut part: Vec<u32> = (0..self.len() as u32).collect();
        for Gone { node, shares, volts: own } in gone.iter().rev() {
            let lifted = shares.iter().map(|(other, share)| share * volts[*other as usize]).sum::<f64>();
            volts[*node as usize] = own + lifted;
            if let Some((other, _)) = shares.first() {
                part[*node as usize] = part[*other as usize];
            }
        }
        Volts { names: self.names, lifted: volts, part }
    }
}

/// Solved voltages.
#[derive(Debug, Clone)]
pub(super) struct Volts {
    names: Vec<u32>,
    lifted: Vec<f64>,
    part: Vec<u32>,
}

impl Volts {
    /// By how much the first node stands above the second; 0 V where nothing joins them.
    pub(super) fn between(&self, a: usize, b: usize) -> f64 {
        let at = |name: usize| self.names.binary_search(&(name as u32)).ok();
        match (at(a), at(b)) {
            (Some(a), Some(b)) if self.part[a] == self.part[b] => self.lifted[a] - self.lifted[b],
            _ => 0.0,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Ends, siemens, and by how many volts the first is lifted above the second.
    type Branch = ([usize; 2], f64, f64);

    fn close(a: f64, b: f64) -> bool {
        (a - b).abs() <= 1e-9 * (1.0 + b.abs())
    }

    /// Wheatstone's bridge, out of balance: arms 1 and 2 from the top, 3 and 4 to the bottom, 5 across. By the
    /// delta-star transformation of any textbook: star of the upper delta 1/4, 5/8, 5/4; then
    /// 1/4 + (5/8 + 3) || (5/4 + 4) = 170/71.
    #[test]
    fn a_bridge_out_of_balance() {
        let mut mesh = Mesh::new(4);
        for (ends, ohms) in [([0, 1], 1.0), ([0, 2], 2.0), ([1, 3], 3.0), ([2, 3], 4.0), ([1, 2], 5.0)] {
            mesh.join(ends, 1.0 / ohms, 0.0);
        }
        assert!(close(mesh.resistance([0, 3]).unwrap(), 170.0 / 71.0), "{:?}", mesh.resistance([0, 3]));
        let folded = mesh.fold(&[0, 3], usize::MAX);
        assert_eq!(folded.len(), 2);
        assert!(close(folded.resistance([0, 3]).unwrap(), 170.0 / 71.0));
    }

    /// Two cells in parallel on a load, by Millman's theorem: (12/1 + 6/2) / (1/1 + 1/2 + 1/3) = 90/11 V.
    #[test]
    fn two_cells_on_one_load() {
        let mut mesh = Mesh::new(4);
        mesh.join([0, 1], 1.0, 12.0);
        mesh.join([0, 1], 0.5, 6.0);
        mesh.join([0, 1], 1.0 / 3.0, 0.0);
        mesh.join([2, 3], 1.0, 5.0);
        let volts = mesh.clone().volts();
        assert!(close(volts.between(0, 1), 90.0 / 11.0));
        assert!(close(volts.between(2, 3), 5.0));
        assert!(volts.between(0, 2).abs() < 1e-12, "nothing joins them");
        assert_eq!(mesh.resistance([0, 2]), None);
    }

    /// Gauss and Jordan with pivoting on the whole matrix: slow, and obvious.
    fn dense(size: usize, branches: &[Branch], reference: usize) -> Vec<f64> {
        let mut m = vec![vec![0.0; size + 1]; size];
        for ([a, b], siemens, emf) in branches.iter().filter(|([a, b], ..)| a != b) {
            for (from, to, sign) in [(*a, *b, 1.0), (*b, *a, -1.0)] {
                m[from][from] += siemens;
                m[from][to] -= siemens;
                m[from][size] += sign * siemens * emf;
            }
        }
        m[reference] = vec![0.0; size + 1];
        m[reference][reference] = 1.0;
        for col in 0..size {
            let best = (col..size).max_by(|a, b| m[*a][col].abs().total_cmp(&m[*b][col].abs())).unwrap();
            m.swap(col, best);
            let pivot = m[col].clone();
            for row in (0..size).filter(|row| *row != col) {
                let share = m[row][col] / pivot[col];
                m[row].iter_mut().zip(&pivot).for_each(|(x, p)| *x -= share * p);
            }
        }
        (0..size).map(|row| m[row][size] / m[row][row]).collect()
    }

    /// Numbers below a bound, the same every time.
    fn numbers(mut seed: u64) -> impl FnMut(usize) -> usize {
        move |below| {
            seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            (seed >> 33) as usize % below
        }
    }

    /// A tree, and as many branches again: of 0.1 to 1000 siemens, with up to 10 V either way.
    fn made(seed: u64) -> (usize, Vec<Branch>) {
        let mut number = numbers(seed);
        let size = 3 + number(25);
        let mut pairs: Vec<[usize; 2]> = (1..size).map(|at| [at, number(at)]).collect();
        pairs.extend((0..size).map(|_| [number(size), number(size)]));
        let mut branch = |ends| {
            let siemens = 10f64.powf(number(4000) as f64 / 1000.0 - 1.0);
            (ends, siemens, number(2000) as f64 / 100.0 - 10.0)
        };
        (size, pairs.into_iter().map(&mut branch).collect())
    }

    #[test]
    fn made_networks_are_as_a_dense_solver_finds_them() {
        for seed in 0..200 {
            let (size, branches) = made(seed);
            let mut mesh = Mesh::new(size);
            for (ends, siemens, emf) in &branches {
                mesh.join(*ends, *siemens, *emf);
            }
            let known = dense(size, &branches, 0);
            let whole = mesh.clone().volts();
            let keep: Vec<usize> = (0..size).filter(|at| at % 3 == 0).collect();
            let folded = mesh.clone().fold(&keep, 4);
            let few = folded.clone().volts();
            for (at, volts) in known.iter().enumerate() {
                assert!((whole.between(at, 0) - volts).abs() < 1e-6, "{seed}: {at}");
            }
            for at in keep {
                assert!((few.between(at, 0) - known[at]).abs() < 1e-6, "{seed}: {at}");
                let [a, b] = [&mesh, &folded].map(|mesh| mesh.resistance([0, at]).unwrap());
                assert!(close(a, b), "{seed}: {a} {b}");
            }
        }
    }
}
