//! Verdicts on metals in the water: whether unlike ones touch, and how long anodes last.

use mooring::{Contact, UNLIKE_V};
use plan::{Line, Q};
use quantity::{Dimension, SECONDS_PER_DAY, show, show_number};

use crate::metals::{
    AnodeGives, MetalGroup, MetalPair, anode_gives, capacity_c_kg, metal_groups, taken_a,
};
use crate::verdict::{Against, Evidence, Ruling, Side, Verdict, unknown};

const METHOD: &str = "mass of anodes from bare area and mean current density (docs/method/metals.md; form of DNV-RP-B401, from memory)";
const OUTPUT: &str = "resistance of anodes by Dwight, Lloyd and McCoy, new and used up (docs/method/metals.md; form of DNV-RP-B401, from memory)";
const UNLIKE: &str = "corrosion potentials in flowing sea water (docs/method/metals.md; Australasian Corrosion Association); 0.2 V apart is common practice";
/// Share of its limit by which a life of anodes must lie beyond it (common practice).
const FREE: f64 = 0.2;

fn path(line: &Line, metal: usize) -> String {
    format!("metal.{}", line.metals[metal].id)
}

/// A metal with what it is made of and what it belongs to.
fn told(line: &Line, metal: usize) -> String {
    let of = &line.metals[metal];
    let made = of.metal.as_deref().unwrap_or("unknown");
    match &of.of {
        Some(owner) => format!("metal.{} ({made}, of {owner})", of.id),
        None => format!("metal.{} ({made})", of.id),
    }
}

/// Every two metals that are joined, and those of which it is not known what they are.
pub(crate) fn unlike(line: &Line) -> Vec<Verdict> {
    let mut verdicts = Vec::new();
    for group in metal_groups(line).iter().filter(|g| g.metals.len() > 1) {
        verdicts.extend(group.pairs.iter().map(|pair| joined(line, group, pair)));
        verdicts.extend(group.unsaid.iter().map(|metal| {
            let others = group.metals.iter().filter(|m| *m != metal);
            let others: Vec<String> = others.map(|m| path(line, *m)).collect();
            unknown(
                path(line, *metal),
                format!(
                    "it is joined to {}, and what it is made of is not written: add `metal = \"aluminium\"`",
                    others.join(", ")
                ),
            )
        }));
    }
    verdicts
}

fn joined(line: &Line, group: &MetalGroup, pair: &MetalPair) -> Verdict {
    let couple = &pair.couple;
    let (eaten, other) = (told(line, pair.eaten), told(line, pair.other));
    let who = match (couple.ruling, couple.eaten.is_some()) {
        (Contact::Alike, _) => format!(
            "{eaten} and {other} are at most {} V apart",
            show_number(couple.most_v)
        ),
        (_, true) => format!(
            "{eaten} is eaten for {other}, {} V to {} V apart",
            show_number(couple.least_v),
            show_number(couple.most_v)
        ),
        (_, false) => format!(
            "either of {eaten} and {other} may be eaten, at most {} V apart, as their potentials overlap",
            show_number(couple.most_v)
        ),
    };
    let how_fast = match (couple.ruling, &pair.area_ratio) {
        (Contact::Alike, _) => String::new(),
        (_, Ok(ratio)) => format!(
            "; the other has {} times its bare area: the more, the faster it goes",
            show_number(*ratio)
        ),
        (_, Err(why)) => format!("; how fast is unknown: {why}"),
    };
    let guard = guard(line, group, pair);
    let mut why = format!("{who}{how_fast}");
    if couple.ruling != Contact::Alike {
        why = format!("{why}; {}", guard.told);
    }
    let against = Against {
        side: Side::AtMost,
        limit: UNLIKE_V,
        narrow: 0.0,
        unit: "V".to_owned(),
    };
    let subject = format!("{} with {}", path(line, pair.eaten), path(line, pair.other));
    let evidence = Evidence::computed(UNLIKE, &(couple, guard.holds));
    // What anodes keep from being eaten is apart to no harm.
    let unguarded_v = if guard.holds { 0.0 } else { couple.least_v };
    let verdict = against.judge(subject, unguarded_v, evidence, why);
    let ruling = match couple.ruling {
        Contact::Alike => Ruling::Met,
        Contact::MayBeUnlike => Ruling::Marginal,
        Contact::Unlike if guard.holds => Ruling::Marginal,
        Contact::Unlike => Ruling::Broken,
    };
    match verdict {
        Verdict::Known(mut known) => {
            known.ruling = ruling;
            if ruling == Ruling::Marginal {
                // Within what their ranges and their anodes leave open there is no sure margin.
                known.narrow = UNLIKE_V;
            }
            Verdict::Known(known)
        }
        other => other,
    }
}

