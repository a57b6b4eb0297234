//! Parameters moved over a grid or a list, with answers found by name and value instead of by index.
use super::error::StudyError;
use super::interval::short;
use super::model::{Model, position};
use super::plan::Plan;
use super::run::Control;
use super::runs::{Provenance, Reason};
use ndarray::{ArrayD, ArrayViewD, Axis as Dimension, IxDyn};

/// One swept input and the values it takes.
#[derive(Clone, Debug, PartialEq)]
pub struct Axis {
    /// The input.
    pub name: String,
    /// Its unit.
    pub unit: String,
    /// Its values, rising or falling.
    pub values: Vec<f64>,
}

/// The answers over a grid: one labelled array an output.
#[derive(Clone, Debug)]
pub struct Swept {
    axes: Vec<Axis>,
    outputs: Vec<(String, String, ArrayD<f64>)>,
    reasons: Vec<Reason>,
    provenance: Provenance,
}

/// `count` values from `from` to `to`, evenly spaced, both ends included.
pub fn evenly(from: f64, to: f64, count: usize) -> Vec<f64> {
    match count {
        0 => Vec::new(),
        1 => vec![from],
        _ => (0..count)
            .map(|i| if i + 1 == count { to } else { from + (to - from) * i as f64 / (count - 1) as f64 })
            .collect(),
    }
}

impl Swept {
    /// Runs the model over every combination of the axes' values, all other inputs at their medians.
    pub fn grid(
        model: &dyn Model,
        axes: &[(&str, Vec<f64>)],
        control: &Control<'_>,
    ) -> Result<Self, StudyError> {
        let inputs = model.inputs();
        let mut places = Vec::new();
        for (k, (name, values)) in axes.iter().enumerate() {
            if values.is_empty() || values.iter().any(|v| !v.is_finite()) {
                return Err(StudyError::Plan(format!(
                    "axis '{name}' has {} values: give one or more finite ones",
                    values.len()
                )));
            }
            let place = position("input", inputs.iter().map(|i| i.name.as_str()), name)?;
            if places.contains(&place) {
                return Err(StudyError::Plan(format!("axis {} repeats input '{name}'", k + 1)));
            }
            places.push(place);
        }
        let medians = inputs
            .iter()
            .map(|i| i.law.median().map_err(|error| StudyError::Input { name: i.name.clone(), error }))
            .collect::<Result<Vec<_>, _>>()?;
        let shape: Vec<usize> = axes.iter().map(|a| a.1.len()).collect();
        let points: Vec<Vec<f64>> = ndarray::indices(IxDyn(&shape))
            .into_iter()
            .map(|at| {
                let mut point = medians.clone();
                for (k, &place) in places.iter().enumerate() {
                    point[place] = axes[k].1[at[k]];
                }
                point
            })
            .collect();
        let plan = Plan::listed(model, points);
        let runs = plan.run_with(model, control)?;
        let mut outputs = Vec::new();
        for output in model.outputs() {
            // Points not reached before a cancel are NaN, like those without an answer.
            let mut values = runs.output(&output.name)?.to_vec();
            values.resize(plan.runs() as usize, f64::NAN);
            let array = ArrayD::from_shape_vec(IxDyn(&shape), values)
                .map_err(|e| StudyError::Plan(format!("the grid is too large: {e}")))?;
            outputs.push((output.name.clone(), output.unit.clone(), array));
        }
        Ok(Self {
            axes: axes
                .iter()
                .zip(&places)
                .map(|((name, values), &p)| Axis {
                    name: (*name).into(),
                    unit: inputs[p].unit.clone(),
                    values: values.clone(),
                })
                .collect(),
            outputs,
            reasons: runs.reasons().to_vec(),
            provenance: runs.provenance(),
        })
    }

    /// The axes left.
    pub fn axes(&self) -> &[Axis] {
        &self.axes
    }

    /// The axis of this name.
    pub fn axis(&self, name: &str) -> Result<&Axis, StudyError> {
        Ok(&self.axes[self.place(name)?])
    }

    /// The labelled array of one output; its dimensions follow [`Swept::axes`]. NaN where a run gave no answer.
    pub fn output(&self, name: &str) -> Result<ArrayViewD<'_, f64>, StudyError> {
        let i = position("output", self.outputs.iter().map(|o| o.0.as_str()), name)?;
        Ok(self.outputs[i].2.view())
    }

    /// Unit of one output.
    pub fn unit(&self, name: &str) -> Result<&str, StudyError> {
        let i = position("output", self.outputs.iter().map(|o| o.0.as_str()), name)?;
        Ok(&self.outputs[i].1)
    }

    /// Why some points have no answer.
    pub fn reasons(&self) -> &[Reason] {
        &self.reasons
    }

    /// Where the answers come from.
    pub fn provenance(&self) -> &Provenance {
        &self.provenance
    }

    fn place(&self, axis: &str) -> Result<usize, StudyError> {
        position("axis", self.axes.iter().map(|a| a.name.as_str()), axis)
    }

    /// The slice where one axis has a value of its grid; that axis is gone from the result.
    ///
    /// A value between grid points is an error that names the nearest ones: nothing is read between points here.
    pub fn at(&self, axis: &str, value: f64) -> Result<Self, StudyError> {
        let k = self.place(axis)?;
        let values = &self.axes[k].values;
        let span = values.iter().fold(0.0_f64, |m, v| m.max((v - values[0]).abs()));
        let i = values.iter().position(|v| (v - value).abs() <= 1e-9 * span.max(value.abs())).ok_or_else(
            || {
                let mut near = values.clone();
                near.sort_by(|a, b| (a - value).abs().total_cmp(&(b - value).abs()));
                near.truncate(2);
                StudyError::Question(format!(
                    "{axis} = {} {} is not on the grid: the nearest points are {}",
                    short(value),
                    self.axes[k].unit,
                    near.iter().map(|v| short(*v)).collect::<Vec<_>>().join(" and ")
                ))
            },
        )?;
        let mut slice = self.clone();
        slice.axes.remove(k);
        for output in &mut slice.outputs {
            output.2 = output.2.index_axis(Dimension(k), i).to_owned();
        }
        Ok(slice)
    }

    /// Pairs of axis value and output along the only axis left, ready to plot.
    pub fn line(&self, output: &str) -> Result<(Vec<f64>, Vec<f64>), StudyError> {
        let [axis] = self.axes.as_slice() else {
            return Err(StudyError::Question(format!(
                "a line needs one axis, {} are left ({}): fix the others with at()",
                self.axes.len(),
                self.axes.iter().map(|a| a.name.as_str()).collect::<Vec<_>>().join(", ")
            )));
        };
        Ok((axis.values.clone(), self.output(output)?.iter().copied().collect()))
    }

    /// The axis values between which an output crosses a level along the only axis left, read off the straight line between
    /// neighbouring points.
    pub fn crossings(&self, output: &str, level: f64) -> Result<Vec<f64>, StudyError> {
        let (x, y) = self.line(output)?;
        Ok(x.windows(2)
            .zip(y.windows(2))
            .filter(|(_, y)| (y[0] - level) * (y[1] - level) < 0.0 || y[1] == level && y[0] != level)
            .map(|(x, y)| x[0] + (x[1] - x[0]) * (level - y[0]) / (y[1] - y[0]))
            .collect())
    }
}
