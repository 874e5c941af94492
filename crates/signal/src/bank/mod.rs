//! A bank of decidecade band filters that keeps class 1 of IEC 61260-1 in every band and at every sampling rate.
//!
//! Sources: limits and bands IEC 61260-1:2014 (transcribed in `reference/signal/iec61260-1-class1.csv`); filters as in
//! [`crate::butterworth_bandpass`]; decimation as in [`Decimator`].
//!
//! The bilinear transform keeps the edges of a band and bends what lies beside them: near half the rate the upper skirt
//! falls faster, which the limits allow, and the lower skirt slower. A six-pole filter thus falls short of class 1 from
//! about a quarter of the rate on (12.5 kHz at 48 kHz). Eight poles have room enough for that bending up to an upper edge of
//! 0.49 of the rate, ten up to 0.499, so that no sample has to be added; and they read white noise 0.11 dB high (ten: 0.08),
//! less than the 0.20 dB of six poles.
//!
//! Rungs: rung `k` works at `rate / 2^k`; a band stands on the last one whose rate is at least 5 times its upper edge (the
//! top bands on rung 0 whatever that ratio): higher up the transform would bend the skirts of a decimated band so much that
//! a strong tone beside it would read otherwise than in the same filter at the full rate. Zeros are
//! shared: every section has the numerator `1 - z^-2`, so those of a rung are applied once, before its poles.
//!
//! Validity: rates and bands as [`DecidecadeBank::new`] says. What lies beyond half the rate is the recorder's to stop.
//! Accuracy: relative attenuation within class 1 at all frequencies up to half the rate (checked at every breakpoint and
//! between, from 8 kHz to 576 kHz); what folds in a decimator is at least 70 dB down wherever the limits ask for that.

mod rung;

use alloc::vec::Vec;

use self::rung::Rung;
use crate::block::{Block, Cursor};
use crate::butterworth::butterworth_bandpass;
use crate::decidecade::Decidecade;
use crate::decimate::Decimator;
use crate::error::{BankError, FilterError, StreamError};
use crate::sos::Sos;

/// Highest upper edge of a band, as a share of the rate.
const HIGHEST_EDGE: f64 = 0.499;
/// Up to here order 4 keeps class 1, as a share of the rate.
const HIGHEST_EDGE_OF_EIGHT_POLES: f64 = 0.49;
/// Upper edge of a decimated band, as a share of the lower rate, and the decimators' pass band.
const EDGE_OVER_RATE: f64 = 0.2;
/// Lowest band that can be asked for: 0.01 Hz.
const LOWEST_BAND: i32 = -20;
/// Most input samples that go through all rungs at a time.
const CHUNK: usize = 2048;

/// What one band lets through, as it becomes complete.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BandBlock<'a> {
    /// Index of the band among [`DecidecadeBank::bands`].
    pub band: usize,
    /// Index of `x[0]` counted in samples of the band: sample `j` is filtered from input up to about `j * factor`.
    pub first: u64,
    /// Band-passed samples, in the unit of the input.
    pub x: &'a [f64],
}

/// Consecutive decidecade bands of one channel.
#[derive(Debug, Clone)]
pub struct DecidecadeBank {
    rate_hz: f64,
    bands: Vec<Decidecade>,
    places: Vec<Place>,
    rungs: Vec<Rung>,
    cursor: Cursor,
}

/// Where a band stands.
#[derive(Debug, Clone)]
struct Place {
    rung: usize,
    filter: Sos,
    /// Group delay at the band's centre, in samples of the band.
    delay: f64,
}

