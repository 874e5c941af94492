//! Waves and its own heave at a hydrophone, against the full scale of its chain.

use mooring::{HeardWaves, HeldBy, HighPassPoles, InWaves, risen_height_m};
use plan::{Line, ModuleIx, Position, SectionEnd, SensorIx};
use power::weather::WindYears;

use crate::input::{sensor_chain, water_density};
use crate::strum::FRAME_M;

/// An hour is deaf by heave in which its chain lies beyond full scale for more than this share of the time (a choice of ours).
pub const CLIPPED_SHARE: f64 = 0.01;
/// Highest sea that is looked at, m.
const HIGHEST_SEA_M: f64 = 25.0;
/// Rows of the table of seas, more of them where the sea is low.
const SEAS: u32 = 100;
/// Winds by which a month's mean is taken, each as likely.
const WINDS: u32 = 400;

/// What a hydrophone reads of waves and of its own heave.
#[derive(Clone, Debug, PartialEq)]
pub struct Waved {
    /// What holds it, in words.
    pub held: String,
    /// Peak at full scale of its chain, Pa.
    pub full_scale_pa: f64,
    /// Corner of its high-pass, Hz, and its poles.
    pub high_pass: Option<(f64, u32)>,
    /// Significant height of the sea, m, and what is read of it behind the high-pass, standard deviation in Pa, ascending.
    seas: Vec<(f64, f64)>,
    /// What is read of the swell that the plan writes, standard deviation in Pa.
    pub swell_pa: f64,
    /// Values that count although the plan does not write them.
    pub assumed: Vec<String>,
}

/// What holds a hydrophone in waves.
struct Held {
    by: Option<HeldBy>,
    words: String,
    assumed: Option<String>,
}

impl Waved {
    /// What a hydrophone reads of the waves.
    ///
    /// # Errors
    /// In words, what the plan does not say and this needs.
    pub(crate) fn of(line: &Line, sensor: SensorIx) -> Result<Waved, String> {
        let written = line.sensor(sensor).chain.as_ref();
        let high_pass = written.and_then(|c| c.high_pass);
        Waved::behind(line, sensor, high_pass.map(|h| (h.corner_hz.si, h.poles)))
    }

    /// The same behind another high-pass: its corner, Hz, and its poles.
    ///
    /// # Errors
    /// As [`Waved::of`].
    pub(crate) fn behind(
        line: &Line,
        sensor: SensorIx,
        high_pass: Option<(f64, u32)>,
    ) -> Result<Waved, String> {
        let held = held(line, sensor.module)?;
        let chain = sensor_chain(line, sensor).map_err(|e| e.to_string())?;
        let depth_m = line.modules[sensor.module.0].depth_m;
        let mut assumed = Vec::new();
        let density_kg_m3 = water_density(line, &mut assumed).map_err(|e| e.to_string())?;
        assumed.extend(held.assumed);
        let waves = HeardWaves::new(&InWaves {
            depth_m,
            water_depth_m: line.sea.water_depth_m.si,
            density_kg_m3,
            held_by: held.by,
            high_pass: high_pass.map(|(corner_hz, poles)| HighPassPoles { corner_hz, poles }),
        })
        .map_err(|e| e.to_string())?;
        let mut seas = Vec::with_capacity(SEAS as usize + 1);
        for row in 0..=SEAS {
            let share = f64::from(row) / f64::from(SEAS);
            let height_m = HIGHEST_SEA_M * share * share;
            let heard = waves.in_risen(height_m).map_err(|e| e.to_string())?;
            seas.push((height_m, heard.heard_pa));
        }
        let swell = line.sea.swell.map(|swell| {
            let heard = waves.in_swell(swell.height_m.si, swell.period_s.si);
            heard.map(|h| h.heard_pa).map_err(|e| e.to_string())
        });
        Ok(Waved {
            held: held.words,
            full_scale_pa: 1e-6 * libm::pow(10.0, 0.05 * chain.overload_peak_level_db_re_1upa()),
            high_pass,
            seas,
            swell_pa: swell.transpose()?.unwrap_or(0.0),
            assumed,
        })
    }

    /// What is read of a sea of a significant height, m, and of the swell beside it, standard deviation in Pa.
    #[must_use]
    pub fn heard_pa(&self, significant_m: f64) -> f64 {
        libm::hypot(self.sea_pa(significant_m), self.swell_pa)
    }

    fn sea_pa(&self, significant_m: f64) -> f64 {
        let above = self.seas.partition_point(|(m, _)| *m < significant_m);
        match (
            above.checked_sub(1).map(|i| self.seas[i]),
            self.seas.get(above),
        ) {
            (None, _) => self.seas[0].1,
            (Some((_, pa)), None) => pa,
            (Some((low_m, low_pa)), Some((high_m, high_pa))) => {
                low_pa + (high_pa - low_pa) * (significant_m - low_m) / (high_m - low_m)
            }
        }
    }

    /// Share of the time in which that lies beyond full scale.
    #[must_use]
    pub fn clipped_share(&self, significant_m: f64) -> f64 {
        let heard_pa = self.heard_pa(significant_m);
        if heard_pa == 0.0 {
            return 0.0;
        }
        libm::erfc(self.full_scale_pa / (heard_pa * core::f64::consts::SQRT_2))
    }

    /// Significant height above which more than [`CLIPPED_SHARE`] of the time is clipped, m; infinite where no sea does.
    #[must_use]
    pub fn clips_above_m(&self) -> f64 {
        if self.clipped_share(HIGHEST_SEA_M) <= CLIPPED_SHARE {
            return f64::INFINITY;
        }
        let (mut low, mut high) = (0.0, HIGHEST_SEA_M);
        for _ in 0..60 {
            let middle = 0.5 * (low + high);
            if self.clipped_share(middle) > CLIPPED_SHARE {
                high = middle;
            } else {
                low = middle;
            }
        }
        high
    }
}

