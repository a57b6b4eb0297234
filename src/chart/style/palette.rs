//! Colours, dashes and markers: any two series differ in all three, so grey print loses nothing.

/// A colour as it is written in a stylesheet.
pub type Colour = &'static str;

/// Text and axes.
pub const INK: Colour = "#1e1e1e";
/// Secondary text: ticks, notes.
pub const SOFT: Colour = "#4f5661";
/// Grid lines.
pub const GRID: Colour = "#e3e6ea";
/// Paper.
pub const PAPER: Colour = "#ffffff";
/// Limit lines and failures.
pub const FAIL: Colour = "#a3231b";
/// Ground of a failing region.
pub const FAIL_GROUND: Colour = "#fbe9e6";
/// Hatching of a failing region.
pub const FAIL_HATCH: Colour = "#e9b9b2";
/// Warnings.
pub const WARN: Colour = "#7a5600";
/// Ground of a warning.
pub const WARN_GROUND: Colour = "#fdf2d8";
/// Passes.
pub const PASS: Colour = "#0b6a4a";
/// Ground of a pass.
pub const PASS_GROUND: Colour = "#e4f3ec";
/// Ground of a region that is only pointed out.
pub const CALM_GROUND: Colour = "#eaf1f8";
/// Hatching of a region that is only pointed out.
pub const CALM_HATCH: Colour = "#b9cde0";

/// Marker shapes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Marker {
    /// Disc.
    Disc,
    /// Square on its side.
    Square,
    /// Triangle, point up.
    Triangle,
    /// Square on its point.
    Diamond,
    /// Triangle, point down.
    Wedge,
    /// Upright cross.
    Plus,
    /// Diagonal cross.
    Saltire,
}

/// How a series looks.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Look {
    /// Colour of lines and markers.
    pub colour: Colour,
    /// Colour of the label, dark enough to be read (contrast 4.5:1 or more on paper).
    pub text: Colour,
    /// Dash lengths in units of the figure; empty for a solid line.
    pub dash: &'static [u8],
    /// Marker.
    pub marker: Marker,
    /// Line width in units of the figure.
    pub width: f64,
}

/// Line colours. Found by a search that keeps every pair at least 22 CIELAB units apart in normal
/// sight, protanopia, deuteranopia and tritanopia (Machado, Oliveira and Fernandes 2009, severity 1),
/// and every colour at 3:1 or more against paper (WCAG 2.1, success criterion 1.4.11).
pub const COLOURS: [Colour; 7] =
    ["#112abc", "#a59100", "#088245", "#b5519b", "#2e95fa", "#1e1e1e", "#97110b"];

/// Label colours that go with [`COLOURS`].
pub const TEXT_COLOURS: [Colour; 7] =
    ["#112abc", "#706200", "#087550", "#a34389", "#1568bd", "#1e1e1e", "#97110b"];

/// Dash patterns, most different first.
pub const DASHES: [&[u8]; 6] = [&[], &[9, 4], &[2, 3], &[11, 3, 2, 3], &[16, 5], &[6, 3, 2, 3, 2, 3]];

/// Markers in order of use.
pub const MARKERS: [Marker; 7] = [
    Marker::Disc,
    Marker::Square,
    Marker::Triangle,
    Marker::Diamond,
    Marker::Wedge,
    Marker::Plus,
    Marker::Saltire,
];

/// The look of the series with this number (0, 1, 2 ...). The first 42 differ from one another in
/// dash or marker whatever happens to their colour; from there they repeat.
pub fn look(number: usize) -> Look {
    let colour = number % COLOURS.len();
    Look {
        colour: COLOURS[colour],
        text: TEXT_COLOURS[colour],
        dash: DASHES[number % DASHES.len()],
        marker: MARKERS[colour],
        width: 2.4,
    }
}