/// Whether anodes keep the baser of two metals from being eaten, and what is told of that.
struct Guard {
    holds: bool,
    told: String,
}

fn guard(line: &Line, group: &MetalGroup, pair: &MetalPair) -> Guard {
    let none = |told: String| Guard { holds: false, told };
    if group.anodes.anodes.is_empty() {
        return none("no anode is on them".to_owned());
    }
    let base = line.metals[pair.eaten].metal.as_deref();
    if matches!(base, Some("zinc" | "galvanised-steel" | "magnesium")) {
        return none("anodes are no baser and do not keep it".to_owned());
    }
    let longest_s = line.deployment.longest_s();
    match &group.anodes.life_s {
        Ok(life_s) if *life_s >= longest_s => Guard {
            holds: true,
            told: format!(
                "only the anodes on them keep it from that, for all of the {} d at most in the water",
                show_number(longest_s / SECONDS_PER_DAY)
            ),
        },
        Ok(life_s) => none(format!(
            "the anodes on them keep it from that for {} d of the {} d at most in the water",
            show_number(life_s / SECONDS_PER_DAY),
            show_number(longest_s / SECONDS_PER_DAY)
        )),
        Err(why) => none(format!(
            "how long the anodes on them last is unknown: {why}"
        )),
    }
}

/// How long anodes last of the group of a metal, or of each that has any or needs them.
pub(crate) fn anode_life(line: &Line, of: Option<usize>, at_least_s: Option<Q>) -> Vec<Verdict> {
    let limit_s = at_least_s.map_or_else(|| line.deployment.longest_s(), |q| q.si);
    each_group(line, of, |group, subject| {
        life(line, group, limit_s, subject)
    })
}

/// What the anodes of the group of a metal can give at once, or of each group that has any or needs them, in terms of what its metals take: the lesser of beginning and end.
pub(crate) fn anode_current(line: &Line, of: Option<usize>, at_least: Option<Q>) -> Vec<Verdict> {
    let least = at_least.map_or(1.0, |q| q.si);
    each_group(line, of, |group, subject| {
        output(line, group, least, subject)
    })
}

fn output(line: &Line, group: &MetalGroup, least: f64, subject: &str) -> Result<Verdict, String> {
    let own = group.anodes.anodes.iter().map(|a| &line.anodes[*a]);
    let gives: Vec<Result<AnodeGives, String>> = own.clone().map(anode_gives).collect();
    let taken_a = taken_a(line, &group.metals);
    let missing = taken_a.as_ref().err().into_iter();
    let missing: Vec<&str> = missing
        .chain(gives.iter().filter_map(|g| g.as_ref().err()))
        .map(String::as_str)
        .collect();
    let Ok(taken_a) = &taken_a else {
        return Err(missing.join("; "));
    };
    if !missing.is_empty() {
        return Err(missing.join("; "));
    }
    let gives: Vec<AnodeGives> = gives.into_iter().flatten().collect();
    let all_a = [0, 1].map(|at: usize| gives.iter().map(|g| g.current_a[at]).sum::<f64>());
    let share = [0, 1].map(|at: usize| all_a[at] / taken_a[at]);
    let amps = |a: f64| show(a, Dimension::Current);
    let each = own.zip(&gives).map(|(anode, gives)| {
        format!(
            "anode.{} gives {} through {} new, {} through {} used up",
            anode.id,
            amps(gives.current_a[0]),
            show(gives.resistance_ohm[0], Dimension::Resistance),
            amps(gives.current_a[1]),
            show(gives.resistance_ohm[1], Dimension::Resistance)
        )
    });
    let each: Vec<String> = each.collect();
    let told = match each.is_empty() {
        true => "no anode is on it".to_owned(),
        false => each.join("; "),
    };
    let why = format!(
        "{subject}{} takes {} at the beginning and {} at the end; {told}",
        joined_with(line, group, subject),
        amps(taken_a[0]),
        amps(taken_a[1])
    );
    let against = Against {
        side: Side::AtLeast,
        limit: 100.0 * least,
        narrow: 100.0 * FREE * least,
        unit: "%".to_owned(),
    };
    let evidence = Evidence::computed(OUTPUT, &(taken_a, all_a));
    Ok(against.judge(
        subject.to_owned(),
        100.0 * share[0].min(share[1]),
        evidence,
        why,
    ))
}

