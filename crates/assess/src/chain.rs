//! What limits a sensor chain: the sea, its own noise, or full scale, by decidecade band and by month.
//!
//! The noise of the chain is [`signal::ChainNoise`], that of the sea [`seawater::ambient_noise`] at the mean wind of each month.
//! Both count at the hydrophone, in bands of one decidecade (IEC 61260-1, base ten) that lie below half the sample rate.
//!
//! - The sea limits a band where the chain lies at least [`CLEAR_DB`] below it, the chain where it lies above; between them both do.
//! - A noise clips where its rms level behind the high-pass lies less than [`CREST_DB`] below the peak at full scale.
//!
//! Both figures are our judgement: 6 dB keep the sum within 1 dB of the sea (10 lg 1.25 = 0.97 dB); 12.04 dB are four standard
//! deviations, beyond which 63 of a million samples of Gaussian noise lie.

use plan::{Detector, Line, SensorIx, SensorKind, Stage};
use seawater::{SeaError, ambient_noise};
use signal::{ChainNoise, Decidecade, NoiseParts, clipped_share, decidecades, power_sum_db};

use crate::chain_sea::{SEA_HZ, Sea, SeaBand, SeaBehind, SeaParts, parts_of, sea, sea_bands};
use crate::input::{AIR_REFERENCE_DB, InputError, chain_noise, says_its_noise};
use crate::memo::Memo;
use crate::pick_up::{Over, PickUps, Picked, Which};

/// So far the chain is to lie below the sea, dB.
pub const CLEAR_DB: f64 = 6.0;
/// So far the peak at full scale is to lie above the rms level of a noise: four standard deviations, dB.
pub const CREST_DB: f64 = 12.041_199_826_559_248;

/// What limits a band.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum LimitedBy {
    /// The sea: the chain lies at least [`CLEAR_DB`] below it.
    Sea,
    /// Both: the chain lies below the sea, by less.
    Both,
    /// The chain's own noise.
    Chain,
    /// Full scale: the noise of the sea in this band alone clips.
    FullScale,
    /// The noise of the chain or of the sea is not known; or a line may fold into the band, and with it something else limits it than without.
    Unknown,
}

/// One decidecade band.
#[derive(Clone, PartialEq, Debug)]
pub struct BandBudget {
    /// Which of the standard's bands (IEC 61260-1, base ten).
    pub band: Decidecade,
    /// Noise of the chain, dB re 1 uPa at the sensor.
    pub chain: NoiseParts,
    /// What is sure to be picked up in it, its mean at the worst of the states, dB re 1 uPa; `None` where nothing falls into it, or the
    /// plan says nothing.
    pub pick_up_db: Option<f64>,
    /// Noise of the chain and what it picks up, dB re 1 uPa.
    pub total_db: f64,
    /// Level of the sea in the band in a calm, in the quietest and in the windiest month, dB re 1 uPa; `None` where it is not known.
    pub sea: Option<SeaBand>,
    /// What the high-pass takes away at the middle of the band, dB.
    pub high_pass_loss_db: f64,
    /// Level of the largest sine, rms, dB re 1 uPa, when the converter is what overloads.
    pub overload_sine_db: f64,
    /// The band reaches above what the converter's own filter is taken to pass.
    pub above_filter: bool,
    /// The band lies beyond the ends of the table of self-noise, where its nearest row counts.
    pub beyond_table: bool,
    /// What limits it in the quietest month.
    pub in_quietest: LimitedBy,
    /// What limits it in the windiest.
    pub in_windiest: LimitedBy,
}

/// The sea in one month, through the high-pass.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct MonthBudget {
    /// Month, 0 to 11.
    pub month: usize,
    /// Mean wind, m/s.
    pub wind_m_s: f64,
    /// Level of the sea behind the high-pass, from 1 Hz to the highest frequency that is heard, dB re 1 uPa.
    pub level_db: f64,
    /// Peak at full scale above that level, dB.
    pub headroom_db: f64,
    /// Share of samples beyond full scale.
    pub clipped_share: f64,
}

