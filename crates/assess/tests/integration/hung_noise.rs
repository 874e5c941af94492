//! What hydrophones may hear of their line: vortices by Strouhal's number, with and without waves.

use assess::Moorings;
use serde_json::json;

use crate::moored::{hung, plan_of};

/// A taut float in a current of 0.5 m/s, a hydrophone 20 m below the surface beside its rope of 12 mm, and a detector from 10 to 20 Hz.
fn ear(case: &str) -> Moorings {
    hung(&ear_plan(case))
}

/// The same as a plan; `case` stands in its only case.
pub(crate) fn ear_plan(case: &str) -> String {
    let document = truth::json("mooring/scipy-lines.json");
    let mut line = document["lines"][0]["case"].clone();
    assert_eq!(line["name"], json!("taut float"));
    line["ropes"][0]["length"] = json!(90.0);
    plan_of(&line)
        + case
        + r#"
[module.ear]
position = { section = "section.riser", from_top = "10 m" }
housing = { weight_in_water = "0 N", cd_a = "0 m2" }
sensor.ear = { kind = "hydrophone", sensitivity = "-170 dB re 1 V/uPa", gain = "20 dB", adc = { full_scale = "1 V", bits = 16, rate = "1 kHz" } }
[span.down]
from = "module.buoy"
to = "module.ear"
conductor = "1.0 mm2 class 5"
length = "150 m"
[detector.knock]
on = "module.ear.sensor.ear"
stages = [{ band = ["10 Hz", "20 Hz"] }, { level = "rms", window = "0.25 s" }, { on_above = "120 dB re 1 uPa", off_below = "115 dB re 1 uPa", shortest = "0.5 s", longest = "5 s", hold_off = "10 s" }]
"#
}

/// A cylinder of 12 mm in 0.5 m/s sheds at 0.2 U/d = 8.333 Hz, and pulls at twice that, 16.67 Hz: Strouhal's number of 0.2 for Reynolds numbers
/// from 300 to 2e5. A wave adds to the flow and takes from it what linear theory says: amplitude times omega times
/// cosh k(h-z)/sinh kh, for 8 s and 2 m in 100 m of water, 20 m down, by the reference's factors in the method page of waves.
#[test]
fn val_vortices_follow_the_flow_and_its_waves() {
    let still = ear("");
    let noise = &still.lines[0].as_ref().unwrap().flow_noise[0];
    // The line leans by two degrees: what flows along it sheds nothing.
    assert!((noise.strum_hz.unwrap() - 8.333).abs() < 0.01, "{noise:?}");
    assert!(noise.waves.is_none());
    assert!(
        noise.bands[0].strum_case.is_some(),
        "16.67 Hz lies in 10 to 20 Hz"
    );

    // At 1.5 m/s vortices leave at 25 Hz and pull at 50 Hz, above the band: the slower case is the one that strums in it.
    let swift = ear(
        "[case.swift]\ncurrent = [{ depth = \"0 m\", speed = \"1.5 m/s\", towards = \"90 deg\" }]\n",
    );
    let noise = &swift.lines[0].as_ref().unwrap().flow_noise[0];
    assert_eq!(noise.case, 1);
    assert!(noise.strum_hz.unwrap() > 20.0, "{noise:?}");
    assert_eq!(noise.bands[0].strum_case, Some(0));

    let moved = ear("wave = { height = \"2 m\", period = \"8 s\" }\n");
    let of = moved.lines[0].as_ref().unwrap();
    let noise = &of.flow_noise[0];
    let shape = of.shapes[0].as_ref().unwrap();
    let depth_m = shape.things.iter().map(|t| t.depth_m).fold(0.0, f64::max);
    // Deep water: omega^2 = g k, and the flow falls by exp(-k z); 100 m of water are 1.0 wavelengths, where both hold to 1e-5.
    let omega = 2.0 * std::f64::consts::PI / 8.0;
    let wave_m_s = omega * (-omega * omega / 9.80665 * depth_m).exp();
    let waves = noise.waves.unwrap();
    let half_m_s = 0.5 * (waves.across_m_s.1 - waves.across_m_s.0);
    assert!(
        (half_m_s / wave_m_s - 1.0).abs() < 1e-4,
        "{half_m_s} {wave_m_s}"
    );
    let (low_hz, high_hz) = waves.strum_hz.unwrap();
    assert!((high_hz - 0.2 * waves.across_m_s.1 / 0.012).abs() < 1e-9);
    assert!((low_hz - 0.2 * waves.across_m_s.0 / 0.012).abs() < 1e-9);
}
