//! That a result is found only for the same input, and that what is kept stays within its room.

use std::cell::Cell;

use super::*;

/// Doubles a number, and counts how often.
struct Double<'a> {
    of: f64,
    name: &'a str,
    ran: &'a Cell<u32>,
}

impl Canonical for Double<'_> {
    fn write(&self, to: &mut Canon) {
        self.of.write(to);
        self.name.write(to);
    }
}

impl Job for Double<'_> {
    const METHOD: &'static str = "double/1";
    type Out = f64;

    fn run(&self, _: &Memo) -> f64 {
        self.ran.set(self.ran.get() + 1);
        2.0 * self.of
    }

    fn bytes(out: &f64) -> usize {
        *out as usize
    }
}

/// As [`Double`], by another method.
struct Triple {
    of: f64,
}

canonical!(Triple { of });

impl Job for Triple {
    const METHOD: &'static str = "triple/1";
    type Out = f64;

    fn run(&self, _: &Memo) -> f64 {
        3.0 * self.of
    }

    fn bytes(_: &f64) -> usize {
        0
    }
}

fn double<'a>(of: f64, name: &'a str, ran: &'a Cell<u32>) -> Double<'a> {
    Double { of, name, ran }
}

#[test]
fn verif_the_same_input_is_computed_once_and_any_other_anew() {
    let (memo, ran) = (Memo::new(), Cell::new(0));
    assert_eq!(*memo.of(&double(1.5, "a", &ran)), 3.0);
    assert_eq!(*memo.of(&double(1.5, "a", &ran)), 3.0);
    assert_eq!(ran.get(), 1);
    let next = f64::from_bits(1.5f64.to_bits() + 1);
    for (of, name) in [(next, "a"), (1.5, "b"), (0.0, ""), (-0.0, "")] {
        memo.of(&double(of, name, &ran));
    }
    assert_eq!(ran.get(), 5);
    assert_eq!(
        *memo.of(&Triple { of: 1.5 }),
        4.5,
        "another method, the same number"
    );
    let runs = memo.runs();
    assert_eq!(runs["double/1"], Runs { done: 5, found: 1 });
    assert_eq!(runs["triple/1"], Runs { done: 1, found: 0 });
}

#[test]
fn verif_what_was_not_asked_for_longest_leaves_first() {
    let ran = Cell::new(0);
    let one = ENTRY_BYTES + size_of::<f64>() + 20;
    let memo = Memo::with_room(3 * one);
    let ask = |name| *memo.of(&double(10.0, name, &ran));
    for name in ["a", "b", "c", "a"] {
        ask(name);
    }
    assert_eq!(ran.get(), 3);
    assert_eq!(memo.bytes(), 3 * one);
    ask("d");
    assert_eq!(memo.bytes(), 3 * one);
    ask("a");
    ask("c");
    assert_eq!(ran.get(), 4, "`b` has left");
    ask("b");
    assert_eq!(ran.get(), 5);
    memo.of(&double(1e6, "larger than all room", &ran));
    assert_eq!(memo.bytes(), 3 * one, "what has no room drives nothing out");
}

#[test]
fn verif_without_room_all_is_computed() {
    let (memo, ran) = (Memo::with_room(0), Cell::new(0));
    for _ in 0..3 {
        memo.of(&double(1.0, "a", &ran));
    }
    assert_eq!((ran.get(), memo.bytes()), (3, 0));
}

#[test]
fn verif_no_two_values_run_into_each_other() {
    let digest = |write: &dyn Fn(&mut Canon)| {
        let mut canon = Canon::new("m");
        write(&mut canon);
        canon.digest()
    };
    let all = [
        digest(&|to| ("ab", "c").write(to)),
        digest(&|to| ("a", "bc").write(to)),
        digest(&|to| vec![vec![1.0], vec![]].write(to)),
        digest(&|to| vec![vec![], vec![1.0]].write(to)),
        digest(&|to| (None::<f64>, Some(0.0)).write(to)),
        digest(&|to| (Some(0.0), None::<f64>).write(to)),
        digest(&|to| to.debug(&("ab", 1.0))),
        digest(&|to| to.debug(&("a", "b", 1.0))),
    ];
    let mut apart = all.to_vec();
    apart.sort_unstable();
    apart.dedup();
    assert_eq!(apart.len(), all.len());
}