/// The band of a detector.
#[derive(Clone, PartialEq, Debug)]
pub struct DetectorBudget {
    /// Typed path.
    pub path: String,
    /// Band, Hz; all that is heard where it has none.
    pub band_hz: (f64, f64),
    /// Window of its level, s; `None` where it takes none.
    pub window_s: Option<f64>,
    /// Where the chain lies least below the sea of the quietest month: how far, dB, and between which frequencies, Hz.
    pub least_clear: Option<(f64, (f64, f64))>,
    /// The threshold of a detector that holds a level or an exposure against a fixed one.
    pub threshold: Option<ThresholdBudget>,
    /// Some of its band lies beyond the table of self-noise.
    pub beyond_table: bool,
}

/// A fixed threshold and what the chain's own noise comes to beside it.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct ThresholdBudget {
    /// The threshold: rms dB re 1 uPa, of an exposure dB re 1 uPa^2 s.
    pub level_db: f64,
    /// The chain's noise in the band of the detector, in the same terms.
    pub noise_db: f64,
    /// Whether it is one of exposure.
    pub of_exposure: bool,
}

impl ThresholdBudget {
    /// How far the chain's noise lies below the threshold, dB.
    #[must_use]
    pub fn clear_db(&self) -> f64 {
        self.level_db - self.noise_db
    }
}

/// What limits a sensor chain.
#[derive(Clone, PartialEq, Debug)]
pub struct ChainBudget {
    /// Typed path of the sensor.
    pub path: String,
    /// The chain and its noise.
    pub noise: ChainNoise,
    /// Effective bits, when written.
    pub effective_bits: Option<f64>,
    /// Noise voltage density of the amplifier, V/sqrt(Hz), when written.
    pub amplifier_v_rthz: Option<f64>,
    /// Rows of the self-noise, Hz and dB re 1 uPa^2/Hz.
    pub self_noise: Vec<(f64, f64)>,
    /// Whether the plan says all of the noise ahead of the converter ([`says_its_noise`]); where not, what is told is the least that
    /// there is.
    pub noise_known: bool,
    /// What is taken from a level re 1 uPa to tell it against the reference of the medium, dB: 26.02 in air.
    pub reference_db: f64,
    /// What electronics put into it; `None` when the plan does not say.
    pub pick_up: Option<PickUps>,
    /// Highest frequency that counts as heard, Hz.
    pub audible_hz: f64,
    /// Bands, lowest first.
    pub bands: Vec<BandBudget>,
    /// Months that the deployment touches, or the one that was asked for; empty where the sea is not known.
    pub months: Vec<MonthBudget>,
    /// Why the sea is not known.
    pub sea_unknown: Option<String>,
    /// Detectors on the sensor, by what is sure to be picked up.
    pub detectors: Vec<DetectorBudget>,
    /// The same with lines that may fold into their bands and of which nothing says how much is kept out; `None` where there are none.
    pub detectors_at_most: Option<Vec<DetectorBudget>>,
    /// Wind of the quietest and of the windiest month, m/s.
    pub winds_m_s: Option<(f64, f64)>,
    /// Shipping activity, 0 to 1.
    pub shipping: Option<f64>,
}

impl ChainBudget {
    /// Spectral density of the sea at `f_hz` in a `wind_m_s`, dB re 1 uPa^2/Hz; `None` where it is not known or not stated.
    #[must_use]
    pub fn sea_density_db(&self, f_hz: f64, wind_m_s: f64) -> Option<f64> {
        let noise = ambient_noise(f_hz, wind_m_s, self.shipping?).ok()?;
        Some(noise.total_db_re_1upa2_per_hz)
    }

