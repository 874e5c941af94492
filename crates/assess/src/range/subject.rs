//! A detector and a call of the plan as numbers: what is put into which noise, and what loses it on the way.

use chance::Stream;
use detect::Spec;
use injection::{CallSound, InjectionError, Spread};
use plan::{CallIx, DetectorIx, Line};
use quantity::{HALF_WIDTH_DEVIATIONS, Law};
use seawater::{Profile, Variable, Warning, absorption};
use sha2::{Digest, Sha256};
use signal::{SensorChain, energy_band_hz};

use super::laws::{local, surveyed};
use super::rays::RayLoss;
use super::sound::{BandOf, LOWEST_HZ, band_of, listens_in, over_background, voiced};
use super::way::{Way, depth_ends_m};
use super::{HourWinds, Local, RangeError, SurveyLaw, Wind};
use crate::input::{
    InputError, SiteNoise, bed, detector_spec, profile, says_its_noise, self_noise, sensor_chain,
    spreading,
};
use crate::memo::Memo;
use crate::mooring_verdicts::Hangs;
use crate::pick_up::PickUps;

/// Method of a sampled curve; a change of what is drawn or counted is another method.
pub(crate) const INJECTION: &str = "injection/2";

/// Share of a call's energy that lies below its own band, and above.
const LEFT_OUT: f64 = 0.05;
/// The least wind that there is, m/s.
pub(super) const CALM_M_S: f64 = 0.0;
/// What to write where a range is asked for and no law is there.
pub(super) const SPREADING: &str = "how sound spreads, and ranges do not follow rays: add to [site] spreading = \"spherical\", \"practical\" or \"cylindrical\", or \"transition\" with spreading_changes_at = \"1 km\"";

/// Which laws a range is looked at under.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(crate) enum Laws {
    /// Only what the plan writes: no rays are followed.
    Own,
    /// All that may hold.
    All,
}

/// What is sampled and what ranges are worked out from.
#[derive(Clone, Debug)]
pub struct Subject {
    /// The detector: a typed path.
    pub detector: String,
    /// The call: a typed path.
    pub call: String,
    /// The sensor: a typed path.
    pub sensor: String,
    /// Whether the plan says anything of the sensor's own noise.
    pub says_its_noise: bool,
    /// Mean source level, dB re 1 uPa m.
    pub source_level_db: f64,
    /// How it differs from call to call.
    pub spread: Spread,
    /// Depth of the source, m.
    pub source_depth_m: f64,
    /// Depth of the hydrophone, m.
    pub hydrophone_depth_m: f64,
    /// What gives that depth, in words.
    pub hydrophone_depth_by: String,
    /// The band in which call and noise are compared, Hz.
    pub band_hz: (f64, f64),
    /// Whose band that is.
    pub band_of: BandOf,
    /// Lowest and highest frequency of the call, Hz.
    pub call_band_hz: (f64, f64),
    /// The frequency that stands for the call where absorption is taken, Hz.
    pub representative_hz: f64,
    /// Mean wind of the twelve months, m/s; none where the plan does not say it.
    pub wind_m_s: Vec<f64>,
    /// Water depth, m; not a number where it is not known.
    pub water_depth_m: f64,
    pub(crate) spec: Spec,
    pub(crate) chain: SensorChain,
    pub(crate) self_noise: Vec<(f64, f64)>,
    /// Parts of what the detector passes, Hz, into which lines may fold of which nothing says how much is kept out, with their mean power
    /// beside what is in the noise, uPa^2.
    doubtful: Vec<((f64, f64), f64)>,
    pub(crate) sound: CallSound,
    /// SHA-256 of the samples of the call.
    sound_digest: String,
    /// `None` where the plan does not say it.
    pub(crate) shipping: Option<f64>,
    pub(crate) profile: Profile,
    pub(crate) way: Way,
    /// The laws under which its ranges are looked at.
    pub(crate) laws: Vec<SurveyLaw>,
    /// Loss along rays to the hydrophone at its own depth and at the ends of its depths, or why none can be followed.
    pub(crate) rays: Result<Vec<RayLoss>, String>,
    /// The least and the greatest depth at which it hangs over the design cases, m, of those that differ from its own; none where that is
    /// not known or depth does not decide the loss.
    pub(crate) depth_ends_m: Vec<f64>,
    /// The winds of the hours, or why there are none.
    pub hour_winds: Result<HourWinds, String>,
    /// Where the law of spreading was measured at the place.
    pub local: Option<Local>,
    pub(crate) ph: f64,
    /// Whether the site asks for rays, which ranges do not know.
    pub(crate) asks_for_rays: bool,
}

