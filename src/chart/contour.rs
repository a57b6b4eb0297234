//! Lines of equal value through a grid.

/// Lines where the value on a grid is `level`, as runs of points.
///
/// Marching squares: each cell between four nodes is cut along its edges at
/// `x = x_a + (level - z_a) / (z_b - z_a) (x_b - x_a)`; a saddle is decided by the mean of its corners.
/// `z[row][column]` belongs to `(x[column], y[row])`. Cells with a corner that is not finite are skipped,
/// so a line ends at a gap. Source of the method: Lorensen and Cline 1987, in two dimensions.
pub(crate) fn contour(x: &[f64], y: &[f64], z: &[Vec<f64>], level: f64) -> Vec<Vec<(f64, f64)>> {
    let mut segments: Vec<[(f64, f64); 2]> = Vec::new();
    for row in 0..y.len().saturating_sub(1) {
        for column in 0..x.len().saturating_sub(1) {
            // Corners in turn: south-west, south-east, north-east, north-west.
            let corners = [
                (x[column], y[row], z[row][column]),
                (x[column + 1], y[row], z[row][column + 1]),
                (x[column + 1], y[row + 1], z[row + 1][column + 1]),
                (x[column], y[row + 1], z[row + 1][column]),
            ];
            if corners.iter().any(|c| !c.2.is_finite()) {
                continue;
            }
            let above = corners.map(|c| c.2 >= level);
            let cut = |edge: usize| {
                let (a, b) = (corners[edge], corners[(edge + 1) % 4]);
                let share = (level - a.2) / (b.2 - a.2);
                (a.0 + share * (b.0 - a.0), a.1 + share * (b.1 - a.1))
            };
            let edges: Vec<usize> = (0..4).filter(|e| above[*e] != above[(e + 1) % 4]).collect();
            match edges[..] {
                [a, b] => segments.push([cut(a), cut(b)]),
                [a, b, c, d] => {
                    let middle = corners.iter().map(|c| c.2).sum::<f64>() / 4.0 >= level;
                    if middle == above[0] {
                        segments.push([cut(a), cut(b)]);
                        segments.push([cut(c), cut(d)]);
                    } else {
                        segments.push([cut(d), cut(a)]);
                        segments.push([cut(b), cut(c)]);
                    }
                }
                _ => {}
            }
        }
    }
    joined(segments)
}

/// Joins segments that share an end. Shared ends come from the same edge and so are equal to the bit,
/// or differ by rounding of the two directions in which the edge was read.
fn joined(mut segments: Vec<[(f64, f64); 2]>) -> Vec<Vec<(f64, f64)>> {
    let close = |a: (f64, f64), b: (f64, f64)| {
        let near = |p: f64, q: f64| (p - q).abs() <= 1e-9 * (p.abs() + q.abs()).max(1e-300);
        near(a.0, b.0) && near(a.1, b.1)
    };
    let mut lines = Vec::new();
    // A corner that lies on the level cuts a segment without length.
    segments.retain(|[a, b]| !close(*a, *b));
    while let Some([start, end]) = segments.pop() {
        let mut line = vec![start, end];
        for _ in 0..2 {
            while let Some(&tip) = line.last() {
                let next = segments.iter().position(|[a, b]| close(*a, tip) || close(*b, tip));
                let Some(next) = next else { break };
                let [a, b] = segments.swap_remove(next);
                line.push(if close(a, tip) { b } else { a });
            }
            line.reverse();
        }
        lines.push(line);
    }
    lines
}