    /// What of its noise is known where not all of it is.
    #[must_use]
    pub fn known_alone(&self) -> &'static str {
        match self.amplifier_v_rthz {
            Some(_) => "amplifier and converter",
            None => "converter",
        }
    }

    /// What electronics put into the bands of its detectors (from the lowest corner to the highest; all that is heard where there is none), the strongest first, each in words and with its mean level at the worst of the
    /// states; `None` when the plan does not say.
    #[must_use]
    pub fn picked_up(&self) -> Option<Vec<(String, Picked)>> {
        // Below what its detectors hear a high-pass makes a line pass for a louder sound than any that is listened for.
        let bands = || self.detectors.iter().map(|d| d.band_hz);
        let low_hz = bands().map(|b| b.0).reduce(f64::min);
        let high_hz = bands().map(|b| b.1).reduce(f64::max);
        let whole = (SEA_HZ.0, self.audible_hz);
        let band_hz = low_hz.zip(high_hz).unwrap_or(whole);
        let rate_hz = self.noise.chain().rate_hz();
        let all = self.picked_up_in(band_hz)?.into_iter();
        Some(all.map(|p| (p.words(rate_hz), p)).collect())
    }

    /// What electronics put into a band, Hz, the strongest first, each with its mean level at the worst of the states; `None` when the plan does
    /// not say.
    #[must_use]
    pub fn picked_up_in(&self, band_hz: (f64, f64)) -> Option<Vec<Picked>> {
        Some(self.pick_up.as_ref()?.in_band(band_hz, Over::Mean).all)
    }

    /// Whether what is told of the chain beside its detectors is all that may be, and not the least: its noise is known, and no line may
    /// fold into their bands of which nothing says how much is kept out.
    #[must_use]
    pub fn says_all(&self) -> bool {
        let at_most = self.detectors_at_most.as_ref();
        self.noise_known && at_most.is_none_or(|at_most| *at_most == self.detectors)
    }

    /// Whether it is a microphone.
    #[must_use]
    pub fn in_air(&self) -> bool {
        self.reference_db != 0.0
    }
}

/// What limits the chain of a hydrophone or microphone in the months of the deployment, or in one `month`, 0 to 11.
///
/// # Errors
/// [`InputError::NotSaid`] for a sensor without a converter, [`InputError::Chain`] for one that cannot be.
pub fn chain_budget(
    line: &Line,
    sensor: SensorIx,
    month: Option<usize>,
) -> Result<ChainBudget, InputError> {
    let memo = Memo::with_room(0);
    let (mut found, sea) = without_bands(line, sensor, month, &memo)?;
    let half_hz = 0.5 * found.noise.chain().rate_hz();
    let decidecades: Vec<Decidecade> = decidecades(SEA_HZ.0, half_hz).collect();
    let edges = decidecades.iter().map(|b| (b.low_hz(), b.high_hz()));
    let levels = sea_bands(sea.as_ref(), edges.collect(), &memo);
    found.bands = decidecades
        .iter()
        .zip(levels.iter())
        .filter_map(|(band, sea)| found.band(*band, *sea))
        .collect();
    Ok(found)
}

/// The same but for its bands, which no verdict reads, in all months, with the levels of the sea that are kept.
pub(crate) fn chain_budget_of(
    line: &Line,
    sensor: SensorIx,
    memo: &Memo,
) -> Result<ChainBudget, InputError> {
    without_bands(line, sensor, None, memo).map(|(found, _)| found)
}

