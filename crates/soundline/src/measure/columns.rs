//! The columns of the table, and a period as a row of it.

use std::path::Path;

use hearing::{PERCENTILES, Period, PeriodBegin, Reference, measured_bands};
use signal::{Decidecade, level_db, peak_level_db};

use super::head::reference_upa;
use crate::listen::Assigned;

/// What a column holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
    Text,
    Count,
    /// A number, empty where there is none, with so many decimals in text.
    Number(usize),
}

/// A column.
#[derive(Debug, Clone)]
pub(super) struct Column {
    pub(super) name: String,
    pub(super) kind: Kind,
}

/// What stands in a field.
#[derive(Debug, Clone)]
pub(super) enum Value {
    Text(String),
    Count(u64),
    Number(Option<f64>),
}

/// The columns, for all bands of the highest rate.
#[derive(Debug)]
pub(super) struct Columns {
    pub(super) all: Vec<Column>,
    pub(super) bands: Vec<Decidecade>,
}

const SECONDS: Kind = Kind::Number(6);
const DECIBELS: Kind = Kind::Number(3);

/// The columns ahead of the bands.
const BROAD: [(&str, Kind); 18] = [
    ("sensor", Kind::Text),
    ("channel", Kind::Count),
    ("recording", Kind::Text),
    ("rate_hz", Kind::Count),
    ("begin_utc", Kind::Text),
    ("first_s", SECONDS),
    ("length_s", Kind::Count),
    ("listened_s", SECONDS),
    ("averaged_s", SECONDS),
    ("clipped_samples", Kind::Count),
    ("parts", Kind::Count),
    ("level_reference", Kind::Text),
    ("level_db", DECIBELS),
    ("level_without_mean_db", DECIBELS),
    ("exposure_level_db", DECIBELS),
    ("peak_level_db", DECIBELS),
    ("peak_to_peak_level_db", DECIBELS),
    ("kurtosis", Kind::Number(4)),
];

/// The columns ahead of the percentiles by spectral line.
const LINES: [(&str, Kind); 8] = [
    ("sensor", Kind::Text),
    ("channel", Kind::Count),
    ("recording", Kind::Text),
    ("begin_utc", Kind::Text),
    ("first_s", SECONDS),
    ("segments", Kind::Count),
    ("density_reference", Kind::Text),
    ("frequency_hz", Kind::Number(4)),
];

impl Columns {
    /// Columns for recordings of these rates.
    pub(super) fn new(rates_hz: &[u32]) -> Self {
        let highest = rates_hz.iter().copied().max();
        let bands = highest.map(measured_bands).and_then(Result::ok);
        let bands = bands.unwrap_or_default();
        let column = |name: String, kind| Column { name, kind };
        let mut all: Vec<Column> = BROAD
            .iter()
            .map(|&(name, kind)| column(name.to_owned(), kind))
            .collect();
        for band in &bands {
            all.push(column(
                format!("band_{}_level_db", name_of(*band)),
                DECIBELS,
            ));
        }
        all.push(column("density_segments".to_owned(), Kind::Count));
        for band in &bands {
            for q in PERCENTILES {
                let name = format!("density_{}_p{q:02}_db", name_of(*band));
                all.push(column(name, DECIBELS));
            }
        }
        Self { all, bands }
    }

    /// Columns of percentiles by spectral line.
    pub(super) fn of_lines() -> Self {
        let mut all: Vec<Column> = LINES
            .iter()
            .map(|&(name, kind)| Column {
                name: name.to_owned(),
                kind,
            })
            .collect();
        for q in PERCENTILES {
            all.push(Column {
                name: format!("density_p{q:02}_db"),
                kind: DECIBELS,
            });
        }
        Self {
            all,
            bands: Vec::new(),
        }
    }

    /// The lines of a period in the columns of [`Self::of_lines`], one row each.
    pub(super) fn line_rows(
        period: &Period,
        assigned: &Assigned,
        recording: &Path,
        reference: Reference,
    ) -> impl Iterator<Item = Vec<Value>> {
        let upa = reference_upa(reference);
        let begin_utc = begin_utc(period);
        let lines = period.lines.iter();
        lines.flat_map(move |lines| {
            let begin_utc = begin_utc.clone();
            let rows = lines.densities_upa2_hz.iter().enumerate();
            rows.map(move |(line, densities)| {
                let mut row = vec![
                    Value::Text(assigned.path.clone()),
                    Value::Count(u64::from(assigned.channel.unwrap_or(1))),
                    Value::Text(recording.display().to_string()),
                    Value::Text(begin_utc.clone()),
                    Value::Number(Some(period.first_s)),
                    Value::Count(period.segments),
                    Value::Text(reference.density().to_owned()),
                    Value::Number(Some(line as f64 * lines.bin_hz)),
                ];
                let levels = densities.iter().map(|&d| level_db(d, upa));
                row.extend(levels.map(|level_db| Value::Number(Some(level_db))));
                row
            })
        })
    }

    /// A period in these columns.
    pub(super) fn row(
        &self,
        period: &Period,
        assigned: &Assigned,
        recording: &Path,
        reference: Reference,
    ) -> Vec<Value> {
        let upa = reference_upa(reference);
        let level = |square: f64| level_db(square, upa);
        let broad = period.broad.as_ref();
        let mut row = vec![
            Value::Text(assigned.path.clone()),
            Value::Count(u64::from(assigned.channel.unwrap_or(1))),
            Value::Text(recording.display().to_string()),
            Value::Count(u64::from(period.rate_hz)),
            Value::Text(begin_utc(period)),
            Value::Number(Some(period.first_s)),
            Value::Count(u64::from(period.length_s)),
            Value::Number(Some(period.listened_s)),
            Value::Number(Some(period.averaged_s)),
            Value::Count(period.clipped_samples),
            Value::Count(u64::from(period.parts)),
            Value::Text(reference.pressure().to_owned()),
            Value::Number(broad.map(|b| level(b.mean_square_upa2))),
            Value::Number(broad.map(|b| level(b.variance_upa2))),
            Value::Number(broad.map(|b| level(b.exposure_upa2_s))),
            Value::Number(broad.map(|b| peak_level_db(b.peak_upa, upa))),
            Value::Number(broad.map(|b| peak_level_db(b.peak_to_peak_upa, upa))),
            Value::Number(broad.and_then(|b| b.kurtosis)),
        ];
        // Bands of a lower rate are the first of them.
        for band in 0..self.bands.len() {
            let square = period.band_mean_square_upa2.get(band).copied().flatten();
            row.push(Value::Number(square.map(level)));
        }
        row.push(Value::Count(period.segments));
        for band in 0..self.bands.len() {
            let densities = period.densities_upa2_hz.get(band);
            for at in 0..PERCENTILES.len() {
                row.push(Value::Number(densities.map(|d| level(d[at]))));
            }
        }
        row
    }
}

/// Begin of a period, empty where it is not known.
fn begin_utc(period: &Period) -> String {
    match period.begin {
        PeriodBegin::Utc(at) => at.to_string(),
        PeriodBegin::Recording(_) => String::new(),
    }
}

/// `31_5hz`: the nominal centre as a part of a column's name.
fn name_of(band: Decidecade) -> String {
    format!("{}hz", band.nominal_hz()).replace('.', "_")
}
