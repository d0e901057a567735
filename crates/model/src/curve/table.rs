//! Rate against temperature as straight lines between nodes, integrated
//! exactly over a straight run of temperature.

/// Lookup bins in a °C.
const BINS: f64 = 10.0;

#[derive(Debug, Clone, Copy, PartialEq)]
struct Node {
    celsius: f64,
    /// Rate per hour.
    rate: f64,
    /// Rise of the rate to the next node, per hour and °C.
    slope: f64,
    /// Area under the curve from the first node to this one.
    area: f64,
}

/// A tenth of a degree with the segment that runs through it.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Bin {
    segment: u16,
    /// Whether another segment begins inside.
    bent: bool,
    /// The node that the segment begins with.
    node: Node,
}

/// A rate per hour: zero below the first node, zero at and above the last.
#[derive(Debug, Clone, PartialEq)]
pub struct Table {
    nodes: Vec<Node>,
    bins: Vec<Bin>,
    /// First and last node, °C.
    reach: (f64, f64),
}

impl Table {
    /// A table of at least two `(°C, rate per hour)` nodes with rising
    /// temperatures; at most 65,535.
    pub(super) fn new(pairs: &[(f64, f64)]) -> Table {
        let mut nodes: Vec<Node> =
            pairs.iter().map(|&(celsius, rate)| Node { celsius, rate, slope: 0.0, area: 0.0 }).collect();
        for i in 1..nodes.len() {
            let (left, right) = (nodes[i - 1], nodes[i]);
            let width = right.celsius - left.celsius;
            nodes[i - 1].slope = (right.rate - left.rate) / width;
            nodes[i].area = left.area + width * (left.rate + right.rate) / 2.0;
        }
        let reach = (nodes[0].celsius, nodes[nodes.len() - 1].celsius);
        let count = ((reach.1 - reach.0) * BINS) as usize + 1;
        // The first one stands twice: see `bin`.
        let bins = std::iter::once(0).chain(0..count);
        let bins = bins.map(|bin| Bin::new(&nodes, reach.0 + bin as f64 / BINS)).collect();
        Table { nodes, bins, reach }
    }

    /// First and last node, °C.
    pub fn reach(&self) -> (f64, f64) {
        self.reach
    }

    /// The nodes as `(°C, rate per hour)`.
    pub fn nodes(&self) -> impl Iterator<Item = (f64, f64)> + '_ {
        self.nodes.iter().map(|node| (node.celsius, node.rate))
    }

    /// Rate per hour at a temperature.
    pub fn rate(&self, celsius: f64) -> f64 {
        let (first, last) = self.reach();
        if celsius < first || celsius >= last {
            return 0.0;
        }
        self.within(self.segment(celsius), celsius)
    }

    /// Greatest rate per hour.
    pub fn greatest(&self) -> f64 {
        self.nodes.iter().fold(0.0, |most, node| most.max(node.rate))
    }

    /// Area under the curve up to a temperature, from the first node on.
    #[inline]
    pub(crate) fn area(&self, celsius: f64) -> f64 {
        // Not `max` and `min`: these would also mind a NaN, which no reading is.
        let celsius = if celsius > self.reach.0 { celsius } else { self.reach.0 };
        let celsius = if celsius < self.reach.1 { celsius } else { self.reach.1 };
        let bin = self.bin(celsius);
        let node = if bin.bent { &self.nodes[self.segment(celsius)] } else { &bin.node };
        let over = celsius - node.celsius;
        node.area + over * (node.rate + 0.5 * node.slope * over)
    }

    /// Mean rate per hour while the temperature runs straight from `a` to `b`.
    pub fn mean(&self, a: f64, b: f64) -> f64 {
        let (low, high) = if a <= b { (a, b) } else { (b, a) };
        let (first, last) = self.reach();
        if high <= first || low >= last {
            // Only touching the first node still grows where it all stands there.
            return if low == high { self.rate(low) } else { 0.0 };
        }
        let (from, to) = (low.max(first), high.min(last));
        let (i, j) = (self.segment(from), self.segment(to));
        if i == j && from == low && to == high {
            return (self.within(i, from) + self.within(i, to)) / 2.0;
        }
        let area = if i == j {
            (to - from) * (self.within(i, from) + self.within(i, to)) / 2.0
        } else {
            let (after, before) = (self.nodes[i + 1], self.nodes[j]);
            (after.celsius - from) * (self.within(i, from) + after.rate) / 2.0
                + (before.area - after.area)
                + (to - before.celsius) * (before.rate + self.within(j, to)) / 2.0
        };
        area / (high - low)
    }

    /// Least and greatest rate per hour over all temperatures in `[low, high]`.
    pub fn bounds(&self, low: f64, high: f64) -> (f64, f64) {
        let (first, last) = self.reach();
        let mut least = self.rate(low).min(self.rate(high));
        let mut most = self.rate(low).max(self.rate(high));
        for node in &self.nodes {
            if (low..=high).contains(&node.celsius) {
                most = most.max(node.rate);
                least = least.min(node.rate);
            }
        }
        if low < first || high >= last {
            least = 0.0;
        }
        (least, most)
    }

    /// The bin that a temperature within the reach lies in. Half a bin is added
    /// and rounded to the nearest, so the first one is number 1; on an edge it
    /// may be the bin on either side, and there both say the same.
    #[inline]
    fn bin(&self, celsius: f64) -> &Bin {
        let bin = rounded((celsius - self.reach.0) * BINS + 0.5) as usize;
        &self.bins[bin.min(self.bins.len() - 1)]
    }

    /// The segment that a temperature within the reach lies in; the last node
    /// belongs to the last segment.
    fn segment(&self, celsius: f64) -> usize {
        let mut segment = usize::from(self.bin(celsius).segment);
        while segment + 2 < self.nodes.len() && self.nodes[segment + 1].celsius <= celsius {
            segment += 1;
        }
        while segment > 0 && self.nodes[segment].celsius > celsius {
            segment -= 1;
        }
        segment
    }

    #[inline]
    fn within(&self, segment: usize, celsius: f64) -> f64 {
        let node = self.nodes[segment];
        node.rate + node.slope * (celsius - node.celsius)
    }
}

/// To the nearest whole number, for 0 up to 2⁵¹. The sum lands where doubles
/// are whole numbers; a cast would do more, since it minds what does not fit.
#[inline]
pub(crate) fn rounded(number: f64) -> i64 {
    const WHOLE: f64 = (1_u64 << 52) as f64;
    ((number + WHOLE).to_bits() & ((1 << 52) - 1)) as i64
}

impl Bin {
    /// The bin from `low` on.
    fn new(nodes: &[Node], low: f64) -> Bin {
        // A node that should lie on an edge may lie a hair beside it: there both
        // segments say the same, so it does not bend the bin.
        const HAIR: f64 = 1e-9;
        let middle = low + 0.5 / BINS;
        let segment =
            nodes[..nodes.len() - 1].partition_point(|node| node.celsius <= middle).saturating_sub(1);
        let inside = |node: &Node| low + HAIR < node.celsius && node.celsius < low + 1.0 / BINS - HAIR;
        let bent = nodes[..nodes.len() - 1].iter().any(inside);
        Bin { segment: segment as u16, bent, node: nodes[segment] }
    }
}
