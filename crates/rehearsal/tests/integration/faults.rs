//! Cables that are cut, modules that hang or die, and what comes back afterwards.

use network::DropReason;
use plan::NoticeKind;
use rehearsal::{Loss, Outcome, Record, What};
use timeline::Ns;

use crate::support::{lamp_times, line_and_cues, run};

fn faults(text: &str) -> (Outcome, Vec<Record>) {
    let later = format!("{text}\n[fault.outage]");
    let (line, cues) = line_and_cues(&[], &[("[fault.outage]", &later)]);
    run(&line, &cues)
}

/// A cut takes the ear's power; when it is mended the ear boots, settles, and hears again.
#[test]
fn verif_a_cut_takes_the_ear_and_mending_brings_it_back() {
    let (line, cues) = line_and_cues(&[], &[("at = \"50 s\"", "at = \"113 s\"")]);
    let (outcome, records) = run(&line, &cues);
    let ear = line.module_by_id("ear").unwrap();
    let at = |f: fn(&What) -> Option<plan::ModuleIx>| {
        records
            .iter()
            .find(|r| f(&r.what) == Some(ear))
            .map(|r| r.at.as_s_f64())
    };
    let down = at(|w| match w {
        What::Down { module, .. } => Some(*module),
        _ => None,
    })
    .unwrap();
    let boots = at(|w| match w {
        What::Boots { module } => Some(*module),
        _ => None,
    })
    .unwrap();
    let up = at(|w| match w {
        What::Up { module } => Some(*module),
        _ => None,
    })
    .unwrap();
    assert!((down - 90.001).abs() < 1e-9, "{down}");
    assert!((boots - 100.001).abs() < 1e-9, "{boots}");
    assert!((up - 102.001).abs() < 1e-9, "{up}");
    assert_eq!(outcome.restarts[ear.0], 1);
    // Its background is known again five seconds (half of ten) after it listens, at 103 s.
    let heard: Vec<f64> = records
        .iter()
        .filter(|r| {
            matches!(
                r.what,
                What::Noticed {
                    notice: NoticeKind::Confirmed,
                    ..
                }
            )
        })
        .map(|r| r.at.as_s_f64())
        .collect();
    assert_eq!(heard.len(), 2, "{heard:?}");
    assert!(heard[1] > 114.0);
}

/// A hung ear keeps its power but says nothing.
#[test]
fn verif_a_hung_module_keeps_its_power_and_says_nothing() {
    let hang = [
        ("kind = \"cut\"", "kind = \"hang\""),
        ("of = \"span.cable\"", "of = \"module.ear\""),
        ("at = \"90 s\"", "at = \"10 s\""),
        ("until = \"100 s\"", "until = \"40 s\""),
    ];
    let (line, cues) = line_and_cues(&[], &hang);
    let (outcome, records) = run(&line, &cues);
    let confirmed: Vec<f64> = records
        .iter()
        .filter(|r| {
            matches!(
                r.what,
                What::Noticed {
                    notice: NoticeKind::Confirmed,
                    ..
                }
            )
        })
        .map(|r| r.at.as_s_f64())
        .collect();
    assert_eq!(confirmed.len(), 1, "{confirmed:?}");
    assert!(confirmed[0] > 51.0);
    let ear = line.module_by_id("ear").unwrap();
    assert!(outcome.voltages_v[ear.0].0 > 40.0);
}

