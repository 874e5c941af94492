//! The light that the panels of a supply get: generated years of daily clearness, or the years of a weather file.

use std::sync::Arc;

use plan::{Line, Q, Supply, WeatherText};
use power::sun::{
    Array, Clock, DAYS, Face, HOURS, Horizon, Iam, Mounting, Observer, PlaneHour, PlaneYear,
    SOLAR_CONSTANT_ASTM_E490_W_M2, Site, Sky, Soiling, SunCourse, SunError, SunHour, SunYear,
};
use power::weather::{
    ClearnessModel, ClearnessYears, FileError, MonthMean, PERSISTENCE, WeatherFile, parse_years,
};
use power::year::{Climate, GeneratedPlane, GeneratedYields, PanelModel, measured_yields};

use super::super::InputError;
use super::twelve;
use crate::memo::{Canon, Canonical, Digest, Job, Memo, canonical};

/// Share of a silicon panel's power lost for each kelvin of cell temperature (common practice).
const LOSS_PER_KELVIN: f64 = 0.004;
/// Linke turbidity; neither kind of year reads the clear sky.
const LINKE_TURBIDITY: f64 = 3.0;
/// Reflectance of the sea (common practice).
const SEA_ALBEDO: f64 = 0.06;
/// Air pressure at sea level, Pa, ISO 2533.
const SEA_LEVEL_PA: f64 = 101_325.0;
/// Terrestrial less Universal Time, s, in the years about 2020 (from memory); a minute moves no hour of the sun.
const DELTA_T_S: f64 = 70.0;
/// Mean radius of the earth, km.
const EARTH_KM: f64 = 6371.0;

/// Where the years of a supply come from.
#[derive(Clone, Debug)]
pub enum Light {
    /// They are drawn day by day from the clearness of the months.
    Generated(Box<GeneratedLight>),
    /// They were measured.
    Measured(MeasuredLight),
}

/// What draws years.
#[derive(Clone, Debug)]
pub struct GeneratedLight {
    yields: GeneratedYields,
    clearness: ClearnessYears,
    /// The same months by another model.
    other: ClearnessYears,
    /// What a year of the one and of the other is drawn from.
    drawn_from: [Digest; 2],
    /// What their energy is made from.
    made_from: [Digest; 2],
}

/// The years of a weather file.
#[derive(Clone, Debug)]
pub struct MeasuredLight {
    /// Path of the file as the plan writes it.
    pub path: String,
    /// Energy of each hour of each year, Wh per watt of peak power.
    years: Vec<Vec<f64>>,
    /// What that is made from.
    made_from: Digest,
}

/// What a row of years needs; to be used again.
#[derive(Clone, Debug, Default)]
pub(crate) struct LightScratch {
    yields: Vec<f64>,
}

/// A year of irradiance on the array in the hours with light, W/m2.
struct LitYear<'a> {
    light: &'a GeneratedLight,
    seed: u64,
    year: u64,
}

impl Canonical for LitYear<'_> {
    fn write(&self, to: &mut Canon) {
        self.light.drawn_from[0].write(to);
        self.seed.write(to);
        self.year.write(to);
    }
}

impl Job for LitYear<'_> {
    const METHOD: &'static str = "weather year/1";
    type Out = Result<Vec<f64>, SunError>;

    fn run(&self, _: &Memo) -> Self::Out {
        let mut clearness = [0.0; DAYS];
        self.light
            .clearness
            .fill(self.seed, self.year, &mut clearness);
        let mut lit_w_m2 = Vec::new();
        self.light.yields.plane().fill(&clearness, &mut lit_w_m2)?;
        Ok(lit_w_m2)
    }

    fn bytes(out: &Self::Out) -> usize {
        out.as_ref().map_or(0, |lit| size_of_val(lit.as_slice()))
    }
}

/// The sun from the centre of the earth, which every place of one clock shares.
struct CourseOf {
    year: i32,
    utc_offset_h: f64,
}

canonical!(CourseOf { year, utc_offset_h });

impl Job for CourseOf {
    const METHOD: &'static str = "course of the sun/1";
    type Out = Result<SunCourse, SunError>;