impl Subject {
    /// All that makes ranges of the shares that were counted, for a digest.
    pub(crate) fn makes_ranges(&self) -> impl std::fmt::Debug + '_ {
        (
            (self.source_level_db, &self.spread, self.source_depth_m),
            (self.hydrophone_depth_m, self.water_depth_m),
            (self.band_hz, self.representative_hz, self.ph),
            (&self.profile, self.way, &self.laws),
            (&self.rays, &self.local),
        )
    }

    /// A detector and a call of a plan. Wind and shipping are asked for where noise is made of them, and not here: recorded noise needs
    /// neither.
    ///
    /// # Errors
    /// [`RangeError`] where the plan does not say what is needed, or something that cannot be.
    pub fn new(line: &Line, detector: DetectorIx, call: CallIx) -> Result<Self, RangeError> {
        let memo = Memo::with_room(0);
        Self::of(&Hangs::new(line, &memo), detector, call, Laws::All)
    }

    /// The same with what is kept from check to check.
    ///
    /// # Errors
    /// As [`Self::new`].
    pub(crate) fn of(
        hangs: &Hangs<'_>,
        detector: DetectorIx,
        call: CallIx,
        laws: Laws,
    ) -> Result<Self, RangeError> {
        let (line, memo) = (hangs.line(), hangs.memo());
        let plan = &line.detectors[detector.0];
        let written = &line.calls[call.0];
        let name = format!("call.{}", written.id);
        let chain = sensor_chain(line, plan.on)?;
        let spec = detector_spec(line, detector, None)?;
        let rate_hz = chain.rate_hz();
        let passed_hz = listens_in(&spec);
        let (samples, of_formula) = voiced(&name, written, rate_hz)?;
        let band_of = band_of(&spec);
        let band_hz = match band_of {
            BandOf::Detector => passed_hz,
            BandOf::Call => energy_band_hz(&samples, rate_hz, passed_hz, LEFT_OUT)
                .map_err(InjectionError::from)?,
        };
        // A recorded call is taken to lie in the band in which it is compared.
        let lowest_hz = band_hz.0.max(LOWEST_HZ);
        let (representative_hz, (low_hz, high_hz)) = of_formula.unwrap_or_else(|| {
            let middle_hz = (lowest_hz * band_hz.1).sqrt();
            (middle_hz, (lowest_hz, band_hz.1))
        });
        let sound = CallSound::new(&samples, rate_hz, Some(&chain), band_hz)?;
        let mut digest = Sha256::new();
        for sample in &samples {
            digest.update(sample.to_le_bytes());
        }
        let sea = &line.sea;
        let hydrophone_depth_m = line.modules[plan.on.module.0].depth_m;
        if !hydrophone_depth_m.is_finite() {
            return Err(RangeError::Input(InputError::NotSaid {
                what: line.module_path(plan.on.module),
                missing: "its depth",
            }));
        }
        let way = match sea.paths {
            Some(plan::Paths::SurfaceImage) => Way::Image { low_hz, high_hz },
            _ => Way::Law(spreading(line).ok_or_else(|| site(SPREADING))?),
        };
        let picked = PickUps::of(line, plan.on)?;
        let own_noise = self_noise(line, plan.on)?;
        let profile = profile(line).map_err(InputError::from)?;
        let ph = sea.ph.map(|q| q.si).ok_or_else(|| site("pH"))?;
        let surveyed_all = laws == Laws::All;
        let may_follow = bed(line).is_some();
        let depth_ends_m = match matches!(way, Way::Image { .. }) || surveyed_all && may_follow {
            true => depth_ends_m(hangs, plan.on.module, hydrophone_depth_m),
            false => Vec::new(),
        };
        let rays = match surveyed_all {
            true => [hydrophone_depth_m]
                .iter()
                .chain(&depth_ends_m)
                .map(|depth_m| {
                    let depths_m = (written.depth_m.si, *depth_m);
                    RayLoss::of(line, &profile, depths_m, (representative_hz, ph), memo)
                })
                .collect::<Result<Vec<_>, _>>(),
            false => Err("the plan's own law alone is looked at".to_owned()),
        };
        Ok(Self {
            detector: format!("detector.{}", plan.id),
            call: name,
            sensor: line.sensor_path(plan.on),
            says_its_noise: says_its_noise(line, plan.on),
            source_level_db: written.source_level_db.db,
            spread: match written.source_level_db.law {
                None => Spread::None,
                Some(Law::Normal { half_width }) => Spread::Normal {
                    deviation_db: half_width / HALF_WIDTH_DEVIATIONS,
                },
                Some(Law::Uniform { half_width }) => Spread::Uniform {
                    half_width_db: half_width,
                },
            },
            source_depth_m: written.depth_m.si,
            hydrophone_depth_m,
            hydrophone_depth_by: crate::depth_by(line, plan.on.module),
            band_hz,
            band_of,
            call_band_hz: (low_hz, high_hz),
            representative_hz,
            wind_m_s: sea.wind_m_s.iter().map(|q| q.si).collect(),
            water_depth_m: sea.water_depth_m.si,
            doubtful: picked
                .as_ref()
                .map_or_else(Vec::new, |picked| picked.doubtful(passed_hz)),
            self_noise: match &picked {
                Some(picked) => picked.spread_over(&own_noise),
                None => own_noise,
            },
            spec,
            chain,
            sound,
            sound_digest: plan::hex(&digest.finalize()),
            shipping: sea.shipping.map(|q| q.si),
            profile,
            way,
            laws: surveyed(line, way, rays.is_ok(), &depth_ends_m),
            rays,
            depth_ends_m,
            local: local(line),
            hour_winds: HourWinds::of(line),
            asks_for_rays: sea.paths == Some(plan::Paths::Rays),
            ph,
        })
    }

    /// The mean wind of a month, 1 to 12, m/s.
    pub(super) fn month_wind_m_s(&self, month: u8) -> Result<f64, RangeError> {
        let at = usize::from(month).checked_sub(1);
        let wind_m_s = at.and_then(|at| self.wind_m_s.get(at));
        wind_m_s
            .copied()
            .ok_or_else(|| site("the wind of the months"))
    }

    /// Whether the detector decides over a running background, and not by a threshold that stays where it is: then less noise is never
    /// worse for it.
    #[must_use]
    pub fn over_background(&self) -> bool {
        over_background(&self.spec)
    }

    /// The winds, m/s, at which it is held to what is to hold in any wind up to `most_m_s`. Over a background that is the greatest, in which a
    /// call is found least far. With a fixed threshold less noise may carry fewer calls over it as well, so that there a calm and the
    /// means of `months` below the greatest are looked at too.
    pub(crate) fn winds_up_to(&self, most_m_s: f64, months: &[u8]) -> Vec<Wind> {
        let mut winds = vec![Wind::AtMost(most_m_s)];
        if !self.over_background() && most_m_s > CALM_M_S {
            winds.push(Wind::AtMost(CALM_M_S));
            let below = |month: &u8| self.month_wind_m_s(*month).is_ok_and(|m_s| m_s < most_m_s);
            winds.extend(months.iter().copied().filter(below).map(Wind::OfMonth));
        }
        winds
    }

    /// The noise of a wind at the hydrophone.
    pub(crate) fn noise(&self, wind_m_s: f64) -> Result<SiteNoise, RangeError> {
        let rate_hz = self.chain.rate_hz();
        Ok(SiteNoise::new(
            wind_m_s,
            self.shipping.ok_or_else(|| site("shipping"))?,
            &self.self_noise,
            rate_hz,
        )?)
    }

    /// Level of the noise of a wind in [`Self::band_hz`] as the detector hears it, dB re 1 uPa: sea and chain behind the high-pass, and the
    /// steps of the converter.
    ///
    /// # Errors
    /// [`RangeError::Noise`] for a wind or shipping outside what the formula holds for, [`RangeError::Input`] where the plan says no shipping.
    pub fn noise_level_db(&self, wind_m_s: f64) -> Result<f64, RangeError> {
        let (low_hz, high_hz) = self.band_hz;
        let high_pass = self.chain.high_pass();
        let passed = |f_hz: f64| high_pass.map_or(1.0, |h| h.power_gain(f_hz));
        let noise = self.noise(wind_m_s)?;
        let steps_db = self.chain.quantisation_density_db_re_1upa2_hz();
        let steps = libm::pow(10.0, steps_db / 10.0) * (high_hz - low_hz);
        Ok(10.0 * libm::log10(noise.band_power_upa2(low_hz, high_hz, passed) + steps))
    }

    /// Whether lines may fold into what the detector passes of which nothing says how much is kept out; they are not in the noise.
    #[must_use]
    pub fn may_fold(&self) -> bool {
        !self.doubtful.is_empty()
    }

    /// How far lines that may fold into what the detector passes, and of which nothing says how much is kept out, lie below sea and chain in
    /// a wind, dB, in the decidecade in which that is least; `None` where there are none.
    ///
    /// # Errors
    /// As [`Self::noise_level_db`].
    pub(crate) fn doubtful_below_db(&self, wind_m_s: f64) -> Result<Option<f64>, RangeError> {
        if self.doubtful.is_empty() {
            return Ok(None);
        }
        let noise = self.noise(wind_m_s)?;
        let each = self.doubtful.iter().map(|((low_hz, high_hz), upa2)| {
            let there_db = noise.band_level_db_re_1upa(*low_hz, *high_hz);
            there_db - 10.0 * libm::log10(*upa2)
        });
        Ok(each.reduce(f64::min))
    }

    /// In-band level of a call of the mean source level at 1 m, less what the high-pass takes of it, dB re 1 uPa m.
    #[must_use]
    pub fn in_band_source_db(&self) -> f64 {
        self.source_level_db + self.sound.in_band_db()
    }

    /// Why rays are not among the laws that are looked at; `None` where they are.
    #[must_use]
    pub fn no_rays(&self) -> Option<&str> {
        self.rays.as_ref().err().map(String::as_str)
    }

    /// Whether the loss is that of the straight path and its image in the surface, and not a spreading law's.
    #[must_use]
    pub fn with_surface_image(&self) -> bool {
        matches!(self.way, Way::Image { .. })
    }

    /// The law that the plan writes.
    pub(crate) fn own(&self) -> &SurveyLaw {
        let own = self.laws.iter().find(|law| law.own);
        own.expect("the plan's own way is one of those that are looked at")
    }

    /// The law that the plan writes, in words.
    pub(crate) fn own_law(&self) -> &str {
        &self.own().words
    }

    /// Product of the call's energy duration and the band's width.
    #[must_use]
    pub fn time_bandwidth(&self) -> f64 {
        self.sound.time_bandwidth()
    }

    /// Time that holds the middle 90 % of the call's energy, s.
    #[must_use]
    pub fn energy_duration_s(&self) -> f64 {
        self.sound.energy_duration_s()
    }

    /// Absorption on the way to a hydrophone at a depth, dB/km, with what makes it doubtful.
    pub(crate) fn absorption(&self, depth_m: f64) -> Result<(f64, Vec<String>), RangeError> {
        let middle_m = f64::midpoint(depth_m, self.source_depth_m);
        let t = self
            .profile
            .temperature_degc(middle_m)
            .map_err(InputError::from)?;
        let s = self.profile.salinity(middle_m).map_err(InputError::from)?;
        let found = absorption(self.representative_hz, t, s, middle_m, self.ph)
            .map_err(InputError::from)?;
        let warnings = found.warnings.iter().map(|w| match w {
            Warning::Extrapolated {
                variable: Variable::Frequency,
                value,
                low,
                ..
            } if value < low => format!(
                "the published range of the absorption begins at {low:.0} Hz; it is carried on to {value:.0} Hz, where little is absorbed"
            ),
            other => other.to_string(),
        });
        Ok((found.total_db_per_km, warnings.collect()))
    }

    /// SHA-256 of all that a sampled curve in the noise of a wind rests on, but for the number of calls and their seed. The density of the
    /// noise is in it as it was worked out: another formula gives another digest.
    ///
    /// # Errors
    /// As [`Self::noise_level_db`].
    pub fn digest(&self, wind_m_s: f64) -> Result<String, RangeError> {
        let inputs = format!(
            "{INJECTION} {:?} {:?} {:?} {:?} {} {:?} {:?} {:?}",
            self.spec,
            self.chain,
            self.self_noise,
            self.band_hz,
            self.sound_digest,
            wind_m_s,
            self.shipping,
            self.noise(wind_m_s)?,
        );
        Ok(plan::hex(&Sha256::digest(inputs.as_bytes())))
    }

    /// Samples of noise behind the chain's high-pass, of one stretch.
    pub(crate) fn noise_samples(
        &self,
        wind_m_s: f64,
        mut stream: Stream,
        count: usize,
    ) -> Result<Vec<f32>, RangeError> {
        let mut noise = self
            .noise(wind_m_s)?
            .shaped()
            .map_err(|source| RangeError::Noise(crate::input::SiteNoiseError::Spectrum(source)))?;
        let mut out = vec![0.0; count];
        noise.fill(0, &mut out, |_| stream.gaussian());
        if let Some(mut high_pass) = self
            .chain
            .high_pass_filter()
            .map_err(signal::ChainError::from)
            .map_err(InjectionError::from)?
        {
            let mut filtered = vec![0.0; count];
            high_pass.process(&out, &mut filtered);
            out = filtered;
        }
        Ok(out)
    }
}

pub(super) fn site(missing: &'static str) -> RangeError {
    RangeError::Input(InputError::NotSaid {
        what: "site".to_owned(),
        missing,
    })
}