/// A group's other metals in a sentence.
fn joined_with(line: &Line, group: &MetalGroup, subject: &str) -> String {
    let others = group.metals.iter().map(|m| path(line, *m));
    let others: Vec<String> = others.filter(|p| p != subject).collect();
    match others.is_empty() {
        true => String::new(),
        false => format!(" with {}", others.join(", ")),
    }
}

/// A verdict on the group of a metal, or on each that has anodes or needs them.
fn each_group(
    line: &Line,
    of: Option<usize>,
    judge: impl Fn(&MetalGroup, &str) -> Result<Verdict, String>,
) -> Vec<Verdict> {
    let groups = metal_groups(line);
    let wanted = groups.iter().filter(|g| match of {
        Some(metal) => g.metals.contains(&metal),
        None => g.wants_anodes(line),
    });
    let verdicts: Vec<Verdict> = wanted
        .map(|group| {
            let subject = path(line, of.unwrap_or(group.metals[0]));
            let judged = judge(group, &subject).unwrap_or_else(|why| unknown(subject, why));
            match baser_than_anodes(line, group) {
                Some(why) => judged.only_broken(why),
                None => judged,
            }
        })
        .collect();
    match verdicts.is_empty() {
        true => vec![unknown(
            "the line",
            "no metal of it has an anode, or says what current it takes: add `[metal.ID]` with `area` and `current_density`, and `[anode.ID]`",
        )],
        false => verdicts,
    }
}

/// Why the anodes of a group do not protect all of it: one of its metals is baser than they are, and is eaten for them.
fn baser_than_anodes(line: &Line, group: &MetalGroup) -> Option<String> {
    let anode = line.anodes.get(*group.anodes.anodes.first()?)?;
    let is_baser = |m: &&usize| line.metals[**m].metal.as_deref() == Some("magnesium");
    let baser = group.metals.iter().find(is_baser)?;
    Some(format!(
        "{} is baser than anode.{}, which does not protect it: part them, or take it out of the water",
        told(line, *baser),
        anode.id
    ))
}

fn life(line: &Line, group: &MetalGroup, limit_s: f64, subject: &str) -> Result<Verdict, String> {
    let found = &group.anodes;
    let current_a = found.current_a.clone()?;
    let life_s = found.life_s.clone()?;
    let with = joined_with(line, group, subject);
    let takes = format!(
        "{subject}{with} takes {} at the mean",
        show(current_a, Dimension::Current)
    );
    let why = match &found.needed_kg {
        Ok(needed_kg) => {
            let each = found.anodes.iter().map(|a| {
                let anode = &line.anodes[*a];
                format!(
                    "anode.{} ({}, {} at {}, {} of it usable)",
                    anode.id,
                    match anode.metal {
                        plan::AnodeMetal::Aluminium => "aluminium",
                        plan::AnodeMetal::Zinc => "zinc",
                    },
                    show(anode.mass_kg.si, Dimension::Mass),
                    show(capacity_c_kg(anode), Dimension::ChargePerMass),
                    anode
                        .usable_share
                        .map_or_else(String::new, |q| show(q.si, Dimension::Ratio))
                )
            });
            let each: Vec<String> = each.collect();
            format!(
                "{takes} of {}; the longest time in the water, {} d, needs {} of the {} that are there",
                each.join(", "),
                show_number(line.deployment.longest_s() / SECONDS_PER_DAY),
                show(*needed_kg, Dimension::Mass),
                show(found.mass_kg, Dimension::Mass)
            )
        }
        Err(_) => format!("{takes}, and no anode is on it"),
    };
    let limit = limit_s / SECONDS_PER_DAY;
    let against = Against {
        side: Side::AtLeast,
        limit,
        narrow: FREE * limit,
        unit: "d".to_owned(),
    };
    let evidence = Evidence::computed(METHOD, &(current_a, found.mass_kg, life_s));
    Ok(against.judge(subject.to_owned(), life_s / SECONDS_PER_DAY, evidence, why))
}
