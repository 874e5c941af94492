//! What the recordings to come are: a description with attribute names as the Climate and Forecast conventions have them and quantities as ISO 18405 does,
//! so that an archive can take the files. Names of both from memory.

use plan::{Line, SensorKind};
use serde_json::{Value, json};

/// Each hydrophone: what its samples are, where it hangs, how it was calibrated, who records it.
pub(super) fn description(line: &Line) -> Value {
    let sensors = line.hydrophones().map(|ix| {
        let (module, sensor) = (&line.modules[ix.module.0], line.sensor(ix));
        let path = line.sensor_path(ix);
        let of_chain = sensor.chain.as_ref().map(|chain| {
            // A sample of one count is this pressure, by the sensitivity and the gain alone.
            let volts = chain.full_scale_v.si / f64::from(1_u32 << (chain.bits - 1).min(31));
            let db = chain.sensitivity_db.db + chain.gain_db.db;
            json!({
                "sampling_frequency_hz": chain.rate_hz.si,
                "quantization_bits": chain.bits,
                "full_scale_v": chain.full_scale_v.si,
                "sensitivity_db_re_1v_per_upa": chain.sensitivity_db.db,
                "gain_db": chain.gain_db.db,
                "scale_factor": volts * libm::pow(10.0, -db / 20.0) / 1e6,
                "add_offset": 0.0,
            })
        });
        let stores = line
            .storages
            .iter()
            .filter(|s| s.records.iter().any(|r| r.sensor == ix));
        json!({
            "sensor": path,
            "long_name": "sound pressure",
            "standard": "ISO 18405, sound pressure",
            "units": "Pa",
            "reference": "1 uPa",
            "depth_m": Some(module.depth_m).filter(|d| d.is_finite()),
            "positive": "down",
            "chain": of_chain,
            "calibrated": sensor.calibrated.as_ref().map(|c| json!({
                "date": c.date.to_string(),
                "by": c.by,
                "uncertainty_db": c.uncertainty_db.map(|q| q.db),
            })),
            "stored_by": stores.map(|s| format!("storage.{}", s.id)).collect::<Vec<_>>(),
        })
    });
    let other = line.modules.iter().enumerate().flat_map(|(m, module)| {
        let other = module
            .sensors
            .iter()
            .filter(|s| s.kind != SensorKind::Hydrophone);
        other.map(move |s| format!("module.{}.sensor.{}", line.modules[m].id, s.id))
    });
    let of = &line.deployment;
    json!({
        "format": "recordings/1",
        "conventions": "attribute names after the Climate and Forecast conventions, quantities after ISO 18405",
        "title": of.name,
        "time_coverage_start": of.start.map(|t| t.to_string()),
        "time_coverage_duration_s": of.duration_s.si,
        "geospatial_lat_deg": degrees(line.sea.latitude_deg.si),
        "geospatial_lon_deg": degrees(line.sea.longitude_deg.si),
        "water_depth_m": line.sea.water_depth_m.si,
        "hydrophones": sensors.collect::<Vec<_>>(),
        "other_sensors": other.collect::<Vec<_>>(),
    })
}

/// To a millionth of a degree, a tenth of a metre: what is written comes back.
fn degrees(deg: f64) -> f64 {
    libm::round(1e6 * deg) / 1e6
}