    fn run(&self, _: &Memo) -> Self::Out {
        SunCourse::new(Clock {
            year: self.year,
            utc_offset_h: self.utc_offset_h,
            delta_t_s: DELTA_T_S,
        })
    }

    fn bytes(_: &Self::Out) -> usize {
        SunCourse::BYTES
    }
}

/// The sun of a place.
#[derive(Clone)]
struct SunOf {
    place: Place,
    year: i32,
    /// Azimuth and elevation of what stands around, deg.
    horizon: Vec<(f64, f64)>,
    air_degc: f64,
}

canonical!(SunOf {
    place,
    year,
    horizon,
    air_degc
});

impl Job for SunOf {
    const METHOD: &'static str = "sun of a place/1";
    type Out = Result<Arc<SunYear>, InputError>;

    fn run(&self, memo: &Memo) -> Self::Out {
        let course = memo.of(&CourseOf {
            year: self.year,
            utc_offset_h: self.place.utc_offset_h,
        });
        let course = course.as_ref().as_ref().map_err(Clone::clone)?;
        let site = self
            .place
            .site(self.year, horizon_of(&self.horizon)?, self.air_degc);
        Ok(Arc::new(SunYear::along(&site, course)?))
    }

    fn bytes(_: &Self::Out) -> usize {
        HOURS * size_of::<SunHour>()
    }
}

/// The sun of a place, and an array below it.
struct Sunlit {
    sun: SunOf,
    array: Array,
}

canonical!(Sunlit { sun } debug { array });

/// Their year.
struct SunlitYear {
    sun: Arc<SunYear>,
    /// Of an array under measured weather.
    measured: PlaneYear,
    /// Under generated weather.
    generated: Arc<GeneratedPlane>,
}

impl Job for Sunlit {
    const METHOD: &'static str = "sun on the array/1";
    type Out = Result<SunlitYear, InputError>;

    fn run(&self, memo: &Memo) -> Self::Out {
        let sun = memo.of(&self.sun);
        let sun = sun.as_ref().as_ref().map_err(Clone::clone)?.clone();
        let measured = PlaneYear::new(&sun, &self.array)?;
        let generated = Arc::new(GeneratedPlane::new(&sun, &measured));
        Ok(SunlitYear {
            sun,
            measured,
            generated,
        })
    }

    fn bytes(_: &Self::Out) -> usize {
        // An hour of the plane, and of sun and plane for generated weather.
        HOURS * (size_of::<PlaneHour>() + GeneratedPlane::BYTES_PER_HOUR)
    }
}

/// The text of a weather file.
struct WeatherOf<'a> {
    text: &'a str,
}

canonical!('a WeatherOf<'a> { text });

impl Job for WeatherOf<'_> {
    const METHOD: &'static str = "weather file/1";
    type Out = Result<Vec<WeatherFile>, FileError>;

    fn run(&self, _: &Memo) -> Self::Out {
        parse_years(self.text)
    }

    fn bytes(out: &Self::Out) -> usize {
        let hours = |file: &WeatherFile| size_of_val(file.hours.as_slice());
        out.as_ref()
            .map_or(0, |files| files.iter().map(hours).sum())
    }
}

/// The winds of the hours of each year of the plan's weather file, m/s; `None` where it has none.
///
/// # Errors
/// What the file refuses.
pub(crate) fn measured_winds(
    line: &Line,
    memo: &Memo,
) -> Result<Option<Arc<Vec<Vec<f64>>>>, InputError> {
    let Some(weather) = &line.sea.weather else {
        return Ok(None);
    };
    let files = memo.of(&WeatherOf {
        text: &weather.text,
    });
    let files = files.as_ref().as_ref();
    let files = files.map_err(|source| InputError::WeatherFile {
        path: weather.path.clone(),
        source: source.clone(),
    })?;
    let winds = |file: &WeatherFile| file.hours.iter().map(|h| h.wind_speed_m_s).collect();
    Ok(Some(Arc::new(files.iter().map(winds).collect())))
}