/// A deaf hydrophone hears neither the call while it is deaf nor anything by its module, which works on and keeps its voltage; once the fault is over the next call is heard as ever. Nothing on the
/// line is disturbed, so the fault costs nothing there.
#[test]
fn verif_a_deaf_hydrophone_says_nothing_and_its_module_works_on() {
    let deaf = [
        ("kind = \"cut\"", "kind = \"deaf\""),
        ("of = \"span.cable\"", "of = \"module.ear.sensor.one\""),
        ("at = \"90 s\"", "at = \"10 s\""),
        ("until = \"100 s\"", "until = \"40 s\""),
    ];
    let confirmed = |records: &[Record]| -> Vec<f64> {
        let told = records.iter().filter(|r| {
            let notice = NoticeKind::Confirmed;
            matches!(r.what, What::Noticed { notice: n, .. } if n == notice)
        });
        told.map(|r| r.at.as_s_f64()).collect()
    };
    let (line, cues) = line_and_cues(&[], &deaf);
    let (outcome, records) = run(&line, &cues);
    let heard = confirmed(&records);
    assert_eq!(heard.len(), 1, "{heard:?}");
    assert!(heard[0] > 51.0, "{heard:?}");
    let down = records.iter().any(|r| matches!(r.what, What::Down { .. }));
    assert!(!down);
    let deafened = records
        .iter()
        .filter(|r| matches!(r.what, What::Deaf { .. }));
    assert_eq!(deafened.count(), 1);
    let ear = line.module_by_id("ear").unwrap();
    assert_eq!(outcome.restarts[ear.0], 0);
    assert!(outcome.voltages_v[ear.0].0 > 40.0);
    // With the cut that comes later it hears a call in that time.
    let (line, cues) = line_and_cues(&[], &[]);
    let (_, records) = run(&line, &cues);
    let both = confirmed(&records);
    assert!(both[0] < 40.0 && both.len() >= 2, "{both:?}");
}

/// A module that is dead already does not go down once more when its cable is cut.
#[test]
fn verif_a_dead_module_does_not_go_down_twice() {
    let dead = "[fault.cut]\nkind = \"dead\"\nof = \"module.ear\"\nat = \"30 s\"\n\n[fault.later]";
    let (line, cues) = line_and_cues(&[], &[("[fault.cut]", dead)]);
    let (_, records) = run(&line, &cues);
    let down = records
        .iter()
        .filter(|r| matches!(r.what, What::Down { .. }))
        .count();
    assert_eq!(down, 1);
}

/// What a restart needs is asked for before the rehearsal begins.
#[test]
fn verif_a_restart_without_a_settling_time_is_refused_at_once() {
    let (line, cues) = line_and_cues(&[("settles_in = \"1 s\"\n", "")], &[]);
    let mut records = 0;
    let result = rehearsal::run(&line, &cues, &mut |_| records += 1, &mut |_| true);
    assert!(matches!(
        result,
        Err(rehearsal::RehearsalError::NotSaid { .. })
    ));
    assert_eq!(records, 0);
}

const CAN: &str = "link = \"CAN 2.0\"\nlink_rate = \"125 kbit/s\"\nframe = { header = \"1 B\", ids = \"11 bit\" }";

/// Nobody is said to ask: the delay is unknown, and the rehearsal does not begin.
#[test]
fn verif_a_link_on_which_nobody_asks_is_refused_by_name() {
    let (mut line, cues) = line_and_cues(
        &[(
            "link = \"10BASE-T1L\"",
            "link = \"SDI-12\"\npolled_by = \"module.base\"",
        )],
        &[],
    );
    // The plan refuses it; who builds a line of their own is told too.
    for span in &mut line.spans {
        span.link.as_mut().unwrap().polled_by = None;
    }
    let mut records = 0;
    let result = rehearsal::run(&line, &cues, &mut |_| records += 1, &mut |_| true);
    let Err(error) = result else { panic!("it ran") };
    let told = error.to_string();
    assert!(
        told.starts_with("span.") && told.contains("`polled_by`"),
        "{told}"
    );
    assert_eq!(records, 0);
}

/// The base asks without pause, 60.333 ms of break, mark and command, 15 ms and 30 ms of an empty answer, 15 ms: whenever it is, the message of 200 characters and
/// three around them begins within a round, and is there 203 characters of 10 ms later. The plan needs no stack of Ethernet.
#[test]
fn val_a_message_waits_until_its_station_is_asked() {
    let polled = "link = \"SDI-12\"\npolled_by = \"module.base\"";
    let changes = [
        ("link = \"10BASE-T1L\"", polled),
        ("stack = [\"ethernet\", \"ipv6\", \"udp\"]\n", ""),
    ];
    let (line, cues) = line_and_cues(&changes, &[]);
    let (_, records) = run(&line, &cues);
    let published = records
        .iter()
        .find(|r| matches!(r.what, What::Published { .. }));
    let heard = records
        .iter()
        .find(|r| matches!(r.what, What::Delivered { .. }));
    let late_s = (heard.unwrap().at.0 - published.unwrap().at.0) as f64 * 1e-9;
    let (round_s, answer_s) = (0.060_333 + 0.015 + 0.03 + 0.015, 2.03);
    assert!(
        late_s >= answer_s && late_s <= answer_s + round_s + 0.001,
        "{late_s}"
    );
}