/// How high the sea is in a wind of a month.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Seas {
    wind_m_s: [f64; 12],
    /// Mean significant height of each month, m, where the plan writes it.
    height_m: Option<[f64; 12]>,
}

impl Seas {
    /// # Errors
    /// In words, where the site says no wind.
    pub(crate) fn of(line: &Line) -> Result<Seas, String> {
        let twelve = |all: &[plan::Q]| {
            let numbers: Vec<f64> = all.iter().map(|q| q.si).collect();
            <[f64; 12]>::try_from(numbers).ok()
        };
        let wind_m_s = twelve(&line.sea.wind_m_s)
            .ok_or_else(|| "`site.wind` is not written: the mean wind of each month".to_owned())?;
        Ok(Seas {
            wind_m_s,
            height_m: twelve(&line.sea.wave_height_m),
        })
    }

    pub(crate) fn wind_m_s(&self) -> [f64; 12] {
        self.wind_m_s
    }

    /// Significant height in a wind of a month, m: the sea that the wind has raised; where the plan writes the month's mean height one that grows with the square of
    /// the wind and has that mean (of Rayleigh's law the mean square is 4/pi of the squared mean).
    pub(crate) fn height_m(&self, month: usize, wind_m_s: f64) -> f64 {
        match &self.height_m {
            None => risen_height_m(wind_m_s),
            Some(heights) if self.wind_m_s[month] > 0.0 => {
                let ratio = wind_m_s / self.wind_m_s[month];
                heights[month] * core::f64::consts::FRAC_PI_4 * ratio * ratio
            }
            Some(_) => 0.0,
        }
    }

    /// The wind of a month that raises such a height, m/s.
    pub(crate) fn wind_for_m_s(&self, month: usize, significant_m: f64) -> f64 {
        let of_one = match &self.height_m {
            None => risen_height_m(1.0),
            Some(_) => self.height_m(month, 1.0),
        };
        if of_one > 0.0 {
            (significant_m / of_one).sqrt()
        } else {
            f64::INFINITY
        }
    }

    /// Share of the time of a month in which a chain is clipped, over the winds of that month.
    pub(crate) fn clipped_share(&self, waved: &Waved, month: usize, winds: &WindYears) -> f64 {
        let each = (0..WINDS).map(|i| {
            let above = (f64::from(i) + 0.5) / f64::from(WINDS);
            waved.clipped_share(self.height_m(month, winds.at_share_above(month, above)))
        });
        each.sum::<f64>() / f64::from(WINDS)
    }

    /// From what they come, in words.
    pub(crate) fn words(&self) -> &'static str {
        match self.height_m {
            None => "a sea that the wind has raised for as long as it can (Pierson and Moskowitz)",
            Some(_) => "a sea of the written `wave_height` of the month, by the square of the wind",
        }
    }
}

/// What holds a hydrophone: a buoy above it, the bed, or something that stands still.
fn held(line: &Line, module: ModuleIx) -> Result<Held, String> {
    let still = |words: &str| Held {
        by: None,
        words: words.to_owned(),
        assumed: None,
    };
    let own = &line.modules[module.0];
    let floor_m = line.sea.water_depth_m.si;
    if !own.depth_m.is_finite() || !floor_m.is_finite() {
        return Err("its depth or that of the water is not known".to_owned());
    }
    let above = |end: SectionEnd| line.sections.iter().position(|s| s.to == end);
    let first = match own.position {
        Position::FromTop { section, .. } | Position::FromAnchor { section, .. } => Some(section.0),
        Position::Depth(_) => above(SectionEnd::Module(module)),
    };
    let Some(mut section) = first else {
        if own.depth_m >= floor_m - FRAME_M {
            return Ok(still("on the bottom"));
        }
        return Err(format!(
            "{} hangs on no section: whether it rises with a buoy, or what else holds it, is not said",
            line.module_path(module)
        ));
    };
    if own.depth_m >= floor_m {
        return Ok(still("on the bottom"));
    }
    let mut share = 1.0;
    let mut silent = Vec::new();
    // As many sections as there are, so that a ring ends.
    for _ in 0..line.sections.len() {
        let of = &line.sections[section];
        match of.heave_share {
            Some(written) => share *= written.si,
            None => silent.push(format!("section.{}", of.id)),
        }
        match of.from {
            SectionEnd::Module(top) if line.modules[top.0].depth_m == 0.0 => {
                let path = line.module_path(top);
                let waterplane = line.modules[top.0].hull.and_then(|h| h.waterplane_m2);
                let waterplane = waterplane.ok_or_else(|| {
                    format!("the hull of {path} says nothing of `waterplane`, by which it follows the waves")
                })?;
                let diameter_m = 2.0 * (waterplane.si / core::f64::consts::PI).sqrt();
                return Ok(Held {
                    by: Some(HeldBy { diameter_m, share }),
                    words: if share == 1.0 {
                        format!("rising with {path}")
                    } else {
                        format!("rising by {:.0} % of {path}", 100.0 * share)
                    },
                    assumed: (!silent.is_empty()).then(|| {
                        format!(
                            "all of the heave of {path} comes down, because no `heave_share` is written: {}",
                            silent.join(", ")
                        )
                    }),
                });
            }
            SectionEnd::Anchor(_) => return Ok(still("standing still")),
            end => match above(end) {
                Some(next) => section = next,
                None => return Ok(still("standing still below what holds it")),
            },
        }
    }
    Err("its sections make a ring".to_owned())
}
