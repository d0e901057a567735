//! The normal equations JᵀJ·δ = Jᵀr of least squares, with the columns of J
//! brought to one length, and Cholesky's way through them.

use crate::fit::asked::Observation;
use crate::fit::shape::Shape;

/// A column of which less than this is left when those before it are taken out
/// says nothing of its own.
const NOTHING_LEFT: f64 = 1e-10;

/// The normal equations at one place, with columns of length 1.
pub(super) struct Normal {
    /// Length of each column of slopes.
    lengths: Vec<f64>,
    /// JᵀJ.
    matrix: Vec<Vec<f64>>,
    /// Jᵀ · residuals.
    gradient: Vec<f64>,
    /// Σ residual².
    pub(super) squares: f64,
}

impl Normal {
    pub(super) fn at(shape: &Shape, seen: &[Observation], values: &[f64]) -> Normal {
        let count = values.len();
        let mut matrix = vec![vec![0.0; count]; count];
        let mut gradient = vec![0.0; count];
        let (mut squares, mut row) = (0.0, vec![0.0; count]);
        for seen in seen {
            let left = seen.length - shape.length(values, seen);
            squares += left * left;
            shape.slopes(values, seen, &mut row);
            // Of many nodes an observation touches one.
            for i in (0..count).filter(|i| row[*i] != 0.0) {
                gradient[i] += row[i] * left;
                for j in 0..=i {
                    matrix[i][j] += row[i] * row[j];
                }
            }
        }
        let lengths: Vec<f64> = (0..count).map(|i| libm::sqrt(matrix[i][i])).collect();
        let over: Vec<f64> = lengths.iter().map(|length| if *length > 0.0 { *length } else { 1.0 }).collect();
        for (i, row) in matrix.iter_mut().enumerate() {
            gradient[i] /= over[i];
            row.iter_mut().zip(&over).for_each(|(cell, across)| *cell /= over[i] * across);
        }
        Normal { lengths, matrix, gradient, squares }
    }

    /// Greatest cosine between the residuals and a column of slopes.
    pub(super) fn lean(&self) -> f64 {
        let size = libm::sqrt(self.squares);
        self.gradient.iter().fold(0.0, |most: f64, along| most.max(along.abs() / size))
    }

    /// The values after one step with this damping.
    pub(super) fn step(&self, values: &[f64], damping: f64) -> Option<Vec<f64>> {
        let mut matrix = self.matrix.clone();
        for (i, row) in matrix.iter_mut().enumerate() {
            // A column without slope stays where it is.
            row[i] = if self.lengths[i] > 0.0 { 1.0 + damping } else { 1.0 };
        }
        factor(&mut matrix, 1e-14).ok()?;
        let step = solve(&matrix, &self.gradient);
        let over = |i: usize| if self.lengths[i] > 0.0 { self.lengths[i] } else { 1.0 };
        Some(values.iter().zip(step).enumerate().map(|(i, (value, step))| value + step / over(i)).collect())
    }

    /// √diag((JᵀJ)⁻¹); else the index of a value that these observations do not
    /// tell.
    pub(super) fn errors(&self) -> Result<Vec<f64>, usize> {
        if let Some(index) = self.lengths.iter().position(|length| *length == 0.0) {
            return Err(index);
        }
        let mut matrix = self.matrix.clone();
        factor(&mut matrix, NOTHING_LEFT)?;
        let count = self.lengths.len();
        let unit = |index| (0..count).map(|i| if i == index { 1.0 } else { 0.0 }).collect::<Vec<f64>>();
        Ok((0..count)
            .map(|index| libm::sqrt(solve(&matrix, &unit(index))[index]) / self.lengths[index])
            .collect())
    }
}

/// Cholesky's factor in place, in the lower triangle; else the row at which
/// less than `least` was left.
fn factor(matrix: &mut [Vec<f64>], least: f64) -> Result<(), usize> {
    for i in 0..matrix.len() {
        for j in 0..=i {
            let taken: f64 = (0..j).map(|k| matrix[i][k] * matrix[j][k]).sum();
            let left = matrix[i][j] - taken;
            if i != j {
                matrix[i][j] = left / matrix[j][j];
            } else if left > least {
                matrix[i][i] = libm::sqrt(left);
            } else {
                return Err(i);
            }
        }
    }
    Ok(())
}

/// Solves with Cholesky's factor.
fn solve(factor: &[Vec<f64>], right: &[f64]) -> Vec<f64> {
    let count = right.len();
    let mut x = right.to_vec();
    for i in 0..count {
        let taken: f64 = (0..i).map(|k| factor[i][k] * x[k]).sum();
        x[i] = (x[i] - taken) / factor[i][i];
    }
    for i in (0..count).rev() {
        let taken: f64 = (i + 1..count).map(|k| factor[k][i] * x[k]).sum();
        x[i] = (x[i] - taken) / factor[i][i];
    }
    x
}
