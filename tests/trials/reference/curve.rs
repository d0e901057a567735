//! Growth rate against temperature, on nodes joined by straight lines.

/// Fraction of the style a day at `celsius`: nothing below the first node,
/// nothing at and above the last.
pub fn rate(nodes: &[(f64, f64)], celsius: f64) -> f64 {
    let above = nodes.partition_point(|node| node.0 <= celsius);
    if above == 0 || above == nodes.len() {
        return 0.0;
    }
    let ((a, low), (b, high)) = (nodes[above - 1], nodes[above]);
    low + (high - low) * (celsius - a) / (b - a)
}

/// Least and greatest rate over all temperatures from `coldest` to `warmest`,
/// both within it. Between nodes the rate is a straight line, so both stand at
/// an end or on a node.
pub fn range(nodes: &[(f64, f64)], coldest: f64, warmest: f64) -> (f64, f64) {
    let between = nodes.iter().map(|node| node.0).filter(|at| (coldest..=warmest).contains(at));
    let mut least = f64::INFINITY;
    let mut greatest = 0.0_f64;
    for celsius in between.chain([coldest, warmest]) {
        let rate = rate(nodes, celsius);
        least = least.min(rate);
        greatest = greatest.max(rate);
    }
    (least, greatest)
}

/// The greatest rate at any temperature.
pub fn greatest(nodes: &[(f64, f64)]) -> f64 {
    nodes.iter().map(|node| rate(nodes, node.0)).fold(0.0, f64::max)
}