fn without_bands(
    line: &Line,
    sensor: SensorIx,
    month: Option<usize>,
    memo: &Memo,
) -> Result<(ChainBudget, Option<Sea>), InputError> {
    let noise = chain_noise(line, sensor)?;
    let plan = line.sensor(sensor).chain.as_ref();
    let in_air = line.sensor(sensor).kind == SensorKind::Microphone;
    let audible_hz = plan.map_or(0.0, plan::Chain::audible_hz);
    let (sea, mut sea_unknown) = match sea(line, in_air, month) {
        Ok(sea) => (Some(sea), None),
        Err(why) => (None, Some(why)),
    };
    let self_noise: Vec<(f64, f64)> = plan.map_or_else(Vec::new, |c| {
        c.self_noise.iter().map(|(f, l)| (f.si, l.db)).collect()
    });
    let mut found = ChainBudget {
        path: line.sensor_path(sensor),
        effective_bits: plan.and_then(|c| c.effective_bits).map(|q| q.si),
        amplifier_v_rthz: plan.and_then(|c| c.amplifier_noise_v_rthz).map(|q| q.si),
        self_noise,
        noise_known: says_its_noise(line, sensor),
        pick_up: PickUps::of(line, sensor)?,
        reference_db: if in_air { AIR_REFERENCE_DB } else { 0.0 },
        audible_hz,
        bands: Vec::new(),
        months: Vec::new(),
        detectors: Vec::new(),
        detectors_at_most: None,
        winds_m_s: None,
        shipping: None,
        sea_unknown: None,
        noise,
    };
    // The formula says what it does not hold for.
    let computed = sea.as_ref().map(|sea| found.of_sea(sea, memo)).transpose();
    let sea = match computed {
        Ok(_) => sea,
        Err(error) => {
            sea_unknown = Some(error.to_string());
            found.months.clear();
            None
        }
    };
    found.winds_m_s = sea.as_ref().map(|s| (s.quietest_m_s, s.windiest_m_s));
    found.shipping = sea.as_ref().map(|s| s.shipping);
    found.sea_unknown = sea_unknown;
    let detectors = |which: Which| -> Vec<DetectorBudget> {
        let on = line.detectors.iter().filter(|d| d.on == sensor);
        on.map(|d| found.detector(d, sea.as_ref(), which, memo))
            .collect()
    };
    let in_doubt = found.pick_up.as_ref().is_some_and(PickUps::in_doubt);
    let (sure, at_most) = (
        detectors(Which::Sure),
        in_doubt.then(|| detectors(Which::All)),
    );
    found.detectors = sure;
    found.detectors_at_most = at_most;
    Ok((found, sea))
}

impl ChainBudget {
    /// The sea of each month behind the high-pass.
    fn of_sea(&mut self, sea: &Sea, memo: &Memo) -> Result<(), SeaError> {
        let top_hz = self.audible_hz.min(SEA_HZ.1);
        let chain = self.noise.chain();
        for &(month, wind_m_s) in &sea.months {
            let behind = memo.of(&SeaBehind {
                parts: SeaParts {
                    wind_m_s,
                    shipping: sea.shipping,
                    top_hz,
                },
                high_pass: chain.high_pass().map(|h| (h.corner_hz, h.poles)),
            });
            let level_db = (*behind)?;
            let headroom_db = chain.overload_peak_level_db_re_1upa() - level_db;
            self.months.push(MonthBudget {
                month,
                wind_m_s,
                level_db,
                headroom_db,
                clipped_share: clipped_share(headroom_db),
            });
        }
        ambient_noise(SEA_HZ.0, sea.quietest_m_s, sea.shipping).map(drop)
    }

    /// What the high-pass does to a level, dB, at most 0.
    fn gain_db(&self, f_hz: f64) -> f64 {
        10.0 * libm::log10(self.noise.power_gain(f_hz))
    }

