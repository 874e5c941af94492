//! A module that floods the line, against a second simulator that was written from the rules.

use assess::input::{streams, traffic};
use network::{DelayBound, delay_bounds};
use rehearsal::What;
use serde_json::Value;

use crate::chain::{Node, cue_text, line_text, told};
use crate::support::{read, run};

/// Share by which a median may be too great, beside the least nanosecond.
const BIN: f64 = 1.0 / 64.0;

fn whole(v: &Value) -> u64 {
    v.as_u64().unwrap()
}

fn texts(case: &Value) -> (String, String) {
    let rate_kbit_s = u32::try_from(whole(&case["rate_bit_s"]) / 1000).unwrap();
    let nodes: Vec<Node> = (0..4usize)
        .map(|i| Node {
            parent: i.saturating_sub(1),
            passes_data: "running",
            rate_kbit_s,
        })
        .collect();
    let mut plan = line_text(&nodes, 300, 100);
    for t in 0..2 {
        plan += &format!(
            "\n[topic.\"t/{t}\"]\npriority = {}\nsize = \"200 B\"\nat_most = \"{} per s\"\n",
            case["priority"][t], case["at_most"][t]
        );
    }
    plan += &told("hears", 0, "t/#", r#"{ log = "told" }"#);
    for (module, topic) in [(1, 0), (2, 0), (3, 1)] {
        plan += &format!(
            "\n[behaviour.beat{module}]\non = \"module.m{module}\"\neach = \"{} ms\"\ndo = [{{ publish = \"t/{topic}\" }}]\n",
            whole(&case["every_ns"][module - 1]) / 1_000_000
        );
    }
    let seconds = |key: &str| whole(&case[key]) as f64 / 1e9;
    let cues = cue_text(3, 1)
        + &format!(
            "\n[fault.flood]\nkind = \"flood\"\nof = \"module.m3\"\nat = \"{} s\"\nuntil = \"{} s\"\ntopic = \"t/1\"\nevery = \"{} us\"\nlimited = {}\n",
            seconds("begin_ns"),
            seconds("end_ns"),
            whole(&case["flood_ns"]) / 1000,
            case["limited"]
        );
    (plan, cues)
}

/// Counts, least, greatest and summed times, and each time of the topic that suffers; and late are those beyond the bound that `check` gives.
#[test]
fn val_a_flood_delays_the_others_as_the_second_simulator_says() {
    let all = truth::json("network/simpy-flood.json");
    let cases = all["cases"].as_array().unwrap();
    assert_eq!(cases.len(), 100);
    let (mut flooded, mut late, mut kept_in_check) = (0, 0, 0);
    for solved in cases {
        let case = &solved["case"];
        let (plan, cues) = texts(case);
        let (line, cues) = read(&plan, &cues);
        let traffic = traffic(&line).unwrap().unwrap();
        let all = streams(&line, &traffic).unwrap();
        let bounds = delay_bounds(&traffic.topology, &all.flows).unwrap();
        let bound_ns = |module: u64| {
            let flow = all
                .of
                .iter()
                .position(|(m, _)| m.0 as u64 == module)
                .unwrap();
            match &bounds[flow][0] {
                DelayBound::Known { total, .. } => Some(total.0),
                DelayBound::Unknown(_) => None,
            }
        };
        let (outcome, records) = run(&line, &cues);
        let (mut sums, mut took) = ([0u64; 2], Vec::new());
        for r in &records {
            if let What::Delivered {
                topic, from, after, ..
            } = r.what
            {
                sums[topic.0] += after.0;
                if topic.0 == 0 {
                    took.push((from.0 as u64, after.0));
                }
            }
        }
        let wanted: Vec<(u64, u64)> = solved["took_t0_ns"]
            .as_array()
            .unwrap()
            .iter()
            .map(|r| (whole(&r[0]), whole(&r[1])))
            .collect();
        // Messages that arrive in one instant may be told in either order.
        let sorted = |mut v: Vec<(u64, u64)>| {
            v.sort_unstable();
            v
        };
        assert_eq!(sorted(took), sorted(wanted.clone()), "{case}");
        for (t, came) in outcome.topics.iter().enumerate() {
            let latency = came.latency.unwrap();
            assert_eq!(came.delivered, whole(&solved["delivered"][t]), "{case}");
            assert_eq!(latency.least.0, whole(&solved["least_ns"][t]), "{case}");
            assert_eq!(
                latency.greatest.0,
                whole(&solved["greatest_ns"][t]),
                "{case}"
            );
            assert_eq!(sums[t], whole(&solved["sum_ns"][t]), "{case}");
            let (median, true_median) = (latency.median.0, whole(&solved["median_ns"][t]));
            assert!(median >= true_median, "{case}");
            assert!(
                (median - true_median) as f64 <= BIN * true_median as f64,
                "{case}"
            );
        }
        let held_back: u64 = outcome.topics.iter().map(|t| t.held_back).sum();
        assert_eq!(held_back, whole(&solved["held_back"]), "{case}");
        let wanted_late = wanted
            .iter()
            .filter(|(module, took)| bound_ns(*module).is_some_and(|b| *took > b));
        let wanted_late = wanted_late.count() as u64;
        assert_eq!(outcome.topics[0].late, wanted_late, "{case}");
        let broken = |w: &What| matches!(w, What::BeyondBound { .. });
        assert!(!records.iter().any(|r| broken(&r.what)), "{case}");
        if case["limited"] == Value::Bool(true) {
            // The limit of the broken module keeps the others within their bounds.
            assert_eq!(wanted_late, 0, "{case}");
            kept_in_check += u32::from(bound_ns(1).is_some());
        } else {
            flooded += 1;
            late += u32::from(wanted_late > 0);
        }
    }
    assert!(
        flooded > 50 && late > 5 && kept_in_check > 10,
        "{flooded} {late} {kept_in_check}"
    );
}