impl DecidecadeBank {
    /// The bands from `lowest` to `highest` of samples at `rate_hz`.
    ///
    /// # Errors
    /// [`BankError`] for a rate that is not a finite positive number, bands in the wrong order, a lowest band below
    /// 0.01 Hz, or a highest band whose upper edge lies above 0.499 of the rate: see [`Self::highest_at`].
    pub fn new(lowest: Decidecade, highest: Decidecade, rate_hz: f64) -> Result<Self, BankError> {
        let limit = Self::highest_at(rate_hz)?;
        if lowest > highest {
            return Err(BankError::Order {
                lowest_hz: lowest.nominal_hz(),
                highest_hz: highest.nominal_hz(),
            });
        }
        if lowest.index < LOWEST_BAND {
            return Err(BankError::TooLow {
                lowest_hz: lowest.nominal_hz(),
                limit_hz: Decidecade::new(LOWEST_BAND).nominal_hz(),
            });
        }
        if highest > limit {
            return Err(BankError::TooHigh {
                highest_hz: highest.nominal_hz(),
                edge_hz: highest.high_hz(),
                limit_hz: HIGHEST_EDGE * rate_hz,
                rate_hz,
            });
        }
        let bands: Vec<Decidecade> = (lowest.index..=highest.index)
            .map(Decidecade::new)
            .collect();
        let mut places = Vec::with_capacity(bands.len());
        for band in &bands {
            let rung = rung_of(*band, rate_hz);
            let rate_here_hz = rate_at(rung, rate_hz);
            // One order on a rung, since its sections run in step.
            let order = if rung == 0 {
                order_of(highest, rate_hz)
            } else {
                4
            };
            let filter = butterworth_bandpass(order, band.low_hz(), band.high_hz(), rate_here_hz)?;
            let delay = filter.group_delay_at_s(band.centre_hz()) * rate_here_hz;
            places.push(Place {
                rung,
                filter,
                delay,
            });
        }
        let last = places.iter().map(|place| place.rung).max().unwrap_or(0);
        let rungs = (0..=last)
            .map(|k| {
                let lanes: Vec<(usize, &Sos)> = places
                    .iter()
                    .enumerate()
                    .filter(|(_, place)| place.rung == k)
                    .map(|(band, place)| (band, &place.filter))
                    .collect();
                let rate_here_hz = rate_at(k, rate_hz);
                let down = (k < last)
                    .then(|| Decimator::new(2, EDGE_OVER_RATE * 0.5 * rate_here_hz, rate_here_hz))
                    .transpose()?;
                Ok(Rung::new(&lanes, down))
            })
            .collect::<Result<_, FilterError>>()?;
        Ok(Self {
            rate_hz,
            bands,
            places,
            rungs,
            cursor: Cursor::default(),
        })
    }

    /// The highest band that can be had at `rate_hz`: the last one whose upper edge lies at or below 0.499 of it.
    ///
    /// # Errors
    /// [`BankError::Filter`] for a rate that is not a finite positive number, [`BankError::NoBand`] for one so low that every
    /// band lies below 0.01 Hz.
    pub fn highest_at(rate_hz: f64) -> Result<Decidecade, BankError> {
        crate::error::checked_rate(rate_hz)?;
        let limit_hz = HIGHEST_EDGE * rate_hz;
        Decidecade::containing(limit_hz)
            .map(|band| {
                let fits = band.high_hz() <= limit_hz;
                Decidecade::new(if fits { band.index } else { band.index - 1 })
            })
            .filter(|band| band.index >= LOWEST_BAND)
            .ok_or(BankError::NoBand { rate_hz })
    }

    /// The bands, lowest first.
    pub fn bands(&self) -> &[Decidecade] {
        &self.bands
    }

    /// Sampling rate of the input, Hz.
    pub fn rate_hz(&self) -> f64 {
        self.rate_hz
    }

    /// Input samples for each sample of a band: a power of two.
    ///
    /// # Panics
    /// If there is no such band.
    pub fn factor(&self, band: usize) -> u64 {
        1 << self.places[band].rung
    }

    /// First sample of a band that stands for the input at `sample` or after it, when the group delay at the band's centre
    /// is taken off.
    ///
    /// # Panics
    /// If there is no such band.
    pub fn first_from(&self, band: usize, sample: u64) -> u64 {
        let at = sample as f64 / self.factor(band) as f64 + self.places[band].delay;
        libm::ceil(at) as u64
    }