/// Half the rate, twice the time on the bus: the lamp goes on later by just that. 200 bytes in frames of seven and one byte of header are 28 of 135 bits
/// and one of 105.
#[test]
fn val_a_message_crosses_a_can_bus_frame_by_frame() {
    let lamp = |rate: &str| {
        let can = CAN.replace("125 kbit/s", rate);
        let (line, cues) = line_and_cues(&[("link = \"10BASE-T1L\"", &can)], &[]);
        let (_, records) = run(&line, &cues);
        let crossed = records
            .iter()
            .filter(|r| matches!(r.what, What::Crossed { .. }));
        assert!(crossed.count() > 0);
        lamp_times(&records, true)[0]
    };
    let bits = 28 * 135 + 105;
    assert_eq!(lamp("125 kbit/s").0 - lamp("250 kbit/s").0, bits * 4000);
}

/// A span that is cut 10 ms after the alert of 31 ms has begun to cross takes it along.
#[test]
fn verif_a_cut_bus_loses_what_is_crossing() {
    let can = ("link = \"10BASE-T1L\"", CAN);
    let (line, cues) = line_and_cues(&[can], &[]);
    let (_, records) = run(&line, &cues);
    let published = |r: &&Record| matches!(r.what, What::Published { .. });
    let at = records.iter().find(published).unwrap().at;
    let cut = format!("at = \"{} ns\"", at.0 + 10_000_000);
    let (line, cues) = line_and_cues(&[can], &[("at = \"90 s\"", &cut)]);
    let (_, records) = run(&line, &cues);
    let lost = |r: &Record| {
        matches!(
            r.what,
            What::Lost {
                why: Loss::Network(DropReason::LinkDown),
                ..
            }
        )
    };
    assert!(records.iter().any(lost));
    assert!(
        lamp_times(&records, true)
            .first()
            .is_none_or(|first| *first > Ns(100_000_000_000))
    );
}

/// Where two cuts of one cable overlap, it is whole again once the later one is over.
#[test]
fn verif_a_cable_cut_twice_is_whole_after_the_later_end() {
    let (_, records) = faults(
        "[fault.other]\nkind = \"cut\"\nof = \"span.cable\"\nat = \"95 s\"\nuntil = \"110 s\"\n",
    );
    let boots: Vec<f64> = records
        .iter()
        .filter(|r| matches!(r.what, What::Boots { .. }))
        .map(|r| r.at.as_s_f64())
        .collect();
    assert_eq!(boots.len(), 1, "{boots:?}");
    assert!((boots[0] - 110.0).abs() < 0.01, "{boots:?}");
}

/// A module that hangs leaves its lamp as it is, past the time at which its program would have switched it off; once
/// the fault is over it starts anew, with the lamp off and in the state in which it starts.
#[test]
fn verif_a_hung_module_keeps_its_lamp_and_starts_anew_afterwards() {
    let hang =
        "[fault.hang]\nkind = \"hang\"\nof = \"module.base\"\nat = \"23 s\"\nuntil = \"46 s\"\n";
    let (outcome, records) = faults(hang);
    let on = lamp_times(&records, true)[0];
    let off = lamp_times(&records, false)[0];
    assert!(on < Ns(23_000_000_000), "{on}");
    assert_eq!(off, Ns(46_000_000_000));
    assert_eq!(outcome.restarts[0], 1);
    let up = records
        .iter()
        .find(|r| matches!(r.what, What::Up { module } if module.0 == 0))
        .unwrap();
    assert!((up.at.as_s_f64() - 49.0).abs() < 0.01, "{}", up.at);
    // It hung while it was sending; both hangs are over before the second sound.
    let shorter = faults(&hang.replace("46 s", "43 s")).0;
    let extra_j = outcome.module_energy_j[0] - shorter.module_energy_j[0];
    // Three seconds more of sending (5 W) and lamp (10 W) instead of idling (1 W).
    assert!((extra_j - 3.0 * 14.0).abs() < 0.1, "{extra_j}");
}

