//! What the plan says of ship and hold and no requirement asks.

use plan::{Line, That};

/// What is written and not asked.
pub(crate) fn open(line: &Line) -> Vec<String> {
    let asked = |that: fn(&That) -> bool| line.requirements.iter().any(|r| that(&r.that));
    let of = &line.deployment;
    let mut all = Vec::new();
    if line.supplies.iter().any(|s| s.hold.is_some())
        && !asked(|that| matches!(that, That::ChargeAtDeployment { .. }))
    {
        all.push("what batteries have left when they are deployed: a requirement on `charge-at-deployment` asks it".to_owned());
    }
    if (!line.spares.is_empty() || of.dead_on_deck.is_some())
        && !asked(|that| matches!(that, That::Spares { .. }))
    {
        all.push("whether what is aboard fills every place: a requirement on `spares` asks it, and `soundline slip` shows it".to_owned());
    }
    if (of.deploying.is_some() || of.recovering.is_some())
        && !asked(|that| matches!(that, That::WeatherWindow { .. }))
    {
        all.push("whether the sea lets the work be done within the slips: a requirement on `weather-window` asks it, and `soundline slip` shows it".to_owned());
    }
    all
}