impl Light {
    /// How many years there are; `None` where as many as are asked for are drawn.
    #[must_use]
    pub fn measured_years(&self) -> Option<u64> {
        match self {
            Self::Generated(_) => None,
            Self::Measured(light) => Some(light.years.len() as u64),
        }
    }

    /// The same months drawn by the other model (Bendt, Collares-Pereira and Rabl 1981, with memory of one day); `None` where the
    /// years were measured.
    #[must_use]
    pub(crate) fn second_opinion(&self) -> Option<Self> {
        match self {
            Self::Generated(light) => Some(Self::Generated(Box::new(GeneratedLight {
                yields: light.yields.clone(),
                clearness: light.other.clone(),
                other: light.clearness.clone(),
                drawn_from: [light.drawn_from[1], light.drawn_from[0]],
                made_from: [light.made_from[1], light.made_from[0]],
            }))),
            Self::Measured(_) => None,
        }
    }

    /// What the energy of a year is made from, but for seed and number.
    pub(crate) fn made_from(&self) -> &Digest {
        match self {
            Self::Generated(light) => &light.made_from[0],
            Self::Measured(light) => &light.made_from,
        }
    }

    /// Energy of each hour of a year, counted from 0, Wh per watt of peak power.
    ///
    /// # Errors
    /// [`InputError::Open`] for a measured year that is not there.
    pub(crate) fn year<'a>(
        &'a self,
        seed: u64,
        year: u64,
        memo: &Memo,
        scratch: &'a mut LightScratch,
    ) -> Result<&'a [f64], InputError> {
        match self {
            Self::Generated(light) => {
                let lit = memo.of(&LitYear { light, seed, year });
                let lit_w_m2 = lit.as_ref().as_ref().map_err(Clone::clone)?;
                let filled = light.yields.fill_lit(lit_w_m2, &mut scratch.yields);
                filled.expect("the irradiance is that of this array");
                Ok(&scratch.yields)
            }
            Self::Measured(light) => {
                let found = usize::try_from(year).ok().and_then(|y| light.years.get(y));
                found.map(Vec::as_slice).ok_or_else(|| InputError::Open {
                    what: format!(
                        "the weather of {} holds out for {} of the years that are asked for, and not for year {}",
                        light.path,
                        light.years.len(),
                        year + 1
                    ),
                })
            }
        }
    }
}