    fn band(&self, band: Decidecade, sea: Option<SeaBand>) -> Option<BandBudget> {
        let (low, high) = (band.low_hz(), band.high_hz());
        let chain = self.noise.band(low, high)?;
        // Without a high-pass a plain zero, not a negative one.
        let loss_db = 0.0 - self.gain_db(band.centre_hz());
        let overload_db = self.noise.chain().overload_peak_level_db_re_1upa();
        let pick_up_upa2 = self.pick_up_upa2(low, high, Which::Sure);
        let total_db = self.chain_db(low, high, Which::Sure)?;
        let most_db = self.chain_db(low, high, Which::All)?;
        let by = |sea_db: Option<f64>, total_db: f64| match sea_db {
            Some(sea_db) if sea_db - loss_db > overload_db - CREST_DB => LimitedBy::FullScale,
            // What is known of the chain is the least that it makes.
            Some(sea_db) if sea_db < total_db => LimitedBy::Chain,
            Some(_) if !self.noise_known => LimitedBy::Unknown,
            Some(sea_db) if sea_db < total_db + CLEAR_DB => LimitedBy::Both,
            Some(_) => LimitedBy::Sea,
            None => LimitedBy::Unknown,
        };
        let limited = |sea_db: Option<f64>| match (by(sea_db, total_db), by(sea_db, most_db)) {
            (sure, at_most) if sure == at_most => sure,
            _ => LimitedBy::Unknown,
        };
        Some(BandBudget {
            band,
            chain,
            pick_up_db: (pick_up_upa2 > 0.0).then(|| 10.0 * libm::log10(pick_up_upa2)),
            total_db,
            high_pass_loss_db: loss_db,
            overload_sine_db: self.noise.chain().overload_sine_level_db_re_1upa() + loss_db,
            above_filter: high > self.audible_hz,
            beyond_table: self.beyond_table(low, high),
            in_quietest: limited(sea.map(|s| s.quietest_db)),
            in_windiest: limited(sea.map(|s| s.windiest_db)),
            sea,
        })
    }

    /// Mean power of what is picked up in a band, uPa^2.
    fn pick_up_upa2(&self, low_hz: f64, high_hz: f64, which: Which) -> f64 {
        let pick_up = self.pick_up.as_ref();
        pick_up.map_or(0.0, |p| p.mean_upa2((low_hz, high_hz), which))
    }

    /// Noise of the chain and what it picks up in a band, dB re 1 uPa.
    pub(crate) fn chain_db(&self, low_hz: f64, high_hz: f64, which: Which) -> Option<f64> {
        let noise_db = self.noise.band(low_hz, high_hz)?.total_db;
        let picked = self.pick_up_upa2(low_hz, high_hz, which);
        Some(match picked > 0.0 {
            true => power_sum_db([noise_db, 10.0 * libm::log10(picked)]),
            false => noise_db,
        })
    }

    /// Whether a band lies wholly or partly outside the table of self-noise; not where there is none.
    fn beyond_table(&self, low_hz: f64, high_hz: f64) -> bool {
        let ends = self.self_noise.first().zip(self.self_noise.last());
        ends.is_some_and(|(first, last)| low_hz < first.0 || high_hz > last.0)
    }

    fn detector(
        &self,
        detector: &Detector,
        sea: Option<&Sea>,
        which: Which,
        memo: &Memo,
    ) -> DetectorBudget {
        let (low, high) = detector_band_hz(detector).unwrap_or((SEA_HZ.0, self.audible_hz));
        let (low, high) = (low.max(SEA_HZ.0), high.min(self.audible_hz));
        DetectorBudget {
            path: format!("detector.{}", detector.id),
            band_hz: (low, high),
            window_s: detector.stages.iter().find_map(|stage| match stage {
                Stage::Level { window_s, .. } => Some(window_s.si),
                _ => None,
            }),
            least_clear: sea.and_then(|sea| self.least_clear(sea, (low, high), which, memo)),
            threshold: self.threshold(detector, (low, high), which),
            beyond_table: self.beyond_table(low, high),
        }
    }

    /// The decidecade, or the part of one that lies in the band, in which the chain lies least below the sea of the quietest month.
    fn least_clear(
        &self,
        sea: &Sea,
        (low_hz, high_hz): (f64, f64),
        which: Which,
        memo: &Memo,
    ) -> Option<(f64, (f64, f64))> {
        let edges = parts_of(low_hz, high_hz);
        let levels = sea_bands(Some(sea), edges.clone(), memo);
        let clear = edges.iter().zip(levels.iter()).filter_map(|(edges, sea)| {
            let chain_db = self.chain_db(edges.0, edges.1, which)?;
            Some(((*sea)?.quietest_db - chain_db, *edges))
        });
        clear.min_by(|a, b| a.0.total_cmp(&b.0))
    }

