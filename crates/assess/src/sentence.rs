//! Requirements in plain words.

use plan::{Line, Requirement, That};
use quantity::{Dimension, show, show_number};

use crate::input::SECONDS_PER_HOUR;
use crate::years::CONFIDENCE;

/// A requirement in plain words.
pub(crate) fn sentence(line: &Line, r: &Requirement) -> String {
    let what = match &r.that {
        That::Voltage { of, limits } => {
            let whose = of.map_or_else(|| "every module".to_owned(), |m| line.module_path(m));
            match limits {
                None => format!("{whose} has a voltage within its own limits in every state"),
                Some(l) => {
                    let low = l
                        .at_least
                        .map(|q| format!(" at least {}", show(q.si, Dimension::Voltage)));
                    let high = l
                        .at_most
                        .map(|q| format!(" at most {}", show(q.si, Dimension::Voltage)));
                    format!(
                        "{whose} has{}{} in every state",
                        low.unwrap_or_default(),
                        high.unwrap_or_default()
                    )
                }
            }
        }
        That::HighestVoltage { of, at_most_v } => format!(
            "{} sees at most {}, with nothing drawn and every supply at its highest",
            of.map_or_else(|| "every module".to_owned(), |m| line.module_path(m)),
            at_most_v.map_or_else(
                || "what its input bears".to_owned(),
                |q| show(q.si, Dimension::Voltage)
            )
        ),
        That::SupplyCurrent { of, at_most_a } => {
            let whose = of.map_or_else(
                || "every supply".to_owned(),
                |s| format!("supply.{}", line.supplies[s.0].id),
            );
            let limit = at_most_a.map_or_else(
                || "its limit".to_owned(),
                |q| show(q.si, Dimension::Current),
            );
            format!("{whose} gives at most {limit}")
        }
        That::Delay {
            from,
            to,
            at_most_s,
            ..
        } => {
            let end = match to {
                plan::DelayEnd::Output(o) => format!("{} is on", line.output_path(*o)),
                plan::DelayEnd::Module(m) => format!("{} is told", line.module_path(*m)),
                plan::DelayEnd::Uplink(u) => {
                    format!("the message is ashore by uplink.{}", line.uplinks[u.0].id)
                }
            };
            let whose = match from {
                plan::DelayFrom::Notice(d, _) => {
                    format!("the hydrophone of detector.{}", line.detectors[d.0].id)
                }
                plan::DelayFrom::Vote(v) => {
                    format!("the first hydrophone of vote.{}", line.votes[v.0].id)
                }
            };
            format!(
                "within {} of the sound at {whose}, {end}",
                show(at_most_s.si, Dimension::Time)
            )
        }
        That::LinkLoad { of, at_most } => {
            let whose = of.map_or_else(
                || "every link".to_owned(),
                |s| format!("span.{}", line.spans[s.0].id),
            );
            format!(
                "{whose} is in use at most {} of the time",
                show(at_most.si, Dimension::Ratio)
            )
        }
        That::ClockError { of, at_most_s } => {
            let whose = of.map_or_else(
                || "every clock that is set".to_owned(),
                |m| format!("the clock of {}", line.module_path(m)),
            );
            format!(
                "{whose} is within {} of the master's",
                show(at_most_s.si, Dimension::Time)
            )
        }
        That::MessageLoss { topic, at_most } => {
            let which = topic.map_or_else(
                || "every topic".to_owned(),
                |t| format!("topic \"{}\"", line.topics[t.0].name),
            );
            format!(
                "bit errors lose at most {} of the copies of {which}",
                show(at_most.si, Dimension::Ratio)
            )
        }
        That::UplinkMessages { of, at_most, .. } => {
            format!(
                "uplink.{} bills at most {} messages in {}",
                line.uplinks[of.0].id,
                at_most.count,
                show(at_most.per_s, Dimension::Time)
            )
        }
        That::UplinkCost { of, at_most, .. } => format!(
            "uplink.{} costs at most {at_most} in 30 d{}",
            line.uplinks[of.0].id,
            r.share.map_or(String::new(), |q| format!(
                ", in {} of the months",
                show(q.si, Dimension::Ratio)
            ))
        ),
        That::UplinkWait { of, at_most_s } => format!(
            "uplink.{} has messages ashore within {}, in {} of the messages of the worst month",
            line.uplinks[of.0].id,
            show(at_most_s.si, Dimension::Time),
            show(r.share.map_or(1.0, |q| q.si), Dimension::Ratio)
        ),
        That::StorageTime { of, at_least_s } => {
            let limit = at_least_s.map_or_else(
                || "the longest time in the water".to_owned(),
                |q| show(q.si, Dimension::Time),
            );
            format!("storage.{} lasts {limit}", line.storages[of.0].id)
        }
        That::OutageHours {
            of,
            at_most_s,
            confidence,
        } => {
            let whose = of.map_or_else(
                || "every battery".to_owned(),
                |s| format!("supply.{}", line.supplies[s.0].id),
            );
            return format!(
                "{whose} leaves the line without power for at most {} h a year, in {} of years, shown with {} confidence",
                at_most_s.si / SECONDS_PER_HOUR,
                r.share
                    .map_or_else(|| "all".to_owned(), |q| show(q.si, Dimension::Ratio)),
                show(confidence.map_or(CONFIDENCE, |q| q.si), Dimension::Ratio),
            );
        }
        That::LowestCharge {
            of,
            at_least,
            confidence,
        } => {
            return format!(
                "{} keeps at least {} of its usable charge, in {} of years, shown with {} confidence",
                battery(line, *of),
                show(at_least.si, Dimension::Ratio),
                r.share
                    .map_or_else(|| "all".to_owned(), |q| show(q.si, Dimension::Ratio)),
                show(confidence.map_or(CONFIDENCE, |q| q.si), Dimension::Ratio),
            );
        }
        That::Autonomy { of, at_least_s } => format!(
            "{}, full, carries the mean load for at least {} without light",
            battery(line, *of),
            show(at_least_s.si, Dimension::Time)
        ),
        That::CellLife { of, at_least_s } => format!(
            "{} carries the mean load for {}",
            of.map_or_else(
                || "every set of primary cells".to_owned(),
                |s| format!("supply.{}", line.supplies[s.0].id)
            ),
            at_least_s.map_or_else(
                || "the longest time in the water".to_owned(),
                |q| format!("at least {}", show(q.si, Dimension::Time))
            )
        ),
        That::SensorEnergy { of, at_most_j } => format!(
            "each hour that a hydrophone listens costs {} at most {}",
            of.map_or_else(
                || "the batteries of the line".to_owned(),
                |s| format!("supply.{}", line.supplies[s.0].id)
            ),
            show(at_most_j.si, Dimension::Energy)
        ),
        That::StartUp { at_most_s } => format!(
            "when power comes on every module starts{}",
            at_most_s.map_or_else(String::new, |q| format!(
                " within {}",
                show(q.si, Dimension::Time)
            ))
        ),
        That::CollapseFactor { at_least } => format!(
            "the loads may grow together to at least {} before the line collapses",
            show(at_least.si, Dimension::Ratio)
        ),
        That::Reserve { of, at_least_w } => format!(
            "{} could draw at least {} more",
            of.map_or_else(|| "every module".to_owned(), |m| line.module_path(m)),
            show(at_least_w.si, Dimension::Power)
        ),
        That::ShortCircuit { of, at_least } => format!(
            "a bolted short behind the fuse of {} draws at least {} of its rating",
            of.map_or_else(
                || "each fused span".to_owned(),
                |s| format!("span.{}", line.spans[s.0].id)
            ),
            show(at_least.si, Dimension::Ratio)
        ),
        That::SingleFailure { at_most } => {
            let whom = match line.uplinks.is_empty() {
                true => "the line",
                false => "the shore",
            };
            let many = if *at_most == 1 {
                "hydrophone"
            } else {
                "hydrophones"
            };
            format!("no single failure takes more than {at_most} {many} from {whom}")
        }
        That::ContactLife { of, at_least_s } => format!(
            "no leak eats a pin of {} within {}",
            of.map_or_else(
                || "any span".to_owned(),
                |s| format!("span.{}", line.spans[s.0].id)
            ),
            at_least_s.map_or_else(
                || "the longest time in the water".to_owned(),
                |q| show(q.si, Dimension::Time)
            )
        ),
        That::DawnRestarts { of, at_most } => format!(
            "{} takes its load off again at most {at_most} times after a dawn on which it was empty",
            of.map_or_else(
                || "every solar battery".to_owned(),
                |s| format!("supply.{}", line.supplies[s.0].id)
            ),
        ),
        That::WakesFromFlat { of } => format!(
            "{} wakes by itself from flat when the sun comes back",
            of.map_or_else(
                || "every solar battery".to_owned(),
                |s| format!("supply.{}", line.supplies[s.0].id)
            ),
        ),
        That::ReadyWithin { of, at_most_s } => format!(
            "{} listens within {} of power coming on",
            of.map_or_else(|| "every hydrophone".to_owned(), |s| line.sensor_path(s)),
            show(at_most_s.si, Dimension::Time)
        ),
        That::TimeToNotice { at_most_s } => format!(
            "the shore sees within {} that a single failure has taken a hydrophone from it",
            show(at_most_s.si, Dimension::Time)
        ),
        That::FailSafe { of, at_most_s } => format!(
            "{} is in its fail-safe state within {} of any single failure for which it may no longer be asked",
            of.map_or_else(|| "every output".to_owned(), |o| line.output_path(o)),
            show(at_most_s.si, Dimension::Time)
        ),
        That::SelfNoise { of, at_least_db } => format!(
            "the noise of {} lies at least {} dB below what its detectors listen for",
            of.map_or_else(|| "every hydrophone".to_owned(), |s| line.sensor_path(s)),
            at_least_db.db
        ),
        That::PickUp { of, at_least_db } => format!(
            "what electronics put into the chain of {} lies at least {} dB below the sea of the quietest month in the band of its detectors",
            of.map_or_else(|| "every hydrophone".to_owned(), |s| line.sensor_path(s)),
            at_least_db.db
        ),
        That::Overload { of, at_least_db } => format!(
            "{} bears a peak of at least {} dB re 1 uPa",
            of.map_or_else(|| "every hydrophone".to_owned(), |s| line.sensor_path(s)),
            at_least_db.db
        ),
        That::DetectionRange {
            of,
            call,
            at_least_m,
            encounter,
            in_hours,
        } => {
            let found = r
                .share
                .map_or_else(|| "all".to_owned(), |q| show(q.si, Dimension::Ratio));
            let when = match (r.when_wind_at_most_m_s, in_hours) {
                (Some(q), _) => format!("whenever the wind is at most {} m/s", show_number(q.si)),
                (None, Some(q)) => format!(
                    "in {} of the hours of every month of the deployment",
                    show(q.si, Dimension::Ratio)
                ),
                (None, None) => "at the mean wind of every month of the deployment".to_owned(),
            };
            if let Some(of_calls) = encounter {
                return format!(
                    "detector.{} finds some call of {found} of the encounters of {} calls call.{} to a range of at least {}, {when}",
                    line.detectors[of.0].id,
                    of_calls.calls,
                    line.calls[call.0].id,
                    show(at_least_m.si, Dimension::Length),
                );
            }
            return format!(
                "detector.{} finds {found} of the calls call.{} to a range of at least {}, {when}",
                line.detectors[of.0].id,
                line.calls[call.0].id,
                show(at_least_m.si, Dimension::Length),
            );
        }
        That::Recall {
            of,
            at_least,
            labels,
            confidence,
        } => format!(
            "detector.{} finds at least {} of what is labelled in {labels}, shown with {} confidence",
            line.detectors[of.0].id,
            show(at_least.si, Dimension::Ratio),
            show(confidence.map_or(CONFIDENCE, |q| q.si), Dimension::Ratio),
        ),
        That::FalseAlarms {
            of,
            at_most,
            labels,
            confidence,
        } => format!(
            "detector.{} tells of what is not labelled in {labels} at most {} times in {}, shown with {} confidence",
            line.detectors[of.0].id,
            at_most.count,
            show(at_most.per_s, Dimension::Time),
            show(confidence.map_or(CONFIDENCE, |q| q.si), Dimension::Ratio),
        ),
        That::ModuleDepth { of, limits } => {
            let low = limits.at_least.map(|q| show(q.si, Dimension::Length));
            let high = limits.at_most.map(|q| show(q.si, Dimension::Length));
            let limit = match (low, high) {
                (Some(low), Some(high)) => format!("between {low} and {high} deep"),
                (Some(low), None) => format!("at least {low} deep"),
                (None, Some(high)) => format!("at most {high} deep"),
                (None, None) => "at any depth".to_owned(),
            };
            format!(
                "{} hangs {limit} in every design case",
                every_module(line, *of)
            )
        }
        That::ModuleTilt { of, at_most_deg } => format!(
            "the line at {} stands within {} deg of upright in every design case",
            every_module(line, *of),
            show_number(at_most_deg.si)
        ),
        That::LineTension { of, at_most_n } => format!(
            "{} bears at most {} in every design case",
            of.map_or_else(
                || "every section".to_owned(),
                |s| format!("section.{}", line.sections[s.0].id)
            ),
            at_most_n.map_or_else(
                || "the working load of its rope".to_owned(),
                |q| show(q.si, Dimension::Force)
            )
        ),
        That::AnchorLoad { of, at_least } => format!(
            "{} holds {} the pull of the line in every design case",
            of.map_or_else(
                || "every anchor".to_owned(),
                |a| format!("anchor.{}", line.anchors[a].id)
            ),
            at_least.map_or_else(
                || "its safety factor times".to_owned(),
                |q| format!("{} of", show(q.si, Dimension::Ratio))
            )
        ),
        That::HousingMargin { of, at_least_m } => format!(
            "{} is rated {}for the bed at the highest water",
            of.map_or_else(
                || "every housing and float".to_owned(),
                |m| format!("the housing of {}", line.module_path(m))
            ),
            at_least_m.map_or_else(String::new, |q| format!(
                "with {} to spare ",
                show(q.si, Dimension::Length)
            ))
        ),
        That::WatchCircle { of, at_most_m } => format!(
            "{} stays within {} of its anchor in every design case",
            of.map_or_else(
                || "what holds the top of each line".to_owned(),
                |m| line.module_path(m)
            ),
            show(at_most_m.si, Dimension::Length)
        ),
        That::OnStation {
            of,
            at_most_m,
            laying_error_m,
            fix_error_m,
            share,
        } => {
            return format!(
                "{} is seen within {} of its planned place in {} of layings and fixes: 95 % of anchors lie within {} of it, 95 % of fixes err by at most {}",
                of.map_or_else(|| "every buoy".to_owned(), |m| line.module_path(m)),
                show(at_most_m.si, Dimension::Length),
                show(share.si, Dimension::Ratio),
                show(laying_error_m.si, Dimension::Length),
                show(fix_error_m.si, Dimension::Length)
            );
        }
        That::StrumHours { of, at_most_s } => format!(
            "the strum of the rope beside {} lies in the band of a detector for at most {} h of a tide",
            of.map_or_else(|| "every hydrophone".to_owned(), |s| line.sensor_path(s)),
            show_number(at_most_s.si / SECONDS_PER_HOUR)
        ),
        That::RecoveryChance { of, at_least } => format!(
            "{} comes back by some means of recovery with a chance of at least {}",
            every_module(line, *of),
            show(at_least.si, Dimension::Ratio)
        ),
        That::PartedLift { at_least_n } => format!(
            "wherever the line parts, what has a module on it and comes free floats up with at least {}, fouled and with one thing flooded",
            show(at_least_n.si, Dimension::Force)
        ),
        That::ChargeAtDeployment { of, at_least } => format!(
            "{} has at least {} of its usable charge when it is deployed, also at the latest start",
            of.map_or_else(
                || "every battery that is charged".to_owned(),
                |s| format!("supply.{}", line.supplies[s.0].id)
            ),
            show(at_least.si, Dimension::Ratio)
        ),
        That::Spares { at_least } => format!(
            "with what is aboard every module and every span has something in its place that works, with a chance of at least {}",
            show(at_least.si, Dimension::Ratio)
        ),
        That::WeatherWindow { at_least } => format!(
            "the sea lets the line be laid and brought back within the slips, each with a chance of at least {}",
            show(at_least.si, Dimension::Ratio)
        ),
        That::SurfaceSlack { at_most_m } => format!(
            "wherever the line parts, at most {} of rope can lie at the surface",
            show(at_most_m.si, Dimension::Length)
        ),
        That::AnodeLife { of, at_least_s } => format!(
            "anodes protect {} for {}",
            of.map_or_else(
                || "every metal that has or needs them".to_owned(),
                |m| format!("metal.{} and all that it touches", line.metals[m].id)
            ),
            at_least_s.map_or_else(
                || "the longest time in the water".to_owned(),
                |q| format!("at least {}", show(q.si, Dimension::Time))
            )
        ),
        That::AnodeCurrent { of, at_least } => format!(
            "new and used up, the anodes of {} can give {}",
            of.map_or_else(
                || "every metal that has or needs them".to_owned(),
                |m| format!("metal.{} and all that it touches", line.metals[m].id)
            ),
            match at_least {
                None => "the current that these take".to_owned(),
                Some(q) => format!(
                    "at least {} of the current that these take",
                    show(q.si, Dimension::Ratio)
                ),
            }
        ),
        That::HeaveOverload { of, at_most } => format!(
            "waves and its own heave clip the chain of {} for at most {} of the time in the worst month",
            of.map_or_else(|| "every hydrophone".to_owned(), |s| line.sensor_path(s)),
            show(at_most.si, Dimension::Ratio)
        ),
        That::ListeningShare {
            of,
            at_least,
            confidence,
        } => {
            return format!(
                "{} for at least {} of the hours of the worst month, in {} of years, shown with {} confidence",
                hear(line, *of),
                show(at_least.si, Dimension::Ratio),
                r.share
                    .map_or_else(|| "all".to_owned(), |q| show(q.si, Dimension::Ratio)),
                show(confidence.map_or(CONFIDENCE, |q| q.si), Dimension::Ratio),
            );
        }
        That::ListeningGap {
            of,
            at_most_s,
            confidence,
        } => {
            return format!(
                "{} again within {} whenever that ends, in {} of years, shown with {} confidence",
                hear(line, *of),
                show(at_most_s.si, Dimension::Time),
                r.share
                    .map_or_else(|| "all".to_owned(), |q| show(q.si, Dimension::Ratio)),
                show(confidence.map_or(CONFIDENCE, |q| q.si), Dimension::Ratio),
            );
        }
        That::CalibrationAge { of, at_most } => format!(
            "{} was calibrated at most {} before the latest start",
            of.map_or_else(|| "every hydrophone".to_owned(), |s| line.sensor_path(s)),
            match at_most {
                plan::Age::Months(1) => "1 calendar month".to_owned(),
                plan::Age::Months(months) => format!("{months} calendar months"),
                plan::Age::Time(q) => show(q.si, Dimension::Time),
            }
        ),
        That::Attested { attested } => match attested {
            Some(of) => format!(
                "{} holds from the planned start to the latest recovery",
                of.document
            ),
            None => {
                "a document attests it from the planned start to the latest recovery".to_owned()
            }
        },
        That::Rehearsed { cues, .. } => format!("a rehearsal of {cues} shows all that it expects"),
    };
    let share = r
        .share
        // Of a cost it is a share of the months, of a wait one of the messages, which is said there.
        .filter(|_| !matches!(r.that, That::UplinkCost { .. } | That::UplinkWait { .. }))
        .map(|q| format!(", in {} of cases", show(q.si, Dimension::Ratio)))
        .unwrap_or_default();
    let wind = r
        .when_wind_at_most_m_s
        .map(|q| {
            let within = line.sea.wind_m_s.iter().filter(|w| w.si <= q.si).count();
            match line.sea.wind_m_s.len() {
                0 => format!(", when the wind is at most {} m/s", show_number(q.si)),
                all => format!(", when the wind is at most {} m/s (the mean wind is so in {within} of {all} months)", show_number(q.si)),
            }
        })
        .unwrap_or_default();
    let draws = r
        .share_of_draws
        .map(|q| format!(", in {} of draws", show(q.si, Dimension::Ratio)))
        .unwrap_or_default();
    format!("{what}{share}{wind}{draws}")
}

/// Whose hearing a requirement is about, in a sentence.
fn hear(line: &Line, of: plan::Listeners) -> String {
    match of {
        plan::Listeners::Each => "every hydrophone hears".to_owned(),
        plan::Listeners::One(sensor) => format!("{} hears", line.sensor_path(sensor)),
        plan::Listeners::AtOnce(1) => "some hydrophone hears".to_owned(),
        plan::Listeners::AtOnce(many) => format!("{many} hydrophones hear at once"),
    }
}

/// A module, or every one that hangs on a section, in a sentence.
fn every_module(line: &Line, of: Option<plan::ModuleIx>) -> String {
    of.map_or_else(
        || "every module on a section".to_owned(),
        |m| line.module_path(m),
    )
}

/// The battery of a supply, or every one, in a sentence.
fn battery(line: &Line, of: Option<plan::SupplyIx>) -> String {
    of.map_or_else(
        || "every battery".to_owned(),
        |s| format!("supply.{}", line.supplies[s.0].id),
    )
}
