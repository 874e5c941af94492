//! Which behaviours lead to what an uplink sends.

use network::Filter;
use plan::{Action, Behaviour, Line, UplinkIx, When};

use crate::input::{InputError, Streams, Traffic};

/// The behaviours from which a message on the uplink can follow: those that send it up, and from each that is told, those whose messages reach it.
pub(super) fn leads(
    line: &Line,
    of: UplinkIx,
    talk: Option<(&Traffic, &Streams)>,
) -> Result<Vec<bool>, InputError> {
    let sends = |b: &Behaviour| {
        let mut actions = b.actions.iter();
        actions.any(|a| matches!(a, Action::SendUp { uplink, .. } if *uplink == of))
    };
    let mut leading: Vec<bool> = line.behaviours.iter().map(sends).collect();
    let mut open: Vec<usize> = (0..leading.len()).filter(|i| leading[*i]).collect();
    while let Some(i) = open.pop() {
        let (When::Told { filter }, Some((traffic, streams))) = (&line.behaviours[i].when, talk)
        else {
            continue;
        };
        for (j, _) in tellers(line, i, filter, traffic, streams)? {
            if !leading[j] {
                leading[j] = true;
                open.push(j);
            }
        }
    }
    Ok(leading)
}

/// The behaviours whose messages reach the one that is told, and how many messages a start of each sends it.
pub(super) fn tellers(
    line: &Line,
    told: usize,
    filter: &str,
    traffic: &Traffic,
    streams: &Streams,
) -> Result<Vec<(usize, u64)>, InputError> {
    let b = &line.behaviours[told];
    let filter = Filter::parse(filter).map_err(|source| InputError::Topic {
        what: format!("behaviour.{}", b.id),
        source,
    })?;
    let mut all = Vec::new();
    for ((module, topic), flow) in streams.of.iter().zip(&streams.flows) {
        if !filter.matches(&traffic.names[topic.0]) || !flow.targets.contains(&b.on.0) {
            continue;
        }
        for (j, teller) in line.behaviours.iter().enumerate() {
            let publishes =
                |a: &&Action| matches!(a, Action::Publish { topic: t, .. } if t == topic);
            let times = teller.actions.iter().filter(publishes).count() as u64;
            if teller.on == *module && times > 0 {
                all.push((j, times));
            }
        }
    }
    Ok(all)
}