    /// The fixed threshold of a detector over the band `low_hz` to `high_hz`.
    fn threshold(
        &self,
        detector: &Detector,
        (low_hz, high_hz): (f64, f64),
        which: Which,
    ) -> Option<ThresholdBudget> {
        if detector.over_background() || detector.of_likeness() || detector.of_learned() {
            return None;
        }
        // What these make of noise is not its level in the band.
        let elsewhere = |stage: &Stage| {
            matches!(
                stage,
                Stage::Matched { .. }
                    | Stage::Level {
                        kind: plan::LevelStage::TeagerKaiser,
                        ..
                    }
            )
        };
        if detector.stages.iter().any(elsewhere) {
            return None;
        }
        let of_exposure = detector.of_exposure();
        let own_db = detector.stages.iter().find_map(|stage| match stage {
            Stage::Trigger { on_above_db, .. } => Some(on_above_db.db),
            _ => None,
        })?;
        let over_s = detector.stages.iter().find_map(|stage| match stage {
            Stage::Level { window_s, .. } if of_exposure => Some(window_s.si),
            _ => None,
        });
        let noise_db = self.chain_db(low_hz, high_hz, which)?;
        Some(ThresholdBudget {
            level_db: own_db + if of_exposure { 0.0 } else { self.reference_db },
            noise_db: noise_db + over_s.map_or(0.0, |s| 10.0 * libm::log10(s)),
            of_exposure,
        })
    }

    /// The decidecades, or the parts of them, of a band, with the level of the sea in each; none where the sea is not known.
    pub(crate) fn parts_of_sea(
        &self,
        low_hz: f64,
        high_hz: f64,
        memo: &Memo,
    ) -> Vec<((f64, f64), Option<SeaBand>)> {
        let Some(((quietest_m_s, windiest_m_s), shipping)) = self.winds_m_s.zip(self.shipping)
        else {
            return Vec::new();
        };
        let sea = Sea {
            months: Vec::new(),
            quietest_m_s,
            windiest_m_s,
            shipping,
        };
        let edges = parts_of(low_hz, high_hz);
        let levels = sea_bands(Some(&sea), edges.clone(), memo);
        edges.into_iter().zip(levels.iter().copied()).collect()
    }

    /// As [`DetectorBudget::least_clear`], for a band of the caller's choice; `None` where the sea is not known.
    #[must_use]
    pub fn least_clear_in(&self, low_hz: f64, high_hz: f64) -> Option<(f64, (f64, f64))> {
        let (quietest_m_s, windiest_m_s) = self.winds_m_s?;
        let sea = Sea {
            months: Vec::new(),
            quietest_m_s,
            windiest_m_s,
            shipping: self.shipping?,
        };
        self.least_clear(
            &sea,
            (low_hz.max(SEA_HZ.0), high_hz.min(self.audible_hz)),
            Which::Sure,
            &Memo::with_room(0),
        )
    }
}

/// Corners of the band that a detector hears, Hz; `None` where no stage says.
pub(crate) fn detector_band_hz(detector: &Detector) -> Option<(f64, f64)> {
    let band = detector.stages.iter().find_map(|stage| match stage {
        Stage::Band {
            low_hz, high_hz, ..
        } => Some((low_hz.si, high_hz.si)),
        _ => None,
    });
    band.or_else(|| {
        detector.stages.iter().find_map(|stage| match stage {
            Stage::Likeness { contour, width_hz } => {
                let all = || contour.iter().map(|(_, f)| f.si);
                let half_hz = 0.5 * width_hz.si;
                let low = all().min_by(f64::total_cmp)? - half_hz;
                Some((low, all().max_by(f64::total_cmp)? + half_hz))
            }
            _ => None,
        })
    })
}