/// The light of a supply, and local standard time less Universal Time of its years, h.
pub(super) fn light(
    line: &Line,
    supply: &Supply,
    year: i32,
    cells_degc: &[f64; 12],
    memo: &Memo,
    assumed: &mut Vec<String>,
) -> Result<(Light, f64), InputError> {
    let what = format!("supply.{}", supply.id);
    let panels = panels_of(supply)?;
    let horizon = horizon(line, assumed)?;
    let mounting = match panels.azimuth_deg {
        Some(azimuth) => Mounting::Fixed(vec![Face {
            tilt_deg: panels.tilt_deg.si,
            azimuth_deg: azimuth.si,
        }]),
        None => {
            assumed.push(format!(
                "{what}.panels: on a buoy that yaws freely, because no `azimuth` is written"
            ));
            Mounting::Yawing {
                tilt_deg: panels.tilt_deg.si,
            }
        }
    };
    let array = Array {
        mounting,
        beam_iam: Iam::Physical,
        sky: Sky::HayDavies,
        albedo: SEA_ALBEDO,
    };
    let model = panel_model(&what, panels, assumed)?;
    let year_error = |source| InputError::Year {
        what: format!("{what}.panels"),
        source,
    };
    let place = Place {
        latitude_deg: line.sea.latitude_deg.si,
        longitude_deg: line.sea.longitude_deg.si,
        elevation_m: 0.0,
        utc_offset_h: zone_h(line),
    };
    let sunlit = |place: Place, air_degc: f64| Sunlit {
        sun: SunOf {
            place,
            year,
            horizon: horizon.clone(),
            air_degc,
        },
        array: array.clone(),
    };
    if let Some(weather) = &line.sea.weather {
        let text = WeatherOf {
            text: &weather.text,
        };
        let files = memo.of(&text);
        let files = files.as_ref().as_ref();
        let files = files.map_err(|source| InputError::WeatherFile {
            path: weather.path.clone(),
            source: source.clone(),
        })?;
        let place = place_of(files, place, weather, assumed);
        let sunlit = sunlit(place, mean(cells_degc));
        let days = memo.of(&sunlit);
        let days = days.as_ref().as_ref().map_err(Clone::clone)?;
        let years = files
            .iter()
            .map(|file| {
                measured_yields(&days.sun, &days.measured, &file.hours, &model).map_err(year_error)
            })
            .collect::<Result<_, InputError>>()?;
        let mut from = Canon::new("measured light");
        text.write(&mut from);
        sunlit.write(&mut from);
        from.debug(&model);
        let light = MeasuredLight {
            path: weather.path.clone(),
            years,
            made_from: from.digest(),
        };
        return Ok((Light::Measured(light), place.utc_offset_h));
    }
    let clearness = twelve(&line.sea.clearness).ok_or(InputError::NotSaid {
        what: "the site".to_owned(),
        missing: "the clearness of the twelve months",
    })?;
    let wind_m_s = twelve(&line.sea.wind_m_s).unwrap_or_else(|| {
        assumed.push("no wind cools the panels, because none is written".to_owned());
        [0.0; 12]
    });
    let air_degc = twelve(&line.sea.air_temperature_degc).unwrap_or_else(|| {
        assumed.push(format!(
            "{what}.panels: the air is as warm as the cells of the battery, because no `air_temperature` is written"
        ));
        *cells_degc
    });
    let sunlit = sunlit(place, mean(&air_degc));
    let days = memo.of(&sunlit);
    let days = days.as_ref().as_ref().map_err(Clone::clone)?;
    let climate = Climate {
        air_temperature_degc: air_degc,
        wind_speed_m_s: wind_m_s,
    };
    let yields = GeneratedYields::on(days.generated.clone(), &model, &climate);
    let models = [
        ClearnessModel::Aguiar,
        ClearnessModel::Bendt {
            persistence: PERSISTENCE,
        },
    ];
    let drawn_by = |model| ClearnessYears::new(model, &clearness, MonthMean::OverYears, &days.sun);
    let drawn_from = models.map(|model| {
        let mut from = Canon::new("generated light");
        sunlit.write(&mut from);
        clearness.write(&mut from);
        from.debug(&(model, MonthMean::OverYears));
        from.digest()
    });
    let light = GeneratedLight {
        yields: yields.map_err(year_error)?,
        clearness: drawn_by(models[0])?,
        other: drawn_by(models[1])?,
        drawn_from,
        made_from: drawn_from.map(|drawn_from| {
            let mut from = Canon::new("energy of generated light");
            drawn_from.write(&mut from);
            from.debug(&(&model, &climate));
            from.digest()
        }),
    };
    Ok((Light::Generated(Box::new(light)), place.utc_offset_h))
}

/// Whole hours between local standard time at the site and Universal Time, by its longitude.
pub(super) fn zone_h(line: &Line) -> f64 {
    (line.sea.longitude_deg.si / 15.0).round()
}

fn mean(months: &[f64; 12]) -> f64 {
    months.iter().sum::<f64>() / 12.0
}

fn panels_of(supply: &Supply) -> Result<&plan::Panels, InputError> {
    supply.panels.as_ref().ok_or_else(|| InputError::NotSaid {
        what: format!("supply.{}", supply.id),
        missing: "panels",
    })
}

/// What stands around a site: azimuth and elevation, deg; nothing where nothing is written.
fn horizon(line: &Line, assumed: &mut Vec<String>) -> Result<Vec<(f64, f64)>, InputError> {
    if line.sea.horizon.is_empty() {
        assumed.push(
            "nothing stands in the way of the sun, because no `horizon` is written".to_owned(),
        );
    }
    let points: Vec<(f64, f64)> = line
        .sea
        .horizon
        .iter()
        .map(|p| (p.azimuth_deg.si, p.elevation_deg.si))
        .collect();
    horizon_of(&points)?;
    Ok(points)
}

