//! For how long at least so many hydrophones are heard at once, of slots of ten minutes.

use super::joint::{HOUR_S, Hour, OnceYear, SLOT_S, SLOTS, close};

/// Adds an hour.
pub(super) fn at_once(
    hours: &[Hour],
    month: usize,
    found: &mut [OnceYear],
    gaps_s: &mut [f64],
    room: &mut Room,
) {
    if hours.iter().all(Hour::heard) {
        for (once, gap_s) in found.iter_mut().zip(gaps_s) {
            once.heard_s[month] += HOUR_S;
            close(&mut once.gap_s, gap_s);
        }
        return;
    }
    if !hours.iter().any(Hour::begins_deaf) {
        for slot in 0..SLOTS {
            let hear = hours.iter().filter(|hour| !hour.deaf(slot)).count();
            for (ix, (once, gap_s)) in found.iter_mut().zip(gaps_s.iter_mut()).enumerate() {
                if ix < hear {
                    once.heard_s[month] += SLOT_S;
                    close(&mut once.gap_s, gap_s);
                } else {
                    *gap_s += SLOT_S;
                }
            }
        }
        return;
    }
    for slot in 0..SLOTS {
        let known = || hours.iter().map(|hour| hour.known_from_s(slot));
        room.known_s.clear();
        room.known_s.extend(known());
        room.known_s.sort_unstable_by(f64::total_cmp);
        room.heard_s.clear();
        if hours.iter().all(|hour| hour.after) {
            apart(hours, slot, room);
        } else {
            let of = |hour: &Hour| SLOT_S - hour.known_from_s(slot).max(hour.drowned_s);
            room.heard_s.extend(hours.iter().map(of));
            room.heard_s.sort_unstable_by(|a, b| b.total_cmp(a));
        }
        let of_each = found.iter_mut().zip(gaps_s.iter_mut());
        for ((once, gap_s), (known_s, heard_s)) in
            of_each.zip(room.known_s.iter().zip(&room.heard_s))
        {
            once.heard_s[month] += heard_s;
            *gap_s += known_s;
            if *known_s < SLOT_S {
                close(&mut once.gap_s, gap_s);
            }
        }
    }
}

/// What is needed of a slot, kept from one to the next.
#[derive(Default)]
pub(super) struct Room {
    /// From when on at least one is heard but for what drowns them at times, at least two, and so on, s.
    known_s: Vec<f64>,
    /// For how long at least one is heard, at least two, and so on, s.
    heard_s: Vec<f64>,
    /// Seconds in which those are drowned that are deaf by nothing else, rising.
    drowned_s: Vec<f64>,
}

/// For how long at least so many are heard of a slot at the least, whatever of it is drowned when.
///
/// Of n events with the shares q at least m fall together for at most `(sum of all but the j largest) / (m - j)` of the time, for every j
/// below m: Markov's inequality for those that are left (Rueger 1978 shows that the least of these is reached; from memory).
fn apart(hours: &[Hour], slot: usize, room: &mut Room) {
    room.drowned_s.clear();
    let mut all_s = 0.0;
    for hour in hours {
        let known_s = hour.known_from_s(slot);
        if known_s < SLOT_S {
            all_s += hour.drowned_s;
        }
        if known_s == 0.0 {
            room.drowned_s.push(hour.drowned_s);
        }
    }
    room.drowned_s.sort_unstable_by(f64::total_cmp);
    let free = room.drowned_s.len();
    for (ix, known_s) in room.known_s.iter().enumerate() {
        // Where just so many hear, one that is drowned is one too few.
        let mut lost_s = all_s;
        // Of those that nothing else takes so many must be drowned at once.
        let together = free.saturating_sub(ix);
        for largest in 0..together {
            let rest_s: f64 = room.drowned_s[..free - largest].iter().sum();
            lost_s = lost_s.min(rest_s / (together - largest) as f64);
        }
        room.heard_s.push((SLOT_S - known_s - lost_s).max(0.0));
    }
}