/// A module that fails at the first instant is told with the voltage that it had.
#[test]
fn verif_a_fault_at_the_first_instant_finds_the_line_under_voltage() {
    let (_, records) =
        faults("[fault.first]\nkind = \"dead\"\nof = \"module.base\"\nat = \"0 s\"\n");
    let voltage_v = records
        .iter()
        .find_map(|r| match r.what {
            What::Down { voltage_v, .. } => Some(voltage_v),
            _ => None,
        })
        .unwrap();
    // An ideal supply of 48 V stands at this module.
    assert!((voltage_v - 48.0).abs() < 1e-9, "{voltage_v}");
}

/// A module that regains its voltage while it hangs does not come up before the fault is over.
#[test]
fn verif_a_hung_module_does_not_boot_with_the_voltage() {
    let (_, records) = faults(
        "[fault.hang]\nkind = \"hang\"\nof = \"module.ear\"\nat = \"92 s\"\nuntil = \"112 s\"\n",
    );
    let ups: Vec<f64> = records
        .iter()
        .filter(|r| matches!(r.what, What::Up { .. }))
        .map(|r| r.at.as_s_f64())
        .collect();
    assert_eq!(ups.len(), 1, "{ups:?}");
    assert!((ups[0] - 114.0).abs() < 0.01, "{ups:?}");
}

/// A module that hangs goes down; when it then loses its power it does not go down once more, but its lamp goes off with the power.
#[test]
fn verif_a_hung_module_that_loses_its_power_is_down_already() {
    for stops in [
        "kind = \"no-supply\"\nof = \"supply.bench\"",
        "kind = \"dead\"\nof = \"module.base\"",
    ] {
        let (_, records) = faults(&format!(
            "[fault.hang]\nkind = \"hang\"\nof = \"module.base\"\nat = \"23 s\"\nuntil = \"46 s\"\n\n[fault.power]\n{stops}\nat = \"30 s\"\nuntil = \"44 s\"\n"
        ));
        let of_base: Vec<(bool, f64)> = records
            .iter()
            .filter_map(|r| match r.what {
                What::Down { module, .. } if module.0 == 0 => Some((false, r.at.as_s_f64())),
                What::Boots { module } if module.0 == 0 => Some((true, r.at.as_s_f64())),
                _ => None,
            })
            .collect();
        let [(false, down_s), (true, boots_s)] = of_base.as_slice() else {
            panic!("{of_base:?}");
        };
        assert!((down_s - 23.0).abs() < 1e-9, "{down_s}");
        assert!((boots_s - 46.0).abs() < 0.01, "{boots_s}");
        let off = lamp_times(&records, false)[0].as_s_f64();
        assert!((off - 30.0).abs() < 0.01, "{off}");
    }
}

/// What a module does because of its voltage goes back to the settling of the voltages.
#[test]
fn verif_a_trip_and_a_boot_name_the_voltages_that_cause_them() {
    let (_, records) = faults("");
    let cause = |r: &Record| {
        let parent = r.parent.unwrap();
        &records[usize::try_from(parent.0).unwrap()].what
    };
    let mut seen = [false; 3];
    for r in &records {
        match r.what {
            What::Down { .. } => {
                assert!(matches!(cause(r), What::Settled { .. }));
                seen[0] = true;
            }
            What::Boots { .. } => {
                assert!(matches!(cause(r), What::Settled { .. }));
                seen[1] = true;
            }
            What::Up { .. } => {
                assert!(matches!(cause(r), What::Boots { .. }));
                seen[2] = true;
            }
            _ => {}
        }
    }
    assert_eq!(seen, [true; 3]);
}

fn sent(records: &[Record]) -> usize {
    let is = |r: &&Record| matches!(r.what, What::Sent { .. });
    records.iter().filter(is).count()
}