fn horizon_of(points: &[(f64, f64)]) -> Result<Horizon, InputError> {
    if points.is_empty() {
        return Ok(Horizon::open());
    }
    Horizon::new(points).map_err(|source| InputError::SunOf {
        what: "site.horizon".to_owned(),
        source,
    })
}

fn panel_model(
    what: &str,
    panels: &plan::Panels,
    assumed: &mut Vec<String>,
) -> Result<PanelModel, InputError> {
    let loss_per_kelvin = panels.loss_per_kelvin.map_or_else(
        || {
            assumed.push(format!(
                "{what}.panels: {} % of their power lost for each kelvin, because no `loss_per_kelvin` is written",
                100.0 * LOSS_PER_KELVIN
            ));
            LOSS_PER_KELVIN
        },
        |q| q.si,
    );
    let mut soiling = Soiling::none();
    match &panels.dirt {
        None => assumed.push(format!(
            "{what}.panels: dirt only as far as `loss` holds it, because no `dirt` is written"
        )),
        Some(dirt) => {
            let kinds: [(&Vec<Q>, &mut [f64; 12]); 3] = [
                (&dirt.birds, &mut soiling.birds),
                (&dirt.salt, &mut soiling.salt),
                (&dirt.growth, &mut soiling.growth),
            ];
            for (written, shares) in kinds {
                if let Some(months) = twelve(written) {
                    *shares = months;
                }
            }
        }
    }
    let light_left = soiling
        .factors()
        .map_err(|source: SunError| InputError::SunOf {
            what: format!("{what}.panels.dirt"),
            source,
        })?;
    Ok(PanelModel {
        temperature_coefficient_per_k: -loss_per_kelvin,
        loss: panels.loss.si,
        light_left,
    })
}

/// Where the sun is seen from, and by which clock.
#[derive(Clone, Copy)]
struct Place {
    latitude_deg: f64,
    longitude_deg: f64,
    elevation_m: f64,
    utc_offset_h: f64,
}

canonical!(Place {
    latitude_deg,
    longitude_deg,
    elevation_m,
    utc_offset_h
});

impl Place {
    fn site(&self, year: i32, horizon: Horizon, air_degc: f64) -> Site {
        Site {
            observer: Observer {
                latitude_deg: self.latitude_deg,
                longitude_deg: self.longitude_deg,
                elevation_m: self.elevation_m,
                pressure_pa: SEA_LEVEL_PA,
                temperature_degc: air_degc,
            },
            year,
            utc_offset_h: self.utc_offset_h,
            delta_t_s: DELTA_T_S,
            solar_constant_w_m2: SOLAR_CONSTANT_ASTM_E490_W_M2,
            linke_turbidity: [LINKE_TURBIDITY; 12],
            horizon,
        }
    }
}

/// A file's hours belong to the sun of the place where they were measured.
fn place_of(
    files: &[WeatherFile],
    site: Place,
    weather: &WeatherText,
    assumed: &mut Vec<String>,
) -> Place {
    let mut place = site;
    for file in files {
        place.utc_offset_h = file.utc_offset_h;
        if let Some(station) = &file.place {
            place.latitude_deg = station.latitude_deg;
            place.longitude_deg = station.longitude_deg;
            place.elevation_m = station.elevation_m;
            assumed.push(format!(
                "site.weather: {} was measured at {}, {:.0} km from the site, and the sun is that of its place",
                weather.path,
                station.name,
                distance_km(&site, &place)
            ));
        }
    }
    place
}

/// Great-circle distance by the haversine, km.
fn distance_km(a: &Place, b: &Place) -> f64 {
    let half = |x: f64, y: f64| libm::sin((x - y).to_radians() / 2.0);
    let (north, east) = (
        half(a.latitude_deg, b.latitude_deg),
        half(a.longitude_deg, b.longitude_deg),
    );
    let cos = |deg: f64| libm::cos(deg.to_radians());
    let h = north * north + cos(a.latitude_deg) * cos(b.latitude_deg) * east * east;
    2.0 * EARTH_KM * libm::asin(h.sqrt().min(1.0))
}
