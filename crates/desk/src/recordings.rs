//! Recordings of the plan's folder: what they are, and pictures of pieces of them.

use std::collections::VecDeque;
use std::path::Path;
use std::sync::{Arc, Mutex, PoisonError};

use assess::hearing_sensors;
use assess::input::sensor_chain;
use plan::Line;
use recording::{Recording, RecordingError};
use report::{Pooling, SpectrogramBuilder, SpectrogramSettings, pixels_png, scale_colour};
use serde::Deserialize;
use serde_json::{Value, json};

use crate::error::ApiError;

/// Largest side of a tile, pixels.
const LARGEST_PX: u32 = 2048;
/// Tiles that are kept.
const KEPT: usize = 256;
/// Samples that are read at once.
const PIECE: usize = 1 << 16;
/// Latest instant of a picture, s: more than thirty years.
const LATEST_S: f64 = 1e9;
/// Most frames that one picture is drawn from, as it is drawn from all of them: three quarters of an hour at 96 kHz.
const MOST_FRAMES: f64 = (1_u64 << 28) as f64;
/// Longest window of the transform, samples.
const LONGEST_WINDOW: usize = 1 << 15;
/// What is drawn from, dB below the highest level of the scale, where nothing is asked.
const RANGE_DB: f64 = 70.0;
/// Highest level of the scale where nothing is asked, dB re full scale squared in 1 Hz.
const TOP_DB: f64 = -40.0;

fn unheard(error: &RecordingError) -> ApiError {
    ApiError::unusable("unheard", error.to_string())
}

/// What a recording says of itself.
pub(crate) fn about(path: &Path, name: &str) -> Result<Value, ApiError> {
    let recording = Recording::open(path).map_err(|e| unheard(&e))?;
    let info = recording.info();
    Ok(json!({
        "name": name,
        "rate_hz": info.rate_hz,
        "channels": info.channels,
        "frames": info.frames,
        "duration_s": info.frames.map(|f| f as f64 / f64::from(info.rate_hz)),
        "start_utc": info.start.map(|at| at.to_string()),
        "warnings": recording.warnings().iter().map(ToString::to_string).collect::<Vec<_>>(),
    }))
}

/// A piece of a recording as a picture without letters.
#[derive(Clone, PartialEq, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Tile {
    from_s: f64,
    to_s: f64,
    width: u32,
    height: u32,
    /// From 1.
    #[serde(default = "first")]
    channel: u16,
    #[serde(default)]
    low_hz: f64,
    /// Half the rate where none is given.
    high_hz: Option<f64>,
    /// Highest level of the scale, dB: re 1 uPa2/Hz with a sensor, re full scale squared in 1 Hz without.
    top_db: Option<f64>,
    range_db: Option<f64>,
    /// The sensor whose chain turns samples into micropascals.
    pub(crate) sensor: Option<String>,
}

fn first() -> u16 {
    1
}

impl Tile {
    /// From the query of an address. Every value is a number or a typed path, so nothing needs to be decoded but `%2E` and the like.
    pub(crate) fn of_query(query: &str) -> Result<Tile, ApiError> {
        let mut told = serde_json::Map::new();
        for pair in query.split('&').filter(|p| !p.is_empty()) {
            let (key, value) = pair.split_once('=').unwrap_or((pair, ""));
            let value = match value.parse::<f64>() {
                Ok(number) if key == "width" || key == "height" || key == "channel" => {
                    json!(number as u64)
                }
                Ok(number) => json!(number),
                Err(_) => json!(value),
            };
            told.insert(key.to_owned(), value);
        }
        let wrong = |e| ApiError::bad("bad-query", format!("the query cannot be used: {e}"));
        let tile: Tile = serde_json::from_value(Value::Object(told)).map_err(wrong)?;
        tile.checked()
    }

    fn checked(self) -> Result<Tile, ApiError> {
        let wrong = |why: &str| Err(ApiError::bad("bad-query", why));
        if !(self.from_s >= 0.0 && self.to_s > self.from_s && self.to_s <= LATEST_S) {
            return wrong("`from_s` and `to_s` are 0 or more, rise, and are at most 1e9");
        }
        let sides = 1..=LARGEST_PX;
        if !sides.contains(&self.width) || !sides.contains(&self.height) {
            return wrong("`width` and `height` are 1 to 2048");
        }
        if self.channel == 0 {
            return wrong("channels are counted from 1");
        }
        if !(self.low_hz >= 0.0 && self.high_hz.is_none_or(|high| high > self.low_hz)) {
            return wrong("`low_hz` is 0 or more, and `high_hz` above it");
        }
        if self
            .range_db
            .is_some_and(|range| range.is_nan() || range <= 0.0)
        {
            return wrong("`range_db` is above 0");
        }
        Ok(self)
    }
}