/// A module that is dead sends nothing ashore, however sure its link; one that dies in the middle of an attempt and works again
/// before its end has lost it.
#[test]
fn verif_a_module_that_stops_sends_nothing_ashore() {
    // The outage out of the way, so that only the module matters.
    let quiet = (
        "at = \"40 s\"\nuntil = \"80 s\"",
        "at = \"110 s\"\nuntil = \"111 s\"",
    );
    let (line, cues) = line_and_cues(&[], &[quiet]);
    let (_, whole) = run(&line, &cues);
    let first = whole
        .iter()
        .find(|r| matches!(r.what, What::Attempt { .. }))
        .unwrap()
        .at;
    assert!(sent(&whole) >= 2);
    let dies = |after_s: f64, for_s: f64| {
        let from_s = first.as_s_f64() + after_s;
        let fault = format!(
            "[fault.dead]\nkind = \"dead\"\nof = \"module.base\"\nat = \"{from_s} s\"\nuntil = \"{} s\"\n\n[fault.outage]",
            from_s + for_s
        );
        // Booting takes 0.5 s here, so that the module works again before the 5 s of the attempt are over.
        let quick = ("boot = { time = \"3 s\"", "boot = { time = \"0.5 s\"");
        let (line, cues) = line_and_cues(&[quick], &[quiet, ("[fault.outage]", &fault)]);
        run(&line, &cues).1
    };
    let interrupted = dies(1.0, 1.0);
    let failed = |r: &&Record| matches!(r.what, What::Failed { attempt: 1, .. });
    assert!(interrupted.iter().any(|r| failed(&r)));
    assert!(
        interrupted
            .iter()
            .all(|r| !matches!(r.what, What::Sent { .. })
                || r.at.as_s_f64() > first.as_s_f64() + 5.5)
    );
    let dead = dies(1.0, 500.0);
    assert_eq!(sent(&dead), 0);
}

/// When each module boots and is up, s.
fn boots_and_ups(text: &[(&str, &str)], cues: &[(&str, &str)]) -> (Vec<f64>, Vec<f64>) {
    let (line, cues) = line_and_cues(text, cues);
    let (_, records) = run(&line, &cues);
    let ear = line.module_by_id("ear").unwrap();
    let at = |wanted: fn(&What) -> Option<plan::ModuleIx>| {
        let of_ear = records.iter().filter(|r| wanted(&r.what) == Some(ear));
        of_ear.map(|r| r.at.as_s_f64()).collect()
    };
    (
        at(|w| match w {
            What::Boots { module } => Some(*module),
            _ => None,
        }),
        at(|w| match w {
            What::Up { module } => Some(*module),
            _ => None,
        }),
    )
}

const INPUT: &str = "input = { minimum = \"20 V\", maximum = \"56 V\" }";

/// Cut from 90 s to 100 s; the trip's millisecond, then 6 s held off, then 2 s of boot.
#[test]
fn verif_a_module_that_is_held_off_wakes_later() {
    let held_off = "input = { minimum = \"20 V\", maximum = \"56 V\", lock_out = { on = \"40 V\", off = \"30 V\" } }\nwakes_after = \"6 s\"";
    let (boots, ups) = boots_and_ups(&[(INPUT, held_off)], &[]);
    assert_eq!(boots.len(), 1, "{boots:?}");
    assert!((boots[0] - 106.001).abs() < 1e-9, "{boots:?}");
    assert!((ups[0] - 108.001).abs() < 1e-9, "{ups:?}");
}

/// A second cut from 103 s to 104 s falls into the time in which it is held off: the time begins anew.
#[test]
fn verif_a_module_that_is_held_off_counts_anew() {
    let held_off = "input = { minimum = \"20 V\", maximum = \"56 V\", lock_out = { on = \"40 V\", off = \"30 V\" } }\nwakes_after = \"6 s\"";
    let second = "[fault.again]\nkind = \"cut\"\nof = \"span.cable\"\nat = \"103 s\"\nuntil = \"104 s\"\n[fault.cut]";
    let (boots, _) = boots_and_ups(&[(INPUT, held_off)], &[("[fault.cut]", second)]);
    assert_eq!(boots.len(), 1, "{boots:?}");
    assert!((boots[0] - 110.001).abs() < 1e-9, "{boots:?}");
}

/// The supply gives 48 V: a lock-out that wants 50 V never lets the ear back.
#[test]
fn verif_a_module_stays_off_below_its_switch_on_voltage() {
    let locked = "input = { minimum = \"20 V\", maximum = \"56 V\", lock_out = { on = \"50 V\", off = \"30 V\" } }";
    let (boots, ups) = boots_and_ups(&[(INPUT, locked)], &[]);
    assert!(boots.is_empty() && ups.is_empty(), "{boots:?} {ups:?}");
}

