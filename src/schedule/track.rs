//! A value over time: straight lines between points, and jumps.

use std::fmt;

/// A value over time. Between points it is a straight line; two points at one time are a jump (the later one
/// holds from that time on); before the first and after the last point the value is held.
#[derive(Clone, Debug, PartialEq)]
pub struct Track {
    t: Vec<f64>,
    v: Vec<f64>,
}

/// A track that cannot be followed.
#[derive(Clone, Copy, Debug, PartialEq)]
#[non_exhaustive]
pub enum BadTrack {
    /// No points.
    Empty,
    /// A time or value is not finite.
    NotFinite {
        /// Index of the point.
        index: usize,
        /// Its time, s.
        t: f64,
        /// Its value.
        value: f64,
    },
    /// Time runs backward.
    Backward {
        /// Index of the point that lies before its predecessor.
        index: usize,
        /// Its time, s.
        t: f64,
        /// Time of its predecessor, s.
        before: f64,
    },
}

impl fmt::Display for BadTrack {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Empty => write!(f, "no points: give at least one"),
            Self::NotFinite { index, t, value } => {
                write!(f, "point {index} is ({t} s, {value}): give finite numbers")
            }
            Self::Backward { index, t, before } => {
                write!(
                    f,
                    "point {index} at {t} s lies before its predecessor at {before} s: sort the points by time"
                )
            }
        }
    }
}

impl std::error::Error for BadTrack {}

impl Track {
    /// From points (time s, value) in order of time.
    ///
    /// # Errors
    /// Names the point that is not finite or runs backward.
    pub fn new(points: &[(f64, f64)]) -> Result<Self, BadTrack> {
        if points.is_empty() {
            return Err(BadTrack::Empty);
        }
        for (index, (t, value)) in points.iter().copied().enumerate() {
            if !(t.is_finite() && value.is_finite()) {
                return Err(BadTrack::NotFinite { index, t, value });
            }
            if index > 0 && t < points[index - 1].0 {
                return Err(BadTrack::Backward { index, t, before: points[index - 1].0 });
            }
        }
        Ok(Self { t: points.iter().map(|p| p.0).collect(), v: points.iter().map(|p| p.1).collect() })
    }

    /// The same value always.
    #[must_use]
    pub fn constant(value: f64) -> Self {
        Self { t: vec![0.0], v: vec![value] }
    }

    /// Number of points at or before a time.
    fn passed(&self, t: f64) -> usize {
        self.t.partition_point(|x| *x <= t)
    }

    /// Value at a time, s.
    #[must_use]
    #[inline]
    pub fn at(&self, t: f64) -> f64 {
        match self.passed(t) {
            0 => self.v[0],
            k if k == self.t.len() => self.v[k - 1],
            k => {
                let (a, b) = (self.t[k - 1], self.t[k]);
                self.v[k - 1] + (self.v[k] - self.v[k - 1]) * (t - a) / (b - a)
            }
        }
    }

    /// Value just before a time, s: differs from [`Track::at`] at a jump.
    #[must_use]
    pub fn before(&self, t: f64) -> f64 {
        match self.t.partition_point(|x| *x < t) {
            0 => self.v[0],
            k if k == self.t.len() => self.v[k - 1],
            k => {
                let (a, b) = (self.t[k - 1], self.t[k]);
                self.v[k - 1] + (self.v[k] - self.v[k - 1]) * (t - a) / (b - a)
            }
        }
    }

    /// Slope just after a time, 1/s.
    #[must_use]
    pub fn rate(&self, t: f64) -> f64 {
        match self.passed(t) {
            0 => 0.0,
            k if k == self.t.len() => 0.0,
            k => (self.v[k] - self.v[k - 1]) / (self.t[k] - self.t[k - 1]),
        }
    }

    /// The first point strictly after a time, s: where the slope or the value may jump.
    #[must_use]
    pub fn next_corner(&self, t: f64) -> Option<f64> {
        self.t.get(self.passed(t)).copied()
    }

    /// Whether the value never changes.
    #[must_use]
    pub fn is_constant(&self) -> bool {
        self.v.windows(2).all(|w| w[0] == w[1])
    }

    /// Times of the points, s.
    #[must_use]
    pub fn times(&self) -> &[f64] {
        &self.t
    }

    /// Values at the points.
    #[must_use]
    pub fn values(&self) -> &[f64] {
        &self.v
    }

    /// The same with every value changed.
    #[must_use]
    pub fn map(&self, change: impl Fn(f64) -> f64) -> Self {
        Self { t: self.t.clone(), v: self.v.iter().map(|v| change(*v)).collect() }
    }

    /// Integral from the first point to each point, for straight-line values.
    pub(super) fn cumulative(&self) -> Vec<f64> {
        let mut sum = 0.0;
        let mut out = vec![0.0];
        for k in 1..self.t.len() {
            sum += 0.5 * (self.v[k] + self.v[k - 1]) * (self.t[k] - self.t[k - 1]);
            out.push(sum);
        }
        out
    }
}