    /// How many input samples after `sample` every band sample that stands for an instant before it is known: the group
    /// delays and what the decimators wait for. Feed as many zeros to end a stretch.
    pub fn longest_delay(&self) -> u64 {
        let mut reach = 0;
        let mut longest = 0.0_f64;
        for (k, rung) in self.rungs.iter().enumerate() {
            let factor = (1_u64 << k) as f64;
            let of_rung = self.places.iter().filter(|place| place.rung == k);
            for place in of_rung {
                longest = longest.max(reach as f64 + (place.delay + 2.0) * factor);
            }
            reach += rung.reach() << k;
        }
        libm::ceil(longest) as u64
    }

    /// How much less than at the exact centre of the band a tone at `f_hz` comes through, dB, what folds in the decimators
    /// counted in. Positive infinity where nothing comes through.
    ///
    /// # Panics
    /// If there is no such band.
    pub fn attenuation_db(&self, band: usize, f_hz: f64) -> f64 {
        let place = &self.places[band];
        let mut gain = 1.0;
        let mut f_hz = f_hz.abs();
        for k in 0..place.rung {
            gain *= self.rungs[k].gain(f_hz);
            let rate_below_hz = rate_at(k + 1, self.rate_hz);
            let turned_hz = f_hz % rate_below_hz;
            f_hz = turned_hz.min(rate_below_hz - turned_hz);
        }
        let magnitude = |f_hz: f64| {
            let (re, im) = place.filter.response(f_hz);
            libm::sqrt(re * re + im * im)
        };
        let centre = magnitude(self.bands[band].centre_hz());
        -20.0 * libm::log10((gain * magnitude(f_hz)).abs() / centre)
    }

    /// Takes the next block and hands out what the bands let through, as it becomes complete.
    ///
    /// # Errors
    /// [`StreamError`] when the block does not follow the one before.
    pub fn process(
        &mut self,
        block: Block<'_>,
        mut sink: impl FnMut(BandBlock<'_>),
    ) -> Result<(), StreamError> {
        self.cursor.accept(block.first, block.x.len())?;
        let mut first = block.first;
        for x in block.x.chunks(CHUNK) {
            descend(&mut self.rungs, Block { first, x }, &mut sink);
            first += x.len() as u64;
        }
        Ok(())
    }

    /// Forgets everything heard, ready for a new stretch.
    pub fn reset(&mut self) {
        self.cursor = Cursor::default();
        for rung in &mut self.rungs {
            rung.reset();
        }
    }
}

/// Takes samples through a rung and, decimated, through those below it.
fn descend(rungs: &mut [Rung], block: Block<'_>, sink: &mut impl FnMut(BandBlock<'_>)) {
    let Some((rung, below)) = rungs.split_first_mut() else {
        return;
    };
    rung.filter(block, sink);
    if let Some(down) = rung.down() {
        down.process(block, |decimated| descend(below, decimated, sink))
            .expect("blocks of a rung follow each other as those of the bank do");
    }
}

fn rate_at(rung: usize, rate_hz: f64) -> f64 {
    rate_hz / (1_u64 << rung) as f64
}

/// Order of the band-passes of the rung on which a band is the highest.
fn order_of(band: Decidecade, rate_hz: f64) -> usize {
    if band.high_hz() <= HIGHEST_EDGE_OF_EIGHT_POLES * rate_hz {
        4
    } else {
        5
    }
}

/// The last rung whose rate leaves the band's upper edge within the decimators' pass band.
fn rung_of(band: Decidecade, rate_hz: f64) -> usize {
    let mut rung = 0;
    while band.high_hz() <= EDGE_OVER_RATE * rate_at(rung + 1, rate_hz) {
        rung += 1;
    }
    rung
}