/// Pictures that were asked for before, by what was asked of a file that has not changed since.
#[derive(Default)]
pub(crate) struct Tiles {
    kept: Mutex<VecDeque<(String, Arc<Vec<u8>>)>>,
}

impl Tiles {
    /// The picture, made or found.
    pub(crate) fn png(
        &self,
        path: &Path,
        line: Option<&Line>,
        tile: &Tile,
        go_on: &dyn Fn() -> bool,
    ) -> Result<Arc<Vec<u8>>, ApiError> {
        let about = std::fs::metadata(path);
        let stamp = about.map(|m| (m.len(), m.modified().ok()));
        let full_scale_upa = chain(line, tile)?;
        let key = format!("{} {stamp:?} {tile:?} {full_scale_upa:?}", path.display());
        let found = {
            let kept = self.kept.lock().unwrap_or_else(PoisonError::into_inner);
            kept.iter()
                .find(|(k, _)| *k == key)
                .map(|(_, png)| Arc::clone(png))
        };
        if let Some(png) = found {
            return Ok(png);
        }
        let png = Arc::new(draw(path, tile, full_scale_upa, go_on)?);
        let mut kept = self.kept.lock().unwrap_or_else(PoisonError::into_inner);
        if kept.len() >= KEPT {
            kept.pop_front();
        }
        kept.push_back((key, Arc::clone(&png)));
        Ok(png)
    }
}

/// Full scale of the sensor that is named, uPa; 1 without one.
fn chain(line: Option<&Line>, tile: &Tile) -> Result<f64, ApiError> {
    let Some(sensor) = &tile.sensor else {
        return Ok(1.0);
    };
    let line = line.ok_or_else(|| {
        ApiError::unusable(
            "mistakes",
            "the plan on the disk has mistakes, so its sensors are not known",
        )
    })?;
    let named = hearing_sensors(line, std::slice::from_ref(sensor));
    let named = named.map_err(|e| ApiError::unusable("not-named", e.to_string()))?;
    let chain = sensor_chain(line, named[0].1);
    let chain = chain.map_err(|e| ApiError::unusable("cannot-be", e.to_string()))?;
    Ok(chain.full_scale_upa())
}