/// A lock-out that switches off above the voltage of the loaded line stops the ear at once, though it is above its lowest.
#[test]
fn verif_a_lock_out_stops_a_module_above_its_lowest_voltage() {
    let locked = "input = { minimum = \"20 V\", maximum = \"56 V\", lock_out = { on = \"49 V\", off = \"48.5 V\" } }";
    let (line, cues) = line_and_cues(&[(INPUT, locked)], &[]);
    let (_, records) = run(&line, &cues);
    let down = records.iter().find_map(|r| match r.what {
        What::Down { voltage_v, .. } => Some((r.at.as_s_f64(), voltage_v)),
        _ => None,
    });
    let (at_s, voltage_v) = down.unwrap();
    assert!((at_s - 0.001).abs() < 1e-9, "{at_s}");
    assert!(voltage_v > 20.0 && voltage_v < 48.5, "{voltage_v}");
}

/// Of a frame of thousands of bits hardly any comes through where one bit in a hundred is wrong, and what is lost is told with its reason.
#[test]
fn verif_bit_errors_lose_messages_and_say_so() {
    let link = "link = \"10BASE-T1L\"";
    let of = |rate: &str| {
        let with_rate = format!("{link}\nbit_error_rate = {rate}");
        let (line, cues) = line_and_cues(&[(link, &with_rate)], &[]);
        let (outcome, records) = run(&line, &cues);
        let hit = |r: &&Record| {
            matches!(
                r.what,
                What::Lost {
                    why: Loss::Network(DropReason::BitErrors),
                    ..
                }
            )
        };
        (outcome.copies, records.iter().filter(hit).count() as u64)
    };
    let (whole, none) = of("0.0");
    let (lost, hit) = of("0.01");
    assert_eq!((none, whole.lost), (0, 0));
    assert!(hit > 0 && lost.delivered < whole.delivered, "{lost:?}");
    assert_eq!((lost.lost, lost.due), (hit, whole.due));
}

/// On CAN the same loses nothing and makes messages late, past the bounds without errors; at one bit in a hundred controllers leave the bus, and that is told.
#[test]
fn verif_bit_errors_on_can_delay_and_take_controllers_off_their_bus() {
    let link = "link = \"10BASE-T1L\"";
    let of = |rate: &str| {
        let can = format!(
            "link = \"CAN 2.0\"\nlink_rate = \"250 kbit/s\"\nframe = {{ header = \"1 B\", ids = \"11 bit\" }}\nbit_error_rate = {rate}"
        );
        let (line, cues) = line_and_cues(&[(link, &can)], &[]);
        let (outcome, records) = run(&line, &cues);
        let whys: Vec<Loss> = records
            .iter()
            .filter_map(|r| match r.what {
                What::Lost { why, .. } => Some(why),
                _ => None,
            })
            .collect();
        let longest = records
            .iter()
            .filter_map(|r| match r.what {
                What::Delivered { after, .. } => Some(after),
                _ => None,
            })
            .max();
        (outcome, whys, longest)
    };
    let by_station = |outcome: &Outcome| -> (u64, u64) {
        let stations = outcome.buses.iter().flat_map(|b| &b.stations);
        let counts = stations.map(|s| (s.hit, s.bus_offs));
        counts.fold((0, 0), |(a, b), (hit, offs)| (a + hit, b + offs))
    };
    let (whole, none, quick) = of("0.0");
    assert!(none.is_empty() && whole.copies.delivered > 0);
    assert_eq!(by_station(&whole), (0, 0));
    let (delayed, none, slow) = of("2e-4");
    assert!(none.is_empty(), "{none:?}");
    assert_eq!(delayed.copies.delivered, whole.copies.delivered);
    assert!(slow > quick, "{slow:?} {quick:?}");
    // What is sent again is told of the stations whose frames were hit.
    let (hit, offs) = by_station(&delayed);
    assert!(hit > 0 && offs == 0);
    assert_eq!(hit, delayed.buses.iter().map(|b| b.hit).sum::<u64>());
    let (outcome, whys, _) = of("0.01");
    assert!(
        whys.contains(&Loss::Network(DropReason::BusOff)),
        "{whys:?}"
    );
    let mut left = outcome.buses.iter().flat_map(|b| &b.stations);
    assert!(left.any(|s| s.bus_offs > 0 && s.most_errors >= 256));
}
