//! Pictures of sound: spectrograms and levels against time, as PNG files.
//!
//! A picture is a pure function of its input: no clock, no file, no environment. On one machine
//! the same input gives the same bytes. The Fourier transform may take a vector path that differs
//! in the last bits between processors; that is far below one step of the colour scale, but bytes
//! are not promised to be the same on two kinds of machine.
//!
//! Lettering is the typeface Hack Regular, taken from the crate `epaint_default_fonts`. Hack is
//! licensed under the MIT licence and, for the part derived from Bitstream Vera Sans Mono, the
//! Bitstream Vera licence; both allow embedding and redistribution with their notices.
//!
//! Nothing is told by colour alone: marks carry numbers, lines carry dashes and names, and the
//! colour scale rises steadily in lightness.

mod axis;
mod canvas;
mod certainty;
mod chain;
mod colour;
mod drawing;
mod error;
mod grid;
mod labels;
mod level;
mod marks;
mod mooring;
mod page;
mod paths;
mod places;
mod range;
mod shapes;
mod sizes;
mod slip;
mod spectrogram;
mod start;
mod start_panel;
mod stream;
mod strip;
mod ticks;
mod time_axis;
mod tune;
mod tune_threshold;
mod year;

pub use axis::{Axis, AxisScale};
pub use canvas::pixels_png;
pub(crate) use canvas::{Align, font};
pub use certainty::{certainty_picture_png, certainty_picture_svg};
pub(crate) use chain::chain_picture;
pub use chain::{chain_picture_png, chain_picture_svg};
pub(crate) use colour::Rgb;
pub use colour::{ColourRange, scale_colour};
pub use error::PictureError;
pub use grid::{Analysis, Grid, Spectrogram};
pub use level::{LevelLine, LevelPicture, LevelPoints, LevelTrace, LineStyle};
pub use marks::EventMark;
pub(crate) use mooring::mooring_picture;
pub use mooring::{mooring_picture_png, mooring_picture_svg};
pub use page::{Frame, Picture, PictureSize};
pub use paths::{paths_picture_png, paths_picture_svg};
pub use places::{places_picture_png, places_picture_svg};
pub use range::{RangePicture, range_picture_png, range_picture_svg};
pub(crate) use shapes::{Drawn, Shape};
pub use sizes::{sizes_picture_png, sizes_picture_svg};
pub use slip::{slip_picture_png, slip_picture_svg};
pub use spectrogram::{SpectrogramPicture, SpectrumReference};
pub(crate) use start::start_picture;
pub use start::{start_picture_png, start_picture_svg};
pub use stream::{Pooling, SpectrogramBuilder, SpectrogramSettings};
pub use ticks::{lettered, si_label};
use ticks::{linear_ticks, logarithmic_ticks};
pub use tune::{
    operating_picture_png, operating_picture_svg, threshold_picture_png, threshold_picture_svg,
};
pub(crate) use year::year_picture;
pub use year::{year_picture_png, year_picture_svg};