fn draw(
    path: &Path,
    tile: &Tile,
    full_scale_upa: f64,
    go_on: &dyn Fn() -> bool,
) -> Result<Vec<u8>, ApiError> {
    let mut recording = Recording::open(path).map_err(|e| unheard(&e))?;
    let info = recording.info().clone();
    let (rate_hz, channels) = (f64::from(info.rate_hz), usize::from(info.channels));
    if tile.channel > info.channels {
        return Err(ApiError::unusable(
            "no-channel",
            format!(
                "the recording has {channels} channels, and no {}",
                tile.channel
            ),
        ));
    }
    let whole_s = info.frames.map_or(LATEST_S, |f| f as f64 / rate_hz);
    if (tile.to_s.min(whole_s) - tile.from_s) * rate_hz > MOST_FRAMES {
        let most_s = MOST_FRAMES / rate_hz;
        let why = format!("more than {most_s:.0} s of this recording are not drawn in one picture");
        return Err(ApiError::unusable("too-long", why).help("ask for a shorter piece"));
    }
    let high_hz = tile.high_hz.unwrap_or(0.5 * rate_hz).min(0.5 * rate_hz);
    if high_hz <= tile.low_hz {
        return Err(ApiError::bad(
            "bad-query",
            format!("the recording holds frequencies up to {} Hz", 0.5 * rate_hz),
        ));
    }
    let (window, hop) = window(rate_hz, tile, high_hz);
    let settings = SpectrogramSettings {
        rate_hz,
        window_samples: window,
        hop_samples: hop,
        keep_hz: (tile.low_hz, high_hz),
        pooling: Pooling::Greatest,
    };
    let cannot = |e: report::PictureError| ApiError::unusable("cannot-be", e.to_string());
    let mut builder = SpectrogramBuilder::new(settings).map_err(cannot)?;
    let first = (tile.from_s * rate_hz) as u64;
    // Half a window more on either side, so that neighbouring tiles meet.
    let lead = (window / 2) as u64;
    let begin = first.saturating_sub(lead);
    let end = ((tile.to_s * rate_hz) as u64).saturating_add(lead);
    let at = recording.skip(begin).map_err(|e| unheard(&e))?;
    let mut samples = vec![0.0_f32; (PIECE / channels).max(1) * channels];
    let mut one = Vec::with_capacity(PIECE);
    let mut next = at;
    while next < end && at == begin {
        if !go_on() {
            return Err(ApiError::cancelled());
        }
        let chunk = recording.read(&mut samples).map_err(|e| unheard(&e))?;
        if chunk.frames == 0 {
            break;
        }
        if chunk.first > next {
            builder.gap(chunk.first.min(end) - next).map_err(cannot)?;
        }
        let wanted = (end.saturating_sub(chunk.first) as usize).min(chunk.frames);
        let own = samples.chunks(channels).take(wanted);
        one.clear();
        one.extend(
            own.map(|f| (f64::from(f[usize::from(tile.channel) - 1]) * full_scale_upa) as f32),
        );
        builder.push(&one).map_err(cannot)?;
        next = chunk.first + chunk.frames as u64;
    }
    let found = builder.finish().ok();
    let top_db = tile.top_db.unwrap_or(TOP_DB);
    let low_db = top_db - tile.range_db.unwrap_or(RANGE_DB);
    let begin_s = begin as f64 / rate_hz;
    let (width, height) = (tile.width as usize, tile.height as usize);
    let mut pixels = vec![[0_u8; 3]; width * height];
    let Some(found) = found else {
        // Beyond the end of the recording, or in less than a window: nothing was heard.
        return Ok(pixels_png(width, &pixels));
    };
    let grid = found.grid();
    let step_s = (tile.to_s - tile.from_s) / f64::from(tile.width);
    let step_hz = (high_hz - tile.low_hz) / f64::from(tile.height);
    for x in 0..width {
        let begin = tile.from_s + x as f64 * step_s - begin_s;
        let columns = cells(
            begin,
            begin + step_s,
            grid.begin_s,
            grid.column_step_s,
            grid.columns,
        );
        for y in 0..height {
            let top_hz = high_hz - y as f64 * step_hz;
            let row_begin = grid.first_row_hz - 0.5 * grid.row_step_hz;
            let rows = cells(
                top_hz - step_hz,
                top_hz,
                row_begin,
                grid.row_step_hz,
                grid.rows,
            );
            let mut loudest = f32::NAN;
            for column in columns.clone() {
                let Some(levels) = found.column_db_re_1upa2_per_hz(column) else {
                    continue;
                };
                loudest = levels[rows.clone()].iter().copied().fold(loudest, f32::max);
            }
            if !loudest.is_nan() {
                let share = (f64::from(loudest) - low_db) / (top_db - low_db);
                pixels[y * width + x] = scale_colour(share);
            }
        }
    }
    Ok(pixels_png(width, &pixels))
}

/// The cells that a piece of an axis touches; at least the one in which it begins, none beyond the ends.
fn cells(from: f64, to: f64, begin: f64, step: f64, count: usize) -> std::ops::Range<usize> {
    let first = ((from - begin) / step).floor();
    let last = ((to - begin) / step).ceil();
    if last <= 0.0 || first >= count as f64 {
        return 0..0;
    }
    let first = first.max(0.0) as usize;
    first..(last as usize).clamp(first + 1, count)
}

/// Window and step of the transform: as fine as the pixels are in frequency, and no more windows than a few for each column of pixels.
fn window(rate_hz: f64, tile: &Tile, high_hz: f64) -> (usize, usize) {
    let pixel_hz = (high_hz - tile.low_hz) / f64::from(tile.height);
    let pixel_s = (tile.to_s - tile.from_s) / f64::from(tile.width);
    let mut window = 64;
    while rate_hz / window as f64 > pixel_hz && window < LONGEST_WINDOW {
        window *= 2;
    }
    // A window much longer than a pixel would smear what is looked at closely.
    while window > 64 && window as f64 / rate_hz > 8.0 * pixel_s {
        window /= 2;
    }
    let hop = (pixel_s * rate_hz) as usize;
    (window, hop.clamp(window / 8, window / 2).max(1))
}
