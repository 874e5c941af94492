//! How sound comes to the hydrophones.

use super::Resolver;
use crate::line::{Bottom, Paths, RaysWanted};
use crate::mistake::{Code, Mistake};
use crate::read::Fields;

const FLUID: [&str; 3] = ["sound_speed", "density", "attenuation_per_wavelength"];
const EXAMPLE: &str = "bottom = { sound_speed = \"1650 m/s\", density = \"1900 kg/m3\", attenuation_per_wavelength = \"0.8 dB\" } or { loss_per_bounce = \"10 dB\" }";

/// The ways that the plan writes. Rays need a bottom.
pub(super) fn paths(r: &mut Resolver<'_>, f: &Fields) -> Option<Paths> {
    let (word, site) = f.choice("paths")?;
    let paths = match *word {
        "surface-image" => Paths::SurfaceImage,
        "rays" => Paths::Rays,
        _ => Paths::Simple,
    };
    if paths == Paths::Rays && !f.has("bottom") {
        r.tell(
            Mistake::error(
                Code::MissingKey,
                site,
                "rays reach the bed, and the plan does not say what it is",
            )
            .label("this choice")
            .help(format!("add `{EXAMPLE}`")),
        );
    }
    Some(paths)
}

/// The bed; none where some of it is wrong.
pub(super) fn bottom(r: &mut Resolver<'_>, f: &Fields) -> Option<Bottom> {
    let (bed, site) = f.table("bottom")?;
    let fluid = FLUID.iter().any(|key| bed.has(key));
    let missing: Vec<&str> = FLUID.into_iter().filter(|key| !bed.has(key)).collect();
    let wrong = match (fluid, bed.has("loss_per_bounce")) {
        (true, true) => Some("a bottom is a fluid or a loss at every bounce, not both".to_owned()),
        (false, false) => Some("this bottom says nothing".to_owned()),
        (true, false) if !missing.is_empty() => Some(format!(
            "a fluid bottom needs `{}` too",
            missing.join("` and `")
        )),
        _ => None,
    };
    if let Some(wrong) = wrong {
        r.tell(
            Mistake::error(Code::MissingKey, site, wrong)
                .label("here")
                .help(format!("write `{EXAMPLE}`")),
        );
        return None;
    }
    if !fluid {
        return bed
            .db("loss_per_bounce")
            .map(|per_bounce| Bottom::Loss { per_bounce });
    }
    Some(Bottom::Fluid {
        sound_speed_m_s: bed.q("sound_speed")?,
        density_kg_m3: bed.q("density")?,
        attenuation_per_wavelength: bed.db("attenuation_per_wavelength")?,
    })
}

/// Which rays are followed.
pub(super) fn rays(f: &Fields) -> RaysWanted {
    let Some((rays, _)) = f.table("rays") else {
        return RaysWanted::default();
    };
    let count = |key| {
        rays.count(key)
            .map(|(n, _)| u32::try_from(*n).expect("the table bounds it"))
    };
    RaysWanted {
        bottom_bounces: count("bottom_bounces"),
        faintest: rays.db("faintest"),
        most: count("most"),
    }
}
